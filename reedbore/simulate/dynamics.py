"""What a player does from pp to ff: breath and lip together, and the lip that holds the note.

More breath alone hardly makes a saxophone louder: its reed beats at the softest breath, and more
only starves the flow. What players change is the opening that the lip leaves, and with it the
breath.
"""

import functools
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.passage import DYNAMICS, dynamic_share
from reedbore.model.setup import Setup
from reedbore.model.voice import NOBODY
from reedbore.notes import cents
from reedbore.remembered import remembered
from reedbore.simulate.breath import threshold
from reedbore.simulate.tuning import heard_pitch

TIP = 0.27, 1.15
"""Tip opening at pp and at ff over that of the setup; the others lie between at even ratios."""

GOES_WITH_TIP = {"reed.damping": -0.3, "reed.contact": 1.7}
"""By which power of the tip opening each goes, as the breath does by `breath.with_tip`: our choice,
found by trial on all presets."""

OVER_THRESHOLD, HALVINGS = 1.12, 4
"""At pp the breath is so many times that at which the note begins to sound, at least."""

Reals = NDArray[np.float64]

OF_A_DYNAMIC = (
    *("breath.pressure_kpa", "reed.opening_mm", "reed.stiffness_kpa_per_mm"),
    *GOES_WITH_TIP,
)
"""All settings that a dynamic and the lip that follows change."""

HELD_CENTS = 0.5
"""So near to the note the search of the lip ends."""

FIRMEST = 1.7
"""The lip makes the reed at most so many times as stiff, at least as many times less."""

TRIALS = 6
OCTAVE_OF_STIFFNESS = 40.0
"""About by how much a reed twice as stiff plays sharper, for the first trial. [cents]"""


def tip(name: str, softest: float = TIP[0]) -> float:
    """Return the tip opening at one of `DYNAMICS` over that of the setup, from pp's on."""
    return softest * (TIP[1] / softest) ** (DYNAMICS.index(name) / (len(DYNAMICS) - 1))


def with_dynamic(setup: Setup, name: str) -> Setup:
    """Give a setup the breath and the lip of a dynamic.

    Parameters
    ----------
    setup : Setup
        With the usual breath and reed of its horn, which lie between f and ff.
    name : str
        One of `DYNAMICS`.

    Returns
    -------
    Setup
        Softer, its tip is less open, its breath less about in proportion, so that the reed stands
        as near to closing; it is damped more, and meets the lay more softly.

    Raises
    ------
    ModelError
        If one of these numbers comes out beyond what is allowed.

    Notes
    -----
    That the lip acts as an added pressure, which leaves a smaller opening of a reed as stiff as
    before, is published for tenor saxophone reeds [1]_; the law itself is ours.

    References
    ----------
    .. [1] B. Gazengel, J.-P. Dalmont et al., "Characterization of tenor saxophone reeds,"
       Acta Acustica, 2024 (abstract).
    """
    return _at_tip(setup, tip(name, _softest(setup.model_copy(update={"voice": NOBODY}))))


class Held(NamedTuple):
    """Breath and lip at some moments of a note; each array has shape (m,)."""

    pressure: Reals
    """[Pa]"""
    opening: Reals
    """Of the reed as held, as `Reed.held` tells it. [m]"""
    stiffness: Reals
    """[Pa/m]"""
    damping: Reals
    contact: Reals


def held_at(setup: Setup, hz: float, share: Reals) -> Held:
    """Find breath and lip where a curve of dynamics is.

    Parameters
    ----------
    setup : Setup
        With the usual breath and reed of its horn.
    hz : float
        The fingered note, which a lip that follows holds. [Hz]
    share : ndarray, shape (m,)
        As `model.passage.dynamic_share` places dynamics. Below pp the lip stays as it is and the
        breath goes down to where the note begins to sound, beyond ff up to `breath.loudest`.

    Returns
    -------
    Held
        At dynamics, what `with_dynamic` and `lip_follows` make of them; between them the lip goes
        evenly in octaves of stiffness.

    Raises
    ------
    ModelError
        As `with_dynamic`.
    """
    setup = setup.model_copy(update={"voice": NOBODY})
    first, last = dynamic_share(DYNAMICS[0]), dynamic_share(DYNAMICS[-1])
    along = np.clip((share - first) / (last - first), 0.0, 1.0)
    softest = _softest(setup)
    tips = softest * (TIP[1] / softest) ** along
    firm = _firm_at(setup, hz, along * (len(DYNAMICS) - 1))
    reed, pressure = setup.reed.held(), setup.breath.pressure * tips**setup.breath.with_tip * firm
    if (share < first).any():
        loose = float(firm[np.argmin(share)])
        least = threshold(firmer(_at_tip(setup, softest), loose))
        under = np.minimum(share / first, 1.0)
        pressure = np.minimum(pressure, least + under * (pressure - least))
    if (share > last).any():
        most = setup.breath.loudest * _at_tip(setup, TIP[1]).reed.closes_at * firm
        over = np.maximum((share - last) / (1.0 - last), 0.0)
        pressure = np.maximum(pressure, pressure + over * (most - pressure))
    return Held(
        pressure,
        reed.opening * tips,
        reed.stiffness * firm,
        reed.damping * tips ** GOES_WITH_TIP["reed.damping"],
        reed.contact * tips ** GOES_WITH_TIP["reed.contact"],
    )


def _firm_at(setup: Setup, hz: float, places: Reals) -> Reals:
    """Return how many times as stiff the lip makes the reed at places among `DYNAMICS`."""
    known = range(math.floor(places.min()), math.ceil(places.max()) + 1)
    played = [with_dynamic(setup, DYNAMICS[k]) for k in known]
    if setup.breath.lip == "still":
        return np.ones(places.size)
    found = [math.log2(_firmness(one, hz)) for one in played]
    return np.asarray(np.exp2(np.interp(places, list(known), found)))


def _at_tip(setup: Setup, share: float) -> Setup:
    changed = _times(setup, "reed.opening_mm", share)
    powers = {"breath.pressure_kpa": setup.breath.with_tip, **GOES_WITH_TIP}
    for key, power in powers.items():
        changed = _times(changed, key, share**power)
    return changed


@functools.lru_cache(maxsize=256)
def _softest(setup: Setup) -> float:
    """Find the tip of pp: that of `TIP`, or where a note of the upper register still speaks."""

    def speaks(share: float) -> bool:
        one = _at_tip(setup, share)
        return one.breath.pressure > OVER_THRESHOLD * threshold(one)

    low, high = TIP[0], 1.0
    if speaks(low):
        return low
    for _ in range(HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if speaks(middle) else (middle, high)
    return high


def lip_follows(setup: Setup, hz: float) -> Setup:
    """Let the lip hold a note, as players do: firmer where it sags, looser where it climbs.

    Parameters
    ----------
    setup : Setup
        A tuned horn at a breath.
    hz : float
        The fingered note. [Hz]

    Returns
    -------
    Setup
        With the reed more or less stiff, and breath in proportion, so that it plays the note
        without a voice; as near as a lip within `FIRMEST` comes with which it still speaks soon.
    """
    return firmer(setup, _firmness(setup.model_copy(update={"voice": NOBODY}), hz))


def firmer(setup: Setup, times: float) -> Setup:
    """Make the reed so many times as stiff, and blow as much harder."""
    return _times(_times(setup, "reed.stiffness_kpa_per_mm", times), "breath.pressure_kpa", times)


def _times(setup: Setup, key: str, factor: float) -> Setup:
    value = setup.value(key)
    assert isinstance(value, float)
    return setup.with_value(key, value * factor)


@remembered(256)
def _firmness(setup: Setup, hz: float) -> float:
    """Find how many times as stiff the reed plays the note, by secants within bounds."""
    most = math.log2(FIRMEST)
    tried: list[tuple[float, float]] = []
    at = 0.0
    for _ in range(TRIALS):
        played = heard_pitch(firmer(setup, 2.0**at), hz, soon=True)
        if played is None:
            if not tried:
                return 1.0
            at = 0.5 * (at + _best(tried)[0])
            continue
        tried.append((at, cents(played, hz)))
        here, off = _best(tried)
        if abs(off) < HELD_CENTS:
            break
        slope = _slope(tried)
        after = min(max(here - off / slope, -most), most)
        if any(abs(after - one) < 1e-6 for one, _ in tried):
            break
        at = after
    return float(2.0 ** _best(tried)[0])


def _best(tried: list[tuple[float, float]]) -> tuple[float, float]:
    return min(tried, key=lambda one: abs(one[1]))


def _slope(tried: list[tuple[float, float]]) -> float:
    """Return by how much pitch [cents] rises with an octave of stiffness, from the best two."""
    if len(tried) < 2:
        return OCTAVE_OF_STIFFNESS
    (one, low), (two, high) = sorted(tried, key=lambda trial: abs(trial[1]))[:2]
    return max((high - low) / (two - one), 0.2 * OCTAVE_OF_STIFFNESS)
