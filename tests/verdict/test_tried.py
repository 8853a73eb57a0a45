"""What a singer makes of pairs: read off rows, kept, and found again without any tuning."""

import json
from dataclasses import replace

import pytest

from reedbore.errors import ModelError
from reedbore.files import digest
from reedbore.measures.locking import Edge
from reedbore.simulate.request.take import Words, read_request
from reedbore.verdict import tried
from reedbore.verdict.plan import Tried
from reedbore.verdict.result import NO_CONTROL
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, RowState

WORDS = Words(horn="tenor-saxophone", voice="low-male", fingered="Bb2", sung="220Hz")


def alone(hz, period):
    return replace(NO_CONTROL, hz=hz, period=period)


def row(ratio, width, middle=-30.0, depth=None, heard="yes"):
    edges = (Edge(middle - 0.5 * width, -99.0), Edge(middle + 0.5 * width, 99.0))
    just, state = 116.5 * ratio[0] / ratio[1], RowState.LOCKED if width else RowState.FREE
    aim = Aim(just, 116.5, 30.0, 3300.0)
    return SingerRow(
        ratio, just, state, None, *(edges if width else (None, None)),
        0.9 if width else None, aim, heard if width else None, depth,
    )  # fmt: skip


@pytest.fixture(autouse=True)
def own_cache(monkeypatch, tmp_path):
    monkeypatch.setattr(tried, "cache_folder", lambda sources, _: tmp_path / digest(sources))


@pytest.fixture
def asked(monkeypatch):
    """Stand in for the search; what it is asked is kept."""
    kept = []

    def singer_rows(setups, voice_off_hz, ratios, tell):
        tell(1.0)
        kept.append((setups[0].voice.depth, tuple(ratios)))
        wide = {(5, 2): 70.0, (3, 2): 40.0, (7, 4): 9.9, (4, 3): 0.0}
        return [[row(ratio, wide[ratio]) for ratio in ratios]]

    monkeypatch.setattr(tried, "singer_rows", singer_rows)
    monkeypatch.setattr(tried.cells, "controls_of", lambda _: [alone(116.5, 1)])
    return kept


def test_a_row_is_told_around_the_middle_of_its_aims():
    found = tried.of_rows([row((3, 2), 40.0)], 116.5, 0.1)[3, 2]
    just = 116.5 * 1.5
    assert found.aim_hz == pytest.approx(just * 2.0 ** (-30.0 / 1200.0))
    assert (found.width_cents, found.pulled_cents, found.held) == (40.0, 30.0, 0.9)
    assert (found.heard, found.depth, found.softest) == (Heard.YES, 0.1, 0.1)


@pytest.mark.parametrize(("width", "softest"), [(10.0, 0.05), (9.9, 0.1)])
def test_from_how_soft_counts_what_is_wider_than_a_voice_wanders(width, softest):
    softer = [row((3, 2), width, depth=0.05)]
    found = tried.of_rows([row((3, 2), 40.0)], 116.5, 0.1, softer)
    assert found[3, 2].softest == softest


def test_what_does_not_lock_has_its_just_note_and_no_range():
    found = tried.of_rows([row((4, 3), 0.0)], 116.5, 0.1)[4, 3]
    assert found.aim_hz == pytest.approx(116.5 * 4.0 / 3.0)
    assert (found.width_cents, found.heard, found.softest) == (0.0, None, None)


def test_the_depth_that_folds_reach_is_told_in_place_of_the_one_asked_for():
    found = tried.of_rows([row((3, 2), 40.0, depth=0.23)], 116.5, 0.1)[3, 2]
    assert (found.depth, found.softest) == (0.23, 0.23)


def test_pairs_are_tried_once_softly_where_usable_and_then_kept(asked):
    request, ratios = read_request(WORDS), [(5, 2), (4, 3), (7, 4)]
    assert tried.kept_pairs(request) == {}
    first = tried.try_pairs(request, ratios)
    assert asked == [(0.1, ((5, 2), (4, 3), (7, 4))), (0.05, ((5, 2),))]
    assert first[5, 2].softest == 0.05
    assert tried.try_pairs(request, ratios) == first == tried.kept_pairs(request)
    assert len(asked) == 2
    more = tried.try_pairs(request, [(5, 2), (3, 2)])
    assert asked[2:] == [(0.1, ((3, 2),)), (0.05, ((3, 2),))]
    assert set(more) == {(5, 2), (4, 3), (7, 4), (3, 2)}


def test_what_is_kept_is_found_without_tuning_for_this_player_only(asked, monkeypatch):
    tried.try_pairs(read_request(WORDS), [(5, 2)])
    monkeypatch.setattr(tried, "tune_request", lambda _: pytest.fail("tuned"))

    def kept(**changes):
        words = Words(**{**vars(WORDS), **changes})
        return set(tried.kept_pairs(read_request(words)))

    assert kept() == {(5, 2)}
    assert kept(sung="D4") == {(5, 2)}
    assert kept(fingered="B2") == set()
    assert kept(depth=0.2) == set()
    assert kept(breath="mf") == set()
    assert kept(settings=("reed.lip=1.1",)) == set()
    assert kept(horn="alto-saxophone", fingered="Eb3") == set()


def test_another_code_finds_nothing_kept(asked, monkeypatch, tmp_path):
    tried.try_pairs(read_request(WORDS), [(5, 2)])
    other = tmp_path / "changed.py"
    other.write_text("pass")
    monkeypatch.setattr(tried, "_sources", lambda: [other])
    assert tried.kept_pairs(read_request(WORDS)) == {}


@pytest.mark.parametrize("text", ["", "[]", '{"5/2": {}}', '{"5": 1}', "{"])
def test_a_damaged_file_is_as_good_as_none(asked, text):
    request = read_request(WORDS)
    first = tried.try_pairs(request, [(5, 2)])
    place = tried._place(request)
    assert json.loads(place.read_text("ascii"))["5/2"]["width_cents"] == 70.0
    place.write_text(text)
    assert tried.kept_pairs(request) == {}
    assert tried.try_pairs(request, [(5, 2)]) == first


@pytest.mark.parametrize("control", [alone(None, None), alone(116.5, 2)])
def test_a_horn_that_does_not_sound_by_itself_has_no_pair(asked, monkeypatch, control):
    monkeypatch.setattr(tried.cells, "controls_of", lambda _: [control])
    found = tried.try_pairs(read_request(WORDS), [(5, 2)])[5, 2]
    assert isinstance(found, Tried)
    assert (found.state, found.width_cents, found.played_hz) == (RowState.FREE, 0.0, None)
    assert found.reason
    assert not asked


def test_a_note_that_the_horn_has_not_is_refused(asked):
    words = Words(**{**vars(WORDS), "fingered": "C7"})
    with pytest.raises(ModelError, match="allowed Ab2 to B3"):
        tried.try_pairs(read_request(words), [(5, 2)])


@pytest.mark.slow
@pytest.mark.ci
def test_a_real_singer_tries_a_fifth(monkeypatch):
    found = tried.try_pairs(read_request(WORDS), [(3, 2)])[3, 2]
    assert found.state == RowState.LOCKED
    assert found.width_cents > 20.0
    assert found.played_hz == pytest.approx(116.54, rel=1e-3)
    assert found.softest == tried.SOFT
    # The horn takes this voice up, so that it is aimed below the just note.
    assert found.pulled_cents > 0.0
    assert found.aim_hz < 1.5 * found.played_hz
