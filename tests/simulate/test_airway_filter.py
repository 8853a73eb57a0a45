"""The airway in time against the exact airway in frequency: size, phase, passivity, convention."""

import functools
import itertools
import math

import numpy as np
import pytest

from reedbore.kernel.rows import UPSTREAM_PAIRS, UPSTREAM_POLES
from reedbore.model.presets import load_horn, setup_for
from reedbore.physics import tract
from reedbore.simulate.acoustics import airway_filter
from reedbore.simulate.acoustics.airway import Airway
from reedbore.simulate.acoustics.airway_filter import upstream_filter, upstream_of

VOWELS = ["none", *tract.SHAPES]
RATES = [44100.0, 96000.0, 192000.0]
HZ = np.geomspace(60.0, 4000.0, 1500)
CORNERS = [(20e-6, 0.3), (20e-6, 0.98), (60e-6, 0.98), (100e-6, 0.8), (300e-6, 0.3)]


@functools.cache
def fuzz():
    """Legal airways and rates, none of them chosen."""
    dice = np.random.default_rng(2024)
    rates = dice.choice([*RATES, 48000.0, 768000.0], 12)
    return [
        (Airway(str(dice.choice(VOWELS)), dice.uniform(20e-6, 300e-6), dice.uniform(0.3, 0.98)), r)
        for r in map(float, rates)
    ]


def greatest(found):
    """Largest reflectance on a grid that the fit has not seen, dense at DC and at half the rate."""
    low = math.pi * np.linspace(0.0, 1.0, 30011) ** 3
    return np.abs(found.response(np.exp(1j * np.concatenate((low, math.pi - low))))).max()


def miss(way, found, rate):
    """Error of the impedance: decibels, and radians."""
    off = found.impedance(HZ, rate) / way.impedance(HZ)
    return np.abs(20.0 * np.log10(np.abs(off))).max(), np.abs(np.angle(off)).max()


@pytest.mark.slow
@pytest.mark.parametrize("vowel", VOWELS)
def test_impedance_is_true_within_half_a_decibel_where_the_horn_sounds(vowel):
    for (volume, folds), rate in itertools.product(CORNERS, RATES):
        way = Airway(vowel, volume, folds)
        decibels, radians = miss(way, upstream_filter(way, rate), rate)
        assert decibels < 0.5, (way, rate)
        assert radians < 0.08, (way, rate)


@pytest.mark.parametrize("vowel", VOWELS)
def test_usual_airway_is_true_within_a_fifth_of_a_decibel(vowel):
    way = Airway(vowel, 100e-6, 0.8)
    assert miss(way, upstream_filter(way, 96000.0), 96000.0)[0] < 0.2


@pytest.mark.slow
def test_any_airway_is_passive_and_true():
    for way, rate in fuzz():
        found = upstream_filter(way, rate)
        assert greatest(found) < 1.0, (way, rate)
        assert abs(found.at_once) < 1.0, (way, rate)
        assert abs(found.direct) < 1e3
        assert np.abs(found.pairs).max() < 1.0
        assert miss(way, found, rate)[0] < 0.6, (way, rate)


def test_numbers_have_the_sizes_that_the_step_has_room_for():
    for vowel in VOWELS:
        found = upstream_filter(Airway(vowel, 100e-6, 0.8), 96000.0)
        assert found.gains.shape == found.poles.shape == (UPSTREAM_POLES,)
        assert found.pair_gains.shape == (found.pairs.size, 2)
        assert found.pairs.size == (1 if vowel == "none" else UPSTREAM_PAIRS)
        assert np.all((found.poles > 0.0) & (found.poles < 1.0))


def test_difference_equations_have_the_response_that_is_said():
    found = upstream_filter(Airway("i", 100e-6, 0.8), 96000.0)
    # The lungs' pole would ring for seconds: one as fast as the others stands in for it.
    found = found._replace(poles=np.concatenate(((0.99,), found.poles[1:])))
    n = 2**14
    came = np.zeros(n)
    memory, ringing = np.zeros(UPSTREAM_POLES), np.zeros((2, found.pairs.size))
    for k in range(n):
        wave = 1.0 if k == 0 else 0.0
        memory = found.poles * memory + found.gains * wave
        now = wave + 2.0 * found.pairs.real * ringing[0] - np.abs(found.pairs) ** 2 * ringing[1]
        came[k] = found.direct * wave + memory.sum()
        came[k] += found.pair_gains[:, 0] @ now + found.pair_gains[:, 1] @ ringing[0]
        ringing = np.stack((now, ringing[0]))
    assert came[0] == pytest.approx(found.at_once, abs=1e-12)
    z = np.exp(2j * math.pi * np.arange(n // 2 + 1) / n)
    assert np.allclose(np.fft.rfft(came), found.response(z), atol=1e-6)


def test_mean_pressure_is_held():
    # 0.18 litres a second through the reed: common practice, no source.
    for vowel in VOWELS:
        found = upstream_filter(Airway(vowel, 100e-6, 0.8), 96000.0)
        assert 1.8e-4 * abs(found.impedance(np.array([0.0]), 96000.0)[0]) < 1.0  # [Pa]


def test_a_setup_has_the_filter_of_its_airway_once():
    setup = setup_for(load_horn("tenor-saxophone")).with_value("voice.vowel", "a")
    way = Airway("a", setup.tract.volume, setup.tract.returned)
    assert upstream_of(setup) is upstream_filter(way, setup.time.rate)
    assert airway_filter.upstream_of(setup.with_value("reed.opening_mm", 0.9)) is upstream_of(setup)
