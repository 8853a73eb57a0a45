"""Every benchmark runs, so small that its numbers mean nothing: a script that nobody runs rots.

What they print is for people who look at it; nothing here depends on how long anything takes.
"""

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "benchmarks"
SCRIPTS = sorted(path.stem for path in FOLDER.glob("*.py"))
SECONDS = {"page": 80, "maps": 35, "passages": 30, "voices": 30, "speed": 25, "faults": 25}
"""Of those that take longest."""


def run(name: str, folder: Path) -> str:
    """Run a benchmark in its tiny size, as a process of its own; what it printed."""
    command = [sys.executable, FOLDER / f"{name}.py", "tiny"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.ci
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow(SECONDS.get(name, 10)))
        for name in SCRIPTS
        if name != "lanes"
    ],
)
def test_benchmark_runs(name: str, tmp_path: Path) -> None:
    assert run(name, tmp_path)


@pytest.mark.ci
@pytest.mark.compiler
def test_lanes_are_measured_against_their_rivals_in_c(tmp_path: Path) -> None:
    # The script itself compares what ours and theirs play.
    told = run("lanes", tmp_path)
    if "gcc is not installed" in told:
        pytest.skip("there is no gcc; `.ci/run install` installs it")
    assert {"scalar C", "lanes in C"} <= {line[2:38].strip() for line in told.splitlines()}


def test_every_benchmark_says_how_it_is_run() -> None:
    for name in SCRIPTS:
        text = (FOLDER / f"{name}.py").read_text(encoding="utf-8")
        assert f"python tests/benchmarks/{name}.py" in text.partition('"""\n\n')[0]
        assert "tiny" in text.partition('"""\n\n')[2]
