"""Which tests see which lines of the sources, and a file that keeps it: what mutants are tried by.

The file holds no folder, time or machine: only which texts were watched, each by a digest. Of a
file of tests that has changed nothing is taken over. Of a source that has changed its lines are
not: which files of tests see it at all is, so a mutant there is tried by all tests of these.
"""

import ast
import json
from collections import Counter, defaultdict
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from reedbore.files import write_whole

NOWHERE = 0
"""The line where the tests are put that see a source which has changed since: none has it."""


class Watched(NamedTuple):
    """What was seen while the tests of a room ran, or those of one of its files."""

    seconds: dict[str, float]
    """What each test took, by its name for pytest."""
    lines: dict[tuple[str, int], set[str]]
    """The tests that see a line of a source; one that only its import sees has none."""
    failing: list[str]
    """Tests that fail without a mutant, and files that cannot be read: they are left out."""
    texts: dict[str, str]
    """Digests of the tests and sources watched, by their paths."""

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

    def packed(self):
        """Return the same for JSON: lines that the same tests see stand together."""
        numbers = {test: k for k, test in enumerate(self.seconds)}
        groups = defaultdict(list)
        for (source, line), tests in self.lines.items():
            groups[source, tuple(sorted(numbers[test] for test in tests))].append(line)
        lines = [(source, some, tests) for (source, tests), some in groups.items()]
        return self._replace(lines=lines)._asdict()

    @classmethod
    def unpacked(cls, lines, seconds, **rest):
        """Return what was packed."""
        names = list(seconds)
        found = {
            (source, line): {names[k] for k in tests}
            for source, some, tests in lines
            for line in some
        }
        return cls(seconds=seconds, lines=found, **rest)


def file_of(test):
    """Return the file that a test stands in."""
    return test.partition("::")[0]


def digest(path, *settings):
    """Return a short name of what a file holds and of what it is run with, same on any machine."""
    return sha256("\n".join([*settings, Path(path).read_text("utf-8")]).encode()).hexdigest()[:16]


def joined(parts, texts):
    """Join what was seen in several files of tests and holds while files have these digests."""
    seconds, lines, failing = {}, defaultdict(set), []
    for part in parts:
        seconds |= part.seconds
        failing += part.failing
        for (source, line), tests in part.lines.items():
            same = part.texts[source] == texts.get(source)
            lines[source, line if same else NOWHERE] |= tests
    return Watched(seconds, dict(lines), failing, texts)


def keep(path, rooms):
    """Write down what was seen in each file of tests of each room."""
    packed = {
        name: {test: part.packed() for test, part in parts.items()} for name, parts in rooms.items()
    }
    write_whole(path, json.dumps(packed, separators=(",", ":")).encode())


def kept(path, texts):
    """Return what was written down, but for files of tests that now have other digests, by room."""
    if not (path and path.exists()):
        return {name: {} for name in texts}
    packed = json.loads(path.read_text("utf-8"))
    return {
        name: {
            test: Watched.unpacked(**part)
            for test, part in packed.get(name, {}).items()
            if part["texts"][test] == now.get(test)
        }
        for name, now in texts.items()
    }


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
