"""Where to sing, in the words of a player.

In: a row of a lock table. Out: one phrase, such as
``D4, 14 cents low; holds from 0.5 under to 0.4 over; from a normal hum``.
"""

import math
from typing import TYPE_CHECKING

from reedbore.model.setup import depth_name
from reedbore.notes import A4_HZ, split_note

if TYPE_CHECKING:
    from reedbore.verdict.locks import Row

FINE_CENTS = 2.0
"""A lock narrower than this is aimed at in tenths of a cent. [cents]"""

_FROM = {
    "soft hum": "a soft hum",
    "normal": "a normal hum",
    "strong": "a strong hum",
    "exaggerated": "an exaggerated hum",
}


def aim(row: "Row", a4: float = A4_HZ) -> str:
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


def where(row: "Row", a4: float = A4_HZ) -> str:
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


def hold(row: "Row", a4: float = A4_HZ) -> str:
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
    if row.state == "free":
        return "does not lock"
    if row.low is None or row.high is None or row.state == "narrow":
        return "too narrow to be sure that it locks"
    under, over = margins(row, a4)
    words = f"holds from {_margin(under)} under to {_margin(over)} over"
    return f"{words}{_strength(row)}"


def margins(row: "Row", a4: float = A4_HZ) -> tuple[float, float]:
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


def _digits(row: "Row") -> int:
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


def _strength(row: "Row") -> str:
    return f"; from {_FROM[depth_name(row.least_depth)]}" if row.least_depth else ""
