"""What moving breath and lip make of a verdict that was found on the same horn held still.

In: a verdict, and what was measured on the sound that is written. Out: the verdict with the beat of
that sound, and whether it left a lock. State, pitches and lock range stay those of the still horn:
no lock outlasts noise for ever, and none could be pulled to see.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from reedbore.measures.drift import mean_drift
from reedbore.measures.locking import Course
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import LATE, Movement, State

START_S, START_SHARE = 0.5, 0.25
"""So much of the beginning is left out, and at most so much of the whole."""

PARTED_CYCLES = 1.0
"""A beat that goes so far in a sound has left its lock, by the rule of `measures.locking`."""


def as_written(verdict: Verdict, course: Callable[[], Course], *, jumped: bool) -> Verdict:
    """Add to a verdict on the still horn what breath and lip make of it that move.

    Parameters
    ----------
    verdict : Verdict
        Of the horn held still; what is heard, of the sound that is written.
    course : callable
        Gives the beat p·f_played - q·f_sung of the sound that is written; asked only where the
        still horn has one.
    jumped : bool
        Whether the horn that moves has left its register.

    Returns
    -------
    Verdict
        Its drift that of the written sound, 0 in a lock that is not left.
    """
    if jumped != verdict.jumped:
        return replace(verdict, movement=Movement.JUMPS)
    late = (verdict.reason or "").startswith(LATE)
    if verdict.drift_hz is None or verdict.jumped or late:
        return replace(verdict, movement=Movement.KEEPS)
    seen = course()
    whole = float(seen.times[-1] - seen.times[0])
    begun = seen.times >= seen.times[0] + min(START_S, START_SHARE * whole)
    drift = mean_drift(seen.times[begun], seen.cycles[begun])
    if verdict.state != State.LOCKED:
        return replace(verdict, movement=Movement.KEEPS, drift_hz=drift)
    if np.ptp(seen.cycles[begun]) < PARTED_CYCLES:
        return replace(verdict, movement=Movement.KEEPS)
    return replace(verdict, movement=Movement.PARTS, drift_hz=drift)
