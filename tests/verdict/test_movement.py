"""What moving breath and lip make of a verdict, given the beat of the sound: no run is made."""

from dataclasses import replace

import numpy as np
import pytest

from reedbore.measures.locking import Course
from reedbore.verdict.movement import as_written
from reedbore.verdict.result import NO_CONTROL, Verdict, bare
from reedbore.verdict.state import Movement, State, late

LOCKED = replace(bare(State.LOCKED, NO_CONTROL), drift_hz=0.0)


def told(verdict: Verdict, seconds: float, gone: float, until: float) -> Verdict:
    """What is told of a beat that goes so many cycles in its beginning, and then rests."""
    times = np.linspace(1.0, 1.0 + seconds, 401)
    cycles = gone * np.minimum((times - 1.0) / until, 1.0)
    return as_written(verdict, lambda: Course(times, cycles, 100.0), jumped=False)


@pytest.mark.parametrize(
    ("seconds", "left_out"), [(8.0, 0.5), (4.0, 0.5), (1.6, 0.4), (0.8, 0.2)]
)  # fmt: skip
def test_half_a_second_is_left_out_or_a_quarter_of_a_shorter_sound(seconds, left_out):
    kept = told(LOCKED, seconds, 8.0, 0.98 * left_out)
    assert (kept.movement, kept.drift_hz) == (Movement.KEEPS, 0.0)
    # Of eight cycles until then 1.3 come after what is left out.
    assert told(LOCKED, seconds, 8.0, 1.2 * left_out).movement == Movement.PARTS


@pytest.mark.parametrize(
    ("gone", "movement"), [(0.99, Movement.KEEPS), (1.01, Movement.PARTS), (-1.01, Movement.PARTS)]
)
def test_a_beat_that_goes_a_whole_cycle_has_left_its_lock(gone, movement):
    # Of a sound of 4 s that goes evenly, 3.5 s are looked at.
    found = told(LOCKED, 4.0, gone * 4.0 / 3.5, 4.0)
    assert found.movement == movement
    parts = movement == Movement.PARTS
    assert found.drift_hz == pytest.approx(gone / 3.5 if parts else 0.0, rel=0.02)


def test_a_beat_that_was_no_lock_is_told_as_it_sounds():
    found = told(replace(LOCKED, state=State.DRIFTING, drift_hz=3.0), 4.0, 8.0, 4.0)
    assert (found.state, found.movement) == (State.DRIFTING, Movement.KEEPS)
    assert found.drift_hz == pytest.approx(2.0)


@pytest.mark.parametrize(
    "changes", [{"drift_hz": None}, {"jumped": True}, {"reason": late(6.0)}], ids=str
)
def test_a_beat_that_tells_nothing_is_not_asked_for(changes):
    verdict = replace(LOCKED, **changes)
    found = as_written(verdict, lambda: pytest.fail("not asked"), jumped=verdict.jumped)
    assert found == replace(verdict, movement=Movement.KEEPS)
