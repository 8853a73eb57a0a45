"""What the commands share: who plays what (`Player`, `Pair`), and where their words go.

Results go to stdout (`say`, `say_json`), all other messages to stderr (`tell`).
"""

import io
import json
import re
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Annotated, Any, Self, get_origin

from cyclopts import Parameter, Token

from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)
Signed = Parameter(allow_leading_hyphen=True)
Several = Parameter(negative="", show_default=False, allow_leading_hyphen=True)
Flat = Parameter(name="*")  # the fields of a class as options


def _whole(kind: Any, tokens: Sequence[Token]) -> Any:
    """Read whole numbers; 3.5 is none, though the framework would round it."""
    found = [int(token.value) for token in tokens]
    return tuple(found) if get_origin(kind) is tuple else found[0]


Whole = Parameter(negative="", allow_leading_hyphen=True, converter=_whole, show_default=bool)


@dataclass(frozen=True, kw_only=True)
class Player:
    """Who plays which note, and how.

    Attributes
    ----------
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz. [default: that of the demo, Bb2; of a plan all]
    fingering
        Name of another fingering for that note, such as fork; presets show HORN lists them.
    voice
        Voice, by name or as a preset file: its range, the shape of its pulse, and depth.
        [default: low-male]
    depth
        How strongly it is sung: peak of the sung over the blowing pressure, 0 to 1. Soft hum up to
        0.075, normal to 0.15, strong to 0.3, exaggerated above.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp, p, mp, mf, f, ff, in which breath and lip go
        together and the lip holds the note. [default: that of the horn, between f and ff]
    set
        A setting as FIELD=VALUE, such as reed.opening_mm=1.2; may be given several times.
    a4
        Frequency of A4, 380 to 500 Hz.
    written
        Take what is fingered as written for the horn; in a passage it is told so beside what
        sounds.
    """

    horn: str | None = None
    fingered: str | None = None
    fingering: Annotated[str, Parameter(show_default=False)] = ""
    voice: str | None = None
    depth: Annotated[float | None, Signed] = None
    breath: Annotated[str | None, Signed] = None
    set: Annotated[tuple[str, ...], Flag] = ()
    a4: Annotated[float, Signed] = A4_HZ
    written: Annotated[bool, Flag] = False

    def words(self) -> dict[str, Any]:
        """Return what `Words` of a request is made of."""
        typed = {field.name: getattr(self, field.name) for field in fields(self)}
        return {"settings": typed.pop("set"), **typed}


@dataclass(frozen=True, kw_only=True)
class Pair(Player):
    """The same, and what is sung.

    Attributes
    ----------
    sung
        Sung note: as the fingered one, or from it: +7st, -5st, +702c, or the ratio 5/3, 5/3-4c;
        w:E5 is written for the horn. Of a single take or a
        passage also a recorded voice: WAV, FLAC, OGG or MP3.
    """

    sung: Annotated[str | None, Signed] = None


ALONE, DEMO = Player(), Pair()  # with nothing typed


# What moves the cursor, colours, or turns the direction of writing: a file may hold any of it.
_ACTS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def _harmless(text: str) -> str:
    """Write out what a terminal would act on; in JSON it stays what it is."""
    return _ACTS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def prepare_streams() -> None:
    """Let every letter pass, written out where a terminal cannot show it."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def say(text: str) -> None:
    """Print a result."""
    sys.stdout.write(f"{_harmless(text)}\n")


def say_json(document: Mapping[str, Any]) -> None:
    """Print a result as one JSON document, numbers that are not finite refused."""
    ascii_only = "utf" not in (getattr(sys.stdout, "encoding", None) or "utf").lower()
    text = json.dumps(document, ensure_ascii=ascii_only, allow_nan=False, indent=2)
    sys.stdout.write(f"{_harmless(text)}\n")


def tell(message: str) -> None:
    """Tell the user something that is not the result."""
    sys.stderr.write(f"{_harmless(message)}\n")


QUIET_S = 1.0  # nothing is said about work that takes less


class Progress:
    """Names the work in hand on stderr, once it has taken longer than a second."""

    def __init__(self) -> None:
        self._timer = threading.Timer(QUIET_S, self._wake)
        self._timer.daemon = True
        self._lock = threading.Lock()
        self._stage, self._awake = "", False
        self._work, self._tenths = "", 0

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()

    def stage(self, name: str) -> None:
        """Say what is being done now."""
        self._work, self._tenths = name, 0
        self._tell(name)

    def share(self, done: float) -> None:
        """Say how much of it is done, whenever another tenth is. [0 to 1]."""
        tenths = int(10.0 * done)
        if self._tenths < tenths < 10:
            self._tenths = tenths
            self._tell(f"{self._work}, {10 * tenths} % done")

    def _tell(self, name: str) -> None:
        with self._lock:
            self._stage = name
            if self._awake:
                tell(f"{name} ...")

    def _wake(self) -> None:
        with self._lock:
            self._awake = True
            tell(f"{self._stage} ...")
