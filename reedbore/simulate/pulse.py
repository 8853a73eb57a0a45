"""One push sent down a quiet bore, and what comes back.

In: a bore, what stands at its end, how finely. Out: pressure along the bore over time, with the
wave towards the end apart; all from the exact bore, without a reed that lets anything in: the reed
end is a rigid wall, from which each wave that comes back leaves again.
"""

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.bore import Bore, Hole
from reedbore.physics.air import Gas, air_keefe
from reedbore.simulate import bore_pressure
from reedbore.simulate.acoustics import bore as acoustics
from reedbore.simulate.acoustics.reflection import LOOKS_AHEAD
from reedbore.simulate.acoustics.throat import throat

Reals = NDArray[np.float64]
End = Literal["open", "closed", "hole"]

RATE, STEPS = 32000.0, 1 << 13
"""Of the transform: a quarter of a second, in which what is left of a pulse dies away. [Hz]"""

WIDTH, LEAST_WIDTH = 0.035, 0.5
"""Standard deviation of the push: a share of the length, or of the radius at the end if that is
more: a push that is narrower than its bore would leave instead of turning round."""

PEAK = 1000.0
"""Of the push as it leaves the reed. [Pa]"""

RETURNS = 3
"""So often it may come back before it is let go."""

BEGINS = 4.0
"""Of the first moment, in widths before the peak leaves."""

HOLE_AT, HOLE_WIDTH, HOLE_CHIMNEY = 0.55, 0.6, 0.004
"""Of the hole: as shares of the length and of the bore there, and in metres."""

SLOWEST_HZ = 60.0
"""What of a push in a cone is slower is left out. [Hz]"""

LOW_HZ = 20.0
"""Here the end correction is read off: far below the bore's width. [Hz]"""


class Pulse(NamedTuple):
    """The air in a bore while one push runs through it."""

    positions: Reals
    """Shape (points,), from the reed to the end. [m]"""
    times: Reals
    """Shape (frames,); at 0 its peak leaves the reed. [s]"""
    pressure: Reals
    """Shape (frames, points). [Pa]"""
    forward: Reals
    """Shape (frames, points): the wave towards the end; the rest runs towards the reed. [Pa]"""
    back: Reals
    """Shape (frames,): the wave that arrives at the reed. [Pa]"""
    extra: float
    """How far behind an open end the wave turns round; 0 if it is stopped. [m]"""
    bore: Bore
    """As it was used."""
    speed: float
    """Of sound. [m s⁻¹]"""


def pulse(bore: Bore, end: End, kelvin: float, frames: int = 240, points: int = 120) -> Pulse:
    """Send one push down a quiet bore.

    Parameters
    ----------
    bore : Bore
        Without holes.
    end : str
        What is at its end: `open` air, a rigid stopper (`closed`), or open air behind a tone `hole`
        that is open half-way.
    kelvin : float
        Temperature of the air. [K]
    frames, points : int
        Evenly spread over two round trips, and from the reed to the end.

    Returns
    -------
    Pulse
    """
    gas = air_keefe(kelvin)
    length = sum(piece[0] for piece in bore.chain())
    if end == "hole":
        bore = bore.model_copy(update={"holes": (_hole(bore, length),)})
    positions = np.linspace(0.0, length, points)
    frequency = np.fft.rfftfreq(STEPS, 1.0 / RATE)
    omega = 2.0 * math.pi * np.maximum(frequency, bore_pressure.LOWEST_HZ)
    load = (
        np.full(omega.size, 1e15, complex)
        if end == "closed"
        else acoustics.end_impedance(bore, omega, gas)
    )
    narrow = throat(bore.chain()[0], 0.0, gas, LOOKS_AHEAD[0])
    course = bore_pressure.course_of_wave(bore, positions, narrow, omega, gas, load)
    wave, beside = narrow.of_wave(1j * omega), narrow.at_throat(1j * omega)
    again = (wave - beside) / (wave + beside) * (course.pressure[0] - 1.0)
    long = max(WIDTH * length, LEAST_WIDTH * bore.chain()[-1][2])
    width = long / gas.sound_speed
    sent = (
        _push(omega, width)
        * _without_blowing(bore, omega)
        * sum(again**count for count in range(RETURNS))
    )
    forward = bore_pressure.forward_part(course, bore, positions, narrow, omega, gas)
    times = np.linspace(-BEGINS * width, (4.0 * length + 8.0 * long) / gas.sound_speed, frames)
    whole, there = (_at(times, sent * part) for part in (course.pressure, forward))
    return Pulse(
        positions, times, whole, there, (whole - there)[:, 0],
        0.0 if end == "closed" else end_correction(bore, gas), bore, gas.sound_speed,
    )  # fmt: skip


def _hole(bore: Bore, length: float) -> Hole:
    at = HOLE_AT * length
    return Hole(
        position=at, diameter=HOLE_WIDTH * bore.diameter_at(at), chimney=HOLE_CHIMNEY, open=1.0
    )


def _push(omega: Reals, width: float) -> NDArray[np.complex128]:
    """Return the spectrum of a bell-shaped push around the time 0."""
    area = PEAK * width * math.sqrt(2.0 * math.pi)
    return np.asarray(area * np.exp(-0.5 * (omega * width) ** 2), np.complex128)


def _without_blowing(bore: Bore, omega: Reals) -> NDArray[np.complex128]:
    """Return what keeps a push from blowing air into a cone for ever, 1 for a tube of even width.

    A wave of nothing but high pressure in a cone goes with a flow that stays (its pressure is what
    that flow gains), and would blow a stopped cone up: the slowest part is left out.
    """
    entry, far = bore.chain()[0][1], bore.chain()[-1][2]
    if far <= entry:
        return np.ones(omega.size, np.complex128)
    return 1j * omega / (1j * omega + 2.0 * math.pi * SLOWEST_HZ)


def _at(times: Reals, spectra: NDArray[np.complex128]) -> Reals:
    """Return at some times [s], shape (n,), what has these spectra, shape (points, m)."""
    spectra = spectra.copy()
    spectra[:, 0] = spectra[:, 0].real
    samples = np.fft.irfft(spectra * RATE, STEPS, axis=1)
    at = times * RATE
    first = np.floor(at).astype(int)
    part = at - first
    one, other = samples[:, first % STEPS], samples[:, (first + 1) % STEPS]
    return np.ascontiguousarray((one * (1.0 - part) + other * part).T)


def end_correction(bore: Bore, gas: Gas) -> float:
    """Return by how much an open end is longer than it is, from the phase of what it sends back.

    Parameters
    ----------
    bore : Bore
        Its last piece and its end.
    gas : Gas
        Air in the bore.

    Returns
    -------
    float
        For low notes; 0 for an endless row of holes, which has no end. [m]
    """
    if bore.lattice is not None:
        return 0.0
    omega = np.array([2.0 * math.pi * LOW_HZ])
    radius = bore.chain()[-1][2]
    resistance = gas.density * gas.sound_speed / (math.pi * radius**2)
    load = acoustics.end_impedance(bore, omega, gas)
    back = (load - resistance) / (load + resistance)
    return float(-np.angle(-back)[0] * gas.sound_speed / (2.0 * omega[0]))
