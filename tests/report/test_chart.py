"""The chart of a horn and a voice, as text, CSV and a printable page."""

import csv
import io
from html.parser import HTMLParser
from pathlib import Path

import pytest

from reedbore import notes
from reedbore.errors import NoteError, ReedboreError
from reedbore.pairs import Outcome
from reedbore.report import chart
from reedbore.report.words import FOLDS
from reedbore.verdict.plan import Key, Tried
from reedbore.verdict.state import Ease, Heard, RowState


@pytest.fixture(scope="module")
def tenor() -> chart.Chart:
    """Tenor saxophone, low register, written a ninth above; a bass voice, E2 to E4."""
    return chart.make_chart(
        chart.tempered_hz("Ab2", "C#4"),
        chart.tempered_hz("E2", "E4"),
        horn="Tenor saxophone",
        voice="low voice",
        transposition=14,
    )


class Page(HTMLParser):
    """Collects what the test asks of a page: cells, rows, and addresses outside it."""

    def __init__(self) -> None:
        super().__init__()
        self.count: dict[str, int] = {}
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] = self.count.get(tag, 0) + 1
        self.addresses += [value or "" for key, value in attrs if key in {"src", "href"}]


def test_all_semitones_from_the_lowest_to_the_highest_note_are_there():
    names = [notes.note_name(hz) for hz in chart.tempered_hz("Bb2", "C#3")]
    assert names == ["Bb2", "B2", "C3", "C#3"]


def test_sung_notes_fall_and_fingered_notes_rise(tenor: chart.Chart):
    sung = [row[0].sung_hz for row in tenor.rows]
    fingered = [pair.fingered_hz for pair in tenor.rows[0]]
    assert sung == sorted(sung, reverse=True)
    assert fingered == sorted(fingered)
    assert (len(sung), len(fingered)) == (25, 18)


def test_settings_reach_every_pair():
    made = chart.make_chart([110.0], [165.0, 176.0], horn="h", voice="v", tolerance_cents=1.0)
    assert [pair.ratio for row in made.rows for pair in row] == [(8, 5), (3, 2)]
    with pytest.raises(NoteError, match="tolerance is 80 cents"):
        chart.make_chart([110.0], [165.0], horn="h", voice="v", tolerance_cents=80.0)


def test_text_fits_eighty_columns_and_holds_every_sung_note(tenor: chart.Chart):
    lines = chart.chart_text(tenor).splitlines()
    assert max(map(len, lines)) <= 80
    panels = sum(line.startswith("written") for line in lines)
    for row in tenor.rows:
        name = notes.note_name(row[0].sung_hz)
        assert sum(line.startswith(f"{name} ") for line in lines) == panels


def test_text_cell_shows_ratio_and_third_note(tenor: chart.Chart):
    # D4 over the low Bb2 is a wide 5/2 and gives the octave below, Bb1: common practice, no source.
    lines = chart.chart_text(tenor).splitlines()
    row = next(line for line in lines if line.startswith("D4 "))
    assert "5/2 Bb1" in row


def test_every_outcome_has_a_mark_and_a_line_in_the_legend():
    assert set(chart.MARKS) == set(chart.LEGEND) == set(Outcome)


def test_a_cell_above_eight_is_bracketed_and_said_not_to_be_simulated(tenor: chart.Chart):
    # Over Bb2 a C4 is 9/4; over C#3 an Eb3 is 9/8 and an E3 6/5.
    text, page = chart.chart_text(tenor), chart.page_text(tenor)
    assert "(9/4 Bb0?)" in next(line for line in text.splitlines() if line.startswith("C4 "))
    assert "(6/5" not in text
    assert "( )   p or q above 8: not simulated" in text
    assert 'title="a third note, so low that its pitch is uncertain; p or q above 8: not' in page
    assert "(9/4" not in page.split("<ul>")[1]
    assert "p or q above 8: not simulated</li>" in page
    records = csv.DictReader(io.StringIO(chart.csv_text(tenor)))
    beyond = {record["simulated"] for record in records if "9" in (record["p"], record["q"])}
    assert beyond == {"False"}


def test_csv_has_one_line_a_pair_and_no_ratio_that_looks_like_a_date(tenor: chart.Chart):
    records = list(csv.DictReader(io.StringIO(chart.csv_text(tenor))))
    assert len(records) == 25 * 18
    (pair,) = [r for r in records if (r["fingered_note"], r["sung_note"]) == ("Bb2", "D4")]
    assert (pair["p"], pair["q"], pair["resultant_note"]) == ("5", "2", "Bb1")
    assert pair["fingered_written"] == "C4"
    assert float(pair["sing_cents"]) == pytest.approx(-13.69, abs=0.01)
    assert "ratio" not in pair
    rough = next(r for r in records if r["outcome"] == "none")
    assert rough["p"] == rough["resultant_hz"] == ""


def test_document_agrees_with_the_csv(tenor: chart.Chart):
    found = chart.chart_document(tenor)
    records = list(csv.DictReader(io.StringIO(chart.csv_text(tenor))))
    assert [pair["outcome"] for pair in found["pairs"]] == [r["outcome"] for r in records]
    assert (found["horn"], found["a4_hz"]) == ("Tenor saxophone", 440.0)


def test_page_holds_every_pair_and_asks_nothing_from_outside(tenor: chart.Chart):
    page = Page()
    page.feed(chart.page_text(tenor))
    assert page.count["td"] == 25 * 18
    assert page.count["tr"] == 25 + 2
    assert page.addresses == ["data:,"]
    assert "script" not in page.count
    assert "url(" not in chart.page_text(tenor)


def test_page_is_made_for_one_sheet_on_its_side(tenor: chart.Chart):
    text = chart.page_text(tenor)
    assert "size: A4 landscape" in text
    assert "@media print" in text
    height = float(text.split("td { height: calc(")[1].split(" ")[0])
    assert 25 * height <= 152.0


def test_page_shows_no_written_row_for_a_horn_at_concert_pitch():
    made = chart.make_chart([110.0], [165.0], horn="Plain <cone>", voice="v", transposition=0)
    text = chart.page_text(made)
    assert "<th>written</th>" not in text
    assert "Plain &lt;cone&gt;" in text


@pytest.mark.parametrize("name", ["mill-race.csv", "mill-race.html", "MILL.CSV"])
def test_file_appears_whole_and_leaves_nothing_beside(
    tenor: chart.Chart, tmp_path: Path, name: str
):
    chart.save(tenor, tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    text = (tmp_path / name).read_bytes().decode()
    assert text in {chart.csv_text(tenor), chart.page_text(tenor)}


def test_file_of_another_kind_is_refused(tenor: chart.Chart, tmp_path: Path):
    with pytest.raises(ReedboreError, match=r"a chart ends in \.csv or \.html"):
        chart.save(tenor, tmp_path / "chart.xls")


def test_folder_that_is_not_there_gives_one_sentence(tenor: chart.Chart, tmp_path: Path):
    with pytest.raises(ReedboreError, match=r"cannot write .*: No such file or directory"):
        chart.save(tenor, tmp_path / "nowhere" / "chart.csv")


def test_what_a_singer_makes_of_a_pair_is_marked_in_text_page_and_table():
    def width(cents, state=RowState.LOCKED):
        return Tried(
            state=state, reason=None, played_hz=110.0, aim_hz=165.0, width_cents=cents,
            pulled_cents=9.0, held=1.0, heard=Heard.YES, depth=0.1, softest=0.05,
        )  # fmt: skip

    known = {
        Key(110.0, "", (3, 2)): width(60.0),
        Key(110.0, "", (2, 1)): width(20.0),
        Key(110.0, "", (4, 3)): width(3.0),
        Key(110.0, "", (5, 4)): width(0.0, RowState.FREE),
        Key(110.0, "", (5, 3)): width(0.0, RowState.UNSUNG),
    }
    sung = [110.0 * ratio for ratio in (3 / 2, 2.0, 4 / 3, 5 / 4, 5 / 3, 7 / 4)]
    plain = chart.make_chart([110.0], sung, horn="h", voice="v")
    made = chart.make_chart([110.0], sung, horn="h", voice="v", known=known)
    text = chart.chart_text(made)
    cells = [line.split()[1:] for line in text.splitlines() if "/" in line][:6]
    marks = {cell[0]: cell[2:] for cell in cells}
    assert marks == {
        "2/1": ["*"], "7/4": [], "5/3": ["x"], "3/2": ["**"], "4/3": ["'"], "5/4": ["x"],
    }  # fmt: skip
    assert f"x     {Ease.NEVER}, or {Ease.UNSUNG}" in text
    assert FOLDS in text
    assert chart.EASES not in chart.chart_text(plain)
    page = chart.page_text(made)
    assert page.count("<b>A1 **</b>") == 1
    assert "another question" in chart.page_text(plain)
    assert "another question" not in page
    rows = list(csv.DictReader(io.StringIO(chart.csv_text(made), newline="")))
    assert [row["as_simulated_ease"] for row in rows if row["p"] == "3"] == [Ease.BY_ITSELF]
    assert [row["as_simulated_ease"] for row in rows if row["p"] == "7"] == [""]
    assert list(rows[0]) == list(csv.DictReader(io.StringIO(chart.csv_text(plain))).fieldnames)


def test_every_ease_has_a_mark():
    assert set(chart.EASE_MARKS) == set(Ease)
