"""The command `fit`: a recorded note in, its player out, as a table, as JSON and as a preset."""

import json
import re
import shlex
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from reedbore import sound
from reedbore.cli import main
from reedbore.cli.fit import fit
from reedbore.cli.work import fit as work
from reedbore.measures import bands
from reedbore.model.presets import check, load_horn
from reedbore.notes import parse_pitch
from reedbore.report import fit as report
from reedbore.report.fit import Fitted
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import fit as fitting
from reedbore.verdict.recording import Found
from reedbore.verdict.recording.file import by_channel
from reedbore.verdict.recording.modelled import Depth

HORN, F1 = "soprano-saxophone", 311.127
RATE = 48000


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name, few in (("TRIALS", 2), ("FOLLOWED", 1), ("STEPS", 2)):
        monkeypatch.setattr(fitting, name, few)


@pytest.fixture(scope="module")
def note() -> np.ndarray:
    sound = render(tune(load_horn(HORN), F1).with_value("reed.opening_mm", 0.7), 1.1).sound
    return sound[-45000:] / np.abs(sound).max()


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["fit", *words]) == 2
    return capsys.readouterr().err.splitlines()[-1]


def test_a_player_comes_out_as_a_horn_that_other_commands_take(note, capsys):
    soundfile.write("both.wav", 0.5 * np.stack([note, 0.5 * note], axis=1), RATE)
    words = ["fit", "both.wav", "--horn", HORN, "-o", "mine.toml"]
    assert main(words) == 0
    shown = capsys.readouterr()
    assert "is taken for the horn" not in shown.err
    for word in ("tip opening", "breath", "reed strength", "damping", "dB from the recording"):
        assert word in shown.out
    assert "reedbore locks --horn mine.toml --fingered Eb4" in shown.out
    assert check("mine.toml") == []
    mine = load_horn("mine.toml")
    assert mine.bore == load_horn(HORN).bore
    assert "The largest part of what is left: " in shown.out
    assert main([*words, "--json", "--fingered", "Eb4"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["settings"]["reed.opening_mm"]["value"] == pytest.approx(1e3 * mine.reed.opening)
    assert told["fits"]
    assert told["left_db"] < told["refused_above_db"] == 6.0
    assert told["largest_part"] in shown.out
    assert (told["depth"], told["state_modelled"]) == (None, None)


@pytest.mark.ci
def test_a_horn_that_does_not_come_near_is_refused_with_what_it_lacks(note, capsys, monkeypatch):
    monkeypatch.setattr(fitting, "REFUSED_DB", 0.5)
    third = np.sin(2.0 * np.pi * 3.0 * F1 * np.arange(note.size) / RATE)
    soundfile.write("own.wav", 0.4 * (note + third), RATE)
    line = refused(capsys, "own.wav", "--horn", HORN, "-o", "mine.toml")
    found = re.search(
        r"Eb4.* at 0\.\d\d s: the nearest that this horn comes is (\d\.\d) dB away on an average, "
        r"and 0\.5 dB are allowed; ",
        line,
    )
    assert float(found[1]) > 0.5
    loud = re.search(r"above all, in the recording partial 3 at (\d+) Hz is \d+ dB louder", line)
    assert float(loud[1]) == pytest.approx(3.0 * F1, rel=0.01)
    assert not Path("mine.toml").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "RECORDING is missing"),
        (["short.wav", "--horn", HORN], " s; 0.5 s or more are needed"),
        (["short.wav", "--fingered", "C5"], "short.wav does not hold C5"),
        (["short.wav", "-o", "mine.wav"], "mine.wav has no known kind of file; write .toml"),
        (["short.wav", "--throat-channel", "2"], "short.wav has 1 channel"),
        (["short.wav", "--throat-channel", "99"], "--throat-channel is 99; allowed 1 to 64"),
    ],
)
def test_what_is_unfit_gets_one_sentence(words, says, note, capsys):
    soundfile.write("short.wav", 0.5 * note[:16000], RATE)
    assert says in refused(capsys, *words)


def test_help_tells_the_least_note_and_the_limit_of_what_is_fitted(capsys):
    assert main(["fit", "--help"]) == 0
    shown = " ".join(capsys.readouterr().out.replace("│", " ").split())
    ends = 2.0 * work.EDGE_S
    assert f"a held note of {fitting.shortest(1000.0) + ends:g} s or more, and of no" in shown
    assert f"no less than {bands.PERIODS} periods and {ends:g} s." in shown
    assert fitting.shortest(50.0) == pytest.approx(bands.PERIODS / 50.0)
    assert f"[default: {work.usual_horn()}]" in shown
    told = " ".join(fit.__doc__.split())
    assert f"more than {fitting.REFUSED_DB:g} dB the horn is refused" in told


@pytest.mark.parametrize(
    ("hz", "depth", "a4", "line"),
    [
        (313.0, None, 440.0, "--horn mine.toml --fingered Eb4"),
        (116.54, 0.123, 440.0, "--horn mine.toml --fingered Bb2 --depth 0.12"),
        (374.0, 0.0062, 443.5, "--horn mine.toml --fingered 'F#4' --depth 0.0062 --a4 443.5"),
    ],
)
def test_what_to_type_next_names_note_depth_and_tuning(hz, depth, a4, line):
    note = Found(
        begin_s=0.0, end_s=1.0, level_db=0.0, played_hz=hz, played_within=1.0, shows_hz=1.0
    )
    found = Fitted(note, None, depth and Depth(depth, depth, depth), None)
    told = work.command(Path("mine.toml"), found, a4)
    assert told == f"reedbore locks {line}"
    assert parse_pitch(shlex.split(told)[5], a4) == pytest.approx(hz, rel=0.03)


@pytest.mark.parametrize(("throat", "heard"), [(None, [1, 2, 3]), (2, [1, 3]), (1, [2, 3])])
def test_all_microphones_but_the_throats_are_listened_to(throat, heard):
    soundfile.write("three.wav", np.tile([0.1, 0.2, 0.3], (800, 1)), 8000, subtype="FLOAT")
    found = by_channel(sound.Pieces(Path("three.wav")), throat).microphones(0.0, 0.05)
    assert [one.size for one in found] == [400] * len(heard)
    assert [one[0] for one in found] == pytest.approx([0.1 * k for k in heard])


def test_least_sure_settings_are_told_as_the_numbers_that_are_set():
    together = {"breath.pressure_kpa": 1.25, "reed.opening_mm": 0.8, "reed.strength": 1.12}
    assert report._least_sure(SimpleNamespace(together=together, together_db=0.4)) == (
        "Least sure together: breath 25 % more, tip opening 20 % less, reed strength 12 % more "
        "would change the sound by 0.4 dB only."
    )
