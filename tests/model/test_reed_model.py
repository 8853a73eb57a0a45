"""The reed as players speak of it: strength and lip move threshold, pitch and colour their way."""

import numpy as np
import pytest

from reedbore.kernel import single
from reedbore.measures import pitch, timbre
from reedbore.model.presets import load_horn
from reedbore.model.setup import Reed, Setup
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.breath import threshold
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import sounding, tune

HORNS = {"clarinet-b-flat": 196.0, "tenor-saxophone": 146.83}


@pytest.fixture(scope="module", params=HORNS)
def setup(request) -> Setup:
    return tune(load_horn(request.param), HORNS[request.param])


def played(setup: Setup) -> float:
    name = "clarinet-b-flat" if setup.bore.holes else "tenor-saxophone"
    return sounding(setup, HORNS[name], load_horn(name))


def brightness(setup: Setup) -> float:
    """Mean frequency of the partials heard outside, weighted by amplitude. [Hz]."""
    tone = render(setup, 1.5).sound[-round(0.5 * SOUND_RATE) :]
    played = pitch.refine(tone, SOUND_RATE, HORNS["clarinet-b-flat"])
    return timbre.centroid(timbre.partials(tone, SOUND_RATE, played), played)


def test_the_usual_strength_and_lip_change_nothing(setup):
    assert setup.reed.held() is setup.reed


@pytest.mark.parametrize(("share", "shut"), [(0.9, False), (1.05, True)])
def test_breath_beyond_what_closes_the_reed_shuts_it(setup, share, shut):
    # Hooke's law: at K H of the reed as it is held, here a firm one. A reed that sounds goes on
    # sounding a little beyond; so it is blown quite shut first, and the breath then goes back.
    firm = setup.with_value("reed.lip", 1.3).with_value("reed.strength", 2.8)
    course = np.interp(np.arange(144000), (0, 4800, 48000, 96000), (0.0, 5.0, 5.0, share))
    run = single.run(numbers.numbers_of(firm), course * firm.reed.closes_at)
    opening = run.opening[-19200:]
    assert (opening.max() < firm.reed.shut_below) == shut


def test_a_held_reed_is_of_usual_strength_and_lip():
    hard = Reed(opening=1e-3, width=0.013, stiffness=8e6, frequency=1500.0, damping=1.0, strength=4)
    held = hard.held()
    # The mapping as it is written down: 1.35 times as stiff for each strength, at the same mass.
    assert held.stiffness == pytest.approx(8e6 * 1.35**1.5)
    assert held.frequency == pytest.approx(1500.0 * 1.35**0.75)
    assert held.held() is held


def test_a_harder_reed_needs_more_breath(setup):
    # Common practice, no source.
    needed = [threshold(setup.with_value("reed.strength", s)) for s in (1.5, 2.5, 3.5, 4.5)]
    assert needed == sorted(needed)
    assert needed[-1] > 1.5 * needed[0]


def test_a_harder_reed_plays_sharper(setup):
    # Common practice, no source.
    soft, usual, hard = (
        played(setup.with_value("reed.strength", strength)) for strength in (2.2, 2.5, 2.8)
    )
    assert soft < usual < hard


def test_a_firmer_lip_plays_sharper(setup):
    # Common practice, no source.
    loose, usual, firm = (played(setup.with_value("reed.lip", lip)) for lip in (0.9, 1.0, 1.1))
    assert loose < usual < firm


def test_a_wider_tip_needs_more_breath(setup):
    # Common practice, no source.
    opening = setup.value("reed.opening_mm")
    needed = [threshold(setup.with_value("reed.opening_mm", opening * k)) for k in (0.8, 1.0, 1.3)]
    assert needed == sorted(needed)


def test_a_clarinet_blown_harder_is_brighter():
    # Common practice, no source.
    setup = tune(load_horn("clarinet-b-flat"), 196.0)
    soft, loud = (brightness(setup.with_value("breath.pressure_kpa", kpa)) for kpa in (1.7, 3.0))
    assert loud > 1.05 * soft


def test_a_harder_reed_at_the_same_breath_is_darker():
    # Common practice, no source.
    setup = tune(load_horn("clarinet-b-flat"), 196.0)
    soft, hard = (brightness(setup.with_value("reed.strength", s)) for s in (1.5, 3.0))
    assert hard < 0.95 * soft


def test_more_damping_by_the_lip_is_darker():
    # Common practice, no source.
    setup = tune(load_horn("clarinet-b-flat"), 196.0)
    dry, damped = (brightness(setup.with_value("reed.damping", q)) for q in (0.4, 2.0))
    assert damped < dry
