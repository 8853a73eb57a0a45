"""A practice sheet for the stand: what to finger and sing, the window to aim at, where to breathe.

In: a plan, and the flow that its fingered notes take. Out: an A4 page as PDF or SVG, or, of a long
piece, several as PDF. On top stands the line in staff notation, or, where notes are planned one by
one, a bar for each pair; below it one row a pair with its window drawn to scale; then the phrases
with their air, and the care that every singer should take.
"""

import io
import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Rectangle

from reedbore.errors import ReedboreError
from reedbore.files import picture_kind, write_whole
from reedbore.model.line import Note
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.write import musicxml_bytes
from reedbore.model.passage import Passage
from reedbore.model.setup import depth_name
from reedbore.notes import cents, note_name, parse_pitch, split_note
from reedbore.report.exercise import Row, exercise
from reedbore.report.figures.engraving import Page, draw, engraved
from reedbore.report.figures.style import FAINT, HORN_BLUE, INK, TOGETHER, VOICE_ORANGE
from reedbore.report.phrases import ONE_BREATH_L, Phrase, phrases
from reedbore.report.words import STRAIN, is_one_of_two, sentence
from reedbore.verdict.plan import Choice, Plan
from reedbore.verdict.state import Heard, RowState

KINDS = (".pdf", ".svg")
WIDE, HIGH, MARGIN = 210.0, 297.0, 14.0  # A4, ISO 216 [mm]
STAFF, SMALLEST_STAFF = 7.0, 5.0
"""Height of a staff, and the least that is read from a stand; common practice, no source. [mm]"""

HEAD, ROW, LINE, AXIS, GAP = 25.0, 6.6, 4.1, 8.0, 4.0  # [mm]
WORDS, SMALL, TITLE = 10.0, 8.5, 17.0  # [points]
COLUMNS = {"at": 0.0, "horn": 18.0, "sing": 40.0, "third": 61.0, "window": 85.0}  # [mm]
WINDOW_WIDE = 52.0  # [mm]
LEAST_REACH, REACH_STEP = 50.0, 50.0  # of the scale, either way [cents]
CROWDED = 150.0  # every second mark of a wider scale has a number [cents]
LONGEST_LINE = 112  # characters from margin to margin
SAYS_BESIDE = 29  # characters beside a window
CARE = (
    "Start soft, keep bouts short, rest and drink; stop at pain, a tickle or hoarseness. Learn it "
    "with a teacher; with lasting hoarseness see a voice clinic, with high eye pressure, a hernia "
    "or after surgery ask a doctor first. This sheet gives no medical advice."
)
LEGEND = (
    "box: aims that fall into step · line: the best aim · arrow: where the horn takes the voice · "
    "▲ just note"
)
AIR = (
    "Litres are the mean flow through the model's reed at this breath; yours differ. "
    f"{sentence(STRAIN)} Breathe sooner than the sheet says whenever you want to."
)

Flows = Mapping[tuple[float, str], float]


def practice_sheet(plan: Plan, path: Path, flows: Flows | None = None) -> None:
    """Draw a practice sheet.

    Parameters
    ----------
    plan : Plan
        What to finger and sing.
    path : Path
        Ends in .pdf or .svg.
    flows : mapping, optional
        Mean flow that the horn takes, by fingered note [Hz] and name of the fingering; without it
        no phrases are told. [l/s]

    Raises
    ------
    ReedboreError
        If the file cannot be written or is of another kind, verovio is not installed, nothing is
        planned, or an SVG would need a second page.
    """
    kind = picture_kind(path, KINDS)
    pages = _pages(plan, flows)
    if kind == "svg" and len(pages) > 1:
        raise ReedboreError(
            f"{path}: the sheet has {len(pages)} pages, and an SVG has one; write .pdf"
        )
    held = io.BytesIO()
    with rc_context({"pdf.fonttype": 42, "svg.fonttype": "path", "svg.hashsalt": "reedbore"}):
        if kind == "svg":
            pages[0].savefig(held, format="svg", metadata={"Date": None})
        else:
            about = {"Title": plan.title, "CreationDate": None}
            with PdfPages(held, metadata=about) as book:
                for page in pages:
                    book.savefig(page)
    write_whole(path, held.getvalue())


# --- what is written -----------------------------------------------------------------------------


def _breaths(plan: Plan, passage: Passage, flows: Flows | None) -> list[Phrase]:
    """Part a line into breaths; what stands for notes one by one is none."""
    if flows is None or not plan.steps:
        return []
    known = {(round(hz, 2), name): flow for (hz, name), flow in flows.items()}

    def flow(note: Note) -> float:
        return known[round(parse_pitch(str(note.pitch), plan.a4), 2), note.fingering]

    return phrases(passage, flow)


def note_lines(plan: Plan, rows: Sequence[Row], flows: Flows | None) -> list[str]:
    """Say of each fingered note how much air it takes, and how long a breath of it lasts."""
    if flows is None or plan.steps:
        return []
    used = dict.fromkeys((row.choice.fingered_hz, row.choice.fingering) for row in rows)
    return [
        f"{_flats(_fingered(plan, hz))} takes {flows[hz, name]:.2f} l a second: an easy breath of "
        f"{ONE_BREATH_L:g} l lasts {ONE_BREATH_L / flows[hz, name]:.0f} s."
        for hz, name in used
    ]


def _fingered(plan: Plan, hz: float) -> str:
    """Name a fingered note as it is written for the horn, and as it sounds."""
    sounding, moved = note_name(hz, plan.a4), plan.horn.transposition
    written = note_name(hz * 2.0 ** (moved / 12.0), plan.a4)
    return f"{written} ({sounding})" if moved else sounding


def phrase_lines(passage: Passage, found: Sequence[Phrase]) -> list[str]:
    """Say of each phrase how much air it takes and where to breathe.

    Parameters
    ----------
    passage : Passage
        What is played.
    found : sequence of Phrase
        From `phrases`.

    Returns
    -------
    list of str
        A sentence each.
    """
    measures = bars.bars_of(passage.meters, bars.exact(passage.beats))
    lines = []
    for phrase in found:
        first, last = _place(measures, phrase.begin), _place(measures, phrase.end)
        text = f"From {first}: {phrase.litres:.1f} l in {phrase.seconds:.0f} s"
        if phrase.long:
            text += ", more than an easy breath: play it faster, softer, or breathe within it"
        if phrase.end >= passage.beats or phrase is found[-1]:
            text += "."
        else:
            where = "in the rest at" if phrase.rests else "before"
            text += f"; breathe {where} {last}"
            text += ", where a note or slur is parted." if phrase.within else "."
        lines.append(text)
    return lines


def _place(measures: Sequence[bars.Bar], beat: float) -> str:
    exact = bars.exact(beat)
    number = max(sum(bar.start <= exact for bar in measures), 1)
    bar = measures[number - 1]
    count = (exact - bar.start) * bar.meter.unit / 4 + 1
    return f"bar {number}" + (f", beat {float(round(count, 2)):g}" if count != 1 else "")


# --- the pages -----------------------------------------------------------------------------------


def _pages(plan: Plan, flows: Flows | None) -> list[Figure]:
    """Lay a sheet out: all on one page if it fits, with smaller staves if need be."""
    passage, third, rows = exercise(plan)
    found = _breaths(plan, passage, flows)
    told = [*phrase_lines(passage, found), *note_lines(plan, rows, flows)]
    breaths = [phrase.end for phrase in found if not phrase.rests]

    def music(staff: float, height: float | None = None) -> list[Page]:
        """Engrave the music, its bars spread evenly over as many lines as they need."""
        pages, lines = [], 0
        for _ in range(2):
            count = len(bars.bars_of(passage.meters, bars.exact(passage.beats)))
            score = musicxml_bytes(
                passage,
                transposition=plan.horn.transposition,
                clef=plan.horn.clef,
                third=third,
                breaths=breaths,
                finest_cents=0,
                bars_in_line=math.ceil(count / lines) if lines else 0,
                a4=plan.a4,
            )
            pages = engraved(score.data, WIDE - 2.0 * MARGIN, staff, height)
            lines = sum(page.lines for page in pages)
        return pages

    room = HIGH - 2.0 * MARGIN - HEAD
    for staff in (STAFF, 0.5 * (STAFF + SMALLEST_STAFF), SMALLEST_STAFF):
        page = music(staff)[0]
        if page.height + GAP + _height_below(rows, told) <= room:
            figure, axes = _blank()
            top = _draw_head(axes, plan)
            draw(axes, page, MARGIN, top, INK)
            _draw_below(axes, plan, rows, told, top + page.height + GAP)
            return [figure]
    return list(_many(plan, music(STAFF, room), rows, told))


def _many(
    plan: Plan, music: Sequence[Page], rows: Sequence[Row], told: Sequence[str]
) -> Iterator[Figure]:
    """Yield the pages of what does not fit one: music first, then the rows."""
    for number, page in enumerate(music):
        figure, axes = _blank()
        draw(axes, page, MARGIN, MARGIN if number else _draw_head(axes, plan), INK)
        yield figure
    most = int((HIGH - 2.0 * MARGIN - _height_below((), told)) / ROW)
    for first in range(0, len(rows), most):
        figure, axes = _blank()
        is_last = first + most >= len(rows)
        _draw_below(axes, plan, rows[first : first + most], told if is_last else (), MARGIN)
        yield figure


def _blank() -> tuple[Figure, Axes]:
    """Return a page whose axes are in millimetres from its upper left corner."""
    figure = Figure((WIDE / 25.4, HIGH / 25.4))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, WIDE)
    axes.set_ylim(HIGH, 0.0)
    axes.axis("off")
    return figure, axes


def _draw_head(axes: Axes, plan: Plan) -> float:
    """Draw title and players; return where the music begins. [mm]."""
    axes.text(MARGIN, MARGIN + 4.5, plan.title, fontsize=TITLE, color=INK, weight="bold")
    depth = f"sung at depth {plan.depth:.3g} ({depth_name(plan.depth)})"
    breath = f"breath {plan.breath}" if plan.breath else "the horn's usual breath"
    players = f"{plan.horn.title} · {plan.singer.title} · {depth} · {breath}"
    written = (
        "Fingered notes as written for the horn, " if plan.horn.transposition else "All notes "
    )
    notes = f"{written}{'sung and third note ' if plan.horn.transposition else ''}as they sound"
    beside = "the cents stand under the note to aim at, a comma is a place to breathe, and a"
    axes.text(MARGIN, MARGIN + 11.0, players, fontsize=WORDS, color=INK)
    lines = textwrap.wrap(f"{notes}; {beside} third note in ( ) may not be heard.", LONGEST_LINE)
    for number, line in enumerate(lines):
        place = MARGIN + 15.5 + 3.8 * number
        axes.text(MARGIN, place, line, fontsize=SMALL, color=FAINT)
    return MARGIN + HEAD


def _height_below(rows: Sequence[Row], told: Sequence[str]) -> float:
    care = len(_filled(CARE)) + (len(_filled(AIR)) + 1 if told else 0)
    phrases_high = (sum(len(_filled(line)) for line in told) + 1.5) * LINE if told else 0.0
    legend = LINE if any(row.choice.locks for row in rows) else 0.0
    return AXIS + ROW * len(rows) + legend + GAP + phrases_high + care * LINE * 0.85


def _filled(text: str) -> list[str]:
    return textwrap.wrap(text, LONGEST_LINE)


def _draw_below(
    axes: Axes, plan: Plan, rows: Sequence[Row], told: Sequence[str], top: float
) -> None:
    """Draw the rows with their windows, the phrases, and the care to take."""
    y = _draw_rows(axes, plan, rows, top)
    if any(row.choice.locks for row in rows):
        axes.text(MARGIN + COLUMNS["horn"], y, LEGEND, fontsize=SMALL - 1.0, color=FAINT, va="top")
        y += LINE
    y += GAP
    if told:
        axes.text(MARGIN, y, "Air", fontsize=WORDS, color=INK, weight="bold", va="top")
        y += 1.2 * LINE
        for line in told:
            for part in _filled(line):
                axes.text(MARGIN, y, part, fontsize=SMALL + 0.5, color=INK, va="top")
                y += LINE
        y += 0.3 * LINE
    for line in (*([AIR] if told else []), CARE):
        for part in _filled(line):
            axes.text(MARGIN, y, part, fontsize=SMALL, color=FAINT, va="top")
            y += 0.85 * LINE


def _draw_rows(axes: Axes, plan: Plan, rows: Sequence[Row], top: float) -> float:
    """Draw one row a pair under a common scale of cents; return where they end. [mm]."""
    reach = _reach(rows, plan.a4)
    left = MARGIN + COLUMNS["window"]
    names = {"horn": "finger", "sing": "aim at", "third": "third note"}
    for column, name in names.items():
        axes.text(MARGIN + COLUMNS[column], top + 3.5, name, fontsize=SMALL, color=FAINT)
    scale = WINDOW_WIDE / (2.0 * reach)
    for mark in range(-int(reach), int(reach) + 1, 50):
        x = left + (mark + reach) * scale
        if reach <= CROWDED or mark % 100 == 0:
            axes.text(x, top + 3.5, f"{mark:+d}" if mark else "0", fontsize=SMALL - 1.5,
                      color=FAINT, ha="center")  # fmt: skip
        bottom = top + AXIS + ROW * len(rows) - 2.0
        axes.plot([x, x], [top + 5.0, bottom], color=FAINT, lw=0.6 if mark else 1.0, alpha=0.5)
    axes.text(left + WINDOW_WIDE + 5.0, top + 3.5, "cents from that note", fontsize=SMALL - 1.0,
              color=FAINT)  # fmt: skip
    for place, row in enumerate(rows):
        _draw_row(axes, plan, row, top + AXIS + ROW * (place + 0.35), left, scale, reach)
    return top + AXIS + ROW * len(rows)


def _reach(rows: Sequence[Row], a4: float) -> float:
    """Return how far the scale goes either way, so that every window fits. [cents]."""
    most = LEAST_REACH
    for row in rows:
        low, high = window(row.choice)
        off = split_note(row.choice.sing_hz, a4)[1]
        pulled = (row.choice.tried.pulled_cents or 0.0) if row.choice.tried else 0.0
        most = max(most, *(abs(off + edge) for edge in (low, high, pulled)))
    return REACH_STEP * math.ceil(most / REACH_STEP - 1e-9)


def window(choice: Choice) -> tuple[float, float]:
    """Return how far the aim may be off, down and up; nothing where no lock is known. [cents]."""
    half = 0.5 * choice.tried.width_cents if choice.locks and choice.tried else 0.0
    return -half, half


def _draw_row(
    axes: Axes, plan: Plan, row: Row, y: float, left: float, scale: float, reach: float
) -> None:
    choice, tried = row.choice, row.choice.tried
    off = split_note(choice.sing_hz, plan.a4)[1]
    fingered = _fingered(plan, choice.fingered_hz)
    third = "none" if is_one_of_two(choice.heard) else note_name(choice.common_hz, plan.a4)
    sure = choice.locks and choice.heard in {Heard.YES, Heard.FINGERED, Heard.SUNG}
    text = {
        "at": (row.places, FAINT, SMALL), "horn": (fingered, HORN_BLUE, WORDS),
        "sing": (note_name(choice.sing_hz, plan.a4), VOICE_ORANGE, WORDS),
        "third": (third if sure else f"({third})", TOGETHER, WORDS),
    }  # fmt: skip
    for column, (word, colour, size) in text.items():
        axes.text(MARGIN + COLUMNS[column], y + 1.2, _flats(word), fontsize=size, color=colour)

    def at(value: float) -> float:
        return left + (value + reach) * scale

    low, high = window(choice)
    if choice.locks and tried:
        size = (high - low) * scale
        axes.add_patch(Rectangle((at(off + low), y - 1.6), size, 3.2, fc=TOGETHER, ec=TOGETHER,
                                 alpha=0.28, lw=0.8))  # fmt: skip
        axes.plot([at(off)] * 2, [y - 2.2, y + 2.2], color=VOICE_ORANGE, lw=2.2)
        pulled = tried.pulled_cents or 0.0
        if abs(pulled) * scale > 1.5:
            axes.add_patch(
                FancyArrowPatch((at(off), y), (at(off + pulled), y), arrowstyle="-|>",
                                mutation_scale=8, color=HORN_BLUE, lw=1.2, shrinkA=0, shrinkB=0)
            )  # fmt: skip
    just = off + cents(choice.just_hz, choice.sing_hz)
    if abs(just) <= reach:
        axes.plot([at(just)], [y + 2.1], marker="^", color=INK, ms=3.5)
    beside = textwrap.wrap(aiming(choice), SAYS_BESIDE)
    for number, line in enumerate(beside):
        lower = y + 1.0 + 3.1 * (number - 0.5 * (len(beside) - 1))
        axes.text(left + WINDOW_WIDE + 3.0, lower, line, fontsize=SMALL - 1.0, color=INK)


def aiming(choice: Choice) -> str:
    """Say how exactly to aim and how far the horn pulls, in a few words.

    Parameters
    ----------
    choice : Choice
        A pair.

    Returns
    -------
    str
        As simulated, or that it is arithmetic only.
    """
    tried = choice.tried
    if tried is None:
        return "by arithmetic: not tried"
    if not choice.locks:
        unsung = tried.state == RowState.UNSUNG
        return "these folds do not sing it" if unsung else "does not fall into step by itself"
    pulled = round(tried.pulled_cents or 0.0)
    way = (
        f"pulls it {'up' if pulled > 0 else 'down'} {abs(pulled)}" if pulled else "leaves it there"
    )
    return f"give or take {0.5 * tried.width_cents:.0f}; the horn {way}"


def _flats(text: str) -> str:
    """Write a note name for reading from a stand: ``Bb2`` as B♭2."""
    return "".join(
        {"b": "♭", "#": "♯"}.get(here, here) if before.isupper() or before in "b#" else here
        for before, here in pairwise(" " + text)
    )
