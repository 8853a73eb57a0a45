"""The notes of a passage over a scale of semitones, and their names where there is room.

How a resultant looks: colour and hatching tell whether it is locked, its thickness whether it is
heard.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from reedbore import notes
from reedbore.report.figures import passage_data as passages_data
from reedbore.report.figures.labels import POINTS_PER_INCH, Labels
from reedbore.report.figures.passage_data import Note, Resultant, Samples
from reedbore.report.figures.take import FAINT, HORN_BLUE, INK, TOGETHER, VOICE_ORANGE
from reedbore.report.looks import LOOKS
from reedbore.simulate.controls import GLIDE

if TYPE_CHECKING:
    from reedbore.simulate.performance import Performance
    from reedbore.verdict.passage import NoteVerdict

LEAST_SEMITONES = 14.0
MARGIN = 26.0  # above and below all bars, for their names [points]
FRAME, THICK, MIDDLE, THIN = 11.5, 9.5, 5.0, 2.0  # heights of bars [points]
FINGERED_POINTS, SUNG_POINTS = 6.5, 6.0
AWAY = 14.0  # of a name from the middle of its bar [points]
HATCH_TIMES = 2


class Heard(NamedTuple):
    """How a resultant is drawn that is so well heard: what it is called, height, fill, edge."""

    says: str
    points: float
    filled: bool
    edge: str


HEARD = {
    "yes": Heard("heard", THICK, True, "-"),
    "uncertain": Heard("perhaps heard", MIDDLE, True, "-"),
    "no": Heard("not heard", THIN, True, "-"),
    "same": Heard("the fingered or the sung note itself, no third one", FRAME, False, "-"),
    "planned": Heard("planned only, not found", MIDDLE, False, ":"),
}


def draw(
    axes: Axes,
    performance: "Performance",
    rows: Sequence["NoteVerdict"],
    a4: float,
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

    Returns
    -------
    Labels
        The names that found room.
    """
    fingered = passages_data.fingered_notes(performance)
    resultants = passages_data.resultants(rows)
    sung = passages_data.sung_course(performance, rows)
    played = list(passages_data.played_course(performance, rows))
    drawn = [note.hz for note in fingered] + [found.bar.hz for found in resultants]
    drawn += [hz for course in (sung, *played) for hz in _ends(course[1])]
    semitone = _scale(axes, [float(_midi(hz, a4)) for hz in drawn], a4)
    for found in resultants:
        points = HEARD[found.heard].points
        axes.add_patch(_bar(found.bar, points / semitone, a4, zorder=2, **look_of(found)))
    for note in fingered:
        style: dict[str, Any] = {"fc": "none", "ec": HORN_BLUE, "lw": 1.0, "zorder": 3}
        axes.add_patch(_bar(note, FINGERED_POINTS / semitone, a4, **style))
    for times, hz in played:
        axes.plot(times, _midi(hz, a4), color=HORN_BLUE, lw=1.8, zorder=4)
    _draw_voice(axes, sung, passages_data.sung_notes(performance, rows), a4)
    return _name_notes(axes, performance, rows, a4)


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
    how, look = HEARD[found.heard], LOOKS[found.state]
    return {
        "fc": look.light if how.filled else "none",
        "ec": INK if how.filled else TOGETHER,
        "ls": how.edge,
        "lw": 0.6 if how.filled else 1.3,
        "hatch": look.mark * HATCH_TIMES if how.filled else None,
    }


def _name_notes(
    axes: Axes, performance: "Performance", rows: Sequence["NoteVerdict"], a4: float
) -> Labels:
    """Name what there is room for, resultants first."""
    fingered = passages_data.fingered_notes(performance)
    sung = passages_data.sung_notes(performance, rows)
    found = passages_data.resultants(rows)
    labels = Labels(axes)
    thick = [(one.bar, HEARD[one.heard].points) for one in found]
    thick += [(note, FINGERED_POINTS) for note in fingered] + [(note, SUNG_POINTS) for note in sung]
    for note, points in thick:
        height = float(_midi(note.hz, a4))
        labels.keep_free(note.begin, note.end, height, height, points=0.5 * points)
    for before, note in pairwise(sung):
        low, high = sorted(_midi([before.hz, note.hz], a4).tolist())
        labels.keep_free(note.begin, note.begin + GLIDE, low, high)
    for one in found:
        ratio = f"{one.ratio[0]}/{one.ratio[1]}"
        _name(labels, ratio, one.bar, a4, size=11.5, weight="bold", color=INK)
    for one in (one for one in found if one.heard != "same"):
        _name(labels, _whole(one.bar.hz, a4), one.bar, a4, down=True, size=11, color=INK)
    for note in sung:
        asked = passages_data.from_notes(performance)
        name = notes.note_name(note.hz, a4) if asked else _whole(note.hz, a4)
        _name(labels, name, note, a4, size=11, color=VOICE_ORANGE)
    for note in fingered:
        _name(labels, notes.note_name(note.hz, a4), note, a4, size=11, color=HORN_BLUE)
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
