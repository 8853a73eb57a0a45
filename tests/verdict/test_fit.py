"""The player of a recording: our own sound, whose player is known, and what no horn makes."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from recordings import Case, cut, recorded, setup_of

from reedbore.errors import ModelError
from reedbore.measures import bands, pitch
from reedbore.model.presets import load_horn
from reedbore.model.setup import Horn, Setup
from reedbore.model.units import QUANTITIES
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import fit as fitting
from reedbore.verdict import synthesis
from reedbore.verdict.recording import modelled
from reedbore.verdict.recording.modelled import depth_of, pair
from reedbore.verdict.state import State

CASE = Case("tenor-saxophone", 116.54, (5, 3), -60.0, 0.2, "clock", 6)
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
        if one.name == "reed.strength":
            assert abs(known[one.name] - one.value) < 2.0 * (one.high - one.value)
            continue
        wide = max(one.high / one.value, one.value / one.low)
        assert 1.0 / wide**2 < known[one.name] / one.value < wide**2
    assert abs(own.slope - 1.0) < 2.0 * own.slope_within + 0.2


def test_what_only_goes_together_is_told_and_hardly_changes_the_sound(own: fitting.Fit) -> None:
    sure = [one.high / one.value for one in own.settings if one.name != "reed.strength"]
    assert max(own.together.values()) > 0.9 * max(sure)
    still = levels(own.setup)
    together = own.setup
    for name, factor in own.together.items():
        together = together.with_value(name, own.setup.value(name) * factor)
    off = apart(levels(together), still)
    assert off == pytest.approx(own.together_db, abs=0.05)
    # Alone, opening and breath change far more; the damping, though it goes as far, hardly does.
    for name in ("reed.opening_mm", "breath.pressure_kpa"):
        alone = own.setup.with_value(name, own.setup.value(name) * own.together[name])
        assert apart(levels(alone), still) > 4.0 * off


def levels(setup: Setup) -> bands.Bands:
    """Bands of a rendered note, up to 5 kHz."""
    sound = render(setup, 1.0).sound[-24000:]
    thin, rate = pitch.thin(sound, SOUND_RATE)
    partials = bands.partials([sound], SOUND_RATE, pitch.refine(thin, rate, F1), 16)
    return bands.thirds(partials, F1)


def apart(one: bands.Bands, other: bands.Bands) -> float:
    """How far levels are apart but for a level and a slope, which are the microphone's. [dB]"""
    octaves, off = np.log2(one.hz), one.level_db - other.level_db
    return float(np.std(off - np.polyval(np.polyfit(octaves, off, 1), octaves)))


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
        (np.array([2.0, -14.0, 2.0, 2.0, 2.0, 4.0, 2.0]), "partial 2 at 240 Hz is 14 dB softer"),
        (
            np.array([-2.0, -3.0, -2.0, -2.0, -2.0, 13.0, -2.0]),
            "the band about 635 Hz is 13 dB louder",
        ),
    ],
)
def test_the_feature_that_most_is_left_of_is_named(apart: np.ndarray, says: str) -> None:
    hz = 200.0 * 2.0 ** (np.arange(7) / 3.0)
    note = 120.0 if "partial" in says else 100.0
    assert apart.mean() == 0.0
    assert fitting._feature(hz, apart, note).feature == says


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
    # 32 periods of a low note take longer.
    with pytest.raises(ModelError, match=r"lasts 0\.40 s; 0\.46 s or more"):
        fitting.fit([tone[:19200]], SOUND_RATE, 70.0, load_horn("baritone-saxophone"))
    gliding = np.sin(2.0 * np.pi * F1 * (t + 0.5 * t * t))
    with pytest.raises(ModelError, match="does not hold still enough at 311 Hz to be compared"):
        fitting.fit([gliding[-24000:]], SOUND_RATE, F1, load_horn(HORN))
    with pytest.raises(ModelError, match="bands with partials up to 5000 Hz; 6 or more"):
        fitting.fit([tone], SOUND_RATE, F1, load_horn(HORN))


# --- where settings are allowed ------------------------------------------------------------------


@pytest.mark.parametrize("reed", [{}, {"strength": 1.0}, {"strength": 3.5}, {"strength": 5.0},
    {"opening": 3e-3}, {"opening": 5e-5}, {"damping": 0.05}, {"damping": 10.0}])  # fmt: skip
def test_nothing_is_looked_for_where_a_reed_is_not_allowed(reed: dict[str, float]) -> None:
    horn = with_reed(**reed)
    search = fitting._Horn(horn, tune(load_horn(HORN), F1).model_copy(update={"reed": horn.reed}),
                           F1, 3)  # fmt: skip
    low, high = search.low, search.high
    assert np.all(high - low > 0.3)
    for corner in np.array(
        np.meshgrid(*zip(low[[0, 2, 3]], high[[0, 2, 3]], strict=True))
    ).T.reshape(-1, 3):
        search.setup(np.array([corner[0], -1.3, corner[1], corner[2], 0.0]))


def test_players_are_tried_all_over_what_is_allowed_and_the_best_are_followed() -> None:
    low, high = np.array([-1.2, 0.1, -3.0, 2.0, -3.0]), np.array([0.5, 0.9, -1.0, 6.0, 3.0])
    middle, tried = 0.5 * (low + high), list[np.ndarray]()

    def cost(at: np.ndarray) -> np.ndarray:
        tried.append(at)
        return at - middle

    search = SimpleNamespace(horn=SimpleNamespace(low=low, high=high, usual=high), cost=cost)
    best = fitting._Search.everywhere(search)
    assert len(tried) == fitting.TRIALS + 1
    share = (np.array(tried) - low) / (high - low)
    assert (share[0] == 1.0).all()  # the preset's own
    assert ((share >= 0.0) & (share <= 1.0)).all()
    # Each eighth of each of four; a microphone is even until something speaks against it.
    assert all(set(range(8)) <= set((8.0 * one).astype(int)) for one in share[1:, :4].T)
    assert share[1:, 4] == pytest.approx(0.5)
    off = sorted(float(np.sum((at - middle) ** 2)) for at in tried)
    assert [float(np.sum((at - middle) ** 2)) for at in best] == off[: fitting.FOLLOWED]


def with_reed(**reed: float) -> Horn:
    horn = load_horn(HORN)
    return horn.model_copy(update={"reed": horn.reed.model_copy(update=reed)})


def test_a_breath_that_nobody_blows_plays_nothing_and_the_search_goes_on() -> None:
    horn = with_reed(opening=2.5e-3, strength=5.0)
    tuned = tune(load_horn(HORN), F1).model_copy(update={"reed": horn.reed})
    at = np.zeros(5)  # what shuts this reed
    found = fitting._Horn(horn, tuned, F1, 3)
    with pytest.raises(ModelError, match=r"breath\.pressure_kpa is .*; allowed 0 to 20"):
        found.setup(at)
    assert found.heard(at) is None


def test_a_harder_reed_is_fitted_as_well(own: fitting.Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, few in (("TRIALS", 2), ("FOLLOWED", 1), ("STEPS", 1)):
        monkeypatch.setattr(fitting, name, few)
    sound = render(own.setup, 1.0).sound[-24000:]
    thin, rate = pitch.thin(sound, SOUND_RATE)
    hz = pitch.refine(thin, rate, F1)
    found = fitting.fit([sound], SOUND_RATE, hz, with_reed(strength=3.5))
    for one in found.settings:
        low, high = QUANTITIES[one.name].edge_range
        assert low <= one.low <= one.value <= one.high <= high
    # Nobody who blows at all: nothing that could be compared comes out.
    monkeypatch.setattr(fitting, "LEAST_BREATH", 1e9)
    with pytest.raises(ModelError, match=rf"^no breath and reed .* the horn plays {hz:.1f} Hz"):
        fitting.fit([sound], SOUND_RATE, pitch.refine(thin, rate, F1), load_horn(HORN))


# --- a voice over it -----------------------------------------------------------------------------


NOTES = 116.54, 116.54 * 5 / 3 * 2.0 ** (-60.0 / 1200.0)


@pytest.fixture(scope="module")
def sung_over() -> tuple[np.ndarray, float]:
    """A note of the tenor before a microphone in a room, sung over at depth 0.2."""
    horn, _ = recorded(cut(CASE, 2.0, 1.0), noise_db=30.0, reverberation=0.6, bleed_db=None)
    return pitch.thin(horn, SOUND_RATE)


def test_how_strongly_was_sung_is_found_and_the_model_asked(sung_over) -> None:
    setup = setup_of(CASE).with_value("voice.source", "off")
    depth = depth_of(setup, *sung_over, NOTES)
    assert depth.value == pytest.approx(0.2, rel=0.25)
    assert depth.value / depth.low == pytest.approx(depth.high / depth.value)
    told = pair(setup, *NOTES, depth.value)
    assert (told.state, told.ratio) == (State.DRIFTING, (8, 5))  # 5/3 less 60 cents is near it
    assert depth_of(setup, *sung_over, (116.54, 233.08)) is None


def test_a_horn_that_plays_a_little_sharp_tells_the_depth_as_well(sung_over) -> None:
    sharp = tune(load_horn(CASE.horn), 2.0 ** (20.0 / 1200.0) * NOTES[0])
    assert depth_of(sharp, *sung_over, NOTES).value == pytest.approx(0.2, rel=0.25)


def test_a_horn_that_plays_the_octave_tells_no_depth(sung_over) -> None:
    octave = tune(load_horn(CASE.horn), 2.0 * NOTES[0])
    assert synthesis.rendered(octave, *NOTES, 0.05) is None
    assert depth_of(octave, *sung_over, NOTES) is None


def in_proportion(depth: float, off: np.ndarray) -> np.ndarray:
    """Lines that grow as the depth does, each off by so much [dB], over those of each trial."""
    over = 20.0 * np.log10(depth / np.array(modelled.TRIED))
    return over[:, np.newaxis] + off


@pytest.mark.parametrize(
    ("depth", "told"), [(0.0049, False), (0.0051, True), (0.99, True), (1.01, False)]
)
def test_a_depth_far_from_those_tried_is_not_told(depth: float, told: bool) -> None:
    found = modelled.by_lines(in_proportion(depth, np.tile([-1.0, 1.0], 3)))
    assert (found is not None) == told
    if found is not None:
        assert found.value == pytest.approx(depth)
        assert modelled.TOLD[0] <= found.low < found.value < found.high <= modelled.TOLD[1]


@pytest.mark.parametrize("count", [8, 20])
def test_a_depth_lies_in_its_range_two_times_out_of_three(count: int) -> None:
    # Two thirds: one standard deviation of a normal distribution holds 68 % (any handbook).
    dice = np.random.default_rng(3)
    found = [
        modelled.by_lines(in_proportion(0.1, dice.normal(0.0, 4.0, count))) for _ in range(2000)
    ]
    assert np.mean([one.low < 0.1 < one.high for one in found]) == pytest.approx(0.67, abs=0.03)


def test_lines_that_do_not_grow_tell_no_depth() -> None:
    assert modelled.by_lines(np.zeros((3, 6))) is None
