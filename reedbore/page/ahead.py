"""What is likely to be asked next, solved before it is: other notes, reeds, lengths and horns.

In: the words of what was heard last. Out: nothing; what was solved is handed over to where the
simulation keeps it, in memory, and lies in the user's cache folder. It gives way: it is done in
processes of a low priority, where the system has priorities, and nothing new is begun while a
sound is asked for.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from reedbore.errors import ReedboreError
from reedbore.kernel.executor import usable_cores
from reedbore.model.passage import DYNAMICS
from reedbore.model.presets import load_horn, names
from reedbore.notes import hz_to_midi, midi_name
from reedbore.page.answers import request_of
from reedbore.page.aside import Aside
from reedbore.page.request import read_words
from reedbore.remembered import hand_over
from reedbore.simulate.player import GRAIN, pitch_slopes
from reedbore.simulate.request.take import Words, players, read_request
from reedbore.simulate.take import render

PAUSE_S = 0.05
"""Between two looks whether a sound is asked for. [s]"""

MOST_PROCESSES = 4

MOST_DONE = 4000
"""Pieces of work, fewer than the simulation keeps fits."""

PUSHES_MM = tuple(sign * 0.5 * step for step in range(1, 41) for sign in (1, -1))
"""How far the mouthpiece may be pushed in or pulled out on the page's slider. [mm]"""

NEAR = 9
"""So many notes come before all else."""

STEPS = {"reed.strength": 0.1, "reed.lip": 0.05}
"""Of the page's sliders; tip and breath are asked for on a grain, and move by that."""

BREATH = "breath.pressure_kpa"
ON_A_GRAIN = "reed.opening_mm", BREATH
REACH = 6
"""So many steps each of these may go, either way, before what is solved for it runs out."""

SHORTEST_S = 0.1
LENGTH = "bore.length_mm"
OF_BORE = "bore.", "mouthpiece.", "air.", "time."
"""Settings on which the delays and filters of a bore hang."""

Solve = Callable[[], object]


class Ahead:
    """Threads that have things solved ahead, each by a process of its own.

    Parameters
    ----------
    busy : callable
        Tells whether a sound is asked for.
    aside : callable
        Makes what does the work, an `Aside`.
    many : int, optional
        How many; usually one for each core, `MOST_PROCESSES` at most.
    """

    def __init__(
        self,
        busy: Callable[[], bool],
        aside: Callable[[], Aside] = Aside,
        many: int | None = None,
    ) -> None:
        self._busy = busy
        self._newest: object = None
        self._changed = threading.Condition()
        self._listed = True
        self._to_do: deque[Solve] = deque()
        self._done: set[object] = set()
        self._over = threading.Event()
        self._asides = [aside() for _ in range(many or min(usable_cores(), MOST_PROCESSES))]
        self.threads: list[threading.Thread] = []

    def about(self, plain: object) -> None:
        """Go on about these words, as the page has sent them; returns at once."""
        with self._changed:
            if self._over.is_set() or plain == self._newest:
                return
            self._newest, self._listed = plain, False
            self._changed.notify_all()
            if not self.threads:
                works = [partial(self._work, aside) for aside in self._asides]
                self.threads = [threading.Thread(target=one, daemon=True) for one in works]
                for thread in self.threads:
                    thread.start()

    def stop(self) -> None:
        """End at once; what is under way is lost."""
        self._over.set()
        with self._changed:
            self._changed.notify_all()
        for aside in self._asides:
            aside.end()

    def _work(self, aside: Aside) -> None:
        while not self._over.is_set():
            while self._busy() and not self._over.is_set():
                self._over.wait(PAUSE_S)
            solve = self._next()
            if solve is not None:
                hand_over(aside.do(solve))
                continue
            aside.end()  # idle, it would only take memory
            with self._changed:
                self._changed.wait_for(lambda: self._over.is_set() or self._waits)
        aside.end()

    @property
    def _waits(self) -> bool:
        """Whether there is something to do, or to be listed."""
        return bool(self._to_do) or not self._listed

    def _next(self) -> Solve | None:
        """Take what is next; what was done before is left out."""
        with self._changed:
            if not self._listed:
                self._listed = True
                self._to_do = deque(_list(self._newest))
            while self._to_do and not self._over.is_set():
                solve = self._to_do.popleft()
                what = _named(solve)
                if what not in self._done:
                    if len(self._done) == MOST_DONE:  # the first of them are not kept any longer
                        self._done.clear()
                    self._done.add(what)
                    return solve
            return None


def _list(plain: object) -> list[Solve]:
    try:
        return list(likely(read_words(plain)))
    except ReedboreError:
        return []


def _named(solve: Solve) -> object:
    """Name a piece of work by all that it hangs on."""
    return (solve.func, solve.args) if isinstance(solve, partial) else solve


def likely(words: Words) -> Iterator[Solve]:
    """List what may be asked after these words, the likeliest first.

    Parameters
    ----------
    words : Words
        From `request.read_words`.

    Yields
    ------
    callable
        Solves one of them, in any process.

    Raises
    ------
    ReedboreError
        If the words cannot be read.
    """
    horn, _ = players(words)
    here = hz_to_midi(read_request(words).typed.fingered_hz)
    length = tuple(text for text in words.settings if not text.startswith(LENGTH))
    settings = tuple(text for text in length if text.startswith(OF_BORE))
    # The bore of a note knows nothing of who sings, and of how the reed is blown.
    plain = replace(
        words, fingering="", written=False, sung=None, breath=None, depth=None, settings=settings
    )
    row = [
        replace(plain, fingered=midi_name(midi))
        for midi in sorted(horn.notes(), key=lambda midi: abs(midi - here))
    ]
    for note in row[:NEAR]:
        yield partial(_solve, note)
    bare = tuple(text for text in settings if not text.startswith(("bore.", "mouthpiece.")))
    for name in names("horns"):
        near = min(load_horn(name).notes(), key=lambda midi: abs(midi - here))
        other = replace(plain, horn=name, instrument=None, settings=bare)
        yield partial(_solve, replace(other, fingered=midi_name(near)))
    alone = replace(words, sung=None, depth=None)
    if words.breath not in DYNAMICS:
        for moved in _moved(alone):
            yield partial(_sway, moved)
    for note in row[NEAR:]:
        yield partial(_solve, note)
    for dynamic in DYNAMICS:
        yield partial(_solve, replace(alone, breath=dynamic))
    if not horn.bore.holes:
        for push in PUSHES_MM:
            yield partial(_pushed, replace(alone, breath=None, settings=settings), push)
    if "voice.drive=folds" not in words.settings and words.sung is not None:
        yield partial(_sung, replace(words, settings=(*words.settings, "voice.drive=folds")))


def _moved(words: Words) -> Iterator[Words]:
    """Move reed and breath one by one, the nearest first; some may lie beyond what is allowed."""
    setup = read_request(words).setup
    for step in sorted((*range(-REACH, 0), *range(1, REACH + 1)), key=abs):
        for name in (*STEPS, *ON_A_GRAIN):
            value = setup.value(name)
            assert isinstance(value, float)
            to = value * GRAIN**step if name in ON_A_GRAIN else round(value + step * STEPS[name], 2)
            others = (text for text in words.settings if not text.startswith(f"{name}="))
            breath = None if name == BREATH else words.breath
            yield replace(words, breath=breath, settings=(*others, f"{name}={to!r}"))


def _sway(words: Words) -> None:
    pitch_slopes(request_of(words).setup)


def _solve(words: Words) -> None:
    render(request_of(words).setup, SHORTEST_S)  # a note with a vent has a loop of its own compiled


def _sung(words: Words) -> None:
    render(request_of(words).setup, SHORTEST_S)  # what folds need for it is kept


def _pushed(words: Words, by_mm: float) -> None:
    setup = request_of(words).setup
    length = setup.value(LENGTH)
    if isinstance(length, float):
        render(setup.with_value(LENGTH, round(length + by_mm, 3)), SHORTEST_S)
