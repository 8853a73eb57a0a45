"""Phrases of a passage: how much air each takes, and where to breathe.

In: a passage, and the mean flow that the horn takes on each fingered note. Out: phrases from beat
to beat with their litres. The air goes through folds and reed one after the other, so singing adds
none to what the horn takes.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from reedbore.model.line import Note
from reedbore.model.passage import Passage

ONE_BREATH_L = 2.5
"""What is asked of one breath: vital capacities of adults are 3 to 6 l, and about half is used with
ease (both from memory). [l]"""

BREATHING_S = 0.5
"""Silence in which a player can breathe; common practice, no source. [s]"""

EARLIEST = 0.4
"""Nobody breathes again before so much of a breath is used, if it can be helped."""

Flow = Callable[[Note], float]


class Phrase(NamedTuple):
    """What is played in one breath.

    Attributes
    ----------
    begin, end : float
        In beats.
    seconds : float
        How long the horn sounds in it. [s]
    litres : float
        Air that goes through the reed. [l]
    rests : bool
        Whether there is silence to breathe in behind it, or the passage ends.
    within : bool
        Whether a note that goes on is broken there.
    """

    begin: float
    end: float
    seconds: float
    litres: float
    rests: bool
    within: bool

    @property
    def long(self) -> bool:
        """Whether it takes more than is asked of one breath."""
        return self.litres > ONE_BREATH_L


class _Place(NamedTuple):
    """A place to breathe: the less it breaks, the better."""

    beat: float
    breaks: int


def phrases(passage: Passage, flow: Flow) -> list[Phrase]:
    """Part a passage into breaths.

    Parameters
    ----------
    passage : Passage
        What is played.
    flow : callable
        Mean flow that the horn takes on a fingered note. [l/s]

    Returns
    -------
    list of Phrase
        Silence long enough to breathe ends one. What takes more than `ONE_BREATH_L` is parted
        where the tongue begins a note, or else the voice, or else where a slur can be parted; two
        notes that are both held are never broken.
    """
    places, air = _places(passage), _Air(passage, flow)
    found: list[Phrase] = []
    for begin, end in _stretches(passage):
        start = begin
        inside = [place for place in places if begin < place.beat < end]
        while True:
            taken = air.between(start, end)[1]
            left = [place for place in inside if place.beat > start]
            place = _best(air, start, left) if taken > ONE_BREATH_L else None
            until = place.beat if place else end
            within = place is not None and place.breaks > 0
            found.append(Phrase(start, until, *air.between(start, until), place is None, within))
            if place is None:
                break
            start = until
    return found


def _best(air: "_Air", start: float, left: Sequence[_Place]) -> _Place | None:
    """Choose where to breathe next: late in the breath, where least is broken."""
    used = [(place, air.between(start, place.beat)[1]) for place in left]
    fits = [place for place, litres in used if litres <= ONE_BREATH_L]
    good = [place for place, litres in used if EARLIEST * ONE_BREATH_L <= litres <= ONE_BREATH_L]
    if good:
        return min(good, key=lambda place: (place.breaks, -place.beat))
    if fits:
        return fits[-1]
    return left[0] if left else None


def _stretches(passage: Passage) -> list[tuple[float, float]]:
    """List from where to where the horn sounds without silence long enough to breathe."""
    found: list[tuple[float, float]] = []
    line = passage.fingered_line
    for note, (begin, end) in zip(line.notes, pairwise(line.bounds), strict=True):
        if note.pitch is None:
            continue
        gap = passage.seconds_at(begin) - passage.seconds_at(found[-1][1]) if found else 0.0
        if found and gap < BREATHING_S:
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    return found


def _places(passage: Passage) -> list[_Place]:
    """List where a note begins, and what a breath would break there.

    It breaks nothing between two notes that are tongued; else a hum, a held note of the horn, or,
    worst, a slur over which the other line is held or slurred too.
    """
    lines = [
        (line.notes, line.bounds)
        for line in (passage.fingered_line, passage.sung_line)
        if line.notes
    ]
    found = []
    for beat in sorted({beat for _, bounds in lines for beat in bounds}):
        horn, *voice = (_goes_on(notes, bounds, beat) for notes, bounds in lines)
        found.append(_Place(beat, 2 * horn + any(voice)))
    return found


def _goes_on(notes: Sequence[Note], bounds: Sequence[float], beat: float) -> bool:
    """Tell whether a note of a line sounds on over a beat, or is slurred there."""
    place = bisect_right(bounds, beat) - 1
    if place >= len(notes):
        return False
    if bounds[place] < beat:
        return notes[place].pitch is not None
    return place > 0 and notes[place - 1].slurred


class _Air:
    """Knows how long the horn sounds, and how much air it takes, between any two beats."""

    def __init__(self, passage: Passage, flow: Flow) -> None:
        line = passage.fingered_line
        self._passage, self._bounds = passage, line.bounds
        self._rates = [(0.0, 0.0) if n.pitch is None else (1.0, flow(n)) for n in line.notes]
        self._sums = [(0.0, 0.0)]
        for (first, last), rates in zip(pairwise(line.bounds), self._rates, strict=True):
            lasts = passage.seconds_at(last) - passage.seconds_at(first)
            seconds, litres = self._sums[-1]
            self._sums.append((seconds + lasts * rates[0], litres + lasts * rates[1]))

    def between(self, begin: float, end: float) -> tuple[float, float]:
        """Return seconds and litres."""
        (s, v), (from_s, from_v) = self._until(end), self._until(begin)
        return s - from_s, v - from_v

    def _until(self, beat: float) -> tuple[float, float]:
        place = min(bisect_right(self._bounds, beat) - 1, len(self._rates) - 1)
        first, (seconds, litres) = self._bounds[place], self._sums[place]
        beat = min(beat, self._bounds[place + 1])
        lasts = self._passage.seconds_at(beat) - self._passage.seconds_at(first)
        return seconds + lasts * self._rates[place][0], litres + lasts * self._rates[place][1]
