"""Files that appear whole or not at all."""

import os
import shutil
import subprocess
import sys
import time
from hashlib import sha256
from pathlib import Path
from types import SimpleNamespace

import pytest

from reedbore.errors import ReedboreError
from reedbore.files import (
    FORGOTTEN_S,
    ROOM,
    beside,
    check_writable,
    readable,
    together,
    unfit,
    unkept,
    write_whole,
)


def test_file_appears_whole_in_folders_made_for_it(tmp_path: Path):
    write_whole(tmp_path / "a" / "b" / "x.bin", b"all")
    assert (tmp_path / "a" / "b" / "x.bin").read_bytes() == b"all"
    assert [path.name for path in (tmp_path / "a" / "b").iterdir()] == ["x.bin"]


def test_old_file_stays_where_the_new_one_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "x.bin").write_bytes(b"old")

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(ReedboreError, match=r"cannot be written \(no space left on device\)"):
        write_whole(tmp_path / "x.bin", b"new")
    assert (tmp_path / "x.bin").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["x.bin"]


def test_what_a_killed_process_left_goes_with_the_next_write(tmp_path: Path):
    code = "import sys, pathlib, reedbore.files as f; print(f.beside(pathlib.Path(sys.argv[1])))"
    child = [sys.executable, "-c", code, tmp_path / "x.bin"]
    dead = subprocess.run(child, capture_output=True, text=True, check=True).stdout.strip()
    living, other = beside(tmp_path / "x.bin"), tmp_path / ".x.bin.00000000-1-12345678.part"
    for part in (Path(dead), living, other):
        part.write_bytes(b"half")
    write_whole(tmp_path / "x.bin", b"all")
    assert set(tmp_path.iterdir()) == {tmp_path / "x.bin", living, other}
    long_ago = time.time() - FORGOTTEN_S - 60.0
    os.utime(other, (long_ago, long_ago))
    write_whole(tmp_path / "x.bin", b"all")
    assert set(tmp_path.iterdir()) == {tmp_path / "x.bin", living}


def test_looking_ahead_leaves_nothing_behind(tmp_path: Path):
    check_writable(tmp_path / "new" / "folder" / "x.bin")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["file/x.bin", "file/deeper/x.bin", "folder"])
def test_looking_ahead_finds_what_writing_would(name: str, tmp_path: Path):
    (tmp_path / "file").write_text("")
    (tmp_path / "folder").mkdir()
    with pytest.raises(ReedboreError, match="cannot be written"):
        check_writable(tmp_path / name)


def test_folder_of_the_system_is_refused():
    # Not even an administrator makes files there.
    with pytest.raises(ReedboreError, match=r"/proc/x/x\.bin cannot be written"):
        check_writable(Path("/proc/x/x.bin"))


def test_only_a_plain_file_of_no_more_than_its_size_is_fit(tmp_path: Path):
    path = tmp_path / "x"
    path.write_bytes(b"12345")
    assert unfit(path, 5) is None
    assert unfit(path, 4) == "is larger than 0 kB"
    os.mkfifo(tmp_path / "pipe")
    assert unfit(tmp_path / "pipe", 5) == "is a device or a pipe, no plain file"
    assert unfit(Path("/dev/zero"), 5) == "is a device or a pipe, no plain file"
    # Reading these says by itself what is wrong.
    assert unfit(tmp_path, 10**9) is None
    with pytest.raises(OSError, match="No such file"):
        unfit(tmp_path / "none", 5)


def test_things_are_kept_only_where_there_is_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    assert unkept(tmp_path / "cache") is None
    assert list((tmp_path / "cache").iterdir()) == []
    for free, told in ((ROOM, None), (ROOM - 1, "less than 32 MB are free")):
        monkeypatch.setattr(shutil, "disk_usage", lambda _, free=free: SimpleNamespace(free=free))
        assert unkept(tmp_path / "cache") == told
    (tmp_path / "file").write_bytes(b"")
    assert unkept(tmp_path / "file") == "file exists"


def test_name_of_other_letters_can_be_shown():
    assert readable(os.fsdecode(b"h\xfcm.wav")) == "h\ufffdm.wav"
    assert readable("hüm.wav") == "hüm.wav"


def test_files_that_belong_together_change_together(tmp_path: Path):
    for name in "ab":
        (tmp_path / name).write_bytes(b"old")
    with together() as group:
        write_whole(tmp_path / "a", b"new")
        write_whole(tmp_path / "b", b"newer")
        assert (tmp_path / "a").read_bytes() == b"old"
        sums = group.sums({"one": tmp_path / "a", "two": tmp_path / "c"}, tmp_path / "b")
    assert [(tmp_path / name).read_bytes() for name in "ab"] == [b"new", b"newer"]
    assert sums == {"one": {"file": "a", "bytes": 3, "sha256": sha256(b"new").hexdigest()}}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


def test_where_one_of_them_fails_all_stay(tmp_path: Path):
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "file").write_bytes(b"no folder")

    def write_both() -> None:
        with together():
            write_whole(tmp_path / "a", b"new")
            write_whole(tmp_path / "file" / "b", b"new")

    with pytest.raises(ReedboreError, match="cannot be written"):
        write_both()
    assert (tmp_path / "a").read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "file"]


def test_they_come_to_their_places_in_the_order_in_which_they_were_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    placed = []
    real = Path.replace

    def replace(self: Path, target: Path) -> Path:
        placed.append(target.name)
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with together():
        for name in ("sound", "picture", "sidecar"):
            write_whole(tmp_path / name, b"x")
        assert placed == []
    assert placed == ["sound", "picture", "sidecar"]
