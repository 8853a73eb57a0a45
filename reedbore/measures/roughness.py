"""How rough a sound is: every pair of its lines beats, and the beats add up."""

import numpy as np
from numpy.typing import NDArray


def roughness(frequencies: NDArray[np.float64], amplitudes: NDArray[np.float64]) -> float:
    """Roughness of a line spectrum, summed over all pairs of lines.

    Parameters
    ----------
    frequencies : ndarray, shape (n,)
        The lines. [Hz]
    amplitudes : ndarray, shape (n,)
        Their peak amplitudes, never negative. [any]

    Returns
    -------
    float
        Roughness, 0 for fewer than two lines. Its scale is arbitrary and grows with the 0.2th
        power of the unit of the amplitudes: use it against another sound in the same unit. [1]

    Notes
    -----
    A pair counts (A₁A₂)^0.1 · 0.5 · (2 A_min/(A_min + A_max))^3.11 · (e^(−3.5 sΔf) − e^(−5.75 sΔf))
    with s = 0.24/(0.0207 f_min + 18.96) [1]_; the shape of the curve over Δf is that of [2]_, and
    rests on the judgements in [3]_.

    References
    ----------
    .. [1] P. N. Vassilakis, "Perceptual and physical properties of amplitude fluctuation and
       their musical significance," doctoral dissertation, University of California,
       Los Angeles, 2001.
    .. [2] W. A. Sethares, "Local consonance and the relationship between timbre and scale,"
       J. Acoust. Soc. Am. 94(3), 1218-1228, 1993.
    .. [3] R. Plomp and W. J. M. Levelt, "Tonal consonance and critical bandwidth,"
       J. Acoust. Soc. Am. 38, 548-560, 1965.
    """
    sounding = amplitudes > 0.0
    hz, strength = frequencies[sounding], amplitudes[sounding]
    # Line by line, for a breathy sound has thousands; in one array, for a sum hangs on its order.
    terms, end = np.empty(len(hz) * (len(hz) - 1) // 2), 0
    for k, (here, this) in enumerate(zip(hz[:-1], strength[:-1], strict=True), start=1):
        others, those = hz[k:], strength[k:]
        depth = (2.0 * np.minimum(this, those) / (this + those)) ** 3.11
        apart = 0.24 / (0.0207 * np.minimum(here, others) + 18.96) * np.abs(here - others)
        beating = np.exp(-3.5 * apart) - np.exp(-5.75 * apart)
        begin, end = end, end + len(others)
        terms[begin:end] = 0.5 * (this * those) ** 0.1 * depth * beating
    return float(np.sum(terms))


def relative_roughness(
    frequencies: NDArray[np.float64],
    amplitudes: NDArray[np.float64],
    reference_frequencies: NDArray[np.float64],
    reference_amplitudes: NDArray[np.float64],
) -> float | None:
    """How many times rougher a sound is than another.

    Parameters
    ----------
    frequencies, amplitudes : ndarray, shape (n,)
        The lines of the sound. [Hz], [any]
    reference_frequencies, reference_amplitudes : ndarray, shape (m,)
        The lines of the other, its amplitudes in the same unit. [Hz], [any]

    Returns
    -------
    float or None
        Roughness over roughness; None if the other has none, as a single sinusoid. [1]
    """
    reference = roughness(reference_frequencies, reference_amplitudes)
    if reference <= 0.0:
        return None
    return roughness(frequencies, amplitudes) / reference
