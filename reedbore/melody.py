"""A melody as text: what is fingered and sung, note by note.

In: ``F3:1 A3:0.5 rest:0.5 C4:2``, each word a pitch and its beats.
Out: the same as `Line`, or as the checked text of a preset; nothing here knows sound or time.
"""

import re
from typing import NamedTuple

from pydantic import field_validator

from reedbore.errors import NoteError
from reedbore.notes import parse_pitch
from reedbore.settings import Part, mistake


class Line(NamedTuple):
    """A line of melody: what to play and for how many beats, a rest being None."""

    pitches: tuple[str | None, ...]
    beats: tuple[float, ...]


def read_line(text: str) -> Line:
    """Read a line of melody as players write it, ``F3:1 A3:0.5 rest:0.5 C4:2``.

    Parameters
    ----------
    text : str
        Note (or frequency) and beats, joined by a colon and parted by blanks.

    Returns
    -------
    Line
        Its pitches, still as text but readable as such, and its beats.

    Raises
    ------
    NoteError
        If a word cannot be read; the text says which, and why.
    """
    pitches, beats = [], []
    for word in text.split():
        pitch, _, count = word.rpartition(":")
        if not pitch or not re.fullmatch(r"\d{1,3}(\.\d+)?", count) or float(count) == 0.0:
            raise NoteError(f"{word!r} is no note with beats; write F3:1, C4:0.5 or rest:2")
        if pitch != "rest":
            parse_pitch(pitch)
        pitches.append(None if pitch == "rest" else pitch)
        beats.append(float(count))
    if not any(pitches):
        raise NoteError("the line has no notes; write F3:1 A3:0.5 rest:0.5 C4:2, for example")
    return Line(tuple(pitches), tuple(beats))


class Melody(Part):
    """What is fingered and sung, as text; concert pitch."""

    section = "passage"
    tempo: float
    fingered: str
    sung: str

    @field_validator("fingered", "sung")
    @classmethod
    def _check_line(cls, value: str) -> str:
        try:
            read_line(value)
        except NoteError as error:
            raise mistake(f"cannot be read: {error}") from None
        return value


class Piece(Part):
    """A passage as a preset file describes it: the melody, and who plays and sings it."""

    name: str
    title: str
    horn: str
    voice: str
    passage: Melody
