"""The title of a passage: how strongly is sung, as set, as a curve has it, or out of a flow."""

import csv
import io
import re
from pathlib import Path
from typing import Any

import pytest

from reedbore.cli import main
from reedbore.model import presets
from reedbore.simulate import mouth
from reedbore.simulate.request.passage import read_passage
from reedbore.simulate.request.take import Words, read_request
from reedbore.simulate.tuning import tune

# Two notes near no ratio of Bb2: such pairs are held for no longer than a take.
ROUGH = ("--fingered", "Bb2:1", "--sung", "C4:0.5 E4:0.5")


@pytest.fixture(name="title")
def _title(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Any:
    monkeypatch.chdir(tmp_path)

    def title(*words: str) -> str:
        assert main(["render", *words, "-o", "a.wav", "--no-picture"]) == 0
        return capsys.readouterr().out.splitlines()[0]

    return title


def written(folder: Path, depth: str) -> str:
    file = folder / "mine.toml"
    file.write_text(
        'title = "Mill race"\nhorn = "tenor-saxophone"\nvoice = "low-male"\n'
        "[passage]\ntempo_bpm = 60.0\n"
        f'fingered = "Bb2:1"\nsung = "C4:0.5 E4:0.5"\ndepth = "{depth}"\n'
    )
    return str(file)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("depth", "told"),
    [
        ("", "depth 0.1 (normal)"),
        ("0.3", "depth 0.3 (strong)"),
        ("0.02@0 0.3@1", "depth 0.02 to 0.3 (soft hum to strong)"),
    ],
)
def test_the_title_tells_the_depth_that_the_passage_has(title, tmp_path, depth, told):
    assert title("--passage", written(tmp_path, depth)).endswith(f", {told}")


@pytest.mark.slow
def test_music_that_is_called_after_its_horn_names_it_once(title, tmp_path):
    file = Path(written(tmp_path, ""))
    file.write_text(file.read_text().replace("Mill race", "Tenor saxophone"))
    assert title("--passage", str(file)) == "Tenor saxophone, depth 0.1 (normal)"


@pytest.mark.parametrize(
    ("music", "told"),
    [
        ("tenor-saxophone", "Tenor saxophone"),
        ("Tenor saxophone, D4 sung", "Tenor saxophone, D4 sung"),
        ("Tenor saxophone blues", "Tenor saxophone: Tenor saxophone blues"),
    ],
)
def test_the_horn_is_named_once_whatever_else_is_told(tmp_path, music, told):
    file = Path(written(tmp_path, ""))
    file.write_text(file.read_text().replace("Mill race", music))
    assert read_passage(Words(passage=str(file))).typed.title == told


# The alto saxophone sounds a major sixth lower than written: common practice, no source.
ALTO: dict[str, Any] = {"horn": "alto-saxophone", "sung": "E4"}


@pytest.mark.parametrize(
    ("words", "told", "stem"),
    [
        (
            {"fingered": "G4", "written": True},
            "Bb3 (written G4)",
            "alto-saxophone-Bb3-written-G4-E4",
        ),
        ({"fingered": "w:G4"}, "Bb3 (written G4)", "alto-saxophone-Bb3-written-G4-E4"),
        ({"fingered": "233.1Hz", "written": True}, "Bb3", "alto-saxophone-233.1Hz-E4"),
        ({"fingered": "Bb3"}, "Bb3", "alto-saxophone-Bb3-E4"),
        ({"fingered": "Bb3", "sung": "w:C#5"}, "Bb3", "alto-saxophone-Bb3-E4"),
    ],
)
def test_title_and_files_name_the_note_that_sounds_and_the_written_one_apart(words, told, stem):
    typed = read_request(Words(**(ALTO | words))).typed
    assert typed.title == f"Alto saxophone, {told} fingered, E4 sung"
    assert typed.stem == stem


def test_files_of_a_line_are_named_by_the_notes_that_sound():
    asked = Words(**ALTO | {"fingered": "G4:1 A4:1", "sung": "w:C#5:2"}, written=True)
    assert read_passage(asked).typed.stem == "alto-saxophone-Bb3-1-C4-1-written-G4-1-A4-1-E4-2"
    held = Words(**ALTO | {"fingered": "G4", "sung": "w:C#5:2"}, written=True)
    assert read_passage(held).typed.stem == "alto-saxophone-Bb3-written-G4-E4-2"
    held = Words(**ALTO | {"fingered": "G4:2", "sung": "w:C#5"}, written=True)
    assert read_passage(held).typed.stem == "alto-saxophone-Bb3-2-written-G4-2-E4"


@pytest.mark.slow
def test_the_title_of_a_flow_tells_the_depths_that_come_out(title, tmp_path):
    said = title(*ROUGH, "--set", "voice.drive=flow", "--depth", "0.3")
    found = re.search(
        r"depth ([\d.]+) to ([\d.]+) \(.*; usual 0\.02 to 0\.15\) out of the flow$", said
    )
    assert found, said
    setup = tune(presets.load_horn("tenor-saxophone"), 116.54)
    setup = setup.model_copy(
        update={"voice": presets.load_singer("low-male").voice.model_copy(update={"drive": "flow"})}
    )
    # Single takes of the two notes, C4 and E4 of equal temperament at A4 = 440 Hz (ISO 16).
    takes = [mouth.depth(setup.with_value("voice.frequency_hz", hz)) for hz in (261.626, 329.628)]
    assert [float(found[1]), float(found[2])] == pytest.approx(sorted(takes), rel=0.05)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text(encoding="utf-8"))))
    assert [float(row["depth"]) for row in rows] == pytest.approx(takes, rel=1e-3)


def test_a_voice_that_is_off_has_no_depth(title, tmp_path):
    said = title(*ROUGH, "--set", "voice.source=off")
    assert "depth" not in said
    rows = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text(encoding="utf-8"))))
    assert {(row["sung_hz"], row["planned_p"], row["depth"]) for row in rows} == {("", "", "")}
