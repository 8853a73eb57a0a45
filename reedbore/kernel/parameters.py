"""A setup as the numbers that the time step works with."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel import reflection as bores
from reedbore.kernel import step as rows
from reedbore.model import Setup
from reedbore.physics.air import Gas, air_keefe

LEAST_STEPS = 10.0
"""Steps in a period of the reed."""


class Numbers(NamedTuple):
    """All numbers of one setup."""

    table: NDArray[np.float64]
    """Shape (NUMBERS,), rows as in `step`."""
    first_tap: int
    """Whole samples between a wave leaving the reed and the first tap that hears it again."""
    taps: NDArray[np.float64]
    """Shape (4,), the fractional part of the delay."""
    opening: float
    """Of the reed at rest. [m]"""
    massless: bool
    rate: float
    """Steps per second. [Hz]"""


def gas_of(setup: Setup) -> Gas:
    """Return the air in the horn."""
    return air_keefe(setup.air.temperature)


def reflection_of(setup: Setup) -> bores.Reflection:
    """Return the fitted reflection of a setup's bore."""
    chain, volume = setup.bore.chain(), setup.mouthpiece.volume
    return bores.fit(chain, setup.bore.end, volume, gas_of(setup), setup.time.rate)


def numbers_of(setup: Setup) -> Numbers:
    """Return the numbers of a setup.

    Parameters
    ----------
    setup : Setup
        What to render.

    Returns
    -------
    Numbers
        What `single` and the sweeps step with.

    Raises
    ------
    ModelError
        If the reed is too fast for the rate: its contact could then gain energy.
    """
    highest = setup.time.rate / LEAST_STEPS
    if setup.reed.dynamics == "mass" and setup.reed.frequency > highest:
        raise ModelError(
            f"reed.frequency_hz is {setup.reed.frequency:g} Hz; allowed up to {highest:g} Hz at "
            f"{setup.time.rate:g} steps a second (time.rate_hz)"
        )
    table = np.zeros(rows.NUMBERS)
    _fill_reed(table, setup)
    _fill_flow(table, setup)
    back = reflection_of(setup)
    table[rows.DIRECT] = back.direct
    table[rows.GAIN : rows.GAIN + bores.POLES] = back.gains
    table[rows.POLE : rows.POLE + bores.POLES] = back.poles
    table[rows.RING : rows.RING_LOSS + 1] = back.ring
    table[rows.RING_GAIN : rows.RING_SLOPE + 1] = back.ring_gains
    first, fraction = bores.split_delay(back.delay)
    return Numbers(
        table,
        first,
        np.array(bores.lagrange(fraction)),
        setup.reed.opening,
        setup.reed.dynamics == "massless",
        setup.time.rate,
    )


def _fill_reed(table: NDArray[np.float64], setup: Setup) -> None:
    reed, step = setup.reed, 1.0 / setup.time.rate
    swing = 2.0 * math.pi * reed.frequency * step
    table[rows.STIFF] = swing**2 / 4.0
    table[rows.DAMPED] = reed.damping * swing / 2.0
    table[rows.REST] = reed.opening
    table[rows.GIVE] = swing**2 / reed.stiffness
    table[rows.CONTACT] = reed.contact / reed.opening


def _fill_flow(table: NDArray[np.float64], setup: Setup) -> None:
    reed, gas, step = setup.reed, gas_of(setup), 1.0 / setup.time.rate
    lumped = bores.throat(setup.bore.chain(), setup.mouthpiece.volume, gas)
    volume = 2.0 * lumped.compliance / step
    throat, wave, decay = lumped.sampled(setup.time.rate)
    table[rows.CHANNEL] = reed.width * math.sqrt(2.0 / gas.density)
    table[rows.PISTON] = reed.area / (2.0 * step)
    table[rows.CONDUCTANCE] = 1.0 / lumped.resistance + volume + (throat + wave).sum()
    table[rows.WAVE] = 2.0 * (1.0 / lumped.resistance + wave.sum())
    table[rows.VOLUME] = volume
    table[rows.DECAY : rows.INFLOW] = decay
    table[rows.INFLOW : rows.BACKFLOW] = (1.0 + decay) * (throat + wave)
    table[rows.BACKFLOW : rows.NUMBERS] = 2.0 * (1.0 + decay) * wave
    table[rows.CLOSING] = reed.stiffness * reed.opening
    table[rows.SLIT] = table[rows.CHANNEL] * reed.opening
