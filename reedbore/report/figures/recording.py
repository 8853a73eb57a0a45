"""The picture of a recording: its spectrogram, and what was found in it drawn over it.

In: the recording and its notes. Out: a PNG, SVG or PDF file. Time runs from left to right; below,
a word for what became of each note.
"""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from reedbore import notes
from reedbore.files import check_writable, picture_kind, write_whole
from reedbore.measures import spectrum
from reedbore.measures.keeping_step import Course
from reedbore.report.figures.style import (
    DOTS_PER_INCH,
    FAINT,
    HORN_BLUE,
    INK,
    PAPER,
    TOGETHER,
    VOICE_ORANGE,
)
from reedbore.report.figures.text_fit import width_of
from reedbore.report.looks import LOOKS
from reedbore.report.words import STATES
from reedbore.verdict.against_plan import Planned
from reedbore.verdict.recording import Found, Sounds
from reedbore.verdict.state import State

KINDS = (".png", ".svg", ".pdf")
SIZE = 14.0, 8.0  # [inch]
COLUMNS, WINDOW_S = 900, 0.1
"""So many moments are shown at most, each the spectrum of so long a while. [s]"""

BROAD = 0.6
"""Of a planned note above and below it. [semitones]"""

LOST = 1.0 / 6.0
"""A course this far from the mean of its note is lost. [octaves]"""

RANGE_DB = 60.0
LOWEST_HZ, HIGHEST_HZ = 40.0, 1600.0

Samples = NDArray[np.float64]


def recording_picture(
    sounds: Sounds,
    rows: Sequence[Found],
    path: Path,
    *,
    title: str = "",
    a4: float = notes.A4_HZ,
    plan: Sequence[Planned] = (),
) -> None:
    """Draw a recording and what was found in it.

    Parameters
    ----------
    sounds : Sounds
        The recording; read moment by moment.
    rows : sequence of Found
        Its notes.
    path : Path
        The file: .png, .svg or .pdf.
    title : str
        Stands above.
    a4 : float
        Frequency of A4. [Hz]
    plan : sequence of Planned
        What was to be played, in the seconds of the recording; drawn behind.

    Raises
    ------
    ReedboreError
        If the file cannot be written or has no known kind.
    """
    kind = picture_kind(path, KINDS)
    check_writable(path)
    undated: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "reedbore", "pdf.fonttype": 42}):
        figure = Figure(figsize=SIZE, dpi=DOTS_PER_INCH, facecolor=PAPER)
        FigureCanvasAgg(figure)
        upper, lower = figure.subplots(
            2, 1, sharex=True, gridspec_kw={"height_ratios": (8, 1), "hspace": 0.05}
        )
        figure.subplots_adjust(left=0.07, right=0.97, top=0.87, bottom=0.08)
        figure.text(0.07, 0.95, title, size=15, color=INK)
        _draw_sound(upper, sounds)
        _draw_plan(upper, plan)
        _draw_notes(upper, rows, planned=bool(plan))
        _scale(upper, a4)
        _draw_states(lower, rows, sounds.seconds)
        held = io.BytesIO()
        figure.savefig(held, format=kind, facecolor=PAPER, metadata=undated.get(kind))
    write_whole(path, held.getvalue())


def _draw_sound(axes: Axes, sounds: Sounds) -> None:
    """Draw the spectrogram of the horn's microphone."""
    length = min(WINDOW_S, sounds.seconds)
    count = max(1, min(COLUMNS, int(sounds.seconds / (0.5 * length))))
    begins = np.linspace(0.0, sounds.seconds - length, count)
    size = int(length * sounds.rate) // 2 * 2
    window = spectrum.blackman_harris(size)
    level = np.full((size + 1, count), -300.0)
    for column, begin in enumerate(begins):
        horn, _ = sounds.piece(float(begin), float(begin) + length + 2.0 / sounds.rate)
        if horn.size >= size:
            turned = np.abs(np.fft.rfft((horn[:size] - horn[:size].mean()) * window, 2 * size))
            level[:, column] = spectrum.decibel(turned)
    hz = np.arange(size + 1) * sounds.rate / (2 * size)
    shown = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    top = float(level[shown].max())
    axes.pcolormesh(
        begins + 0.5 * length, hz[shown], level[shown], shading="nearest", cmap="Greys",
        vmin=top - RANGE_DB, vmax=top, rasterized=True, zorder=0,
    )  # fmt: skip
    axes.set_yscale("log")
    axes.set_ylim(LOWEST_HZ, HIGHEST_HZ)
    axes.set_xlim(0.0, sounds.seconds)


def _draw_plan(axes: Axes, plan: Sequence[Planned]) -> None:
    """Draw what was planned as broad pale bars."""
    for note in plan:
        for hz, colour in ((note.fingered_hz, HORN_BLUE), (note.sung_hz, VOICE_ORANGE)):
            if hz is not None:
                low, high = hz * 2.0 ** (-BROAD / 12.0), hz * 2.0 ** (BROAD / 12.0)
                axes.fill_between(
                    [note.begin_s, note.end_s], low, high, color=colour, alpha=0.35, lw=0, zorder=2
                )


def _draw_notes(axes: Axes, rows: Sequence[Found], *, planned: bool) -> None:
    """Draw what was played, sung and common, and from the horn alone what may have been sung."""
    for row in rows:
        ends = row.begin_s, row.end_s
        _draw_pitch(axes, row.played_course, row.played_hz, ends, color=HORN_BLUE, zorder=3)
        if row.common_hz is not None:
            axes.hlines(row.common_hz, *ends, color=TOGETHER, lw=3.0, ls=":", zorder=3)
        if row.sung_hz is not None:
            _draw_pitch(axes, row.sung_course, row.sung_hz, ends, color=VOICE_ORANGE, zorder=4)
        else:
            axes.hlines(row.sung_class, *ends, color=VOICE_ORANGE, lw=1.2, ls="--", zorder=4)
    named: list[Line2D | Patch] = [
        Line2D([], [], color=HORN_BLUE, lw=3.0, label="played"),
        Line2D([], [], color=VOICE_ORANGE, lw=3.0, label="sung"),
        Line2D([], [], color=TOGETHER, lw=3.0, ls=":", label="common note"),
    ]
    if any(row.sung_hz is None and row.sung_class for row in rows):
        may = Line2D([], [], color=VOICE_ORANGE, lw=1.2, ls="--", label="one of these was sung")
        named.append(may)
    if planned:
        named.append(Patch(color=FAINT, alpha=0.5, lw=0, label="planned"))
    axes.legend(handles=named, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=5, frameon=False)


def _draw_pitch(
    axes: Axes, course: Course | None, mean: float, ends: tuple[float, float], **style: Any
) -> None:
    """Draw a pitch as it was measured, a straight line where a note was too short for it."""
    if course is None or course.times.size < 2:
        axes.hlines(mean, *ends, lw=3.0, **style)
        return
    # Farther off it is no pitch of this note: the line was lost for a moment.
    near = np.abs(np.log2(course.hz / mean)) < LOST
    axes.plot(course.times, np.where(near, course.hz, np.nan), lw=2.4, **style)


def _scale(axes: Axes, a4: float) -> None:
    """Name the notes C and G along the scale of frequencies."""
    known = [n for n in range(24, 96) if n % 12 in (0, 7)]
    places = [(notes.midi_to_hz(n, a4), notes.midi_name(n)) for n in known]
    inside = [(hz, name) for hz, name in places if LOWEST_HZ <= hz <= HIGHEST_HZ]
    axes.set_yticks([hz for hz, _ in inside], [name for _, name in inside])
    axes.set_yticks([], minor=True)
    axes.set_ylabel("pitch", color=INK)


def _draw_states(axes: Axes, rows: Sequence[Found], seconds: float) -> None:
    """Draw a strip of what became of the notes, with a word where there is room for it."""
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.set_xlabel("seconds", color=INK)
    used: dict[State, Patch] = {}
    for row in rows:
        look = LOOKS[row.state]
        style: dict[str, Any] = {
            "facecolor": look.light,
            "edgecolor": INK,
            "linewidth": 0.5,
            "hatch": look.mark,
        }
        axes.broken_barh([(row.begin_s, row.end_s - row.begin_s)], (0.3, 0.7), **style)
        used.setdefault(row.state, Patch(label=STATES[row.state].short, **style))
        number = axes.text(0.5 * (row.begin_s + row.end_s), 0.12, str(row.number), ha="center",
                           va="center", size=8.5, color=INK)  # fmt: skip
        room = (row.end_s - row.begin_s) / max(seconds, 1e-9) * axes.bbox.width
        if width_of(number) > room:
            number.remove()
    figure = axes.get_figure(root=True)
    if used and figure is not None:
        figure.legend(
            handles=list(used.values()), loc="upper right", bbox_to_anchor=(0.97, 0.97),
            ncols=len(used), frameon=False,
        )  # fmt: skip
