"""Note-by-note verdicts as text, CSV, JSON and a line of notes: all say the same."""

import csv
import io
import json
from dataclasses import replace

import mido
import pytest

from reedbore.model.midi.write import resultant_bytes
from reedbore.model.passage import Passage
from reedbore.notes import midi_to_hz, parse_pitch
from reedbore.pairs import Prediction
from reedbore.report.passage import (
    WIDEST,
    csv_text,
    document,
    resultant_spans,
    summary,
    table,
    text,
    told,
)
from reedbore.verdict.passage import NoteVerdict
from reedbore.verdict.result import Control, Verdict, bare
from reedbore.verdict.state import HornState, Reason, State

B_FLAT = midi_to_hz(46)  # Bb2
D4 = parse_pitch("D4-13.8c")
ALONE = Control(HornState.SOUNDING, B_FLAT, 1, 1000.0, None)


def found(**changes: object) -> Verdict:
    common: dict[str, object] = {
        "state": State.LOCKED,
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
    return replace(bare(State.UNSUNG, ALONE), **{**common, **changes})


DRIFTING = found(state=State.DRIFTING, reason=Reason.NOT_SETTLED, drift_hz=-0.09)
ROUGH = found(
    state=State.ROUGH,
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
        row(4, bare(State.UNSUNG, ALONE, played=B_FLAT), None, sung_hz=None, planned=None),
        row(5, bare(State.UNDECIDED, ALONE, heard="uncertain", reason=Reason.TOO_SHORT), found()),
        row(6, bare(State.UNDECIDED, ALONE, heard="uncertain", reason=Reason.STARTING), found()),
        row(7, found(jumped=True, heard="no", state=State.DRIFTING), DRIFTING, fingering="side"),
        row(8, found(state=State.DRIFTING, heard="uncertain", drift_hz=-4.63), ROUGH),
    ]


def test_a_table_has_a_line_for_each_note(rows):
    lines = table(rows)
    assert len(lines) == 1 + len(rows)
    assert lines[0].split() == [
        *("note", "beat", "horn", "voice", "planned", "off"),
        *("in", "this", "note", "if", "held"),
    ]
    assert all(len(line) <= WIDEST for line in lines)
    assert [line.split()[0] for line in lines[1:]] == [str(k) for k in range(1, 9)]


@pytest.mark.parametrize(("ratio", "says"), [((8, 7), "8/7 C0"), ((9, 7), "9/7 not simulated")])
def test_above_eight_what_is_planned_is_not_simulated(ratio: tuple[int, int], says: str):
    planned = Prediction(fingered_hz=B_FLAT, sung_hz=B_FLAT * ratio[0] / ratio[1], ratio=ratio)
    made = row(1, ROUGH, ROUGH, planned=planned)
    assert says in table([made])[1]
    assert document([made])[0]["planned"]["simulated"] is (max(ratio) <= 8)


def test_a_line_tells_plan_note_and_held_pair_apart(rows):
    lines = table(rows)
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
        ({"state": State.DRIFTING, "drift_hz": 0.001}, "Bb1 heard, no lock"),
        ({"state": State.DRIFTING, "drift_hz": -0.084}, "Bb1 heard, moves 0.08/s"),
        ({"state": State.DRIFTING, "drift_hz": None}, "Bb1 heard, voice wanders"),
        (
            {"state": State.DRIFTING, "drift_hz": None, "reason": Reason.PARTS},
            "Bb1 heard, parts after a while",
        ),
        ({"state": State.ROUGH, "reason": Reason.NO_NOTE}, "no steady sung note"),
        ({"state": State.SILENT}, "silent"),
        ({"state": State.FAILED}, "failed"),
        ({"state": State.IRREGULAR, "resultant_hz": None}, "irregular"),
    ],
)
def test_a_verdict_is_told_in_a_few_words(changes, words):
    assert told(found(**changes)) == words


def test_of_folds_the_table_tells_aim_and_pull_and_who_follows(rows):
    # Aimed 40 cents under F, held at the just fifth over B flat.
    pulled = found(
        sung_hz=parse_pitch("F3+2c"), aimed_hz=parse_pitch("F3-40c"), ratio=(3, 2), follows="voice"
    )
    sung = row(1, pulled, pulled, sung_hz=pulled.aimed_hz, lungs=3420.0, rest_s=0.24)
    said = text([sung, row(2, ROUGH, None, lungs=3300.0), rows[3]])
    head, first = said.splitlines()[:2]
    for name, cell in {"aim": "F3-40c", "sung": "F3+2c", "pulled": "+42c"}.items():
        assert (name in head.split(), cell in first.split()) == (True, True)
    assert "off" not in head.split()
    assert "1: the horn takes the voice along." in said
    assert "The lungs hold up to 3.42 kPa; singing takes more breath" in said
    assert document([sung])[0]["lungs_kpa"] == pytest.approx(3.42)
    assert "lungs" not in text(rows)


def test_the_sentence_below_counts(rows):
    assert summary(rows) == (
        "Of 8 notes 7 are sung: 4 lock when held, 1 within the note; a third note is heard in 5 "
        "when held, in 2 within the note; 2 only roughen the tone."
    )
    said = text(rows)
    assert "Hold note 2 for longer: it locks, but ends before settling." in said
    assert summary(rows).split(";")[0] in said
    soon = [row(number, DRIFTING, found()) for number in (2, 5)]
    assert "Hold notes 2, 5 for longer: they lock, but end before settling." in text(soon)


def test_the_sentence_says_what_was_not_looked_for(rows):
    unheld = [replace(one, held=None) for one in rows]
    assert "whether they lock was not looked for" in summary(unheld)
    alone = [one for one in rows if one.sung_hz is None]
    assert summary(alone) == "Nobody sings."


def test_other_reasons_are_told_below_with_their_notes(rows):
    odd = found(state=State.DRIFTING, reason="the voice wanders by 20 cents", drift_hz=None)
    said = text([row(1, odd, odd), row(2, odd, odd)])
    assert said.endswith("1, 2: the voice wanders by 20 cents.")


def test_a_voice_that_is_written_but_not_sung_does_not_count(rows):
    off = bare(State.UNSUNG, ALONE, played=B_FLAT)
    silent = [row(1, off, off, depth=0.0)]
    assert summary(silent) == "Nobody sings."
    assert table(silent)[1].count("horn alone") == 2
    assert summary([rows[0], *silent]).startswith("Of 2 notes 1 is sung: 1 lock")


def test_a_recording_without_a_note_is_not_said_to_be_silent():
    none = replace(ROUGH, sung_hz=None, reason=Reason.NO_NOTE)
    empty = row(1, none, None, sung_hz=None, planned=None)
    said = text([empty])
    assert summary([empty]) == (
        "No steady sung note was found in the recording: there is nothing to compare."
    )
    assert "Nobody" not in said
    assert "rough" not in said


def test_below_the_table_stands_what_the_horn_plays_instead():
    sharp = found(played_hz=B_FLAT * 2.0 ** (31.0 / 1200.0))
    jumped = found(played_hz=midi_to_hz(65), jumped=True, state=State.ROUGH)
    near = found(played_hz=B_FLAT * 2.0 ** (4.9 / 1200.0))
    unmeasured = bare(State.UNDECIDED, ALONE, heard="uncertain", reason=Reason.TOO_SHORT)
    pairs = [
        (near, near), (sharp, sharp), (jumped, jumped), (sharp, near), (near, jumped),
        (unmeasured, near),
    ]  # fmt: skip
    said = text([row(k, *pair) for k, pair in enumerate(pairs, 1)])
    assert " ".join(said.split()).endswith(
        " 2, 4: the horn plays Bb2+31c; 3: the horn has jumped to F4; "
        "5: the horn has jumped to F4 if held."
    )
    assert "the horn" not in text([row(1, near, near)])


def test_below_the_table_stands_what_to_sing_instead():
    flat = replace(ROUGH, played_hz=B_FLAT * 2.0 ** (-12.0 / 1200.0), sung_hz=1.5 * B_FLAT)
    flat = replace(flat, aimed_hz=flat.sung_hz)
    made = [row(1, flat, flat), row(2, found(), found()), row(3, ROUGH, flat), row(4, flat, None)]
    reach = 1.4 * B_FLAT, 1.6 * B_FLAT
    said = " ".join(text(made, reach=reach).split())
    # The fifth is 1.955 cents wide of the tempered one: A. J. Ellis, 1885 (from memory).
    assert said.endswith(
        "1, 3, 4: the horn plays 12 cents flat here: for 3/2 sing F3-10.0c (in reach)."
    )
    assert "Bb2-12c" not in said
    plain = document(made, reach=reach)
    assert plain[0]["held"]["sing_instead"]["in_range"] is True
    assert plain[1]["held"]["sing_instead"] is None
    lines = list(csv.DictReader(io.StringIO(csv_text(made, reach=reach))))
    assert [line["held_sing_instead_note"] for line in lines] == ["F3-10c", "", "F3-10c", ""]
    assert [line["reached_sing_instead_p"] for line in lines] == ["3", "", "", "3"]


def test_written_notes_stand_beside_what_sounds(rows):
    # The tenor saxophone is written a major ninth above its sound: common practice, no source.
    head, first, *_, last = table(rows, transposition=14)
    assert head.split()[:5] == ["note", "beat", "horn", "written", "voice"]
    assert first.split()[:5] == ["1", "0", "Bb2", "C4", "D4-14c"]
    assert first.index("C4") == head.index("written")
    assert last.split()[3] == "C4"
    assert "written" not in table(rows)[0]
    assert document(rows, transposition=14)[0]["fingered_written"] == "C4"
    assert document(rows)[0]["fingered_written"] is None
    (line, *_) = csv.DictReader(io.StringIO(csv_text(rows, transposition=14)))
    assert line["fingered_written"] == "C4"


def test_what_false_folds_change_is_said_once():
    reason = "the false folds make the voice repeat only after 2 periods"
    odd = found(state=State.DRIFTING, drift_hz=4.6, reason=reason)
    folded = row(1, odd, odd, sung_hz=2.0 * D4, folds=2)
    said = text([folded, replace(folded, number=2)])
    assert said.count("the voice repeat only after 2 periods") == 1
    assert "counts from an octave below the sung note" in " ".join(said.split())
    (plain,) = document([folded])
    # Sung is an octave above what counts: 5/1 of the fingered note.
    assert plain["planned"]["ratio"] == "5/2"
    assert plain["planned"]["sung_hz"] == D4
    assert plain["planned"]["sing_hz"] == pytest.approx(5.0 * B_FLAT)
    assert plain["planned"]["sing_note"] == "D5-14c"


def test_json_holds_the_verdicts_with_the_keys_of_all_others(rows):
    plain = json.loads(json.dumps(document(rows), allow_nan=False))
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
    plain = document(rows)
    lines = list(csv.DictReader(io.StringIO(csv_text(rows))))
    assert len(lines) == len(rows)
    for line, one in zip(lines, plain, strict=True):
        for part in ("planned", "reached", "held"):
            values = one[part] or dict.fromkeys(plain[0][part])
            for key, value in values.items():
                if key == "ratio":
                    two = line[f"{part}_p"], line[f"{part}_q"]
                    assert two == (tuple(value.split("/")) if value else ("", ""))
                elif key == "lock_range_cents":
                    assert line[f"{part}_{key}_low"] == line[f"{part}_{key}_high"] == ""
                elif key not in ("voice_off", "sing_instead"):
                    assert line[f"{part}_{key}"] == ("" if value is None else str(value))
        assert line["note"] == str(one["note"])
        assert line["reached_voice_off_state"] == one["reached"]["voice_off"]["state"]


def test_a_spreadsheet_finds_no_date_among_the_ratios(rows):
    lines = list(csv.DictReader(io.StringIO(csv_text(rows))))
    assert [lines[0][f"{part}_{k}"] for part in ("planned", "held") for k in "pq"] == list("5252")
    assert not any("/" in value for line in lines for value in line.values())
    assert not any("ratio" in column for column in lines[0])


def test_depth_is_told_with_each_note():
    sung = [row(1, found(), found(), depth=0.054), row(2, found(), found(), depth=0.085)]
    assert [one["depth"] for one in document(sung)] == [0.054, 0.085]
    lines = csv.DictReader(io.StringIO(csv_text(sung)))
    assert [line["depth"] for line in lines] == ["0.054", "0.085"]


def test_columns_of_the_csv_do_not_depend_on_what_was_found(rows):
    head = csv_text(rows).splitlines()[0]
    assert csv_text([rows[3]]).splitlines()[0] == head
    assert csv_text([rows[0]]).splitlines()[0] == head


def test_third_notes_are_written_as_midi_where_they_are_heard(rows, tmp_path):
    spans = resultant_spans(rows)
    # The last one only may be heard.
    assert rows[7].reached.heard == "uncertain"
    assert [(beat, beats) for beat, beats, _ in spans] == [(0.0, 4.0), (4.0, 4.0)]
    passage = Passage(tempo=2.0, fingered="Bb2:32", sung="D4:32")
    file = tmp_path / "third.mid"
    file.write_bytes(resultant_bytes(spans, passage))
    # Read by mido, a general-purpose library; Bb1 is key 34, as C4 is 60.
    notes = [m for track in mido.MidiFile(file).tracks for m in track if m.type == "note_on"]
    assert [message.note for message in notes] == [34, 34]


def test_another_tuning_changes_names_and_no_frequency(rows):
    usual, low = document(rows), document(rows, 432.0)
    assert low[0]["fingered_hz"] == usual[0]["fingered_hz"]
    assert low[0]["fingered_note"] == "Bb2+32c"
    assert "Bb2+32c" in text(rows, 432.0)
