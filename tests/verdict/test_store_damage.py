"""What is lost or damaged in a store of a sweep is found: done again, or named in one sentence."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import fake_cells
import numpy as np
import pytest
import xarray
import zarr

from reedbore import files
from reedbore.cli.work import sweep as sweep_work
from reedbore.errors import ReedboreError
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.report import maps, maps_data
from reedbore.verdict.cells import Cell
from reedbore.verdict.lock_edges import Sought
from reedbore.verdict.state import EdgeState, Reason, State
from reedbore.verdict.sweep import run as sweep_run
from reedbore.verdict.sweep import table
from reedbore.verdict.sweep.cells import as_text
from reedbore.verdict.sweep.plan import LATER, REASONS, VARIABLES, Axis, Fingered, Sweep
from reedbore.verdict.sweep.run import RATIOS


def run(path: Path, **options: Any) -> None:
    known = {"judge": fake_cells.judge, "seek": fake_cells.seek, "edges": True}
    sweep_run.run(fake_cells.example(), path, **(known | options))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "map.zarr"
    run(path)
    return path


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "map.zarr"))


def cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-7])


def flip(file: Path) -> None:
    code = bytearray(file.read_bytes())
    code[len(code) // 2] ^= 1
    file.write_bytes(code)


def of_wrong_type(folder: Path) -> None:
    group = zarr.open_group(folder.parent, mode="r+")
    group.create_array(folder.name, data=np.zeros((9, 6)), overwrite=True)


DAMAGES: dict[str, tuple[str, Callable[[Path], None]]] = {
    "chunk lost": ("played_hz/c/0/0", Path.unlink),
    "chunk of nothing but fill values lost": ("p/c/0/0", Path.unlink),
    "chunk empty": ("drift_hz/c/0/0", lambda file: file.write_bytes(b"") and None),
    "chunk cut short": ("q/c/0/0", cut),
    "chunk garbage": ("sung_hz/c/0/0", lambda file: file.write_bytes(b"letters") and None),
    "one bit of a mark": ("state/c/0/0", flip),
    "description cut short": ("played_cents/zarr.json", cut),
    "description of the mark cut short": ("state/zarr.json", cut),
    "array lost": ("jumped", shutil.rmtree),
    "array of another type": ("p", of_wrong_type),
    "edges lost": ("edge_low_cents/c/3/0", Path.unlink),
    "ratios garbage": ("ratio_p/c/0", lambda file: file.write_bytes(b"letters") and None),
}


def read_all(store: Path) -> None:
    found = maps_data.read(store)
    assert all(found.values[name].shape[:2] == (9, 6) for name in VARIABLES)


@pytest.mark.parametrize("what", DAMAGES)
def test_damage_is_named_by_who_reads_and_made_good_by_the_same_sweep(
    store: Path, made: Path, what: str
):
    name, damage = DAMAGES[what]
    damage(store / name)
    with pytest.raises(ReedboreError, match="the same command makes it again") as told:
        read_all(store)
    assert f"map.zarr: {name.partition('/')[0]}/" in str(told.value)
    assert "\n" not in str(told.value)
    run(store)
    assert dict(fake_cells.files(store)) == dict(fake_cells.files(made))


def test_damaged_cell_is_not_rendered(store: Path):
    assert table.cell_values(store, (4, 5))["state"] == "drifting"
    (store / "played_hz" / "c" / "0" / "0").unlink()
    with pytest.raises(ReedboreError, match=r"map.zarr: played_hz/c/0/0 is lost"):
        table.cell_values(store, (4, 5))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("zarr.json", "map.zarr holds no sweep and no atlas: zarr.json is damaged"),
        ("sung/c/0", "map.zarr is no whole sweep .*sung/c/0 is damaged"),
    ],
)
def test_store_that_does_not_say_what_it_is_is_refused_in_one_sentence(
    store: Path, name: str, says: str
):
    cut(store / name)
    for attempt in (run, maps_data.read):
        with pytest.raises(ReedboreError, match=says) as told:
            attempt(store)
        assert "\n" not in str(told.value)


def marks(path: Path) -> Iterator[Path]:
    return (path / "state" / "c").rglob("*")


def test_mark_is_written_only_once_all_else_is_on_the_disk(
    tmp_path: Path, made: Path, monkeypatch: pytest.MonkeyPatch
):
    path, synced = tmp_path / "map.zarr", []
    real = os.fsync

    def stopped(held: int) -> None:
        synced.append(os.fstat(held).st_ino)
        real(held)
        if len(synced) == 2 * (len(VARIABLES) - 1):  # each file, and the folder that it is in
            raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stopped)
    with pytest.raises(KeyboardInterrupt):
        run(path)
    values = {file for file in path.glob("*/c/0/**/0") if file.is_file()}
    assert {file.relative_to(path).parts[0] for file in values} == VARIABLES.keys() - {"state"}
    assert set(synced) == {place.stat().st_ino for file in values for place in (file, file.parent)}
    assert not list(marks(path))
    monkeypatch.undo()
    run(path)
    assert dict(fake_cells.files(path)) == dict(fake_cells.files(made))


def test_what_dead_runs_left_goes_and_what_others_do_stays(tmp_path: Path):
    path = tmp_path / "map.zarr"
    code = "import sys, pathlib, reedbore.files as f; print(f.beside(pathlib.Path(sys.argv[1])))"
    child = [sys.executable, "-c", code, path]
    dead = subprocess.run(child, capture_output=True, text=True, check=True).stdout.strip()
    strange = tmp_path / ".map.zarr.00000000-1-12345678.part"
    forgotten = tmp_path / ".map.zarr.0123456789abcdef.part"
    ours = files.beside(path)
    for part in (Path(dead), strange, forgotten, ours):
        part.mkdir()
        (part / "zarr.json").write_text("{}")
    long_ago = time.time() - 2.0 * files.FORGOTTEN_S
    os.utime(forgotten, (long_ago, long_ago))
    run(path)
    assert set(tmp_path.iterdir()) == {path, strange, ours}


# --- why cells failed ----------------------------------------------------------------------------

BROKEN = "the calculation broke down (OverflowError: cannot convert float infinity to integer)"


def failing(setups: Any, notes: Any, **options: Any) -> list[Cell]:
    found = fake_cells.judge(setups, notes, **options)
    return [
        Cell(State.FAILED, BROKEN) if setup.breath.pressure == 2500.0 else one
        for setup, one in zip(setups, found, strict=True)
    ]


def test_why_cells_failed_is_kept_and_told(tmp_path: Path):
    path = tmp_path / "map.zarr"
    run(path, judge=failing, edges=False)
    assert table.failures(path) == {BROKEN: 9}
    assert table.cell_values(path, (0, 2))["reason"] == BROKEN
    assert table.cell_values(path, (0, 3))["reason"] is None
    said = maps.unfinished(maps_data.read(path))
    assert said.startswith("9 of 54 cells failed: the calculation broke down (OverflowError: ")
    data = xarray.open_zarr(path, consolidated=False, chunks=None)
    assert data.reason.dims[-1] == "letter"
    cell = sweep_work.read_cell({}, path, ["sung=-200c", "breath.pressure_kpa=2.5"])
    assert cell.warnings == (f"the sweep found here: failed ({BROKEN})",)
    assert cell.typed.cell["reason"] == BROKEN


def test_why_cells_failed_stands_under_the_sum(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(sweep_run, "run", partial(sweep_run.run, judge=failing))
    path, options = tmp_path / "map.zarr", {"edges": False, "part": (1, 1), "cluster": None}
    document = sweep_work.run(fake_cells.example(), path, **options)
    assert document["failed"] == {BROKEN: 9}
    assert f"\n  failed: {BROKEN} (9)\n" in sweep_work.text(document)


def test_long_reasons_are_cut_between_letters(tmp_path: Path):
    path = tmp_path / "map.zarr"
    run(path, judge=lambda setups, _, **__: [Cell(State.FAILED, "ß" * 99 + "!")] * len(setups))
    assert table.failures(path) == {"ß" * 80: 54}


# --- why edges failed ----------------------------------------------------------------------------


def breaking(setup: Setup, hz: float, ratios: Any, **options: Any) -> list[Sought | None]:
    """Search, and break down at 5/2; at 3/2 the run diverges; nobody sings 2/1 at 4 kPa."""
    if (5, 2) in ratios:
        raise OverflowError("cannot convert float infinity to integer")
    found = fake_cells.seek(setup, hz, ratios, progress=options["progress"])
    unsung = Sought(None, (0.0, 0.0), "the folds do not swing")
    odd = {(3, 2): None, **({(2, 1): unsung} if setup.breath.pressure == 4000.0 else {})}
    return [odd.get(ratio, one) for ratio, one in zip(ratios, found, strict=True)]


def test_why_edges_failed_is_kept_and_told(tmp_path: Path):
    path, whole = tmp_path / "map.zarr", tmp_path / "whole.zarr"
    run(path, seek=breaking)
    run(whole)
    # Four breaths at which the horn sounds, and 5/2 lies beyond the sung axis: 1400 cents.
    assert table.failures(path, "edges") == {Reason.DIVERGED: 4}
    states, others = (table.read_values(one, "edges", ["edge_state"])["edge_state"]
                      for one in (path, whole))  # fmt: skip
    changed = np.argwhere(states != others)
    at = {RATIOS[k] for _, k in changed.tolist()}
    assert at == {(3, 2), (2, 1)}
    reason = table.read_values(path, "edges", ["edge_reason"])["edge_reason"]
    assert as_text(reason[-1, RATIOS.index((2, 1))]) == "the folds do not swing"
    said = maps.unfinished(maps_data.read(path))
    assert said == f"4 of {states.size} searches for edges failed: the simulation diverged."
    assert maps.unfinished(maps_data.read(whole)) == ""


def test_a_search_that_breaks_down_fails_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    wide = replace(fake_cells.example(), axes=(
        Axis(name="sung", values=(-200.0, 600.0, 1700.0)), fake_cells.example().axes[1],
    ))  # fmt: skip
    monkeypatch.setattr(sweep_run, "run", partial(sweep_run.run, judge=fake_cells.judge))
    monkeypatch.setattr(sweep_run, "sought", breaking)
    path, options = tmp_path / "map.zarr", {"edges": True, "part": (1, 1), "cluster": None}
    document = sweep_work.run(wide, path, **options)
    assert document["edges_failed"] == {BROKEN: 4, Reason.DIVERGED: 4}
    text = sweep_work.text(document)
    assert f"\n  failed: {BROKEN} (4 searches)\n" in text
    assert "7/4" not in document["locked"]
    assert {"1/1", "7/4"} <= set(document["edges"])
    said = maps.unfinished(maps_data.read(path))
    assert said.endswith("failed: the simulation diverged, or for 1 other reason.")


def test_edges_of_a_horn_that_breaks_down_or_cannot_be_say_so(tmp_path: Path):
    path = tmp_path / "map.zarr"
    run(path, judge=failing)
    assert table.failures(path, "edges") == {BROKEN: len(RATIOS)}
    clarinet = setup_for(load_horn("clarinet-b-flat"))
    beyond = clarinet.bore.holes[-1].position * 1e3 + 1.0
    places = Axis(name="bore.holes.1.position_mm", values=(beyond, beyond + 1.0))
    sung = Axis(name="sung", values=(0.0, 100.0))
    grid = Sweep(setup=clarinet, fingered=Fingered(fake_cells.HZ), axes=(sung, places))
    found = sweep_run.find_edges(
        grid, (slice(0, 1), slice(0, len(RATIOS))), judge=fake_cells.judge, seek=fake_cells.seek
    )
    assert set(found["edge_state"].flat) == {EdgeState.FAILED.code}
    with pytest.raises(ReedboreError) as wrong:
        grid.cell([None, beyond])
    assert as_text(found["edge_reason"][0, 0]) == str(wrong.value)[:160]


# --- old stores ----------------------------------------------------------------------------------


def as_of_old(path: Path) -> None:
    """Write the arrays as they once were: without checksums, and no part of only fill values."""
    group = zarr.open_group(path, mode="r+")
    for name, array in list(group.arrays()):
        values, about = array[...], dict(array.attrs)
        layout = {"chunks": array.chunks, "dimension_names": array.metadata.dimension_names}
        new = group.create_array(
            name, shape=array.shape, dtype=array.dtype, fill_value=array.fill_value,
            attributes=about, overwrite=True, **layout
        )  # fmt: skip
        new[...] = values
    for name in (*LATER, REASONS["edges"]):
        del group[name]


def test_old_stores_are_read(store: Path, made: Path):
    as_of_old(store)
    old, new = maps_data.read(store), maps_data.read(made)
    for name, values in new.values.items():
        np.testing.assert_array_equal(old.values[name], values)
    assert old.edges is not None
    assert new.edges is not None
    np.testing.assert_array_equal(old.edges.low, new.edges.low)
    assert table.count(store) == table.count(made)
    one, other = (table.cell_values(path, (4, 5)) for path in (store, made))
    assert one.keys() == other.keys()
    assert {name: one[name] for name in one if name not in LATER} == {
        name: other[name] for name in other if name not in LATER
    }
    assert one["reason"] is None
    assert np.isnan([one["breath_kpa"], one["lungs_kpa"]]).all()
