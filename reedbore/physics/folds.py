"""Vocal folds as one mass a side with a wave on its surface, and the air that passes between them.

The two folds move alike. x is half the gap between them in the middle of their thickness, v = ẋ;
the wave on the mucosa makes the lower edge run ahead and the upper edge lag behind. Per area of
fold M ẍ + B ẋ + K(x - x₀) = P_g, with x₀ half the gap at rest and P_g the mean pressure in the gap.
Flow counts upwards, from the lungs. Pressures are those in excess of the pressure under which the
folds rest at x₀: a singer who blows a horn holds them there against the breath.

Scalars and the math module only, so that each formula can be compiled as it stands.
"""

import math
from typing import NamedTuple

TINY = 1e-300  # keeps 0/0 out of `glottal_flow` without a branch

LOSS = 1.1
"""k_t: what the stream loses, in units of its kinetic pressure: I. R. Titze, J. Acoust. Soc. Am.
83(4), 1536-1552, 1988 (from memory)."""

MOST_SPREAD = 2.0
"""Upper over lower edge: beyond it the stream leaves the wall of the widening gap; our choice."""

STIFFER, DAMPER = 4.0, 3.0
"""So many times stiffness and damping grow where the folds press on each other; our choice, after
two-mass models that add three times their own springs (K. Ishizaka and J. L. Flanagan, Bell Syst.
Tech. J. 51(6), 1233-1268, 1972, from memory)."""


class Fold(NamedTuple):
    """One fold, and how it lies beside the other."""

    mass: float
    """Of what swings, M. [kg m⁻²]"""
    gap: float
    """Half of it at rest, x₀. [m]"""
    length: float = 14e-3
    """From front to back, L. [m]"""
    thickness: float = 3e-3
    """From the lower to the upper edge, T. [m]"""
    delay: float = 0.4e-3
    """The wave takes twice this from edge to edge: τ = T/2c. [s]"""
    damping_ratio: float = 0.1
    """ζ = B/2√(KM). [1]"""


class Kind(NamedTuple):
    """Folds of one kind of singer; each pair is the low and the high end of a range."""

    pitch: tuple[float, float]
    """What is sung. [Hz]"""
    length: tuple[float, float]
    """[m]"""
    thickness: tuple[float, float]
    """[m]"""


VOICES = {
    "light firm": Fold(mass=2.0, gap=0.15e-3),
    "light": Fold(mass=2.0, gap=0.30e-3),
    "light loose": Fold(mass=2.0, gap=0.45e-3),
    "firm": Fold(mass=3.0, gap=0.15e-3),
    "usual": Fold(mass=3.0, gap=0.30e-3),
    "loose": Fold(mass=3.0, gap=0.45e-3),
    "heavy firm": Fold(mass=5.0, gap=0.15e-3),
    "heavy": Fold(mass=5.0, gap=0.30e-3),
    "heavy loose": Fold(mass=5.0, gap=0.45e-3),
}
"""Nine pairs of folds that stand for all: nobody's own are known. Masses are those of 2 to 5 mm of
tissue, the depth of the cover and of the cover with part of the body; gaps half, once and one and
a half times a usual one. Ranges from memory, after the parameters of I. R. Titze, J. Acoust. Soc.
Am. 83(4), 1536-1552, 1988, and B. H. Story and I. R. Titze, J. Acoust. Soc. Am. 97(2), 1249-1260,
1995. Fixed before any lock was measured with them."""

KINDS = {
    "bass": Kind((82.0, 330.0), (14e-3, 18e-3), (2.5e-3, 3.5e-3)),
    "tenor": Kind((130.0, 520.0), (13e-3, 17e-3), (2.0e-3, 3.5e-3)),
    "alto": Kind((175.0, 700.0), (10e-3, 13e-3), (1.5e-3, 2.5e-3)),
    "soprano": Kind((260.0, 1050.0), (9e-3, 12e-3), (1.5e-3, 2.5e-3)),
}
"""Low and high, male and female voices. Pitches: common practice, no source. Folds: 16 mm long and
3 mm thick at rest in men, 10 mm and 2 mm in women (I. R. Titze and B. H. Story, J. Acoust. Soc. Am.
112(3), 1064-1076, 2002, from memory), with the spread that is told of adults (from memory)."""


def stiffness(mass: float, hz: float, cents: float = 0.0) -> float:
    """Stiffness of a fold from its natural frequency.

    Parameters
    ----------
    mass : float
        M. [kg m⁻²]
    hz : float
        Natural frequency, without air. [Hz]
    cents : float
        Tension beyond that: cents of natural frequency, not of the pitch that is sung.

    Returns
    -------
    float
        K = M (2πf)² 2^(cents/600). [Pa m⁻¹]
    """
    return mass * (2.0 * math.pi * hz) ** 2 * math.exp2(cents / 600.0)


def damping(mass: float, stiff: float, ratio: float) -> float:
    """Damping of a fold from its share of the critical one.

    Parameters
    ----------
    mass : float
        M. [kg m⁻²]
    stiff : float
        K. [Pa m⁻¹]
    ratio : float
        ζ. [1]

    Returns
    -------
    float
        B = 2ζ√(KM). [Pa s m⁻¹]
    """
    return 2.0 * ratio * math.sqrt(stiff * mass)


def edges(half_gap: float, velocity: float, delay: float) -> tuple[float, float]:
    """Half gaps at the lower and at the upper edge.

    Parameters
    ----------
    half_gap : float
        In the middle, x. [m]
    velocity : float
        Of the fold, outwards, v. [m s⁻¹]
    delay : float
        τ. [s]

    Returns
    -------
    lower, upper : float
        x + τv and x - τv: x(t ± τ) for a wave that is long against the thickness [1]_. [m]

    References
    ----------
    .. [1] I. R. Titze, "The physics of small-amplitude oscillation of the vocal folds," J. Acoust.
       Soc. Am. 83(4), 1536-1552, 1988.
    """
    ahead = delay * velocity
    return half_gap + ahead, half_gap - ahead


def velocity_now(velocity: float, before: float) -> float:
    """Velocity at a step, from those half a step and one and a half steps ago.

    Parameters
    ----------
    velocity, before : float
        The later and the earlier. [m s⁻¹]

    Returns
    -------
    float
        A straight line through both, half a step on. [m s⁻¹]

    Notes
    -----
    The wave on the folds feeds them by their velocity. Taken half a step late, that is a mass of
    Bδt/2 more: it flattens the voice by a cent at 96 kHz.
    """
    return 1.5 * velocity - 0.5 * before


def glottal_area(lower: float, upper: float, length: float) -> float:
    """Area of the stream where it leaves the folds.

    Parameters
    ----------
    lower, upper : float
        Half gaps at the edges. [m]
    length : float
        Of the folds, L. [m]

    Returns
    -------
    float
        2L times the upper half gap, or times `MOST_SPREAD` lower ones if that is less; 0 if the
        folds touch. [m²]
    """
    return 2.0 * length * max(min(upper, MOST_SPREAD * lower), 0.0)


def pressure_share(lower: float, upper: float, loss: float = LOSS) -> float:
    """Share of the pressure across the folds that stands in the gap between them.

    Parameters
    ----------
    lower, upper : float
        Half gaps x₁, x₂ at the edges. [m]
    loss : float
        k_t. [1]

    Returns
    -------
    float
        (1 - x₂/x₁)/k_t between open folds [1]_, never below (1 - `MOST_SPREAD`)/k_t; 1 where only
        the lower edge is open, 0 where only the upper one is, ½ where both are shut.

    Notes
    -----
    Mean pressure in the gap: P_g = P_e + share (P_s - P_e), P_s below and P_e above the folds.

    References
    ----------
    .. [1] I. R. Titze, "The physics of small-amplitude oscillation of the vocal folds," J. Acoust.
       Soc. Am. 83(4), 1536-1552, 1988.
    """
    if lower > 0.0 and upper > 0.0:
        return (lower - min(upper, MOST_SPREAD * lower)) / (loss * lower)
    if lower > 0.0:
        return 1.0
    if upper > 0.0:
        return 0.0
    return 0.5


def glottal_flow(
    drive: float, area: float, impedance: float, density: float, loss: float = LOSS
) -> float:
    """Flow through a glottis of known area between two air columns.

    Parameters
    ----------
    drive : float
        Pressure Δ across the folds if nothing flowed. [Pa]
    area : float
        a, never negative. [m²]
    impedance : float
        How much of Δ a flow takes back at once, Z, on both sides together. [Pa s m⁻³]
    density : float
        Of the air, ρ. [kg m⁻³]
    loss : float
        k_t. [1]

    Returns
    -------
    float
        The one U that solves Δ = ZU + k_t ρ |U|U/2a²; exactly 0 for a = 0. [m³ s⁻¹]

    Notes
    -----
    U = 2a²Δ/(Za² + √(Z²a⁴ + 2k_t ρ a²|Δ|)): the root of a quadratic in the form that subtracts
    nothing and divides by no area (algebra). UΔ ≥ 0, and so U times the pressure that is left
    across the folds: they take power out of the stream and give it none.
    """
    square = area * area
    resisted = impedance * square
    root = math.sqrt(resisted * resisted + 2.0 * loss * density * square * abs(drive))
    return 2.0 * square * drive / (resisted + root + TINY)


def displaced_flow(velocity: float, length: float, thickness: float) -> float:
    """Flow of the air that fills the gap as two folds move apart.

    Parameters
    ----------
    velocity : float
        Of each fold, v. [m s⁻¹]
    length, thickness : float
        L and T. [m]

    Returns
    -------
    float
        2LTv. [m³ s⁻¹]

    Notes
    -----
    Low-order folds leave it out. Then the air works on them at no cost: a singer's tissue burns 8
    to 10 % of the lungs' power on top of it. With `pressure_share` s of this flow taken from below
    and 1 - s of it from above, the air loses the power that the folds gain, P_g · 2LTv, whatever s
    is (derived here), and the balance of the whole closes.
    """
    return 2.0 * length * thickness * velocity


def contact_damping(damp: float, half_gap: float) -> float:
    """Damping of a fold that may press on the other.

    Parameters
    ----------
    damp : float
        B. [Pa s m⁻¹]
    half_gap : float
        x. [m]

    Returns
    -------
    float
        `DAMPER` times B for x < 0, else B. [Pa s m⁻¹]
    """
    return damp * DAMPER if half_gap < 0.0 else damp


def spring_pressure(half_gap: float, rest: float, stiff: float) -> float:
    """Pressure with which a fold is drawn back to its rest.

    Parameters
    ----------
    half_gap, rest : float
        x and x₀. [m]
    stiff : float
        K. [Pa m⁻¹]

    Returns
    -------
    float
        K(x₀ - x), and (`STIFFER` - 1) K(-x) more for x < 0. [Pa]
    """
    return stiff * (rest - half_gap - (STIFFER - 1.0) * min(half_gap, 0.0))


def next_velocity(velocity: float, push: float, damp: float, give: float) -> float:
    """Velocity half a step from now, from the one half a step ago.

    Parameters
    ----------
    velocity : float
        Half a step ago. [m s⁻¹]
    push : float
        Pressure on the fold now, that of its spring included. [Pa]
    damp : float
        B. [Pa s m⁻¹]
    give : float
        δt/M, of a step less than two over the angular natural frequency. [s m² kg⁻¹]

    Returns
    -------
    float
        ((1 - β)v + P δt/M)/(1 + β), β = Bδt/2M; then x moves on by δt times it. [m s⁻¹]

    Notes
    -----
    Central differences in time. Work of the pressure less loss is then exactly the change of
    ½Mv² + ½K(x - x₀)(x⁺ - x₀) between open folds (algebra), which no drive without loss can
    change. It serves a mass in kg with forces as well.
    """
    half = 0.5 * damp * give
    return ((1.0 - half) * velocity + give * push) / (1.0 + half)


def jet_speed(drop: float, density: float, loss: float = LOSS) -> float:
    """Speed of the stream between the folds.

    Parameters
    ----------
    drop : float
        Pressure across the folds, not negative. [Pa]
    density : float
        ρ. [kg m⁻³]
    loss : float
        k_t. [1]

    Returns
    -------
    float
        √(2P/k_t ρ). [m s⁻¹]
    """
    return math.sqrt(2.0 * drop / (loss * density))


def threshold_pressure(damp: float, rest: float, delay: float, loss: float = LOSS) -> float:
    """Pressure across the folds at which they begin to sing, without air columns.

    Parameters
    ----------
    damp : float
        B. [Pa s m⁻¹]
    rest : float
        Half the gap, x₀. [m]
    delay : float
        τ. [s]
    loss : float
        k_t. [1]

    Returns
    -------
    float
        P = k_t B x₀/2τ = k_t B x₀ c/T [1]_. [Pa]

    References
    ----------
    .. [1] I. R. Titze, "The physics of small-amplitude oscillation of the vocal folds," J. Acoust.
       Soc. Am. 83(4), 1536-1552, 1988.
    """
    return 0.5 * loss * damp * rest / delay
