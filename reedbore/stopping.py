"""A way to stop long work politely: from the page, when the browser has gone or the program ends.

Whoever starts work in a thread sets `wanted` there to an event; loops that may run long call
`check` between steps. Without an event nothing happens.
"""

from contextvars import ContextVar
from threading import Event

wanted: ContextVar[Event | None] = ContextVar("wanted", default=None)
"""Set to an event by whoever may want to stop the work."""


class Stopped(Exception):
    """Nobody wants the result any longer."""


def check() -> None:
    """Raise `Stopped` if nobody wants the result any longer."""
    event = wanted.get()
    if event is not None and event.is_set():
        raise Stopped
