"""The lock table of the page: how far it is, again and again, and at last the table itself.

In: words. Out: dictionaries fit for JSON, one after the other; whoever no longer wants them closes
the generator.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.notes import midi_to_hz
from reedbore.page.map import sung_words
from reedbore.page.underway import Document, Tell, told
from reedbore.report import locks, singer
from reedbore.report.words import CLOCK, FOLDS, sentence
from reedbore.simulate.request.take import Words, players, read_request, tune_request, with_demo
from reedbore.verdict.locks import Table, lock_table
from reedbore.verdict.questions import Progress
from reedbore.verdict.singer import TYPICAL, SingerRow, singer_rows, singers

SINGS = "voice.drive=folds"
CLOCK_SHARE = 0.4
"""Of the work, if a singer is asked as well."""


def table(words: Words, *, thorough: bool = False, sung: bool = True) -> Iterator[Document]:
    """Make the lock table of the fingered note, telling how far it is.

    First it is searched for a voice like a clock, then for a singer whose folds feel the horn: the
    folds that are set, else typical ones.

    Parameters
    ----------
    words : Words
        The setup; its sung note does not matter.
    thorough : bool
        Also how strongly must be sung at least: takes about four times as long.
    sung : bool
        Whether a singer is asked.

    Yields
    ------
    dict
        The share `done`, again and again; beside it, once it is there and again at the end, the
        `table`: as `report.singer.document` with the words of a player beside each row, of a
        clock's its `group`, and what is said of the `groups`.

    Raises
    ------
    ReedboreError
        If words cannot be read, or there is nothing to lock.
    """
    folded = SINGS in words.settings
    clock = replace(
        words, sung="1/1", settings=tuple(one for one in words.settings if one != SINGS)
    )
    request = read_request(clock, still=True)
    source = request.setup.voice.source
    if source not in ("pulse", "sine"):
        raise ReedboreError(f"voice.source is {source!r}; a lock table needs 'pulse' or 'sine'")
    request = tune_request(request)
    _, voice = players(with_demo(words))
    low, high = (midi_to_hz(midi, words.a4) for midi in voice.midi_range)
    hz: float = request.typed.fingered_hz
    share = CLOCK_SHARE if sung else 1.0

    def work(tell: Tell) -> None:
        def done(part: float) -> None:
            tell({"done": min(part, 1.0)})

        found = lock_table(
            request.setup,
            hz,
            voice_range=(low, high),
            thorough=thorough,
            progress=lambda one: done(share * one),
        )
        rows = None
        if sung:
            tell({"done": share, "table": _table_told(found, None, words.a4)})
            rows = _singer(
                found, words if folded else None, lambda one: done(share + (1.0 - share) * one)
            )
        tell({"done": 1.0, "table": _table_told(found, rows, words.a4)})

    yield {"done": 0.0}
    yield from told(work)


def _singer(found: Table, own: Words | None, tell: Progress) -> list[SingerRow]:
    """Let a singer try what a clock was tried on: the own folds, else typical ones."""
    setup = singers(found.setup)[TYPICAL]
    if own is not None:
        setup = tune_request(read_request(replace(own, sung="1/1"), still=True)).setup
    ratios = [row.ratio for row in found.rows]
    return singer_rows([setup], found.voice_off_hz, ratios, tell)[0]


def _table_told(found: Table, sung: list[SingerRow] | None, a4: float) -> dict[str, Any]:
    document = singer.document(sung or (), {}, found, a4)
    for plain, row in zip(document["rows"], found.rows, strict=True):
        plain["words"] = locks.row_words(row, a4)
        plain["group"] = locks.group_of(row)
        plain["patch"] = _patch(row.sung_hz, a4, None)
    for plain, one in zip(document["singer"] or (), singer.easiest_first(sung or ()), strict=True):
        plain["words"] = singer.row_words(one, (), a4)._asdict()
        plain["patch"] = _patch(plain["aimed_hz"], a4, "folds")
    del document["setup"]
    document["groups"] = {
        name: {"says": sentence(group.says), "in_full": group.in_full}
        for name, group in locks.GROUPS.items()
    }
    return document | {"note": sentence(CLOCK), "singer_note": sentence(FOLDS)}


def _patch(hz: float, a4: float, drive: str | None) -> dict[str, Any]:
    """Write the words that set a note, and who sings it."""
    words = sung_words(hz, a4)
    return {**words, "settings": {**words["settings"], "voice.drive": drive}}
