"""How much memory a sweep of a million cells takes to be drawn, and how large its page is.

Run by `.ci/run bench` or `python tests/benchmarks/limits.py [tiny]`. The store is made up: 1000
values of depth against 1000 of the sung note, the states in bands about each simple ratio.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from reedbore.model.presets import load_horn, setup_for
from reedbore.verdict.state import State
from reedbore.verdict.sweep import plan, store, table
from reedbore.verdict.sweep.cells import blank
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

SIDE = 30 if "tiny" in sys.argv[1:] else 1000
HZ = 116.5


def made(path: Path) -> None:
    """Write a store with a wedge about each ratio, as wide as the depth."""
    horn = load_horn("tenor-saxophone")
    axes = (
        Axis(name="voice.depth", values=tuple(np.linspace(0.0, 0.3, SIDE).tolist())),
        Axis(name=SUNG, values=tuple(np.linspace(0.0, 2400.0, SIDE).tolist())),
    )
    setup = setup_for(horn)
    sweep = Sweep(setup=setup, fingered=Fingered(HZ), axes=axes, seconds=1.0, title=horn.title)
    store.prepare(path, sweep)
    ratios = np.array([(p, q) for p in range(1, 9) for q in range(1, 9) if np.gcd(p, q) == 1])
    just = 1200.0 * np.log2(ratios[:, 0] / ratios[:, 1])
    for task, _ in table.tasks(path, "cells"):
        depth, sung = np.meshgrid(*(
            np.array(axis.values[part]) for axis, part in zip(axes, task.block, strict=True)
        ), indexing="ij")  # fmt: skip
        near = np.abs(sung[..., np.newaxis] - just).argmin(axis=-1)
        off = np.abs(sung - just[near])
        p, q = ratios[near].transpose(2, 0, 1)
        values = blank(plan.VARIABLES, depth.shape)
        values["p"][:], values["q"][:] = p, q
        values["sung_hz"][:] = HZ * 2.0 ** (sung / 1200.0)
        values["played_hz"][:], values["played_cents"][:] = HZ, 0.0
        values["drift_hz"][:] = p * HZ - q * values["sung_hz"]
        rough = np.where(off < 20.0, State.DRIFTING.code, State.ROUGH.code)
        values["state"][:] = np.where(off < 30.0 * depth, State.LOCKED.code, rough)
        table.write(path, task, values)


def drawn(path: Path, output: Path) -> None:
    """Draw it by the command, as a process of its own, and tell what that took."""
    start = time.perf_counter()
    words = [sys.executable, "-m", "reedbore", "picture", str(path), "-o", str(output)]
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, "
        "stdout=subprocess.DEVNULL); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words], check=True, capture_output=True, text=True
    )
    took, memory = time.perf_counter() - start, int(done.stdout) / 1024.0
    size = output.stat().st_size / 1e3
    print(f"{output.suffix[1:]:<5}{memory:8.0f} MiB at most{took:8.1f} s{size:9.0f} kB")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.zarr"
        made(path)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"{SIDE * SIDE:,} cells; writing them took at most {memory:.0f} MiB")
        for kind in ("png", "html"):
            drawn(path, Path(folder) / f"map.{kind}")


if __name__ == "__main__":
    main()
