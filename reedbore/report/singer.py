"""What a singer can do over a fingered note, in words and as data.

In: rows of `verdict.singer`, of one voice or of several that stand for all. Out: where to aim, how
exactly, how far the horn pulls the voice along; sorted by how easily a pair falls into step.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from reedbore.notes import A4_HZ, note_name, split_note
from reedbore.report import document as documents
from reedbore.report import locks
from reedbore.report.words import FOLDS, third
from reedbore.verdict.locks import Table
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import Ease, RowState

Spread = Mapping[tuple[int, int], Sequence[SingerRow]]
"""For each ratio the rows of all voices."""

FEW = 6
"""More ratios than these are not listed one by one."""


def ease(row: SingerRow) -> Ease:
    """Say how easily a singer brings a pair into step: by the width of the range of aims."""
    return Ease.of(row.state, row.width)


def easiest_first(rows: Sequence[SingerRow]) -> list[SingerRow]:
    """Sort rows by how easily a singer brings them into step, the widest first."""
    order = list(Ease)
    return sorted(rows, key=lambda row: (order.index(ease(row)), -row.width))


def widths(rows: Sequence[SingerRow]) -> list[float]:
    """List by rising size how wide the range of aims is for voices that sing a note [cents]."""
    return sorted(row.width for row in rows if row.state != RowState.UNSUNG)


def shares(rows: Sequence[SingerRow]) -> list[float]:
    """List by rising size how much of the time voices that sing a note stay in step."""
    return sorted(row.held or 0.0 for row in rows if row.state != RowState.UNSUNG)


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
    aim, middle = aim_hz(row), row.middle
    name, off = split_note(aim, a4)
    spread = widths(others)
    return {
        "ratio": f"{row.ratio[0]}/{row.ratio[1]}",
        "ease": ease(row),
        "aimed_note": name,
        "aim_cents": off,
        "lock_range_cents": [-0.5 * row.width, 0.5 * row.width] if row.width else None,
        "pulled_cents": middle.pulled_cents if middle and middle.sung_hz > 0.0 else None,
        "held_singer": _of_voices(row.held, shares(others)),
        "width_cents": _of_voices(row.width, spread),
        "voices_that_sing": len(spread) if others else None,
        "voices": len(others) if others else None,
        "state": row.state,
        "reason": row.reason,
        "depth": row.depth,
        "heard": row.heard,
        "aimed_hz": aim,
        "sung_hz": middle.sung_hz if middle and middle.sung_hz > 0.0 else None,
        "resultant_hz": row.just_hz / row.ratio[0],
        "lungs_kpa": middle.lungs / 1e3 if middle else None,
    }


def document(
    rows: Sequence[SingerRow], spread: Spread, table: Table, a4: float = A4_HZ
) -> dict[str, Any]:
    """Return the table of a singer and of a clock as plain data.

    Parameters
    ----------
    rows : sequence of SingerRow
        Of the typical voice; none if nobody was asked.
    spread : mapping
        For each ratio the rows of all voices; empty if only one was asked.
    table : Table
        Of the clock.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        As `locks.document`; `singer` lists rows as of `plain`, what is easiest first, and each of
        the clock's `rows` has `held_singer` beside `held`.
    """
    sung = [plain(row, spread.get(row.ratio, ()), a4) for row in easiest_first(rows)]
    held, found = {row["ratio"]: row["held_singer"] for row in sung}, locks.document(table, a4)
    for row in found["rows"]:
        row["held_singer"] = held.get(row["ratio"])
    return {**found, "singer": sung or None}


def csv_text(rows: Sequence[SingerRow], spread: Spread, table: Table, a4: float = A4_HZ) -> str:
    """Return the same for a spreadsheet, one row a ratio: the singer, and beside it the clock."""
    clock = {row["ratio"]: row for row in locks.document(table, a4)["rows"]}
    lines = []
    for row in easiest_first(rows):
        sung = plain(row, spread.get(row.ratio, ()), a4)
        beside = clock[sung["ratio"]]
        kept = {key: beside[key] for key in beside if key not in ("by_depth", "ratio")}
        lines.append(documents.flat(sung) | documents.flat(kept, "clock_"))
    return documents.csv_text(lines, "p")


def _of_voices(typical: float | None, spread: Sequence[float]) -> dict[str, float | None]:
    low, high = (spread[0], spread[-1]) if spread else (None, None)
    return {"low": low, "typical": typical, "high": high}


def aim_hz(row: SingerRow) -> float:
    """Return where to aim: the middle of the range, or the just note. [Hz]."""
    if not (row.low and row.high):
        return row.just_hz
    middle = 0.5 * (row.low.inside + row.high.inside)
    return float(row.just_hz * 2.0 ** (middle / 1200.0))


_HEAD = ("ratio", "aim at", "give or take", "the horn pulls it", "stays", "third note")


def text(
    rows: Sequence[SingerRow],
    spread: Spread | None = None,
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
    full = [row for row in easiest_first(rows) if row.state == RowState.LOCKED]
    head = (*_HEAD[:3], "over all voices", *_HEAD[3:]) if spread else _HEAD
    cells = [head, *(_cells(row, spread, a4) for row in full)]
    first, *set_out = documents.columns(cells)
    lines = ["for a singer, whose folds feel the horn:", "", f"  {first}"] if full else []
    told = dict(zip((row.ratio for row in full), set_out, strict=True))
    for kind in Ease:
        here = [row for row in easiest_first(rows) if ease(row) == kind]
        if not here:
            continue
        if kind in (Ease.NEVER, Ease.UNSUNG):
            ratios = "  ".join(f"{row.ratio[0]}/{row.ratio[1]}" for row in here)
            lines += ["", f"{kind}: {ratios}"]
        else:
            lines += ["", f"{kind}:", *(f"  {told[row.ratio]}" for row in here)]
    return "\n".join([*lines, *_other_depths(rows), "", FOLDS])


def _other_depths(rows: Sequence[SingerRow]) -> list[str]:
    """Say which pairs were sung with another depth than was asked for."""
    told = [
        (row.depth, f"{p}/{q} {row.depth:.2g}")
        for row in rows
        for p, q in (row.ratio,)
        if row.depth
    ]
    said = "sung at another depth, the nearest that these folds reach here"
    if len(told) > FEW:
        return ["", f"{said}: {len(told)} ratios, {min(told)[0]:.2g} to {max(told)[0]:.2g}"]
    return ["", f"{said}: {'  '.join(words for _, words in told)}"] if told else []


class RowWords(NamedTuple):
    """A row in the words of a player; empty where nothing is known."""

    aim: str
    give_or_take: str
    over_all: str
    pulled: str
    stays: str
    third: str


def row_words(row: SingerRow, others: Sequence[SingerRow] = (), a4: float = A4_HZ) -> RowWords:
    """Say where to aim, how exactly, how far the horn pulls the voice, and what is heard.

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
    RowWords
        The words.
    """
    name, off = split_note(aim_hz(row), a4)
    pulled = row.middle.pulled_cents if row.middle else 0.0
    over, half = "over " if row.open_ended else "", 0.5 * row.width
    found = [0.5 * width for width in widths(others)]
    return RowWords(
        aim=f"{name}{round(off):+d}c",
        give_or_take=f"{over}{half:.0f} cent{'s' * (half >= 1.5)}"
        if half >= 1.0
        else "under 1 cent",
        over_all=f"{found[0]:.0f} to {found[-1]:.0f}, {len(found)} sing it" if found else "",
        pulled=f"{'up' if pulled > 0.0 else 'down'} {abs(pulled):.0f}",
        stays="" if row.held is None else f"{100.0 * row.held:.0f} %",
        third=third(row.heard, note_name(row.just_hz / row.ratio[0], a4)) if row.heard else "",
    )


def _cells(row: SingerRow, spread: Spread | None, a4: float) -> tuple[str, ...]:
    told = row_words(row, (spread or {}).get(row.ratio, ()), a4)
    shown = told if spread else (*told[:2], *told[3:])
    return f"{row.ratio[0]}/{row.ratio[1]}", *shown
