"""Clipping and brightness: sounds whose answers are known, silence, and a spoken recording."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from reedbore.measures.channels import CLIPPED, brightness, flat_top
from reedbore.sound import read

RATE = 48000.0
SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils


def sine(hz: float, seconds: float = 0.2) -> NDArray:
    return np.sin(2.0 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE)


# --- clipping ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "tops"),
    [(-0.5, 0.5, 2), (-1.0, 0.5, 0), (-0.496, 0.5, 2), (-0.5, 0.49, 1), (-2.0, 2.0, 0)],
)
def test_a_flat_top_is_as_long_as_its_samples(low: float, high: float, tops: int) -> None:
    # 96 samples a period, 33 of them at half of the height or above: 31 rows of three in a top. A
    # converter clips alike up and down: a top that is lower by more than a hundredth is none.
    found = flat_top(np.clip(sine(500.0), low, high))
    assert found == pytest.approx(tops * 31.0 / 96.0, abs=1e-3)


@pytest.mark.parametrize("samples", [np.zeros(480), np.ones(2), np.zeros(0)])
def test_silence_and_too_little_sound_have_no_flat_top(samples: NDArray) -> None:
    assert flat_top(samples) == 0.0


def test_three_samples_alike_are_a_flat_top() -> None:
    # One row of three, at the top, which is the bottom too.
    assert flat_top(np.ones(3)) == pytest.approx(2.0 / 3.0)


# --- brightness ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("high", "level"), [(1.0, -3.0103), (0.1, -20.0432), (0.0, -300.0)])
def test_brightness_is_the_share_of_what_lies_above_1500_hz(high: float, level: float) -> None:
    # Definition: powers 1 and `high` squared, 1 kHz and 2 kHz; whole periods, and a constant.
    found = brightness(sine(1000.0) + high * sine(2000.0) + 0.3, RATE)
    assert found == pytest.approx(level, abs=1e-3) if high else found < -200.0


def test_brightness_does_not_depend_on_the_unit() -> None:
    sound = sine(1000.0) + sine(2000.0)
    assert brightness(1e-6 * sound, RATE) == pytest.approx(brightness(sound, RATE))


@pytest.mark.parametrize("samples", [np.zeros(0), np.ones(95), np.zeros(960), np.ones(960)])
def test_silence_and_too_little_sound_are_not_bright(samples: NDArray) -> None:
    assert brightness(samples, RATE) == -300.0


# --- a recording ---------------------------------------------------------------------------------


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN.exists(), reason="Debian's alsa-utils is not installed")
def test_a_spoken_recording_is_clipped_only_where_it_was_made_too_loud() -> None:
    wave, rate = read(SPOKEN)
    assert flat_top(wave) < CLIPPED
    peak = np.abs(wave).max()
    assert flat_top(np.clip(wave, -0.3 * peak, 0.3 * peak)) > CLIPPED
    # Averages of eight samples pass little above 3 kHz, as a neck does.
    dull = np.convolve(wave, np.ones(8) / 8.0)
    assert brightness(dull, rate) < brightness(wave, rate) < 0.0
