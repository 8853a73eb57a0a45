"""What an answer of the page is made of, and the takes that several answers share."""

import json
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.simulate import take
from reedbore.simulate.acoustics.numbers import waveguide_of
from reedbore.simulate.request.take import Request, Words, read_request, tune_request
from reedbore.simulate.tuning import WrongNote

LONGEST_S = 20.0
"""Of what a page may ask for. [s]"""

SHORTEST_S = 0.5
LONGEST_SHOWN = 100
"""Letters of what cannot be read."""

MOST_SECONDS = 20.0
"""Of takes are kept in memory, together, about 4 MB for each second. [s]"""


@dataclass(frozen=True)
class Answer:
    """A body, what kind it is, and headers that say more about it."""

    body: bytes
    kind: str
    headers: Mapping[str, str] = field(default_factory=dict)


def of_json(document: Mapping[str, Any]) -> Answer:
    """Answer with one JSON document; numbers that are not finite are refused."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    return Answer(text.encode(), "application/json")


def of_rows(rows: NDArray[np.float64], headers: Mapping[str, Any]) -> Answer:
    """Answer with rows of little-endian 32-bit floats; headers other than text become JSON."""
    told = {"x-cols": str(rows.shape[1])}
    told |= {
        name: value if isinstance(value, str) else json.dumps(value, separators=(",", ":"))
        for name, value in headers.items()
    }
    return Answer(rows.astype("<f4").tobytes(), "application/octet-stream", told)


def sentence(error: ReedboreError) -> str:
    """Say what is wrong without the dashes of the command line, in one line."""
    return plainly(str(error))


def plainly(text: str) -> str:
    """Write in one line what a command says, without the dashes of its options."""
    return re.sub(r"(?<!\S)--(?=[a-z])", "", "; ".join(text.splitlines()))


_SETTING = re.compile(r"(?:--set )?([a-z]+\.[a-z_][a-z0-9_.]*)")
_WORD = re.compile(r"(?:--)?(horn|fingered|fingering|sung|voice|breath|depth)\b")
_WORDS_OF = {"voice.depth": "depth", "breath.pressure_kpa": "breath", "voice.frequency_hz": "sung"}
_PRESET = re.compile(r"is no (horn|voice)\b")


def where(error: ReedboreError) -> str | None:
    """Name the word or the setting that is wrong, if the sentence is about one.

    Parameters
    ----------
    error : ReedboreError
        Whose sentence begins with what it is about, as all do; or that knows it as its `where`.

    Returns
    -------
    str or None
        ``fingered``, ``reed.opening_mm``.
    """
    text = str(error)
    if known := getattr(error, "where", None):
        return str(known)
    if found := _SETTING.match(text):
        return _WORDS_OF.get(found[1], found[1])
    if found := _WORD.match(text) or _PRESET.search(text):
        return found[1]
    return "fingered" if isinstance(error, WrongNote) else None


def number(name: str, value: object) -> float:
    """Read a number that the page sent, or refuse it by its name."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ReedboreError(f"{name} is {shown(value)}; it must be a number")
    try:
        return float(value)
    except OverflowError:
        raise ReedboreError(f"{name} is {shown(value)}; it is too large") from None


def shown(value: object) -> str:
    """Write what the page sent as Python does, cut short if it is long."""
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def seconds_of(body: Mapping[str, Any], usual: float) -> float:
    """Read how long a take is to be, in seconds.

    Parameters
    ----------
    body : mapping
        What the page sent.
    usual : float
        If it says nothing. [s]

    Returns
    -------
    float
        [s]

    Raises
    ------
    ReedboreError
        If it is no number, or out of range.
    """
    seconds = number("seconds", body.get("seconds", usual))
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise ReedboreError(
            f"seconds is {seconds:g} s; allowed {SHORTEST_S:g} to {LONGEST_S:g} s (length of "
            "a take)"
        )
    return seconds


class Shared:
    """Results that several answers need at about the same time: each is made once.

    Nothing in here changes what is answered, only how fast: the page's own words say all.

    Parameters
    ----------
    most : float
        How much is kept; the newest always is.
    weigh : callable, optional
        Tells how much a result is; by default 1.
    """

    def __init__(self, most: float, weigh: Callable[[Any], float] = lambda _: 1.0) -> None:
        self._most, self._weigh = most, weigh
        self._guard = threading.Lock()
        self._locks: dict[Any, threading.Lock] = {}
        self._found: OrderedDict[Any, Any] = OrderedDict()

    def get(self, key: Any, make: Callable[[], Any]) -> Any:
        """Return what belongs to a key, made now if it is not there.

        Parameters
        ----------
        key : hashable
            All that the result depends on.
        make : callable
            Makes it; what it raises is raised here, and nothing is kept.

        Returns
        -------
        object
            The result.
        """
        with self._guard:
            lock = self._locks.setdefault(key, threading.Lock())
        with lock:
            with self._guard:
                if key in self._found:
                    self._found.move_to_end(key)
                    return self._found[key]
            try:
                made = make()
            except BaseException:
                with self._guard:
                    self._locks.pop(key, None)
                raise
            with self._guard:
                self._found[key] = made
                while len(self._found) > 1 and self._weight() > self._most:
                    old, _ = self._found.popitem(last=False)
                    self._locks.pop(old, None)
            return made

    def _weight(self) -> float:
        return sum(map(self._weigh, self._found.values()))


MOST_REQUESTS = 64

_takes = Shared(MOST_SECONDS, lambda made: made[1].seconds)


_requests = Shared(MOST_REQUESTS)


def request_of(words: Words) -> Request:
    """Turn words into a setup whose bore plays the fingered note, and has been fitted.

    Sound and picture of a note that is new ask at about the same time: it is solved once.
    """

    def make() -> Request:
        request = tune_request(read_request(words))
        waveguide_of(request.setup)
        return request

    found: Request = _requests.get(words, make)
    return found


def take_of(words: Words, seconds: float) -> tuple[Request, take.Take]:
    """Render words, or take up what was rendered a moment ago.

    Parameters
    ----------
    words : Words
        From `request.read_words`.
    seconds : float
        How long. [s]

    Returns
    -------
    request : Request
        Tuned.
    take : Take
        Shared: not to be changed.
    """

    def make() -> tuple[Request, take.Take]:
        request = request_of(words)
        return request, take.render(request.setup, seconds)

    found: tuple[Request, take.Take] = _takes.get((words, seconds), make)
    return found
