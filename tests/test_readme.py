"""What README shows is what the program says now, and one command makes it all again."""

import importlib.util
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from reedbore.notes import midi_to_hz
from reedbore.simulate.request.take import DEMO_SUNG

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")

_spec = importlib.util.spec_from_file_location("make", ROOT / "renders" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)


def costs(command: str) -> list[pytest.MarkDecorator]:
    seconds = {"predict": 0, "render": 50, "locks": 95}[command.split()[1]]
    return [pytest.mark.slow(seconds), pytest.mark.ci] if seconds else []


@pytest.mark.parametrize(
    ("command", "shown"),
    [pytest.param(*one, marks=costs(one[0]), id=one[0]) for one in make.blocks(README)],
)
def test_readme_shows_what_the_program_says(command: str, shown: str, tmp_path: Path):
    assert make.renewed(shown, make.run(command, tmp_path)) == shown


def test_readme_shows_a_verdict_a_passage_and_a_table():
    shown = [command.split()[1] for command, _ in make.blocks(README)]
    assert sorted(shown) == ["locks", "render", "render"]
    # No block is left out because it looks otherwise.
    assert README.count("\n$ reedbore") == len(shown)


def test_every_picture_of_the_gallery_is_made_by_the_one_command():
    pages = make.pages()
    made = {picture for _, _, picture in make.maps(pages)}
    made |= {"mill-race.png", "mill-race.ogg", make.SHEET, "folds.png"}
    assert {path.name for path in make.GALLERY.iterdir()} == made
    assert all(f"gallery/{name}" in pages for name in made)
    assert len(re.findall("^reedbore .*&& reedbore picture", pages, re.M)) == len(make.maps(pages))
    assert "python renders/make.py" in (ROOT / "renders" / "README.md").read_text("utf-8")


def test_lesson_and_etude_sing_what_is_made_again():
    # Over Bb2 and D3 the lesson sings 5/2 and 5/3; the etude 5/2, 3/2, and 3/2 over D3.
    lesson = make.locked_in(make.LESSON.read_text("utf-8"))
    assert [(fingered, name) for fingered, name, _ in lesson] == [("Bb2", "D4"), ("D3", "B3")]
    # The first is also the pair that commands and page begin with.
    pair = "".join(lesson[0][1:]) + "c"
    assert pair == DEMO_SUNG
    assert all(f'"{pair}"' in path.read_text("utf-8") for path in make.TAUGHT)


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("a 2\nb 2\n", "a 1\nb 2\n"),
        ("a 1\n", "a 1\nb 2\n"),
        ("a 1\nb 2\n", "a 1\n"),
        ("…\nc 3\n", "a 1\nb 2\n"),
        ("…\nb 2\n", "a 1\nb 2\nc 3\n"),
    ],
)
def test_a_block_that_is_not_said_any_more_is_found(shown: str, said: str):
    try:
        now = make.renewed(shown, said)
    except ValueError:
        return
    assert now != shown


@pytest.mark.parametrize(
    ("shown", "said", "now"),
    [
        ("a 1\n\nb 2\n", "a 1\n\nb 2\n", "a 1\n\nb 2\n"),
        ("a 1\n…\n", "a 1\nb 2\nc 3\n", "a 1\n…\n"),
        ("…\nb 1\n…\n", "a 1\nb 2\nc 3\n", "…\nb 2\n…\n"),
        ("  …\n  c 1\n", "a 1\nb 2\nc 3\n", "  …\nc 3\n"),
    ],
)
def test_a_block_is_renewed_line_by_line(shown: str, said: str, now: str):
    assert make.renewed(shown, said) == now


def test_a_stale_block_is_written_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    readme = tmp_path / "README.md"
    block = "```text\n$ reedbore predict --fingered Bb2 --sung D4\n…\nratio {}\n…\n```\n"
    readme.write_text(block.format("9/9"), encoding="utf-8")
    monkeypatch.setattr(make, "README", readme)
    make.make_readme(tmp_path)
    assert readme.read_text("utf-8") == block.format("       5/2 (sung/fingered)")


@pytest.mark.ci
@pytest.mark.slow(20)
def test_a_map_is_swept_and_drawn_as_readme_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    readme, more, gallery = (tmp_path / name for name in ("README.md", "maps.md", "gallery"))
    gallery.mkdir()
    more.write_text("", encoding="utf-8")
    sweep = "reedbore sweep --along voice.depth 0.1 0.2 2 --along sung 5/2-1c 5/2+1c 2 -o t.zarr"
    readme.write_text(f"{sweep} && reedbore picture t.zarr -o t.png\n", encoding="utf-8")
    monkeypatch.setattr(make, "README", readme)
    monkeypatch.setattr(make, "MAPS", more)
    monkeypatch.setattr(make, "GALLERY", gallery)
    make.make_maps(tmp_path)
    assert (gallery / "t.png").read_bytes().startswith(b"\x89PNG")


def test_a_note_is_aimed_at_the_middle_of_the_nearest_lock():
    rows = tuple(
        SimpleNamespace(sung_hz=midi_to_hz(midi)) for midi in (53.018, 61.862, 61.5)
    )  # F3+1.8c, D4-13.8c, and half-way to C#4
    table = SimpleNamespace(rows=rows, fingered_hz=midi_to_hz(46))
    assert make.aimed(table, "D4", "-14") == "D4-13.8c"
    assert make.aimed(table, "F3", "+2") == "F3+1.8c"
    with pytest.raises(ValueError, match="no lock lies near A3"):
        make.aimed(table, "A3", "+0")


@pytest.mark.parametrize(
    ("low", "high", "written"),
    [
        (-60.0, -20.0, "F3-38c"),
        (-60.0, 4.5, "F3-26c"),  # a clock locks within five cents of an end
        (-60.0, 5.0, "F3+1.8c"),
        (-110.0, -90.0, "E3+2c"),
    ],
)
def test_a_singer_is_told_to_aim_where_a_clock_locks_or_else_at_the_middle_of_all_aims(
    low: float, high: float, written: str, monkeypatch: pytest.MonkeyPatch
):
    just = 1.5 * midi_to_hz(46)
    edges = {"low": SimpleNamespace(inside=low), "high": SimpleNamespace(inside=high)}
    monkeypatch.setattr(make, "singer_row", lambda *_: SimpleNamespace(just_hz=just, **edges))
    (row,) = (SimpleNamespace(sung_hz=midi_to_hz(53.018), ratio=(3, 2)),)
    table = SimpleNamespace(rows=(row,), fingered_hz=midi_to_hz(46), voice_off_hz=midi_to_hz(46))
    assert make.aimed_at(None, table, "F3", "-30") == written
    with pytest.raises(ValueError, match="no ratio lies near A3"):
        make.aimed_at(None, table, "A3", "+0")
