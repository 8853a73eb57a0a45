import ast
import importlib
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

import reedbore

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
MODULES = sorted((ROOT / "reedbore").rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Top-level names of all modules that a file imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.partition(".")[0])
    return found


def test_public_names_are_sorted_and_all_there() -> None:
    assert reedbore.__all__ == sorted(reedbore.__all__)
    for name in reedbore.__all__:
        assert getattr(reedbore, name).__name__ == name


def test_an_unknown_public_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Hron'"):
        reedbore.Hron  # noqa: B018


def test_the_map_in_the_package_names_every_room() -> None:
    modules = {path.stem for path in (ROOT / "reedbore").glob("[a-z]*.py")}
    folders = {path.parent.name + "/" for path in (ROOT / "reedbore").rglob("*/__init__.py")}
    words = set(re.findall(r"[\w/]+", reedbore.__doc__ or ""))
    assert modules | folders <= words


def test_importing_the_package_loads_nothing_else() -> None:
    code = "import sys, reedbore; print(*sorted({'numpy', 'pydantic', 'numba'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    outside = set.union(*map(imported, MODULES)) - set(sys.stdlib_module_names) - {"reedbore"}
    extras = PROJECT["optional-dependencies"]
    extra = [*extras["cluster"], *extras["sheet"]]
    declared = {re.split(r"[<>=\[ ]", line)[0] for line in [*PROJECT["dependencies"], *extra]}
    # pydantic_core comes with pydantic, which pins it; pillow is imported as PIL.
    renamed = {{"PIL": "pillow", "fontTools": "fonttools"}.get(name, name) for name in outside}
    # plotly is never imported: the page serves its library for browsers.
    assert renamed - {"pydantic_core"} == declared - {"plotly"}


def test_the_wheel_holds_presets_and_page_and_finds_them(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT, check=True, capture_output=True,
    )  # fmt: skip
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "there")
    code = (
        "from reedbore.model.presets import KINDS, load, names, presets_folder;"
        "print(presets_folder()); print(*(load(kind, name).name for kind in KINDS "
        "for name in names(kind)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path / "there", capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    folder, found = done.stdout.splitlines()
    assert Path(folder) == tmp_path / "there" / "reedbore" / "presets_data"
    shipped = {path.stem for path in (ROOT / "presets").rglob("*.toml")}
    assert set(found.split()) == shipped
    static = Path("reedbore") / "page" / "static"
    files = {path.relative_to(ROOT) for path in (ROOT / static).rglob("*") if path.is_file()}
    assert static / "index.html" in files
    assert all((tmp_path / "there" / path).read_bytes() for path in files)


def test_ci_runs_the_test_command_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    command = re.search(r"test_command\(\) \{\n\s*(.+)\n\}", script)
    assert command
    assert command[1] in (ROOT / "README.md").read_text(encoding="utf-8")


def test_ci_looks_for_browser_tests_where_all_of_them_lie() -> None:
    folder = re.search(r"pytest -m browser (\S+)", (ROOT / ".ci" / "run").read_text("utf-8"))
    assert folder
    marked = re.compile(r"^(pytestmark = |@)pytest\.mark\.browser", re.M)
    files = [one for one in (ROOT / "tests").rglob("*.py") if marked.search(one.read_text("utf-8"))]
    assert files
    assert {path.parent for path in files} == {ROOT / folder[1]}


def test_ci_knows_its_words() -> None:
    for word, status in (("help", 0), ("nonsense", 2)):
        done = subprocess.run(
            ["bash", str(ROOT / ".ci" / "run"), word],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == status
        told = set((done.stdout + done.stderr).split())
        assert {"install", "check", "test", "bench", "mutants"} <= told


def test_mutants_are_made_of_files_that_are_there() -> None:
    rooms = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mutants"]
    assert set(rooms) == {"measures", "kernel", "verdict"}
    for name, room in rooms.items():
        assert set(room) == {"sources", "tests", "settings"}
        assert all(sorted(ROOT.glob(some)) for some in room["sources"] + room["tests"]), name


@pytest.mark.parametrize(("ci", "failed", "skipped"), [("true", 2, 1), ("", 0, 3)])
def test_ci_fails_when_a_sound_or_browser_test_is_skipped(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch, ci: str, failed: int, skipped: int
) -> None:
    monkeypatch.setenv("CI", ci)
    pytester.makeconftest((ROOT / "tests" / "conftest.py").read_text(encoding="utf-8"))
    pytester.makeini("[pytest]\nmarkers =\n    sound: to hear\n    browser: to see\n")
    pytester.makepyfile(
        """
        import pytest

        @pytest.mark.sound
        def test_with_sound():
            pytest.skip("no PortAudio")

        @pytest.mark.browser
        def test_with_a_browser():
            pytest.skip("no chromium")

        def test_other():
            pytest.skip("anything else")
        """
    )
    pytester.runpytest_subprocess().assert_outcomes(failed=failed, skipped=skipped)


def test_every_module_name_can_be_imported() -> None:
    for path in MODULES:
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        if name != "reedbore.__main__":
            assert importlib.import_module(name).__doc__
