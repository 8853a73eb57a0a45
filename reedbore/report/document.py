"""Plain data for a spreadsheet, and rows of words for a terminal.

In: dictionaries fit for JSON, or rows of cells. Out: text.
"""

import csv
import io
from collections.abc import Collection, Mapping, Sequence
from typing import Any

RANGES = ("lock_range_cents", "uncertainty_cents", "nothing_between_cents")
"""Keys of what is a pair of numbers, or nothing."""


def flat(document: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """Put a document into one row.

    Parameters
    ----------
    document : mapping
        Fit for JSON.
    before : str, optional
        Put in front of all keys.

    Returns
    -------
    dict
        Keys of what is nested are joined by ``_``. A ``ratio`` becomes ``p`` and ``q``, for
        spreadsheets take 5/2 for a date; one of `RANGES` becomes ``_low`` and ``_high``.
    """
    row: dict[str, Any] = {}
    for key, value in document.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            row |= flat(value, f"{name}_")
        elif key == "ratio":
            row[f"{before}p"], row[f"{before}q"] = value.split("/") if value else (None, None)
        elif key in RANGES:
            row[f"{name}_low"], row[f"{name}_high"] = value or (None, None)
        else:
            row[name] = value
    return row


def csv_text(rows: Sequence[Mapping[str, Any]], otherwise: str) -> str:
    """Write rows as comma-separated values, a head first.

    Parameters
    ----------
    rows : sequence of mapping
        Each with the same keys; as of `flat`.
    otherwise : str
        The head of a table without rows.

    Returns
    -------
    str
        As RFC 4180 has it, lines ended by CR LF.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]) if rows else [otherwise])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def columns(
    rows: Sequence[Sequence[str]], *, right: Collection[int] = (), widest: int = 100
) -> list[str]:
    """Set rows of cells out in columns.

    Parameters
    ----------
    rows : sequence of sequence of str
        All of one length.
    right : collection of int, optional
        Columns set against their right edge.
    widest : int, optional
        The columns stand closer together before a line gets wider than this. [characters]

    Returns
    -------
    list of str
        A line a row.
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    gap = next((g for g in (3, 2) if sum(widths) + g * (len(widths) - 1) <= widest), 1)
    lines = []
    for row in rows:
        cells = zip(row, widths, strict=True)
        set_out = (
            word.rjust(width) if column in right else word.ljust(width)
            for column, (word, width) in enumerate(cells)
        )
        lines.append((" " * gap).join(set_out).rstrip())
    return lines
