"""Every option of every command answers a mistake in our own words: option, value, unit, range."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from cyclopts import Argument

from reedbore.cli import app, main
from reedbore.cli.common import Pair
from reedbore.model import presets
from reedbore.simulate.request.take import Words

COMMANDS = [(name,) for name in app if not name.startswith("-")]
COMMANDS += [("presets", "show"), ("presets", "check")]
NEEDED = {
    "sweep": ["--along", "sung", "-1st", "+1st", "3", "-o", "s.zarr"],
    "picture": ["s.zarr", "-o", "p.png"],
    "animate": ["-o", "a.svg"],
    "predict": ["--fingered", "Bb2", "--sung", "D4"],
}
"""What a command cannot go without."""
NO_RANGE = {"--frame"}  # its range hangs on the length
FRAMEWORK = (
    "Invalid value",
    "Parameter",
    "arameter --",
    "convert",
    "Unused",
    "requires",
    "Unknown",
)


def arguments(command: tuple[str, ...]) -> Iterator[Argument]:
    found = app
    for name in command:
        found = found[name]
    yield from found.assemble_argument_collection(parse_docstring=True)


OPTIONS = [
    pytest.param(command, argument, id=f"{'-'.join(command)}{argument.name}")
    for command in COMMANDS
    for argument in arguments(command)
    if argument.name.startswith("-")
]
NUMBERS = [one for one in OPTIONS if re.search(r"\b(int|float)\b", str(one.values[1].hint))]


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Run a command that must end with one sentence; the sentence."""
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    (line,) = [line for line in err.splitlines() if not line.endswith("...")]
    assert not [word for word in FRAMEWORK if word in line]
    return line


def test_all_options_are_looked_at():
    assert {name for (name, *_) in COMMANDS} >= {"render", "animate", "sweep", "locks", "predict"}
    assert len(OPTIONS) > 90
    names = {one.values[1].name for one in NUMBERS}
    assert names == {
        "--depth", "--a4", "--tempo", "--seconds", "--slow", "--frame", "--port", "--tolerance",
        "--slivers", "--speed", "--transpose", "--throat-channel", "--record",
    }  # fmt: skip


@pytest.mark.parametrize(("command", "argument"), OPTIONS)
def test_option_without_its_value_says_what_it_needs(
    command: tuple[str, ...], argument: Argument, capsys: pytest.CaptureFixture[str]
):
    assert argument.parameter.help, "an option without a sentence"
    if argument.hint is bool:
        line = told(capsys, *command, f"{argument.name}=maybe")
        assert line == f"{argument.name} takes no value, and has 'maybe'"
        return
    line = told(capsys, *command, *NEEDED.get(command[0], []), argument.name)
    if argument.name in {"--along", "--output"} and command[0] in NEEDED:
        assert re.match(rf"{argument.name} (needs|is given twice)", line)
    else:
        assert re.match(rf"{argument.name} needs a value: \S", line)


@pytest.mark.parametrize(("command", "argument"), NUMBERS)
def test_number_that_is_none_is_told_with_value_and_range(
    command: tuple[str, ...], argument: Argument, capsys: pytest.CaptureFixture[str]
):
    line = told(capsys, *command, *NEEDED.get(command[0], []), argument.name, "abc")
    assert re.match(rf"{argument.name} is 'abc'; it must be a (whole )?number \(", line)
    assert argument.name in NO_RANGE or re.search(r"\d to \d", line)


@pytest.mark.parametrize(("command", "argument"), NUMBERS)
@pytest.mark.parametrize("value", ["1000000000", "-1000000000"])
def test_help_names_the_range_that_holds(
    command: tuple[str, ...],
    argument: Argument,
    value: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.chdir(tmp_path)
    needed = NEEDED.get(command[0], ["--sung", "D4:1"] if argument.name == "--tempo" else [])
    line = told(capsys, *command, *needed, argument.name, value)
    found = re.search(r"is -?1(0{9}|e\+09)\b.*allowed (\S+ to \S+)( (\w+))?", line)
    assert found, line
    if argument.name not in NO_RANGE:
        helped = " ".join(str(argument.parameter.help).split())
        assert found[2].rstrip(";(") in helped
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["animate", "-o", "x.gif", "--slow", "100.5"], "--slow is '100.5'; it must be a whole"),
        (["page", "--port", "5.5"], "--port is '5.5'; it must be a whole number"),
        (["render", "--fingred", "Bb2"], "--fingred is no option of reedbore render; did you mean"),
        (["render", "--resultant", "x.mid"], "--resultant is now called --third"),
        (["render", "--a4", "440", "--a4", "442"], "--a4 is given twice; once is enough"),
        (["presets", "show"], "NAME is missing: name of a horn, voice or passage, or a TOML file"),
        (["picture", "a.zarr"], "--output is missing: the picture: .png, .svg, .pdf, or .html"),
        (
            ["sweep", "-o", "a.zarr", "--along", "sung", "1"],
            "--along needs 4 words, and has 2: FIE",
        ),
        (["render", "-o", ""], "the sound file has no name; write one that ends in .wav or .flac"),
    ],
)
def test_mistake_on_the_command_line_is_one_sentence(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
):
    assert told(capsys, *words).startswith(sentence)


PLAIN = "(notes of tenor-saxophone)"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        # The tenor saxophone sounds a major ninth lower than written: common practice, no source.
        (["--fingered", "C6"], f"fingered note is C6 (1046.5 Hz); allowed Ab2 to C#5 {PLAIN}"),
        (
            ["--written", "--fingered", "G6"],
            f"fingered note is G6 (698.5 Hz); allowed Bb3 to Eb6 {PLAIN}, notes as written for it",
        ),
        (
            ["--written", "--fingered", "C4:1 G6+20c:2~ C4:1"],
            "--fingered 'G6+20c:2' (word 2): fingered note is G6+20c (706.6 Hz); allowed Bb3 to "
            f"Eb6 {PLAIN}, notes as written for it",
        ),
        (
            ["--written", "--fingered", "F4", "--fingering", "x", "--horn", "clarinet-b-flat"],
            "fingering 'x' is unknown; F4 has the plain one, notes as written for it",
        ),
    ],
)
def test_note_that_a_horn_has_not_is_told_as_it_was_typed(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
):
    assert (
        told(capsys, "render", "--sung", "D4:4" if ":" in words[-1] else "D4", *words) == sentence
    )


def test_what_a_file_says_never_acts_on_the_terminal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
):
    path = tmp_path / "voice.toml"
    shipped = (presets.presets_folder() / "voices" / "low-male.toml").read_text(encoding="utf-8")
    evil = "\x1b[2J\x9b31m\u202eLow"
    title = "".join(f"\\u{ord(sign):04x}" for sign in evil)
    path.write_text(
        re.sub("(?m)^title = .*", lambda _: f'title = "{title}"', shipped), encoding="utf-8"
    )
    assert main(["presets", "show", str(path)]) == 0
    said = capsys.readouterr().out
    assert r"\u001b[2J\u009b31m\u202eLow" in said
    assert main(["presets", "show", str(path), "--json"]) == 0
    told = capsys.readouterr().out
    assert not set(said + told) & set("\x1b\x9b\u202e")
    assert json.loads(told)["title"] == evil


@pytest.mark.parametrize("words", [("render", "--help"), ("presets", "--json"), ("render", "é")])
def test_terminal_without_our_letters_is_told_all_the_same(words: tuple[str, ...]):
    environment = os.environ | {"PYTHONIOENCODING": "ascii"}
    done = subprocess.run(
        [sys.executable, "-m", "reedbore", *words],
        capture_output=True,
        env=environment,
        check=False,
    )
    assert done.returncode == (2 if words[-1] == "é" else 0), done.stderr
    said = (done.stdout or done.stderr).decode("ascii")
    assert r"\xe9" in said or json.loads(said)["passages"]


def test_player_has_a_field_for_each_word_of_a_request():
    words = Pair(set=("reed.damping=1",), horn="x", written=True).words()
    assert Words(**words) == Words(settings=("reed.damping=1",), horn="x", written=True)
