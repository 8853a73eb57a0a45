"""A passage: what is fingered and sung over time, how hard it is blown, how deep it is sung.

In: text under the keys of a preset file, or the same as keyword arguments. Out: a frozen
`Passage` that reads itself as lines, curves and seconds, and a `Piece` written as a preset file.

The text of a passage is the passage: nothing is lost or rounded when it is kept.

Curves
------
``mf@0 ff@8 pp@12`` is a curve: values at beats, counted from 0, and straight lines between them.
The first value may stand without its beat, 0; before the first and after the last beat a curve
stays where it is. Values of ``breath`` are dynamics, or shares of the dynamic range; of ``depth``,
plain numbers (`voice.depth`). Values of ``tempo_changes`` and ``meter`` do not move in straight
lines: each holds until the next.
"""

import json
import re
from bisect import bisect_right
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Any, NamedTuple, Self, TypeVar

from pydantic import ValidationInfo, field_validator

from reedbore.errors import NoteError
from reedbore.model.line import Line, read_beats, read_line, write_beats
from reedbore.model.settings import Part, mistake
from reedbore.model.units import QUANTITIES, complaint, from_si, to_si
from reedbore.model.voice import Drive

DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")
USUAL_METER = (4, 4)

_METER = re.compile(r"([1-9]\d?)/(1|2|4|8|16|32)")
_TEMPO, _DEPTH = QUANTITIES["passage.tempo_bpm"], QUANTITIES["voice.depth"]

V = TypeVar("V")


class Point(NamedTuple):
    """A value of a curve at a beat."""

    beat: float
    value: float


class Meter(NamedTuple):
    """A meter, such as 3/4, from a beat on."""

    beat: float
    number: int
    unit: int


class Tempo(NamedTuple):
    """A tempo from a beat on, and the second at which that beat comes."""

    beat: float
    hz: float
    second: float


def dynamic_share(name: str) -> float:
    """Place a dynamic in the range of breath of a horn.

    Parameters
    ----------
    name : str
        One of `DYNAMICS`.

    Returns
    -------
    float
        Share of the way from where the reed begins to sound, 0, to beyond ff, 1: the dynamics are
        six even steps inside it. What breath and lip make of it stands in `simulate.dynamics`.
    """
    return (DYNAMICS.index(name) + 1) / (len(DYNAMICS) + 1)


class Passage(Part):
    """What is fingered and sung, and how; concert pitch, a beat being a quarter note.

    Attributes
    ----------
    tempo : float
        Beats per second at the start. [Hz]
    tempo_changes : str
        Beats in a minute from a beat on, ``60@24``; "" if the tempo stays.
    meter : str
        Number and kind of notes in a bar, ``4/4 3/4@8``. It moves no note.
    fingered : str
        Line in the notation of `reedbore.model.line`.
    sung : str
        The same; "" if nobody sings from notes.
    breath : str
        Curve of dynamics, or shares of the dynamic range from 0 to 1; "" for the horn's own breath.
    depth : str
        Curve of the depth; "" for the usual one of the voice.
    """

    section = "passage"
    tempo: float
    tempo_changes: str = ""
    meter: str = "4/4"
    fingered: str
    sung: str = ""
    breath: str = ""
    depth: str = ""

    @field_validator("fingered", "sung", "breath", "depth", "tempo_changes", "meter")
    @classmethod
    def _check_text(cls, value: str, info: ValidationInfo) -> str:
        try:
            _READ[info.field_name or ""](value)
        except NoteError as error:
            raise mistake(f"cannot be read: {error}") from None
        return value

    @cached_property
    def fingered_line(self) -> Line:
        """The fingered notes."""
        return read_line(self.fingered)

    @cached_property
    def sung_line(self) -> Line:
        """The sung notes; none if nobody sings from notes."""
        return _read_sung(self.sung)

    @cached_property
    def breath_curve(self) -> tuple[Point, ...]:
        """Share of the dynamic range, at beats; none for the horn's own breath."""
        return read_breath(self.breath)

    @cached_property
    def depth_curve(self) -> tuple[Point, ...]:
        """Depth at beats; none for the usual depth of the voice."""
        return read_depth(self.depth)

    @cached_property
    def meters(self) -> tuple[Meter, ...]:
        """Every meter, the first at beat 0."""
        return _read_meters(self.meter)

    @cached_property
    def tempi(self) -> tuple[Tempo, ...]:
        """Every tempo, the first at beat 0."""
        found = [Tempo(0.0, self.tempo, 0.0)]
        for point in read_tempo_changes(self.tempo_changes):
            last = found[-1]
            second = last.second + (point.beat - last.beat) / last.hz
            found.append(Tempo(point.beat, point.value, second))
        return tuple(found)

    @cached_property
    def beats(self) -> float:
        """How many beats the longer line has."""
        return max(self.fingered_line.bounds[-1], self.sung_line.bounds[-1])

    @cached_property
    def seconds(self) -> float:
        """How many seconds the longer line lasts."""
        return self.seconds_at(self.beats)

    def changed(self, **fields: Any) -> Self:
        """Return the same with other fields; a plain copy would keep what was read of the old."""
        return type(self)(
            **{name: getattr(self, name) for name in type(self).model_fields} | fields
        )

    def seconds_at(self, beat: float) -> float:
        """Turn a beat into time.

        Parameters
        ----------
        beat : float
            Beats from the start, 0 or more.

        Returns
        -------
        float
            Time from the start. [s]
        """
        last = bisect_right(self.tempi, beat, key=lambda tempo: tempo.beat) - 1
        tempo = self.tempi[last]
        return tempo.second + (beat - tempo.beat) / tempo.hz


class Piece(Part):
    """A passage as a preset file describes it: the music, and who plays and sings it.

    `drive` is how the voice sounds, as `Voice.drive`; it goes with horn, voice and sung line.
    """

    name: str
    title: str
    horn: str
    voice: str
    drive: Drive = "pressure"
    passage: Passage


def write_piece(piece: Piece) -> str:
    """Write a passage as the text of a preset file.

    Parameters
    ----------
    piece : Piece
        The passage; its name is that of the file and does not stand in it.

    Returns
    -------
    str
        TOML; what `presets.load_piece` reads from it equals the piece bit for bit.
    """
    plain = piece.to_plain()
    passage = plain.pop("passage")
    plain.pop("name")
    lines = [f"{key} = {_value(value)}" for key, value in plain.items()]
    lines += ["", "[passage]", *(f"{key} = {_value(value)}" for key, value in passage.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    """Write a number or a text as TOML; text escapes as in JSON, and DEL as well."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)


def read_breath(text: str) -> tuple[Point, ...]:
    """Read a curve of dynamics or shares of the dynamic range; as `read_depth`."""
    return tuple(Point(*pair) for pair in _read_curve(text, _breath)) if text.strip() else ()


def write_breath(points: Iterable[Point]) -> str:
    """Write a curve of shares of the dynamic range, as dynamics where they are some."""
    names = {dynamic_share(name): name for name in DYNAMICS}
    return _write_curve((beat, names.get(share) or write_beats(share)) for beat, share in points)


def read_depth(text: str) -> tuple[Point, ...]:
    """Read a curve of depths.

    Parameters
    ----------
    text : str
        Values at beats.

    Returns
    -------
    tuple of Point
        The same; none if there is no text.

    Raises
    ------
    NoteError
        If a value or a beat cannot be read or is out of range, or the beats do not rise.
    """
    return tuple(Point(*pair) for pair in _read_curve(text, _depth)) if text.strip() else ()


def write_depth(points: Iterable[Point]) -> str:
    """Write a curve of depths so that `read_depth` reads exactly the same."""
    return _write_curve((beat, write_beats(depth)) for beat, depth in points)


def read_tempo_changes(text: str) -> tuple[Point, ...]:
    """Read from which beat on there are how many beats in a second; as `read_depth`."""
    pairs = _read_curve(text, _tempo) if text.strip() else []
    if pairs and pairs[0][0] == 0.0:
        raise NoteError("the tempo at beat 0 is tempo_bpm; changes come later")
    return tuple(Point(*pair) for pair in pairs)


def write_tempo_changes(points: Iterable[Point]) -> str:
    """Write changes of tempo so that `read_tempo_changes` reads exactly the same."""
    return _write_curve((beat, write_beats(from_si(_TEMPO, hz))) for beat, hz in points)


def write_meters(meters: Iterable[Meter]) -> str:
    """Write meters, each from a beat on, as `Passage.meter` has them."""
    return _write_curve((beat, f"{number}/{unit}") for beat, number, unit in meters)


def _read_sung(text: str) -> Line:
    if not text.strip():
        return Line()
    line = read_line(text)
    named = next((note for note in line.notes if note.fingering), None)
    if named:
        raise NoteError(f"{named.pitch}({named.fingering}): a sung note has no fingering")
    return line


def _read_meters(text: str) -> tuple[Meter, ...]:
    found = [Meter(beat, *meter) for beat, meter in _read_curve(text, _meter)]
    return (*([] if found[0].beat == 0.0 else [Meter(0.0, *USUAL_METER)]), *found)


def _read_curve(text: str, read: Callable[[str], V]) -> list[tuple[float, V]]:
    """Read ``value@beat`` words; the first may lack its beat, 0."""
    pairs: list[tuple[float, V]] = []
    for word in text.split():
        value, mark, place = word.rpartition("@")
        if not mark and not pairs:
            value, place = word, "0"
        beat = read_beats(place)
        if not value or beat is None:
            raise NoteError(f"{word!r} is no value at a beat; write value@beat, as in mf@0 ff@8")
        if pairs and beat <= pairs[-1][0]:
            raise NoteError(f"{word!r} does not come after beat {pairs[-1][0]:g}")
        pairs.append((beat, read(value)))
    if not pairs:
        raise NoteError("it has no values; write value@beat, as in mf@0 ff@8")
    return pairs


def _write_curve(pairs: Iterable[tuple[float, str]]) -> str:
    """Write ``value@beat`` words, without the beat if the first is at 0."""
    words = [f"{value}@{write_beats(beat)}" for beat, value in pairs]
    return " ".join([words[0].removesuffix("@0"), *words[1:]]) if words else ""


def _breath(text: str) -> float:
    if text in DYNAMICS:
        return dynamic_share(text)
    share = read_beats(text)
    if share is None or share > 1.0:
        raise NoteError(
            f"{text!r} is no breath; write a dynamic ({' '.join(DYNAMICS)}) or a share of the "
            "dynamic range from 0 to 1"
        )
    return share


def _depth(text: str) -> float:
    depth = read_beats(text)
    wrong = complaint(_DEPTH, text if depth is None else depth)
    if depth is None or wrong:
        raise NoteError(f"depth {wrong}")
    return depth


def _tempo(text: str) -> float:
    bpm = read_beats(text)
    wrong = complaint(_TEMPO, text if bpm is None else bpm)
    if bpm is None or wrong:
        raise NoteError(f"tempo {wrong}")
    return to_si(_TEMPO, bpm)


def _meter(text: str) -> tuple[int, int]:
    found = _METER.fullmatch(text)
    if not found:
        raise NoteError(f"{text!r} is no meter; write 4/4, 3/4@8 or 6/8")
    return int(found[1]), int(found[2])


_READ: dict[str, Callable[[str], object]] = {
    "fingered": read_line,
    "sung": _read_sung,
    "breath": read_breath,
    "depth": read_depth,
    "tempo_changes": read_tempo_changes,
    "meter": _read_meters,
}
