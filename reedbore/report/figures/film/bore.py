"""The pressure along the bore: as curves, and as colour inside the outline of the horn."""

from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import FigureBase
from matplotlib.patches import Polygon
from matplotlib.ticker import MaxNLocator

from reedbore.model.bore import Bore
from reedbore.report.figures.film import look
from reedbore.report.figures.film.scene import FAINTEST, Samples, Scene

WIDE = 7.75  # [inches]
CURVES_HIGH, BORE_HIGH, BORE_GAP = 1.66, 1.15, 0.08  # [inches]
MARGIN = 0.12  # beyond the end, as a share of the length
RANGE = (0.3, 99.7)  # of the travelling parts, which in a cone are very large for a moment [%]
WALL = 0.05  # thickness left free for the walls, as a share of the widest radius
BENDS = 1.0  # change of the taper over the radius from which on it is a bell [1/m]
FLOW_POINTS = 60.0  # longest arrow at the open end


class BorePanel:
    """Curves of pressure over the bore that they stand in."""

    def __init__(self, figure: FigureBase, scene: Scene, left: float, foot: float) -> None:
        self.scene = scene
        self.length = float(scene.positions[-1])
        self.curves = look.place(figure, left, foot + BORE_HIGH + BORE_GAP, WIDE, CURVES_HIGH)
        self.bore = look.place(figure, left, foot, WIDE, BORE_HIGH)
        for axes in (self.curves, self.bore):
            axes.set_xlim(0.0, self.length * (1.0 + MARGIN))
        self.moving: list[Any] = []
        self.parts = int(np.searchsorted(scene.positions, bell(scene.bore) + 1e-9))
        self._curves()
        self._colours()
        far = self.length * (1.0 + MARGIN)
        end, self.up = _outline(self.bore, scene.bore, far)
        self.from_end = self.bore.transData.transform(end)
        self.to_axes = self.bore.transData.inverted()
        self._measure()
        self.arrow = Polygon([(0.0, 0.0)], closed=True, fc=look.TOGETHER, lw=0.0, clip_on=False)
        self.bore.add_patch(self.arrow)
        self.moving.append(self.arrow)
        self.strongest = max(float(np.abs(scene.outflow).max()), 1e-12)

    def _curves(self) -> None:
        axes, (low, high) = self.curves, self._limits()
        room = 0.08 * (high - low)
        axes.set_ylim(low - room, high + room)
        axes.axhline(0.0, color=look.FAINT, lw=1.0, zorder=0)
        axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
        axes.tick_params(labelsize=look.SMALL, length=3, colors=look.INK)
        axes.set_ylabel("pressure [kPa]", size=look.SMALL, color=look.INK)
        axes.yaxis.set_label_coords(-0.068, 0.5)
        style: dict[str, Any] = {"animated": False, "solid_capstyle": "round"}
        (self.away,) = axes.plot([], [], color=look.HORN_BLUE, lw=2.0, **style)
        (self.back,) = axes.plot([], [], color=look.BACK_GREEN, lw=2.0, ls=(0, (5, 2)))
        (self.whole,) = axes.plot([], [], color=look.INK, lw=3.6, **style)
        at = self.scene.positions
        self.whole.set_xdata(at)
        for line in (self.away, self.back):
            line.set_xdata(at[: self.parts])
        self.moving += [self.away, self.back, self.whole]
        labels = ("from the reed →", "← back to the reed", "together: what is there")
        axes.legend(
            [self.away, self.back, self.whole], labels, loc="lower left", ncols=3, frameon=False,
            bbox_to_anchor=(-0.01, 0.97), fontsize=look.SMALL, labelcolor="linecolor",
            borderpad=0.0, handlelength=1.8, columnspacing=1.4,
        )  # fmt: skip

    def _limits(self) -> tuple[float, float]:
        """Choose what the curves span [kPa]: all of the whole, and nearly all of its two parts."""
        scene = self.scene
        ends = [scene.pressure.min(), scene.pressure.max()]
        for part in (scene.away, scene.back):
            ends += np.percentile(part[:, : self.parts], RANGE).tolist()
        least = FAINTEST * scene.breath
        return min(*ends, -least) / 1e3, max(*ends, least) / 1e3

    def _measure(self) -> None:
        """Tell how long the bore is."""
        whole = f"open end, {self.length:.2f} m from the reed"
        row = f"open holes from here on, {self.length:.2f} m from the reed"
        says = row if self.scene.bore.lattice else whole
        style: dict[str, Any] = {"transform": self.bore.get_xaxis_transform(), "va": "top"}
        look.write(self.bore, 0.0, -0.02, "reed", **style)
        look.write(self.bore, self.length, -0.02, says, ha="right", **style)

    def _colours(self) -> None:
        """Cut the bore into slices, each of one colour."""
        at = self.scene.positions
        middle = 0.5 * (at[1:] + at[:-1])
        edges = np.concatenate((at[:1], middle, at[-1:]))
        radius = np.array([self.scene.bore.diameter_at(x) for x in edges]) / 2.0
        radius -= WALL * radius.max()  # the walls stand still and stay free
        slices = [
            [(a, -r), (b, -s), (b, s), (a, r)]
            for a, b, r, s in zip(edges[:-1], edges[1:], radius[:-1], radius[1:], strict=True)
        ]
        self.slices = PolyCollection(slices, lw=0.0, antialiaseds=False)
        self.bore.add_collection(self.slices, autolim=False)
        self.moving.append(self.slices)

    def show(self, frame: int) -> None:
        """Bring curves, colours and the arrow at the end to a frame."""
        scene = self.scene
        self.away.set_ydata(scene.away[frame, : self.parts] / 1e3)
        self.back.set_ydata(scene.back[frame, : self.parts] / 1e3)
        self.whole.set_ydata(scene.pressure[frame] / 1e3)
        self.slices.set_facecolor(look.colour(scene.pressure[frame], scene.largest))
        share = scene.outflow[frame] / self.strongest
        self.arrow.set_xy(self._flow(FLOW_POINTS * share))

    def _flow(self, points: float) -> Any:
        """Outline of the arrow of outflow, in the axes of the bore; inward where negative."""
        away = look.arrow(points, 4.0, 11.0)
        away[:, 0] += 6.0 - min(points, 0.0)
        turned = away[:, ::-1] if self.up else away
        return self.to_axes.transform(self.from_end + turned)


def bell(bore: Bore) -> float:
    """Return where in its second half a bore begins to flare [m], or else its length.

    Where the taper changes so much, waves are sent back all along, and to part them into two that
    travel says little.
    """
    pieces = bore.chain()
    whole, start = sum(length for length, _, _ in pieces), 0.0
    for (length, entry, far), (longer, wide, wider) in pairwise(pieces):
        start += length
        bends = abs((wider - wide) / longer - (far - entry) / length) / wide
        if start > 0.5 * whole and bends > BENDS:
            return start
    return whole


class _Gap(NamedTuple):
    """A hole in the upper wall: where it begins and ends [m], and whether it is open."""

    begin: float
    end: float
    is_open: bool


def _outline(axes: Axes, bore: Bore, far: float) -> tuple[tuple[float, float], bool]:
    """Draw the walls with their holes as far as there is room; where air first leaves, and how.

    Returns the place, in the units of the axes, and whether the air leaves upwards.
    """
    ends_at = sum(length for length, _, _ in bore.chain())
    gaps, reach = _gaps(bore, ends_at, far), far if bore.lattice else ends_at
    edges = {gap.begin for gap in gaps} | {gap.end for gap in gaps}
    joints = np.cumsum([length for length, _, _ in bore.chain()])
    at = np.unique(np.concatenate((np.linspace(0.0, reach, 200), joints, sorted(edges))))
    at = at[at <= reach + 1e-9]
    radius = _radius(bore, at, ends_at)
    top = float(radius.max())
    axes.set_ylim(-1.12 * top, 1.75 * top)
    wall: dict[str, Any] = {
        "color": look.INK,
        "lw": 2.4,
        "solid_capstyle": "butt",
        "clip_on": False,
    }
    axes.plot(at, -radius, **wall)
    opened = np.any([(gap.begin < at) & (at < gap.end) for gap in gaps if gap.is_open], axis=0)
    axes.plot(at, np.where(opened, np.nan, radius), **wall)
    for gap in gaps:
        _draw_hole(axes, gap, _radius(bore, np.array([gap.begin, gap.end]), ends_at), top)
    first = next((gap for gap in gaps if gap.is_open), None)
    if first is None:
        return (ends_at, 0.0), False
    middle = 0.5 * (first.begin + first.end)
    return (middle, float(_radius(bore, np.array([middle]), ends_at)[0])), True


def _gaps(bore: Bore, ends_at: float, far: float) -> list[_Gap]:
    gaps = [
        _Gap(
            hole.position - 0.5 * hole.diameter, hole.position + 0.5 * hole.diameter, hole.open > 0
        )
        for hole in bore.holes
    ]
    if bore.lattice is not None:
        half, step = 0.5 * bore.lattice.diameter, bore.lattice.spacing
        middles = np.arange(ends_at + half, far - half, step)
        gaps += [_Gap(middle - half, middle + half, True) for middle in middles]
    return gaps


def _radius(bore: Bore, at: Samples, ends_at: float) -> Samples:
    """Look up the radius [m]; a row of holes goes on at the taper of the last piece."""
    length, entry, far = bore.chain()[-1]
    beyond = np.maximum(at - ends_at, 0.0) * (far - entry) / length
    inside = [0.5 * bore.diameter_at(min(float(x), ends_at)) for x in at]
    return np.asarray(inside) + beyond


def _draw_hole(axes: Axes, gap: _Gap, radius: Samples, top: float) -> None:
    """Draw the edges of an open hole, or the lid of a closed one."""
    high = 0.22 * top
    style: dict[str, Any] = {"color": look.INK, "lw": 2.6, "clip_on": False}
    if gap.is_open:
        for x, r in zip((gap.begin, gap.end), radius, strict=True):
            axes.plot([x, x], [r, r + high], **style)
    else:
        axes.plot([gap.begin, gap.end], radius + high, solid_capstyle="butt", **style)
