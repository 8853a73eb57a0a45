"""The picture of a horn's input impedance: what the air column offers to the reed.

In: a setup. Out: a PNG, SVG or PDF file. Magnitude and phase of the exact impedance, that of the
simulated bore over it, the peaks named as notes, and the cut-off of the open tone holes.
"""

import io
import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from reedbore import notes
from reedbore.files import picture_kind, write_whole
from reedbore.model.setup import Setup
from reedbore.physics import tube
from reedbore.report.figures.style import DOTS_PER_INCH, FAINT, HORN_BLUE, INK, PAPER, VOICE_ORANGE
from reedbore.simulate.acoustics import bore
from reedbore.simulate.acoustics.numbers import waveguide_of

TOP_HZ = 3000.0
BOTTOM_HZ = 20.0
MOST_NAMES = 12
UNIT = 1e6
"""Of the drawn impedance: megaohms. [Pa s m⁻³]"""

SUFFIXES = ".png", ".svg", ".pdf"


class Curves(NamedTuple):
    """What is drawn, at frequencies [Hz]; impedances in Pa s m⁻³ behind the reed."""

    frequency: NDArray[np.float64]
    exact: NDArray[Any]
    simulated: NDArray[Any]
    peaks: tube.Peaks
    cutoff: float | None


def curves(setup: Setup) -> Curves:
    """Calculate what the picture shows.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece and air; the yielding of the reed is left out.

    Returns
    -------
    Curves
        Up to four octaves above the first peak, at least to `TOP_HZ`.
    """
    stiff = setup.model_copy(update={"reed": setup.reed.model_copy(update={"area": 0.0})})
    rough = np.arange(BOTTOM_HZ, TOP_HZ, 2.0)
    impedance = np.asarray(1.0 / bore.admittance(stiff, rough), np.complex128)
    first = tube.peaks(rough, impedance).frequency
    top = max(TOP_HZ, 16.0 * float(first[0])) if first.size else TOP_HZ
    frequency = np.arange(BOTTOM_HZ, top, 1.0)
    exact = 1.0 / bore.admittance(stiff, frequency)
    simulated = 1.0 / waveguide_of(stiff).admittance(frequency)
    found = tube.peaks(frequency, np.asarray(exact, np.complex128))
    return Curves(frequency, exact, simulated, found, bore.open_row_cutoff(setup))


def impedance_picture(setup: Setup, title: str, path: Path) -> None:
    """Draw the impedance of a horn into a file.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece and air.
    title : str
        Above the picture.
    path : Path
        PNG, SVG or PDF.

    Raises
    ------
    ReedboreError
        If the kind of file is unknown or it cannot be written.
    """
    kind = picture_kind(path, SUFFIXES)
    drawn = curves(setup)
    figure = Figure(figsize=(11.0, 7.0), dpi=DOTS_PER_INCH, facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    size, phase = figure.subplots(2, 1, sharex=True, height_ratios=(2.2, 1.0))
    figure.suptitle(title, color=INK, x=0.01, ha="left", fontsize=13, parse_math=False)
    _size(size, drawn)
    _phase(phase, drawn)
    _cutoff((size, phase), drawn.cutoff)
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind)
    write_whole(path, buffer.getvalue())


def _size(axes: Axes, drawn: Curves) -> None:
    axes.set_facecolor(PAPER)
    exact, simulated = np.abs(drawn.exact) / UNIT, np.abs(drawn.simulated) / UNIT
    axes.semilogy(drawn.frequency, exact, color=HORN_BLUE, lw=1.8, label="exact")
    axes.semilogy(
        drawn.frequency, simulated, color=VOICE_ORANGE, lw=1.2, ls="--", label="as simulated"
    )
    axes.set_ylabel("impedance [MPa s/m³]")
    axes.set_xlim(0.0, float(drawn.frequency[-1]))
    axes.set_ylim(float(exact.min()) / 1.5, float(exact.max()) * 6.0)
    axes.grid(color=FAINT, alpha=0.25)
    axes.legend(loc="upper right", frameon=False)
    for hz, height in list(zip(drawn.peaks.frequency, drawn.peaks.height, strict=True))[
        :MOST_NAMES
    ]:
        axes.annotate(
            notes.note_name(float(hz)),
            (float(hz), float(height) / UNIT),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            rotation=90,
            fontsize=8,
            color=INK,
        )


def _phase(axes: Axes, drawn: Curves) -> None:
    axes.set_facecolor(PAPER)
    for impedance, colour, width, dash in (
        (drawn.exact, HORN_BLUE, 1.8, "-"),
        (drawn.simulated, VOICE_ORANGE, 1.2, "--"),
    ):
        axes.plot(drawn.frequency, np.degrees(np.angle(impedance)), color=colour, lw=width, ls=dash)
    axes.set_yticks((-90, -45, 0, 45, 90))
    axes.set_ylabel("phase [°]")
    axes.set_xlabel(
        "frequency [Hz]; the reed does not yield here, so the horn plays a little lower"
    )
    axes.grid(color=FAINT, alpha=0.25)


def _cutoff(panels: tuple[Axes, Axes], cutoff: float | None) -> None:
    if cutoff is None or not math.isfinite(cutoff):
        return
    for axes in panels:
        axes.axvspan(cutoff, axes.get_xlim()[1], color=FAINT, alpha=0.12, lw=0)
        axes.axvline(cutoff, color=INK, lw=1.0, ls=":")
    panels[0].annotate(
        f"cut-off of the open tone holes, {cutoff:.0f} Hz: above it waves run past them",
        (cutoff, panels[0].get_ylim()[0]),
        xytext=(6, 8),
        textcoords="offset points",
        fontsize=9,
        color=INK,
    )
