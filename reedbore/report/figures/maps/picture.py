"""The lock map: the picture of a sweep.

In: the store of a sweep. Out: PNG, SVG, PDF, or a page of HTML that needs nothing else. Two axes
make a map, one a line picture, three small multiples. The sung note runs up; a lock is a dark
band, its edges are lines, and beside it stands what to sing.
"""

import io
import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from PIL import Image

from reedbore.files import check_writable, picture_kind, write_whole
from reedbore.report import maps, maps_data
from reedbore.report.figures.maps import html, line, panel
from reedbore.report.figures.maps.panel import FOOT_INCHES, sheet
from reedbore.report.figures.style import INK, PAPER
from reedbore.report.maps_data import LockMap

SUFFIXES = ".png", ".svg", ".pdf", ".html"

SIZE_INCHES = 11.5, 8.4
PANEL_INCHES = 3.6, 3.1
MOST_PANELS = 12
PANEL_COLUMNS = 4


def picture(store: Path, path: Path) -> LockMap:
    """Draw a sweep into a file.

    Parameters
    ----------
    store : Path
        The store of the sweep, as far as it has been run.
    path : Path
        PNG, SVG, PDF or HTML; it appears only when it is whole.

    Returns
    -------
    LockMap
        What was drawn.

    Raises
    ------
    ReedboreError
        If there is no sweep, the kind of file is unknown, or it cannot be written.
    """
    kind = picture_kind(path, SUFFIXES)
    check_writable(path)
    found = maps_data.read(store)
    write_whole(path, drawn(found, kind))
    return found


def drawn(found: LockMap, kind: str) -> bytes:
    """Draw a sweep as one of `SUFFIXES`, named without its dot.

    Parameters
    ----------
    found : LockMap
        The sweep.
    kind : str
        What to draw it as.

    Returns
    -------
    bytes
        All that the file holds.
    """
    if kind == "html":
        text = html.page(found)
        return (html.picture_page(found, drawn(found, "png")) if text is None else text).encode()
    buffer = io.BytesIO()
    draw(found).savefig(buffer, format=kind, facecolor=PAPER)
    return (with_palette(buffer) if kind == "png" else buffer).getvalue()


def with_palette(png: io.BytesIO) -> io.BytesIO:
    """Make a picture a third as large: a map has few colours, but hatching packs badly."""
    smaller = io.BytesIO()
    few = Image.open(png).convert("RGB").quantize(256, dither=Image.Dither.NONE)
    few.save(smaller, format="png", optimize=True)
    return smaller


def draw(found: LockMap) -> Figure:
    """Draw a sweep.

    Parameters
    ----------
    found : LockMap
        The sweep.

    Returns
    -------
    Figure
        A map, a line picture, or small multiples.
    """
    across, up, apart = maps_data.roles(found.sweep)
    if up is None:
        return line.draw(found)
    if apart is None:
        return _one_map(found, across, up)
    return _many_maps(found, across, up, apart)


def _one_map(found: LockMap, across: int, up: int) -> Figure:
    listed = found.sung_place is not None
    figure = sheet(found, SIZE_INCHES)
    left, right = 0.085, 0.71 if listed else 0.975
    foot, height = FOOT_INCHES / SIZE_INCHES[1], 0.895
    axes = figure.add_axes((left, foot + 0.075, right - left, height - foot - 0.075))
    panel.draw(axes, found, (across, up), None)
    if listed:
        panel.list_aims(axes, found)
    return figure


def _many_maps(found: LockMap, across: int, up: int, apart: int) -> Figure:
    """Draw small multiples, evenly chosen along the third axis if there are too many values."""
    sweep = found.sweep
    values = sweep.axes[apart].values
    count = min(len(values), MOST_PANELS)
    chosen = [round(k) for k in np.linspace(0, len(values) - 1, count)]
    columns = min(count, PANEL_COLUMNS)
    rows = math.ceil(count / columns)
    size = (max(columns * PANEL_INCHES[0], 9.0), rows * PANEL_INCHES[1] + 2.6)
    figure = sheet(found, size)
    grid = figure.add_gridspec(
        rows, columns, left=0.9 / size[0], right=1.0 - 0.2 / size[0], wspace=0.08, hspace=0.22,
        bottom=(FOOT_INCHES + 0.75) / size[1], top=1.0 - 1.15 / size[1],
    )  # fmt: skip
    for number, step in enumerate(chosen):
        axes = figure.add_subplot(grid[number // columns, number % columns])
        panel.draw(axes, found, (across, up), (apart, step))
        says = maps.value_words(sweep, sweep.axes[apart], values[step])
        axes.set_title(f"{sweep.axes[apart].name}: {says}", size=9, color=INK, loc="left", pad=4)
        panel.keep_outer_labels(axes, left=number % columns == 0, bottom=number + columns >= count)
    _label_all(figure, found, (across, up))
    if count < len(values):
        says = f"{count} of {len(values)} values of {sweep.axes[apart].name} are shown."
        figure.text(0.2 / size[0], 0.12 / size[1], says, size=8.5, color=INK)
    return figure


def _label_all(figure: Figure, found: LockMap, plane: tuple[int, int]) -> None:
    """Label the axes that all small multiples share."""
    across, up = (
        maps.axis_words(found.sweep, found.sweep.axes[place]).replace("\n", "   ")
        for place in plane
    )
    width, height = figure.get_size_inches()
    style: dict[str, Any] = {"size": 9.5, "color": INK}
    figure.text(0.5, (FOOT_INCHES + 0.2) / height, across, ha="center", **style)
    figure.text(0.12 / width, 0.55, up, rotation=90, va="center", **style)
