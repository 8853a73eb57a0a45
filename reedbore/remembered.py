"""Results that are kept in memory, and that another process can hand over.

A process beside others makes what they will need (`recording`), and sends it; they `hand_over` to
whoever would have made it.
"""

import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Generic, NamedTuple, TypeVar

R = TypeVar("R")

_known: dict[str, "Remembered[Any]"] = {}
_made = threading.local()


class Made(NamedTuple):
    """A result, what it was asked, and the name of the function."""

    name: str
    asked: tuple[Any, ...]
    result: Any


class Remembered(Generic[R]):
    """A function that keeps its last results.

    Parameters
    ----------
    function : callable
        Of what can be hashed, by place.
    most : int
        How many results are kept.
    """

    def __init__(self, function: Callable[..., R], most: int) -> None:
        self.name = f"{function.__module__}.{function.__qualname__}"
        self._function, self._most = function, most
        self._results = OrderedDict[tuple[Any, ...], R]()
        self._lock = threading.Lock()
        self.cache_clear = self._results.clear
        functools.update_wrapper(self, function)
        _known[self.name] = self

    def __call__(self, *asked: Any) -> R:
        """Return the result: as it is kept, or made now."""
        with self._lock:
            if asked in self._results:
                self._results.move_to_end(asked)
                return self._results[asked]
        result = self._function(*asked)
        self.give(asked, result)
        made: list[Made] | None = getattr(_made, "here", None)
        if made is not None:
            made.append(Made(self.name, asked, result))
        return result

    def knows(self, *asked: Any) -> bool:
        """Say whether a result is kept."""
        return asked in self._results

    def give(self, asked: tuple[Any, ...], result: R) -> None:
        """Keep a result, unless there is one."""
        with self._lock:
            self._results.setdefault(asked, result)
            self._results.move_to_end(asked)
            if len(self._results) > self._most:
                self._results.popitem(last=False)


def remembered(most: int) -> Callable[[Callable[..., R]], Remembered[R]]:
    """Make a function keep its last results, so many of them."""
    return lambda function: Remembered(function, most)


@contextmanager
def recording() -> Iterator[list[Made]]:
    """List what remembered functions make in this thread meanwhile, and did not know before."""
    made: list[Made] = []
    _made.here = made
    try:
        yield made
    finally:
        _made.here = None


def hand_over(made: list[Made]) -> None:
    """Give results to the functions that would have made them."""
    for one in made:
        if one.name in _known:
            _known[one.name].give(one.asked, one.result)
