"""A lock table in words and as data: for the terminal, for the page, for JSON and spreadsheets.

In: a `locks.Table`. Out: plain data or text; numbers in the units that players use.
"""

import functools
import math
from typing import Any, NamedTuple

from reedbore.measures.locking import Edge
from reedbore.model.setup import depth_name, strength_words
from reedbore.notes import A4_HZ, note_name, split_note
from reedbore.report import document as documents
from reedbore.report.words import CLOCK, HEARD, STAYS, below, is_one_of_two, third
from reedbore.verdict.lock_edges import NARROWEST_CENTS
from reedbore.verdict.locks import Row, Table
from reedbore.verdict.state import Heard, RowState

FINE_CENTS = 2.0
"""A lock narrower than this is aimed at in tenths of a cent. [cents]"""

WIDEST = 120
"""The columns stand closer together before a line gets wider than this. [characters]"""

_FROM = {
    "soft hum": "a soft hum",
    "normal": "a normal hum",
    "strong": "a strong hum",
    "exaggerated": "an exaggerated hum",
}


class Group(NamedTuple):
    """Rows that are told together: what is said of them, and whether each gets a line."""

    says: str
    in_full: bool


GROUPS = {
    "third": Group("locks, and a third note is heard", True),
    "alone": Group("locks, and no third note is heard", True),
    "narrow": Group(
        "a third note is heard; a lock below "
        f"{NARROWEST_CENTS:g} cents is too narrow to be sure of",
        True,
    ),
    "moves": Group("a third note is heard, but it moves: it never locks", True),
    "faint": Group("too narrow to be sure of, and hardly heard", False),
    "neither": Group("neither locks nor is surely heard", False),
    "jumped": Group("the horn leaves its register", False),
}


def group_of(row: Row) -> str:
    """Choose with which rows a row is told, one of `GROUPS`."""
    if row.state == RowState.JUMPED:
        return "jumped"
    if row.state == RowState.LOCKED:
        return "third" if row.heard in (Heard.YES, Heard.UNCERTAIN) else "alone"
    if row.state == RowState.NARROW:
        return "narrow" if row.heard == Heard.YES else "faint"
    return "moves" if row.heard == Heard.YES else "neither"


# --- one row -------------------------------------------------------------------------------------


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
        The note first, then over which range it locks; margins are rounded down, so that no more
        is promised than was found. The strength is told if the least depth was looked for.
    """
    return f"{where(row, a4)}; {exactly(row, a4)}{_strength(row)}"


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


def exactly(row: Row, a4: float = A4_HZ) -> str:
    """Say how far a row locks either way of where it says to aim, or that it does not.

    Parameters
    ----------
    row : Row
        Of a lock table.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        ``locks from 2 under to 1 over``; in cents.
    """
    if row.state == RowState.FREE:
        return "does not lock"
    if row.low is None or row.high is None or row.state == RowState.NARROW:
        return "too narrow to be sure that it locks"
    return f"locks from {_range(row, a4)}"


def _range(row: Row, a4: float) -> str:
    under, over = margins(row, a4)
    return f"{_margin(under)} under to {_margin(over)} over"


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
    down = math.floor(parts * value + 1e-6) / parts
    return f"{down:g}" if down > 0.0 else "less than 0.1"


def _strength(row: Row) -> str:
    return f"; from {_FROM[depth_name(row.least_depth)]}" if row.least_depth else ""


def stays(row: Row) -> str:
    """Say for how much of the time a human voice stays in a lock; nothing if it was not tried."""
    return "" if row.held is None else f"{100.0 * row.held:.0f} % of the time"


def row_words(row: Row, a4: float = A4_HZ) -> dict[str, str]:
    """Say in the words of a player what to sing, what comes out, how exactly, how strongly.

    Parameters
    ----------
    row : Row
        Of a lock table.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        `sing`, `third`, `exactly`, `strongly`, `stays`; empty where nothing is known.
    """
    least = row.least_depth
    return {
        "sing": where(row, a4),
        "third": _third_below(row, a4),
        "exactly": _exactly_here(row, a4),
        "strongly": "" if least is None else f"from depth {least:.2g}, {depth_name(least)}",
        "stays": stays(row),
    }


def _third_below(row: Row, a4: float) -> str:
    beside = HEARD[Heard(row.heard)].beside
    if is_one_of_two(row.heard):
        return beside
    return f"{note_name(row.resultant_hz, a4)}, {below(row.ratio[1])} below: {beside}"


def _exactly_here(row: Row, a4: float) -> str:
    if row.state == RowState.JUMPED:
        return GROUPS["jumped"].says
    if row.state == RowState.LOCKED:
        return exactly(row, a4).replace(" under", " cents under")
    moving = "moves slowly" if row.heard in (Heard.YES, Heard.UNCERTAIN) else "does not fuse"
    return f"{moving}; {exactly(row, a4)}"


# --- as data -------------------------------------------------------------------------------------


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
    # All that is told lies around the note that is told, the middle of the lock.
    around = functools.partial(_moved, -row.middle)
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
        "lock_range_cents": around(_inner(row.low, row.high)),
        "uncertainty_cents": _uncertainty(row.low, row.high),
        "nothing_between_cents": around(_finite(row.nearest)),
        "lock_s": row.lock_s,
        "by_depth": {
            f"{depth:g}": around(_inner(*edges)) if edges else None
            for depth, edges in row.by_depth.items()
        },
        "least_depth": row.least_depth,
        "from_below_cents": None if row.from_below is None else row.from_below - row.middle,
        "from_above_cents": None if row.from_above is None else row.from_above - row.middle,
        "confirmed": row.confirmed,
        "aim": aim(row, a4),
    }


def _moved(by: float, ends: list[float] | None) -> list[float] | None:
    return [end + by for end in ends] if ends else None


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


# --- for reading ---------------------------------------------------------------------------------

_HEAD = ("ratio", "sing", "lock range [cents]", "third note", STAYS, "locks after")


def text(table: Table, a4: float = A4_HZ) -> str:
    """Return a lock table for reading: what locks, what is only heard, what neither."""
    strength = strength_words(table.setup.voice)
    lines = [f"sung at {strength}; horn alone {table.voice_off_hz:.2f} Hz"]
    rows = {name: [row for row in table.rows if group_of(row) == name] for name in GROUPS}
    full = [name for name, group in GROUPS.items() if group.in_full and rows[name]]
    cells = [_HEAD, *(_cells(row, a4) for name in full for row in rows[name])]
    head, *set_out = documents.columns(cells, widest=WIDEST)
    lines += ["", f"  {head}"] if full else []
    told = iter(set_out)
    for name in full:
        lines += ["", f"{GROUPS[name].says}:", *(f"  {next(told)}" for _ in rows[name])]
    lines += [""]
    for name, group in GROUPS.items():
        if rows[name] and not group.in_full:
            ratios = "  ".join(f"{p}/{q}" for p, q in (row.ratio for row in rows[name]))
            lines.append(f"{group.says}: {ratios}")
    return "\n".join([*lines, *([""] if lines[-1] else []), CLOCK])


def _cells(row: Row, a4: float) -> tuple[str, ...]:
    p, q = row.ratio
    reach = f"{_range(row, a4)}{_strength(row)}" if row.state == RowState.LOCKED else ""
    note = third(row.heard, note_name(row.resultant_hz, a4))
    return f"{p}/{q}", where(row, a4), reach, note, stays(row), _extras(row)


def _extras(row: Row) -> str:
    """Tell what was only asked for."""
    told = []
    if row.lock_s is not None:
        told.append(f"{row.lock_s:.1f} s")
    if row.confirmed is not None:
        told.append("confirmed" if row.confirmed else "NOT confirmed")
    return "; ".join(told)
