"""The air below and above singing folds, a step at a time.

Below: resonators in a row, which stand for the airway down to the lungs. Above: cylinders in which
waves run up and down unchanged but for a loss, and scatter where the area changes; at the lips a
cavity whose wall is a mass with friction. Every rule of a step is the mean over the step
(trapezoids): without loss and drive the energies named below stay what they are.

Waves and pressures are deviations from the breath pressure, so a loss in the waves is no leak for
the breath. Flow counts upwards, from the lungs to the lips.

Functions are scalar and use the math module only, so that each can be compiled as it stands.
"""

import math
from itertools import pairwise
from typing import NamedTuple

SUBGLOTTAL_HZ = 550.0, 1300.0, 2100.0
"""Resonances below the folds. The second lies at 1280 to 1620 Hz over speakers: X. Chi and M.
Sonderegger, J. Acoust. Soc. Am. 122(3), 1735-1745, 2007; first and third from memory."""

SUBGLOTTAL_WIDTH = 150.0
"""Of each, at half power; our choice. [Hz]"""

WINDPIPE_AREA, WINDPIPE_LENGTH = 2.5e-4, 0.18
"""Of the tube that has them. Between the effective lengths of men, 19.5 cm, and women,
16 cm: N. Hanna, J. Smith and J. Wolfe, J. Acoust. Soc. Am. 143, 2639, 2018 (page from memory). The
area is our choice. [m², m]"""


class Resonator(NamedTuple):
    """Compliance, resistance and inertance side by side, in the way of the flow."""

    compliance: float
    """C. [m³ Pa⁻¹]"""
    resistance: float
    """R; infinite for no loss. [Pa s m⁻³]"""
    inertance: float
    """L. [kg m⁻⁴]"""


class Section(NamedTuple):
    """A cylinder of the tract as a pair of delays."""

    area: float
    """[m²]"""
    steps: int
    """From end to end."""


def resonator(hz: float, width: float, compliance: float) -> Resonator:
    """Resonator from its resonance.

    Parameters
    ----------
    hz, width : float
        Of the resonance; between its half-power points. [Hz]
    compliance : float
        C. [m³ Pa⁻¹]

    Returns
    -------
    Resonator
        L = 1/(2πf)²C, R = 1/(2π Δf C).
    """
    omega = 2.0 * math.pi * hz
    resistance = math.inf if width == 0.0 else 1.0 / (2.0 * math.pi * width * compliance)
    return Resonator(compliance, resistance, 1.0 / (omega * omega * compliance))


def windpipe(density: float, sound_speed: float) -> tuple[Resonator, ...]:
    """Return the airway below the folds.

    Parameters
    ----------
    density, sound_speed : float
        Of its air: ρ [kg m⁻³] and c [m s⁻¹].

    Returns
    -------
    tuple of Resonator
        Each with C = A l/2ρc²: what a tube has at each of its resonances, where the squared
        pressure is half of the greatest on average (derived here).
    """
    compliance = 0.5 * WINDPIPE_AREA * WINDPIPE_LENGTH / (density * sound_speed**2)
    return tuple(resonator(hz, SUBGLOTTAL_WIDTH, compliance) for hz in SUBGLOTTAL_HZ)


def resonator_impedance(part: Resonator, step: float) -> float:
    """Pressure that a resonator loses at once for a flow out of it.

    Parameters
    ----------
    part : Resonator
        The resonator.
    step : float
        δt. [s]

    Returns
    -------
    float
        z = 1/(2C/δt + 1/R + δt/2L). [Pa s m⁻³]
    """
    stored = 2.0 * part.compliance / step
    return 1.0 / (stored + 1.0 / part.resistance + 0.5 * step / part.inertance)


def resonator_history(pressure: float, flow: float, stored: float, impedance: float) -> float:
    """Pressure over the coming step if nothing flowed.

    Parameters
    ----------
    pressure : float
        Now, p. [Pa]
    flow : float
        Through the inertance now, i. [m³ s⁻¹]
    stored : float
        2C/δt. [m³ s⁻¹ Pa⁻¹]
    impedance : float
        z. [Pa s m⁻³]

    Returns
    -------
    float
        z (2C p/δt - i); z times the flow through the folds less is the mean over the step. [Pa]
    """
    return impedance * (stored * pressure - flow)


def resonator_moved(
    pressure: float, flow: float, middle: float, inverse_mass: float
) -> tuple[float, float]:
    """Pressure and flow of a resonator after the step.

    Parameters
    ----------
    pressure, flow : float
        Before it, p and i. [Pa, m³ s⁻¹]
    middle : float
        Mean pressure over the step. [Pa]
    inverse_mass : float
        δt/L. [m³ s⁻¹ Pa⁻¹]

    Returns
    -------
    pressure, flow : float
        2 p_mid - p, i + δt p_mid/L. Without loss ½Cp² + ½Li² changes by the work of the flow.
    """
    return 2.0 * middle - pressure, flow + inverse_mass * middle


def sections(
    areas: tuple[float, ...], section_length: float, sound_speed: float, step: float
) -> tuple[tuple[Section, ...], float]:
    """Cut a tract into delays of whole steps.

    Parameters
    ----------
    areas : tuple of float
        Of its cylinders from the folds to the lips. [m²]
    section_length : float
        Of each. [m]
    sound_speed : float
        c. [m s⁻¹]
    step : float
        δt. [s]

    Returns
    -------
    sections : tuple of Section
        Steps of equal areas in one; in all as many as come nearest to the time that a wave takes,
        so that formants are off by half a step in the tract, 1.1 % at 96 kHz.
    rest : float
        Air of the tract beyond them, or less than none: what the cavity at the lips holds more.
        [m³]

    Notes
    -----
    Step by step, the compliance of a part of the tract goes with the mean area, its inertance with
    the mean of 1/area. A part is given the area √(mean A / mean 1/A), which has their wave
    impedance, and takes √(mean A · mean 1/A) of its length over c: longer, where the area changes
    within it, than a cylinder of that length (derived here).
    """
    length = sound_speed * step
    whole = len(areas) * section_length / length
    least = max(math.floor(whole), 1)
    misses, parts = [], []
    for steps in (least, least + 1, least + 2):
        ends = [k * len(areas) / steps for k in range(steps + 1)]
        means = [_means(areas, begin, end) for begin, end in pairwise(ends)]
        taken = sum(math.sqrt(spring * mass) for spring, mass in means) * whole / steps
        misses.append(abs(taken - steps))
        parts.append([math.sqrt(spring / mass) for spring, mass in means])
    made: list[Section] = []
    for area in parts[misses.index(min(misses))]:
        if made and math.isclose(made[-1].area, area, rel_tol=1e-9):
            made[-1] = made[-1]._replace(steps=made[-1].steps + 1)
        else:
            made.append(Section(area, 1))
    volume = sum(areas) * section_length
    return tuple(made), volume - sum(part.area * part.steps for part in made) * length


def _means(areas: tuple[float, ...], begin: float, end: float) -> tuple[float, float]:
    """Return the means of A and 1/A over a part of the tract, its ends counted in cylinders."""
    shares = [max(min(end, k + 1.0) - max(begin, float(k)), 0.0) for k in range(len(areas))]
    spring = sum(share * area for share, area in zip(shares, areas, strict=True))
    mass = sum(share / area for share, area in zip(shares, areas, strict=True))
    return spring / sum(shares), mass / sum(shares)


def wave_impedance(area: float, density: float, sound_speed: float) -> float:
    """Pressure over flow in a wave along a tube.

    Parameters
    ----------
    area : float
        A. [m²]
    density, sound_speed : float
        ρ [kg m⁻³] and c [m s⁻¹].

    Returns
    -------
    float
        ρc/A. [Pa s m⁻³]
    """
    return density * sound_speed / area


def wave_gain(width: float, steps: int, step: float) -> float:
    """Share that is left of a wave after some steps.

    Parameters
    ----------
    width : float
        Of every resonance at half power, for walls and air alone: B. [Hz]
    steps : int
        How many.
    step : float
        δt. [s]

    Returns
    -------
    float
        e^{-πB n δt}.
    """
    return math.exp(-math.pi * width * steps * step)


def reflection(before: float, after: float) -> float:
    """Share of a pressure wave that a change of area sends back.

    Parameters
    ----------
    before, after : float
        Areas, in the order in which the wave meets them. [m²]

    Returns
    -------
    float
        (A₁ - A₂)/(A₁ + A₂) [1]_; a wave that comes the other way meets its negative.

    References
    ----------
    .. [1] J. L. Kelly and C. C. Lochbaum, "Speech synthesis," Proc. Fourth Int. Congr. Acoust.,
       G42, 1-4, 1962.
    """
    return (before - after) / (before + after)


def scattered(up: float, down: float, share: float) -> tuple[float, float]:
    """Waves that leave a change of area.

    Parameters
    ----------
    up, down : float
        Waves that arrive from below and from above. [Pa]
    share : float
        `reflection`, as seen from below.

    Returns
    -------
    up, down : float
        u + r(u - d), d + r(u - d): pressure and flow are the same on both sides. [Pa]
    """
    jump = share * (up - down)
    return up + jump, down + jump


class Mouth(NamedTuple):
    """The numbers of the cavity before the reed, over one step."""

    stored: float
    """2C/δt. [m³ s⁻¹ Pa⁻¹]"""
    wall_kept: float
    """κ: share of the wall's flow that friction leaves over half a step."""
    wall_pushed: float
    """κ δt/2M. [m³ s⁻¹ Pa⁻¹]"""
    wave: float
    """2 over the wave impedance of the tube that opens into it; 0 without one.
    [m³ s⁻¹ Pa⁻¹]"""
    impedance: float
    """Pressure that it loses at once for a flow into the reed. [Pa s m⁻³]"""


def mouth(
    compliance: float, mass: float, resistance: float, tube_impedance: float, step: float
) -> Mouth:
    """Numbers of a cavity, its wall, and the tube that opens into it.

    Parameters
    ----------
    compliance : float
        Of its air, C. [m³ Pa⁻¹]
    mass, resistance : float
        Of its wall, M and R; an infinite mass for a rigid wall. [kg m⁻⁴, Pa s m⁻³]
    tube_impedance : float
        Wave impedance of the tube Z; infinite where none opens. [Pa s m⁻³]
    step : float
        δt. [s]

    Returns
    -------
    Mouth
        With κ = 1/(1 + δtR/2M) and the impedance 1/(2C/δt + 1/Z + κδt/2M).
    """
    push = 0.5 * step / mass
    kept = 1.0 / (1.0 + push * resistance)
    stored = 2.0 * compliance / step
    total = stored + 1.0 / tube_impedance + kept * push
    return Mouth(stored, kept, kept * push, 2.0 / tube_impedance, 1.0 / total)


def mouth_history(
    pressure: float,
    wall_flow: float,
    arriving: float,
    stored: float,
    wall_kept: float,
    wave: float,
    impedance: float,
) -> float:
    """Pressure in the cavity over the coming step if nothing flowed into the reed.

    Parameters
    ----------
    pressure : float
        Now, p. [Pa]
    wall_flow : float
        That the wall gives way to now, U_w. [m³ s⁻¹]
    arriving : float
        Wave that comes up the tube, f. [Pa]
    stored, wall_kept, wave, impedance : float
        Of the `Mouth`.

    Returns
    -------
    float
        Z_m (2C p/δt + 2f/Z - κU_w); Z_m times the flow into the reed less is the mean over the
        step. [Pa]
    """
    return impedance * (stored * pressure + wave * arriving - wall_kept * wall_flow)


def mouth_moved(
    pressure: float, wall_flow: float, middle: float, wall_kept: float, wall_pushed: float
) -> tuple[float, float]:
    """Pressure in the cavity and flow of its wall after the step.

    Parameters
    ----------
    pressure, wall_flow : float
        Before it, p and U_w. [Pa, m³ s⁻¹]
    middle : float
        Mean pressure over the step. [Pa]
    wall_kept, wall_pushed : float
        Of the `Mouth`.

    Returns
    -------
    pressure, wall_flow : float
        2 p_mid - p, and 2U_mid - U_w with U_mid = κ U_w + κδt/2M p_mid. The wave that goes back
        down the tube is p_mid less the one that arrived.
    """
    flow = wall_kept * wall_flow + wall_pushed * middle
    return 2.0 * middle - pressure, 2.0 * flow - wall_flow
