"""What can be rendered: horn, player and voice as frozen, checked numbers.

In: settings as users write them (``Reed(opening_mm=1.1)``) or SI (``Reed(opening=0.0011)``).
Out: models that hold SI floats under the name of the setting without its unit.

A model is never changed: a change makes a copy. ``to_plain`` writes a model down in users' units
and ``from_plain`` reads it back bit for bit, through JSON too (see `settings`).
"""

from collections.abc import Callable, Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from reedbore.errors import ModelError, NoteError
from reedbore.model.bore import Bore, Hole, Vent
from reedbore.model.fingerings import read_holes, read_label
from reedbore.model.reed import Reed
from reedbore.model.settings import Part, inner_model, leaves, mistake, nearest, unknown
from reedbore.model.units import QUANTITIES, settle
from reedbore.model.voice import Tract, Voice
from reedbore.notes import midi_name, midi_to_hz, parse_note

Value = float | str | None

MOST_TRANSPOSITION = 36
SOURCED = {
    *QUANTITIES,
    *("low_note", "high_note", "transposition", "clef", "bore.end", "reed.dynamics", "fingerings"),
    "vents",
    "voice.vowel",
}


class Air(Part):
    """The air in the horn."""

    section = "air"
    temperature: float = settle(QUANTITIES["air.temperature_c"], 300.15)


class Mouthpiece(Part):
    """The air in front of the bore that the chain of pieces leaves out."""

    section = "mouthpiece"
    volume: float = 0.0


class Breath(Part):
    """The steady part of the pressure in the mouth; at a dynamic it goes `with_tip`.

    There the `lip` may hold the note. A player is never still: `air` is the noise of the jet at
    the reed over its flow, `sway` and `lip_sway` slow movement of breath and lip, all rms. Who
    hears the pitch lets it move by `pitch_sway_cents`, whatever breath and lip do. Where the
    `tongue` takes some time to let the reed go, it is blown before.
    """

    section = "breath"
    pressure: float
    rise: float = settle(QUANTITIES["breath.rise_ms"], 0.05)
    loudest: float = 1.0
    with_tip: float = 1.0
    lip: Literal["follows", "still"] = "follows"
    air: float = 0.0
    sway: float = 0.0
    lip_sway: float = 0.0
    pitch_sway_cents: float | None = None
    seed: int = 0
    tongue: float = 0.0

    @property
    def moves(self) -> bool:
        """Whether a take of it is never quite still."""
        return max(self.air, self.sway, self.lip_sway, self.pitch_sway_cents or 0.0) > 0.0

    def held_still(self) -> "Breath":
        """Return the same breath without noise and sway; its start stays as it is."""
        still = {"air": 0.0, "sway": 0.0, "lip_sway": 0.0, "pitch_sway_cents": None}
        return self.model_copy(update=still)

    def settled(self) -> "Breath":
        """Return the same breath without all that a player adds: its settled tone is the same."""
        return self.held_still().model_copy(update={"seed": 0, "tongue": 0.0})


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
    tract: Tract = Tract()
    time: Time = Time()

    def value(self, name: str) -> Value:
        """Read a setting in the unit that users write.

        Parameters
        ----------
        name : str
            For example ``reed.opening_mm`` or ``bore.holes.1.open``.

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
        head, *below, _ = name.split(".")
        changed = _changed(part, part.key(attribute), value)
        return self.model_copy(update={head: _replaced(getattr(self, head), below, changed)})

    def _find(self, name: str) -> tuple[Part, str]:
        """Find the part that holds a setting, and the attribute there."""
        *place, key = name.split(".")
        part = self._part(place)
        key = part.renamed.get(key, key) if part else key
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


def _replaced(here: Any, steps: list[str], part: Part) -> Any:
    """Copy what stands at the first step with the part at the last one exchanged."""
    if not steps:
        return part
    step, *below = steps
    if isinstance(here, tuple):
        number = int(step)
        return (*here[: number - 1], _replaced(here[number - 1], below, part), *here[number:])
    return _changed(here, step, _replaced(getattr(here, step), below, part))


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


def _readable(read: Callable[[str], object]) -> AfterValidator:
    """Make the check that a text can be read, from the function that reads it."""

    def check(text: str) -> str:
        try:
            read(text)
        except NoteError as error:
            raise mistake(f"cannot be read: {error}") from None
        return text

    return AfterValidator(check)


class Horn(Preset):
    """An instrument as a preset file describes it, with the player's default reed and breath.

    The range is the low register, as it sounds; `transposition` is written minus sounding pitch
    in semitones. `fingerings` says, under a sounding note or a note and a name, which holes it
    leaves open; notes above the range are the upper register. A horn without tone holes has one
    by its `vents`, for whose notes the length of bore is found as for all others.
    """

    transposition: int
    clef: Literal["treble", "bass"]
    air: Air = Air()
    bore: Bore
    mouthpiece: Mouthpiece = Mouthpiece()
    reed: Reed
    breath: Breath
    vents: tuple[Vent, ...] = ()
    fingerings: dict[
        Annotated[str, _readable(read_label)], Annotated[str, _readable(read_holes)]
    ] = Field(default_factory=dict)

    @field_validator("transposition", mode="before")
    @classmethod
    def _check_transposition(cls, value: Any) -> Any:
        if type(value) is not int or abs(value) > MOST_TRANSPOSITION:
            most = MOST_TRANSPOSITION
            says = "whole semitones (written minus sounding pitch)"
            raise mistake(f"is {value!r}; allowed -{most} to {most} {says}")
        return value

    @model_validator(mode="after")
    def _check_fingerings(self) -> Self:
        most, (low, high) = len(self.bore.holes), self.midi_range
        if self.fingerings and not most:
            raise mistake("need holes; the bore has none", "fingerings")
        seen: dict[tuple[int, str], str] = {}
        for label, text in self.fingerings.items():
            key, where = read_label(label), f"fingerings.{label}"
            if key in seen:
                raise mistake(f"is the same as fingerings.{seen[key]}", where)
            if key[0] < low:
                raise mistake(f"lies below {self.low_note}, the low_note", where)
            if max(read_holes(text), default=0) > most:
                raise mistake(f"is {text!r}; the bore has holes 1 to {most}", where)
            seen[key] = label
        wanted = range(low, high + 1) if most else ()
        if lacking := [midi_name(midi) for midi in wanted if (midi, "") not in seen]:
            span = f"{self.low_note} to {self.high_note}"
            raise mistake(f"lack {', '.join(lacking)}; each note {span} needs one", "fingerings")
        return self

    @model_validator(mode="after")
    def _check_vents(self) -> Self:
        if self.vents and self.bore.holes:
            raise mistake("need a bore without tone holes; with them a vent is a hole", "vents")
        highest = self.midi_range[1]
        for number, vent in enumerate(self.vents, 1):
            first, last = vent.midi_range
            if first != highest + 1:
                says = f"it must be {midi_name(highest + 1)}, the next note above the others"
                raise mistake(f"is {vent.first}; {says}", f"vents.{number}.first")
            highest = last
        return self

    def vent(self, midi: int) -> Hole | None:
        """Look up the octave vent, open, that a note above the low register needs."""
        for vent in self.vents:
            first, last = vent.midi_range
            if first <= midi <= last:
                return vent.hole.model_copy(update={"open": 1.0})
        return None

    def fingering(self, midi: int, name: str = "") -> tuple[int, ...] | None:
        """Look up the open holes of a note.

        Parameters
        ----------
        midi : int
            The sounding note.
        name : str, optional
            Which of its fingerings; by default the plain one.

        Returns
        -------
        tuple of int or None
            Their numbers, rising, counted from 1 at the reed; None if there is no such fingering.
        """
        for label, text in self.fingerings.items():
            if read_label(label) == (midi, name):
                return read_holes(text)
        return None

    def fingering_names(self, midi: int) -> list[str]:
        """List the names of the fingerings of a note, the plain one ("") first."""
        return sorted(name for note, name in map(read_label, self.fingerings) if note == midi)

    def notes(self) -> list[int]:
        """List the notes that can be fingered plainly, as MIDI numbers, rising.

        Returns
        -------
        list of int
            The low register; where there are fingerings or vents, also what they reach above it.
        """
        low, high = self.midi_range
        if self.vents:
            high = self.vents[-1].midi_range[1]
        plain = [midi for midi, name in map(read_label, self.fingerings) if not name]
        return sorted(plain) or list(range(low, high + 1))


class Singer(Preset):
    """A voice as a preset file describes it: its range and its usual pulse and depth."""

    voice: Voice = Voice()

    def reach(self, a4: float) -> tuple[float, float]:
        """Return the lowest and the highest pitch that count as sung by this voice. [Hz]."""
        low, high = self.midi_range
        return midi_to_hz(low - 0.5, a4), midi_to_hz(high + 0.5, a4)


def strength_words(voice: Voice) -> str:
    """Say how strongly is sung, whatever the note: a depth, or a flow."""
    if voice.flows:
        return f"a flow of {1e6 * voice.flow * voice.effort:.3g} ml/s"
    return f"depth {voice.depth:.3g} ({depth_name(voice.depth)})"


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
