"""The lock table of a singer for the music stand: what is easiest first, the clock beside it.

In: rows of `verdict.singer`, of one voice or of several, and the clock's table. Out: PNG, SVG or
PDF. A sheet has a row for every ratio that a singer can bring into step: where to aim, how exactly,
how far the horn pulls the voice, how long it stays, which third note comes of it.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from reedbore.notes import A4_HZ
from reedbore.report.figures.locks import (
    MOST_ROWS,
    POINTS_OF_PAGE,
    REST_LINE,
    TALLEST_ROW,
    TOP,
    TWO_LINES,
    kind_of,
    sheet,
    write_figure,
)
from reedbore.report.figures.style import FAINT, INK, TOGETHER
from reedbore.report.locks import exactly
from reedbore.report.singer import Spread, ease, easiest_first, row_words
from reedbore.report.words import FOLDS
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import Ease, RowState

if TYPE_CHECKING:
    from reedbore.verdict.locks import Table

FOOT = 0.17
COLUMNS = {
    "ratio": 0.035,
    "aim at": 0.085,
    "pulled": 0.335,
    "stays": 0.395,
    "third note": 0.45,
    "range of aims": 0.625,
    "a voice like a clock": 0.83,
}
"""Left ends of the columns, as shares of the page."""

BAR = 0.625, 0.815
"""Left and right end of the bars."""

STAYS = "Stays: the share of the time that a voice that wanders stays in step."
OTHERS = " Thin lines: other voices."
PULLED = "\nPulled by the horn: how far what is sung lies from the aim, in cents. "


def singer_picture(
    rows: Sequence[SingerRow],
    spread: Spread,
    table: "Table",
    title: str,
    path: Path,
    *,
    a4: float = A4_HZ,
) -> None:
    """Draw a singer's lock table for the music stand: one page A4, landscape.

    Parameters
    ----------
    rows : sequence of SingerRow
        Of the typical voice.
    spread : mapping
        For each ratio the rows of all voices; empty if only one was asked.
    table : Table
        Of the clock.
    title : str
        Horn and fingered note.
    path : Path
        PNG, SVG or PDF; it appears only when it is whole.
    a4 : float
        Frequency of A4. [Hz]

    Raises
    ------
    ReedboreError
        If the kind of file is unknown or it cannot be written.
    """
    kind = kind_of(path)
    legend = f"{STAYS}{OTHERS * bool(spread)}{PULLED}{FOLDS[0].upper()}{FOLDS[1:]}."
    figure, axes = sheet(table, f"{title}, for a singer", legend)
    clock = {row.ratio: _briefly(exactly(row, a4)) for row in table.rows}
    shown = [row for row in easiest_first(rows) if row.state == RowState.LOCKED][:MOST_ROWS]
    groups = [(kind, [row for row in shown if ease(row) == kind]) for kind in Ease]
    groups = [(kind, here) for kind, here in groups if here]
    lines = sum(len(here) + 1.35 for _, here in groups)
    tall = min((TOP - FOOT) / max(lines, 1.0), TALLEST_ROW)
    everybody = [one for row in shown for one in (row, *spread.get(row.ratio, ()))]
    reach = max((_reach(row) for row in everybody), default=1.0)
    if groups:
        _head(axes, reach)
    y = TOP
    for head, here in groups:
        axes.text(COLUMNS["ratio"], y - tall, head, size=_size(tall), color=FAINT, style="italic")
        y -= 1.35 * tall
        for row in here:
            others = spread.get(row.ratio, ())
            _row(axes, row, others, clock.get(row.ratio, ""), (y - 0.5 * tall, tall, reach), a4)
            y -= tall
    _rest(axes, [row for row in easiest_first(rows) if row not in shown], y - 0.7 * tall)
    write_figure(figure, path, kind)


def _briefly(said: str) -> str:
    """Shorten what is said of a clock to the width of its column."""
    return said.removeprefix("locks ").partition(" to be sure")[0]


def _size(tall: float) -> float:
    share = 0.4 if tall >= TWO_LINES else 0.55
    return min(share * tall * POINTS_OF_PAGE, 14.0)


def _reach(row: SingerRow) -> float:
    """Return how far a range of aims reaches from the just note. [cents]."""
    return max(abs(row.low.inside), abs(row.high.inside)) if row.low and row.high else 0.0


def _head(axes: Axes, reach: float) -> None:
    for name, x in COLUMNS.items():
        words = f"aims from the just note, ±{reach:.0f}c" if name == "range of aims" else name
        axes.text(x, TOP + 0.008, words, size=10, color=INK)
    axes.plot([COLUMNS["ratio"], 0.97], [TOP, TOP], color=INK, lw=0.8)


def _row(
    axes: Axes,
    row: SingerRow,
    others: Sequence[SingerRow],
    clock: str,
    place: tuple[float, float, float],
    a4: float,
) -> None:
    """Write one row at a height, as tall and with bars that reach as far as given."""
    y, tall, _ = place
    size, told = _size(tall), row_words(row, others, a4)
    exact = f"{told.give_or_take} ({told.over_all})" if told.over_all else told.give_or_take
    middle: dict[str, Any] = {"va": "center", "color": INK}
    two = tall >= TWO_LINES
    for name, words, much in (
        ("ratio", f"{row.ratio[0]}/{row.ratio[1]}", True),
        ("aim at", told.aim, True),
        ("pulled", told.pulled, False),
        ("stays", told.stays, False),
        ("third note", told.third, False),
        ("a voice like a clock", clock, False),
    ):
        up = 0.19 * tall * (two and name == "aim at")
        smaller = 1.0 if much else 0.8
        weight = "bold" if much else "normal"
        text = axes.text(COLUMNS[name], y + up, words, size=smaller * size, weight=weight, **middle)
        if name == "aim at" and two:
            axes.text(
                COLUMNS[name], y - 0.24 * tall, f"give or take {exact}", size=0.62 * size, **middle
            )
        elif name == "aim at":
            beside: dict[str, Any] = {
                "xycoords": text,
                "size": 0.8 * size,
                "va": "center",
                "color": INK,
            }
            axes.annotate(f"  ± {exact}", (1.0, 0.5), **beside)
    _bars(axes, row, others, place)
    rule = y - 0.5 * tall
    axes.plot([COLUMNS["ratio"], 0.97], [rule, rule], color=FAINT, lw=0.3)


def _bars(
    axes: Axes, row: SingerRow, others: Sequence[SingerRow], place: tuple[float, float, float]
) -> None:
    """Draw the range of aims around the just note; thin lines are other voices'."""
    y, tall, reach = place
    middle, half = 0.5 * (BAR[0] + BAR[1]), 0.5 * (BAR[1] - BAR[0])
    axes.plot(BAR, [y, y], color=FAINT, lw=0.6)
    axes.plot([middle, middle], [y - 0.4 * tall, y + 0.4 * tall], color=INK, lw=0.8, zorder=3)
    locked = [one for one in others if one.low and one.high]
    for k, one in enumerate(locked):
        assert one.low is not None
        assert one.high is not None
        at = y + tall * (0.38 - 0.76 * (k + 0.5) / len(locked))
        ends = [middle + half * edge.inside / reach for edge in (one.low, one.high)]
        axes.plot(ends, [at, at], color=FAINT, lw=1.0, zorder=4)
    assert row.low is not None
    assert row.high is not None
    left, width = middle + half * row.low.inside / reach, half * row.width / reach
    axes.add_patch(
        Rectangle((left, y - 0.2 * tall), width, 0.4 * tall, color=TOGETHER, lw=0.8, zorder=2)
    )


def _rest(axes: Axes, rows: Sequence[SingerRow], y: float) -> None:
    """Name the ratios that have no row."""
    for kind in Ease:
        names = [f"{row.ratio[0]}/{row.ratio[1]}" for row in rows if ease(row) == kind]
        if names:
            locked = kind not in (Ease.NEVER, Ease.UNSUNG)
            words = f"{'also: ' if locked else ''}{kind}:  {'  '.join(names)}"
            axes.text(COLUMNS["ratio"], y, words, size=10.0, color=INK, va="center")
            y -= REST_LINE
