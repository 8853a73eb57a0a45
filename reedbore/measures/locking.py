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
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

PULL_CENTS = 0.1
"""How far the other oscillation is pulled either way to prove a lock. [cents]"""

FIRST_WATCH, LAST_WATCH = 7.5, 120.0
"""A course is first watched so long; twice as long while undecided; no longer than this. [s]"""


class Course(NamedTuple):
    """How far one oscillation has run ahead of its proportion to another."""

    times: NDArray[np.float64]
    """Shape (n,). [s]"""
    cycles: NDArray[np.float64]
    """Shape (n,). [cycles]"""
    hz: float
    """Frequency that the first would have if it kept step. [Hz]"""


Observe = Callable[[float, float], Course]
"""Called with a detuning [cents] and a time to watch [s]; starts from rest each time."""


class Drift(NamedTuple):
    """Whether a course keeps step."""

    state: str
    """'follows', 'slips' or 'undecided'."""
    hz: float
    """Drift in the later half. [Hz]"""
    watched: float
    """[s]"""


class Decision(NamedTuple):
    """What the pull test found."""

    locked: bool
    decided: bool
    drift_hz: float
    """Of the course that was not pulled. [Hz]"""


def slopes(course: Course) -> tuple[NDArray[np.float64], float]:
    """Return the drift in three equal parts of a course, and the way gone through all of them.

    Parameters
    ----------
    course : Course
        Its first quarter, in which the oscillation starts, is left out.

    Returns
    -------
    parts : ndarray, shape (3,)
        Earliest first. [Hz]
    way : float
        [cycles]
    """
    start, end = course.times[0], course.times[-1]
    kept = course.times >= start + 0.25 * (end - start)
    parts = [
        np.polyfit(times, cycles, 1)[0]
        for times, cycles in zip(
            np.array_split(course.times[kept], 3),
            np.array_split(course.cycles[kept], 3),
            strict=True,
        )
    ]
    return np.array(parts), float(np.ptp(course.cycles[kept]))


def drift(course: Course) -> Drift:
    """Decide whether a course keeps step.

    Parameters
    ----------
    course : Course
        At least 12 points.

    Returns
    -------
    Drift
        'undecided' if it must be watched for longer.

    Notes
    -----
    Near an edge a course that will follow may drift evenly for a while, and one that slips may
    dwell; so an even drift counts only after a quarter of a cycle, through which the speed of any
    course that will stop has changed, and a dying one only if it dies geometrically.
    """
    parts, way = slopes(course)
    first, second, third = parts
    unit = course.hz * PULL_CENTS * math.log(2.0) / 1200.0
    still = np.abs(parts[1:]).max() < 0.1 * unit and way < 0.5
    geometric = abs(third * first - second**2) < 0.2 * second**2 and abs(third) < 0.3 * abs(first)
    part = 0.25 * (course.times[-1] - course.times[0])
    even = np.ptp(parts) < 0.03 * np.abs(parts).min()
    if still or (geometric and abs(third) * part < 0.02 and way < 0.8):
        state = "follows"
    elif way > 1.0 or (even and way > 0.25):
        state = "slips"
    else:
        state = "undecided"
    return Drift(state, float(third), float(course.times[-1] - course.times[0]))


def watch(observe: Observe, detuning: float, longest: float = LAST_WATCH) -> Drift:
    """Watch one detuning for as long as the decision takes.

    Parameters
    ----------
    observe : callable
        Gives the course at a detuning.
    detuning : float
        [cents]
    longest : float
        Bound on the time to watch. [s]

    Returns
    -------
    Drift
        'undecided' only if the bound was reached.
    """
    seconds = min(FIRST_WATCH, longest)
    while True:
        found = drift(observe(detuning, seconds))
        if found.state != "undecided" or seconds >= longest:
            return found
        seconds = min(2.0 * seconds, longest)


def decide(observe: Observe, detuning: float = 0.0, longest: float = LAST_WATCH) -> Decision:
    """Decide 'locked' by pulling either way.

    Parameters
    ----------
    observe, detuning, longest
        As for `watch`.

    Returns
    -------
    Decision
        Locked if the course follows unpulled and pulled by `PULL_CENTS` up and down.
    """
    still = watch(observe, detuning, longest)
    states = [still.state]
    for pull in (-PULL_CENTS, PULL_CENTS):
        if states[-1] != "slips":
            states.append(watch(observe, detuning + pull, longest).state)
    locked = states == ["follows"] * 3
    return Decision(locked, locked or "slips" in states, still.hz)


def lock_range(
    observe: Observe, inside: float, farthest: float = 120.0, fineness: float = 0.1
) -> tuple[float, float]:
    """Find both edges of a lock by bisection.

    Parameters
    ----------
    observe : callable
        Gives the course at a detuning.
    inside : float
        A detuning that is locked. [cents]
    farthest : float
        The search goes no farther from `inside`. [cents]
    fineness : float
        Width that an edge is bracketed to. [cents]

    Returns
    -------
    low, high : float
        Last detunings found to follow. [cents]
    """
    edges = []
    for way in (-1.0, 1.0):
        follows, step = inside, 0.4
        while step < farthest and watch(observe, inside + way * step).state == "follows":
            follows, step = inside + way * step, 2.0 * step
        slips = inside + way * min(step, farthest)
        while abs(slips - follows) > fineness:
            middle = 0.5 * (slips + follows)
            if watch(observe, middle).state == "follows":
                follows = middle
            else:
                slips = middle
        edges.append(follows)
    return edges[0], edges[1]


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


def winding_number(turns: NDArray[np.float64]) -> float:
    """Return the mean turn per beat by the weighted Birkhoff average.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        Advance at each beat. [cycles]

    Returns
    -------
    float
        Converges faster than any power of 1/n for quasi-periodic motion [1]_. [cycles]

    References
    ----------
    .. [1] S. Das, Y. Saiki, E. Sander and J. A. Yorke, "Quantitative quasiperiodicity,"
       Nonlinearity 30(11), 4111-4140, 2017.
    """
    t = np.arange(1, turns.size + 1) / (turns.size + 1)
    weight = np.exp(-1.0 / (t * (1.0 - t)))
    return float(np.sum(weight * turns) / np.sum(weight))
