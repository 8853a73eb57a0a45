"""When the voice pushes, when the reed opens, and which pushes meet the open reed.

In: a take. Out: times, from the signals alone: the sung pressure and the opening of the reed.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import pitch
from reedbore.model.setup import Setup
from reedbore.notes import MEASURED_LIMIT, choose_ratio
from reedbore.simulate.bore_pressure import outline
from reedbore.simulate.take import Take

Samples = NDArray[np.float64]

SURE = 0.1
"""A swing has turned when it has passed its middle by this share of its height."""

WIDENS = 1.2
"""Half-way down a cone is so many times as wide as at the reed, or more."""

STANDS = 0.1
"""A meeting that moves by fewer played periods than this in a second stands. [s⁻¹]"""


class Meetings(NamedTuple):
    """When the voice pushes, when the reed opens, and which pushes meet it at the same moment."""

    sung: Samples
    """Peaks of the sung pressure. [s]"""
    openings: Samples
    """When the reed opens. [s]"""
    meets: Samples
    """Every p-th of the sung peaks, those nearest to the middle of an open reed. [s]"""
    ratio: tuple[int, int] | None
    """(p, q), sung/played, as counted; None if no small numbers are near."""
    drift: float
    """By how many played periods the meeting moves in a second; 0 stands still. [s⁻¹]"""
    stands: bool
    """Whether it moves by less than `STANDS`; whether the pair is locked, only `verdict` says."""


def widens(setup: Setup) -> bool:
    """Tell whether the bore is a cone in the main."""
    places, radii = np.array(outline(setup).profile).T
    return bool(np.interp(0.5 * places[-1], places, radii) > WIDENS * radii[0])


def meetings(take: Take, begin: float | None = None, seconds: float | None = None) -> Meetings:
    """Find which of the voice's pushes meet the reed at the same moment of its swing.

    Parameters
    ----------
    take : Take
        What was rendered.
    begin, seconds : float, optional
        Of the stretch that is looked at, as far as it lies in the take; by default its later
        half. [s]

    Returns
    -------
    Meetings
        Empty where there is nothing: nobody sings, or the reed does not swing.
    """
    rate = take.setup.time.rate
    begin = 0.5 * take.seconds if begin is None else max(begin, 0.0)
    end = take.seconds if seconds is None else begin + seconds
    part = slice(round(begin * rate), round(end * rate))
    begin = part.start / rate
    sung = begin + _peaks(take.sung[part], rate, swinging=take.setup.voice.folded) / rate
    opening = take.traces.opening[part]
    ups, downs = swings(opening)
    downs = downs[downs > ups[0]] if ups.size else downs
    opens, closes = begin + ups / rate, begin + downs / rate
    if not opening.size or np.ptp(opening) < take.setup.reed.shut_below:
        opens = opens[:0]
    if min(sung.size, opens.size) < 3:
        return Meetings(sung, opens, sung[:0], None, 0.0, False)
    period = _mean_step(opens)
    ratio = choose_ratio(period / _mean_step(sung), limit=MEASURED_LIMIT)
    if ratio is None:
        return Meetings(sung, opens, sung[:0], None, 0.0, False)
    count = min(opens.size, closes.size)
    middles = 0.5 * (opens[:count] + closes[:count])
    late = [_after(sung[first :: ratio[0]], middles) / period for first in range(ratio[0])]
    near = [abs(np.angle(np.exp(2j * np.pi * each).mean())) if each.size else 4.0 for each in late]
    best = int(np.argmin(near))
    meets = sung[best :: ratio[0]]
    course = np.unwrap(late[best], period=1.0)
    drift = float(np.polyfit(meets - meets[0], course, 1)[0]) if meets.size > 2 else 0.0
    return Meetings(sung, opens, meets, ratio, drift, meets.size > 2 and abs(drift) < STANDS)


def swings(trace: Samples) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where a trace that swings passes its middle, upwards and downwards."""
    low, high = float(np.min(trace, initial=np.inf)), float(np.max(trace, initial=-np.inf))
    middle, sure = 0.5 * (low + high), SURE * (high - low)
    side = np.where(trace > middle + sure, 1, np.where(trace < middle - sure, -1, 0))
    known = np.flatnonzero(side)
    turned = known[1:][np.diff(side[known]) != 0]
    crossed = np.flatnonzero(np.diff(trace > middle)) + 1
    # The last crossing before it was sure.
    at = crossed[np.searchsorted(crossed, turned, side="right") - 1] if turned.size else turned
    up = side[turned] > 0
    return at[up], at[~up]


def _peaks(sung: Samples, rate: float, *, swinging: bool) -> Samples:
    """Return where a sung waveform peaks, once a period or, of folds, once a swing [steps]."""
    hz = _swings_a_second(sung, rate) if swinging else _repeats_a_second(sung, rate)
    if not hz:
        return np.zeros(0)
    period = rate / hz
    at = int(np.argmax(sung[: round(period)]))
    places = [at]
    while at + 1.3 * period < sung.size:
        first = at + round(0.7 * period)
        at = first + int(np.argmax(sung[first : at + round(1.3 * period)]))
        places.append(at)
    return np.array(places, np.float64)


def _repeats_a_second(sung: Samples, rate: float) -> float:
    found = pitch.fundamental(*pitch.thin(sung, rate)) if np.any(sung) else None
    return found.hz if found else 0.0


def _swings_a_second(sung: Samples, rate: float) -> float:
    """Count: held by a horn, folds may repeat only after some of their swings."""
    return pitch.crossing_rate(*pitch.thin(sung, rate)) if np.any(sung) else 0.0


def _mean_step(times: Samples) -> float:
    return float(times[-1] - times[0]) / (times.size - 1)


def _after(times: Samples, marks: Samples) -> Samples:
    """Return how long after the nearest mark each time is [s]."""
    right = np.clip(np.searchsorted(marks, times), 1, marks.size - 1)
    left, other = times - marks[right - 1], times - marks[right]
    return np.where(np.abs(left) < np.abs(other), left, other)
