"""Words that stand for a line of notes: what kind of word it is, and the line it means.

In: what follows ``--fingered`` or ``--sung``. Out: a `Line` in concert pitch. Nothing here knows a
setup.
"""

import re
from pathlib import Path
from typing import Literal

from reedbore.errors import NoteError
from reedbore.model.line import Line, Note, read_line
from reedbore.model.setup import Horn
from reedbore.notes import hz_to_midi, midi_name, parse_note, parse_pitch, parse_sung
from reedbore.simulate.request.take import Words, is_recording, named

MIDI_FILES = {".mid", ".midi"}
SCORE_FILES = {".musicxml", ".mxl", ".xml"}

Kind = Literal["none", "note", "line", "midi", "score", "recording"]

_WRITTEN = re.compile(r"(?<!\S)[wW]:([^\s:(~]+)")
_RATIO_OF_OTHERS = re.compile(r"\d+:\d+")
_INTERVAL = re.compile(r"(?<!\S)(?:[+-]\d+(?:\.\d+)?(?:st|c)|\d+/\d+):\S*")
_CENTS = re.compile(r"(.*?)([+\-−–]\d+(?:\.\d+)?[c¢])?")


def kind_of(word: str | None) -> Kind:
    """Tell what a word stands for; a note may also be an interval or a ratio.

    Parameters
    ----------
    word : str or None
        What follows ``--fingered`` or ``--sung``.

    Returns
    -------
    str
        ``none``, ``note``, ``line``, ``midi``, ``score`` (MusicXML) or ``recording``.
    """
    if word is None:
        return "none"
    suffix = Path(word).suffix.lower()
    if is_recording(word):
        return "recording"
    if suffix in MIDI_FILES:
        return "midi"
    if suffix in SCORE_FILES:
        return "score"
    bare = word.strip()
    if _RATIO_OF_OTHERS.fullmatch(bare):
        return "note"  # which then is told to take a slash
    return "line" if ":" in bare.removeprefix("w:").removeprefix("W:") else "note"


def is_passage(passage: str | None, fingered: str | None, sung: str | None) -> bool:
    """Tell whether words ask for a passage: for lines, files of them, or nothing at all."""
    kinds = {kind_of(fingered), kind_of(sung)}
    return passage is not None or kinds == {"none"} or not kinds <= {"none", "note"}


def fingers_written(words: Words) -> bool:
    """Tell whether what is fingered is read as written for the horn.

    Typed notes and MIDI files may be; a passage file, and the demo, are at concert pitch, and a
    score says itself how it transposes.
    """
    midi = kind_of(words.passage) == "midi"
    typed = words.fingered is not None and kind_of(words.fingered) != "score"
    return words.written and (typed or midi)


def read_typed(option: str, text: str, horn: Horn, *, written: bool = False) -> Line:
    """Read a line as it was typed.

    Parameters
    ----------
    option : str
        What it follows, for the error.
    text : str
        In the notation of `melody`; a note with ``w:`` before it is written for the horn.
    horn : Horn
        Whose transposition holds.
    written : bool
        Whether all notes are written ones. A frequency always sounds as it is given.

    Returns
    -------
    Line
        In concert pitch.

    Raises
    ------
    NoteError
        If a word cannot be read; the text says which, and why.
    """
    plain = _WRITTEN.sub(
        lambda found: found[1] if written else sounding(found[1], horn.transposition), text
    )
    if found := _INTERVAL.search(plain):
        raise NoteError(
            f"{option} {found[0]!r}: an interval stands alone and moves along with what is "
            "fingered; in a line write notes"
        )
    with named(option):
        line = read_line(plain)
    return transposed(line, horn) if written else line


def transposed(line: Line, horn: Horn) -> Line:
    """Turn a line that is written for a horn into the one that sounds."""
    return Line(
        tuple(
            note._replace(pitch=note.pitch and sounding(note.pitch, horn.transposition))
            for note in line.notes
        )
    )


def sounding(pitch: str, transposition: int) -> str:
    """Name the note that sounds where one is written; what is no note name stays as it is."""
    found = _CENTS.fullmatch(pitch)
    name, off = found.groups() if found else (pitch, None)
    try:
        return midi_name(parse_note(name) - transposition) + (off or "")
    except NoteError:
        return pitch


def held_pitch(option: str, text: str, horn: Horn, a4: float, *, written: bool = False) -> str:
    """Read one note that is held, and write it as a line takes it.

    Parameters
    ----------
    option, horn, written
        As for `read_typed`.
    text : str
        A note or a frequency, as `notes.parse_pitch` reads it.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        The sounding pitch.

    Raises
    ------
    NoteError
        If it cannot be read.
    """
    with named(option):
        parse_pitch(text, a4, transposition=horn.transposition, written=written)
    plain = "".join(text.split())
    marked = plain[:2].lower() == "w:"
    bare = plain[2:] if marked else plain
    return sounding(bare, horn.transposition) if marked or written else bare


def held(pitch: str, beats: float, fingering: str = "") -> Line:
    """Hold one note for some beats."""
    return Line((Note(pitch, beats, fingering),))


def parallel(line: Line, interval: str, a4: float) -> Line:
    """Move along with a line at one interval.

    Parameters
    ----------
    line : Line
        What is fingered.
    interval : str
        The new line over this one, as `notes.parse_interval` reads it.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    Line
        With the same rests and slurs, its pitches within 0.0001 cents.

    Raises
    ------
    NoteError
        If one of its notes is higher or lower than any that is sung.
    """
    moved = []
    for note in line.notes:
        pitch = note.pitch
        if pitch is not None:
            midi = hz_to_midi(parse_sung(interval, parse_pitch(pitch, a4), a4), a4)
            off = f"{100.0 * (midi - round(midi)):+.4f}".rstrip("0").rstrip(".")
            pitch = midi_name(round(midi)) + (f"{off}c" if float(off) else "")
        moved.append(Note(pitch, note.beats, "", note.slurred))
    return Line(tuple(moved))
