"""What a singer can do over a fingered note, in words and as data.

In: rows of `verdict.singer`, of one voice or of several that stand for all. Out: where to aim, how
exactly, how far the horn pulls the voice along; sorted by how easily a pair falls into step.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any

from reedbore.notes import A4_HZ, note_name, split_note
from reedbore.report import document as documents
from reedbore.report.words import FOLDS, third
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import RowState

TYPICAL = "firm"
"""The one of `physics.folds.VOICES` that is shown where one has to do; it was chosen because it
sings all ratios of the demo at a normal depth, before any width was compared."""

SINGERS_MISS = 19.0
"""By so much half of the notes of untrained singers miss: M. Mauch, K. Frieler and S. Dixon, J.
Acoust. Soc. Am. 136(1), 401-411, 2014. [cents]"""

WANDER = 5.0
"""A note that is held wanders by so much either way: common practice, no source. [cents]"""


class Ease(StrEnum):
    """How easily a singer brings two notes into step."""

    BY_ITSELF = "falls into step by itself"
    WITH_CARE = "falls into step if the aim is right"
    HARDLY = "hardly: the range of aims is smaller than a voice wanders"
    NEVER = "does not fall into step"
    UNSUNG = "not sung by these folds"


def ease(row: SingerRow) -> Ease:
    """Say how easily a singer brings a pair into step: by the width of the range of aims."""
    if row.state == RowState.UNSUNG:
        return Ease.UNSUNG
    if row.state != RowState.LOCKED:
        return Ease.NEVER
    if row.width >= 2.0 * SINGERS_MISS:
        return Ease.BY_ITSELF
    return Ease.WITH_CARE if row.width >= 2.0 * WANDER else Ease.HARDLY


def widths(rows: Sequence[SingerRow]) -> list[float]:
    """List by rising size how wide the range of aims is for voices that sing a note [cents]."""
    return sorted(row.width for row in rows if row.state != RowState.UNSUNG)


def plain(row: SingerRow, others: Sequence[SingerRow] = (), a4: float = A4_HZ) -> dict[str, Any]:
    """Return a row as plain data.

    Parameters
    ----------
    row : SingerRow
        Of the typical voice.
    others : sequence of SingerRow, optional
        The same ratio for several voices.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        Fit for JSON; cents are around the aim that is told.
    """
    aim, middle = _aim_hz(row), row.middle
    name, off = split_note(aim, a4)
    spread = widths(others)
    return {
        "ratio": f"{row.ratio[0]}/{row.ratio[1]}",
        "state": row.state,
        "reason": row.reason,
        "ease": ease(row),
        "aimed_hz": aim,
        "aimed_note": name,
        "aim_cents": off,
        "lock_range_cents": [-0.5 * row.width, 0.5 * row.width] if row.width else None,
        "sung_hz": middle.sung_hz if middle and middle.sung_hz > 0.0 else None,
        "pulled_cents": middle.pulled_cents if middle and middle.sung_hz > 0.0 else None,
        "lungs_kpa": middle.lungs / 1e3 if middle else None,
        "stays": row.held,
        "width_cents": _of_voices(row.width, spread),
        "heard": row.heard,
        "resultant_hz": row.just_hz / row.ratio[0],
        "voices_that_sing": len(spread) if others else None,
        "voices": len(others) if others else None,
    }


def _of_voices(typical: float, spread: Sequence[float]) -> dict[str, float | None]:
    low, high = (spread[0], spread[-1]) if spread else (None, None)
    return {"low": low, "typical": typical, "high": high}


def _aim_hz(row: SingerRow) -> float:
    if not (row.low and row.high):
        return row.just_hz
    middle = 0.5 * (row.low.inside + row.high.inside)
    return float(row.just_hz * 2.0 ** (middle / 1200.0))


_HEAD = ("ratio", "aim at", "give or take", "the horn pulls it", "stays", "third note")


def text(
    rows: Sequence[SingerRow],
    spread: Mapping[tuple[int, int], Sequence[SingerRow]] | None = None,
    a4: float = A4_HZ,
) -> str:
    """Return a singer's table for reading, what is easiest first.

    Parameters
    ----------
    rows : sequence of SingerRow
        Of the typical voice.
    spread : mapping, optional
        For each ratio the rows of all voices.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        Lines.
    """
    full = [row for row in rows if row.state == RowState.LOCKED]
    full.sort(key=lambda row: -row.width)
    head = (*_HEAD[:3], "over all voices", *_HEAD[3:]) if spread else _HEAD
    cells = [head, *(_cells(row, spread, a4) for row in full)]
    first, *set_out = documents.columns(cells)
    lines = ["for a singer, whose folds feel the horn:", "", f"  {first}"] if full else []
    told = dict(zip((row.ratio for row in full), set_out, strict=True))
    for kind in Ease:
        here = [row for row in rows if ease(row) == kind]
        if not here:
            continue
        if kind in (Ease.NEVER, Ease.UNSUNG):
            ratios = "  ".join(f"{row.ratio[0]}/{row.ratio[1]}" for row in here)
            lines += ["", f"{kind}: {ratios}"]
        else:
            here.sort(key=lambda row: -row.width)
            lines += ["", f"{kind}:", *(f"  {told[row.ratio]}" for row in here)]
    return "\n".join([*lines, "", FOLDS])


def _cells(
    row: SingerRow,
    spread: Mapping[tuple[int, int], Sequence[SingerRow]] | None,
    a4: float,
) -> tuple[str, ...]:
    name, off = split_note(_aim_hz(row), a4)
    note = f"{name}{round(off):+d}c"
    pulled = row.middle.pulled_cents if row.middle else 0.0
    way = "up" if pulled > 0.0 else "down"
    half = 0.5 * row.width
    over = "over " if row.open_ended else ""
    reach = [f"{over}{half:.0f} cents" if half >= 1.0 else "under 1 cent"]
    if spread:
        found = [0.5 * width for width in widths(spread.get(row.ratio, ()))]
        reach.append(f"{found[0]:.0f} to {found[-1]:.0f}, {len(found)} sing it" if found else "")
    stays = "" if row.held is None else f"{100.0 * row.held:.0f} %"
    told = third(row.heard, note_name(row.just_hz / row.ratio[0], a4)) if row.heard else ""
    return f"{row.ratio[0]}/{row.ratio[1]}", note, *reach, f"{way} {abs(pulled):.0f}", stays, told
