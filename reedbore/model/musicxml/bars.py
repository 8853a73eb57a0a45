"""Lines of notes set in bars: what is tied over a bar line, and which values notation has for it.

In: beats of a line, and the meters of its passage. Out: bars of signs, each a note or rest that
has one value, plain or dotted, in a tuplet or not. All is exact: beats are fractions.

Notation counts in halves. Where bounds lie on thirds, fifths or sevenths, the shortest stretch that
holds them (a beat, half of one, or two) becomes a tuplet. What lies on none of these goes to the
nearest 1/16 of a beat, a sixty-fourth note.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from reedbore.model.passage import Meter

FINEST = Fraction(1, 16)
"""Of a beat: a sixty-fourth note, as fine as anybody reads."""

TUPLETS = {3: 2, 5: 4, 7: 4}
"""So many in the time of so many."""

SHORTEST_TUPLET = Fraction(1, 4)
"""A sixteenth note is not parted into a tuplet."""

EXACT = 30030
"""Beats are floats; what they mean has no larger denominator."""

MOST_BARS = 2000
"""Five minutes at 400 beats a minute, in bars of one beat."""


class Bar(NamedTuple):
    """A bar: from beat to beat, its meter, and whether that is a new one."""

    start: Fraction
    end: Fraction
    meter: Meter
    new: bool


class Value(NamedTuple):
    """A note value: beats of its plain form, and its dots."""

    plain: Fraction
    dots: int


@dataclass(frozen=True)
class Sign:
    """One note head or rest.

    Attributes
    ----------
    note : int or None
        Place of the note in the line; None for silence.
    start, beats : Fraction
        When it begins and how long it sounds.
    value : Value
        As it is written.
    tuplet : int
        1, or how many of its kind stand in the time of `TUPLETS`.
    first, last : bool
        Whether the tuplet begins or ends with it.
    tied_from, tied_to : bool
        Whether the same note sounds before and after it.
    whole_bar : bool
        Whether it is the silence of a whole bar, which has no value of its own.
    """

    note: int | None
    start: Fraction
    beats: Fraction
    value: Value
    tuplet: int = 1
    first: bool = False
    last: bool = False
    tied_from: bool = False
    tied_to: bool = False
    whole_bar: bool = False


class Set(NamedTuple):
    """A line in bars: the signs of each, notes that were moved, and notes too short to be there."""

    bars: tuple[tuple[Sign, ...], ...]
    moved: frozenset[int]
    lost: frozenset[int]


class Span(NamedTuple):
    """A note of a line: from beat to beat. Spans follow each other; between them is silence."""

    start: Fraction
    end: Fraction


class _Window(NamedTuple):
    start: Fraction
    end: Fraction
    tuplet: int


def exact(beat: float) -> Fraction:
    """Return the fraction that a count of beats means."""
    return Fraction(beat).limit_denominator(EXACT)


def bars_of(meters: Sequence[Meter], beats: Fraction) -> list[Bar]:
    """Part a passage into bars; a change of meter cuts the bar before it short.

    Parameters
    ----------
    meters : sequence of Meter
        The first at beat 0.
    beats : Fraction
        Length of the passage; the last bar is whole.

    Returns
    -------
    list of Bar
        One at least.
    """
    found: list[Bar] = []
    ends = [exact(meter.beat) for meter in meters[1:]]
    for meter, until in zip(meters, [*ends, None], strict=True):
        start, new = exact(meter.beat), True
        length = Fraction(4 * meter.number, meter.unit)
        while (start < beats or not found) and (until is None or start < until):
            end = start + length if until is None else min(start + length, until)
            found.append(Bar(start, end, meter, new))
            start, new = end, False
    return found


def set_in_bars(spans: Sequence[Span], bars: Sequence[Bar]) -> Set:
    """Set a line in bars.

    Parameters
    ----------
    spans : sequence of Span
        Its notes, in order.
    bars : sequence of Bar
        From `bars_of`.

    Returns
    -------
    Set
        Every bar is full.
    """
    marks = sorted({bound for span in spans for bound in span})
    place: dict[Fraction, Fraction] = {}
    windows = [_windows_of(bar, marks, place) for bar in bars]
    moved = {k for k, span in enumerate(spans) for b in span if place.get(b, b) != b}
    there = [Span(*(place.get(bound, bound) for bound in span)) for span in spans]
    lost = {k for k, span in enumerate(there) if span.end <= span.start}
    kept = [(k, span) for k, span in enumerate(there) if k not in lost]
    found = []
    ends, starts = [span.end for _, span in kept], [span.start for _, span in kept]
    for bar, parts in zip(bars, windows, strict=True):
        signs: list[Sign] = []
        here = kept[bisect_right(ends, bar.start) : bisect_left(starts, bar.end)]
        for window in parts:
            signs += _signs(window, bar, here)
        found.append(tuple(signs))
    return Set(tuple(found), frozenset(moved - lost), frozenset(lost))


def _windows_of(
    bar: Bar, marks: Sequence[Fraction], place: dict[Fraction, Fraction]
) -> list[_Window]:
    """Part a bar into tuplets and what is between them; `place` tells where bounds come to lie."""
    parts: list[_Window] = []
    for start, end in _groups(bar):
        inside = marks[bisect_right(marks, start) : bisect_left(marks, end)]
        parts += _windows(start, end, inside, bar.start, place)
    joined = parts[:1]
    for part in parts[1:]:
        if part.tuplet == joined[-1].tuplet == 1:
            joined[-1] = joined[-1]._replace(end=part.end)
        else:
            joined.append(part)
    return joined


def _groups(bar: Bar) -> Iterator[tuple[Fraction, Fraction]]:
    """Part a bar into what a tuplet may fill: a beat, or all of 1, 2, 4 or 8 simple ones."""
    meter = bar.meter
    beat = beat_of(meter)
    number = Fraction(4 * meter.number, meter.unit) / beat
    step = beat * number if number in (1, 2, 4, 8) and beat.numerator == 1 else beat
    start = bar.start
    while start < bar.end:
        yield start, min(start + step, bar.end)
        start += step


def beat_of(meter: Meter) -> Fraction:
    """Return how long a beat of a meter is felt: three eighths in 6/8, else its own unit."""
    compound = meter.unit >= 8 and meter.number > 3 and meter.number % 3 == 0
    return Fraction(4, meter.unit) * (3 if compound else 1)


def _windows(
    start: Fraction,
    end: Fraction,
    inside: Sequence[Fraction],
    bar: Fraction,
    place: dict[Fraction, Fraction],
) -> list[_Window]:
    size, middle = end - start, (start + end) / 2
    if all(((mark - bar) / FINEST).denominator == 1 for mark in inside):
        return [_Window(start, end, 1)]
    for tuplet in TUPLETS:
        # Its parts, or halves of them.
        fits = all((2 * tuplet * (mark - start) / size).denominator == 1 for mark in inside)
        if fits and middle not in inside and size.numerator & (size.numerator - 1) == 0:
            return [_Window(start, end, tuplet)]
    if size / 2 < SHORTEST_TUPLET:
        for mark in inside:
            place[mark] = bar + round((mark - bar) / FINEST) * FINEST
        return [_Window(start, end, 1)]
    parts = 3 if size.numerator % 3 == 0 else 2
    cuts = [start + size * part / parts for part in range(parts + 1)]
    return [
        window
        for low, high in pairwise(cuts)
        for window in _windows(low, high, [m for m in inside if low < m < high], bar, place)
    ]


def _signs(window: _Window, bar: Bar, spans: Sequence[tuple[int, Span]]) -> Iterator[Sign]:
    """Yield the signs of a window, in order."""
    scale = Fraction(window.tuplet, TUPLETS.get(window.tuplet, 1))
    base = bar.start if window.tuplet == 1 else window.start
    pieces = list(_pieces(window, spans))
    for note, start, end in pieces:
        cut = _cut((start - base) * scale, (end - base) * scale)
        whole = note is None and len(pieces) == 1 and (start, end) == (bar.start, bar.end)
        if whole:
            cut = [(start - base, end - base)]
        for low, high in cut:
            begin, until = base + low / scale, base + high / scale
            span = next((span for k, span in spans if k == note), None)
            yield Sign(
                note,
                begin,
                until - begin,
                _value(high - low),
                window.tuplet,
                first=window.tuplet > 1 and begin == window.start,
                last=window.tuplet > 1 and until == window.end,
                tied_from=span is not None and span.start < begin,
                tied_to=span is not None and span.end > until,
                whole_bar=whole,
            )


def _pieces(
    window: _Window, spans: Sequence[tuple[int, Span]]
) -> Iterator[tuple[int | None, Fraction, Fraction]]:
    """Yield what sounds in a window, and the silence between."""
    now = window.start
    for note, span in spans:
        start, end = max(span.start, window.start), min(span.end, window.end)
        if start >= end:
            continue
        if start > now:
            yield None, now, start
        yield note, start, end
        now = end
    if now < window.end:
        yield None, now, window.end


def _cut(start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Cut a stretch into such that one note value has, where the bar is strongest."""
    size = end - start
    plain = _largest_power(size)
    if size in (plain, plain * 3 / 2) and (start / (plain / 2)).denominator == 1:
        return [(start, end)]
    step = 2 * plain
    while True:
        place = (start // step + 1) * step
        if place < end:
            return [*_cut(start, place), *_cut(place, end)]
        step /= 2


def _value(beats: Fraction) -> Value:
    plain = _largest_power(beats)
    return Value(plain, 0 if plain == beats else 1)


def _largest_power(size: Fraction) -> Fraction:
    """Return the largest power of two that is not larger."""
    power = Fraction(8)
    while power > size:
        power /= 2
    return power


def beamed(signs: Sequence[Sign], bar: Bar) -> list[list[str]]:
    """Say how the signs of a bar hang together by beams.

    Parameters
    ----------
    signs : sequence of Sign
        Of one bar.
    bar : Bar
        Its meter tells the beats that beams do not cross.

    Returns
    -------
    list of list of str
        For each sign, for each of its beams ``begin``, ``continue``, ``end``, ``forward hook`` or
        ``backward hook``; nothing for one that stands alone, a quarter or longer, or silence.
    """
    beat = beat_of(bar.meter)
    found: list[list[str]] = [[] for _ in signs]
    flags = [_flags(sign) for sign in signs]
    groups = [(sign.start - bar.start) // beat for sign in signs]
    for first, end in _runs(flags, groups, 1):
        for level in range(1, max(flags[first:end]) + 1):
            for low, high in _runs(flags[first:end], groups[first:end], level):
                words = ["begin", *["continue"] * (high - low - 2), "end"]
                if high - low == 1:
                    words = ["backward hook" if low else "forward hook"]
                for place, word in zip(range(low, high), words, strict=True):
                    found[first + place].append(word)
    return found


def _flags(sign: Sign) -> int:
    """Count the flags of a note: one for an eighth."""
    flags, value = 0, sign.value.plain
    while value < 1 and sign.note is not None:
        flags, value = flags + 1, value * 2
    return flags


def _runs(
    flags: Sequence[int], groups: Sequence[Fraction | int], level: int
) -> list[tuple[int, int]]:
    """List runs of neighbours in a beat with so many flags; of first flags, two notes at least."""
    cuts = [0, *(
        k for k in range(1, len(flags))
        if groups[k] != groups[k - 1] or (flags[k] >= level) != (flags[k - 1] >= level)
    ), len(flags)]  # fmt: skip
    return [(a, b) for a, b in pairwise(cuts) if flags[a] >= level and (level > 1 or b - a > 1)]
