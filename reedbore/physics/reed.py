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
        X in units of the closing pressure: √X = [Y/ζ + √((Y/ζ)² + 3)]/3, where the slope of
        the flow is Y; 1/3 without losses [1]_.

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
