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
from reedbore.measures.locking import Courses, Drift, Request
from reedbore.model.setup import Setup
from reedbore.simulate.batch import Lanes, Lines, beside, joined
from reedbore.simulate.many import Reals, Setups, Whole
from reedbore.verdict.runs import singer_beat

BANDS_HZ = 20.0, 10.0, 5.0, 2.5
"""Half the widths of the bands that lines are followed in; near partials ask for narrow ones."""

Progress = Callable[[float], None]


class Pair(NamedTuple):
    """A setup and the ratio p/q at which its two notes are watched.

    What is pulled is a voice that is a clock, or what folds aim at; these are no clock, and the
    phase of what they sing is measured too.
    """

    setup: Setup
    p: int
    q: int


class Pairs(NamedTuple):
    """Many of them, in columns."""

    setups: Setups
    p: Whole
    q: Whole
    """Shape (pairs,)."""

    @classmethod
    def of(cls, pairs: Sequence[Pair]) -> "Pairs":
        """Put pairs side by side."""
        p, q = np.array([pair[1:] for pair in pairs], np.int64).reshape(-1, 2).T
        return cls(Setups.of([pair.setup for pair in pairs]), p, q)

    def at(self, places: Whole) -> "Pairs":
        """Return some of them."""
        return Pairs(self.setups.at(places), self.p[places], self.q[places])

    @property
    def folded(self) -> NDArray[np.bool_]:
        """Which are sung by folds."""
        return self.setups.each(lambda one: one.voice.folded, np.bool_)

    @property
    def bands(self) -> Reals:
        """Half the width of the band that the line of each is followed in. [Hz]."""
        spacing = self.setups.sung_hz / self.p
        wide = np.array(BANDS_HZ)
        return wide[np.minimum(np.searchsorted(-wide, -spacing), wide.size - 1)]


class _Batch(NamedTuple):
    """Lanes that have come as far, and what they have shown so far."""

    lanes: Lanes
    members: Whole
    pairs: Pairs
    seen: Lines | None
    band: float
    """As one of `Pairs.bands`. [Hz]"""


_Watched = tuple[_Batch, list[Drift | None]]


def ask(
    pairs: Sequence[Pair] | Pairs,
    questions: Sequence[locking.Question[Any]],
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Any]:
    """Put a question to each of many pairs.

    Parameters
    ----------
    pairs : sequence of Pair, or Pairs
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
    asking = _Asking(pairs if isinstance(pairs, Pairs) else Pairs.of(pairs), questions, executor)
    cores = executor.threads
    running: set[Future[_Watched]] = set()
    with ThreadPoolExecutor(cores) as pool:
        while asking.wanted:
            stopping.check()
            while len(running) < cores and (batch := asking.next_batch()):
                requests = [asking.wanted[k] for k in batch.members.tolist()]
                running.add(pool.submit(_watched_on, batch, requests))
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                asking.take(*future.result())
            if progress:
                progress(1.0 - len(asking.wanted) / len(questions))
    return asking.answers


class _Asking:
    """Questions under way: what they want to see, which lanes run, which are to be started."""

    def __init__(
        self, pairs: Pairs, questions: Sequence[locking.Question[Any]], executor: Executor
    ) -> None:
        self.pairs, self.questions, self.executor = pairs, questions, executor
        self.answers: list[Any] = [None] * len(questions)
        self.wanted: dict[int, Request] = {}
        self._ready: list[_Batch] = []
        self._waiting: dict[float, list[int]] = {}
        self._bands = pairs.bands.tolist()
        for k in range(len(questions)):
            self._go_on(k, None)
            if k in self.wanted:
                self._wait(k)

    def next_batch(self) -> _Batch | None:
        """Start new lanes, or return some to watch on.

        New ones go first, then those that have come least far: meanwhile many gather that are to be
        watched for long, and a batch of many takes little longer than one of few.
        """
        band = max(self._waiting, key=lambda band: len(self._waiting[band]), default=0.0)
        if not band:
            return self._gathered() if self._ready else None
        members = self._waiting.pop(band)
        width = self.executor.width
        if members[width:]:
            self._waiting[band] = members[width:]
        return self._started(members[:width], band)

    def _gathered(self) -> _Batch:
        """Return the lanes that have come least far; of their band what else has come as far."""
        self._ready.sort(key=lambda batch: (batch.lanes.seconds, -len(batch.members)))
        first, *others = self._ready
        alike, rest, room = [first], list[_Batch](), self.executor.width - len(first.members)
        for one in others:
            as_far = (one.band, one.lanes.seconds) == (first.band, first.lanes.seconds)
            if self.executor.joins and as_far and len(one.members) <= room:
                alike.append(one)
                room -= len(one.members)
            else:
                rest.append(one)
        self._ready = rest
        return _side_by_side(alike)

    def take(self, batch: _Batch, shown: list[Drift | None]) -> None:
        """Tell the questions of a batch what was seen, and keep the lanes that they watch on."""
        stays = []
        for k, drift in zip(batch.members.tolist(), shown, strict=True):
            before = self.wanted.pop(k)
            if drift is not None:
                self._go_on(k, drift)
            stays.append(k in self.wanted and self.wanted[k].detuning == before.detuning)
            if k in self.wanted and not stays[-1]:
                self._wait(k)
        if any(stays):
            kept = np.array(stays)
            batch.lanes.keep(kept)
            pairs = batch.pairs.at(np.flatnonzero(kept))
            seen = batch.seen.of(kept) if batch.seen else None
            self._ready.append(batch._replace(members=batch.members[kept], pairs=pairs, seen=seen))

    def _wait(self, k: int) -> None:
        """Let a pair wait for lanes to be started."""
        self._waiting.setdefault(self._bands[k], []).append(k)

    def _started(self, members: list[int], band: float) -> _Batch:
        pairs = self.pairs.at(np.array(members))
        pulls = np.array([self.wanted[k].detuning for k in members])
        sung = pairs.setups.sung_hz * 2.0 ** (~pairs.folded * pulls / 1200.0)
        reference = sung * (pairs.q / pairs.p)
        lanes = Lanes(pairs.setups, reference, pulls, band_hz=band, executor=self.executor)
        return _Batch(lanes, np.array(members), pairs, None, band)

    def _go_on(self, k: int, drift: Drift | None) -> None:
        """Start a question, or send it what it wanted; keep what it wants next, or its answer."""
        question = self.questions[k]
        try:
            self.wanted[k] = next(question) if drift is None else question.send(drift)
        except StopIteration as end:
            self.answers[k] = end.value


def _side_by_side(batches: Sequence[_Batch]) -> _Batch:
    """Make one batch of several that have come as far."""
    first, *others = batches
    if not others:
        return first
    for other in others:
        first.lanes.join(other.lanes)
    pairs = Pairs(
        Setups.joined([one.pairs.setups for one in batches]),
        *(
            np.concatenate(column)
            for column in zip(*(one.pairs[1:] for one in batches), strict=True)
        ),
    )
    seen = beside([one.seen for one in batches if one.seen is not None])
    members = np.concatenate([one.members for one in batches])
    return first._replace(members=members, pairs=pairs, seen=seen)


def _watched_on(batch: _Batch, requests: list[Request]) -> _Watched:
    """Step a batch on; return what each lane has shown up to the time that was asked for.

    None after a burst.
    """
    until = np.array([request.seconds for request in requests])
    seconds, seen = float(until.max()), batch.seen
    if seconds > batch.lanes.seconds + 1e-6:
        later = batch.lanes.advance(seconds - batch.lanes.seconds)
        seen = joined(seen, later) if seen else later
    assert seen is not None
    shown: list[Drift | None] = [None] * until.size
    folded = batch.pairs.folded
    for length, sung in {
        (one, by) for one, by in zip(until.tolist(), folded.tolist(), strict=True)
    }:
        those = np.flatnonzero((until == length) & (folded == sung) & ~seen.burst)
        asked = seen.times <= length
        those = those[np.isfinite(seen.line[np.ix_(those, asked)]).all(axis=1)]
        courses = _courses(batch, seen.of(those), those, asked, folds=sung)
        for k, drift in zip(those.tolist(), locking.drifts(courses), strict=True):
            shown[k] = drift
    return batch._replace(seen=seen), shown


def _courses(
    batch: _Batch, seen: Lines, those: Whole, asked: NDArray[np.bool_], *, folds: bool
) -> Courses:
    """Return what some lanes have shown at the times that were asked for."""
    pairs, times = batch.pairs.at(those), seen.times[asked]
    p, q = pairs.p, pairs.q
    played = seen.cycles[:, asked]
    if not folds:
        return Courses(times, p[:, np.newaxis] * played, batch.lanes.sung_hz[those] * q)
    parts = played, seen.sung_cycles[:, asked], seen.swings[:, asked]
    return singer_beat(times, *parts, pairs.setups.sung_hz, p, q)
