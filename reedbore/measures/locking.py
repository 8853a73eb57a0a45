"""The one judge of 'locked'.

In: the course of the phase between two oscillations, under different detunings. Out: whether one
follows the other. The judge knows no horn and no request: anything that can be observed at a
detuning can be judged, a reed horn as well as a textbook oscillator.

An oscillation is *locked* to another if their phases keep step, and still do when the other is
pulled a little either way. Keeping step without being pulled proves nothing: two tones tuned
exactly do so without knowing of each other. A course is watched until it is decided: it *follows*
once its drift has died down, or dies down geometrically; it *slips* once it has gone through a
whole cycle, or has drifted evenly through a quarter of one.
"""

import math
from collections.abc import Callable, Generator
from enum import StrEnum
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from reedbore.measures.drift import mean_drifts, slopes

PULL_CENTS = 0.1
"""How far the other oscillation is pulled either way to prove a lock. [cents]"""

FIRST_WATCH, LAST_WATCH = 7.5, 120.0
"""A course is first watched so long; twice as long while undecided; no longer than this. [s]"""

WATCHED_ON = 2
"""Before a search gives up it watches so many of its undecided detunings to the end."""


class Course(NamedTuple):
    """How far one oscillation has run ahead of its proportion to another."""

    times: NDArray[np.float64]
    """Shape (n,). [s]"""
    cycles: NDArray[np.float64]
    """Shape (n,). [cycles]"""
    hz: float
    """Frequency that the first would have if it kept step. [Hz]"""


class Courses(NamedTuple):
    """The same of many, seen at the same times."""

    times: NDArray[np.float64]
    """Shape (n,). [s]"""
    cycles: NDArray[np.float64]
    """Shape (courses, n). [cycles]"""
    hz: NDArray[np.float64]
    """Shape (courses,). [Hz]"""

    def of(self, number: int) -> Course:
        """Return one of them."""
        return Course(self.times, self.cycles[number], float(self.hz[number]))


class Request(NamedTuple):
    """What the judge wants to see next."""

    detuning: float
    """[cents]"""
    seconds: float
    """How long to watch, from rest. [s]"""


Answer = TypeVar("Answer")

LEAST_POINTS = 12
"""A course of fewer shows no drift: the voice is low, or the time to watch was given."""

Observe = Callable[[float, float], Course]
"""Called with a detuning [cents] and a time to watch [s]; starts from rest each time."""


class Keeps(StrEnum):
    """Whether a course keeps step."""

    FOLLOWS = "follows"
    SLIPS = "slips"
    UNDECIDED = "undecided"
    """It must be watched for longer."""


class Drift(NamedTuple):
    """Whether a course keeps step, and its drift."""

    state: Keeps
    hz: float
    """Mean drift, as `drift.mean_drifts` has it. [Hz]"""
    way: float
    """Between how far apart phases it went, its start left out. [cycles]"""
    slows: bool
    """Whether it may come to rest: a lock takes hold slowly."""
    kept_hz: float
    """Frequency of the course, as in `Course`. [Hz]"""


Question = Generator[Request, Drift, Answer]
"""A judgement in steps: yields what it wants to see, is sent what that did, returns its answer. One
question is put to one oscillation by `answer`; many are put to many at once by a sweep, which sees
their courses with `drifts`."""


class Decision(NamedTuple):
    """What the pull test found."""

    locked: bool
    decided: bool
    drift_hz: float
    """Of the course that was not pulled. [Hz]"""


def drift(course: Course) -> Drift:
    """Decide whether one course keeps step, as `drifts` does."""
    return drifts(Courses(course.times, course.cycles[np.newaxis], np.array([course.hz])))[0]


def drifts(courses: Courses) -> list[Drift]:
    """Decide whether courses keep step.

    Parameters
    ----------
    courses : Courses
        How far they have come.

    Returns
    -------
    list of Drift
        'undecided' those that must be watched for longer; of less than `LEAST_POINTS` nan Hz.

    Notes
    -----
    Near an edge a course that will follow may drift evenly for a while, and one that slips may
    dwell; so an even drift counts only after a quarter of a cycle, through which the speed of any
    course that will stop has changed, and a dying one only if it dies geometrically.
    """
    if courses.times.size < LEAST_POINTS:
        short = Drift(Keeps.UNDECIDED, math.nan, math.nan, slows=False, kept_hz=math.nan)
        return [short._replace(kept_hz=hz) for hz in courses.hz.tolist()]
    begin, end = courses.times[0], courses.times[-1]
    # Without the first quarter, in which the oscillation starts; the rest in three equal parts.
    kept = courses.times >= 0.75 * begin + 0.25 * end
    times, cycles = courses.times[kept], courses.cycles[:, kept]
    thirds = np.array_split(np.arange(times.size), 3)
    parts = np.array([slopes(times[some], cycles[:, some]) for some in thirds])
    (first, second, third), way = parts, np.ptp(cycles, axis=1)
    unit = courses.hz * PULL_CENTS * math.log(2.0) / 1200.0
    still = (np.abs(parts[1:]).max(axis=0) < 0.1 * unit) & (way < 0.5)
    geometric = np.abs(third * first - second**2) < 0.2 * second**2
    dying = geometric & (np.abs(third) < 0.3 * np.abs(first))
    rests = dying & (np.abs(third) * 0.25 * (end - begin) < 0.02) & (way < 0.8)
    even = np.ptp(parts, axis=0) < 0.03 * np.abs(parts).min(axis=0)
    slips = (way > 1.0) | (even & (way > 0.25))
    states = np.select([still | rests, slips], [0, 1], 2)
    slow = np.abs(third) < 0.85 * np.abs(first)
    found = states, mean_drifts(times, cycles), way, slow, courses.hz
    return [
        Drift(_KEEPS[state], *rest)
        for state, *rest in zip(*(column.tolist() for column in found), strict=True)
    ]


_KEEPS = Keeps.FOLLOWS, Keeps.SLIPS, Keeps.UNDECIDED


def answer(question: Question[Answer], observe: Observe) -> Answer:
    """Put a question to one oscillation.

    Parameters
    ----------
    question : generator
        From one of the functions below.
    observe : callable
        Gives the course at a detuning.

    Returns
    -------
    object
        What the question returns.
    """
    try:
        wanted = next(question)
        while True:
            wanted = question.send(drift(observe(*wanted)))
    except StopIteration as end:
        found: Answer = end.value
        return found


def watch(detuning: float, longest: float = LAST_WATCH, bounded: float = 0.0) -> Question[Drift]:
    """Watch one detuning for as long as the decision takes.

    Parameters
    ----------
    detuning : float
        [cents]
    longest : float
        Bound on the time to watch. [s]
    bounded : float
        What is not decided by then follows if it has stayed within so much: an uneven oscillation
        wobbles on, and never comes to rest. [cycles]

    Returns
    -------
    generator of Drift
        'undecided' only if the bound was reached.
    """
    seconds = min(FIRST_WATCH, longest)
    while True:
        found = yield Request(detuning, seconds)
        if found.state == Keeps.UNDECIDED and seconds < longest:
            seconds = min(2.0 * seconds, longest)
            continue
        if found.state == Keeps.UNDECIDED and found.way < bounded:
            return found._replace(state=Keeps.FOLLOWS)
        return found


def decide(detuning: float = 0.0, longest: float = LAST_WATCH) -> Question[Decision]:
    """Decide 'locked' by pulling either way.

    Parameters
    ----------
    detuning, longest
        As for `watch`.

    Returns
    -------
    generator of Decision
        Locked if the course follows unpulled and pulled by `PULL_CENTS` up and down.
    """
    still = yield from watch(detuning, longest)
    states = [still.state]
    for pull in (-PULL_CENTS, PULL_CENTS):
        if states[-1] != Keeps.SLIPS:
            states.append((yield from watch(detuning + pull, longest)).state)
    locked = states == [Keeps.FOLLOWS] * 3
    return Decision(locked, locked or Keeps.SLIPS in states, still.hz)


class Edge(NamedTuple):
    """Where a lock ends: between two detunings."""

    inside: float
    """Last detuning found to follow. [cents]"""
    outside: float
    """First detuning found to slip, or undecided within the longest watch. [cents]"""


def find_inside(
    start: float = 0.0,
    finest: float = 0.05,
    longest: float = LAST_WATCH,
    reach: float = 40.0,
    bounded: float = 0.0,
) -> Question[tuple[float | None, float, float]]:
    """Look for a detuning that locks: where the drift changes its sign.

    The drift p·f_played - q·f_sung falls as the voice rises, with a flat step where it locks; it is
    worth about 1200 / (ln 2 q f_sung) cents a hertz.

    Parameters
    ----------
    start, reach : float
        Where to look first, and how far to go from there. [cents]
    finest : float
        The search ends when it has closed in so far. [cents]
    longest, bounded : float
        As for `watch`. [s], [cycles]

    Returns
    -------
    generator of (inside, low, high)
        A detuning that follows, and the nearest ones that slip; or None if no lock wider than
        `finest` was found, and where the drift changes its sign; infinite if not needed. [cents]
    """
    low, high, here = -math.inf, math.inf, start
    slipped, unsure = list[float](), list[float]()
    for _ in range(24):
        found = yield Request(here, min(FIRST_WATCH, longest))
        if math.isnan(found.hz):
            break  # too short to show a way
        step = found.hz * 1200.0 / (math.log(2.0) * found.kept_hz)
        if found.state == Keeps.UNDECIDED and (abs(step) < finest or found.slows):
            found = yield from watch(here, longest, bounded)
        if found.state == Keeps.FOLLOWS:
            return _between(here, slipped)
        # One that is not decided shows the way, but may yet come to rest: it bounds no lock.
        (slipped if found.state == Keeps.SLIPS else unsure).append(here)
        if found.hz > 0.0:
            low = max(low, here)
        else:
            high = min(high, here)
        here += math.copysign(max(abs(step), 0.5 * finest), found.hz)
        if not low < here < high:
            here = 0.5 * (low + high)
        if high - low < finest or abs(here - start) > reach:
            break
    for last in sorted(unsure, key=lambda one: abs(one - here))[:WATCHED_ON]:
        if (yield from watch(last, longest, bounded)).state == Keeps.FOLLOWS:
            return _between(last, slipped)
    return None, low, high


def _between(inside: float, slipped: list[float]) -> tuple[float, float, float]:
    """Return a detuning between the nearest ones that slip on either side. [cents]."""
    low = max((one for one in slipped if one < inside), default=-math.inf)
    return inside, low, min((one for one in slipped if one > inside), default=math.inf)


def lock_range(
    inside: float,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    farthest: float = 120.0,
    fineness: float = 0.1,
    longest: float = LAST_WATCH,
) -> Question[tuple[Edge, Edge]]:
    """Find both edges of a lock by bisection.

    Parameters
    ----------
    inside : float
        A detuning that is locked. [cents]
    low, high : float
        Detunings known to slip, if any. [cents]
    farthest : float
        The search goes no farther from `inside`. [cents]
    fineness : float
        Width that an edge is bracketed to. [cents]
    longest : float
        Bound on each time to watch. [s]

    Returns
    -------
    generator of (low, high)
        The two edges. An edge that stays wider than `fineness` could not be told more finely
        within the longest watch.
    """
    bounds = farthest, fineness, longest
    lower = yield from edge(inside, low, -1.0, *bounds)
    upper = yield from edge(inside, high, 1.0, *bounds)
    return lower, upper


def edge(
    follows: float,
    slips: float,
    way: float,
    farthest: float = 120.0,
    fineness: float = 0.1,
    longest: float = LAST_WATCH,
    first: float = 0.4,
    bounded: float = 0.0,
) -> Question[Edge]:
    """Find one edge of a lock by bisection.

    Parameters
    ----------
    follows : float
        A detuning that is locked. [cents]
    slips : float
        One beyond the edge that slips, or infinite. [cents]
    way : float
        -1 for the lower edge, 1 for the upper.
    farthest, fineness, longest
        As for `lock_range`.
    first : float
        The first step from `follows`, where nothing is known to slip. [cents]
    bounded : float
        As for `watch`. [cycles]

    Returns
    -------
    generator of Edge
        The edge.
    """
    start, step = follows, first
    while not math.isfinite(slips):
        here = start + way * min(step, farthest)
        found = yield from watch(here, longest, bounded)
        if found.state != Keeps.FOLLOWS or step >= farthest:
            slips = here
        else:
            follows, step = here, 2.0 * step
    while abs(slips - follows) > fineness:
        middle = 0.5 * (slips + follows)
        found = yield from watch(middle, longest, bounded)
        if found.state == Keeps.FOLLOWS:
            follows = middle
        elif found.state == Keeps.SLIPS:
            slips = middle
        else:
            fine = 0.5 * fineness
            follows = yield from _nearer(follows, middle, Keeps.FOLLOWS, fine, longest, bounded)
            slips = yield from _nearer(slips, middle, Keeps.SLIPS, fine, longest, bounded)
            break
    return Edge(follows, slips)


def _nearer(
    known: float, untold: float, wanted: Keeps, fineness: float, longest: float, bounded: float
) -> Question[float]:
    """Find how near to a detuning that tells nothing, for the edge is near, others still tell."""
    while abs(untold - known) > fineness:
        middle = 0.5 * (known + untold)
        found = yield from watch(middle, longest, bounded)
        known, untold = (middle, untold) if found.state == wanted else (known, middle)
    return known


def period(states: NDArray[np.float64], longest: int = 8, tolerance: float = 1e-2) -> int | None:
    """Return the period of stroboscopic states.

    Parameters
    ----------
    states : ndarray, shape (n, m)
        The state, m numbers, at each beat of a clock.
    longest : int
        Longest period looked for. [beats]
    tolerance : float
        Largest change, against the size of the states' own variation.

    Returns
    -------
    int or None
        The least period; None if there is none.
    """
    size = float(np.sqrt(np.mean((states - states.mean()) ** 2)))
    for beats in range(1, longest + 1):
        if states.shape[0] > beats:
            change = states[beats:] - states[:-beats]
            if size == 0.0 or np.sqrt(np.mean(change**2)) < tolerance * size:
                return beats
    return None


def strobe(
    samples: NDArray[np.float64], rate: float, hz: float, phases: int = 16
) -> NDArray[np.float64]:
    """Return the states of a signal at each beat of a clock: its values at equal phases of it.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The signal.
    rate : float
        Samples per second. [Hz]
    hz : float
        Beats per second. [Hz]
    phases : int
        Values per beat.

    Returns
    -------
    ndarray, shape (beats, phases)
        By linear interpolation.
    """
    beats = int((samples.size - 2) * hz / rate)
    at = np.arange(beats * phases) * (rate / (hz * phases))
    return np.interp(at, np.arange(samples.size), samples).reshape(beats, phases)
