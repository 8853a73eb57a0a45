"""A plan as it is told: arithmetic beside the simulation, both pitches, the cautions."""

import csv
import io
import json
import re
from pathlib import Path

import pytest

from reedbore.model.line import read_line
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import midi_to_hz, parse_note
from reedbore.report import plan as report
from reedbore.report.words import FOLDS, STRAIN
from reedbore.verdict.plan import (
    EASE_COSTS,
    HEARD_COSTS,
    Plan,
    Step,
    Tried,
    best_first,
)
from reedbore.verdict.planning import (
    CHANGE_COST,
    FINGERS_COST,
    Fingered,
    fingered_notes,
    nearest_to,
    pairs_over,
    passage_steps,
    tried,
    wanted_steps,
)
from reedbore.verdict.state import Ease, Heard, RowState

TENOR, LOW = load_horn("tenor-saxophone"), load_singer("low-male")
REACH = LOW.reach(440.0)
BB2 = midi_to_hz(parse_note("Bb2"))


def found(width, aim=1.0, heard=Heard.YES, softest=0.05, pulled=39.0):
    state = RowState.LOCKED if width else RowState.FREE
    return Tried(
        state=state, reason=None, played_hz=BB2, aim_hz=aim, width_cents=width,
        pulled_cents=pulled, held=1.0 if width else None, heard=heard if width else None,
        depth=0.1, softest=softest,
    )  # fmt: skip


def low_pairs():
    low, high = TENOR.midi_range
    notes = [Fingered(midi_to_hz(midi)) for midi in range(low, high + 1)]
    return [pair for note in notes for pair in pairs_over(note, REACH)]


def plan(**changes):
    pairs = pairs_over(Fingered(BB2), REACH)
    kept = [pair for pair in pairs if pair.ratio in {(5, 2), (3, 2), (4, 3), (5, 3)}]
    start = {"title": "Bb2 fingered", "horn": TENOR, "singer": LOW, "choices": tuple(kept)}
    return Plan(**(start | changes))


def known():
    """What became of three of the four pairs."""
    pairs = {pair.ratio: pair for pair in plan().choices}
    just = {ratio: pair.just_hz for ratio, pair in pairs.items()}
    return {
        pairs[5, 2].key: found(74.0, just[5, 2] * 2.0 ** (5.0 / 1200.0), pulled=-5.0),
        pairs[3, 2].key: found(42.0, just[3, 2] * 2.0 ** (-42.0 / 1200.0), softest=0.1),
        pairs[4, 3].key: found(0.0),
    }


def line_of(text, word):
    return next(line for line in text.splitlines() if f" {word} " in f" {line} ")


def test_by_arithmetic_alone_no_aim_is_told_and_nobody_s_folds_are_named():
    text = report.text(plan())
    assert f"{report.ARITHMETIC}:" in text
    assert line_of(text, "5/2").split() == ["Bb2", "C4", "5/2", "D4-14c", "Bb1"]
    assert FOLDS not in text


def test_arithmetic_and_simulation_stand_side_by_side_the_easiest_first():
    text = report.text(tried(plan(), known()))
    words = line_of(text, "5/2").split("  ")
    assert [word.strip() for word in words if word.strip()] == [
        "Bb2", "C4", "5/2", "D4-14c", "D4-9c", "37 cents", "down 5", "100 %", "soft hum",
        "Bb1 heard",
    ]  # fmt: skip
    assert line_of(text, "3/2").split()[3:5] == ["F3+2c", "F3-40c"]
    places = [
        text.index(word)
        for word in (f"{Ease.BY_ITSELF}:", "5/2", "3/2", f"{report.ARITHMETIC}:", "5/3")
    ]
    order = [text.index(f"{Ease.NEVER}:"), text.index("4/3")]
    assert places[:3] == sorted(places[:3])
    assert order == sorted(order)
    assert FOLDS in text


def test_every_plan_tells_of_the_care_of_voice_and_breath():
    for one in (plan(), tried(plan(), known()), plan(choices=())):
        told = report.text(one).splitlines()[-1]
        assert STRAIN in told
        assert "stop at pain or hoarseness" in told
        assert "teacher" in told
        assert report.document(one)["cautions"][-1] == told


def test_an_aim_is_named_from_the_note_that_arithmetic_names():
    # 54 cents under A3 is nearer to Ab3, but a player looks for the A3.
    pair = next(p for p in pairs_over(Fingered(BB2), REACH) if p.ratio == (7, 4))
    low = found(60.0, pair.just_hz * 2.0 ** (-30.0 / 1200.0))
    told = tried(plan(choices=(pair,)), {pair.key: low})
    assert report.aim_name(told, told.choices[0]) == "Ab3-61c"


@pytest.mark.parametrize(
    ("width", "words"),
    [(3.0, "2 cents"), (2.9, "1 cent"), (1.0, "1 cent"), (0.9, "under 1 cent")],
)
def test_give_or_take_is_half_the_range(width, words):
    pair = plan().choices[0]
    told = tried(plan(choices=(pair,)), {pair.key: found(width, pair.just_hz)})
    assert f"   {words}   " in report.text(told)


def test_a_whole_horn_has_a_line_for_each_note_with_the_best_pairs():
    notes = fingered_notes(TENOR)
    pairs = best_first(pair for note in notes for pair in pairs_over(note, REACH))
    whole = plan(choices=tuple(pairs), title="all that can be fingered")
    rows = [line for line in report.text(whole).splitlines() if " for " in line][1:]
    assert len(rows) == len(notes)
    assert [row.split()[0] for row in rows][:3] == ["Ab2", "A2", "Bb2"]
    assert all(row.count(" for ") == report.BEST for row in rows)
    some = tried(whole, known())
    [row] = [line for line in report.text(some).splitlines() if line.split()[:1] == ["Bb2"]]
    assert "D4-9c ± 37 for Bb1;  F3-40c ± 21 for Bb1" in row


def test_what_cannot_be_had_is_said_with_the_nearest_and_whether_it_can_be_fingered():
    pairs = low_pairs()
    wanted = midi_to_hz(parse_note("C3"))
    none = plan(choices=(), wanted_hz=wanted, nearest=nearest_to(wanted, pairs))
    text = report.text(none)
    assert "C3 cannot be had as a third note of this horn and this voice." in text
    assert "It can be fingered (written D4)." in text
    assert (
        "The nearest below: A2, 300 cents below: finger A3 (written B4), sing E4+2c, 3/2." in text
    )
    low = midi_to_hz(parse_note("C2"))
    assert "fingered (" not in report.text(plan(choices=(), wanted_hz=low))


def test_a_line_tells_each_note_and_what_cannot_be_had():
    pairs = low_pairs()
    steps = wanted_steps(read_line("F1:2 rest:1 C3:1"), pairs, 20.0)
    text = report.text(plan(choices=(), steps=steps))
    assert line_of(text, "F1").split()[:3] == ["0", "2", "F1"]
    assert line_of(text, "rest").split() == ["2", "1", "rest"]
    assert line_of(text, "3").split() == ["3", "1", "C3", "cannot", "be", "had"]
    assert "The nearest below: A2" in text
    assert "aim at" not in text  # nothing was simulated


def test_a_piece_tells_what_it_has_beside_what_is_planned():
    piece = Passage(tempo=1.0, fingered="Bb2:4 rest:1", sung="F4:2 rest:3")
    text = report.text(plan(choices=(), steps=passage_steps(piece, REACH)))
    cells = line_of(text, "F4").split()
    # F4 is a semitone too high for this voice.
    assert cells[:6] == ["0", "2", "Bb2", "Bb2", "C4", "F4"]
    assert "horn alone" in text
    assert "rest" in text


def test_json_has_every_key_of_the_reference_and_csv_the_same_in_columns():
    told = tried(plan(), known())
    document = json.loads(json.dumps(report.document(told), allow_nan=False))
    pair = document["pairs"][0]
    assert pair["ratio"] == "5/2"
    assert pair["fingered_written"] == "C4"
    assert pair["arithmetic"]["sing_note"] == "D4-14c"
    assert pair["as_simulated"]["aimed_note"] == "D4-9c"
    assert pair["as_simulated"]["lock_range_cents"] == [-37.0, 37.0]
    assert pair["as_simulated"]["least_depth"] == 0.05
    untold = next(pair for pair in document["pairs"] if pair["ratio"] == "5/3")
    assert untold["as_simulated"] is None
    rows = list(csv.DictReader(io.StringIO(report.csv_text(told), newline="")))
    assert [(row["p"], row["q"]) for row in rows][:2] == [("5", "2"), ("3", "2")]
    assert rows[0]["as_simulated_lock_range_cents_high"] == "37.0"
    assert {len(row) for row in rows} == {len(rows[0])}
    assert set(report.SIMULATED) == set(pair["as_simulated"])


def test_csv_of_a_line_has_a_row_for_each_step():
    steps = (
        Step(beat=0.0, beats=2.0, choice=plan().choices[0], wanted_hz=BB2 / 2.0),
        Step(beat=2.0, beats=1.0),
    )
    rows = list(csv.DictReader(io.StringIO(report.csv_text(plan(steps=steps)), newline="")))
    assert [row["beat"] for row in rows] == ["0.0", "2.0"]
    assert rows[0]["wanted_note"] == "Bb1"
    assert rows[0]["q"]
    assert rows[1]["q"] == rows[1]["wanted_note"] == ""


ROOT = Path(__file__).parents[2]
REFERENCE = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("\n### Plans\n")[1]


def keys(document):
    """All keys of a document, at any depth; a passage has those of its file."""
    if isinstance(document, list):
        return set().union(*map(keys, document))
    if not isinstance(document, dict):
        return set()
    below = (value for key, value in document.items() if key != "passage")
    return set(document).union(*map(keys, below))


def test_every_key_of_the_json_stands_in_the_reference():
    pair = plan().choices[0]
    step = Step(beat=0.0, beats=2.0, choice=pair, wanted_hz=BB2, sung_hz=BB2, nearest=(pair,))
    whole = tried(plan(steps=(step,), wanted_hz=BB2), {pair.key: found(74.0, pair.just_hz)})
    told = set(re.findall(r"`(\w+)`", REFERENCE)) | {"hz", "note"}
    assert keys(report.document(whole)) - told == set()


def test_the_prices_of_the_reference_are_those_that_are_paid():
    prices = " ".join(REFERENCE.split())
    ease = [f"{EASE_COSTS[ease]:g}" for ease in Ease]
    assert f"{', '.join(ease[:-1])} or {ease[-1]} by its ease (untried log₂ p·q)" in prices
    heard = [
        f"{HEARD_COSTS[kind]:g}" for kind in (Heard.YES, Heard.UNCERTAIN, Heard.SUNG, Heard.NO)
    ]
    assert f"{', '.join(heard[:-1])} or {heard[-1]} by what is heard" in prices
    assert HEARD_COSTS[Heard.SUNG] == HEARD_COSTS[Heard.FINGERED]
    assert f"{CHANGE_COST:g} for another note than the piece has" in prices
    assert "a quarter of what the fingers move" in prices
    assert FINGERS_COST == 0.25
