"""The command `predict` as it is typed."""

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typed import Done, typed

from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import midi_to_hz
from reedbore.verdict.kept import Player, keep_pairs
from reedbore.verdict.plan import Tried
from reedbore.verdict.planning import Fingered
from reedbore.verdict.state import Heard, RowState

TENOR = ("--horn", "tenor-saxophone")


def run(*words: str, folder: Path = Path()) -> Done:
    return typed("predict", *words, folder=folder)


def answer(*words: str) -> dict[str, Any]:
    done = run(*words, "--json")
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_pair_is_a_table_on_stdout_and_nothing_else():
    done = run("--fingered", "Bb2", "--sung", "D4")
    assert (done.returncode, done.stderr) == (0, "")
    assert "ratio        5/2 (sung/fingered)" in done.stdout


@pytest.mark.parametrize(
    ("sung", "ratio"),
    [("+7st", "3/2"), ("-5st", "3/4"), ("+702c", "3/2"), ("-498c", "3/4"), ("5/3", "5/3")],
)
def test_interval_is_a_value_and_not_an_option(sung: str, ratio: str):
    assert answer("--fingered", "Bb2", "--sung", sung)["ratio"] == ratio


def test_sung_note_is_concert_pitch_unless_it_is_marked():
    # The tenor saxophone is written a major ninth above its sound: common practice, no source.
    written = answer(*TENOR, "--written", "--fingered", "C4", "--sung", "D4")
    assert (written["fingered_note"], written["sung_note"]) == ("Bb2", "D4")
    marked = answer(*TENOR, "--fingered", "Bb2", "--sung", "w:E5")
    assert (marked["fingered_written"], marked["sung_note"]) == ("C4", "D4")


def test_tuning_and_tolerance_are_heeded():
    assert answer("--fingered", "A4", "--sung", "A4", "--a4", "415")["fingered_hz"] == 415.0
    pair = ("--fingered", "Bb2", "--sung", "+650c")
    assert answer(*pair, "--tolerance", "20")["ratio"] is None
    assert answer(*pair, "--tolerance", "50")["ratio"] == "10/7"


def test_chart_covers_the_horn_and_the_voice(tmp_path: Path):
    found = answer(*TENOR, "--voice", "low-male")
    fingered = {pair["fingered_note"] for pair in found["pairs"]}
    sung = {pair["sung_note"] for pair in found["pairs"]}
    assert len(found["pairs"]) == len(fingered) * len(sung)
    assert "Bb2" in fingered
    done = run(*TENOR, "--voice", "low-male", "-o", "chart.csv", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    with (tmp_path / "chart.csv").open(encoding="utf-8", newline="") as table:
        assert len(list(csv.DictReader(table))) == len(found["pairs"])


def test_chart_of_one_fingered_note_has_one_column():
    found = answer("--fingered", "Bb2", "--voice", "low-male")
    assert {pair["fingered_note"] for pair in found["pairs"]} == {"Bb2"}


def test_page_is_written_and_named(tmp_path: Path):
    done = run(*TENOR, "--voice", "low-male", "-o", "chart.html", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (done.stdout, done.stderr) == ("", "wrote chart.html\n")
    assert (tmp_path / "chart.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--fingered", "H2", "--sung", "D4"], "--fingered 'H2' is not a note; the note H is"),
        (["--fingered", "Bb2", "--sung", "7st"], "--sung '7st' is not a note; an interval takes"),
        (["--fingered", "5/3", "--sung", "D4"], "only the sung note may be given from"),
        (["--fingered", "Bb2"], "give --fingered and --sung for one pair"),
        (["--fingered", "Bb2", "--sung", "w:D4"], "name the horn that it is written for"),
        (["--fingered", "Bb2", "--sung", "D4", "--written"], "for a --horn: name it"),
        (["--fingered", "Bb2", "--sung", "D4", "--atlas", "a.zarr"], "--atlas marks a chart"),
        (["--horn", "tenor-saxophone", "--voice", "low-male", "--atlas", "no.zarr"], "no.zarr"),
        (["--fingered", "Bb2", "--sung", "D4", "--a4", "300"], "a4 is 300 Hz; allowed 380 to"),
        (["--fingered", "Bb2", "--sung", "D4", "--tolerance", "51"], "allowed 0 to 50 cents"),
        (["--fingered", "Bb2", "--sung", "D4", "-o", "x.csv"], "-o writes a chart"),
        (["--fingered", "Bb2", "--voice", "low-male", "-o", "x.txt"], "ends in .csv or .html"),
        (["--fingered", "Bb2", "--voice", "low-male", "-o", "no/x.csv"], "cannot write no/x.csv"),
    ],
)
def test_mistake_ends_with_two_and_one_sentence(words: list[str], sentence: str, tmp_path: Path):
    done = run(*words, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert sentence in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_pair_loads_no_heavy_library():
    code = (
        "import runpy, sys\n"
        "sys.argv = ['reedbore', 'predict', '--fingered', 'Bb2', '--sung', 'D4']\n"
        "try:\n"
        "    runpy.run_module('reedbore', run_name='__main__')\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "print(*sorted(sys.modules), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "5/2" in done.stdout
    loaded = {name.split(".")[0] for name in done.stderr.split()}
    assert "reedbore" in loaded
    assert not loaded & {"numpy", "numba", "scipy", "pydantic", "matplotlib", "soundfile"}


def test_a_chart_marks_what_a_plan_has_kept_for_this_horn_and_voice(tmp_path: Path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    player = Player(horn=load_horn("tenor-saxophone"), singer=load_singer("low-male"))
    found = Tried(
        state=RowState.LOCKED, reason=None, played_hz=116.5, aim_hz=174.0, width_cents=60.0,
        pulled_cents=30.0, held=1.0, heard=Heard.YES, depth=0.1, softest=0.05,
    )  # fmt: skip
    keep_pairs(player, Fingered(midi_to_hz(46)), {(3, 2): found})
    words = "--horn", "tenor-saxophone", "--voice", "low-male"
    told = run(*words, folder=tmp_path).stdout
    assert "3/2 Bb1 **" in told
    assert "**    falls into step by itself" in told
    pairs = json.loads(run(*words, "--json", folder=tmp_path).stdout)["pairs"]
    [one] = [pair for pair in pairs if pair["as_simulated"]]
    assert (one["fingered_note"], one["sung_note"], one["ratio"]) == ("Bb2", "F3", "3/2")
    assert one["as_simulated"]["lock_range_cents"] == [-30.0, 30.0]
    assert "**" not in run("--horn", "plain-cylinder", *words[2:], folder=tmp_path).stdout


def test_a_chart_may_be_asked_for_as_written(tmp_path: Path):
    words = "--horn", "alto-saxophone", "--voice", "low-male", "--written"
    told = run(*words, folder=tmp_path).stdout
    assert told.splitlines()[3].startswith("written")
