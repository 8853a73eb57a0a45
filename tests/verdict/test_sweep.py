"""Sweeps: the grid, the data set, and that nothing is lost however it is run."""

import itertools
import json
import logging
import math
import os
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
from dataclasses import replace
from functools import partial, partialmethod
from pathlib import Path
from typing import Any

import fake_cells
import numpy as np
import pytest
import xarray

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.kernel.executor import CPU, CpuLanes
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.acoustics.beforehand import Fitters
from reedbore.simulate.acoustics.reflection import waveguide
from reedbore.verdict.cells import Cell, judge_cells
from reedbore.verdict.state import State
from reedbore.verdict.sweep import plan, table
from reedbore.verdict.sweep import (
    run as sweep_run,
)
from reedbore.verdict.sweep import (
    store as sweep_store,
)
from reedbore.verdict.sweep.cells import (
    as_text,
    block_shape,
    blocks,
    cells,
    count_bores,
    judge_block,
    judge_blocks,
    setups_of,
)
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep
from reedbore.verdict.sweep.table import Task

TENOR = setup_for(load_horn("tenor-saxophone")).with_value("voice.source", "sine")
FINGERED = Fingered(116.0)
CHILD = Path(fake_cells.__file__)


def swept(*axes: Axis, **changed: Any) -> Sweep:
    return Sweep(setup=TENOR, fingered=FINGERED, axes=axes, **changed)


def run(path: Path, grid: Sweep | None = None, **options: Any) -> None:
    options = {"judge": fake_cells.judge, "seek": fake_cells.seek} | options
    sweep_run.run(grid or fake_cells.example(), path, **options)


def opened(path: Path) -> xarray.Dataset:
    return xarray.open_zarr(path, consolidated=False, chunks=None)


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sweep_store, "block_shape", fake_cells.small_blocks)


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Run the example in one go; all files of its store."""
    path = tmp_path_factory.mktemp("unbroken") / "map.zarr"
    subprocess.run([sys.executable, CHILD, path, "1/1"], check=True)
    return dict(fake_cells.files(path))


DEPTH = Axis(name="voice.depth", values=(0.1, 0.2))


# --- the grid ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seconds", [None, 1.0, 500.0])
@pytest.mark.parametrize("counts", [(7,), (256, 256), (1000, 3, 41), (3, 100_000)])
def test_blocks_hold_every_cell_once_and_are_not_too_large(
    counts: tuple[int, ...], seconds: float | None
):
    names = ("bore.length_mm", "voice.depth", "reed.opening_mm")
    axes = [Axis(name=name, values=tuple(range(n))) for name, n in zip(names, counts, strict=False)]
    block = block_shape(swept(*axes, seconds=seconds))
    # A large sweep has no more than about 64 blocks.
    assert math.prod(block) <= max(2048, math.prod(counts) // 64)
    seen = np.zeros(counts, np.int8)
    for _, part in blocks(counts, block):
        seen[part] += 1
    assert (seen == 1).all()


def test_a_block_has_few_different_bores():
    length = Axis(name="bore.length_mm", values=tuple(range(256)))
    depth = Axis(name="voice.depth", values=tuple(range(256)))
    assert block_shape(swept(length, depth)) == (2, 256)
    assert block_shape(swept(depth, length)) == (256, 2)


def test_cell_whose_values_do_not_go_together_has_failed():
    clarinet = setup_for(load_horn("clarinet-b-flat"))
    inside = clarinet.bore.holes[0].position * 1e3
    beyond = clarinet.bore.holes[-1].position * 1e3 + 1.0
    places = Axis(name="bore.holes.1.position_mm", values=(inside, beyond))
    grid = Sweep(setup=clarinet, fingered=FINGERED, axes=(places,))
    found = judge_block(grid, (slice(0, 2),), fake_cells.judge)
    assert [code_name(code) for code in found["state"]] == ["rough", "failed"]
    assert as_text(found["reason"][0]) == ""
    with pytest.raises(ReedboreError) as wrong:
        grid.cell([beyond])
    assert as_text(found["reason"][1]) == str(wrong.value)[:160]


@pytest.mark.parametrize("first", ["voice.depth", "breath.pressure_kpa", "bore.length_mm"])
@pytest.mark.parametrize("second", ["air.temperature_c", "bore.sections.1.exit_mm", "reed.lip"])
def test_many_cells_are_the_same_as_one_by_one(first: str, second: str):
    middle = {"bore.length_mm": 1200.0, "bore.sections.1.exit_mm": 80.0}
    ranges = [
        [middle.get(name, 0.7) * factor for factor in (1.0, 1.1, 1.23)] for name in (first, second)
    ]
    names = (SUNG, first, second)
    grid = swept(*(
        Axis(name=name, values=tuple(values))
        for name, values in zip(names, [[0.0, 33.3, 701.955], *ranges], strict=True)
    ))  # fmt: skip
    values = [axis.values for axis in grid.axes]
    one_by_one = [grid.cell(one) for one in itertools.product(*values)]
    assert list(cells(grid, values)) == one_by_one
    columns, there = setups_of(grid, values)
    assert there.all()
    assert list(columns) == one_by_one
    assert len(columns.kinds) == 9


def code_name(code: int) -> str:
    return State.of(code)


def test_rates_are_not_mixed():
    rates: list[set[float]] = []

    def judge(setups: Any, notes: Any, **options: Any) -> list[Cell]:
        rates.append({setup.time.rate for setup in setups})
        return fake_cells.judge(setups, notes, **options)

    grid = swept(DEPTH, Axis(name="time.rate_hz", values=(48000.0, 96000.0)))
    judge_block(grid, (slice(0, 2), slice(0, 2)), judge)
    assert rates == [{48000.0}, {96000.0}]


def test_small_sweep_of_the_real_judge_is_what_it_says_of_each_cell(tmp_path: Path):
    grid = swept(Axis(name=SUNG, values=(0.0, 1901.955)), DEPTH, seconds=0.5)
    run(tmp_path / "map.zarr", grid, judge=judge_cells)
    data = opened(tmp_path / "map.zarr")
    for k, m in np.ndindex(2, 2):
        setup = grid.cell([grid.axes[0].values[k], DEPTH.values[m]])
        alone = judge_cells([setup], [FINGERED.hz], seconds=0.5)[0]
        assert code_name(data.state.values[k, m]) == alone.state
        np.testing.assert_equal(data.played_hz.values[k, m], alone.played_hz)


# --- the data set --------------------------------------------------------------------------------


def test_xarray_opens_the_store_with_units_and_meanings(tmp_path: Path):
    run(tmp_path / "map.zarr")
    data = opened(tmp_path / "map.zarr")
    assert data.played_hz.dims == ("sung", "breath.pressure_kpa")
    assert data.sung.attrs["units"] == "cents"
    assert data["breath.pressure_kpa"].attrs["units"] == "kPa"
    assert data.drift_hz.attrs["units"] == "Hz"
    assert data.attrs["version"] == "0.1.0"
    assert data.attrs["narrowest_band_cents"] == pytest.approx(200.0)
    # The CF conventions, version 1.11, section 3.5: one word for each value, divided by blanks.
    about = data.state.attrs
    meanings = dict(zip(about["flag_values"], about["flag_meanings"].split(), strict=True))
    assert [meanings[code] for code in data.state.values[4]] == ["silent"] * 2 + ["drifting"] * 4
    at = data.sel({"sung": 1200.0, "breath.pressure_kpa": 3.0})
    assert (at.p.item(), at.q.item(), meanings[at.state.item()]) == (2, 1, "locked")


def test_store_gives_the_sweep_back_bit_for_bit(tmp_path: Path):
    grid = replace(fake_cells.example(1.5), title="Tenor saxophone", fingering="fork")
    sweep_store.prepare(tmp_path / "map.zarr", grid)
    assert sweep_store.read_sweep(tmp_path / "map.zarr") == grid


def test_counts_and_single_cells_are_read_back(tmp_path: Path):
    path = tmp_path / "map.zarr"
    sweep_store.prepare(path, fake_cells.example())
    assert table.count(path)[0] == {"not run": 54}
    run(path)
    states, locked = table.count(path)
    assert states.total() == 54
    assert states["silent"] == 18
    assert sum(locked.values()) == states["locked"] > 0
    assert table.cell_values(path, (7, 3))["state"] == "locked"
    assert table.locks(path) is None


@pytest.mark.usefixtures("small")
def test_edges_stand_beside_the_grid_and_can_be_added_later(tmp_path: Path):
    path = tmp_path / "map.zarr"
    run(path)
    run(path, edges=True)
    data = opened(path)
    assert data.edge_low_cents.dims == ("breath.pressure_kpa", "ratio")
    fifth = data.sel(ratio=1.5).sel({"breath.pressure_kpa": 3.0})
    assert (fifth.ratio_p.item(), fifth.ratio_q.item()) == (3, 2)
    assert fifth.edge_just_hz.item() == pytest.approx(1.5 * 116.0)
    assert fifth.edge_low_outside_cents < fifth.edge_low_cents < fifth.edge_high_cents
    assert data.edge_state.attrs["narrowest_band_cents"] == pytest.approx(0.2)
    words = data.edge_state.attrs["flag_meanings"].split()[1:]
    column = dict(zip(data.ratio.values, data.edge_state.values[3], strict=True))
    assert [words[column[r]] for r in (0.5, 1.0, 2.0, 8.0)] == [
        "elsewhere", "lock", "no_lock", "elsewhere"
    ]  # fmt: skip
    assert set(data.edge_state.values[0]) == {words.index("no_lock")}  # silent: nothing to lock
    assert (3, 2) in (table.locks(path) or [])


def test_edges_need_a_sung_axis(tmp_path: Path):
    with pytest.raises(ReedboreError, match=r"--edges finds where .* add --along sung"):
        run(tmp_path / "map.zarr", swept(DEPTH), edges=True)


# --- however it is run ---------------------------------------------------------------------------


def test_killed_three_times_and_resumed_is_the_same_to_the_last_bit(
    tmp_path: Path, unbroken: dict[str, bytes]
):
    path, kept = tmp_path / "map.zarr", [0]
    for moment in (97, 250, 400):
        child = subprocess.run([sys.executable, CHILD, path, "1/1", str(moment)], check=False)
        assert child.returncode == -signal.SIGKILL, "it was done before it could be killed"
        kept.append(len(dict(fake_cells.files(path))))
        assert dict(fake_cells.files(path)) != unbroken
    assert kept == sorted(kept)
    subprocess.run([sys.executable, CHILD, path, "1/1"], check=True)
    assert dict(fake_cells.files(path)) == unbroken


def test_parts_that_run_at_the_same_time_make_the_whole(tmp_path: Path, unbroken: dict[str, bytes]):
    path = tmp_path / "map.zarr"
    parts = [subprocess.Popen([sys.executable, CHILD, path, f"{k}/2"]) for k in (1, 2)]
    assert [part.wait() for part in parts] == [0, 0]
    assert dict(fake_cells.files(path)) == unbroken
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.ci
@pytest.mark.usefixtures("small")
def test_cluster_that_loses_a_worker_ends_with_the_same_store(
    tmp_path: Path, unbroken: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", f"{CHILD.parent}{os.pathsep}{CHILD.parents[2]}")
    path, options = (
        tmp_path / "map.zarr",
        {"dashboard_address": ":0", "silence_logs": logging.CRITICAL},
    )
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, **options) as cluster:
        workers = [worker.pid for worker in cluster.workers.values()]
        judged = itertools.count()
        keep = table.write

        def write(*things: Any) -> None:
            keep(*things)
            if next(judged) == 3:
                os.kill(workers[0], signal.SIGKILL)

        monkeypatch.setattr(table, "write", write)
        run(path, edges=True, cluster=cluster.scheduler_address)
        assert next(judged) == 36
    assert dict(fake_cells.files(path)) == unbroken


def test_processes_end_with_the_same_store(
    tmp_path: Path, small: None, unbroken: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(sweep_run, "block_shape", fake_cells.small_blocks)
    path = tmp_path / "map.zarr"
    run(path, edges=True, processes=2)
    assert dict(fake_cells.files(path)) == unbroken


@pytest.mark.ci
@pytest.mark.slow
def test_threads_and_processes_judge_as_one_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    # The simulation itself, one core each; bores fitted here, or by processes; and blocks in
    # groups, as a card is given them, by threads here or by processes.
    monkeypatch.setattr(sweep_run, "FITS_EACH", 1)
    for module in (sweep_run, sweep_store):
        monkeypatch.setattr(module, "block_shape", lambda _: (2, 1))
    lengths = Axis(name="bore.length_mm", values=(1000.0, 1010.0))
    grid = swept(Axis(name=SUNG, values=(0.0, 400.0, 700.0, 1200.0)), lengths, seconds=1.0)
    assert count_bores(grid) == 2
    two = CpuLanes(threads=2)
    ways = {
        "alone": (two, 1, 2, judge_cells),
        "threads": (two, 1, 1, None),
        "threads and fitters": (two, 1, 2, None),
        "processes": (two, 2, 1, None),
        "card": (fake_cells.Card(), 1, 2, None),
        "card and drivers": (fake_cells.Card(processes=2), 1, 2, None),
    }
    fitted = []
    monkeypatch.setattr(Fitters, "fit", partialmethod(fitted_as, Fitters.fit, fitted))
    for name, (given, processes, helpers, judge) in ways.items():
        monkeypatch.setattr(sweep_run, "machine", lambda *_, given=given: given)
        waveguide.cache_clear()
        fitted.clear()
        run(tmp_path / f"{name}.zarr", grid, processes=processes, helpers=helpers, judge=judge)
        assert len(fitted) == {"threads and fitters": 4, "card": 2}.get(name, 0)  # blocks, groups
    alone, *others = (dict(fake_cells.files(tmp_path / f"{name}.zarr")) for name in ways)
    assert others == [alone] * 5
    assert count_bores(swept(DEPTH)) == 1


def fitted_as(self: Fitters, fit: Any, fitted: list[Any], setups: Any) -> None:
    fit(self, setups)
    fitted.append(setups)


@pytest.mark.parametrize(
    ("given", "judge", "together"),
    [
        (CpuLanes(threads=2), None, False),
        (CpuLanes(threads=2), fake_cells.judge, False),
        (fake_cells.Card(), None, True),
        (fake_cells.Card(), fake_cells.judge, False),
    ],
)
def test_only_a_card_is_given_blocks_together_and_only_to_judge_them_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: Any, judge: Any, together: bool
):
    dealt = []
    monkeypatch.setattr(sweep_run, "machine", lambda *_: given)
    monkeypatch.setattr(sweep_run, "fill", lambda *words: dealt.append(words[3].func))
    run(tmp_path / "map.zarr", judge=judge)
    run(tmp_path / "map.zarr", judge=judge, cluster="tcp://one:1")
    assert dealt == [sweep_run._in_groups if together else sweep_run.deal_out, sweep_run.deal_out]


@pytest.mark.parametrize(
    ("on", "cluster", "chosen"),
    [("auto", None, "auto"), ("auto", "tcp://one:1", "cpu"), ("gpu", "tcp://one:1", "gpu")],
)
def test_workers_of_a_cluster_are_not_thought_to_have_the_card_that_stands_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, on: str, cluster: str | None, chosen: str
):
    asked = []
    monkeypatch.setattr(sweep_run, "machine", lambda *words: asked.append(words) or CPU)
    monkeypatch.setattr(sweep_run, "fill", lambda *_: None)
    run(tmp_path / "map.zarr", on=on, cluster=cluster)
    assert [words[0] for words in asked] == [chosen]


def test_a_card_that_is_not_there_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("reedbore.kernel.gpu.missing", lambda: "no graphics card can be used here")
    with pytest.raises(ReedboreError, match="no graphics card"):
        run(tmp_path / "map.zarr", on="gpu")
    assert not (tmp_path / "map.zarr").exists()


@pytest.mark.ci
@pytest.mark.slow(12)
@pytest.mark.usefixtures("small")
def test_scheduler_that_is_killed_is_named_and_its_sweep_goes_on(
    tmp_path: Path, unbroken: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
):
    pytest.importorskip("distributed")
    path, place = tmp_path / "map.zarr", tmp_path / "scheduler.json"
    known = os.environ | {"PYTHONPATH": f"{CHILD.parent}{os.pathsep}{CHILD.parents[2]}"}

    def begin(name: str, *words: str) -> subprocess.Popen[bytes]:
        module = f"distributed.cli.dask_{name}"
        options = ["--scheduler-file", str(place), "--no-dashboard", *words]
        return subprocess.Popen(
            [sys.executable, "-m", module, *options], env=known, stderr=subprocess.DEVNULL
        )

    scheduler = begin("scheduler", "--port", "0")
    worker = begin("worker", "--nthreads", "1", "--no-nanny", "--death-timeout", "600")
    try:
        while not place.exists() or not place.read_text():
            time.sleep(0.05)
        address = json.loads(place.read_text())["address"]
        judged, keep = itertools.count(), table.write

        def write(*things: Any) -> None:
            keep(*things)
            if next(judged) == 3:
                scheduler.kill()

        monkeypatch.setattr(table, "write", write)
        with pytest.raises(ReedboreError, match=f"cluster at {address} was lost; the same command"):
            run(path, edges=True, cluster=address)
    finally:
        for one in (scheduler, worker):
            one.kill()
            one.wait()
    assert 3 < next(judged) < 36
    run(path, edges=True)
    assert dict(fake_cells.files(path)) == unbroken


def test_cluster_that_is_not_there_is_named(tmp_path: Path):
    pytest.importorskip("distributed")
    with pytest.raises(ReedboreError, match=r"--cluster nowhere:x cannot be reached"):
        run(tmp_path / "map.zarr", cluster="nowhere:x")


@pytest.mark.usefixtures("small")
def test_block_without_a_number_is_not_done_again(tmp_path: Path):
    quiet = replace(fake_cells.example(), axes=(fake_cells.example().axes[0], replace(
        fake_cells.example().axes[1], values=(1.0, 1.5)
    )))  # fmt: skip
    before = next(fake_cells.calls)
    run(tmp_path / "map.zarr", quiet)
    after = next(fake_cells.calls)
    assert after - before == 1 + 10
    assert np.isnan(opened(tmp_path / "map.zarr").played_hz.values).all()
    run(tmp_path / "map.zarr", quiet)
    assert next(fake_cells.calls) == after + 1


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (
            {"setup": fake_cells.example().setup.with_value("reed.lip", 1.5)},
            "there reed.lip is 1.0, here 1.5",
        ),
        ({"axes": fake_cells.example().axes[:1]}, "along breath.pressure_kpa is 1 to 4 in 6, here"),
        ({"axes": fake_cells.example().axes[::-1]}, "the order of axes"),
        ({"seconds": 2.0}, "there seconds is None, here 2.0"),
        ({"fingered": Fingered(117.0)}, "the fingered note is 116.0 Hz, here 117.0 Hz"),
    ],
)
def test_another_sweep_is_refused_and_the_difference_named(
    tmp_path: Path, changed: dict[str, Any], says: str
):
    sweep_store.prepare(tmp_path / "map.zarr", fake_cells.example())
    with pytest.raises(ReedboreError, match=f"map.zarr holds another sweep: .*{says}"):
        sweep_store.prepare(tmp_path / "map.zarr", replace(fake_cells.example(), **changed))


def test_sweep_of_another_version_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(plan, "__version__", "0.0.9")
    run(tmp_path / "map.zarr", replace(fake_cells.example(), version="0.0.9"))
    monkeypatch.undo()
    with pytest.raises(ReedboreError, match=r"begun with reedbore 0.0.9, here is"):
        run(tmp_path / "map.zarr")


def as_begun_with(path: Path, model: str | None) -> None:
    """Let a store say that another state of the model began it, or nothing as old ones do."""
    about = json.loads((path / "zarr.json").read_text())
    versions = json.loads(about["attributes"]["versions"])
    del versions["model"]
    if model is not None:
        versions["model"] = model
    about["attributes"]["versions"] = json.dumps(versions)
    (path / "zarr.json").write_text(json.dumps(about))


@pytest.mark.parametrize(
    ("model", "says"),
    [
        ("0123456789abcdef", "was begun with another state of the model"),
        (None, "does not say which state of the model began it"),
    ],
)
def test_sweep_of_another_state_of_the_model_is_read_but_not_resumed(
    tmp_path: Path, model: str | None, says: str
):
    path = tmp_path / "map.zarr"
    run(path)
    before = table.count(path)
    as_begun_with(path, model)
    assert sweep_store.read_sweep(path) == replace(fake_cells.example(), model=model)
    assert table.count(path) == before
    assert table.cell_values(path, (0, 0))["state"] == "silent"
    with pytest.raises(ReedboreError, match=f"map.zarr: the sweep {says}: .*another name") as it:
        run(path)
    assert "\n" not in str(it.value)


def test_a_worker_with_another_state_of_the_model_judges_nothing():
    other = replace(fake_cells.example(), model="0123456789abcdef")
    with pytest.raises(ReedboreError, match="another state of the model"):
        judge_block(other, (slice(0, 1), slice(0, 1)), fake_cells.judge)


def test_what_is_swept_may_have_any_value_in_the_setup(tmp_path: Path):
    grid = fake_cells.example()
    sweep_store.prepare(tmp_path / "map.zarr", grid)
    moved = grid.setup.with_value("voice.frequency_hz", 99).with_value("breath.pressure_kpa", 4)
    sweep_store.prepare(tmp_path / "map.zarr", replace(grid, setup=moved))


@pytest.mark.parametrize("there", ["file", "folder", "zarr"])
def test_other_things_are_never_written_over(tmp_path: Path, there: str):
    path = tmp_path / "map.zarr"
    if there == "file":
        path.write_text("a letter")
    elif there == "folder":
        (path / "letters").mkdir(parents=True)
    else:
        xarray.Dataset({"a": ("x", np.arange(3))}).to_zarr(path, consolidated=False)
    before = list(fake_cells.files(tmp_path))
    with pytest.raises(ReedboreError, match=r"map.zarr"):
        run(path)
    assert list(fake_cells.files(tmp_path)) == before


def test_other_endings_are_refused(tmp_path: Path):
    with pytest.raises(
        ReedboreError, match=r"map.nc ends in '.nc'; a sweep or an atlas is kept as .zarr"
    ):
        run(tmp_path / "map.nc")


@pytest.mark.ci
@pytest.mark.usefixtures("small")
def test_memory_does_not_grow_with_the_number_of_cells(tmp_path: Path):
    peaks = []
    for count in (6, 48):
        notes = Axis(name=SUNG, values=tuple(range(count)))
        tracemalloc.start()
        run(tmp_path / f"{count}.zarr", swept(notes, DEPTH))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        shutil.rmtree(tmp_path / f"{count}.zarr")
    assert peaks[1] < peaks[0] + 400_000


# --- blocks side by side --------------------------------------------------------------------------


def tasks_of(count: int) -> list[Task]:
    return [Task("cells", (k,), (slice(k, k + 1),)) for k in range(count)]


def test_blocks_that_are_judged_together_are_what_each_is_alone():
    grid = fake_cells.example(1.0)
    some = [block for _, block in blocks(grid.shape, (4, 3))]
    together = judge_blocks(grid, some, fake_cells.judge)
    for block, found in zip(some, together, strict=True):
        alone = judge_block(grid, block, fake_cells.judge)
        for name, values in alone.items():
            np.testing.assert_array_equal(found[name], values)


def test_threads_do_every_block_once_and_tell_how_far_they_are():
    told: list[int] = []

    def work(block: Any, progress: Any) -> dict[str, np.ndarray]:
        progress(1.0)
        return {"state": np.array([block[0].start])}

    deal = partial(sweep_run.deal_out, cluster=None, processes=1, threads=3)
    done = list(deal(tasks_of(7), work, told.append))
    found = [(task.place, values["state"].tolist()) for task, values in done]
    assert sorted(found) == [((k,), [k]) for k in range(7)]
    assert told
    assert 0 <= min(told) <= max(told) <= 4


def test_one_block_that_goes_wrong_ends_the_others():
    def work(block: Any, progress: Any) -> dict[str, np.ndarray]:
        if block[0].start == 1:
            raise ReedboreError("there is no breath")
        while True:
            stopping.check()
            time.sleep(0.001)

    deal = partial(sweep_run.deal_out, cluster=None, processes=1, threads=3)
    with pytest.raises(ReedboreError, match="no breath"):
        list(deal(tasks_of(5), work, lambda _: None))
