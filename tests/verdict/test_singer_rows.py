"""What is told of a pair that is sung by folds, given what a run of it found: no run is made."""

import numpy as np
import pytest

from reedbore.measures import locking
from reedbore.measures.locking import Edge
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.singing import USUAL_WANDER_CENTS
from reedbore.verdict import runs, singer
from reedbore.verdict.human_hold import HOLD_S, still_share
from reedbore.verdict.lock_edges import Sought
from reedbore.verdict.singer import Aim
from reedbore.verdict.state import Reason, RowState

FOUND = Sought((Edge(-10.0, -12.0), Edge(30.0, 32.0)), (-40.0, 40.0))


@pytest.fixture
def asked(monkeypatch):
    """What of a pair is looked at, and where; its aim is all nan unless it is set."""
    seen = {"aim": Aim(np.nan, np.nan, np.nan, 3000.0)}
    monkeypatch.setattr(singer, "solve", lambda _: None)
    monkeypatch.setattr(singer, "search", lambda *_: [seen.get("sought", FOUND)])
    monkeypatch.setattr(singer, "again", lambda _setup, _seconds, pull: seen.update(run=pull))
    monkeypatch.setattr(singer, "aim_of", lambda _run, _pull: seen["aim"])
    monkeypatch.setattr(
        singer, "held_share", lambda _setup, _ratio, at: seen.update(held=at) or 1.0
    )
    monkeypatch.setattr(singer, "heard_of", lambda *_: None)
    return seen


def row():
    setup = setup_for(load_horn("tenor-saxophone")).with_value("voice.drive", "folds")
    return singer.singer_row(setup, 116.5, (3, 2))


def test_folds_that_the_horn_only_drives_are_not_told_to_lock(asked):
    # They sing into the leak, and over the horn they rest: every test of phase would pass.
    found = row()
    assert (found.state, found.reason) == (RowState.UNSUNG, Reason.FOLDS_REST)
    assert found.width == 0.0


def test_what_comes_of_a_range_is_measured_at_its_middle(asked):
    asked["aim"] = Aim(174.8, 116.5, 5.0, 3000.0)
    found = row()
    assert found.state == RowState.LOCKED
    assert found.width == 40.0
    assert (asked["run"], asked["held"]) == (10.0, 10.0)


def test_a_pair_without_a_range_is_measured_at_the_just_note(asked):
    asked["sought"] = Sought(None, (-40.0, 40.0))
    assert row().state == RowState.FREE
    assert asked["run"] == 0.0
    assert "held" not in asked


@pytest.mark.parametrize(("missed", "state"), [(0.1, "follows"), (0.3, "slips")])
def test_a_line_counts_only_while_the_folds_swing_as_often_as_it_turns(missed, state):
    times = np.arange(0.1, 7.5, 0.02)
    swings = np.floor((200.0 - missed) * times)
    still = np.zeros(times.size)
    parts = (part[np.newaxis] for part in (still, still, swings))
    numbers = (np.array([number]) for number in (200.0, 3, 2))
    course = runs.singer_beat(times, *parts, *numbers).of(0)
    assert locking.drift(course).state == state
    assert course.hz == 400.0


@pytest.mark.parametrize(("until", "counts"), [(0.24, True), (0.26, False)])
def test_swings_that_folds_missed_in_the_first_quarter_tell_nothing_against_a_line(until, counts):
    times = np.linspace(1.0, 9.0, 801)
    still, swings = np.zeros(801), 200.0 * times - 5.0 * (times < 1.0 + 8.0 * until)
    parts = (part[np.newaxis] for part in (still, still, swings))
    numbers = (np.array([number]) for number in (200.0, 3, 2))
    course = runs.singer_beat(times, *parts, *numbers).of(0)
    assert (np.ptp(course.cycles) == 0.0) == counts


@pytest.mark.parametrize(("held", "share"), [(False, 0.0), (True, 1.0)])
def test_a_singer_keeps_step_who_strays_less_than_the_aim_does(monkeypatch, held, share):
    # Folds that obey their muscles over a still horn, and folds that the horn holds.
    setup = setup_for(load_horn("tenor-saxophone")).with_value("voice.frequency_hz", 150.0)
    seen, beats, rate = {}, [], setup.time.rate

    def beat_of(aims, hz, ratio):
        times = np.arange(0.1, HOLD_S - 0.1, 0.02)
        run = np.cumsum(hz * (2.0 ** ((aims - 25.0) / 1200.0) - 1.0)) / rate
        beat = -ratio[1] * np.interp(times, np.arange(run.size) / rate, run)
        seen.update(aims=aims, chance=still_share(times, beat))
        return locking.Course(times, np.zeros(times.size) if held else beat, hz)

    monkeypatch.setattr(singer, "again", lambda _setup, _seconds, aims: aims)
    monkeypatch.setattr(singer, "beat_of", beat_of)
    monkeypatch.setattr(
        singer, "still_share", lambda *seen: beats.append(seen[1]) or still_share(*seen)
    )
    assert singer.held_share(setup, (3, 2), 25.0) == pytest.approx(share, abs=0.01)
    assert 0.1 < seen["chance"] < 0.9  # else nothing would be counted off
    # What is counted off is the beat of this very wander.
    assert held or np.abs(beats[0] - beats[1]).max() < 0.01
    assert seen["aims"].size == round(HOLD_S * rate)
    off = np.abs(seen["aims"] - 25.0)
    assert 0.5 * USUAL_WANDER_CENTS < off.max() <= USUAL_WANDER_CENTS


@pytest.mark.parametrize(
    ("still", "chance", "share"),
    [(1.0, 0.2, 1.0), (0.6, 0.2, 0.5), (0.1, 0.2, 0.0), (1.0, 1.0, 1.0), (0.7, 1.0, 0.7)],
)
def test_share_in_step_is_counted_beyond_chance_where_chance_leaves_room(still, chance, share):
    assert singer.beyond_chance(still, chance) == pytest.approx(share)
