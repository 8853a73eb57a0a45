"""The whole picture of one instant: three panels, what happens now, and how slowed it is.

What stands still is drawn once and kept as pixels; each frame draws what moves on top of that.
Shapes that stand still in front of what moves are kept as strokes, coloured places as a stencil.
"""

import textwrap
from collections.abc import Sequence
from typing import Any, cast

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, FigureBase
from matplotlib.patches import Patch

from reedbore.report.figures.film import look
from reedbore.report.figures.film.bore import BorePanel
from reedbore.report.figures.film.reed import ReedPanel
from reedbore.report.figures.film.scene import Scene, Told, held
from reedbore.report.figures.film.strip import StripPanel
from reedbore.report.figures.text_fit import fit, width_of

LEFT, RIGHT = 0.2, 0.25  # margins [inches]
HEADING_GAP = 0.2  # at least, between the title and how slowed it is [inches]
SAYS_LETTERS, SMALL_LETTERS, CAPTION_LETTERS = 106, 122, 74


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
        style: dict[str, Any] = {"size": look.LARGE, "weight": "bold"}
        slow = f"{scene.slow:g} times slower"
        slower = look.write(self.sheet, wide - RIGHT, 6.98, slow, ha="right", **style)
        title = look.write(self.sheet, LEFT, 6.98, scene.title, **style)
        fit(title, wide - LEFT - RIGHT - width_of(slower) - HEADING_GAP, look.LARGE, look.SMALL)
        style = {"size": look.USUAL}
        says = scene.says
        if len(says) > SAYS_LETTERS:
            style = {"size": look.SMALL, "linespacing": 1.0}
            says = textwrap.fill(says, SMALL_LETTERS, max_lines=2, placeholder=" …")
        look.write(self.sheet, LEFT, 6.64 if style["size"] == look.SMALL else 6.66, says, **style)


def _channels(pixels: Any) -> list[Any]:
    """Part pixels into whole numbers: how much red and how much green there is in each."""
    parts = np.ascontiguousarray(pixels).view(np.uint8).reshape(*pixels.shape, 4)
    return [parts[:, :, number].astype(np.intp) for number in (0, 1)]


class _Strokes:
    """Stands before a renderer and keeps the paths that a shape draws."""

    def __init__(self, shape: Any, renderer: Any) -> None:
        self.renderer = renderer
        self.kept: list[tuple[Any, ...]] = []
        shape.draw(self)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.renderer, name)

    def draw_path(self, *stroke: Any) -> None:
        """Keep a path with its pen, place and colour."""
        self.kept.append(stroke)


class _Stencil:
    """Knows which pixels each member of a collection covers: all that changes is their colour."""

    def __init__(self, collection: Any, renderer: Any, pixels: Any) -> None:
        self.collection = collection
        numbers = np.arange(1, len(collection.get_paths()) + 1)
        as_colours = np.stack((numbers % 256, numbers // 256, 0 * numbers, 0 * numbers + 255), 1)
        pixels[:] = 0
        collection.set_facecolor(as_colours / 255.0)
        collection.draw(renderer)
        found = np.nonzero(pixels)
        self.box = tuple(slice(int(each.min()), int(each.max()) + 1) for each in found)
        red, green = _channels(pixels[self.box])
        self.number = np.maximum(red + 256 * green - 1, 0)
        self.inside = red + green > 0

    def paint(self, pixels: Any) -> None:
        """Give the pixels the colours that the collection has now."""
        shades = np.rint(255.0 * self.collection.get_facecolor()).astype(np.uint8)
        np.copyto(pixels[self.box], shades.view(np.uint32)[self.number, 0], where=self.inside)


class Stage:
    """Draws frame after frame of a scene into one canvas."""

    def __init__(self, scene: Scene) -> None:
        self.figure = Figure(figsize=look.INCHES, dpi=look.DOTS_PER_INCH, facecolor=look.PAPER)
        self.canvas = cast("Any", FigureCanvasAgg(self.figure))
        self.picture = Picture(self.figure, scene, held(scene.captions, scene.rate))
        for artist in (*self.picture.moving, *self.picture.words):
            artist.set_animated(True)
        self.renderer: Any = self.canvas.get_renderer()
        self.buffer: memoryview = self.renderer.buffer_rgba()
        self.pixels = np.asarray(self.buffer).view(np.uint32)[:, :, 0]
        self.still: Any = None
        self.written: dict[tuple[float, str, str], Any] = {}
        self.strokes: dict[Any, list[tuple[Any, ...]]] = {}
        self.stencil = _Stencil(self.picture.panels[1].slices, self.renderer, self.pixels)

    def frame(self, number: int) -> memoryview:
        """Draw a frame; its pixels, four bytes each, until the next one is drawn."""
        if self.picture.show(number) or self.still is None:
            self.canvas.draw()
            self.still = self.canvas.copy_from_bbox(self.figure.bbox)
        self.canvas.restore_region(self.still)
        for words in self.picture.words:
            self._write(words)
        for artist in self.picture.moving:
            self._draw(artist)
        return self.buffer

    def _draw(self, artist: Any) -> None:
        """Draw what moves; what has not changed since it was drawn, from the strokes kept of it."""
        if artist is self.stencil.collection:
            self.stencil.paint(self.pixels)
        elif artist.stale or not isinstance(artist, Patch):
            self.strokes.pop(artist, None)
            artist.draw(self.renderer)
        else:
            if artist not in self.strokes:
                self.strokes[artist] = _Strokes(artist, self.renderer).kept
            for stroke in self.strokes[artist]:
                self.renderer.draw_path(*stroke)

    def _write(self, words: Any) -> None:
        """Write words from the pixels kept of them: letters take longest of all to draw."""
        key = (words.get_position()[1], words.get_text(), words.get_color())
        if key not in self.written:
            words.draw(self.renderer)
            box = words.get_window_extent().padded(4.0)
            self.written[key] = self.canvas.copy_from_bbox(box)
        else:
            self.canvas.restore_region(self.written[key])

    def image(self, number: int) -> Any:
        """Draw a frame and keep it, shape (height, width, 4)."""
        return np.array(self.frame(number))
