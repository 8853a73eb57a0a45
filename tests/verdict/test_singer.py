"""What a singer can do over a note: how wide locks are, where they end, and who does not sing."""

import folded
import numba
import numpy as np
import pytest

from reedbore.kernel import folds as rows
from reedbore.kernel.folds import sing_into_leak
from reedbore.measures import locking, pitch
from reedbore.physics import reed
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.folds import singing, solve
from reedbore.simulate.take import again
from reedbore.verdict import runs, singer
from reedbore.verdict.lock_edges import sung_at
from reedbore.verdict.questions import Pair, ask
from reedbore.verdict.singer import FINENESS, observed, singer_row
from reedbore.verdict.state import RowState

pytestmark = [
    pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled"),
    pytest.mark.slow,
]
RATE = 48e3


@pytest.fixture(scope="module")
def tenor():
    """The tenor's B flat 2, sung into by folds of 3 kg/m² with a gap of 0.3 mm at depth 0.1."""
    setup = folded.tenor(time__rate_hz=RATE)
    return setup, runs.alone(setup, outside=False).hz


@pytest.fixture(scope="module", params=[(1, 1, 50.0), (3, 2, 20.0)], ids=["1/1", "3/2"])
def row(request, tenor):
    """A ratio, how wide its lock is at least, and what is found of it."""
    p, q, least = request.param
    return least, singer_row(*tenor, (p, q))


def test_singer_has_room_to_aim(row):
    # A trial from scratch with other folds, airway and tract found 98 cents at 1/1 and 31 at 3/2.
    least, found = row
    assert found.state == RowState.LOCKED
    assert least < found.width < 6.0 * least
    assert 0.0 < found.low.inside - found.low.outside <= FINENESS
    assert found.held > 0.5
    assert found.depth is None  # sung as loudly as it was asked for


@pytest.mark.ci
def test_who_cannot_sing_so_loudly_is_told_of_at_the_loudest(tenor):
    setup, hz = tenor
    found = singer_row(setup.with_value("voice.depth", 0.6), hz, (1, 1))
    assert found.state == RowState.LOCKED
    assert found.depth == pytest.approx(0.26, abs=0.03)


def test_aims_inside_lock_and_outside_slip_on_either_side(row, tenor):
    _, found = row
    aimed = sung_at(tenor[0], found.just_hz)
    observe = observed(again(aimed, 0.1), found.just_hz, found.ratio)
    for edge, way in ((found.low, -1.0), (found.high, 1.0)):
        inside, outside = (
            locking.answer(locking.watch(aim, 24.0), observe).state
            for aim in (edge.inside - 4.0 * way, edge.outside + 8.0 * way)
        )
        assert (inside, outside) == ("follows", "slips")


def test_many_singers_are_judged_as_one_take_is(row, tenor):
    _, found = row
    aimed = sung_at(tenor[0], found.just_hz)
    observe = observed(again(aimed, 0.1), found.just_hz, found.ratio)
    aims = np.array([-90.0, -10.0, 40.0, 130.0]) + 0.5 * (found.low.inside + found.high.inside)
    looks = [locking.watch(aim, 24.0) for aim in aims]
    side_by_side = ask([Pair(aimed, *found.ratio)] * aims.size, looks)
    one_by_one = [locking.answer(locking.watch(aim, 24.0), observe) for aim in aims]
    assert [seen.state for seen in side_by_side] == [seen.state for seen in one_by_one]
    assert {seen.state for seen in one_by_one} >= {"slips", "follows"}
    edge = locking.answer(singer._edge(aims[1], -np.inf, -1.0), observe)
    assert edge.inside == pytest.approx(found.low.inside, abs=2.0 * FINENESS)


@pytest.mark.parametrize("aim", [-300.0, 300.0])
def test_folds_far_beside_a_lock_do_not_keep_step_because_the_horn_shakes_them(aim, tenor):
    # Near the octave their line is the horn's second partial, which keeps step with it anyway.
    setup, hz = tenor
    aimed = sung_at(setup, 2.0 * hz)
    run = again(aimed, 6.0, aim)
    gap = run.traces.half_gap[round(3.0 * RATE) :]
    assert abs(1200.0 * np.log2(pitch.crossing_rate(gap, RATE) / (2.0 * hz))) > 100.0
    assert locking.drift(singer.beat_of(run, 2.0 * hz, (2, 1))).state == "slips"
    (seen,) = ask([Pair(aimed, 2, 1)], [locking.watch(aim, 24.0)])
    assert seen.state == "slips"


def test_voice_is_pulled_to_the_horn_and_hardly_the_horn_to_the_voice(row, tenor):
    _, found = row
    p, q = found.ratio
    middle = found.middle
    assert middle.sung_hz / middle.played_hz == pytest.approx(p / q, rel=1e-4)
    assert abs(1200.0 * np.log2(middle.played_hz / tenor[1])) < 5.0
    assert 5.0 < abs(middle.pulled_cents) < 80.0


def test_folds_below_their_threshold_are_unsung_and_never_locked(tenor):
    # Driven by a harmonic of the horn, such folds would pass every test of phase.
    setup, hz = tenor
    found = singer_row(setup.with_value("voice.gap_mm", 1.2), hz, (1, 1))
    assert found.state == RowState.UNSUNG
    assert "do not sing" in found.reason
    assert found.low is None
    assert found.width == 0.0


# --- Adler ---------------------------------------------------------------------------------------


def flow_of(setup, seconds):
    """Flow through the reed of the horn alone, less its mean. [m³ s⁻¹]"""
    traces, held = again(setup, seconds, voice=False).traces, setup.reed.held()
    drop, density = traces.mouth - traces.pressure, gas_of(setup).density
    passing = zip(drop, np.maximum(traces.opening, 0.0), strict=True)
    flow = np.array([reed.channel_flow(*here, held.width, density) for here in passing])
    return flow - flow[flow.size // 2 :].mean()


def one_way_width(setup, hz, taken, share):
    """Width [cents of tension] of the 1/1 lock of folds that a horn shakes and that shake none."""

    def observe(tension, seconds):
        count = round(seconds * RATE)
        singer = singing(setup, count)
        singer.tension[:] = 2.0 ** (tension / 600.0)
        singer.hold[:] = 2.0 ** (tension / 1200.0)
        sing_into_leak(singer, share * np.resize(taken, count))
        gap, rate = pitch.thin(singer.half_gap, RATE)
        voice = pitch.phase_track(gap, rate, hz, 20.0)
        return locking.Course(voice.times, -voice.cycles, hz)

    inside, low, high = locking.answer(locking.find_inside(0.0, 1.0, 16.0, 200.0), observe)
    lower, upper = (
        locking.answer(locking.edge(inside, there, way, 200.0, 1.0, 16.0, first=8.0), observe)
        for there, way in ((low, -1.0), (high, 1.0))
    )
    return upper.inside - lower.inside


def test_width_of_the_lock_goes_with_the_strength_of_the_horn(tenor):
    # R. Adler, Proc. IRE 34, 351 (1946): of a weakly shaken oscillator, in proportion. The horn's
    # own flow, whole periods of it over and over, at a quarter, a half and all of its strength.
    setup, hz = tenor
    aimed = sung_at(setup, hz)
    late = flow_of(setup, 2.0)[round(RATE) :]
    periods = int(late.size * hz / RATE)
    taken = late[: round(periods * RATE / hz)]
    clock = periods * RATE / taken.size
    assert singing(aimed, 1).numbers[rows.LEAK, 0] == solve(aimed).flow
    widths = [one_way_width(aimed, clock, taken, share) for share in (0.25, 0.5, 1.0)]
    assert widths[2] > 50.0
    assert np.array(widths) / widths[2] == pytest.approx([0.25, 0.5, 1.0], rel=0.15)
