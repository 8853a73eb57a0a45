"""Where a reed begins to sound: what it lets in for a small pressure behind it, mass included.

Arrays of shape (n,), a value a frequency; SI units; time factor e^{+jωt}.
"""

import numpy as np
import numpy.typing as npt

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


def reed_response(omega: Reals, resonance: float, damping: float) -> Complexes:
    """Deflection of a reed with mass over that to a steady pressure.

    Parameters
    ----------
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    resonance : float
        Angular frequency of the reed by itself. [rad s⁻¹]
    damping : float
        Its inverse quality, 2 being critical.

    Returns
    -------
    ndarray, shape (n,)
        D = 1/(1 - x² + j q x), x = ω over the resonance: an oscillator with one mass.
    """
    ratio = omega / resonance
    return np.asarray(1.0 / (1.0 - ratio**2 + 1j * damping * ratio), np.complex128)


def drive_admittance(
    pressure: Reals,
    opening: float,
    width: float,
    stiffness: float,
    density: float,
    response: Complexes,
) -> Complexes:
    """Flow that a reed lets in for a small pressure in the mouthpiece, over that pressure.

    Parameters
    ----------
    pressure : ndarray, shape (n,)
        In the mouth, P. [Pa]
    opening, width : float
        Of the channel at rest, H and w. [m]
    stiffness : float
        Pressure over deflection, K. [Pa m⁻¹]
    density : float
        Of the air, ρ. [kg m⁻³]
    response : ndarray, shape (n,)
        As from `reed_response`; 1 for a reed without mass.

    Returns
    -------
    ndarray, shape (n,)
        w √(2P/ρ) [D/K - (H - P/K)/2P], from U = wh √(2Δp/ρ) about h = H - P/K: a horn begins to
        sound where it takes in as much [1]_ [2]_. [m³ s⁻¹ Pa⁻¹]

    References
    ----------
    .. [1] T. A. Wilson and G. S. Beavers, "Operating modes of the clarinet," J. Acoust. Soc. Am.
       56(2), 653-658, 1974.
    .. [2] F. Silva, J. Kergomard, C. Vergez and J. Gilbert, "Interaction of reed and acoustic
       resonator in clarinetlike systems," J. Acoust. Soc. Am. 124(5), 3284-3295, 2008.
    """
    closing = (opening - pressure / stiffness) / (2.0 * pressure)
    found = width * np.sqrt(2.0 * pressure / density) * (response / stiffness - closing)
    return np.asarray(found, np.complex128)
