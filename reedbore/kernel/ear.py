"""A singer who corrects the note by ear: between stretches of steps the tension is moved.

In: how far the folds were apart. Out: by how much more tension they are held in the steps to come,
a hundred times a second, by `physics.pitch_control`.

What is heard of a note is the mean of its swings over `HEARD_S`: in a lock one may be a semitone
longer than the next, and only many of them together have a pitch.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.folds import Singer
from reedbore.physics.pitch_control import DELAY_S, EVERY_S, corrected

Reals = NDArray[np.float64]

HEARD_S = 0.1
"""Swings of so much time make a note; its middle is what `DELAY_S` counts from. [s]"""

LOOKED_AT_HZ = 12000.0
"""So often at least the folds are looked at for it: they swing smoothly. [Hz]"""


class Ear:
    """The ear of one singer.

    Parameters
    ----------
    wanted : ndarray, shape (n,)
        The note that is meant at each step, 0 for none. [Hz]
    rate : float
        Steps a second. [Hz]
    least : float
        Folds that swing less far to either side make no sound. [m]

    Attributes
    ----------
    added : ndarray, shape (n,)
        What the ear has done: tension beyond what the muscles hold. [cents]
    """

    def __init__(self, wanted: Reals, rate: float, least: float) -> None:
        self.added: Reals = np.zeros(wanted.size)
        self._wanted, self._rate, self._least = wanted, rate, least

    def stretches(self, singer: Singer, begin: int, end: int) -> Iterator[tuple[int, int]]:
        """Cut steps into stretches, each to be run before the next one is asked for.

        Parameters
        ----------
        singer : Singer
            Whose tension is moved, and its damping with it.
        begin, end : int
            The steps.

        Yields
        ------
        begin, end : int
            Of a stretch.
        """
        every = math.floor(EVERY_S * self._rate)
        for first in range(begin, end, every):
            last = min(first + every, end)
            tension = self._moved(singer.half_gap, first, (last - first) / self._rate)
            self.added[first:last] = tension
            singer.tension[first:last] *= 2.0 ** (tension / 600.0)
            singer.hold[first:last] *= 2.0 ** (tension / 1200.0)
            yield first, last

    def _moved(self, half_gap: Reals, now: int, step: float) -> float:
        """Return the tension [cents] of a stretch: moved by what was heard a while ago."""
        then, half = now - round(DELAY_S * self._rate), round(0.5 * HEARD_S * self._rate)
        error = self._error(half_gap[then - half : then + half], then) if then >= half else 0.0
        return corrected(float(self.added[now - 1]) if now else 0.0, error, step)

    def _error(self, swings: Reals, middle: int) -> float:
        """Return how far what was meant lies above some swings [cents]; 0 if either is no note."""
        thin = max(int(self._rate / LOOKED_AT_HZ), 1)
        heard = note_of(swings[::thin], self._least) / thin
        wanted = self._wanted[middle] / self._rate
        return 1200.0 * math.log2(wanted / heard) if heard > 0.0 and wanted > 0.0 else 0.0


def note_of(half_gap: Reals, least: float) -> float:
    """Return the note of some swings [cycles a value]; 0 if they are too small, or too few."""
    if np.ptp(half_gap) < 2.0 * least:
        return 0.0
    above = half_gap - half_gap.mean()
    at = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
    if at.size < 2:
        return 0.0
    ends = at[[0, -1]]
    first, last = ends + above[ends] / (above[ends] - above[ends + 1])
    return float((at.size - 1) / (last - first))


def stretches(ear: Ear | None, singer: Singer, begin: int, end: int) -> Iterator[tuple[int, int]]:
    """Cut steps as `Ear.stretches` does; not at all for a singer who does not listen."""
    return iter([(begin, end)]) if ear is None else ear.stretches(singer, begin, end)
