"""Notes of a recording: where each begins and ends, and a row for each."""

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from reedbore import stopping
from reedbore.measures import (
    horn_notes,
    pitch,
    roughness,
    segments,
    spectrum,
    two_notes,
)
from reedbore.notes import cents
from reedbore.verdict.recording.alone import alone, classes
from reedbore.verdict.recording.found import (
    NOTHING,
    SURE_CYCLES,
    VOICE_RANGE,
    Found,
    Known,
    Samples,
    Sounds,
    all_of_the_voice,
    course,
    level,
    open_hz,
    within,
)
from reedbore.verdict.recording.reasons import (
    HIDDEN,
    HORN_ON_THROAT,
    NO_QUIET,
    NO_RATIO,
    NO_SUNG,
    NO_THIRD,
    REST,
)
from reedbore.verdict.recording.throat import with_throat
from reedbore.verdict.state import Reason, State

PIECE_S = 20.0
"""So much of a recording is looked at at once; a longer note is told in parts. [s]"""

EDGE_S = 0.06
"""So much of a note's either end is left to the tongue and the fingers. [s]"""

FOLLOWED = 0.8
"""Where so much of a note was followed its pitch is what its phase does on an average: of a note
that wanders the strongest line is not the middle."""

LINES_DB = -50.0
"""Weaker lines of a recording are its noise."""

SHORTEST_S = 0.15
"""A shorter note is not measured. [s]"""

HUSHED_DB = 15.0
"""A throat so much softer than where it sings is a throat at rest."""


def analyse(
    sounds: Sounds, known: Known = NOTHING, tell: Callable[[float], None] | None = None
) -> tuple[Found, ...]:
    """Tell note by note what a recording holds.

    Parameters
    ----------
    sounds : Sounds
        The recording.
    known : Known
        What is known of it.
    tell : callable, optional
        Told the share done so far, from 0 to 1.

    Returns
    -------
    tuple of Found
        In order of time; empty where no horn plays a note.
    """
    told = tell or (lambda _: None)
    notes = _horn_notes(sounds, lambda share: told(0.5 * share))
    found: list[Found] = []
    for place, note in enumerate(notes):
        stopping.check()
        found += _over(sounds, note, known)
        told(0.5 + 0.5 * (place + 1) / len(notes))
    found = _unsung(found)
    rows = [_reasoned(row) for row in _rougher(found)]
    return tuple(replace(row, number=number) for number, row in enumerate(rows, 1))


def _reasoned(row: Found) -> Found:
    """Say of every figure that is missing why it is."""
    usual = {
        "sung_hz": REST,
        "ratio": NO_RATIO,
        "drift_hz": NO_RATIO,
        "third_db": NO_RATIO if row.ratio is None else NO_THIRD,
        "interaction_db": NO_SUNG if row.sung_hz is None else HIDDEN,
        "roughness": NO_QUIET,
    }
    missing = {key: why for key, why in usual.items() if getattr(row, key) is None}
    told = {key: why for key, why in row.cannot.items() if key in missing}
    return replace(row, cannot=missing | told)


def _horn_notes(sounds: Sounds, told: Callable[[float], None]) -> tuple[horn_notes.Note, ...]:
    parts, begin = [], 0.0
    while begin < sounds.seconds:
        stopping.check()
        end = min(begin + PIECE_S, sounds.seconds)
        horn, _ = sounds.piece(begin, min(end + horn_notes.WINDOW - horn_notes.HOP, sounds.seconds))
        parts.append(horn_notes.frames(horn, sounds.rate, begin))
        begin = end
        told(begin / sounds.seconds)
    return horn_notes.notes(horn_notes.joined(parts))


def _over(sounds: Sounds, note: horn_notes.Note, known: Known) -> list[Found]:
    """Judge what is sung over one note of the horn: one row for each while."""
    rows = []
    count = max(1, math.ceil((note.end - note.begin) / PIECE_S))
    edges = np.linspace(note.begin, note.end, count + 1)
    for begin, end in itertools.pairwise(edges):
        rows += _over_part(sounds, note._replace(begin=float(begin), end=float(end)), known)
    return rows


def _over_part(sounds: Sounds, note: horn_notes.Note, known: Known) -> list[Found]:
    horn, throat = sounds.piece(note.begin, note.end)
    rate, size = sounds.rate, horn.size // spectrum.GRAIN * spectrum.GRAIN
    horn, throat = horn[:size], None if throat is None else throat[:size]
    low, high = known.reach or VOICE_RANGE
    if throat is None:
        cuts = classes(horn, rate, note)
        return [_row(note, horn, None, rate, cut, known) for cut in cuts]
    edge = min(round(EDGE_S * rate), horn.size // 6)
    exact = two_notes.played(horn[edge : horn.size - edge], rate)
    played = exact.hz if exact is not None and _same(exact.hz, note.hz) else note.hz
    voice = two_notes.voice_on_throat(throat, horn, rate, played, low, high)
    cuts = _sung(voice.samples, rate, low, high)
    return [_row(note, horn, throat, rate, cut, known) for cut in _filled(cuts, horn.size / rate)]


def _same(one: float, other: float) -> bool:
    return abs(cents(one, other)) < segments.EDGE


def _sung(voice: Samples, rate: float, low: float, high: float) -> list[tuple[float, float]]:
    """Find the whiles in which a voice holds a note, from the start of the piece. [s]."""
    track = pitch.pitch_track(voice, rate, low, high, segments.HOP)
    if not track[0].size:
        return []
    return [(one.begin, one.end) for one in segments.held(voice, rate, *track)]


def _filled(cuts: list[tuple[float, float]], seconds: float) -> list[tuple[float, float]]:
    """Add the whiles between, in which the horn is alone, if they are long enough to be told."""
    edges = [0.0, *(edge for cut in cuts for edge in cut), seconds]
    rests = list(zip(edges[::2], edges[1::2], strict=True))
    least = 2.0 * SHORTEST_S
    whole = [rest for rest in rests if rest[1] - rest[0] >= least or not cuts]
    return sorted([*cuts, *whole])


def _row(
    note: horn_notes.Note,
    horn: Samples,
    throat: Samples | None,
    rate: float,
    cut: tuple[float, float],
    known: Known,
) -> Found:
    """Judge a while of a note; `cut` counts from its start. [s]."""
    edge = min(EDGE_S, (cut[1] - cut[0]) / 6.0)
    first, last = round((cut[0] + edge) * rate), round((cut[1] - edge) * rate)
    inside = slice(first, first + (last - first) // spectrum.GRAIN * spectrum.GRAIN)
    horn = horn[inside]
    throat = None if throat is None else throat[inside]
    seconds = horn.size / rate
    near = known.fingered_hz or note.hz
    exact = two_notes.played(horn, rate, 0.93 * near, 1.07 * near) if horn.size else None
    played = exact.hz if exact is not None else note.hz
    row = Found(
        begin_s=note.begin + cut[0],
        end_s=note.begin + cut[1],
        level_db=level(horn),
        played_hz=played,
        played_within=within(played, SURE_CYCLES / max(seconds, 1e-3)),
        shows_hz=two_notes.least_drift(max(seconds, 1e-3)),
    )
    if seconds < SHORTEST_S:
        why = Reason.TOO_SHORT
        return replace(row, reason=why, cannot={"sung_hz": why, "drift_hz": why, "ratio": why})
    begin = note.begin + first / rate
    moves = course(horn, rate, played, begin)
    if moves.times.size and np.ptp(moves.times) > FOLLOWED * (cut[1] - cut[0]):
        played = moves.mean
    row = replace(
        row,
        played_hz=played,
        lines=spectrum.lines(horn, rate, LINES_DB),
        played_course=moves,
        played_within=within(played, open_hz(seconds, cut[1] - cut[0], moves)),
    )
    if throat is None:
        return alone(row, horn, rate, known)
    return with_throat(row, horn, throat, rate, known, begin)


def _unsung(rows: list[Found]) -> list[Found]:
    """Tell a throat at rest from a unison where it sings elsewhere in the recording."""
    sings = [row.throat_db for row in rows if row.sung_hz is not None and row.throat_db is not None]
    told = []
    for row in rows:
        level = row.throat_db
        doubted = row.reason == HORN_ON_THROAT and level is not None
        rests = doubted and sings and level is not None and level < max(sings) - HUSHED_DB
        silent = replace(row, state=State.UNSUNG, reason=None, cannot=all_of_the_voice(REST))
        told.append(silent if rests else row)
    return told


def _rougher(rows: list[Found]) -> list[Found]:
    """Compare each note with the same one without a voice."""
    alone = [row for row in rows if row.state == State.UNSUNG and row.lines is not None]
    told = []
    for row in rows:
        same = [one for one in alone if _same(one.played_hz, row.played_hz)]
        if row.lines is None or not same or row.state == State.UNSUNG:
            told.append(row)
            continue
        still = same[0].lines
        assert still is not None
        lines = row.lines.hz, row.lines.amplitude, still.hz, still.amplitude
        told.append(replace(row, roughness=roughness.relative_roughness(*lines)))
    return told
