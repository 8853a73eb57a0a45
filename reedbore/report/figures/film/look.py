"""How the moving pictures look: size, places, colours, and what each panel has to offer."""

from typing import Any, Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import FigureBase
from numpy.typing import NDArray

PIXELS = (1280, 720)
DOTS_PER_INCH = 100
INCHES = (PIXELS[0] / DOTS_PER_INCH, PIXELS[1] / DOTS_PER_INCH)
PAPER, INK, FAINT = "#fbf9f4", "#26251f", "#8b887d"
HORN_BLUE, VOICE_ORANGE, TOGETHER = "#1d5c86", "#b85a08", "#7a1f52"
BACK_GREEN = "#2f7d4f"
FADED = "#7d7080"  # what has just been
WOOD, REED_YELLOW, LIP = "#57534a", "#d9b24c", "#c98f85"
PRESSURE = LinearSegmentedColormap.from_list("air", ("#2d7fb8", "#f4efe4", "#d1495b"))
"""Air below and above the pressure outside."""
SHADES = PRESSURE(np.linspace(0.0, 1.0, 256))
EVEN = (
    0.6  # the colour follows this power of the pressure, so that weak waves are seen beside peaks
)

SMALL, USUAL, LARGE, CAPTION = 12, 14, 18, 20  # [points], at `DOTS_PER_INCH`


class Panel(Protocol):
    """One part of the picture: what moves is changed by `show` and drawn by who asked for it."""

    moving: list[Any]

    def show(self, frame: int) -> None:
        """Bring all that moves to a frame."""


def place(figure: FigureBase, left: float, foot: float, width: float, height: float) -> Axes:
    """Add bare axes at a place given in inches from the lower left corner of the picture."""
    across, up = INCHES
    axes = figure.add_axes((left / across, foot / up, width / across, height / up))
    axes.set_facecolor("none")
    axes.spines[:].set_visible(False)
    axes.set_xticks([])
    axes.set_yticks([])
    return axes


def write(axes: Axes, x: float, y: float, text: str, **style: Any) -> Any:
    """Write into axes; what looks like a formula is none."""
    usual: dict[str, Any] = {"color": INK, "size": SMALL, "va": "center", "parse_math": False}
    return axes.text(x, y, text, **{**usual, **style})


def colour(pressure: NDArray[np.float64], largest: float) -> Any:
    """Choose the colour of a pressure [Pa], or of each of many, up to the largest one [Pa]."""
    share = np.clip(pressure / largest, -1.0, 1.0)
    bent = np.sign(share) * np.abs(share) ** EVEN
    return SHADES[np.rint(127.5 + 127.5 * bent).astype(int)]


def arrow(length: float, thick: float, wide: float) -> NDArray[np.float64]:
    """Outline of an arrow from the origin to the right, or to the left where negative.

    Parameters
    ----------
    length : float
        Of the whole arrow.
    thick, wide : float
        Half widths of shaft and head; a short arrow is as much smaller as its head is shorter.

    Returns
    -------
    ndarray, shape (7, 2)
        Corners, in the unit of the lengths.
    """
    head = min(abs(length), 1.6 * wide)
    share = head / (1.6 * wide)
    neck = length - head * np.sign(length)
    along = np.array([0.0, neck, neck, length, neck, neck, 0.0])
    aside = share * np.array([-thick, -thick, -wide, 0.0, wide, thick, thick])
    return np.column_stack((along, aside))
