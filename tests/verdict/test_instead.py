"""What to sing instead of a pair that misses: arithmetic, and the model that it is held against."""

import re

import pytest

from reedbore.notes import cents, midi_to_hz
from reedbore.report.verdict import how_to_sing, instead, sentences
from reedbore.simulate.request.take import Words, read_request, tune_request
from reedbore.simulate.take import render
from reedbore.verdict.instead import AIM_CENTS, CLOCK_CENTS, WITHIN_CENTS, sing_instead
from reedbore.verdict.result import Control, Verdict, bare
from reedbore.verdict.runs import LEAST_SECONDS
from reedbore.verdict.state import HornState, State
from reedbore.verdict.take import judge

A4 = midi_to_hz(69)
CONTROL = Control(HornState.SOUNDING, A4, 1, 1000.0, None)


def moved(hz: float, by: float) -> float:
    return hz * 2.0 ** (by / 1200.0)


def missed(played: float, sung: float, **more: object) -> Verdict:
    found = bare(State.ROUGH, CONTROL, played=played, sung=sung)
    return Verdict(**{**vars(found), "aimed_hz": sung, **more})


def told(found: Verdict, reach: tuple[float, float] | None = None) -> str:
    return " ".join(instead(found.document(A4, reach=reach), 440.0))


def test_over_a_flat_horn_the_just_note_is_as_flat():
    # The just fifth over A4 is E5 and 1.955 cents: A. J. Ellis, in Helmholtz, On the Sensations
    # of Tone, 2nd English ed., 1885, app. XX (from memory).
    found = missed(moved(A4, -12.0), 1.5 * A4)
    assert told(found) == "the horn plays 12 cents flat here: for 3/2 sing E5-10.0c"
    plain = found.document(A4)["sing_instead"]
    assert plain["hz"] == pytest.approx(1.5 * moved(A4, -12.0))
    assert plain["cents"] == pytest.approx(-12.0)
    assert (plain["note"], plain["ratio"], plain["in_range"]) == ("E5-10c", "3/2", None)
    assert how_to_sing(found.document(A4), 440.0) == ""


def test_what_lies_in_the_range_goes_before_what_is_nearer():
    # 8/5 and 5/3 are 814 and 884 cents.
    sung = moved(A4, 840.0)
    assert told(missed(A4, sung)).startswith("for 8/5")
    above = moved(A4, 850.0), moved(A4, 2400.0)
    assert told(missed(A4, sung), above) == "for 5/3 sing F#5-15.6c (in reach)"
    below = moved(A4, -1200.0), A4
    assert told(missed(A4, sung), below) == (
        "nothing in your range lies within 50 cents; out of it, for 8/5 sing F5+13.7c"
    )
    # Between 1/1 and 8/7, which is 231 cents, there is nothing.
    nothing = missed(A4, moved(A4, 115.0))
    assert told(nothing) == "nothing lies within 50 cents"
    assert told(nothing, below) == "nothing in your range lies within 50 cents"


def test_notes_are_looked_for_as_far_as_is_said():
    found = [
        sing_instead(A4, moved(A4, off), moved(A4, off))
        for off in (WITHIN_CENTS - 0.1, WITHIN_CENTS + 0.1)
    ]
    assert [one.ratio for one in found] == [(1, 1), None]


@pytest.mark.parametrize(("pull", "least"), [(0.0, CLOCK_CENTS), (43.0, AIM_CENTS)])
def test_a_move_too_small_is_no_advice(pull: float, least: float):
    for off, says in ((0.9 * least, False), (1.1 * least, True)):
        sung = moved(1.5 * A4, off)
        assert bool(told(missed(A4, sung, aimed_hz=moved(sung, -pull)))) is says


@pytest.mark.parametrize(
    "changes",
    [{"state": State.LOCKED}, {"state": State.IRREGULAR}, {"jumped": True}, {"sung_hz": None}],
)
def test_without_a_miss_that_arithmetic_knows_nothing_is_said(changes):
    found = missed(A4, 1.48 * A4, **changes)
    assert told(found) == ""
    assert found.document(A4)["sing_instead"] is None


def test_false_folds_are_told_the_note_of_the_true_ones():
    found = missed(A4, moved(0.75 * A4, 10.0), folds=2)
    assert told(found) == "for 3/4 sing E5+2.0c"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "says"),
    [
        pytest.param(
            {"horn": "clarinet-b-flat", "fingered": "A4", "sung": "5/8", "breath": "pp"},
            r"plays \d+ cents sharp here: for 5/8 sing (C#4.\d+\.\dc) \(in reach\)",
            marks=pytest.mark.ci,
        ),
        (
            {"horn": "alto-saxophone", "fingered": "C#5", "sung": "3/2", "breath": "pp"}
            | {"written": True, "voice": "high-female"},
            r"plays \d+ cents flat here: for 3/2 sing (B4.\d+\.\dc) \(in reach\)",
        ),
        (
            {"fingered": "Bb2", "sung": "3/2", "settings": ("voice.drive=folds",)},
            r"For 3/2 aim at (F3-\d+c) \(in reach\)",
        ),
    ],
)
def test_what_is_to_be_sung_instead_locks_or_comes_nearer(words, says):
    off = []
    for _ in range(2):
        request = tune_request(read_request(Words(**words)))
        take = render(request.setup, LEAST_SECONDS)
        found = judge(take)
        p, q = map(int, re.search(r"or (\d)/(\d)", says)[0][3:].split("/"))
        locked = found.state == State.LOCKED and found.ratio == (p, q)
        off.append(0.0 if locked else abs(cents(found.sung_hz, found.played_hz * p / q)))
        if len(off) == 1:
            (note,) = re.search(says, " ".join(sentences(request, take, found))).groups()
            words = {**words, "sung": note}
    assert off[0] > 1.0
    assert off[1] < 0.2 * off[0]
