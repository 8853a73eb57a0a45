"""Reflections at an open end by fits and filters: rivals of `radiation.reflection_levine`."""

import numpy as np

from reedbore.physics.radiation import Complexes, Reals, _reflection


def reflection_dalmont(ka: Reals) -> Complexes:
    """Reflection at an unflanged end by a closed formula, for ka up to about 1.5.

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
    |R| = (1 + 0.2ka - 0.084k²a²)/(1 + 0.2ka + 0.416k²a²),
    l/a = 0.6133 [(1 + 0.044k²a²)/(1 + 0.19k²a²) - 0.02 sin² 2ka] [1]_.

    References
    ----------
    .. [1] J.-P. Dalmont, C. J. Nederveen and N. Joly, "Radiation impedance of tubes with different
       flanges: numerical and experimental investigations," J. Sound Vib. 244(3), 505-534, 2001.
    """
    q = ka**2
    size = (1.0 + 0.2 * ka - 0.084 * q) / (1.0 + 0.2 * ka + 0.416 * q)
    ratio = (1.0 + 0.044 * q) / (1.0 + 0.19 * q) - 0.02 * np.sin(2.0 * ka) ** 2
    return _reflection(size, 0.6133 * ratio, ka)


def reflection_silva(ka: Reals) -> Complexes:
    """Reflection at an unflanged end by a closed formula, for ka up to about 3.5.

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
    With q = k²a²: |R| = (1 + 0.8q)/(1 + 1.3q + 0.266q² + 0.0263q³),
    l/a = 0.6133 (1 + 0.0599q)/(1 + 0.238q - 0.0153q² + 0.0015q³) [1]_
    (coefficients from memory; the tests hold them to the exact theory).

    References
    ----------
    .. [1] F. Silva, P. Guillemain, J. Kergomard, B. Mallaroni and A. N. Norris, "Approximation
       formulae for the acoustic radiation impedance of a cylindrical pipe," J. Sound Vib.
       322(1-2), 255-263, 2009.
    """
    q = ka**2
    size = (1.0 + 0.8 * q) / (1.0 + 1.3 * q + 0.266 * q**2 + 0.0263 * q**3)
    ratio = (1.0 + 0.0599 * q) / (1.0 + 0.238 * q - 0.0153 * q**2 + 0.0015 * q**3)
    return _reflection(size, 0.6133 * ratio, ka)


def reflection_rational(ka: Reals) -> Complexes:
    """Reflection at an unflanged end by a causal, stable, passive filter of third order.

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
    With σ = jka: R = -(1 + 0.26358σ + 0.08459σ²)/(1 + 1.48898σ + 0.67925σ² + 0.15429σ³), our own
    least-squares fit to the theory of [1]_ in the form that [2]_ proposes: 0.0025 from the theory
    up to ka = 1.5, 0.0105 up to ka = 3, and |R| ≤ 1 everywhere.

    References
    ----------
    .. [1] H. Levine and J. Schwinger, "On the radiation of sound from an unflanged circular pipe,"
       Phys. Rev. 73(4), 383-406, 1948.
    .. [2] F. Silva, P. Guillemain, J. Kergomard, B. Mallaroni and A. N. Norris, "Approximation
       formulae for the acoustic radiation impedance of a cylindrical pipe," J. Sound Vib.
       322(1-2), 255-263, 2009.
    """
    sigma = 1j * ka
    over = 1.0 + 0.26358 * sigma + 0.08459 * sigma**2
    under = 1.0 + 1.48898 * sigma + 0.67925 * sigma**2 + 0.15429 * sigma**3
    reflection: Complexes = -over / under
    return reflection


def radiation_impedance(reflection: Complexes) -> Complexes:
    """Load that an open end puts on the tube.

    Parameters
    ----------
    reflection : ndarray, shape (n,)
        R = p⁻/p⁺ at the end.

    Returns
    -------
    ndarray, shape (n,)
        (1 + R)/(1 - R), in units of the characteristic impedance of the tube.
    """
    return (1.0 + reflection) / (1.0 - reflection)


def end_correction(reflection: Complexes, ka: Reals) -> Reals:
    """Length that an open end seems to add to the tube, in radii.

    Parameters
    ----------
    reflection : ndarray, shape (n,)
        R = p⁻/p⁺ at the end, with a phase within half a turn of -1.
    ka : ndarray, shape (n,)
        Wave number times radius, above zero.

    Returns
    -------
    ndarray, shape (n,)
        l/a = -arg(-R)/(2ka).
    """
    return -np.angle(-reflection) / (2.0 * ka)
