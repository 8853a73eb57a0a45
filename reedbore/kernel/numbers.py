"""A setup as the kernels take it: numbers, and what is blown and sung."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.folds import Steady
from reedbore.kernel.rows import VENT_RISE_S


class Taps(NamedTuple):
    """Where a delay line is heard."""

    first: int
    """Whole steps to the first tap."""
    weights: NDArray[np.float64]
    """Shape (TAPS,), the fractional part of the delay."""


class Numbers(NamedTuple):
    """All numbers of one setup."""

    table: NDArray[np.float64]
    """Shape (NUMBERS,), rows as in `rows`."""
    pairs: int
    """Pole pairs in use."""
    taps: Taps
    """Of the delay line of the reflection."""
    upper: Taps | None
    """Of the line to the vent, if there is one."""
    echoes: NDArray[np.float64]
    """Shape (echoes,), strengths of early echoes; those sooner than `AHEAD` steps are the last."""
    places: NDArray[np.int64]
    """Shape (echoes,), their delays. [steps]"""
    vent_opens: int
    """When the vent opens; 0 if it was always open. [steps]"""
    opening: float
    """Of the reed at rest. [m]"""
    valve: str
    """One of `valve.VALVES`."""
    coupled: bool
    """Whether the reed acts back on the pressure in the mouth."""
    rate: float
    """Steps per second. [Hz]"""
    tube: Taps | None = None
    """Of the line before that to the vent: the tube of a mouthpiece, or what stands for it."""

    @property
    def firsts(self) -> list[int]:
        """Whole steps to the first tap of each delay line."""
        return [line.first for line in (self.taps, self.upper, self.tube) if line]

    @property
    def lead(self) -> int:
        """How many steps before the present one are heard in a delay line."""
        return max(self.firsts) + len(self.taps.weights) - 1

    @property
    def vent_begins(self) -> int:
        """Step at which the vent begins to open; before the run if it was always open."""
        return self.vent_opens if self.vent_opens > 0 else -vent_rise(self.rate)


class Drive(NamedTuple):
    """What one of many lanes blows and sings, and where its played line is followed."""

    breath: float
    """[Pa]"""
    rise: float
    """Of the breath. [steps]"""
    depth: float
    """Of the sung pressure, over the blown one."""
    fade: float
    """In which the voice comes in. [steps]"""
    sung_turn: float
    """What is sung. [cycles a step]"""
    clock_turn: float
    """Near which frequency the line is followed. [cycles a step]"""
    period: int
    """Where the sung period begins among those of all lanes."""
    singer: Steady | None = None
    """Whose folds sing instead."""


@dataclass(frozen=True)
class Driven:
    """Many lanes: the numbers of their setups, and as columns what each blows and sings.

    As a sequence, the numbers and the `Drive` of each lane.
    """

    numbers: Sequence[Numbers]
    """Of the setups that differ."""
    which: NDArray[np.int64]
    """Shape (lanes,), whose numbers each lane has."""
    breath: NDArray[np.float64]
    """This, and those below, shape (lanes,), as in a `Drive`."""
    rise: NDArray[np.float64]
    depth: NDArray[np.float64]
    fade: NDArray[np.float64]
    sung_turn: NDArray[np.float64]
    clock_turn: NDArray[np.float64]
    period: NDArray[np.int64]
    singers: Sequence[Steady | None] = ()
    """Of each lane; none at all where no folds sing."""

    def __len__(self) -> int:
        return self.which.size

    def __getitem__(self, lane: int) -> tuple[Numbers, Drive]:
        drive = Drive(
            breath=float(self.breath[lane]),
            rise=float(self.rise[lane]),
            depth=float(self.depth[lane]),
            fade=float(self.fade[lane]),
            sung_turn=float(self.sung_turn[lane]),
            clock_turn=float(self.clock_turn[lane]),
            period=int(self.period[lane]),
            singer=self.singers[lane] if self.singers else None,
        )
        return self.numbers[self.which[lane]], drive


def vent_rise(rate: float) -> int:
    """Return in how many steps a vent opens, at a rate [Hz]."""
    return max(round(VENT_RISE_S * rate), 1)
