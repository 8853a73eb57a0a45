"""A setup as the numbers that the time step works with."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel.step import (
    AT_ONCE,
    BACKFLOW,
    CHANNEL,
    CLOSING,
    CONDUCTANCE,
    CONTACT,
    DAMPED,
    DECAY,
    DIRECT,
    FADE,
    FLOW_WAVE,
    GAIN,
    GIVE,
    HEARD_WAVE,
    INFLOW,
    MOUTH_GAIN,
    MOUTH_PAIR_GAIN,
    MOUTH_PAIR_SLOPE,
    MOUTH_POLE,
    MOUTH_SHRINK,
    MOUTH_TURN,
    NUMBERS,
    PAIR_GAIN,
    PAIR_SLOPE,
    PISTON,
    POLE,
    REST,
    SERIES,
    SHRINK,
    SLIT,
    SOURCE,
    STIFF,
    TURN,
    VENT_JET,
    VENT_LOSS,
    VENT_MASS,
    VENT_WAVE,
    VOLUME,
    WAVE,
    WAY_DIRECT,
    WAY_GAIN,
    WAY_POLE,
)
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics import bore, reflection
from reedbore.simulate.acoustics.airway import airway
from reedbore.simulate.acoustics.airway_filter import Upstream, upstream_filter
from reedbore.simulate.acoustics.delay import lagrange, split_delay
from reedbore.simulate.acoustics.throat import Throat
from reedbore.simulate.acoustics.vent import Vent

LEAST_STEPS = 10.0
"""Steps in a period of the reed."""


class Taps(NamedTuple):
    """Where a delay line is heard."""

    first: int
    """Whole steps to the first tap."""
    weights: NDArray[np.float64]
    """Shape (4,), the fractional part of the delay."""


class Numbers(NamedTuple):
    """All numbers of one setup."""

    table: NDArray[np.float64]
    """Shape (NUMBERS,), rows as in `step`."""
    pairs: int
    """Pole pairs in use."""
    taps: Taps
    """Of the delay line of the reflection."""
    way: Taps | None
    """Of the line to the vent, if there is one."""
    echoes: NDArray[np.float64]
    """Shape (echoes,), strengths of early echoes."""
    places: NDArray[np.int64]
    """Shape (echoes,), their delays. [steps]"""
    vent_opens: int
    """When the vent opens. [steps]"""
    opening: float
    """Of the reed at rest. [m]"""
    massless: bool
    coupled: bool
    """Whether the reed acts back on the pressure in the mouth."""
    rate: float
    """Steps per second. [Hz]"""


def waveguide_of(setup: Setup) -> reflection.Waveguide:
    """Return the fitted delays and filters of a setup's bore."""
    gas = bore.gas_of(setup)
    return reflection.waveguide(setup.bore, setup.mouthpiece.volume, gas, setup.time.rate)


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
    check_reed(setup)
    reed = setup.reed.held()
    guide = waveguide_of(setup)
    table = np.zeros(NUMBERS)
    _fill_reed(table, setup)
    _fill_flow(table, setup, guide.throat)
    coupled = setup.tract.coupling == "on"
    if coupled:
        _fill_mouth(table, upstream_filter(airway(setup), setup.time.rate))
    _fill_reflection(table, guide.reflection)
    if guide.vent:
        _fill_vent(table, guide.vent, setup.time.rate)
    return Numbers(
        table,
        guide.reflection.pairs.size,
        _taps(guide.reflection.delay),
        _taps(guide.vent.delay) if guide.vent else None,
        guide.reflection.echoes,
        guide.reflection.places,
        round(setup.bore.vent_after * setup.time.rate),
        reed.opening,
        reed.dynamics == "massless",
        coupled,
        setup.time.rate,
    )


def check_reed(setup: Setup) -> None:
    """Refuse a reed that is too fast for the rate, with a ModelError."""
    reed, highest = setup.reed.held(), setup.time.rate / LEAST_STEPS
    if reed.dynamics == "mass" and reed.frequency > highest:
        raise ModelError(
            f"reed.frequency_hz is {reed.frequency:g} Hz; allowed up to {highest:g} Hz at "
            f"{setup.time.rate:g} steps a second (time.rate_hz)"
        )


def _taps(delay: float) -> Taps:
    first, fraction = split_delay(delay)
    return Taps(first, np.array(lagrange(fraction)))


def _fill_reflection(table: NDArray[np.float64], back: reflection.Reflection) -> None:
    table[DIRECT] = back.direct
    table[GAIN : GAIN + reflection.POLES] = back.gains
    table[POLE : POLE + reflection.POLES] = back.poles
    table[FADE] = back.fade
    count = back.pairs.size
    table[TURN : TURN + count] = 2.0 * back.pairs.real
    table[SHRINK : SHRINK + count] = np.abs(back.pairs) ** 2
    table[PAIR_GAIN : PAIR_GAIN + count] = back.pair_gains[:, 0]
    table[PAIR_SLOPE : PAIR_SLOPE + count] = back.pair_gains[:, 1]


def _fill_vent(table: NDArray[np.float64], vent: Vent, rate: float) -> None:
    table[WAY_DIRECT] = vent.direct
    table[WAY_GAIN:WAY_POLE] = vent.gains
    table[WAY_POLE:VENT_MASS] = vent.poles
    table[VENT_MASS] = vent.mass * rate
    table[VENT_LOSS] = vent.loss + vent.wave
    table[VENT_JET] = vent.jet
    table[VENT_WAVE] = vent.wave


def _fill_mouth(table: NDArray[np.float64], up: Upstream) -> None:
    """Put the mouth in series with the bore: both share the flow through the reed."""
    at_once = up.direct + up.gains.sum() + up.pair_gains[:, 0].sum()
    table[SOURCE] = up.resistance * (1.0 + at_once) / (1.0 - at_once)
    table[AT_ONCE] = 2.0 / (1.0 - at_once)
    table[HEARD_WAVE] = 1.0 / (1.0 - at_once)
    table[FLOW_WAVE] = up.resistance / (1.0 - at_once)
    table[SERIES] = 1.0 / (1.0 + table[CONDUCTANCE] * table[SOURCE])
    table[CONDUCTANCE] *= table[SERIES]
    table[MOUTH_GAIN:MOUTH_POLE] = up.gains
    table[MOUTH_POLE:MOUTH_TURN] = up.poles
    count = up.pairs.size
    table[MOUTH_TURN : MOUTH_TURN + count] = 2.0 * up.pairs.real
    table[MOUTH_SHRINK : MOUTH_SHRINK + count] = np.abs(up.pairs) ** 2
    table[MOUTH_PAIR_GAIN : MOUTH_PAIR_GAIN + count] = up.pair_gains[:, 0]
    table[MOUTH_PAIR_SLOPE : MOUTH_PAIR_SLOPE + count] = up.pair_gains[:, 1]


def _fill_reed(table: NDArray[np.float64], setup: Setup) -> None:
    reed, step = setup.reed.held(), 1.0 / setup.time.rate
    swing = 2.0 * math.pi * reed.frequency * step
    table[STIFF] = swing**2 / 4.0
    table[DAMPED] = reed.damping * swing / 2.0
    table[REST] = reed.opening
    table[GIVE] = swing**2 / reed.stiffness
    table[CONTACT] = reed.contact / reed.opening


def _fill_flow(table: NDArray[np.float64], setup: Setup, lumped: Throat) -> None:
    reed, gas, step = setup.reed.held(), bore.gas_of(setup), 1.0 / setup.time.rate
    volume = 2.0 * lumped.compliance / step
    throat, wave, decay = lumped.sampled(setup.time.rate)
    table[CHANNEL] = reed.width * math.sqrt(2.0 / gas.density)
    table[PISTON] = reed.area / (2.0 * step)
    table[CONDUCTANCE] = 1.0 / lumped.resistance + volume + (throat + wave).sum()
    table[WAVE] = 2.0 * (1.0 / lumped.resistance + wave.sum())
    table[VOLUME] = volume
    table[DECAY:INFLOW] = decay
    table[INFLOW:BACKFLOW] = (1.0 + decay) * (throat + wave)
    table[BACKFLOW:SERIES] = 2.0 * (1.0 + decay) * wave
    table[CLOSING] = reed.stiffness * reed.opening
    table[SLIT] = table[CHANNEL] * reed.opening
