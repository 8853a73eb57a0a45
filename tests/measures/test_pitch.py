"""Pitch measures against made signals, silence, spoken recordings and a reference library."""

from pathlib import Path

import numpy as np
import pytest
from audio_library import librosa
from numpy.typing import NDArray

from reedbore import sound
from reedbore.measures.pitch import (
    fundamental,
    median_voiced_pitch,
    period_jitter,
    phase_track,
    pitch_track,
    refine,
    rises,
)
from reedbore.physics.glottis import pulse_harmonics

RATE = 48000
TIME = np.arange(RATE) / RATE
# Debian package alsa-utils
SPOKEN = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))


def partials(cycles: NDArray, coefficients: NDArray) -> NDArray:
    """Sum of harmonics over a phase in cycles."""
    wave = np.zeros(len(cycles))
    for order, coefficient in enumerate(coefficients, 1):
        wave += 2.0 * np.real(coefficient * np.exp(2j * np.pi * order * cycles))
    return wave


def sung(hz: float, rate: float = RATE, seconds: float = 1.0, rd: float = 1.0) -> NDArray:
    cycles = hz * np.arange(round(seconds * rate)) / rate
    return partials(cycles, pulse_harmonics(rd, min(200, int(20000.0 / hz))))


def sung_vowel() -> tuple[NDArray, NDArray]:
    """Two seconds around A3 with a vibrato of half a semitone; and its pitch at each sample."""
    time = np.arange(2 * RATE) / RATE
    hz = 220.0 * 2.0 ** (0.5 * np.sin(2.0 * np.pi * 5.5 * time) / 12.0)
    formants = np.array([730.0, 1090.0, 2440.0])  # Peterson & Barney 1952 (from memory), "ah"
    order = np.arange(1, 60)
    distance = (220.0 * order[:, np.newaxis] - formants) / 120.0
    coefficients = pulse_harmonics(1.0, 59) * np.sum(1.0 / (1.0 + distance**2), axis=1)
    return partials(np.cumsum(hz) / RATE, coefficients), hz


def cents(found: NDArray | float | None, expected: NDArray | float) -> NDArray:
    assert found is not None
    return np.abs(1200.0 * np.log2(np.asarray(found) / expected))


def pitch_hz(wave: NDArray, rate: float = RATE) -> float:
    pitch = fundamental(wave, rate)
    assert pitch is not None
    return pitch.hz


# --- fundamental ---------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [44100, 48000, 96000])
@pytest.mark.parametrize("hz", [23.7, 58.27, 116.54, 233.1, 466.2, 932.3])
@pytest.mark.parametrize("rd", [0.3, 2.7])
def test_pitch_of_a_steady_note_is_found_within_a_cent(rate: int, hz: float, rd: float) -> None:
    pitch = fundamental(sung(hz, rate, 0.5, rd), rate)
    assert pitch is not None
    assert cents(pitch.hz, hz) < 1.0
    assert pitch.clarity > 0.98


@pytest.mark.ci
@pytest.mark.parametrize("hz", [55.0, 116.54, 220.0, 700.0])
def test_pitch_agrees_with_a_reference_library(hz: float) -> None:
    # librosa.yin, a general audio library; even with frames this long it reads up to 1.7 cents
    # high, as it leaves out part of the energy in its difference function.
    wave = sung(hz)
    reference = librosa.yin(wave, fmin=50.0, fmax=1500.0, sr=RATE, frame_length=16384)
    assert cents(pitch_hz(wave), float(np.median(reference))) < 2.0


@pytest.mark.parametrize("missing", [1, 2, 3])
def test_pitch_without_its_lowest_partials_is_the_same(missing: int) -> None:
    coefficients = pulse_harmonics(1.0, 40)
    coefficients[:missing] = 0.0
    assert cents(pitch_hz(partials(110.0 * TIME, coefficients)), 110.0) < 1.0


@pytest.mark.parametrize(("level_db", "expected"), [(-12.0, 110.0), (-20.0, 220.0)])
def test_longer_period_counts_from_a_fortieth_of_the_energy(
    level_db: float, expected: float
) -> None:
    # -16 dB follows from the margin of 0.05: partials outside a period add twice their share.
    note = sum(np.sin(2.0 * np.pi * 220.0 * k * TIME + k) / k for k in range(1, 6))
    strength = 10.0 ** (level_db / 20.0) * np.sqrt(2.0 * np.mean(note**2))
    wave = note + strength * np.sin(2.0 * np.pi * 110.0 * TIME)
    assert cents(pitch_hz(wave), expected) < 2.0


@pytest.mark.parametrize("noise_db", [-20.0, -10.0])
def test_pitch_survives_noise(noise_db: float) -> None:
    wave = sung(220.0)
    noise = np.random.default_rng(0).normal(size=RATE) * np.std(wave) * 10.0 ** (noise_db / 20.0)
    assert cents(pitch_hz(wave + noise), 220.0) < 15.0


@pytest.mark.parametrize(
    "wave",
    [
        np.zeros(RATE),
        np.full(RATE, 0.7),
        np.random.default_rng(1).normal(size=RATE),
        np.zeros(3),
        np.sin(TIME[:40]),
    ],
    ids=["silence", "rest", "noise", "three samples", "less than a period"],
)
def test_sound_without_a_period_has_no_pitch(wave: NDArray) -> None:
    assert fundamental(wave, RATE) is None


def test_pitch_scales_with_the_rate_and_not_with_the_level() -> None:
    wave = sung(220.0)
    hz = pitch_hz(wave)
    assert pitch_hz(wave, 2 * RATE) == pytest.approx(2.0 * hz, rel=1e-9)
    assert pitch_hz(1e-6 * wave) == pytest.approx(hz, rel=1e-9)


# --- refine, phase track -------------------------------------------------------------------------


@pytest.mark.parametrize("hz", [58.27, 116.5409, 466.164, 1234.5])
@pytest.mark.parametrize("off_cents", [-8.0, 0.0, 5.0])
def test_frequency_of_a_steady_line_is_exact_to_a_millionth(hz: float, off_cents: float) -> None:
    guess = hz * 2.0 ** (off_cents / 1200.0)
    assert refine(sung(hz, seconds=0.5), RATE, guess) == pytest.approx(hz, rel=1e-6)


@pytest.mark.ci
@pytest.mark.filterwarnings("ignore:'where' used without 'out'")
@pytest.mark.parametrize("hz", [116.5409, 220.0, 466.164])
def test_frequency_of_a_line_agrees_with_a_reference_library(hz: float) -> None:
    # librosa.reassigned_spectrogram, a general audio library.
    wave = sung(hz)
    theirs = librosa.reassigned_spectrogram(wave, sr=RATE, n_fft=16384, fill_nan=False)[0]
    line = theirs[round(hz * 16384 / RATE), theirs.shape[1] // 2]
    assert cents(refine(wave, RATE, 1.002 * hz), line) < 0.02


def test_frequency_of_silence_is_no_number() -> None:
    assert np.isnan(refine(np.zeros(RATE), RATE, 100.0))


def test_phase_of_a_detuned_line_drifts_by_the_difference() -> None:
    wave = 0.3 * np.cos(2.0 * np.pi * (200.25 * TIME + 0.1)) + np.cos(2.0 * np.pi * 300.0 * TIME)
    track = phase_track(wave, RATE, 200.0, 50.0)
    assert track.cycles == pytest.approx(0.25 * track.times + 0.1, abs=1e-4)
    assert track.amplitude == pytest.approx(0.3, rel=1e-3)


def test_phase_track_follows_a_wander_slower_than_its_bandwidth() -> None:
    wander = 0.2 * np.sin(2.0 * np.pi * 2.0 * TIME)
    track = phase_track(np.cos(2.0 * np.pi * (200.0 * TIME + wander)), RATE, 200.0, 60.0)
    assert track.cycles == pytest.approx(np.interp(track.times, TIME, wander), abs=4e-3)


def test_phase_track_of_silence_has_no_amplitude() -> None:
    assert not phase_track(np.zeros(RATE), RATE, 100.0, 20.0).amplitude.any()


# --- jitter --------------------------------------------------------------------------------------


@pytest.mark.parametrize("hz", [58.27, 116.54, 233.08, 466.16])
@pytest.mark.parametrize("rd", [0.3, 1.0])
def test_exact_pulse_train_has_no_jitter(hz: float, rd: float) -> None:
    assert period_jitter(sung(hz, 96000, 1.0, rd), 96000, hz) < 1e-6


@pytest.mark.parametrize("jitter", [1e-5, 1e-3, 5e-3])
def test_jitter_put_in_is_jitter_read_out(jitter: float) -> None:
    lengths = (1.0 + jitter * np.random.default_rng(3).normal(size=400)) / 220.0
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    time = np.arange(int(starts[-1] * 96000)) / 96000
    cycles = np.interp(time, starts, np.arange(401.0))
    # All partials rise together where a cycle begins, so the rises are the beginnings.
    wave = partials(cycles, -0.5j * 0.6 ** np.arange(1, 10))
    assert period_jitter(wave, 96000, 220.0) == pytest.approx(
        np.std(lengths) / np.mean(lengths), rel=0.03
    )


def test_jitter_follows_the_steepest_rise_of_a_wave_with_several() -> None:
    # A slow rise, then a fast one: noise of 0.01 moves the slow one by 2e-3 of a period.
    phase = (100.0 * TIME) % 1.0
    wave = np.interp(phase, [0.0, 0.4, 0.5, 0.55, 0.6, 1.0], [-1.0, 1.0, -1.0, 1.0, -1.0, -1.0])
    noise = 0.01 * np.random.default_rng(7).normal(size=RATE)
    assert period_jitter(wave + noise, RATE, 100.0) < 6e-4


@pytest.mark.parametrize("wave", [np.zeros(RATE), np.sin(2.0 * np.pi * 20.0 * TIME[:6000])])
def test_jitter_without_three_cycles_is_no_number(wave: NDArray) -> None:
    assert np.isnan(period_jitter(wave, RATE, 20.0))


# --- voices --------------------------------------------------------------------------------------


def test_vibrato_of_a_sung_vowel_is_followed() -> None:
    wave, hz = sung_vowel()
    times, found = pitch_track(wave, RATE)
    assert np.all(np.isfinite(found))
    assert np.max(cents(found, np.interp(times, np.arange(len(hz)) / RATE, hz))) < 6.0
    assert cents(median_voiced_pitch(wave, RATE), 220.0) < 2.0


@pytest.mark.ci
@pytest.mark.slow
def test_sung_vowel_agrees_with_a_reference_library() -> None:
    # librosa.pyin, after Mauch & Dixon, "pYIN: a fundamental frequency estimator using
    # probabilistic threshold distributions," Proc. IEEE ICASSP, 659-663, 2014.
    wave = sung_vowel()[0]
    theirs, voiced, _ = librosa.pyin(wave, fmin=60.0, fmax=1000.0, sr=RATE)
    assert voiced.mean() > 0.9
    assert cents(median_voiced_pitch(wave, RATE), np.median(theirs[voiced])) < 5.0


def test_voice_between_silences_is_found_where_it_is() -> None:
    wave = np.concatenate([np.zeros(RATE), sung(300.0), np.zeros(RATE)])
    times, hz = pitch_track(wave, RATE)
    voiced = times[np.isfinite(hz)]
    assert voiced.min() == pytest.approx(1.0, abs=0.03)
    assert voiced.max() == pytest.approx(2.0, abs=0.03)
    assert cents(median_voiced_pitch(wave, RATE), 300.0) < 1.0


def test_hum_far_below_the_voice_is_not_taken_for_it() -> None:
    wave = np.concatenate([sung(300.0), 0.01 * sung(100.0, seconds=3.0)])
    assert cents(median_voiced_pitch(wave, RATE), 300.0) < 1.0


@pytest.mark.parametrize(
    "wave",
    [np.zeros(RATE), np.random.default_rng(5).normal(size=RATE), sung(300.0)[:3000], np.zeros(9)],
    ids=["silence", "noise", "a twentieth of a second", "nine samples"],
)
def test_sound_without_enough_voice_has_no_median_pitch(wave: NDArray) -> None:
    assert median_voiced_pitch(wave, RATE) is None


@pytest.mark.ci
@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN, reason="Debian's alsa-utils is not installed")
@pytest.mark.parametrize("path", SPOKEN, ids=lambda path: path.stem)
def test_spoken_pitch_agrees_with_a_reference_library(path: Path) -> None:
    # librosa.yin, a general audio library; its window is longer than ours, so where the voice
    # glides the two differ by some cents.
    wave, rate = sound.read(path)
    times, hz = pitch_track(wave, rate)
    theirs = librosa.yin(wave, fmin=60.0, fmax=1000.0, sr=rate, frame_length=2048, hop_length=480)
    grid = librosa.times_like(theirs, sr=rate, hop_length=480)
    voiced = np.isfinite(hz)
    apart = cents(hz[voiced], np.interp(times[voiced], grid, theirs))
    assert voiced.mean() > 0.25
    assert np.median(apart) < 15.0
    assert np.mean(apart > 600.0) < 0.05


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN, reason="Debian's alsa-utils is not installed")
def test_recorded_noise_has_no_pitch() -> None:
    wave, rate = sound.read(SPOKEN[0].with_name("Noise.wav"))
    assert median_voiced_pitch(wave, rate) is None


def test_a_signal_rises_only_where_it_comes_from_below_its_mean() -> None:
    # By hand: halfway between -1 and 1, once in four samples; what stays above does not count.
    assert rises(np.tile((-1.0, 1.0, 1.0, -1.0), 2), 1.0) == pytest.approx([0.5, 4.5])
