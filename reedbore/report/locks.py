"""A lock table as data and as text: for JSON, for a spreadsheet, for the terminal.

In: a `locks.Table`. Out: plain data or text; numbers in the units that players use.
"""

import math
from typing import Any

from reedbore.measures.locking import Edge
from reedbore.model.setup import depth_name, strength_words
from reedbore.notes import A4_HZ, note_name, split_note
from reedbore.report import document as documents
from reedbore.report.words import CLOCK
from reedbore.verdict.lock_edges import NARROWEST_CENTS
from reedbore.verdict.locks import Row, Table
from reedbore.verdict.state import RowState

FINE_CENTS = 2.0
"""A lock narrower than this is aimed at in tenths of a cent. [cents]"""

_FROM = {
    "soft hum": "a soft hum",
    "normal": "a normal hum",
    "strong": "a strong hum",
    "exaggerated": "an exaggerated hum",
}


def aim(row: Row, a4: float = A4_HZ) -> str:
    """Say where to sing against the tempered note, how exactly, and how strongly at least.

    Parameters
    ----------
    row : Row
        Of a lock table.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        The note first, then whether it holds; margins are rounded down, so that no more is
        promised than was found. The strength is told if the least depth was looked for.
    """
    return f"{where(row, a4)}; {hold(row, a4)}"


def where(row: Row, a4: float = A4_HZ) -> str:
    """Name the note to aim at, such as ``D4, 14 cents low``.

    Parameters
    ----------
    row : Row
        Of a lock table.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        In tenths of a cent if the lock is narrower than `FINE_CENTS`.
    """
    name, off = split_note(row.sung_hz, a4)
    return f"{name}, {_off(off, _digits(row))}"


def hold(row: Row, a4: float = A4_HZ) -> str:
    """Say how far a row holds either way of where it says to aim, or that it does not.

    Parameters
    ----------
    row : Row
        Of a lock table.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        ``holds from 2 under to 1 over; from a normal hum``; in cents.
    """
    if row.state == RowState.FREE:
        return "does not lock"
    if row.low is None or row.high is None or row.state == RowState.NARROW:
        return "too narrow to be sure that it locks"
    under, over = margins(row, a4)
    words = f"holds from {_margin(under)} under to {_margin(over)} over"
    return f"{words}{_strength(row)}"


def margins(row: Row, a4: float = A4_HZ) -> tuple[float, float]:
    """Return how far a lock reaches below and above the note that `where` names.

    Parameters
    ----------
    row : Row
        With both edges.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    under, over : float
        Never negative. [cents]
    """
    assert row.low is not None
    assert row.high is not None
    off = split_note(row.sung_hz, a4)[1]
    moved = round(off, _digits(row)) - off
    # The edges count from the just note; the aim is their middle.
    half = 0.5 * (row.high.inside - row.low.inside)
    return max(half + moved, 0.0), max(half - moved, 0.0)


def _digits(row: Row) -> int:
    if row.low is None or row.high is None:
        return 0
    return 1 if row.high.inside - row.low.inside < FINE_CENTS else 0


def _off(off: float, digits: int) -> str:
    size = f"{round(abs(off), digits):g}"
    if size == "0":
        return "in tune"
    return f"{size} {'cent' if size == '1' else 'cents'} {'low' if off < 0.0 else 'high'}"


def _margin(value: float) -> str:
    """Write a margin, rounded down to tenths, from 2 cents up to whole cents."""
    parts = 1 if value >= FINE_CENTS else 10
    # A hair more, so that 0.3, which is a little less as a float, does not become 0.2.
    return f"{math.floor(parts * value + 1e-6) / parts:g}"


def _strength(row: Row) -> str:
    return f"; from {_FROM[depth_name(row.least_depth)]}" if row.least_depth else ""


def document(table: Table, a4: float = A4_HZ) -> dict[str, Any]:
    """Return a lock table as plain data.

    Parameters
    ----------
    table : Table
        From `locks.lock_table`.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        Fit for JSON; cents are against p/q times `voice_off_hz`.
    """
    return {
        "fingered_hz": table.fingered_hz,
        "fingered_note": note_name(table.fingered_hz, a4),
        "voice_off_hz": table.voice_off_hz,
        "depth": None if table.setup.voice.flows else table.setup.voice.depth,
        "narrowest_cents": NARROWEST_CENTS,
        "rows": [_plain(row, a4) for row in table.rows],
        "note": CLOCK,
        "setup": table.setup.to_plain(),
    }


def _plain(row: Row, a4: float) -> dict[str, Any]:
    note, off = split_note(row.sung_hz, a4)
    return {
        "ratio": f"{row.ratio[0]}/{row.ratio[1]}",
        "state": row.state,
        "heard": row.heard,
        "sung_hz": row.sung_hz,
        "sung_note": note,
        "sing_cents": off,
        "resultant_hz": row.resultant_hz,
        "resultant_note": note_name(row.resultant_hz, a4),
        "resultant_level_db": row.resultant_level_db,
        "held": row.held,
        "lock_range_cents": _inner(row.low, row.high),
        "uncertainty_cents": _uncertainty(row.low, row.high),
        "nothing_between_cents": _finite(row.nearest),
        "lock_s": row.lock_s,
        "by_depth": {
            f"{depth:g}": _inner(*edges) if edges else None for depth, edges in row.by_depth.items()
        },
        "least_depth": row.least_depth,
        "from_below_cents": row.from_below,
        "from_above_cents": row.from_above,
        "confirmed": row.confirmed,
        "aim": aim(row, a4),
    }


def _inner(low: Edge | None, high: Edge | None) -> list[float] | None:
    return [low.inside, high.inside] if low and high else None


def _uncertainty(low: Edge | None, high: Edge | None) -> list[float] | None:
    return [low.inside - low.outside, high.outside - high.inside] if low and high else None


def _finite(pair: tuple[float, float] | None) -> list[float] | None:
    return list(pair) if pair and all(math.isfinite(value) for value in pair) else None


def csv_text(table: Table, a4: float = A4_HZ) -> str:
    """Return a lock table for a spreadsheet, one row a ratio; see `document`."""
    rows = document(table, a4)["rows"]
    kept = ({key: row[key] for key in row if key != "by_depth"} for row in rows)
    return documents.csv_text([documents.flat(row) for row in kept], "p")


def text(table: Table, a4: float = A4_HZ) -> str:
    """Return a lock table for reading: what locks, what is only heard, what neither."""
    strength = strength_words(table.setup.voice)
    head = f"sung at {strength}; horn alone {table.voice_off_hz:.2f} Hz"
    rest = [row for row in table.rows if row.state != RowState.LOCKED]
    heard = [row for row in rest if row.heard == "yes"]
    dull = [row for row in rest if row.heard != "yes"]
    lines = [head, *_group("locks:", [r for r in table.rows if r.state == RowState.LOCKED], a4)]
    narrow = (
        f"a third note is heard; a lock below {NARROWEST_CENTS:g} cents is too narrow to be sure"
    )
    lines += _group(f"{narrow} of:", [row for row in heard if row.state == RowState.NARROW], a4)
    lines += _group(
        "a third note is heard, drifting: never locks:",
        [r for r in heard if r.state == RowState.FREE],
        a4,
    )
    for title, rows in (
        (
            "too narrow to be sure of, and hardly heard",
            [r for r in dull if r.state == RowState.NARROW],
        ),
        ("neither", [r for r in dull if r.state == RowState.FREE]),
        ("the horn leaves its register", [r for r in dull if r.state == RowState.JUMPED]),
    ):
        if rows:
            lines += ["", f"{title}: " + "  ".join(f"{p}/{q}" for p, q in (r.ratio for r in rows))]
    return "\n".join([*lines, "", CLOCK])


def _group(title: str, rows: list[Row], a4: float) -> list[str]:
    return ["", title, *_lines(rows, a4)] if rows else []


def _lines(rows: list[Row], a4: float) -> list[str]:
    return [
        f"  {row.ratio[0]}/{row.ratio[1]}  {_words(row, a4)}".ljust(62)
        + f"  {_third(row, a4):22}{_held(row)}{_extras(row)}".rstrip()
        for row in rows
    ]


def _words(row: Row, a4: float) -> str:
    return aim(row, a4) if row.state == RowState.LOCKED else where(row, a4)


def _third(row: Row, a4: float) -> str:
    """Name the third note and whether it is heard."""
    if row.heard.startswith("same"):
        return row.heard
    heard = {"yes": "heard", "uncertain": "perhaps heard"}.get(row.heard, "not heard")
    return f"{note_name(row.resultant_hz, a4)} {heard}"


def _held(row: Row) -> str:
    return "" if row.held is None else f"  held {100.0 * row.held:.0f} %"


def _extras(row: Row) -> str:
    """Tell what was only asked for."""
    told = []
    if row.lock_s is not None:
        told.append(f"locks in {row.lock_s:.1f} s")
    if row.confirmed is not None:
        told.append("confirmed" if row.confirmed else "NOT confirmed")
    return "".join(f"; {words}" for words in told)
