"""Programme loudness, against the values of the standards, on silence, and on a take."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from reedbore.measures.loudness import (
    HEAD,
    HEAD_BACK,
    HIGH_PASS,
    HIGH_PASS_BACK,
    RATE,
    loudness,
    weighted,
)
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.simulate.outside import levelled
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

TIME = np.arange(20 * RATE) / RATE


def sine(hz, level_db):
    return 10.0 ** (level_db / 20.0) * np.sin(2.0 * math.pi * hz * TIME)


def test_a_sine_at_full_scale_has_the_loudness_of_the_standard():
    # ITU-R BS.1770-4, annex 1: 997 Hz at 0 dB FS in one channel reads -3.01 LKFS.
    assert loudness(sine(997.0, 0.0)) == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize("level_db", [-23.0, -33.0])
def test_a_sine_at_1_khz_in_two_channels_reads_its_level(level_db):
    # EBU Tech 3341, cases 1 and 2: a sine at -23 and -33 dB FS in both channels reads so many LUFS,
    # within 0.1; one channel alone half of that power.
    found = loudness(sine(1000.0, level_db)) + 10.0 * math.log10(2.0)
    assert found == pytest.approx(level_db, abs=0.1)


def test_pauses_and_faint_ends_do_not_count():
    # EBU Tech 3341, case 3: 10 s at -36, 60 s at -23, 10 s at -36 dB FS read -23 (here in parts).
    parts = [sine(1000.0, -36.0)[: 10 * RATE], *[sine(1000.0, -23.0)] * 3]
    parts += [sine(1000.0, -36.0)[: 10 * RATE], np.zeros(5 * RATE)]
    found = loudness(np.concatenate(parts)) + 10.0 * math.log10(2.0)
    assert found == pytest.approx(-23.0, abs=0.1)


def test_low_tones_count_less():
    # The high-pass and the shelf of the standard: 60 Hz far below 1 kHz, 4 kHz above it.
    low, middle, high = (loudness(sine(hz, -20.0)) for hz in (40.0, 1000.0, 4000.0))
    assert low < middle - 3.0
    assert 2.0 < high - middle < 4.0


def test_a_sound_is_weighted_as_the_filters_of_the_standard_do():
    # Rival: scipy.signal.lfilter, with the coefficients of tables 1 and 2. A click near the end
    # rings on beyond it, and must not come back at the beginning.
    sound = np.zeros(4800)
    sound[[100, 4790]] = 1.0, -0.7
    wanted = lfilter(HIGH_PASS, HIGH_PASS_BACK, lfilter(HEAD, HEAD_BACK, sound))
    assert weighted(sound) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("samples", [np.zeros(RATE), np.zeros(0), 1e-6 * np.ones(RATE)])
def test_silence_has_no_loudness(samples):
    assert loudness(samples) == -math.inf


@pytest.mark.parametrize(("lufs", "silent"), [(-69.5, False), (-70.5, True)])
def test_what_stays_below_70_lufs_is_silence(lufs, silent):
    # ITU-R BS.1770-4: blocks below -70 LKFS do not count.
    found = loudness(sine(997.0, lufs + 3.01)[:RATE])
    assert found == -math.inf if silent else found == pytest.approx(lufs, abs=0.01)


def test_takes_of_two_horns_are_matched():
    found = []
    for name, midi in (("tenor-saxophone", 53), ("clarinet-b-flat", 53)):
        sound = render(tune(load_horn(name), midi_to_hz(midi)), 1.0).sound
        true, _ = levelled(sound)
        matched, level = levelled(sound, matched=True)
        assert level["gain_db"] == pytest.approx(loudness(matched) - loudness(true), abs=0.01)
        found.append((loudness(true), loudness(matched)))
    (tenor, tenor_matched), (clarinet, clarinet_matched) = found
    assert tenor - clarinet > 10.0
    assert tenor_matched == pytest.approx(clarinet_matched, abs=0.1)
    assert tenor_matched == pytest.approx(-23.0, abs=0.1)
