"""The command `fit`: a recorded note in, its player out, as a table, as JSON and as a preset."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from reedbore.cli import main
from reedbore.model.presets import check, load_horn
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import fit as fitting

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
    assert main([*words, "--json", "--fingered", "Eb4"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["settings"]["reed.opening_mm"]["value"] == pytest.approx(1e3 * mine.reed.opening)
    assert told["fits"]
    assert told["left_db"] < told["refused_above_db"] == 6.0
    assert (told["depth"], told["state_modelled"]) == (None, None)


@pytest.mark.ci
def test_a_horn_that_does_not_come_near_is_refused_with_what_it_lacks(note, capsys, monkeypatch):
    monkeypatch.setattr(fitting, "REFUSED_DB", -1.0)
    soundfile.write("own.wav", 0.5 * note, RATE)
    line = refused(capsys, "own.wav", "--horn", HORN, "-o", "mine.toml")
    assert re.search(
        r"Eb4.* at 0\.\d\d s: the nearest that this horn comes is \d\.\d dB away", line
    )
    assert "above all, in the recording " in line
    assert not Path("mine.toml").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "RECORDING is missing"),
        (["short.wav", "--horn", HORN], "lasts 0.3"),
        (["short.wav", "--fingered", "C5"], "short.wav does not hold C5"),
        (["short.wav", "-o", "mine.wav"], "mine.wav has no known kind of file; write .toml"),
        (["short.wav", "--throat-channel", "2"], "short.wav has 1 channel"),
        (["short.wav", "--throat-channel", "99"], "--throat-channel is 99; allowed 1 to 64"),
    ],
)
def test_what_is_unfit_gets_one_sentence(words, says, note, capsys):
    soundfile.write("short.wav", 0.5 * note[:16000], RATE)
    assert says in refused(capsys, *words)
