"""Slow rivals of the time step, written from the published equations, and tables made by hand."""

import math

import numpy as np

from reedbore.kernel import parameters
from reedbore.kernel import step as rows


def plain_tube(trip, returned, zeta):
    """A massless reed on a tube that returns a fixed share of every wave, `trip` steps later.

    Pressures are in units of the closing pressure, flow in those of that over Z_c.
    """
    table = np.zeros(rows.NUMBERS)
    table[[rows.CLOSING, rows.REST, rows.CONDUCTANCE]] = 1.0
    table[rows.SLIT] = zeta
    table[rows.WAVE] = 2.0
    table[rows.DIRECT] = -returned
    return parameters.Numbers(table, trip, np.array((1.0, 0.0, 0.0, 0.0)), 1.0, True, 1.0)


def lone_reed(frequency, damping, rate, start, rest=1e-3, stiffness=1e7, contact=100.0):
    """A reed over a shut channel, held at the opening `start` [m] and let go: no air moves it."""
    swing = 2.0 * math.pi * frequency / rate
    table = np.zeros(rows.NUMBERS)
    table[rows.STIFF] = swing**2 / 4.0
    table[rows.DAMPED] = damping * swing / 2.0
    table[rows.REST] = rest
    table[rows.GIVE] = swing**2 / stiffness
    table[rows.CONTACT] = contact / rest
    table[rows.CONDUCTANCE] = 1.0
    table[rows.WAVE] = 2.0
    return parameters.Numbers(table, 3, np.array((1.0, 0.0, 0.0, 0.0)), start, False, rate)


def outgoing_waves(mouth, trip, returned, zeta):
    """Outgoing wave of the same tube, sample by sample, the flow law solved by halving.

    T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): u = ζ (1 - X) √|X| sgn X;
    M. E. McIntyre, R. T. Schumacher and J. Woodhouse, J. Acoust. Soc. Am. 74, 1325 (1983):
    u = p⁺ - p⁻ with p = p⁺ + p⁻, and p⁻ is the wave that left one trip ago, reflected.
    """
    outgoing = np.zeros(mouth.size)
    for n, blown in enumerate(mouth):
        arriving = -returned * outgoing[n - trip] if n >= trip else 0.0
        low, high = -10.0, 10.0
        while high - low > 1e-13:
            drop = 0.5 * (low + high)
            flow = math.copysign(zeta * max(1.0 - drop, 0.0) * math.sqrt(abs(drop)), drop)
            if drop + flow > blown - 2.0 * arriving:
                high = drop
            else:
                low = drop
        outgoing[n] = blown - drop - arriving
    return outgoing
