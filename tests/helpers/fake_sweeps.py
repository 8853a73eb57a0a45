"""Sweeps made with the real writer, by a judge whose locks are known beforehand."""

from pathlib import Path

import numpy as np

from reedbore.measures.locking import Edge
from reedbore.model import presets
from reedbore.notes import cents, choose_ratio
from reedbore.verdict import lock_edges
from reedbore.verdict.cells import Cell
from reedbore.verdict.state import State
from reedbore.verdict.sweep import run
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

HZ = 120.0
SUNG_AXIS = Axis(name=SUNG, values=tuple(np.linspace(0.0, 1200.0, 61).tolist()))
DEPTHS = Axis(name="voice.depth", values=(0.1, 0.2, 0.4))
BREATHS = Axis(name="breath.pressure_kpa", values=(1.0, 2.0, 3.0, 4.0))
OPENINGS = Axis(name="reed.opening_mm", values=(0.5, 0.7, 0.98, 1.372))


def width(setup, p: int, q: int) -> float:
    return 300.0 * setup.voice.depth / (p * q)


def cell(setup, hz: float) -> Cell:
    """A horn in tune whose locks are as wide as `width` says, silent at little breath."""
    sung = setup.voice.frequency
    if setup.voice.source == "off":
        return Cell(State.UNSUNG, played_hz=hz, played_cents=0.0, period=1, voice_off_hz=hz)
    if setup.breath.pressure < 1500.0:
        return Cell(State.SILENT, sung_hz=sung)
    near = choose_ratio(sung / hz, 20.0, 8)
    if near is None:
        return Cell(State.ROUGH, sung_hz=sung, played_hz=hz, played_cents=0.0)
    p, q = near
    off = abs(cents(sung, hz * p / q))
    if off < 0.5 * width(setup, p, q):
        played = sung * q / p
        return Cell(
            State.LOCKED, None, p, q, sung, played, cents(played, hz), False, played / q, 0.0
        )
    drift = p * hz - q * sung
    state = State.UNDECIDED if off < width(setup, p, q) else State.DRIFTING
    return Cell(state, None, p, q, sung, hz, 0.0, False, hz / q, drift)


def judge(setups, fingered, *, seconds=None, progress=None) -> list[Cell]:
    return [cell(setup, hz) for setup, hz in zip(setups, fingered, strict=True)]


def seek(setup, voice_off_hz, ratios, progress=None) -> list[lock_edges.Sought]:
    halves = [0.5 * width(setup, *ratio) for ratio in ratios]
    return [
        lock_edges.Sought(
            (Edge(-half, -half - 0.1), Edge(half, half + 0.1)) if half > 0.5 else None, (0.0, 0.0)
        )
        for half in halves
    ]


def sweep_of(*axes: Axis) -> Sweep:
    horn = presets.load_horn("tenor-saxophone")
    setup = presets.setup_for(horn).with_value("voice.frequency_hz", 1.5 * HZ)
    setup = setup.with_value("breath.pressure_kpa", 3.0)
    return Sweep(setup=setup, fingered=Fingered(HZ), axes=axes, horn=horn.name, title=horn.title)


def store(folder: Path, *axes: Axis, edges: bool = False, judge=judge) -> Path:
    path = folder / "sweep.zarr"
    run.run(sweep_of(*axes), path, edges=edges, judge=judge, seek=seek)
    return path
