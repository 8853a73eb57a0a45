"""What can be rendered: horn, player and voice as frozen, checked numbers.

In: settings as users write them (``Reed(opening_mm=1.1)``) or SI (``Reed(opening=0.0011)``).
Out: models that hold SI floats under the name of the setting without its unit.

A model is never changed: a change makes a copy. ``to_plain`` writes a model down in users' units
and ``from_plain`` reads it back bit for bit, through JSON too (see `settings`).
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from reedbore.errors import ModelError, NoteError
from reedbore.notes import parse_note
from reedbore.settings import Part, inner_model, leaves, mistake, nearest, unknown
from reedbore.units import QUANTITIES, settle

Value = float | str | None

MOST_TRANSPOSITION = 36
SOURCED = {
    *QUANTITIES,
    *("low_note", "high_note", "transposition", "clef", "bore.end", "reed.dynamics"),
}


class Air(Part):
    """The air in the horn."""

    section = "air"
    temperature: float = settle(QUANTITIES["air.temperature_c"], 300.15)


class BoreSection(Part):
    """One piece of bore, a cylinder or a cone: length and inner diameters."""

    section = "bore.sections"
    length: float
    entry: float
    exit: float


class Bore(Part):
    """The chain of pieces from the mouthpiece to the open end, and how much of it plays."""

    section = "bore"
    length: float | None = None
    sections: tuple[BoreSection, ...]
    end: Literal["unflanged", "flanged"] = "unflanged"

    @model_validator(mode="after")
    def _check_chain(self) -> Self:
        if not self.sections:
            raise mistake("is empty; a bore has at least one section", "sections")
        if min(min(entry, far) for _, entry, far in self.chain()) <= 0.0:
            raise mistake(
                "is too long: the last section, extended at its taper, closes before", "length_mm"
            )
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


class Mouthpiece(Part):
    """The air in front of the bore that the chain of pieces leaves out."""

    section = "mouthpiece"
    volume: float = 0.0


class Reed(Part):
    """The reed as the lip holds it on the lay."""

    section = "reed"
    opening: float
    width: float
    stiffness: float
    frequency: float
    damping: float
    area: float = 0.0
    contact: float = 100.0
    dynamics: Literal["mass", "massless"] = "mass"


class Breath(Part):
    """The steady part of the pressure in the mouth."""

    section = "breath"
    pressure: float
    rise: float = settle(QUANTITIES["breath.rise_ms"], 0.05)


class Voice(Part):
    """The sung part of the pressure in the mouth."""

    section = "voice"
    source: Literal["pulse", "sine", "recording", "off"] = "pulse"
    frequency: float = 220.0
    depth: float = 0.1
    rd: float = 1.0
    fade: float = settle(QUANTITIES["voice.fade_ms"], 0.2)
    file: Path | None = None

    @model_validator(mode="after")
    def _check_file(self) -> Self:
        if self.source == "recording" and self.file is None:
            raise mistake("is missing; voice.source is 'recording'", "file")
        return self


class Time(Part):
    """How finely the simulation steps."""

    section = "time"
    rate: float = 96000.0


class Setup(Part):
    """One thing that can be rendered: horn, player and voice, nothing but numbers."""

    air: Air = Air()
    bore: Bore
    mouthpiece: Mouthpiece = Mouthpiece()
    reed: Reed
    breath: Breath
    voice: Voice = Voice()
    time: Time = Time()

    def value(self, name: str) -> Value:
        """Read a setting in the unit that users write.

        Parameters
        ----------
        name : str
            For example ``reed.opening_mm`` or ``bore.sections.1.entry_mm``.

        Returns
        -------
        float or str or None
            Its value; None if it is not set.

        Raises
        ------
        ModelError
            If there is no such setting; the text says which was meant.
        """
        part, attribute = self._find(name)
        value: Value = part.plain(attribute)
        return value

    def with_value(self, name: str, value: Value) -> "Setup":
        """Copy the setup with one setting changed.

        Parameters
        ----------
        name : str
            As for `value`.
        value : float or str or None
            The new value, in the unit that users write.

        Returns
        -------
        Setup
            The copy.

        Raises
        ------
        ModelError
            If there is no such setting or the value is not allowed.
        """
        part, attribute = self._find(name)
        changed = _changed(part, part.key(attribute), value)
        head, *rest = name.split(".")
        if isinstance(changed, BoreSection):
            pieces = list(self.bore.sections)
            pieces[int(rest[1]) - 1] = changed
            changed = _changed(self.bore, "sections", tuple(pieces))
        return self.model_copy(update={head: changed})

    def _find(self, name: str) -> tuple[Part, str]:
        """Find the part that holds a setting, and the attribute there."""
        *place, key = name.split(".")
        part = self._part(place)
        attributes = {part.key(found): found for found in type(part).model_fields} if part else {}
        inner = part and key in attributes and inner_model(type(part), attributes[key])
        if part is None or inner:
            near = nearest(name, self.names())
            hint = f"did you mean {near}?" if near else "a setting is called like reed.opening_mm"
            raise ModelError(f"{name} is no setting; {hint}")
        if key in attributes:
            return part, attributes[key]
        raise ModelError(unknown(key, "", tuple(place), type(part)).sentence)

    def _part(self, place: list[str]) -> Part | None:
        """Follow a name up to its last dot; None if that leads nowhere."""
        here: Any = self
        for step in place:
            if isinstance(here, Part):
                here = getattr(here, step) if step in type(here).model_fields else None
            elif isinstance(here, tuple) and step in map(str, range(1, len(here) + 1)):
                here = here[int(step) - 1]
            else:
                return None
        return here if isinstance(here, Part) and here is not self else None

    def names(self) -> Iterator[str]:
        """List all settings, as ``reed.opening_mm``, in the order of the air's way.

        Yields
        ------
        str
            A name that `value` and `with_value` take.
        """
        yield from (name for name, _ in leaves(self.to_plain()))


def _changed(part: Part, key: str, value: Any) -> Part:
    """Copy a part with the setting of one key changed, everything in it checked again."""
    attributes = {part.key(name): name for name in type(part).model_fields}
    values = {name: getattr(part, name) for name in attributes.values() if name != attributes[key]}
    return type(part)(**values, **{key: value})


def _check_source(name: str) -> str:
    if name in SOURCED:
        return name
    near = nearest(name, SOURCED)
    raise mistake(f"is no setting; did you mean sources.{near}?" if near else "is no setting")


class Preset(Part):
    """What a horn and a voice have in common: names, range and sources.

    `low_note` and `high_note` sound as written here; `sources` says, under the name of a setting,
    where its number comes from.
    """

    name: str
    title: str
    low_note: str
    high_note: str
    sources: dict[Annotated[str, AfterValidator(_check_source)], str] = Field(default_factory=dict)

    @field_validator("low_note", "high_note")
    @classmethod
    def _check_note(cls, value: str) -> str:
        try:
            midi = parse_note(value)
        except NoteError as error:
            raise mistake(f"cannot be read: {error}") from None
        if midi != round(midi):
            raise mistake(f"is {value!r}; a range ends on a whole note, without cents")
        return value

    @model_validator(mode="after")
    def _check_range(self) -> Self:
        low, high = self.midi_range
        if low >= high:
            raise mistake(f"is {self.high_note}; it must lie above {self.low_note}", "high_note")
        return self

    def __hash__(self) -> int:
        # The sources are a dict, which has no hash of its own; equal presets share their names.
        return hash((self.name, self.title))

    @property
    def midi_range(self) -> tuple[int, int]:
        """The lowest and the highest note as MIDI numbers."""
        return round(parse_note(self.low_note)), round(parse_note(self.high_note))


class Horn(Preset):
    """An instrument as a preset file describes it, with the player's default reed and breath.

    The range is the low register, as it sounds; `transposition` is written minus sounding pitch
    in semitones.
    """

    transposition: int
    clef: Literal["treble", "bass"]
    air: Air = Air()
    bore: Bore
    mouthpiece: Mouthpiece = Mouthpiece()
    reed: Reed
    breath: Breath

    @field_validator("transposition", mode="before")
    @classmethod
    def _check_transposition(cls, value: Any) -> Any:
        if type(value) is not int or abs(value) > MOST_TRANSPOSITION:
            most = MOST_TRANSPOSITION
            says = "whole semitones (written minus sounding pitch)"
            raise mistake(f"is {value!r}; allowed -{most} to {most} {says}")
        return value


class Singer(Preset):
    """A voice as a preset file describes it: its range and its usual pulse and depth."""

    voice: Voice = Voice()


def depth_name(depth: float) -> str:
    """Name a depth of the sung pressure, as it is said wherever a depth is set or shown.

    Parameters
    ----------
    depth : float
        Peak of the sung pressure over the blowing pressure.

    Returns
    -------
    str
        ``soft hum``, ``normal``, ``strong`` or ``exaggerated``.
    """
    for name, most in (("soft hum", 0.075), ("normal", 0.15), ("strong", 0.3)):
        if depth <= most:
            return name
    return "exaggerated"
