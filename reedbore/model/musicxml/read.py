"""Reading a passage from a MusicXML score, our own or another program's.

In: the path of a ``.musicxml``, ``.xml`` or ``.mxl`` file. Out: the passage at concert pitch, its
title, and one sentence for everything in the file that is no part of a passage; `write` says what
stands for what.

Which staff is what: the parts called *fingered* and *sung*; without these names the first part and
the second; of a single part its first two voices or staves. Repeats, endings, da capo and dal segno
are played out. A file may be anybody's: its size, its depth and what it unfolds to are bounded, and
one that declares entities is refused.
"""

import io
import math
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET
from xml.parsers import expat

from reedbore.errors import ModelError, NoteError
from reedbore.files import unfit
from reedbore.model.line import Line, Note, lasting, read_beats, write_line
from reedbore.model.midi.read import Found
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.write import FINGERED, HEIGHTS, LETTERS, STEP, SUNG, THIRD, TYPES
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

LARGEST_FILE = 20_000_000
MOST_ELEMENTS, DEEPEST = 1_000_000, 40
USUAL_BPM = 120.0  # as MIDI has it; the standard of MusicXML names none
ZIPPED = ".mxl"
CONTAINER = "META-INF/container.xml"
TEMPO = QUANTITIES["passage.tempo_bpm"]
LOUDER, SOFTER = re.compile("f{3,6}"), re.compile("p{3,6}")

_CENTS = re.compile(r"([+\-−–]\d{1,3}(?:\.\d+)?)\s?(?:c|¢|cents?)?")
_VALUE = re.compile(r"(breath|depth) (\S+)")


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
    try:
        if wrong := unfit(path, LARGEST_FILE):
            raise NoteError(f"{path} {wrong}: no passage")
        data = path.read_bytes()
    except OSError as error:
        raise NoteError(f"{path} cannot be read: {error.strerror}") from None
    try:
        if path.suffix.lower() == ZIPPED:
            data = _unzipped(data)
        return _passage(_parsed(data), held)
    except (NoteError, ModelError) as error:
        first = str(error).splitlines()[0]
        raise NoteError(f"{path.name}: {first}") from None


# --- what anybody may have made ------------------------------------------------------------------


def _unzipped(data: bytes) -> bytes:
    """Return the score of a compressed file: the first that its container names."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as held:
            container = _parsed(_member(held, CONTAINER))
            found = next((e for e in container.iter() if _plain(e.tag) == "rootfile"), None)
            name = "" if found is None else found.get("full-path", "")
            if not name:
                raise NoteError(f"its {CONTAINER} names no score")
            return _member(held, name)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, RuntimeError, OSError) as error:
        raise NoteError(f"this is no compressed MusicXML file ({error})") from None


def _member(held: zipfile.ZipFile, name: str) -> bytes:
    if name not in held.namelist():
        raise NoteError(f"it holds no {name!r:.80}")
    with held.open(name) as file:
        data = file.read(LARGEST_FILE + 1)
    if len(data) > LARGEST_FILE:
        raise NoteError(f"{name!r:.80} in it is larger than {LARGEST_FILE // 1000} kB unpacked")
    return data


def _parsed(data: bytes) -> ET.Element:
    """Parse XML; nothing outside is fetched, and a file that declares entities is refused."""
    builder, depth, count = ET.TreeBuilder(), 0, 0
    parser = expat.ParserCreate()

    def start(name: str, attributes: Mapping[str, str]) -> None:
        nonlocal depth, count
        depth, count = depth + 1, count + 1
        if depth > DEEPEST:
            raise NoteError(f"it is nested more than {DEEPEST} deep (line {line()})")
        if count > MOST_ELEMENTS:
            raise NoteError(f"it has more than {MOST_ELEMENTS} elements")
        builder.start(name, dict(attributes))

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(name)

    def refuse(*_: object) -> None:
        raise NoteError(f"it declares entities, which no score needs (line {line()})")

    def line() -> int:
        return parser.CurrentLineNumber

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = builder.data
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(data, True)
        return builder.close()
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise NoteError(f"it is no whole XML ({error})") from None


def _plain(tag: str) -> str:
    """Return the name of an element without a prefix."""
    return tag.rpartition(":")[2]


# --- parts and their order -----------------------------------------------------------------------


class _Part(NamedTuple):
    name: str
    measures: tuple[ET.Element, ...]


def _parts(root: ET.Element) -> list[_Part]:
    """List the parts of a score, whichever way it is laid out."""
    names = {
        one.get("id", ""): " ".join((one.findtext("part-name") or "").split())
        for one in root.iter("score-part")
    }
    if root.tag == "score-partwise":
        return [
            _Part(names.get(part.get("id", ""), ""), tuple(part.findall("measure")))
            for part in root.findall("part")
        ]
    if root.tag == "score-timewise":
        held: dict[str, list[ET.Element]] = {}
        for measure in root.findall("measure"):
            for part in measure.findall("part"):
                held.setdefault(part.get("id", ""), []).append(part)
        return [_Part(names.get(key, ""), tuple(found)) for key, found in held.items()]
    raise NoteError(f"this is no MusicXML score: it begins with <{root.tag:.40}>")


class _Turn(NamedTuple):
    """What a measure says about which one comes next."""

    forward: bool
    times: int | None
    endings: frozenset[int]
    to: str
    sign: str
    coda: bool
    to_coda: bool
    fine: bool


def _turns(measures: Sequence[ET.Element]) -> list[_Turn]:
    found = []
    inside: frozenset[int] = frozenset()
    for measure in measures:
        forward, times, leaves = False, None, False
        for line in measure.findall("barline"):
            ending, repeat = line.find("ending"), line.find("repeat")
            if ending is not None and ending.get("type") == "start":
                numbers = re.findall(r"\d+", ending.get("number", ""))
                inside = frozenset(map(int, numbers)) or frozenset({1})
            leaves |= ending is not None and ending.get("type") in {"stop", "discontinue"}
            if repeat is not None and repeat.get("direction") == "forward":
                forward = True
            elif repeat is not None:
                given = repeat.get("times", "")
                times = int(given) if given.isdecimal() else (max(inside) + 1 if inside else 2)
        said: dict[str, str] = {}
        for sound in measure.iter("sound"):
            said.update(sound.attrib)
        to = "start" if said.get("dacapo") == "yes" else said.get("dalsegno", "")
        found.append(
            _Turn(forward, times, inside, to, said.get("segno", ""), "coda" in said,
                  "tocoda" in said, "fine" in said)
        )  # fmt: skip
        inside = frozenset() if leaves else inside
    return found


def _order(turns: Sequence[_Turn]) -> list[int]:
    """Return which measures are played one after the other: repeats, endings and jumps unfolded."""
    order: list[int] = []
    place, start, visit, jumped = 0, 0, 1, False
    while place < len(turns):
        turn = turns[place]
        if len(order) >= bars.MOST_BARS:
            raise NoteError(f"its repeats unfold to more than {bars.MOST_BARS} bars")
        left = place > 0 and bool(turns[place - 1].endings) and not turn.endings
        if place != start and (turn.forward or left):
            start, visit = place, 1
        skipped = turn.times is not None or any(
            later.times is not None for later in _same_ending(turns, place)
        )
        if turn.endings and (skipped if jumped else visit not in turn.endings):
            place += 1
            continue
        order.append(place)
        if jumped and turn.fine:
            break
        if jumped and turn.to_coda and any(other.coda for other in turns[place + 1 :]):
            place += 1 + next(k for k, other in enumerate(turns[place + 1 :]) if other.coda)
        elif turn.times is not None and visit < turn.times and not jumped:
            place, visit = start, visit + 1
        elif turn.to and not jumped:
            signs = [k for k, other in enumerate(turns) if other.sign and turn.to != "start"]
            place, jumped, start = (signs[0] if signs else 0), True, -1
        else:
            if turn.times is not None:
                start, visit = place + 1, 1
            place += 1
    return order


def _same_ending(turns: Sequence[_Turn], place: int) -> Iterator[_Turn]:
    """Yield the measures of the ending in which one stands, from it on."""
    for turn in turns[place:]:
        if not turn.endings or turn.endings != turns[place].endings:
            return
        yield turn


# --- one part, as it sounds ----------------------------------------------------------------------


@dataclass
class _Sound:
    """A note as it sounds: beats from the start of its measure, MIDI number, how it goes on."""

    start: Fraction
    beats: Fraction
    midi: float
    tied_from: bool = False
    tied_to: bool = False
    slurred: bool = False
    fingering: str = ""


class _Event(NamedTuple):
    """Something beside the notes: at a beat of its measure, what, and its value."""

    beat: Fraction
    kind: str
    value: Any


@dataclass
class _Measure:
    """What one measure of one part says, read once."""

    beats: Fraction = Fraction(0)
    streams: dict[tuple[str, str], list[_Sound]] = field(default_factory=dict)
    events: list[_Event] = field(default_factory=list)


class _Reader:
    """Reads the measures of one part as they are printed; counts what is left out."""

    def __init__(self) -> None:
        self.divisions, self.transposition = Fraction(1), 0.0
        self.left: dict[str, int] = {}
        self._slurs: dict[tuple[str, str], set[str]] = {}

    def measure(self, element: ET.Element) -> _Measure:
        """Read one measure."""
        made, now, last = _Measure(), Fraction(0), Fraction(0)
        for one in element:
            if one.tag == "attributes":
                self._attributes(one, made, now)
            elif one.tag == "backup":
                now = max(now - self._duration(one), Fraction(0))
            elif one.tag == "forward":
                now += self._duration(one)
            elif one.tag == "note":
                chord = one.find("chord") is not None
                last, now = self._note(one, made, last if chord else now, now, chord=chord)
            elif one.tag in {"direction", "sound"}:
                self._direction(one, made, now)
            made.beats = max(made.beats, now)
        return made

    def _duration(self, element: ET.Element) -> Fraction:
        return max(_number(element, "duration"), Fraction(0)) / self.divisions

    def _attributes(self, element: ET.Element, made: _Measure, now: Fraction) -> None:
        if element.find("divisions") is not None:
            self.divisions = _number(element, "divisions")
            if self.divisions <= 0:
                raise NoteError("its divisions of a quarter note are not more than 0")
        moved = element.find("transpose")
        if moved is not None:
            octaves = _number(moved, "octave-change")
            self.transposition = float(_number(moved, "chromatic") + 12 * octaves)
        time = element.find("time")
        if time is not None and time.find("beats") is not None:
            number = sum(map(int, re.findall(r"\d+", time.findtext("beats") or "")))
            made.events.append(_Event(now, "meter", (number, int(_number(time, "beat-type")))))

    def _note(
        self, note: ET.Element, made: _Measure, start: Fraction, now: Fraction, *, chord: bool
    ) -> tuple[Fraction, Fraction]:
        """Read one note or rest; return where it begins, and where the next one does."""
        if note.find("grace") is not None or note.find("cue") is not None:
            self._leave("grace and cue notes")
            return start, now
        beats = self._duration(note)
        after = now if chord else start + beats
        stream = note.findtext("staff") or "1", note.findtext("voice") or "1"
        held = made.streams.setdefault(stream, [])
        pitch = note.find("pitch")
        if note.find("unpitched") is not None:
            self._leave("notes without pitch")
        if pitch is not None and beats > 0:
            sound = self._sound(note, pitch, start, beats, stream)
            if chord and held:
                self._leave("lower notes of chords")
                if sound.midi > held[-1].midi:
                    held[-1] = sound
            else:
                held.append(sound)
        return start, after

    def _sound(
        self, note: ET.Element, pitch: ET.Element, start: Fraction, beats: Fraction,
        stream: tuple[str, str],
    ) -> _Sound:  # fmt: skip
        step = (pitch.findtext("step") or "").strip()
        if step not in LETTERS or not step:
            raise NoteError(f"a note has the step {step!r:.20}; allowed A to G")
        written = 12 * (float(_number(pitch, "octave")) + 1) + HEIGHTS[LETTERS.index(step)]
        alter = float(_number(pitch, "alter"))
        off = [c for text in note.iterfind("lyric/text") if (c := _cents(text.text)) is not None]
        ties = {
            tie.get("type") for tie in (*note.iterfind("tie"), *note.iterfind("notations/tied"))
        }
        slurs = self._slurs.setdefault(stream, set())
        for slur in note.iterfind("notations/slur"):
            number = slur.get("number", "1")
            if slur.get("type") == "start":
                slurs.add(number)
            elif slur.get("type") == "stop":
                slurs.discard(number)
        name = " ".join((note.findtext("notations/technical/fingering") or "").split())
        return _Sound(
            start, beats, written + alter + self.transposition + sum(off[:1]) / 100.0,
            "stop" in ties, "start" in ties, bool(slurs),
            "" if name.isdecimal() or {"(", ")"} & set(name) else name,
        )  # fmt: skip

    def _direction(self, element: ET.Element, made: _Measure, now: Fraction) -> None:
        beat = max(now + _number(element, "offset") / self.divisions, Fraction(0))
        sounds = [element] if element.tag == "sound" else element.findall("sound")
        tempi = [t for s in sounds if (t := _positive(s.get("tempo"))) is not None]
        for kind in element.iterfind("direction-type"):
            tempi = tempi or [t for m in kind.iterfind("metronome") if (t := _per_minute(m))]
            for dynamic in kind.iterfind("dynamics/*"):
                made.events.append(_Event(beat, "dynamic", dynamic.tag))
            for wedge in kind.iterfind("wedge"):
                made.events.append(_Event(beat, "wedge", wedge.get("type")))
            for words in kind.iterfind("words"):
                self._words(words.text or "", made, beat)
        if tempi:
            made.events.append(_Event(beat, "tempo", tempi[0]))

    def _words(self, text: str, made: _Measure, beat: Fraction) -> None:
        found, off = _VALUE.fullmatch(text.strip()), _cents(text)
        if found and (value := read_beats(found[2])) is not None:
            made.events.append(_Event(beat, found[1], value))
        elif off is not None:
            made.events.append(_Event(beat, "cents", off))

    def _leave(self, what: str) -> None:
        self.left[what] = self.left.get(what, 0) + 1


def _number(element: ET.Element, name: str) -> Fraction:
    """Read a number inside an element; 0 if it is not there."""
    text = (element.findtext(name) or "0").strip()
    try:
        found = Fraction(text) if len(text) < 20 and "/" not in text else None
    except ValueError:
        found = None
    if found is None or abs(found) > 1_000_000:
        raise NoteError(f"its <{name}> is {text!r:.40}, which is no number that can be used")
    return found


def _positive(text: str | None) -> float | None:
    try:
        found = float(text or "nan")
    except ValueError:
        return None
    return found if math.isfinite(found) and found > 0.0 else None


def _per_minute(metronome: ET.Element) -> float | None:
    """Return the quarters in a minute of a metronome mark that has a number."""
    found = re.search(r"\d+(\.\d+)?", metronome.findtext("per-minute") or "")
    units = {name: float(size) for size, name in TYPES.items()}
    unit = units.get((metronome.findtext("beat-unit") or "").strip())
    if not found or not unit or not float(found[0]):
        return None
    return float(found[0]) * unit * (2.0 - 0.5 ** len(metronome.findall("beat-unit-dot")))


def _cents(text: str | None) -> float | None:
    found = _CENTS.fullmatch((text or "").strip())
    return float(found[1].replace("−", "-").replace("–", "-")) if found else None


# --- the passage ---------------------------------------------------------------------------------


class _Stream(NamedTuple):
    """A line of a score: what it is called, its notes from the start, and events of its part."""

    name: str
    line: Line
    events: tuple[_Event, ...]


def _passage(root: ET.Element, held: str) -> Found:
    parts = [part for part in _parts(root) if not part.name.lower().startswith(THIRD)]
    count = max((len(part.measures) for part in parts), default=0)
    if not count:
        raise NoteError("it has no measures")
    readers = [_Reader() for _ in parts]
    read = [
        [reader.measure(one) for one in part.measures] + [_Measure()] * (count - len(part.measures))
        for part, reader in zip(parts, readers, strict=True)
    ]
    lengths = _lengths(read)
    turns = max((_turns(part.measures) for part in parts), key=_busy)
    order = _order(turns)
    starts, now = [], Fraction(0)
    for place in order:
        starts.append(now)
        now += lengths[place]
    if now == 0:
        raise NoteError("its measures last no time")
    streams = [
        stream
        for part, measures in zip(parts, read, strict=True)
        for stream in _streams(part.name, measures, order, starts)
    ]
    said = [
        f"{what} left out: {number}"
        for what, number in _summed(reader.left for reader in readers).items()
    ]
    fingered, sung, told = _chosen(streams, held)
    # Where parts differ in tempo or meter, what is fingered goes first.
    everything = [event for part in read for event in _unfolded(part, order, starts)]
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
    if len(order) > count:
        said.append(f"its repeats are played out: {count} bars become {len(order)}")
    return Found(Passage.from_plain(plain), _title(root), (*told, *said))


def _busy(turns: Sequence[_Turn]) -> int:
    empty = _Turn(False, None, frozenset(), "", "", False, False, False)
    return sum(turn != empty for turn in turns)


def _lengths(read: Sequence[Sequence[_Measure]]) -> list[Fraction]:
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
    measures: Sequence[_Measure], order: Sequence[int], starts: Sequence[Fraction]
) -> list[_Event]:
    return [
        event._replace(beat=start + event.beat)
        for place, start in zip(order, starts, strict=True)
        for event in measures[place].events
    ]


def _streams(
    name: str,
    measures: Sequence[_Measure],
    order: Sequence[int],
    starts: Sequence[Fraction],
) -> Iterator[_Stream]:
    """Yield the lines of a part that have notes, staff by staff and voice by voice."""
    events = tuple(_unfolded(measures, order, starts))
    off = {event.beat: event.value for event in events if event.kind == "cents"}
    keys = dict.fromkeys(
        key for measure in measures for key, sounds in measure.streams.items() if sounds
    )
    for key in sorted(keys, key=lambda k: (k[0].zfill(3), k[1].zfill(3))):
        sounds = [
            _moved(sound, start, off)
            for place, start in zip(order, starts, strict=True)
            for sound in measures[place].streams.get(key, ())
        ]
        yield _Stream(name, _line(sounds), events)


def _moved(sound: _Sound, start: Fraction, off: Mapping[Fraction, float]) -> _Sound:
    beat = start + sound.start
    return _Sound(
        beat, sound.beats, sound.midi + off.get(beat, 0.0) / 100.0, sound.tied_from,
        sound.tied_to, sound.slurred, sound.fingering,
    )  # fmt: skip


def _line(sounds: Sequence[_Sound]) -> Line:
    """Make one line of sounds in order: ties joined, silence between them."""
    joined: list[_Sound] = []
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


def _whole(sound: _Sound) -> int:
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


def _times(events: Sequence[_Event]) -> dict[str, Any]:
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


def _breath(events: Sequence[_Event], said: list[str]) -> list[Point]:
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


def _beat(event: _Event) -> Fraction:
    return event.beat


def _dynamic(name: str) -> float | None:
    """Return the breath of a dynamic, those beyond the range of a horn being its ends."""
    near = "ff" if LOUDER.fullmatch(name) else "pp" if SOFTER.fullmatch(name) else name
    return dynamic_share(near) if near in DYNAMICS else None


def _title(root: ET.Element) -> str:
    found = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    return " ".join(found.split())
