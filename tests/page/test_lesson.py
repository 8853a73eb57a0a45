"""The lesson: what every step claims holds in the simulation, and answers are judged by it."""

import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile
import textstat

from reedbore.errors import ReedboreError
from reedbore.measures.loudness import loudness
from reedbore.notes import cents
from reedbore.page import api
from reedbore.page.lesson import checks
from reedbore.page.lesson.steps import STEPS
from reedbore.page.lesson.steps import told as told_steps
from reedbore.page.request import read_words
from reedbore.simulate.outside import MATCHED_LUFS
from reedbore.simulate.request.take import read_request

BY_NAME = {step.name: step for step in STEPS}
PICTURES = {"push", "waves", "spectrum", "bore", "turns"}
SLOW = pytest.mark.ci  # to solve what folds sing takes a while

RIGHT = {
    # An open end turns a pressure pulse over, a closed one does not; a tube closed at one end
    # sounds at a quarter of a wavelength: any textbook, such as Fletcher and Rossing, chapter 8.
    "push": "the open end",
    "tube": 4,
    "reed": "low",
    "voice": "one",
    "multiple": 2,  # 2/1, 5/2 and 3/2: arithmetic of the notes
    "octave": 2,
    "along": 3,
}
WRONG = {
    "push": ["the stopped end", "both", "neither"],
    "tube": [2, 3, 8],
    "reed": ["high"],
    "voice": ["two", "three"],
    "multiple": [1, 3],
    "octave": [1, 5],
    "drift": [2, 40],
    "along": [2, 4],
}


def words_of(name, **changes):
    return read_words({**BY_NAME[name].words, **changes})


def check(name, answer=None, **changes):
    return checks.check(name, answer, words_of(name, **changes))


def folded(names):
    return [pytest.param(name, marks=SLOW) if name == "along" else name for name in names]


def test_there_are_ten_steps_at_most_each_with_a_question_and_the_voice_is_taken_along_at_last():
    told = told_steps()
    assert [step["name"] for step in told] == list(BY_NAME)
    assert len(told) <= 10
    assert told[-1]["name"] == "along"
    for step in told:
        assert step["picture"] in PICTURES
        assert len(step["says"]) == 2
        assert step["task"]["asks"].endswith(("?", "."))
        assert step["watch"]
        assert step["notes"]


def test_what_the_page_is_told_holds_no_answer():
    for told in told_steps():
        assert {"claim", "hint", "answer"}.isdisjoint(told | told["task"])
    shown = json.dumps(told_steps())
    assert all(note not in shown for note in ("Bb1", "locked", "drifting"))


def test_steps_use_the_usual_depth():
    for step in STEPS:
        setup = read_request(read_words(step.words)).setup
        assert setup.voice.depth == pytest.approx(0.1)


@pytest.mark.parametrize(
    "word",
    ["push", "pull", "lay", "partial", "depth", "lock", "5/2", "third note", "cent", "beat"],
)
def test_a_word_is_explained_where_it_first_stands(word):
    def stands(step):
        text = [*step.says, step.watch, step.task.asks, step.task.hint, step.title]
        text += [part for pair in step.explains for part in pair]
        return re.search(rf"(?<![\w/]){word}s?(?![\w/])", " ".join(text), re.IGNORECASE)

    first = next(step for step in STEPS if stands(step))
    assert word in dict(first.explains)


def test_it_reads_easily():
    """Flesch and Kincaid's grade, as textstat counts it; sixteen-year-olds are in grade 10."""
    grade = textstat.textstat.flesch_kincaid_grade
    for step in STEPS:
        means = [f"{word}: {means}." for word, means in step.explains]
        text = " ".join([*step.says, step.watch, step.task.asks, step.task.hint, *means])
        assert grade(text) < 6.0, step.name
        assert len(" ".join(step.says).split()) <= 80, step.name
    # It can tell: this is how such a thing stands in a handbook.
    assert grade(
        "Visco-thermal dissipation at the boundary layer attenuates propagating oscillations, "
        "while the radiation impedance terminating the cylindrical waveguide determines the "
        "frequency-dependent complex reflection coefficient of the travelling pressure component."
    ) > 12.0  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", folded(BY_NAME))
def test_what_a_step_claims_the_simulation_shows(name):
    found = checks._judged(checks._setup(BY_NAME[name]))
    assert (found.state, found.ratio, found.heard) == BY_NAME[name].claim
    assert not found.jumped


@pytest.mark.slow
@pytest.mark.parametrize("name", folded(RIGHT))
def test_a_right_answer_is_right_and_a_wrong_one_gets_a_hint_and_no_result(name):
    assert check(name, RIGHT[name])["right"]
    for answer in WRONG[name]:
        assert check(name, answer) == {"right": False, "says": BY_NAME[name].task.hint}


@pytest.mark.slow
def test_turns_are_counted_as_the_verdict_measures_them():
    drift = abs(checks._judged(checks._setup(BY_NAME["drift"])).drift_hz)
    found, said = checks._drift(BY_NAME["drift"])
    assert found == pytest.approx(5.0 * drift, rel=0.05)
    assert check("drift", round(found))["right"]
    # So much earlier is a push after each swell: by the pitches of both, not by their partial.
    verdict = checks._judged(checks._setup(BY_NAME["drift"]))
    p, q = verdict.ratio
    early = 5.0 * abs(verdict.sung_hz - p / q * verdict.played_hz) / found
    assert early == pytest.approx(0.5, rel=0.05)
    assert f"the {p} pushes have come early by half a push, and meet the {q} openings" in said
    for answer in WRONG["drift"]:
        assert not check("drift", answer)["right"]


@pytest.mark.slow
def test_two_octaves_below_take_four_openings_of_the_reed():
    assert check("lower", sung="F#3-10c")["right"]  # 5/4
    assert check("lower") == {"right": False, "says": BY_NAME["lower"].task.hint}


@pytest.mark.slow
def test_a_rough_pair_is_mended_by_moving_the_sung_note():
    assert check("rough", sung="G3")["right"]  # 5/3
    assert not check("rough")["right"]


@SLOW
def test_the_horn_takes_the_voice_along_and_hardly_moves():
    found = checks._judged(checks._setup(BY_NAME["along"]))
    assert found.follows == "voice"
    assert found.pulled_cents == pytest.approx(40.0, abs=3.0)
    assert abs(cents(found.played_hz, found.voice_off_hz)) < 1.0


@SLOW
def test_the_teacher_is_told_every_answer_and_each_is_right():
    for step in STEPS:
        told = checks.truth(step.name)
        assert told["said"].endswith(".")
        if step.name in RIGHT:
            assert told["answer"].split(" ")[0] == str(RIGHT[step.name]).split(" ", maxsplit=1)[0]
        if step.name in checks.EXAMPLES:
            assert check(step.name, sung=told["answer"].split()[1])["right"]


@pytest.mark.parametrize("name", ["tube", "voice"])
def test_soft_steps_are_made_as_loud_as_others_and_it_is_told(name):
    words = BY_NAME[name].words
    true, raised = (api.sound({"words": words, "audible": loud}) for loud in (False, True))
    (soft, rate), (loud, _) = (soundfile.read(io.BytesIO(one.body)) for one in (true, raised))
    # EBU R 128 as `sound.loudness` has it, which is held to its test cases elsewhere.
    late = round(float(raised.headers["x-loop-start"]) * rate)
    assert loudness(loud[late:]) == pytest.approx(MATCHED_LUFS, abs=1.0)
    assert float(raised.headers["x-lift-db"]) > 20.0
    assert np.abs(soft).max() < 0.02
    assert float(true.headers["x-lift-db"]) == 0.0


def test_only_the_sung_note_may_be_moved_and_not_far():
    assert "three" in check("rough", sung="D4-13.8c")["says"]
    for changes in ({"depth": 0.3}, {"fingered": "C3"}, {"settings": {"reed.opening_mm": 1.0}}):
        told = check("rough", sung="G3", **changes)
        assert not told["right"]
        assert "More than the sung note" in told["says"]
    assert check("rough", sung=None)["says"] == "Nobody sings."


@pytest.mark.slow
def test_an_answer_is_found_and_not_looked_up():
    # The same question about another pair has another answer.
    other = replace(BY_NAME["octave"], words={**BY_NAME["octave"].words, "sung": "5/3-2c"})
    assert checks._octave(other)[0] == 3.0
    louder = replace(BY_NAME["tube"], words={**BY_NAME["tube"].words})
    assert checks._tube(louder)[0] == 4.0


@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("wheel", 1, "no step"),
        ("tube", "long", r"give a number \[times\]"),
        ("tube", None, r"give a number \[times\]"),
        ("tube", True, r"give a number \[times\]"),
        ("tube", float("nan"), r"give a number \[times\]"),
        ("tube", 300.0, "allowed 1 to 20"),
        ("reed", "middling", "one of high, low"),
        ("push", 4, "one of the open end"),
    ],
)
def test_an_answer_that_cannot_be_read_is_refused(name, answer, says):
    words = read_words({})
    with pytest.raises(ReedboreError, match=says):
        checks.check(name, answer, words)
