"""The loop of a pair that drifts beats as often as the pair does."""

import numpy as np
import pytest

from reedbore.measures import pitch
from reedbore.measures.drift import mean_drift
from reedbore.page import api, loop
from reedbore.page.answers import request_of
from reedbore.page.request import read_words
from reedbore.simulate.take import again
from reedbore.verdict import runs

LONG_S = 12.0


def true_beat(words: dict) -> float:
    """Follow the two phases for a long time, and return how often they slip in a second."""
    request = request_of(read_words(words))
    hz = request.setup.voice.frequency
    ratio = loop.notes.choose_ratio(hz / request.typed.fingered_hz, 20.0, 8)
    assert ratio is not None
    run = again(request.setup, LONG_S)
    late = round(loop.SETTLED_S * request.setup.time.rate)
    pressure, rate = pitch.thin(run.traces.pressure[late:], request.setup.time.rate)
    sung, _ = pitch.thin(run.sung[late:], request.setup.time.rate)
    course = runs.beat(pressure, sung, rate, hz, ratio, 20.0)
    return abs(mean_drift(course.times, course.cycles))


@pytest.mark.parametrize("sung", ["D4-12.6c", "F3-10c"])
def test_a_loop_holds_whole_beats_within_one_in_a_hundred(sung: str) -> None:
    words = {"fingered": "Bb2", "sung": sung}
    answer = api.sound({"words": words})
    length = float(answer.headers["x-loop-end"]) - float(answer.headers["x-loop-start"])
    beat = true_beat(words)
    beats = length * beat
    assert beats > 0.9
    assert beats == pytest.approx(round(beats), rel=0.01)


def test_a_loop_of_two_notes_that_keep_step_is_as_short_as_ever() -> None:
    answer = api.sound({"words": {"fingered": "Bb2", "sung": "D4-13.8c"}})
    assert float(answer.headers["x-loop-end"]) == pytest.approx(api.SOUND_S)


def test_a_beat_too_slow_to_be_held_is_not_bent() -> None:
    sound = np.sin(0.05 * np.arange(48000.0))
    slow = loop.Beat(0.02, 0.017)
    assert slow.wanted > loop.LONGEST_S
    whole = loop.looped(sound, 8000.0, slow)
    assert (whole.first, whole.end) == (0, sound.size)
    assert abs(whole.sound[-1]) < 1e-6
    assert np.array_equal(whole.sound[:40000], sound[:40000])
