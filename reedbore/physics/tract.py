"""The vocal tract above a sounding pair of vocal folds, and the mouth that ends it.

In: areas and lengths of cylinders from the glottis to the lips, and what stands at the lips. Out:
two-ports, transfers, impedances and formants. Lips round a mouthpiece are all but closed: what is
then heard of a vowel is the pressure that its tongue shape lets stand before the reed.

Volume flow is positive towards the lips; harmonic quantities vary as e^{+jωt}.
"""

import math
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]
TwoPort = tuple[Complexes, Complexes, Complexes, Complexes]


class Gas(Protocol):
    """What is needed of the air in the tract."""

    @property
    def density(self) -> float:
        """[kg m⁻³]."""

    @property
    def sound_speed(self) -> float:
        """[m s⁻¹]."""


class Shape(NamedTuple):
    """Cylinders from the glottis to the lips: areas [m²], and one length for them all [m]."""

    areas: tuple[float, ...]
    section_length: float

    @property
    def volume(self) -> float:
        """The air in it [m³]."""
        return sum(self.areas) * self.section_length


class Walls(NamedTuple):
    """How the walls of the tract yield and rub; all zero for rigid walls without friction."""

    damping: float
    """Resistance over mass of the walls. [rad s⁻¹]"""
    stiffness: float
    """Their own resonance, squared. [rad² s⁻²]"""
    closed_resonance: float
    """Of the closed tract between such walls, squared. [rad² s⁻²]"""
    friction: float
    """Of viscosity and heat conduction. [rad s⁻¹]"""


SOFT = Walls(130.0 * math.pi, (30.0 * math.pi) ** 2, (406.0 * math.pi) ** 2, 4.0)
"""Of a living tract: M. M. Sondhi and J. Schroeter, "A hybrid time-frequency domain articulatory
speech synthesizer," IEEE Trans. Acoust. Speech Signal Process. 35(7), 955-967, 1987 (from
memory)."""

HELD = SOFT._replace(stiffness=0.0)
"""The same while the lungs hold the mean pressure. A spring in the walls would leave the folds
alone to feed the reed: the closed tract has no way in at zero frequency. Without one the walls'
resistance stands for the lungs, as in `mouth_impedance`; above 60 Hz it makes no difference to
speak of, for the spring alone would resonate at 15 Hz."""


def _shape(length_cm: float, *areas_cm2: float) -> Shape:
    return Shape(tuple(1e-4 * area for area in areas_cm2), 1e-2 * length_cm / len(areas_cm2))


SHAPES = {
    "neutral": _shape(17.5, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0),
    "a": _shape(17.0, 0.6, 1.0, 1.2, 1.3, 2.6, 5.5, 7.0, 5.0),
    "i": _shape(16.0, 1.0, 4.5, 6.5, 6.0, 3.5, 1.0, 0.5, 1.2),
    "u": _shape(18.0, 1.0, 3.0, 4.5, 1.5, 0.8, 3.0, 5.5, 0.5),
}
"""A uniform tube, and tongue shapes of three vowels: our own, drawn to bring the formants of
each."""


WALL_HZ = 200.0
"""Resonance of the closed mouth and tract of a living singer: V. Radolf et al., J. Sound Vib. 366,
556, 2016."""

WALL_LOSS = 0.5
"""Resistance of the mouth's walls over the characteristic one of that resonance: our choice."""

USUAL_FLOW = 1e-4
"""Amplitude of the flow through sounding vocal folds (from memory). [m³ s⁻¹]"""

USUAL_DEPTHS = 0.02, 0.15
"""The depths that come of that flow and mouths of usual size, low to high voices."""


def two_port(shape: Shape, omega: Reals, gas: Gas, walls: Walls = SOFT) -> TwoPort:
    """Two-port of a tract from the glottis to the lips.

    Parameters
    ----------
    shape : Shape
        Its cylinders.
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        The air in it.
    walls : Walls
        Its walls.

    Returns
    -------
    TwoPort
        (A, B, C, D), each of shape (n,): p, U at the glottis = A p + B U, C p + D U at the lips.

    Notes
    -----
    Cylinder of length l and area S: A = D = cosh(σl/c), B = (ρc/S) γ sinh(σl/c),
    C = (S/ρcγ) sinh(σl/c), with γ = √((α + jω)/(β + jω)), σ = γ(β + jω),
    α = √(jω c₁), β = jω ω₀²/((jω + a) jω + b) + α; a, b, ω₀², c₁ are those of `Walls` [1]_.

    References
    ----------
    .. [1] M. M. Sondhi and J. Schroeter, "A hybrid time-frequency domain articulatory speech
       synthesizer," IEEE Trans. Acoust. Speech Signal Process. 35(7), 955-967, 1987 (from memory).
    """
    s = np.asarray(1j * omega, np.complex128)
    friction = np.sqrt(s * walls.friction)
    yielding = s * walls.closed_resonance / ((s + walls.damping) * s + walls.stiffness)
    beta = yielding + friction
    ratio = np.sqrt((friction + s) / (beta + s))
    angle = ratio * (beta + s) * shape.section_length / gas.sound_speed
    cosh, sinh = np.cosh(angle), np.sinh(angle)
    one, none = np.ones_like(s), np.zeros_like(s)
    whole: TwoPort = one, none, none, one
    for area in shape.areas:
        resistance = gas.density * gas.sound_speed / area * ratio
        a, b, c, d = whole
        e, f = sinh * resistance, sinh / resistance
        whole = a * cosh + b * f, a * e + b * cosh, c * cosh + d * f, c * e + d * cosh
    return whole


def pressure_at_lips(
    whole: TwoPort, admittance: Complexes | complex, glottis: Complexes | complex = 0.0
) -> Complexes:
    """Pressure at the lip end for a flow at the glottis.

    Parameters
    ----------
    whole : TwoPort
        The tract.
    admittance : ndarray, shape (n,), or complex
        Of what stands at the lips; 0 if they are closed. [m³ s⁻¹ Pa⁻¹]
    glottis : ndarray, shape (n,), or complex
        Admittance of the folds and what is below them, beside the source; 0 if they let nothing
        back. [m³ s⁻¹ Pa⁻¹]

    Returns
    -------
    ndarray, shape (n,)
        1/(C + D Y + Y_g (A + B Y)). [Pa s m⁻³]
    """
    a, b, c, d = whole
    return 1.0 / (c + d * admittance + glottis * (a + b * admittance))


def impedance_at_lips(whole: TwoPort, glottis: Complexes | complex = 0.0) -> Complexes:
    """Impedance of the tract seen from the lips: what a reed has upstream.

    Parameters
    ----------
    whole : TwoPort
        The tract.
    glottis : ndarray, shape (n,), or complex
        Admittance of the folds and what is below them; 0 if they are closed. [m³ s⁻¹ Pa⁻¹]

    Returns
    -------
    ndarray, shape (n,)
        (D + B Y)/(C + A Y). [Pa s m⁻³]
    """
    a, b, c, d = whole
    return (d + b * glottis) / (c + a * glottis)


def folds_conductance(area: float, reflection: float, gas: Gas) -> float:
    """Conductance of vocal folds that send back so much of a wave.

    Parameters
    ----------
    area : float
        Of the tract just above them. [m²]
    reflection : float
        Share of the pressure of a wave that comes back, 0 to 1.
    gas : Gas
        The air there.

    Returns
    -------
    float
        (1 − r)/(1 + r) · S/ρc. [m³ s⁻¹ Pa⁻¹]
    """
    return (1.0 - reflection) / (1.0 + reflection) * area / (gas.density * gas.sound_speed)


def channel_conductance(flow: float, pressure: float) -> float:
    """Conductance of the reed's channel to small changes, about a steady flow.

    Parameters
    ----------
    flow : float
        Steady flow into the mouthpiece. [m³ s⁻¹]
    pressure : float
        Steady pressure across the channel. [Pa]

    Returns
    -------
    float
        dU/dp = U/(2p), as U grows with √p (Bernoulli), the reed standing still. [m³ s⁻¹ Pa⁻¹]
    """
    return flow / (2.0 * pressure)


def mouth_impedance(volume: float, omega: Reals, gas: Gas) -> Complexes:
    """Impedance of a mouth whose walls yield.

    Parameters
    ----------
    volume : float
        Air in it, small against the wavelength. [m³]
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        That air.

    Returns
    -------
    ndarray, shape (n,)
        1/(jωC + 1/(R + jωM)), C = V/ρc². [Pa s m⁻³]

    Notes
    -----
    The mass M of the walls resonates with the air at `WALL_HZ`; R = `WALL_LOSS` √(M/C).
    """
    compliance = volume / (gas.density * gas.sound_speed**2)
    mass = 1.0 / ((2.0 * math.pi * WALL_HZ) ** 2 * compliance)
    resistance = WALL_LOSS * math.sqrt(mass / compliance)
    s = np.asarray(1j * omega, np.complex128)
    return 1.0 / (s * compliance + 1.0 / (resistance + s * mass))
