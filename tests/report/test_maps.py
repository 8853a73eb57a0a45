"""Lock maps: of sweeps made with the real writer and a judge whose locks are known beforehand."""

import base64
import itertools
import json
import math
import re
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fake_sweeps import (
    BREATHS,
    DEPTHS,
    OPENINGS,
    SUNG_AXIS,
    judge,
    seek,
    store,
    sweep_of,
)
from lightness import lightness
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_hex
from matplotlib.image import imread

from reedbore import cli
from reedbore.errors import ReedboreError
from reedbore.measures.locking import Edge
from reedbore.notes import cents, midi_to_hz
from reedbore.report import maps_data
from reedbore.report.figures.maps import html, panel, picture
from reedbore.report.figures.maps.panel import axis_ticks, note_ticks
from reedbore.report.looks import LOOKS
from reedbore.report.maps import CARE, aim_words, axis_words, resolution, title, unfinished
from reedbore.verdict import lock_edges
from reedbore.verdict.state import State
from reedbore.verdict.sweep import run, table
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep


@pytest.fixture
def two(tmp_path) -> Path:
    return store(tmp_path, DEPTHS, SUNG_AXIS, edges=True)


def data_of(page: str) -> dict:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    return json.loads(found[1])


def unpacked(text: str, dtype: str) -> np.ndarray:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype)


def test_a_map_names_the_fingered_note_as_it_sounds_and_as_it_is_written(two):
    found = maps_data.read(two)
    hz = midi_to_hz(46)
    for transposition, told in ((14, "Bb2 (written C4) fingered"), (0, "Bb2 fingered")):
        sweep = replace(found.sweep, fingered=Fingered(hz, 440.0, transposition))
        assert title(replace(found, sweep=sweep)).endswith(f", {told}")


# --- how states look -----------------------------------------------------------------------------


@pytest.mark.parametrize("ground", ["light", "dark"])
def test_states_are_told_apart_by_lightness_alone(ground):
    levels = sorted(lightness(getattr(look, ground)) for look in LOOKS.values())
    assert min(b - a for a, b in itertools.pairwise(levels)) > 4.0
    known = [lightness(getattr(LOOKS[s], ground)) for s in ("locked", "drifting", "rough")]
    assert min(abs(a - b) for a, b in itertools.combinations(known, 2)) > 18.0


def test_lightness_of_known_colours():
    # CIE 1976 L* of sRGB (IEC 61966-2-1): black 0, white 100, mid grey #777777 50.0 (from memory).
    assert lightness("#000000") == pytest.approx(0.0, abs=0.01)
    assert lightness("#ffffff") == pytest.approx(100.0, abs=0.01)
    assert lightness("#777777") == pytest.approx(50.0, abs=0.1)


def test_every_state_has_a_look_and_a_mark_of_its_own():
    assert set(LOOKS) == set(State)
    marks = [look.mark for look in LOOKS.values() if look.mark]
    assert len(set(marks)) == len(marks) == len(LOOKS) - 1


# --- what a map shows ----------------------------------------------------------------------------


def test_the_aim_is_the_middle_of_the_widest_lock(two):
    aims = {aim.ratio: aim for aim in maps_data.aims(maps_data.read(two))}
    fifth = aims[3, 2]
    assert fifth.exact
    assert fifth.middle == pytest.approx(cents(3, 2))
    assert fifth.high - fifth.low == pytest.approx(300.0 * 0.4 / 6.0)
    assert fifth.place == (2, 35)  # the greatest depth, and 700 cents
    assert fifth.third_hz == pytest.approx(60.0)


def test_a_lock_narrower_than_the_grid_is_still_aimed_at(two):
    found = maps_data.read(two)
    narrow = (
        5,
        4,
    )  # 386.3 cents, 3 to 6 cents wide but at the greatest depth; cells are at 380, 400
    assert not found.locked(narrow)[:2].any()
    assert narrow in {aim.ratio for aim in maps_data.aims(found, (0, 0))}


def test_what_may_be_a_lock_is_dotted_and_not_aimed_at(tmp_path):
    def seek_narrow(setup, voice_off_hz, ratios, progress=None):
        return [lock_edges.Sought((Edge(-0.05, -0.1), Edge(0.05, 0.1)), (0.0, 0.0)) for _ in ratios]

    path = tmp_path / "sweep.zarr"
    high = Axis(name=SUNG, values=(690.0, 700.0, 710.0))
    breath = Axis(name="breath.pressure_kpa", values=(0.5, 1.0))
    run.run(sweep_of(breath, high), path, edges=True, judge=judge, seek=seek_narrow)
    found = maps_data.read(path)
    assert maps_data.aims(found) == []
    assert np.nanmin(found.edges.perhaps) == pytest.approx(cents(3, 2))
    assert "too narrow to be sure" in str(
        [text.get_text() for text in picture.draw(found).legends[0].texts]
    )


def test_the_legend_shows_a_lock_in_the_colour_that_it_has(two):
    figure = picture.draw(maps_data.read(two))
    (legend,) = figure.legends
    words = [text.get_text() for text in legend.texts]
    line = legend.legend_handles[words.index("a lock, however narrow, between white rims")]
    bands = [one for one in figure.axes[0].collections if isinstance(one, PolyCollection)]
    assert {to_hex(band.get_facecolor()[0]) for band in bands} == {to_hex(line.get_color())}


def test_without_edges_the_longest_run_of_cells_is_aimed_at(tmp_path):
    fine = Axis(name=SUNG, values=tuple(range(690, 715)))
    found = maps_data.read(store(tmp_path, fine, DEPTHS))
    (fifth,) = maps_data.aims(found)
    assert not fifth.exact
    assert fifth.middle == pytest.approx(cents(3, 2), abs=0.5)
    assert fifth.high - fifth.low == pytest.approx(20.0, abs=1.0)
    assert aim_words(found, fifth)[0] == "3/2"


def test_the_sung_note_runs_up_and_the_shortest_axis_apart():
    assert maps_data.roles(sweep_of(SUNG_AXIS)) == (0, None, None)
    assert maps_data.roles(sweep_of(SUNG_AXIS, DEPTHS)) == (1, 0, None)
    assert maps_data.roles(sweep_of(DEPTHS, SUNG_AXIS, BREATHS)) == (2, 1, 0)


def test_words_under_a_map_tell_what_it_can_miss(two, tmp_path):
    says = resolution(maps_data.read(two))
    assert "20 cents" in says
    assert f"{lock_edges.NARROWEST_CENTS:g} cents" in says
    still = maps_data.read(store(tmp_path / "still", OPENINGS, BREATHS))
    assert "same everywhere" in resolution(still)


# --- axes ----------------------------------------------------------------------------------------


def test_sung_notes_are_labelled_by_name_and_cents():
    assert note_ticks(0.0, 300.0, 46.0, most=4) == [
        (0.0, "Bb2"), (100.0, "B2"), (200.0, "C3"), (300.0, "C#3"),
    ]  # fmt: skip
    named = [name for _, name in note_ticks(-30.0, 30.0, 46.0, most=3)]
    assert named == ["Bb2-20c", "Bb2", "Bb2+20c"]


def test_values_that_rise_by_factors_lie_evenly():
    sweep = sweep_of(OPENINGS)
    assert maps_data.is_logarithmic(OPENINGS)
    assert not maps_data.is_logarithmic(BREATHS)
    places = maps_data.axis_values(sweep, OPENINGS)
    assert np.diff(places) == pytest.approx(math.log10(1.4))
    assert "0.7" in [words for _, words in axis_ticks(sweep, OPENINGS)]


def test_a_setting_is_labelled_with_unit_and_sentence():
    sweep = sweep_of(OPENINGS, DEPTHS)
    assert axis_words(sweep, OPENINGS) == ("gap between reed tip and lay [mm]\nreed.opening_mm")
    assert "from 0.4 exaggerated" in axis_words(sweep, DEPTHS)


def test_labels_keep_apart_and_on_the_page():
    places = panel.spread([0.1, 0.11, 0.5, 0.99, 1.0], 0.05)
    assert np.diff(places).min() >= 0.05 - 1e-12
    assert places[-1] <= 1.0


# --- pictures ------------------------------------------------------------------------------------


def colours_of(path: Path) -> set[str]:
    pixels = np.unique(np.rint(imread(path)[..., :3].reshape(-1, 3) * 255).astype(int), axis=0)
    return {"#{:02x}{:02x}{:02x}".format(*pixel) for pixel in pixels}


def test_a_map_is_painted_in_the_colours_of_its_states(two, tmp_path):
    picture.picture(two, tmp_path / "map.png")
    painted = colours_of(tmp_path / "map.png")
    for state in ("locked", "drifting", "rough", "undecided"):
        assert LOOKS[state].light in painted
    assert LOOKS["failed"].light not in painted


@pytest.mark.parametrize(
    "axes",
    [(SUNG_AXIS,), (OPENINGS,), (OPENINGS, BREATHS), (DEPTHS, SUNG_AXIS, BREATHS)],
    ids=["sung", "setting", "settings", "three"],
)
@pytest.mark.parametrize("suffix", [".png", ".html"])
def test_every_kind_of_sweep_draws(axes, suffix, tmp_path):
    edges = SUNG_AXIS in axes
    path = tmp_path / f"map{suffix}"
    found = picture.picture(store(tmp_path, *axes, edges=edges), path)
    assert path.stat().st_size > 5000
    assert len(found.sweep.axes) == len(axes)
    assert [file.name for file in tmp_path.iterdir() if ".part" in file.name] == []


@pytest.mark.parametrize(("suffix", "head"), [(".svg", b"<?xml"), (".pdf", b"%PDF")])
def test_vector_pictures_are_whole(two, tmp_path, suffix, head):
    path = tmp_path / f"map{suffix}"
    picture.picture(two, path)
    data = path.read_bytes()
    assert data.startswith(head)
    assert data.rstrip().endswith(b"</svg>" if suffix == ".svg" else b"%%EOF")


@pytest.mark.parametrize("suffix", [".png", ".html"])
def test_a_sweep_that_has_not_begun_draws(tmp_path, suffix):
    path = tmp_path / "sweep.zarr"
    sweep = sweep_of(DEPTHS, SUNG_AXIS)
    run.store.prepare(path, sweep, run.edge_plan(sweep))
    found = picture.picture(path, tmp_path / f"map{suffix}")
    told = unfinished(found)
    assert told.startswith("183 of 183 cells are not run yet.")
    assert "searched for on 100 %" in told
    assert maps_data.aims(found) == []


def test_a_map_with_one_state_draws(tmp_path):
    quiet = Axis(name="breath.pressure_kpa", values=(0.2, 0.4, 0.6))
    picture.picture(store(tmp_path, quiet, SUNG_AXIS), tmp_path / "map.png")
    assert LOOKS["silent"].light in colours_of(tmp_path / "map.png")


def test_a_line_shows_plateaus_where_the_voice_is_followed(tmp_path):
    fine = Axis(name=SUNG, values=tuple(range(690, 715)))
    figure = picture.draw(maps_data.read(store(tmp_path, fine)))
    away = [line.get_ydata() for line in figure.axes[2].lines if len(line.get_xdata()) > 5]
    assert np.sum(np.abs(np.concatenate(away)) < 1e-6) >= 5


# --- the page ------------------------------------------------------------------------------------


def test_the_page_needs_nothing_else(two, tmp_path):
    picture.picture(two, tmp_path / "map.html")
    page = (tmp_path / "map.html").read_text()
    assert len(page.encode()) < html.MOST_BYTES
    assert not re.search(r"https?:|//[a-z]+\.|@import|url\(|<link(?![^>]*data:,)", page)
    assert "default-src 'none'" in page
    assert CARE in page


def test_a_picture_reads_no_more_of_the_cells_than_it_shows(two, tmp_path, monkeypatch):
    # A million cells are drawn in a tenth of a gigabyte (tests/benchmarks/limits.py).
    read, found = table.read_values, []

    def watched(path, which, names):
        found.extend(names if which == "cells" else ())
        return read(path, which, names)

    monkeypatch.setattr(table, "read_values", watched)
    picture.picture(two, tmp_path / "map.png")
    assert sorted(found) == ["p", "q", "state"]


def test_the_page_holds_every_cell(two, tmp_path):
    picture.picture(two, tmp_path / "map.html")
    found, data = maps_data.read(two), data_of((tmp_path / "map.html").read_text())
    names = [look["state"] for look in data["looks"]]
    states = unpacked(data["state"], "u1").reshape(61, 3)
    assert [[names[code] for code in row] for row in states] == found.state_names().T.tolist()
    played = unpacked(data["played"], "<i4").reshape(61, 3) * data["grain"]["played"]
    assert played == pytest.approx(found.values["played_cents"].T, abs=0.0051)
    ratios = unpacked(data["ratio"], "u1").reshape(61, 3)
    assert data["ratios"][ratios[35, 2]] == [3, 2]


def test_the_page_lists_edges_and_aims(two, tmp_path):
    picture.picture(two, tmp_path / "map.html")
    data = data_of((tmp_path / "map.html").read_text())
    edge = next(edge for edge in data["edges"] if edge["ratio"] == "3/2")
    assert np.subtract(edge["high"], edge["low"]) == pytest.approx([5.0, 10.0, 20.0], abs=1e-3)
    aim = next(aim for aim in data["aims"] if aim["ratio"] == "3/2")
    assert aim["at"] == [2, 35, 0]


def test_a_title_cannot_break_the_page(tmp_path):
    sweep = sweep_of(SUNG_AXIS)
    path = tmp_path / "sweep.zarr"
    hostile = Sweep(**{**vars(sweep), "title": "</script><b>&"})
    run.run(hostile, path, judge=judge, seek=seek)
    page = html.page(maps_data.read(path))
    assert page.count("</script>") == 2
    assert data_of(page)["title"].startswith("</script><b>&")


# --- mistakes and the command --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "output", "says"),
    [("none.zarr", "map.png", "is not there"), ("sweep.zarr", "map.gif", "no known kind")],
)
def test_mistakes_are_told_in_one_sentence(two, capsys, file, output, says):
    folder = two.parent
    assert cli.main(["picture", str(folder / file), "-o", str(folder / output)]) == 2
    told = capsys.readouterr().err.strip()
    assert says in told
    assert "\n" not in told


def test_too_many_cells_for_a_page_are_shown_as_a_picture_behind_it(two, tmp_path, monkeypatch):
    whole = html.page(maps_data.read(two))
    assert whole is not None
    # On either side of the number of cells, and of the size, from which on a picture does.
    monkeypatch.setattr(html, "MOST_CELLS", 183)
    assert html.page(maps_data.read(two)) == whole
    monkeypatch.setattr(html, "MOST_CELLS", 182)
    assert html.page(maps_data.read(two)) is None
    monkeypatch.setattr(html, "MOST_CELLS", 183)
    monkeypatch.setattr(html, "MOST_BYTES", len(whole.encode()))
    assert html.page(maps_data.read(two)) is None
    monkeypatch.setattr(html, "MOST_BYTES", 1_000_000)
    monkeypatch.setattr(html, "MOST_CELLS", 182)
    picture.picture(two, tmp_path / "map.html")
    page = (tmp_path / "map.html").read_text()
    assert len(page.encode()) < html.MOST_BYTES
    # Nothing but the letters of the picture itself may look like an address.
    said = re.sub(r"data:image/png;base64,[^\"]*", "", page)
    assert not re.search(r"https?:|//[a-z]+\.|@import|url\(|<script", said)
    assert "These are 183 cells" in page
    assert "--at voice.depth=… --at sung=…" in page
    assert "<td>3/2</td>" in page
    monkeypatch.setattr(html, "MOST_BYTES", 10_000)
    with pytest.raises(ReedboreError, match=r"183 cells, too many for a page"):
        picture.picture(two, tmp_path / "map.html")


def test_the_command_tells_what_it_wrote(two, capsys):
    output = two.parent / "map.svg"
    assert cli.main(["picture", str(two), "-o", str(output), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["wrote"] == str(output)
    assert sum(told["states"].values()) == 183
    assert told["narrowest_band_cents"] == pytest.approx(20.0)
    assert "3/2" in [aim["ratio"] for aim in told["aims"]]
