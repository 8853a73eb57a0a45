"""What kills, full disks and damage leave: a table of tries, of what was found, and of losses.

Run ``python tests/benchmarks/faults.py [SWEEPS RENDERS ANIMATIONS [OTHERS]] [tiny]``; it kills so
many of each (100, 50 and 20), and tries every other fault so often (50). Sweeps are judged by
arithmetic, so that a try takes no time; their store is written by the real writer. A try is a
process of its own, killed at a random moment: after a random time, or at a random file that it
opens or puts in its place. *Lost* is what is neither old nor new nor made good nor named in one
sentence; it must be 0. Not run by CI, but for its tiny size.
"""

import contextlib
import dataclasses
import io
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import fake_cells

from reedbore import cli
from reedbore.errors import ReedboreError
from reedbore.model import sidecar
from reedbore.report import maps_data
from reedbore.verdict.sweep import run, store
from reedbore.verdict.sweep.plan import VARIABLES

TINY = "tiny" in sys.argv[1:]
COUNTS = [int(word) for word in sys.argv[1:] if word.isdecimal()]
SWEEPS, RENDERS, ANIMATIONS, OTHERS = (
    COUNTS + ([1, 1, 1, 1] if TINY else [100, 50, 20, 50])[len(COUNTS) :]
)
FULL, READ_ONLY = 28, 30  # errno
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
TAKE = ["render", "--fingered", "Bb2", "--seconds", "0.5"]
FILM = ["animate", "--fingered", "Bb2", "--seconds", "1", "--slow", "1000"]
_SUNG, _BREATH = fake_cells.example().axes
SWEEP = dataclasses.replace(fake_cells.example(), axes=(
    dataclasses.replace(_SUNG, values=_SUNG.values[:4]),
    dataclasses.replace(_BREATH, values=_BREATH.values[1:4]),
))  # fmt: skip
"""Twelve cells in six blocks, and the edges at three breaths."""

HEADS = "fault", "tries", "hit", "old", "new", "made good", "named", "lost"

Work = Callable[[], int]
Counts = Counter[str]


class Fault(NamedTuple):
    """What befalls a process: at which of the files it touches, or after which time. [s]."""

    file: int = 0
    seconds: float = 0.0
    errno: int = 0
    """From then on nothing can be written, for this reason; 0: the process is killed."""


class End(NamedTuple):
    """How a process ended: its status, negative if it was killed, what it said, files touched."""

    status: int
    said: str
    files: int


def in_child(work: Work, folder: Path, fault: Fault) -> End:
    """Do something in a process of its own that a fault befalls."""
    told, counted = folder / "said", folder / "counted"
    child = os.fork()
    if child == 0:
        status = 99
        with contextlib.suppress(BaseException), told.open("w", encoding="utf-8") as out:
            os.dup2(out.fileno(), 1)
            os.dup2(out.fileno(), 2)
            sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w")
            files = befall(folder / "work", fault)
            status = work()
            sys.stdout.flush()
            sys.stderr.flush()
            counted.write_text(str(files[0]))
        os._exit(status)
    if fault.seconds:
        time.sleep(fault.seconds)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    files = int(counted.read_text()) if counted.exists() else 0
    counted.unlink(missing_ok=True)
    return End(status, told.read_text(encoding="utf-8"), files)


def befall(folder: Path, fault: Fault) -> list[int]:
    """Let the fault come when so many files of a folder were touched; the list counts them."""
    files = [0]

    def watch(event: str, things: tuple[Any, ...]) -> None:
        if event not in ("open", "os.rename") or not str(things[0]).startswith(str(folder)):
            return
        files[0] += 1
        writes = event == "os.rename" or bool(things[2] & WRITES)
        if fault.errno and writes and files[0] >= fault.file:
            raise OSError(fault.errno, os.strerror(fault.errno))
        if not fault.errno and files[0] == fault.file:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(watch)
    return files


def at_random(dice: random.Random, number: int, whole: End, seconds: float) -> Fault:
    """Choose a moment: by turns a time, and a file."""
    if number % 2:
        return Fault(seconds=dice.uniform(0.01, 1.0) * seconds)
    return Fault(file=dice.randint(1, max(whole.files, 1)))


def command(*words: str) -> Work:
    """Run a command line."""
    return lambda: cli.main(list(words))


def one_sentence(end: End) -> bool:
    """Tell whether a command ended with one sentence, and no traceback."""
    return end.status == 2 and "Traceback" not in end.said and bool(end.said.strip())


class Bench:
    """A folder to work in, and the rows of the table."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.rows = folder, dict[str, Counts]()
        self.work = folder / "work"
        self.dice = random.Random(1)

    def clean(self) -> None:
        shutil.rmtree(self.work, ignore_errors=True)
        self.work.mkdir()

    def timed(self, work: Work) -> tuple[End, float]:
        """Do it undisturbed: how it ended, and how long it took. [s]

        Before, it is done in this process: what it imports and keeps, its children have then.
        """
        self.clean()
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            work()
        self.clean()
        began = time.perf_counter()
        end = in_child(work, self.folder, Fault())
        assert end.status == 0, end.said
        return end, time.perf_counter() - began

    def note(self, row: str, *what: str) -> None:
        counts = self.rows.setdefault(row, Counter())
        counts.update(("tries", *what))

    def tell(self) -> None:
        """Print the rows so far and forget them."""
        for row, counts in self.rows.items():
            cells = "".join(f"{counts[head]:11}" for head in HEADS[1:])
            print(f"{row:24}{cells}", flush=True)
        self.rows.clear()

    # --- sweeps ----------------------------------------------------------------------------------

    @property
    def map(self) -> Path:
        return self.work / "map.zarr"

    def sweep(self) -> int:
        """Run a part of the example by arithmetic, in many small blocks."""
        try:
            run.run(
                SWEEP, self.map, edges=True, judge=fake_cells.judge,
                seek=fake_cells.seek,
            )  # fmt: skip
        except ReedboreError as error:
            sys.stderr.write(f"{error}\n")
            return 2
        return 0

    def sweeps(self, count: int, others: int) -> None:
        whole, seconds = self.timed(self.sweep)
        made = dict(fake_cells.files(self.map))
        for number in range(count):
            self.clean()
            self._swept("sweep killed", made, at_random(self.dice, number, whole, seconds))
        for _ in range(others):
            self.clean()
            full = Fault(file=self.dice.randint(1, whole.files), errno=FULL)
            self._swept("sweep, disk full", made, full)
        for _ in range(others):
            self._damaged(made)
        self._swept("sweep, store read-only", made, Fault(file=1, errno=READ_ONLY))

    def _swept(self, row: str, made: dict[str, bytes], fault: Fault) -> None:
        """Let a fault befall a sweep, and go on with it."""
        end = in_child(self.sweep, self.folder, fault)
        hit = ["hit"] * (end.status != 0)
        known = end.status in (0, -signal.SIGKILL) or one_sentence(end)
        again = in_child(self.sweep, self.folder, Fault())
        good = again.status == 0 and dict(fake_cells.files(self.map)) == made
        tidy = not list(self.work.glob(".*.part"))
        self.note(row, *hit, "made good" if known and good and tidy else "lost")

    def _damaged(self, made: dict[str, bytes]) -> None:
        """Damage a file of a whole store, read it, and go on with the sweep."""
        self.clean()
        for name, data in made.items():
            (self.map / name).parent.mkdir(parents=True, exist_ok=True)
            (self.map / name).write_bytes(data)
        name = self.dice.choice(sorted(made))
        spoil(self.map / name, self.dice)
        found = quietly(lambda: maps_data.read(self.map))
        kept = quietly(lambda: run.run(
            SWEEP, self.map, edges=True, judge=fake_cells.judge,
            seek=fake_cells.seek,
        ))  # fmt: skip
        good = kept is None and dict(fake_cells.files(self.map)) == made
        told = isinstance(kept, ReedboreError)
        # What reading does not need may be damaged without a word: sweeping again finds it. Of a
        # block whose mark is lost the map says that it is not run.
        unread = name.startswith(UNREAD)
        seen = isinstance(found, ReedboreError) or unread
        what = "made good" if good else "named" if told else "lost"
        self.note("store damaged", "hit", what if seen else "lost")
        if not seen or what == "lost":
            print(f"lost: {name}, read as {type(found).__name__}, then {kept!r}, good: {good}")

    # --- files of a take -------------------------------------------------------------------------

    def renders(self, count: int, others: int) -> None:
        sound = str(self.work / "a.wav")
        new = command(*TAKE, "--breath", "3kPa", "-o", sound)
        whole, seconds = self.timed(new)
        made = self.files()
        self.timed(command(*TAKE, "-o", sound))
        known = self.files(), made, new
        for number in range(count):
            fault = at_random(self.dice, number, whole, seconds)
            self._rendered("render killed", known, fault)
        for _ in range(others):
            full = Fault(file=self.dice.randint(1, whole.files), errno=FULL)
            self._rendered("render, disk full", known, full)

    def _rendered(
        self, row: str, known: tuple[dict[str, bytes], dict[str, bytes], Work], fault: Fault
    ) -> None:
        """Let a fault befall a render over an old set of files; then render again."""
        old, made, work = known
        self.put(old)
        end = in_child(work, self.folder, fault)
        left = self.files()
        what = "old" if left == old else "new" if left == made else "lost"
        if what == "lost" and left.keys() == old.keys():
            kept = sidecar.read(self.work / "a.json")
            what = "named" if sidecar.strangers(kept, self.work / "a.json") else "lost"
        if not (end.status in (0, -signal.SIGKILL) or one_sentence(end)):
            what = "lost"
        if what == "lost":
            print(f"lost: {fault} left {[*left]}, {end}")
        in_child(work, self.folder, Fault())
        tidy = self.files() == made and not list(self.work.glob(".*"))
        self.note(row, *["hit"] * (end.status != 0), what if tidy else "lost")

    def films(self, count: int) -> None:
        film = str(self.work / "a.gif")
        work = command(*FILM, "-o", film)
        whole, seconds = self.timed(work)
        made = self.files()
        old = {"a.gif": b"the film of yesterday"}
        for number in range(count):
            fault = at_random(self.dice, number, whole, seconds)
            self._rendered("animate killed", (old, made, work), fault)

    def files(self) -> dict[str, bytes]:
        """Read all files that are not hidden."""
        return {
            path.name: path.read_bytes()
            for path in sorted(self.work.iterdir())
            if not path.name.startswith(".")
        }

    def put(self, files: dict[str, bytes]) -> None:
        self.clean()
        for name, data in files.items():
            (self.work / name).write_bytes(data)

    # --- strangers' sidecars ---------------------------------------------------------------------

    def sidecars(self, count: int) -> None:
        """Tamper with a value of a sidecar, and make its take again."""
        self.timed(command(*TAKE, "--sung", "D4", "--no-picture", "-o", str(self.work / "a.wav")))
        plain = json.loads((self.work / "a.json").read_text(encoding="utf-8"))
        os.mkfifo(self.folder / "pipe")
        nasty = [
            None, [], {}, "", "x" * 100_000, "/dev/zero", "../../../b", str(self.folder / "pipe"),
            -1, 1e308, float("nan"), True, [[[[]]]], "\x1b[2J", "a\0b",
        ]  # fmt: skip
        for _ in range(count):
            self.clean()
            tampered = json.loads(json.dumps(plain))
            spot, key = self.dice.choice(list(leaves(tampered)))
            spot[key] = self.dice.choice(nasty)
            (self.work / "a.json").write_text(json.dumps(tampered), encoding="utf-8")
            out = str(self.work / "b.wav")
            again = command(
                "render", "--again", str(self.work / "a.json"), "--no-picture", "-o", out
            )
            end = in_child(again, self.folder, Fault())
            made = set(self.files()) <= {"a.json", "b.wav", "b.json"}
            fine = made and "Traceback" not in end.said
            what = "new" if end.status == 0 else "named" if one_sentence(end) else "lost"
            self.note(
                "sidecar tampered with", *["hit"] * (end.status != 0), what if fine else "lost"
            )


_UNSEEN = {*VARIABLES} - {*maps_data.ALWAYS} | {"edge_reason", "ratio"}
UNREAD = (*(f"{name}/" for name in _UNSEEN), "state/c", "edge_state/c")
"""Files of a store that not every map shows, or whose loss reads as not run."""


def spoil(file: Path, dice: random.Random) -> None:
    """Damage a file in one of five ways; a description that is changed is another one."""
    data = file.read_bytes()
    how = dice.randrange(4 if file.suffix == ".json" else 5)
    if how == 0:
        file.unlink()
    elif how == 1:
        file.write_bytes(b"")
    elif how == 2:
        file.write_bytes(data[: dice.randrange(len(data))])
    elif how == 3:
        file.write_bytes(bytes(dice.randrange(256) for _ in data))
    else:
        code = bytearray(data)
        code[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        file.write_bytes(code)


def quietly(work: Callable[[], object]) -> object:
    """Do something without a word; what it returns, or the mistake that it names."""
    with contextlib.redirect_stderr(io.StringIO()):
        try:
            return work()
        except ReedboreError as error:
            return error


def leaves(plain: Any) -> list[tuple[Any, Any]]:
    """List all places in nested lists and mappings."""
    pairs = plain.items() if isinstance(plain, dict) else enumerate(plain)
    found = []
    for key, value in list(pairs):
        found.append((plain, key))
        if isinstance(value, dict | list):
            found += leaves(value)
    return found


def main() -> None:
    store.block_shape = fake_cells.small_blocks  # type: ignore[assignment]
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        print(f"{HEADS[0]:24}" + "".join(f"{head:>11}" for head in HEADS[1:]))
        for part in (
            lambda: bench.sweeps(SWEEPS, OTHERS),
            lambda: bench.renders(RENDERS, OTHERS),
            lambda: bench.films(ANIMATIONS),
            lambda: bench.sidecars(OTHERS),
        ):
            part()
            bench.tell()


if __name__ == "__main__":
    began = time.monotonic()
    main()
    print(f"{time.monotonic() - began:.0f} s")
