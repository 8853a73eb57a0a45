"""The colour of a tone, on made tones whose answers are known, on silence, and on a take."""

import math

import numpy as np
import pytest

from reedbore.measures import timbre
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

RATE, HZ = 48000, 220.0
TIME = np.arange(2 * RATE) / RATE


def tone(levels, hz=HZ, phase=None):
    """Partials of given amplitudes; `phase` [rad] turns the first as time goes, others with it."""
    turn = 2.0 * math.pi * hz * TIME if phase is None else phase
    return sum(size * np.sin(k * turn) for k, size in enumerate(levels, 1))


def test_partials_and_centroid_of_a_made_tone():
    # Definition: (1·220 + 0.5·440 + 0.25·660) / 1.75 Hz.
    found = timbre.partials(tone([1.0, 0.5, 0.25]), RATE, HZ)
    assert found.size == int(timbre.HIGHEST_HZ / HZ)
    assert found[:3] == pytest.approx([1.0, 0.5, 0.25], abs=1e-4)
    assert timbre.centroid(found, HZ) == pytest.approx(605.0 / 1.75, rel=1e-3)


def test_share_of_some_partials():
    # Definition: amplitudes 3 and 4 over 0.5: ten times the amplitude.
    assert timbre.share_db(np.array([3.0, 4.0]), np.array([0.5])) == pytest.approx(20.0)


@pytest.mark.parametrize("level_db", [-20.0, -30.0, -50.0])
def test_noise_of_a_known_level_is_found(level_db):
    # White noise of a known power up to 24 kHz, a third of which lies below 8 kHz.
    noise = np.random.default_rng(5).standard_normal(TIME.size)
    clean = tone([1.0])
    noise *= math.sqrt(0.5) * 10.0 ** (level_db / 20.0)
    wanted = -level_db - 10.0 * math.log10(timbre.AIR_HZ / (RATE / 2))
    assert timbre.harmonics_to_noise(clean + noise, RATE, HZ) == pytest.approx(wanted, abs=0.5)


def test_a_clean_tone_has_no_noise():
    assert timbre.harmonics_to_noise(tone([1.0, 0.3, 0.1]), RATE, HZ) > 70.0


@pytest.mark.parametrize("levels", [[1.0, 0.5], [0.001, 1.0, 0.5]])
def test_movement_of_a_swelling_vibrato_is_its_own(levels):
    # Definition: a sine has a standard deviation of its amplitude over √2: 1 dB and 10 cents here,
    # slow against the frames.
    slow = np.sin(2.0 * math.pi * TIME)
    hz = HZ * 2.0 ** (10.0 * slow / 1200.0)
    made = tone(levels, phase=2.0 * math.pi * np.cumsum(hz) / RATE) * 10.0 ** (slow / 20.0)
    found = timbre.movement(made, RATE, HZ)
    assert found.level_db == pytest.approx(1.0 / math.sqrt(2.0), rel=0.05)
    assert found.pitch_cents == pytest.approx(10.0 / math.sqrt(2.0), rel=0.05)


@pytest.mark.parametrize(("order", "level_db"), [(8, 0.5 / math.sqrt(2.0)), (9, 0.0)])
def test_levels_of_the_first_eight_partials_count(order, level_db):
    # One of two strong partials swells by 1 dB either way.
    swells = 10.0 ** (np.sin(2.0 * math.pi * TIME) / 20.0)
    found = timbre.movement(tone([1.0]) + swells * tone([*(order - 1) * [0.0], 1.0]), RATE, HZ)
    assert found.level_db == pytest.approx(level_db, rel=0.05, abs=1e-3)


def test_a_still_tone_does_not_move_though_its_pitch_is_not_quite_known():
    found = timbre.movement(tone([1.0, 0.5], hz=HZ * 1.002), RATE, HZ)
    assert found.level_db < 0.01
    assert found.pitch_cents < 0.01


def test_silence_has_no_colour():
    silence = np.zeros(RATE)
    found = timbre.partials(silence, RATE, HZ)
    assert not found.any()
    assert math.isnan(timbre.centroid(found, HZ))
    assert math.isnan(timbre.harmonics_to_noise(silence, RATE, HZ))
    assert timbre.movement(silence, RATE, HZ) == (0.0, 0.0)
    for part, whole in ((found, found), (found, np.ones(3)), (np.ones(3), found)):
        assert timbre.share_db(part, whole) == -300.0


def test_a_take_is_a_still_tone_of_its_pitch():
    hz = midi_to_hz(53)
    sound = render(tune(load_horn("tenor-saxophone"), hz), 2.0).sound[-SOUND_RATE:]
    assert timbre.movement(sound, SOUND_RATE, hz).pitch_cents < 0.1
    assert 2.0 * hz < timbre.centroid(timbre.partials(sound, SOUND_RATE, hz), hz) < 12.0 * hz
