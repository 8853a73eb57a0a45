"""What a player does that is no machine: the tongue's start, slow movement, the noise of the jet.

In: a setup's `breath`. Out: what the pressure is multiplied by, and a `kernel.player.Player`. It
repeats bit for bit by `breath.seed`; each movement has dice of its own. Breath and lip move
together: the player hears the pitch, which moves alike on all notes, whatever that takes.
"""

import contextlib
import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.kernel.player import STILL, Player
from reedbore.measures import pitch
from reedbore.model.bore import Bore
from reedbore.model.setup import Setup
from reedbore.model.voice import NOBODY
from reedbore.notes import cents
from reedbore.physics import unsteady
from reedbore.remembered import remembered
from reedbore.simulate.acoustics.numbers import HELD_BY_LIP, lip_rows, numbers_of
from reedbore.simulate.controls import BACK, let_go
from reedbore.simulate.tuning import blown

Reals = NDArray[np.float64]

Slopes = Callable[[Reals], Reals]
"""What gives, at some times [s], shape (m,), `pitch_slopes`, shape (3, m). [cents]"""

AIR, SWAY, TIP, STIFFNESS, PITCH = range(10, 15)
"""Dice."""

EVERY_S = 0.01
"""So often slow movement is drawn, and lies straight between: it ends below 6 Hz. [s]"""

OF_A_CONE = {
    "breath.air": 0.0165,
    "breath.sway": 0.1,
    "breath.lip_sway": 0.07,
    "breath.pitch_sway_cents": 1.5,
}
OF_A_CYLINDER = {
    "breath.air": 0.004,
    "breath.sway": 0.08,
    "breath.lip_sway": 0.054,
    "breath.pitch_sway_cents": 0.475,
}
"""What takes and passages have, by the bore, unless something else is set.

Found by trial, so that level of partials, pitch and noise move as on recorded notes: the wide slit
of a saxophone lets more air through, and rougher.
"""

MOVED = "breath.pressure_kpa", "reed.opening_mm", "reed.stiffness_kpa_per_mm"
"""What slow movement multiplies."""

PART = 0.04
"""By so much each of them is moved, to hear by how much that moves the pitch."""

GRAIN = 1.03
"""What breath and reed are rounded by before that, as a factor."""

SETTLES, SETTLES_S, HEARD = 20.0, 0.08, 16.0
"""So many periods, but at least so long [s], a note goes on after each of them has been moved, and
so many periods it is then heard."""

FOUND_S, LATE = 0.8, 0.25
"""How long a note sounds from rest before that [s], and the share that tells which one it is."""

FAR_CENTS = 50.0
"""What moves the pitch by more has thrown the note into another register. [cents]"""

UNHEARD_CENTS = 0.3
"""Where breath and lip move the pitch by far less, it is hardly heard, nor held. [cents]"""

TONGUE_MS = 8.0
"""What a tongue takes to let go, unless something else is set. [ms]"""

CONE = 1.5
"""A bore that half way down is so many times as wide as at its start is a cone."""


def alive(setup: Setup) -> Setup:
    """Give a setup the breath, lip and tongue of a player who is no machine."""
    usual = OF_A_CONE if _is_cone(setup.bore) else OF_A_CYLINDER
    for name, value in {**usual, "breath.tongue_ms": TONGUE_MS}.items():
        setup = setup.with_value(name, value)
    return setup


def _is_cone(bore: Bore) -> bool:
    length = sum(section.length for section in bore.sections)
    return bore.diameter_at(0.5 * length) > CONE * bore.diameter_at(0.0)


def held_still(setup: Setup) -> Setup:
    """Return a setup whose player has neither noise nor sway: that is how states are judged."""
    if not setup.breath.moves:
        return setup
    return setup.model_copy(update={"breath": setup.breath.held_still()})


def sway(setup: Setup, n: int, slopes: Slopes | None = None) -> Reals | float:
    """Return what the breath is multiplied by at each of `n` steps; `slopes` as for `movement`."""
    if not setup.breath.moves:
        return 1.0
    rate = setup.time.rate
    time = EVERY_S * np.arange(math.ceil(n / rate / EVERY_S) + 1, dtype=np.float64)
    return np.interp(np.arange(n) / rate, time, movement(setup, time, slopes)[0])


def movement(setup: Setup, time: Reals, slopes: Slopes | None = None) -> Reals:
    """Return what slow movement multiplies breath, tip opening and stiffness by.

    Parameters
    ----------
    setup : Setup
        Its breath says how far each moves.
    time : ndarray, shape (m,)
        From the start. [s]
    slopes : callable, optional
        Where they change; else they are those of the setup.

    Returns
    -------
    ndarray, shape (3, m)
        In the order of `MOVED`.

    Notes
    -----
    Each of the three moves by itself. Where the pitch is heard, what they do to it is taken away
    and the movement of the pitch added; each takes part as far as it moves.
    """
    breath = setup.breath

    def drawn(dice: int) -> Reals:
        return unsteady.slow_sway(time, np.random.default_rng([breath.seed, dice]))

    sizes = np.array([breath.sway, breath.lip_sway, breath.lip_sway])[:, None]
    moves = np.array([drawn(dice) for dice in (SWAY, TIP, STIFFNESS)])
    if breath.pitch_sway_cents is not None:
        along = sizes * (slopes(time) if slopes else np.array(pitch_slopes(setup))[:, None])
        missing = breath.pitch_sway_cents * drawn(PITCH) - (along * moves).sum(axis=0)
        moves += along * missing / ((along**2).sum(axis=0) + UNHEARD_CENTS**2)
    return np.asarray(1.0 + sizes * moves)


def pitch_slopes(setup: Setup) -> tuple[float, float, float]:
    """Return by how much each of `MOVED` raises the pitch.

    Parameters
    ----------
    setup : Setup
        What is played; its voice is left out.

    Returns
    -------
    tuple of float
        For each, cents over its relative change, as a note that sounds settles anew; 0 where there
        is none or it is thrown out of its register. Told for the nearest of values that lie
        `GRAIN` apart, so that it is not tried anew at each move of a slider. [cents]
    """
    alone = {"voice": NOBODY, "breath": setup.breath.settled()}
    return _pitch_slopes(rounded(setup.model_copy(update=alone)))


def rounded(setup: Setup) -> Setup:
    """Return a setup with the nearest breath, tip opening and stiffness that lie on the grain."""
    for name in MOVED:
        value = setup.value(name)
        assert isinstance(value, float)
        if value > 0.0:
            with contextlib.suppress(ModelError):  # beyond what may be set
                setup = setup.with_value(name, GRAIN ** round(math.log(value) / math.log(GRAIN)))
    return setup


@remembered(1024)
def _pitch_slopes(setup: Setup) -> tuple[float, float, float]:
    numbers = numbers_of(setup)
    tone = single.Sounding(numbers)
    pressure = tone.go_on(numbers, blown(setup, FOUND_S))
    found = pitch.fundamental(*pitch.thin(pressure[-round(LATE * pressure.size) :], numbers.rate))
    breath, opening, stiffness = (
        _slope(tone, setup, one, found.hz) if found else 0.0 for one in MOVED
    )
    return breath, opening, stiffness


def _slope(tone: single.Sounding, setup: Setup, name: str, hz: float) -> float:
    value = setup.value(name)
    assert isinstance(value, float)
    settles = round(max(SETTLES / hz, SETTLES_S) * setup.time.rate)
    heard = round(HEARD / hz * setup.time.rate)

    def moved(times: float) -> float:
        """Go on so; return by how many cents that plays higher."""
        other = setup.with_value(name, value * times)
        breath = np.full(settles + heard, other.breath.pressure)
        pressure = tone.go_on(numbers_of(other), breath)[settles:]
        played = pitch.refine(*pitch.thin(pressure, setup.time.rate), hz)
        return cents(played, hz) if played > 0.0 else math.inf

    low, high = moved(1.0 - PART), moved(1.0 + PART)
    near = abs(low) < FAR_CENTS and abs(high) < FAR_CENTS
    return (high - low) / (2.0 * PART) if near else 0.0


def player_of(setup: Setup, n: int) -> Player:
    """Return what lip, tongue and jet do in a take of `n` steps."""
    breath, rate = setup.breath, setup.time.rate
    if not (breath.moves or breath.tongue):
        return STILL
    tongue = np.zeros(0)
    if breath.tongue:
        last = math.ceil((breath.rise + breath.tongue + BACK) * rate)
        tongue = let_go(np.arange(min(last, n)) / rate - breath.rise, breath.tongue)
    every = round(EVERY_S * rate)
    held = setup.reed.held()
    usual = {name: np.full(n // every + 2, getattr(held, name)) for name in HELD_BY_LIP}
    return Player(lip_of(setup, usual, every), every, tongue, jet(setup, n))


def lip_of(
    setup: Setup, held: Mapping[str, Reals], every: int, slopes: Slopes | None = None
) -> Reals:
    """Return `kernel.player.Player.lip` of a reed that a lip holds, and moves, every so many steps.

    Parameters
    ----------
    setup : Setup
        Reed, breath and rate.
    held : mapping
        For each of `HELD_BY_LIP` what the lip makes of it, shape (m,).
    every : int
        Steps between them.
    slopes : callable, optional
        As for `movement`.

    Returns
    -------
    ndarray, shape (m, len(LIP))
    """
    opening, stiffness, damping, contact = (held[name] for name in HELD_BY_LIP)
    time = every / setup.time.rate * np.arange(opening.size, dtype=np.float64)
    _, tip, stiff = movement(setup, time, slopes)
    return lip_rows(setup, opening * tip, stiffness * stiff, damping, contact)


def jet(setup: Setup, n: int) -> Reals:
    """Return the noise of the jet through the reed over the drop of pressure there, at each step.

    Notes
    -----
    Turbulence makes a source in proportion to the pressure that drives the jet [1]_: the flow
    U = wh √(2Δp/ρ) (1 + σξ), ξ noise of rms 1, as a pressure 2σξΔp.

    References
    ----------
    .. [1] K. N. Stevens, "Airflow and turbulence noise for fricative and stop consonants: static
       considerations," J. Acoust. Soc. Am. 50(4B), 1180-1192, 1971 (abstract).
    """
    if not setup.breath.air:
        return np.zeros(0)
    dice = np.random.default_rng([setup.breath.seed, AIR])
    return 2.0 * setup.breath.air * unsteady.breath_noise(n, setup.time.rate, dice)
