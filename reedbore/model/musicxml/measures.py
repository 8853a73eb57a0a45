"""One part of a MusicXML score as it sounds, measure by measure as they are printed.

In: elements of the score. Out: for each measure its notes at concert pitch, stream by stream, and
what happens beside them: tempo, meter, dynamics, words.
"""

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

from reedbore.errors import NoteError
from reedbore.model.line import read_beats
from reedbore.model.musicxml.write import HEIGHTS, LETTERS, TYPES

_CENTS = re.compile(r"([+\-−–]\d{1,3}(?:\.\d+)?)\s?(?:c|¢|cents?)?")
_VALUE = re.compile(r"(breath|depth) (\S+)")


@dataclass
class Sound:
    """A note as it sounds: beats from the start of its measure, MIDI number, how it goes on."""

    start: Fraction
    beats: Fraction
    midi: float
    tied_from: bool = False
    tied_to: bool = False
    slurred: bool = False
    fingering: str = ""


class Event(NamedTuple):
    """Something beside the notes: at a beat of its measure, what, and its value."""

    beat: Fraction
    kind: str
    value: Any


@dataclass
class Measure:
    """What one measure of one part says, read once."""

    beats: Fraction = Fraction(0)
    streams: dict[tuple[str, str], list[Sound]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)


class Reader:
    """Reads the measures of one part as they are printed; counts what is left out."""

    def __init__(self) -> None:
        self.divisions, self.transposition = Fraction(1), 0.0
        self.left: dict[str, int] = {}
        self._slurs: dict[tuple[str, str], set[str]] = {}

    def measure(self, element: ET.Element) -> Measure:
        """Read one measure."""
        made, now, last = Measure(), Fraction(0), Fraction(0)
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

    def _attributes(self, element: ET.Element, made: Measure, now: Fraction) -> None:
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
            made.events.append(Event(now, "meter", (number, int(_number(time, "beat-type")))))

    def _note(
        self, note: ET.Element, made: Measure, start: Fraction, now: Fraction, *, chord: bool
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
    ) -> Sound:  # fmt: skip
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
        return Sound(
            start, beats, written + alter + self.transposition + sum(off[:1]) / 100.0,
            "stop" in ties, "start" in ties, bool(slurs),
            "" if name.isdecimal() or {"(", ")"} & set(name) else name,
        )  # fmt: skip

    def _direction(self, element: ET.Element, made: Measure, now: Fraction) -> None:
        beat = max(now + _number(element, "offset") / self.divisions, Fraction(0))
        sounds = [element] if element.tag == "sound" else element.findall("sound")
        tempi = [t for s in sounds if (t := _positive(s.get("tempo"))) is not None]
        for kind in element.iterfind("direction-type"):
            tempi = tempi or [t for m in kind.iterfind("metronome") if (t := _per_minute(m))]
            for dynamic in kind.iterfind("dynamics/*"):
                made.events.append(Event(beat, "dynamic", dynamic.tag))
            for wedge in kind.iterfind("wedge"):
                made.events.append(Event(beat, "wedge", wedge.get("type")))
            for words in kind.iterfind("words"):
                self._words(words.text or "", made, beat)
        if tempi:
            made.events.append(Event(beat, "tempo", tempi[0]))

    def _words(self, text: str, made: Measure, beat: Fraction) -> None:
        found, off = _VALUE.fullmatch(text.strip()), _cents(text)
        if found and (value := read_beats(found[2])) is not None:
            made.events.append(Event(beat, found[1], value))
        elif off is not None:
            made.events.append(Event(beat, "cents", off))

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
