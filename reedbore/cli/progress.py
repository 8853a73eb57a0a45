"""Long work named on stderr while it goes on; nothing is said about short work."""

import threading
from typing import Self

from reedbore.cli.common import tell

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
