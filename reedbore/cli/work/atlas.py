"""An atlas from the command line: read what is asked for, make it, tell; and find a pair again."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from reedbore.cli.work.sweep import read_part
from reedbore.errors import ReedboreError
from reedbore.files import file_stem
from reedbore.kernel.executor import usable_cores
from reedbore.model.presets import load_horn, load_singer
from reedbore.model.sidecar import model_change
from reedbore.notes import hz_to_midi, note_name, parse_pitch, parse_ratio
from reedbore.report import atlas as telling
from reedbore.report.singer import aim_hz
from reedbore.simulate.request.take import Request, Words, named, refuse_words, with_demo
from reedbore.simulate.request.typed import TypedCell
from reedbore.verdict import atlas, singer
from reedbore.verdict.atlas import Atlas, Found, Sheet, SungSheet
from reedbore.verdict.lock_edges import sung_at
from reedbore.verdict.locks import Row
from reedbore.verdict.sweep.store import SUFFIX, check_place

CLOCK = "clock"
"""What ``--at voice=`` calls a voice like a clock."""


def read(
    words: Mapping[str, Any],
    outputs: Sequence[Path],
    *,
    depths: str | None,
    singers: str,
    all_ratios: bool,
    thorough: bool,
    confirm: bool,
) -> tuple[Atlas, Path]:
    """Turn what was typed into an atlas.

    Parameters
    ----------
    words : mapping
        As for `request.Words`.
    outputs : sequence of Path
        One, the store.
    depths, singers, all_ratios, thorough, confirm : str or bool
        As for the command `locks`.

    Returns
    -------
    atlas : Atlas
        What is made.
    path : Path
        Its store.

    Raises
    ------
    ReedboreError
        If anything is wrong with it.
    """
    for name in ("fingered", "fingering", "written"):
        if words[name]:
            raise ReedboreError(f"--every-note fingers every note: leave --{name} out")
    for name, given in (("thorough", thorough), ("confirm", confirm)):
        if given:
            raise ReedboreError(f"--{name} is for the table of one note: leave it out")
    if len(outputs) != 1:
        raise ReedboreError(f"--every-note is kept in one file: give -o FILE{SUFFIX} once")
    if depths is not None and words["depth"] is not None:
        raise ReedboreError("--depth and --depths say the same: leave one out")
    typed = with_demo(Words(**words))
    horn, voice = load_horn(typed.horn or ""), load_singer(typed.voice or "")
    usual = voice.voice.depth if typed.depth is None else typed.depth
    made = Atlas(
        horn=horn,
        singer=voice,
        notes=tuple(horn.notes()),
        depths=(usual,) if depths is None else read_depths(depths),
        voices=singer.tried(singers),
        breath=typed.breath,
        settings=tuple(typed.settings),
        a4=typed.a4,
        all_ratios=all_ratios,
    )
    atlas.check(made)
    check_place(outputs[0])
    return made, outputs[0]


def read_depths(text: str) -> tuple[float, ...]:
    """Read several depths in one word."""
    try:
        return tuple(map(float, text.split()))
    except ValueError:
        raise ReedboreError(
            f"--depths is {text!r}; write depths from 0 to 1 and blanks between, as in '0.1 0.2'"
        ) from None


class Share(NamedTuple):
    """Which part of the work is done, and by whom."""

    part: tuple[int, int]
    cluster: str | None


def read_share(part: str, cluster: str | None) -> Share:
    """Read ``i/n``, and the address of a cluster."""
    return Share(read_part(part), cluster)


def run(made: Atlas, path: Path, share: Share) -> tuple[dict[str, Any], str]:
    """Do what is still to be done, on all cores or on a cluster; sum up what is then there."""
    atlas.run(
        made, path, part=share.part, cluster=share.cluster, processes=usable_cores()
    )  # fmt: skip
    found = atlas.read(path)
    return telling.document(found), telling.text(found)


# --- a pair again --------------------------------------------------------------------------------


def read_pair(words: Mapping[str, Any], path: Path, at: Sequence[str]) -> Request:
    """Read the setup of one pair of an atlas, sung where its table says to sing or to aim.

    Parameters
    ----------
    words : mapping
        What else was typed; it may be nothing.
    path : Path
        The store.
    at : sequence of str
        ``note=Bb2`` and ``ratio=5/2``; ``depth=0.1`` where there are several, and ``voice=``
        `CLOCK` or whose folds, by default those that were tried first, if any were.

    Returns
    -------
    Request
        Ready to be rendered; what the atlas found there stands under `cell` in `typed`.

    Raises
    ------
    ReedboreError
        If there is no such pair, or something else was typed.
    """
    refuse_words(words, f"--from renders a pair of {path}")
    found = atlas.read(path)
    made, given = found.atlas, _read_at(found, at)
    with named("--at note"):
        hz = parse_pitch(given["note"], made.a4, transposition=made.horn.transposition)
    midi = round(hz_to_midi(hz, made.a4))
    try:
        depth = float(given["depth"]) if "depth" in given else made.depths[0]
    except ValueError:
        raise ReedboreError(f"--at depth: {given['depth']!r} is no number") from None
    voice = given.get("voice") or (made.voices[0] if made.voices else CLOCK)
    if voice != CLOCK and voice not in made.voices:
        known = ", ".join((CLOCK, *made.voices))
        raise ReedboreError(f"--at voice={voice}: {path} has {known}")
    with named("--at ratio"):
        ratio = parse_ratio(given["ratio"])
    sheet: Sheet | SungSheet | None = found.clock(midi, depth)
    if voice != CLOCK:
        sheet = found.singer(midi, depth, voice)
    fingered = note_name(made.request(midi, depth).typed.fingered_hz, made.a4)
    if sheet is None:
        raise ReedboreError(f"{path}: {fingered} at depth {depth:g} is not made yet")
    if sheet.reason:
        raise ReedboreError(f"{path}: {fingered} has no table: {sheet.reason}")
    row = next((row for row in sheet.rows if row.ratio == ratio), None)
    if row is None:
        known = "  ".join(f"{row.ratio[0]}/{row.ratio[1]}" for row in sheet.rows)
        raise ReedboreError(f"--at ratio={given['ratio']}: over {fingered} there are {known}")
    setup = made.setup(midi, depth)
    if voice != CLOCK:
        setup = singer.singers(setup)[voice]
        reached = None if isinstance(row, Row) else row.depth
        setup = setup.with_value("voice.depth", reached or depth)
    aimed = row.sung_hz if isinstance(row, Row) else aim_hz(row)
    asked = [f"note={fingered}", f"ratio={given['ratio']}", f"depth={depth:g}", f"voice={voice}"]
    which = "sung" if voice == CLOCK else "aimed at"
    change = model_change(made.model)
    return Request(
        setup=sung_at(setup, aimed),
        typed=TypedCell(
            store=str(path),
            cell={"state": row.state, "ratio": given["ratio"], "heard": row.heard},
            horn=made.horn.name,
            fingered=fingered,
            at=tuple(asked),
            a4_hz=made.a4,
            fingered_hz=made.request(midi, depth).typed.fingered_hz,
            title=f"{made.horn.title}, {fingered} fingered, {note_name(aimed, made.a4)} {which}",
            stem=file_stem([path.stem, *asked]),
        ),
        warnings=(
            *([f"{path}: {change}"] if change else []),
            f"the atlas found here: {row.state}",
        ),
    )


NAMES = "note", "ratio", "depth", "voice"


def _read_at(found: Found, at: Sequence[str]) -> dict[str, str]:
    """Read which pair is meant; no name twice, and none left out that is needed."""
    given: dict[str, str] = {}
    for one in at:
        name, _, written = (part.strip() for part in one.partition("="))
        if name not in NAMES or not written or name in given:
            raise ReedboreError(
                f"--at {one!r}: write each of {', '.join(NAMES)} once, as NAME=VALUE"
            )
        given[name] = written
    needed = ["note", "ratio", *["depth"] * (len(found.atlas.depths) > 1)]
    if missing := [name for name in needed if name not in given]:
        raise ReedboreError(
            f"--at {missing[0]}=VALUE is missing; an atlas needs {', '.join(needed)}"
        )
    return given
