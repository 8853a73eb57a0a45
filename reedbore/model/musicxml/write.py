"""Writing a passage as a MusicXML score: fingered, sung and third note on a staff each.

In: a `Passage`, who plays it, and its third notes. Out: the bytes of a file that any notation
program reads, and one sentence for everything that notation cannot say; `read` goes the other way.

What stands for what
--------------------
All of it is named as in MusicXML 4.0 [1]_.

=================== ==============================================================================
part ``fingered``   as written for the horn, with its ``transpose``
part ``sung``       at concert pitch, as is ``third note``; parts that have nothing are left out
cents               as text under the note, ``+14c``; ``alter`` is a whole number, since programs
                    refuse others or drop them
slur                notes that follow without the tongue, or without a new start of the voice
dynamics, wedge     the breath, where it has the name of a dynamic; else words, ``breath 0.3``
words               ``depth 0.1``, how strongly is sung, above its staff
fingering           the name of a fingering
metronome, sound    tempo, a beat being a quarter note
breath-mark         where to breathe
parentheses         a third note that arithmetic names, but that is not heard
=================== ==============================================================================

References
----------
.. [1] W3C Music Notation Community Group, "MusicXML Version 4.0," Final Community Group Report,
   2021.
"""

import math
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple
from xml.etree import ElementTree as ET

from reedbore import __version__
from reedbore.errors import NoteError
from reedbore.model.line import Line, write_beats
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.bars import Bar, Sign, Span
from reedbore.model.passage import DYNAMICS, Passage, Point, dynamic_share
from reedbore.model.units import QUANTITIES, from_si
from reedbore.notes import A4_HZ, NAMES, hz_to_midi, parse_note, parse_pitch

FINGERED, SUNG, THIRD = "fingered", "sung", "third note"
PARTS = {FINGERED: "P1", SUNG: "P2", THIRD: "P3"}
STEP = 1.0 / 16.0
"""Values of a curve that stand no further apart are a step, not a swell. [beats]"""

TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter",
    Fraction(1, 2): "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th", Fraction(1, 32): "128th", Fraction(1, 64): "256th",
}  # fmt: skip
CLEFS = {"treble": ("G", 2, 0), "bass": ("F", 4, 0)}
LETTERS = "CDEFGAB"
HEIGHTS = (0, 2, 4, 5, 7, 9, 11)
STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters in an interval of so many semitones: 9 is a sixth."""

ODD = {(2, 1), (6, 1), (0, -1), (3, -1)}
"""E sharp, B sharp, C flat and F flat: letter and alteration. Only who types one is given one."""

ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
TEMPO = QUANTITIES["passage.tempo_bpm"]
HEAD = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n'
    b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    b'"http://www.musicxml.org/dtds/partwise.dtd">\n'
)

_SPELLED = re.compile(r"([A-Ga-g])(##|#|bb|b|)(-?\d+)([+-].*)?")


class Third(NamedTuple):
    """A third note: when, for how long [beats], its frequency [Hz], and whether it is heard."""

    beat: float
    beats: float
    hz: float
    heard: bool = True


class Spelled(NamedTuple):
    """A note as it is written: letter from 0 (C), alteration in semitones, octave; cents beside."""

    letter: int
    alter: int
    octave: int
    cents: float

    @property
    def midi(self) -> int:
        """MIDI number of the note, without its cents."""
        return 12 * (self.octave + 1) + HEIGHTS[self.letter] + self.alter


class Head(NamedTuple):
    """A note of a staff."""

    span: Span
    pitch: Spelled
    fingering: str = ""
    slurred: bool = False
    doubtful: bool = False
    breathes: bool = False
    """Whether there is a breath behind it."""


class Mark(NamedTuple):
    """What is written beside a staff from a beat on: elements, and whether below."""

    beat: Fraction
    made: ET.Element
    below: bool = False
    sound: float | None = None  # [quarters a minute]


class Staff(NamedTuple):
    """A part: its name and what is written in it; without a clef it takes the one that fits."""

    name: str
    instrument: str
    transposition: int
    clef: str
    heads: tuple[Head, ...]
    marks: tuple[Mark, ...] = ()


class Written(NamedTuple):
    """A score as bytes, and a sentence, without full stop, for each thing it cannot say."""

    data: bytes
    said: tuple[str, ...]


def musicxml_bytes(
    passage: Passage,
    title: str = "",
    *,
    horn: str = "",
    transposition: int = 0,
    clef: str = "treble",
    third: Iterable[Third] = (),
    breaths: Collection[float] = (),
    a4: float = A4_HZ,
    finest_cents: int = 2,
    bars_in_line: int = 0,
) -> Written:
    """Write a passage as a MusicXML score.

    Parameters
    ----------
    passage : Passage
        What is fingered and sung, at concert pitch.
    title : str, optional
        Of the music.
    horn : str, optional
        Title of the horn.
    transposition : int, optional
        Written note minus sounding note of the horn. [semitones]
    clef : str
        Of the horn, ``treble`` or ``bass``; the others have the one that fits.
    third : iterable of Third
        One after the other.
    breaths : collection of float
        Where to breathe: a sign stands behind the note that ends there. [beats]
    a4 : float
        Frequency of A4. [Hz]
    finest_cents : int
        Decimals of the cents under the notes.
    bars_in_line : int
        After so many bars a new line begins; 0 leaves that to who engraves it.

    Returns
    -------
    Written
        A file of the kind score-partwise, version 4.0.
    """
    beats = bars.exact(passage.beats)
    measures = bars.bars_of(passage.meters, beats)
    fingered, sung = (
        _heads(passage.fingered_line, a4, transposition), _heads(passage.sung_line, a4)
    )  # fmt: skip
    fingered, sung = _breathing(fingered, sung, {bars.exact(beat) for beat in breaths})
    staves = [
        Staff(FINGERED, horn, transposition, clef, fingered,
              (*_tempi(passage), *_breath(passage.breath_curve))),
        Staff(SUNG, "", 0, "", sung, _depth(passage.depth_curve)),
        Staff(THIRD, "", 0, "", _thirds(third, a4)),
    ]  # fmt: skip
    staves = [staff for staff in staves if staff.heads]
    root = ET.Element("score-partwise", version="4.0")
    if title:
        ET.SubElement(ET.SubElement(root, "work"), "work-title").text = title
    software = ET.SubElement(ET.SubElement(root, "identification"), "encoding")
    ET.SubElement(software, "software").text = f"reedbore {__version__}"
    listed = ET.SubElement(root, "part-list")
    for staff in staves:
        _list_part(listed, staff)
    turns = {str(n) for n in range(1 + bars_in_line, len(measures) + 1, max(bars_in_line, 1))}
    said: list[str] = []
    for staff in staves:
        found = bars.set_in_bars([head.span for head in staff.heads], measures)
        root.append(_part(staff, measures, found, finest_cents))
        said += _said(staff.name, found)
    for measure in root.iter("measure"):
        if bars_in_line and measure.get("number") in turns:
            measure.insert(0, ET.Element("print", {"new-system": "yes"}))
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return Written(HEAD + text.encode() + b"\n", tuple(said))


def _said(name: str, found: bars.Set) -> Iterator[str]:
    if found.moved:
        yield (
            f"{_counted(found.moved)} of the {name} staff written to the nearest sixty-fourth: "
            "notation has no shorter grid"
        )
    if found.lost:
        yield f"{_counted(found.lost)} of the {name} staff left out, too short to be written"


def _counted(notes: frozenset[int]) -> str:
    return f"{len(notes)} note{'' if len(notes) == 1 else 's'}"


# --- notes as they are written -------------------------------------------------------------------


def spelled(pitch: str, a4: float = A4_HZ, transposition: int = 0) -> Spelled:
    """Spell a pitch as it is written for a horn: as it was typed, moved by whole letters.

    Parameters
    ----------
    pitch : str
        As `notes.parse_pitch` reads it.
    a4 : float
        Frequency of A4. [Hz]
    transposition : int
        Written note minus sounding note. [semitones]

    Returns
    -------
    Spelled
        Never more than two sharps or flats.
    """
    found = _SPELLED.fullmatch(pitch.strip())
    try:
        exact = parse_note(pitch)
    except NoteError:
        found, exact = None, hz_to_midi(parse_pitch(pitch, a4), a4)
    if found is None:
        return spelled_midi(exact + transposition)
    letter = LETTERS.index(found[1].upper())
    alter = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2}[found[2]]
    named = 12 * (int(found[3]) + 1) + HEIGHTS[letter] + alter
    octaves, semitones = divmod(transposition, 12)
    steps = letter + STEPS[semitones] + 7 * octaves + 7 * int(found[3])
    octave, moved = divmod(steps, 7)
    alter = named + transposition - (12 * (octave + 1) + HEIGHTS[moved])
    off = 100.0 * (exact - named)
    odd = transposition != 0 and (moved, alter) in ODD
    if abs(alter) > 1 or odd or not -50.0 <= off <= 50.0:
        return spelled_midi(exact + transposition)
    return Spelled(moved, alter, octave, off)


def spelled_midi(midi: float) -> Spelled:
    """Spell a MIDI number by the nearest note, as `notes.NAMES` has it."""
    whole = math.floor(midi + 0.5)
    name = NAMES[whole % 12]
    alter = {"#": 1, "b": -1}.get(name[1:], 0)
    return Spelled(LETTERS.index(name[0]), alter, whole // 12 - 1, 100.0 * (midi - whole))


def _heads(line: Line, a4: float, transposition: int = 0) -> tuple[Head, ...]:
    """Return the notes of a line, ties made into one."""
    found: list[Head] = []
    tied = False
    bounds = [bars.exact(bound) for bound in line.bounds]
    for place, (note, span) in enumerate(zip(line.notes, pairwise(bounds), strict=True)):
        if note.pitch is None:
            continue
        before = line.notes[place - 1]
        if tied and (before.pitch, before.fingering) == (note.pitch, note.fingering):
            start = found[-1].span.start
            found[-1] = found[-1]._replace(span=Span(start, span[1]), slurred=note.slurred)
        else:
            pitch = spelled(note.pitch, a4, transposition)
            found.append(Head(Span(*span), pitch, note.fingering, note.slurred))
        tied = note.slurred
    return tuple(found)


def _breathing(
    fingered: tuple[Head, ...], sung: tuple[Head, ...], places: Collection[Fraction]
) -> tuple[tuple[Head, ...], tuple[Head, ...]]:
    """Mark where to breathe: over what is fingered if a note ends there, else over what is sung."""
    below = tuple(head._replace(breathes=head.span.end in places) for head in fingered)
    left = set(places) - {head.span.end for head in fingered}
    return below, tuple(head._replace(breathes=head.span.end in left) for head in sung)


def _thirds(third: Iterable[Third], a4: float) -> tuple[Head, ...]:
    found: list[Head] = []
    for beat, beats, hz, heard in third:
        span = Span(bars.exact(beat), bars.exact(beat + beats))
        pitch = spelled_midi(hz_to_midi(hz, a4))
        # Nobody plays it: its cents are read, not aimed at.
        head = Head(span, pitch._replace(cents=round(pitch.cents)), doubtful=not heard)
        last = found[-1] if found else None
        if last and last.span.end == span.start and last[1:] == head[1:]:
            found[-1] = last._replace(span=Span(last.span.start, span.end))
        else:
            found.append(head)
    return tuple(found)


def cents_text(off: float, finest: int = 2) -> str:
    """Write cents as they stand under a note, to so many decimals; nothing for none."""
    text = f"{off:+.{finest}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "" if float(text) == 0.0 else f"{text}c"


# --- marks ---------------------------------------------------------------------------------------


def _tempi(passage: Passage) -> Iterator[Mark]:
    for tempo in passage.tempi:
        made = ET.Element("metronome")
        ET.SubElement(made, "beat-unit").text = "quarter"
        bpm = from_si(TEMPO, tempo.hz)
        ET.SubElement(made, "per-minute").text = write_beats(bpm)
        yield Mark(bars.exact(tempo.beat), made, sound=bpm)


def _breath(points: Sequence[Point]) -> Iterator[Mark]:
    """Yield dynamics, or shares of the dynamic range, and a wedge where one turns into the next."""
    names = {dynamic_share(name): name for name in DYNAMICS}
    last: Point | None = None
    for point, after in zip(points, [*points[1:], None], strict=False):
        beat = bars.exact(point.beat)
        # A value that is only held until a step has been written already.
        if last is None or point.value != last.value or _swells(last, point):
            name = names.get(point.value)
            yield Mark(beat, _dynamic(name) if name else _words("breath", point.value), below=True)
        if after and _swells(point, after):
            kind = "crescendo" if after.value > point.value else "diminuendo"
            yield Mark(beat, ET.Element("wedge", type=kind), below=True)
            yield Mark(bars.exact(after.beat), ET.Element("wedge", type="stop"), below=True)
        last = point


def _swells(here: Point, there: Point) -> bool:
    return there.value != here.value and there.beat - here.beat > STEP


def _dynamic(name: str) -> ET.Element:
    made = ET.Element("dynamics")
    ET.SubElement(made, name)
    return made


def _words(what: str, value: float) -> ET.Element:
    made = ET.Element("words")
    made.text = f"{what} {write_beats(value)}"
    return made


def _depth(points: Sequence[Point]) -> tuple[Mark, ...]:
    return tuple(Mark(bars.exact(point.beat), _words("depth", point.value)) for point in points)


# --- the score -----------------------------------------------------------------------------------


def _list_part(listed: ET.Element, staff: Staff) -> None:
    part = ET.SubElement(listed, "score-part", id=PARTS[staff.name])
    ET.SubElement(part, "part-name").text = staff.name
    if staff.instrument:
        made = ET.SubElement(part, "score-instrument", id=f"{PARTS[staff.name]}-I1")
        ET.SubElement(made, "instrument-name").text = staff.instrument


def _part(staff: Staff, measures: Sequence[Bar], found: bars.Set, finest_cents: int) -> ET.Element:
    part = ET.Element("part", id=PARTS[staff.name])
    divisions = _divisions(staff, found)
    slurs: set[int] = {
        k for k, head in enumerate(staff.heads)
        if head.slurred and k + 1 < len(staff.heads)
    }  # fmt: skip
    for number, (bar, signs) in enumerate(zip(measures, found.bars, strict=True), 1):
        measure = ET.SubElement(part, "measure", number=str(number))
        if number == 1 or bar.new:
            _attributes(measure, bar, divisions, staff if number == 1 else None)
        last = number == len(measures)
        marks = [m for m in staff.marks if bar.start <= m.beat and (last or m.beat < bar.end)]
        alters: dict[tuple[int, int], int] = {}
        for sign, beams in zip(signs, bars.beamed(signs, bar), strict=True):
            # At the end of a bar, or within a note, a mark stands with an offset.
            here = [m for m in marks if m.beat < sign.start + sign.beats or sign is signs[-1]]
            for mark in here:
                marks.remove(mark)
                _direction(measure, mark, (mark.beat - sign.start) * divisions)
            note = _note(measure, sign, beams, staff, slurs, alters, divisions)
            _write_cents(note, sign, staff, finest_cents)
        if last:
            ET.SubElement(
                ET.SubElement(measure, "barline", location="right"), "bar-style"
            ).text = "light-heavy"
    return part


def _divisions(staff: Staff, found: bars.Set) -> int:
    """Return into how many parts a quarter is divided, so that all lengths are whole."""
    lengths = [sign.beats.denominator for signs in found.bars for sign in signs]
    places = [mark.beat.denominator for mark in staff.marks]
    return math.lcm(1, *lengths, *(place for place in places if place <= 1024))


def _attributes(measure: ET.Element, bar: Bar, divisions: int, first: Staff | None) -> None:
    made = ET.SubElement(measure, "attributes")
    if first:
        ET.SubElement(made, "divisions").text = str(divisions)
        ET.SubElement(ET.SubElement(made, "key"), "fifths").text = "0"
    time = ET.SubElement(made, "time")
    ET.SubElement(time, "beats").text = str(bar.meter.number)
    ET.SubElement(time, "beat-type").text = str(bar.meter.unit)
    if not first:
        return
    sign, line, octave = CLEFS.get(first.clef) or clef_of([h.pitch.midi for h in first.heads])
    clef = ET.SubElement(made, "clef")
    ET.SubElement(clef, "sign").text = sign
    ET.SubElement(clef, "line").text = str(line)
    if octave:
        ET.SubElement(clef, "clef-octave-change").text = str(octave)
    if first.transposition:
        octaves, semitones = divmod(first.transposition, 12)
        moved = ET.SubElement(made, "transpose")
        ET.SubElement(moved, "diatonic").text = str(-STEPS[semitones])
        ET.SubElement(moved, "chromatic").text = str(-semitones)
        if octaves:
            ET.SubElement(moved, "octave-change").text = str(-octaves)


def clef_of(midi: Sequence[int]) -> tuple[str, int, int]:
    """Choose the clef in which most notes lie on or near the staff: sign, line, octaves."""
    middle = sorted(midi)[len(midi) // 2]
    if middle >= 60:
        return CLEFS["treble"]
    return CLEFS["bass"] if middle >= 38 else ("F", 4, -1)


def _direction(measure: ET.Element, mark: Mark, offset: Fraction) -> None:
    made = ET.SubElement(measure, "direction", placement="below" if mark.below else "above")
    ET.SubElement(made, "direction-type").append(mark.made)
    if offset:
        ET.SubElement(made, "offset").text = str(round(offset))
    if mark.sound is not None:
        ET.SubElement(made, "sound", tempo=write_beats(mark.sound))


def _note(
    measure: ET.Element,
    sign: Sign,
    beams: Sequence[str],
    staff: Staff,
    slurs: set[int],
    alters: dict[tuple[int, int], int],
    divisions: int,
) -> ET.Element:
    """Write one note or rest; the order of what is in it is that of the standard."""
    made = ET.SubElement(measure, "note")
    head = None if sign.note is None else staff.heads[sign.note]
    if head is None:
        rest = ET.SubElement(made, "rest")
        if sign.whole_bar:
            rest.set("measure", "yes")
    else:
        pitch = ET.SubElement(made, "pitch")
        ET.SubElement(pitch, "step").text = LETTERS[head.pitch.letter]
        if head.pitch.alter:
            ET.SubElement(pitch, "alter").text = str(head.pitch.alter)
        ET.SubElement(pitch, "octave").text = str(head.pitch.octave)
    ET.SubElement(made, "duration").text = str(sign.beats * divisions)
    ties = [kind for kind, is_so in (("stop", sign.tied_from), ("start", sign.tied_to)) if is_so]
    for kind in ties:
        ET.SubElement(made, "tie", type=kind)
    ET.SubElement(made, "voice").text = "1"
    if not sign.whole_bar:
        ET.SubElement(made, "type").text = TYPES[sign.value.plain]
        for _ in range(sign.value.dots):
            ET.SubElement(made, "dot")
    if head is not None:
        _accidental(made, head.pitch, alters, tied=sign.tied_from)
    if sign.tuplet > 1:
        changed = ET.SubElement(made, "time-modification")
        ET.SubElement(changed, "actual-notes").text = str(sign.tuplet)
        ET.SubElement(changed, "normal-notes").text = str(bars.TUPLETS[sign.tuplet])
    if head is not None and head.doubtful:
        ET.SubElement(made, "notehead", parentheses="yes").text = "normal"
    for level, word in enumerate(beams, 1):
        ET.SubElement(made, "beam", number=str(level)).text = word
    _notations(made, sign, head, slurs, ties)
    return made


def _write_cents(note: ET.Element, sign: Sign, staff: Staff, finest: int) -> None:
    if sign.note is None or sign.tied_from:
        return
    if text := cents_text(staff.heads[sign.note].pitch.cents, finest):
        lyric = ET.SubElement(note, "lyric", number="1")
        ET.SubElement(lyric, "text").text = text


def _accidental(
    made: ET.Element, pitch: Spelled, alters: dict[tuple[int, int], int], *, tied: bool
) -> None:
    """Write an accidental where the bar does not have it already; a tie carries its own."""
    place = pitch.letter, pitch.octave
    if not tied and alters.get(place, 0) != pitch.alter:
        ET.SubElement(made, "accidental").text = ACCIDENTALS[pitch.alter]
        alters[place] = pitch.alter


def _notations(
    made: ET.Element, sign: Sign, head: Head | None, slurs: set[int], ties: Sequence[str]
) -> None:
    found = ET.Element("notations")
    for kind in ties:
        ET.SubElement(found, "tied", type=kind)
    if head is not None and sign.note is not None:
        # A slur over several notes is one: it ends where no further note is slurred to.
        here, before = sign.note in slurs, sign.note - 1 in slurs
        if before and not here and not sign.tied_from:
            ET.SubElement(found, "slur", type="stop", number="1")
        if here and not before and not sign.tied_from:
            ET.SubElement(found, "slur", type="start", number="1")
    for kind, is_so in (("start", sign.first), ("stop", sign.last)):
        if is_so:
            ET.SubElement(found, "tuplet", type=kind)
    if head is not None and head.fingering and not sign.tied_from:
        technical = ET.SubElement(found, "technical")
        ET.SubElement(technical, "fingering").text = head.fingering
    if head is not None and head.breathes and not sign.tied_to:
        ET.SubElement(ET.SubElement(found, "articulations"), "breath-mark")
    if len(found):
        made.append(found)
