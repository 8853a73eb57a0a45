"""The lock map as the page gets it, against the judge of single takes."""

import json
from dataclasses import replace

import pytest

from reedbore.errors import ReedboreError
from reedbore.notes import cents, parse_pitch
from reedbore.page import map as maps
from reedbore.page.request import read_words
from reedbore.report.looks import LOOKS
from reedbore.simulate.dynamics import OF_A_DYNAMIC
from reedbore.simulate.request.take import read_request, tune_request
from reedbore.verdict import cells as many
from reedbore.verdict.state import State

DEMO = read_words({})
NEAR = {"field": "sung", "start": "5/2-1c", "stop": "5/2+1c", "count": 3}
DEPTH = {"field": "voice.depth", "start": 0.1, "stop": 0.3, "count": 2}
OPENING = {"field": "reed.opening_mm", "start": 1.0, "stop": 1.2, "count": 2}
BREATH = {"field": "breath.pressure_kpa", "start": 3.0, "stop": 4.0, "count": 2}
FINGERED_HZ = parse_pitch("Bb2")


def head_of(words=DEMO, along=()):
    stream = maps.cells(words, along)
    head = next(stream)
    stream.close()
    return head


def patched(words, *patches):
    """Put the words of a cell on those of the page, as its script does."""
    settings = dict(text.split("=", 1) for text in words.settings)
    for patch in patches:
        words = replace(words, **{k: v for k, v in patch.items() if k != "settings"})
        for name, value in patch["settings"].items():
            settings.pop(name, None)
            if value is not None:
                settings[name] = f"{value!r}"
    return replace(words, settings=tuple(f"{k}={v}" for k, v in settings.items()))


# --- axes ----------------------------------------------------------------------------------------


def test_by_itself_the_map_looks_about_the_just_note_against_depth():
    depth, sung = head_of()["axes"]
    assert (depth["field"], depth["values"][0], depth["values"][-1]) == ("voice.depth", 0.02, 0.3)
    # 5/2 is 1200 log2(5/2) = 1586.31 cents: arithmetic of the just scale.
    assert sung["values"][0] == pytest.approx(1586.3137 - maps.AROUND_CENTS, abs=1e-3)
    assert sung["values"][-1] == pytest.approx(1586.3137 + maps.AROUND_CENTS, abs=1e-3)
    assert sung["ticks"][0] == pytest.approx(-maps.AROUND_CENTS, abs=0.01)
    assert "5/2" in sung["label"]


def test_a_note_near_no_ratio_is_the_middle_of_its_own_axis():
    sung = head_of(replace(DEMO, sung="+1100c"))["axes"][1]
    assert sung["values"][0] == pytest.approx(1100.0 - maps.AROUND_CENTS, abs=1e-3)


def test_any_other_axis_by_itself_reaches_from_below_to_above_what_is_set():
    opening = head_of(along=[{"field": "reed.opening_mm", "count": 3}, NEAR])["axes"][0]
    now = tune_request(read_request(DEMO)).setup.value("reed.opening_mm")
    assert opening["values"][0] < now < opening["values"][-1]
    assert opening["here"] == 1


def test_the_cell_of_what_is_set_is_told():
    axes = head_of(replace(DEMO, depth=0.3), [DEPTH, NEAR])["axes"]
    assert [axis["here"] for axis in axes] == [1, 1]


def test_what_stands_along_the_axes_can_be_set_again():
    words = replace(DEMO, settings=("voice.depth=0.05",))
    axes = head_of(words, [DEPTH, NEAR])["axes"]
    setup = read_request(patched(words, axes[0]["patches"][1], axes[1]["patches"][0])).setup
    assert setup.voice.depth == pytest.approx(0.3)
    wanted = FINGERED_HZ * 2.5 * 2.0 ** (-1.0 / 1200.0)
    assert abs(cents(setup.voice.frequency, wanted)) < 0.006


@pytest.mark.parametrize("field", ["reed.opening_mm", "breath.pressure_kpa"])
def test_a_dynamic_stays_the_breath_and_lip_that_it_was_when_one_of_them_is_swept(field):
    words = replace(DEMO, breath="mf")
    axes = head_of(words, [{"field": field, "count": 2}, NEAR])["axes"]
    kept = tune_request(read_request(patched(words, axes[0]["patches"][1]))).setup
    mf = tune_request(read_request(words)).setup
    assert kept.value(field) == pytest.approx(axes[0]["values"][1], rel=1e-9)
    for name in set(OF_A_DYNAMIC) - {field}:
        assert kept.value(name) == pytest.approx(mf.value(name), rel=1e-9)


def test_nobody_sings_but_a_sung_axis_makes_somebody():
    sung = head_of(replace(DEMO, sung=None), [DEPTH, {"field": "sung", "count": 3}])["axes"][1]
    assert sung["values"] == pytest.approx([-6.0, 0.0, 6.0])


@pytest.mark.parametrize(
    ("along", "says"),
    [
        ([DEPTH], "two axes"),
        ([DEPTH, {"field": "time.rate_hz"}], "time.rate_hz"),
        ([DEPTH, {**NEAR, "count": 61}], "61"),
        ([DEPTH, {**NEAR, "count": True}], "True"),
        ([{**DEPTH, "count": 60}, {**NEAR, "count": 60}], "3600 cells"),
        ([DEPTH, {**NEAR, "start": "5/2+3c"}], "must rise"),
        ([DEPTH, {**NEAR, "start": "Q9"}], "'Q9'"),
        ([DEPTH, DEPTH], "twice"),
        ([{**DEPTH, "stop": 7}, NEAR], "allowed 0 to 1"),
        ([{**DEPTH, "stop": []}, NEAR], r"an end of voice.depth is \[\]; it must"),
        ([{"field": "bore.end"}, NEAR], "only numbers"),
        ([{"field": 3}, NEAR], "name of a field"),
    ],
)
def test_an_axis_that_cannot_be_is_refused_before_anything_is_told(along, says):
    with pytest.raises(ReedboreError, match=says) as caught:
        next(maps.cells(DEMO, along))
    assert "--" not in str(caught.value)


def test_an_unsteady_voice_is_refused():
    with pytest.raises(ReedboreError, match="like a clock"):
        next(maps.cells(replace(DEMO, settings=("voice.wander_cents=10",)), [DEPTH, NEAR]))


# --- cells ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", [(24, 25), (2, 2), (40, 60), (9, 3)])
def test_every_cell_comes_once_coarse_first_and_in_small_batches(shape):
    batches = list(maps._batches(*shape))
    places = [place for batch in batches for place in batch]
    assert sorted(places) == [(i, j) for i in range(shape[0]) for j in range(shape[1])]
    steps = [max(s for s in maps.STEPS if i % s == 0 and j % s == 0) for i, j in places]
    assert steps == sorted(steps, reverse=True)
    assert max(map(len, batches)) <= maps.BATCH


@pytest.mark.slow
def test_cells_are_those_that_the_sweep_judges():
    # Not at the just note, where the lock ends: that takes two minutes of the horn to decide.
    head, *cells = maps.cells(DEMO, [DEPTH, NEAR | {"start": "5/2-3c"}])
    json.dumps([head, *cells], allow_nan=False)
    last = {(cell["i"], cell["j"]): cell for cell in cells}
    assert len(last) == head["total"] == 6
    setup = tune_request(read_request(DEMO)).setup
    places = sorted(last)
    setups = []
    for i, j in places:
        sung = FINGERED_HZ * 2.0 ** (head["axes"][1]["values"][j] / 1200.0)
        deep = setup.with_value("voice.depth", head["axes"][0]["values"][i])
        setups.append(deep.with_value("voice.frequency_hz", sung))
    judged = many.judge_cells(setups, [FINGERED_HZ] * len(setups))
    assert [last[place]["state"] for place in places] == [cell.state for cell in judged]
    assert [last[place]["interval"] for place in places] == pytest.approx(
        [
            cents(setup.voice.frequency, cell.voice_off_hz)
            for setup, cell in zip(setups, judged, strict=True)
        ]
    )
    assert {cell["ratio"] for cell in last.values()} == {"5/2"}
    # A cent off the just note a weak voice drifts; a cent under it a strong one holds.
    assert last[0, 1]["state"] == last[0, 2]["state"] == "drifting"
    assert last[1, 1]["state"] == "locked"
    # 5 f_played - 2 f_sung for a note a cent high over an unmoved B flat.
    assert last[0, 2]["beat"] == pytest.approx(-5.0 * FINGERED_HZ * (2 ** (1 / 1200) - 1), abs=0.2)


@pytest.mark.parametrize(
    ("patch", "along", "found", "intervals"),
    [
        # Sung a cent under, at and over 5/2 of the fingered note; alone the horn is 10 cents high.
        ({}, [DEPTH, NEAR], {"period": 1}, [1576.3137 + k for k in (-1, -1, 0, 0, 1, 1)]),
        ({"sung": "3/2"}, [DEPTH, BREATH], {"period": 1}, [691.955] * 4),
        ({}, [DEPTH, NEAR], {"period": 2}, [None] * 6),
        ({"sung": None}, [OPENING, BREATH], {"period": 1}, [None] * 4),
    ],
    ids=["sung along an axis", "sung note set", "a period of its own", "nobody sings"],
)
def test_a_cell_tells_how_far_the_voice_is_from_the_horn_alone(
    monkeypatch, patch, along, found, intervals
):
    alone = many.Cell(State.DRIFTING, voice_off_hz=FINGERED_HZ * 2.0 ** (10.0 / 1200.0), **found)
    monkeypatch.setattr(maps, "judge_cells", lambda setups, _, **__: [alone] * len(setups))
    head, *cells = maps.cells(replace(DEMO, **patch), along)
    told = [cell["interval"] for cell in sorted(cells, key=lambda cell: (cell["j"], cell["i"]))]
    assert told == (intervals if None in intervals else pytest.approx(intervals, abs=1e-3))
    sizes = dict(head["ratios"])
    assert sizes["3/2"] == pytest.approx(701.955, abs=1e-3)  # 1200 log2(3/2)
    assert len(sizes) == 43  # coprime pairs up to 8
    assert next(iter(sizes)) == "1/1"


def test_each_state_has_its_look_in_words_and_colours():
    looks = head_of()["looks"]
    assert looks["locked"] == LOOKS["locked"]._asdict()
    assert set(looks) == set(LOOKS)


def test_a_map_that_nobody_wants_stops_before_the_next_batch(monkeypatch):
    asked = []

    def judged(setups, notes, *, seconds):
        asked.append(len(setups))
        return [many.Cell(State.DRIFTING)] * len(setups)

    monkeypatch.setattr(maps, "judge_cells", judged)
    stream = maps.cells(DEMO, [{**DEPTH, "count": 20}, {**NEAR, "count": 20}])
    for _ in range(3):
        next(stream)
    stream.close()
    assert asked == [9]


def test_what_is_undecided_is_watched_for_longer_at_the_end(monkeypatch):
    watched = []

    def judged(setups, notes, *, seconds):
        watched.append(seconds)
        state = State.UNDECIDED if seconds else State.LOCKED
        return [many.Cell(state, p=5, q=2)] * len(setups)

    monkeypatch.setattr(maps, "judge_cells", judged)
    _, *cells = maps.cells(DEMO, [DEPTH, NEAR])
    assert [cell["state"] for cell in cells] == ["undecided"] * 6 + ["locked"] * 6
    assert watched[-1] is None
    assert [(c["i"], c["j"]) for c in cells[:6]] == [(c["i"], c["j"]) for c in cells[6:]]
