"""How a sound turns over: the strength of the one partial that its two notes share, over time.

In: a setup. Out: times and strengths, late enough for the two notes to have found each other.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import notes
from reedbore.errors import ReedboreError
from reedbore.measures import pitch
from reedbore.model.setup import Setup
from reedbore.page.lesson.steps import COUNTED_S
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.verdict.result import NEAR_CENTS, SIMPLE

BEGINS_S, AFTER_S = 1.0, 0.5
BAND_HZ = 20.0

Samples = NDArray[np.float64]


class Turns(NamedTuple):
    """The shared partial over `COUNTED_S`."""

    times: Samples
    """From 0. [s]"""
    strength: Samples
    """Of the strongest moment, at most 1."""
    partials: tuple[int, int]
    """Which of the horn's and which of the voice's it is."""


def turns_of(setup: Setup, fingered_hz: float) -> Turns:
    """Follow the lowest partial that both notes share.

    Parameters
    ----------
    setup : Setup
        Two notes near a simple ratio.
    fingered_hz : float
        What is fingered. [Hz]

    Returns
    -------
    Turns

    Raises
    ------
    ReedboreError
        If the two share none.
    """
    sung = setup.voice.frequency
    ratio = notes.choose_ratio(sung / fingered_hz, 2.0 * NEAR_CENTS, SIMPLE)
    if ratio is None:
        raise ReedboreError("these two notes are near no simple ratio, and share no partial")
    take = render(setup, BEGINS_S + COUNTED_S + AFTER_S)
    sound, rate = pitch.thin(take.sound, SOUND_RATE)
    line = pitch.phase_track(sound, rate, ratio[1] * sung, BAND_HZ)
    shown = (line.times >= BEGINS_S) & (line.times <= BEGINS_S + COUNTED_S)
    strength = line.amplitude[shown]
    return Turns(line.times[shown] - BEGINS_S, strength / strength.max(), ratio)
