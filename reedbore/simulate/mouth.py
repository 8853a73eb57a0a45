"""What is sung into the mouth, as every kernel takes it: one period, and how loud it is.

A source of pressure sings its pulse, shaped by the tongue if there is a vowel, as loudly as is set.
A source of flow sends its pulse through the folds; airway and reed make the pressure of it, shape
and strength.
"""

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import TABLE
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.physics import glottis
from reedbore.simulate.acoustics.airway import REED_CONDUCTANCE, Airway, airway

HIGHEST_HZ = 12000.0
"""No partial of the sung waveform lies above this, nor above `HIGHEST_SHARE` of the rate."""

HIGHEST_SHARE = 0.45

LEAST_RD, MOST_RD = 0.3, 2.7
"""Range of the pulse's shape; no effort goes beyond it."""


class Key(NamedTuple):
    """What one period of a sung waveform depends on: the arguments of `period`."""

    source: str
    """``pulse`` or ``sine``."""
    rd: float
    """Shape of the pulse."""
    partials: int
    """How many it has."""
    way: Airway | None = None
    """What the flow through the folds has to pass; None if the pulse is the pressure."""
    load: float = 0.0
    """Conductance of the reed's channel at the lips. [m³ s⁻¹ Pa⁻¹]"""
    hz: float = 0.0
    """The note that is sung, if something has to be passed. [Hz]"""


def harmonics(hz: NDArray[np.float64], rate: float) -> NDArray[np.int64]:
    """Return how many partials sung notes of some frequencies [Hz] have at a rate [Hz]."""
    return np.maximum((min(HIGHEST_SHARE * rate, HIGHEST_HZ) / hz).astype(np.int64), 1)


def key(setup: Setup, hz: float, note: float | None = None) -> Key:
    """Return what one period depends on.

    Parameters
    ----------
    setup : Setup
        Its voice, a pulse or a sine; tract and rate.
    hz : float
        The highest frequency that the period takes. [Hz]
    note : float, optional
        The note that is sung; by default that of the voice. [Hz]

    Returns
    -------
    Key
        Arguments of `period`. A voice that is pulled keeps the vowel of its own note, and so its
        waveform.
    """
    voice, count = setup.voice, int(harmonics(np.array([hz]), setup.time.rate)[0])
    rd = min(max(voice.rd / voice.effort, LEAST_RD), MOST_RD)
    if not passes(voice):
        return Key(voice.source, rd, count)
    load = 0.0 if setup.tract.coupling == "on" else REED_CONDUCTANCE
    return Key(voice.source, rd, count, airway(setup), load, note or voice.frequency)


def passes(voice: Voice) -> bool:
    """Tell whether what is sung has to pass throat and mouth: then it hangs on the note."""
    return voice.drive != "pressure" or voice.vowel != "none"


def period(
    source: str,
    rd: float,
    partials: int,
    way: Airway | None = None,
    load: float = 0.0,
    hz: float = 0.0,
) -> NDArray[np.float64]:
    """Return one period of the sung waveform; its arguments are the fields of a `Key`.

    Returns
    -------
    ndarray, shape (TABLE + 1,)
        Zero mean, largest value 1, either way if something had to be passed; the first point
        stands at the end again.
    """
    return _sung(Key(source, rd, partials, way, load, hz))[0]


@functools.lru_cache(maxsize=64)
def _sung(sung: Key) -> tuple[NDArray[np.float64], float]:
    """Return a period, and the pressure [Pa] that a flow makes whose fundamental is 1 m³/s."""
    made = glottis.sine_harmonics(sung.partials)
    if sung.source != "sine":
        made = glottis.pulse_harmonics(sung.rd, sung.partials)
    peak = 1.0
    if sung.way is not None:
        made = made / (2.0 * abs(made[0]))
        frequency = sung.hz * np.arange(1.0, sung.partials + 1.0)
        made = made * sung.way.transfer(frequency, sung.load)
    table = glottis.waveform_table(made, TABLE)
    if sung.way is not None:
        peak = float(np.abs(table).max())
        table = table / peak
    return np.append(table, table[0]), peak


def sung_pressure(setup: Setup, note: float | None = None) -> float:
    """Return the peak of the sung pressure [Pa]; of a recording, or no voice, that of its depth.

    Parameters
    ----------
    setup : Setup
        Its voice, tract and breath.
    note : float, optional
        The note that is sung; by default that of the voice. [Hz]

    Returns
    -------
    float
        For a source of flow what the flow makes before a closed reed, which `tract.coupling` then
        lets act back; uncoupled, before a reed that lets out `upstream.REED_CONDUCTANCE`.
    """
    voice = setup.voice
    if not voice.flows:
        return voice.depth * setup.breath.pressure
    made = _sung(key(setup, note or voice.frequency, note))
    return voice.flow * voice.effort * made[1]


def depth(setup: Setup) -> float:
    """Return the depth of the sung pressure.

    Parameters
    ----------
    setup : Setup
        Its voice, tract and breath.

    Returns
    -------
    float
        As set, for a source of pressure or a recording. For a source of flow `sung_pressure` over
        the blowing pressure; 0 if nothing is blown.
    """
    voice, breath = setup.voice, setup.breath.pressure
    if not voice.flows:
        return voice.depth
    return sung_pressure(setup) / breath if breath > 0.0 else 0.0
