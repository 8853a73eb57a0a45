"""The sheet of an atlas: what a horn does with a voice, all fingered notes on one page.

In: the store of an atlas, as far as it is made. Out: PNG, SVG, PDF, or a page of HTML that needs
nothing else. Fingered notes run across, sung notes up; in each column stand the bands of aims that
fall into step for a singer, and beside them what a voice like a clock locks to.
"""

import base64
import html
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from textwrap import shorten
from typing import Any, NamedTuple

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from reedbore.files import check_writable, picture_kind, write_whole
from reedbore.notes import hz_to_midi, midi_name, split_note
from reedbore.report import atlas as telling
from reedbore.report import locks, singer
from reedbore.report.atlas import Pair
from reedbore.report.figures.maps.picture import with_palette
from reedbore.report.figures.style import DOTS_PER_INCH, FAINT, HORN_BLUE, INK, PAPER, TOGETHER
from reedbore.report.words import CLOCK, FOLDS, STAYS, is_one_of_two
from reedbore.verdict import atlas
from reedbore.verdict.atlas import Found
from reedbore.verdict.locks import Row
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import Heard

SUFFIXES = ".png", ".svg", ".pdf", ".html"

SMALL, LARGE = (11.69, 8.27), (16.54, 11.69)
"""A4 and A3 across, ISO 216. [inches]"""

FIT_ON_SMALL = 18
"""More notes than these need the larger page."""

MARGINS = 0.66, 0.2, 1.06, 1.42
"""Left, right, above and below the columns. [inches]"""

BANDS, DOTS = (0.04, 0.26), (0.84, 0.95)
"""Where the bands of a singer and the dots of a clock stand in a column, as shares of its width."""

LEAST_BAND = 0.12
"""A band is drawn at least so tall. [semitones]"""

NEAREST_WORDS = 0.62
"""Words of a column lie at least so far apart. [semitones]"""

DOT_SIZES = (0.5, 2.2), (2.0, 3.4), (float("inf"), 4.8)
"""Up to how many cents a lock is drawn how large. [points]"""

LONGEST_WHY = 70
"""Letters of why a note has no table that have room in its column."""

BLACK_KEYS = {1, 3, 6, 8, 10}
HALO = [withStroke(linewidth=2.0, foreground=PAPER)]
PERHAPS: dict[str, Any] = {"fill": False, "hatch": "//////", "edgecolor": TOGETHER, "lw": 0.7}


def picture(store: Path, path: Path) -> Found:
    """Draw an atlas into a file.

    Parameters
    ----------
    store : Path
        The store of the atlas, as far as it is made.
    path : Path
        PNG, SVG, PDF or HTML; it appears only when it is whole.

    Returns
    -------
    Found
        What was drawn.

    Raises
    ------
    ReedboreError
        If there is no atlas, the kind of file is unknown, or it cannot be written.
    """
    kind = picture_kind(path, SUFFIXES)
    check_writable(path)
    found = atlas.read(store)
    write_whole(path, drawn(found, kind))
    return found


def drawn(found: Found, kind: str) -> bytes:
    """Draw an atlas as one of `SUFFIXES`, named without its dot."""
    if kind == "html":
        return _page(found).encode()
    buffer = io.BytesIO()
    draw(found).savefig(buffer, format=kind, facecolor=PAPER)
    return (with_palette(buffer) if kind == "png" else buffer).getvalue()


def draw(found: Found) -> Figure:
    """Draw the sheet.

    Parameters
    ----------
    found : Found
        The atlas.

    Returns
    -------
    Figure
        One page.
    """
    made = found.atlas
    size = SMALL if len(made.notes) <= FIT_ON_SMALL else LARGE
    figure = Figure(figsize=size, dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    left, right, above, below = MARGINS
    axes = figure.add_axes(
        (
            left / size[0], below / size[1],
            1.0 - (left + right) / size[0], 1.0 - (above + below) / size[1],
        )
    )  # fmt: skip
    sung, clock = list(telling.singer_pairs(found)), list(telling.clock_pairs(found))
    low, high = _span(found, [*sung, *clock])
    axes.set_xlim(-0.5, len(made.notes) - 0.5)
    axes.set_ylim(low, high)
    _staff(axes, found, low, high)
    _just_lines(axes, found, [*sung, *clock])
    _bands(axes, found, sung)
    _dots(axes, found, clock)
    told = {pair.midi for pair in sung}
    _words(axes, found, [*sung, *(pair for pair in clock if pair.midi not in told)])
    _missing(axes, found)
    _frame(figure, found, size)
    return figure


def _span(found: Found, pairs: Iterable[Pair]) -> tuple[float, float]:
    """Return which sung notes are shown: those of the voice, or of all pairs. [MIDI]."""
    made = found.atlas
    low, high = map(float, made.singer.midi_range)
    if made.all_ratios:
        ends = [hz_to_midi(hz, made.a4) for pair in pairs for hz in (pair.low_hz, pair.high_hz)]
        low, high = min([low, *ends]), max([high, *ends])
    return low - 0.9, high + 0.9


def _staff(axes: Axes, found: Found, low: float, high: float) -> None:
    """Rule the page: a stripe for each sung note, darker for a black key, a line at each C."""
    axes.set_facecolor(PAPER)
    keys = range(math.ceil(low), math.floor(high) + 1)
    for key in keys:
        if key % 12 in BLACK_KEYS:
            axes.axhspan(key - 0.5, key + 0.5, color=INK, alpha=0.035, lw=0.0, zorder=0)
        if key % 12 == 0:
            axes.axhline(key - 0.5, color=FAINT, lw=0.6, zorder=1)
    axes.set_yticks(list(keys), [midi_name(key) for key in keys], size=7.5)
    made = found.atlas
    shift = made.horn.transposition
    for k, midi in enumerate(made.notes):
        axes.axvline(k - 0.5, color=FAINT, lw=0.4, zorder=1)
        style: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "ha": "center"}
        style |= {"va": "top", "color": INK}
        axes.text(k, -0.012, midi_name(midi), size=9.5, weight="bold", **style)
        if shift:
            axes.text(k, -0.045, midi_name(midi + shift), size=7.0, **style)
    axes.set_xticks([])
    axes.tick_params(colors=INK, length=2.0)
    axes.spines[:].set_color(FAINT)
    axes.set_ylabel("sung or aimed at, as it sounds", size=8.5, color=INK)


def _just_lines(axes: Axes, found: Found, pairs: Sequence[Pair]) -> None:
    """Join the just notes of each ratio that falls into step somewhere."""
    made = found.atlas
    for ratio in sorted({pair.ratio for pair in pairs}):
        up = hz_to_midi(440.0 * ratio[0] / ratio[1]) - 69.0
        columns, heights = range(len(made.notes)), [midi + up for midi in made.notes]
        axes.plot(columns, heights, color=FAINT, lw=0.5, ls=(0.0, (1.0, 3.0)), zorder=2)


def _places(found: Found, pair: Pair, share: tuple[float, float]) -> tuple[float, float]:
    """Return left and right end of what stands for a pair in its column, one depth by another."""
    made = found.atlas
    number, count = made.depths.index(pair.depth), len(made.depths)
    left = made.notes.index(pair.midi) - 0.5
    wide = (share[1] - share[0]) / count
    return left + share[0] + number * wide, left + share[0] + (number + 0.85) * wide


def _look(pair: Pair) -> dict[str, Any]:
    if is_one_of_two(pair.heard):
        return {"facecolor": HORN_BLUE, "lw": 0.0}
    if pair.heard == Heard.YES:
        return {"facecolor": TOGETHER, "lw": 0.0}
    return PERHAPS if pair.heard == Heard.UNCERTAIN else {"facecolor": FAINT, "lw": 0.0}


def _bands(axes: Axes, found: Found, pairs: Iterable[Pair]) -> None:
    """Draw for which aims a singer falls into step."""
    a4 = found.atlas.a4
    for pair in pairs:
        left, right = _places(found, pair, BANDS)
        low, high = hz_to_midi(pair.low_hz, a4), hz_to_midi(pair.high_hz, a4)
        tall = max(high - low, LEAST_BAND)
        middle = 0.5 * (low + high)
        look = _look(pair)
        axes.add_patch(
            Rectangle((left, middle - 0.5 * tall), right - left, tall, zorder=4, **look)
        )  # fmt: skip


def _dots(axes: Axes, found: Found, pairs: Iterable[Pair]) -> None:
    """Draw where a clock locks: the wider the lock, the larger the dot."""
    a4 = found.atlas.a4
    for pair in pairs:
        left, right = _places(found, pair, DOTS if found.atlas.voices else BANDS)
        size = next(size for most, size in DOT_SIZES if pair.width < most)
        colour = _look(pair).get("facecolor", PAPER)
        edge = _look(pair).get("edgecolor", colour)
        axes.plot(
            [0.5 * (left + right)], [hz_to_midi(pair.hz, a4)], "o", ms=size, mfc=colour, mec=edge,
            mew=0.7, zorder=5,
        )  # fmt: skip


def _words(axes: Axes, found: Found, pairs: Iterable[Pair]) -> None:
    """Write ratio and third note beside what is widest, where there is room."""
    made, large = found.atlas, len(found.atlas.notes) > FIT_ON_SMALL
    taken: dict[int, list[float]] = {}
    written: set[tuple[int, tuple[int, int]]] = set()
    for pair in sorted(pairs, key=lambda pair: -pair.width):
        height, there = hz_to_midi(pair.hz, made.a4), taken.setdefault(pair.midi, [])
        if (pair.midi, pair.ratio) in written:
            continue
        if any(abs(height - one) < NEAREST_WORDS for one in there):
            continue
        there.append(height)
        written.add((pair.midi, pair.ratio))
        x = made.notes.index(pair.midi) - 0.5 + BANDS[1] + 0.03
        style: dict[str, Any] = {"va": "center", "color": INK, "path_effects": HALO, "zorder": 6}
        size = 6.4 if large else 6.8
        name = axes.text(
            x, height, f"{pair.ratio[0]}/{pair.ratio[1]}", size=size, weight="bold", **style
        )
        if pair.heard in (Heard.YES, Heard.UNCERTAIN):
            doubt = "?" if pair.heard == Heard.UNCERTAIN else ""
            axes.annotate(
                f" {split_note(pair.third_hz, made.a4)[0]}{doubt}",
                (1.0, 0.5), xycoords=name, size=size, va="center", color=TOGETHER,
                path_effects=HALO, zorder=6,
            )  # fmt: skip


def _missing(axes: Axes, found: Found) -> None:
    """Say in its column why a note has no table."""
    for midi, why in telling.missing(found).items():
        k = found.atlas.notes.index(midi)
        axes.axvspan(k - 0.5, k + 0.5, color=INK, alpha=0.06, lw=0.0, zorder=1)
        says = shorten(why, LONGEST_WHY, placeholder=" …")
        axes.text(
            k, 0.5, says, transform=axes.get_xaxis_transform(), rotation=90, size=8.0, color=INK,
            ha="center", va="center", zorder=6,
        )  # fmt: skip


def _frame(figure: Figure, found: Found, size: tuple[float, float]) -> None:
    """Write head and foot."""
    left = 0.2 / size[0]
    style: dict[str, Any] = {"color": INK, "va": "top", "parse_math": False}
    figure.text(
        left, 1.0 - 0.15 / size[1], telling.title(found), size=17, weight="bold", **style
    )  # fmt: skip
    figure.text(left, 1.0 - 0.52 / size[1], telling.subtitle(found), size=10.5, **style)
    figure.text(left, 1.0 - 0.75 / size[1], reading(found), size=8.5, **style)
    handles: list[Any] = [
        Patch(facecolor=TOGETHER, label="a third note is heard"),
        Patch(label="perhaps heard", **PERHAPS),
        Patch(facecolor=HORN_BLUE, label="none: the fingered or the sung note itself"),
        Patch(facecolor=FAINT, label="not heard"),
    ]
    dots = zip(("under half a cent", "to 2 cents", "wider"), DOT_SIZES, strict=True)
    for says, (_, points) in dots:
        handles.append(
            Line2D([], [], marker="o", ls="", ms=points, color=INK, label=f"clock, {says}")
        )
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=(left, 0.8 / size[1]), ncols=7,
        frameon=False, fontsize=8.5, labelcolor=INK, columnspacing=1.3, handletextpad=0.5,
        borderpad=0.0, borderaxespad=0.0,
    )  # fmt: skip
    figure.text(
        left, 0.12 / size[1], "\n".join(care(found)), size=8.5, color=INK, va="bottom"
    )  # fmt: skip


def reading(found: Found) -> str:
    """Say how the sheet is read."""
    written = " (small: as written)" if found.atlas.horn.transposition else ""
    several = "; depths side by side" if len(found.atlas.depths) > 1 else ""
    bands = "Bands: aims that fall into step for a singer. " if found.atlas.voices else ""
    return (
        f"Across: fingered{written}. Up: sung. {bands}Dots: what a voice like a clock locks to"
        f"{several}. Names: the third note."
    )


def care(found: Found) -> list[str]:
    """Return the cautions under the sheet."""
    told = [f"The clock: {CLOCK}."]
    if found.atlas.voices:
        told.insert(0, f"The singer: {FOLDS}.")
    if any(found.left.values()):
        told.append(f"{sum(found.left.values())} tables are still to be made.")
    return told


# --- as a page -----------------------------------------------------------------------------------


def _page(found: Found) -> str:
    """Write the sheet as one page of HTML, every note's table below it."""
    buffer = io.BytesIO()
    draw(found).savefig(buffer, format="png", facecolor=PAPER)
    image = base64.b64encode(with_palette(buffer).getvalue()).decode()
    head = html.escape(telling.title(found))
    tables = "\n".join(_note(found, midi) for midi in found.atlas.notes)
    return PAGE.format(title=head, says=html.escape(reading(found)), image=image, tables=tables)


PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title>
<meta name="viewport" content="width=device-width"><style>
body {{ font: 1rem/1.5 system-ui, sans-serif; color: #26251f; background: #fbf9f4; margin: 1rem; }}
img {{ max-width: 100%; }} table {{ border-collapse: collapse; margin: .5rem 0 1rem; }}
th, td {{ text-align: left; padding: .15rem .8rem .15rem 0; border-bottom: 1px solid #d8d4c8; }}
caption {{ text-align: left; font-style: italic; }} summary {{ cursor: pointer; }}
</style></head><body><h1>{title}</h1>
<img alt="{says}" src="data:image/png;base64,{image}">
<h2>Note by note</h2>
{tables}
</body></html>
"""


def _note(found: Found, midi: int) -> str:
    """Write all tables of one fingered note."""
    parts = [
        _markup(table) for depth in found.atlas.depths for table in _tables(found, midi, depth)
    ]
    name = html.escape(midi_name(midi))
    why = telling.missing(found).get(midi)
    body = "".join(parts) if not why else f"<p>{html.escape(why)}</p>"
    return f"<details><summary>{name} fingered</summary>{body}</details>"


class _Table(NamedTuple):
    """A table of the page: what it tells, its head, its rows."""

    says: str
    head: tuple[str, ...]
    rows: list[tuple[str, ...]]


def _tables(found: Found, midi: int, depth: float) -> Iterator[_Table]:
    a4 = found.atlas.a4
    sung, clock = found.singer(midi, depth), found.clock(midi, depth)
    if sung and sung.rows:
        shown = [row for row in singer.easiest_first(sung.rows) if row.low is not None]
        head: tuple[str, ...] = (
            "ratio",
            "aim at",
            "give or take",
            "the horn pulls it",
            "stays",
            "third note",
        )
        rows = [(_ratio(row), *_singer_cells(row, a4)) for row in shown]
        yield _Table(f"for a singer, depth {depth:g}", head, rows)
    if clock and clock.rows:
        head = "ratio", "sing", "how exactly", "third note", STAYS
        rows = [(_ratio(row), *_clock_cells(row, a4)) for row in clock.rows]
        yield _Table(f"for a voice like a clock, depth {depth:g}", head, rows)


def _ratio(row: Row | SingerRow) -> str:
    return f"{row.ratio[0]}/{row.ratio[1]}"


def _singer_cells(row: SingerRow, a4: float) -> tuple[str, ...]:
    told = singer.row_words(row, a4=a4)
    return told.aim, told.give_or_take, told.pulled, told.stays, told.third


def _clock_cells(row: Row, a4: float) -> tuple[str, ...]:
    told = locks.row_words(row, a4)
    return tuple(told[name] for name in ("sing", "exactly", "third", "stays"))


def _markup(table: _Table) -> str:
    cells = "".join(f"<th>{html.escape(one)}</th>" for one in table.head)
    body = "".join(
        f"<tr>{''.join(f'<td>{html.escape(one)}</td>' for one in row)}</tr>" for row in table.rows
    )
    return (
        f"<table><caption>{html.escape(table.says)}</caption><thead><tr>{cells}</tr></thead>"
        f"<tbody>{body}</tbody></table>"
    )
