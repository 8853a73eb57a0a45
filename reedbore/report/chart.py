"""The chart of a horn and a voice: every fingered note against every note that can be sung.

In come ranges of notes, out comes a table of predictions as text, CSV or one printable page.
Sung notes run down the page from high to low, fingered notes across it from low to high. What a
singer with folds makes of a pair is marked where it is known.
"""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from string import Template
from typing import Any

from reedbore import notes
from reedbore.errors import ReedboreError
from reedbore.pairs import Outcome, Prediction, predict_pair
from reedbore.report import document as documents
from reedbore.report.pairs import OUTCOMES, document
from reedbore.report.plan import SIMULATED, simulated
from reedbore.report.words import FOLDS, NOT_SIMULATED, TOO_LARGE
from reedbore.verdict.plan import Choice, Key, Tried
from reedbore.verdict.state import Ease

_RANGES = {
    Outcome.UNCERTAIN: f" ({notes.NO_PITCH_HZ:g} to {notes.PITCH_HZ:g} Hz)",
    Outcome.GROWL: f" (below {notes.NO_PITCH_HZ:g} Hz)",
}
LEGEND = {key: OUTCOMES[key].format("") + _RANGES.get(key, "") for key in Outcome}
MARKS = {
    Outcome.THIRD: "{0}",
    Outcome.UNCERTAIN: "{0}?",
    Outcome.GROWL: "~",
    Outcome.FINGERED: "=",
    Outcome.SUNG: "^",
    Outcome.NONE: "",
}
"""What stands in a cell; the place is for the common note."""

EASE_MARKS = {
    Ease.BY_ITSELF: "**",
    Ease.WITH_CARE: "*",
    Ease.HARDLY: "'",
    Ease.NEVER: "x",
    Ease.UNSUNG: "x",
}
"""What stands behind a pair that a singer has tried; nothing behind one that nobody has."""

EASES = "as simulated, aimed as `plan` tells:"
"""Heads the marks in a legend."""

BEYOND = f"{TOO_LARGE}: {NOT_SIMULATED}"
_TEXT_WIDTH, _LABEL_WIDTH = 80, 9
# What an A4 sheet on its side leaves for the cells, once margins, title and legend are taken.
_PAGE_MM = (266.0, 152.0)
_ROW_MM = (4.4, 8.5)


@dataclass(frozen=True, kw_only=True)
class Chart:
    """Predictions for a horn and a voice.

    Attributes
    ----------
    horn, voice : str
        Titles.
    rows : tuple of tuple of Prediction
        One row for each sung note, from high to low; in it one prediction for each fingered note,
        from low to high.
    known : mapping
        What became of pairs that a singer has tried.
    """

    horn: str
    voice: str
    rows: tuple[tuple[Prediction, ...], ...]
    known: Mapping[Key, Tried] = field(default_factory=dict)

    def choice(self, pair: Prediction) -> Choice | None:
        """Return a pair with what a singer makes of its ratio; None without a ratio."""
        if pair.ratio is None:
            return None
        choice = Choice(fingered_hz=pair.fingered_hz, ratio=pair.ratio)
        return replace(choice, tried=self.known.get(choice.key))

    def ease(self, pair: Prediction) -> Ease | None:
        """Say how easily a pair falls into step; None where nobody tried."""
        choice = self.choice(pair)
        return choice.ease if choice else None

    @property
    def eases(self) -> dict[str, str]:
        """What the marks that stand in it mean."""
        found = {self.ease(pair) for row in self.rows for pair in row}
        told: dict[str, str] = {}
        for ease in Ease:
            if ease in found:
                mark = EASE_MARKS[ease]
                told[mark] = f"{told[mark]}, or {ease}" if mark in told else ease
        return told


def make_chart(
    fingered_hz: Sequence[float],
    sung_hz: Sequence[float],
    *,
    horn: str,
    voice: str,
    known: Mapping[Key, Tried] | None = None,
    **settings: Any,
) -> Chart:
    """Predict every pair of fingered and sung notes.

    Parameters
    ----------
    fingered_hz, sung_hz : sequence of float
        Sounding frequencies, in any order. [Hz]
    horn, voice : str
        Titles.
    known : mapping, optional
        What became of pairs that a singer has tried.
    **settings
        `tolerance_cents`, `a4` and `transposition` as for `predict_pair`.

    Returns
    -------
    Chart

    Raises
    ------
    NoteError
        If the tolerance or `a4` is outside its range.
    """
    rows = tuple(
        tuple(predict_pair(fingered, sung, **settings) for fingered in sorted(fingered_hz))
        for sung in sorted(sung_hz, reverse=True)
    )
    return Chart(horn=horn, voice=voice, rows=rows, known=known or {})


def tempered_hz(low: str, high: str, a4: float = notes.A4_HZ) -> list[float]:
    """Frequencies [Hz] of all tempered notes from one name up to another, both included."""
    first, last = round(notes.parse_note(low)), round(notes.parse_note(high))
    return [notes.midi_to_hz(midi, a4) for midi in range(first, last + 1)]


def chart_document(chart: Chart) -> dict[str, Any]:
    """Put a chart into plain values for JSON; what does not apply to a pair is None."""
    first = chart.rows[0][0]
    return {
        "horn": chart.horn,
        "voice": chart.voice,
        "a4_hz": first.a4,
        "tolerance_cents": first.tolerance_cents,
        "pairs": [_pair(chart, pair) for row in chart.rows for pair in row],
    }


def _pair(chart: Chart, pair: Prediction) -> dict[str, Any]:
    choice = chart.choice(pair)
    told = simulated(choice, pair.a4) if choice and choice.tried else None
    return document(pair) | {"as_simulated": told}


def save(chart: Chart, path: Path) -> None:
    """Write a chart as a table or a page, whichever the ending of the file name asks for.

    Parameters
    ----------
    chart : Chart
    path : Path
        Ends in .csv or .html. The file appears whole or not at all.

    Raises
    ------
    ReedboreError
        If the ending is another, or the file cannot be written.
    """
    writers = {".csv": csv_text, ".html": page_text}
    if path.suffix.lower() not in writers:
        raise ReedboreError(f"cannot write {path}: a chart ends in .csv or .html")
    text = writers[path.suffix.lower()](chart)
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    except OSError as error:
        raise ReedboreError(f"cannot write {path}: {error.strerror}") from error


# --- text and CSV --------------------------------------------------------------------------------


def chart_text(chart: Chart) -> str:
    """Write a chart as panels of at most 80 columns, with a legend."""
    cells = [[_text_cell(pair, chart.ease(pair)) for pair in row] for row in chart.rows]
    width = 2 + max(len(cell) for row in cells for cell in row)
    count = (_TEXT_WIDTH - _LABEL_WIDTH) // width
    lines = [f"{chart.horn}, {chart.voice}", "across: fingered; down: sung (concert pitch)", ""]
    for first in range(0, len(cells[0]), count):
        lines += [*_panel(chart, cells, slice(first, first + count), width), ""]
    lines += ["Each cell: ratio sung/fingered and what to expect"]
    lines += [f"  {_legend_mark(key, 'Bb1') or '.':6}{words}" for key, words in LEGEND.items()]
    lines += [f"  {'( )':6}{BEYOND}"]
    if chart.eases:
        lines += ["", EASES, *(f"  {mark:6}{says}" for mark, says in chart.eases.items()), FOLDS]
    return "\n".join(lines)


def _panel(chart: Chart, cells: list[list[str]], part: slice, width: int) -> list[str]:
    top = chart.rows[0][part]
    lines = [" " * _LABEL_WIDTH + "".join(f"{_tempered(p, p.fingered_hz):{width}}" for p in top)]
    if top[0].transposition:
        names = "".join(f"{p.written(p.fingered_hz):{width}}" for p in top)
        lines.insert(0, f"{'written':{_LABEL_WIDTH}}{names}")
    for row, words in zip(chart.rows, cells, strict=True):
        sung = _tempered(row[0], row[0].sung_hz)
        lines.append(f"{sung:{_LABEL_WIDTH}}" + "".join(f"{word:{width}}" for word in words[part]))
    return [line.rstrip() for line in lines]


def _text_cell(pair: Prediction, ease: Ease | None) -> str:
    meeting = pair.meeting
    if meeting is None:
        return "."
    mark = MARKS[pair.outcome].format(_tempered(pair, meeting.resultant_hz))
    cell = f"{meeting.ratio_text} {mark}{f' {EASE_MARKS[ease]}' if ease else ''}"
    return cell if meeting.simulated else f"({cell})"


def _legend_mark(outcome: Outcome, name: str) -> str:
    return MARKS[outcome].format(name)


def _tempered(pair: Prediction, hz: float) -> str:
    return notes.split_note(hz, pair.a4)[0]


def csv_text(chart: Chart) -> str:
    """Write a chart as comma-separated values, one line for each pair.

    Parameters
    ----------
    chart : Chart

    Returns
    -------
    str
        The columns are the keys of `document`, except that p and q stand in columns of their own:
        a spreadsheet would read 3/2 as a date.
    """
    blank = {"as_simulated": dict.fromkeys(SIMULATED)}
    pairs = (_pair(chart, pair) for row in chart.rows for pair in row)
    rows = [documents.flat(pair if pair["as_simulated"] else pair | blank) for pair in pairs]
    return documents.csv_text([{k: _rounded(k, v) for k, v in row.items()} for row in rows], "p")


def _rounded(key: str, value: Any) -> Any:
    return round(value, 2 if key.endswith("cents") else 4) if isinstance(value, float) else value


# --- the printable page --------------------------------------------------------------------------


def page_text(chart: Chart) -> str:
    """Write a chart as one self-contained HTML page, made for an A4 sheet on its side."""
    pair = chart.rows[0][0]
    row_mm, letter_mm = _cell_size(len(chart.rows), len(chart.rows[0]))
    template = resources.files(__package__).joinpath("chart.html").read_text("utf-8")
    return Template(template).substitute(
        title=html.escape(f"{chart.horn} × {chart.voice}"),
        row=f"{row_mm:.2f}",
        letter=f"{letter_mm:.2f}",
        head=_page_head(chart),
        body="\n".join(_page_row(chart, row) for row in chart.rows),
        legend="".join(
            f'<li><i class="{key}">{_legend_mark(key, _pretty("Bb1"))}</i>{words}</li>'
            for key, words in LEGEND.items()
        )
        + f'<li><i class="beyond">( )</i>{BEYOND}</li>'
        + _page_eases(chart),
        tolerance=f"{pair.tolerance_cents:g}",
        but="; whether the horn locks on it is another question"
        if not chart.eases
        else ", and behind it what a singer makes of it, where that is known",
        a4=f"{pair.a4:g}",
    )


def _cell_size(rows: int, columns: int) -> tuple[float, float]:
    """Height of a row and of its letters that let a chart fit one sheet, if it can. [mm]."""
    low, high = _ROW_MM
    height = min(max(_PAGE_MM[1] / rows, low), high)
    return height, min(0.48 * height, 0.24 * _PAGE_MM[0] / columns)


def _page_head(chart: Chart) -> str:
    top = chart.rows[0]
    concert = "".join(f"<th>{_pretty(_tempered(p, p.fingered_hz))}</th>" for p in top)
    if not top[0].transposition:
        return f"<tr><th>sung \\ fingered</th>{concert}</tr>"
    written = "".join(f"<th>{_pretty(p.written(p.fingered_hz))}</th>" for p in top)
    return f'<tr><th>written</th>{written}</tr>\n<tr class="small"><th>concert</th>{concert}</tr>'


def _page_eases(chart: Chart) -> str:
    marks = "".join(f"<li><i>{mark}</i>{EASES} {says}</li>" for mark, says in chart.eases.items())
    return f"{marks}<li>{FOLDS}</li>" if marks else ""


def _page_row(chart: Chart, row: tuple[Prediction, ...]) -> str:
    cells = "".join(_page_cell(pair, chart.ease(pair)) for pair in row)
    return f"<tr><th>{_pretty(_tempered(row[0], row[0].sung_hz))}</th>{cells}</tr>"


def _page_cell(pair: Prediction, ease: Ease | None) -> str:
    meeting = pair.meeting
    if meeting is None:
        return '<td class="none"></td>'
    expected = MARKS[pair.outcome].format(_pretty(_tempered(pair, meeting.resultant_hz)))
    off = round(pair.sing_cents(meeting))
    sing = f" {off:+d}".replace("-", "−") if off else ""
    what = html.escape(OUTCOMES[pair.outcome].format(""))
    what += f"; {EASES} {ease}" if ease else ""
    mark = f" {EASE_MARKS[ease]}" if ease else ""
    kind = pair.outcome if meeting.simulated else f"{pair.outcome} beyond"
    if not meeting.simulated:
        expected, what = f"({expected})", f"{what}; {BEYOND}"
    return (
        f'<td class="{kind}" title="{what}"><b>{expected}{mark}</b>'
        f"<span>{meeting.ratio_text}{sing}</span></td>"
    )


def _pretty(name: str) -> str:
    return name.replace("#", "♯").replace("b", "♭").replace("-", "−")
