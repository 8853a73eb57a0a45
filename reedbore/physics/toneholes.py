"""Tone holes: two-ports of open and closed holes, the row of open holes, its cut-off.

A hole of radius b and chimney height t in a bore of radius a is a T-circuit: half a series
impedance, a shunt to the outside or to the closed chimney, and the other half. Radii and heights
in metres; two-ports (A, B, C, D) as in `tube`; time factor e^{+jωt}. `omega` is an array of shape
(n,), above zero; `propagation` is that of the chimney's walls [m⁻¹], by default lossless.
"""

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from reedbore.physics.air import Gas

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
TwoPort = tuple[Complexes, Complexes, Complexes, Complexes]

OUTER_END = 0.75
"""End correction of an open hole over its radius, between free (0.61) and flush (0.82): common
practice, no source."""

WHOLE_END = 1.5
"""End corrections of an open hole at both ends over its radius [Benade 1976]."""

JET_LOSS = 1.4
"""Pressure lost in a jet through a hole over ½ρv²: a sharp edge narrows the jet (from memory)."""


def inner_length(radius: float, bore_radius: float) -> float:
    """Length that the air moving inside the bore adds to a hole.

    Parameters
    ----------
    radius, bore_radius : float
        Of the hole, b, and of the bore, a. [m]

    Returns
    -------
    float
        t_i = b (0.822 - 0.095δ - 1.566δ² + 2.138δ³ - 1.640δ⁴ + 0.502δ⁵), δ = b/a [1]_. [m]

    References
    ----------
    .. [1] A. Lefebvre and G. P. Scavone, "Characterization of woodwind instrument toneholes with
       the finite element method," J. Acoust. Soc. Am. 131(4), 3153-3163, 2012.
    """
    delta = radius / bore_radius
    series = (0.822, -0.095, -1.566, 2.138, -1.640, 0.502)
    return radius * float(np.polynomial.polynomial.polyval(delta, series))


def matching_length(radius: float, bore_radius: float) -> float:
    """Length of the chimney between the hole's flat end and the round wall of the bore.

    Parameters
    ----------
    radius, bore_radius : float
        Of the hole, b, and of the bore, a. [m]

    Returns
    -------
    float
        t_m = (bδ/8)(1 + 0.207δ³), δ = b/a [1]_ (from memory). [m]

    References
    ----------
    .. [1] C. J. Nederveen, J. K. M. Jansen and R. R. van Hassel, "Corrections for woodwind
       tone-hole calculations," Acustica 84, 957-966, 1998.
    """
    delta = radius / bore_radius
    return radius * delta / 8.0 * (1.0 + 0.207 * delta**3)


def series_length(radius: float, chimney: float, bore_radius: float, *, is_open: bool) -> float:
    """Length, negative, that a hole takes from the bore by letting its flow widen.

    Parameters
    ----------
    radius, chimney, bore_radius : float
        b, t and a. [m]
    is_open : bool
        Whether the hole is open.

    Returns
    -------
    float
        t_a = -0.47 b δ⁴ / [tanh(1.84 t/b) + 0.62δ² + 0.64δ], coth for tanh if closed, over the
        cross-section of the hole [1]_. [m]

    References
    ----------
    .. [1] D. H. Keefe, "Woodwind air column models," J. Acoust. Soc. Am. 88(1), 35-51, 1990,
       eqs. 8 and 9.
    """
    delta = radius / bore_radius
    depth = math.tanh(1.84 * chimney / radius)
    depth = depth if is_open else 1.0 / depth
    return -0.47 * radius * delta**4 / (depth + 0.62 * delta**2 + 0.64 * delta)


def half_series(
    radius: float, chimney: float, bore_radius: float, omega: Reals, gas: "Gas", *, is_open: bool
) -> Complexes:
    """Half the impedance that a hole puts in series with the bore, for either side of it.

    Parameters
    ----------
    radius, chimney, bore_radius, omega, gas, is_open
        As for `shunt_impedance`.

    Returns
    -------
    ndarray, shape (n,)
        ½ jωρ t_a/πb² with t_a from `series_length`. [Pa s m⁻³]
    """
    length = series_length(radius, chimney, bore_radius, is_open=is_open)
    return np.asarray(0.5j * omega * gas.density / (math.pi * radius**2) * length, np.complex128)


def shunt_impedance(
    radius: float,
    chimney: float,
    bore_radius: float,
    omega: Reals,
    gas: "Gas",
    *,
    is_open: bool,
    propagation: Complexes | None = None,
) -> Complexes:
    """Impedance from the middle of the bore through a hole.

    Parameters
    ----------
    radius, chimney, bore_radius : float
        b, t and a. [m]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The air.
    is_open : bool
        Whether the hole is open.
    propagation : ndarray, shape (n,), optional
        Of a tube as wide as the chimney, with its losses. [m⁻¹]

    Returns
    -------
    ndarray, shape (n,)
        Open: Z_h [j k t_i + tanh Γ(t + t_m + t_r) + (kb)²/4]; closed: Z_h [j k t_i +
        coth Γ(t + t_m)], with Z_h = ρc/πb² [1]_. [Pa s m⁻³]

    References
    ----------
    .. [1] D. H. Keefe, "Theory of the single woodwind tone hole," J. Acoust. Soc. Am. 72(3),
       676-687, 1982.
    """
    free = 1j * omega / gas.sound_speed
    walls = free if propagation is None else propagation
    inner = walls * inner_length(radius, bore_radius)
    height = chimney + matching_length(radius, bore_radius)
    if is_open:
        outer = np.tanh(walls * (height + OUTER_END * radius)) - (free * radius) ** 2 / 4.0
    else:
        outer = 1.0 / np.tanh(walls * height)
    plain = gas.density * gas.sound_speed / (math.pi * radius**2)
    return np.asarray(plain * (inner + outer), np.complex128)


def hole(
    radius: float,
    chimney: float,
    bore_radius: float,
    omega: Reals,
    gas: "Gas",
    *,
    is_open: bool,
    propagation: Complexes | None = None,
) -> TwoPort:
    """Two-port of one tone hole.

    Parameters
    ----------
    radius, chimney, bore_radius, omega, gas, is_open, propagation
        As for `shunt_impedance`.

    Returns
    -------
    TwoPort
        (A, B, C, D), each of shape (n,).
    """
    outside = shunt_impedance(
        radius, chimney, bore_radius, omega, gas, is_open=is_open, propagation=propagation
    )
    half = half_series(radius, chimney, bore_radius, omega, gas, is_open=is_open)
    through = 1.0 + half / outside
    return through, half * (1.0 + through), 1.0 / outside, through


def row_impedance(cell: TwoPort) -> Complexes:
    """Impedance of an endless row of equal cells.

    Parameters
    ----------
    cell : TwoPort
        One hole and the bore up to the next.

    Returns
    -------
    ndarray, shape (n,)
        The root of C Z² + (D - A) Z - B = 0 that takes in energy. [Pa s m⁻³]
    """
    a, b, c, d = cell
    root = np.sqrt((a - d) ** 2 + 4.0 * b * c)
    first, second = (a - d + root) / (2.0 * c), (a - d - root) / (2.0 * c)
    return np.where(first.real >= second.real, first, second)


def cutoff(
    radius: float, chimney: float, bore_radius: float, spacing: float, sound_speed: float
) -> float:
    """Frequency above which waves run through a row of open holes.

    Parameters
    ----------
    radius, chimney, bore_radius, spacing : float
        b, t, a and the distance d between holes. [m]
    sound_speed : float
        [m s⁻¹]

    Returns
    -------
    float
        f = (c/2π)(b/a) / √(t_e d) with t_e = t + 1.5 b [1]_, for holes close together. [Hz]

    References
    ----------
    .. [1] A. H. Benade, "Fundamentals of Musical Acoustics," Oxford University Press, 1976,
       ch. 21.
    """
    height = chimney + WHOLE_END * radius
    return sound_speed / (2.0 * math.pi) * radius / bore_radius / math.sqrt(height * spacing)


def exact_cutoff(
    radius: float, chimney: float, bore_radius: float, spacing: float, sound_speed: float
) -> float:
    """Lower edge of the first band in which waves run through a row of open holes.

    Parameters
    ----------
    radius, chimney, bore_radius, spacing, sound_speed
        As for `cutoff`.

    Returns
    -------
    float
        Where cos kd + (b/a)² sin kd / (2 k t_e) = 1, the holes being inertances of length
        t_e = t + 1.5 b: the condition of waves in a periodic row [1]_. [Hz]

    References
    ----------
    .. [1] L. Brillouin, "Wave Propagation in Periodic Structures," McGraw-Hill, 1946.
    """
    height = chimney + WHOLE_END * radius
    ratio = (radius / bore_radius) ** 2 / (2.0 * height)
    low, high = 0.0, math.pi / (2.0 * spacing)
    for _ in range(60):
        k = 0.5 * (low + high)
        stopped = math.cos(k * spacing) + ratio * math.sin(k * spacing) / k > 1.0
        low, high = (k, high) if stopped else (low, k)
    return sound_speed * high / (2.0 * math.pi)
