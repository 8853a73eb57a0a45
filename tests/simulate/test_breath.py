"""Pressures: as they are typed, and from the threshold of the horn to the closing of the reed."""

import numpy as np
import pytest
from scipy import constants

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz, parse_note
from reedbore.physics import reed
from reedbore.simulate import breath
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.acoustics.bore import admittance, gas_of
from reedbore.simulate.tuning import blown, tune


def horn(name: str) -> Setup:
    return presets.setup_for(presets.load_horn(name))


NAMES = ["tenor-saxophone", "plain-cylinder"]


@pytest.mark.parametrize("name", NAMES)
def test_threshold_lies_between_the_lossless_one_and_closing(name: str):
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): a third of the closing
    # pressure without losses, more with them.
    setup = horn(name)
    closing = setup.reed.stiffness * setup.reed.opening
    assert closing / 3.0 < breath.threshold(setup) < 0.6 * closing


@pytest.mark.parametrize(("share", "sounds"), [(0.9, False), (1.1, True)])
def test_reed_sounds_above_threshold_and_not_below(share: float, sounds: bool):
    # The formula is for a massless reed, so the reed of the simulation is one here.
    setup = horn("plain-cylinder").with_value("reed.dynamics", "massless")
    setup = setup.with_value("reed.area_mm2", 0.0)
    pressure = share * breath.threshold(setup)
    setup = setup.with_value("breath.pressure_kpa", pressure / 1e3)
    tone = single.run(numbers.numbers_of(setup), blown(setup, 4.0)).pressure
    swing = float(np.std(tone[-round(0.2 * setup.time.rate) :])) / pressure
    assert (swing > 0.05) is sounds
    assert (swing < 0.005) is not sounds


@pytest.mark.parametrize(
    ("name", "note"),
    [("soprano-saxophone", "Ab4"), ("clarinet-b-flat", "Ab4"), ("plain-cylinder", "B3")],
)
def test_a_small_sound_grows_just_above_threshold_and_dies_just_below(name: str, note: str):
    # The reed has its mass here: without it the threshold would be 1 to 6 % lower on these notes.
    hz = midi_to_hz(parse_note(note))
    setup = tune(presets.load_horn(name), hz).with_value("breath.rise_ms", 5.0)
    rate = setup.time.rate
    growth = []
    for share in (0.985, 1.015):
        pressure = share * breath.threshold(setup)
        one = setup.with_value("breath.pressure_kpa", pressure / 1e3)
        tone = single.run(numbers.numbers_of(one), blown(one, 1.2)).pressure
        early, late = (tone[round(at * rate) :][: round(0.2 * rate)] for at in (0.5, 0.9))
        growth.append(float(np.std(late) / np.std(early)))
    assert growth[0] < 0.95
    assert growth[1] > 1.05 or np.std(late) > 0.02 * pressure
    massless = breath.threshold(setup.with_value("reed.dynamics", "massless"))
    assert 0.93 < massless / breath.threshold(setup) < 0.99


def test_threshold_of_a_massless_reed_is_that_of_the_formula():
    # J.-P. Dalmont and C. Frappé, J. Acoust. Soc. Am. 122, 1173 (2007): γ from 1/3 up, here through
    # the height of the impedance peak. The reed's give is part of the peak.
    setup = horn("plain-cylinder").with_value("reed.dynamics", "massless")
    hz = np.linspace(60.0, 140.0, 4000)
    height = float(np.abs(1.0 / admittance(setup, hz)).max())
    held, closing = setup.reed, setup.reed.closes_at
    zeta = reed.reed_parameter(held.width * held.opening, closing, height, gas_of(setup).density)
    wanted = closing * reed.threshold_pressure(zeta, 1.0)
    assert breath.threshold(setup) == pytest.approx(wanted, rel=1e-3)


def test_pressure_is_read_with_its_unit():
    assert breath.parse_pressure("3kPa") == 3000.0
    assert breath.parse_pressure(" 3.5 kpa") == 3500.0
    # The kilogram-force per square metre is a millimetre of water (CODATA's g through scipy).
    water = 30.0 * 10.0 * constants.kilogram_force
    assert breath.parse_pressure("30cmH2O") == pytest.approx(water, rel=1e-12)
    assert breath.parse_pressure("30 cmH₂O") == pytest.approx(water, rel=1e-12)


def test_a_stiffer_reed_wants_more():
    setup = horn("tenor-saxophone")
    stiff = setup.with_value("reed.stiffness_kpa_per_mm", setup.reed.stiffness * 1.2e-6)
    assert breath.threshold(stiff) > breath.threshold(setup)


@pytest.mark.parametrize("text", ["loud", "3", "3 bar", "fff", "", "nan kPa"])
def test_what_is_no_breath_is_told(text: str):
    with pytest.raises(ModelError, match="is no breath; write a pressure"):
        breath.parse_pressure(text)
