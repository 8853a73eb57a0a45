"""Mutants: changes of one sign, number or word that some test should notice.

A script: ``python tests/helpers/mutants.py 40`` draws so many, ``40 7`` others. First all tests of
a room are run once, watched: which lines does each see? Then each mutant is made in a copy of the
sources, one to a worker, and tried by the tests that see its lines, then by the others of all files
that see its module, until one fails. ``--workers 15`` tries so many at once; ``-o FILE`` keeps the
score so far in a file, whole at any time. Which rooms, by which tests, is in pyproject.toml.
"""

import argparse
import ast
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
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import NamedTuple

from cosmic_ray.commands import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.work_db import use_db
from cosmic_ray.work_item import TestOutcome
from coverage import CoverageData

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

    def command(self, *words):
        """Return how to run some tests, or all of some files, in the folder of this process."""
        quick = "not ci and not browser and not slow"
        run = [sys.executable, "-m", "pytest", "-n0", "-p", "no:cacheprovider", "-m", quick]
        return ["env", *self.settings, *run, *words]


class Watched(NamedTuple):
    """What was seen while the tests of a room ran."""

    seconds: dict[str, float]
    """What each test took, by its name for pytest."""
    lines: dict[tuple[str, int], set[str]]
    """The tests that see a line of a source; one that only its import sees has none."""
    failing: list[str]
    """Tests that fail without a mutant, and files that cannot be read: they are left out."""

    def chosen(self, source, line):
        """Return the tests of a line of a source: those that see it, then those that might.

        Who shares a fixture, what is kept or runs in another process does not see it anew: so
        after them come the rest of all files that see the source; or all tests if none does.
        """
        first, last = statement(source, line)
        seen = set().union(*(self.lines.get((source, k), ()) for k in range(first, last + 1)))
        near = {file_of(test) for (path, _), some in self.lines.items() if path == source
                for test in some}  # fmt: skip
        maybe = {test for test in self.seconds if not near or file_of(test) in near}
        return [*self._cheapest(seen), *self._cheapest(maybe - seen)]

    def _cheapest(self, tests):
        """Order tests by what their file takes, for a file shares what its first test sets up."""
        files = Counter()
        for test in self.seconds:
            files[file_of(test)] += self.seconds[test]
        return sorted(tests, key=lambda one: (files[file_of(one)], file_of(one), self.seconds[one]))


def file_of(test):
    """Return the file that a test stands in."""
    return test.partition("::")[0]


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
        kept = CoverageData(str(data))
        if data.is_file():
            kept.read()
        for source in sources.keys() & kept.measured_files():
            for line, contexts in kept.contexts_by_lineno(source).items():
                saw = {one.rpartition("|")[0] for one in contexts}
                lines[sources[source], line] |= saw & seconds.keys()
    return Watched(seconds, dict(lines), failing)


def joined(parts):
    """Join what was seen in several files of tests."""
    seconds, lines, failing = {}, defaultdict(set), []
    for part in parts:
        seconds |= part.seconds
        failing += part.failing
        for place, tests in part.lines.items():
            lines[place] |= tests
    return Watched(seconds, dict(lines), failing)


def statement(source, line):
    """Return the first and the last line of the statement that a line belongs to, but for its body.

    A statement is seen where its parts begin, which may be another line than that of a number.
    """
    found = line, line
    for node in ast.walk(ast.parse(Path(source).read_text("utf-8"))):
        if isinstance(node, ast.stmt | ast.match_case | ast.ExceptHandler):
            body = getattr(node, "body", None)
            first = getattr(node, "lineno", None) or node.pattern.lineno
            last = max(first, body[0].lineno - 1) if body else node.end_lineno
            if first <= line <= last:
                found = first, last  # ast.walk goes from the whole to its parts
    return found


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


def main(count, seed, workers, path):
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
                watched = {
                    name: [pool.submit(watch, room, test) for test in room.tests_in()]
                    for name, room in rooms.items()
                }
                mutants = [
                    (name, mutant)
                    for k, (name, room) in enumerate(rooms.items())
                    for mutant in drawn(room, (count + k) // len(rooms), dice)
                ]
            dice.shuffle(mutants)  # so that what is tried before an end is a fair share
            score.asked.update(name for name, _ in mutants)
            score.keep()
            seen = {name: joined(map(Future.result, parts)) for name, parts in watched.items()}
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
    asked = words.parse_args()
    main(asked.count, asked.draw, asked.workers, asked.path and asked.path.resolve())
