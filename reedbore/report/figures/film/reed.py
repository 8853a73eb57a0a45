"""The reed tip against the lay, large: mouth on the left, mouthpiece on the right.

Heights are drawn far too large, so that a millimetre can be seen from the back of a room; they
are true to each other. Colours are those of the pressure in the bore.
"""

from typing import Any

import numpy as np
from matplotlib.figure import FigureBase
from matplotlib.patches import Ellipse, FancyBboxPatch, PathPatch, Polygon, Rectangle

from reedbore.report.figures.film import look
from reedbore.report.figures.film.scene import Scene

WIDE, HIGH = 4.1, 3.1  # of the panel [inches]; its axes count in hundredths of an inch
TIP, FLAT, EDGE = 170.0, 335.0, 410.0  # across: reed tip, where the lay meets the reed, the edge
ROOF = 165.0  # height of the tip of the mouthpiece
GAP = 68.0  # drawn height of the largest opening
THICK = 9.0  # of the reed at its tip
STEPS = np.linspace(0.0, 1.0, 25)
JET = 85.0  # longest arrow of air
GAUGE = (8.0, 62.0, 16.0, 190.0)  # left, foot, width and height of the gauge of the sung part
THROAT = (0.0, 92.0, 86.0, 116.0)  # left, foot, width and height of what the folds stand in
FOLD_WIDE, FOLD_LEFT = 46.0, 14.0
FOLD_SHARE = 0.6  # of the throat's height that the widest gap takes


class ReedPanel:
    """Mouth, reed and mouthpiece from the side."""

    def __init__(self, figure: FigureBase, scene: Scene, left: float, foot: float) -> None:
        self.scene = scene
        self.axes = look.place(figure, left, foot, WIDE, HIGH)
        self.axes.set_xlim(0.0, 100.0 * WIDE)
        self.axes.set_ylim(0.0, 100.0 * HIGH)
        self.deepest = max(scene.opening_rest, float(scene.opening.max()))
        self.sung = max(float(np.abs(scene.mouth - scene.breath).max()), 0.02 * scene.breath)
        self.widest = max(float(scene.folds.max(initial=0.0)), 1e-6)
        self.moving = self._moving()
        self._words()

    def _moving(self) -> list[Any]:
        axes = self.axes
        line: dict[str, Any] = {"ec": look.INK, "lw": 1.4}
        box = "round,pad=0,rounding_size=34"
        self.mouth = PathPatch(FancyBboxPatch((72.0, 42.0), 178.0, 216.0, box).get_path(), **line)
        lips = [
            Ellipse((254.0, 64.0), 80.0, 56.0, fc=look.LIP, **line),
            Ellipse((248.0, 255.0), 72.0, 44.0, fc=look.LIP, **line),
        ]
        self.chamber = Polygon([(0.0, 0.0)], closed=True, lw=0.0)
        self.reed = Polygon([(0.0, 0.0)], closed=True, fc=look.REED_YELLOW, **line)
        self.jet = Polygon([(0.0, 0.0)], closed=True, fc=look.INK, lw=0.0)
        wall = Polygon(_wall(), closed=True, fc=look.WOOD, **line)
        voice = self._folds(line) if self.scene.folds.size else self._gauge()
        lay = Polygon(_reed_line(0.0)[:-1], closed=False, fill=False, ec=look.INK, lw=1.8, ls=":")
        parts = [
            self.mouth, self.chamber, wall, *lips, lay, self.reed, self.jet, *voice,
        ]  # fmt: skip
        for part in parts:
            axes.add_patch(part)
        return parts

    def _gauge(self) -> list[Any]:
        """Make the gauge of the sung part of the pressure."""
        left, foot, width, high = GAUGE
        frame = Rectangle((left, foot), width, high, fc=look.PAPER, ec=look.INK, lw=1.2)
        self.bar = Rectangle((left, foot), width, 0.0, fc=look.VOICE_ORANGE, lw=0.0)
        middle = foot + 0.5 * high
        zero = Polygon([(left - 4, middle), (left + width + 4, middle)], ec=look.INK, lw=2.0)
        return [frame, self.bar, zero]

    def _folds(self, line: dict[str, Any]) -> list[Any]:
        """Make the throat, and in it the folds, one from above and one from below."""
        left, foot, width, high = THROAT
        self.throat = Rectangle((left, foot), width, high, lw=0.0)
        self.pair = [Polygon([(0.0, 0.0)], closed=True, fc=look.LIP, **line) for _ in range(2)]
        walls = [
            Polygon([(left, up), (left + width - 14.0, up)], closed=False, fill=False, **line)
            for up in (foot, foot + high)
        ]
        return [self.throat, *walls, *self.pair]

    def _words(self) -> None:
        """Name the parts, all outside of what moves."""
        axes = self.axes
        look.write(
            axes,
            0.0,
            292.0,
            "Folds, mouth and reed" if self.scene.folds.size else "Mouth and reed",
            size=look.USUAL,
            weight="bold",
        )
        sung = {"color": look.VOICE_ORANGE, "weight": "bold"}
        if self.scene.folds.size:
            look.write(axes, 0.0, 28.0, "vocal folds", color=look.VOICE_ORANGE)
        else:
            left, foot, width, high = GAUGE
            look.write(axes, left + width + 6.0, foot + high - 8.0, "+", **sung)
            look.write(axes, left + width + 6.0, foot + 0.5 * high, "breath", rotation=90)
            look.write(axes, left + width + 6.0, foot + 8.0, "−", **sung)
            look.write(axes, 0.0, 28.0, "sung part", color=look.VOICE_ORANGE)
        look.write(axes, 120.0, 28.0, "mouth")
        look.write(axes, 360.0, 50.0, "reed")
        look.write(axes, EDGE, 28.0, "dotted: the lay", ha="right")
        look.write(axes, 275.0, 292.0, "mouthpiece")

    def show(self, frame: int) -> None:
        """Bring mouth, reed and air to a frame."""
        scene = self.scene
        opening = GAP * scene.opening[frame] / self.deepest
        line = _reed_line(opening)
        self.reed.set_xy(_thick(line))
        self.chamber.set_xy(np.vstack((line, [(EDGE, ROOF + 62.0), (TIP, ROOF)])))
        self.chamber.set_facecolor(look.colour(scene.pressure[frame, 0], scene.largest))
        self.mouth.set_facecolor(look.colour(scene.mouth[frame], scene.largest))
        jet = look.arrow(JET * scene.inflow[frame], 2.5, 9.0)
        self.jet.set_xy(jet + np.array((TIP - 25.0, ROOF - 0.5 * opening)))
        if scene.folds.size:
            self.throat.set_facecolor(look.colour(scene.mouth[frame], scene.largest))
            for fold, way in zip(self.pair, (-1.0, 1.0), strict=True):
                fold.set_xy(_fold(scene.folds[frame] / self.widest, way))
            return
        _, foot, _, high = GAUGE
        self.bar.set_y(foot + 0.5 * high)
        self.bar.set_height(0.48 * high * (scene.mouth[frame] - scene.breath) / self.sung)


def _fold(apart: float, way: float) -> Any:
    """Outline of the lower (-1) or the upper (1) fold, for a share of the widest gap."""
    _, foot, _, high = THROAT
    middle, reach = foot + 0.5 * high, 0.5 * high
    tip = 0.5 * FOLD_SHARE * high * apart
    across = np.linspace(-1.0, 1.0, 25)
    up = middle + way * (reach - (reach - tip) * (1.0 - across**2) ** 0.5)
    return np.column_stack((FOLD_LEFT + 0.5 * FOLD_WIDE * (1.0 + across), up))


def _reed_line(opening: float) -> Any:
    """Upper face of the reed from its tip to the edge, for a drawn opening."""
    across = TIP + (FLAT - TIP) * STEPS
    up = ROOF - GAP + (GAP - opening) * (1.0 - STEPS) ** 2
    return np.vstack((np.column_stack((across, up)), [(EDGE, ROOF - GAP)]))


def _thick(line: Any) -> Any:
    """Give the reed its body, which grows towards its heel."""
    below = line[::-1].copy()
    below[:, 1] -= THICK + 20.0 * (below[:, 0] - TIP) / (EDGE - TIP)
    return np.vstack((line, below))


def _wall() -> list[tuple[float, float]]:
    """Outline of the wall of the mouthpiece over the chamber."""
    return [
        (TIP, ROOF), (TIP + 60.0, ROOF + 14.0), (EDGE, ROOF + 62.0), (EDGE, ROOF + 94.0),
        (TIP + 110.0, ROOF + 68.0), (TIP + 4.0, ROOF + 9.0),
    ]  # fmt: skip
