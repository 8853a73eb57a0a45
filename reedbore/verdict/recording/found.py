"""What is given of a recording, and what is found in it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import hearing, keeping_step, spectrum
from reedbore.model.setup import Horn
from reedbore.notes import cents
from reedbore.verdict.instead import Instead, Range, sing_instead
from reedbore.verdict.result import Ratio
from reedbore.verdict.state import State

VOICE_RANGE = 60.0, 1000.0
"""Where a voice is looked for if its range is not known. [Hz]"""

SURE_CYCLES, STRAYS = 0.01, 2.0
"""Nineteen times out of twenty the mean frequency of a note lies within so many cycles over what
was looked at, and so many times what its phase strays, by the square of how much longer the note
is than what was followed; `tests/benchmarks/recordings.py` counts how often. [cycles, 1]"""

SURE_DRIFT = 2.0
"""A drift lies within so many times that, for two notes move."""

SURE_ALONE, UNEXPLAINED, SURE_CLASS = 0.1, 2.5, 0.5
"""From the horn alone a drift lies within so many cycles over what was looked at, and so many times
the root of what it leaves unexplained of the lines; a class beside no ratio within the third.
[cycles]"""

Samples = NDArray[np.float64]


class Sounds(Protocol):
    """A recording that is handed out piece by piece."""

    rate: float
    """Samples per second of what is handed out. [Hz]"""
    seconds: float

    def piece(self, begin: float, end: float) -> tuple[Samples, Samples | None]:
        """Return what the horn's and the throat's microphone heard from, to [s]."""
        ...


class Known(NamedTuple):
    """What is known of a recording beforehand."""

    fingered_hz: float | None = None
    """Throughout. [Hz]"""
    reach: Range | None = None
    """Lowest and highest note of the voice. [Hz]"""
    sung_hz: Callable[[float, float], float | None] | None = None
    """What is planned to be sung over a played note [Hz] at a time [s]."""
    instrument: Horn | None = None
    """Who plays: then each member of a class is rendered and compared, if the range is known."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """A note, or a while in which the voice holds one note over it; None what cannot be told.

    Attributes
    ----------
    number : int
        From 1.
    begin_s, end_s : float
        [s]
    level_db : float
        Of the horn's microphone, full scale being 0. [dB]
    played_hz : float
        [Hz]
    played_within : float
        The played pitch lies within this nineteen times out of twenty. [cents]
    sung_hz, sung_within : float or None
        [Hz], [cents]; within as of what is played.
    sung_class : tuple of float
        What may have been sung, from the horn alone: within the voice's range. [Hz]
    class_within : float
        One of them lies within this nineteen times out of twenty, if it is the class. [Hz]
    margin_db : float or None
        Where the sung note was chosen by rendering each member: how much farther the next is.
    ratio : (p, q) or None
    q : int or None
        Of the common note f1/q, where p is not known.
    drift_hz : float or None
        p·f1 - q·f2; without a sign from the horn alone.
    drift_within : float or None
        It lies within this nineteen times out of twenty. [Hz]
    shows_hz : float
        The smallest drift that this note can show. [Hz]
    interaction_db : float or None
        How far lines n·f1 ± f2 stand above the floor.
    wander : float or None
        How far q·φ2 strays from an even course. [cycles]
    state, reason
        As of a verdict.
    third_db, heard
        Level of the third note's own partials against the whole, and whether they are heard.
    roughness : float or None
        Times that of the same note without a voice, in the same recording.
    cannot : mapping
        For each figure that cannot be told, why.
    throat_db : float or None
        Level on the throat, full scale being 0. [dB]
    lines : Lines or None
        Of the horn's microphone.
    played_course, sung_course : Course or None
        Both pitches as they move, in the seconds of the recording.
    """

    number: int = 0
    begin_s: float
    end_s: float
    level_db: float
    played_hz: float
    played_within: float
    sung_hz: float | None = None
    sung_within: float | None = None
    sung_class: tuple[float, ...] = ()
    class_within: float = 0.0
    margin_db: float | None = None
    ratio: Ratio | None = None
    q: int | None = None
    drift_hz: float | None = None
    drift_within: float | None = None
    shows_hz: float
    interaction_db: float | None = None
    wander: float | None = None
    state: State = State.UNDECIDED
    reason: str | None = None
    third_db: float | None = None
    heard: str | None = None
    roughness: float | None = None
    cannot: Mapping[str, str] = field(default_factory=dict)
    throat_db: float | None = None
    lines: spectrum.Lines | None = None
    played_course: keeping_step.Course | None = None
    sung_course: keeping_step.Course | None = None

    @property
    def common_hz(self) -> float | None:
        """The common note. [Hz]."""
        q = self.ratio[1] if self.ratio else self.q
        return self.played_hz / q if q else None

    @property
    def off_cents(self) -> float | None:
        """How far the sung note lies above the just one over what is played. [cents]."""
        if self.ratio is None or self.sung_hz is None:
            return None
        just = self.played_hz * self.ratio[0] / self.ratio[1]
        if self.drift_hz is not None and not self.sung_class:
            # The drift is surer than the difference of two pitches that move.
            just = self.sung_hz + self.drift_hz / self.ratio[1]
        return cents(self.sung_hz, just)

    def instead(self, reach: Range | None) -> Instead | None:
        """Find what to sing instead where the two notes miss each other."""
        if self.sung_hz is None or self.state not in (State.DRIFTING, State.ROUGH):
            return None
        return sing_instead(self.played_hz, self.sung_hz, self.sung_hz, self.ratio, reach)

    def named(self, hz: float) -> "Found":
        """Name the member of the class that was sung. [Hz]."""
        return replace(self, sung_hz=hz, sung_within=within(hz, self.class_within))


NOTHING = Known()


def level(samples: Samples) -> float:
    """Level of the effective value against a full scale of 1. [dB]."""
    return 10.0 * math.log10(max(float(np.var(samples)) if samples.size else 0.0, 1e-30))


def open_hz(
    seconds: float, length: float, followed: keeping_step.Course | keeping_step.Beat
) -> float:
    """How well the mean of a frequency can be told. [Hz].

    Of a note of some length [s], of which so many seconds were looked at.
    """
    span = float(np.ptp(followed.times)) if followed.times.size else length
    strays = STRAYS * followed.strays * (length / span) ** 2
    return math.hypot(SURE_CYCLES, strays) / seconds


def within(hz: float, by: float) -> float:
    """How far a distance from a pitch is, both in Hz. [cents]."""
    return 1200.0 * math.log2(1.0 + by / hz)


def heard(row: Found) -> Found:
    """Measure the third note's own partials, as far as both notes are known."""
    if row.ratio is None or row.lines is None or row.common_hz is None:
        return row
    level, heard = hearing.third_note(row.lines, row.ratio, row.common_hz)
    return replace(row, third_db=level, heard=str(heard))


def course(samples: Samples, rate: float, hz: float, begin: float) -> keeping_step.Course:
    """Follow a pitch of a note that begins at a time [s]."""
    found = keeping_step.course(samples, rate, hz)
    return found._replace(times=begin + found.times)


def all_of_the_voice(why: str) -> dict[str, str]:
    """Give one reason for every figure that takes the sung note."""
    return dict.fromkeys(("sung_hz", "ratio", "drift_hz", "third_db"), why)
