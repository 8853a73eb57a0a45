"""The whole picture of one instant: three panels, what happens now, and how slowed it is.

What stands still is drawn once and kept as pixels; each frame draws what moves on top of that.
"""

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, FigureBase

from reedbore.figures import animation_look as look
from reedbore.figures.animation_bore import BorePanel
from reedbore.figures.animation_reed import ReedPanel
from reedbore.figures.animation_scene import Scene, Told, held
from reedbore.figures.animation_strip import StripPanel

LEFT, RIGHT = 0.2, 0.25  # margins [inches]
TITLE_LETTERS, SAYS_LETTERS, CAPTION_LETTERS = 82, 106, 74


def lines(caption: str) -> str:
    """Set a caption in two lines: what happens, and after a colon what that means."""
    parts = caption.split(": ", 1)
    short = [textwrap.shorten(part, CAPTION_LETTERS, placeholder=" …") for part in parts]
    return ":\n".join(short)


class Picture:
    """The artists of one instant in a figure or in a part of one."""

    def __init__(self, figure: FigureBase, scene: Scene, told: Sequence[Told]) -> None:
        self.scene, self.told = scene, told
        wide, high = look.INCHES
        self.sheet = look.place(figure, 0.0, 0.0, wide, high)
        self.sheet.set_xlim(0.0, wide)
        self.sheet.set_ylim(0.0, high)
        self._heading()
        self.strip = StripPanel(figure, scene, LEFT, 0.05, wide - LEFT - RIGHT)
        self.panels = (
            ReedPanel(figure, scene, LEFT, 2.3),
            BorePanel(figure, scene, 5.0, 2.5),
        )
        style: dict[str, Any] = {"size": look.CAPTION, "weight": "bold"}
        self.caption = look.write(self.sheet, LEFT, 6.05, "", color=look.TOGETHER, **style)
        self.clock = look.write(self.sheet, wide - RIGHT, 6.66, "", ha="right", size=look.USUAL)
        self.words = [self.caption, self.clock]
        self.moving = list(self.strip.moving)
        for panel in self.panels:
            self.moving += panel.moving

    def show(self, frame: int) -> bool:
        """Bring everything to a frame; whether something that stands still has changed."""
        turned = self.strip.page(frame)
        for panel in (*self.panels, self.strip):
            panel.show(frame)
        text, now = self.told[frame]
        self.caption.set_text(lines(text if now else f"(just now) {text}"))
        self.caption.set_color(look.TOGETHER if now else look.FADED)
        self.clock.set_text(f"{1e3 * self.scene.times[frame]:.0f} ms of real time")
        return turned

    def _heading(self) -> None:
        scene, wide = self.scene, look.INCHES[0]
        title = textwrap.shorten(scene.title, TITLE_LETTERS, placeholder=" …")
        says = textwrap.shorten(scene.says, SAYS_LETTERS, placeholder=" …")
        look.write(self.sheet, LEFT, 6.98, title, size=look.LARGE, weight="bold")
        look.write(self.sheet, LEFT, 6.66, says, size=look.USUAL)
        slow = f"{scene.slow:g} times slower"
        style: dict[str, Any] = {"size": look.LARGE, "weight": "bold", "ha": "right"}
        look.write(self.sheet, wide - RIGHT, 6.98, slow, **style)


class Stage:
    """Draws frame after frame of a scene into one canvas."""

    def __init__(self, scene: Scene) -> None:
        self.figure = Figure(figsize=look.INCHES, dpi=look.DOTS_PER_INCH, facecolor=look.PAPER)
        self.canvas: Any = FigureCanvasAgg(self.figure)
        self.picture = Picture(self.figure, scene, held(scene.captions, scene.rate))
        for artist in (*self.picture.moving, *self.picture.words):
            artist.set_animated(True)
        self.still: Any = None
        self.written: dict[tuple[float, str, str], Any] = {}

    def frame(self, number: int) -> memoryview:
        """Draw a frame; its pixels, four bytes each, until the next one is drawn."""
        if self.picture.show(number) or self.still is None:
            self.canvas.draw()
            self.still = self.canvas.copy_from_bbox(self.figure.bbox)
        self.canvas.restore_region(self.still)
        for words in self.picture.words:
            self._write(words)
        renderer = self.canvas.get_renderer()
        for artist in self.picture.moving:
            artist.draw(renderer)
        pixels: memoryview = self.canvas.buffer_rgba()
        return pixels

    def _write(self, words: Any) -> None:
        """Write words from the pixels kept of them: letters take longest of all to draw."""
        key = (words.get_position()[1], words.get_text(), words.get_color())
        if key not in self.written:
            words.draw(self.canvas.get_renderer())
            box = words.get_window_extent().padded(4.0)
            self.written[key] = self.canvas.copy_from_bbox(box)
        else:
            self.canvas.restore_region(self.written[key])

    def image(self, number: int) -> Any:
        """Draw a frame and keep it, shape (height, width, 4)."""
        return np.array(self.frame(number))
