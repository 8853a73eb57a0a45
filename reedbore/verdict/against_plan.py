"""A recording beside the passage that was to be played: what is right, wrong, missing, extra.

In: the notes found in a recording, and a `Passage`. Out: an `Aligned`. The player's own tempo and
tuning are found first, and everything else is told against them.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from reedbore.model.line import Line
from reedbore.model.passage import Passage
from reedbore.notes import A4_HZ, MEASURED_LIMIT, cents, choose_ratio, parse_pitch
from reedbore.verdict.recording import MEMBER_CENTS, Found
from reedbore.verdict.result import NEAR_CENTS

if TYPE_CHECKING:
    from reedbore.verdict.passage import NoteVerdict

SAME_CENTS = 60.0
"""A note nearer than this to the planned one, at the player's tuning, is that one. [cents]"""

OTHER_PLAYED, OTHER_SUNG, LEFT_OUT = 1.0, 0.4, 0.65
"""What it costs to take one note for another, by the horn or by the voice, or to leave one out: two
notes left out are dearer than a wrong one."""


GAP_S = 0.1
"""Parts of one note lie no farther apart. [s]"""


class Planned(NamedTuple):
    """A while of a passage in which one note is fingered and one, or none, is sung."""

    number: int
    beat: float
    begin_s: float
    end_s: float
    fingered_hz: float
    sung_hz: float | None


class Match(NamedTuple):
    """A planned note and the one that was found for it.

    `outcome` is right, wrong note, wrong sung note, no sung note told, missing, or joined: played
    as one with the note beside it, which is the same.
    """

    planned: Planned
    found: Found | None
    outcome: str


class Aligned(NamedTuple):
    """A recording beside its plan."""

    matches: tuple[Match, ...]
    extra: tuple[Found, ...]
    """Notes that were not planned."""
    tempo_ratio: float | None
    """The player's tempo over the planned one; None with fewer than two notes found."""
    tuning_cents: float
    """How far the horn is above the plan. [cents]"""
    rows: tuple[Found, ...]
    """All notes, those named whose class holds what was planned."""


def laid(aligned: Aligned) -> tuple[Planned, ...]:
    """Lay the planned notes over a recording.

    Parameters
    ----------
    aligned : Aligned
        The recording beside its plan.

    Returns
    -------
    tuple of Planned
        With the seconds of the recording, at the player's tempo, and the player's tuning; none if
        nothing planned was found.
    """
    found = [(one.planned, one.found) for one in aligned.matches if one.found is not None]
    if not found:
        return ()
    slow = 1.0 / (aligned.tempo_ratio or 1.0)
    late = float(np.median([row.begin_s - slow * plan.begin_s for plan, row in found]))
    high = 2.0 ** (aligned.tuning_cents / 1200.0)
    return tuple(
        plan._replace(
            begin_s=late + slow * plan.begin_s,
            end_s=late + slow * plan.end_s,
            fingered_hz=plan.fingered_hz * high,
            sung_hz=plan.sung_hz and plan.sung_hz * high,
        )
        for plan, _, _ in aligned.matches
    )


def sung_into(rows: Sequence["NoteVerdict"]) -> tuple[Found, ...]:
    """List the notes of a voice that sang into a horn that plays by itself, as of a recording.

    Parameters
    ----------
    rows : sequence of NoteVerdict
        Of a passage whose voice was recorded.

    Returns
    -------
    tuple of Found
        What `align` takes: when, what was fingered, what was sung.
    """
    return tuple(
        Found(
            number=row.number, begin_s=row.begin_s, end_s=row.end_s, level_db=0.0,
            played_hz=row.fingered_hz, played_within=0.0, shows_hz=0.0,
            sung_hz=row.sung_hz, ratio=row.reached.ratio, state=row.reached.state,
        )
        for row in rows
    )  # fmt: skip


def planned_notes(passage: Passage, a4: float = A4_HZ) -> tuple[Planned, ...]:
    """List the whiles of a passage in which the horn plays.

    Parameters
    ----------
    passage : Passage
        What was to be played.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    tuple of Planned
        In order.
    """
    lines = passage.fingered_line, passage.sung_line
    bounds = sorted({beat for line in lines for beat in line.bounds})
    found: list[Planned] = []
    for beat, end in pairwise(bounds):
        fingered, sung = (_at(line, beat, a4) for line in lines)
        if fingered is None or end - beat < 1e-6:
            continue
        seconds = passage.seconds_at(beat), passage.seconds_at(end)
        found.append(Planned(len(found) + 1, beat, *seconds, fingered, sung))
    return tuple(found)


def _at(line: Line, beat: float, a4: float) -> float | None:
    """Pitch of a line at a beat, None in a rest. [Hz]."""
    for note, (begin, end) in zip(line.notes, pairwise(line.bounds), strict=True):
        if begin <= beat + 1e-9 < end:
            return parse_pitch(note.pitch, a4) if note.pitch else None
    return None


def align(rows: Sequence[Found], planned: Sequence[Planned]) -> Aligned:
    """Lay the notes of a recording beside a plan.

    Parameters
    ----------
    rows : sequence of Found
        In order of time.
    planned : sequence of Planned
        In order.

    Returns
    -------
    Aligned
        Cheapest in all, by dynamic programming.
    """
    parts = _grouped(rows)
    whole = [max(part, key=lambda row: row.end_s - row.begin_s) for part in parts]
    begins = [part[0].begin_s for part in parts]
    tuning = 0.0
    for _ in range(2):
        pairs = _pairs(whole, planned, tuning)
        off = [cents(whole[r].played_hz, planned[p].fingered_hz) for r, p in pairs]
        near = [one for one in off if abs(one - tuning) < SAME_CENTS]
        tuning = float(np.median(near)) if near else tuning
    pairs = _pairs(whole, planned, tuning)
    of_plan: dict[int, Found] = {}
    for r, p in pairs:
        parts[r] = [_named(row, planned[p], tuning) for row in parts[r]]
        of_plan[p] = max(parts[r], key=lambda row: row.end_s - row.begin_s)
    matches = []
    for place, note in enumerate(planned):
        found = of_plan.get(place)
        beside = [at for at in (place - 1, place + 1) if at in of_plan]
        joined = found is None and any(planned[at][4:] == note[4:] for at in beside)
        matches.append(Match(note, found, "joined" if joined else _outcome(note, found, tuning)))
    taken = {r for r, _ in pairs}
    extra = tuple(part[0] for r, part in enumerate(parts) if r not in taken)
    every = tuple(row for part in parts for row in part)
    return Aligned(tuple(matches), extra, _tempo(pairs, begins, planned), tuning, every)


def _grouped(rows: Sequence[Found]) -> list[list[Found]]:
    """Put what follows each other and is the same note together: a long one is told in parts."""
    parts: list[list[Found]] = []
    for row in rows:
        if parts and _goes_on(parts[-1][-1], row):
            parts[-1].append(row)
        else:
            parts.append([row])
    return parts


def _goes_on(before: Found, after: Found) -> bool:
    if after.begin_s - before.end_s > GAP_S or not _near(after.played_hz, before.played_hz, 0.0):
        return False
    if before.sung_hz is None or after.sung_hz is None:
        return before.sung_hz is after.sung_hz and not (before.sung_class or after.sung_class)
    return _near(after.sung_hz, before.sung_hz, 0.0)


def _pairs(
    rows: Sequence[Found], planned: Sequence[Planned], tuning: float
) -> list[tuple[int, int]]:
    """Pair notes in order so that it costs least; places in both."""
    total = np.zeros((len(rows) + 1, len(planned) + 1))
    total[:, 0], total[0] = (
        LEFT_OUT * np.arange(len(rows) + 1),
        LEFT_OUT * np.arange(len(planned) + 1),
    )
    for r, row in enumerate(rows, 1):
        for p, note in enumerate(planned, 1):
            total[r, p] = min(
                total[r - 1, p - 1] + _cost(row, note, tuning),
                total[r - 1, p] + LEFT_OUT,
                total[r, p - 1] + LEFT_OUT,
            )
    pairs, r, p = [], len(rows), len(planned)
    while r and p:
        if total[r, p] == total[r - 1, p - 1] + _cost(rows[r - 1], planned[p - 1], tuning):
            r, p = r - 1, p - 1
            pairs.append((r, p))
        elif total[r, p] == total[r - 1, p] + LEFT_OUT:
            r -= 1
        else:
            p -= 1
    return pairs[::-1]


def _cost(row: Found, note: Planned, tuning: float) -> float:
    other = OTHER_PLAYED * (not _near(row.played_hz, note.fingered_hz, tuning))
    return other + OTHER_SUNG * (_sings(row, note, tuning) is False)


def _near(hz: float, planned: float, tuning: float) -> bool:
    return abs(cents(hz, planned) - tuning) < SAME_CENTS


def _sings(row: Found, note: Planned, tuning: float) -> bool | None:
    """Tell whether what is sung is what was planned; None where it cannot be told."""
    if row.sung_hz is not None:
        return note.sung_hz is not None and _near(row.sung_hz, note.sung_hz, tuning)
    if row.sung_class and note.sung_hz is not None:
        return any(_near(hz, note.sung_hz, tuning) for hz in row.sung_class)
    return None


def _outcome(note: Planned, found: Found | None, tuning: float) -> str:
    if found is None:
        return "missing"
    if not _near(found.played_hz, note.fingered_hz, tuning):
        return "wrong note"
    sings = _sings(found, note, tuning)
    if sings is None and note.sung_hz is not None:
        return "no sung note told"
    return "wrong sung note" if sings is False else "right"


def _named(row: Found, note: Planned, tuning: float) -> Found:
    """Name the member of a class that was planned."""
    if row.sung_hz is not None or note.sung_hz is None:
        return row
    wanted = note.sung_hz * 2.0 ** (tuning / 1200.0)
    near = [hz for hz in row.sung_class if abs(cents(hz, wanted)) < MEMBER_CENTS]
    if not near:
        return row
    sung = min(near, key=lambda hz: abs(cents(hz, wanted)))
    ratio = choose_ratio(sung / row.played_hz, NEAR_CENTS, MEASURED_LIMIT)
    gone = {"sung_hz"} | ({"ratio"} if ratio else set())
    cannot = {key: why for key, why in row.cannot.items() if key not in gone}
    return replace(row.named(sung), ratio=ratio, cannot=cannot)


def _tempo(
    pairs: list[tuple[int, int]], begins: Sequence[float], planned: Sequence[Planned]
) -> float | None:
    """Find how much faster than planned it was played, from when the notes begin."""
    if len(pairs) < 2:
        return None
    found = np.array([begins[r] for r, _ in pairs])
    asked = np.array([planned[p].begin_s for _, p in pairs])
    slopes = [
        (found[j] - found[i]) / (asked[j] - asked[i])
        for i in range(len(pairs))
        for j in range(i + 1, len(pairs))
        if asked[j] > asked[i]
    ]
    return 1.0 / float(np.median(slopes)) if slopes and np.median(slopes) > 0.0 else None
