"""Files that appear under their name only when they are whole; what they are called; the cache."""

import contextlib
import glob
import json
import os
import platform
import re
import shutil
import stat
import tempfile
import time
import uuid
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextvars import ContextVar
from hashlib import sha256
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError

PACKAGE = Path(__file__).parent

ROOM = 32_000_000  # bytes, more than all compiled code takes

FORGOTTEN_S = 3600.0
"""What is not whole and of nobody known to live is left alone so long. [s]"""

LONGEST_STEM = 100  # bytes; every system takes file names twice as long


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place and rename it, so that nobody ever meets half of it.

    Parameters
    ----------
    path : Path
        Where to; missing folders are made.
    data : bytes
        All that it holds.

    Raises
    ------
    ReedboreError
        If the folder cannot be written to.
    """
    group = _GROUP.get()
    if group is None:
        with together():
            write_whole(path, data)
    else:
        group.add(path, data)


def beside(path: Path) -> Path:
    """Name a place beside a file or folder for what is not whole yet: hidden, and its owner told.

    Parameters
    ----------
    path : Path
        Where it goes when it is whole.

    Returns
    -------
    Path
        No other process has the same, on this machine or another that shares the folder.
    """
    return path.with_name(f".{path.name}.{_here()}-{os.getpid()}-{uuid.uuid4().hex[:8]}.part")


def _here() -> str:
    return f"{zlib.crc32(platform.node().encode()):08x}"


def clear_dead(path: Path) -> None:
    """Remove what processes that were killed have left beside a file or folder.

    Parameters
    ----------
    path : Path
        What they were going to write. What a process of another machine has begun there is left
        alone for an hour.
    """
    for part in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
        with contextlib.suppress(OSError):
            if _is_dead(part) and part.is_dir():
                shutil.rmtree(part)
            elif _is_dead(part):
                part.unlink()


def _is_dead(part: Path) -> bool:
    """Tell whether nobody works any longer on what `beside` has named."""
    machine, _, process = part.name.split(".")[-2].rpartition("-")[0].partition("-")
    if machine == _here() and process.isdecimal() and os.name == "posix":
        try:
            os.kill(int(process), 0)
        except ProcessLookupError:
            return True
        return False
    return time.time() - part.stat().st_mtime > FORGOTTEN_S


def to_disk(paths: Iterable[Path]) -> None:
    """Wait until files and their entries in their folders are on the disk.

    Parameters
    ----------
    paths : iterable of Path
        Files that were written.

    Raises
    ------
    OSError
        If they cannot be: the disk is full or broken.
    """
    files = list(paths)
    folders = {file.parent for file in files} if os.name == "posix" else set()
    for path in (*files, *folders):
        held = os.open(path, os.O_RDONLY if path in folders else os.O_RDWR)
        try:
            os.fsync(held)
        finally:
            os.close(held)


class Group:
    """Files that belong together: all are written beside their places before any is renamed."""

    def __init__(self) -> None:
        self._parts: dict[Path, Path] = {}
        self._sums: dict[Path, tuple[int, str]] = {}

    def add(self, path: Path, data: bytes) -> None:
        """Write a file beside its place; as `write_whole`."""
        part = self._parts[path] = beside(path)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            clear_dead(path)
            part.write_bytes(data)
        except OSError as error:
            raise ReedboreError(f"{path} cannot be written ({_reason(error)})") from error
        self._sums[path] = len(data), sha256(data).hexdigest()

    def sums(self, paths: Mapping[str, Path], beside: Path) -> dict[str, dict[str, Any]]:
        """Tell size and SHA-256 of each file so far, its name as seen from the folder of another.

        Parameters
        ----------
        paths : mapping of str to Path
            The files by what they are.
        beside : Path
            The other file.

        Returns
        -------
        dict
            Fit for JSON: ``file``, ``bytes`` and ``sha256`` of each.
        """
        return {
            name: {"file": os.path.relpath(path, beside.parent), "bytes": size, "sha256": code}
            for name, path in paths.items()
            for size, code in ([self._sums[path]] if path in self._sums else [])
        }

    def rename(self) -> None:
        """Put each in its place, in the order in which they were written."""
        for path, part in self._parts.items():
            try:
                part.replace(path)
            except OSError as error:
                raise ReedboreError(f"{path} cannot be written ({_reason(error)})") from error

    def tidy(self) -> None:
        """Remove what has not come to its place."""
        for part in self._parts.values():
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


_GROUP: ContextVar[Group | None] = ContextVar("group", default=None)


@contextlib.contextmanager
def together() -> Iterator[Group]:
    """Gather what `write_whole` writes inside, and rename it at the end, one right after the other.

    Yields
    ------
    Group
        What is written so far. A full disk or a mistake leaves all files as they were.

    Raises
    ------
    ReedboreError
        If a file cannot be put in its place.
    """
    group = Group()
    before = _GROUP.set(group)
    try:
        yield group
        group.rename()
    finally:
        _GROUP.reset(before)
        group.tidy()


def unfit(path: Path, most: int) -> str | None:
    """Say why a file that anybody may have made or named should not be read at all.

    Parameters
    ----------
    path : Path
        The file.
    most : int
        How large it may be. [bytes]

    Returns
    -------
    str or None
        What follows its name in a sentence: it is a device or a pipe, which may never end, or too
        large. None for a plain file, a folder, and nothing at all: reading these says why itself.

    Raises
    ------
    OSError
        If it cannot be looked at.
    """
    found = path.stat()
    if not (stat.S_ISREG(found.st_mode) or stat.S_ISDIR(found.st_mode)):
        return "is a device or a pipe, no plain file"
    if found.st_size > most:
        return f"is larger than {most // 1000} kB"
    return None


def picture_kind(path: Path, kinds: tuple[str, ...]) -> str:
    """Tell by its suffix which kind of picture a file is to be.

    Parameters
    ----------
    path : Path
        The file.
    kinds : tuple of str
        Suffixes that can be drawn, with their dot.

    Returns
    -------
    str
        One of them, without the dot.

    Raises
    ------
    ReedboreError
        If it is none of them.
    """
    kind = path.suffix.lower()
    if kind not in kinds:
        raise ReedboreError(f"{path} has no known kind of picture; write {', '.join(kinds)}")
    return kind[1:]


def check_writable(path: Path) -> None:
    """Find out before long work whether its result can be written; nothing is left behind.

    Parameters
    ----------
    path : Path
        The file that is going to be written.

    Raises
    ------
    ReedboreError
        If there is a folder under that name, or the one around it cannot be written to.
    """
    if path.is_dir():
        raise ReedboreError(f"{path} cannot be written (it is a folder; name a file)")
    try:
        folder = next(place for place in path.absolute().parents if place.exists())
        probe = beside(folder / path.name)
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise ReedboreError(f"{path} cannot be written ({_reason(error)})") from error


def _reason(error: OSError) -> str:
    if isinstance(error, FileExistsError | NotADirectoryError):
        return "a folder on the way to it is a file"
    return (error.strerror or str(error)).lower()


def readable(name: str) -> str:
    """Write a file name so that it can be shown, whatever bytes it is made of."""
    return name.encode(errors="surrogateescape").decode(errors="replace")


def file_stem(parts: Iterable[str | None]) -> str:
    """Make a name for files out of what was asked for, for every folder of every system."""
    whole = re.sub(r"[^\w#+.-]+", "-", "-".join(part for part in parts if part))
    code = whole.encode()
    if len(code) <= LONGEST_STEM:
        return whole
    return f"{code[:LONGEST_STEM].decode(errors='ignore')}-{sha256(code).hexdigest()[:8]}"


def files_of(parts: Iterable[str], package: Path = PACKAGE) -> list[Path]:
    """List the files of parts of the package.

    Parameters
    ----------
    parts : iterable of str
        Names of modules, with their suffix, and of folders.
    package : Path
        Where they lie.

    Returns
    -------
    list of Path
        Of a folder all modules in it and below it.
    """
    whole = (package / part for part in parts)
    return [p for part in whole for p in ([part] if part.is_file() else sorted(part.rglob("*.py")))]


def digest(sources: Iterable[Path]) -> str:
    """Name the state of some files by 16 hexadecimal digits of a hash (SHA-256) of all of them."""
    return sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()[:16]


def cache_folder(sources: Iterable[Path], kind: str) -> Path:
    """Return the folder of things of a kind that were made from these sources as they are now.

    Parameters
    ----------
    sources : iterable of Path
        Files; an edit of any makes another folder.
    kind : str
        What is kept.

    Returns
    -------
    Path
        In the user's cache folder; it may not be there yet, and perhaps never can: see `unkept`.
    """
    home = os.environ.get("XDG_CACHE_HOME")
    if not home:
        try:
            home = str(Path.home() / ".cache")
        except RuntimeError:  # nobody's home: a place where nothing can be
            home = os.devnull
    return Path(home) / "reedbore" / kind / digest(sources)


def cache_place(sources: Iterable[Path], kind: str, made_from: object) -> Path:
    """Return where a thing of a kind is kept, in `cache_folder`.

    Parameters
    ----------
    sources, kind
        As for `cache_folder`.
    made_from : object
        All numbers and words that it hangs on, fit for JSON.

    Returns
    -------
    Path
        Without a suffix.
    """
    name = sha256(json.dumps(made_from).encode()).hexdigest()[:24]
    return cache_folder(sources, kind) / name


def unkept(folder: Path) -> str | None:
    """Try whether things can be kept in a cache folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there.

    Returns
    -------
    str or None
        Why not, in a few words; None if they can.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(b"x")
        if shutil.disk_usage(folder).free < ROOM:
            return f"less than {ROOM // 1000000} MB are free"
    except OSError as error:
        return (error.strerror or str(error)).lower()
    return None
