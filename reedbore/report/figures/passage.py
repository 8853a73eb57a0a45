"""The picture of a passage: fingered, sung, played and third notes against time.

In: a performance and what became of its notes. Out: a PNG, SVG or PDF file, read like a score from
left to right: level of the sound, notes over a scale of semitones, a word for every note.
"""

import io
import math
import textwrap
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import MaxNLocator

from reedbore import notes
from reedbore.files import check_writable, picture_kind, write_whole
from reedbore.model.passage import Passage
from reedbore.report.figures import passage_data
from reedbore.report.figures.passage_data import LEVEL_FLOOR_DB, Note, Resultant, Samples
from reedbore.report.figures.style import (
    DOTS_PER_INCH,
    FAINT,
    HORN_BLUE,
    INK,
    PAPER,
    TOGETHER,
    VOICE_ORANGE,
)
from reedbore.report.figures.text_fit import POINTS_PER_INCH, Labels
from reedbore.report.looks import LOOKS
from reedbore.report.words import HEARD, REASONS
from reedbore.simulate.controls import GLIDE
from reedbore.simulate.outside import SOUND_RATE
from reedbore.verdict.state import Heard, Reason, State

if TYPE_CHECKING:
    from reedbore.simulate.performance import Performance
    from reedbore.verdict.passage import NoteVerdict

LEAST_SEMITONES = 14.0
MARGIN = 26.0  # above and below all bars, for their names [points]
FRAME, THICK, MIDDLE, THIN = 11.5, 9.5, 5.0, 2.0  # heights of bars [points]
FINGERED_POINTS, SUNG_POINTS = 6.5, 6.0
AWAY = 14.0  # of a name from the middle of its bar [points]
HATCH_TIMES = 2
AIM_DASHES = (0, (3, 2))


class Bar(NamedTuple):
    """How a common note is drawn that is so well heard: what it is called, height, fill, edge."""

    says: str
    points: float
    filled: bool
    edge: str


BARS = {
    "yes": Bar(HEARD[Heard.YES].beside, THICK, True, "-"),
    "uncertain": Bar(HEARD[Heard.UNCERTAIN].beside, MIDDLE, True, "-"),
    "no": Bar(HEARD[Heard.NO].beside, THIN, True, "-"),
    "same": Bar("the fingered or the sung note itself, no third one", FRAME, False, "-"),
    "planned": Bar("planned only, not found", MIDDLE, False, ":"),
}


def draw_notes(
    axes: Axes,
    performance: "Performance",
    rows: Sequence["NoteVerdict"],
    a4: float,
    transposition: int | None = None,
) -> Labels:
    """Draw and name all notes of a passage.

    Parameters
    ----------
    axes : Axes
        Where; the limits of its time axis stand.
    performance : Performance
        What was played and sung.
    rows : sequence of NoteVerdict
        What became of its notes.
    a4 : float
        Frequency of A4. [Hz]
    transposition : int, optional
        As for `passage_picture`.

    Returns
    -------
    Labels
        The names that found room.
    """
    fingered = passage_data.fingered_notes(performance)
    resultants = passage_data.resultants(rows)
    sung = passage_data.sung_course(performance, rows)
    played = list(passage_data.played_course(performance, rows))
    drawn = [note.hz for note in fingered] + [found.bar.hz for found in resultants]
    drawn += [hz for course in (sung, *played) for hz in _ends(course[1])]
    semitone = _scale(axes, [float(_midi(hz, a4)) for hz in drawn], a4)
    for found in resultants:
        points = BARS[found.heard].points
        axes.add_patch(_bar(found.bar, points / semitone, a4, zorder=2, **look_of(found)))
    for note in fingered:
        style: dict[str, Any] = {"fc": "none", "ec": HORN_BLUE, "lw": 1.0, "zorder": 3}
        axes.add_patch(_bar(note, FINGERED_POINTS / semitone, a4, **style))
    for times, hz in played:
        axes.plot(times, _midi(hz, a4), color=HORN_BLUE, lw=1.8, zorder=4)
    asked = passage_data.sung_notes(performance, rows)
    _draw_voice(axes, sung, asked, a4)
    if passage_data.of_folds(rows):
        heights = [float(_midi(note.hz, a4)) for note in asked]
        ends = [note.begin for note in asked], [note.end for note in asked]
        axes.hlines(heights, *ends, color=VOICE_ORANGE, lw=1.4, ls=AIM_DASHES, zorder=3)
    return _name_notes(axes, performance, rows, a4, transposition)


def _draw_voice(
    axes: Axes, course: tuple[Samples, Samples], sung: Sequence[Note], a4: float
) -> None:
    axes.plot(course[0], _midi(course[1], a4), color=VOICE_ORANGE, lw=2.2, zorder=5)
    starts, heights = [note.begin for note in sung], [float(_midi(note.hz, a4)) for note in sung]
    axes.plot(starts, heights, "^", color=VOICE_ORANGE, ms=SUNG_POINTS, zorder=6, clip_on=False)


def _ends(hz: Samples) -> list[float]:
    known = hz[np.isfinite(hz)]
    return [float(known.min()), float(known.max())] if known.size else []


def _scale(axes: Axes, drawn: Sequence[float], a4: float) -> float:
    """Draw the scale of semitones around what is drawn; return the height of one [points]."""
    low, high = min(drawn, default=60.0), max(drawn, default=60.0)
    more = 0.5 * max(0.0, LEAST_SEMITONES - (high - low))
    low, high = low - more, high + more
    figure = axes.get_figure(root=True)
    assert figure is not None
    points = axes.bbox.height / figure.dpi * POINTS_PER_INCH
    semitone = (points - 2.0 * MARGIN) / (high - low)
    low, high = low - MARGIN / semitone, high + MARGIN / semitone
    axes.set_ylim(low, high)
    whole = range(math.ceil(low), math.floor(high) + 1)
    for note in whole:
        is_c = note % 12 == 0
        axes.axhline(
            note, color=FAINT, lw=0.9 if is_c else 0.35, alpha=0.8 if is_c else 0.3, zorder=0
        )
    named = [note for note in whole if note % 12 == 0 or (high - low < 30.0 and note % 12 == 7)]
    axes.set_yticks(named, [notes.midi_name(note) for note in named])
    axes.tick_params(axis="y", labelsize=11)
    axes.set_ylabel("pitch", size=9.5, color=INK)
    axes.yaxis.set_label_coords(-0.042, 0.5)
    for note in named:
        axes.annotate(
            f"{notes.midi_to_hz(note, a4):.0f} Hz", (1.0, note), (5, 0), color=INK, size=9.5,
            xycoords=axes.get_yaxis_transform(), textcoords="offset points", va="center",
        )  # fmt: skip
    return semitone


def _bar(note: Note, height: float, a4: float, **style: Any) -> Rectangle:
    low = float(_midi(note.hz, a4)) - 0.5 * height
    return Rectangle((note.begin, low), note.end - note.begin, height, **style)


def look_of(found: Resultant) -> dict[str, Any]:
    """Give the look of a bar: colour and hatching by state, fill and edge by how it is heard."""
    how, look = BARS[found.heard], LOOKS[found.state]
    return {
        "fc": look.light if how.filled else "none",
        "ec": INK if how.filled else TOGETHER,
        "ls": how.edge,
        "lw": 0.6 if how.filled else 1.3,
        "hatch": look.mark * HATCH_TIMES if how.filled else None,
    }


def _name_notes(
    axes: Axes,
    performance: "Performance",
    rows: Sequence["NoteVerdict"],
    a4: float,
    transposition: int | None,
) -> Labels:
    """Name what there is room for, resultants first."""
    fingered = passage_data.fingered_notes(performance)
    sung = passage_data.sung_notes(performance, rows)
    found = passage_data.resultants(rows)
    labels = Labels(axes)
    thick = [(one.bar, BARS[one.heard].points) for one in found]
    thick += [(note, FINGERED_POINTS) for note in fingered] + [(note, SUNG_POINTS) for note in sung]
    for note, points in thick:
        height = float(_midi(note.hz, a4))
        labels.keep_free(note.begin, note.end, height, height, points=0.5 * points)
    if passage_data.of_folds(rows):
        for row in rows:
            height = float(_midi(row.reached.sung_hz or row.fingered_hz, a4))
            labels.keep_free(row.begin_s, row.end_s, height, height, points=0.5 * SUNG_POINTS)
    for before, note in pairwise(sung):
        low, high = sorted(_midi([before.hz, note.hz], a4).tolist())
        labels.keep_free(note.begin, note.begin + GLIDE, low, high)
    for one in found:
        ratio = f"{one.ratio[0]}/{one.ratio[1]}"
        _name(labels, ratio, one.bar, a4, size=11.5, weight="bold", color=INK)
    for one in (one for one in found if one.heard != "same"):
        _name(labels, _whole(one.bar.hz, a4), one.bar, a4, down=True, size=11, color=INK)
    for note in sung:
        asked = passage_data.from_notes(performance)
        name = notes.note_name(note.hz, a4) if asked else _whole(note.hz, a4)
        _name(labels, name, note, a4, size=11, color=VOICE_ORANGE)
    for note in fingered:
        name = notes.note_name(note.hz, a4)
        if transposition is not None:
            name += f" (w:{notes.written_name(note.hz, transposition, a4)})"
        _name(labels, name, note, a4, size=11, color=HORN_BLUE)
    return labels


def _whole(hz: float, a4: float) -> str:
    """Name the nearest tempered note of a pitch that was measured."""
    return notes.split_note(hz, a4)[0]


def _name(
    labels: Labels, says: str, bar: Note, a4: float, *, down: bool = False, **style: Any
) -> None:
    """Write a word above or below the middle of a bar, or else nearer to its ends."""
    across = [bar.begin + share * (bar.end - bar.begin) for share in (0.5, 0.3, 0.7, 0.15, 0.85)]
    heights = (-AWAY, AWAY) if down else (AWAY, -AWAY)
    height = float(_midi(bar.hz, a4))
    labels.put(says, [(x, height, 0.0, up) for up in heights for x in across], **style)


def _midi(hz: Any, a4: float) -> Any:
    return 69.0 + 12.0 * np.log2(np.asarray(hz, dtype=np.float64) / a4)


if TYPE_CHECKING:
    from reedbore.simulate.performance import Performance
    from reedbore.verdict.passage import NoteVerdict

ASKED = "fingered note, as asked"
SUFFIXES = ".png", ".svg", ".pdf"

SIZE_INCHES = (14.0, 8.6)
LEFT, RIGHT = 0.8, 0.75  # [inches], as the three that follow: their bottom and height
LEVEL_PLACE, NOTES_PLACE, WORDS_PLACE = (6.75, 0.6), (2.15, 4.5), (1.5, 0.6)
LETTERS_OF_TITLE, LETTERS_A_LINE = 100, 165
WIDEST_WORD = 1.4  # of the width of a note
LEGEND_FOOT, LEGEND_STEP = 0.41, 0.27  # [inches], as the two that follow
HANDLE_INCHES, LETTER_INCHES = 0.7, 0.068


def passage_picture(
    performance: "Performance",
    rows: Sequence["NoteVerdict"],
    path: Path,
    *,
    title: str,
    says: str = "",
    a4: float = notes.A4_HZ,
    transposition: int | None = None,
) -> None:
    """Draw a passage and write it as PNG, SVG or PDF.

    Parameters
    ----------
    performance : Performance
        What was played and sung.
    rows : sequence of NoteVerdict
        What became of its notes.
    path : Path
        Where to; the file appears only when it is whole.
    title : str
        What was played.
    says : str, optional
        What became of it, in a sentence or two.
    a4 : float, optional
        Frequency of A4, for the names of notes. [Hz]
    transposition : int, optional
        Written note minus sounding note of the horn; given, what is fingered is named as written
        beside what sounds. [semitones]

    Raises
    ------
    ReedboreError
        If the kind of file is unknown or it cannot be written.
    """
    kind = picture_kind(path, SUFFIXES)
    check_writable(path)
    buffer = io.BytesIO()
    undated: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    # Letters stay letters, so that a picture can be searched and read aloud.
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "reedbore", "pdf.fonttype": 42}):
        figure = draw(performance, rows, title, says, a4, transposition)
        figure.savefig(buffer, format=kind, facecolor=PAPER, metadata=undated.get(kind))
    write_whole(path, buffer.getvalue())


def draw(
    performance: "Performance",
    rows: Sequence["NoteVerdict"],
    title: str,
    says: str,
    a4: float,
    transposition: int | None = None,
) -> Figure:
    """Draw a passage; as `passage_picture`."""
    figure = Figure(figsize=SIZE_INCHES, dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    width, height = SIZE_INCHES
    left = 0.2 / width
    style: dict[str, Any] = {"color": INK, "va": "top", "parse_math": False}
    short = textwrap.shorten(title, LETTERS_OF_TITLE, placeholder=" …")
    figure.text(left, 1.0 - 0.15 / height, short, size=15, weight="bold", **style)
    wrapped = textwrap.fill(says, LETTERS_A_LINE, max_lines=2, placeholder=" …")
    figure.text(left, 1.0 - 0.48 / height, wrapped, size=10.5, **style)
    end = max(performance.sound.size / SOUND_RATE, performance.score.passage.seconds, 0.1)
    level, score, words = (
        _panel(figure, place, end) for place in (LEVEL_PLACE, NOTES_PLACE, WORDS_PLACE)
    )
    beats = passage_data.has_beats(performance)
    bars = _draw_bars((level, score), performance.score.passage, end) if beats else ""
    _draw_level(level, performance.sound)
    named = draw_notes(score, performance, rows, a4, transposition)
    told = _draw_words(words, rows)
    _legend(figure, performance, rows, written=transposition is not None)
    _foot(figure, bars, named.left_out + told.left_out)
    return figure


def _panel(figure: Figure, place: tuple[float, float], end: float) -> Axes:
    width, height = SIZE_INCHES
    across = (width - LEFT - RIGHT) / width
    axes = figure.add_axes(
        (LEFT / width, place[0] / height, across, place[1] / height), facecolor=PAPER
    )
    axes.spines[["top", "right", "bottom"]].set_visible(False)
    axes.spines["left"].set_color(FAINT)
    axes.tick_params(colors=INK, labelsize=10, length=3)
    axes.set_xlim(0.0, end)
    axes.set_xticks([])
    return axes


def _draw_bars(panels: Sequence[Axes], passage: Passage, end: float) -> str:
    """Draw faint lines at bars and, if there is room, beats; say what they are."""
    bars = [passage.seconds_at(beat) for beat in passage_data.bar_beats(passage)]
    beats = [passage.seconds_at(beat) for beat in range(math.ceil(passage.beats))]
    inches = SIZE_INCHES[0] - LEFT - RIGHT
    roomy = len(beats) < inches * 15.0
    for axes in panels:
        for places, width in ((bars, 0.9), (beats if roomy else [], 0.35)):
            across = axes.get_xaxis_transform()
            axes.vlines(places, 0, 1, color=FAINT, lw=width, alpha=0.55, zorder=0, transform=across)
    every = math.ceil(len(bars) * 0.35 / inches * passage.seconds / end)
    for number in range(0, len(bars), every):
        panels[0].text(
            bars[number], 1.04, f" {number + 1}", transform=panels[0].get_xaxis_transform(),
            size=9.5, color=INK, va="bottom",
        )  # fmt: skip
    panels[0].text(
        -0.045, 1.04, "bar", transform=panels[0].transAxes, size=9.5, color=INK, va="bottom"
    )
    return "Faint lines: bars and beats." if roomy else "Faint lines: bars."


def _draw_level(axes: Axes, sound: passage_data.Samples) -> None:
    times, level = passage_data.level_course(sound)
    axes.set_ylim(LEVEL_FLOOR_DB, 2.0)
    axes.set_yticks([-40, -20, 0])
    axes.set_ylabel("level [dB]", size=9.5, color=INK)
    axes.yaxis.set_label_coords(-0.042, 0.5)
    axes.fill_between(times, LEVEL_FLOOR_DB, level, color=FAINT, alpha=0.45, lw=0)
    axes.plot(times, level, color=INK, lw=0.8)
    if not np.any(level > LEVEL_FLOOR_DB):
        axes.text(0.5, 0.5, "silence", transform=axes.transAxes, ha="center", color=INK)


def _draw_words(axes: Axes, rows: Sequence["NoteVerdict"]) -> Labels:
    """Draw what became of every note, as a swatch and, where there is room, a word."""
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.spines["bottom"].set_visible(True)
    axes.spines["bottom"].set_color(FAINT)
    axes.xaxis.set_major_locator(MaxNLocator(14, steps=[1, 2, 5, 10]))
    axes.set_xlabel("time [s]", size=9.5, color=INK, labelpad=1)
    labels = Labels(axes)
    for row in rows:
        look = LOOKS[row.reached.state]
        axes.add_patch(
            Rectangle(
                (row.begin_s, 0.78), row.end_s - row.begin_s, 0.22, fc=look.light, ec=INK,
                lw=0.6, hatch=look.mark * HATCH_TIMES, clip_on=False,
            )
        )  # fmt: skip
    for row in rows:
        middle, told = 0.5 * (row.begin_s + row.end_s), passage_data.words_of(row)
        choices = ["\n".join(told[:count]) for count in range(len(told), 0, -1)]
        begin, end = axes.transData.transform([(row.begin_s, 0.0), (row.end_s, 0.0)])[:, 0]
        width = WIDEST_WORD * float(end - begin)
        style: dict[str, Any] = {"va": "top", "size": 10.5, "color": INK, "linespacing": 1.15}
        labels.put_one_of(choices, [(middle, 0.74, 0.0, 0.0)], widest=width, **style)
    return labels


def _legend(
    figure: Figure, performance: "Performance", rows: Sequence["NoteVerdict"], *, written: bool
) -> None:
    """Show what lines and bars mean, as far as they occur, in as many rows as it takes."""
    handles = [*_line_handles(performance, rows, written), *_state_handles(rows)]
    lines: list[list[Any]] = [[]]
    inches = 0.0
    for handle in handles:
        wide = HANDLE_INCHES + LETTER_INCHES * len(handle.get_label())
        if inches + wide > SIZE_INCHES[0]:
            lines.append([])
            inches = 0.0
        lines[-1].append(handle)
        inches += wide
    lines.append(_resultant_handles(rows))
    lines = [line for line in lines if line]
    width, height = SIZE_INCHES
    for place, line in enumerate(reversed(lines)):
        figure.legend(
            handles=line, loc="center left",
            bbox_to_anchor=(0.2 / width, (LEGEND_FOOT + LEGEND_STEP * place) / height),
            ncols=len(line), frameon=False, fontsize=9.5, labelcolor=INK, handlelength=2.6,
            handleheight=1.1, columnspacing=1.8, borderpad=0.0, borderaxespad=0.0,
        )  # fmt: skip


def _line_handles(
    performance: "Performance", rows: Sequence["NoteVerdict"], written: bool
) -> list[Any]:
    asked = "fingered note, as asked (w: as written for the horn)" if written else ASKED
    handles: list[Any] = [
        Patch(fc="none", ec=HORN_BLUE, label=asked),
        Line2D([], [], color=HORN_BLUE, lw=1.8, label="played pitch, as measured"),
    ]
    if passage_data.sung_notes(performance, rows):
        aims, measured = passage_data.of_folds(rows), passage_data.measured(performance, rows)
        mark: dict[str, Any] = {"color": VOICE_ORANGE, "marker": "^", "ms": SUNG_POINTS}
        says = "sung note, as measured" if measured else "sung note"
        if aims:
            handles.append(Line2D([], [], lw=1.4, ls=AIM_DASHES, label="what is aimed at", **mark))
            mark = {"color": VOICE_ORANGE}
        handles.append(Line2D([], [], lw=2.2, label=says, **mark))
    return handles


def _state_handles(rows: Sequence["NoteVerdict"]) -> list[Any]:
    states = {row.reached.state for row in rows}
    handles: list[Any] = []
    for state in (state for state in LOOKS if state in states):
        look, says = LOOKS[state], LOOKS[state].says
        says = REASONS[Reason.TOO_SHORT] if state == State.UNDECIDED else says
        handles.append(
            Patch(fc=look.light, ec=INK, hatch=look.mark * HATCH_TIMES, lw=0.6, label=says)
        )
    return handles


def _resultant_handles(rows: Sequence["NoteVerdict"]) -> list[Any]:
    ways = {found.heard for found in passage_data.resultants(rows)}
    handles: list[Any] = [
        Line2D([], [], color=FAINT, lw=how.points, label=how.says, solid_capstyle="butt")
        if how.filled
        else Patch(fc="none", ec=TOGETHER, lw=1.3, ls=how.edge, label=how.says)
        for key, how in BARS.items()
        if key in ways
    ]
    for first in handles[:1]:
        first.set_label(f"third note: {first.get_label()}")
    return handles


def _foot(figure: Figure, bars: str, left_out: int) -> None:
    told = bars
    if left_out:
        says = "word has" if left_out == 1 else "words have"
        told += f" {left_out} {says} no room here; the table of the notes has them all."
        told = told.strip()
    width, height = SIZE_INCHES
    figure.text(0.2 / width, 0.09 / height, told, size=9.5, color=INK, va="bottom")
