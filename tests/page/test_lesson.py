"""The lesson: what every step claims holds in the simulation, and answers are judged by it."""

from dataclasses import replace

import pytest

from reedbore.errors import ReedboreError
from reedbore.notes import cents
from reedbore.page.lesson import checks
from reedbore.page.lesson.steps import STEPS
from reedbore.page.lesson.steps import told as told_steps
from reedbore.page.request import read_words
from reedbore.simulate.request.take import read_request, tune_request
from reedbore.simulate.take import render
from reedbore.verdict.take import judge

BY_NAME = {step.name: step for step in STEPS}
PANELS = {"bore", "waves", "spectrum", "map"}

RIGHT = {
    # A stopped tube of half the length sounds an octave higher: common knowledge, any textbook.
    "air": 50,
    "reed": 2.2,
    "voice": "Bb3",
    "multiple": 2,
    "octave": "Bb1",  # 5/2 over Bb2: arithmetic of the common fundamental
    "drift": 12.0,
}
WRONG = {
    "air": [100, 30],
    "reed": [1.5, 3.0],
    "voice": ["E2", "C3", "F3"],
    "multiple": [1, 3],
    "octave": ["Bb2", "D2", "Eb1"],
    "drift": [2.0, 40.0],
}


def words_of(name, **changes):
    return read_words({**BY_NAME[name].words, **changes})


def check(name, answer=None, **changes):
    return checks.check(name, answer, words_of(name, **changes))


def test_there_are_nine_steps_with_a_task_each_and_something_to_watch():
    told = told_steps()
    assert [step["name"] for step in told] == list(BY_NAME)
    assert len(told) == 9
    for step in told:
        assert step["panel"] in PANELS
        assert 2 <= sum(text.count(".") for text in step["says"]) <= 8
        assert step["task"]["asks"]
        assert step["watch"]


def test_steps_use_the_usual_depth():
    for step in STEPS:
        setup = read_request(read_words(step.words)).setup
        assert setup.voice.depth == pytest.approx(0.1)


@pytest.mark.slow
@pytest.mark.parametrize("name", BY_NAME)
def test_what_a_step_claims_the_simulation_shows(name):
    setup = tune_request(read_request(words_of(name))).setup
    found = judge(render(setup, checks.LISTEN_S))
    assert (found.state, found.ratio, found.heard) == BY_NAME[name].claim
    assert not found.jumped


@pytest.mark.slow
@pytest.mark.parametrize("name", RIGHT)
def test_a_right_answer_is_right_and_wrong_ones_are_wrong(name):
    assert check(name, RIGHT[name])["right"]
    for answer in WRONG[name]:
        told = check(name, answer)
        assert not told["right"]
        assert told["says"].endswith(".")


@pytest.mark.slow
def test_two_octaves_below_take_four_openings_of_the_reed():
    assert check("lower", sung="F#3-10c")["right"]  # 5/4
    told = check("lower")
    assert not told["right"]
    assert "a twelfth below" in told["says"]


@pytest.mark.slow
def test_a_rough_pair_is_mended_by_moving_the_sung_note():
    assert check("rough", sung="G3")["right"]  # 5/3
    assert not check("rough")["right"]


@pytest.mark.slow
def test_the_horn_takes_the_voice_along_and_hardly_moves():
    found = judge(render(tune_request(read_request(words_of("along"))).setup, checks.LISTEN_S))
    assert found.follows == "voice"
    assert found.pulled_cents == pytest.approx(40.0, abs=3.0)
    assert abs(cents(found.played_hz, found.voice_off_hz)) < 1.0


@pytest.mark.slow
def test_the_voice_is_taken_along_from_another_aim_too_but_not_from_everywhere():
    told = check("along", sung="3/2-25c")
    assert told["right"]
    assert "pulled by 25 cents" in told["says"]
    assert "go at least fifteen" in check("along", sung="3/2-26c")["says"]
    assert not check("along", sung="3/2")["right"]
    # A clock is no singer.
    assert "More than the sung note" in check("along", sung="3/2-25c", settings={})["says"]


def test_only_the_sung_note_may_be_moved_and_not_far():
    assert "three" in check("rough", sung="D4-13.8c")["says"]
    for changes in ({"depth": 0.3}, {"fingered": "C3"}, {"settings": {"reed.opening_mm": 1.0}}):
        told = check("rough", sung="G3", **changes)
        assert not told["right"]
        assert "More than the sung note" in told["says"]
    assert check("rough", sung=None)["says"] == "Nobody sings."


def test_the_reed_is_tried_and_not_looked_up(monkeypatch):
    tried = []

    def controls(setups):
        tried.extend(setup.breath.pressure for setup in setups)
        return [type("Horn", (), {"state": state}) for state in ("sounding", "silent")]

    monkeypatch.setattr(checks.cells, "controls_of", controls)
    assert check("reed", 4.0)["right"]
    assert tried == pytest.approx([4000.0, 3400.0])


def test_a_note_is_named_at_the_tuning_that_is_set():
    sharp = replace(words_of("octave"), a4=466.16)
    told = checks.check("octave", "A1", sharp)  # a semitone up, the same sound has another name
    assert not told["right"]


@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("wheel", 1, "no step"),
        ("air", "long", r"give a number \[%\]"),
        ("air", None, r"give a number \[%\]"),
        ("air", True, r"give a number \[%\]"),
        ("air", float("nan"), r"give a number \[%\]"),
        ("air", 3.0, "allowed 10 to 300"),
        ("voice", "G9", "one of E2"),
        ("octave", "", "a note such as C2"),
        ("octave", "H1", "the answer 'H1'"),
    ],
)
def test_an_answer_that_cannot_be_read_is_refused(name, answer, says):
    words = read_words({})
    with pytest.raises(ReedboreError, match=says):
        checks.check(name, answer, words)
