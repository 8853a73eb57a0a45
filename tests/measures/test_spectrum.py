"""Spectra against sums of known sinusoids, silence, a general library and a spoken recording."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import windows

from reedbore import sound
from reedbore.measures.spectrum import (
    AT_ONCE,
    Lines,
    blackman_harris,
    decibel,
    harmonic_amplitudes,
    line_share,
    line_shares,
    lines,
    lines_of,
    spectrogram,
    spectrum,
)

RATE = 48000
TIME = np.arange(2 * RATE) / RATE
NOISE = np.random.default_rng(1).normal(size=2 * RATE)
SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils


def tones(*pairs: tuple[float, float]) -> NDArray:
    wave = np.zeros(len(TIME))
    for index, (hz, amplitude) in enumerate(pairs):
        wave += amplitude * np.cos(2.0 * np.pi * hz * TIME + 1.7 * index)
    return wave


def test_window_is_that_of_a_general_library() -> None:
    # scipy.signal.windows.blackmanharris, sampled at whole points where ours is at half points;
    # F. J. Harris, Proc. IEEE 66(1), 51-83, 1978.
    assert blackman_harris(64) == pytest.approx(windows.blackmanharris(129)[1::2], abs=1e-12)


def test_level_of_silence_is_a_number() -> None:
    assert decibel(np.array([0.0, 0.1, 1.0])) == pytest.approx([-300.0, -20.0, 0.0])


@pytest.mark.parametrize("amplitude", [1.0, 3e-5])
@pytest.mark.parametrize("hz", [100.0, 12345.5])
def test_line_on_the_grid_has_its_own_amplitude(amplitude: float, hz: float) -> None:
    grid = spectrum(tones((hz, amplitude)), RATE)
    at = int(np.argmax(grid.amplitude))
    assert grid.hz[at] == pytest.approx(hz, abs=1e-9)
    assert grid.amplitude[at] == pytest.approx(amplitude, rel=1e-6)


def test_windowed_spectrum_keeps_its_side_lobes_92_db_down() -> None:
    # Harris 1978, table I: highest side lobe of the four-term window -92 dB.
    grid = spectrum(tones((1000.25, 1.0)), RATE, padding=4)
    far = np.abs(grid.hz - 1000.25) > 4.0 * RATE / len(TIME)
    assert decibel(grid.amplitude[far]).max() == pytest.approx(-92.0, abs=0.5)


@pytest.mark.parametrize("seed", range(5))
def test_lines_between_the_bins_are_found_exactly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hz = np.sort(200.0 * np.arange(1, 21) + rng.uniform(-50.0, 50.0, 20))
    amplitude = 10.0 ** rng.uniform(-2.5, 0.0, 20)
    found = lines(tones(*zip(hz, amplitude, strict=True)), RATE)
    assert found.hz == pytest.approx(hz, abs=0.01 * RATE / len(TIME))
    assert decibel(found.amplitude) == pytest.approx(decibel(amplitude), abs=0.02)


def test_lines_below_the_floor_are_left_out() -> None:
    wave = tones((300.0, 1.0), (500.0, 1e-2), (700.0, 2e-4))
    assert lines(wave, RATE, floor_db=-45.0).hz == pytest.approx([300.0, 500.0], abs=0.01)
    assert lines(wave, RATE, floor_db=-80.0).hz == pytest.approx([300.0, 500.0, 700.0], abs=0.01)


@pytest.mark.parametrize("wave", [np.zeros(RATE), np.full(RATE, 0.3)])
def test_sound_at_rest_has_no_lines(wave: NDArray) -> None:
    assert len(lines(wave, RATE).hz) == 0
    assert line_share(wave, RATE, 110.0, 165.0, 5).share == pytest.approx(0.0, abs=1e-9)


def test_lines_follow_the_unit_of_the_samples_and_of_the_rate() -> None:
    wave = tones((300.0, 1.0), (450.0, 0.2))
    found, louder, faster = lines(wave, RATE), lines(1e3 * wave, RATE), lines(wave, 2 * RATE)
    assert louder.amplitude == pytest.approx(1e3 * found.amplitude, rel=1e-9)
    assert faster.hz == pytest.approx(2.0 * found.hz, rel=1e-12)


def test_combinations_of_two_notes_hold_all_energy_of_their_own_lattice() -> None:
    pairs = [(abs(116.54 * n + 173.1 * m), 0.5 ** abs(n + m)) for n in range(5) for m in (-3, 2)]
    share, covered = line_share(tones(*pairs), RATE, 116.54, 173.1, 5)
    assert share > 0.9999
    assert covered < 0.02


def test_combinations_of_two_notes_hold_little_of_another_lattice() -> None:
    pairs = [(abs(121.0 * n + 190.7 * m), 1.0) for n in range(1, 5) for m in (-3, 2)]
    assert line_share(tones(*pairs), RATE, 116.54, 173.1, 3).share < 0.2


@pytest.mark.parametrize("orders", [3, 10])
def test_noise_lies_in_lines_only_as_far_as_they_cover_the_band(orders: int) -> None:
    share, covered = line_share(NOISE, RATE, 116.54, 173.1, orders)
    assert share == pytest.approx(covered, rel=0.15)


def test_many_orders_in_a_short_sound_cover_much_of_the_band() -> None:
    assert line_share(NOISE[:4800], RATE, 116.54, 173.1, 40).covered > 0.3


def test_harmonics_have_their_amplitudes() -> None:
    strengths = [0.5, 0.01, 0.2, 0.05]
    wave = tones(*((110.3 * k, a) for k, a in enumerate(strengths, 1)), (77.0, 1.0))
    assert harmonic_amplitudes(wave, RATE, 110.3, 4) == pytest.approx(strengths, rel=1e-3)


def test_harmonics_from_the_nyquist_frequency_up_are_nothing() -> None:
    # The third lies on it; the fourth, 32 kHz, would be heard as the second.
    wave = tones((8000.0, 1.0), (16000.0, 0.5), (24000.0, 0.5))
    found = harmonic_amplitudes(wave, RATE, 8000.0, 4)
    assert found == pytest.approx([1.0, 0.5, 0.0, 0.0], abs=1e-6)


def test_sounds_side_by_side_are_looked_at_as_each_alone() -> None:
    # Bit for bit, in more than one part, silence among them.
    rng = np.random.default_rng(3)
    count = AT_ONCE + 7
    time = np.arange(1500) / 12000.0
    f1, f2 = rng.uniform(80.0, 300.0, count), rng.uniform(100.0, 900.0, count)
    both = np.sin(2.0 * np.pi * f1[:, None] * time) + np.sin(2.0 * np.pi * f2[:, None] * time)
    sounds = both + rng.uniform(0.0, 1.0, (count, 1)) * rng.standard_normal((count, time.size))
    sounds[3] = 0.0
    shares, covered = line_shares(sounds, 12000.0, f1, f2, 4)
    alone = [line_share(*one, 4) for one in zip(sounds, [12000.0] * count, f1, f2, strict=True)]
    assert [*zip(shares.tolist(), covered.tolist(), strict=True)] == alone
    whose, found = lines_of(sounds, 12000.0, -30.0)
    for k in range(count):
        own = lines(sounds[k], 12000.0, -30.0)
        assert np.array_equal(found.hz[whose == k], own.hz)
        assert np.array_equal(found.amplitude[whose == k], own.amplitude)


def test_harmonics_of_silence_are_nothing() -> None:
    assert not harmonic_amplitudes(np.zeros(RATE), RATE, 110.0, 5).any()


def test_spectrogram_shows_when_a_note_begins() -> None:
    wave = np.where(TIME < 1.0, 0.0, tones((1000.0, 0.5)))
    picture = spectrogram(wave, RATE)
    row = picture.level_db[np.argmin(np.abs(picture.hz - 1000.0))]
    assert picture.level_db.shape == (len(picture.hz), len(picture.times))
    assert row[picture.times < 0.94].max() == pytest.approx(-300.0)
    assert row[picture.times > 1.06] == pytest.approx(-6.02, abs=0.05)


def test_spectrogram_of_a_short_sound_is_one_window() -> None:
    assert spectrogram(np.ones(20), RATE).level_db.shape == (11, 1)


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN.exists(), reason="Debian's alsa-utils is not installed")
def test_energy_of_a_spoken_recording_is_in_its_spectrum() -> None:
    # Parseval's theorem with the window's power.
    wave = sound.read(SPOKEN)[0]
    window = blackman_harris(len(wave))
    grid: Lines = spectrum(wave, RATE)
    energy = np.sum(grid.amplitude**2) * (window.sum() / 2.0) ** 2 * 2.0 / len(wave)
    assert energy == pytest.approx(np.sum((wave * window) ** 2), rel=1e-3)
