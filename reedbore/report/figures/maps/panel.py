"""One panel of a lock map: cells by state, edges of locks, where to aim."""

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import Stroke, withStroke
from numpy.typing import NDArray

from reedbore.notes import hz_to_midi, midi_name
from reedbore.report import maps, maps_data
from reedbore.report.figures.style import DOTS_PER_INCH, FAINT, INK, PAPER, TOGETHER
from reedbore.report.looks import LOOKS, looks
from reedbore.report.maps_data import LockMap, Slice, axis_values, is_logarithmic
from reedbore.verdict.sweep.plan import Axis, Sweep

FOOT_INCHES = 1.25
"""Height of legend and words under a picture."""


def sheet(found: LockMap, size: tuple[float, float]) -> Figure:
    """Make a page with title, legend and what must be said under every map.

    Parameters
    ----------
    found : LockMap
        The sweep.
    size : (float, float)
        Width and height. [inches]

    Returns
    -------
    Figure
        Empty but for head and foot, which takes `FOOT_INCHES`.
    """
    figure = Figure(figsize=size, dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    left = 0.2 / size[0]
    figure.text(
        left, 1.0 - 0.15 / size[1], maps.title(found), size=15, weight="bold", color=INK,
        va="top", parse_math=False,
    )  # fmt: skip
    figure.text(left, 1.0 - 0.48 / size[1], maps.subtitle(found), size=10.5, color=INK, va="top")
    _legend(figure, found, (left, 0.98 / size[1]))
    words = [maps.unfinished(found), maps.resolution(found), maps.care(found.sweep)]
    says = "\n".join(word for word in words if word)
    figure.text(left, 0.3 / size[1], says, size=9, color=INK, va="bottom", linespacing=1.35)
    return figure


def _legend(figure: Figure, found: LockMap, place: tuple[float, float]) -> None:
    """Show the states that occur, as they are drawn."""
    there = set(found.state_names().ravel().tolist())
    handles: list[Any] = []
    for state, look in looks(folded=found.sweep.setup.voice.folded).items():
        if state in there:
            ink = PAPER if look.mark == "*" else INK
            handles.append(
                Patch(facecolor=look.light, hatch=look.mark * HATCH_TIMES, edgecolor=ink,
                      lw=0.5, label=look.says)
            )  # fmt: skip
    if found.edges is not None:
        says = "a lock, however narrow, between white rims"
        handles.append(Line2D([], [], lw=1.6, color=TOGETHER, label=says))
    if found.edges is not None and np.any(np.isfinite(found.edges.perhaps)):
        says = "perhaps a lock, too narrow to be sure"
        dots: dict[str, Any] = {"ls": PERHAPS, "lw": 1.2}
        handles.append(Line2D([], [], color=TOGETHER, label=says, **dots))
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=place, ncols=min(len(handles), 4),
        frameon=False, fontsize=9, labelcolor=INK, handlelength=2.2, handleheight=1.3,
        columnspacing=1.4, borderpad=0.0, borderaxespad=0.0,
    )  # fmt: skip


NOTE_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 300, 400, 600, 1200)
"""Cents between labelled notes, finest first."""

ROUND = (1.0, 2.0, 5.0, 10.0)

Ticks = list[tuple[float, str]]


def axis_ticks(sweep: Sweep, axis: Axis, most: int = 12) -> Ticks:
    """Label an axis.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    axis : Axis
        One of its axes.
    most : int
        How many labels there is room for.

    Returns
    -------
    list of (float, str)
        Place, as `maps_data.axis_values` counts, and what is written there.
    """
    places = axis_values(sweep, axis)
    low, high = float(places[0]), float(places[-1])
    if axis is sweep.sung_axis:
        return note_ticks(low, high, hz_to_midi(sweep.fingered.hz, sweep.fingered.a4), most)
    if not is_logarithmic(axis):
        return [(value, f"{value:.10g}") for value in round_numbers(low, high, most)]
    tens = range(math.floor(low), math.ceil(high) + 1)
    steps = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0) if high - low < 1.2 else (1.0, 2.0, 5.0)
    marks = [step * 10.0**ten for ten in tens for step in steps]
    shown = [value for value in marks if low - 1e-9 <= math.log10(value) <= high + 1e-9]
    if len(shown) < 3:
        shown = [value for value in round_numbers(10.0**low, 10.0**high, most) if value > 0.0]
    return [(math.log10(value), f"{value:.10g}") for value in shown]


def note_ticks(low: float, high: float, fingered_midi: float, most: int = 12) -> Ticks:
    """Label notes by name, between tempered ones with their cents.

    Parameters
    ----------
    low, high : float
        Ends of the axis, from the fingered note. [cents]
    fingered_midi : float
        The fingered note.
    most : int
        How many labels there is room for.

    Returns
    -------
    list of (float, str)
        Cents from the fingered note, and for example ``D4`` or ``D4+20c``.
    """
    step = next((s for s in NOTE_STEPS if (high - low) / s <= most), NOTE_STEPS[-1])
    zero = 100.0 * fingered_midi
    first = math.ceil((zero + low - 1e-6) / step)
    last = math.floor((zero + high + 1e-6) / step)
    return [(number * step - zero, _note(number * step)) for number in range(first, last + 1)]


def _note(midi_cents: int) -> str:
    off = (midi_cents + 50) % 100 - 50
    name = midi_name((midi_cents - off) / 100)
    return f"{name}{off:+d}c" if off else name


def round_numbers(low: float, high: float, most: int = 8) -> NDArray[np.float64]:
    """List round numbers from low to high, at most so many."""
    rough = max(high - low, 1e-12) / max(most, 1)
    ten = 10.0 ** math.floor(math.log10(rough))
    step = next(ten * value for value in ROUND if ten * value >= rough * (1.0 - 1e-9))
    numbers = np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    return np.asarray(numbers * step, np.float64)


HATCH_TIMES = 3
"""How often matplotlib repeats a mark: more is denser."""

HALO = [withStroke(linewidth=2.5, foreground=PAPER)]
RAIL = [Stroke(linewidth=3.6, foreground=PAPER)]
"""Light rims, under the band, keep a line apart from cells of any state."""

PERHAPS = (0.0, (1.5, 1.5))
"""Dots for what may be a lock."""

LIST_X = 1.035
MOST_LISTED = 26


def draw(axes: Axes, found: LockMap, plane: tuple[int, int], held: Slice) -> None:
    """Draw one map.

    Parameters
    ----------
    axes : Axes
        Where.
    found : LockMap
        The sweep.
    plane : (int, int)
        Which of its axes run across and up.
    held : (int, int) or None
        Which value of which third axis.
    """
    sweep = found.sweep
    across, up = (maps_data.axis_values(sweep, sweep.axes[place]) for place in plane)
    grid = maps_data.borders(across), maps_data.borders(up)
    cells(axes, take(found.state_names(), plane, held), grid)
    axes.set_xlim(*grid[0][[0, -1]])
    axes.set_ylim(*grid[1][[0, -1]])
    if found.sung_place == plane[1]:
        _edges(axes, found, plane, held)
        _rings(axes, found, plane, held)
    else:
        _name_regions(axes, found, plane, held)
    _label_axes(axes, found, plane)


def take(values: NDArray[Any], plane: tuple[int, int], held: Slice) -> NDArray[Any]:
    """Cut a plane out of an array: rows run up, columns across."""
    if held is not None:
        values = np.take(values, held[1], axis=held[0])
    return values.T if plane[0] < plane[1] else values


def cells(
    axes: Axes, names: NDArray[Any], grid: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> None:
    """Paint cells in the colours and marks of their states.

    Parameters
    ----------
    axes : Axes
        Where.
    names : ndarray, shape (rows, columns)
        State of each.
    grid : (ndarray, ndarray)
        Borders of the columns, and of the rows.
    """
    axes.set_facecolor(PAPER)
    order = list(LOOKS)
    codes = np.vectorize(order.index, otypes=[np.int64])(names)
    colours = ListedColormap([look.light for look in LOOKS.values()])
    axes.pcolormesh(
        *grid, codes, cmap=colours, vmin=-0.5, vmax=len(order) - 0.5, rasterized=True, zorder=1
    )
    for code, look in enumerate(LOOKS.values()):
        if look.mark and np.any(codes == code):
            outline = _outline(codes == code, grid)
            axes.add_patch(PathPatch(outline, zorder=2, **_hatching(look.mark)))


def _hatching(mark: str) -> dict[str, Any]:
    ink = PAPER if mark == "*" else INK
    return {
        "fill": False, "lw": 0.0, "hatch": mark * HATCH_TIMES, "edgecolor": ink, "alpha": 0.28,
    }  # fmt: skip


def _outline(
    flags: NDArray[np.bool_], grid: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> Outline:
    """Join all flagged cells to one outline, each stretch of a row being one rectangle."""
    corners = []
    for row, line in enumerate(flags):
        bottom, top = grid[1][row], grid[1][row + 1]
        for start, stop in maps_data.runs(line):
            left, right = grid[0][start], grid[0][stop]
            corners += [(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)]
    kinds = [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY] * (len(corners) // 5)
    return Outline(corners, kinds)


def _edges(axes: Axes, found: LockMap, plane: tuple[int, int], held: Slice) -> None:
    """Draw where locks end, and fill between, so that no lock is too narrow to be seen."""
    if found.edges is None:
        return
    sweep = found.sweep
    middles = maps_data.axis_values(sweep, sweep.axes[plane[0]])
    rims = maps_data.borders(middles)
    lines, dots = [], []
    for k in range(len(found.edges.ratios)):
        low, high, perhaps = (_column(array[..., k], found, held) for array in found.edges[2:5])
        for start, stop in maps_data.runs(np.isfinite(low)):
            x = np.array([rims[start], *middles[start:stop], rims[stop]])
            under, over = (
                np.array([side[start], *side[start:stop], side[stop - 1]]) for side in (low, high)
            )
            axes.fill_between(x, under, over, color=TOGETHER, lw=1.3, zorder=4)
            lines += [np.column_stack((x, side)) for side in (under, over)]
        dots += [
            [(rims[at], perhaps[at]), (rims[at + 1], perhaps[at])]
            for at in np.flatnonzero(np.isfinite(perhaps))
        ]
    axes.add_collection(LineCollection(lines, path_effects=RAIL, zorder=3), autolim=False)
    style: dict[str, Any] = {
        "colors": TOGETHER,
        "linestyles": PERHAPS,
        "linewidths": 1.2,
        "zorder": 3,
    }
    axes.add_collection(LineCollection(dots, **style), autolim=False)


def _column(values: NDArray[np.float64], found: LockMap, held: Slice) -> NDArray[np.float64]:
    """Take what stands along the axis across out of an array that lacks the sung axis."""
    if held is None:
        return values
    assert found.sung_place is not None
    return np.take(values, held[1], axis=held[0] - (held[0] > found.sung_place))


def _rings(axes: Axes, found: LockMap, plane: tuple[int, int], held: Slice) -> None:
    """Ring the widest place of each lock and write its ratio there, where there is room."""
    sweep = found.sweep
    across = maps_data.axis_values(sweep, sweep.axes[plane[0]])
    low, high = axes.get_ylim()
    gap = (high - low) * (0.03 if _is_large(axes) else 0.07)
    taken: list[float] = []
    for aim in sorted(maps_data.aims(found, held), key=lambda aim: aim.low - aim.high):
        x = across[aim.place[plane[0]]]
        axes.plot(
            [x], [aim.middle], "o", ms=8 if _is_large(axes) else 4, mfc="none", mec=INK, mew=1.4,
            path_effects=HALO, zorder=6,
        )  # fmt: skip
        if any(abs(aim.middle - y) < gap for y in taken):
            continue
        taken.append(aim.middle)
        _name(axes, aim.ratio, (float(x), aim.middle))


def _is_large(axes: Axes) -> bool:
    """Tell a map that fills a page from one of small multiples."""
    return axes.get_position().height > 0.5


def _name(axes: Axes, ratio: tuple[int, int], place: tuple[float, float]) -> None:
    size = 10 if _is_large(axes) else 8
    low, high = axes.get_xlim()
    far = place[0] > low + 0.85 * (high - low)
    axes.annotate(
        f"{ratio[0]}/{ratio[1]}", place, (-9 if far else 9, 0), textcoords="offset points",
        ha="right" if far else "left", va="center", size=size, weight="bold", color=INK,
        path_effects=HALO, zorder=7,
    )  # fmt: skip


def _name_regions(axes: Axes, found: LockMap, plane: tuple[int, int], held: Slice) -> None:
    sweep = found.sweep
    across, up = (maps_data.axis_values(sweep, sweep.axes[place]) for place in plane)
    for ratio, row, column in regions(found, plane, held):
        _name(axes, ratio, (float(across[column]), float(up[row])))


def regions(
    found: LockMap, plane: tuple[int, int], held: Slice
) -> list[tuple[tuple[int, int], int, int]]:
    """Find where to write each ratio on a map whose voice stays put.

    Parameters
    ----------
    found : LockMap
        The sweep.
    plane, held
        As for `draw`.

    Returns
    -------
    list of (ratio, row, column)
        The middle of the longest stretch of a row that locks, or else drifts, at the ratio.
    """
    p, q = (take(found.values[name], plane, held) for name in ("p", "q"))
    places = []
    for ratio in sorted(set(zip(p.ravel().tolist(), q.ravel().tolist(), strict=True))):
        if ratio[1] == 0:
            continue
        locked = take(found.locked(ratio), plane, held)
        flags = locked if locked.any() else (p == ratio[0]) & (q == ratio[1])
        middle = np.argwhere(flags)[:, 0].mean()
        _, _, row, column = max(
            (stop - start, -abs(row - middle), row, (start + stop) // 2)
            for row, line in enumerate(flags)
            for start, stop in maps_data.runs(line)
        )
        places.append((ratio, row, column))
    return places


def _label_axes(axes: Axes, found: LockMap, plane: tuple[int, int]) -> None:
    sweep = found.sweep
    axes.spines[:].set_color(FAINT)
    axes.tick_params(colors=INK, labelsize=9)
    for place, way in zip(plane, (axes.xaxis, axes.yaxis), strict=True):
        axis = sweep.axes[place]
        ticks = axis_ticks(sweep, axis, 9 if way is axes.xaxis else 14)
        way.set_ticks([tick[0] for tick in ticks], [tick[1] for tick in ticks])
        way.set_label_text(maps.axis_words(sweep, axis), size=9.5, color=INK)
        strong = maps.first_exaggerated(axis)
        if strong is not None:
            line = axes.axvline if way is axes.xaxis else axes.axhline
            where = maps_data.borders(maps_data.axis_values(sweep, axis))[strong]
            line(where, color=INK, lw=1.2, ls=":", zorder=5)


def keep_outer_labels(axes: Axes, *, left: bool, bottom: bool) -> None:
    """Leave out the labels that a neighbour or the whole page shows."""
    axes.set_xlabel("")
    axes.set_ylabel("")
    axes.tick_params(labelleft=left, labelbottom=bottom)


# --- beside --------------------------------------------------------------------------------------


def list_aims(axes: Axes, found: LockMap) -> None:
    """List beside a map what to sing at each lock, with a line to its place.

    Parameters
    ----------
    axes : Axes
        The map.
    found : LockMap
        The sweep.
    """
    widest = sorted(maps_data.aims(found), key=lambda aim: aim.low - aim.high)[:MOST_LISTED]
    listed = sorted(widest, key=lambda aim: aim.middle)
    where = "where widest" if found.sweep.setup.voice.folded else "where it is widest"
    head = f"ratio   {maps.does(found.sweep)}, {where}   (common note)"
    head = head if listed else "no cell locks"
    axes.text(LIST_X, 1.012, head, transform=axes.transAxes, size=9, color=INK, va="bottom")
    low, high = axes.get_ylim()
    heights = spread([(aim.middle - low) / (high - low) for aim in listed], 0.036)
    for aim, height in zip(listed, heights, strict=True):
        ratio, note, third = maps.aim_words(found, aim)
        axes.annotate(
            "", (1.0, (aim.middle - low) / (high - low)), (LIST_X - 0.004, height),
            xycoords="axes fraction", arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.8},
        )  # fmt: skip
        place: dict[str, Any] = {"transform": axes.transAxes, "va": "center", "color": INK}
        axes.text(LIST_X, height, ratio, size=10.5, weight="bold", **place)
        axes.text(LIST_X + 0.06, height, note, size=10.5, **place)
        axes.text(LIST_X + 0.177, height, maps.where_words(found, aim), size=8.5, **place)
        if third != "none":
            axes.text(LIST_X + 0.262, height, f"({third})", size=9, **place)


def spread(wanted: list[float], gap: float) -> list[float]:
    """Move rising places apart so that labels do not cover each other.

    Parameters
    ----------
    wanted : list of float
        Rising, from 0 to 1.
    gap : float
        Least distance.

    Returns
    -------
    list of float
        As near to where they belong as there is room below 1.
    """
    places = list(wanted)
    for k in range(1, len(places)):
        places[k] = max(places[k], places[k - 1] + gap)
    top = 1.0
    for k in range(len(places) - 1, -1, -1):
        places[k] = min(places[k], top)
        top = places[k] - gap
    return places
