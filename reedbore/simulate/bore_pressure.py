"""The pressure along the bore over time, redrawn from a take's travelling waves at the reed.

In: a take, a stretch of it, how finely. Out: pressure, and the waves towards and from the open end,
at each position and each frame; and what the bore looks like.

The take knows both waves at the reed. The outgoing one makes, in the exact bore with its holes and
its end, a pressure at each place (`acoustics`). The wave that came back in the take differs from
the exact one by what the fitted filter of the time step misses; that rest is carried along the bore
as what it is, a wave towards the reed, so that at the reed the picture is the take. Where the time
step has plane waves in the tube of a mouthpiece, these are drawn as all others: see `forward_part`.
"""

import math
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import sound, stopping
from reedbore.errors import ModelError
from reedbore.model.bore import Bore
from reedbore.model.setup import Setup
from reedbore.physics import tube
from reedbore.physics.air import Gas
from reedbore.simulate.acoustics import bore as acoustics
from reedbore.simulate.acoustics import numbers, reflection
from reedbore.simulate.acoustics.bore import Element, Opening
from reedbore.simulate.acoustics.throat import Throat
from reedbore.simulate.take import Take, burst

Reals = NDArray[np.float64]
Complexes = NDArray[Any]

SLOW_HZ = 20.0, 60.0
"""Between these slow waves turn into quick ones. [Hz]"""

MEMORY_S = 1.5
"""The slow waves of so much of the take are heard: friction and a cone's throat remember. [s]"""

MARGIN_S = 0.05
"""So much before and after a stretch is heard of the quick waves, its outer part faded. [s]"""

BAND_HZ = 6000.0, 8000.0
"""Beyond the reed, where nothing is left out, the picture fades between these. [Hz]"""

LOWEST_HZ = 1e-3
"""Stands for a constant pressure: the formulas begin above zero. At 0.1 Hz friction is another."""

STEADY_HZ = 10.0
"""Below this, the air that a flare takes beside the waves is left out: it would only drift."""

MOST_REST = 4.0
"""The rest that the fit misses is not let grow beyond so many times what it is at the reed."""

MOST_FRAMES, MOST_POINTS, LONGEST_S = 6000, 1000, 2.0


class BorePressure(NamedTuple):
    """The air in the bore over a stretch of a take."""

    positions: Reals
    """Shape (points,), from the reed to the open end. [m]"""
    times: Reals
    """Shape (frames,), since the take began. [s]"""
    steps: NDArray[np.int64]
    """Shape (frames,), the same as steps of the take: places in its traces."""
    pressure: Reals
    """Shape (frames, points). [Pa]"""
    forward: Reals
    """Shape (frames, points): the wave towards the open end, as `forward_part` parts them. [Pa]"""
    backward: Reals
    """Shape (frames, points): the wave towards the reed; both add up to the pressure. [Pa]"""
    outflow: Reals
    """Shape (frames,): through all openings together, outwards positive. [m³ s⁻¹]"""


class HolePlace(NamedTuple):
    """A tone hole: where [m], how wide [m], and the share of it that is open."""

    position: float
    radius: float
    open: float


class Outline(NamedTuple):
    """What a bore looks like."""

    profile: tuple[tuple[float, float], ...]
    """Position and radius at each bend, from the reed. [m]"""
    holes: tuple[HolePlace, ...]
    """From the reed; of an endless row the first one, which stands at the end."""
    end: str
    """As `bore.end`."""
    reach: float
    """Where the first opening is. [m]"""
    round_trip: float
    """How long a wave takes to the first opening and back. [s]"""


class Course(NamedTuple):
    """A state along the bore, per Pa at the reed; each array has shape (points, n)."""

    pressure: Complexes
    flow: Complexes


def pressures(
    take: Take, begin: float, seconds: float, frames: int = 240, points: int = 120
) -> BorePressure:
    """Redraw the air in the bore during a stretch of a take.

    Parameters
    ----------
    take : Take
        Its waves at the reed are the source.
    begin, seconds : float
        The stretch. [s]
    frames : int
        Evenly spread over the stretch, the first at its beginning, none at its end: a stretch of
        whole periods can be shown over and over. Each falls on the nearest step of the take.
    points : int
        Evenly spread from the reed to the open end.

    Returns
    -------
    Along
        At the reed the take itself; elsewhere up to `BAND_HZ`.

    Raises
    ------
    ModelError
        If the stretch is not inside the take, or there is nothing to draw.
    """
    steps = _steps(take, begin, seconds, frames, points)
    setup = take.setup
    bore, gas = _bore_at(setup, begin), acoustics.gas_of(setup)
    positions = np.linspace(0.0, _length(bore), points)
    window = _Window(take, steps, _length(bore) / gas.sound_speed)
    omega = 2.0 * math.pi * np.maximum(window.frequency, LOWEST_HZ)
    throat = numbers.waveguide_of(setup).throat
    exact, rest, outside = _courses(bore, positions, throat, omega, gas)
    out, missed = window.spectra(exact.pressure[0])
    drawn = Course(*(out * one + missed * other for one, other in zip(exact, rest, strict=True)))
    pressure = window.shown(drawn.pressure)
    along = reflection.throat_along(bore, throat, gas)
    there = forward_part(drawn, bore, positions, along, omega, gas)
    forward, beside = window.shown(there), window.shown(there[:1] - out)
    pressure[:, 0] = take.traces.pressure[steps]
    forward[:, 0] = take.traces.outgoing[steps] + beside[:, 0]
    outflow = window.shown((out * outside)[np.newaxis])[:, 0]
    times = steps / setup.time.rate
    return BorePressure(positions, times, steps, pressure, forward, pressure - forward, outflow)


def outline(setup: Setup) -> Outline:
    """Return what the bore of a setup looks like.

    Parameters
    ----------
    setup : Setup
        Its bore.

    Returns
    -------
    Outline
        To the end of its length; an endless row of holes goes on beyond.
    """
    bore = setup.bore
    shape = profile(bore)
    start = shape[-1][0]
    holes = [HolePlace(hole.position, 0.5 * hole.diameter, hole.open) for hole in bore.holes]
    if bore.lattice is not None:
        holes.append(HolePlace(start, 0.5 * bore.lattice.diameter, 1.0))
    reach = _reach(bore)
    trip = 2.0 * reach / acoustics.gas_of(setup).sound_speed
    return Outline(shape, tuple(holes), bore.end, reach, trip)


def profile(bore: Bore) -> tuple[tuple[float, float], ...]:
    """Return where [m] a bore has which radius [m], straight between, from the reed to the end."""
    found: list[tuple[float, float]] = []
    start = 0.0
    for length, entry, far in bore.chain():
        if not found or found[-1] != (start, entry):
            found.append((start, entry))
        start += length
        found.append((start, far))
    return tuple(found)


def _steps(take: Take, begin: float, seconds: float, frames: int, points: int) -> NDArray[np.int64]:
    """Return the steps of the frames; refuse what cannot be drawn."""
    for name, count, least, most in (
        ("frames", frames, 1, MOST_FRAMES),
        ("points", points, 2, MOST_POINTS),
    ):
        if not least <= count <= most:
            raise ModelError(f"{name} is {count}; allowed {least} to {most} (bore over time)")
    if not 0.0 < seconds <= LONGEST_S:
        raise ModelError(
            f"seconds is {seconds:g} s; allowed up to {LONGEST_S:g} s (bore over time)"
        )
    if not 0.0 <= begin <= take.seconds - seconds:
        raise ModelError(
            f"begin is {begin:g} s; a stretch of {seconds:g} s of this take may begin "
            f"between 0 and {max(take.seconds - seconds, 0.0):g} s (bore over time)"
        )
    rate = take.setup.time.rate
    steps = np.rint((begin + np.arange(frames) * (seconds / frames)) * rate).astype(np.int64)
    steps = np.minimum(steps, take.traces.pressure.size - 1)
    broken = burst(take.traces)
    if broken is not None and broken <= steps[-1]:
        raise ModelError(f"the run broke down after {broken / rate:.3f} s; nothing to draw there")
    return steps


class _Window:
    """A stretch of a take: spectra of its waves, slow part first, and the way back to frames.

    The slow part is heard with all that the bore remembers of it, the rest only between margins.
    """

    def __init__(self, take: Take, steps: NDArray[np.int64], flight: float) -> None:
        rate = take.setup.time.rate
        margin = round((MARGIN_S + 2.0 * flight) * rate)
        first, end = int(steps[0]) - margin, int(steps[-1]) + margin + 1
        self.size = sound.smooth_number(end - first)
        # A whole number of times as long, so that this length is smooth too.
        self.long = self.size * (1 + math.ceil(MEMORY_S * rate / self.size))
        self.steps, since = steps - first, steps - end + self.long
        slow = np.fft.rfftfreq(self.long, 1.0 / rate)
        self.slow = slow[slow < SLOW_HZ[1]]
        fast = np.fft.rfftfreq(self.size, 1.0 / rate)
        self.frequency = np.concatenate((self.slow, fast[fast < BAND_HZ[1]]))
        self.edge = _until(BAND_HZ, self.frequency)
        turns = np.exp(2j * math.pi / rate * np.outer(self.slow, since)) / self.long
        turns[1:] *= 2.0
        self.turns = np.concatenate((turns.real, -turns.imag))
        whole, fade = (_fade(size, 3 * margin // 4) for size in (self.long, end - first))
        until = burst(take.traces)
        self.heard = [
            self._spectra(_cut(trace[:until], end - self.long, end) * whole, fade)
            for trace in (take.traces.outgoing, take.traces.pressure)
        ]

    def _spectra(self, samples: Reals, fade: Reals) -> Complexes:
        """Return the spectra of the slow part of samples, and of the rest of the stretch, faded.

        Faded, the slow part would be a step, which the bore remembers: it is taken away before.
        """
        slow = np.fft.rfft(samples)[: self.slow.size] * _until(SLOW_HZ, self.slow)
        rest = samples[-fade.size :] - np.fft.irfft(slow, self.long)[-fade.size :]
        fast = np.fft.rfft(rest * fade, self.size)[: self.frequency.size - self.slow.size]
        return np.concatenate((slow, fast))

    def spectra(self, at_reed: Complexes) -> tuple[Complexes, Complexes]:
        """Return the outgoing wave, and what the pressure at the reed has beside the exact one."""
        outgoing, pressure = self.heard
        return outgoing, pressure - outgoing * at_reed

    def shown(self, spectra: Complexes) -> Reals:
        """Return, at each frame, what has these spectra, shape (points, n)."""
        stopping.check()
        slow, fast = np.split(spectra * self.edge, [self.slow.size], axis=1)
        fast[:, 0] = fast[:, 0].real
        samples: Reals = np.fft.irfft(fast, self.size, axis=1)[:, self.steps]
        samples += np.concatenate((slow.real, slow.imag), axis=1) @ self.turns
        return np.ascontiguousarray(samples.T)


def _until(band: tuple[float, float], frequency: NDArray[Any]) -> Reals:
    """Return 1 below a band [Hz], 0 above it, and half a cosine between."""
    low, high = band
    return 0.5 + 0.5 * np.cos(math.pi * np.clip((frequency - low) / (high - low), 0.0, 1.0))


def _fade(size: int, steps: int) -> Reals:
    """Return 1, with so many steps from 0 at the beginning and to 0 at the end.

    A cosine of a cosine: a plain one leaks so much of a low note below its pitch, where the bore
    remembers, that a cone misses by 1e-5.
    """
    rise = np.arange(steps) / steps
    for _ in range(2):
        rise = 0.5 - 0.5 * np.cos(math.pi * rise)
    return np.concatenate((rise, np.ones(size - 2 * steps), rise[::-1]))


def _cut(trace: Reals, first: int, end: int) -> Reals:
    """Cut a stretch out of a trace: silence before it, its mirror image after it."""
    samples = trace[max(first, 0) : end]
    samples = np.pad(samples, (max(-first, 0), 0))
    lacking = end - first - samples.size
    return np.pad(samples, (0, lacking), mode="symmetric") if lacking else samples


def _length(bore: Bore) -> float:
    return sum(piece[0] for piece in bore.chain())


def _reach(bore: Bore) -> float:
    """Return where [m] the first opening is: an open hole, or the end."""
    return min((hole.position for hole in bore.holes if hole.open > 0.0), default=_length(bore))


def _bore_at(setup: Setup, time: float) -> Bore:
    """Return the bore as it is at a time: a vent that opens later is still closed."""
    bore, number = setup.bore, acoustics.vent_number(setup.bore)
    if number is None or time >= bore.vent_after:
        return bore
    holes = list(bore.holes)
    holes[number] = holes[number].model_copy(update={"open": 0.0})
    return bore.model_copy(update={"holes": tuple(holes)})


def _courses(
    bore: Bore, positions: Reals, throat: Throat, omega: Reals, gas: Gas
) -> tuple[Course, Course, Complexes]:
    """Return what goes with the outgoing wave, with the rest, and what leaves the openings."""
    ports, kept = _ports(bore, positions, omega, gas)
    stopping.check()
    wave, beside = throat.of_wave(1j * omega), throat.at_throat(1j * omega)
    exact = _per_wave(ports, kept, acoustics.end_impedance(bore, omega, gas), wave, beside)
    rest = Course(*(course[kept] for course in _from_reed(ports, beside - wave)))
    taken, outside, _ = acoustics.outflow(bore, omega, gas)
    outside = outside / (0.5 * (1.0 + (taken - beside) / wave))
    return exact, _held(rest, positions, _reach(bore)), outside


def course_of_wave(
    bore: Bore, positions: Reals, throat: Throat, omega: Reals, gas: Gas, load: Complexes
) -> Course:
    """Return what goes along a bore with an outgoing wave of 1 Pa at the reed.

    Parameters
    ----------
    bore : Bore
        Its pieces and holes.
    positions : ndarray, shape (points,)
        Where. [m]
    throat : Throat
        What the waves at the reed are, and what stands beside them.
    omega : ndarray, shape (n,)
        Angular frequencies, above zero. [rad s⁻¹]
    gas : Gas
        Air in the bore.
    load : ndarray, shape (n,)
        Impedance of what stands at the end. [Pa s m⁻³]

    Returns
    -------
    Course
    """
    ports, kept = _ports(bore, positions, omega, gas)
    wave, beside = throat.of_wave(1j * omega), throat.at_throat(1j * omega)
    return _per_wave(ports, kept, load, wave, beside)


def _ports(
    bore: Bore, positions: Reals, omega: Reals, gas: Gas
) -> tuple[list[tube.TwoPort], NDArray[np.int64]]:
    """Return the two-ports of a chain cut at positions, and which of its nodes these are."""
    parts, nodes = _parts(bore, positions)
    stopping.check()
    alike = {part: acoustics.two_port(part, omega, gas) for part in set(parts)}
    return [alike[part] for part in parts], np.searchsorted(nodes, positions - acoustics.GRAIN)


def _per_wave(
    ports: list[tube.TwoPort],
    kept: NDArray[np.int64],
    load: Complexes,
    wave: Complexes,
    beside: Complexes,
) -> Course:
    """Return the state at the kept nodes, per Pa of the wave that leaves the reed."""
    exact = _from_end(ports, load)
    pressure, flow = exact.pressure[0], exact.flow[0]
    leaves = 0.5 * (pressure + (flow - beside * pressure) / wave)
    return Course(*(course[kept] / leaves for course in exact))


def _parts(bore: Bore, positions: Reals) -> tuple[list[Element], Reals]:
    """Cut the chain at positions; return its parts and where they begin and end [m]."""
    parts: list[Element] = []
    nodes = [0.0]
    for part in acoustics.elements(bore):
        if isinstance(part, Opening):
            parts.append(part)
            nodes.append(nodes[-1])
            continue
        start, (length, entry, far) = nodes[-1], part
        inner = positions - start
        inner = inner[(inner > acoustics.GRAIN) & (inner < length - acoustics.GRAIN)]
        cuts = [0.0, *inner.tolist(), length]
        taper = (far - entry) / length
        for one, other in pairwise(cuts):
            # Rounded to what no ear hears, so that a cylinder's parts are alike.
            ends = (round(entry + taper * one, 12), round(entry + taper * other, 12))
            parts.append((round(other - one, 12), *ends))
            nodes.append(start + other)
    return parts, np.maximum.accumulate(nodes)


def _from_end(ports: list[tube.TwoPort], load: Complexes) -> Course:
    """Follow pressure and flow from the open end to the reed, for a flow of 1 at the end."""
    pressure, flow = [load], [np.ones_like(load)]
    for a, b, c, d in reversed(ports):
        p, u = pressure[-1], flow[-1]
        pressure.append(a * p + b * u)
        flow.append(c * p + d * u)
    return Course(np.array(pressure[::-1]), np.array(flow[::-1]))


def _from_reed(ports: list[tube.TwoPort], admittance: Complexes) -> Course:
    """Follow pressure and flow from the reed to the open end, for 1 Pa at the reed."""
    pressure, flow = [np.ones_like(admittance)], [admittance]
    for a, b, c, d in ports:
        p, u = pressure[-1], flow[-1]
        pressure.append(d * p - b * u)
        flow.append(a * u - c * p)
    return Course(np.array(pressure), np.array(flow))


def _held(rest: Course, positions: Reals, reach: float) -> Course:
    """Let the rest be a wave up to the first opening, and die away linearly behind it."""
    last = int(np.searchsorted(positions, reach + acoustics.GRAIN)) - 1
    place = np.minimum(np.arange(positions.size), last)
    behind = np.maximum(positions - reach, 0.0) / max(positions[-1] - reach, acoustics.GRAIN)
    size = np.maximum(1.0, np.abs(rest.pressure[place]) / MOST_REST)
    return Course(*(course[place] * (1.0 - behind[:, np.newaxis]) / size for course in rest))


def forward_part(
    course: Course, bore: Bore, positions: Reals, throat: Throat, omega: Reals, gas: Gas
) -> Complexes:
    """Return the part of a state that travels towards the open end, spherical in a cone.

    The waves are those of the throat, scaled to the radius: at the reed they are a take's. Beside
    them a mass of air is moved, that of the tip which the cone lacks; so it is in the tube of a
    mouthpiece, where the mass is that of the air up to the cone, and of the cone's tip: from reed
    to cone the waves are one (A. H. Benade, "Equivalent circuits for conical waveguides", J.
    Acoust. Soc. Am. 83, 1988: a mass beside a plane wave). Where the taper changes further down,
    or a hole is open, a part of a wave turns back, and both waves step.

    Parameters
    ----------
    course : Course
        The state.
    bore, positions, throat, omega, gas
        As for `course_of_wave`.

    Returns
    -------
    ndarray, shape (points, n)
        [Pa]
    """
    pieces = np.array(bore.chain())
    starts = np.cumsum([0.0, *pieces[:, 0]])
    place = np.clip(np.searchsorted(starts, positions - acoustics.GRAIN) - 1, 0, len(pieces) - 1)
    length, entry, far = pieces.T
    taper = (far - entry) / length
    radius = entry[place] + taper[place] * (positions - starts[place])
    wave = (radius / entry[0])[:, np.newaxis] ** 2 * throat.of_wave(1j * omega)
    slope, first = taper[place], taper[0]
    tip = reflection.tip_of_chamber(bore)
    if tip is not None:
        slope = np.where(place == 0, entry[0] / (tip - np.minimum(positions, length[0])), slope)
        first = entry[0] / tip
    growth = (math.pi * radius * slope / gas.density)[:, np.newaxis]
    if first > 0.0:
        whole = math.pi * entry[0] * first / gas.density
        beside = growth / whole * throat.at_throat(1j * omega)
    else:
        steady = (2.0 * math.pi * STEADY_HZ / omega) ** 4
        beside = growth / (1j * omega * (1.0 + steady))
    travelling = (course.flow - beside * course.pressure) / wave
    return 0.5 * (course.pressure + travelling)
