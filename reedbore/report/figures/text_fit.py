"""Titles that fit: words are measured, made smaller, and set in two lines if they must be."""

import math
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.text import Text
from matplotlib.transforms import Bbox


def width_of(words: Any) -> float:
    """Measure the words of a figure. [inches]."""
    return float(words.get_window_extent().width / words.get_figure(root=True).dpi)


def fit(words: Any, room: float, largest: int, smallest: int) -> None:
    """Make words smaller until they fit into their room, or set them in two lines.

    Parameters
    ----------
    words : matplotlib.text.Text
        Of a figure with an Agg canvas.
    room : float
        [inches]
    largest, smallest : int
        Sizes between which they may be. [points]
    """
    for size in range(largest, smallest - 1, -1):
        words.set_size(size)
        if width_of(words) <= room:
            return
    text = words.get_text()
    letters = int(len(text) * room / width_of(words))
    words.set_linespacing(1.0)
    while width_of(words) > room and letters > 1:  # some letters are wider than others
        words.set_text(textwrap.fill(text, letters, max_lines=2, placeholder=" …"))
        letters -= 1


GAP = 1.5
"""Least distance between two words. [points]"""

POINTS_PER_INCH = 72.0


class Labels:
    """The words of one picture and where they stand.

    Attributes
    ----------
    placed : list of Text
        What was written.
    left_out : int
        How many words found no room.
    """

    def __init__(self, axes: Axes) -> None:
        self.axes = axes
        self.placed: list[Text] = []
        self.left_out = 0
        self._taken: list[tuple[float, float, float, float]] = []
        figure = axes.get_figure(root=True)
        assert figure is not None
        self._pixels = figure.dpi / POINTS_PER_INCH

    def keep_free(
        self, left: float, right: float, low: float, high: float, *, points: float = 0.0
    ) -> None:
        """Keep words out of a box.

        Parameters
        ----------
        left, right, low, high : float
            Its edges. [unit of the axes]
        points : float, optional
            How much higher it is, up and down alike. [points]
        """
        corners = self.axes.transData.transform([(left, low), (right, high)])
        more = points * self._pixels
        (x0, y0), (x1, y1) = corners.tolist()
        self._taken.append((x0, y0 - more, x1, y1 + more))

    def put(
        self,
        says: str,
        places: Iterable[tuple[float, float, float, float]],
        *,
        widest: float = math.inf,
        **style: Any,
    ) -> Text | None:
        """Write a word at the first place where it touches nothing.

        Parameters
        ----------
        says : str
            The word.
        places : iterable of (x, y, right, up)
            Points to stand at [unit of the axes] and how far from them [points], best first.
        widest : float, optional
            A wider word finds no room: nobody could tell what it belongs to. [pixels]
        style
            As for `Axes.annotate`.

        Returns
        -------
        Text or None
            What was written; None if there was no room.
        """
        text = self.axes.annotate(
            says, (0.0, 0.0), (0.0, 0.0), textcoords="offset points", annotation_clip=False,
            **{"ha": "center", "va": "center", **style},
        )  # fmt: skip
        text.set_in_layout(False)
        start = self.axes.transData.transform((0.0, 0.0))
        drawn = text.get_window_extent().translated(-start[0], -start[1])
        for x, y, right, up in places:
            there = self.axes.transData.transform((x, y))
            box = drawn.translated(there[0] + right * self._pixels, there[1] + up * self._pixels)
            if box.width <= widest and self._is_free(box):
                text.xy = (x, y)
                text.set_position((right, up))
                self._taken.append((box.x0, box.y0, box.x1, box.y1))
                self.placed.append(text)
                return text
        text.remove()
        self.left_out += 1
        return None

    def put_one_of(
        self, choices: Sequence[str], places: Sequence[tuple[float, float, float, float]],
        **style: Any,
    ) -> Text | None:  # fmt: skip
        """Write the first of some wordings, longest first, that finds room; as `put`."""
        before = self.left_out
        for says in choices:
            text = self.put(says, places, **style)
            if text is not None:
                self.left_out = before
                return text
        self.left_out = before + 1
        return None

    def _is_free(self, box: Bbox) -> bool:
        frame, gap = self.axes.bbox, GAP * self._pixels
        x0, y0, x1, y1 = map(float, box.extents)
        if x0 < frame.x0 or x1 > frame.x1 or y0 < frame.y0 or y1 > frame.y1:
            return False
        return not any(
            x0 < right + gap and left < x1 + gap and y0 < high and low < y1
            for left, low, right, high in self._taken
        )
