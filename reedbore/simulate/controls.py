"""A passage as samples: pitches, breath, depth and gates over time, for whatever makes it sound.

In: a `Passage` and a rate. Out: arrays, any stretch of them, the same wherever it is cut.

No array jumps where it can be heard. A gate is 0 at the very sample at which its note begins and
rises from there; it falls to 0 towards the end of the note, never into the next. All rises, falls
and glides are half a period of a raised cosine, and a short note has short ones: at most
`LARGEST_PART` of it each. Their lengths are common practice, no source.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.line import Line
from reedbore.model.passage import Passage, Point
from reedbore.notes import A4_HZ, parse_pitch

Reals = NDArray[np.float64]

FINGERS = 0.010  # [s] that fingers take under a slur
GLIDE = 0.060  # [s] that the voice takes from note to note under a slur
TONGUE = 0.006  # [s] in which the tongue stops the reed, or leaves it
BREATH = 0.040  # [s] in which the breath rises after a rest, or falls before one
VOICE = 0.030  # [s] in which the voice begins, or ends
LARGEST_PART = 0.25

DRAWN_AWAY, BACK = 1.1, 0.020
"""The tongue draws the reed so far beyond its rest as it lets go, and so long it takes to be back:
our choice, after measured starts of clarinet notes [W. Li, A. Almeida, J. Smith and J. Wolfe,
J. Acoust. Soc. Am. 140, 1089, 2016 (abstract)]. [1], [s]"""


class Span(NamedTuple):
    """A note or rest of a line among the samples, ``first`` up to but without ``end``.

    Attributes
    ----------
    note : int
        Its place in the line, counted from 0.
    first, end : int
        Samples.
    hz : float
        Frequency; 0 for a rest. [Hz]
    fingering : str
        Name of the fingering, "" for the plain one.
    joined : bool
        It is slurred to the note before it.
    """

    note: int
    first: int
    end: int
    hz: float
    fingering: str
    joined: bool


class Controls(NamedTuple):
    """A stretch of a passage; each array has shape (n,).

    Attributes
    ----------
    fingered_hz, sung_hz : ndarray
        Pitch, gliding under slurs. In a rest it goes to that of the note to come; after the last
        note it stays. It jumps only where a gate is 0. All 0 if nobody sings from notes. [Hz]
    breath : ndarray
        Share of the dynamic range, 0 where the reed begins to sound and 1 where ff ends; all nan
        where the passage leaves it to the horn's own breath.
    depth : ndarray
        Depth of the sung pressure.
    blowing : ndarray
        Gate of the breath: 1 on notes, 0 in rests.
    tongue : ndarray
        Gate of the reed: 1 while it is free, 0 where the tongue parts two notes, and where it waits
        for the breath after a rest.
    singing : ndarray
        Gate of the voice.
    """

    fingered_hz: Reals
    sung_hz: Reals
    breath: Reals
    depth: Reals
    blowing: Reals
    tongue: Reals
    singing: Reals


def spans(passage: Passage, line: Line, rate: float, a4: float = A4_HZ) -> tuple[Span, ...]:
    """Find the samples of the notes and rests of a line.

    Parameters
    ----------
    passage : Passage
        Gives the time of a beat.
    line : Line
        One of its lines.
    rate : float
        Samples per second. [Hz]
    a4 : float, optional
        Frequency of A4. [Hz]

    Returns
    -------
    tuple of Span
        One for each note and rest, rounded to the nearest sample each by itself.
    """
    bounds = [round(passage.seconds_at(beat) * rate) for beat in line.bounds]
    joins = [False, *(note.slurred for note in line.notes)]
    return tuple(
        Span(
            place,
            bounds[place],
            bounds[place + 1],
            parse_pitch(note.pitch, a4) if note.pitch else 0.0,
            note.fingering,
            joined,
        )
        for place, (note, joined) in enumerate(zip(line.notes, joins, strict=False))
    )


def sample_count(passage: Passage, rate: float) -> int:
    """Count the samples of a whole passage at a rate [Hz]."""
    return round(passage.seconds * rate)


def controls(
    passage: Passage,
    rate: float,
    *,
    usual_depth: float,
    first: int = 0,
    end: int | None = None,
    a4: float = A4_HZ,
    breath_rise: float = BREATH,
    tongue: float = 0.0,
) -> Controls:
    """Turn a passage into arrays over time.

    Parameters
    ----------
    passage : Passage
        What is played and sung.
    rate : float
        Samples per second. [Hz]
    usual_depth : float
        Depth where the passage has no curve of it.
    first, end : int, optional
        Stretch of samples, the second one not included; by default the whole passage. Past its end
        the gates are 0.
    a4 : float, optional
        Frequency of A4. [Hz]
    breath_rise : float, optional
        In this time the breath rises after a rest, and falls before one. [s]
    tongue : float, optional
        In this time the tongue lets go of a reed that is blown already; 0 for one that it leaves
        as it came, and that is free after rests. [s]

    Returns
    -------
    Controls
        Arrays of ``end - first`` samples.
    """
    places = np.arange(first, sample_count(passage, rate) if end is None else end)
    fingered = _Track(spans(passage, passage.fingered_line, rate, a4), places)
    sung = _Track(spans(passage, passage.sung_line, rate, a4), places)
    beats = beats_at(passage, places / rate)
    return Controls(
        fingered_hz=fingered.pitch(FINGERS * rate),
        sung_hz=sung.pitch(GLIDE * rate),
        breath=_along(passage.breath_curve or (Point(0.0, np.nan),), beats),
        depth=_along(passage.depth_curve or (Point(0.0, usual_depth),), beats),
        blowing=fingered.gate(breath_rise * rate, at_rests=True),
        tongue=fingered.tongue(breath_rise, tongue, rate),
        singing=sung.gate(VOICE * rate, at_rests=True) * sung.gate(VOICE * rate, at_rests=False),
    )


class _Track:
    """A line of spans, looked at from some samples."""

    def __init__(self, line: tuple[Span, ...], places: NDArray[np.int64]) -> None:
        end = line[-1].end if line else 0
        # The silence after the last note is a rest like any other.
        self.line = (*line, Span(len(line), end, end, 0.0, "", False))
        self.lengths = np.array([max(span.end - span.first, 1) for span in self.line], float)
        self.lengths[-1] = np.inf
        firsts = np.array([span.first for span in self.line])
        self.here = np.searchsorted(firsts, places, "right") - 1
        self.since = (places - firsts[self.here]).astype(float)
        self.left = self.lengths[self.here] - self.since

    def pitch(self, glide: float) -> Reals:
        """Follow the notes; under a slur and in a rest glide in cents for so many samples."""
        own = _held([span.hz for span in self.line])
        if not own.any():
            return np.zeros(len(self.here))
        # Into a rest the pitch glides as well: what still rings in the bore would click.
        joined = np.array([span.joined or span.hz == 0.0 for span in self.line])
        joined[0] = False
        before = np.where(joined, np.roll(own, 1), own)[self.here]
        run = np.minimum(glide, LARGEST_PART * self.lengths)[self.here]
        pitch, turns = own[self.here], (self.since < run) & (before != own[self.here])
        share = rise(self.since[turns] / run[turns])
        pitch[turns] = before[turns] * (pitch[turns] / before[turns]) ** share
        return pitch

    def tongue(self, after: float, seconds: float, rate: float) -> Reals:
        """Part notes; in so many seconds let go of what is blown already, `after` a rest later."""
        if not seconds:
            return self.gate(TONGUE * rate, at_rests=False)
        sounds = np.array([span.hz > 0.0 for span in self.line])
        first = np.roll(~sounds, 1)
        first[0] = True
        begins = sounds & (first | ~np.array([span.joined for span in self.line]))
        most = LARGEST_PART * self.lengths
        waits = np.where(first, np.minimum(after * rate, most), 0.0)
        going = np.minimum(seconds * rate, most)[self.here] / seconds
        free = let_go((self.since - waits[self.here]) / going, seconds)
        comes = np.roll(begins, -1)[self.here]
        comes[self.here == len(self.line) - 1] = False
        falling = rise(self.left / np.minimum(TONGUE * rate, most)[self.here])
        return np.where(begins[self.here], free, 1.0) * np.where(comes, falling, 1.0)

    def gate(self, ramp: float, *, at_rests: bool) -> Reals:
        """Open over notes; close for so many samples at rests, or where notes are parted."""
        sounds = np.array([span.hz > 0.0 for span in self.line])
        before = np.roll(sounds, 1)
        before[0] = False
        joined = np.array([span.joined for span in self.line])
        opens = sounds & (~before if at_rests else before & ~joined)
        closes = sounds & ~np.roll(sounds, -1) if at_rests else np.roll(opens, -1)
        run = np.minimum(ramp, LARGEST_PART * self.lengths)[self.here]
        rising = rise(np.where(opens[self.here], self.since / run, 1.0))
        falling = rise(np.where(closes[self.here], self.left / run, 1.0))
        return rising * falling * np.where(sounds | (not at_rests), 1.0, 0.0)[self.here]


def _held(hz: list[float]) -> Reals:
    """Give rests the pitch of the note to come, or else of the one before."""
    own = np.array(hz)
    for place in range(len(own) - 2, -1, -1):
        own[place] = own[place] or own[place + 1]
    for place in range(1, len(own)):
        own[place] = own[place] or own[place - 1]
    return own


def rise(share: Reals) -> Reals:
    """Return half a period of a raised cosine, from 0 at 0 to 1 at 1 and beyond."""
    risen = np.clip(share, 0.0, 1.0)
    moves = (risen > 0.0) & (risen < 1.0)
    risen[moves] = 0.5 - 0.5 * np.cos(np.pi * risen[moves])
    return risen


def let_go(time: Reals, seconds: float) -> Reals:
    """Return what a tongue leaves of the rest of a reed that it lies on, and then lets go.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Since it begins to let go. [s]
    seconds : float
        In which time it does. [s]

    Returns
    -------
    ndarray, shape (n,)
        0 before, and up to `DRAWN_AWAY`, from which the reed goes back to its rest within `BACK`.
    """
    return rise(time / seconds) * (DRAWN_AWAY + (1.0 - DRAWN_AWAY) * rise((time - seconds) / BACK))


def beats_at(passage: Passage, seconds: Reals) -> Reals:
    """Turn time [s] into beats."""
    beats, hz, starts = np.array(passage.tempi).T
    here = np.searchsorted(starts, seconds, "right") - 1
    return beats[here] + (seconds - starts[here]) * hz[here]


def _along(points: tuple[Point, ...], beats: Reals) -> Reals:
    """Read a curve at beats: straight lines between its points, level outside them."""
    places, values = np.array(points).T
    return np.interp(beats, places, values)
