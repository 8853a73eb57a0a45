"""Exact acoustics of a bore: the chain from reed to outside, hole by hole, with all losses.

In: the `Bore` of a model, angular frequencies [rad s⁻¹], shape (n,), above zero, and the air. Out:
input admittance and what leaves through the openings. `kernel.reflection` fits what runs in time
to this; the tests hold it against published values.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.bore import Bore, Hole, Lattice
from reedbore.model.setup import Setup
from reedbore.physics import openings, radiation, toneholes, tube
from reedbore.physics.air import Gas, air_keefe

Reals = NDArray[np.float64]
Complexes = NDArray[Any]
Piece = tuple[float, float, float]

GRAIN = 1e-9
"""A shorter piece of bore between two holes is none. [m]"""


VENT_GAP = 0.1
"""An open hole so far above the next opening is a vent. [m]"""

MOST_ABOVE = 2
"""Holes above a vent, at most: with more it is a tone hole like others."""


@dataclass(frozen=True)
class Opening:
    """A tone hole in its place."""

    number: int
    """Among the holes of the bore, from 0; -1 in an endless row."""
    radius: float
    """Of the hole, or of a hole as large as the share of it that is open. [m]"""
    chimney: float
    """[m]"""
    bore_radius: float
    """[m]"""
    is_open: bool

    def shunt(self, omega: Reals, gas: Gas) -> Complexes:
        """Return the impedance from the bore through the hole, in Pa s m⁻³."""
        return toneholes.shunt_impedance(*self._shape(omega, gas), **self._kind(omega, gas))

    def two_port(self, omega: Reals, gas: Gas) -> tube.TwoPort:
        """Return the two-port of the hole."""
        return toneholes.hole(*self._shape(omega, gas), **self._kind(omega, gas))

    def _shape(self, omega: Reals, gas: Gas) -> tuple[float, float, float, Reals, Gas]:
        return self.radius, self.chimney, self.bore_radius, omega, gas

    def _kind(self, omega: Reals, gas: Gas) -> dict[str, Any]:
        return {"is_open": self.is_open, "propagation": tube.wall_loss(self.radius, omega, gas)[0]}


def _opening(hole: Hole, number: int, bore_radius: float) -> Opening:
    share = hole.open if hole.open > 0.0 else 1.0
    radius = 0.5 * hole.diameter * math.sqrt(share)
    return Opening(number, radius, hole.chimney, bore_radius, hole.open > 0.0)


Element = Piece | Opening


def elements(bore: Bore) -> tuple[Element, ...]:
    """List pieces of bore and holes in their order from the reed to the open end."""
    found: list[Element] = []
    start, waiting = 0.0, list(enumerate(bore.holes))
    pieces = bore.chain()
    for number, (length, entry, far) in enumerate(pieces):
        done = 0.0
        last = number == len(pieces) - 1
        while waiting and (waiting[0][1].position < start + length - GRAIN or last):
            at, hole = waiting.pop(0)
            here = min(hole.position - start, length)
            if here - done > GRAIN:
                found.append(_between(length, entry, far, done, here))
                done = here
            found.append(_opening(hole, at, entry + (far - entry) * here / length))
        if length - done > GRAIN:
            found.append(_between(length, entry, far, done, length))
        start += length
    return tuple(found)


def _between(length: float, entry: float, far: float, start: float, end: float) -> Piece:
    taper = (far - entry) / length
    return end - start, entry + taper * start, entry + taper * end


def split(bore: Bore, number: int) -> tuple[tuple[Element, ...], Opening, tuple[Element, ...]]:
    """Split the chain at a hole, counted from 0: what lies above, the hole, what lies below."""
    chain = elements(bore)
    for at, part in enumerate(chain):
        if isinstance(part, Opening) and part.number == number:
            return chain[:at], part, chain[at + 1 :]
    raise IndexError(number)


def vent_number(bore: Bore) -> int | None:
    """Return the number, from 0, of the hole that is open far above the others, if any."""
    places = [hole.position for hole in bore.holes if hole.open > 0.0]
    places.append(sum(piece[0] for piece in bore.chain()))
    first = next((k for k, hole in enumerate(bore.holes) if hole.open > 0.0), MOST_ABOVE + 1)
    return first if first <= MOST_ABOVE and places[1] - places[0] > VENT_GAP else None


def first_opening(chain: tuple[Element, ...]) -> float:
    """Return how far it is [m] to the first open hole, or to where the bore flares most."""
    at, flare, steepest = 0.0, 0.0, 0.0
    for part in chain:
        if isinstance(part, Opening):
            if part.is_open:
                return at
            continue
        length, entry, far = part
        taper = (far - entry) / length
        if taper > 1.5 * steepest:
            steepest, flare = taper, at
        at += length
    return flare if flare > 0.5 * at else at


def end_impedance(bore: Bore, omega: Reals, gas: Gas) -> Complexes:
    """Return the impedance of what lies behind the bore, in Pa s m⁻³.

    An open end by itself, in a wide wall, or an endless row of open tone holes. In a cone the
    holes of the row grow as the bore does, so that spherical waves meet equal cells.
    """
    length, entry, radius = bore.chain()[-1]
    if bore.lattice is not None:
        row = toneholes.row_impedance(_cell(bore.lattice, radius, omega, gas))
        taper = max(radius - entry, 0.0) / length
        return 1.0 / (1.0 / row + math.pi * radius * taper / (1j * omega * gas.density))
    reflect = {
        "unflanged": radiation.reflection_levine,
        "flanged": radiation.reflection_flanged_silva,
    }[bore.end]
    reflected = reflect(omega * radius / gas.sound_speed)
    resistance = gas.density * gas.sound_speed / (math.pi * radius**2)
    return resistance * (1.0 + reflected) / (1.0 - reflected)


def _row_hole(lattice: Lattice, radius: float) -> Opening:
    """Return a hole of the endless row; where the bore is narrower than it, as wide as that."""
    return Opening(-1, min(0.5 * lattice.diameter, radius), lattice.chimney, radius, True)


def _cell(lattice: Lattice, radius: float, omega: Reals, gas: Gas) -> tube.TwoPort:
    hole = _row_hole(lattice, radius).two_port(omega, gas)
    return tube.chain((hole, tube.cylinder(lattice.spacing, radius, omega, gas)))


def two_port(part: Element, omega: Reals, gas: Gas) -> tube.TwoPort:
    """Return the two-port of a piece of bore or of a hole."""
    if isinstance(part, Opening):
        return part.two_port(omega, gas)
    return tube.bore_two_port([part], omega, gas)


def chain_admittance(
    chain: tuple[Element, ...], load: Complexes, omega: Reals, gas: Gas
) -> Complexes:
    """Return the admittance of a chain with a load behind it, in m³ s⁻¹ Pa⁻¹."""
    impedance = load
    for part in reversed(chain):
        impedance = tube.input_impedance(two_port(part, omega, gas), impedance)
    return 1.0 / impedance


def bore_admittance(bore: Bore, omega: Reals, gas: Gas) -> Complexes:
    """Return the exact input admittance of a bore behind the mouthpiece.

    Parameters
    ----------
    bore : Bore
        Its pieces, holes and end.
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        Air in the bore.

    Returns
    -------
    ndarray, shape (n,)
        Volume flow over pressure at the reed end. [m³ s⁻¹ Pa⁻¹]
    """
    return chain_admittance(elements(bore), end_impedance(bore, omega, gas), omega, gas)


class Outflow(NamedTuple):
    """What a bore takes in and lets out, for 1 Pa at the reed; each of shape (n,)."""

    admittance: Complexes
    """As from `bore_admittance`. [m³ s⁻¹ Pa⁻¹]"""
    flow: Complexes
    """Sum of the flows out of open holes and open end. [m³ s⁻¹ Pa⁻¹]"""
    power: Reals
    """Mean sound power that leaves all of them, for an amplitude of 1 Pa. [W Pa⁻²]"""


def outflow(bore: Bore, omega: Reals, gas: Gas) -> Outflow:
    """Return what the bore takes in and what leaves through all openings, for 1 Pa at the reed.

    Parameters
    ----------
    bore, omega, gas
        As for `bore_admittance`.

    Returns
    -------
    Outflow
        Admittance, flow and power.

    Notes
    -----
    The chain is followed from the end towards the reed, the way in which no error grows. Each
    opening sends out ½R|U|² through its own radiation resistance R, which is what it takes from
    the bore beside the loss at its walls: the powers add up, however the flows stand to each other.
    That holes load each other, by which long waves lose more to the air, is left out.
    """
    pressure = end_impedance(bore, omega, gas)
    flow = np.ones_like(pressure)
    outside, power = flow.copy(), 0.5 * pressure.real
    if bore.lattice is not None:
        outside, power = _row_outflow(bore.lattice, bore.chain()[-1], pressure, omega, gas)
    for part in reversed(elements(bore)):
        a, b, c, d = two_port(part, omega, gas)
        before, inflow = a * pressure + b * flow, c * pressure + d * flow
        if isinstance(part, Opening) and part.is_open:
            outside = outside + (inflow - flow)
            power = power + _radiated(inflow - flow, omega, gas)
        pressure, flow = before, inflow
    return Outflow(flow / pressure, outside / pressure, power / np.abs(pressure) ** 2)


def _radiated(flow: Complexes, omega: Reals, gas: Gas) -> Reals:
    """Return the mean power that a flow out of a small hole sends into the open."""
    return np.asarray(0.5 * openings.point_resistance(omega, gas) * np.abs(flow) ** 2)


def _row_outflow(
    lattice: Lattice, last: Piece, pressure: Complexes, omega: Reals, gas: Gas
) -> tuple[Complexes, Reals]:
    """Return flow and power out of all holes of an endless row that begins with a pressure.

    Each hole lets out the same share of the one before, in a cone growing with the bore.
    """
    length, entry, radius = last
    a, b, c, d = _cell(lattice, radius, omega, gas)
    impedance = toneholes.row_impedance((a, b, c, d))
    a, _, c, _ = _row_hole(lattice, radius).two_port(omega, gas)
    first = pressure / impedance * (1.0 - a) + pressure * c
    passed = d - b / impedance
    grows = lattice.spacing * max(radius - entry, 0.0) / (length * radius)
    flow = first * (1.0 / (1.0 - passed) + grows * passed / (1.0 - passed) ** 2)
    return flow, _radiated(first, omega, gas) / (1.0 - np.abs(passed) ** 2)


def row_cutoff(bore: Bore, gas: Gas) -> float:
    """Return the cut-off [Hz] of the endless row of holes behind a bore."""
    assert bore.lattice is not None
    radius = bore.chain()[-1][2]
    hole = _row_hole(bore.lattice, radius)
    spacing, speed = bore.lattice.spacing, gas.sound_speed
    return toneholes.exact_cutoff(hole.radius, hole.chimney, radius, spacing, speed)


def open_row_cutoff(setup: Setup) -> float | None:
    """Return the cut-off [Hz] of the open tone holes of a setup; None if there is no row.

    That of an endless row; else of the first two open holes with none closed between them, as if
    the row went on like them.
    """
    bore, gas = setup.bore, gas_of(setup)
    if bore.lattice is not None:
        return row_cutoff(bore, gas)
    row = [part for part in elements(bore) if isinstance(part, Opening) and part.is_open]
    pairs = [(one, two) for one, two in pairwise(row) if two.number == one.number + 1]
    if not pairs:
        return None
    first, second = pairs[0]
    spacing = bore.holes[second.number].position - bore.holes[first.number].position
    return toneholes.exact_cutoff(
        first.radius, first.chimney, first.bore_radius, spacing, gas.sound_speed
    )


def gas_of(setup: Setup) -> Gas:
    """Return the air in the horn."""
    return air_keefe(setup.air.temperature)


def admittance(setup: Setup, frequency: Reals) -> Complexes:
    """Return the exact input admittance at the reed: bore, mouthpiece and giving reed.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece, reed and air.
    frequency : ndarray, shape (n,)
        Above zero. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        [m³ s⁻¹ Pa⁻¹]
    """
    gas, omega = gas_of(setup), 2.0 * math.pi * frequency
    held = setup.reed.held()
    reed = 1j * omega * held.area / held.stiffness
    mouthpiece = tube.cavity_admittance(setup.mouthpiece.volume, omega, gas)
    return bore_admittance(setup.bore, omega, gas) + mouthpiece + reed
