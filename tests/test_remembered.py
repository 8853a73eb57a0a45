"""Results that are kept, and handed over."""

import pytest

from reedbore.remembered import Made, hand_over, recording, remembered


@pytest.fixture
def asked() -> list[int]:
    return []


@pytest.fixture
def double(asked: list[int]):
    @remembered(2)
    def double(number: int) -> int:
        asked.append(number)
        if number < 0:
            raise ValueError(number)
        return 2 * number

    return double


def test_a_result_is_made_once_and_the_oldest_is_forgotten(double, asked: list[int]):
    assert [double(1), double(1), double(2), double(3), double(1)] == [2, 2, 4, 6, 2]
    assert asked == [1, 2, 3, 1]


def test_what_is_made_is_listed_and_what_was_known_is_not(double):
    double(1)
    with recording() as made:
        double(1)
        double(2)
    double(3)
    assert made == [Made(double.name, (2,), 4)]


def test_what_was_handed_over_is_not_made_and_changes_nothing_that_is_known(
    double, asked: list[int]
):
    double(1)
    hand_over([Made(double.name, (1,), 7), Made(double.name, (5,), 11), Made("nobody", (), 0)])
    assert (double(1), double(5)) == (2, 11)
    assert asked == [1]
    double.cache_clear()
    assert double(5) == 10


def test_a_failure_is_raised_each_time_and_is_not_listed(double, asked: list[int]):
    with recording() as made:
        for _ in range(2):
            with pytest.raises(ValueError, match="-1"):
                double(-1)
    assert made == []
    assert asked == [-1, -1]
