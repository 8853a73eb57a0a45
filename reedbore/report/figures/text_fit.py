"""Titles that fit: words are measured, made smaller, and set in two lines if they must be."""

import textwrap
from typing import Any


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
