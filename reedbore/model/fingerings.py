"""Fingerings as text: which holes of a horn a note leaves open.

In: a note with or without a name, ``Bb3 fork``, and open holes counted from the reed, ``7 9-20``.
Out: the note as a MIDI number, and the holes as numbers; nothing here knows a horn.
"""

import re

from reedbore.errors import NoteError
from reedbore.notes import parse_note


def read_label(text: str) -> tuple[int, str]:
    """Read what a fingering is for.

    Parameters
    ----------
    text : str
        A sounding note, and the name of the fingering where it is not the plain one.

    Returns
    -------
    midi : int
        The note.
    name : str
        "" for the plain fingering.

    Raises
    ------
    NoteError
        If the note cannot be read or has cents.
    """
    note, *name = text.split() or [""]
    midi = parse_note(note)
    if midi != round(midi):
        raise NoteError(f"{note!r} has cents; a fingering is for a whole note")
    return round(midi), " ".join(name)


def read_holes(text: str) -> tuple[int, ...]:
    """Read which holes are open.

    Parameters
    ----------
    text : str
        Numbers counted from the reed and ranges of them, parted by blanks, as in ``7 9-20``;
        empty if all holes are closed.

    Returns
    -------
    tuple of int
        Their numbers, rising, the first hole being 1.

    Raises
    ------
    NoteError
        If a word cannot be read, a range falls, or a hole is named twice.
    """
    found: list[int] = []
    for word in text.split():
        numbers = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", word)
        if numbers is None:
            raise NoteError(f"{word!r} is no hole; write open holes as 7 9-20")
        first, last = int(numbers[1]), int(numbers[2] or numbers[1])
        if not 1 <= first <= last:
            raise NoteError(f"{word!r} is no range of holes; they count up from 1, as in 9-20")
        found += range(first, last + 1)
    twice = next((number for number in found if found.count(number) > 1), None)
    if twice is not None:
        raise NoteError(f"hole {twice} is named twice")
    return tuple(sorted(found))
