import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

import reedbore
from reedbore.cli import main
from reedbore.errors import ModelError
from reedbore.model import presets
from reedbore.simulate.request.take import parse_setting


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(arguments)
    said = capsys.readouterr()
    return status, said.out, said.err


def in_a_process(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True,
        stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip


def test_presets_lists_every_preset(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "presets")
    assert (status, err) == (0, "")
    for kind in presets.KINDS:
        for name in presets.names(kind):
            assert name in out


def test_presets_lists_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(run(capsys, "presets", "--json")[1])
    assert document["horns"]["tenor-saxophone"] == "Tenor saxophone"
    assert Path(document["folder"]).is_dir()


@pytest.mark.parametrize("kind", presets.KINDS)
def test_every_preset_can_be_shown(capsys: pytest.CaptureFixture[str], kind: str) -> None:
    for name in presets.names(kind):
        status, out, err = run(capsys, "presets", "show", name)
        assert (status, err) == (0, "")
        assert out.startswith(f"{name}: ")
        assert json.loads(run(capsys, "presets", "show", name, "--json")[1])["name"] == name


def test_a_shown_horn_has_units_and_sources(capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, "presets", "show", "tenor-saxophone")[1]
    (line,) = [line for line in out.splitlines() if "bore.sections.2.length_mm" in line]
    assert line.split()[1] == "1460"
    assert "Chen, Smith and Wolfe" in line


def test_a_shown_horn_has_one_line_for_each_hole_and_fingering(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = presets.preset_path("horns", "plain-cylinder").read_text(encoding="utf-8")
    for end, note in (("low", "D3"), ("high", "E3")):
        text = re.sub(rf"(?m)^{end}_note = .*", f"{end}_note = '{note}'", text, count=1)
    text += "".join(
        f"[[bore.holes]]\nposition_mm = {place}\ndiameter_mm = 8\nchimney_mm = 6.5\n"
        for place in (500, 550.25)
    )
    text += "[fingerings]\nD3 = ''\nEb3 = '2'\nE3 = '1-2'\n'E3 fork' = '1'\n"
    text += "[sources.bore.holes]\nposition_mm = 'measured'\n"
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    status, out, err = run(capsys, "presets", "show", str(tmp_path / "mine.toml"))
    assert (status, err) == (0, "")
    lines = [line.split() for line in out.splitlines()]
    table = lines.index(["bore.holes", "position_mm", "diameter_mm", "chimney_mm", "open"])
    assert lines[table + 1] == ["1", "500", "8", "6.5", "0"]
    assert lines[table + 2] == ["2", "550.25", "8", "6.5", "0"]
    assert lines[table + 3] == ["bore.holes.position_mm", "measured"]
    wanted = [["D3", "none"], ["Eb3", "2"], ["E3", "1-2"], ["E3", "fork", "1"]]
    assert lines[-7:] == [*wanted, [], *lines[-2:]]
    # Below them what its player does from pp to ff.
    assert [line[:2] for line in lines[-2:]] == [["breath", "pp"], ["tip", "pp"]]
    assert [line[-1] for line in lines[-2:]] == ["kPa", "mm"]


def test_a_file_of_ones_own_is_checked(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    good = presets.preset_path("voices", "low-male").read_text(encoding="utf-8")
    file = tmp_path / "me.toml"
    file.write_text(good, encoding="utf-8")
    assert run(capsys, "presets", "check", str(file)) == (0, f"{file} is right: voice me\n", "")
    file.write_text(good.replace("depth = 0.1", "depth = -0.1"), encoding="utf-8")
    status, out, err = run(capsys, "presets", "check", str(file))
    assert (status, out) == (2, "")
    assert "voice.depth is -0.1; allowed 0 to 1 (peak of the sung pressure" in err
    status, out, err = run(capsys, "presets", "check", str(file), "--json")
    assert (status, err, len(json.loads(out)["mistakes"])) == (2, "", 1)


@pytest.mark.parametrize(
    ("arguments", "answer"),
    [
        (["prsets"], "'prsets' is no command; did you mean presets?"),
        (["xyz"], "'xyz' is no command; there are predict, render"),
        (["presets", "chek"], "'chek' is one word too many; see reedbore presets --help"),
        (["presets", "--jsn"], "--jsn is no option of reedbore presets; did you mean --json?"),
        (["presets", "show"], "NAME is missing: name of a horn, voice or passage"),
        (["presets", "show", "tenor"], "'tenor' is no preset; did you mean tenor-saxophone?"),
        (["presets", "check", "/none.toml"], "/none.toml cannot be read: No such file"),
        (
            ["predict", "--a4", "x"],
            "--a4 is 'x'; it must be a number (frequency of A4, 380 to 500 Hz)",
        ),
        (["predict", "--fingered"], "--fingered needs a value: fingered note: Bb2"),
    ],
)
def test_a_mistake_is_told_in_one_line_on_stderr(
    capsys: pytest.CaptureFixture[str], arguments: list[str], answer: str
) -> None:
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert err.startswith(answer)
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "arguments",
    [[], ["--help"], ["predict", "--help"], ["presets", "--help"], ["presets", "show", "--help"]],
)
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    heavy = {"numpy", "scipy", "numba", "pydantic", "matplotlib", "soundfile", "sounddevice"}
    code = (
        "import sys; from reedbore.cli import main; status = main(sys.argv[1:]);"
        f"print(sorted({heavy!r} & set(sys.modules)), file=sys.stderr); sys.exit(status)"
    )
    done = in_a_process(code, *arguments)
    assert (done.returncode, done.stderr.strip()) == (0, "[]")
    assert done.stdout.startswith("Usage: reedbore")


def test_the_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "--version") == (0, f"{reedbore.__version__}\n", "")


def test_a_reader_that_goes_away_is_no_failure() -> None:
    command = (
        f"{sys.executable} -m reedbore presets show tenor-saxophone | true; echo ${{PIPESTATUS[0]}}"
    )
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)
    assert (done.stdout.strip(), done.stderr) == ("0", "")


def test_a_failure_of_ours_has_status_one_and_a_traceback() -> None:
    code = (
        "import sys, reedbore.cli, reedbore.model.presets as p; p.names = lambda kind: 1 / 0;"
        "sys.exit(reedbore.cli.main(['presets']))"
    )
    done = in_a_process(code)
    assert done.returncode == 1
    assert "ZeroDivisionError" in done.stderr


def test_a_setting_is_read_from_the_command_line() -> None:
    assert parse_setting("reed.opening_mm=1.2") == ("reed.opening_mm", 1.2)
    assert parse_setting("reed.dynamics = massless") == ("reed.dynamics", "massless")
    for text in ("reed.opening_mm", "=3", "reed.opening_mm="):
        with pytest.raises(ModelError, match="write NAME=VALUE"):
            parse_setting(text)


def test_a_passage_is_shown_with_its_length(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "presets", "show", "mill-race")
    assert (status, err) == (0, "")
    assert "passage.fingered             Bb2:17" in out
    piece = presets.load_piece("mill-race").passage
    assert out.endswith(f"  lasts {piece.seconds:.3g} s, {piece.beats:g} beats\n")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("D3:15", "D5:15", "passage.fingered D5 (word 3): fingered note is D5 (587.3 Hz); allowed"),
        ("D3:15", "D3(fork):15", "passage.fingered D3 (word 3): fingering 'fork' is unknown"),
        ("low-male", "low-mal", "voice 'low-mal' is no voice; did you mean low-male?"),
        ("tenor-sax", "tenner-sax", "horn 'tenner-saxophone' is no horn; did you mean tenor-sax"),
        ("Bb2:17", "Bb2", "passage.fingered cannot be read: 'Bb2' (word 1) is no note with beats"),
    ],
)
def test_a_passage_that_cannot_be_played_is_told_with_its_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, old: str, new: str, says: str
) -> None:
    text = presets.preset_path("passages", "mill-race").read_text(encoding="utf-8")
    file = tmp_path / "mine.toml"
    file.write_text(text.replace(old, new), encoding="utf-8")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if old in row)
    status, out, err = run(capsys, "presets", "check", str(file))
    assert (status, out) == (2, "")
    assert err.startswith(f"mine.toml:{line}: {says}")
    assert len(err.splitlines()) == 1
