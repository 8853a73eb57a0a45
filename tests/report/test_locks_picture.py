"""The lock table for the music stand: a player's words, and a whole sheet for every table."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from reedbore.errors import ReedboreError
from reedbore.measures.locking import Edge
from reedbore.model import presets
from reedbore.notes import midi_to_hz, simple_ratios
from reedbore.report import locks
from reedbore.report.figures import locks as sheets
from reedbore.verdict.locks import Row, Table
from reedbore.verdict.state import Heard, RowState

D4 = 62.0


def row(low: float, high: float, *, off: float = -14.0, state: str = "locked", **more) -> Row:
    """A lock from low to high around a D4 that lies so many cents off."""
    values = {
        "ratio": (5, 2), "sung_hz": midi_to_hz(D4 + off / 100.0), "state": state, "heard": "yes",
        "resultant_hz": 58.3, "resultant_level_db": -20.0, "low": Edge(low, low - 0.1),
        "high": Edge(high, high + 0.1), "nearest": None, "held": 0.4, "lock_s": 1.0, **more,
    }  # fmt: skip
    return Row(**values)


def table(limit: int = 8) -> Table:
    rows = []
    for k, (p, q) in enumerate(simple_ratios(limit)):
        made = row(-8.0 / q, 6.0 / p, ratio=(p, q), state=("locked", "narrow", "free")[k % 3])
        if made.state == "free":
            made = replace(made, low=None, high=None, held=None)
        rows.append(replace(made, heard="yes" if k % 2 else "no"))
    setup = presets.setup_for(presets.load_horn("tenor-saxophone"))
    return Table(setup=setup, fingered_hz=116.5, voice_off_hz=116.6, period=1, rows=tuple(rows))


# --- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (row(-0.5, 0.45), "D4, 14 cents low; locks from 0.4 under to 0.4 over"),
        (row(-12.0, 9.0, off=-14.2), "D4, 14 cents low; locks from 10 under to 10 over"),
        (row(-1.4, 0.5, off=-14.54), "D4, 14.5 cents low; locks from 0.9 under to 0.9 over"),
        (row(-3.0, 3.0, off=0.3), "D4, in tune; locks from 2 under to 3 over"),
        (row(-3.0, 3.0, off=1.0), "D4, 1 cent high; locks from 3 under to 3 over"),
    ],
)
def test_a_player_is_told_where_to_sing_and_how_exactly(made, says):
    assert locks.aim(made) == says
    assert sum(locks.margins(made)) == pytest.approx(made.high.inside - made.low.inside)


def test_margins_count_from_the_note_that_is_named():
    # The lock is 20 cents wide around 14.4 cents low; from the named 14 low it is 0.4 less over it.
    assert locks.margins(row(-10.0, 10.0, off=-14.4)) == pytest.approx((10.4, 9.6))
    assert locks.exactly(row(-10.0, 10.0, off=-14.4)) == "locks from 10 under to 9 over"


def test_no_more_is_promised_than_was_found():
    assert locks.exactly(row(-0.59, 0.59)) == "locks from 0.5 under to 0.5 over"
    assert locks.exactly(row(-0.3, 0.3)) == "locks from 0.3 under to 0.3 over"


@pytest.mark.parametrize(("depth", "says"), [(0.05, "a soft hum"), (0.12, "a normal hum")])
def test_the_least_strength_is_told_where_it_is_known(depth, says):
    assert locks.aim(row(-3.0, 3.0, least_depth=depth)).endswith(f"; from {says}")
    assert "from a" not in locks.aim(row(-3.0, 3.0))


def test_rows_without_a_sure_lock_say_so():
    free = replace(row(0.0, 0.0, state="free"), low=None, high=None)
    assert locks.aim(free) == "D4, 14 cents low; does not lock"
    assert "too narrow" in locks.aim(row(-0.05, 0.05, state="narrow"))


def test_another_a4_moves_the_words():
    made = row(-3.0, 3.0, off=0.0)
    assert locks.aim(made, a4=442.0).startswith("D4, 8 cents low")


# --- sheets --------------------------------------------------------------------------------------


def words_on(monkeypatch, made: Table, path: Path) -> list[str]:
    drawn: list[Figure] = []
    write = sheets.write_figure
    monkeypatch.setattr(
        sheets, "write_figure", lambda figure, *rest: (drawn.append(figure), write(figure, *rest))
    )
    sheets.lock_table_picture(made, "Tenor saxophone, Bb2 fingered", path)
    return [text.get_text().strip() for text in drawn[0].axes[0].texts]


def test_title_out_of_a_file_is_no_formula(tmp_path):
    sheets.lock_table_picture(table(), r"$\foo{ is 5$", tmp_path / "table.svg")
    assert r"$\foo{ is 5$" in (tmp_path / "table.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("suffix", "head"), [(".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")]
)
def test_a_sheet_is_whole_whatever_its_kind(tmp_path, suffix, head):
    path = tmp_path / f"table{suffix}"
    sheets.lock_table_picture(table(), "Tenor saxophone, Bb2 fingered", path)
    assert path.read_bytes().startswith(head)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_sheet_lists_what_is_worth_singing_locks_first(monkeypatch, tmp_path):
    made = table(4)
    words = words_on(monkeypatch, made, tmp_path / "table.png")
    ratios = [word for word in words if "/" in word and len(word) == 3]
    told = {
        name: [f"{p}/{q}" for p, q in (r.ratio for r in made.rows if locks.group_of(r) == name)]
        for name in locks.GROUPS
    }
    full = [name for name, group in locks.GROUPS.items() if group.in_full]
    assert ratios == [ratio for name in full for ratio in told[name]]
    assert {locks.GROUPS[name].says for name in full if told[name]} <= set(words)
    for name in {*locks.GROUPS} - {*full}:
        line = f"{locks.GROUPS[name].says}:  {'  '.join(told[name])}"
        assert (line in words) == bool(told[name])


@pytest.mark.parametrize("state", RowState)
@pytest.mark.parametrize("heard", Heard)
def test_every_row_belongs_to_a_group(state, heard):
    made = row(-1.0, 1.0, state=state, heard=heard)
    group = locks.GROUPS[locks.group_of(made)]
    assert group.says.startswith("locks") == (state == "locked")
    assert set(locks.row_words(made)) == {"sing", "third", "exactly", "strongly", "stays"}


def test_the_text_has_each_ratio_once_and_one_verb_for_a_range():
    made = table(8)
    text = locks.text(made)
    for p, q in (row.ratio for row in made.rows):
        assert len(re.findall(rf"(?<!\S){p}/{q}(?!\S)", text)) == 1
    assert not re.search(r"\bholds?\b|\bheld\b", text)
    assert "a human voice stays in it" in text


def test_a_margin_below_a_tenth_is_no_nought():
    # 14.04 low is named 14: over it 0.06 of the 0.2 remain.
    assert locks.exactly(row(-0.1, 0.1, off=-14.04)) == "locks from 0.1 under to less than 0.1 over"
    assert locks.exactly(row(-0.11, 0.11)) == "locks from 0.1 under to 0.1 over"


def test_bars_show_lock_ranges_on_one_scale(monkeypatch, tmp_path):
    drawn: list[Figure] = []
    monkeypatch.setattr(sheets, "write_figure", lambda figure, *_: drawn.append(figure))
    rows = (row(-10.0, 10.0), row(-5.0, 0.0, ratio=(5, 3)))
    sheets.lock_table_picture(replace(table(), rows=rows), "", tmp_path / "table.png")
    wide, half = (patch.get_width() for patch in drawn[0].axes[0].patches)
    assert wide == pytest.approx(sheets.BAR[1] - sheets.BAR[0])
    assert half == pytest.approx(0.25 * wide)


def test_a_table_of_nothing_says_so(monkeypatch, tmp_path):
    free = replace(row(0.0, 0.0, state="free"), low=None, high=None, heard="no")
    words = words_on(monkeypatch, replace(table(), rows=(free,)), tmp_path / "table.png")
    assert any("No ratio locks" in word for word in words)


def test_a_sheet_is_a4_landscape(tmp_path):
    sheets.lock_table_picture(table(3), "Tenor saxophone", tmp_path / "table.png")
    height, width = imread(tmp_path / "table.png").shape[:2]
    assert width / height == pytest.approx(297.0 / 210.0, rel=2e-3)  # ISO 216


def test_an_unknown_kind_is_refused(tmp_path):
    with pytest.raises(ReedboreError, match="no known kind of picture"):
        sheets.lock_table_picture(table(3), "", tmp_path / "table.gif")


# --- two horns -----------------------------------------------------------------------------------


def test_bars_of_even_and_odd_p_are_as_tall_as_their_locks(monkeypatch, tmp_path):
    drawn: list[Figure] = []
    monkeypatch.setattr(sheets, "write_figure", lambda figure, *_: drawn.append(figure))
    rows = (row(-1.0, 1.0, ratio=(2, 1)), row(-0.2, 0.2, ratio=(3, 1)))
    sheets.even_p_picture({"cone": replace(table(), rows=rows)}, "", tmp_path / "parity.png")
    even, odd = drawn[0].axes[0].patches
    assert (even.get_height(), odd.get_height()) == pytest.approx((2.0, 0.4))
    assert (even.get_hatch(), odd.get_hatch()) == (None, "///")


def test_a_long_table_keeps_what_is_heard_and_what_is_widest(monkeypatch, tmp_path):
    words = words_on(monkeypatch, table(8), tmp_path / "table.png")
    shown = [word for word in words if "/" in word and len(word) == 3]
    assert len(shown) == sheets.MOST_ROWS
    assert any(word.startswith("also: locks") for word in words)


def test_two_horns_are_drawn_side_by_side(tmp_path):
    path = tmp_path / "parity.png"
    sheets.even_p_picture({"cylinder": table(), "cone": table(4)}, "Which ratios lock", path)
    assert path.stat().st_size > 10_000
