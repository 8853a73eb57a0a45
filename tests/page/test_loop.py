import numpy as np
import pytest

from reedbore.page.loop import looped

RATE = 48000


def tones(*hz: float, seconds: float = 2.0) -> np.ndarray:
    time = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(sum(np.sin(2.0 * np.pi * one * time) for one in hz))


def rounds(sound: np.ndarray, turns: int = 4) -> tuple[np.ndarray, int]:
    """Play a sound that goes round, and say how long one round is."""
    loop = looped(sound, RATE)
    again = loop.sound[loop.first : loop.end]
    return np.concatenate((loop.sound, *[again] * turns)), again.size


def levels(sound: np.ndarray, window: int = 4800) -> np.ndarray:
    frames = np.lib.stride_tricks.sliding_window_view(sound, window)[::480]
    return 10.0 * np.log10(np.mean(frames**2, axis=1))


def test_a_common_period_goes_round_as_if_it_never_ended() -> None:
    # Bb1 and some of its partials, as of a third note; its period is no whole number of samples.
    base = 58.2705
    heard, length = rounds(tones(2 * base, 4 * base, 5 * base, 9 * base))
    assert length / RATE * base == pytest.approx(round(length / RATE * base), abs=0.01)
    # What is not one of the partials lies 50 dB below: numpy's transform under a Hann window.
    part = heard[-3 * length :]
    level = np.abs(np.fft.rfft(part * np.hanning(part.size)))
    hz = np.fft.rfftfreq(part.size, 1.0 / RATE)
    near = np.min(np.abs(hz[:, np.newaxis] - base * np.array([2, 4, 5, 9])), axis=1) < 3.0
    assert 20.0 * np.log10(level[~near].max() / level.max()) < -50.0
    assert np.ptp(levels(heard)) < 0.6


def test_notes_without_a_common_period_keep_their_level() -> None:
    heard, _ = rounds(tones(220.0, 220.0 * 1.3819660113))
    assert np.ptp(levels(heard)) < 2.0


def test_noise_keeps_its_level() -> None:
    noise = np.random.default_rng(5).standard_normal(2 * RATE)
    heard, _ = rounds(noise)
    assert np.ptp(levels(heard)) < 1.0


def test_there_is_no_step_where_it_goes_back() -> None:
    heard, length = rounds(tones(311.1, 404.7))
    steps = np.abs(np.diff(heard))
    assert steps.max() < 1.02 * steps[:20000].max()
    assert heard.size > 4 * length


@pytest.mark.parametrize("seconds", [0.5, 20.0])
def test_silence_and_all_lengths_go_round(seconds: float) -> None:
    for sound in (np.zeros(round(seconds * RATE)), tones(100.0, seconds=seconds)):
        loop = looped(sound, RATE)
        assert np.isfinite(loop.sound).all()
        assert 0 < loop.first < loop.end == sound.size
        assert np.array_equal(loop.sound[: loop.first], sound[: loop.first])
