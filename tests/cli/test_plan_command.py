"""The command `plan`: what is asked for is planned at once, tried by a singer, told and written."""

import csv
import json
from pathlib import Path

import fake_atlas
import pytest

from reedbore.cli import main
from reedbore.cli.work import known
from reedbore.errors import ModelError
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz, note_name, parse_note
from reedbore.verdict import atlas, tried
from reedbore.verdict.plan import Tried
from reedbore.verdict.state import Heard, RowState


def found(just, width):
    return Tried(
        state=RowState.LOCKED, reason=None, played_hz=just[0], aim_hz=just[1], width_cents=width,
        pulled_cents=20.0, held=1.0, heard=Heard.YES, depth=0.1, softest=0.05,
    )  # fmt: skip


@pytest.fixture
def asked(monkeypatch):
    """Stand in for the singer, who takes minutes: the higher the note, the wider."""
    kept = {"known": {}, "tried": []}

    def kept_pairs(player, note):
        return kept["known"].get(note_name(note.hz), {})

    def try_pairs(player, note, ratios):
        kept["tried"].append((player, note, list(ratios)))
        return {(p, q): found((note.hz, note.hz * p / q), 10.0 * p) for p, q in ratios}

    monkeypatch.setattr(known, "kept_pairs", kept_pairs)
    monkeypatch.setattr(tried, "try_pairs", try_pairs)
    return kept


def told(capsys, *words):
    assert main(["plan", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_wanted_third_note_is_told_by_arithmetic_at_once_and_then_as_simulated(asked, capsys):
    assert main(["plan", "--want", "F1", "--fingered", "C3 F3 A3"]) == 0
    out, err = capsys.readouterr()
    head = "Tenor saxophone, low male voice (E2 to E4), depth 0.1 (normal): F1 wanted"
    first, second = out.split(head)[1:]
    assert "not simulated yet" in first
    assert "falls into step" not in first
    assert "not simulated yet" not in second
    assert second.index("7/3") < second.index("5/3") < second.index("4/3")
    assert "a singer tries 4 pairs over C3, 12 in all ..." in err
    fingered = [note_name(note.hz) for _, note, _ in asked["tried"]]
    assert fingered == ["C3", "F3", "A3"]


def test_quick_lets_nobody_try_and_tells_what_is_known(asked, capsys):
    asked["known"]["C3"] = {(4, 3): found((130.8, 170.0), 50.0)}
    assert main(["plan", "--want", "F1", "--quick"]) == 0
    out = capsys.readouterr().out
    assert not asked["tried"]
    assert out.count("F1 wanted") == 1
    assert "falls into step by itself:" in out
    assert "not simulated yet:" in out


def test_what_is_known_is_not_tried_again(asked, capsys):
    asked["known"]["C3"] = {(4, 3): found((130.8, 170.0), 50.0)}
    told(capsys, "--want", "F1", "--fingered", "C3")
    [(_, _, ratios)] = asked["tried"]
    assert (4, 3) not in ratios
    assert (5, 3) in ratios


def test_without_a_note_all_of_the_horn_is_planned_for_the_voice(asked, capsys):
    document = told(capsys, "--quick", "--voice", "high-male")
    horn = {pair["fingered_note"] for pair in document["pairs"]}
    assert {"Ab2", "B3"} <= horn
    assert len(horn) == len(load_horn("tenor-saxophone").notes())
    low, high = (midi_to_hz(parse_note(document[key])) for key in ("low_note", "high_note"))
    sung = [pair["arithmetic"]["sing_hz"] for pair in document["pairs"]]
    assert 0.97 * low < min(sung) <= max(sung) < 1.03 * high
    assert document["steps"] == []


def test_the_range_of_the_voice_may_be_typed(asked, capsys):
    document = told(capsys, "--fingered", "Bb2", "--range", "A2:C3", "--quick")
    assert (document["low_note"], document["high_note"]) == ("A2", "C3")
    assert {pair["ratio"] for pair in document["pairs"]} == {"1/1", "8/7"}


def test_a_depth_that_nobody_hums_is_called_so(asked, capsys):
    assert main(["plan", "--fingered", "Bb2", "--depth", "0.31", "--quick"]) == 0
    assert "depth 0.31 (exaggerated)" in capsys.readouterr().out


def test_an_atlas_tells_what_is_simulated_in_plan_and_chart(asked, capsys, tmp_path, monkeypatch):
    fake_atlas.patch(monkeypatch.setattr)
    path = str(tmp_path / "tenor.zarr")
    atlas.run(fake_atlas.example(), Path(path))
    words = "--fingered", "Bb2", "--range", "C3:F4", "--atlas", path, "--quick"
    pairs = {pair["ratio"]: pair["as_simulated"] for pair in told(capsys, *words)["pairs"]}
    # Where p + q is odd it falls into step, 200 cents over p q wide.
    assert pairs["5/2"]["lock_range_cents"] == [-10.0, 10.0]
    assert pairs["5/2"]["ease"] == "falls into step if the aim is right"
    assert pairs["5/3"]["ease"] == "does not fall into step"
    assert pairs["8/7"]["ease"] == "not sung by these folds"
    assert pairs["2/1"]["played_hz"] == pytest.approx(116.541 * 0.9995, rel=1e-5)
    who = "--horn", "tenor-saxophone", "--voice", "low-male"
    assert main(["predict", *who, "--atlas", path]) == 0
    assert "5/2 Bb1 *" in capsys.readouterr().out
    assert main(["plan", "--breath", "mf", *words]) == 2
    assert "is of another player: there --breath is not set, here mf" in capsys.readouterr().err


def test_several_fingered_notes_may_be_given_as_written(asked, capsys):
    document = told(capsys, "--fingered", "C4 D4", "--written", "--quick")
    pairs = {(pair["fingered_note"], pair["fingered_written"]) for pair in document["pairs"]}
    assert pairs == {("Bb2", "C4"), ("C3", "D4")}
    assert document["title"] == "Bb2 (written C4), C3 (written D4) fingered"


def test_a_line_of_wanted_notes_is_a_passage_to_play(asked, capsys):
    document = told(capsys, "--want", "F1:2 G1:1", "--tempo", "90", "--quick")
    assert [(step["beat"], step["beats"]) for step in document["steps"]] == [(0, 2), (2, 1)]
    assert [step["wanted"]["note"] for step in document["steps"]] == ["F1", "G1"]
    assert document["passage"]["tempo_bpm"] == 90
    assert document["passage"]["fingered"].count(":") == 2
    each = told(capsys, "--want", "F1 G1", "--quick")
    assert [step["beats"] for step in each["steps"]] == [1, 1]


def test_what_is_simulated_changes_what_is_chosen_in_a_line(asked, capsys):
    before = told(capsys, "--want", "F1 F1", "--quick")["steps"]
    after = told(capsys, "--want", "F1 F1")["steps"]
    assert before[0]["pair"]["as_simulated"] is None
    assert after[0]["pair"]["as_simulated"]["ease"] == "falls into step by itself"
    assert before[0]["pair"]["ratio"] != after[0]["pair"]["ratio"]


def test_a_piece_is_planned_for_another_voice(asked, capsys):
    document = told(capsys, "--passage", "mill-race", "--voice", "high-female", "--quick")
    steps = [step for step in document["steps"] if step["pair"]]
    low = midi_to_hz(parse_note("C4") - 0.5)
    assert all(step["pair"]["arithmetic"]["sing_hz"] > low for step in steps)
    assert all(step["as_written"] for step in steps)
    assert document["title"] == "Mill race"


def test_a_line_of_fingered_notes_is_planned_as_well(asked, capsys):
    document = told(capsys, "--fingered", "Bb2:2 D3:2", "--quick")
    assert [step["fingered"]["note"] for step in document["steps"]] == ["Bb2", "D3"]
    assert all(step["pair"] for step in document["steps"])


def test_a_sung_line_is_planned_over_one_held_note(asked, capsys):
    words = "--fingered", "Bb2", "--sung", "D4:2 F3:2", "--voice", "high-female", "--quick"
    steps = told(capsys, *words)["steps"]
    assert [step["as_written"]["note"] for step in steps] == ["D4", "F3"]
    assert [step["pair"]["ratio"] for step in steps] == ["5/2", "5/2"]


def test_the_player_reaches_the_singer(asked, capsys):
    told(capsys, "--fingered", "Bb2", "--depth", "0.2", "--breath", "mf", "--set", "reed.lip=1.1")
    player = asked["tried"][0][0]
    assert (player.depth, player.breath, player.settings) == (0.2, "mf", ("reed.lip=1.1",))
    assert (player.horn.name, player.singer.name) == ("tenor-saxophone", "low-male")


def test_a_note_that_fails_is_told_and_the_others_go_on(asked, capsys, monkeypatch):
    real = tried.try_pairs

    def try_pairs(player, note, ratios):
        if note_name(note.hz) == "F3":
            raise ModelError("does not speak there")
        return real(player, note, ratios)

    monkeypatch.setattr(tried, "try_pairs", try_pairs)
    assert main(["plan", "--want", "F1"]) == 0
    out, err = capsys.readouterr()
    assert "F3: does not speak there" in err
    assert "not simulated yet" in out.split("F1 wanted")[-1]
    assert "falls into step by itself" in out


def test_a_plan_that_is_stopped_says_that_it_goes_on(asked, capsys, monkeypatch):
    def try_pairs(player, note, ratios):
        raise KeyboardInterrupt

    monkeypatch.setattr(tried, "try_pairs", try_pairs)
    assert main(["plan", "--want", "F1"]) == 130
    told = capsys.readouterr().err.splitlines()[-2:]
    assert told == [
        "what was tried before C3 is kept: the same command goes on from there",
        "stopped",
    ]


def test_the_plan_is_written_by_its_ending(asked, capsys, tmp_path):
    paths = [tmp_path / "plan.csv", tmp_path / "plan.json"]
    words = [word for path in paths for word in ("-o", str(path))]
    assert main(["plan", "--want", "F1", "--fingered", "C3 F3 A3", "--quick", *words]) == 0
    with paths[0].open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    document = json.loads(paths[1].read_text("utf-8"))
    assert len(rows) == len(document["pairs"]) == 12
    assert rows[0]["fingered_written"]
    assert f"wrote {paths[0]}" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["-o", "plan.doc"], "plan.doc has no known kind of file; write one of .csv, .json"),
        (["--fingered", "C7"], "allowed Ab2 to C#5"),
        (["--fingered", "C7", "--written"], "allowed Bb3 to Eb6"),
        (["--fingered", " "], "--fingered names no note"),
        (["--want", "F"], "--want 'F' is not a note; the octave is missing"),
        (["--want", "F1:x"], "'F1:x' (word 1) is no note with beats"),
        (["--range", "A2"], "--range is 'A2'; write the lowest and the highest note, A2:E4"),
        (["--range", "E4:A2"], "--range is 'E4:A2'; it goes from a lower to a higher note"),
        (["--range", "A2:X4"], "--range 'X4' is not a note"),
        (["--tolerance", "51"], "--tolerance is 51 cents; allowed 0 to 50 cents"),
        (["--want", "F1", "--passage", "mill-race"], "leave one out"),
        (["--sung", "D4"], "--sung goes with a line of notes"),
        (["--sung", "my-hum.wav"], "--sung is a recording; a plan takes a line of notes"),
        (["--want", "F1 G1", "--tempo", "9"], "--tempo is 9"),
        (["--tempo", "90"], "--tempo goes with a line"),
        (["--fingering", "fork"], "--fingering names that of one note"),
        (["--a4", "300"], "a4 is 300 Hz; allowed 380 to 500 Hz"),
        (["--horn", "tuba"], "'tuba' is no horn"),
        (["--atlas", "no.zarr"], "no.zarr"),
        (["--set", "reed.lips=1"], "reed.lips is an unknown key"),
        (["--breath", "loud"], "--breath"),
        (["--depth", "2"], "voice.depth is 2; allowed 0 to 1"),
    ],
)
def test_a_mistake_is_told_before_anybody_tries(asked, capsys, words, sentence):
    assert main(["plan", *words]) == 2
    assert sentence in capsys.readouterr().err
    assert not asked["tried"]
