"""The bore in time: fractional delays and low-order passive filters.

In: the exact admittance of the bore. Out: the delay and the filter through which the outgoing wave
at the reed comes back. What the bore does at once, `throat`, is stepped by the trapezoidal rule;
the filter is fitted to what then remains, so that the sampled bore has the exact admittance and
no bent frequency axis.

Nothing open above the end: one delay and one filter, with a few echoes before it where closed
holes or a flare send some of the wave back early. A vent, open far above the rest: a delay down to
it, the mass of air in it and its jet, and below it a bore like any other. The tube of a mouthpiece
above a vent has a delay of its own (`chamber`).
"""

import functools
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.kernel.rows import CHAMBER_PAIRS, ECHOES, PAIRS, POLES, ROW_PAIRS, UPPER_POLES
from reedbore.model.bore import Bore
from reedbore.physics import toneholes, tube
from reedbore.physics.air import Gas
from reedbore.remembered import remembered
from reedbore.simulate.acoustics.bore import (
    Element,
    Opening,
    Piece,
    bore_admittance,
    chain_admittance,
    elements,
    end_impedance,
    first_opening,
    row_cutoff,
    split,
    vent_number,
)
from reedbore.simulate.acoustics.chamber import SHORTEST, Chamber, chamber, through
from reedbore.simulate.acoustics.delay import delay_response
from reedbore.simulate.acoustics.rational import (
    ROUNDS,
    ROUNDS_NEAR,
    Least,
    find_pairs,
    one_thread,
    pair_sections,
    passive_fit,
    real_sections,
)
from reedbore.simulate.acoustics.throat import Throat, throat
from reedbore.simulate.acoustics.vent import Vent, upper_basis

Reals = NDArray[np.float64]
Complexes = NDArray[Any]

HIGHEST_PAIR_HZ = 3000.0
"""Up to here pole pairs of holes are looked for."""

ECHO_HZ = 3000.0
"""Above this an early echo fades."""

LOOKS_AHEAD = 0.083, 0.14
"""A long wave feels the loss of the wider bore ahead: losses at the throat are those of the radius
so many wavelengths/2π away; the part within these bounds that makes the lowest peak true is found
for each bore."""

ECHOED_LOOKS_AHEAD = 0.05
"""The same where early echoes make up for what is missed."""

CHAMBER_ECHOES = 5
"""Of the early echoes so many stand for the tube of a mouthpiece."""

EVERY = 2
"""Poles are found on every so manieth point: of 32 fits none got worse by more than 2 % for it."""

HIGH_WEIGHT = 0.1
LOW_WEIGHT = 0.1
CHAMBER_LOW_WEIGHT = 0.2
"""Of what lies below the lowest peak: behind the tube of a mouthpiece its height hangs on it."""

LEAST_LOSS = 0.1
LOWEST_POLE_HZ = 6.0
CHAMBER_LOWEST_POLE_HZ = 3.0
"""Behind the tube of a mouthpiece; with the other the lowest peak of a long cone is 1 dB off."""

HIGHEST_POLE = 0.35
"""Of the rate."""

END_POLE = -1.670 + 1.820j
"""Pole pair of an open end, in units of c/a: of a filter of third order fitted to the theory."""

UNBENT_HZ = 8000.0
"""Up to here the filter undoes the bent frequency axis of the lumped elements."""

VENT_HZ = 300.0
"""Where the mass of the air in a vent is taken; its resistance is that at the lowest peak."""

EARLIER = 0.0, 0.02, 0.05, 0.08
"""So far before the first opening the main echo may be thought to start; the better is kept. [m]"""


class Reflection(NamedTuple):
    """Early echoes, a delay, and behind it a filter with real poles and pole pairs."""

    delay: float
    """[samples]"""
    direct: float
    gains: Reals
    poles: Reals
    """Shape (POLES,), between 0 and 1."""
    pair_gains: Reals
    """Shape (pairs, 2), numerators."""
    pairs: Complexes
    """Shape (pairs,), in the upper half of the unit circle."""
    echoes: Reals
    """Shape (echoes,), strengths."""
    places: NDArray[np.int64]
    """Shape (echoes,), their delays. [samples]"""
    fade: float
    """Pole of the filter behind all echoes."""

    def response(self, z: Complexes) -> Complexes:
        """Return the frequency response at points z of the unit circle."""
        gains = self.gains / (1.0 - self.poles)
        weights = np.concatenate(((self.direct,), gains, self.pair_gains.ravel(), self.echoes))
        return self.basis(z) @ weights

    def basis(self, z: Complexes) -> Complexes:
        """Return the responses that the filter is a sum of, one a column."""
        late = delay_response(self.delay, z)[:, None]
        fading = (1.0 - self.fade) / (1.0 - self.fade / z[:, None])
        early = np.exp(-1j * np.angle(z)[:, None] * self.places) * fading
        once = np.ones((z.size, 1))
        sections = np.hstack((once, real_sections(self.poles, z), pair_sections(self.pairs, z)))
        return np.hstack((late * sections, early))

    def with_weights(self, found: Reals) -> "Reflection":
        """Return the filter with the weights of its responses as they were found."""
        count = self.pairs.size
        gains, pair_gains, echoes = np.split(found[1:], [POLES, POLES + 2 * count])
        return self._replace(
            direct=float(found[0]),
            gains=gains * (1.0 - self.poles),
            pair_gains=pair_gains.reshape(count, 2),
            echoes=echoes,
        )


class Waveguide(NamedTuple):
    """A bore as the time step runs it."""

    throat: Throat
    vent: Vent | None
    reflection: Reflection
    """Of the whole bore, or of what lies below the vent."""
    rate: float
    """Steps per second. [Hz]"""

    def admittance(self, frequency: Reals) -> Complexes:
        """Return the input admittance that the time step realises, mouthpiece included.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            Below half of `rate`. [Hz]

        Returns
        -------
        ndarray, shape (n,)
            [m³ s⁻¹ Pa⁻¹]
        """
        z = np.exp(2j * math.pi * frequency / self.rate)
        back, s = self.reflection.response(z), _bilinear(z, self.rate)
        if self.vent:
            back = self.vent.at_reed(back, z, s)
        waves = (1.0 - back) / (1.0 + back) * self.throat.of_wave(s)
        return waves + self.throat.at_throat(s) + s * self.throat.compliance


def _bilinear(z: Complexes, rate: float) -> Complexes:
    return 2.0 * rate * (z - 1.0) / (z + 1.0)


@remembered(4096)
def waveguide(bore: Bore, volume: float, gas: Gas, rate: float) -> Waveguide:
    """Fit the delays and filters of a bore.

    Parameters
    ----------
    bore : Bore
        Its pieces, holes and end.
    volume : float
        Of the mouthpiece. [m³]
    gas : Gas
        Air in the bore.
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    Waveguide
        Passive: no response exceeds 1, from DC to half the rate.
    """
    with one_thread():
        looks_ahead = _looks_ahead(bore, volume, gas)
        own = _own_chamber(bore, gas, rate)
        narrow = bore.chain()[0] if own else _narrow_end(bore)
        return _guided(bore, throat(narrow, volume, gas, looks_ahead), gas, rate)


@functools.lru_cache(maxsize=512)
def _looks_ahead(bore: Bore, volume: float, gas: Gas) -> float:
    """Find how far ahead the throat's loss lies, by the height of the lowest impedance peak."""
    pieces, narrow = bore.chain(), _narrow_end(bore)
    if narrow[2] <= narrow[1]:
        return 0.0
    if bore.end == "lattice" or len(elements(bore)) > 1:
        return ECHOED_LOOKS_AHEAD
    rate = 96000.0
    hz = np.linspace(0.1, 0.6, 400) * gas.sound_speed / sum(piece[0] for piece in pieces)
    exact = bore_admittance(bore, 2.0 * math.pi * hz, gas)
    exact = exact + tube.cavity_admittance(volume, 2.0 * math.pi * hz, gas)
    peak = slice(int(np.abs(exact).argmin()), int(np.abs(exact).argmin()) + 1)
    low, high = LOOKS_AHEAD
    for _ in range(8):
        middle = 0.5 * (low + high)
        lumped = throat(narrow, volume, gas, middle)
        found = _guided(bore, lumped, gas, rate).admittance(hz[peak])
        low, high = (low, middle) if abs(found[0]) > abs(exact[peak][0]) else (middle, high)
    return 0.5 * (low + high)


class _Grid(NamedTuple):
    """Where a fit is made."""

    frequency: Reals
    omega: Reals
    z: Complexes
    bent: Complexes
    """Frequencies [rad/s] as the lumped elements see them."""


def _grid(rate: float, middle: int) -> _Grid:
    """Take frequencies dense where the horn plays, up to nearly half the rate."""
    low, high = np.geomspace(8.0, 200.0, 60), np.geomspace(6100.0, 0.49 * rate, 120)
    frequency = np.concatenate((low, np.linspace(210.0, 6000.0, middle), high))
    omega = 2.0 * math.pi * frequency
    z = np.exp(1j * omega / rate)
    unbent = 1.0 / (1.0 + (frequency / UNBENT_HZ) ** 4)
    return _Grid(frequency, omega, z, 1j * omega + unbent * (_bilinear(z, rate) - 1j * omega))


def _guided(bore: Bore, lumped: Throat, gas: Gas, rate: float) -> Waveguide:
    chain = elements(bore)
    grid = _grid(rate, 180 if _is_plain(chain) and not bore.lattice else 420)
    load = end_impedance(bore, grid.omega, gas)
    number = vent_number(bore)
    if number is not None:
        vent, below = _vented(bore, number, lumped, load, grid, gas, rate)
        return Waveguide(lumped, vent, below, rate)
    waves = _waves_at_reed(chain_admittance(chain, load, grid.omega, gas), lumped, grid)
    return Waveguide(lumped, None, _reflection(bore, chain, waves, grid, gas, rate), rate)


def _is_plain(chain: tuple[Element, ...]) -> bool:
    return len(chain) == (2 if _chamber(chain) else 1)


def _chamber(chain: tuple[Element, ...]) -> float:
    """Return the length [m] of a mouthpiece that is a tube before a cone; 0 if there is none.

    It is shorter than the tip that the cone lacks.
    """
    if len(chain) < 2 or isinstance(chain[0], Opening) or isinstance(chain[1], Opening):
        return 0.0
    length, entry, end = chain[0]
    cone = chain[1]
    return length if end <= entry and _widens(cone) and length < _missing_tip(cone) else 0.0


def _missing_tip(cone: Piece) -> float:
    length, entry, far = cone
    return entry * length / (far - entry)


def _narrow_end(bore: Bore) -> Piece:
    """Return the piece whose throat is thought to lie at the reed.

    The air in the tube of a mouthpiece moves with that in the cone's throat: long waves find one
    cone as wide as the tube, the tip that it lacks so much longer.
    """
    pieces = bore.chain()
    tip = tip_of_chamber(bore)
    if tip is None:
        return pieces[0]
    radius, length = pieces[0][2], pieces[1][0]
    return length, radius, radius * (1.0 + length / tip)


def throat_along(bore: Bore, lumped: Throat, gas: Gas) -> Throat:
    """Return the throat whose waves are one from the reed into the cone.

    That of the step, `lumped`, unless plane waves go down the tube of a mouthpiece there.
    """
    if lumped.throat.any() or tip_of_chamber(bore) is None:
        return lumped
    return throat(_narrow_end(bore), 0.0, gas, ECHOED_LOOKS_AHEAD)


def tip_of_chamber(bore: Bore) -> float | None:
    """Return the tip that long waves find lacking at the reed end of a mouthpiece's tube.

    Parameters
    ----------
    bore : Bore
        Its chain may begin with the tube of a mouthpiece.

    Returns
    -------
    float or None
        Nearer to the end of the tube it is shorter by the way [m]; None if there is no such tube.
    """
    pieces = bore.chain()
    chamber = _chamber(pieces)
    if not chamber:
        return None
    radius, cone = pieces[0][2], pieces[1]
    return chamber + _missing_tip(cone) * (radius / cone[1]) ** 2


def _waves_at_reed(admittance: Complexes, lumped: Throat, grid: _Grid) -> Complexes:
    """Return the reflection that the step has to make, its bent frequency axis allowed for."""
    waves = admittance - lumped.at_throat(grid.bent)
    waves = waves + (1j * grid.omega - grid.bent) * lumped.compliance
    waves = waves / lumped.of_wave(grid.bent)
    return (1.0 - waves) / (1.0 + waves)


def _waves_behind(admittance: Complexes, own: Chamber, lumped: Throat, grid: _Grid) -> Complexes:
    """Return the reflection that the step has to make behind a junction, beside the tip's mass.

    Both sides are told by the lossless resistance, so the losses of the tube's are divided out.
    """
    s = 1j * grid.omega
    waves = admittance * own.resistance / (lumped.of_wave(s) * lumped.resistance)
    waves = waves - own.resistance / (own.tip * grid.bent)
    return (1.0 - waves) / (1.0 + waves)


def _own_chamber(bore: Bore, gas: Gas, rate: float) -> Chamber | None:
    """Return the tube of a mouthpiece where the step has it by itself: above a vent.

    One filter for the whole way to a vent knows no wave that turns back twice.
    """
    number = vent_number(bore)
    above = split(bore, number)[0] if number is not None else ()
    length = sum(part[0] for part in above[1:] if not isinstance(part, Opening))
    if not _chamber(above) or 2.0 * length / gas.sound_speed * rate < SHORTEST:
        return None
    piece, cone = bore.chain()[:2]
    return chamber(piece, cone, _missing_tip(cone), gas, rate)


def _vented(
    bore: Bore, number: int, lumped: Throat, load: Complexes, grid: _Grid, gas: Gas, rate: float
) -> tuple[Vent, Reflection]:
    """Fit what lies below a vent, then the way to it from the reed, or from a tube's end."""
    above, hole, below = split(bore, number)
    admittance = chain_admittance(below, load, grid.omega, gas)
    whole = bore_admittance(bore, grid.omega, gas)
    first = next(part for part in below if not isinstance(part, Opening))
    s = 1j * grid.omega
    local = throat(first, 0.0, gas, ECHOED_LOOKS_AHEAD)
    waves = (admittance - local.at_throat(s)) / local.of_wave(s)
    target = (1.0 - waves) / (1.0 + waves)
    reflection = _reflection(bore, below, target, grid, gas, rate)
    size = np.abs(whole)
    lowest = grid.omega[1 + np.argmax((size[1:-1] < size[:-2]) & (size[1:-1] < size[2:]))]
    air = hole.shunt(np.array([lowest, 2.0 * math.pi * VENT_HZ]), gas)
    poles = _pole_row(UPPER_POLES, rate)
    own = _own_chamber(bore, gas, rate)
    least, way = (SHORTEST, above[1:]) if own else (2.0 * SHORTEST, above)
    length = sum(part[0] for part in way if not isinstance(part, Opening))
    delay = max(least, 2.0 * length / gas.sound_speed * rate)
    start = own or through(delay)
    vent = Vent(
        chamber=start,
        delay=delay if own else delay - start.delay,
        direct=1.0,
        gains=np.zeros(UPPER_POLES),
        poles=poles,
        mass=air[1].imag / (2.0 * math.pi * VENT_HZ),
        loss=air[0].real,
        jet=0.5 * gas.density * toneholes.JET_LOSS / (math.pi * hole.radius**2) ** 2,
        wave=0.5 * local.resistance,
    )
    if own:
        behind = chain_admittance(elements(bore)[1:], load, grid.omega, gas)
        upper = _waves_behind(behind, own, lumped, grid)
    else:
        upper = _waves_at_reed(whole, lumped, grid)
    upper = upper / vent.at_hole(target, grid.bent)
    weight = _relevance(grid.frequency, 50.0)
    basis = functools.partial(upper_basis, delay, poles)
    found = passive_fit(basis, grid.z, upper, weight)
    return vent._replace(direct=float(found[0]), gains=found[1:] * (1.0 - poles)), reflection


def _relevance(frequency: Reals, lowest: float, low: float = LOW_WEIGHT) -> Reals:
    """Return weights that favour the frequencies at which the horn resonates."""
    below, above = (lowest / frequency) ** 2, (frequency / 3000.0) ** 2
    return (1.0 + low * below) / (1.0 + below) * (1.0 + HIGH_WEIGHT * above) / (1.0 + above)


def _pole_row(count: int, rate: float, lowest: float = LOWEST_POLE_HZ) -> Reals:
    hz = np.geomspace(lowest, HIGHEST_POLE * rate, count)
    return np.exp(-2.0 * math.pi * hz / rate)


def _reflection(
    bore: Bore, chain: tuple[Element, ...], target: Complexes, grid: _Grid, gas: Gas, rate: float
) -> Reflection:
    """Fit early echoes, delay and filter of a chain to its reflection."""
    length = sum(part[0] for part in chain if not isinstance(part, Opening))
    if _is_plain(chain):
        starts = [length]
    else:
        starts = [first_opening(chain) - earlier for earlier in EARLIER]
    below = CHAMBER_LOW_WEIGHT if _chamber(chain) else LOW_WEIGHT
    shapes: list[tuple[float, Reflection, Reals]] = []
    for start in starts:
        stopping.check()
        delay = max(3.0, 2.0 * start / gas.sound_speed * rate)
        low = _relevance(grid.frequency, rate / (4.0 * delay), below)
        weight = low / np.maximum(1.0 - np.abs(target) ** 2, LEAST_LOSS)
        known = shapes[-1][1].pairs if shapes else None
        empty = _shape(bore, chain, delay, target, weight, grid, gas, rate, known)
        missed = Least.of(empty.basis(grid.z) * weight[:, None], target * weight).rest
        shapes.append((missed, empty, weight))
    _, best, weight = min(shapes, key=lambda shape: shape[0])
    if len(shapes) > 1:
        best = _shape(bore, chain, best.delay, target, weight, grid, gas, rate, best.pairs)
    return best.with_weights(passive_fit(best.basis, grid.z, target, weight))


def _widens(part: Element) -> bool:
    return not isinstance(part, Opening) and part[2] > part[1]


def _first_echo(part: Element) -> float:
    """Return the way [m] to the first echo and back: a cylinder sends nothing back."""
    return 0.0 if isinstance(part, Opening) or _widens(part) else 2.0 * part[0]


def _shape(
    bore: Bore,
    chain: tuple[Element, ...],
    delay: float,
    target: Complexes,
    weight: Reals,
    grid: _Grid,
    gas: Gas,
    rate: float,
    known: Complexes | None,
) -> Reflection:
    """Choose poles, pole pairs and places of echoes; all strengths still zero.

    Pairs that were found for nearly the same chain are a better beginning than an even row.
    """
    chamber = 2.0 * _chamber(chain) / gas.sound_speed * rate
    plain = _is_plain(chain) and (not chamber or bore.lattice is not None)
    poles = _pole_row(POLES, rate, CHAMBER_LOWEST_POLE_HZ if chamber else LOWEST_POLE_HZ)
    places = np.zeros(0)
    if chamber:
        # What the tube sends back comes evenly until its end is heard.
        near = np.linspace(3.0, chamber + 1.0, CHAMBER_ECHOES)
        later = np.linspace(chamber, delay, ECHOES + 1 - CHAMBER_ECHOES, endpoint=False)[1:]
        places = np.concatenate((near, later))
    elif not plain or (bore.lattice is not None and _widens(chain[0])):
        early = _first_echo(chain[0]) / gas.sound_speed * rate
        places = np.linspace(early, delay, ECHOES, endpoint=False)
    whole = np.unique(places.astype(np.int64))
    whole = whole[whole >= 3]
    radius = bore.chain()[-1][2]
    pairs = np.array([np.exp(END_POLE * gas.sound_speed / (radius * rate))])
    empty = Reflection(
        delay,
        0.0,
        np.zeros(POLES),
        poles,
        np.zeros((1, 2)),
        pairs,
        np.zeros(whole.size),
        whole,
        math.exp(-2.0 * math.pi * ECHO_HZ / rate),
    )
    if plain and bore.lattice is None:
        return empty
    if plain:
        count = CHAMBER_PAIRS if chamber else ROW_PAIRS
        starts = np.geomspace(0.6, 4.0, count) * row_cutoff(bore, gas)
    else:
        starts = np.linspace(800.0, 5000.0, PAIRS)
    start = np.exp((-0.1 + 1j) * 2.0 * math.pi * starts / rate)
    fixed = empty._replace(pairs=np.zeros(0, np.complex128)).basis(grid.z)
    late = delay_response(delay, grid.z)
    if not plain:
        weight = weight / (1.0 + (grid.frequency / HIGHEST_PAIR_HZ) ** 8)
    begin, rounds = (start, ROUNDS) if known is None else (known, ROUNDS_NEAR)
    rows, wanted = fixed * weight[:, None], target * weight
    some = slice(None, None, EVERY)
    pairs = find_pairs(
        rows[some], (late * weight)[some], begin, grid.z[some], wanted[some], rounds=rounds
    )
    return empty._replace(pairs=pairs, pair_gains=np.zeros((pairs.size, 2)))
