"""Mutants: changes of one sign, number or word that some test should notice.

A script: ``python tests/helpers/mutants.py 40`` draws so many, ``40 7`` others. Each is made in a
copy of the sources, and tried by the tests of its room, those of its own file first, until one
fails. Which rooms, by which tests, is in pyproject.toml. One that survives is printed as it is.
"""

import contextlib
import itertools
import os
import random
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from cosmic_ray.commands import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.work_db import use_db
from cosmic_ray.work_item import TestOutcome

ROOT = Path(__file__).parents[2]
PATIENCE = 3.0
"""A run that takes so many times as long as that of the sources themselves is one that fails."""


HEADS = ("++", "--")
"""Begin, after their first sign, the lines of a diff that name its files."""


class Room(NamedTuple):
    """One of the tables ``tool.mutants`` of pyproject.toml."""

    sources: list[str]
    tests: list[str]
    settings: list[str]
    """Of the environment, as NAME=VALUE."""

    def files(self):
        """Paths of the sources, sorted."""
        return sorted({path for some in self.sources for path in Path().glob(some)})

    def command(self, changed=None):
        """Return how to run the tests, those of the changed file first."""
        tests = [str(path) for some in self.tests for path in sorted(Path().glob(some))]
        if changed:
            tests.sort(key=lambda path: Path(path).name != f"test_{changed.stem}.py")
        quick = "not ci and not browser and not slow"
        run = [sys.executable, "-m", "pytest", "-x", "-n0", "-p", "no:cacheprovider", "-m", quick]
        return shlex.join(["env", *self.settings, *run, *tests])


def copy_sources(target):
    """Copy what is tracked or new to a folder: a mutant never stands in the sources themselves."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listed, cwd=ROOT, capture_output=True, check=True).stdout.decode()
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, target / name)


def drawn(room, count, dice):
    """Draw mutants of a room: a place in its sources first, then one of those that it has."""
    with use_db(":memory:") as session:
        init(room.files(), session, {})
        found = [one.mutations[0] for one in session.work_items]
    # `a | b` between types fails as soon as it is read with another sign in it.
    found = [one for one in found if "BitOr" not in one.operator_name]
    found.sort(key=lambda one: (str(one.module_path), one.start_pos, one.end_pos))
    places = itertools.groupby(found, lambda one: (one.module_path, one.start_pos, one.end_pos))
    groups = [list(group) for _, group in places]
    return [dice.choice(group) for group in dice.sample(groups, min(count, len(groups)))]


def tried(room, mutants):
    """Yield each mutant with what became of it: None if some test noticed, or what was changed."""
    start = time.monotonic()
    subprocess.run(shlex.split(room.command()), check=True, stdout=subprocess.DEVNULL)
    patience = PATIENCE * (time.monotonic() - start)
    for one in mutants:
        result = mutate_and_test([one], room.command(one.module_path), patience)
        survived = result.test_outcome == TestOutcome.SURVIVED
        yield one, result.diff if survived else None


def changed_lines(change):
    """Return the lines of a diff that differ, each with its end; nothing of no diff."""
    lines = (change or "").splitlines()
    changed = [line for line in lines if line.startswith(("+", "-")) and line[1:3] not in HEADS]
    return "".join(f"{line}\n" for line in changed)


def main(count, seed=0):
    """Try so many of all rooms, and tell."""
    rooms = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["mutants"]
    totals, dice = Counter(), random.Random(seed)
    for k, (name, table) in enumerate(rooms.items()):
        room, share = Room(**table), (count + k) // len(rooms)
        for one, change in tried(room, drawn(room, share, dice)):
            place = f"{one.module_path}:{one.start_pos[0]}"
            totals[name, change is None] += 1
            fate = "killed" if change is None else "SURVIVED"
            sys.stdout.write(f"{fate:<9}{place} {one.operator_name}\n{changed_lines(change)}")
            sys.stdout.flush()
    for name in rooms:
        killed, survived = totals[name, True], totals[name, False]
        sys.stdout.write(f"{name}: {killed} of {killed + survived} killed\n")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        copy_sources(Path(folder))
        os.environ["PYTHONPATH"] = folder
        with contextlib.chdir(folder):
            main(*map(int, sys.argv[1:] or ["40"]))
