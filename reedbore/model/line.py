"""A line of melody as text: notes and rests with their beats, slurs and fingerings.

In: ``F3:1 A3:0.5 rest:0.5 C4:2``. Out: the same as `Line`, and back; no sound, no seconds.

The notation
------------
A line is words parted by blanks, each a pitch and its beats, a quarter note being one beat.

``C4:2``
    a note of two beats, tongued: the tongue begins it. A pitch is whatever `notes.parse_pitch`
    reads, concert pitch: ``Bb2``, ``F#3+14c``, ``220Hz``.
``C4:2.5``  ``C4:1/3``
    beats with a point or as a fraction.
``rest:0.5``
    half a beat of rest.
``C4:2~ D4:1``
    a slur: the note after the sign ``~`` follows without the tongue, or without a new start of
    the voice. Between two notes of one pitch and one fingering it is a tie.
``Bb3(fork):1``
    the note by the fingering that the horn calls ``Bb3 fork``; for fingered notes only.
"""

import re
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from reedbore.errors import NoteError
from reedbore.notes import parse_pitch

MOST_NOTES = 5000
"""Of a line, with its rests: sixteen a second for as long as a passage may last."""

FINEST_FRACTION = 32767  # ticks per beat that a MIDI file can count, at most

LONGEST_DECIMAL = 7  # characters; a longer one is written as a fraction where there is one

_WORD = re.compile(r"(?:[^\s(]|\([^)]*\)?)+")
_NOTE = re.compile(r"([^\s(:][^\s(]*?)(?:\(([^()]*)\))?:([^\s:~]+)(~?)")
_BEATS = re.compile(r"\d{1,4}(\.\d+)?|\d{1,9}/0*[1-9]\d{0,4}")


class Note(NamedTuple):
    """A note or a rest of a line.

    Attributes
    ----------
    pitch : str or None
        A note or frequency as `notes.parse_pitch` reads it; None for a rest.
    beats : float
        How long, more than 0.
    fingering : str
        Name of one of several fingerings, "" for the plain one.
    slurred : bool
        The note after this one follows without the tongue.
    """

    pitch: str | None
    beats: float
    fingering: str = ""
    slurred: bool = False


class Line(NamedTuple):
    """A line of melody: its notes and rests, one after the other."""

    notes: tuple[Note, ...] = ()

    @property
    def pitches(self) -> tuple[str | None, ...]:
        """What to play, a rest being None."""
        return tuple(note.pitch for note in self.notes)

    @property
    def beats(self) -> tuple[float, ...]:
        """How long each note and rest lasts."""
        return tuple(note.beats for note in self.notes)

    @property
    def bounds(self) -> tuple[float, ...]:
        """Beat at which each note and rest begins, and after them the one at which all ends.

        Each is rounded once: ten notes of 0.1 beats end at 1.
        """
        exact = accumulate(map(Fraction, self.beats), initial=Fraction(0))
        return tuple(map(float, exact))


def lasting(line: Line, beats: float) -> Line:
    """Let a line end with silence where others go on for so many beats."""
    left = beats - line.bounds[-1]
    return Line((*line.notes, Note(None, left))) if left > 0.0 else line


def read_line(text: str) -> Line:
    """Read a line of melody as players write it, ``F3:1 A3:0.5 rest:0.5 C4:2``.

    Parameters
    ----------
    text : str
        In the notation of this module.

    Returns
    -------
    Line
        Its notes, the pitches still as text but readable as such.

    Raises
    ------
    NoteError
        If a word cannot be read; the text says which, and why.
    """
    words = _WORD.findall(text)
    check_length(len(words))
    line = Line(tuple(_read_note(word, place) for place, word in enumerate(words, 1)))
    if not any(line.pitches):
        raise NoteError("the line has no notes; write F3:1 A3:0.5 rest:0.5 C4:2, for example")
    followed = [pitch is not None for pitch in line.pitches[1:]] + [False]
    for place, (note, follows) in enumerate(zip(line.notes, followed, strict=True), 1):
        if note.slurred and not (note.pitch and follows):
            raise NoteError(f"{words[place - 1]!r} (word {place}): a slur joins two notes")
    return line


def check_length(notes: int) -> None:
    """Refuse a line of more notes and rests than anybody plays in its five minutes."""
    if notes > MOST_NOTES:
        raise NoteError(f"the line has {notes} notes and rests; allowed 1 to {MOST_NOTES}")


def _read_note(word: str, place: int) -> Note:
    found = _NOTE.fullmatch(word)
    beats = read_beats(found[3]) if found else None
    if not found or not beats:
        raise NoteError(
            f"{word!r} (word {place}) is no note with beats; write F3:1, C4:0.5, C4:1/3 or rest:2"
        )
    pitch, fingering = found[1], " ".join((found[2] or "").split())
    if found[2] is not None and (not fingering or pitch == "rest"):
        raise NoteError(f"{word!r} (word {place}): a note has the name of its fingering in ( )")
    if pitch != "rest":
        try:
            parse_pitch(pitch)
        except NoteError as error:
            raise NoteError(f"{word!r} (word {place}): {error}") from None
    return Note(None if pitch == "rest" else pitch, beats, fingering, bool(found[4]))


def write_line(line: Line) -> str:
    """Write a line of melody so that `read_line` reads exactly the same.

    Parameters
    ----------
    line : Line
        What to write.

    Returns
    -------
    str
        In the notation of this module.
    """
    return " ".join(_written(line))


def _written(line: Line) -> Iterator[str]:
    for note in line.notes:
        name = f"({note.fingering})" if note.fingering else ""
        slur = "~" if note.slurred else ""
        yield f"{note.pitch or 'rest'}{name}:{write_beats(note.beats)}{slur}"


def read_beats(text: str) -> float | None:
    """Read a count of beats, ``1``, ``0.5`` or ``1/3``; None if it is none.

    Parameters
    ----------
    text : str
        The count; at most 9999 beats where it is no fraction.

    Returns
    -------
    float or None
        The number nearest to it.
    """
    if not _BEATS.fullmatch(text):
        return None
    return float(Fraction(text))


def write_beats(beats: float) -> str:
    """Write a count of beats so that `read_beats` reads exactly the same.

    Parameters
    ----------
    beats : float
        The count, 0 or more.

    Returns
    -------
    str
        As a decimal; as a fraction where a decimal is long and the fraction means the same number.
    """
    decimal = f"{Decimal(repr(float(beats))):f}".removesuffix(".0")
    near = Fraction(beats).limit_denominator(FINEST_FRACTION)
    fraction = f"{near.numerator}/{near.denominator}"
    shorter = len(fraction) < len(decimal) > LONGEST_DECIMAL
    return fraction if shorter and float(near) == beats else decimal
