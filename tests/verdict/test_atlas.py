"""Atlases: what is kept is what was found, and nothing is lost however they are made."""

import math
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fake_atlas
import fake_cells
import pytest
import xarray

from reedbore.errors import ReedboreError
from reedbore.kernel.executor import CpuLanes
from reedbore.model.sidecar import model_hash
from reedbore.verdict import atlas, singer
from reedbore.verdict.atlas import making
from reedbore.verdict.sweep import store

CHILD = Path(fake_atlas.__file__)


@pytest.fixture
def faked(monkeypatch: pytest.MonkeyPatch) -> None:
    fake_atlas.patch(monkeypatch.setattr)


def files(path: Path) -> dict[str, bytes]:
    return dict(fake_cells.files(path))


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the example in one go."""
    path = tmp_path_factory.mktemp("unbroken") / "horn.zarr"
    subprocess.run([sys.executable, CHILD, path, "1/1"], check=True)
    return path


# --- what is kept --------------------------------------------------------------------------------


def test_rows_are_read_as_they_were_found(unbroken: Path):
    found, made = atlas.read(unbroken), fake_atlas.example()
    assert found.atlas == made
    assert found.left == {"clock": 0, "singer": 0}
    for midi in (46, 50):
        for depth in made.depths:
            setup = fake_atlas.untuned(made, midi, depth)
            table = fake_atlas.lock_table(setup, 0.0, voice_range=made.reach)
            sheet = found.clock(midi, depth)
            assert sheet == (table.rows, table.voice_off_hz, None)
            assert {row.state for row in table.rows} == {"locked", "narrow", "free"}
            for voice in made.voices:
                sung = singer.singers(setup)[voice]
                ratios = [ratio for ratio in atlas.RATIOS if within(made, table, ratio)]
                (rows,) = fake_atlas.singer_rows([sung], table.voice_off_hz, ratios)
                kept = found.singer(midi, depth, voice)
                assert kept == (tuple(rows), table.voice_off_hz, None)
    light, firm = (found.singer(46, 0.1, voice) for voice in ("light", "firm"))
    assert light != firm
    assert found.singer(46, 0.1) == firm  # the first that was tried


def within(made: atlas.Atlas, table: Any, ratio: tuple[int, int]) -> bool:
    assert made.reach is not None
    return made.reach[0] <= table.voice_off_hz * ratio[0] / ratio[1] <= made.reach[1]


def test_a_note_that_does_not_sound_says_why(unbroken: Path):
    found = atlas.read(unbroken)
    for sheet in (found.clock(44, 0.1), found.singer(44, 0.2)):
        assert sheet is not None
        assert sheet.rows == ()
        assert math.isnan(sheet.voice_off_hz)
        assert sheet.reason == "the reed does not sound by itself at 1 kPa"


def test_what_is_not_made_or_not_tried_is_none(tmp_path: Path, faked: None):
    path = tmp_path / "horn.zarr"
    atlas.run(fake_atlas.example(), path, part=(1, 12))
    found = atlas.read(path)
    assert found.clock(44, 0.1) is not None
    assert found.clock(50, 0.2) is None
    assert found.singer(44, 0.1, "heavy") is None
    assert found.left == {"clock": 5, "singer": 11}


@pytest.mark.parametrize(
    ("midi", "depth", "says"),
    [(45, 0.1, "has no A2; it has Ab2 to D3"), (46, 0.3, "has no depth 0.3; it has 0.1, 0.2")],
)
def test_what_an_atlas_does_not_have_is_named(unbroken: Path, midi: int, depth: float, says: str):
    with pytest.raises(ReedboreError, match=says):
        atlas.read(unbroken).clock(midi, depth)


def test_all_ratios_are_looked_at_where_that_is_asked_for(tmp_path: Path, faked: None):
    for name, all_ratios, rows in (("some", False, 21), ("all", True, 43)):
        path = tmp_path / f"{name}.zarr"
        atlas.run(fake_atlas.example(all_ratios=all_ratios, voices=()), path)
        sheet = atlas.read(path).clock(46, 0.1)
        assert sheet is not None
        assert len(sheet.rows) == rows


def test_xarray_opens_the_store_with_units_and_meanings(unbroken: Path):
    data = xarray.open_zarr(unbroken, consolidated=False, chunks=None)
    assert data.clock_state.dims == ("note", "depth", "ratio")
    assert data.singer_state.dims == ("note", "depth", "voice", "ratio")
    assert data.singer_pulled_cents.attrs["units"] == "cents"
    assert "no_table" in data.clock_state.attrs["flag_meanings"]
    at = data.clock_state.sel(note=46, depth=0.1, ratio=1.5)
    meanings = dict(
        zip(at.attrs["flag_values"], at.attrs["flag_meanings"].split(), strict=True)
    )  # fmt: skip
    assert meanings[int(at)] == "locked"


# --- nothing is lost -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "dies_at", [40, *(pytest.param(k, marks=pytest.mark.ci) for k in (3, 200, 700, 1100))]
)
def test_killed_at_any_moment_and_resumed_it_is_as_made_in_one_go(
    dies_at: int, unbroken: Path, tmp_path: Path
):
    path = tmp_path / "horn.zarr"
    killed = subprocess.run([sys.executable, CHILD, path, "1/1", str(dies_at)], check=False)
    assert killed.returncode == -9
    subprocess.run([sys.executable, CHILD, path, "1/1"], check=True)
    assert files(path) == files(unbroken)


def test_parts_in_any_order_make_the_whole(unbroken: Path, tmp_path: Path, faked: None):
    for number in (3, 1, 2):
        atlas.run(fake_atlas.example(), tmp_path / "horn.zarr", part=(number, 3))
    assert files(tmp_path / "horn.zarr") == files(unbroken)


def test_folds_may_be_tried_later(unbroken: Path, tmp_path: Path, faked: None):
    path = tmp_path / "horn.zarr"
    atlas.run(fake_atlas.example(voices=()), path)
    atlas.run(fake_atlas.example(), path)
    assert files(path) == files(unbroken)
    atlas.run(fake_atlas.example(voices=()), path)
    assert files(path) == files(unbroken)


def test_what_is_lost_is_named_and_made_again(unbroken: Path, tmp_path: Path, faked: None):
    path = Path(shutil.copytree(unbroken, tmp_path / "horn.zarr"))
    (path / "clock_held/c/1/0/0").unlink()
    with pytest.raises(ReedboreError, match="clock_held/c/1/0/0 is lost; the same command"):
        atlas.read(path).clock(46, 0.1)
    atlas.run(fake_atlas.example(), path)
    assert files(path) == files(unbroken)


def test_on_a_cluster_it_is_as_made_here(unbroken: Path, tmp_path: Path, faked: None):
    distributed = pytest.importorskip("distributed")
    quiet = {"dashboard_address": None, "processes": False, "silence_logs": 50}
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, **quiet) as cluster:
        atlas.run(fake_atlas.example(), tmp_path / "horn.zarr", cluster=cluster.scheduler_address)
    assert files(tmp_path / "horn.zarr") == files(unbroken)


@pytest.mark.parametrize(
    ("asked", "processes", "threads"), [(1, 1, 8), (2, 2, 4), (6, 6, 1), (32, 6, 1)]
)
def test_processes_are_no_more_than_the_tasks_and_share_the_cores(
    asked: int, processes: int, threads: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    # Three notes at two depths, on eight cores.
    fake_atlas.patch(monkeypatch.setattr)
    dealt, usual = set[tuple[int, int]](), making.deal_out

    def deal_out(to_do: Any, work: Any, tell: Any, *, cluster: Any, processes: int) -> Any:
        dealt.add((processes, work.keywords["executor"].threads))
        return usual(to_do, work, tell, cluster=cluster, processes=1)

    monkeypatch.setattr(making, "deal_out", deal_out)
    monkeypatch.setattr(making, "CPU", CpuLanes(threads=8))
    atlas.run(fake_atlas.example(), tmp_path / "horn.zarr", processes=asked)
    assert dealt == {(processes, threads)}


# --- what is refused -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"breath": "mf"}, "there --breath is not set, here mf"),
        ({"settings": ("reed.opening_mm=1.2",)}, "here reed.opening_mm=1.2"),
        ({"notes": (46, 50)}, "there the notes are 44, 46, 50, here 46, 50"),
        ({"depths": (0.1,)}, "there the depths are 0.1, 0.2, here 0.1"),
        ({"voices": ("heavy",)}, "there the voices are firm, light, here heavy"),
        ({"a4": 442.0}, "there A4 is 440 Hz, here 442 Hz"),
        ({"all_ratios": True}, "there --all-ratios is not given, here given"),
    ],
)
def test_another_atlas_is_not_gone_on_with(
    changed: dict[str, Any], says: str, tmp_path: Path, faked: None
):
    path = tmp_path / "horn.zarr"
    atlas.prepare(path, fake_atlas.example())
    with pytest.raises(ReedboreError, match=f"holds another atlas: .*{says}; give -o another"):
        atlas.prepare(path, fake_atlas.example(**changed))


def test_a_horn_of_the_same_name_that_was_changed_is_another(tmp_path: Path):
    made = fake_atlas.example()
    breath = made.horn.breath.model_copy(update={"pressure": 2000.0})
    changed = fake_atlas.example(horn=made.horn.model_copy(update={"breath": breath}))
    assert atlas.differs(made, made) is None
    told = atlas.differs(made, changed)
    assert told is not None
    assert told.startswith("there the horn's breath is {'pressure_kpa':")


def test_another_model_does_not_go_on(tmp_path: Path):
    path = tmp_path / "horn.zarr"
    atlas.prepare(path, fake_atlas.example())
    spoil(path / "zarr.json", model_hash(), "another")
    with pytest.raises(ReedboreError, match="the atlas was begun with another state of the model"):
        atlas.prepare(path, fake_atlas.example())
    assert atlas.read(path).atlas.model == "another"  # reading goes on


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"depths": ()}, "0 depths are asked for; allowed 1 to 8"),
        ({"depths": (0.2, 0.1)}, "the depths are '0.2 0.1'; write each once, rising"),
        ({"settings": ("voice.depth=0.3",)}, "--set voice.depth=0.3: write the depths"),
        ({"settings": ("voice.drive=folds",)}, "voice.drive is 'folds': leave it out"),
        ({"settings": ("voice.drive=flow",)}, "the depth comes out of the flow"),
        ({"settings": ("voice.source=off",)}, "voice.source is 'off'; an atlas needs"),
        ({"depths": (1.5,)}, "1.5"),
    ],
)
def test_an_atlas_that_cannot_be_made_is_refused(
    changed: dict[str, Any], says: str, tmp_path: Path
):
    path = tmp_path / "horn.zarr"
    with pytest.raises(ReedboreError, match=says):
        atlas.run(fake_atlas.example(**changed), path)
    assert not path.exists()


def test_an_atlas_is_no_sweep_and_a_sweep_no_atlas(unbroken: Path, tmp_path: Path):
    store.prepare(tmp_path / "map.zarr", fake_cells.example())
    with pytest.raises(ReedboreError, match=r"map\.zarr holds a sweep, not an atlas"):
        atlas.read(tmp_path / "map.zarr")
    with pytest.raises(ReedboreError, match=r"horn\.zarr holds an atlas, not a sweep"):
        store.read_sweep(unbroken)


def spoil(file: Path, word: str, other: str = '"other"') -> None:
    text = file.read_text("utf-8")
    assert word in text
    file.write_text(text.replace(word, other), encoding="utf-8")


@pytest.mark.parametrize(
    "damage",
    [
        lambda path: (path / "note/c/0").unlink(),
        lambda path: (path / "depth/c/0").write_bytes(b"letters"),
        lambda path: spoil(path / "zarr.json", '"horn"'),
        lambda path: spoil(path / "voice/zarr.json", '"names"'),
    ],
)
def test_a_store_that_is_not_whole_says_so(
    damage: Callable[[Path], None], unbroken: Path, tmp_path: Path
):
    path = Path(shutil.copytree(unbroken, tmp_path / "horn.zarr"))
    damage(path)
    with pytest.raises(ReedboreError, match="is no whole atlas"):
        atlas.read(path)
