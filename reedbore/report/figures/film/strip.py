"""The strip of time below: sung and played waves and their common period, ticking in step."""

from typing import Any

import numpy as np
from matplotlib.figure import FigureBase

from reedbore.report.figures.film import look
from reedbore.report.figures.film.scene import Samples, Scene

LEFT = 1.95  # room for the names of the rows [inches]
ROWS = {"sung": (1.27, 0.62), "reed": (0.60, 0.50), "common": (0.14, 0.26)}  # foot, height [inches]
ROWS_OF_FOLDS = {
    "sung": (1.50, 0.42),
    "reed": (0.99, 0.42),
    "pressures": (0.43, 0.50),
    "common": (0.10, 0.24),
}
HIGH = 2.05
FLASH_FRAMES = 6  # a tick is lit for so many frames
LIT_POINTS, FADE_POINTS = 24.0, 2.5  # how large it then is, and how much smaller a frame later


class StripPanel:
    """Rows over one axis of time; what is drawn for a page is drawn once."""

    def __init__(
        self, figure: FigureBase, scene: Scene, left: float, foot: float, wide: float
    ) -> None:
        self.scene = scene
        across = (left + LEFT, wide - LEFT)
        self.rows = {
            name: look.place(figure, across[0], foot + up, across[1], high)
            for name, (up, high) in (ROWS_OF_FOLDS if scene.folds.size else ROWS).items()
        }
        self.over = look.place(figure, across[0], foot + 0.05, across[1], HIGH - 0.05)
        self.begin = -1.0
        self.drawn: list[Any] = []
        self.moving: list[Any] = []
        self._names()
        self._cursor()

    def page(self, frame: int) -> bool:
        """Turn to the page of a frame; whether there is a new one to be drawn."""
        begin = self.scene.page_start(frame)
        if begin == self.begin:
            return False
        self.begin = begin
        for artist in self.drawn:
            artist.remove()
        voice = self._folds() if self.scene.folds.size else self._sung()
        self.drawn = [*voice, *self._reed(), *self._common(), *self._marks()]
        return True

    def show(self, frame: int) -> None:
        """Bring the cursor, its dots and the lit ticks to a frame."""
        scene, now = self.scene, float(self.scene.times[frame])
        at = now - self.begin
        self.line.set_xdata([at, at])
        voice = scene.folds if scene.folds.size else scene.mouth
        seen = [voice, scene.opening]
        if scene.folds.size:
            seen += [scene.mouth, scene.pressure[:, 0]]
        for dot, values in zip(self.dots, seen, strict=True):
            dot.set_data([at], [values[frame]])
        step = float(scene.times[1] - scene.times[0]) if scene.frames > 1 else 1.0
        for lit, ticks in zip(self.lit, (scene.beats.sung, scene.beats.played), strict=True):
            passed = ticks[(ticks <= now + 0.5 * step) & (ticks >= self.begin)]
            age = (now - passed[-1]) / step if passed.size else FLASH_FRAMES
            lit.set_visible(bool(age < FLASH_FRAMES))
            if age < FLASH_FRAMES:
                lit.set_xdata([passed[-1] - self.begin])
                lit.set_markersize(LIT_POINTS - FADE_POINTS * max(age, 0.0))

    def _names(self) -> None:
        """Name the rows, and set their heights, once for all pages."""
        scene, page = self.scene, self.scene.page
        wave = max(float(np.abs(scene.course.mouth - scene.breath).max()), 0.02 * scene.breath)
        deepest = max(float(scene.course.opening.max()), 1e-6)
        drifts = scene.ratio is not None and not scene.beats.steady
        limits = {
            "sung": (scene.breath - 1.15 * wave, scene.breath + 1.6 * wave),
            "reed": (-0.04 * deepest, 1.45 * deepest),
            "common": (0.0, 1.0),
        }
        told = {
            "sung": ("breath + sung", "pressure in the mouth", look.VOICE_ORANGE),
            "reed": ("reed", "up: open, down: shut", look.HORN_BLUE),
            "common": ("nearly in step" if drifts else "in step", "", look.TOGETHER),
        }
        if scene.folds.size:
            both = np.concatenate((scene.course.mouth, scene.course.inside))
            room = 0.06 * float(np.ptp(both))
            widest = max(float(scene.course.folds.max()), 1e-6)
            limits |= {
                "sung": (-0.04 * widest, 1.45 * widest),
                "pressures": (float(both.min()) - room, float(both.max()) + room),
            }
            told |= {
                "sung": ("folds", "up: open, down: shut", look.VOICE_ORANGE),
                "reed": ("reed", "", look.HORN_BLUE),
                "pressures": ("in the mouth", "in the mouthpiece", look.VOICE_ORANGE),
            }
        elif not scene.beats.sung.size:
            told["sung"] = ("breath", "nobody sings", look.VOICE_ORANGE)
        if scene.ratio is None:
            told["common"] = ("together", "", look.TOGETHER)
        for name, axes in self.rows.items():
            axes.set_xlim(0.0, page)
            axes.set_ylim(*limits[name])
            word, more, colour = told[name]
            style: dict[str, Any] = {"transform": axes.transAxes, "ha": "right", "color": colour}
            look.write(
                axes, -0.012, 0.68 if more else 0.5, word, size=look.USUAL, weight="bold", **style
            )
            if more:
                if name == "pressures":
                    style |= {"color": look.HORN_BLUE, "weight": "bold"}
                look.write(axes, -0.012, 0.22, more, **style)
        self.over.set_xlim(0.0, page)
        self.over.set_ylim(0.0, 1.0)

    def _cursor(self) -> None:
        (self.line,) = self.over.plot([0.0, 0.0], [0.0, 1.0], color=look.INK, lw=2.5)
        sung, reed = self.rows["sung"], self.rows["reed"]
        style: dict[str, Any] = {"ms": 11.0, "mec": look.PAPER, "mew": 1.5, "clip_on": False}
        self.dots = [
            sung.plot([0.0], [0.0], "o", color=look.VOICE_ORANGE, **style)[0],
            reed.plot([0.0], [0.0], "o", color=look.HORN_BLUE, **style)[0],
        ]
        if "pressures" in self.rows:
            self.dots += [
                self.rows["pressures"].plot([0.0], [0.0], "o", color=colour, **style)[0]
                for colour in (look.VOICE_ORANGE, look.HORN_BLUE)
            ]
        self.lit = [
            axes.plot([0.0], [0.9], mark, color=colour, transform=axes.get_xaxis_transform())[0]
            for axes, mark, colour in (
                (sung, "v", look.VOICE_ORANGE),
                (reed, "v", look.HORN_BLUE),
            )
        ]
        self.moving = [self.line, *self.dots, *self.lit]

    def _now(self, times: Samples) -> Samples:
        """Choose what lies on the page, counted from its begin. [s]."""
        at = times - self.begin
        return at[(at >= 0.0) & (at < self.scene.page)]

    def _cut(self, values: Samples) -> tuple[Samples, Samples]:
        """Cut the course to the page: times from its begin [s], and values."""
        at = self.scene.course.times - self.begin
        inside = (at >= 0.0) & (at <= self.scene.page)
        every = max(1, int(inside.sum()) // 2400)
        return at[inside][::every], values[inside][::every]

    def _sung(self) -> list[Any]:
        axes = self.rows["sung"]
        at, mouth = self._cut(self.scene.course.mouth)
        zero = axes.axhline(self.scene.breath, color=look.FAINT, lw=1.0)
        (wave,) = axes.plot(at, mouth, color=look.VOICE_ORANGE, lw=2.2)
        ticks = self._now(self.scene.beats.sung)
        marks = self._ticks("sung", ticks, look.VOICE_ORANGE)
        return [zero, wave, marks]

    def _folds(self) -> list[Any]:
        """Draw how far the folds stand apart, and the pressures in mouth and mouthpiece."""
        scene, axes = self.scene, self.rows["pressures"]
        lines = [axes.axhline(0.0, color=look.FAINT, lw=1.0)]
        colours = (look.HORN_BLUE, look.VOICE_ORANGE)
        for values, colour in zip((scene.course.inside, scene.course.mouth), colours, strict=True):
            lines += axes.plot(*self._cut(values), color=colour, lw=2.0)
        gap = self._opened("sung", scene.course.folds, scene.beats.sung, look.VOICE_ORANGE)
        return [*gap, *lines]

    def _reed(self) -> list[Any]:
        scene = self.scene
        return self._opened("reed", scene.course.opening, scene.beats.played, look.HORN_BLUE)

    def _opened(self, row: str, opening: Samples, beats: Samples, colour: str) -> list[Any]:
        """Draw how far something stands open, and when it counts as opened."""
        axes, (at, opened) = self.rows[row], self._cut(opening)
        body = axes.fill_between(at, 0.0, opened, color=colour, alpha=0.3, lw=0.0)
        (wave,) = axes.plot(at, opened, color=colour, lw=2.2)
        shut = axes.axhline(0.0, color=look.INK, lw=1.0)
        return [body, wave, shut, self._ticks(row, self._now(beats), colour)]

    def _ticks(self, row: str, at: Samples, colour: str) -> Any:
        axes = self.rows[row]
        high = np.full(at.size, 0.9)
        style: dict[str, Any] = {
            "color": colour,
            "ms": 8.0,
            "transform": axes.get_xaxis_transform(),
        }
        return axes.plot(at, high, "v", **style)[0]

    def _common(self) -> list[Any]:
        """Shade every other common period and say what one of them holds."""
        axes, scene = self.rows["common"], self.scene
        ticks = scene.beats.common - self.begin
        if scene.ratio is None or ticks.size < 2:
            says = "no common period" if scene.beats.sung.size else "the horn alone"
            return [
                look.write(axes, 0.01 * scene.page, 0.5, says, size=look.USUAL, color=look.TOGETHER)
            ]
        period = float(np.diff(ticks).mean())
        starts = np.concatenate((ticks[:1] - period, ticks))
        drawn: list[Any] = []
        p, q = scene.ratio
        about = "" if scene.beats.steady else "about "
        says = f"{about}{q} of the reed, {p} sung" if period > 0.3 * scene.page else f"{q}, {p}"
        for number, start in enumerate(starts):
            end = min(start + period, scene.page)
            begin = max(start, 0.0)
            if end <= begin:
                continue
            shade = 0.30 if (number + round(self.begin / period)) % 2 else 0.14
            drawn.append(axes.axvspan(begin, end, color=look.TOGETHER, alpha=shade, lw=0.0))
            if end - begin > 0.8 * period:
                middle = 0.5 * (begin + end)
                style: dict[str, Any] = {"ha": "center", "color": look.TOGETHER, "weight": "bold"}
                drawn.append(look.write(axes, middle, 0.46, says, **style))
        return drawn

    def _marks(self) -> list[Any]:
        """Lead the eye from the sung peak to the reed where both come round together."""
        ticks = self._now(self.scene.beats.common)
        lines = self.over.vlines(ticks, 0.0, 1.0, color=look.TOGETHER, lw=1.8, ls=(0, (4, 3)))
        return [lines]
