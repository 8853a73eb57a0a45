"""A take asked for in written pitch: table, data and file name tell both, and which is which."""

import json
from pathlib import Path

import pytest

from reedbore.cli import main

# A tenor saxophone's written C4 sounds Bb2: a major ninth lower, common practice, no source.
SHORT = "--sung", "3/2", "--seconds", "0.5", "--no-picture"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("takes")


@pytest.fixture(autouse=True)
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)


def test_what_was_typed_as_written_is_told_both_ways(capsys: pytest.CaptureFixture[str]):
    assert main(["render", "--fingered", "C4", "--written", *SHORT]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Tenor saxophone, Bb2 (written C4) fingered, F3+2c sung")
    assert "played      Bb2 (written C4), 116.5" in told
    assert "sung        F3+2c, 174.8" in told
    assert "renders/tenor-saxophone-Bb2-written-C4-3-2.wav" in told
    again = "renders/tenor-saxophone-Bb2-written-C4-3-2.json"
    assert main(["render", "--again", again, "--no-picture", "-o", "a.wav", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fingered_written"] == "C4"


def test_what_was_typed_as_it_sounds_is_told_so_and_data_has_both(
    capsys: pytest.CaptureFixture[str],
):
    assert main(["render", "--fingered", "Bb2", *SHORT]) == 0
    told = capsys.readouterr().out
    assert "written" not in told
    assert "renders/tenor-saxophone-Bb2-3-2.wav" in told
    assert main(["render", "--fingered", "Bb2", *SHORT, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fingered_written"] == "C4"
