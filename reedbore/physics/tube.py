"""Sound in a tube: wall losses, two-ports of cylinders and cones, input impedance, resonances.

A two-port is the tuple (A, B, C, D) of

    p_in = A p_out + B U_out
    U_in = C p_out + D U_out

with pressure p [Pa] and volume flow U [m³ s⁻¹] towards the open end; A and D have no unit, B is an
impedance [Pa s m⁻³], C an admittance. Time factor e^{+jωt}. Each entry is a complex array of
shape (n,), one value per angular frequency; `omega` is an array of shape (n,), above zero.
"""

import math
from collections.abc import Iterable
from functools import cache, lru_cache, reduce
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from reedbore.physics.air import Gas

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
TwoPort = tuple[Complexes, Complexes, Complexes, Complexes]

SERIES_LIMIT = 1.0 / 25.0  # largest 1/r at which the series of the wall layer is exact to 1e-13
FRACTION_TERMS = 60  # of J₁/J₀ where that series is not exact
WIDEST_PART = 1.3  # ratio of radii above which a lossy cone is cut into parts
NEWTON_STEPS = 5
KEPT_POINTS = 1000  # losses at no more frequencies than these are kept


class Peaks(NamedTuple):
    """The maxima of an input impedance, lowest first; each field has shape (n_peaks,).

    Parameters
    ----------
    frequency : ndarray
        Where the magnitude is largest. [Hz]
    height : ndarray
        Magnitude there. [unit of the impedance]
    quality : ndarray
        Frequency over half-power bandwidth.
    """

    frequency: Reals
    height: Reals
    quality: Reals


@cache
def _wall_layer_series(terms: int = 18) -> Reals:
    """Coefficients c of J₁(z)/J₀(z) = -j Σ c_k u^k, u = 1/(jz), far below the real axis.

    They follow from w' = 1 + w² - w/z for w = J₁/J₀: Σ_i c_i c_{m-i} = (m - 2) c_{m-1}, c₀ = 1.
    """
    c = np.zeros(terms)
    c[0] = 1.0
    for m in range(1, terms):
        c[m] = 0.5 * ((m - 2) * c[m - 1] - c[1:m] @ c[m - 1 : 0 : -1])
    return c


def _wall_layer(inverse_radius: Reals) -> Complexes:
    """F = 2 J₁(z)/(z J₀(z)), z = r√-j, from 1/r: the part of the tube that the layer fills."""
    u = np.exp(-0.25j * math.pi) * inverse_radius
    layer: Complexes = 2.0 * u * np.polynomial.polynomial.polyval(u, _wall_layer_series())
    narrow = inverse_radius > SERIES_LIMIT
    if narrow.any():
        layer[narrow] = 2.0 * u[narrow] * 1j * _bessel_ratio(-1j / u[narrow])
    return layer


def _bessel_ratio(z: Complexes) -> Complexes:
    """J₁(z)/J₀(z) by its continued fraction [1]_, from the end: exact to 1e-14 for |z| ≤ 25.

    A library has these functions, but takes as long to be loaded as a short take to be simulated.

    References
    ----------
    .. [1] NIST Digital Library of Mathematical Functions, 10.10.1.
    """
    ratio = np.zeros_like(z)
    for order in range(FRACTION_TERMS, 0, -1):
        ratio = 1.0 / (2.0 * order / z - ratio)
    return ratio


def wall_loss(radius: float, omega: Reals, gas: "Gas") -> tuple[Complexes, Complexes]:
    """Propagation and characteristic impedance of a round tube with friction and heat loss.

    Parameters
    ----------
    radius : float
        Radius a of the tube. [m]
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        The gas in the tube; with viscosity 0 the tube is lossless.

    Returns
    -------
    propagation : ndarray, shape (n,)
        Γ = α + jω/v: attenuation and phase. [m⁻¹]
    impedance : ndarray, shape (n,)
        Characteristic impedance Z_c. [Pa s m⁻³]

    Notes
    -----
    With r_v = a√(ρω/η), r_t = r_v √Pr and F(r) = 2 J₁(r√-j) / (r√-j J₀(r√-j)):
    Γ = (jω/c) √n and Z_c = (ρc/πa²) √m, where n = [1 + (γ-1) F(r_t)] / [1 - F(r_v)] and
    m = 1 / ([1 + (γ-1) F(r_t)] [1 - F(r_v)]), for smooth walls of constant temperature [1]_, in
    the notation of [2]_.

    References
    ----------
    .. [1] C. Zwikker and C. W. Kosten, "Sound Absorbing Materials," Elsevier, 1949, ch. 2.
    .. [2] D. H. Keefe, "Acoustical wave propagation in cylindrical ducts: transmission line
       parameter approximations for isothermal and nonisothermal boundary conditions,"
       J. Acoust. Soc. Am. 75(1), 58-62, 1984.
    """
    alike = omega.dtype == np.float64 and omega.ndim == 1 and isinstance(radius, float)
    if alike and omega.size <= KEPT_POINTS:
        return _kept_wall_loss(radius, omega.tobytes(), gas)
    return _wall_loss(radius, omega, gas)


@lru_cache(maxsize=256)
def _kept_wall_loss(radius: float, omega: bytes, gas: "Gas") -> tuple[Complexes, Complexes]:
    """As `wall_loss`: the pieces and holes of all bores of a horn have few radii."""
    propagation, impedance = _wall_loss(radius, np.frombuffer(omega), gas)
    propagation.flags.writeable = impedance.flags.writeable = False
    return propagation, impedance


def _wall_loss(radius: float, omega: Reals, gas: "Gas") -> tuple[Complexes, Complexes]:
    free = np.asarray(1j * omega / gas.sound_speed, np.complex128)
    plain = gas.density * gas.sound_speed / (math.pi * radius**2)
    inverse_radius = np.sqrt(gas.viscosity / (gas.density * omega)) / radius
    inertia = 1.0 - _wall_layer(inverse_radius)
    inverse_radius /= math.sqrt(gas.prandtl)
    compliance = 1.0 + (gas.heat_ratio - 1.0) * _wall_layer(inverse_radius)
    impedance = np.asarray(plain / np.sqrt(compliance * inertia), np.complex128)
    return free * np.sqrt(compliance / inertia), impedance


def _mean_loss_radius(entry_radius: float, exit_radius: float) -> float:
    """Logarithmic mean: losses go as 1/radius, whose mean is ln(r₂/r₁)/(r₂ - r₁)."""
    widening = exit_radius / entry_radius - 1.0
    return entry_radius * widening / math.log1p(widening) if widening else entry_radius


def cone(
    length: float, entry_radius: float, exit_radius: float, omega: Reals, gas: "Gas"
) -> TwoPort:
    """Two-port of a straight cone, opening or closing; equal radii give a cylinder.

    Parameters
    ----------
    length : float
        Length L along the axis. [m]
    entry_radius, exit_radius : float
        Radii r₁ at the side of the reed and r₂ at the side of the open end. [m]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The gas in the cone.

    Returns
    -------
    TwoPort
        (A, B, C, D), each of shape (n,).

    Notes
    -----
    Spherical waves with 1/x₁ = (r₂ - r₁)/(r₁L), 1/x₂ = (r₂ - r₁)/(r₂L) [1]_:
    A = (r₂/r₁) cosh ΓL - sinh ΓL/(Γx₁), B = Z sinh ΓL,
    C = [(1 - 1/(Γ²x₁x₂)) sinh ΓL + (1/(Γx₁) - 1/(Γx₂)) cosh ΓL] / Z,
    D = (r₁/r₂) cosh ΓL + sinh ΓL/(Γx₂).
    Γ and the losses in Z are those of a cylinder whose radius is the logarithmic mean of r₁ and r₂.

    References
    ----------
    .. [1] D. Mapes-Riordan, "Horn modeling with conical and cylindrical transmission-line
       elements," J. Audio Eng. Soc. 41(6), 471-484, 1993.
    """
    mean_radius = _mean_loss_radius(entry_radius, exit_radius)
    propagation, impedance = wall_loss(mean_radius, omega, gas)
    impedance = impedance * (mean_radius**2 / (entry_radius * exit_radius))
    grown = np.exp(propagation * length)
    sinh, cosh = 0.5 * (grown - 1.0 / grown), 0.5 * (grown + 1.0 / grown)
    taper = (exit_radius - entry_radius) / length
    near = taper / (entry_radius * propagation)
    far = taper / (exit_radius * propagation)
    return (
        exit_radius / entry_radius * cosh - near * sinh,
        impedance * sinh,
        ((1.0 - near * far) * sinh + (near - far) * cosh) / impedance,
        entry_radius / exit_radius * cosh + far * sinh,
    )


def cylinder(length: float, radius: float, omega: Reals, gas: "Gas") -> TwoPort:
    """Two-port of a cylinder.

    Parameters
    ----------
    length, radius : float
        Length L and radius. [m]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The gas in the cylinder.

    Returns
    -------
    TwoPort
        (A, B, C, D), each of shape (n,).

    Notes
    -----
    A = D = cosh ΓL, B = Z_c sinh ΓL, C = sinh ΓL / Z_c (transmission line [1]_).

    References
    ----------
    .. [1] N. H. Fletcher and T. D. Rossing, "The Physics of Musical Instruments," 2nd ed.,
       Springer, 1998, ch. 8.
    """
    return cone(length, radius, radius, omega, gas)


def chain(two_ports: Iterable[TwoPort]) -> TwoPort:
    """Two-port of several parts one behind the other, the part nearest the reed first.

    Parameters
    ----------
    two_ports : iterable of TwoPort
        At least one part.

    Returns
    -------
    TwoPort
        The matrix product of all parts.
    """
    return reduce(_product, two_ports)


def _product(first: TwoPort, second: TwoPort) -> TwoPort:
    a, b, c, d = first
    e, f, g, h = second
    return a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h


def bore_two_port(
    pieces: Iterable[tuple[float, float, float]], omega: Reals, gas: "Gas"
) -> TwoPort:
    """Two-port of a chain of cones and cylinders.

    Parameters
    ----------
    pieces : iterable of (length, entry_radius, exit_radius)
        From the reed to the open end. [m]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The gas in the bore.

    Returns
    -------
    TwoPort
        (A, B, C, D), each of shape (n,).

    Notes
    -----
    A cone loses more at its narrow end, so a wide one is cut until no part widens by more than
    `WIDEST_PART`. Against hundreds of cuts this leaves the resonances of a cone that widens
    fivefold within 0.1 cent and their heights within 0.5 %; uncut it misses by 4 cents and 18 %.
    """
    parts = (part for piece in pieces for part in _narrow_parts(*piece))
    return chain(cone(*part, omega, gas) for part in parts)


def _narrow_parts(
    length: float, entry_radius: float, exit_radius: float
) -> list[tuple[float, float, float]]:
    """Cut a cone at radii in geometric progression."""
    count = math.ceil(abs(math.log(exit_radius / entry_radius)) / math.log(WIDEST_PART))
    if count <= 1:
        return [(length, entry_radius, exit_radius)]
    radii = np.geomspace(entry_radius, exit_radius, count + 1).tolist()
    metres = length / (exit_radius - entry_radius)
    return [(metres * (out - into), into, out) for into, out in pairwise(radii)]


def input_impedance(two_port: TwoPort, load: Complexes | complex) -> Complexes:
    """Impedance at the reed end of a two-port.

    Parameters
    ----------
    two_port : TwoPort
        The bore.
    load : ndarray, shape (n,), or complex
        Impedance at its far end; 0 is an ideal open end. [Pa s m⁻³]

    Returns
    -------
    ndarray, shape (n,)
        Z_in = (A Z_L + B) / (C Z_L + D). [Pa s m⁻³]
    """
    a, b, c, d = two_port
    return (a * load + b) / (c * load + d)


def cavity_admittance(volume: float, omega: Reals, gas: "Gas") -> Complexes:
    """Admittance of a small volume of gas, such as the inside of a mouthpiece.

    Parameters
    ----------
    volume : float
        Volume V, small against the wavelength. [m³]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The gas in the cavity.

    Returns
    -------
    ndarray, shape (n,)
        jωV/(ρc²): adiabatic compression [1]_. [m³ s⁻¹ Pa⁻¹]

    References
    ----------
    .. [1] N. H. Fletcher and T. D. Rossing, "The Physics of Musical Instruments," 2nd ed.,
       Springer, 1998, ch. 8.
    """
    compliance = volume / (gas.density * gas.sound_speed**2)
    return np.asarray(1j * omega * compliance, np.complex128)


def peaks(frequency: Reals, impedance: Complexes) -> Peaks:
    """Find the maxima of an input impedance.

    Parameters
    ----------
    frequency : ndarray, shape (n,)
        Rising, evenly spaced or not, at least ten points from peak to peak. [Hz]
    impedance : ndarray, shape (n,)
        Input impedance. [any unit]

    Returns
    -------
    Peaks
        Frequency, height and quality factor of each maximum inside the range.

    Notes
    -----
    Near a resonance the admittance 1/Z runs along a nearly straight line past zero [1]_:
    1/Z = (1/h)[1 + 2jQ(f - f₀)/f₀]. A parabola through the three points about each minimum of
    |1/Z| follows it far better than one through |Z| would; its point nearest to zero gives f₀
    and h, its speed there Q.

    References
    ----------
    .. [1] N. H. Fletcher and T. D. Rossing, "The Physics of Musical Instruments," 2nd ed.,
       Springer, 1998, ch. 1.
    """
    admittance = 1.0 / impedance
    level = np.abs(admittance) ** 2
    top = 1 + np.flatnonzero((level[1:-1] < level[:-2]) & (level[1:-1] <= level[2:]))
    left, right = frequency[top - 1] - frequency[top], frequency[top + 1] - frequency[top]
    rise_left = (admittance[top - 1] - admittance[top]) / left
    rise_right = (admittance[top + 1] - admittance[top]) / right
    bend = (rise_right - rise_left) / (right - left)
    rise = rise_left - bend * left
    offset = np.zeros(top.size)
    for _ in range(NEWTON_STEPS):
        value = admittance[top] + (rise + bend * offset) * offset
        slope = rise + 2.0 * bend * offset
        step = (value * slope.conj()).real / np.abs(slope) ** 2
        offset = np.clip(offset - step, left, right)
    lowest = np.abs(admittance[top] + (rise + bend * offset) * offset)
    centre = frequency[top] + offset
    speed = np.abs(rise + 2.0 * bend * offset)
    return Peaks(centre, 1.0 / lowest, 0.5 * centre * speed / lowest)
