"""The player's airway against a rival of many thin slices, Thevenin's theorem and known limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.model.presets import load_horn, setup_for
from reedbore.physics import tract
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics import airway
from reedbore.simulate.acoustics.airway import LUNGS, REED_CONDUCTANCE, Airway

GAS = air_keefe(308.15)
HZ = np.geomspace(20.0, 4500.0, 300)
SHAPES = list(tract.SHAPES)
AIRWAYS = st.builds(
    Airway,
    st.sampled_from(["none", *SHAPES]),
    st.floats(20e-6, 300e-6),
    st.floats(0.3, 0.98),
)


def sliced(way, hz, slices=1600):
    """Impedance at the lips and pressure there for a flow at the folds, by Norton's theorem.

    The tube as a ladder of lumps: inertia of the air with its friction in series, its spring, heat
    loss and the walls' mass and resistance across; then the mouth as another wall and spring. The
    constants of the walls are those of Sondhi and Schroeter 1987 (from memory), without stiffness.
    """
    s = 2j * math.pi * hz
    spring = GAS.density * GAS.sound_speed**2
    friction = np.sqrt(4.0 * s)
    yielding = (406.0 * math.pi) ** 2 / (s + 130.0 * math.pi)
    shape = tract.SHAPES[way.vowel]
    long = shape.section_length / slices * len(shape.areas)
    wave = shape.areas[0] / (GAS.density * GAS.sound_speed)
    behind, flow = (1.0 - way.folds) / (1.0 + way.folds) * wave, np.ones(hz.size)
    for k in range(slices):
        area = shape.areas[k * len(shape.areas) // slices]
        half = 0.5 * long * area / spring * (s + friction + yielding)
        mass = GAS.density * long / area * (s + friction)
        behind = behind + half
        flow, behind = flow / (1.0 + mass * behind), behind / (1.0 + mass * behind) + half
    air = max(way.volume - sum(shape.areas) * shape.section_length, 5e-6) / spring
    mass = 1.0 / ((2.0 * math.pi * 200.0) ** 2 * air)
    behind = behind + s * air + 1.0 / (0.5 * math.sqrt(mass / air) + s * mass)
    tube = sum(shape.areas) * shape.section_length / spring
    behind = behind + 1.0 / (s * LUNGS / ((2.0 * math.pi * 200.0) ** 2 * (air + tube)))
    return 1.0 / behind, flow / behind


@pytest.mark.parametrize("vowel", SHAPES)
@pytest.mark.parametrize(("volume", "folds"), [(100e-6, 0.8), (20e-6, 0.98), (300e-6, 0.3)])
def test_airway_is_a_ladder_of_many_thin_slices(vowel, volume, folds):
    way = Airway(vowel, volume, folds)
    seen, passed = sliced(way, HZ)
    assert np.abs(way.impedance(HZ) / seen - 1.0).max() < 0.01
    assert np.abs(way.transfer(HZ) / passed - 1.0).max() < 0.01


@given(AIRWAYS, st.floats(0.0, 3e-7))
def test_a_loaded_reed_sees_the_open_pressure_behind_the_impedance(way, load):
    # Thevenin's theorem (L. Thévenin, Comptes rendus 97, 159, 1883): p = p₀/(1 + Z Y).
    expected = way.transfer(HZ) / (1.0 + way.impedance(HZ) * load)
    assert np.allclose(way.transfer(HZ, load), expected, rtol=1e-9)


@given(AIRWAYS)
def test_airway_never_gives_back_more_than_it_gets(way):
    hz = np.concatenate(([0.0], np.geomspace(0.01, 2e4, 500)))
    assert way.impedance(hz).real.min() > 0.0


@given(AIRWAYS)
def test_lungs_hold_the_mean_pressure(way):
    # 0.18 litres a second through the reed: common practice, no source.
    assert 1.8e-4 * abs(way.impedance(np.array([0.0]))[0]) < 1.0  # [Pa]


@given(AIRWAYS)
def test_lungs_are_not_heard_in_the_notes_of_a_voice(way):
    hz = np.geomspace(60.0, 4500.0, 100)
    seen = way.impedance(hz)
    walls = 1.0 / (1.0 / seen - 1.0 / (2j * math.pi * hz * LUNGS * way.mass))
    assert np.abs(20.0 * np.log10(np.abs(seen / walls))).max() < 0.9


def test_mouth_of_100_ml_has_the_lumps_of_a_cavity_with_yielding_walls():
    # V/ρc² = 7.2e-10 m³/Pa; mass 1/((2π 200)² C), about 900 kg/m⁴; resistance ½√(M/C): wall
    # resonance after Radolf et al., J. Sound Vib. 366, 556 (2016).
    way = Airway("none", 1e-4, 0.8)
    low, high = 2.0 * math.pi * 1.0, 2.0 * math.pi * 2e4
    compliance = 1.0 / (high * abs(way.impedance(np.array([2e4]))[0]))
    slow = way.impedance(np.array([1.0]))[0]
    slow = 1.0 / (1.0 / slow - 1.0 / (1j * low * LUNGS * way.mass))
    resistance = slow.real
    mass = slow.imag / low + resistance**2 * compliance
    assert compliance == pytest.approx(7.2e-10, rel=0.03)
    assert mass == pytest.approx(900.0, rel=0.01)
    assert resistance == pytest.approx(0.5 * math.sqrt(mass / compliance), rel=0.01)


@pytest.mark.parametrize("vowel", ["none", *SHAPES])
@pytest.mark.parametrize("volume", [60e-6, 100e-6, 300e-6])
def test_closed_airway_resonates_near_200_hz(vowel, volume):
    # V. Radolf et al., J. Sound Vib. 366, 556 (2016): about 200 Hz in living singers.
    hz = np.arange(50.0, 300.0, 0.5)
    size = np.abs(Airway(vowel, volume, 0.8).impedance(hz))
    peaks = hz[1:-1][(size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])]
    assert peaks == pytest.approx([200.0], abs=10.0)


def test_reflecting_folds_make_sharper_resonances():
    sharp = [np.abs(Airway("a", 60e-6, folds).impedance(HZ)).max() for folds in (0.3, 0.7, 0.9)]
    assert sharp[0] < sharp[1] < sharp[2]


def test_a_tube_leaves_the_rest_of_the_air_before_the_reed():
    for vowel, shape in tract.SHAPES.items():
        tube = sum(shape.areas) * shape.section_length
        assert Airway(vowel, 100e-6, 0.8).cavity == pytest.approx(100e-6 - tube, rel=1e-12)
        assert Airway(vowel, 20e-6, 0.8).cavity == 5e-6
    assert Airway("none", 20e-6, 0.8).cavity == 20e-6


def test_folds_are_not_seen_without_a_tongue_shape():
    seen = [Airway("none", 1e-4, folds).impedance(HZ) for folds in (0.3, 0.98)]
    assert np.array_equal(*seen)


def test_a_setup_has_the_airway_that_it_says():
    setup = setup_for(load_horn("tenor-saxophone"))
    for name, value in {"voice.vowel": "u", "tract.volume_ml": 80, "tract.returned": 0.7}.items():
        setup = setup.with_value(name, value)
    way = airway.airway(setup)
    assert way == Airway("u", setup.tract.volume, 0.7)
    assert np.array_equal(airway.impedance(setup, HZ), way.impedance(HZ))
    assert np.array_equal(airway.transfer(setup, HZ), way.transfer(HZ))


@pytest.mark.parametrize("vowel", SHAPES)
def test_reed_of_the_uncoupled_model_takes_little_from_the_formants(vowel):
    way = Airway(vowel, 100e-6, 0.8)
    off = 20.0 * np.log10(np.abs(way.transfer(HZ) / way.transfer(HZ, REED_CONDUCTANCE)))
    assert np.abs(off).max() < 1.5


def test_vowels_change_the_spectrum_in_the_mouth_by_many_decibels():
    # Against the fundamental at 200 Hz, by the rival of thin slices and Thevenin's theorem.
    lines = np.array([200.0, 800.0, 1200.0])
    ours, theirs = {}, {}
    for vowel in ("a", "i", "u"):
        way = Airway(vowel, 100e-6, 0.8)
        seen, passed = sliced(way, lines)
        theirs[vowel] = np.abs(passed / (1.0 + seen * REED_CONDUCTANCE))
        ours[vowel] = np.abs(way.transfer(lines, REED_CONDUCTANCE))
    for known in (ours, theirs):
        level = {vowel: 20.0 * np.log10(size[1:] / size[0]) for vowel, size in known.items()}
        assert level["u"][0] - level["i"][0] == pytest.approx(12.1, abs=0.3)
        assert level["a"][1] - level["u"][1] == pytest.approx(24.6, abs=0.3)
