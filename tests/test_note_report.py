"""Note-by-note verdicts as text, CSV, JSON and a line of notes: all say the same."""

import csv
import io
import json
from dataclasses import replace

import mido
import pytest

from reedbore import note_report
from reedbore.listening import Control
from reedbore.midi import resultant_bytes
from reedbore.note_stretch import NOT_SETTLED, STARTING, TOO_SHORT
from reedbore.note_verdicts import NoteVerdict
from reedbore.notes import midi_to_hz, parse_pitch
from reedbore.passage import Passage
from reedbore.prediction import Prediction
from reedbore.verdict import Verdict, bare

B_FLAT = midi_to_hz(46)  # Bb2
D4 = parse_pitch("D4-13.8c")
ALONE = Control("sounding", B_FLAT, 1, 1000.0, None)


def found(**changes: object) -> Verdict:
    common: dict[str, object] = {
        "state": "locked",
        "sung_hz": D4,
        "played_hz": D4 * 0.4,
        "ratio": (5, 2),
        "resultant_hz": D4 / 5.0,
        "resultant_level_db": -27.3,
        "heard": "yes",
        "drift_hz": 0.0,
        "settle_s": 0.15,
        "roughness": 1.5,
    }
    return replace(bare("unsung", ALONE), **{**common, **changes})


DRIFTING = found(state="drifting", reason=NOT_SETTLED, drift_hz=-0.09)
ROUGH = found(
    state="rough",
    ratio=None,
    resultant_hz=None,
    resultant_level_db=None,
    heard="no",
    drift_hz=None,
)


def row(number: int, reached: Verdict, held: Verdict | None, **changes: object) -> NoteVerdict:
    common = NoteVerdict(
        number=number,
        begin_s=2.0 * number - 2.0,
        end_s=2.0 * number,
        beat=4.0 * number - 4.0,
        beats=4.0,
        fingered_hz=B_FLAT,
        fingering="",
        sung_hz=D4,
        planned=Prediction(fingered_hz=B_FLAT, sung_hz=D4, ratio=(5, 2)),
        reached=reached,
        rest_s=None,
        held=held,
    )
    return replace(common, **changes)


@pytest.fixture
def rows() -> list[NoteVerdict]:
    unplanned = Prediction(fingered_hz=B_FLAT, sung_hz=170.0, ratio=None)
    return [
        row(1, found(), found(), rest_s=1.64),
        row(2, DRIFTING, found()),
        row(3, ROUGH, ROUGH, sung_hz=170.0, planned=unplanned),
        row(4, bare("unsung", ALONE, played=B_FLAT), None, sung_hz=None, planned=None),
        row(5, bare("undecided", ALONE, heard="uncertain", reason=TOO_SHORT), found()),
        row(6, bare("undecided", ALONE, heard="uncertain", reason=STARTING), found()),
        row(7, found(jumped=True, heard="no", state="drifting"), DRIFTING, fingering="side"),
        row(8, found(state="drifting", heard="uncertain", drift_hz=-4.63), ROUGH),
    ]


def test_a_table_has_a_line_for_each_note(rows):
    lines = note_report.table(rows)
    assert len(lines) == 1 + len(rows)
    assert lines[0].split() == [
        *("note", "beat", "horn", "voice", "planned", "off"),
        *("in", "this", "note", "if", "held"),
    ]
    assert all(len(line) <= note_report.WIDEST for line in lines)
    assert [line.split()[0] for line in lines[1:]] == [str(k) for k in range(1, 9)]


def test_a_line_tells_plan_note_and_held_pair_apart(rows):
    lines = note_report.table(rows)
    words = ("5/2 Bb1", "Bb1 heard, locks at 1.6 s", "Bb1 heard, locks")
    places = [lines[1].index(word) for word in words]
    assert places == sorted(places)
    assert "Bb1 heard, unsettled" in lines[2]
    assert lines[2].endswith("Bb1 heard, locks")
    assert "none near" in lines[3]
    assert lines[3].endswith("rough")
    assert lines[4].endswith("horn alone")
    assert "too short to tell" in lines[5]
    assert "still starting" in lines[6]
    assert "Bb2(side)" in lines[7]
    assert "Bb1 unheard, drifting, jumped" in lines[7]
    assert "Bb1 perhaps, moves 4.6/s" in lines[8]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"heard": "same as fingered"}, "as fingered, locks"),
        ({"heard": "same as sung"}, "as sung, locks"),
        ({"heard": "same as fingered", "jumped": True}, "as played, locked, jumped"),
        ({"state": "drifting", "drift_hz": 0.001}, "Bb1 heard, no lock"),
        ({"state": "drifting", "drift_hz": -0.084}, "Bb1 heard, moves 0.08/s"),
        ({"state": "silent"}, "silent"),
        ({"state": "failed"}, "failed"),
        ({"state": "irregular", "resultant_hz": None}, "irregular"),
    ],
)
def test_a_verdict_is_told_in_a_few_words(changes, words):
    assert note_report.told(found(**changes)) == words


def test_the_sentence_below_counts(rows):
    assert note_report.summary(rows) == (
        "Of 8 notes 7 are sung: 4 lock when held, 1 within the note; a third note is heard in 5 "
        "when held, in 2 within the note; 2 only roughen the tone."
    )
    said = note_report.text(rows)
    assert "Hold 2 for longer: they lock, but end before they settle." in said
    assert note_report.summary(rows).split(";")[0] in said


def test_the_sentence_says_what_was_not_looked_for(rows):
    unheld = [replace(one, held=None) for one in rows]
    assert "whether they lock was not looked for" in note_report.summary(unheld)
    alone = [one for one in rows if one.sung_hz is None]
    assert note_report.summary(alone) == "Nobody sings in the 1 note."


def test_other_reasons_are_told_below_with_their_notes(rows):
    odd = found(state="drifting", reason="the voice wanders by 20 cents")
    said = note_report.text([row(1, odd, odd), row(2, odd, odd)])
    assert said.endswith("1, 2: the voice wanders by 20 cents.")


def test_json_holds_the_verdicts_with_the_keys_of_all_others(rows):
    plain = json.loads(json.dumps(note_report.document(rows), allow_nan=False))
    assert [one["note"] for one in plain] == list(range(1, 9))
    assert plain[0]["reached"].keys() == found().document().keys() == plain[0]["held"].keys()
    assert plain[0]["planned"]["ratio"] == "5/2"
    assert plain[0]["planned"]["off_just_cents"] == pytest.approx(-0.114, abs=1e-3)
    assert plain[0]["rest_s"] == 1.64
    assert (plain[3]["planned"], plain[3]["held"], plain[3]["sung_hz"]) == (None, None, None)
    # What was not measured is not filled in with what was asked for.
    assert plain[4]["reached"]["sung_hz"] is None
    assert plain[4]["held"]["sung_hz"] == D4


def test_csv_and_json_say_the_same(rows):
    plain = note_report.document(rows)
    lines = list(csv.DictReader(io.StringIO(note_report.csv_text(rows))))
    assert len(lines) == len(rows)
    for line, one in zip(lines, plain, strict=True):
        for part in ("planned", "reached", "held"):
            values = one[part] or dict.fromkeys(plain[0][part])
            for key, value in values.items():
                if not isinstance(value, dict) and key != "voice_off":
                    assert line[f"{part}_{key}"] == ("" if value is None else str(value))
        assert line["note"] == str(one["note"])
        assert line["reached_voice_off_state"] == one["reached"]["voice_off"]["state"]


def test_columns_of_the_csv_do_not_depend_on_what_was_found(rows):
    head = note_report.csv_text(rows).splitlines()[0]
    assert note_report.csv_text([rows[3]]).splitlines()[0] == head
    assert note_report.csv_text([rows[0]]).splitlines()[0] == head


def test_third_notes_are_written_as_midi_where_they_are_heard(rows, tmp_path):
    spans = note_report.resultant_spans(rows)
    assert [(beat, beats) for beat, beats, _ in spans] == [(0.0, 4.0), (4.0, 4.0), (28.0, 4.0)]
    passage = Passage(tempo=2.0, fingered="Bb2:32", sung="D4:32")
    file = tmp_path / "third.mid"
    file.write_bytes(resultant_bytes(spans, passage))
    # Read by mido, a general-purpose library; Bb1 is key 34, as C4 is 60.
    notes = [m for track in mido.MidiFile(file).tracks for m in track if m.type == "note_on"]
    assert [message.note for message in notes] == [34, 34, 34]


def test_another_tuning_changes_names_and_no_frequency(rows):
    usual, low = note_report.document(rows), note_report.document(rows, 432.0)
    assert low[0]["fingered_hz"] == usual[0]["fingered_hz"]
    assert low[0]["fingered_note"] == "Bb2+32c"
    assert "Bb2+32c" in note_report.text(rows, 432.0)
