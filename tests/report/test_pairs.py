"""How a player reads what arithmetic says of a pair: table, sentence, plain values."""

import json
from typing import Any

import pytest

from reedbore import notes
from reedbore.pairs import Outcome, Prediction, predict_pair
from reedbore.report.pairs import OUTCOMES, pair_document, pair_sentence, pair_text
from reedbore.report.words import below


def predict(fingered: str, sung: str, **settings: Any) -> Prediction:
    fingered_hz = notes.parse_pitch(fingered)
    ratio = notes.parse_ratio(sung)
    return predict_pair(fingered_hz, notes.parse_sung(sung, fingered_hz), ratio=ratio, **settings)


def shown(fingered: str, sung: str, **settings: Any) -> str:
    return pair_text(predict(fingered, sung, **settings))


@pytest.mark.parametrize(
    ("q", "words"),
    [(2, "an octave"), (3, "a twelfth"), (5, "two octaves and a third"), (512, "9 octaves")],
)
def test_depth_below_the_fingered_note_is_said_in_words(q: int, words: str):
    assert below(q) == words


@pytest.mark.parametrize("sung", ["D4", "5/3", "+650c", "729/512", "1/1", "1/2", "-5st"])
@pytest.mark.parametrize("transposition", [None, 14])
def test_table_fits_eighty_columns(sung: str, transposition: int | None):
    lines = shown("F#3+14c", sung, transposition=transposition).splitlines()
    assert max(map(len, lines)) <= 80
    assert all(line == line.rstrip() for line in lines)


def test_player_reads_what_comes_out_whether_it_carries_and_where_to_sing():
    text = shown("Bb2", "D4", transposition=14)
    assert "ratio        5/2 (sung/fingered)" in text
    assert "to expect    a third note" in text
    assert "common note an octave below the fingered note" in text
    assert "its pitch    can carry a melody" in text
    assert "sing         D4-14c (291.35 Hz), 13.7 cents lower" in text


def test_written_pitch_stands_beside_the_concert_pitch_of_a_transposing_horn():
    # The tenor saxophone is written a major ninth above its sound: common practice, no source.
    rows = [line.split() for line in shown("Bb2", "D4", transposition=14).splitlines()]
    assert ["fingered", "Bb2", "116.54", "C4"] in rows
    assert ["sung", "D4", "293.66", "E5"] in rows
    assert ["common", "note", "Bb1", "58.27", "C3"] in rows
    assert "written" not in shown("Bb2", "D4")


def test_document_is_json_and_holds_null_where_nothing_applies():
    found = json.loads(json.dumps(pair_document(predict("Bb2", "D4"))))
    assert found["ratio"] == "5/2"
    assert found["fingered_note"] == "Bb2"
    assert found["resultant_note"] == "Bb1"
    assert found["resultant_hz"] == pytest.approx(58.2705, abs=1e-4)
    assert found["sing_cents"] == pytest.approx(-13.69, abs=0.01)
    assert found["carries_pitch"] == "yes"
    assert len(found["combination_tones"]) == 6
    rough = pair_document(predict("Bb2", "+650c"))
    assert rough["ratio"] is rough["resultant_hz"] is rough["sing_cents"] is None
    assert rough["nearby_ratio"] == "3/2"


def test_all_outcomes_have_words_and_only_third_notes_a_name():
    assert set(OUTCOMES) == set(Outcome)
    named = {key for key, words in OUTCOMES.items() if "{}" in words}
    assert named == {Outcome.THIRD, Outcome.UNCERTAIN}


@pytest.mark.parametrize(("ratio", "simulated"), [("8/7", True), ("9/4", False)])
def test_above_eight_every_text_says_that_nothing_is_simulated(ratio: str, simulated: bool):
    pair = predict("Bb2", ratio)
    assert ("not simulated" in pair_text(pair)) is not simulated
    assert ("not simulated" in pair_sentence(pair)) is not simulated
    assert ("a render tells" in pair_text(pair)) is simulated
    assert pair_document(pair)["simulated"] is simulated


@pytest.mark.parametrize(
    ("sung", "says"),
    [
        ("D4", "5/2 makes a third note, Bb1. Sung exactly it is D4-14c, 13.7 cents under the "
               "tempered note."),
        ("2/1", "2/1 makes the fingered note; the sung one is among its partials. Sung exactly it "
                "is Bb3, just where the tempered note is."),
        ("C4", "9/4 (not simulated) makes a third note, Bb0, so low that its pitch is uncertain. "
               "Sung exactly it is C4+4c, 3.9 cents over the tempered note."),
        ("+650c", "no third note: it only roughens the tone; 3/2 is near, at F3+2c."),
    ],
)  # fmt: skip
def test_a_pair_is_told_in_a_sentence(sung: str, says: str):
    assert pair_sentence(predict("Bb2", sung)) == says
