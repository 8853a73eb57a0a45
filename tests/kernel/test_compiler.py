"""The compile cache: an edit of any source makes a new one."""

import ast
import inspect
import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest

from reedbore.files import PACKAGE, cache_folder
from reedbore.kernel import compiler, lanes, passage, single, valve


@pytest.fixture
def sources(tmp_path):
    """Two sources with one byte in each."""
    paths = [tmp_path / "step.py", tmp_path / "reed.py"]
    for path in paths:
        path.write_bytes(b"a")
    return paths


@pytest.mark.parametrize("edited", [0, 1])
def test_changed_byte_in_any_source_makes_a_new_cache(sources, edited):
    before = cache_folder(sources, "compiled")
    sources[edited].write_bytes(b"b")
    assert cache_folder(sources, "compiled") != before


def test_same_sources_find_their_cache_again(sources):
    before = cache_folder(sources, "compiled")
    sources[0].write_bytes(b"b")
    sources[0].write_bytes(b"a")
    assert cache_folder(sources, "compiled") == before


def test_cache_lies_in_the_users_cache_folder(sources, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    assert cache_folder(sources, "compiled").is_relative_to(tmp_path / "cache" / "reedbore")


@pytest.mark.parametrize("home", ["/dev/null/no", None])
def test_where_nothing_can_be_kept_it_runs_and_says_so_once(tmp_path, home):
    (tmp_path / "own.py").write_text(
        "from reedbore.kernel.compiler import compiled\n"
        "@compiled\ndef twice(x):\n    return 2 * x\n"
        "@compiled\ndef thrice(x):\n    return 3 * x\n"
    )
    environment = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    environment |= {"PYTHONPATH": f"{tmp_path}:{PACKAGE.parent}", "XDG_CACHE_HOME": home or ""}
    (tmp_path / "nobody.py").write_text(
        "import pathlib\ndef home(_):\n    raise RuntimeError\n"
        "pathlib.Path.home = classmethod(home)\n"
    )
    first = "import nobody; " if home is None else ""
    code = f"{first}import own; print(own.twice(2) + own.thrice(1))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    assert done.stdout == "7\n"
    (line,) = done.stderr.splitlines()
    assert line.startswith("compiled code cannot be kept in /dev/null/")
    assert line.endswith("(not a directory), so each start compiles it again")


OWN = """
import sys
import numpy as np
from reedbore.kernel.compiler import compiled

def whole(x):
    total = 0.0
    for one in x:
        total += np.cos(one) + np.interp(one, np.arange(3.0), np.ones(3))
    return total

loop = compiled(whole)
value, hits = loop(np.arange(4.0)), sum(loop.stats.cache_hits.values())
print(value, hits, "numba.cpython.listobj" in sys.modules)
print(compiled(lambda x: np.dot(x, x) + 1.0)(np.arange(3.0)))
"""


@pytest.mark.ci
@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="nothing is compiled")
def test_kept_code_runs_without_what_only_compiling_needs(tmp_path):
    # numba loads all that it knows to compile before it looks whether there is anything to
    # compile; what is then compiled after all, beside kept code, finds it.
    (tmp_path / "reedbore_own.py").write_text(OWN)
    environment = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    environment |= {"PYTHONPATH": f"{tmp_path}:{PACKAGE.parent}"}
    environment |= {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    command = [sys.executable, "-c", "import reedbore_own"]
    told = [
        subprocess.run(
            command, capture_output=True, text=True, env=environment, check=True
        ).stdout.splitlines()
        for _ in range(2)
    ]
    (cold, other), (warm, again) = told
    assert other == again
    value, hits, loaded = cold.split()
    assert (hits, loaded) == ("0", "True")
    assert warm.split() == [value, "1", "False"]


KERNELS = {
    single: ("_loop",),
    passage: ("_loop", "_listen"),
    lanes: ("move_lanes",),
    valve: [law.__name__ for law in valve.VALVES.values()],
}
"""Texts that are compiled, and what may stand in place of a name in them."""


def reached(function, found):
    """All functions that a compiled function is made of."""
    if function not in found:
        found.add(function)
        for other in compiler.called(function, {}).values():
            reached(other, found)
    return found


def origins(function):
    """Files of the package from which the names come that a function reads: its own, imported."""
    path = Path(inspect.getfile(function))
    read = function.__code__.co_names
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("reedbore"):
            for alias in node.names:
                if (alias.asname or alias.name) in read:
                    module = f"{node.module}.{alias.name}"
                    yield source_of(module) or source_of(node.module)
    yield path


def source_of(module):
    path = PACKAGE.parent / Path(*module.split(".")).with_suffix(".py")
    return path if path.is_file() else None


def test_every_file_that_compiled_code_is_made_from_counts():
    # Trap: a constant or a formula that a loop reads out of a file that is not hashed would leave
    # the old machine code running after an edit. Followed name by name from the loops themselves.
    functions = set()
    for module, names in KERNELS.items():
        for name in names:
            reached(getattr(module, name), functions)
    files = {path for function in functions for path in origins(function)}
    assert {path.stem for path in files} >= {"rows", "step", "valve", "lanes", "reed"}
    assert files <= set(compiler.compiled_sources())


def test_every_file_of_the_kernel_counts():
    kernel = set(Path(compiler.__file__).parent.rglob("*.py"))
    formulas = {PACKAGE / "physics" / f"{name}.py" for name in ("airway_cells", "folds", "reed")}
    assert set(compiler.compiled_sources()) == kernel | formulas


def test_a_loop_is_made_with_what_is_chosen_in_place_of_a_name():
    made = compiler.assembled(valve.follow_pressure, "followed", compiler.plain)
    assert made is not valve.follow_pressure
    assert made.__name__ == "followed"
    ours = compiler.assembled(single._loop, "coupled", compiler.plain, COUPLED=True)
    steps = compiler.called(ours, {})
    assert steps["from_player"].__globals__["COUPLED"] is True
    assert single._loop.__globals__["COUPLED"] is False


def test_a_chosen_name_that_nothing_reads_is_a_mistake():
    with pytest.raises(NameError, match="_loop reads no COUPLING"):
        compiler.assembled(single._loop, "mistaken", compiler.plain, COUPLING=True)


def there_and_back(small):
    return (1.0 + small) - 1.0


def test_compiler_does_not_reorder_sums():
    # One-take and many-lane runs agree only if it does not; reordered, 1e-20 would be left.
    assert compiler.compiled(there_and_back)(1e-20) == 0.0


@pytest.mark.ci
@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="nothing is compiled")
def test_a_second_process_finds_all_compiled_loops():
    # In the cache of all tests, which need these loops anyway.
    command = [sys.executable, "-c", LOOPS]
    first, second = (
        subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        for _ in range(2)
    )
    assert [sum(map(int, loop.split("+"))) for loop in first] == [1] * 4
    assert second == ["1+0"] * 4


LOOPS = """
import numpy as np
from reedbore.kernel import executor, passage, single
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.batch import Lanes

setup = setup_for(load_horn("plain-cylinder"))
numbers = numbers_of(setup)
single.run(numbers, np.zeros(10))
passage.play([numbers], [passage.Change(0, 0, 0)], np.zeros(10))
some = Lanes([setup], 150.0)
some.advance(0.02)
kind = some._running.groups[0].kind
loops = [single.compiled_run("mass", False, False, False, False)]
loops += passage.compiled_loops("mass", False, False, False)
loops.append(executor.compiled_loop(kind, 1))
for loop in loops:
    print(sum(loop.stats.cache_hits.values()), sum(loop.stats.cache_misses.values()), sep="+")
"""
