"""One vocabulary: every table of words has all members of what it is keyed by."""

import pytest

from reedbore.report import words
from reedbore.report.words import HEARD, Heard


def test_every_way_to_be_heard_has_words():
    assert set(HEARD) == set(Heard)


@pytest.mark.parametrize("heard", Heard)
def test_a_sentence_names_the_note(heard: Heard):
    assert "Bb1" in HEARD[heard].sentence.format("Bb1")


@pytest.mark.parametrize(
    ("heard", "says"),
    [("yes", "Bb1 heard"), ("uncertain", "Bb1 perhaps heard"), ("no", "Bb1 not heard"),
     ("same as fingered", "none: the fingered note"), ("same as sung", "none: the sung note")],
)  # fmt: skip
def test_a_third_note_is_named_only_where_there_is_one(heard: str, says: str):
    assert words.third(heard, "Bb1") == says


@pytest.mark.parametrize(
    ("q", "says"),
    [(2, "an octave"), (3, "a twelfth"), (5, "two octaves and a third"), (512, "9 octaves")],
)
def test_how_far_below_is_said_in_words(q: int, says: str):
    assert words.below(q) == says


def test_all_that_a_chart_can_show_has_a_name_below():
    assert not any("." in words.below(q) for q in range(1, 13))
