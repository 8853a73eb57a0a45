"""The command `sweep` as it is typed, and `render` for one of its cells."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from reedbore.cli import main

QUICK = ("--set", "voice.source=sine", "--set", "time.rate_hz=48000")
SWEEP = ("sweep", "--along", "sung", "1/1", "3/1", "3", "--along", "voice.depth", "0.1", "0.2", "2")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("sweep")


@pytest.fixture(scope="module")
def store(folder: Path) -> Path:
    """Sweep unison, an interval and the twelfth over Bb2, each softly and strongly."""
    path = folder / "map.zarr"
    assert main([*SWEEP, *QUICK, "-o", str(path)]) == 0
    return path


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main([*words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_sweep_run_again_has_nothing_to_do_and_sums_up(
    store: Path, capsys: pytest.CaptureFixture[str]
):
    found = answer(capsys, *SWEEP, *QUICK, "-o", str(store))
    assert found["cells"] == sum(found["states"].values()) == 6
    assert found["axes"][1] == {
        "field": "voice.depth", "start": 0.1, "stop": 0.2, "count": 2, "unit": "1"
    }  # fmt: skip
    assert found["axes"][0]["stop"] == pytest.approx(1901.955, abs=1e-3)  # the just twelfth
    assert "1/1" in found["locked"]
    assert found["edges"] is None
    assert found["narrowest_band_cents"] == pytest.approx(1901.955 / 2, abs=1e-3)


def test_sum_of_a_sweep_is_told_in_words(store: Path, capsys: pytest.CaptureFixture[str]):
    assert main([*SWEEP, *QUICK, "-o", str(store)]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("6 cells along sung, voice.depth\n")
    assert "A lock narrower than 951 cents can lie between cells: see --edges." in told.out
    assert told.out.endswith(f"file        {store}\n")


@pytest.mark.parametrize(("sung", "depth"), [("1/1", "0.1"), ("3/1", "0.2"), ("+950.9775c", "0.1")])
def test_take_of_a_cell_has_the_verdict_of_the_map(
    store: Path, folder: Path, capsys: pytest.CaptureFixture[str], sung: str, depth: str
):
    at = ("--at", f"sung={sung}", "--at", f"voice.depth={depth}")
    sound = folder / f"{depth}-{sung.replace('/', '-')}.wav"
    found = answer(
        capsys, "render", "--from", str(store), *at, "--no-picture", "-o", str(sound)
    )  # fmt: skip
    cell, verdict = found["request"]["cell"], found["verdict"]
    assert verdict["state"] == cell["state"]
    assert verdict["ratio"] == (f"{cell['p']}/{cell['q']}" if cell["p"] else None)
    # A tenth of a cent: the map follows the line of one partial, the take measures its spectrum.
    assert verdict["played_cents"] == pytest.approx(cell["played_cents"], abs=0.1)
    assert found["setup"]["voice"]["depth"] == float(depth)
    assert found["setup"]["voice"]["source"] == "sine"


def test_take_of_a_cell_can_be_made_again(
    store: Path, folder: Path, capsys: pytest.CaptureFixture[str]
):
    short = ("--no-picture", "--seconds", "1", "-o", str(folder / "one.wav"))
    at = ("--at", "voice.depth=0.2", "--at", "sung=+0st")
    first = answer(capsys, "render", "--from", str(store), *at, *short)
    assert first["request"]["at"] == ["sung=+0c", "voice.depth=0.2"]
    assert first["request"]["title"] == "Tenor saxophone, Bb2 fingered, Bb2 sung"
    again = folder / "two.wav"
    answer(capsys, "render", "--again", str(folder / "one.json"), "-o", str(again))
    assert again.read_bytes() == (folder / "one.wav").read_bytes()


def test_a_sweep_tells_its_note_as_it_sounds_and_as_written(
    store: Path, capsys: pytest.CaptureFixture[str]
):
    again = answer(capsys, *SWEEP, *QUICK, "-o", str(store))
    assert (again["fingered_note"], again["fingered_written"]) == ("Bb2", "C4")


@pytest.mark.parametrize("model", ["0123456789abcdef", None])
def test_old_stores_and_sidecars_are_used_but_never_gone_on_with(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], model: str | None
):
    old = tmp_path / "old.zarr"
    shutil.copytree(store, old)
    about = json.loads((old / "zarr.json").read_text())
    about["attributes"]["versions"] = json.dumps({"model": model} if model else {})
    (old / "zarr.json").write_text(json.dumps(about))
    assert main([*SWEEP, *QUICK, "-o", str(old)]) == 2
    told = capsys.readouterr().err
    assert "state of the model" in told
    assert told.count("\n") == 1
    assert main(["picture", str(old), "-o", str(tmp_path / "old.png")]) == 0
    assert "model" not in capsys.readouterr().err
    at = ("--at", "voice.depth=0.2", "--at", "sung=+0st", "--seconds", "1", "--no-picture")
    assert main(["render", "--from", str(old), *at, "-o", str(tmp_path / "a.wav")]) == 0
    assert f"{old}: {SINCE[model is None]}" in capsys.readouterr().err
    kept = json.loads((tmp_path / "a.json").read_text())
    kept["versions"] = {name: one for name, one in kept["versions"].items() if name != "model"}
    kept["versions"] |= {"model": model} if model else {}
    (tmp_path / "a.json").write_text(json.dumps(kept))
    again = ("render", "--again", str(tmp_path / "a.json"), "--no-picture")
    assert main([*again, "-o", str(tmp_path / "b.wav")]) == 0
    assert SINCE[model is None] in capsys.readouterr().err


SINCE = (
    "the model has changed since it was made: sound and states may differ",
    "it does not say which state of the model made it: sound and states may differ now",
)
ONE = ("--along", "voice.depth", "0.1", "0.2", "2")
LUNGS = ("--along", "voice.lung_kpa", "2.5", "4", "2", "--sung", "3/2")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--along", "reed.opening_mm", "0.6", "4", "3"), "--along reed.opening_mm is 4 mm; allow"),
        (("--along", "reed.openin_mm", "0.6", "1", "3"), "did you mean reed.opening_mm?"),
        (("--along", "sung", "-12", "+12st", "3"), "--along sung: '-12' is not a note; a bare num"),
        ((*ONE, "--log", "reed.width_mm"), "--log reed.width_mm: it is not swept"),
        ((*ONE, "--fingered", "Bb2"), "--along voice.depth: nobody sings; give --sung a note"),
        ((*ONE, "--set", "voice.drive=flow"), "the depth comes out of the flow; sweep voice.flow"),
        (("--along", "sung", "1/1", "2/1", "3", "--sung", "D4"), "both move the sung note"),
        ((*ONE, "--part", "3/2"), "--part is '3/2'; write i/n with i from 1 to n"),
        ((*ONE, "--seconds", "0.1"), "--seconds is 0.1 s; allowed 0.5 to 600 s"),
        ((*ONE, "--edges"), "--edges finds where locks end along the sung note; add --along sung"),
        ((*ONE, *ONE), "--along voice.depth: it is swept twice"),
        ((*LUNGS, "--breath", "3kPa"), "--breath 3kPa: leave it out; along voice.lung_kpa the br"),
        (LUNGS, "--along voice.lung_kpa: a clock has no folds; add --set voice.drive=folds"),
    ],
)
def test_wrong_words_are_told_in_one_sentence(
    words: tuple[str, ...], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    path = tmp_path / "map.zarr"
    assert main(["sweep", *words, "-o", str(path)]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert not path.exists()


def test_place_that_is_no_store_is_refused_before_any_work(capsys: pytest.CaptureFixture[str]):
    assert main([*SWEEP, "-o", "map.nc"]) == 2
    assert capsys.readouterr().err == "map.nc ends in '.nc'; a sweep or an atlas is kept as .zarr\n"


def test_another_sweep_into_the_same_store_is_refused(
    store: Path, capsys: pytest.CaptureFixture[str]
):
    assert main([*SWEEP, *QUICK, "--set", "reed.lip=1.2", "-o", str(store)]) == 2
    assert "holds another sweep: there reed.lip is 1.0, here 1.2" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ("--at", "sung=1/1"),
            "--at voice.depth=VALUE is missing; the sweep has sung, voice.depth",
        ),
        (("--at", "sung=1/1", "--at", "voice.depth=0.15"), "2 values from 0.1 to 0.2; the nearest"),
        (("--at", "sung=1/1", "--at", "voice.depth=much"), "'much' is no number"),
        (("--at", "sung=1", "--at", "voice.depth=0.1"), "--at sung: '1' is not a note; a bare"),
        (("--at", "reed.lip=1"), "write each of sung, voice.depth once, as NAME=VALUE"),
        (("--depth", "0.2"), "map.zarr: leave --depth out"),
    ],
)
def test_cell_that_is_not_there_is_told_in_one_sentence(
    store: Path, words: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
):
    assert main(["render", "--from", str(store), *words]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert (told.out, told.err.count("\n")) == ("", 1)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--at", "sung=1/1"), "give --from FILE.zarr too"),
        (("--from", "nowhere.zarr"), "nowhere.zarr is not there"),
    ],
)
def test_cell_needs_a_sweep(words: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]):
    assert main(["render", *words]) == 2
    assert says in capsys.readouterr().err
