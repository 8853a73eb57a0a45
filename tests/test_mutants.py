"""What mutants are tried by, and what of it is taken over from a file."""

import re
from pathlib import Path

import pytest
from watched import Watched, digest, joined, keep, kept

SOURCE = "a = 1\nb = 2\nc = (a +\n     b)\n"
FIRST, SECOND = "tests/test_first.py", "tests/test_second.py"


@pytest.fixture
def texts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Write a source and three files of tests, and digest them."""
    monkeypatch.chdir(tmp_path)
    Path("tests").mkdir()
    paths = {"one.py": SOURCE, FIRST: "1", SECOND: "2", "tests/test_third.py": "3"}
    for path, text in paths.items():
        Path(path).write_text(text, "utf-8")
    return {path: digest(path) for path in paths}


@pytest.fixture
def parts(texts: dict[str, str]) -> dict[str, Watched]:
    """Tell what their tests see: the third file's nothing of the source."""
    seen = {
        FIRST: ({"a": 1.0, "b": 2.0}, {1: {"a", "b"}, 2: set(), 3: {"b"}, 4: {"b"}}),
        SECOND: ({"c": 0.5, "d": 0.1}, {2: {"c"}}),
        "tests/test_third.py": ({"e": 0.1}, {}),
    }
    return {
        path: Watched(
            {f"{path}::{name}": taken for name, taken in seconds.items()},
            {("one.py", k): {f"{path}::{one}" for one in some} for k, some in lines.items()},
            [f"{path}::broken"],
            {path: texts[path], "one.py": texts["one.py"]},
        )
        for path, (seconds, lines) in seen.items()
    }  # fmt: skip


def names(tests: list[str]) -> str:
    return "".join(test[-1] for test in tests)


def test_what_was_watched_is_read_as_it_was_written(
    texts: dict[str, str], parts: dict[str, Watched]
) -> None:
    assert kept(Path("kept.json"), {"room": texts}) == {"room": {}}
    keep(Path("kept.json"), {"room": parts})
    assert kept(Path("kept.json"), {"room": texts, "new": texts}) == {"room": parts, "new": {}}


def test_what_is_kept_names_no_folder_and_takes_a_digest_of_any_place(
    tmp_path: Path, texts: dict[str, str], parts: dict[str, Watched]
) -> None:
    keep(Path("kept.json"), {"room": parts})
    assert str(tmp_path) not in Path("kept.json").read_text("utf-8")
    assert digest(tmp_path / "one.py") == texts["one.py"] != digest("one.py", "COMPILED=0")


def test_tests_that_see_a_statement_come_first_then_those_of_files_that_see_its_source(
    texts: dict[str, str], parts: dict[str, Watched]
) -> None:
    seen = joined(parts.values(), texts)
    assert names(seen.chosen("one.py", 1)) == "abdc"
    assert names(seen.chosen("one.py", 2)) == "cdab"
    assert names(seen.chosen("one.py", 4)) == "bdca"
    assert len(seen.failing) == 3


def test_a_file_of_tests_that_has_changed_is_not_taken_over(
    texts: dict[str, str], parts: dict[str, Watched]
) -> None:
    keep(Path("kept.json"), {"room": parts})
    Path(FIRST).write_text("another", "utf-8")
    now = texts | {FIRST: digest(FIRST)}
    assert kept(Path("kept.json"), {"room": now})["room"].keys() == parts.keys() - {FIRST}


def test_a_source_that_has_changed_is_tried_by_all_tests_of_files_that_see_it(
    texts: dict[str, str], parts: dict[str, Watched]
) -> None:
    Path("one.py").write_text("z = 0\n" + SOURCE, "utf-8")
    now = texts | {"one.py": digest("one.py")}
    stale = joined(parts.values(), now)
    assert {names(stale.chosen("one.py", k)) for k in range(1, 6)} == {"dcab"}
    again = parts[FIRST]._replace(texts=now)  # its lines are those of the new text
    mixed = joined([again, parts[SECOND]], now)
    assert names(mixed.chosen("one.py", 3)) == "bdca"


def test_help_knows_each_option_of_the_script() -> None:
    root = Path(__file__).parents[1]
    script = (root / "tests" / "helpers" / "mutants.py").read_text("utf-8")
    options = set(re.findall(r'add_argument\("(-[-\w]+)"', script))
    assert options == {"--workers", "-o", "--watched"}
    assert all(f"[{one} " in (root / ".ci" / "run").read_text("utf-8") for one in options)
