"""The picture of a sweep along one axis: what is played against what is sung, or set.

In: a sweep with one axis. Out: a figure. Where a lock holds, the played note follows the sung one
in step, and the distance from the ratio stays at nought: a plateau.
"""

import itertools

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from reedbore.report import maps, maps_data
from reedbore.report.figures.maps import panel
from reedbore.report.figures.maps.panel import FOOT_INCHES, axis_ticks, sheet
from reedbore.report.figures.style import FAINT, HORN_BLUE, INK, PAPER, TOGETHER, VOICE_ORANGE
from reedbore.report.maps_data import LockMap
from reedbore.verdict.state import State

SIZE_INCHES = 11.5, 8.4
MOST_NAMED = 14


def draw(found: LockMap) -> Figure:
    """Draw a sweep along one axis.

    Parameters
    ----------
    found : LockMap
        The sweep.

    Returns
    -------
    Figure
        Played pitch, states, and how far the two notes are from a ratio or how fast they beat.
    """
    figure = sheet(found, SIZE_INCHES)
    foot = (FOOT_INCHES + 0.62) / SIZE_INCHES[1]
    grid = figure.add_gridspec(
        3, 1, height_ratios=(1.5, 0.28, 1.0), left=0.085, right=0.975, top=0.895, bottom=foot,
        hspace=0.1,
    )  # fmt: skip
    played, strip, apart = (figure.add_subplot(grid[row]) for row in range(3))
    places = maps_data.axis_values(found.sweep, found.sweep.axes[0])
    _played(played, found, places)
    _strip(strip, found, places)
    _apart(apart, found, places)
    _label(found, places, (played, strip, apart))
    return figure


def _label(found: LockMap, places: NDArray[np.float64], panels: tuple[Axes, ...]) -> None:
    sweep, rims = found.sweep, maps_data.borders(places)
    ticks = axis_ticks(sweep, sweep.axes[0], 13)
    for axes in panels:
        axes.set_facecolor(PAPER)
        axes.set_xlim(*rims[[0, -1]])
        axes.set_xticks([tick[0] for tick in ticks], [tick[1] for tick in ticks])
        axes.tick_params(colors=INK, labelsize=9, labelbottom=axes is panels[-1])
        axes.spines[:].set_color(FAINT)
        axes.yaxis.set_label_coords(-0.058, 0.5)
    panels[-1].set_xlabel(maps.axis_words(sweep, sweep.axes[0]), size=9.5, color=INK)


def _played(axes: Axes, found: LockMap, places: NDArray[np.float64]) -> None:
    """Draw the played pitch, thick where it is locked."""
    values = found.values
    cents = values["played_cents"]
    axes.axhline(0.0, color=FAINT, lw=0.8)
    axes.plot(places, cents, ".-", color=HORN_BLUE, lw=1.0, ms=3.5)
    locked = found.state_names() == State.LOCKED
    axes.plot(places[locked], cents[locked], "s", color=TOGETHER, ms=6.0, clip_on=False)
    axes.set_ylabel("played, from the\nfingered note [cents]", size=9, color=INK)
    if found.sung_place is None:
        return
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.24 * (high - low))
    wide = sorted(maps_data.aims(found), key=lambda aim: aim.low - aim.high)[:MOST_NAMED]
    named = sorted(wide, key=lambda aim: aim.middle)
    span = places[-1] - places[0]
    shares = panel.spread([(aim.middle - places[0]) / span for aim in named], 0.03)
    for aim, share in zip(named, shares, strict=True):
        ratio, note, _ = maps.aim_words(found, aim)
        axes.axvspan(aim.low, aim.high, color=TOGETHER, alpha=0.12, lw=0)
        axes.annotate(
            f"{ratio}  {note}", (aim.middle, 0.80), (places[0] + span * share, 0.985),
            xycoords=axes.get_xaxis_transform(), textcoords=axes.get_xaxis_transform(),
            ha="center", va="top", rotation=90 if len(named) > 5 else 0, size=9, weight="bold",
            color=INK, arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.8},
        )  # fmt: skip


def _strip(axes: Axes, found: LockMap, places: NDArray[np.float64]) -> None:
    """Show the states as a map of one row does, the edges of locks as lines."""
    grid = maps_data.borders(places), np.array([0.0, 1.0])
    panel.cells(axes, found.state_names()[np.newaxis, :], grid)
    axes.set_yticks([])
    axes.set_ylabel("state", size=9, color=INK)
    if found.edges is None:
        return
    edges = found.edges
    for low, high in zip(edges.low, edges.high, strict=True):
        if np.isfinite(low):
            for side in (low, high):
                axes.axvline(side, path_effects=panel.RAIL, zorder=3)
            axes.axvspan(low, high, color=TOGETHER, lw=1.3, zorder=4)
    for place in edges.perhaps[np.isfinite(edges.perhaps)]:
        axes.axvline(place, color=TOGETHER, lw=1.2, ls=panel.PERHAPS, zorder=3)


def _apart(axes: Axes, found: LockMap, places: NDArray[np.float64]) -> None:
    """Draw how far the two notes are from the ratio, or the beat if the voice stays put."""
    values = found.values
    near = values["q"] > 0
    axes.axhline(0.0, color=FAINT, lw=0.8)
    if found.sung_place is None:
        away, says = values["drift_hz"], "beat of the\ntwo notes [Hz]"
    else:
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = values["sung_hz"] * values["q"] / (values["played_hz"] * values["p"])
            away = np.where(near, 1200.0 * np.log2(np.where(near, ratio, 1.0)), np.nan)
        says = "sung/played, from\nthe ratio [cents]"
    axes.set_ylabel(says, size=9, color=INK)
    if not np.any(np.isfinite(away)):
        words = "no two notes near a simple ratio"
        axes.text(0.5, 0.6, words, transform=axes.transAxes, ha="center", color=FAINT)
        return
    for start, stop in _stretches(values["p"], values["q"]):
        axes.plot(places[start:stop], away[start:stop], ".-", color=VOICE_ORANGE, lw=1.0, ms=3.5)
        if stop - start >= len(places) / MOST_NAMED:
            name = f"near {values['p'][start]}/{values['q'][start]}"
            middle = 0.5 * (places[start] + places[stop - 1])
            _name_above(axes, name, middle)
    locked = found.state_names() == State.LOCKED
    axes.plot(places[locked], away[locked], "s", color=TOGETHER, ms=6.0, clip_on=False)


def _name_above(axes: Axes, name: str, place: float) -> None:
    """Write a ratio over its stretch."""
    axes.annotate(
        name, (place, 0.96), xycoords=axes.get_xaxis_transform(), ha="center", va="top", size=10,
        weight="bold", color=INK, path_effects=panel.HALO,
    )  # fmt: skip


def _stretches(p: NDArray[np.int8], q: NDArray[np.int8]) -> list[tuple[int, int]]:
    """List the stretches of cells near one ratio."""
    turns = np.flatnonzero((np.diff(p) != 0) | (np.diff(q) != 0)) + 1
    ends = [0, *turns.tolist(), len(p)]
    return [(a, b) for a, b in itertools.pairwise(ends) if q[a] > 0]
