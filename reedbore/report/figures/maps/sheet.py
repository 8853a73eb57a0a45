"""What stands above and below every lock map: title, legend, and what a reader must know."""

from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from reedbore.report import maps as maps_words
from reedbore.report.figures.maps import panel as maps_panel
from reedbore.report.figures.take import DOTS_PER_INCH, INK, PAPER, TOGETHER
from reedbore.report.looks import LOOKS
from reedbore.report.maps_data import LockMap

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
        left, 1.0 - 0.15 / size[1], maps_words.title(found), size=15, weight="bold", color=INK,
        va="top",
    )  # fmt: skip
    figure.text(
        left, 1.0 - 0.48 / size[1], maps_words.subtitle(found), size=10.5, color=INK, va="top"
    )
    _legend(figure, found, (left, 0.98 / size[1]))
    words = [maps_words.unfinished(found), maps_words.resolution(found), maps_words.CARE]
    says = "\n".join(word for word in words if word)
    figure.text(left, 0.3 / size[1], says, size=9, color=INK, va="bottom", linespacing=1.35)
    return figure


def _legend(figure: Figure, found: LockMap, place: tuple[float, float]) -> None:
    """Show the states that occur, as they are drawn."""
    there = set(found.state_names().ravel().tolist())
    handles: list[Any] = []
    for state, look in LOOKS.items():
        if state in there:
            ink = PAPER if look.mark == "*" else INK
            handles.append(
                Patch(facecolor=look.light, hatch=look.mark * maps_panel.HATCH_TIMES, edgecolor=ink,
                      lw=0.5, label=look.says)
            )  # fmt: skip
    if found.edges is not None:
        says = "a lock, however narrow"
        handles.append(Line2D([], [], lw=1.6, color=TOGETHER, label=says))
    if found.edges is not None and np.any(np.isfinite(found.edges.perhaps)):
        says = "perhaps a lock, too narrow to be sure"
        dots: dict[str, Any] = {"ls": maps_panel.PERHAPS, "lw": 1.2}
        handles.append(Line2D([], [], color=TOGETHER, label=says, **dots))
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=place, ncols=min(len(handles), 4),
        frameon=False, fontsize=9, labelcolor=INK, handlelength=2.2, handleheight=1.3,
        columnspacing=1.4, borderpad=0.0, borderaxespad=0.0,
    )  # fmt: skip
