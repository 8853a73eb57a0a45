"""The single reed as a valve: flow through its channel, and what a massless reed does on a tube.

Pressure drop = pressure in the mouth minus pressure in the mouthpiece; flow counts into the bore.
The first part is in SI. The second part, from `quasi_static_flow` on, is the classical theory of
a massless reed on a cylinder: pressures in units of the closing pressure, flow in units of closing
pressure over the characteristic impedance Z_c of the bore.

Scalars and the math module only, so that each formula can be compiled as it stands.
"""

import math

TINY = 1e-300  # keeps 0/0 out of `pressure_drop` without a branch
STEPS = 10  # of Halley's method; three do for a weak reed, nine up to ζ = 1


def channel_flow(drop: float, opening: float, width: float, density: float) -> float:
    """Volume flow through the reed channel by Bernoulli's law.

    Parameters
    ----------
    drop : float
        Mouth minus bore pressure Δp. [Pa]
    opening, width : float
        Height h (never negative) and breadth w of the channel. [m]
    density : float
        Density ρ of the air. [kg m⁻³]

    Returns
    -------
    float
        Volume flow, positive into the bore. [m³ s⁻¹]

    Notes
    -----
    U = w h √(2|Δp|/ρ) sgn Δp; steady, no viscosity [1]_.

    References
    ----------
    .. [1] T. A. Wilson and G. S. Beavers, "Operating modes of the clarinet,"
       J. Acoust. Soc. Am. 56(2), 653-658, 1974.
    """
    speed = math.sqrt(2.0 * abs(drop) / density)
    return math.copysign(width * opening * speed, drop)


def pressure_drop(drive: float, conductance: float) -> float:
    """Pressure drop over a channel of known opening that feeds a resistance.

    Parameters
    ----------
    drive : float
        Pressure drop E if nothing flowed. [Pa]
    conductance : float
        Flow through the channel at a drop of 1 Pa, times the resistance it feeds: b, never
        negative. [Pa^½]

    Returns
    -------
    float
        The one X that solves X + b sgn(X) √|X| = E. [Pa]

    Notes
    -----
    √|X| = 2|E| / (b + √(b² + 4|E|)), the root of a quadratic in the form that subtracts nothing
    (algebra), so that small drives lose no digits.
    """
    size = abs(drive)
    root = 2.0 * size / (conductance + math.sqrt(conductance * conductance + 4.0 * size) + TINY)
    return math.copysign(root * root, drive)


def quasi_static_drop(drive: float, conductance: float, closing: float) -> float:
    """Pressure drop over the channel of a reed without mass, which that drop itself closes.

    Parameters
    ----------
    drive : float
        Pressure drop E if nothing flowed. [Pa]
    conductance : float
        As in `pressure_drop`, for the reed at rest: b. [Pa^½]
    closing : float
        Pressure drop that shuts the reed: M. [Pa]

    Returns
    -------
    float
        The X that solves X + b max(0, 1 - X/M) sgn(X) √|X| = E. [Pa]

    Notes
    -----
    With y = √|X/M|, ζ = b/√M and s = sgn E: y² + ζ(1 - s y²) y = |E|/M, a cubic with a single
    root between 0 and √|E/M| for ζ < 1 (algebra); above that a reed has hysteresis [1]_ and the
    root found is one of up to three. Halley's method, always as many steps of it and no branch:
    setups side by side then share each instruction.

    References
    ----------
    .. [1] S. Ollivier, J.-P. Dalmont and J. Kergomard, "Idealized models of reed woodwinds.
       Part I: analogy with the bowed string," Acta Acust. united Ac. 90, 1192-1203, 2004.
    """
    zeta = conductance / math.sqrt(closing)
    bend = math.copysign(zeta, drive)
    size = abs(drive) / closing
    most = math.sqrt(size)
    y = 2.0 * size / (zeta + math.sqrt(zeta * zeta + 4.0 * size) + TINY)
    for _ in range(STEPS):
        excess = y * (y + zeta - bend * y * y) - size
        slope = 2.0 * y + zeta - 3.0 * bend * y * y
        turn = 1.0 - 3.0 * bend * y
        y -= excess * slope / (slope * slope - excess * turn + TINY)
        y = min(max(y, 0.0), most)
    open_drop = math.copysign(closing * y * y, drive)
    return drive if drive >= closing else open_drop


def closing_pressure(stiffness: float, opening: float) -> float:
    """Pressure drop that just shuts the reed, p_M = K_s H.

    Parameters
    ----------
    stiffness : float
        Pressure per displacement of the tip, K_s. [Pa m⁻¹]
    opening : float
        Opening at rest, H. [m]

    Returns
    -------
    float
        Closing pressure. [Pa]
    """
    return stiffness * opening


def reed_parameter(slit: float, closing: float, impedance: float, density: float) -> float:
    """Strength ζ of the reed as a valve, measured against the bore.

    Parameters
    ----------
    slit : float
        Area of the channel at rest, width times opening: wH. [m²]
    closing : float
        Closing pressure p_M. [Pa]
    impedance : float
        Characteristic impedance Z_c of the bore. [Pa s m⁻³]
    density : float
        Density ρ of the air. [kg m⁻³]

    Returns
    -------
    float
        ζ = Z_c w H √(2/(ρ p_M)) [1]_.

    References
    ----------
    .. [1] J. Kergomard, "Elementary considerations on reed-instrument oscillations," in Mechanics
       of Musical Instruments (A. Hirschberg, J. Kergomard, G. Weinreich, eds.), CISM Lectures 355,
       Springer, 1995, 229-290.
    """
    return impedance * slit * math.sqrt(2.0 / (density * closing))


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


def quasi_static_flow(drop: float, zeta: float) -> float:
    """Flow past a massless reed, in units of closing pressure over Z_c.

    Parameters
    ----------
    drop : float
        Pressure drop X in units of the closing pressure.
    zeta : float
        `reed_parameter`.

    Returns
    -------
    float
        u = ζ (1 - X) sgn(X) √|X| for X < 1, else 0 [1]_. Largest at X = 1/3: 2ζ/(3√3).

    References
    ----------
    .. [1] T. A. Wilson and G. S. Beavers, "Operating modes of the clarinet,"
       J. Acoust. Soc. Am. 56(2), 653-658, 1974.
    """
    return math.copysign(zeta * max(1.0 - drop, 0.0) * math.sqrt(abs(drop)), drop)


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


def threshold_drop(zeta: float, admittance: float) -> float:
    """Pressure drop above which a massless reed feeds a resonance more than it loses.

    Parameters
    ----------
    zeta : float
        `reed_parameter`.
    admittance : float
        Y = Z_c over the height of the impedance peak; 0 is a lossless bore.

    Returns
    -------
    float
        X in units of the closing pressure: √X = [Y/ζ + √((Y/ζ)² + 3)]/3, where `flow_slope` is Y;
        1/3 without losses [1]_.

    References
    ----------
    .. [1] T. A. Wilson and G. S. Beavers, "Operating modes of the clarinet,"
       J. Acoust. Soc. Am. 56(2), 653-658, 1974.
    """
    ratio = admittance / zeta
    return ((ratio + math.sqrt(ratio * ratio + 3.0)) / 3.0) ** 2


def threshold_pressure(zeta: float, admittance: float, steady_impedance: float = 0.0) -> float:
    """Mouth pressure at which a massless reed begins to sound.

    Parameters
    ----------
    zeta, admittance : float
        As in `threshold_drop`.
    steady_impedance : float
        Impedance of the bore to steady flow, in units of Z_c; 0 lets it out freely.

    Returns
    -------
    float
        γ = X + steady_impedance · u(X), in units of the closing pressure; to first order
        1/3 + 2Y/(3√3 ζ) [1]_ (that form from memory).

    References
    ----------
    .. [1] J.-P. Dalmont and C. Frappé, "Oscillation and extinction thresholds of the clarinet:
       comparison of analytical results and experiments," J. Acoust. Soc. Am. 122(2), 1173-1179,
       2007.
    """
    drop = threshold_drop(zeta, admittance)
    return drop + steady_impedance * quasi_static_flow(drop, zeta)


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
