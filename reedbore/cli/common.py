"""What the commands share: where their words go.

Results go to stdout (`say`, `say_json`), all other messages to stderr (`tell`).
"""

import json
import sys
import threading
from collections.abc import Mapping
from typing import Any, Self


def say(text: str) -> None:
    """Print a result."""
    sys.stdout.write(f"{text}\n")


def say_json(document: Mapping[str, Any]) -> None:
    """Print a result as one JSON document, numbers that are not finite refused."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n")


def tell(message: str) -> None:
    """Tell the user something that is not the result."""
    sys.stderr.write(f"{message}\n")


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
