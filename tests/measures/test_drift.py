"""The mean drift of made courses, on either side of what it tells apart."""

import numpy as np
import pytest

from reedbore.measures.drift import mean_drift

TIMES = np.linspace(0.0, 10.0, 101)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize(("cycles", "hz"), [(0.49, 0.0), (0.51, 0.051), (0.99, 0.099)])
def test_a_course_that_has_gone_less_than_half_a_cycle_counts_by_its_later_half(
    cycles: float, hz: float, way: float
) -> None:
    # It goes so far in two seconds, and then stays: on the way to a lock, or from slip to slip.
    course = way * cycles * np.minimum(TIMES / 2.0, 1.0)
    assert mean_drift(TIMES, course) == pytest.approx(way * hz)


def test_whole_slips_before_the_end_count_from_where_the_first_begins() -> None:
    # Two slips within a step each, and dwells around them: two cycles from 1.9 s to 10 s.
    course = np.interp(TIMES, [1.95, 2.05, 5.95, 6.05], [0.0, 1.0, 1.0, 2.0])
    assert mean_drift(TIMES, course) == pytest.approx(2.0 / 8.1)
