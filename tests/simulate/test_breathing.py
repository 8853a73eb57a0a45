"""A breath that is never still: noise of the jet at the reed, and slow movement."""

import math

import numpy as np
import pytest

from reedbore.errors import ReedboreError
from reedbore.measures import timbre
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz
from reedbore.physics.unsteady import SWAY_HZ, slow_sway
from reedbore.report import verdict as telling
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.request.passage import read_passage
from reedbore.simulate.request.take import Words, read_request, tune_request
from reedbore.simulate.take import again, held_still, render
from reedbore.simulate.tuning import tune
from reedbore.verdict.take import judge

F3 = midi_to_hz(53)


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return tune(load_horn("tenor-saxophone"), F3)


def moving(setup: Setup, air: float = 0.0, sway: float = 0.0, seed: int = 0) -> Setup:
    for name, value in (("air", air), ("sway", sway), ("seed", seed)):
        setup = setup.with_value(f"breath.{name}", value)
    return setup


def held(setup: Setup, seconds: float = 2.5) -> np.ndarray:
    return render(setup, seconds).sound[-round(1.8 * SOUND_RATE) :]


def test_sway_is_slow_of_rms_1_and_begins_alike():
    time = np.arange(60000) / 100.0
    sway = slow_sway(time, np.random.default_rng(3))
    assert np.sqrt(np.mean(sway**2)) == pytest.approx(1.0, rel=0.02)
    assert abs(sway.mean()) < 0.02
    power = np.abs(np.fft.rfft(sway)) ** 2
    fast = np.fft.rfftfreq(time.size, 0.01) > 1.05 * max(SWAY_HZ)
    assert power[fast].sum() < 1e-3 * power.sum()
    assert np.array_equal(sway[:500], slow_sway(time[:500], np.random.default_rng(3)))


@pytest.mark.parametrize("air", [0.01, 0.0316])
def test_noise_of_the_jet_is_heard_as_on_recorded_notes(tenor: Setup, air: float):
    # Recorded saxophone notes of freely available sample sets: 28 to 34 dB of harmonics over noise
    # (measured by the same measure). Ten decibels less for ten decibels more of noise.
    found = timbre.harmonics_to_noise(held(moving(tenor, air)), SOUND_RATE, F3)
    assert found == pytest.approx(31.0 - 20.0 * math.log10(air / 0.01), abs=3.0)


def test_a_still_breath_is_far_cleaner(tenor: Setup):
    assert timbre.harmonics_to_noise(held(tenor), SOUND_RATE, F3) > 60.0


def test_sway_moves_partials_and_pitch_as_on_recorded_notes(tenor: Setup):
    # The same recorded notes: 0.7 to 2.1 dB and 0.8 to 3.2 cents; here on one note with some room.
    still = timbre.movement(held(tenor), SOUND_RATE, F3)
    found = timbre.movement(held(moving(tenor, sway=0.04)), SOUND_RATE, F3)
    assert still.level_db < 0.01
    assert 0.5 < found.level_db < 3.0
    assert 0.4 < found.pitch_cents < 3.2


def test_the_same_seed_breathes_alike_to_the_last_bit_and_another_does_not(tenor: Setup):
    one, same, other = (render(moving(tenor, 0.01, 0.04, seed), 0.3).sound for seed in (1, 1, 2))
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


def test_no_air_and_no_sway_is_the_still_breath_to_the_last_bit(tenor: Setup):
    assert np.array_equal(render(moving(tenor, seed=7), 0.3).sound, render(tenor, 0.3).sound)
    assert held_still(moving(tenor, 0.01, 0.04)).breath == tenor.breath
    runs = [again(one, 0.3).traces.pressure for one in (moving(tenor, 0.01, 0.04), tenor)]
    assert np.array_equal(*runs)


def test_where_nothing_is_blown_there_is_no_noise(tenor: Setup):
    silent = moving(tenor, 0.1).with_value("breath.pressure_kpa", 0.0)
    assert np.abs(render(silent, 0.2).sound).max() < 1e-20


def test_the_state_is_judged_on_the_breath_held_still_and_that_is_told():
    words = Words(
        fingered="F3",
        sung="2/1",
        settings=("breath.air=0.01", "breath.sway=0.04", "tract.coupling=off"),
    )
    request = tune_request(read_request(words))
    take = render(request.setup, 2.0)
    found, still = judge(take), judge(render(held_still(request.setup), 2.0))
    assert (found.state, found.played_hz) == (still.state, still.played_hz)
    told = dict(telling.rows(request, take, found))
    assert told["player"].endswith("the state is that of the same breath held still")
    plain = telling.rows(request, render(held_still(request.setup), 2.0), still)
    assert "player" not in dict(plain)


def test_a_passage_says_that_it_is_still():
    with pytest.raises(ReedboreError, match="move single takes, and this is a passage"):
        read_passage(Words(fingered="F3:1", settings=("breath.air=0.01",)), None)
