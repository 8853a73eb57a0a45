import numpy as np
import pytest

from reedbore.physics import pitch_control
from reedbore.physics.pitch_control import DELAY_S, EVERY_S, GAIN, LEAK, MOST_CENTS, corrected

LATE = round(DELAY_S / EVERY_S)


def answers(shift, held=0.0):
    """What is sung [cents] while what is heard is shifted so, the voice held by so much."""
    sung = np.zeros(shift.size)
    tension = 0.0
    for n in range(1, shift.size):
        heard = sung[n - LATE] + shift[n - LATE] if n >= LATE else 0.0
        tension = corrected(tension, -heard, EVERY_S)
        sung[n] = held if held else tension
    return sung if not held else np.array([tension])


def pulse(height, seconds=0.2):
    shift = np.zeros(200)
    shift[50 : 50 + round(seconds / EVERY_S)] = height
    return shift


def test_a_short_shift_of_50_cents_is_answered_by_15_a_third_of_a_second_later():
    # H. Liu and C. R. Larson, J. Acoust. Soc. Am. 122(6), 3671-3677, 2007: 13 to 16 cents. The
    # time of the peak was computed with this loop.
    answer = answers(pulse(50.0))
    assert answer.min() == pytest.approx(-15.0, abs=1.0)
    assert (int(np.argmin(answer)) - 50) * EVERY_S == pytest.approx(0.32, abs=0.02)


def test_larger_shifts_are_answered_no_more():
    # The same: 100 % of 10 cents, 37 % of 50.
    found = [-answers(pulse(height)).min() for height in (10.0, 20.0, 50.0, 100.0)]
    assert found[0] == pytest.approx(7.7, abs=0.5)
    assert found[1] == pytest.approx(14.4, abs=0.8)
    assert found[3] == found[2]


def test_a_shift_that_lasts_is_answered_in_part():
    assert -answers(pulse(50.0, 1.5))[195] == pytest.approx(35.7, abs=1.0)


def test_a_voice_that_is_held_off_its_aim_is_not_wound_up_without_end():
    limit = MOST_CENTS * GAIN / LEAK
    assert limit == 45.0
    for held in (20.0, 60.0, 600.0):
        assert answers(np.zeros(3000), held)[0] == pytest.approx(-limit, rel=1e-6)
    assert answers(np.zeros(3000), 5.0)[0] == pytest.approx(-12.5, rel=1e-6)


def test_the_loop_is_stable_with_more_than_twice_its_gain(monkeypatch):
    monkeypatch.setattr(pitch_control, "GAIN", 2.4 * GAIN)
    answer = answers(np.full(2000, 5.0))
    assert np.ptp(answer[-200:]) < 0.1
    monkeypatch.setattr(pitch_control, "GAIN", 3.2 * GAIN)
    assert np.ptp(answers(np.full(2000, 5.0))[-200:]) > 5.0
