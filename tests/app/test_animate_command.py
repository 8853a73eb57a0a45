"""The command `animate` as it is typed."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import imageio_ffmpeg
import pytest
from PIL import Image

from reedbore.cli import main

SHORT = ("--seconds", "1")
PAIR = ("--fingered", "Bb2", "--sung", "5/2")


def run(*words: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "reedbore", "animate", *words]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=folder, env=os.environ | more
    )


def answer(*words: str, folder: Path) -> dict[str, Any]:
    done = run(*words, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.slow
def test_video_is_written_and_told(tmp_path: Path):
    found = answer("-o", "wave.mp4", *PAIR, *SHORT, folder=tmp_path)
    assert found["wrote"] == "wave.mp4"
    assert (found["frames"], found["rate_hz"], found["sound"]) == (30, 30, "true")
    assert found["verdict"]["ratio"] == "5/2"
    assert found["captions"][0]["at_s"] == 0.0
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(tmp_path / "wave.mp4"))
    assert frames == 30
    assert seconds == pytest.approx(1.0, abs=0.05)
    assert [path.name for path in tmp_path.iterdir()] == ["wave.mp4"]


@pytest.mark.slow
def test_gif_is_written_without_an_encoder(tmp_path: Path):
    words = ("-o", "wave.gif", "--fingered", "Bb2", *SHORT)
    # A module of that name that cannot be imported stands before the real one.
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "imageio_ffmpeg.py").write_text("raise ImportError\n")
    done = run(*words, folder=tmp_path, PYTHONPATH=str(hidden))
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Tenor saxophone, Bb2 fingered, nobody sings\n")
    with Image.open(tmp_path / "wave.gif") as picture:
        assert picture.n_frames == 20
    done = run("-o", "wave.mp4", *PAIR, *SHORT, folder=tmp_path, PYTHONPATH=str(hidden))
    assert done.returncode == 2
    assert done.stderr == (
        "wave.mp4 needs the video encoder of imageio-ffmpeg, which is not installed: "
        "pip install 'reedbore[video]', or write a .gif\n"
    )


@pytest.mark.slow
def test_handout_shows_four_instants(tmp_path: Path):
    found = answer("-o", "wave.svg", *PAIR, folder=tmp_path)
    assert len(found["frames"]) == 4
    assert len(set(found["captions"])) >= 3
    words = " ".join(ElementTree.parse(tmp_path / "wave.svg").getroot().itertext())
    for caption in found["captions"]:
        for part in caption.split(": "):
            assert part in words


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
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    monkeypatch.chdir(tmp_path)
    assert main(["animate", *words]) == 2
    told = capsys.readouterr()
    # Work that takes more than a second is named; on a slow machine that may be the reading.
    sentences = [line for line in told.err.splitlines() if not line.endswith(" ...")]
    assert told.out == ""
    assert len(sentences) == 1
    assert says in sentences[0]
    assert not list(tmp_path.iterdir())
