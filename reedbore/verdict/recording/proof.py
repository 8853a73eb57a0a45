"""What proves that two notes in step are locked."""

from dataclasses import replace

from reedbore.measures import (
    two_notes,
)
from reedbore.verdict.recording.found import Found
from reedbore.verdict.recording.reasons import APART, FAINT, HIDDEN, PROVEN, STILL_VOICE
from reedbore.verdict.result import FUSED_HZ
from reedbore.verdict.state import State

IN_STEP = 0.25
"""A beat that moves by no more from end to end keeps step. [cycles]"""

OWN_WANDER = 0.5
"""A voice that strays by so much would have left a horn that does not go along. [cycles]"""

MIXED_DB, APART_DB = 10.0, 6.0
"""Lines n·f1 ± f2 that stand so far above the floor prove that a reed mixed both notes; below the
second there are none to be seen. In a second at 30 dB over the noise takes came to 13.8 and more,
horn and voice merely added up to 4.6 at most; in two seconds one such sum reached 11.1."""


def interaction(seen: two_notes.Look, row: Found, sung: float) -> float | None:
    """Measure it where it can be measured: not where one note is a partial of the other."""
    if row.ratio is not None and 1 in row.ratio:
        return None
    return two_notes.interaction(seen, row.played_hz, sung)


def judged(row: Found, *, keeps: bool) -> Found:
    """Say what became of two notes near a ratio."""
    assert row.drift_hz is not None
    if not keeps:
        state = State.DRIFTING if abs(row.drift_hz) < FUSED_HZ else State.ROUGH
        return replace(row, state=state)
    why = _unproven(row)
    return replace(row, state=State.UNDECIDED if why else State.LOCKED, reason=why)


def _unproven(row: Found) -> str | None:
    """Say why notes in step are not proven to be locked; None if they are."""
    if row.interaction_db is None:
        return f"{PROVEN}: {HIDDEN}"
    if row.interaction_db < MIXED_DB:
        return f"{PROVEN}: {APART if row.interaction_db < APART_DB else FAINT}"
    if row.wander is None or row.wander < OWN_WANDER:
        return f"{PROVEN}: {STILL_VOICE}"
    return None
