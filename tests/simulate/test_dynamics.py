"""From pp to ff: how loud, how bright, in which register, and how the lip holds the note."""

import math

import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.measures import timbre
from reedbore.model.passage import DYNAMICS
from reedbore.model.presets import load_horn, names, setup_for
from reedbore.model.setup import Setup
from reedbore.notes import cents, midi_to_hz, parse_note
from reedbore.report import verdict as telling
from reedbore.simulate.dynamics import FIRMEST, firmer, lip_follows, tip, with_dynamic
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.request.take import Words, read_request, tune_request
from reedbore.simulate.take import render
from reedbore.simulate.tuning import heard_pitch, tune
from reedbore.verdict.take import judge

NOTES = [
    ("tenor-saxophone", "Bb2"),
    ("alto-saxophone", "A3"),
    ("soprano-saxophone", "E4"),
    ("baritone-saxophone", "Db2"),
    ("clarinet-b-flat", "D3"),
    ("bass-clarinet", "B2"),
    ("contra-alto-clarinet", "E2"),
    ("plain-cone", "A3"),
    ("plain-cylinder", "E3"),
]
"""Among them the lowest note of the baritone, the first to fall to the octave."""


def fingered(name: str, note: str) -> tuple[Setup, float]:
    hz = midi_to_hz(parse_note(note))
    return tune(load_horn(name), hz), hz


@pytest.mark.parametrize("name", names("horns"))
def test_the_usual_breath_and_tip_lie_between_pp_and_ff(name: str):
    setup = setup_for(load_horn(name))
    soft, loud = (with_dynamic(setup, dynamic) for dynamic in ("pp", "ff"))
    assert soft.breath.pressure < setup.breath.pressure < loud.breath.pressure
    assert soft.reed.opening < setup.reed.opening < loud.reed.opening
    # The reed stands about as near to closing, so that what speaks at mf speaks at pp.
    shares = [one.breath.pressure / one.reed.closes_at for one in (soft, setup, loud)]
    assert max(shares) / min(shares) < 1.1


def test_dynamics_stand_at_even_ratios():
    steps = np.diff(np.log([tip(name) for name in DYNAMICS]))
    assert steps == pytest.approx(np.full(5, steps[0]))


@pytest.mark.parametrize(("name", "note"), NOTES)
def test_pp_to_ff_is_louder_and_brighter_in_tune_and_in_register(name: str, note: str):
    # At least 10 dB, and brighter: common practice, no source. Here 12 dB, each step rising; within
    # 5 cents; the first partial in the mouthpiece above the second, as in the low register.
    setup, hz = fingered(name, note)
    levels, centroids = [], []
    for dynamic in DYNAMICS:
        take = render(lip_follows(with_dynamic(setup, dynamic), hz), 1.5 + 150.0 / hz)
        tone = take.sound[-round(0.4 * SOUND_RATE) :]
        levels.append(20.0 * math.log10(float(np.std(tone)) / 2e-5))
        centroids.append(timbre.centroid(timbre.partials(tone, SOUND_RATE, hz), hz))
        inside = take.traces.pressure[-round(0.4 * setup.time.rate) :]
        first, second = timbre.partials(inside, setup.time.rate, hz)[:2]
        assert first > second
        played = heard_pitch(take.setup, hz)
        assert played is not None
        assert abs(cents(played, hz)) < 5.0
    assert levels[-1] - levels[0] >= 12.0
    assert np.diff(levels).min() > 1.0
    assert np.diff(centroids).min() > 0.0


@pytest.mark.parametrize(("name", "note"), [("clarinet-b-flat", "Eb5"), ("alto-saxophone", "B4")])
def test_a_note_of_the_upper_register_speaks_at_pp(name: str, note: str):
    # It needs more breath over closing than a low note, so its softest tip is wider.
    setup, hz = fingered(name, note)
    soft = lip_follows(with_dynamic(setup, "pp"), hz)
    assert soft.reed.opening > 1.05 * tip("pp") * setup.reed.opening
    played = heard_pitch(soft, hz)
    assert played is not None
    assert abs(cents(played, hz)) < 60.0


def test_breath_alone_hardly_makes_a_saxophone_louder():
    # A reed that beats is starved by more breath (the reason for the lip); 1.6 times the pressure.
    setup, _ = fingered("tenor-saxophone", "F3")
    levels = [
        20.0 * math.log10(float(np.std(render(one, 1.5).sound[-19200:])))
        for one in (setup.with_value("breath.pressure_kpa", kpa) for kpa in (2.3, 3.7))
    ]
    assert levels[1] - levels[0] < 3.0


@pytest.mark.parametrize("times", [0.8, 1.25])
def test_a_firmer_lip_plays_sharper_and_a_looser_one_flatter(times: float):
    # Common practice, no source.
    setup, hz = fingered("tenor-saxophone", "F3")
    usual, changed = heard_pitch(setup, hz), heard_pitch(firmer(setup, times), hz)
    assert usual is not None
    assert changed is not None
    assert cents(changed, usual) * math.log(times) > 0.0
    assert 1.0 < abs(cents(changed, usual)) < 30.0


def test_the_lip_brings_a_strayed_note_back():
    setup, hz = fingered("clarinet-b-flat", "D3")
    soft = with_dynamic(setup, "pp")
    strayed, held = heard_pitch(soft, hz), heard_pitch(lip_follows(soft, hz), hz)
    assert strayed is not None
    assert held is not None
    assert abs(cents(strayed, hz)) > 5.0
    assert abs(cents(held, hz)) < 1.0


def test_the_lip_stays_where_the_horn_does_not_speak_and_within_its_strength():
    setup, hz = fingered("clarinet-b-flat", "D3")
    silent = setup.with_value("breath.pressure_kpa", 0.3)
    assert lip_follows(silent, hz) == silent
    far = lip_follows(setup, hz * 2.0 ** (1.0 / 12.0))
    assert far.reed.stiffness <= setup.reed.stiffness * FIRMEST * (1.0 + 1e-9)


def test_a_dynamic_beyond_what_is_allowed_is_told():
    setup = setup_for(load_horn("tenor-saxophone")).with_value("reed.opening_mm", 0.1)
    with pytest.raises(ModelError, match=r"reed\.opening_mm is 0\.027 mm; allowed 0\.05"):
        with_dynamic(setup, "pp")


def asked(breath: str, *settings: str) -> tuple[Setup, str]:
    """The setup that a breath and settings make of D3 on the clarinet, and what is told of it."""
    words = Words(
        horn="clarinet-b-flat",
        fingered="D3",
        breath=breath,
        settings=("time.rate_hz=48000", *settings),
    )
    request = tune_request(read_request(words))
    take = render(request.setup, 0.6)
    return request.setup, dict(telling.rows(request, take, judge(take)))["breath"]


def test_what_breath_and_lip_do_is_told():
    followed, says = asked("p")
    still, says_still = asked("p", "breath.lip=still")
    assert followed.breath.pressure != still.breath.pressure
    kpa, stiffness = followed.breath.pressure / 1e3, followed.value("reed.stiffness_kpa_per_mm")
    assert says == (
        f"p: {kpa:.3g} kPa, tip open 0.14 mm; the lip follows to hold the note, "
        f"reed {stiffness:.3g} kPa/mm"
    )
    assert (
        says_still
        == f"p: {still.breath.pressure / 1e3:.3g} kPa, tip open 0.14 mm; the lip is still"
    )
    assert still.value("reed.stiffness_kpa_per_mm") == 10.0


def test_a_pressure_leaves_the_lip_alone():
    setup, says = asked("2kPa")
    assert says == "2 kPa"
    assert setup.reed == load_horn("clarinet-b-flat").reed
