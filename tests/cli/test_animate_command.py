"""The command `animate` as it is typed."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from reedbore.cli import main

SHORT = ("--seconds", "1")
PAIR = ("--fingered", "Bb2", "--sung", "5/2")


QUICK = ("--set", "voice.source=sine", "--set", "time.rate_hz=48000")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["animate", *words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.ci
@pytest.mark.slow
def test_video_is_written_and_told_by_a_process_of_its_own(folder: Path):
    # What is loaded beside the simulation is loaded already in the process of the tests.
    command = [sys.executable, "-m", "reedbore", "animate", "-o", "wave.mp4", *PAIR, *SHORT]
    done = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["wrote"] == "wave.mp4"
    assert (found["frames"], found["rate_hz"], found["sound"]) == (30, 30, "true")
    assert found["says"].startswith("A third note is heard, Bb1")
    assert found["verdict"]["ratio"] == "5/2"
    assert found["captions"][0]["at_s"] == 0.0
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(folder / "wave.mp4"))
    assert frames == 30
    assert seconds == pytest.approx(1.0, abs=0.05)
    assert [path.name for path in folder.iterdir()] == ["wave.mp4"]


@pytest.mark.slow
def test_gif_is_written_without_an_encoder(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    assert main(["animate", "-o", "wave.gif", "--fingered", "Bb2", *QUICK[2:], *SHORT]) == 0
    assert capsys.readouterr().out.startswith("Tenor saxophone, Bb2 fingered, nobody sings\n")
    with Image.open(folder / "wave.gif") as picture:
        assert picture.n_frames == 20
    assert main(["animate", "-o", "wave.mp4", *PAIR, *SHORT]) == 2
    assert capsys.readouterr().err == (
        "wave.mp4 needs the video encoder of imageio-ffmpeg, which is not installed: "
        "pip install 'reedbore[video]', or write a .gif\n"
    )


@pytest.mark.slow
def test_handout_shows_four_instants(folder: Path, capsys: pytest.CaptureFixture[str]):
    found = answer(capsys, "-o", "wave.svg", *PAIR, *QUICK)
    assert len(found["frames"]) == 4
    assert len(set(found["captions"])) >= 3
    words = " ".join(ElementTree.parse(folder / "wave.svg").getroot().itertext())
    for caption in found["captions"]:
        for part in caption.split(": "):
            assert part in words


def pixels(path: Path) -> np.ndarray:
    """Pixels of a picture below its heading, which tells where a cell comes from."""
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"))[80:]


@pytest.mark.ci
@pytest.mark.slow
def test_cell_of_a_sweep_looks_as_if_it_had_been_typed(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    sweep = (
        *("sweep", "--along", "sung", "+12st", "+19st", "2"),
        *("--along", "reed.opening_mm", "0.9", "1.1", "2", *QUICK, "-o", "map.zarr"),
    )
    assert main(list(sweep)) == 0
    capsys.readouterr()
    instant = (*SHORT, "--frame", "12")
    cell = ("--from", "map.zarr", "--at", "sung=+19st", "--at")
    one = answer(capsys, "-o", "one.png", *cell, "reed.opening_mm=1.1", *instant)
    other = answer(capsys, "-o", "other.png", *cell, "reed.opening_mm=0.9", *instant)
    words = ("--fingered", "Bb2", "--sung", "+19st", "--set", "reed.opening_mm=1.1", *QUICK)
    typed = answer(capsys, "-o", "typed.png", *words, *instant)
    assert "F4 sung" in one["title"]
    assert "reed.opening_mm=1.1" in one["title"]
    assert "reed.opening_mm=0.9" in other["title"]
    assert one["captions"] == typed["captions"]
    assert one["verdict"] == typed["verdict"]
    assert np.array_equal(pixels(folder / "one.png"), pixels(folder / "typed.png"))
    assert not np.array_equal(pixels(folder / "one.png"), pixels(folder / "other.png"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ("-o", "wave.avi"),
            "wave.avi has no known kind of picture; write .mp4, .webm, .gif, .svg",
        ),
        (("-o", "w.mp4", "--slow", "10"), "--slow is 10; allowed 20 to 1000 (times slower"),
        (("-o", "w.mp4", "--seconds", "50"), "--seconds is 50 s; allowed 1 to 40 s (length of"),
        (("-o", "w.mp4", "--sound", "loud"), "--sound is 'loud'; write true, slowed, none"),
        (("-o", "w.gif", "--sound", "true"), "w.gif holds no sound; write .mp4 or .webm"),
        (("-o", "w.mp4", "--frame", "3"), "--frame picks instants for a handout: write .svg"),
        (("-o", "w.svg", "--frame", "300"), "--frame is 300; allowed 0 to 299 (30 a second"),
        (("-o", "w.svg", "--fingered", "H2"), "--fingered"),
        (("-o", "w.svg", "--at", "sung=5/2"), "--at picks a cell of a sweep: give --from"),
        (("-o", "w.svg", "--again", "no.json"), "no.json"),
        (("-o", "no.json/w.svg", "--depth", "2"), "depth"),
        ((), "output"),
    ],
)
def test_mistake_gets_one_sentence(
    words: tuple[str, ...],
    says: str,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
):
    assert main(["animate", *words]) == 2
    told = capsys.readouterr()
    # Work that takes more than a second is named; on a slow machine that may be the reading.
    sentences = [line for line in told.err.splitlines() if not line.endswith(" ...")]
    assert told.out == ""
    assert len(sentences) == 1
    assert says in sentences[0]
    assert not list(folder.iterdir())
