"""What a singer makes of pairs: read off rows, kept, and found again without any tuning."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from reedbore.errors import ModelError, ReedboreError
from reedbore.measures.locking import Edge
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import midi_to_hz, parse_note
from reedbore.verdict import atlas, kept, tried
from reedbore.verdict.kept import Player, kept_pairs
from reedbore.verdict.planning import Fingered
from reedbore.verdict.result import NO_CONTROL
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, RowState

PLAYER = Player(horn=load_horn("tenor-saxophone"), singer=load_singer("low-male"))
BB2, B2 = (Fingered(midi_to_hz(parse_note(name))) for name in ("Bb2", "B2"))


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
    place = kept.cache_place
    monkeypatch.setattr(
        kept, "cache_place", lambda *asked: tmp_path.joinpath(*place(*asked).parts[-2:])
    )


@pytest.fixture
def asked(monkeypatch):
    """Stand in for the search; what it is asked is kept."""
    seen = []

    def singer_rows(setups, voice_off_hz, ratios, tell):
        tell(1.0)
        seen.append((setups[0].voice.depth, tuple(ratios)))
        wide = {(5, 2): 70.0, (3, 2): 40.0, (7, 4): 9.9, (4, 3): 0.0}
        return [[row(ratio, wide[ratio]) for ratio in ratios]]

    monkeypatch.setattr(tried, "singer_rows", singer_rows)
    monkeypatch.setattr(tried, "alone", lambda _: replace(NO_CONTROL, hz=116.5, period=1))
    return seen


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
    assert kept_pairs(PLAYER, BB2) == {}
    first = tried.try_pairs(PLAYER, BB2, [(5, 2), (4, 3), (7, 4)])
    assert asked == [(0.1, ((5, 2), (4, 3), (7, 4))), (0.05, ((5, 2),))]
    assert first[5, 2].softest == 0.05
    assert tried.try_pairs(PLAYER, BB2, [(5, 2)]) == first == kept_pairs(PLAYER, BB2)
    assert len(asked) == 2
    more = tried.try_pairs(PLAYER, BB2, [(5, 2), (3, 2)])
    assert asked[2:] == [(0.1, ((3, 2),)), (0.05, ((3, 2),))]
    assert set(more) == {(5, 2), (4, 3), (7, 4), (3, 2)}


def test_nobody_who_sings_softly_is_asked_to_sing_more_softly(asked):
    found = tried.try_pairs(replace(PLAYER, depth=0.05), BB2, [(5, 2)])
    assert asked == [(0.05, ((5, 2),))]
    assert found[5, 2].softest == 0.05


def test_what_is_kept_is_that_of_this_player_note_and_code_only(asked, monkeypatch, tmp_path):
    tried.try_pairs(PLAYER, BB2, [(5, 2)])
    usual = PLAYER.singer.voice.depth
    narrow = PLAYER.singer.model_copy(update={"low_note": "A2", "title": "A voice"})
    assert set(kept_pairs(PLAYER, BB2)) == {(5, 2)}
    for same in ({"depth": usual}, {"singer": narrow}):
        assert set(kept_pairs(replace(PLAYER, **same), BB2)) == {(5, 2)}
    others = {"depth": 0.2}, {"breath": "mf"}, {"settings": ("reed.lip=1.1",)}
    for other in (*others, {"horn": load_horn("alto-saxophone")}):
        assert kept_pairs(replace(PLAYER, **other), BB2) == {}
    assert kept_pairs(PLAYER, B2) == {}
    assert kept_pairs(PLAYER, BB2._replace(fingering="fork")) == {}
    changed = tmp_path / "changed.py"
    changed.write_text("pass")
    monkeypatch.setattr(kept, "files_of", lambda _: [changed])
    assert kept_pairs(PLAYER, BB2) == {}


@pytest.mark.parametrize("text", ["", "[]", '{"5/2": {}}', '{"5": 1}', "{"])
def test_a_damaged_file_is_as_good_as_none(asked, text):
    first = tried.try_pairs(PLAYER, BB2, [(5, 2)])
    file = kept.place(PLAYER, BB2)
    assert json.loads(file.read_text("ascii"))["5/2"]["width_cents"] == 70.0
    file.write_text(text)
    assert kept_pairs(PLAYER, BB2) == {}
    assert tried.try_pairs(PLAYER, BB2, [(5, 2)]) == first


def test_a_note_that_the_horn_has_not_is_refused(asked):
    with pytest.raises(ModelError, match="allowed Ab2 to C#5"):
        tried.try_pairs(PLAYER, Fingered(2093.0), [(5, 2)])


class Atlas:
    """Two depths of one note, in place of a store."""

    path = Path("tenor.zarr")
    atlas = atlas.Atlas(
        horn=PLAYER.horn, singer=PLAYER.singer, notes=(46,), depths=(0.05, 0.1), voices=("firm",)
    )

    def singer(self, midi, depth, voice):
        assert (midi, voice) == (46, "firm")
        rows = {0.05: [row((3, 2), 12.0)], 0.1: [row((3, 2), 40.0), row((5, 2), 70.0)]}
        return atlas.SungSheet(tuple(rows[depth]), 116.5, None)


def test_an_atlas_tells_its_pairs_and_from_how_soft():
    found = tried.atlas_pairs(Atlas(), PLAYER, BB2, 440.0)
    assert {ratio: (one.width_cents, one.softest) for ratio, one in found.items()} == {
        (3, 2): (40.0, 0.05),
        (5, 2): (70.0, 0.1),
    }
    assert tried.atlas_pairs(Atlas(), PLAYER, B2, 440.0) == {}
    assert tried.atlas_pairs(Atlas(), PLAYER, BB2._replace(fingering="fork"), 440.0) == {}
    assert tried.atlas_pairs(Atlas(), PLAYER, Fingered(BB2.hz * 1.01), 440.0) == {}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"breath": "mf"}, "is of another player: there --breath is not set, here mf"),
        ({"horn": load_horn("alto-saxophone")}, "is of another player: there the horn is tenor"),
        ({"singer": load_singer("high-male")}, "is of another player: there the voice is low-male"),
        ({"depth": 0.2}, "has no depth 0.2; it has 0.05, 0.1"),
    ],
)
def test_an_atlas_of_another_player_is_refused(changes, sentence):
    assert tried.check_atlas(Atlas(), PLAYER, 440.0) is None
    with pytest.raises(ReedboreError, match=sentence):
        tried.check_atlas(Atlas(), replace(PLAYER, **changes), 440.0)
    narrow = PLAYER.singer.model_copy(update={"low_note": "A2"})
    assert tried.check_atlas(Atlas(), replace(PLAYER, singer=narrow), 440.0) is None


def test_an_atlas_without_a_singer_or_of_other_code_is_told():
    one = Atlas()
    one.atlas = replace(Atlas.atlas, voices=())
    with pytest.raises(ReedboreError, match="knows no singer; make it with --singers one"):
        tried.check_atlas(one, PLAYER, 440.0)
    one.atlas = replace(Atlas.atlas, model="another")
    assert "tenor.zarr" in tried.check_atlas(one, PLAYER, 440.0)


@pytest.mark.slow(36)
@pytest.mark.ci
def test_a_real_singer_tries_a_fifth():
    found = tried.try_pairs(PLAYER, BB2, [(3, 2)])[3, 2]
    assert found.state == RowState.LOCKED
    assert found.width_cents > 20.0
    assert found.played_hz == pytest.approx(116.54, rel=1e-3)
    assert found.softest == tried.SOFT
    # The horn takes this voice up, so that it is aimed below the just note.
    assert found.pulled_cents > 0.0
    assert found.aim_hz < 1.5 * found.played_hz
