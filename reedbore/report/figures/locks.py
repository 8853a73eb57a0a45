"""The lock table for the music stand, and two lock tables side by side.

In: lock tables. Out: PNG, SVG or PDF. A sheet has a row for every ratio that is worth singing:
where to sing, which third note comes of it, how far the lock reaches, how long a voice holds it.
"""

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from reedbore.files import check_writable, picture_kind, write_whole
from reedbore.model.setup import strength_words
from reedbore.notes import A4_HZ
from reedbore.report.figures.style import DOTS_PER_INCH, FAINT, INK, PAPER, TOGETHER
from reedbore.report.locks import GROUPS, exactly, group_of, where
from reedbore.report.maps import CARE, common_words
from reedbore.report.words import HEARD
from reedbore.verdict.lock_edges import NARROWEST_CENTS
from reedbore.verdict.state import Heard, RowState

if TYPE_CHECKING:
    from reedbore.verdict.locks import Row, Table

SUFFIXES = ".png", ".svg", ".pdf"
A4_LANDSCAPE = 11.69, 8.27
"""ISO 216. [inches]"""

TOP, FOOT = 0.845, 0.16
"""Where the rows begin and end, as shares of the page."""

COLUMNS = {"ratio": 0.035, "sing": 0.095, "third note": 0.54, "lock range": 0.71, "stays": 0.93}
"""Left ends of the columns, as shares of the page."""

BAR = 0.71, 0.905
"""Left and right end of the bars."""

TALLEST_ROW, TWO_LINES = 0.066, 0.046
"""Rows that are at least so tall are written in two lines."""

POINTS_OF_PAGE = 72.0 * A4_LANDSCAPE[1]

LEGEND = "Stays: the share of the time that a human voice stays in the lock."

MOST_ROWS = 18
REST_LINE = 0.028


def lock_table_picture(table: "Table", title: str, path: Path, *, a4: float = A4_HZ) -> None:
    """Draw a lock table for the music stand: one page A4, landscape.

    Parameters
    ----------
    table : Table
        The lock table.
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
    figure, axes = sheet(table, title, f"{CARE}\n{LEGEND}")
    _rows(axes, table, a4)
    write_figure(figure, path, kind)


def sheet(table: "Table", title: str, legend: str) -> tuple[Figure, Axes]:
    """Return a page with its title, what is blown and sung, and a legend at its foot."""
    figure = Figure(figsize=A4_LANDSCAPE, dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    breath = table.setup.breath.pressure / 1e3
    says = f"breath {breath:.3g} kPa · {strength_words(table.setup.voice)}"
    style: dict[str, Any] = {"size": 20, "weight": "bold", "color": INK, "va": "top"}
    axes.text(COLUMNS["ratio"], 0.955, title, **style, parse_math=False)
    axes.text(COLUMNS["ratio"], 0.905, says, size=12, color=INK, va="top")
    axes.text(COLUMNS["ratio"], 0.022, legend, size=11, color=INK, va="bottom")
    return figure, axes


def kind_of(path: Path) -> str:
    """Return which kind of picture a path asks for, if it can be written."""
    kind = picture_kind(path, SUFFIXES)
    check_writable(path)
    return kind


def write_figure(figure: Figure, path: Path, kind: str) -> None:
    """Write a picture; it appears only when it is whole."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, facecolor=PAPER)
    write_whole(path, buffer.getvalue())


def _rows(axes: Axes, table: "Table", a4: float) -> None:
    chosen = _worth_a_row(table)
    groups = [
        (group.says, [row for row in chosen if group_of(row) == name])
        for name, group in GROUPS.items()
    ]
    groups = [(head, rows) for head, rows in groups if rows]
    lines = sum(len(rows) + 1.35 for _, rows in groups)
    if not groups:
        says = "No ratio locks, and no third note is heard."
        axes.text(COLUMNS["ratio"], 0.7, says, size=16, color=INK)
        return
    tall = min((TOP - FOOT) / lines, TALLEST_ROW)
    size = (
        0.42 * tall * POINTS_OF_PAGE
        if tall >= TWO_LINES
        else min(0.5 * tall * POINTS_OF_PAGE, 10.0)
    )
    reach = max((_reach(row) for row in table.rows if row.state == RowState.LOCKED), default=1.0)
    _head(axes, reach)
    y = TOP
    for head, rows in groups:
        y -= 1.0 * tall
        axes.text(COLUMNS["ratio"], y, head, size=0.8 * size, color=FAINT, style="italic")
        y -= 0.35 * tall
        for row in rows:
            _row(axes, row, (y - 0.5 * tall, tall, size), reach, a4)
            y -= tall
    shown = {row.ratio for row in chosen}
    _rest(axes, [row for row in table.rows if row.ratio not in shown], y - 0.7 * tall)


def _worth_a_row(table: "Table") -> list["Row"]:
    """Choose what is shown in full: if there is too much, what is heard and what is widest."""
    rows = [row for row in table.rows if GROUPS[group_of(row)].in_full]
    best = sorted(rows, key=lambda row: (row.heard != "yes", -lock_width(row)))[:MOST_ROWS]
    chosen = {row.ratio for row in best}
    return [row for row in rows if row.ratio in chosen]


def _rest(axes: Axes, rows: list["Row"], y: float) -> None:
    """Name the ratios that have no row."""
    for name, group in GROUPS.items():
        names = [f"{row.ratio[0]}/{row.ratio[1]}" for row in rows if group_of(row) == name]
        if names:
            words = f"{'also: ' if group.in_full else ''}{group.says}:  {'  '.join(names)}"
            axes.text(COLUMNS["ratio"], y, words, size=10.0, color=INK, va="center")
            y -= REST_LINE


def _head(axes: Axes, reach: float) -> None:
    y = TOP + 0.008
    for name, x in COLUMNS.items():
        words = f"from the just note, ±{reach:.2g}c" if name == "lock range" else name
        axes.text(x, y, words, size=10.5, color=INK)
    axes.plot([COLUMNS["ratio"], 0.97], [TOP, TOP], color=INK, lw=0.8)


def _row(
    axes: Axes, row: "Row", place: tuple[float, float, float], reach: float, a4: float
) -> None:
    """Write one row at a height, as tall and in a size as given."""
    y, tall, size = place
    p, q = row.ratio
    middle: dict[str, Any] = {"va": "center", "color": INK}
    axes.text(COLUMNS["ratio"], y, f"{p}/{q}", size=size, weight="bold", **middle)
    width = exactly(row, a4) if row.state == RowState.LOCKED else ""
    third = common_words(row.resultant_hz, row.ratio, a4)
    sure = third == "none" or "too low" in third or row.heard == Heard.YES
    doubt = "" if sure else HEARD[Heard(row.heard)].beside
    for x, words, after, weight in (
        (COLUMNS["sing"], where(row, a4), width, "bold"),
        (COLUMNS["third note"], third, doubt, "normal"),
    ):
        two = tall >= TWO_LINES and after != ""
        text = axes.text(x, y + 0.19 * tall * two, words, size=size, weight=weight, **middle)
        if two:
            axes.text(x, y - 0.24 * tall, after, size=0.72 * size, **middle)
        elif after:
            axes.annotate(
                f"   {after}", (1.0, 0.5), xycoords=text, size=0.8 * size, va="center", color=INK
            )
    if row.state == RowState.LOCKED:
        _bar(axes, row, (y, tall), reach)
    if row.held is not None:
        axes.text(
            COLUMNS["stays"], y, f"{100.0 * row.held:.0f} %", size=min(0.9 * size, 12.0), **middle
        )
    rule = y - 0.5 * tall
    axes.plot([COLUMNS["ratio"], 0.97], [rule, rule], color=FAINT, lw=0.3)


def _reach(row: "Row") -> float:
    """Return how far a lock reaches from the just note. [cents]."""
    if row.low is None or row.high is None:
        return 0.0
    return max(abs(row.low.inside), abs(row.high.inside))


def _bar(axes: Axes, row: "Row", place: tuple[float, float], reach: float) -> None:
    """Draw a lock range around the just note over the pitch that the horn plays alone."""
    assert row.low is not None
    assert row.high is not None
    y, tall = place
    middle, half = 0.5 * (BAR[0] + BAR[1]), 0.5 * (BAR[1] - BAR[0])
    axes.plot(BAR, [y, y], color=FAINT, lw=0.6)
    axes.plot([middle, middle], [y - 0.3 * tall, y + 0.3 * tall], color=INK, lw=0.8, zorder=3)
    left = middle + half * row.low.inside / reach
    width = half * (row.high.inside - row.low.inside) / reach
    axes.add_patch(
        Rectangle((left, y - 0.2 * tall), width, 0.4 * tall, color=TOGETHER, lw=0.8, zorder=2)
    )


# --- two horns -----------------------------------------------------------------------------------

LEAST_CENTS = 0.1
"""Bottom of the axis of widths; what does not lock is marked there. [cents]"""


def even_p_picture(tables: dict[str, "Table"], title: str, path: Path) -> None:
    """Draw lock width against ratio for several horns side by side, even p told from odd.

    Parameters
    ----------
    tables : dict
        Lock table by name of the horn.
    title : str
        Above the picture.
    path : Path
        PNG, SVG or PDF; it appears only when it is whole.

    Raises
    ------
    ReedboreError
        If the kind of file is unknown or it cannot be written.

    Notes
    -----
    To first order a voice locks at p/q through the partials p, 2p, ... of the phase response of
    the oscillation [1]_. Where one half of a cycle mirrors the other, as nearly on a cylinder, the
    breath acts alike on both, so that this response has even partials alone: an odd p has to do
    with 2p. On a cone the halves differ.

    References
    ----------
    .. [1] A. Pikovsky, M. Rosenblum and J. Kurths, "Synchronization: a universal concept in
       nonlinear sciences," Cambridge University Press, 2001, chapter 7 (from memory).
    """
    kind = kind_of(path)
    figure = Figure(
        figsize=(11.5, 1.1 + 3.2 * len(tables)), dpi=DOTS_PER_INCH, facecolor=PAPER,
        layout="constrained",
    )  # fmt: skip
    FigureCanvasAgg(figure)
    figure.suptitle(title, color=INK, x=0.01, ha="left", fontsize=13, weight="bold")
    ratios = sorted(
        {row.ratio for table in tables.values() for row in table.rows if _is_shown(row)},
        key=lambda ratio: ratio[0] / ratio[1],
    )
    panels = figure.subplots(len(tables), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    for axes, (name, table) in zip(panels, tables.items(), strict=True):
        _widths(axes, name, [lock_width_at(table, ratio) for ratio in ratios], ratios)
    panels[-1].set_xticks(range(len(ratios)), [f"{p}\n{q}" for p, q in ratios], size=10)
    panels[-1].set_xlim(-0.7, max(len(ratios), 1) - 0.3)
    panels[-1].set_xlabel("ratio sung/fingered, p over q", size=9.5, color=INK)
    figure.supxlabel(CARE, size=9, color=INK, x=0.01, ha="left")
    write_figure(figure, path, kind)


def _widths(axes: Axes, name: str, widths: list[float], ratios: list[tuple[int, int]]) -> None:
    axes.set_facecolor(PAPER)
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter("{x:g}")
    axes.yaxis.set_minor_formatter("")
    axes.set_title(name, loc="left", size=11, weight="bold", color=INK)
    styles: tuple[tuple[bool, str, dict[str, Any]], ...] = (
        (True, "p even", {"facecolor": TOGETHER, "edgecolor": INK}),
        (False, "p odd", {"facecolor": PAPER, "edgecolor": INK, "hatch": "///"}),
    )
    sure = [width >= NARROWEST_CENTS for width in widths]
    for even, says, style in styles:
        places = [k for k, (p, _) in enumerate(ratios) if (p % 2 == 0) == even and sure[k]]
        axes.bar(places, [widths[k] for k in places], lw=0.8, width=0.75, label=says, **style)
    none = [k for k, there in enumerate(sure) if not there]
    axes.plot(none, [1.25 * LEAST_CENTS] * len(none), "x", color=FAINT, ms=5, label="none sure")
    axes.set_ylim(bottom=LEAST_CENTS)
    axes.set_ylabel("lock range [cents]", size=9.5, color=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=9, ncols=3)


def lock_width_at(table: "Table", ratio: tuple[int, int]) -> float:
    """Return the width of the lock at a ratio, 0 if there is none. [cents]."""
    return next((lock_width(row) for row in table.rows if row.ratio == ratio), 0.0)


def _is_shown(row: "Row") -> bool:
    return lock_width(row) >= NARROWEST_CENTS


def lock_width(row: "Row") -> float:
    """Return the width of a lock, 0 if there is none. [cents]."""
    if row.low is None or row.high is None:
        return 0.0
    return max(row.high.inside - row.low.inside, 0.0)
