"""Roughness against the published curve, its limits, silence and a spoken recording."""

from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from reedbore import sound
from reedbore.measures.roughness import relative_roughness, roughness
from reedbore.measures.spectrum import lines

PAIR = np.ones(2)
SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils


def pair(hz: float, apart: float, weaker: float = 1.0) -> float:
    return roughness(np.array([hz, hz + apart]), np.array([1.0, weaker]))


@pytest.mark.parametrize(
    ("hz", "apart"), [(110.0, 19.52), (220.0, 21.62), (440.0, 25.80), (880.0, 34.18)]
)
def test_roughest_pair_is_as_far_apart_as_published(hz: float, apart: float) -> None:
    # P. N. Vassilakis, doctoral dissertation, UCLA, 2001: worked out from his formula.
    found = optimize.minimize_scalar(lambda d: -pair(hz, d), bounds=(1.0, 200.0), method="bounded")
    assert found.x == pytest.approx(apart, abs=0.05)
    assert -found.fun == pytest.approx(0.090387, abs=1e-5)


@pytest.mark.parametrize("hz", [250.0, 500.0, 1000.0])
def test_roughest_pair_is_about_a_quarter_of_a_critical_band_apart(hz: float) -> None:
    # R. Plomp & W. J. M. Levelt, J. Acoust. Soc. Am. 38, 548 (1965): a quarter of the critical
    # bandwidth. Bandwidth 25 + 75 (1 + 1.4 f²)^0.69 Hz, f in kHz: E. Zwicker & E. Terhardt,
    # J. Acoust. Soc. Am. 68, 1523 (1980) (from memory).
    found = optimize.minimize_scalar(lambda d: -pair(hz, d), bounds=(1.0, 200.0), method="bounded")
    bandwidth = 25.0 + 75.0 * (1.0 + 1.4 * (hz / 1000.0) ** 2) ** 0.69
    assert 0.15 < found.x / bandwidth < 0.30


def test_unison_is_not_rough_at_all() -> None:
    assert pair(440.0, 0.0) == 0.0


def test_roughness_fades_beyond_its_peak() -> None:
    curve = np.array([pair(440.0, apart) for apart in np.arange(26.0, 1000.0, 2.0)])
    assert np.all(np.diff(curve) < 0.0)
    assert curve[-1] < 1e-3 * curve[0]


@pytest.mark.parametrize("weaker", [0.5, 0.1, 0.01])
def test_shallow_beats_are_less_rough_by_the_published_power(weaker: float) -> None:
    # Vassilakis 2001: (A₁A₂)^0.1 · 0.5 · (2 A_min/(A_min + A_max))^3.11.
    expected = weaker**0.1 * (2.0 * weaker / (1.0 + weaker)) ** 3.11
    assert pair(440.0, 25.8, weaker) / pair(440.0, 25.8) == pytest.approx(expected, rel=1e-12)


def test_three_lines_are_as_rough_as_their_three_pairs() -> None:
    hz, amplitude = np.array([440.0, 460.0, 500.0]), np.array([1.0, 0.4, 0.7])
    pairs = [roughness(hz[[i, j]], amplitude[[i, j]]) for i, j in ((0, 1), (0, 2), (1, 2))]
    assert roughness(hz, amplitude) == pytest.approx(sum(pairs), rel=1e-12)


def test_order_of_the_lines_does_not_matter() -> None:
    hz, amplitude = np.array([440.0, 460.0, 500.0]), np.array([1.0, 0.4, 0.7])
    assert roughness(hz[::-1], amplitude[::-1]) == pytest.approx(roughness(hz, amplitude))


def test_unit_of_the_amplitudes_cancels_against_a_reference() -> None:
    hz, amplitude = np.array([440.0, 460.0, 500.0]), np.array([1.0, 0.4, 0.7])
    assert roughness(hz, 1e3 * amplitude) == pytest.approx(
        1e3**0.2 * roughness(hz, amplitude), rel=1e-12
    )
    small = relative_roughness(hz, amplitude, hz[:2], amplitude[:2])
    large = relative_roughness(hz, 1e3 * amplitude, hz[:2], 1e3 * amplitude[:2])
    assert large == pytest.approx(small, rel=1e-12)


@pytest.mark.parametrize("count", [0, 1])
def test_silence_and_a_single_line_are_smooth(count: int) -> None:
    assert roughness(np.full(count, 440.0), np.ones(count)) == 0.0
    assert (
        relative_roughness(np.array([440.0, 460.0]), PAIR, np.full(count, 440.0), PAIR[:count])
        is None
    )


def test_lines_without_amplitude_do_not_count() -> None:
    assert roughness(np.array([440.0, 450.0, 465.8]), np.array([1.0, 0.0, 1.0])) == pytest.approx(
        pair(440.0, 25.8)
    )


def test_narrow_cluster_is_rougher_than_a_harmonic_note() -> None:
    order = np.arange(1.0, 9.0)
    note = (220.0 * order, 1.0 / order)
    cluster = (np.concatenate([note[0], note[0] + 25.0]), np.concatenate([note[1], note[1]]))
    assert (relative_roughness(*cluster, *note) or 0.0) > 5.0


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN.exists(), reason="Debian's alsa-utils is not installed")
def test_recorded_noise_is_rougher_than_a_spoken_vowel() -> None:
    vowel, rate = sound.read(SPOKEN)
    noise = sound.read(SPOKEN.with_name("Noise.wav"))[0]
    start = int(np.argmax(np.convolve(vowel**2, np.ones(4800), "valid")))
    part = vowel[start : start + 4800] / np.std(vowel[start : start + 4800])
    rough = noise[rate // 2 : rate // 2 + 4800] / np.std(noise[rate // 2 : rate // 2 + 4800])
    ratio = relative_roughness(*lines(rough, rate, -40.0), *lines(part, rate, -40.0))
    assert (ratio or 0.0) > 2.0
