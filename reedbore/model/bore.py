"""The bore as frozen, checked numbers: pieces, tone holes, and what stands at the open end.

In: settings as users write them (``Hole(diameter_mm=8)``) or SI (``Hole(diameter=0.008)``).
Out: models that hold SI floats. Every diameter is a whole one, and every position counts from the
reed end of the bore.
"""

from typing import Literal, Self

from pydantic import model_validator

from reedbore.errors import NoteError
from reedbore.model.settings import Part, mistake
from reedbore.model.units import QUANTITIES, format_edge, from_si
from reedbore.notes import parse_note


class BoreSection(Part):
    """One piece of bore, a cylinder or a cone: length and inner diameters."""

    section = "bore.sections"
    length: float
    entry: float
    exit: float


class Hole(Part):
    """A tone hole in the side of the bore; `open` is the share of its area that is open."""

    section = "bore.holes"
    position: float
    diameter: float
    chimney: float
    open: float = 0.0


class Vent(Part):
    """An octave vent: a hole that is there for the notes from `first` to `last` and no others."""

    section = "vents"
    first: str
    last: str
    hole: Hole

    @model_validator(mode="after")
    def _check_notes(self) -> Self:
        for key, note in (("first", self.first), ("last", self.last)):
            try:
                midi = parse_note(note)
            except NoteError as error:
                raise mistake(f"cannot be read: {error}", key) from None
            if midi != round(midi):
                raise mistake(f"is {note!r}; a vent opens for whole notes, without cents", key)
        if parse_note(self.first) > parse_note(self.last):
            raise mistake(f"is {self.last}; it must not lie below first, {self.first}", "last")
        return self

    @property
    def midi_range(self) -> tuple[int, int]:
        """The lowest and the highest note that it is for, as MIDI numbers."""
        return round(parse_note(self.first)), round(parse_note(self.last))


class Lattice(Part):
    """An endless row of equal open tone holes, in which the bore goes on beyond its length."""

    section = "bore.lattice"
    diameter: float
    chimney: float
    spacing: float


class Bore(Part):
    """The chain of pieces from the mouthpiece to the open end, its holes, and how much plays."""

    section = "bore"
    length: float | None = None
    sections: tuple[BoreSection, ...]
    holes: tuple[Hole, ...] = ()
    end: Literal["unflanged", "flanged", "lattice"] = "unflanged"
    lattice: Lattice | None = None
    vent_after: float = 0.0

    @model_validator(mode="after")
    def _check_chain(self) -> Self:
        if not self.sections:
            raise mistake("is empty; a bore has at least one section", "sections")
        if min(min(entry, far) for _, entry, far in self.chain()) <= 0.0:
            raise mistake(
                "is too long: the last section, extended at its taper, closes before", "length_mm"
            )
        return self

    @model_validator(mode="after")
    def _check_lattice(self) -> Self:
        if self.end == "lattice" and self.lattice is None:
            raise mistake("is missing; bore.end is 'lattice'", "lattice")
        if self.end != "lattice" and self.lattice is not None:
            raise mistake(f"is {self.end!r}; with bore.lattice it must be 'lattice'", "end")
        return self

    @model_validator(mode="after")
    def _check_holes(self) -> Self:
        ends_at = sum(length for length, _, _ in self.chain())
        before = 0.0
        for number, hole in enumerate(self.holes, 1):
            position, diameter = f"holes.{number}.position_mm", f"holes.{number}.diameter_mm"
            if hole.position <= before:
                says = f"holes rise from the reed, and hole {number - 1} is at {_in_mm(before)}"
                raise mistake(f"is {_in_mm(hole.position)}; {says}", position)
            if hole.position >= ends_at:
                says = f"the bore plays to {_in_mm(ends_at)}"
                raise mistake(f"is {_in_mm(hole.position)}; {says}", position)
            there = self.diameter_at(hole.position)
            if hole.diameter > there:
                says = f"the bore is {_in_mm(there)} wide there"
                raise mistake(f"is {_in_mm(hole.diameter)}; {says}", diameter)
            before = hole.position
        return self

    def chain(self) -> tuple[tuple[float, float, float], ...]:
        """List the pieces that play: the chain cut, or its last piece extended, to `length`.

        Returns
        -------
        tuple of (length, entry_radius, exit_radius)
            From the reed to the open end. [m]
        """
        whole = sum(section.length for section in self.sections)
        rest = whole if self.length is None else self.length
        pieces = []
        for number, section in enumerate(self.sections, 1):
            last = number == len(self.sections) or section.length >= rest
            length = rest if last and self.length is not None else section.length
            widened = (section.exit - section.entry) * (length / section.length)
            pieces.append((length, section.entry / 2.0, (section.entry + widened) / 2.0))
            if last:
                break
            rest -= section.length
        return tuple(pieces)

    def diameter_at(self, position: float) -> float:
        """Look up how wide the bore is.

        Parameters
        ----------
        position : float
            Distance from the reed end of the bore; beyond the open end the bore keeps the
            width that it has there. [m]

        Returns
        -------
        float
            Inner diameter; the narrower one at a step between two pieces. [m]
        """
        rest, pieces = position, self.chain()
        for number, (length, entry, far) in enumerate(pieces):
            if rest < length:
                return 2.0 * (entry + (far - entry) * (rest / length))
            rest -= length
            if rest == 0.0 and number + 1 < len(pieces):
                return 2.0 * min(far, pieces[number + 1][1])
        return 2.0 * pieces[-1][2]


def _in_mm(length: float) -> str:
    """Write a length as the settings of the bore are written."""
    quantity = QUANTITIES["bore.length_mm"]
    return format_edge(quantity, from_si(quantity, length))
