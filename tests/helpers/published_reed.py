"""What theory knows beforehand of a reed without mass on a bore that only returns a wave."""

import math

from reedbore.physics.reed import quasi_static_drop


def equivalent_volume(
    moving_area: float, stiffness: float, density: float, sound_speed: float
) -> float:
    """Volume of air that gives way as much as the reed does.

    Parameters
    ----------
    moving_area : float
        Area S_r of the reed that moves with its tip. [m²]
    stiffness : float
        Pressure per displacement of the tip, K_s. [Pa m⁻¹]
    density, sound_speed : float
        Of the air: ρ [kg m⁻³] and c [m s⁻¹].

    Returns
    -------
    float
        ρc²S_r/K_s: the compliance S_r/K_s as a volume of air. [m³]
    """
    return density * sound_speed**2 * moving_area / stiffness


def flow_slope(drop: float, zeta: float) -> float:
    """Change of that flow with the bore pressure, the negative of its change with the drop.

    Parameters
    ----------
    drop : float
        Pressure drop X in units of the closing pressure, above 0 and below 1.
    zeta : float
        `reed_parameter`.

    Returns
    -------
    float
        ∂u/∂p = ζ (3X - 1) / (2√X): positive, a source of power, above X = 1/3 (algebra).
    """
    return zeta * (3.0 * drop - 1.0) / (2.0 * math.sqrt(drop))


def extinction_pressure(zeta: float, returned: float) -> float:
    """Mouth pressure above which a massless reed stays shut and the sound dies.

    Parameters
    ----------
    zeta : float
        `reed_parameter`.
    returned : float
        Share λ of a wave that a round trip brings back, below 1.

    Returns
    -------
    float
        γ = 1/3 + 2ζ/(3√3 β), β = (1 - λ²)/(1 + λ²), in units of the closing pressure.

    Notes
    -----
    A beating reed is shut in one half of the cycle, and in the other lets u = β p pass; no flow
    is larger than 2ζ/(3√3), reached at X = 1/3 (the argument of [1]_, reworked here). Within 3 %
    of the full map where the result is above 1.8; not to be used where it is below about 1.

    References
    ----------
    .. [1] J.-P. Dalmont, J. Gilbert, J. Kergomard and S. Ollivier, "An analytical prediction of
       the oscillation and extinction thresholds of a clarinet," J. Acoust. Soc. Am. 118(5),
       3294-3305, 2005.
    """
    share = (1.0 - returned**2) / (1.0 + returned**2)
    return 1.0 / 3.0 + 2.0 * zeta / (3.0 * math.sqrt(3.0) * share)


def raman_amplitude(mouth: float) -> float:
    """Amplitude of the square wave of a massless reed on a lossless cylinder.

    Parameters
    ----------
    mouth : float
        Mouth pressure γ in units of the closing pressure.

    Returns
    -------
    float
        P in units of the closing pressure: 0 below γ = 1/3, √((1 - γ)(3γ - 1)) up to the beating
        threshold γ = 1/2, γ above it. It depends on no other quantity [1]_.

    References
    ----------
    .. [1] J. Kergomard, "Elementary considerations on reed-instrument oscillations," in Mechanics
       of Musical Instruments (A. Hirschberg, J. Kergomard, G. Weinreich, eds.), CISM Lectures 355,
       Springer, 1995, 229-290.
    """
    if mouth >= 0.5:
        return mouth
    return math.sqrt(max((1.0 - mouth) * (3.0 * mouth - 1.0), 0.0))


def lambda_map(mouth: float, zeta: float, returned: float, outgoing: float) -> float:
    """One round trip of a massless reed on a cylinder whose losses do not depend on frequency.

    Parameters
    ----------
    mouth : float
        Mouth pressure γ in units of the closing pressure.
    zeta : float
        `reed_parameter`, below 1.
    returned : float
        Share λ of a wave that a round trip brings back, 0 to 1; it comes back inverted.
    outgoing : float
        Outgoing wave p⁺ of the trip before, in units of the closing pressure.

    Returns
    -------
    float
        The next outgoing wave. Bore pressure meanwhile: that wave minus λ times the one before.

    Notes
    -----
    p⁻ = -λ p⁺, and the reed sets X from E = γ - 2p⁻; then p⁺ = γ - X - p⁻ [1]_.

    References
    ----------
    .. [1] C. Maganza, R. Caussé and F. Laloë, "Bifurcations, period doublings and chaos in
       clarinetlike systems," Europhys. Lett. 1(6), 295-302, 1986.
    """
    arriving = -returned * outgoing
    drop = quasi_static_drop(mouth - 2.0 * arriving, zeta, 1.0)
    return mouth - drop - arriving
