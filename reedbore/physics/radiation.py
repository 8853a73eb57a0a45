"""The open end: what comes back into the tube, what load it makes, what is heard outside.

`ka` is wave number times radius, an array of shape (n,), zero or above. Reflections R = p⁻/p⁺ are
complex arrays of shape (n,), referred to the end of the tube, time factor e^{+jωt}:

    R = -|R| exp(-2j ka (l/a)),    l/a = end correction over radius.

`reflection_levine` is the theory of an unflanged end; `reflection_flanged_silva` is for an end in a
wide wall.
"""

import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import scipy  # its part "special" loads at first use, so this line costs 10 ms and not 140

if TYPE_CHECKING:
    from reedbore.physics.air import Gas

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

PLANE_WAVE_LIMIT = 3.8317059702075123  # first zero of J₁: above it a tube carries a second mode
LAST_EXACT = 3.8  # ka up to which `reflection_levine` is the theory itself
SERIES_DEGREE = 50


def reflection_levine(ka: Reals) -> Complexes:
    """Reflection at the end of a thin-walled unflanged tube.

    Parameters
    ----------
    ka : ndarray, shape (n,)
        Wave number times radius, zero or above.

    Returns
    -------
    ndarray, shape (n,)
        R = p⁻/p⁺.

    Notes
    -----
    With the Bessel functions J₁, N₁, I₁, K₁ [1]_:

    ln|R| = -(2ka/π) ∫₀^{ka} arctan(-J₁/N₁) dx / (x √(k²a² - x²)),
    l/a = (1/π) ∫₀^{ka} ln[πJ₁ √(J₁² + N₁²)] dx / (x √(k²a² - x²))
    + (1/π) ∫₀^∞ ln[1/(2I₁K₁)] dx / (x √(x² + k²a²)).

    The integrals are evaluated once, at the nodes of a Chebyshev series that is within 1e-8 of
    them. The theory ends at ka = 3.83. From ka = 3.8 the phase settles to its value there and |R|
    goes on as its own law for high frequencies, √ka e^{-ka}: smooth, below 0.08, and falling.

    References
    ----------
    .. [1] H. Levine and J. Schwinger, "On the radiation of sound from an unflanged circular pipe,"
       Phys. Rev. 73(4), 383-406, 1948.
    """
    room = PLANE_WAVE_LIMIT - LAST_EXACT
    beyond = np.maximum(ka - LAST_EXACT, 0.0)
    within = np.where(beyond > 0.0, PLANE_WAVE_LIMIT - room * np.exp(-beyond / room), ka)
    log_reflection = within * _series_at(within)
    law = 0.5 * np.log1p((ka - within) / np.maximum(within, 1.0)) - (ka - within)
    return np.asarray(-np.exp(log_reflection + law), np.complex128)


def _series_at(ka: Reals) -> Complexes:
    """ln(-R)/ka from the cached series."""
    distance = np.sqrt(np.maximum(1.0 - ka / PLANE_WAVE_LIMIT, 0.0))
    exponent = np.polynomial.chebyshev.chebval(2.0 * distance - 1.0, _levine_series())
    return np.asarray(exponent, np.complex128)


@cache
def _levine_series() -> Complexes:
    """Chebyshev series of ln(-R)/ka in √(1 - ka/3.83), the variable in which R has no cusp."""
    nodes = np.polynomial.chebyshev.chebpts1(SERIES_DEGREE + 1)
    ka = PLANE_WAVE_LIMIT * (1.0 - (0.5 * (1.0 + nodes)) ** 2)
    log_size, correction = levine_integrals(ka)
    exponent = log_size / ka - 2j * correction
    series = np.polynomial.chebyshev.chebfit(nodes, exponent, SERIES_DEGREE)
    return np.asarray(series, np.complex128)


def levine_integrals(ka: Reals) -> tuple[Reals, Reals]:
    """Integrals of `reflection_levine` by quadrature, slow but free of any fit.

    Parameters
    ----------
    ka : ndarray, shape (n,)
        Wave number times radius, above 0 and below 3.83.

    Returns
    -------
    log_size : ndarray, shape (n,)
        ln |R|.
    end_correction : ndarray, shape (n,)
        l/a.

    Notes
    -----
    x = ka sin θ in the finite integrals, by 64-point Gauss-Legendre quadrature in s with
    θ = (π/2)(3s² - 2s³), which crowds the points where the integrand bends; x = e^t in the
    infinite one, where the trapezoid rule converges as fast.
    """
    special = scipy.special
    nodes, weights = np.polynomial.legendre.leggauss(64)
    s = 0.5 * (1.0 + nodes)
    weights = 1.5 * math.pi * weights * s * (1.0 - s)
    sine = np.sin(0.5 * math.pi * s**2 * (3.0 - 2.0 * s))
    x = ka[:, np.newaxis] * sine
    j, n = special.j1(x), special.y1(x)
    log_size = -(2.0 / math.pi) * np.arctan2(j, -n) @ (weights / sine)
    finite = (np.log(math.pi * j * np.hypot(j, n)) / x) @ weights
    t, step = np.linspace(-14.0, 30.0, 201, retstep=True)
    x = np.exp(t)
    bounded = np.minimum(x, 1e8)  # 2I₁K₁ → 1/x, and the library stops short of 1e9
    tail = np.log(x / bounded) - np.log(2.0 * special.ive(1, bounded) * special.kve(1, bounded))
    infinite = step * np.sum(tail / np.hypot(x, ka[:, np.newaxis]), axis=1)
    return log_size, (finite + infinite) / math.pi


def _reflection(size: Reals, correction: Reals, ka: Reals) -> Complexes:
    reflection: Complexes = -size * np.exp(-2j * ka * correction)
    return reflection


def reflection_flanged_silva(ka: Reals) -> Complexes:
    """Reflection at an end in an infinite wall by a closed formula, for ka up to about 3.5.

    Parameters
    ----------
    ka : ndarray, shape (n,)
        Wave number times radius.

    Returns
    -------
    ndarray, shape (n,)
        R = p⁻/p⁺.

    Notes
    -----
    With q = k²a²: |R| = (1 + 0.73q)/(1 + 1.73q + 0.372q² + 0.0231q³),
    l/a = 0.8216 (1 + 0.244q)/(1 + 0.723q - 0.0198q² + 0.00366q³) [1]_
    (coefficients from memory; the tests hold them to an exact calculation).

    References
    ----------
    .. [1] F. Silva, P. Guillemain, J. Kergomard, B. Mallaroni and A. N. Norris, "Approximation
       formulae for the acoustic radiation impedance of a cylindrical pipe," J. Sound Vib.
       322(1-2), 255-263, 2009.
    """
    q = ka**2
    size = (1.0 + 0.73 * q) / (1.0 + 1.73 * q + 0.372 * q**2 + 0.0231 * q**3)
    ratio = (1.0 + 0.244 * q) / (1.0 + 0.723 * q - 0.0198 * q**2 + 0.00366 * q**3)
    return _reflection(size, 0.8216 * ratio, ka)


def spread_pressure(
    power: Reals, distance: float, gas: "Gas", solid_angle: float = 4.0 * math.pi
) -> Reals:
    """Sound pressure that a power makes at a distance when it spreads evenly.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Mean power W. [W]
    distance : float
        Distance r from the source, large against its size. [m]
    gas : Gas
        The air outside.
    solid_angle : float
        Space Ω that the sound spreads into: 4π for a free end, 2π for one in a wall. [sr]

    Returns
    -------
    ndarray, shape (n,)
        Amplitude |p| of |p|² = 2ρc W/Ωr² [1]_. [Pa]

    References
    ----------
    .. [1] A. D. Pierce, "Acoustics: An Introduction to Its Physical Principles and Applications,"
       Acoustical Society of America, 1989, ch. 1.
    """
    impedance = gas.density * gas.sound_speed
    return np.sqrt(2.0 * impedance * power / (solid_angle * distance**2))
