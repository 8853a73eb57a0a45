"""What is likely to be asked next, solved before it is: other notes, dynamics and horns.

In: the words of what was heard last. Out: nothing; what was solved stays where the simulation keeps
it, in memory and in the user's cache folder. It gives way: between two pieces of work it waits
until nothing else is asked, and where the system has priorities it runs at the lowest.
"""

import contextlib
import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.model.passage import DYNAMICS
from reedbore.model.presets import load_horn, names
from reedbore.notes import hz_to_midi, midi_name
from reedbore.page.answers import request_of
from reedbore.page.request import read_words
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.request.take import Words, players, read_request
from reedbore.simulate.take import render

PAUSE_S = 0.05
"""Between two looks whether anything is asked. [s]"""

PUSHES_MM = tuple(sign * 0.5 * step for step in range(1, 11) for sign in (1, -1))
"""How far the mouthpiece is likely to be pushed in or pulled out, on the page's slider. [mm]"""

SHORTEST_S = 0.1
LENGTH = "bore.length_mm"


class Ahead:
    """One thread that solves ahead, begun with the first words.

    Parameters
    ----------
    busy : callable
        Tells whether anything else is asked.
    """

    def __init__(self, busy: Callable[[], bool]) -> None:
        self._busy = busy
        self._newest: object = None
        self._changed = threading.Event()
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    def about(self, plain: object) -> None:
        """Go on about these words, as the page has sent them; returns at once."""
        if self._over.is_set() or plain == self._newest:
            return
        self._newest = plain
        self._changed.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, daemon=True, name="ahead")
            self._thread.start()

    def stop(self) -> None:
        """End, at the next step of what is under way."""
        self._over.set()
        self._changed.set()

    def _work(self) -> None:
        with contextlib.suppress(AttributeError, OSError):  # a system without such priorities
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 19)
        stopping.wanted.set(self._over)
        while self._changed.wait() and not self._over.is_set():
            self._changed.clear()
            with contextlib.suppress(ReedboreError):
                self._solve(read_words(self._newest))

    def _solve(self, words: Words) -> None:
        for solve in likely(words):
            if not self._give_way():
                return
            with contextlib.suppress(ReedboreError, stopping.Stopped):
                solve()

    def _give_way(self) -> bool:
        """Wait while anything else is asked; tell whether the words are still the newest."""
        while self._busy() and not self._changed.is_set():
            self._over.wait(PAUSE_S)
        return not self._changed.is_set()


def likely(words: Words) -> Iterator[Callable[[], object]]:
    """List what may be asked after these words, the likeliest first.

    Parameters
    ----------
    words : Words
        From `request.read_words`.

    Yields
    ------
    callable
        Solves one of them.

    Raises
    ------
    ReedboreError
        If the words cannot be read.
    """
    horn, _ = players(words)
    here = hz_to_midi(read_request(words).typed.fingered_hz)
    settings = tuple(text for text in words.settings if not text.startswith(LENGTH))
    plain = replace(words, fingering="", written=False, settings=settings)
    for midi in sorted(horn.notes(), key=lambda midi: abs(midi - here)):
        yield partial(_solve, replace(plain, fingered=midi_name(midi)))
    for dynamic in DYNAMICS:
        yield partial(_solve, replace(words, breath=dynamic))
    if "voice.drive=folds" not in words.settings and words.sung is not None:
        sung = replace(words, settings=(*words.settings, "voice.drive=folds"))
        yield partial(_sung, sung)
    if not horn.bore.holes:
        for push in PUSHES_MM:
            yield partial(_pushed, replace(words, settings=settings), push)
    bare = tuple(
        text for text in settings if not text.startswith(("reed.", "bore.", "mouthpiece."))
    )
    for name in names("horns"):
        other = load_horn(name)
        near = min(other.notes(), key=lambda midi: abs(midi - here))
        changed = replace(
            plain, horn=name, instrument=None, fingered=midi_name(near), settings=bare
        )
        yield partial(_solve, changed)


def _solve(words: Words) -> None:
    numbers_of(request_of(words).setup)


def _sung(words: Words) -> None:
    render(request_of(words).setup, SHORTEST_S)  # what folds need for it is kept


def _pushed(words: Words, by_mm: float) -> None:
    setup = request_of(words).setup
    length = setup.value(LENGTH)
    if isinstance(length, float):
        numbers_of(setup.with_value(LENGTH, round(length + by_mm, 3)))
