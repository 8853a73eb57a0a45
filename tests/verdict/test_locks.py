"""The lock table of a tenor saxophone: edges, what is heard, what a human voice holds."""

import dataclasses
import json
from types import SimpleNamespace

import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.kernel.executor import CpuLanes
from reedbore.measures import locking
from reedbore.model.presets import load_horn
from reedbore.notes import simple_ratios
from reedbore.report import locks as lock_report
from reedbore.report.words import CLOCK
from reedbore.simulate.singing import human_pitch
from reedbore.simulate.tuning import tune
from reedbore.verdict import human_hold, lock_edges, locks, questions

B_FLAT = 116.54094
AROUND_THE_OCTAVE = 230.0, 236.0


@pytest.fixture(scope="module")
def setup():
    # Half as many steps a second as usual: the statements are the same, for half of the work.
    tenor = tune(load_horn("tenor-saxophone"), B_FLAT, 48000.0)
    return tenor.with_value("voice.source", "pulse").with_value("voice.depth", 0.1)


@pytest.fixture(scope="module")
def table(setup):
    # From G sharp 3 to E4: 7/4, 2/1, 7/3 and 5/2, 8/3 among others.
    return locks.lock_table(setup, B_FLAT, voice_range=(200.0, 300.0), thorough=False)


def row_of(table, p, q):
    return next(row for row in table.rows if row.ratio == (p, q))


def test_there_are_forty_three_ratios():
    # Coprime pairs up to 8: 2 Σ φ(n) - 1 = 2 · 22 - 1 (Euler's totient).
    found = simple_ratios(8)
    assert len(found) == len(set(found)) == 43
    assert [p / q for p, q in found] == sorted(p / q for p, q in found)


def test_the_table_holds_what_lies_in_the_voice(table):
    assert [row.ratio for row in table.rows] == [(7, 4), (2, 1), (7, 3), (5, 2)]


def test_the_edges_of_a_lock_are_those_of_the_verdict(setup, table):
    row = row_of(table, 2, 1)
    inside = lock_edges.sung_at(setup, table.voice_off_hz * 2.0)
    for edge in (row.low, row.high):
        asked = (edge.inside, edge.outside)
        answers = questions.ask(
            [questions.Pair(inside, 2, 1)] * 2, [locking.watch(d) for d in asked]
        )
        assert [found.state for found in answers] == ["follows", "slips"]


def test_lanes_that_wait_for_others_and_go_on_beside_them_answer_alike(setup, table):
    # Some slip at once, some follow soon, some are watched twice as long and on, with those that
    # have come as far: to the last bit, whoever stands beside them.
    pairs = [
        questions.Pair(lock_edges.sung_at(setup, table.voice_off_hz * p), p, 1) for p in (2, 3)
    ]
    pulls = *np.linspace(-1.6, 1.6, 9), 40.0

    def answered(executor):
        asked = [locking.watch(pull, 30.0) for _ in pairs for pull in pulls]
        return questions.ask([one for one in pairs for _ in pulls], asked, executor=executor)

    together, apart = (answered(CpuLanes(2, joins=joins)) for joins in (True, False))
    assert together == apart
    assert {found.state for found in together} >= {"follows", "slips"}


def test_both_edges_are_asked_of_each_lock_and_what_diverges_has_none(monkeypatch):
    low, high, inf = locking.Edge(-1.0, -1.1), locking.Edge(2.0, 2.1), np.inf
    answers = iter(
        [[(0.5, -inf, 3.0), None, (None, -1.0, 1.0), (0.0, -2.0, 2.0)], [low, high, low, None]]
    )
    asked, told = [], []
    monkeypatch.setattr(lock_edges, "ask", lambda pairs, *_: asked.append(pairs) or next(answers))
    found = lock_edges.search("abcd", lambda: None, lambda *of: told.append(of), lambda _: None)
    assert list(map(list, asked)) == [list("abcd"), list("aadd")]
    assert told == [(0.5, -inf, -1.0), (0.5, 3.0, 1.0), (0.0, -2.0, -1.0), (0.0, 2.0, 1.0)]
    edges = [(low, high), None, None]
    nearest = [(-inf, 3.0), (-1.0, 1.0), (-2.0, 2.0)]
    assert found[1] is None
    assert [found[0], *found[2:]] == list(map(lock_edges.Sought, edges, nearest))


def test_edges_are_as_fine_as_they_say(table):
    for row in table.rows:
        if row.state == "locked":
            assert 0.0 < row.low.inside - row.low.outside <= 0.1 + 1e-9
            assert 0.0 < row.high.outside - row.high.inside <= 0.1 + 1e-9


def test_a_third_note_is_heard_over_a_lock_of_five_to_two(table):
    row = row_of(table, 5, 2)
    assert (row.state, row.heard) == ("locked", "yes")
    assert row.resultant_hz == pytest.approx(B_FLAT / 2.0, rel=1e-3)


def test_a_human_voice_does_not_hold_a_lock_a_cent_wide(table):
    # A voice with 0.5 % of jitter departs by some 8 cents from one period to the next.
    assert all(row.held < 0.3 for row in table.rows if row.state == "locked")


def test_nothing_is_held_without_coupling(setup):
    apart = setup.with_value("voice.depth", 1e-6)
    assert locks.held_share(apart, 2.0 * B_FLAT, (2, 1)) == pytest.approx(0.0, abs=0.05)


def test_a_voice_like_a_clock_holds_its_lock_throughout(setup, table, monkeypatch):
    row = row_of(table, 2, 1)

    # A wander of a fifth of a cent stays inside: it is held, and would not be by chance for long.
    def slow(seconds, rate, hz, seed):
        return 0.2 * np.sin(2.0 * np.pi * 0.02 * np.arange(round(seconds * rate)) / rate)

    monkeypatch.setattr(human_hold, "human_pitch", slow)
    monkeypatch.setattr(human_hold, "HELD_S", 4.0)
    monkeypatch.setattr(human_hold, "HELD_CYCLES", 0.04)
    assert locks.held_share(setup, row.sung_hz, (2, 1)) > 0.9


@pytest.mark.parametrize(("cycles", "share"), [(0.24, 1.0), (0.26, 0.0)])
def test_a_beat_is_held_while_it_moves_less_than_a_quarter_in_half_a_second(
    setup, monkeypatch, cycles, share
):
    times = np.arange(0.0, 20.0, 0.01)

    def off(seconds, rate, hz, seed):  # by chance nothing is held
        return np.full(round(seconds * rate), 100.0)

    monkeypatch.setattr(human_hold, "human_pitch", off)
    monkeypatch.setattr(human_hold, "beat_of", lambda *_: (times, cycles * times / 0.5))
    assert locks.held_share(setup, 2.0 * B_FLAT, (2, 1)) == share


def test_a_reed_that_does_not_sound_has_no_table(setup):
    with pytest.raises(ModelError, match=r"does not sound by itself at 0\.3 kPa"):
        locks.lock_table(setup.with_value("breath.pressure_kpa", 0.3), B_FLAT)


def test_the_document_is_plain_and_whole(table):
    document = json.loads(json.dumps(lock_report.document(table)))
    assert [row["ratio"] for row in document["rows"]] == ["7/4", "2/1", "7/3", "5/2"]
    five = document["rows"][3]
    assert five["lock_range_cents"][0] < five["lock_range_cents"][1]
    assert five["sung_note"] == "D4"
    assert five["sing_cents"] == pytest.approx(-13.8, abs=0.5)


def test_the_table_reads_in_a_players_words(table):
    text = lock_report.text(table)
    assert "D4, 13" in text
    assert "cents low; locks from" in lock_report.document(table)["rows"][3]["aim"]
    assert text.endswith(CLOCK)


def test_a_spreadsheet_has_a_line_for_each_row(table):
    lines = lock_report.csv_text(table).splitlines()
    assert lines[0].startswith("p,q,state,heard,sung_hz")
    assert len(lines) == 1 + len(table.rows)


@pytest.fixture(scope="module")
def row(setup):
    """The one row of a thorough table."""
    with pytest.MonkeyPatch.context() as fewer:
        fewer.setattr(locks, "DEPTHS", (0.1, 0.2))
        fewer.setattr(locks, "DEPTH_FINENESS", 4.0)
        table = locks.lock_table(setup, B_FLAT, voice_range=AROUND_THE_OCTAVE, thorough=True)
    (row,) = table.rows
    return row


@pytest.mark.ci  # for how long a lock holds: `test_take_verdict`
@pytest.mark.slow
def test_a_confirmed_lock_holds_a_minute_at_twice_the_rate(setup):
    table = locks.lock_table(
        setup, B_FLAT, voice_range=AROUND_THE_OCTAVE, thorough=False, confirm=True
    )
    (row,) = table.rows
    assert (row.ratio, row.confirmed) == ((2, 1), True)


def test_a_lock_is_confirmed_if_it_follows_just_inside_of_both_edges_and_slips_outside(
    setup, table, monkeypatch
):
    good = ["follows", "slips"] * 2
    seen, asked = iter([*good, *good[:3], "undecided"]), []

    def ask(pairs, questions):
        for pair, question in zip(pairs, questions, strict=True):
            asked.append((pair.p, *next(question)))
        return list(seen)

    off = SimpleNamespace(hz=table.voice_off_hz)
    monkeypatch.setattr(locks.cells, "controls_of", lambda _: [off])
    monkeypatch.setattr(questions, "ask", ask)
    one = row_of(table, 2, 1)
    edges = {"low": locking.Edge(-2.0, -2.1), "high": locking.Edge(3.0, 3.1)}
    rows = [
        dataclasses.replace(one, ratio=ratio, state=state, **edges)
        for ratio, state in (((4, 1), "free"), ((2, 1), "locked"), ((3, 1), "locked"))
    ]
    assert [row.confirmed for row in locks._confirmed(setup, rows)] == [None, True, False]
    wanted = [(p, pull, 60.0) for p in (2, 3) for pull in (-1.9, -2.2, 2.9, 3.2)]
    assert asked == [pytest.approx(one) for one in wanted]


@pytest.mark.ci
@pytest.mark.slow(50)
def test_a_thorough_row_widens_with_depth_and_knows_its_least(row):
    widths = [lock_edges.width(row.by_depth[depth]) for depth in (0.1, 0.2)]
    assert widths == sorted(widths)
    assert row.least_depth <= 0.1
    # A glide is caught near the edges found from rest; where exactly depends on its speed.
    assert row.from_below == pytest.approx(row.low.inside, abs=0.5)
    assert row.from_above == pytest.approx(row.high.inside, abs=0.5)


def test_the_depth_of_a_flow_is_not_told_as_the_one_that_is_set(setup, table):
    flowing = setup.with_value("voice.drive", "flow").with_value("voice.effort", 1.5)
    with pytest.raises(ModelError, match="the depth comes out of the flow"):
        locks.lock_table(flowing, B_FLAT, thorough=True)
    assert locks.lock_table(flowing, B_FLAT, voice_range=(200.0, 201.0), thorough=False).rows == ()
    told = dataclasses.replace(table, setup=flowing)
    assert lock_report.document(told)["depth"] is None
    assert lock_report.text(told).startswith("sung at a flow of 150 ml/s; horn alone 116.5")
    assert lock_report.text(table).startswith("sung at depth 0.1 (normal); horn alone 116.5")


def test_the_human_voice_has_the_jitter_it_was_given():
    # Mean difference of successive periods over the mean period: Ferrand, Speech Science, 2007
    # (from memory).
    rate, hz = 48000.0, 200.0
    curve = human_pitch(20.0, rate, hz)
    phase = np.cumsum(hz * 2.0 ** (curve / 1200.0) / rate)
    marks = np.interp(np.arange(1, int(phase[-1])), phase, np.arange(phase.size) / rate)
    periods = np.diff(marks)
    found = np.mean(np.abs(np.diff(periods))) / np.mean(periods)
    assert found == pytest.approx(0.005, rel=0.1)
