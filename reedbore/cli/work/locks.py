"""One lock table from the command line: read what is asked for, search, write, tell."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reedbore.cli.common import Progress, tell
from reedbore.errors import ReedboreError
from reedbore.files import check_writable, write_whole
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import midi_to_hz, written_name
from reedbore.report import locks, singer
from reedbore.simulate.request.take import Request, Words, read_request, tune_request, with_demo
from reedbore.verdict.locks import Table, lock_table
from reedbore.verdict.singer import TYPICAL, SingerRow, singer_rows, tried
from reedbore.verdict.singer import singers as singers_of

PICTURES = ".png", ".svg", ".pdf"
TEXTS = ".csv", ".json"


@dataclass(frozen=True)
class Made:
    """A table and what was asked for."""

    table: Table
    request: Request
    a4: float
    voices: dict[str, list[SingerRow]]
    """Of each singer that was tried."""

    @property
    def singer(self) -> list[SingerRow]:
        """Rows of the typical one; none if none was tried."""
        return self.voices.get(TYPICAL, [])

    @property
    def spread(self) -> dict[tuple[int, int], list[SingerRow]]:
        """For each ratio the rows of all singers; empty if only one was tried."""
        if len(self.voices) < 2:
            return {}
        each = zip(*self.voices.values(), strict=True)
        return {row.ratio: list(others) for row, others in zip(self.singer, each, strict=True)}

    @property
    def title(self) -> str:
        """Name horn and note."""
        return self.request.typed.title.partition(" fingered")[0] + " fingered"


def refuse_atlas(depths: str | None, part: str, cluster: str | None) -> None:
    """Refuse what only an atlas has."""
    for name, given in (("depths", depths), ("part", part != "1/1"), ("cluster", cluster)):
        if given:
            raise ReedboreError(f"--{name} goes with --every-note")


def make(
    words: Mapping[str, Any],
    outputs: list[Path],
    *,
    all_ratios: bool,
    thorough: bool,
    confirm: bool,
    singers: str = "one",
) -> Made:
    """Make the table that was asked for.

    Parameters
    ----------
    words : mapping
        What `Words` is made of, without a sung note.
    outputs : list of Path
        Where it will be written, looked at before anything is calculated.
    all_ratios, thorough, confirm, singers : bool, str
        As for the command `locks`.

    Returns
    -------
    Made
        The table.

    Raises
    ------
    ReedboreError
        If a word cannot be read, the horn has no such note, or a file cannot be written.
    """
    for path in outputs:
        if path.suffix.lower() not in PICTURES + TEXTS:
            known = ", ".join(TEXTS + PICTURES)
            raise ReedboreError(f"{path} has no known kind of file; write one of {known}")
        check_writable(path)
    request = read_request(Words(**words, sung="220Hz"), still=True)
    for warning in request.warnings:
        if "lies outside" not in warning:
            tell(warning)
    if request.setup.voice.source not in ("pulse", "sine"):
        found = request.setup.voice.source
        raise ReedboreError(f"voice.source is {found!r}; a lock table needs 'pulse' or 'sine'")
    singer = load_singer(with_demo(Words(**words)).voice or "")
    low, high = (midi_to_hz(midi, words["a4"]) for midi in singer.midi_range)
    tuned = tune_request(request)
    with Progress() as progress:
        progress.stage("searching")
        table = lock_table(
            tuned.setup,
            request.typed.fingered_hz,
            voice_range=None if all_ratios else (low, high),
            thorough=thorough,
            confirm=confirm,
            progress=progress.share,
        )
        voices = _sung(table, singers, progress)
    return Made(table, tuned, words["a4"], voices)


def _sung(table: Table, singers: str, progress: Progress) -> dict[str, list[SingerRow]]:
    """Let singers with folds try what a voice like a clock was tried on."""
    known = singers_of(table.setup)
    names = tried(singers)
    ratios = [row.ratio for row in table.rows]
    if not names:
        return {}
    progress.stage("nine singers try" if names[1:] else "a singer tries")
    setups = [known[name] for name in names]
    found = singer_rows(setups, table.voice_off_hz, ratios, progress.share)
    return dict(zip(names, found, strict=True))


def readable(made: Made) -> str:
    """Return the table for reading."""
    clock = locks.text(made.table, made.a4)
    if not made.voices:
        return f"{made.title}, {clock}"
    sung = singer.text(made.singer, made.spread or None, made.a4)
    return f"{made.title}, {sung}\n\nfor a voice like a clock, {clock}"


def data(made: Made) -> dict[str, Any]:
    """Return the table as plain data."""
    horn = load_horn(made.request.typed.horn)
    written = written_name(made.table.fingered_hz, horn.transposition, made.a4)
    return {
        "title": made.title,
        "fingered_written": written,
        **singer.document(made.singer, made.spread, made.table, made.a4),
    }


def write(made: Made, path: Path) -> None:
    """Write the table into a file, by its suffix."""
    kind = path.suffix.lower()
    if kind == ".csv":
        rows = made.singer, made.spread, made.table, made.a4
        text = singer.csv_text(*rows) if made.voices else locks.csv_text(made.table, made.a4)
        write_whole(path, text.encode())
    elif kind == ".json":
        write_whole(path, (json.dumps(data(made), indent=1, ensure_ascii=False) + "\n").encode())
    elif made.voices:
        from reedbore.report.figures.singer import singer_picture  # noqa: PLC0415 - matplotlib

        singer_picture(made.singer, made.spread, made.table, made.title, path, a4=made.a4)
    else:
        from reedbore.report.figures.locks import lock_table_picture  # noqa: PLC0415 - matplotlib

        lock_table_picture(made.table, made.title, path, a4=made.a4)
