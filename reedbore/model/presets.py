"""Preset files: TOML text to models, with every mistake of a file told at once.

In: the name of a preset that ships with reedbore, or the path of a TOML file.
Out: a `Horn`, `Singer` or `Piece`, or one sentence for each mistake, with file and line.

This is the only module that knows TOML, key spellings and line numbers. A preset's name is the
name of its file; its kind is the folder it lies in, or shows in its keys.
"""

import functools
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from reedbore.errors import PresetError
from reedbore.files import unfit
from reedbore.model.passage import Piece
from reedbore.model.settings import Part, Problem, dotted, nearest
from reedbore.model.setup import Horn, Preset, Setup, Singer
from reedbore.model.voice import Voice

KINDS: dict[str, type[Part]] = {"horns": Horn, "voices": Singer, "passages": Piece}
LARGEST_FILE = 1_000_000
LONGEST_KEY = 300  # letters, in which a line says which key it sets

# Bare words and quoted ones, joined by dots; a key like F#3 has to stand in quotes.
_WORD = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"({_WORD}(?:\s*\.\s*{_WORD})*)\s*=")

# More than 32 keys joined by dots: the time it takes to read them grows with their square.
_TOO_DEEP = re.compile(rf"(?<![\w-])(?:{_WORD}[ \t]*+\.[ \t]*+){{32}}")

_BARE = re.compile(r"[A-Za-z0-9_-]+")

P = TypeVar("P", bound=Part)


def presets_folder() -> Path:
    """Find the folder of presets, installed from a wheel or in a checkout.

    Returns
    -------
    Path
        It has one folder for each of `KINDS`.
    """
    installed = Path(__file__).parents[1] / "presets_data"
    return installed if installed.is_dir() else Path(__file__).parents[2] / "presets"


def names(kind: str) -> list[str]:
    """List the presets of a kind.

    Parameters
    ----------
    kind : str
        One of `KINDS`.

    Returns
    -------
    list of str
        Their names, sorted.
    """
    files = (presets_folder() / kind).iterdir()
    return sorted(path.stem for path in files if path.suffix == ".toml")


def load_horn(name_or_path: str | Path) -> Horn:
    """Read a horn.

    Parameters
    ----------
    name_or_path : str or Path
        Name of a preset, or path of a TOML file.

    Returns
    -------
    Horn
        The model.

    Raises
    ------
    PresetError
        If there is no such preset or file, or anything in it is wrong.
    """
    return _load("horns", Horn, name_or_path)


def load_singer(name_or_path: str | Path) -> Singer:
    """Read a voice; as `load_horn`."""
    return _load("voices", Singer, name_or_path)


def load_piece(name_or_path: str | Path) -> Piece:
    """Read a passage; as `load_horn`."""
    return _load("passages", Piece, name_or_path)


def load(kind: str, name_or_path: str | Path) -> Part:
    """Read a preset of one of `KINDS`; as `load_horn`."""
    return _load(kind, KINDS[kind], name_or_path)


def read_text(text: str, file_name: str) -> Part:
    """Read a preset of any kind from its text.

    Parameters
    ----------
    text : str
        TOML.
    file_name : str
        Of the file that it stands in, for its name and for errors.

    Returns
    -------
    Horn or Singer or Piece
        The model.

    Raises
    ------
    PresetError
        If anything in it is wrong.
    """
    path = Path(file_name)
    data = _parse(text, path)
    made, wrong = _build(_kind_of(path, data), path, data, text)
    if made is None:
        raise PresetError("\n".join(wrong))
    return made


def write_text(preset: Preset) -> str:
    """Write a horn or a voice as the text of a preset file.

    Parameters
    ----------
    preset : Horn or Singer
        Its name is that of the file and does not stand in it.

    Returns
    -------
    str
        TOML; what `read_text` makes of it equals the preset bit for bit.
    """
    plain = preset.to_plain()
    plain.pop("name")
    return "\n".join(_table(plain, "")).strip() + "\n"


def _table(plain: Mapping[str, Any], place: str) -> list[str]:
    """Write named values as TOML, those that hold others below."""
    own, below = [], []
    for key, value in plain.items():
        inner = f"{place}.{key}" if place else key
        if isinstance(value, Mapping):
            below += ["", f"[{inner}]", *_table(value, inner)] if value else []
        elif isinstance(value, list | tuple):
            below += [line for one in value for line in ["", f"[[{inner}]]", *_table(one, inner)]]
        elif value is not None:
            told = _quoted(value) if isinstance(value, str) else repr(value)
            own.append(f"{key if _BARE.fullmatch(key) else _quoted(key)} = {told}")
    return own + below


def _quoted(text: str) -> str:
    """Quote text as TOML does: as JSON, and DEL as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def check(path: str | Path) -> list[str]:
    """List what is wrong with a preset file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    list of str
        One sentence for each mistake, without full stop; empty if it is right.
    """
    try:
        data, text = _read(Path(path))
    except PresetError as error:
        return [str(error)]
    return _build(_kind_of(Path(path), data), Path(path), data, text)[1]


def kind_of(path: str | Path) -> str:
    """Tell what kind of preset a file holds: by its folder, else by its keys.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    str
        One of `KINDS`.

    Raises
    ------
    PresetError
        If the file cannot be read.
    """
    wanted = _kind_of(Path(path), _read(Path(path))[0])
    return next(kind for kind, model in KINDS.items() if model is wanted)


def setup_for(horn: Horn, singer: Singer | None = None) -> Setup:
    """Put a horn, its default player and a voice together.

    Parameters
    ----------
    horn : Horn
        Gives bore, reed and breath.
    singer : Singer, optional
        Gives the voice; by default a modal pulse at usual depth.

    Returns
    -------
    Setup
        Its bore is the whole chain and its sung note is not yet chosen: see `Setup.with_value`.
    """
    return Setup(
        air=horn.air,
        bore=horn.bore,
        mouthpiece=horn.mouthpiece,
        reed=horn.reed,
        breath=horn.breath,
        voice=singer.voice if singer else Voice(),
    )


def is_path(name_or_path: str | Path) -> bool:
    """Tell a path from the name of a preset: it has a slash or ends in ``.toml``."""
    text = str(name_or_path)
    return isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or "\\" in text


def preset_path(kind: str, name_or_path: str | Path) -> Path:
    """Find the file of a preset.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    name_or_path : str or Path
        Name of a preset, or path of a TOML file.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    PresetError
        If there is no preset of that name; the text says which was meant.
    """
    if is_path(name_or_path):
        return Path(name_or_path)
    name, known = str(name_or_path), names(kind)
    if name in known:
        return presets_folder() / kind / f"{name}.toml"
    near = nearest(name, known)
    hint = f"did you mean {near}?" if near else f"there are {', '.join(known)}"
    one = kind.removesuffix("s")
    raise PresetError(f"{name!r} is no {one}; {hint} (or give the path of a TOML file)")


def _load(kind: str, model: type[P], name_or_path: str | Path) -> P:
    path = preset_path(kind, name_or_path)
    try:
        found = path.stat()
    except (OSError, ValueError):
        return _loaded(model, path, None)
    return _loaded(model, path, (found.st_mtime_ns, found.st_size))


@functools.lru_cache(maxsize=64)
def _loaded(model: type[P], path: Path, _: tuple[int, int] | None) -> P:
    """Read a preset once for each state of its file, for on the page many ask for the same."""
    data, text = _read(path)
    made, wrong = _build(model, path, data, text)
    if made is None:
        raise PresetError("\n".join(wrong))
    return made


def _read(path: Path) -> tuple[dict[str, Any], str]:
    """Read a file as TOML; its text comes along for the line numbers."""
    try:
        if wrong := unfit(path, LARGEST_FILE):
            raise PresetError(f"{path} {wrong}: no preset file")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise PresetError(f"{path} is no text in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PresetError(f"{path} cannot be read: {reason}") from None
    return _parse(text, path), text


def _parse(text: str, path: Path) -> dict[str, Any]:
    """Parse a text as TOML; the path is for the error."""
    if _TOO_DEEP.search(text):
        raise PresetError(f"{path.name} is nested too deep for a preset file")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(?s)(.*) \(at (?:line (\d+), .*|end of document)\)", str(error))
        what, line = (found[1], found[2]) if found else (str(error), None)
        line = line or str(len(text.splitlines()) or 1)
        raise PresetError(f"{path.name}:{line}: cannot be read as TOML: {what}") from None
    except ValueError:  # Python's own limit, 4300
        raise PresetError(f"{path.name} holds a number of thousands of digits") from None
    except RecursionError:
        raise PresetError(f"{path.name} is nested too deep for a preset file") from None


def _kind_of(path: Path, data: Mapping[str, Any]) -> type[Part]:
    if path.parent.name in KINDS:
        return KINDS[path.parent.name]
    if "passage" in data:
        return Piece
    return Singer if "voice" in data and not {"bore", "reed"} & set(data) else Horn


def _build(
    model: type[P], path: Path, data: dict[str, Any], text: str
) -> tuple[P | None, list[str]]:
    """Make a model of what a file holds, or say what is wrong with it."""
    plain = {**data, "name": path.stem}
    if isinstance(plain.get("sources"), Mapping):
        plain["sources"] = _flat(plain["sources"])
    made, found = model.read_plain(plain)
    if "name" in data:
        found.append(Problem(("name",), "name is the name of the file; leave the key out"))
    lines = key_lines(text)
    placed = [(_line_of(problem, lines), problem.sentence) for problem in found]
    told = [f"{path.name}:{line or 1}: {sentence}" for line, sentence in sorted(placed)]
    return (None if told else made), told


def _flat(table: Mapping[str, Any], place: str = "") -> dict[str, Any]:
    """Turn ``reed.opening_mm = "..."`` under ``[sources]`` back into one key."""
    flat: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{place}{key}.")
        else:
            flat[place + key] = value
    return flat


def _line_of(problem: Problem, lines: Mapping[str, int]) -> int:
    """Find the line of a key, or of the nearest table above it; 0 if there is none."""
    name = dotted(problem.path)
    while name and name not in lines:
        name = name.rpartition(".")[0]
    return lines.get(name, 0)


def key_lines(text: str) -> dict[str, int]:
    """Find the line of every key and table of a TOML text.

    Parameters
    ----------
    text : str
        TOML that parses.

    Returns
    -------
    dict
        Line number, counted from 1, by dotted name, list positions counted from 1 as well.
    """
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    here = ""
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()[:LONGEST_KEY]
        if table := re.match(r"\[\[\s*([^\]]+?)\s*\]\]", line):
            name = _bare(table[1])
            counts[name] = counts.get(name, 0) + 1
            here = f"{name}.{counts[name]}"
            lines.setdefault(name, number)
        elif table := re.match(r"\[\s*([^\]]+?)\s*\]", line):
            here = _bare(table[1])
        elif key := _KEY.match(line):
            lines.setdefault(f"{here}.{_bare(key[1])}" if here else _bare(key[1]), number)
            continue
        lines.setdefault(here, number)
    return lines


def _bare(key: str) -> str:
    return ".".join(part.strip(" \"'") for part in key.split("."))
