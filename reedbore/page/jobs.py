"""Work for the page: in threads, so that no tab waits for another, and so that it can be stopped.

In: something that blocks. Out: its result, unless the browser has gone or the program ends.
"""

import asyncio
import threading
from collections.abc import Callable
from typing import TypeVar

import anyio
import anyio.to_thread
from starlette.requests import Request

from reedbore import stopping

AT_ONCE, HEARD, QUICK, SLOW, LONG = 4, 2, 2, 2, 4
"""Pieces of work at the same time: arithmetic, sounds, what is seen, seconds, and minutes.

Each kind has places of its own, so that none waits for one that takes longer.
"""

T = TypeVar("T")


class Job:
    """One piece of work, perhaps for a sound; `unwanted` is set once nobody wants it any longer."""

    def __init__(self, heard: bool = False) -> None:
        self.unwanted = threading.Event()
        self.heard = heard
        self._loop = asyncio.get_running_loop()
        self._scope: anyio.CancelScope | None = None

    async def run(self, call: Callable[[], T], lanes: anyio.CapacityLimiter) -> T:
        """Do a job in a thread.

        Parameters
        ----------
        call : callable
            What blocks; it ends early where it calls `stopping.check`.
        lanes : CapacityLimiter
            How many jobs of its kind there may be.

        Returns
        -------
        object
            What the job returns.

        Raises
        ------
        Stopped
            If nobody wants it any longer.
        """
        if self.unwanted.is_set():
            raise stopping.Stopped
        token = stopping.wanted.set(self.unwanted)
        try:
            with anyio.CancelScope() as self._scope:
                return await anyio.to_thread.run_sync(call, limiter=lanes, abandon_on_cancel=True)
        finally:
            self._scope = None
            stopping.wanted.reset(token)
        raise stopping.Stopped

    async def watch(self, request: Request) -> None:
        """Stop the work once the browser has gone; a thread under way is waited for."""
        while (await request.receive())["type"] != "http.disconnect":
            pass
        self.unwanted.set()

    def abandon(self) -> None:
        """Stop the work and wait for nothing; from any thread."""
        self.unwanted.set()
        self._loop.call_soon_threadsafe(self._leave)

    def _leave(self) -> None:
        if self._scope is not None:
            self._scope.cancel()


class Jobs:
    """All work under way."""

    def __init__(self) -> None:
        limits = map(anyio.CapacityLimiter, (AT_ONCE, HEARD, QUICK, SLOW, LONG))
        self.at_once, self.heard, self.quick, self.slow, self.long = limits
        self._under_way: set[Job] = set()
        self._last: list[Callable[[], None]] = []
        self._ended = False

    @property
    def under_way(self) -> int:
        """How many pieces of work there are."""
        return len(self._under_way)

    @property
    def sounding(self) -> bool:
        """Whether a sound is asked for."""
        return any(job.heard for job in list(self._under_way))

    def begin(self, heard: bool = False) -> Job:
        """Return a new piece of work."""
        job = Job(heard)
        self._under_way.add(job)
        if self._ended:
            job.unwanted.set()
        return job

    def end(self, job: Job) -> None:
        """Stop a piece of work, if it is still under way, and forget it."""
        job.unwanted.set()
        self._under_way.discard(job)

    def at_end(self, call: Callable[[], None]) -> None:
        """Have something called when the program ends."""
        self._last.append(call)
        if self._ended:
            call()

    def stop(self) -> None:
        """Stop all, also what is still to come: the program ends."""
        self._ended = True
        for call in self._last:
            call()
        for job in list(self._under_way):
            job.abandon()
