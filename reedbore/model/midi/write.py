"""Passages and resultants as Standard MIDI Files: what stands for what, and writing them.

In: a `Passage`, or notes as beat, beats and frequency. Out: the bytes of a file; `midi_reading`
goes the other way.

What stands for what
--------------------
All of it is named as in the MIDI 1.0 specification [1]_.

====================== ===========================================================================
beat                   quarter note; we write 960 ticks to a beat and read any resolution
channel 1, channel 2   fingered notes, sung notes; concert pitch, C4 is key 60. Third notes, where
                       they are written, are on channel 3, which is not read
note                   tongued where the one before it has ended, slurred where it still sounds;
                       between notes is a rest. A slurred note of the same key is written as a
                       neighbouring key, bent; a tie as one long note
pitch bend             cents, within the range of RPN 0: 2 semitones unless the file says so, 0.024
                       cents a step; cents with one decimal come back as they were
breath controller      number 2 with 34 for its fine part, on channel 1: share of the dynamic range
                       from 0 to 1, ``pp`` being 1/7 and ``ff`` 6/7
expression controller  number 11 with 43 for its fine part, on channel 2: depth from 0 to 0.3
text                   ``fingering NAME`` where a note by another than the plain fingering begins
tempo, time signature  `tempo` and `tempo_changes`, `meter`; the name of the first track is the
                       title
====================== ===========================================================================

A controller holds its value until the next. A straight line is therefore written as one value in
each `RAMP_STEP`, and values that stand no further apart are read as a line again.

References
----------
.. [1] MIDI Manufacturers Association, "The Complete MIDI 1.0 Detailed Specification", 1996,
   with "Standard MIDI Files 1.0" and the table of controllers.
"""

import io
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from mido import Message, MetaMessage, MidiFile, MidiTrack, bpm2tempo

from reedbore.errors import NoteError
from reedbore.model.line import Line
from reedbore.model.passage import Passage, Point
from reedbore.notes import A4_HZ, hz_to_midi, parse_note, parse_pitch

TICKS = 960
RAMP_STEP = TICKS // 16
FINGERED, SUNG, THIRD = 0, 1, 2  # as the bytes count channels, from 0
BREATH, EXPRESSION, FINE = 2, 11, 32  # the fine part of controller n is n + 32
FULL = 16383  # largest value of 14 bits
FULL_DEPTH = 0.3  # of the expression controller: the strongest that is not exaggerated
BEND_SEMITONES = 2.0
BEND_STEPS = 8192
LOWEST_KEY, HIGHEST_KEY = 0, 127
FINGERING = "fingering "
PERCUSSION = 9  # channel 10
WOOD_BLOCKS = {True: 76, False: 77}  # high and low
PLAIN_VELOCITY = 64  # what the standard gives for keys that feel no velocity

Event = tuple[int, int, Message | MetaMessage]


class Sounding(NamedTuple):
    """A note on the grid of ticks: from, to, pitch as a MIDI number, and how it goes on."""

    start: int
    end: int
    midi: float
    fingering: str = ""
    slurred: bool = False


def midi_bytes(
    passage: Passage,
    title: str = "",
    a4: float = A4_HZ,
    third: Iterable[tuple[float, float, float]] = (),
) -> bytes:
    """Write a passage as a Standard MIDI File of type 1.

    Parameters
    ----------
    passage : Passage
        What to write. Notes come back to the tick, spelled as `notes.NAMES` has them.
    title : str, optional
        Name of the first track.
    a4 : float, optional
        Frequency that the names of notes are meant for. [Hz]
    third : iterable of (beat, beats, hz), optional
        Third notes, written on channel 3, which `read` leaves out.

    Returns
    -------
    bytes
        The file, see `files.write_whole`.

    Raises
    ------
    NoteError
        If a note is shorter than a tick or lies outside the keys of MIDI, or the depth goes
        beyond `FULL_DEPTH`.
    """
    # A curve may outlast its line and the end of a track is the end of a line: so each has its own.
    parts = [("fingered", FINGERED, passage.fingered_line), ("sung", SUNG, passage.sung_line)]
    depth = [Point(beat, value / FULL_DEPTH) for beat, value in passage.depth_curve]
    if any(point.value > 1.0 for point in depth):
        raise NoteError(f"the depth goes beyond {FULL_DEPTH:g}, all that MIDI can say; write TOML")
    curves = [
        ("breath", FINGERED, BREATH, passage.breath_curve),
        ("depth", SUNG, EXPRESSION, depth),
    ]
    tracks = [_track(title, _conductor(passage), passage.beats)]
    for name, channel, line in parts:
        if line.notes:
            events = _channel(channel, soundings(line, a4))
            tracks.append(_track(name, events, line.bounds[-1]))
    for name, channel, number, points in curves:
        if points:
            tracks.append(_track(name, _ramp(channel, number, points), passage.beats))
    if notes := _spans(third, a4):
        tracks.append(_track("third note", _channel(THIRD, notes), passage.beats))
    return _file(tracks)


def resultant_bytes(
    heard: Iterable[tuple[float, float, float]],
    passage: Passage,
    title: str = "",
    a4: float = A4_HZ,
) -> bytes:
    """Write the line of resultants as a Standard MIDI File, with the tempo of its passage.

    Parameters
    ----------
    heard : iterable of (beat, beats, hz)
        When each begins, how long it lasts, and its frequency [Hz], one after the other. One that
        has none (nan), lies below the lowest key of MIDI, 8.2 Hz, or is shorter than a tick is
        left out.
    passage : Passage
        Gives tempo and meter.
    title, a4
        As for `midi_bytes`.

    Returns
    -------
    bytes
        The file; its notes are on channel 1.
    """
    events = _channel(FINGERED, _spans(heard, a4))
    tracks = [
        _track(title, _conductor(passage), passage.beats),
        _track("resultant", events, passage.beats),
    ]
    return _file(tracks)


def _spans(heard: Iterable[tuple[float, float, float]], a4: float) -> list[Sounding]:
    """Set third notes on the grid; without those that MIDI has no key or no tick for."""
    notes = [
        Sounding(round(beat * TICKS), round((beat + beats) * TICKS), hz_to_midi(hz, a4))
        for beat, beats, hz in heard
        if hz > 0.0 and LOWEST_KEY <= round(hz_to_midi(hz, a4)) <= HIGHEST_KEY
    ]
    return [note for note in notes if note.start < note.end]


def practice_bytes(
    lines: Mapping[str, Sequence[tuple[float, float, float]]],
    clicks: Iterable[tuple[float, bool]],
    tempo: float,
    title: str = "",
    a4: float = A4_HZ,
) -> bytes:
    """Write a practice track as a Standard MIDI File: a channel a line, clicks on channel 10.

    Parameters
    ----------
    lines : mapping of str to sequence of (begin, end, hz)
        Notes by the name of their line, in order of time. [s], [Hz]
    clicks : iterable of (second, strong)
        Beats, and whether they begin a bar. [s]
    tempo : float
        Beats per second, throughout. [Hz]
    title, a4
        As for `midi_bytes`.

    Returns
    -------
    bytes
        The file. Clicks are wood blocks of General MIDI's percussion [1]_.

    References
    ----------
    .. [1] MIDI Manufacturers Association, "General MIDI System Level 1," 1991: key-based
       percussion on channel 10.
    """
    ticks = TICKS * tempo
    blocks: list[Event] = []
    for second, strong in clicks:
        start, key = round(second * ticks), WOOD_BLOCKS[strong]
        blocks.append((start, 2, Message("note_on", channel=PERCUSSION, note=key, velocity=80)))
        blocks.append((start + 60, 0, Message("note_off", channel=PERCUSSION, note=key)))
    change = MetaMessage("set_tempo", tempo=bpm2tempo(60.0 * tempo))
    tracks = [_track(title, [(0, 0, change)], 0.0), _track("clicks", blocks, 0.0)]
    for channel, (name, notes) in enumerate(lines.items()):
        made = [
            Sounding(round(begin * ticks), round(end * ticks), hz_to_midi(hz, a4))
            for begin, end, hz in notes
        ]
        tracks.append(_track(name, _channel(channel, made), 0.0))
    return _file(tracks)


def heard_bytes(
    lines: Iterable[tuple[str, Iterable[tuple[float, float, float]]]],
    title: str = "",
    a4: float = A4_HZ,
) -> bytes:
    """Write lines of notes that were heard as a Standard MIDI File: a second is a beat.

    Parameters
    ----------
    lines : iterable of (name, notes)
        A track and a channel each, the first being channel 1; notes are (second, seconds, hz), one
        after the other. Notes as of `resultant_bytes` are left out.
    title, a4
        As for `midi_bytes`.

    Returns
    -------
    bytes
        The file, 60 beats in a minute.
    """
    tempo = MetaMessage("set_tempo", tempo=bpm2tempo(60.0))
    tracks = [_track(title, [(0, 0, tempo)], 0.0)]
    for channel, (name, notes) in enumerate(lines):
        kept = [
            Sounding(round(begin * TICKS), round((begin + seconds) * TICKS), hz_to_midi(hz, a4))
            for begin, seconds, hz in notes
            if hz > 0.0 and LOWEST_KEY <= round(hz_to_midi(hz, a4)) <= HIGHEST_KEY
        ]
        events = _channel(channel, [note for note in kept if note.start < note.end])
        tracks.append(_track(name, events, 0.0))
    return _file(tracks)


def soundings(line: Line, a4: float = A4_HZ) -> list[Sounding]:
    """Set the notes of a line on the grid of ticks, ties made into one note.

    Parameters
    ----------
    line : Line
        What is played or sung.
    a4 : float, optional
        Frequency of A4. [Hz]

    Returns
    -------
    list of Sounding
        Its notes; each bound is rounded by itself, so that nothing adds up.

    Raises
    ------
    NoteError
        If a note is shorter than a tick.
    """
    found: list[Sounding] = []
    ticks = [round(beat * TICKS) for beat in line.bounds]
    for note, (start, end) in zip(line.notes, pairwise(ticks), strict=True):
        if note.pitch is None:
            continue
        if start == end:
            raise NoteError(
                f"{note.pitch} at beat {start / TICKS:g} is shorter than 1/{TICKS} beat"
            )
        made = Sounding(start, end, _midi(note.pitch, a4), note.fingering, note.slurred)
        last = found[-1] if found else None
        if last and last.slurred and last[2:4] == made[2:4]:
            found[-1] = made._replace(start=last.start)
        else:
            found.append(made)
    return found


def _midi(pitch: str, a4: float) -> float:
    try:
        return parse_note(pitch)
    except NoteError:
        return hz_to_midi(parse_pitch(pitch, a4), a4)


def _channel(channel: int, notes: Sequence[Sounding]) -> list[Event]:
    """Write the notes of a line; a slurred one ends a tick after the next has begun."""
    events = _bend_range(channel)
    before: int | None = None
    bent: int | None = None
    for note in notes:
        key = min(max(round(note.midi), LOWEST_KEY), HIGHEST_KEY)
        if key == before:
            key += 1 if key < HIGHEST_KEY and note.midi >= key else -1
        bend = round((note.midi - key) / BEND_SEMITONES * BEND_STEPS)
        if not -BEND_STEPS <= bend < BEND_STEPS:
            raise NoteError(f"MIDI has no key for a note of MIDI number {note.midi:.2f}")
        if note.fingering:
            text = MetaMessage("text", text=FINGERING + note.fingering)
            events.append((note.start, 1, text))
        if bend != bent:
            events.append((note.start, 1, Message("pitchwheel", channel=channel, pitch=bend)))
        on = Message("note_on", channel=channel, note=key, velocity=PLAIN_VELOCITY)
        off = Message("note_off", channel=channel, note=key, velocity=PLAIN_VELOCITY)
        events += [(note.start, 2, on), (note.end + note.slurred, 0, off)]
        before, bent = (key if note.slurred else None), bend
    return events


def _bend_range(channel: int) -> list[Event]:
    """Set the range of the pitch bend by RPN 0, then let go of the RPN."""
    settings = ((101, 0), (100, 0), (6, round(BEND_SEMITONES)), (38, 0), (101, 127), (100, 127))
    return [(0, 0, _control(channel, number, value)) for number, value in settings]


def _ramp(channel: int, number: int, points: Sequence[Point]) -> list[Event]:
    """Write a curve as controller values, coarse part first; straight lines as small steps."""
    events: list[Event] = []
    for tick, value in _stepped(points):
        coarse, fine = divmod(round(value * FULL), 128)
        events.append((tick, 1, _control(channel, number, coarse)))
        events.append((tick, 1, _control(channel, number + FINE, fine)))
    return events


def _stepped(points: Sequence[Point]) -> Iterable[tuple[int, float]]:
    """List the values of a curve at its points, and between two that differ in every step."""
    for here, there in pairwise(points):
        start, end = round(here.beat * TICKS), round(there.beat * TICKS)
        yield start, here.value
        if here.value != there.value:
            for tick in range(start + RAMP_STEP, end, RAMP_STEP):
                share = (tick - start) / (end - start)
                yield tick, here.value + share * (there.value - here.value)
    if points:
        yield round(points[-1].beat * TICKS), points[-1].value


def _control(channel: int, number: int, value: int) -> Message:
    return Message("control_change", channel=channel, control=number, value=value)


def _conductor(passage: Passage) -> list[Event]:
    """Write tempo and meter, which hold for all tracks."""
    events: list[Event] = []
    for meter in passage.meters:
        signature = MetaMessage("time_signature", numerator=meter.number, denominator=meter.unit)
        events.append((round(meter.beat * TICKS), 0, signature))
    for tempo in passage.tempi:
        change = MetaMessage("set_tempo", tempo=bpm2tempo(60.0 * tempo.hz))
        events.append((round(tempo.beat * TICKS), 0, change))
    return events


def _track(name: str, events: Sequence[Event], beats: float) -> MidiTrack:
    """Put events in order; at one tick ends come first, then settings, then starts."""
    track = MidiTrack([MetaMessage("track_name", name=name)])
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    end = max(round(beats * TICKS), now)
    track.append(MetaMessage("end_of_track", time=end - now))
    return track


def _file(tracks: list[MidiTrack]) -> bytes:
    file = MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8", tracks=tracks)
    held = io.BytesIO()
    file.save(file=held)
    return held.getvalue()
