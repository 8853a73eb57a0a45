"""Taking one microphone's sound out of another's: made sounds whose parts are known."""

import numpy as np
import pytest
from made_mixtures import RATE, clock, mixed, noise, tone

from reedbore.measures import bleed

F1, F2 = 116.54, 291.35


def through(samples: np.ndarray) -> np.ndarray:
    """A short way: delayed, dulled, softer."""
    response = np.concatenate((np.zeros(14), 0.3 * 0.6 ** np.arange(10)))
    return np.convolve(samples, response)[: samples.size]


def level(samples: np.ndarray) -> float:
    return 20.0 * np.log10(float(np.std(samples[2000:])))


def test_noise_that_came_a_short_way_is_taken_away() -> None:
    horn = noise(24000, 1.0)
    heard = through(horn)
    assert level(bleed.without(heard, horn, RATE)) < level(heard) - 30.0


def test_what_is_found_where_only_the_horn_sounds_serves_where_both_do() -> None:
    horn, voice = noise(24000, 1.0), tone(F2 * clock(2.0), 8.0)
    quiet = noise(24000, 1.0, 5)
    left = bleed.without(through(horn) + voice, horn, RATE, (through(quiet), quiet))
    assert level(left - voice) < level(through(horn)) - 30.0


def test_a_voice_between_the_partials_stays() -> None:
    t = clock(1.0)
    horn, voice = mixed(tone(F1 * t), tone(F2 * t)), 0.2 * tone(F2 * t, 12.0)
    left = bleed.without(through(horn) + voice, bleed.partials_alone(horn, RATE, F1), RATE)
    line = np.exp(-2j * np.pi * F2 * t) * np.hanning(t.size)
    assert abs(left @ line) == pytest.approx(abs(voice @ line), rel=0.1)


def test_partials_alone_are_a_note_without_its_mixture() -> None:
    t = clock(1.0)
    horn = tone(F1 * t, 6.0)
    kept = bleed.partials_alone(mixed(horn, tone(F2 * t)), RATE, F1)
    window = np.hanning(t.size)
    between = abs((window * kept) @ np.exp(-2j * np.pi * 2.5 * F1 * t))
    before = abs((window * mixed(horn, tone(F2 * t))) @ np.exp(-2j * np.pi * 2.5 * F1 * t))
    assert between < 0.03 * before


def test_silence_takes_nothing_away() -> None:
    heard = noise(6000, 1.0)
    assert bleed.without(heard, np.zeros(6000), RATE) == pytest.approx(heard - heard.mean())
