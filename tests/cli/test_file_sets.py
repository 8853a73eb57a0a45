"""What a full disk or a kill leaves of the files of a take: the old ones, or a named mixture."""

import json
from pathlib import Path

import pytest

from reedbore.cli import main

ALONE = ["render", "--fingered", "Bb2", "--no-picture", "--seconds", "0.5", "-o", "a.wav"]


@pytest.fixture
def old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Path:
    """Render a take; its folder."""
    monkeypatch.chdir(tmp_path)
    assert main(ALONE) == 0
    capsys.readouterr()
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_full_disk_leaves_the_old_set(
    old: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    before, real = contents(old), Path.write_bytes

    def write_bytes(self: Path, data: bytes) -> int:
        if ".json" in self.name:
            real(self, data[:100])
            raise OSError(28, "No space left on device")
        return real(self, data)

    monkeypatch.setattr(Path, "write_bytes", write_bytes)
    assert main([*ALONE, "--breath", "3kPa"]) == 2
    assert "a.json cannot be written (no space left on device)" in capsys.readouterr().err
    assert contents(old) == before


def test_sound_of_another_take_beside_a_sidecar_is_named(
    old: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    sums = json.loads((old / "a.json").read_text(encoding="utf-8"))["checksums"]
    assert {one["file"] for one in sums.values()} == {"a.wav"}
    real = Path.replace

    def killed(self: Path, target: Path) -> Path:
        if target.name == "a.json":
            raise KeyboardInterrupt
        return real(self, target)

    monkeypatch.setattr(Path, "replace", killed)
    assert main([*ALONE, "--breath", "3kPa"]) == 130
    assert capsys.readouterr().err.endswith("stopped\n")
    monkeypatch.undo()
    monkeypatch.chdir(old)
    assert main(["render", "--again", "a.json", "-o", "b.wav", "--no-picture"]) == 0
    assert "a.wav is not the sound that was written with a.json" in capsys.readouterr().err
    assert main(["render", "--again", "b.json", "-o", "c.wav", "--no-picture"]) == 0
    assert "was written with" not in capsys.readouterr().err
