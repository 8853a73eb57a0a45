"""Vocal folds as two masses a side, one above the other, and folds whose sides differ.

The lower pair is 1, the upper one 2. x is how far a mass stands outwards from its rest; areas of
the passage are a = a₀ + l (x_left + x_right), where negative areas stand for pressed tissue.
Flow counts upwards. Pressures are those in excess of the pressure at which a₀ is the rest.

Scalars and the math module only, so that each formula can be compiled as it stands.
"""

import math
from typing import NamedTuple

CONTACT = 3.0
"""c/k: springs of pressed tissue over those of the masses (I. Steinecke and H. Herzel, J. Acoust.
Soc. Am. 97(3), 1874-1884, 1995, from memory)."""


class Side(NamedTuple):
    """The two masses of one side; pairs are lower, upper."""

    masses: tuple[float, float]
    """m. [kg]"""
    springs: tuple[float, float]
    """k. [N m⁻¹]"""
    coupling: float
    """k_c. [N m⁻¹]"""
    dampings: tuple[float, float]
    """r. [N s m⁻¹]"""
    heights: tuple[float, float]
    """d, along the flow. [m]"""
    length: float
    """l, from front to back. [m]"""


STEINECKE = Side((1.25e-4, 2.5e-5), (80.0, 8.0), 25.0, (0.02, 0.02), (2.5e-3, 0.5e-3), 14e-3)
"""I. Steinecke and H. Herzel, J. Acoust. Soc. Am. 97(3), 1874-1884, 1995, standard values (from
memory). Masses, springs and sizes are those of K. Ishizaka and J. L. Flanagan, Bell Syst. Tech. J.
51(6), 1233-1268, 1972 (read second hand)."""

STEINECKE_REST = 5e-6
"""a₀ of both pairs; same source (from memory). [m²]"""


def tensed(side: Side, tension: float) -> Side:
    """Return a side under another tension.

    Parameters
    ----------
    side : Side
        At tension 1.
    tension : float
        Q. [1]

    Returns
    -------
    Side
        Springs times Q, masses over Q: all natural frequencies times Q [1]_ (from memory).

    References
    ----------
    .. [1] I. Steinecke and H. Herzel, "Bifurcations in an asymmetric vocal-fold model," J. Acoust.
       Soc. Am. 97(3), 1874-1884, 1995.
    """
    return side._replace(
        masses=(side.masses[0] / tension, side.masses[1] / tension),
        springs=(side.springs[0] * tension, side.springs[1] * tension),
        coupling=side.coupling * tension,
    )


def natural_frequencies(side: Side) -> tuple[float, float]:
    """Natural frequencies of two coupled masses without damping.

    Parameters
    ----------
    side : Side
        The masses.

    Returns
    -------
    lower, higher : float
        [Hz]

    Notes
    -----
    ω² solves (ω₁² - ω²)(ω₂² - ω²) = k_c²/m₁m₂ with ω_i² = (k_i + k_c)/m_i.
    """
    first = (side.springs[0] + side.coupling) / side.masses[0]
    second = (side.springs[1] + side.coupling) / side.masses[1]
    exchange = side.coupling**2 / (side.masses[0] * side.masses[1])
    spread = math.hypot(0.5 * (first - second), math.sqrt(exchange))
    middle = 0.5 * (first + second)
    return (
        math.sqrt(middle - spread) / (2.0 * math.pi),
        math.sqrt(middle + spread) / (2.0 * math.pi),
    )


def passage_area(rest: float, length: float, left: float, right: float) -> float:
    """Area between two masses that face each other.

    Parameters
    ----------
    rest : float
        a₀. [m²]
    length : float
        l. [m]
    left, right : float
        How far each stands outwards. [m]

    Returns
    -------
    float
        a₀ + l (x_left + x_right), negative where they press on each other. [m²]
    """
    return rest + length * (left + right)


def narrowest(lower: float, upper: float) -> float:
    """Area of the stream where it leaves the folds.

    Parameters
    ----------
    lower, upper : float
        Areas of the passage. [m²]

    Returns
    -------
    float
        The smaller, 0 where one is shut. [m²]
    """
    return max(min(lower, upper), 0.0)


def lower_share(lower: float, upper: float) -> float:
    """Share of the pressure across the folds that stands between the lower masses.

    Parameters
    ----------
    lower, upper : float
        Areas a₁, a₂ of the passage. [m²]

    Returns
    -------
    float
        1 - (a_min/a₁)², a_min the `narrowest` area; 0 where the lower masses touch [1]_ (from
        memory). Between the upper masses stands the pressure above the folds.

    Notes
    -----
    P₁ = P_e + share (P_s - P_e): no loss up to the narrowest place, where a jet leaves the folds.
    Folds that widen upwards feel none of it, so the share turns at a₁ = a₂: the growth of a small
    swing is half of what the convergent side alone would give.

    References
    ----------
    .. [1] I. Steinecke and H. Herzel, "Bifurcations in an asymmetric vocal-fold model," J. Acoust.
       Soc. Am. 97(3), 1874-1884, 1995.
    """
    if lower <= 0.0:
        return 0.0
    ratio = narrowest(lower, upper) / lower
    return 1.0 - ratio * ratio


def mass_force(
    displacement: float,
    other: float,
    area: float,
    pressure: float,
    spring: float,
    coupling: float,
    height: float,
    length: float,
) -> float:
    """Force outwards on one mass, its damping left out.

    Parameters
    ----------
    displacement, other : float
        Of this mass and of the other one of the same side, x and x'. [m]
    area : float
        Of the passage beside it, a. [m²]
    pressure : float
        There, P. [Pa]
    spring, coupling : float
        Of this mass, k; between the two, k_c. [N m⁻¹]
    height, length : float
        Of this mass, d and l. [m]

    Returns
    -------
    float
        l d P - k x - k_c (x - x') + c (-a)/2l where a < 0, with c = `CONTACT` k [1]_ (from
        memory). [N]

    Notes
    -----
    Each side is pressed with its own spring. Sides of unequal tension so push each other with
    unequal forces, and contact gives or takes a few per cent of the energy of a period.

    References
    ----------
    .. [1] I. Steinecke and H. Herzel, "Bifurcations in an asymmetric vocal-fold model," J. Acoust.
       Soc. Am. 97(3), 1874-1884, 1995.
    """
    pressed = 0.5 * max(-area, 0.0) / length
    return (
        length * height * pressure
        - spring * (displacement - CONTACT * pressed)
        - coupling * (displacement - other)
    )
