"""The questions of `measures.locking` put to many setups at once, in lanes that run side by side.

In: pairs of notes and a question each. Out: the answers. A lane that has to be watched for longer
goes on from where it is.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import locking
from reedbore.measures.locking import Course, Request
from reedbore.model.setup import Setup
from reedbore.simulate.batch import Lanes, Lines, joined
from reedbore.verdict.runs import singer_beat

BANDS_HZ = 20.0, 10.0, 5.0, 2.5
"""Half the widths of the bands that lines are followed in; near partials ask for narrow ones."""

Samples = NDArray[np.float64]
Progress = Callable[[float], None]


class Pair(NamedTuple):
    """A setup and the ratio p/q at which its two notes are watched.

    What is pulled is a voice that is a clock, or what folds aim at; these are no clock, and the
    phase of what they sing is measured too.
    """

    setup: Setup
    p: int
    q: int


class _Batch(NamedTuple):
    """Lanes that started together, and what they have shown so far."""

    lanes: Lanes
    members: list[int]
    seen: Lines | None


_Watched = tuple[_Batch, list[Course | None]]


def ask(
    pairs: Sequence[Pair],
    questions: Sequence[locking.Question[Any]],
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Any]:
    """Put a question to each of many pairs.

    Parameters
    ----------
    pairs : sequence of Pair
        What is watched.
    questions : sequence of generator
        One for each, from `measures.locking`.
    progress : callable, optional
        Told the share of questions answered so far.
    executor : Executor
        The machine that steps them.

    Returns
    -------
    list
        The answers, in order; a pair that diverges answers None.
    """
    asking = _Asking(pairs, questions, executor)
    cores = executor.threads
    running: set[Future[_Watched]] = set()
    with ThreadPoolExecutor(cores) as pool:
        while asking.wanted:
            stopping.check()
            while len(running) < cores and (batch := asking.next_batch()):
                requests = [asking.wanted[k] for k in batch.members]
                running.add(pool.submit(_watched_on, batch, pairs, requests))
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                asking.take(*future.result())
            if progress:
                progress(1.0 - len(asking.wanted) / len(pairs))
    return asking.answers


class _Asking:
    """Questions under way: what they want to see, which lanes run, which are to be started."""

    def __init__(
        self,
        pairs: Sequence[Pair],
        questions: Sequence[locking.Question[Any]],
        executor: Executor,
    ) -> None:
        self.pairs, self.questions, self.executor = pairs, questions, executor
        self.answers: list[Any] = [None] * len(pairs)
        self.wanted: dict[int, Request] = {}
        self._ready: list[_Batch] = []
        self._waiting: dict[float, list[int]] = {}
        for k in range(len(pairs)):
            self._go_on(k, None)
            if k in self.wanted:
                self._waiting.setdefault(_band(pairs[k]), []).append(k)

    def next_batch(self) -> _Batch | None:
        """Return lanes to watch on, or start new ones.

        Lanes that run go first: meanwhile many gather that are to be started, and a batch of many
        takes little longer than one of few.
        """
        if self._ready:
            self._ready.sort(key=lambda batch: len(batch.members))
            return self._ready.pop()
        band = max(self._waiting, key=lambda band: len(self._waiting[band]), default=0.0)
        if not band:
            return None
        members = self._waiting.pop(band)
        width = self.executor.width
        if members[width:]:
            self._waiting[band] = members[width:]
        return self._started(members[:width], band)

    def take(self, batch: _Batch, courses: list[Course | None]) -> None:
        """Tell the questions of a batch what was seen, and keep the lanes that they watch on."""
        stays = []
        for k, course in zip(batch.members, courses, strict=True):
            before = self.wanted.pop(k)
            if course is not None:
                self._go_on(k, course)
            stays.append(k in self.wanted and self.wanted[k].detuning == before.detuning)
            if k in self.wanted and not stays[-1]:
                self._waiting.setdefault(_band(self.pairs[k]), []).append(k)
        if any(stays):
            kept = np.array(stays)
            batch.lanes.keep(kept)
            members = [k for k, stay in zip(batch.members, stays, strict=True) if stay]
            seen = batch.seen.of(kept) if batch.seen else None
            self._ready.append(_Batch(batch.lanes, members, seen))

    def _started(self, members: list[int], band: float) -> _Batch:
        pairs = [self.pairs[k] for k in members]
        pulls = np.array([self.wanted[k].detuning for k in members])
        scale = np.array([pair.q / pair.p for pair in pairs])
        setups = [pair.setup for pair in pairs]
        clocks = np.array([not setup.voice.folded for setup in setups])
        sung = np.array([setup.voice.frequency for setup in setups])
        sung *= 2.0 ** (clocks * pulls / 1200.0)
        lanes = Lanes(setups, sung * scale, pulls, band_hz=band, executor=self.executor)
        return _Batch(lanes, members, None)

    def _go_on(self, k: int, course: Course | None) -> None:
        """Start a question, or send it what it wanted; keep what it wants next, or its answer."""
        question = self.questions[k]
        try:
            self.wanted[k] = next(question) if course is None else question.send(course)
        except StopIteration as end:
            self.answers[k] = end.value


def _band(pair: Pair) -> float:
    spacing = pair.setup.voice.frequency / pair.p
    return next((band for band in BANDS_HZ if band <= spacing), BANDS_HZ[-1])


def _watched_on(batch: _Batch, pairs: Sequence[Pair], requests: list[Request]) -> _Watched:
    """Step a batch on; return what each lane has shown up to the time that was asked for.

    None after a burst.
    """
    seconds, seen = max(request.seconds for request in requests), batch.seen
    if seconds > batch.lanes.seconds + 1e-6:
        later = batch.lanes.advance(seconds - batch.lanes.seconds)
        seen = joined(seen, later) if seen else later
    assert seen is not None
    wanted = zip(batch.members, requests, batch.lanes.sung_hz.tolist(), strict=True)
    courses = [
        _course(pairs[k], hz, seen.of([row]), request.seconds)
        for row, (k, request, hz) in enumerate(wanted)
    ]
    return batch._replace(seen=seen), courses


def _course(pair: Pair, sung_hz: float, seen: Lines, seconds: float) -> Course | None:
    """Return what one lane has shown, up to a time; None after a burst."""
    asked = seen.times <= seconds
    if seen.burst[0] or not np.isfinite(seen.line[0, asked]).all():
        return None
    times, played = seen.times[asked], seen.cycles[0, asked]
    if not pair.setup.voice.folded:
        return Course(times, pair.p * played, sung_hz * pair.q)
    sung, swings = seen.sung_cycles[0, asked], seen.swings[0, asked]
    return singer_beat(times, played, sung, swings, pair.setup.voice.frequency, (pair.p, pair.q))
