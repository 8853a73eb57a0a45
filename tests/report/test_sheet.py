import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Rectangle

from reedbore.errors import ReedboreError
from reedbore.model.musicxml.write import musicxml_bytes
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, load_piece, load_singer
from reedbore.notes import midi_to_hz, parse_pitch
from reedbore.report.exercise import listed
from reedbore.report.figures import sheet
from reedbore.report.figures.engraving import STAFF_UNITS, engraved
from reedbore.report.figures.sheet import aiming, practice_sheet
from reedbore.report.words import STRAIN
from reedbore.verdict import planning
from reedbore.verdict.plan import Choice, Plan, Step, Tried
from reedbore.verdict.state import Heard, RowState

HORN, SINGER = load_horn("tenor-saxophone"), load_singer("low-male")
LOW = parse_pitch("Bb2")


def tried(choice: Choice, aim: float = -40.0, width: float = 20.0, pulled: float = 42.0) -> Choice:
    made = Tried(
        state=RowState.LOCKED, reason=None, played_hz=choice.fingered_hz,
        aim_hz=choice.just_hz * 2.0 ** (aim / 1200.0), width_cents=width, pulled_cents=pulled,
        held=1.0, heard=Heard.YES, depth=0.1,
    )  # fmt: skip
    return replace(choice, tried=made)


FIFTH, THIRD = (Choice(fingered_hz=LOW, ratio=ratio) for ratio in ((3, 2), (5, 2)))


def plan(*steps: Step, choices: tuple[Choice, ...] = ()) -> Plan:
    return Plan(title="Slow bars", horn=HORN, singer=SINGER, choices=choices, steps=steps)


def two_bars() -> Plan:
    return plan(
        Step(beat=0.0, beats=4.0, choice=tried(FIFTH)), Step(beat=4.0, beats=4.0, choice=THIRD)
    )


def drawn(made: Plan, flows: Any = None) -> Figure:
    (page,) = sheet._pages(made, flows)
    return page


def texts(page: Figure) -> list[str]:
    return [text.get_text() for text in page.axes[0].texts]


def test_the_demo_is_one_page_with_notes_windows_air_and_care() -> None:
    p = load_piece("mill-race").passage
    steps = planning.passage_steps(p, SINGER.reach(440.0))
    made = replace(plan(*steps), tempo_hz=p.tempo, title="Mill race")
    flows = {(parse_pitch(note), ""): 0.34 for note in ("Bb2", "D3")}
    told = texts(drawn(made, flows))
    assert {"Mill race", "fingered", "sung", "third note", "♩ = 48", "C4 (B♭2)", "E4 (D3)"} <= {
        *told
    }
    joined = " ".join(told)
    assert "breathe in the rest at bar 5, beat 2" in joined
    assert "play it faster, softer, or breathe within it" in joined
    assert STRAIN[1:] in joined
    assert "ask a doctor first" in joined


def test_a_window_is_drawn_to_scale_and_the_arrow_goes_where_the_horn_takes_the_voice() -> None:
    axes = drawn(two_bars()).axes[0]
    (box,) = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
    (arrow,) = [patch for patch in axes.patches if isinstance(patch, FancyArrowPatch)]
    # F3-38c: a reach of 50 cents either way.
    scale = sheet.WINDOW_WIDE / 100.0
    assert box.get_width() == pytest.approx(20.0 * scale)
    left = sheet.MARGIN + sheet.COLUMNS["window"]
    assert box.get_x() == pytest.approx(left + (50.0 - 38.045 - 10.0) * scale, abs=1e-3)
    start, end = arrow._posA_posB
    assert end[0] - start[0] == pytest.approx(42.0 * scale)


def test_the_scale_grows_to_hold_the_widest_window() -> None:
    wide = plan(Step(beat=0.0, beats=4.0, choice=tried(FIFTH, -40.0, 60.0)))
    assert {"-100", "+100"} <= {*texts(drawn(wide))}
    assert "+100" not in texts(drawn(two_bars()))


@pytest.mark.parametrize(
    ("choice", "says"),
    [
        (tried(FIFTH), "give or take 10; the horn pulls it up 42"),
        (tried(FIFTH, pulled=-5.2), "give or take 10; the horn pulls it down 5"),
        (tried(FIFTH, pulled=0.2), "give or take 10; the horn leaves it there"),
        (FIFTH, "by arithmetic: not tried"),
    ],
)
def test_how_to_aim_is_said(choice: Choice, says: str) -> None:
    assert aiming(choice) == says


@pytest.mark.parametrize(
    ("state", "says"),
    [(RowState.FREE, "does not fall into step by itself"),
     (RowState.UNSUNG, "these folds do not sing it")],
)  # fmt: skip
def test_what_does_not_lock_has_no_window(state: RowState, says: str) -> None:
    found = tried(FIFTH).tried
    assert found is not None
    free = replace(FIFTH, tried=replace(found, state=state, width_cents=0.0))
    assert aiming(free) == says
    page = drawn(plan(Step(beat=0.0, beats=4.0, choice=free)))
    assert not [patch for patch in page.axes[0].patches if isinstance(patch, Rectangle)]
    assert not [text for text in texts(page) if text.startswith("box:")]


def test_a_third_note_that_may_not_be_heard_stands_in_parentheses() -> None:
    told = texts(drawn(two_bars()))
    assert "B♭1" in told
    assert "(B♭1)" in told


def test_notes_one_by_one_have_a_bar_each_and_their_air() -> None:
    told = texts(drawn(plan(choices=(THIRD, FIFTH)), {(LOW, ""): 0.25}))
    assert {"bar 1", "bar 2", "D4-14c", "F3+2c"} <= {*told}
    assert "C4 (B♭2) takes 0.25 l a second: an easy breath of 2.5 l lasts 10 s." in told


def test_where_a_pair_stands_is_listed_in_runs() -> None:
    assert listed("bar", [3, 1, 2, 2]) == "bars 1–3"
    assert listed("bar", [5, 8]) == "bars 5, 8"
    assert listed("bar", [3, 1, 2, 2, 7]) == "bar 1, …"
    assert listed("bar", [4, 4]) == "bar 4"


def test_a_pdf_has_as_many_pages_as_it_needs_and_an_svg_only_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    practice_sheet(two_bars(), tmp_path / "one.pdf")
    data = (tmp_path / "one.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", data)) == 1
    practice_sheet(two_bars(), tmp_path / "one.svg")
    assert ET.parse(tmp_path / "one.svg").getroot().get("width", "").startswith("595")
    monkeypatch.setattr(sheet, "HIGH", 130.0)
    notes = HORN.notes()
    long = plan(
        *(Step(beat=4.0 * k, beats=4.0,
               choice=Choice(fingered_hz=midi_to_hz(notes[k]), ratio=(3, 2)))
          for k in range(10))
    )  # fmt: skip
    practice_sheet(long, tmp_path / "long.pdf")
    pages = len(re.findall(rb"/Type /Page\b", (tmp_path / "long.pdf").read_bytes()))
    assert pages > 1
    with pytest.raises(ReedboreError, match=f"has {pages} pages, and an SVG has one; write .pdf"):
        practice_sheet(long, tmp_path / "long.svg")
    assert not (tmp_path / "long.svg").exists()


def test_nothing_is_drawn_over_the_edge_of_the_page() -> None:
    page = drawn(two_bars(), {(LOW, ""): 0.34})
    width, height = page.get_size_inches() * page.dpi
    for text in page.axes[0].texts:
        box = text.get_window_extent()
        assert box.x0 > 0
        assert box.x1 < width, text.get_text()
        assert 0 < box.y0 < box.y1 < height


def test_a_plan_without_a_pair_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReedboreError, match="there is no pair in this plan"):
        practice_sheet(plan(), tmp_path / "a.pdf")
    with pytest.raises(ReedboreError, match=r"no known kind of picture; write \.pdf, \.svg"):
        practice_sheet(two_bars(), tmp_path / "a.png")


def test_without_the_engraver_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "verovio", None)
    with pytest.raises(ReedboreError, match=r"needs verovio, .*: pip install '\.\[sheet\]'"):
        drawn(two_bars())


# --- engraving -----------------------------------------------------------------------------------


def test_staves_are_as_high_as_asked_for_and_fill_the_width() -> None:
    passage = Passage.from_plain({"tempo_bpm": 60, "fingered": "C4:1 D4:1 " * 20})
    (page,) = engraved(musicxml_bytes(passage).data, 150.0, 6.0)
    lines = [shape.outline.vertices for shape in page.shapes if len(shape.outline.vertices) == 2]
    level = sorted({round(float(ends[0, 1]), 3) for ends in lines if ends[0, 1] == ends[1, 1]})
    assert level[4] - level[0] == pytest.approx(6.0, abs=0.01)
    assert max(float(ends[:, 0].max()) for ends in lines) == pytest.approx(150.0, abs=1.5)
    assert page.lines == 2
    assert STAFF_UNITS == 720.0


def test_the_tempo_is_in_letters_that_every_font_has() -> None:
    passage = Passage.from_plain({"tempo_bpm": 72, "fingered": "C4:4"})
    (page,) = engraved(musicxml_bytes(passage).data, 150.0, 6.0)
    assert "♩ = 72" in [word.text for word in page.words]
