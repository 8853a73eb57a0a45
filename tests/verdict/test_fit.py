"""The player of a recording: our own sound, whose player is known, and what no horn makes."""

from dataclasses import replace

import numpy as np
import pytest
from recordings import Case, cut, recorded, setup_of

from reedbore.errors import ModelError
from reedbore.measures import pitch
from reedbore.model.presets import load_horn
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import fit as fitting
from reedbore.verdict.recording.modelled import depth_of, pair
from reedbore.verdict.state import State

HORN, F1 = "soprano-saxophone", 311.127
PLAYER = {"reed.opening_mm": 0.62, "reed.damping": 0.9, "breath.pressure_kpa": 3.1}


@pytest.fixture(scope="module")
def own() -> fitting.Fit:
    """A note of our own, brightened by a microphone, fitted."""
    setup = tune(load_horn(HORN), F1)
    for name, value in PLAYER.items():
        setup = setup.with_value(name, value)
    sound = render(setup, 1.0).sound[-24000:]
    thin, rate = pitch.thin(sound, SOUND_RATE)
    return fitting.fit(
        [brighter(sound, 1.0)], SOUND_RATE, pitch.refine(thin, rate, F1), load_horn(HORN)
    )


def brighter(sound: np.ndarray, slope: float) -> np.ndarray:
    """The same, brighter by so many decibels an octave."""
    hz = np.maximum(np.fft.rfftfreq(sound.size, 1.0 / SOUND_RATE), 20.0)
    turned = np.fft.rfft(sound) * (hz / 1000.0) ** (slope / (20.0 * np.log10(2.0)))
    return np.fft.irfft(turned, sound.size)


def test_our_own_sound_is_met_and_its_player_lies_in_the_ranges(own: fitting.Fit) -> None:
    assert own.fits
    assert own.rest_db < 0.5
    assert own.preset_db > 2.0 * own.rest_db
    known = {**PLAYER, "reed.strength": 2.5}
    for one in own.settings:
        wide = max(one.high / one.value, one.value / one.low)
        assert 1.0 / wide**2 < known[one.name] / one.value < wide**2
    assert abs(own.slope - 1.0) < 2.0 * own.slope_within + 0.2


def test_what_only_goes_together_is_told_and_hardly_changes_the_sound(own: fitting.Fit) -> None:
    sure = [one.high / one.value for one in own.settings if one.name != "reed.strength"]
    assert max(own.together.values()) > 0.9 * max(sure)
    moved = own.setup
    for name, factor in own.together.items():
        added = np.log(factor) / np.log(1.35) if name == "reed.strength" else None
        value = moved.value(name)
        moved = moved.with_value(name, value * factor if added is None else value + added)
    assert own.together["breath.pressure_kpa"] != pytest.approx(1.0, abs=1e-3)
    assert own.together_db < 2.0


def test_the_horn_that_comes_out_is_the_player_that_was_found(own: fitting.Fit) -> None:
    assert own.horn.reed == own.setup.reed
    assert own.horn.breath == own.setup.breath
    assert own.horn.bore == load_horn(HORN).bore


@pytest.mark.parametrize(("left", "fits"), [(5.99, True), (6.01, False)])
def test_six_decibels_part_what_fits_from_what_is_refused(
    own: fitting.Fit, left: float, fits: bool
) -> None:
    assert replace(own, rest_db=left).fits == fits


@pytest.mark.parametrize(
    ("apart", "says"),
    [
        (np.array([-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0]), "it is brighter by 9.0 dB an octave"),
        (np.array([9.0, 6.0, 3.0, 0.0, -3.0, -6.0, -9.0]), "it is darker by 9.0 dB an octave"),
        (np.array([2.0, -14.0, 2.0, 2.0, 2.0, 4.0, 2.0]), "partial 2 about 252 Hz is 14 dB softer"),
        (np.array([2.0, 1.0, 2.0, 2.0, 2.0, 13.0, 2.0]), "the band about 635 Hz is 13 dB louder"),
    ],
)
def test_the_feature_that_most_is_left_of_is_named(apart: np.ndarray, says: str) -> None:
    hz = 200.0 * 2.0 ** (np.arange(7) / 3.0)
    note = 126.0 if "partial" in says else 100.0
    assert fitting._feature(hz, apart - apart.mean() * 0.0, note).feature == says


@pytest.mark.ci
def test_a_sound_that_no_reed_makes_is_refused() -> None:
    t = np.arange(24000) / SOUND_RATE
    orders = np.arange(1, 15)
    odd = sum(10.0 ** (-1.5 * (k % 2)) * np.sin(2.0 * np.pi * k * F1 * t + k * k) for k in orders)
    found = fitting.fit([odd], SOUND_RATE, F1, load_horn(HORN))
    assert not found.fits


def test_what_cannot_be_compared_is_said() -> None:
    t = np.arange(48000) / SOUND_RATE
    tone = np.sin(2.0 * np.pi * F1 * t)
    with pytest.raises(ModelError, match=r"lasts 0\.20 s; 0\.3 s or more"):
        fitting.fit([tone[:9600]], SOUND_RATE, F1, load_horn(HORN))
    with pytest.raises(ModelError, match="bands with partials up to 5000 Hz; 6 or more"):
        fitting.fit([tone], SOUND_RATE, F1, load_horn(HORN))


# --- a voice over it -----------------------------------------------------------------------------


def test_how_strongly_was_sung_is_found_and_the_model_asked() -> None:
    case = Case("tenor-saxophone", 116.54, (5, 3), -60.0, 0.2, "clock", 6)
    horn, _ = recorded(cut(case, 2.0, 1.0), noise_db=30.0, reverberation=0.6, bleed_db=None)
    thin, rate = pitch.thin(horn, SOUND_RATE)
    setup = setup_of(case).with_value("voice.source", "off")
    notes = 116.54, 116.54 * 5 / 3 * 2.0 ** (-60.0 / 1200.0)
    depth = depth_of(setup, thin, rate, notes)
    assert depth.value == pytest.approx(0.2, rel=0.25)
    told = pair(setup, *notes, depth.value)
    assert (told.state, told.ratio) == (State.DRIFTING, (8, 5))  # 5/3 less 60 cents is near it
    assert depth_of(setup, thin, rate, (116.54, 233.08)) is None
