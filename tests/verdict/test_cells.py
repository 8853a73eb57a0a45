"""Many setups judged at once: the same answers as one by one, whatever stands beside them."""

from types import SimpleNamespace

import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU
from reedbore.measures import locking
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import questions, runs
from reedbore.verdict.cells import _Alone, _Look, _Seen, judge_cells
from reedbore.verdict.state import Reason, State
from reedbore.verdict.take import judge

B_FLAT = 116.54094


@pytest.fixture(scope="module")
def tenor():
    return tune(load_horn("tenor-saxophone"), B_FLAT)


def sung(setup, hz, depth=0.1):
    setup = setup.with_value("voice.source", "pulse").with_value("voice.depth", depth)
    return setup.with_value("voice.frequency_hz", hz)


@pytest.fixture(scope="module")
def setups(tenor):
    return [
        sung(tenor, 5.0 * B_FLAT / 2.0 * 2.0 ** (-0.1 / 1200.0)),  # locks
        sung(tenor, 5.0 * B_FLAT / 2.0 * 2.0 ** (8.0 / 1200.0)),  # drifts
        sung(tenor, 1.37 * B_FLAT),  # rough
        tenor.with_value("voice.source", "off"),
        sung(tenor.with_value("breath.pressure_kpa", 0.5), 2.0 * B_FLAT),  # too little breath
    ]


@pytest.fixture(scope="module")
def cells(setups):
    return judge_cells(setups, [B_FLAT] * len(setups))


def test_each_state_is_found(cells):
    states = [cell.state for cell in cells]
    assert states == ["locked", "drifting", "rough", "unsung", "silent"]


@pytest.mark.parametrize("number", range(5))
def test_a_cell_is_judged_like_a_take(setups, cells, number):
    verdict, cell = judge(render(setups[number], 3.0)), cells[number]
    assert cell.state == verdict.state
    assert ((cell.p, cell.q) if cell.q else None) == verdict.ratio
    if verdict.played_hz is None:
        assert np.isnan(cell.played_hz)
    else:
        assert cell.played_hz == pytest.approx(verdict.played_hz, rel=1e-5)


def test_a_cell_does_not_depend_on_what_stands_beside_it(setups, cells):
    # Bit for bit: alone, and in another order.
    turned = judge_cells(setups[::-1], [B_FLAT] * len(setups))[::-1]
    for one, other, setup in zip(cells, turned, setups, strict=True):
        alone = judge_cells([setup], [B_FLAT])[0]
        assert repr(one) == repr(other) == repr(alone)


class Narrow:
    """A machine that likes two lanes at a time, and notes how many it was given."""

    width, threads, joins = 2, 1, True

    def __init__(self):
        self.given = []

    def start(self, lanes, shared):
        self.given.append(len(lanes))
        return CPU.start(lanes, shared)


def test_cells_are_the_same_on_another_machine(setups, cells):
    # All that runs is run by the executor that was handed in: horns alone, first looks, questions.
    narrow = Narrow()
    found = judge_cells(setups[:3], [B_FLAT] * 3, executor=narrow)
    assert repr(found) == repr(cells[:3])
    assert max(narrow.given) == 2
    assert len(narrow.given) > 4


def test_a_drift_is_that_of_the_two_tones(cells):
    # Uncoupled, 8 cents off 5/2 would beat by 5 · 116.54 Hz · 8 cents = 2.70 Hz; near a lock of
    # half a cent hardly less.
    assert cells[1].drift_hz == pytest.approx(-2.70, abs=0.15)


def test_in_a_fixed_time_only_a_slip_can_be_decided(setups):
    found = judge_cells(setups[:3], [B_FLAT] * 3, seconds=1.0)
    assert [cell.state for cell in found] == ["undecided", "drifting", "rough"]


def test_a_time_too_short_to_tell_two_low_lines_apart_decides_nothing():
    # 28 Hz and 7/8 of it: the window that parts lines of 3.5 Hz is longer than the run.
    low = setup_for(load_horn("contra-alto-clarinet")).with_value("bore.length_mm", 3000.0)
    (cell,) = judge_cells([sung(low, 24.5)], [28.0], seconds=1.0)
    assert (cell.state, cell.reason) == (State.UNDECIDED, Reason.UNDECIDED)
    assert np.isnan(cell.drift_hz)


def test_progress_ends_at_one(setups):
    told = []
    judge_cells(setups[:2], [B_FLAT] * 2, seconds=1.0, progress=told.append)
    assert told[-1] == 1.0


def test_a_recorded_voice_is_refused(tenor):
    recorded = tenor.model_copy(
        update={"voice": tenor.voice.model_copy(update={"source": "recording", "file": "a.wav"})}
    )
    with pytest.raises(ModelError, match="record"):
        judge_cells([recorded], [B_FLAT])


def test_a_flow_is_sung_whatever_depth_is_set(tenor):
    flowing = sung(tenor, 2.0 * B_FLAT, 0.0).with_value("voice.drive", "flow")
    (cell,) = judge_cells([flowing], [B_FLAT], seconds=1.0)
    assert (cell.p, cell.q) == (2, 1)


def test_a_question_that_asks_nothing_is_answered(tenor):
    pair = questions.Pair(sung(tenor, B_FLAT), 1, 1)
    edge = locking.edge(-0.03, 0.0, 1.0)  # closer together than the fineness from the start
    assert questions.ask([pair], [edge]) == [locking.Edge(-0.03, 0.0)]


def test_a_line_is_followed_in_the_widest_band_without_its_neighbours(tenor):
    # Partials of the common note lie sung/p apart.
    apart = np.array([2.5, 3.0, 4.9, 5.0, 9.9, 10.0, 19.9, 20.0, 39.0, 100.0])
    pairs = questions.Pairs.of([questions.Pair(sung(tenor, 8.0 * hz), 8, 5) for hz in apart])
    assert (pairs.bands <= apart).all()
    assert ((2.0 * pairs.bands > apart) | (pairs.bands == 20.0)).all()


@pytest.mark.parametrize(
    ("off", "jumped"),
    [(-1200.0, True), (-51.0, True), (-49.0, False), (49.0, False), (51.0, True), (700.0, True)],
)
def test_a_cell_has_left_its_register_beyond_fifty_cents(off, jumped):
    def column(value):
        return np.array([value])

    alone = _Alone(column(B_FLAT), column(1000.0), column(1), column(False))
    played = B_FLAT * 2.0 ** (off / 1200.0)
    look = _Look(column(played), column(900.0), np.zeros((1, 0)), 12e3, column(True), column(0.0))
    hz, left = _Seen.reed(SimpleNamespace(_alone=alone, _look=look), np.array([0]))
    assert (hz[0], left[0]) == (played, jumped)


@pytest.mark.parametrize("volume", [48.0, 50.0, 55.0, 60.0])
def test_horn_that_plays_far_below_its_resonances_is_judged(tenor, volume):
    # With so large a mouthpiece the horn repeats below a quarter of its lowest resonance. It beats
    # four times a second with a third note beside it: one second is too short to tell its pitch.
    setup = sung(tenor.with_value("mouthpiece.volume_ml", volume), 1.5 * B_FLAT)
    cell = judge_cells([setup], [B_FLAT], seconds=3.0)[0]
    verdict = judge(render(setup, 3.0))
    assert cell.state == verdict.state != State.FAILED
    assert verdict.voice_off_hz == pytest.approx(cell.voice_off_hz, rel=1e-6)


def test_cell_that_breaks_down_fails_alone_and_says_why(setups, monkeypatch):
    real = runs.control_of

    def broken(setup, tone):
        if setup.breath == setups[4].breath:
            raise OverflowError("cannot convert float infinity to integer")
        return real(setup, tone)

    monkeypatch.setattr(runs, "control_of", broken)
    found = judge_cells(setups, [B_FLAT] * len(setups), seconds=1.0)
    assert [cell.state == State.FAILED for cell in found] == [False] * 4 + [True]
    assert found[4].reason == (
        "the calculation broke down (OverflowError: cannot convert float infinity to integer)"
    )
    monkeypatch.undo()
    whole = judge_cells(setups[:4], [B_FLAT] * 4, seconds=1.0)
    assert repr(found[:4]) == repr(whole)
