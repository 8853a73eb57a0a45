"""Reading a passage from a Standard MIDI File, our own or another program's.

In: the path of a file of type 0 or 1. Out: the passage, its title, and one sentence for everything
in the file that is no part of a passage; `midi` says what stands for what.
"""

import io
import struct
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from mido import MidiFile, bpm2tempo, tempo2bpm

from reedbore.errors import ModelError, NoteError
from reedbore.files import unfit
from reedbore.model.line import Line, Note, lasting, write_line
from reedbore.model.midi import write
from reedbore.model.midi.channel import HANDLED, Channel, Event, text_of
from reedbore.model.midi.tidy import EXACT, Seconds, Tidy, tidied
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
from reedbore.model.units import QUANTITIES, from_si, to_si

LARGEST_FILE = 1_000_000
USUAL_TEMPO = 500_000  # [microseconds] a quarter note, where the file has none
TEMPO = QUANTITIES["passage.tempo_bpm"]
KNOWN = {
    write.FINGERED: HANDLED | {write.BREATH, write.BREATH + write.FINE},
    write.SUNG: HANDLED | {write.EXPRESSION, write.EXPRESSION + write.FINE},
}

T = TypeVar("T", Point, Meter)


class Found(NamedTuple):
    """What a MIDI file holds.

    Attributes
    ----------
    passage : Passage
        What can be played.
    title : str
        Name of the first track that has one, "" if none has.
    said : tuple of str
        What was left out, one sentence each, without full stop.
    """

    passage: Passage
    title: str
    said: tuple[str, ...]


def read_midi(path: Path, held: str = "", tidy: Tidy = EXACT) -> Found:
    """Read a passage from a Standard MIDI File.

    Parameters
    ----------
    path : Path
        The file.
    held : str, optional
        The fingered note, held throughout, for a file that has none but a sung line.
    tidy : Tidy, optional
        What is joined and moved; by default nothing, so that our own files come back exactly.

    Returns
    -------
    Found
        Passage, title, and what was changed or left out.

    Raises
    ------
    NoteError
        If the file cannot be read, is broken, counts no beats, or has no fingered notes; the text
        says where.
    """
    try:
        if wrong := unfit(path, LARGEST_FILE):
            raise NoteError(f"{path} {wrong}: no passage")
        data = path.read_bytes()
    except OSError as error:
        raise NoteError(f"{path} cannot be read: {error.strerror}") from None
    try:
        return _passage(data, held, tidy)
    except (NoteError, ModelError) as error:
        first = str(error).splitlines()[0]
        raise NoteError(f"{path.name}: {first}") from None


def _passage(data: bytes, held: str, tidy: Tidy) -> Found:
    ticks, tracks = _tracks(data)
    events, ends = _events(tracks)
    fingered, sung = (Channel(number, events) for number in (write.FINGERED, write.SUNG))
    tempi = _tempi(events, ticks)
    both, changed = tidied(
        [fingered.keys(ends), sung.keys(ends)], tidy, _seconds(tempi, ticks), ticks
    )
    below, above = (
        one.line(keys, ticks, to_end=tidy == EXACT)
        for one, keys in zip((fingered, sung), both, strict=True)
    )
    if not below.notes and above.notes and held:
        below = Line((Note(held, above.bounds[-1]),))
    if not below.notes:
        raise NoteError("channel 1 has no notes; it is the fingered line")
    if tidy != EXACT and above.notes:
        last = max(below.bounds[-1], above.bounds[-1])
        below, above = lasting(below, last), lasting(above, last)
    breath = fingered.curve(write.BREATH, ticks, [dynamic_share(name) for name in DYNAMICS])
    depth = sung.curve(write.EXPRESSION, ticks, most=write.FULL_DEPTH)
    tempo, *changes = tempi
    plain = {
        "tempo_bpm": from_si(TEMPO, tempo.value),
        "tempo_changes": write_tempo_changes(changes),
        "meter": _meter(events, ticks),
        "fingered": write_line(below),
        "sung": write_line(above),
        "depth": write_depth(depth),
    }
    if breath:
        plain["breath"] = write_breath(breath)
    said = [*changed, *fingered.said, *sung.said, *_left_out(events)]
    return Found(Passage.from_plain(plain), _title(events), tuple(said))


def _tempi(events: Sequence[Event], ticks: int) -> list[Point]:
    """List the tempi [Hz], each from a beat on, the first at 0."""
    found = {0: USUAL_TEMPO}
    for tick, _, message in _of(events, "set_tempo"):
        found[tick] = message.tempo
    return _changes(
        [Point(tick / ticks, to_si(TEMPO, _bpm(tempo))) for tick, tempo in found.items()]
    )


def _seconds(tempi: Sequence[Point], ticks: int) -> Seconds:
    """Return what turns ticks into seconds."""
    starts = [0.0]
    for here, there in pairwise(tempi):
        starts.append(starts[-1] + (there.beat - here.beat) / here.value)

    def seconds(tick: float) -> float:
        place = bisect_right(tempi, tick / ticks, key=lambda tempo: tempo.beat) - 1
        return starts[place] + (tick / ticks - tempi[place].beat) / tempi[place].value

    return seconds


def _bpm(tempo: int) -> float:
    """Take the shortest number of beats in a minute that MIDI would write so."""
    if tempo == 0:
        raise NoteError("it has a tempo of 0 microseconds a beat")
    exact = tempo2bpm(tempo)
    rounded = (round(exact, digits) for digits in range(9))
    return next((bpm for bpm in rounded if bpm > 0.0 and bpm2tempo(bpm) == tempo), exact)


def _changes(points: Sequence[T]) -> list[T]:
    """Leave out what only repeats."""
    return [
        point
        for place, point in enumerate(points)
        if place == 0 or point[1:] != points[place - 1][1:]
    ]


def _meter(events: Sequence[Event], ticks: int) -> str:
    found = {0: USUAL_METER}
    for tick, _, message in _of(events, "time_signature"):
        found[tick] = (message.numerator, message.denominator)
    return write_meters(_changes([Meter(tick / ticks, *meter) for tick, meter in found.items()]))


def _title(events: Sequence[Event]) -> str:
    return text_of(next((event.message.name for event in _of(events, "track_name")), ""))


def _left_out(events: Sequence[Event]) -> Iterator[str]:
    """Say which channels and controllers are no part of a passage."""
    channels = {event.message.channel for event in _of(events, "note_on")}
    others = sorted(channels - {write.FINGERED, write.SUNG})
    if others:
        listed = ", ".join(str(channel + 1) for channel in others)
        yield f"notes on channel {listed} are left out; 1 is the fingered line and 2 the sung one"
    for channel, known in KNOWN.items():
        there = {
            event.message.control
            for event in _of(events, "control_change")
            if event.message.channel == channel
        }
        if there - known:
            listed = ", ".join(map(str, sorted(there - known)))
            yield f"controller {listed} on channel {channel + 1} is left out"


def _tracks(data: bytes) -> tuple[int, list[bytes]]:
    """Part a file into ticks per beat and the contents of its tracks; other chunks are skipped."""
    if data[:4] != b"MThd" or len(data) < 14:
        raise NoteError("this is no MIDI file: it does not begin with a MIDI header (byte 0)")
    size, kind, count, ticks = struct.unpack(">LHHh", data[4:14])
    if kind > 1:
        raise NoteError(f"it is a MIDI file of type {kind}; types 0 and 1 can be read (byte 9)")
    if ticks <= 0:
        raise NoteError("it counts time in film frames, not in beats (byte 12)")
    tracks: list[bytes] = []
    place = 8 + size
    while place + 8 <= len(data) and len(tracks) < count:
        name, size = struct.unpack(">4sL", data[place : place + 8])
        held = data[place + 8 : place + 8 + size]
        if len(held) < size:
            raise NoteError(f"it ends inside a track: {len(held)} of {size} bytes (byte {place})")
        if name == b"MTrk":
            tracks.append(held)
        place += 8 + size
    if len(tracks) < count:
        raise NoteError(f"it has {len(tracks)} of the {count} tracks that it names (byte 10)")
    return ticks, tracks


def _messages(track: bytes, number: int) -> Sequence[Any]:
    """Let mido read one track, as a file of its own so that a mistake has its place."""
    header = b"MThd" + struct.pack(">LHHH", 6, 0, 1, write.TICKS)
    held = io.BytesIO(header + b"MTrk" + struct.pack(">L", len(track)) + track)
    try:
        return list(MidiFile(file=held, charset="latin-1").tracks[0])
    except Exception as error:  # mido lets through whatever broken bytes lead to
        byte = held.tell() - len(header) - 8
        what = str(error) if isinstance(error, OSError | ValueError) else ""
        reason = what or "an event is cut off or has wrong data"
        raise NoteError(f"track {number} is broken near its byte {byte}: {reason}") from None


def _events(tracks: Sequence[bytes]) -> tuple[list[Event], list[int]]:
    """Merge tracks by time; also at which tick each of them ends."""
    events, ends = [], []
    for number, track in enumerate(tracks):
        now = 0
        for message in _messages(track, number + 1):
            now += message.time
            if message.type == "end_of_track":
                break
            events.append(Event(now, number, message))
        ends.append(now)
    return sorted(events, key=lambda event: event.tick), ends


def _of(events: Sequence[Event], kind: str) -> Iterator[Event]:
    return (event for event in events if event.message.type == kind)
