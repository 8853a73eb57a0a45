"""A passage on the page: what it is, its sound as soon as it is played, then its notes judged.

In: what the page sent: the étude by name, lines as they are typed, or a file that was dropped; and
the words of the setup, which say who plays it. Out: documents fit for JSON, one after the other:
what the command `render` tells of the same passage.
"""

import base64
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.files import file_stem
from reedbore.model.line import Line
from reedbore.model.passage import Passage, Piece, write_piece
from reedbore.model.presets import load_piece, names
from reedbore.notes import note_name, parse_pitch
from reedbore.page.answers import number, plainly, shown
from reedbore.page.choices import PLAYED_S, passage_entry
from reedbore.page.request import opened, read_words
from reedbore.page.underway import Document, Tell, told
from reedbore.report import passage as report
from reedbore.report.figures import passage_data
from reedbore.simulate.outside import SOUND_RATE, levelled
from reedbore.simulate.performance import Performance, perform
from reedbore.simulate.request.compose import USUAL_BPM, source_of
from reedbore.simulate.request.lines import MIDI_FILES, SCORE_FILES, kind_of
from reedbore.simulate.request.passage import PassageRequest, read_passage, score_of
from reedbore.simulate.request.take import Words
from reedbore.simulate.track import SPEEDS, slowed
from reedbore.verdict.passage import NoteVerdict, judge_notes

LONGEST_LINE = 5000
"""Letters of a line that is typed."""

MOST_POINTS = 1500
"""Of a course of pitch that is drawn."""

SOUND_PART = 96000
"""Samples that go into one document."""

SCORES = {".toml", *MIDI_FILES, *SCORE_FILES}
KEYS = {"name", "text", "fingered", "sung", "tempo_bpm", "speed"}


def read(plain: object, words: Words) -> Words:
    """Read which passage is meant, and who plays it.

    Parameters
    ----------
    plain : object
        ``name``, that of a passage that is shipped, or of the ``text`` of a passage file; or
        ``fingered``, ``sung`` and ``tempo_bpm`` as they are typed. Beside it ``speed``, a share of
        the tempo in percent.
    words : Words
        Of the page: horn, voice, breath, depth and settings are those of the passage.

    Returns
    -------
    Words
        For `read_passage`. Played by its own horn and voice a passage sounds as its file says.

    Raises
    ------
    ReedboreError
        If it cannot be read, or names a file.
    """
    if not isinstance(plain, Mapping) or set(plain) - KEYS:
        raise ReedboreError(f"a passage has {', '.join(sorted(KEYS))}; {shown(plain)} was sent")
    least, most = (100.0 * share for share in SPEEDS)
    speed = number("speed", plain.get("speed", 100.0))
    if not least <= speed <= most:
        raise ReedboreError(
            f"speed is {speed:g} %; allowed {least:g} to {most:g} % (share of the tempo)"
        )
    bare = replace(words, fingered=None, sung=None, fingering="", written=False)
    if "name" not in plain:
        return _typed(plain, replace(bare, written=words.written), speed / 100.0)
    piece = _piece(plain)
    if speed < 100.0:
        piece = piece.model_copy(update={"passage": slowed(piece.passage, speed / 100.0)})
    own = (words.horn, words.voice) == (piece.horn, piece.voice)
    if own and words.instrument is None and words.singer is None:
        bare = replace(bare, horn=None, voice=None)
    return replace(bare, passage=piece.name, piece=piece)


def _piece(plain: Mapping[str, Any]) -> Piece:
    if "text" in plain:
        found = opened(plain["text"], plain["name"])
        if not isinstance(found, Piece):
            raise ReedboreError(
                f"{shown(plain['name'])} is no passage but a preset of another kind"
            )
        return found
    if plain["name"] not in names("passages"):
        known = ", ".join(names("passages"))
        raise ReedboreError(f"passage is {shown(plain['name'])}; there is {known}")
    return load_piece(plain["name"])


def _typed(plain: Mapping[str, Any], words: Words, speed: float) -> Words:
    lines: dict[str, Any] = {}
    for name in ("fingered", "sung"):
        line = plain.get(name) or ""
        if not isinstance(line, str) or len(line) > LONGEST_LINE:
            raise ReedboreError(
                f"{name} is {shown(line)}; it must be text of at most {LONGEST_LINE} letters"
            )
        lines[name] = " ".join(line.split()) or None
        if kind_of(lines[name]) not in ("none", "note", "line"):
            raise ReedboreError(f"{name} is {shown(line)}; drop the file instead, or type notes")
    if lines["fingered"] is None:
        raise ReedboreError("nothing is fingered; type notes with their beats, as in Bb2:4 D3:4")
    tempo = number("tempo_bpm", plain.get("tempo_bpm", USUAL_BPM))
    return replace(words, **lines, tempo=tempo * speed)


def open_file(data: bytes, name: object) -> dict[str, Any]:
    """Turn a passage file that was dropped into the text of one, and into lines.

    Parameters
    ----------
    data : bytes
        MIDI, MusicXML or TOML.
    name : object
        Of the file, as the browser tells it.

    Returns
    -------
    dict
        ``name`` and ``text``, which `read` takes; ``title``, ``fingered``, ``sung``, ``tempo_bpm``
        to be shown; ``said``, what was left out.

    Raises
    ------
    ReedboreError
        If it is no passage.
    """
    suffix = Path(str(name)).suffix.lower()
    stem = file_stem([Path(str(name)).stem]) or "own"
    if suffix not in SCORES:
        raise ReedboreError(
            f"{Path(str(name)).name} is no passage; MIDI, MusicXML and TOML are read"
        )
    with TemporaryDirectory(prefix="reedbore-") as folder:
        path = Path(folder) / f"{stem}{suffix}"
        path.write_bytes(data)
        source = source_of(Words(passage=str(path)))
    return {
        "text": write_piece(source.piece),
        "said": list(map(plainly, source.said)),
        **passage_entry(stem, source.piece),
    }


# --- played and judged ---------------------------------------------------------------------------


def stream(body: Mapping[str, Any]) -> Iterator[Document]:
    """Play a passage and judge it note by note.

    Parameters
    ----------
    body : mapping
        ``passage``, as for `read`, and ``words``; with ``look`` nothing is played.

    Yields
    ------
    dict
        First the plan, then how far it is (`stage`, `done`), the `sound` in parts, at last the
        `rows`.

    Raises
    ------
    ReedboreError
        If anything is wrong with it.
    """
    request = read_passage(read(body.get("passage"), read_words(body.get("words", {}))))
    yield plan(request)
    if body.get("look") is not True:
        yield from told(partial(play, request))


def plan(request: PassageRequest) -> dict[str, Any]:
    """Return what is asked for: all that is known before anything sounds."""
    passage, a4 = request.piece.passage, request.typed.a4_hz
    if passage.seconds > PLAYED_S:
        raise ReedboreError(
            f"the passage lasts {passage.seconds:.0f} s; the page plays up to {PLAYED_S:g} s, "
            "reedbore render longer ones"
        )
    bars = [passage.seconds_at(beat) for beat in passage_data.bar_beats(passage)]
    return {
        "title": request.typed.title,
        "warnings": list(map(plainly, request.warnings)),
        "seconds": passage.seconds,
        "bars": bars,
        "a4": a4,
        "fingered": _notes(passage, passage.fingered_line, a4),
        "sung": _notes(passage, passage.sung_line, a4),
        "beat_s": 1.0 / passage.tempo,
    }


def _notes(passage: Passage, line: Line, a4: float) -> list[dict[str, Any]]:
    found = []
    for note, (begin, end) in zip(line.notes, pairwise(line.bounds), strict=True):
        if note.pitch:
            hz = parse_pitch(note.pitch, a4)
            seconds = {"begin_s": passage.seconds_at(begin), "end_s": passage.seconds_at(end)}
            found.append({**seconds, "hz": hz, "note": note_name(hz, a4)})
    return found


def play(request: PassageRequest, tell: Tell) -> tuple[NoteVerdict, ...]:
    """Play a passage, tell its sound, judge it, tell what became of its notes.

    Parameters
    ----------
    request : PassageRequest
        From `read_passage`.
    tell : callable
        As for `underway.told`.

    Returns
    -------
    tuple of NoteVerdict
        A row a note.
    """
    score = score_of(request, lambda stage: tell({"stage": stage}))
    tell({"stage": f"simulating {score.passage.seconds:.3g} s"})
    performance = perform(score)
    _sounded(performance, tell)
    tell({"stage": "judging"})
    rows = judge_notes(performance, tell=lambda share: tell({"done": share}))
    tell(verdicts(request, performance, rows))
    return rows


def _sounded(performance: Performance, tell: Tell) -> None:
    """Tell the sound as it would be written, in parts of 16-bit samples."""
    sound, level = levelled(performance.sound)
    steps = np.rint(sound * 32767.0).astype("<i2")
    for first in range(0, steps.size, SOUND_PART):
        part = steps[first : first + SOUND_PART].tobytes()
        tell({"sound": base64.b64encode(part).decode()})
    tell({"sounds": {"rate": SOUND_RATE, "samples": steps.size, "gain_db": level["gain_db"]}})


def verdicts(
    request: PassageRequest, performance: Performance, rows: Sequence[NoteVerdict]
) -> dict[str, Any]:
    """Return what became of a passage, as the command tells it, and what its picture draws."""
    a4 = performance.score.a4
    played = list(passage_data.played_course(performance, rows))
    sung = passage_data.sung_course(performance, rows)
    return {
        "rows": report.document(rows, a4, request.reach, request.transposition),
        "cells": report.cells_of(rows, a4),
        "short": [" · ".join(passage_data.words_of(row)) for row in rows],
        "says": report.sentences(rows, a4, request.reach),
        "third": [
            {"begin_s": one.bar.begin, "end_s": one.bar.end, "hz": one.bar.hz, "heard": one.heard}
            for one in passage_data.resultants(rows)
        ],
        "played": [_course(*course) for course in played],
        "sang": _course(*sung),
    }


def _course(times: NDArray[np.float64], hz: NDArray[np.float64]) -> list[list[float | None]]:
    """Thin a course of pitch for drawing; None where there is none. [s], [Hz]."""
    step = max(1, -(-times.size // MOST_POINTS))
    pairs = zip(times[::step].tolist(), hz[::step].tolist(), strict=True)
    return [[round(at, 4), None if math.isnan(one) else round(one, 3)] for at, one in pairs]
