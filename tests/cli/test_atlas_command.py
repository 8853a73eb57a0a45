"""The command `locks --every-note`: the atlas of a horn, `picture` of it, a pair heard again."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fake_atlas
import pytest
from typed import Done, typed

from reedbore.cli import main
from reedbore.cli.work import atlas as work
from reedbore.model.presets import load_horn, write_text
from reedbore.model.setup import Horn

DEPTHS = ("--depths", "0.1 0.2")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("atlas")


@pytest.fixture(scope="module")
def horn(folder: Path) -> str:
    """Write a tenor that has three notes."""
    return tenor(folder / "short.toml", "A2", "B2")


def tenor(path: Path, low: str, high: str) -> str:
    """Write a tenor that has few notes."""
    plain = load_horn("tenor-saxophone").to_plain()
    kept = {key: value for key, value in plain.items() if key not in ("vents", "sources")}
    short = Horn.from_plain(kept | {"low_note": low, "high_note": high})
    path.write_text(write_text(short), encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module", autouse=True)
def faked() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        fake_atlas.patch(patch.setattr)
        patch.setattr(work, "usable_cores", lambda: 1)
        yield


def made(horn: str, path: Path, *words: str) -> Done:
    done = typed(
        "locks", "--every-note", "--horn", horn, "-o", str(path), *words, folder=path.parent
    )
    assert done.returncode == 0, done.stderr
    return done


@pytest.fixture(scope="module")
def usual(horn: str, folder: Path) -> tuple[Path, dict[str, Any]]:
    """Make an atlas at one depth as it is typed, which nothing may change; what was told of it."""
    path = folder / "usual.zarr"
    return path, json.loads(made(horn, path, "--depth", "0.1", "--json").stdout)


@pytest.fixture(scope="module")
def deep(horn: str, folder: Path) -> tuple[Path, Done]:
    """Make one for a voice, at two depths."""
    path = folder / "deep.zarr"
    return path, made(horn, path, *DEPTHS, "--voice", "low-male")


@pytest.fixture(scope="module")
def unsung(horn: str, folder: Path) -> tuple[Path, list[str]]:
    """Make one in three parts, for nobody who sings with folds; what each has told."""
    path = folder / "unsung.zarr"
    parts = [("--singers", "none", "--part", f"{number}/3") for number in (1, 2, 3)]
    return path, [made(horn, path, *part).stdout for part in parts]


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    assert main([*words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_an_atlas_has_every_note_of_the_horn(deep: tuple[Path, Done]):
    path, told = deep
    assert told.stdout.startswith(
        "Tenor saxophone and low male voice\n"
        "3 notes, A2 to B2 · usual breath · depth 0.1 (normal), 0.2 (strong)\n"
        "a voice like a clock locks in "
    )
    assert "A singer" not in told.stdout
    assert told.stdout.endswith(f"file        {path}\n")
    # How far it is, and the time that is left.
    assert "% of 258 ratios" in told.stderr
    assert " left" in told.stderr


def test_the_sum_counts_pairs_of_clock_and_singer(usual: tuple[Path, dict[str, Any]]):
    found = usual[1]
    assert (found["notes"], found["depths"], found["voices"]) == (
        ["A2", "Bb2", "B2"],
        [0.1],
        ["firm"],
    )
    assert found["missing"] == {}
    assert found["left"] == {"clock": 0, "singer": 0}
    sung = [pair for pair in found["pairs"] if pair["who"] == "singer"]
    (octave,) = [
        pair for pair in sung if pair["ratio"] == "2/1" and pair["fingered_note"] == "Bb2"
    ]  # fmt: skip
    assert octave["aimed_note"] == "Bb3"
    assert octave["width_cents"] == pytest.approx(100.0)
    assert octave["heard"] == "same as fingered"
    clock = {pair["ratio"] for pair in found["pairs"] if pair["who"] == "clock"}
    assert clock >= {"1/1", "3/2", "5/2"}
    assert not clock & {"2/1", "4/3", "8/7"}  # even p is free in the fake


def test_nobody_sings_where_none_is_asked_for(
    unsung: tuple[Path, list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    path, told = unsung
    assert "singer" not in "".join(told)
    found = answer(capsys, "picture", str(path), "-o", str(tmp_path / "a.png"))
    assert (found["voices"], found["depths"]) == ([], [0.1])
    assert found["wrote"] == str(tmp_path / "a.png")


def test_nobody_sings_in_an_atlas_that_is_made_at_once(tmp_path: Path):
    lone = tenor(tmp_path / "lone.toml", "Bb2", "B2")
    told = made(lone, tmp_path / "lone.zarr", "--singers", "none", "--depth", "0.2").stdout
    assert "2 notes, Bb2 to B2 · usual breath · depth 0.2 (strong)" in told
    assert "a voice like a clock locks in " in told
    assert "singer" not in told
    assert "still to be made" not in told


def test_parts_are_told_to_be_left(unsung: tuple[Path, list[str]]):
    first, _, last = unsung[1]
    assert "2 tables are still to be made" in first
    assert "Bb2: not made yet" in first
    assert "still to be made" not in last


@pytest.mark.parametrize(
    ("at", "title", "state", "drive"),
    [
        (["voice=clock"], "D4-15c sung", "locked", "pressure"),
        ([], "D4-15c aimed at", "locked", "folds"),
        (["depth=0.1", "voice=firm"], "D4-15c aimed at", "locked", "folds"),
    ],
)
def test_a_pair_is_read_as_its_table_says_to_sing_it(
    at: list[str], title: str, state: str, drive: str, usual: tuple[Path, dict[str, Any]]
):
    found = work.read_pair({}, usual[0], ["note=Bb2", "ratio=5/2", *at])
    assert found.typed.title == f"Tenor saxophone, Bb2 fingered, {title}"
    assert found.typed.cell == {"state": state, "ratio": "5/2", "heard": "yes"}  # type: ignore[union-attr]
    assert found.setup.voice.drive == drive
    assert found.setup.voice.frequency == pytest.approx(2.5 * 116.54 * 0.9995, rel=1e-4)
    # The singer of the fake sings more softly than was asked for.
    assert found.setup.voice.depth == (0.08 if drive == "folds" else 0.1)
    assert found.untuned is None


MISTAKES: list[tuple[list[str], str]] = [
    (["--fingered", "Bb2"], "--every-note fingers every note: leave --fingered out"),
    (["--written"], "--every-note fingers every note: leave --written out"),
    (["--thorough"], "--thorough is for the table of one note: leave it out"),
    (["--confirm"], "--confirm is for the table of one note: leave it out"),
    (["--depth", "0.1", *DEPTHS], "--depth and --depths say the same: leave one out"),
    (["-o", "second.zarr"], "--every-note is kept in one file: give -o FILE.zarr once"),
    (["--part", "3/2"], "--part is '3/2'; write i/n with i from 1 to n"),
    (["--set", "voice.drive=folds"], "voice.drive is 'folds': leave it out"),
    (["--depths", "0.2 0.1"], "the depths are '0.2 0.1'; write each once, rising"),
    (["--depths", "soft"], "--depths is 'soft'; write depths from 0 to 1"),
    (["--depths", "0.1 1.5"], "voice.depth is 1.5; allowed 0 to 1"),
    (["--depths", " "], "0 depths are asked for; allowed 1 to 8"),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_a_mistake_is_told_before_anything_is_made(
    words: list[str], sentence: str, horn: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    path = tmp_path / "short.zarr"
    assert main(["locks", "--every-note", "--horn", horn, "-o", str(path), *words]) == 2
    assert sentence in capsys.readouterr().err
    assert not path.exists()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["-o", "a.png"], "a.png ends in '.png'; a sweep or an atlas is kept as .zarr"),
        ([], "--every-note is kept in one file"),
    ],
)
def test_an_atlas_is_a_zarr(
    words: list[str], sentence: str, horn: str, capsys: pytest.CaptureFixture[str]
):
    assert main(["locks", "--every-note", "--horn", horn, *words]) == 2
    assert sentence in capsys.readouterr().err


@pytest.mark.parametrize("words", [DEPTHS, ("--part", "1/2"), ("--cluster", "tcp://a:1")])
def test_what_only_an_atlas_has_is_refused_for_one_note(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
):
    assert main(["locks", *words]) == 2
    assert f"{words[0]} goes with --every-note" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("at", "sentence"),
    [
        (["note=Bb2"], "--at ratio=VALUE is missing; an atlas needs note, ratio, depth"),
        (["note=Bb2", "note=A2"], "write each of note, ratio, depth, voice once, as NAME=VALUE"),
        (["note=H2", "ratio=5/2", "depth=0.1"], "--at note"),
        (["note=C4", "ratio=5/2", "depth=0.1"], "has no C4; it has A2 to B2"),
        (["note=Bb2", "ratio=9/2", "depth=0.1"], "--at ratio=9/2: over Bb2"),
        (["note=Bb2", "ratio=5/2", "depth=0.3"], "has no depth 0.3; it has 0.1, 0.2"),
        (["note=Bb2", "ratio=5/2", "depth=x"], "--at depth: 'x' is no number"),
        (["note=Bb2", "ratio=5/2", "depth=0.1", "voice=heavy"], "has clock, firm"),
    ],
)
def test_a_pair_that_is_not_there_is_named(
    at: list[str], sentence: str, deep: tuple[Path, Done], capsys: pytest.CaptureFixture[str]
):
    words = [word for one in at for word in ("--at", one)]
    assert main(["render", "--from", str(deep[0]), *words]) == 2
    assert sentence in capsys.readouterr().err


def test_another_word_beside_a_pair_is_refused(
    usual: tuple[Path, dict[str, Any]], capsys: pytest.CaptureFixture[str]
):
    at = ["--at", "note=Bb2", "--at", "ratio=5/2"]
    assert main(["render", "--from", str(usual[0]), *at, "--breath", "mf"]) == 2
    assert "--from renders a pair of" in capsys.readouterr().err
