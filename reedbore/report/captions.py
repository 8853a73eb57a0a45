"""What happens in the horn right now, said in words.

In: a take and the air in its bore (`bore_pressure`). Out: captions, derived from the signals alone:
the pressure in mouth and mouthpiece, the opening of the reed, the flow out of the open end.

One period as its pressure shows it: it rises at the reed, and the rise leaves; the flow at the open
end turns outward when it arrives there; the wave comes back upside down, the pressure at the reed
falls. In a bore that hardly widens the low pressure makes the same way once more, and comes back
as a rise: two round trips a period. In a cone it turns at the narrow end: one round trip.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.simulate import mouth, pushes
from reedbore.simulate.bore_pressure import BorePressure
from reedbore.simulate.take import Take

Samples = NDArray[np.float64]

MOSTLY, HALF = 0.9, 0.5
"""A reed that shuts stays so for these shares of the time to its opening, and to the next rise."""

STILL, FOLLOWS = 0.005, 0.3
"""Swings of the pressure in the mouthpiece, as shares of that in the mouth: below the first nothing
sounds; below the second, and sung, the reed only follows the voice."""

AROUND_S = 0.08
"""So much before and after the shown stretch is looked at. [s]"""

HOLD = 0.12
"""So much of a played period the caption of a push stays."""

KINDS = (
    *("still", "closed", "follows", "starts"),
    *("opens", "turns", "returns", "shut", "narrow", "turns-low", "rise-returns", "push"),
)
"""Of captions: of a horn that does not sound, or not yet; of one that does, as a period goes."""

_SAYS = {
    "still": "The reed stands open and the breath streams through: nothing sounds",
    "closed": "The breath presses the reed shut: nothing sounds",
    "follows": "The voice alone shakes the air: the reed only follows",
    "starts": "The breath comes, and the sound builds up",
    "opens": "The reed opens: a puff of breath enters, and a rise in pressure leaves down the bore",
    "turns": "The rise reaches the open end: air streams out, and the wave comes back upside down",
    "returns": "The low pressure comes back: now the breath outside presses the reed shut",
    "narrow": "The reed stands at its narrowest: little breath gets in",
    "turns-low": "The low pressure reaches the open end and comes back upside down, as a rise",
    "rise-returns": "The rise comes back and holds against the breath: the reed springs open",
}
_SHUT_IN = {
    False: "The reed is shut: the breath waits outside, the low pressure runs down the bore again",
    True: "The reed is shut: the breath waits outside, the wave turns round at the narrow end",
}
_NARROWS = "The low pressure comes back: now the breath outside presses the reed nearly shut"


_LOW = "shut", "narrow", "turns-low", "rise-returns"
_Said = tuple[float, str, str]


class Caption(NamedTuple):
    """What happens from a frame on, until the next caption."""

    first_frame: int
    kind: str
    """One of `KINDS`."""
    text: str


class _Period(NamedTuple):
    """One period at the reed; all in seconds since the take began."""

    rise: float
    fall: float
    next_rise: float
    opens: float
    """When the reed that was shut is no longer, or the rise."""
    shuts: float | None
    """When the reed is shut after the fall; None if it never is."""


def captions(take: Take, air: BorePressure) -> tuple[Caption, ...]:
    """Say what happens during a stretch.

    Parameters
    ----------
    take : Take
        What was rendered.
    air : BorePressure
        The air in its bore during the stretch.

    Returns
    -------
    tuple of Caption
        By their first frames, of which the first is 0.
    """
    quiet = _quiet(take, air)
    if quiet:
        return (Caption(0, quiet, _SAYS[quiet]),)
    cone = pushes.widens(take.setup)
    found = [(-np.inf, "starts", _SAYS["starts"])]
    periods = _periods(take, air)
    rises = _arrivals(air, [period.rise for period in periods], outward=True)
    falls = _arrivals(air, [period.fall for period in periods], outward=False)
    for period in periods:
        found += _said(period, rises, falls, cone)
    found = sorted(found, key=lambda item: item[0])
    if periods:
        found = _with_pushes(
            found, _pushes(take, air), HOLD * (periods[0].next_rise - periods[0].rise)
        )
    return _on_frames(found, air)


def _quiet(take: Take, air: BorePressure) -> str | None:
    """Name why nothing sounds, if so; a stretch may be shorter than a period."""
    around = round(0.5 * AROUND_S * take.setup.time.rate)
    part = slice(max(int(air.steps[0]) - around, 0), int(air.steps[-1]) + around + 1)
    traces = take.traces
    swing, blown = float(np.ptp(traces.pressure[part])), float(np.abs(take.mouth[part]).mean())
    sung = bool(np.any(take.sung[part])) and mouth.depth(take.setup) > 0.0
    if swing >= (FOLLOWS if sung else STILL) * blown and swing > 0.0:
        return None
    if traces.opening[part].max() < take.setup.reed.shut_below:
        return "closed"
    return "follows" if swing >= STILL * blown and swing > 0.0 else "still"


def _periods(take: Take, air: BorePressure) -> list[_Period]:
    """Return the periods at the reed around a stretch."""
    rate = take.setup.time.rate
    around = round(AROUND_S * rate)
    first = max(int(air.steps[0]) - around, 0)
    part = slice(first, int(air.steps[-1]) + around)
    shut = np.flatnonzero(take.traces.opening[part] < take.setup.reed.shut_below)
    rises, falls = pushes.swings(take.traces.pressure[part])
    cycles = []
    for rise, later in pairwise(rises):
        fall = falls[(falls > rise) & (falls < later)]
        if fall.size:
            cycles.append((rise, fall[0], later))
    middles = [0, *((rise + fall) // 2 for rise, fall, _ in cycles), part.stop]
    runs = [
        _run(shut[(shut >= one) & (shut < other)], rises, one) for one, other in pairwise(middles)
    ]
    found = []
    for (rise, fall, later), (before, after) in zip(cycles, pairwise(runs), strict=True):
        opens = rise if before is None else before[1]
        at = [float(first + step) / rate for step in (rise, fall, later, opens)]
        shuts = None if after is None else float(first + after[0]) / rate
        found.append(_Period(at[0], at[1], at[2], at[3], shuts))
    return found


def _run(shut: NDArray[np.int64], rises: NDArray[np.int64], after: int) -> tuple[int, int] | None:
    """Return when the reed shuts and opens again, out of the steps at which it is shut.

    None if it is not, or opens in between, as a strong voice makes it, long before the next rise.
    """
    if not shut.size:
        return None
    begin, end = int(shut[0]), int(shut[-1]) + 1
    later = rises[rises > after]
    rise = int(later[0]) if later.size else end
    stays = shut.size > max(MOSTLY * (end - begin), HALF * (rise - begin))
    return (begin, end) if stays else None


def _arrivals(air: BorePressure, left: list[float], outward: bool) -> Samples:
    """Return when waves reach the open end, outward flow first for a rise, inward for a fall.

    The flow there tells; beside the stretch, where it is not known, a wave that left the reed takes
    as long as it does inside.
    """
    seen = air.times[pushes.swings(air.outflow)[0 if outward else 1]]
    if not seen.size or not left:
        return seen
    leaving = np.array(left)
    way = float(np.median([at - leaving[leaving < at].max() for at in seen if at > leaving[0]]))
    guessed = leaving + way
    beside = (guessed < air.times[0]) | (guessed > air.times[-1])
    return np.sort(np.concatenate((seen, guessed[beside])))


def _between(times: Samples, after: float, before: float) -> list[float]:
    """Return the first time in between, if there is one."""
    return times[(times > after) & (times < before)][:1].tolist()


def _said(period: _Period, rises: Samples, falls: Samples, cone: bool) -> list[_Said]:
    """Return the captions of one period, each with its time [s]."""
    beats = period.shuts is not None
    closes = period.fall if period.shuts is None else period.shuts
    # In an upper register the rise needs longer than the reed stays open.
    turned = _between(rises, period.rise, period.fall)
    late = [] if turned else _between(rises, period.fall, period.next_rise)
    back = 0.5 * ((turned or [period.rise])[0] + period.fall)
    found = [
        (period.opens, "opens", _SAYS["opens"]),
        (back, "returns", _SAYS["returns"] if beats else _NARROWS),
        (closes, *(("shut", _SHUT_IN[cone]) if beats else ("narrow", _SAYS["narrow"]))),
    ]
    # No wave turns before the reed is said to have sent it.
    found += [(max(at, period.opens), "turns", _SAYS["turns"]) for at in turned + late]
    if not cone:
        low = _between(falls, period.fall, period.next_rise)
        back = 0.5 * ((low or [period.fall])[0] + period.next_rise)
        found += [(max(at, closes), "turns-low", _SAYS["turns-low"]) for at in low]
        found.append((max(back, closes), "rise-returns", _SAYS["rise-returns"]))
    return found


def _pushes(take: Take, air: BorePressure) -> list[_Said]:
    """Return a caption for each push of the voice that meets the open reed."""
    begin, end = float(air.times[0]), float(air.times[-1])
    if not np.any(take.sung) or mouth.depth(take.setup) == 0.0:
        return []
    late = max(min(begin, take.seconds - 1.0), 0.0)
    found = pushes.meetings(take, late, take.seconds - late)
    if found.ratio is None:
        return []
    p, _ = found.ratio
    each = "every push" if p == 1 else f"every {_ordinal(p)} push"
    says = (
        f"The voice adds its push while the reed stands open: {each} comes at this same moment"
        if found.stands
        else f"The voice adds its push while the reed stands open: {each} comes a little "
        f"{'later' if found.drift > 0.0 else 'earlier'}"
    )
    rate, least = take.setup.time.rate, take.setup.reed.shut_below
    shown = found.meets[(found.meets >= begin) & (found.meets <= end)]
    return [
        (float(at), "push", says)
        for at in shown
        if take.traces.opening[min(round(at * rate), take.traces.opening.size - 1)] >= least
    ]


def _with_pushes(found: list[_Said], added: list[_Said], hold: float) -> list[_Said]:
    """Put pushes between the other captions, which wait; a push so near to a shut reed is none."""
    for push in added:
        held = [item for item in found if 0.0 <= item[0] - push[0] < hold]
        if any(kind in _LOW for _, kind, _ in held):
            continue
        rest = [item for item in found if item not in held]
        waiting = [(push[0] + hold, kind, text) for _, kind, text in held[-1:]]
        found = sorted([*rest, push, *waiting], key=lambda item: item[0])
    return found


def _on_frames(found: list[_Said], air: BorePressure) -> tuple[Caption, ...]:
    """Put captions on frames: each on the first one at or after its time; the later one counts."""
    times = [max(time, float(air.times[0])) for time, _, _ in found]
    frames = np.searchsorted(air.times, np.array(times) - 1e-9)
    said: dict[int, tuple[str, str]] = {}
    for frame, (_, kind, text) in zip(frames.tolist(), found, strict=True):
        if frame < air.times.size:
            said[frame] = kind, text
    kept: list[Caption] = []
    for frame in sorted(said):
        kind, text = said[frame]
        if not kept or kept[-1].kind != kind:
            kept.append(Caption(frame, kind, text))
    return tuple(kept)


def _ordinal(number: int) -> str:
    return f"{number}{ {2: 'nd', 3: 'rd'}.get(number, 'th') }"
