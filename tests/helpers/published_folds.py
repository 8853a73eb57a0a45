"""From which pressure on folds swing, by theories that need no simulation."""

import math

from reedbore.physics.folds import LOSS, Fold, jet_speed

TITZE = Fold(4.76, 0.0, delay=1.5e-3, damping_ratio=1000.0 / 2.0 / math.sqrt(4.76 * 2e6))
"""I. R. Titze, J. Acoust. Soc. Am. 83(4), 1536-1552, 1988, at K = 2 MN/m³ (from memory); there the
gap is what is varied."""


def swing_damping(damp: float, growth: float, displacement: float) -> float:
    """Damping that grows with the swing.

    Parameters
    ----------
    damp : float
        Of a small swing, B. [Pa s m⁻¹]
    growth : float
        η. [m⁻²]
    displacement : float
        From the rest, y. [m]

    Returns
    -------
    float
        B (1 + η y²) [1]_ (from memory). [Pa s m⁻¹]

    References
    ----------
    .. [1] J. C. Lucero, L. L. Koenig, K. G. Lourenço, N. Ruty and X. Pelorson, "A lumped mucosal
       wave model of the vocal folds revisited: recent extensions and oscillation hysteresis,"
       J. Acoust. Soc. Am. 129(3), 1568-1579, 2011.
    """
    return damp * (1.0 + growth * displacement * displacement)


def gap_for(flow: float, drop: float, length: float, density: float, loss: float = LOSS) -> float:
    """Half the gap that leaves a pressure across folds which stand still.

    Parameters
    ----------
    flow : float
        Through them. [m³ s⁻¹]
    drop : float
        Wanted, above 0. [Pa]
    length : float
        L. [m]
    density : float
        ρ. [kg m⁻³]
    loss : float
        k_t. [1]

    Returns
    -------
    float
        U/(2L v_j), v_j the `jet_speed`. Swinging folds want a little less. [m]
    """
    return flow / (2.0 * length * jet_speed(drop, density, loss))


def threshold_pressure_lucero(
    damp: float, rest: float, delay: float, hz: float, loss: float = LOSS
) -> float:
    """Pressure across the folds at which they begin to sing, for a wave of any speed.

    Parameters
    ----------
    damp, rest, delay, loss : float
        As in `threshold_pressure`.
    hz : float
        Pitch at the onset, below 1/2τ. [Hz]

    Returns
    -------
    float
        k_t B x₀ ω/(2 sin ωτ), which folds whose edges are at x(t ± τ) have (derived here, in the
        manner of [1]_). [Pa]

    References
    ----------
    .. [1] J. C. Lucero, L. L. Koenig, K. G. Lourenço, N. Ruty and X. Pelorson, "A lumped mucosal
       wave model of the vocal folds revisited: recent extensions and oscillation hysteresis,"
       J. Acoust. Soc. Am. 129(3), 1568-1579, 2011.
    """
    omega = 2.0 * math.pi * hz
    return 0.5 * loss * damp * rest * omega / math.sin(omega * delay)


def threshold_pressure_loaded(
    damp: float,
    rest: float,
    delay: float,
    length: float,
    inertance: float,
    density: float,
    loss: float = LOSS,
) -> float:
    """Pressure across the folds at which they begin to sing below a mass of air.

    Parameters
    ----------
    damp, rest, delay, loss : float
        As in `threshold_pressure`.
    length : float
        L. [m]
    inertance : float
        Of the air above the folds, I. [kg m⁻⁴]
    density : float
        ρ. [kg m⁻³]

    Returns
    -------
    float
        The P that solves B = 2τP/k_t x₀ + 2L v_j I, v_j = √(2P/k_t ρ). [Pa]

    Notes
    -----
    The flow is taken to follow the gap at once; the inertance then pushes the folds apart as they
    open: it takes the place of damping, as was shown first in [1]_. A heavy air column slows the
    flow as well, and the true onset lies higher: by 4 % at 110 or 220 Hz for 400 kg/m⁴.

    References
    ----------
    .. [1] I. R. Titze, "The physics of small-amplitude oscillation of the vocal folds," J. Acoust.
       Soc. Am. 83(4), 1536-1552, 1988.
    """
    by_wave = 2.0 * delay / (loss * rest)
    by_air = 2.0 * length * inertance * jet_speed(1.0, density, loss)
    root = 2.0 * damp / (by_air + math.sqrt(by_air * by_air + 4.0 * by_wave * damp))
    return root * root


def sustaining_pressure(threshold: float, swing: float, rest: float, growth: float = 0.0) -> float:
    """Pressure across the folds that keeps a swing going which does not shut them.

    Parameters
    ----------
    threshold : float
        Pressure of a swing without size. [Pa]
    swing : float
        Its amplitude, A, below the gap. [m]
    rest : float
        Half the gap, x₀. [m]
    growth : float
        η of `swing_damping`. [m⁻²]

    Returns
    -------
    float
        P_th (1 + ηA²/4) a²/(2 - 2√(1 - a²)), a = A/x₀. [Pa]

    Notes
    -----
    Work equals loss over a sinusoidal period with τω ≪ 1 (derived here). It falls with the swing
    where η x₀² < 1: there the voice stops at a lower pressure than it starts at [1]_.

    References
    ----------
    .. [1] J. C. Lucero, L. L. Koenig, K. G. Lourenço, N. Ruty and X. Pelorson, "A lumped mucosal
       wave model of the vocal folds revisited: recent extensions and oscillation hysteresis,"
       J. Acoust. Soc. Am. 129(3), 1568-1579, 2011.
    """
    share = (swing / rest) ** 2
    by_gap = 0.5 * (1.0 + math.sqrt(1.0 - share))  # a²/(2 - 2√(1 - a²)) without 0/0
    return threshold * (1.0 + 0.25 * growth * swing * swing) * by_gap
