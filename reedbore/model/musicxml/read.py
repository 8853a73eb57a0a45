"""Reading a passage from a MusicXML score, our own or another program's.

In: the path of a ``.musicxml``, ``.xml`` or ``.mxl`` file. Out: the passage at concert pitch, its
title, and one sentence for everything in the file that is no part of a passage; `write` says what
stands for what.

Which staff is what: the parts called *fingered* and *sung*; without these names the first part and
the second; of a single part its first two voices or staves. Repeats, endings, da capo and dal segno
are played out. A file may be anybody's: its size, its depth and what it unfolds to are bounded, and
one that declares entities is refused.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

from reedbore.errors import ModelError, NoteError
from reedbore.model.line import Line, Note, lasting, write_line
from reedbore.model.midi.read import Found
from reedbore.model.musicxml import order
from reedbore.model.musicxml.file import opened
from reedbore.model.musicxml.measures import Event, Measure, Reader, Sound
from reedbore.model.musicxml.write import FINGERED, STEP, SUNG, THIRD
from reedbore.model.passage import (
    DYNAMICS,
    USUAL_METER,
    Meter,
    Passage,
    Point,
    dynamic_share,
    write_breath,
    write_depth,
    write_meters,
    write_tempo_changes,
)
from reedbore.model.units import QUANTITIES, to_si
from reedbore.notes import midi_name

USUAL_BPM = 120.0  # as MIDI has it; the standard of MusicXML names none
TEMPO = QUANTITIES["passage.tempo_bpm"]
LOUDER, SOFTER = re.compile("f{3,6}"), re.compile("p{3,6}")


def read_musicxml(path: Path, held: str = "") -> Found:
    """Read a passage from a MusicXML score.

    Parameters
    ----------
    path : Path
        The file.
    held : str, optional
        The fingered note, held throughout, for a file whose only line is the sung one.

    Returns
    -------
    Found
        Passage, title, and what was left out.

    Raises
    ------
    NoteError
        If the file cannot be read, is broken or too large, or has no notes; the text says where.
    """
    root = opened(path)
    try:
        return _passage(root, held)
    except (NoteError, ModelError) as error:
        first = str(error).splitlines()[0]
        raise NoteError(f"{path.name}: {first}") from None


class _Stream(NamedTuple):
    """A line of a score: what it is called, its notes from the start, and events of its part."""

    name: str
    line: Line
    events: tuple[Event, ...]


def _passage(root: ET.Element, held: str) -> Found:
    parts = [part for part in order.parts(root) if not part.name.lower().startswith(THIRD)]
    count = max((len(part.measures) for part in parts), default=0)
    if not count:
        raise NoteError("it has no measures")
    readers = [Reader() for _ in parts]
    read = [
        [reader.measure(one) for one in part.measures] + [Measure()] * (count - len(part.measures))
        for part, reader in zip(parts, readers, strict=True)
    ]
    lengths = _lengths(read)
    turns = max((order.turns(part.measures) for part in parts), key=order.busy)
    played = order.unfolded(turns)
    starts, now = [], Fraction(0)
    for place in played:
        starts.append(now)
        now += lengths[place]
    if now == 0:
        raise NoteError("its measures last no time")
    streams = [
        stream
        for part, measures in zip(parts, read, strict=True)
        for stream in _streams(part.name, measures, played, starts)
    ]
    said = [
        f"{what} left out: {number}"
        for what, number in _summed(reader.left for reader in readers).items()
    ]
    fingered, sung, told = _chosen(streams, held)
    # Where parts differ in tempo or meter, what is fingered goes first.
    everything = [event for part in read for event in _unfolded(part, played, starts)]
    everything += fingered.events if fingered else ()
    # The silence that fills the last bar is none of the music's.
    end = max(one.line.bounds[-1] for one in (fingered, sung) if one)
    below = lasting(fingered.line, end) if fingered else Line((Note(held, end),))
    plain = {
        **_times(everything),
        "fingered": write_line(below),
        "sung": write_line(lasting(sung.line, end)) if sung else "",
    }
    if fingered and (breath := _breath(fingered.events, said)):
        plain["breath"] = write_breath(breath)
    if sung and (
        depth := [Point(float(e.beat), e.value) for e in sung.events if e.kind == "depth"]
    ):
        plain["depth"] = write_depth(depth)
    if len(played) > count:
        said.append(f"its repeats are played out: {count} bars become {len(played)}")
    return Found(Passage.from_plain(plain), _title(root), (*told, *said))


def _lengths(read: Sequence[Sequence[Measure]]) -> list[Fraction]:
    """Return how long each measure is: its longest part, or where all are empty, its meter."""
    found, meter = [], Fraction(4)
    for together in zip(*read, strict=True):
        for event in (event for one in together for event in one.events if event.kind == "meter"):
            number, unit = event.value
            meter = Fraction(4 * number, unit) if number and unit > 0 else meter
        longest = max(one.beats for one in together)
        found.append(longest or meter)
    return found


def _summed(counts: Any) -> dict[str, int]:
    total: dict[str, int] = {}
    for one in counts:
        for what, number in one.items():
            total[what] = total.get(what, 0) + number
    return total


def _unfolded(
    measures: Sequence[Measure], played: Sequence[int], starts: Sequence[Fraction]
) -> list[Event]:
    return [
        event._replace(beat=start + event.beat)
        for place, start in zip(played, starts, strict=True)
        for event in measures[place].events
    ]


def _streams(
    name: str,
    measures: Sequence[Measure],
    played: Sequence[int],
    starts: Sequence[Fraction],
) -> Iterator[_Stream]:
    """Yield the lines of a part that have notes, staff by staff and voice by voice."""
    events = tuple(_unfolded(measures, played, starts))
    off = {event.beat: event.value for event in events if event.kind == "cents"}
    keys = dict.fromkeys(
        key for measure in measures for key, sounds in measure.streams.items() if sounds
    )
    for key in sorted(keys, key=lambda k: (k[0].zfill(3), k[1].zfill(3))):
        sounds = [
            _moved(sound, start, off)
            for place, start in zip(played, starts, strict=True)
            for sound in measures[place].streams.get(key, ())
        ]
        yield _Stream(name, _line(sounds), events)


def _moved(sound: Sound, start: Fraction, off: Mapping[Fraction, float]) -> Sound:
    beat = start + sound.start
    return Sound(
        beat, sound.beats, sound.midi + off.get(beat, 0.0) / 100.0, sound.tied_from,
        sound.tied_to, sound.slurred, sound.fingering,
    )  # fmt: skip


def _line(sounds: Sequence[Sound]) -> Line:
    """Make one line of sounds in order: ties joined, silence between them."""
    joined: list[Sound] = []
    for sound in sorted(sounds, key=lambda sound: sound.start):
        last = joined[-1] if joined else None
        touches = last is not None and last.start + last.beats == sound.start
        if last and touches and last.tied_to and sound.tied_from and _whole(last) == _whole(sound):
            last.beats, last.tied_to = last.beats + sound.beats, sound.tied_to
            last.slurred = sound.slurred
        else:
            joined.append(sound)
    notes, now = [], Fraction(0)
    for sound, after in zip(joined, [*joined[1:], None], strict=True):
        if sound.start > now:
            notes.append(Note(None, float(sound.start - now)))
        until = sound.start + sound.beats if after is None else min(
            sound.start + sound.beats, after.start
        )  # fmt: skip
        follows = after is not None and after.start == until
        notes.append(
            Note(_named(sound.midi), float(until - sound.start), sound.fingering,
                 sound.slurred and follows)
        )  # fmt: skip
        now = until
    return Line(tuple(notes))


def _whole(sound: Sound) -> int:
    # Cents stand under the first note of a tie only.
    return math.floor(sound.midi + 0.5)


def _named(midi: float) -> str:
    nearest = math.floor(midi + 0.5)
    off = f"{100.0 * (midi - nearest):+.2f}".rstrip("0").rstrip(".")
    return midi_name(nearest) + ("" if float(off) == 0.0 else f"{off}c")


def _chosen(
    streams: Sequence[_Stream], held: str
) -> tuple[_Stream | None, _Stream | None, list[str]]:
    """Choose what is fingered and what is sung; also say so, and what is left out."""

    def called(name: str) -> _Stream | None:
        return next((one for one in streams if one.name.lower().startswith(name)), None)

    if not streams:
        raise NoteError("it has no notes")
    fingered, sung = called(FINGERED), called(SUNG)
    if fingered or sung:
        if not fingered and not held:
            raise NoteError("none of its parts is called 'fingered'")
        others = [one for one in streams if one not in (fingered, sung)]
        return fingered, sung, _others(others)
    first: list[_Stream] = []
    for one in streams:
        if one.name not in [other.name for other in first] or len({s.name for s in streams}) == 1:
            first.append(one)
    fingered, sung = first[0], (first[1] if len(first) > 1 else None)
    if held and sung is None:
        fingered, sung = None, first[0]
    told = [
        f"{what} is {'its first line' if not one.name else f'the part {one.name!r:.60}'}"
        for what, one in (("fingered", fingered), ("sung", sung))
        if one
    ]
    if fingered and sung and fingered.name == sung.name:
        told = ["fingered is the first line of its part, sung the second"]
    others = [one for one in streams if one not in (fingered, sung)]
    return fingered, sung, ["; ".join(told), *_others(others)]


def _others(others: Sequence[_Stream]) -> list[str]:
    if not others:
        return []
    named = ", ".join(dict.fromkeys(f"{one.name!r:.60}" for one in others if one.name))
    lines = "1 further line is" if len(others) == 1 else f"{len(others)} further lines are"
    return [f"{lines} left out" + (f" (in {named})" if named else "")]


def _times(events: Sequence[Event]) -> dict[str, Any]:
    """Return tempo and meter, of whichever part says them."""
    tempi, meters = {Fraction(0): USUAL_BPM}, {Fraction(0): USUAL_METER}
    for event in sorted(events, key=lambda event: event.beat):
        if event.kind == "tempo":
            tempi[event.beat] = event.value
        elif event.kind == "meter":
            meters[event.beat] = event.value
    first, *changes = _changes(tempi)
    listed = [Meter(float(beat), *meter) for beat, meter in _changes(meters)]
    return {
        "tempo_bpm": first[1],
        "tempo_changes": write_tempo_changes(
            Point(float(beat), to_si(TEMPO, bpm)) for beat, bpm in changes
        ),
        "meter": write_meters(listed),
    }


def _changes(values: Mapping[Fraction, Any]) -> list[tuple[Fraction, Any]]:
    """List values by their beats, without those that only repeat."""
    found: list[tuple[Fraction, Any]] = []
    for beat, value in sorted(values.items()):
        if not found or found[-1][1] != value:
            found.append((beat, value))
    return found


def _breath(events: Sequence[Event], said: list[str]) -> list[Point]:
    """Make the curve of breath of dynamics, wedges and words; what is none of them is told."""
    points: list[Point] = []
    swells, strange = False, set()
    for here, together in groupby(sorted(events, key=_beat), key=_beat):
        beat, value, opens = float(here), None, False
        for event in together:
            opens |= event.kind == "wedge" and event.value in {"crescendo", "diminuendo"}
            if event.kind == "breath":
                value = event.value
            elif event.kind == "dynamic" and _dynamic(event.value) is None:
                strange.add(event.value)
            elif event.kind == "dynamic":
                value = _dynamic(event.value)
        before = points[-1] if points else None
        held = before is not None and value == before.value and not swells
        if value is not None and not held:
            if before and not swells and beat - STEP > before.beat:
                points.append(Point(beat - STEP, before.value))
            points.append(Point(beat, value))
            swells = False
        elif opens and before and not swells:
            points.append(Point(beat, before.value))
        swells |= opens
    if strange:
        said.append(f"dynamics left out: {', '.join(sorted(strange))}")
    return points


def _beat(event: Event) -> Fraction:
    return event.beat


def _dynamic(name: str) -> float | None:
    """Return the breath of a dynamic, those beyond the range of a horn being its ends."""
    near = "ff" if LOUDER.fullmatch(name) else "pp" if SOFTER.fullmatch(name) else name
    return dynamic_share(near) if near in DYNAMICS else None


def _title(root: ET.Element) -> str:
    found = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    return " ".join(found.split())
