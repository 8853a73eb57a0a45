"""Formants of a vocal tract, and what a cavity alone makes of a sung flow."""

import math

import numpy as np

from reedbore.physics.tract import (
    Complexes,
    Gas,
    Reals,
    Shape,
    TwoPort,
    Walls,
    pressure_at_lips,
    two_port,
)

RIGID = Walls(0.0, 0.0, 0.0, 0.0)


FORMANT_STEP_HZ = 5.0


def flow_at_lips(whole: TwoPort, impedance: Complexes | complex) -> Complexes:
    """Flow out of the lips for a flow at the glottis, whose folds let nothing back.

    Parameters
    ----------
    whole : TwoPort
        The tract.
    impedance : ndarray, shape (n,), or complex
        Of what stands at the lips; 0 is an ideal open end. [Pa s m⁻³]

    Returns
    -------
    ndarray, shape (n,)
        1/(C Z + D). [1]
    """
    _, _, c, d = whole
    return 1.0 / (c * impedance + d)


def formants(
    shape: Shape,
    gas: Gas,
    admittance: complex | None = None,
    walls: Walls = RIGID,
    highest: float = 5000.0,
) -> Reals:
    """Resonances of a tract that is closed at the glottis.

    Parameters
    ----------
    shape : Shape
        The tract.
    gas : Gas
        The air in it.
    admittance : complex, optional
        Of what stands at the lips; by default they are ideally open. [m³ s⁻¹ Pa⁻¹]
    walls : Walls
        Its walls.
    highest : float
        Up to here. [Hz]

    Returns
    -------
    ndarray, shape (k,)
        Where the transfer from the glottis to the lips is largest, rising. [Hz]

    Notes
    -----
    There |1/transfer|² is least; a parabola through its three lowest points gives the place.
    """
    hz = np.arange(FORMANT_STEP_HZ, highest, FORMANT_STEP_HZ)
    whole = two_port(shape, 2.0 * math.pi * hz, gas, walls)
    seen = flow_at_lips(whole, 0.0) if admittance is None else pressure_at_lips(whole, admittance)
    dip = 1.0 / np.abs(seen) ** 2
    at = 1 + np.flatnonzero((dip[1:-1] < dip[:-2]) & (dip[1:-1] <= dip[2:]))
    before, here, after = dip[at - 1], dip[at], dip[at + 1]
    return hz[at] + 0.5 * FORMANT_STEP_HZ * (before - after) / (before - 2.0 * here + after)


def cavity_impedance(volume: float, omega: Reals, gas: Gas) -> Complexes:
    """Impedance of a mouth with rigid walls.

    Parameters
    ----------
    volume : float
        Air in it, small against the wavelength. [m³]
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        That air.

    Returns
    -------
    ndarray, shape (n,)
        ρc²/(jωV): adiabatic compression [1]_. [Pa s m⁻³]

    References
    ----------
    .. [1] N. H. Fletcher and T. D. Rossing, "The Physics of Musical Instruments," 2nd ed.,
       Springer, 1998, ch. 8.
    """
    return gas.density * gas.sound_speed**2 / (np.asarray(1j * omega, np.complex128) * volume)


def flow_depth(flow: float, impedance: complex, breath: float) -> float:
    """Depth of the sung pressure that a voice gives as a source of flow.

    Parameters
    ----------
    flow : float
        Amplitude of the flow through the folds at the sung pitch; `USUAL_FLOW`. [m³ s⁻¹]
    impedance : complex
        Of the mouth, or from the glottis to the lips, at that pitch. [Pa s m⁻³]
    breath : float
        Blowing pressure. [Pa]

    Returns
    -------
    float
        U |Z| over the blowing pressure; `USUAL_DEPTHS` at 3 kPa.
    """
    return flow * abs(impedance) / breath
