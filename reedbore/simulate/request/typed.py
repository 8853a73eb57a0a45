"""What was asked for, as a sidecar keeps it under ``request``: words as typed, and names.

In: words, or the ``request`` of a sidecar that anybody may have written. Out: a frozen record, and
the same as plain data. What a version of reedbore does not know is left out, and what it misses is
as if nothing had been typed.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import AfterValidator, AliasChoices, BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError

from reedbore.errors import ReedboreError
from reedbore.notes import A4_HZ, A4_RANGE_HZ, PITCH_RANGE_HZ

UNFIT = re.compile(r"[^\w#+.-]")


def _fit_stem(stem: str) -> str:
    """Refuse what would name a file in another folder, or in none."""
    if not stem or UNFIT.search(stem):
        raise PydanticCustomError("stem", "names files: letters, digits and # + . - _ only")
    return stem


Stem = Annotated[str, AfterValidator(_fit_stem)]
A4 = Annotated[float, Field(ge=A4_RANGE_HZ[0], le=A4_RANGE_HZ[1])]
Hz = Annotated[float, Field(ge=PITCH_RANGE_HZ[0], le=PITCH_RANGE_HZ[1])]
Words = Annotated[tuple[str, ...], Field(strict=False)]


class _Kept(BaseModel):
    """A record that a sidecar keeps; the order of its fields is that of the file."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore")

    @classmethod
    def read(cls, plain: Mapping[str, Any], path: Path, what: str) -> Self:
        """Take up the ``request`` of a sidecar.

        Parameters
        ----------
        plain : mapping
            What stands there.
        path : Path
            From where, for the error.
        what : str
            What the sidecar should be of, for the error.

        Returns
        -------
        Self
            The record.

        Raises
        ------
        ReedboreError
            If it is not whole, or a value is not what it should be.
        """
        try:
            return cls.model_validate(dict(plain))
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            place = ".".join(map(str, ("request", *first["loc"])))
            wrong = "is missing"
            if first["type"] != "missing":
                wrong = f"is {first['input']!r:.60} ({first['msg']})"
            raise ReedboreError(f"{path} is no sidecar of {what}: {place} {wrong}") from error

    def document(self) -> dict[str, Any]:
        """Return the record as plain data, fit for JSON."""
        return self.model_dump(mode="json", by_alias=True)


class Typed(_Kept):
    """What was asked for as a take.

    Attributes
    ----------
    horn, voice, fingered, sung, breath, fingering, settings, written
        As typed, or as taken from the demo.
    a4_hz, fingered_hz : float
        Frequency of A4 and of the fingered note. [Hz]
    title : str
        Horn, fingered and sung note.
    stem : str
        What its files are called; never a path.
    """

    horn: str = ""
    fingered: str | None = None
    sung: str | None = None
    voice: str | None = None
    breath: str | None = None
    fingering: str = ""
    settings: Words = ()
    written: bool = False
    a4_hz: A4
    fingered_hz: Hz
    title: str
    stem: Stem


class TypedCell(_Kept):
    """What was asked for as a cell of a sweep.

    Attributes
    ----------
    store : str
        The data set.
    cell : dict
        What the sweep found there.
    at : tuple of str
        Which cell, ``FIELD=VALUE`` for each axis.
    horn, fingered, fingering, a4_hz, fingered_hz, title, stem
        As for `Typed`.
    """

    store: str = Field(validation_alias=AliasChoices("from", "store"), serialization_alias="from")
    cell: dict[str, Any]
    horn: str = ""
    fingered: str | None = None
    fingering: str = ""
    at: Words = ()
    a4_hz: A4
    fingered_hz: Hz
    title: str
    stem: Stem


class TypedPassage(_Kept):
    """What was asked for as a passage.

    Attributes
    ----------
    passage, fingered, sung, breath, depth, tempo, fingering, written, horn, voice, settings
        As typed, or as taken from the piece.
    a4_hz : float
        Frequency of A4. [Hz]
    music : str
        Title of the music, without the horn.
    title, stem : str
        As for `Typed`.
    """

    passage: str | None = None
    fingered: str | None = None
    sung: str | None = None
    breath: str | None = None
    depth: float | None = None
    tempo: float | None = None
    fingering: str = ""
    written: bool = False
    horn: str
    voice: str
    settings: Words = ()
    a4_hz: A4 = A4_HZ
    music: str
    title: str
    stem: Stem
