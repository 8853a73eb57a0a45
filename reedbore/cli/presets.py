"""The command `presets`: what horns, voices and passages there are, and is mine right."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, Parameter

from reedbore.cli.common import say, say_json, tell
from reedbore.errors import PresetError

if TYPE_CHECKING:
    from reedbore.model.passage import Piece
    from reedbore.model.settings import Part

presets = App(
    name="presets",
    help="List the horns, voices and passages there are; show one, or check a file.",
    help_format="plaintext",
)

Json = Annotated[bool, Parameter(name="--json", negative="")]


@presets.default
def list_all(*, json: Json = False) -> None:
    """List the horns, voices and passages there are, and where their files are.

    Parameters
    ----------
    json
        Print one JSON document.
    """
    from reedbore.model.presets import (  # noqa: PLC0415 - help starts faster
        KINDS,
        load,
        names,
        presets_folder,
    )

    found = {
        kind: {name: load(kind, name).to_plain()["title"] for name in names(kind)} for kind in KINDS
    }
    if json:
        say_json({"folder": str(presets_folder()), **found})
        return
    for kind, titles in found.items():
        say(kind)
        for name, title in titles.items():
            say(f"  {name:21} {title}")
    say(f"folder: {presets_folder()}")


@presets.command
def show(
    name: str,
    /,
    *,
    picture: Path | None = None,
    fingered: str | None = None,
    fingering: str = "",
    json: Json = False,
) -> None:
    """Show a preset: its range, every setting with its unit, and where each number comes from.

    Parameters
    ----------
    name
        Name of a horn, voice or passage, or a TOML file.
    picture
        Draw the impedance of a horn into this file: .png, .svg or .pdf.
    fingered
        The note of the picture. [default: the lowest of the horn]
    fingering
        Name of another fingering for it.
    json
        Print one JSON document.
    """
    preset = _find(name)
    if picture:
        _draw(preset, picture, fingered, fingering)
        tell(f"wrote {picture}")
    elif fingered or fingering:
        raise PresetError("--fingered and --fingering are for the picture; add --picture FILE")
    if json:
        say_json(preset.to_plain())
    else:
        say("\n".join([_table(preset.to_plain()), *_breaths(preset), *_lasts(preset)]))


@presets.command
def check(file: Path, /, *, json: Json = False) -> int:
    """Check a TOML file of your own: list all its mistakes, each with its line.

    Parameters
    ----------
    file
        The file.
    json
        Print one JSON document.
    """
    from reedbore.model import presets as files  # noqa: PLC0415 - help starts faster

    wrong = files.check(file) or _unplayable(file)
    if json:
        say_json({"file": str(file), "mistakes": wrong})
    elif wrong:
        raise PresetError("\n".join(wrong))
    else:
        say(f"{file} is right: {files.kind_of(file).removesuffix('s')} {file.stem}")
    return 2 if wrong else 0


def _unplayable(file: Path) -> list[str]:
    """List what keeps a passage from being played: its horn, its voice, and notes it has not."""
    from reedbore.model import presets as files  # noqa: PLC0415 - help starts faster

    if files.kind_of(file) != "passages":
        return []
    piece = files.load_piece(file)
    lines = files.key_lines(file.read_text(encoding="utf-8-sig"))
    wrong = []
    for key, load in (("horn", files.load_horn), ("voice", files.load_singer)):
        try:
            load(getattr(piece, key))
        except PresetError as error:
            wrong.append(f"{file.name}:{lines[key]}: {key} {error}")
    if not wrong:
        place = f"{file.name}:{lines['passage.fingered']}: passage.fingered"
        wrong = [f"{place} {mistake}" for mistake in _missing_notes(piece)]
    return wrong


def _missing_notes(piece: "Piece") -> list[str]:
    """List the fingered notes of a passage that its horn does not have."""
    from reedbore.errors import ModelError  # noqa: PLC0415
    from reedbore.model.presets import load_horn  # noqa: PLC0415
    from reedbore.notes import parse_pitch  # noqa: PLC0415
    from reedbore.simulate.tuning import check_note  # noqa: PLC0415

    horn = load_horn(piece.horn)
    told: dict[str, str] = {}
    for place, note in enumerate(piece.passage.fingered_line.notes, 1):
        if note.pitch is not None:
            try:
                check_note(horn, parse_pitch(note.pitch), note.fingering)
            except ModelError as error:
                told.setdefault(str(error), f"{note.pitch} (word {place}): {error}")
    return list(told.values())


def _lasts(preset: "Part") -> list[str]:
    """Tell how long a passage is."""
    from reedbore.model.passage import Piece  # noqa: PLC0415

    if not isinstance(preset, Piece):
        return []
    passage = preset.passage
    return ["", f"  lasts {passage.seconds:.3g} s, {passage.beats:g} beats"]


def _draw(preset: "Part", picture: Path, fingered: str | None, fingering: str) -> None:
    """Draw the impedance of a horn with a note fingered."""
    from reedbore.model.setup import Horn  # noqa: PLC0415
    from reedbore.notes import note_name, parse_pitch  # noqa: PLC0415
    from reedbore.report.figures.impedance import impedance_picture  # noqa: PLC0415
    from reedbore.simulate.tuning import tune  # noqa: PLC0415

    if not isinstance(preset, Horn):
        raise PresetError("--picture draws the impedance of a horn, and this is none")
    hz = parse_pitch(fingered or preset.low_note)
    title = f"{preset.title}, {note_name(hz)} fingered{f' ({fingering})' if fingering else ''}"
    impedance_picture(tune(preset, hz, fingering=fingering), title, picture)


def _find(name: str) -> "Part":
    """Load a preset of whatever kind."""
    from reedbore.model.presets import KINDS, is_path, kind_of, load, names  # noqa: PLC0415
    from reedbore.model.settings import nearest  # noqa: PLC0415

    if is_path(name):
        return load(kind_of(name), name)
    for kind in KINDS:
        if name in names(kind):
            return load(kind, name)
    near = nearest(name, [known for kind in KINDS for known in names(kind)])
    hint = f"did you mean {near}?" if near else "reedbore presets lists them"
    raise PresetError(f"{name!r} is no preset; {hint} (or give the path of a TOML file)")


def _breaths(preset: "Part") -> list[str]:
    """Tell what a player does from pp to ff: breath, and the tip that the lip leaves open."""
    from reedbore.model.passage import DYNAMICS  # noqa: PLC0415
    from reedbore.model.presets import setup_for  # noqa: PLC0415
    from reedbore.model.setup import Horn  # noqa: PLC0415
    from reedbore.simulate.dynamics import with_dynamic  # noqa: PLC0415

    if not isinstance(preset, Horn):
        return []
    played = {name: with_dynamic(setup_for(preset), name) for name in DYNAMICS}
    lines = [""]
    for title, key, unit in (
        ("breath", "breath.pressure_kpa", "kPa"),
        ("tip", "reed.opening_mm", "mm"),
    ):
        told = "  ".join(f"{name} {setup.value(key):.2f}" for name, setup in played.items())
        lines.append(f"  {title:28} {told}  {unit}")
    return lines


def _table(plain: dict[str, Any]) -> str:
    """Set out a preset for reading: one setting a line, with its source."""
    from reedbore.model.settings import leaves  # noqa: PLC0415

    sources = plain.pop("sources", {})
    holes, fingerings = plain.get("bore", {}).pop("holes", []), plain.pop("fingerings", {})
    lines = [f"{plain.pop('name')}: {plain.pop('title')}"]
    for name, value in leaves(plain):
        bare = ".".join(part for part in name.split(".") if not part.isdigit())
        lines.append(f"  {name:28} {_number(value):>12}  {_source(sources, bare)}")
    if holes:
        lines += ["", *_hole_table(holes, sources)]
    if fingerings:
        lines += ["", f"  {'fingering':28} open holes    {sources.get('fingerings', '')}"]
        lines += [f"  {label:28} {text or 'none'}" for label, text in fingerings.items()]
    return "\n".join(line.rstrip() for line in lines)


def _source(sources: dict[str, str], name: str) -> str:
    """Return where a number comes from; for all numbers of all vents that is told once."""
    return sources.get(name) or sources.get(name.partition(".")[0], "")


def _hole_table(holes: list[dict[str, Any]], sources: dict[str, str]) -> list[str]:
    """Set out tone holes, one a line, and below them where their numbers come from."""
    lines = [f"  {'bore.holes':12}" + "".join(f"{key:>14}" for key in holes[0])]
    for number, hole in enumerate(holes, 1):
        cells = "".join(f"{_number(value):>14}" for value in hole.values())
        lines.append(f"  {number:<12}{cells}")
    told = [key for key in holes[0] if f"bore.holes.{key}" in sources]
    return lines + [f"  {f'bore.holes.{key}':28} {sources['bore.holes.' + key]}" for key in told]


def _number(value: object) -> str:
    if value in {None, ""}:
        return "whole" if value is None else "not set"
    return f"{value:.10g}" if isinstance(value, float) else str(value)
