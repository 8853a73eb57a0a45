"""The sheet of an atlas: what is drawn is what is kept, and what stands there can be read."""

import math
from pathlib import Path

import fake_atlas
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from reedbore.errors import ReedboreError
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import cents, hz_to_midi
from reedbore.report import atlas as telling
from reedbore.report.figures import atlas as figure
from reedbore.verdict import atlas
from reedbore.verdict.atlas import Found
from reedbore.verdict.locks import Row


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Found:
    path = tmp_path_factory.mktemp("atlas") / "horn.zarr"
    with pytest.MonkeyPatch.context() as patched:
        fake_atlas.patch(patched.setattr)
        atlas.run(fake_atlas.example(), path)
    return atlas.read(path)


@pytest.fixture(scope="module")
def sheet(found: Found) -> Figure:
    return figure.draw(found)


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Found:
    fake_atlas.patch(monkeypatch.setattr)
    path = tmp_path / "horn.zarr"
    atlas.run(fake_atlas.example(voices=()), path, part=(1, 6))
    return atlas.read(path)


def the_axes(drawn: Figure) -> Axes:
    (axes,) = drawn.axes
    return axes


def bands(drawn: Figure) -> list[Rectangle]:
    return [patch for patch in the_axes(drawn).patches if patch.get_zorder() == 4]


def test_pairs_are_those_that_the_tables_lock(found: Found):
    by_clock, by_singer = list(telling.clock_pairs(found)), list(telling.singer_pairs(found))
    for midi in (46, 50):
        for depth in (0.1, 0.2):
            table, sung = found.clock(midi, depth), found.singer(midi, depth)
            assert table is not None
            assert sung is not None
            for rows, pairs in (
                (table.rows, by_clock),
                (sung.rows, by_singer),
            ):
                locked = {row.ratio: row for row in rows if row.state == "locked"}
                here = {
                    pair.ratio: pair for pair in pairs if (pair.midi, pair.depth) == (midi, depth)
                }
                assert here.keys() == locked.keys()
                for ratio, pair in here.items():
                    row = locked[ratio]
                    assert row.low is not None
                    assert row.high is not None
                    assert pair.width == pytest.approx(row.high.inside - row.low.inside)
                    assert pair.third_hz == pytest.approx(table.voice_off_hz / ratio[1], rel=1e-9)


def test_a_lock_beside_the_just_note_is_drawn_where_it_is():
    (row,) = [row for row in rows_of(0.1) if row.ratio == (3, 2)]
    low, high = row.low, row.high
    assert low is not None
    assert high is not None
    moved = row.__class__(
        **{
            **row.__dict__,
            "low": low._replace(inside=2.0),
            "high": high._replace(inside=6.0),
            "sung_hz": row.sung_hz * 2.0 ** (4.0 / 1200.0),
        }
    )
    pair = telling._clock_pair(46, 0.1, moved)
    assert cents(pair.low_hz, row.sung_hz) == pytest.approx(2.0)
    assert cents(pair.high_hz, row.sung_hz) == pytest.approx(6.0)
    assert pair.hz == pytest.approx(moved.sung_hz)


def rows_of(depth: float) -> tuple[Row, ...]:
    made = fake_atlas.example()
    setup = fake_atlas.untuned(made, 46, depth)
    return fake_atlas.lock_table(setup, 116.0).rows


def test_a_band_is_as_tall_as_its_range_of_aims_and_stands_in_its_column(
    found: Found, sheet: Figure
):
    shown = {
        (round(band.get_x(), 6), round(band.get_y() + 0.5 * band.get_height(), 4)): band
        for band in bands(sheet)
    }
    pairs = list(telling.singer_pairs(found))
    assert len(shown) == len(pairs)
    for pair in pairs:
        column = found.atlas.notes.index(pair.midi)
        middle = round(hz_to_midi(pair.hz), 4)
        (band,) = [
            band
            for (x, y), band in shown.items()
            if column - 0.5 <= x < column + 0.5
            and y == middle
            and depth_of(x - column) == pair.depth
        ]
        tall = max(pair.width / 100.0, figure.LEAST_BAND)
        assert band.get_height() == pytest.approx(tall, abs=1e-6)


def depth_of(x: float) -> float:
    """Tell from where a band stands in its column which of the two depths it is for."""
    return 0.1 if x + 0.5 < 0.5 * sum(figure.BANDS) - 0.01 else 0.2


def test_a_third_note_is_told_from_none_by_colour_and_the_wider_lock_by_its_dot(sheet: Figure):
    colours = {band.get_facecolor()[:3] for band in bands(sheet) if band.get_fill()}
    assert len(colours) == 2
    sizes = {line.get_markersize() for line in the_axes(sheet).lines if line.get_marker() == "o"}
    # At depth 0.1 locks are 2 cents wide over q = 1 and 1 or less above, at 0.2 4 cents.
    assert sizes == {3.4, 4.8}


def test_every_column_says_its_note_as_it_sounds_and_as_written(sheet: Figure):
    words = [text.get_text() for text in the_axes(sheet).texts]
    assert {"Ab2", "Bb2", "D3", "Bb3", "C4", "E4"} <= set(words)
    assert "the reed does not sound by itself at 1 kPa" in words


def test_words_name_ratio_and_third_note_and_do_not_cover_each_other(sheet: Figure):
    axes = the_axes(sheet)
    words = [text.get_text() for text in axes.texts]
    assert "5/2" in words
    assert " Bb1" in words  # of 3/2 and 5/2 over Bb2
    sheet.canvas.draw()
    boxes = [
        text.get_window_extent() for text in axes.texts if "/" in text.get_text()
    ]  # fmt: skip
    for k, one in enumerate(boxes):
        for other in boxes[k + 1 :]:
            assert not one.overlaps(other)


def test_a_name_has_its_octave_below_zero_too(found: Found):
    low = telling.Pair(46, 0.1, (7, 8), 100.0, 101.0, "yes", 15.4, easy=False)  # B-1
    axes = Figure().add_subplot()
    figure._words(axes, found, [low])
    assert [text.get_text() for text in axes.texts] == ["7/8", " B-1"]


def test_what_is_not_made_yet_is_said(begun: Found):
    # Part 1 of 6 is the lowest note at the first of two depths.
    assert telling.missing(begun) == {
        44: "the reed does not sound by itself at 1 kPa",
        46: "not made yet",
        50: "not made yet",
    }
    assert "5 tables are still to be made." in figure.care(begun)[-1]
    assert "not made yet" in [text.get_text() for text in the_axes(figure.draw(begun)).texts]


def test_the_sheet_says_for_whom_it_holds(found: Found, begun: Found):
    says = "nobody's own are known"
    assert any(says in line for line in figure.care(found))
    assert not any(says in line for line in figure.care(begun))
    for one in (found, begun):
        assert any("a real singer bends towards a lock" in line for line in figure.care(one))


@pytest.mark.parametrize("kind", ["png", "svg", "pdf", "html"])
def test_every_kind_of_picture_is_written_whole(found: Found, kind: str, tmp_path: Path):
    path = tmp_path / f"sheet.{kind}"
    figure.picture(found.path, path)
    begins = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF", "html": b"<!doctype html>"}
    assert path.read_bytes().startswith(begins[kind])
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_the_page_needs_no_network_and_has_every_note(found: Found):
    page = figure.drawn(found, "html").decode()
    assert "http" not in page
    assert "<script" not in page
    assert page.count("<details>") == 3
    assert "the reed does not sound by itself at 1 kPa" in page
    assert "<td>5/2</td><td>D4" in page
    assert page.count("for a singer, depth 0.1") == 2


def test_another_kind_is_refused_before_anything_is_read(tmp_path: Path):
    with pytest.raises(ReedboreError, match=r"sheet\.doc"):
        figure.picture(tmp_path / "none.zarr", tmp_path / "sheet.doc")


@pytest.mark.parametrize(
    ("notes", "size"), [(18, figure.SMALL), (19, figure.LARGE)]
)  # fmt: skip
def test_more_notes_have_the_larger_page(notes: int, size: tuple[float, float], tmp_path: Path):
    made = fake_atlas.example(
        horn=load_horn("clarinet-b-flat"), singer=load_singer("high-female"), voices=(),
        notes=tuple(range(50, 50 + notes)), depths=(0.1,),
    )  # fmt: skip
    atlas.prepare(tmp_path / "horn.zarr", made)
    drawn = figure.draw(atlas.read(tmp_path / "horn.zarr"))
    assert tuple(drawn.get_size_inches()) == size


def test_the_range_of_the_voice_is_shown_and_more_only_where_all_is_looked_at(
    found: Found, sheet: Figure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    low, high = the_axes(sheet).get_ylim()
    assert (math.ceil(low), math.floor(high)) == found.atlas.singer.midi_range
    fake_atlas.patch(monkeypatch.setattr)
    made = fake_atlas.example(all_ratios=True, notes=(46,), depths=(0.1,), voices=())
    atlas.run(made, tmp_path / "all.zarr")
    more = the_axes(figure.draw(atlas.read(tmp_path / "all.zarr"))).get_ylim()
    assert more[0] < low
    assert more[1] > high
