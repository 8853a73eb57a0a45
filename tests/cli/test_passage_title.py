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
