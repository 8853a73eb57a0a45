"""One's own voice on the page: a recording judged note by note, beside its passage.

In: a sound file that was dropped, or what the microphone heard, and what it is: a voice alone,
which then sings into the horn that is set, or horn and voice together. Out: documents fit for JSON:
what `render --sung FILE` or `analyse FILE` tell of the same recording. It lies in a folder of its
own while it is judged, and is gone with it.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from reedbore import sound
from reedbore.errors import AudioError, ReedboreError
from reedbore.files import file_stem
from reedbore.model.passage import Passage
from reedbore.model.units import QUANTITIES, from_si
from reedbore.page import passage as passages
from reedbore.page.answers import number, shown
from reedbore.page.choices import RECORDED_S
from reedbore.page.request import read_words
from reedbore.page.underway import Document, Tell, told
from reedbore.report import recording as report
from reedbore.simulate.request.passage import read_passage
from reedbore.simulate.request.take import Words, is_recording, players
from reedbore.verdict import recording as judging
from reedbore.verdict.against_plan import Aligned, align, planned_notes, sung_into
from reedbore.verdict.recording.file import by_channel, complaints
from reedbore.verdict.recording.found import Found

INSTEAD = {"voice": "reedbore render --sung", "both": "reedbore analyse"}


def stream(body: Mapping[str, Any]) -> Iterator[Document]:
    """Judge a recording.

    Parameters
    ----------
    body : mapping
        ``data``, the bytes of a sound file, and its ``name``; ``kind``, voice or both; ``words``;
        ``passage``, as for `passages.read`, or null for the fingered note held; ``throat``, the
        channel of a microphone on the throat, or null.

    Yields
    ------
    dict
        First the plan, then how far it is, the `sound` of a horn that was sung into, `rows`; at
        last `beside`, the recording against its passage.

    Raises
    ------
    ReedboreError
        If it is no sound, too long, silent, or anything else is wrong with it.
    """
    kind, name, data = body.get("kind"), body.get("name"), body.get("data")
    if kind not in tuple(RECORDED_S):
        raise ReedboreError(f"kind is {shown(kind)}; write {' or '.join(RECORDED_S)}")
    assert isinstance(data, bytes)
    with TemporaryDirectory(prefix="reedbore-") as made:
        folder = str(Path(made).resolve())
        path = Path(folder) / _plain_name(name)
        path.write_bytes(data)
        judge = _sung if kind == "voice" else _together
        try:
            _check(path, kind)
            for document in judge(path, body):
                yield _bare(document, folder)
        except ReedboreError as error:
            error.args = (_bare(str(error), folder),)
            raise


def _plain_name(name: object) -> str:
    """Name the file as its owner does, so that sentences do, with an ending of a sound file."""
    bare = file_stem([Path(str(name)).name]).lstrip(".-") or "recording.wav"
    return bare if is_recording(bare) else f"{bare}.wav"


def _bare(told_of: Any, folder: str) -> Any:
    """Take the folder out of all that is told: the file is called as its owner called it."""
    if isinstance(told_of, str):
        return re.sub(rf"(?:(?:--)?sung )?{re.escape(folder)}/", "", told_of)
    if isinstance(told_of, Mapping):
        return {key: _bare(one, folder) for key, one in told_of.items()}
    return [_bare(one, folder) for one in told_of] if isinstance(told_of, list) else told_of


def _check(path: Path, kind: str) -> None:
    """Refuse what is no sound, or longer than the page takes."""
    seconds, longest = sound.Pieces(path).seconds, RECORDED_S[kind]
    if seconds > longest:
        raise AudioError(
            f"{path.name} lasts {seconds:.0f} s; the page judges up to {longest:g} s, "
            f"{INSTEAD[kind]} longer ones"
        )


def _passage(body: Mapping[str, Any], words: Words) -> tuple[Words, Passage | None]:
    """Read the passage that was meant: the words that play it, and its lines."""
    if body.get("passage") is None:
        return words, None
    meant = passages.read(body["passage"], words)
    return meant, read_passage(meant).piece.passage


# --- a voice alone -------------------------------------------------------------------------------


def _sung(path: Path, body: Mapping[str, Any]) -> Iterator[Document]:
    """Let a voice sing into the horn that is set, over the held note or the passage."""
    words = read_words(body.get("words", {}))
    meant, passage = _passage(body, words)
    if passage is None:
        sings = Words(
            horn=words.horn, voice=words.voice, instrument=words.instrument, singer=words.singer,
            fingered=words.fingered, written=words.written, a4=words.a4, sung=str(path),
            depth=words.depth, breath=words.breath, settings=words.settings,
        )  # fmt: skip
    else:
        sings = replace(meant, sung=str(path))
    request = read_passage(sings)
    yield passages.plan(request)

    def work(tell: Tell) -> None:
        rows = passages.play(request, tell)
        if passage is not None:
            planned = planned_notes(passage, words.a4)
            tell(_beside(align(sung_into(rows), planned), passage, words.a4))

    yield from told(work)


# --- horn and voice together ---------------------------------------------------------------------


def _together(path: Path, body: Mapping[str, Any]) -> Iterator[Document]:
    """Tell what a recording of horn and voice holds, as `analyse` does."""
    words = read_words(body.get("words", {}))
    _, passage = _passage(body, words)
    throat = body.get("throat")
    recording = by_channel(sound.Pieces(path), int(number("throat", throat)) if throat else None)
    _, singer = players(words)
    reach = singer.reach(words.a4)
    yield {
        "seconds": recording.seconds,
        "title": path.name,
        "a4": words.a4,
        "planned": passage is not None,
    }

    def work(tell: Tell) -> None:
        def share(of: str) -> Callable[[float], None]:
            return lambda done: tell({"stage": of, "done": done})

        said = complaints(recording, share("looking at the sound"))
        tell({"warnings": said})
        known = judging.Known(None, reach)
        rows = judging.analyse(recording, known, share("listening to the notes"))
        aligned = None if passage is None else align(rows, planned_notes(passage, words.a4))
        tell(found(aligned.rows if aligned else rows, words.a4, reach))
        if aligned is not None and passage is not None:
            tell(_beside(aligned, passage, words.a4))

    yield from told(work)


def found(rows: Sequence[Found], a4: float, reach: tuple[float, float]) -> dict[str, Any]:
    """Return what a recording holds, as the command tells it."""
    return {
        "rows": report.document(rows, a4, reach),
        "cells": [report.HEAD, *(report.cells_of(row, a4) for row in rows)],
        "says": report.sentences(rows, a4, reach) if rows else [report.text(rows)],
    }


def _beside(aligned: Aligned, passage: Passage, a4: float) -> dict[str, Any]:
    bpm = from_si(QUANTITIES["passage.tempo_bpm"], passage.tempo)
    return {
        "beside": report.plan_document(aligned, bpm, a4),
        "beside_says": report.plan_text(aligned, bpm, a4).splitlines(),
    }
