"""The lock table of the page: how far it is, again and again, and at last the table itself.

In: words. Out: dictionaries fit for JSON, one after the other; whoever no longer wants them closes
the generator.
"""

import queue
import threading
from collections.abc import Iterator
from contextvars import copy_context
from dataclasses import replace
from functools import partial
from typing import Any

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.notes import midi_to_hz
from reedbore.page.map import sung_words
from reedbore.report import locks
from reedbore.report.words import sentence
from reedbore.simulate.request.take import Words, players, read_request, tune_request, with_demo
from reedbore.verdict.locks import Table, lock_table


def table(words: Words, *, thorough: bool = False) -> Iterator[dict[str, Any]]:
    """Make the lock table of the fingered note, telling how far it is.

    Parameters
    ----------
    words : Words
        The setup; its sung note does not matter.
    thorough : bool
        Also how strongly must be sung at least: takes about four times as long.

    Yields
    ------
    dict
        The share `done`, again and again; at the end the `table`, as `report.locks.document` with
        the words of a player beside each row, its `group`, and what is said of the `groups`.

    Raises
    ------
    ReedboreError
        If words cannot be read, or there is nothing to lock.
    """
    request = read_request(replace(words, sung="1/1"), still=True)
    source = request.setup.voice.source
    if source not in ("pulse", "sine"):
        raise ReedboreError(f"voice.source is {source!r}; a lock table needs 'pulse' or 'sine'")
    request = tune_request(request)
    _, singer = players(with_demo(words))
    low, high = (midi_to_hz(midi, words.a4) for midi in singer.midi_range)
    hz: float = request.typed.fingered_hz
    seek = partial(lock_table, request.setup, hz)
    told: queue.SimpleQueue[float | Table | Exception] = queue.SimpleQueue()
    closed = threading.Event()

    def tell(share: float) -> None:
        stopping.check()
        if closed.is_set():
            raise stopping.Stopped
        told.put(share)

    def work() -> None:
        try:
            told.put(seek(voice_range=(low, high), thorough=thorough, progress=tell))
        except Exception as error:
            told.put(error)

    yield {"done": 0.0}
    threading.Thread(target=copy_context().run, args=(work,), daemon=True).start()
    try:
        while not isinstance(one := told.get(), Table):
            if isinstance(one, Exception):
                raise one
            yield {"done": min(one, 1.0)}
    finally:
        closed.set()
    yield {"done": 1.0, "table": _table_told(one, words.a4)}


def _table_told(found: Table, a4: float) -> dict[str, Any]:
    document = locks.document(found, a4)
    for plain, row in zip(document["rows"], found.rows, strict=True):
        plain["words"] = locks.row_words(row, a4)
        plain["group"] = locks.group_of(row)
        plain["patch"] = sung_words(row.sung_hz, a4)
    del document["setup"]
    document["groups"] = {name: sentence(group.says) for name, group in locks.GROUPS.items()}
    return document | {"note": sentence(document["note"])}
