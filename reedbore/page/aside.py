"""A process beside the server that works at a low priority.

A thread of the server would hold Python's lock meanwhile, also while it waits for a core: whoever
listens for the next sound would wait for it. Where the system has no priorities it is a process
like any other.
"""

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection

from reedbore.errors import ReedboreError
from reedbore.remembered import Made, recording

LOWER = 19
"""By how much, which is as far as it goes."""

FAILS = ReedboreError, ArithmeticError, LookupError, ValueError
"""What work may end with here without a word: who asks for it in earnest is told."""


class Aside:
    """One such process, begun when there is something to do."""

    def __init__(self) -> None:
        self._process: multiprocessing.process.BaseProcess | None = None
        self._ours: Connection | None = None

    def do(self, work: Callable[[], object]) -> list[Made]:
        """Have something done, and wait for it.

        Parameters
        ----------
        work : callable
            What can be sent to another process.

        Returns
        -------
        list of Made
            What remembered functions made there; nothing if the process was ended meanwhile.
        """
        ours = self._ours or self._begin()
        try:
            ours.send(work)
            made: list[Made] = ours.recv()
        except (OSError, EOFError):
            self.end()
            return []
        return made

    def end(self) -> None:
        """End the process at once; from any thread, and what it does is lost."""
        process, self._process, self._ours = self._process, None, None
        if process is not None:
            process.terminate()

    def _begin(self) -> Connection:
        spawn = multiprocessing.get_context("spawn")  # a fork would take the server's locks along
        ours, theirs = spawn.Pipe()
        self._ours = ours
        self._process = spawn.Process(target=_listen, args=(theirs,), daemon=True, name="aside")
        self._process.start()
        theirs.close()  # else nobody would tell that the process has ended
        return ours


def _listen(asked: Connection) -> None:
    """Do what comes, until nobody is there to ask."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the server, which ends this
    with contextlib.suppress(AttributeError, OSError):  # a system without priorities
        os.nice(LOWER)
    with contextlib.suppress(EOFError, OSError):
        while True:
            work = asked.recv()
            with recording() as made, contextlib.suppress(*FAILS):
                work()
            asked.send(made)
