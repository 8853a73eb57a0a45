"""The compile cache: an edit of any source makes a new one."""

import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest

from reedbore.kernel import compiler


@pytest.fixture
def sources(tmp_path):
    """Two sources with one byte in each."""
    paths = [tmp_path / "step.py", tmp_path / "reed.py"]
    for path in paths:
        path.write_bytes(b"a")
    return paths


@pytest.mark.parametrize("edited", [0, 1])
def test_changed_byte_in_any_source_makes_a_new_cache(sources, edited):
    before = compiler.cache_folder(sources)
    sources[edited].write_bytes(b"b")
    assert compiler.cache_folder(sources) != before


def test_same_sources_find_their_cache_again(sources):
    before = compiler.cache_folder(sources)
    sources[0].write_bytes(b"b")
    sources[0].write_bytes(b"a")
    assert compiler.cache_folder(sources) == before


def test_cache_lies_in_the_users_cache_folder(sources, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    assert compiler.cache_folder(sources).is_relative_to(tmp_path / "cache" / "reedbore")


def test_every_file_of_the_kernel_and_the_law_of_the_reed_count():
    # What `step` compiles: its own package and the formulas of the reed.
    names = {path.relative_to(compiler.PACKAGE) for path in compiler.compiled_sources()}
    kernel = {Path("kernel") / path.name for path in Path(compiler.__file__).parent.glob("*.py")}
    assert names == kernel | {Path("physics/reed.py")}
    assert len(kernel) >= 6


def there_and_back(small):
    return (1.0 + small) - 1.0


def test_compiler_does_not_reorder_sums():
    # One-take and many-lane runs agree only if it does not; reordered, 1e-20 would be left.
    assert compiler.compiled(there_and_back)(1e-20) == 0.0


@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="nothing is compiled")
def test_a_second_process_finds_the_compiled_loop(tmp_path):
    code = (
        "import numpy as np\n"
        "from reedbore.kernel import single\n"
        "from reedbore.simulate.acoustics import numbers as parameters\n"
        "from reedbore.model.presets import load_horn, setup_for\n"
        "numbers = parameters.numbers_of(setup_for(load_horn('plain-cylinder')))\n"
        "single.run(numbers, np.zeros(10))\n"
        "print(sum(single._compiled_run(False, False, False).stats.cache_hits.values()))\n"
    )
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    environment.pop("NUMBA_CACHE_DIR", None)
    command = [sys.executable, "-c", code]
    hits = [
        subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    ]
    assert hits == ["0\n", "1\n"]
