"""Mutants: changes of one sign, number or word that some test should notice.

A script: ``python tests/helpers/mutants.py 40`` draws so many, ``40 7`` others. First all tests of
a room are run once, watched: which lines does each see? Then each mutant is made in a copy of the
sources, one to a worker, and tried by the tests that see its lines, then by the others of all files
that see its module, until one fails. ``--workers 15`` tries so many at once; ``-o FILE`` keeps the
score so far in a file, whole at any time. ``--watched FILE`` keeps what was watched in a file and
reads it there the next time: only files of tests that have changed are watched again. Which rooms,
by which tests, is in pyproject.toml.
"""

import argparse
import contextlib
import itertools
import multiprocessing
import os
import random
import shlex
import shutil
import subprocess
import sys
import tempfile
import tomllib
import xml.etree.ElementTree as ET
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import NamedTuple

from cosmic_ray.commands import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.work_db import use_db
from cosmic_ray.work_item import TestOutcome
from coverage import CoverageData
from watched import Watched, digest, joined, keep, kept

from reedbore.files import write_whole

ROOT = Path(__file__).parents[2]
PATIENCE, AT_LEAST_S = 4.0, 60.0
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

    def tests_in(self):
        """Paths of the files of tests, sorted."""
        return sorted({str(path) for some in self.tests for path in Path().glob(some)})

    def texts(self):
        """Return a digest of each of its sources and files of tests, by its path."""
        paths = [*map(str, self.files()), *self.tests_in()]
        return {path: digest(path, *self.settings) for path in paths}

    def command(self, *words):
        """Return how to run some tests, or all of some files, in the folder of this process."""
        quick = "not ci and not browser and not slow"
        run = [sys.executable, "-m", "pytest", "-n0", "-p", "no:cacheprovider", "-m", quick]
        return ["env", *self.settings, *run, *words]


def copy_sources(target):
    """Copy what is tracked or new to a folder: a mutant never stands in the sources themselves."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        told = subprocess.run(listed, cwd=ROOT, capture_output=True, check=True).stdout.decode()
        names = [name for name in told.split("\0") if name and (ROOT / name).is_file()]
    except (OSError, subprocess.CalledProcessError):  # no git here: all but what is hidden
        unkept = shutil.ignore_patterns(".*", "__pycache__", "shared")
        shutil.copytree(ROOT, target, ignore=unkept, dirs_exist_ok=True)
        return
    for name in names:
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / name, target / name)


def settle(folders):
    """Make a process one that works in a copy of its own."""
    folder = folders.get()
    os.chdir(folder)
    os.environ["PYTHONPATH"] = folder


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


def watch(room, path):
    """Run the tests of a file and see which lines of the room's sources each of them sees."""
    sources = {str(Path(source).resolve()): str(source) for source in room.files()}
    texts = {one: digest(one, *room.settings) for one in [path, *sources.values()]}
    with tempfile.TemporaryDirectory() as folder:
        data, told = Path(folder, "lines"), Path(folder, "tests.xml")
        words = ["--cov=reedbore", "--cov-context=test", "--cov-report=", f"--junitxml={told}"]
        command = room.command(*words, "-o", "junit_family=xunit1", path)
        settings = os.environ | {"COVERAGE_FILE": str(data)}
        subprocess.run(command, env=settings, capture_output=True, check=False)
        seconds, failing, lines = {}, [], defaultdict(set)
        for case in ET.parse(told).getroot().iter("testcase") if told.is_file() else ():
            name, fates = f"{path}::{case.get('name')}", {part.tag for part in case}
            if fates & {"failure", "error"}:
                failing.append(name)
            elif "skipped" not in fates:
                seconds[name] = float(case.get("time", "0"))
        seen = CoverageData(str(data))
        if data.is_file():
            seen.read()
        for source in sources.keys() & seen.measured_files():
            for line, contexts in seen.contexts_by_lineno(source).items():
                saw = {one.rpartition("|")[0] for one in contexts}
                lines[sources[source], line] |= saw & seconds.keys()
    return Watched(seconds, dict(lines), failing, texts)


def tried(room, mutant, tests, patience):
    """Return what a mutant changes if none of some tests notices it in time, or None. [s]"""
    result = mutate_and_test([mutant], shlex.join(room.command("-x", *tests)), patience)
    if result.test_outcome not in (TestOutcome.SURVIVED, TestOutcome.KILLED):
        place = f"{mutant.module_path}:{mutant.start_pos[0]}"
        raise RuntimeError(f"{place} was not tried:\n{result.output}")
    return result.diff if result.test_outcome == TestOutcome.SURVIVED else None


def changed_lines(change):
    """Return the lines of a diff that differ, each with its end; nothing of no diff."""
    lines = (change or "").splitlines()
    changed = [line for line in lines if line.startswith(("+", "-")) and line[1:3] not in HEADS]
    return "".join(f"{line}\n" for line in changed)


class Score:
    """What became of each mutant so far, told line by line, and kept in a file if one is named."""

    def __init__(self, rooms, path):
        self.totals, self.fates, self.path = {name: Counter() for name in rooms}, [], path
        self.asked, self.failing = Counter(), []

    def add(self, name, mutant, change):
        """Tell of one more."""
        fate = "killed" if change is None else "SURVIVED"
        self.totals[name][fate] += 1
        place = f"{mutant.module_path}:{mutant.start_pos[0]}"
        told = f"{fate:<9}{place} {mutant.operator_name}\n{changed_lines(change)}"
        self.fates.append(told)
        sys.stdout.write(told)
        sys.stdout.flush()
        self.keep()

    def keep(self):
        """Write down all that is known, survivors first."""
        if self.path:
            told = sorted(self.fates, key=lambda one: one.startswith("killed"))
            write_whole(self.path, (self.whole() + "".join(told)).encode())

    def whole(self):
        """Return a line for each room, and one for each test that is left out."""
        lines = [
            f"{name}: {fates['killed']} of {fates.total()} killed, of {self.asked[name]} drawn\n"
            for name, fates in self.totals.items()
        ]
        return "".join(
            lines + [f"left out, it fails without a mutant: {one}\n" for one in self.failing]
        )


def main(count, seed, workers, path, memory):
    """Try so many of all rooms, and tell."""
    tables = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["mutants"]
    rooms = {name: Room(**table) for name, table in tables.items()}
    score, dice = Score(rooms, path), random.Random(seed)
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        folders = context.Queue()
        for number in range(workers):
            copy_sources(Path(folder, str(number)))
            folders.put(str(Path(folder, str(number))))
        with ProcessPoolExecutor(workers, context, settle, (folders,)) as pool:
            with contextlib.chdir("0"):
                texts = {name: room.texts() for name, room in rooms.items()}
                watched = kept(memory, texts)
                runs = {
                    (name, test): pool.submit(watch, room, test)
                    for name, room in rooms.items()
                    for test in room.tests_in()
                    if test not in watched[name]
                }
                mutants = [
                    (name, mutant)
                    for k, (name, room) in enumerate(rooms.items())
                    for mutant in drawn(room, (count + k) // len(rooms), dice)
                ]
            dice.shuffle(mutants)  # so that what is tried before an end is a fair share
            score.asked.update(name for name, _ in mutants)
            score.keep()
            for (name, test), run in runs.items():
                watched[name][test] = run.result()
            if memory and runs:
                keep(memory, watched)
            seen = {name: joined(watched[name].values(), texts[name]) for name in rooms}
            score.failing = [test for one in seen.values() for test in one.failing]
            runs = {}
            for name, mutant in mutants:
                with contextlib.chdir("0"):
                    tests = seen[name].chosen(str(mutant.module_path), mutant.start_pos[0])
                patience = AT_LEAST_S + PATIENCE * sum(seen[name].seconds[one] for one in tests)
                run = pool.submit(tried, rooms[name], mutant, tests, patience)
                runs[run] = name, mutant
            for run in as_completed(runs):
                score.add(*runs[run], run.result())
    sys.stdout.write(score.whole())


if __name__ == "__main__":
    words = argparse.ArgumentParser(description="Changes that some test should notice.")
    words.add_argument("count", type=int, nargs="?", default=40, help="how many are drawn")
    words.add_argument("draw", type=int, nargs="?", default=0, help="another number draws others")
    words.add_argument("--workers", type=int, default=os.cpu_count(), help="tried at once")
    words.add_argument("-o", dest="path", type=Path, help="keep the score so far in this file")
    words.add_argument("--watched", type=Path, help="keep which tests see which lines in this file")
    asked = words.parse_args()
    path, memory = (one and one.resolve() for one in (asked.path, asked.watched))
    main(asked.count, asked.draw, asked.workers, path, memory)
