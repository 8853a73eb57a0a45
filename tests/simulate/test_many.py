"""Many setups as columns: they are what they were, and what is alike is kept once."""

import numpy as np
import pytest

from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.many import Setups

TENOR = setup_for(load_horn("tenor-saxophone")).with_value("voice.source", "sine")


def sung(hz, **changed):
    setup = TENOR.with_value("voice.frequency_hz", hz)
    for name, value in changed.items():
        setup = setup.with_value(name.replace("__", "."), value)
    return setup


@pytest.fixture
def setups():
    notes = (200.0, 233.3, 200.0, 311.7)
    return [sung(hz, reed__lip=lip) for lip in (1.0, 1.1) for hz in notes]


def test_setups_stay_what_they_are_and_those_that_differ_in_the_note_are_one(setups):
    many = Setups.of(setups)
    assert list(many) == setups
    assert len(many.kinds) == 2
    assert Setups.of(many) is many


def test_some_of_them_are_those(setups):
    some = Setups.of(setups).at([6, 5, 4])
    assert list(some) == [setups[6], setups[5], setups[4]]
    assert len(some.kinds) == 1
    assert list(Setups.of(setups)[1:3]) == setups[1:3]


def test_what_hangs_on_all_but_the_note_is_asked_once_of_each_kind(setups):
    asked = []
    lips = Setups.of(setups).each(lambda one: asked.append(one) or one.reed.lip)
    assert np.array_equal(lips, [1.0] * 4 + [1.1] * 4)
    assert len(asked) == 2


def test_folds_are_solved_for_their_note_so_each_stands_for_itself():
    folds = [sung(hz, voice__source="pulse", voice__drive="folds") for hz in (200.0, 233.3)]
    many = Setups.of(folds)
    assert list(many) == folds
    assert len(many.kinds) == 2
