"""A note of which only the horn was heard: the class of what was sung, and which member it was."""

import itertools
import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.measures import (
    horn_notes,
    keeping_step,
    segments,
    two_notes,
)
from reedbore.model.setup import Horn
from reedbore.notes import MEASURED_LIMIT, cents
from reedbore.verdict.instead import Range
from reedbore.verdict.recording.found import (
    SURE_ALONE,
    SURE_CLASS,
    UNEXPLAINED,
    VOICE_RANGE,
    Found,
    Known,
    Samples,
    all_of_the_voice,
    heard,
)
from reedbore.verdict.recording.proof import IN_STEP, judged
from reedbore.verdict.recording.reasons import (
    NO_CLASS,
    NO_RATIO,
    NO_SUNG,
    ONE_CHANNEL,
    TOO_ALIKE,
    UNEVEN,
)
from reedbore.verdict.result import NEAR_CENTS
from reedbore.verdict.state import Reason, State

CLASS_DB, CLASS_LEVEL_DB = 4.5, -42.0
"""A class of sung notes stands out so far, which noise over a played note of up to 500 Hz does once
in a thousand notes, and its lines are no weaker against the horn's."""

STILL = 0.95
"""Lines of the horn alone keep step if this share of their power neither turns nor beats."""

MEMBER_CENTS = 80.0
"""A planned note this near a member of the class is that member. [cents]"""

CLASS_WINDOW, CLASS_HOP = 0.4, 0.1
"""From the horn alone the class of the sung note is followed in such windows. [s]"""

CLASS_CHANGE, NO_CLASS_CENTS = 20.0, -400.0
"""Departure that a change of class has to save [cents·s]; and what stands for no class: farther
from any of them than counts. [cents]"""

LINES_FOLLOWED = 5
"""So many lines of a class are followed."""


def classes(horn: Samples, rate: float, note: horn_notes.Note) -> list[tuple[float, float]]:
    """Cut a note where the class of what is sung into it changes."""
    seconds, length = horn.size / rate, round(CLASS_WINDOW * rate)
    starts = range(0, horn.size - length + 1, round(CLASS_HOP * rate))
    if len(starts) < 6:
        return [(0.0, seconds)]
    seen = [two_notes.look(horn[start : start + length], rate, note.hz) for start in starts]
    kinds = [two_notes.residue(one, note.hz) for one in seen]
    hz = np.array([np.nan if kind is None else kind.hz for kind in kinds])
    sure = np.flatnonzero([kind is not None and _told(kind) for kind in kinds])
    track = np.full(len(starts), NO_CLASS_CENTS)
    for place in range(len(starts) if sure.size else 0):
        # Too faint to be told by itself, but the same as beside it: the voice goes on.
        beside = sure[np.argmin(np.abs(sure - place))]
        if abs(hz[place] - hz[beside]) < 1.0 / CLASS_WINDOW:
            track[place] = 1200.0 * math.log2(1.0 + hz[place] / note.hz)
    parts = segments.level_parts(track, CLASS_HOP, CLASS_CHANGE)
    at = [0.0, *(part.start * CLASS_HOP + 0.5 * CLASS_WINDOW for part in parts[1:]), seconds]
    return list(itertools.pairwise(at))


def _told(kind: two_notes.Residue) -> bool:
    """Tell whether a class stands out enough to be one."""
    return kind.over_db >= CLASS_DB and kind.level_db >= CLASS_LEVEL_DB


def alone(row: Found, horn: Samples, rate: float, known: Known) -> Found:
    """Judge a note of which only the horn was heard."""
    seen = two_notes.look(horn, rate, row.played_hz)
    kind = two_notes.residue(seen, row.played_hz)
    if kind is None or not _told(kind):
        why = NO_CLASS if kind is not None else Reason.TOO_SHORT
        return replace(row, reason=why, cannot=all_of_the_voice(why))
    reach, residue = known.reach or VOICE_RANGE, kind.hz
    seconds = horn.size / rate
    sure, q = SURE_CLASS, 1
    lowest = min(_members(row.played_hz, residue, reach, row.shows_hz), default=row.played_hz)
    near = _small_ratio(residue / row.played_hz, lowest / row.played_hz)
    if near is not None:
        orders = _clear_orders(seen, row.played_hz, residue)
        beat = keeping_step.beat_alone(horn, rate, (row.played_hz, residue), near, orders)
        # Lines that fall together make one peak, whose place is neither's.
        residue, q = (near[0] * row.played_hz - beat.drift) / near[1], near[1]
        sure = SURE_ALONE + UNEXPLAINED * math.sqrt(beat.unexplained)
    row = replace(
        row,
        sung_class=_members(row.played_hz, residue, reach, row.shows_hz),
        class_within=sure / seconds / q,
        interaction_db=kind.over_db,
    )
    row = _named(row, known)
    if row.sung_hz is None and known.instrument is not None and known.reach is not None:
        row = _rendered(row, horn, rate, known.instrument)
    if near is None:
        cannot = {"drift_hz": NO_RATIO, "ratio": NO_RATIO}
        return replace(heard(row), state=State.ROUGH, cannot={**row.cannot, **cannot})
    if row.sung_hz is not None:
        row = replace(row, ratio=(round(row.sung_hz / row.played_hz * q), q))
    row = replace(row, q=q, drift_hz=abs(beat.drift), drift_within=sure / seconds)
    row = heard(replace(row, wander=beat.wanders))
    moves = max(beat.moves, abs(beat.drift) * seconds)
    keeps = moves <= IN_STEP and beat.steady >= STILL
    drifts = abs(beat.drift) > row.shows_hz
    if not keeps and not drifts:
        return replace(row, reason=UNEVEN)
    return judged(row, keeps=keeps)


def _members(played: float, residue: float, reach: Range, apart: float) -> tuple[float, ...]:
    """List the notes of a class within the range of a voice, lowest first. [Hz].

    Those nearer to each other than `apart` [Hz] are told as one.
    """
    most = math.ceil(reach[1] / played) + 1
    every = sorted({abs(k * played + sign * residue) for k in range(most) for sign in (-1, 1)})
    inside = [hz for hz in every if reach[0] <= hz <= reach[1]]
    # At half the played note two members fall together.
    told: list[float] = []
    for hz in inside:
        if told and hz - told[-1] < apart:
            told[-1] = 0.5 * (told[-1] + hz)
        else:
            told.append(hz)
    return tuple(told)


def _named(row: Found, known: Known) -> Found:
    """Name the sung note if the range or the plan leaves one only."""
    planned = known.sung_hz and known.sung_hz(row.played_hz, 0.5 * (row.begin_s + row.end_s))
    chosen = None
    if planned:
        near = [hz for hz in row.sung_class if abs(cents(hz, planned)) < MEMBER_CENTS]
        chosen = min(near, key=lambda hz: abs(cents(hz, planned)), default=None)
    elif len(row.sung_class) == 1 and known.reach is not None:
        chosen = row.sung_class[0]
    if chosen is None:
        return replace(
            row, cannot={"sung_hz": ONE_CHANNEL, "third_db": NO_SUNG, "ratio": ONE_CHANNEL}
        )
    return row.named(chosen)


def _rendered(row: Found, horn: Samples, rate: float, instrument: Horn) -> Found:
    """Name the sung note by rendering each member, if one of them clearly comes closest."""
    from reedbore.verdict import synthesis  # noqa: PLC0415 - only with a horn is anything rendered

    try:
        best = synthesis.choose(horn, rate, row.played_hz, row.sung_class, instrument)
    except ModelError as error:
        return replace(row, cannot={**row.cannot, "sung_hz": str(error)})
    if best is None:
        return row
    if best.margin_db < synthesis.SURE_DB:
        return replace(row, margin_db=best.margin_db, cannot={**row.cannot, "sung_hz": TOO_ALIKE})
    return replace(row.named(best.hz), margin_db=best.margin_db)


def _small_ratio(share: float, lowest: float) -> tuple[int, int] | None:
    """Find k/q near the class's share of the played note; near as its lowest member would be."""
    reach = lowest * (2.0 ** (NEAR_CENTS / 1200.0) - 1.0)
    for q in range(2, MEASURED_LIMIT + 1):
        k = round(share * q)
        if k and math.gcd(k, q) == 1 and abs(share - k / q) <= reach:
            return k, q
    return None


def _clear_orders(seen: two_notes.Look, played: float, residue: float) -> NDArray[np.int64]:
    """Choose the lines of a class that stand highest above the floor."""
    order = np.arange(two_notes.ORDERS - 1)
    order = np.concatenate((order, -order[1:]))
    hz = np.abs(order * played + residue)
    at = np.minimum(np.rint(hz / seen.hz[1]).astype(np.int64), seen.hz.size - 1)
    return order[np.argsort(seen.over_db[at])[-LINES_FOLLOWED:]]
