"""One vocabulary: every table of words has all members of what it is keyed by."""

from pathlib import Path

import pytest

from reedbore.page import choices
from reedbore.page.lesson.steps import STEPS
from reedbore.report import words
from reedbore.report.words import HEARD, REASONS, STATES
from reedbore.verdict.state import Heard, Reason, State


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


def test_a_reason_says_more_than_its_state_or_leaves_it_the_word():
    assert words.short(State.UNDECIDED, Reason.TOO_SHORT) == "too short to tell"
    assert words.short(State.UNDECIDED) == "not decided"
    assert words.short(State.SILENT, Reason.MUTE) == "silent"
    assert set(REASONS) < set(Reason)


def test_no_two_states_have_one_word():
    told = [state.short for state in STATES.values()]
    assert len(set(told)) == len(told)


@pytest.mark.parametrize(
    ("times", "says"),
    [(0.7, "as smooth as"), (1.5, "as smooth as"), (1.51, "a little rougher"),
     (5.0, "a little rougher"), (5.1, "much rougher"), (20.0, "much rougher"),
     (20.1, "far rougher"), (1e4, "far rougher")],
)  # fmt: skip
def test_roughness_is_told_against_the_horn_alone(times: float, says: str):
    assert words.rougher(times).startswith(says)
    assert words.rougher(times).endswith("the horn alone")


def test_readme_and_page_give_the_same_caution():
    # README has each of its lines wrapped, so blanks are made one.
    readme = " ".join((Path(__file__).parents[2] / "README.md").read_text("utf-8").split())
    assert words.CLOCK in readme
    assert words.sentence(words.CLOCK) in choices.CARE
    (step,) = [step for step in STEPS if step.name == "drift"]
    assert words.sentence(words.SINGER) in step.says[-1]
