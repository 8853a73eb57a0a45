"""The command `render` as it is typed."""

import json
import subprocess
import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
from typed import Done, typed

from reedbore import sound
from reedbore.cli import common
from reedbore.measures.loudness import loudness
from reedbore.simulate.outside import FULL_SCALE_PA

SHORT = ("--seconds", "1")
ALONE = ("--fingered", "Bb2", "--no-picture", *SHORT)
PAIR = ("--fingered", "Bb2", "--sung", "D4")
STEM = "tenor-saxophone-Bb2-D4"


def run(*words: str, folder: Path) -> Done:
    return typed("render", *words, folder=folder)


def process(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Type a command in a process of its own."""
    command = [sys.executable, "-m", "reedbore", "render", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


def answer(*words: str, folder: Path) -> dict[str, Any]:
    done = run(*words, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Render a pair of notes once; its folder and what it printed."""
    folder = tmp_path_factory.mktemp("pair")
    done = process(*PAIR, folder=folder)
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


@pytest.mark.ci
@pytest.mark.slow(22)
def test_without_notes_the_whole_etude_is_played(tmp_path: Path):
    # At half the rate the judge is as quick again; with the usual words README's block plays it.
    done = run(
        "--set", "voice.drive=pressure", "--set", "time.rate_hz=48000", folder=tmp_path
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    stem = "mill-race-voice.drive-pressure-time.rate_hz-48000"
    kept = {path.name for path in (tmp_path / "renders").iterdir()}
    assert kept == {f"{stem}.{suffix}" for suffix in ("wav", "png", "json", "csv")}
    assert done.stdout.startswith("Tenor saxophone: Mill race, depth 0.1 (normal)\n")
    # Five hummed notes over each of two fingered ones.
    notes = json.loads((tmp_path / "renders" / f"{stem}.json").read_text())["notes"]
    assert [note["fingered_note"] for note in notes] == ["Bb2"] * 5 + ["D3"] * 5


def test_pair_is_a_sound_a_picture_and_a_sidecar(pair: tuple[Path, str]):
    folder, told = pair
    kept = {path.name for path in (folder / "renders").iterdir()}
    assert kept == {f"{STEM}.wav", f"{STEM}.png", f"{STEM}.json"}
    assert told.startswith("Tenor saxophone, Bb2 fingered, D4 sung, depth 0.1 (normal)\n")
    for name in kept:
        assert f"renders/{name}" in told


def test_take_lasts_four_seconds_and_holds_the_ceiling(pair: tuple[Path, str]):
    path = pair[0] / "renders" / f"{STEM}.wav"
    shape = soundfile.info(path)
    assert (shape.samplerate, shape.channels, shape.subtype) == (48000, 1, "PCM_24")
    assert shape.frames == 4 * 48000
    samples, _ = sound.read(path)
    # Common practice, no source: at most -1 dBTP, no resting value, silent at both ends.
    assert 0.001 < sound.true_peak(samples) <= 10.0 ** (-1.0 / 20.0) + 1e-6
    assert abs(samples.mean()) < 1e-4
    assert abs(samples[0]) < 1e-6
    assert abs(samples[-1]) < 1e-3


def test_again_makes_the_same_take_to_the_last_bit(pair: tuple[Path, str], tmp_path: Path):
    first = pair[0] / "renders" / STEM
    done = run("--again", f"{first}.json", "-o", "twin.wav", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "twin.wav").read_bytes() == first.with_suffix(".wav").read_bytes()
    one, two = (json.loads(path.read_text()) for path in (
        first.with_suffix(".json"), tmp_path / "twin.json"
    ))  # fmt: skip
    assert (one["setup"], one["verdict"], one["request"]) == (
        two["setup"], two["verdict"], two["request"]
    )  # fmt: skip


def test_sidecar_says_what_made_the_take(pair: tuple[Path, str]):
    kept = json.loads((pair[0] / "renders" / f"{STEM}.json").read_text())
    assert kept["request"]["fingered"] == "Bb2"
    assert kept["request"]["sung"] == "D4"
    assert kept["setup"]["voice"]["depth"] == 0.1
    assert kept["verdict"]["state"] in {"locked", "drifting", "rough", "irregular", "silent"}
    assert set(kept["versions"]) == {"reedbore", "model", "numpy", "numba", "python"}
    assert kept["sound"]["sound"]["full_scale_pa"] == FULL_SCALE_PA
    # Above 0 it would be gain that nobody asked for.
    assert kept["sound"]["sound"]["gain_db"] <= 0.0


def test_json_is_the_sidecar_with_the_files(tmp_path: Path):
    found = answer(*ALONE, folder=tmp_path)
    files = found.pop("files")
    assert sorted(files) == ["sidecar", "sound"]
    assert found.pop("fingered_written") == "C4"
    assert found == json.loads((tmp_path / files["sidecar"]).read_text())
    assert found["verdict"]["state"] == "unsung"
    assert found["verdict"]["sung_hz"] is None


def test_settings_breath_depth_and_tuning_are_heeded(tmp_path: Path):
    found = answer(
        "--fingered", "C4", "--written", "--sung", "-5st", "--depth", "0.35", "--breath", "3.3kPa",
        "--set", "reed.damping=1.2", "--set", "voice.source=sine", "--a4", "442", "--no-picture",
        *SHORT, folder=tmp_path,
    )  # fmt: skip
    setup = found["setup"]
    assert (setup["reed"]["damping"], setup["voice"]["source"]) == (1.2, "sine")
    assert (setup["voice"]["depth"], setup["breath"]["pressure_kpa"]) == (0.35, 3.3)
    # The tenor saxophone sounds a major ninth lower: common practice, no source. Equal temperament:
    # Bb2 is 23 semitones below A4, and -5st five more.
    assert found["request"]["fingered_hz"] == pytest.approx(442.0 * 2 ** (-23 / 12), rel=1e-12)
    assert setup["voice"]["frequency_hz"] == pytest.approx(442.0 * 2 ** (-28 / 12), rel=1e-12)


def test_exaggerated_depth_is_called_so(tmp_path: Path):
    done = run(
        "--fingered", "Bb2", "--sung", "5/3", "--depth", "0.4", *SHORT, "--no-picture",
        folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "depth 0.4 (exaggerated)" in done.stdout.splitlines()[0]
    assert (tmp_path / "renders" / "tenor-saxophone-Bb2-5-3-depth0.4.wav").exists()


def test_throat_microphone_hears_the_sung_part(tmp_path: Path):
    found = answer(
        # Five cents beside a lock: where one ends the judge, which is not asked, takes longest.
        "--fingered", "Bb2", "--sung", "3/2-5c", "--depth", "0.2", "--breath", "3.2kPa",
        "--set", "voice.source=sine", "--set", "breath.sway=0", "--throat", "throat.wav",
        "--no-picture", *SHORT,
        folder=tmp_path,
    )  # fmt: skip
    throat, _ = sound.read(tmp_path / "throat.wav")
    level = found["sound"]["throat"]
    heard = np.abs(throat[24000:40000]).max() * level["full_scale_pa"]
    assert level["gain_db"] == 0.0
    # By the definition of depth: a fifth of 3200 Pa.
    assert heard == pytest.approx(640.0, rel=0.01)


def test_a_matched_level_is_told_and_kept(tmp_path: Path):
    done = run(
        "--horn", "clarinet-b-flat", "--fingered", "D3", "--level", "matched", "--no-picture",
        "-o", "a.wav", *SHORT, folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    kept = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["sound"]["sound"]
    assert kept["matched_lufs"] == -23.0
    assert kept["gain_db"] > 5.0
    assert f"The sound was made {kept['gain_db']:.1f} dB louder, towards -23 LUFS" in done.stdout
    assert loudness(sound.read(tmp_path / "a.wav")[0]) == pytest.approx(-23.0, abs=0.1)


def test_missing_sound_library_is_told_and_the_files_stay(tmp_path: Path):
    # `python -m` looks into the current folder first.
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    done = process(*ALONE, "--play", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("PortAudio is missing, so nothing can be played")
    assert (tmp_path / "renders" / "tenor-saxophone-Bb2-alone.wav").exists()


def test_depth_that_comes_out_of_a_flow_is_told(tmp_path: Path):
    done = run(
        *PAIR, "--set", "voice.drive=flow", "--set", "voice.flow_ml_per_s=100", *SHORT,
        "--no-picture", folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    title = done.stdout.splitlines()[0]
    assert "; usual 0.02 to 0.15) out of the flow" in title
    # 100 ml/s into 100 ml of rigid air at 294 Hz are 0.77 MPa s/m3 by rho c^2 / (omega V), 77 Pa of
    # 3.1 kPa; walls that yield may raise it, at their resonance by several times.
    assert 0.01 < float(title.partition("depth ")[2].split()[0]) < 0.2


def test_work_of_more_than_a_second_is_named_on_stderr_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    waited: list[float] = []

    class Passed(threading.Timer):
        """A time that is over as soon as it begins."""

        def start(self) -> None:
            waited.append(self.interval)
            self.function()

    clock = SimpleNamespace(Timer=Passed, Lock=threading.Lock)
    monkeypatch.undo()
    monkeypatch.setattr(common, "threading", clock)
    done = run(*ALONE, "--json", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert waited == [1.0]
    assert "simulating 1 s ..." in done.stderr.splitlines()
    assert json.loads(done.stdout)["files"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--fingered", "H2"], "--fingered 'H2' is not a note; the note H is written B"),
        (["--sung", "7st"], "--sung '7st' is not a note; an interval takes a sign"),
        (["--fingered", "C6"], "allowed Ab2 to"),
        (["--depth", "-0.1"], "voice.depth is -0.1; allowed 0 to 1"),
        (["--breath", "loud"], "--breath 'loud' is no breath; write a pressure (3kPa"),
        (["--breath", "300kPa"], "breath.pressure_kpa is 300 kPa; allowed 0 to 20 kPa"),
        (["--breath", "-3kPa"], "breath.pressure_kpa is -3 kPa; allowed 0 to 20 kPa"),
        ([*PAIR, "--seconds", "0"], "--seconds is 0 s; allowed 0.5 to 600 s (length of the take)"),
        ([*PAIR, "--seconds", "nan"], "--seconds is nan s; allowed 0.5 to 600 s"),
        (["--set", "reed.opening_mm=4"], "reed.opening_mm is 4 mm; allowed 0.05 to 3 mm"),
        (["--set", "reed.openning_mm=1"], "did you mean reed.opening_mm?"),
        (["--set", "reed.opening_mm"], "write NAME=VALUE"),
        (["--horn", "tenor"], "did you mean tenor-saxophone?"),
        (["--voice", "alto"], "'alto' is no voice; "),
        (["--a4", "300"], "a4 is 300 Hz; allowed 380 to 500 Hz"),
        (["-o", "take.mp3"], "take.mp3 ends in '.mp3'; sound is written as .wav or .flac"),
        (["-o", "a.wav", "--inside", "a.wav"], "two of the files have one name"),
        (["--sung", "none.wav"], "none.wav is not there; a sound file was expected"),
        (["--again", "none.json"], "none.json cannot be read (no such file"),
        (["--again", "x.json", "--depth", "0.2"], "leave --depth out"),
        (["--again", "x.json", "--set", "reed.damping=1"], "leave --set out"),
        (["--again", "x.json", "--seconds", "3"], "leave --seconds out"),
    ],
)
def test_mistake_ends_with_two_and_one_sentence(words: list[str], sentence: str, tmp_path: Path):
    done = run(*words, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert sentence in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_process_ends_with_the_status_of_a_mistake(tmp_path: Path):
    done = process("--depth", "-0.1", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "voice.depth is -0.1; allowed 0 to 1" in done.stderr


def test_folder_that_cannot_be_written_is_told_before_the_work(tmp_path: Path):
    (tmp_path / "renders").write_text("a file where the folder should be")
    done = run(*PAIR, "--seconds", "600", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    told = done.stderr.splitlines()
    assert told == [f"renders/{STEM}.wav cannot be written (a folder on the way to it is a file)"]


def test_empty_recording_is_told(tmp_path: Path):
    soundfile.write(tmp_path / "empty.wav", np.zeros(0), 48000)
    done = run("--sung", "empty.wav", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr == "empty.wav is empty: it holds no samples\n"


def test_recording_is_never_overwritten(tmp_path: Path):
    soundfile.write(tmp_path / "hum.wav", np.sin(np.arange(48000) * 0.02) / 2.0, 48000)
    before = (tmp_path / "hum.wav").read_bytes()
    done = run("--sung", "hum.wav", "-o", "hum.wav", folder=tmp_path)
    assert done.returncode == 2
    assert "two of the files have one name" in done.stderr
    assert (tmp_path / "hum.wav").read_bytes() == before


def test_help_names_every_option(tmp_path: Path):
    done = run("--help", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    for option in (
        "--horn", "--fingered", "--sung", "--passage", "--tempo", "--voice", "--depth", "--breath",
        "--seconds", "--set", "--a4", "--written", "--again", "--lock-range", "--throat",
        "--inside", "--no-picture", "--notes", "--third", "--level", "--play", "--output", "--json",
    ):  # fmt: skip
        assert option in done.stdout
