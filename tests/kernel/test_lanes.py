"""Lanes against takes: the same answers, whatever stands beside a lane and when it is watched."""

import numba
import numpy as np
import pytest
from bores import setup_of
from folded import BB2_MM
from one_by_one import OneByOne

from reedbore.errors import ModelError
from reedbore.kernel.blocks import ALONE
from reedbore.kernel.compiler import plain
from reedbore.kernel.executor import CPU, CpuLanes
from reedbore.kernel.lanes import Kind, make_lanes
from reedbore.kernel.rows import LANES, TABLE
from reedbore.measures import locking, pitch
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.voice import Voice
from reedbore.simulate import batch as lanes
from reedbore.simulate.take import again

compiled_only = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="minutes uncompiled")
REFERENCE = 118.0

VOWELS = ("a", 349.2), ("i", 349.2), ("u", 233.0), ("none", 349.2)


def tenor(length_mm=BB2_MM, **changes):
    """A tenor saxophone with a voice; changes are named reed__opening_mm and so on."""
    setup = setup_for(load_horn("tenor-saxophone")).with_value("bore.length_mm", length_mm)
    voice = {"voice__frequency_hz": 349.2, "voice__depth": 0.12, "breath__rise_ms": 10.0}
    for key, value in (voice | changes).items():
        setup = setup.with_value(key.replace("__", "."), value)
    return setup


def sung_into(setup, **voice):
    """A bore of the tests with a voice; its breath rises at once."""
    setup = setup.with_value("breath.rise_ms", 5.0)
    return setup.model_copy(update={"voice": Voice(**({"frequency": 233.0, "fade": 0.02} | voice))})


def mixed_batch():
    """Setups that share nothing but the rate; each choice of a loop is made, in few loops.

    A loop takes seconds to compile, a bore a while to fit.
    """
    cold = tenor().with_value("air.temperature_c", 15.0)
    return [
        tenor(),
        tenor(voice__rd=0.6, voice__frequency_hz=502.7, reed__opening_mm=0.9),
        cold.with_value("voice.source", "off"),
        sung_into(setup_of("cylinder", "vent and row").with_value("bore.vent_after_ms", 20.0)),
        sung_into(setup_of("mouthpiece, cone and holes", "lower vent and row")),
        sung_into(setup_of("row behind a cone"), source="sine"),
        sung_into(setup_of("row behind a cone"), depth=0.0),
        tenor(52.0, reed__dynamics="massless", tract__coupling="on", voice__drive="flow"),
        *sung_by_folds(),
    ]


def sung_by_folds():
    """Setups of one loop whose voices come from folds, in two tubes; and of one who rests."""
    folds = {"voice__drive": "folds", "voice__depth": 0.05, "voice__frequency_hz": 116.54}
    return [
        tenor(**folds),
        tenor(**folds, voice__vowel="a"),
        tenor(**folds, voice__source="off"),
        tenor(**folds, breath__pressure_kpa=2.5),
    ]


def batch_of_other_kinds():
    """Setups that need every other loop than those of the mixed batch."""
    return [
        sung_into(setup_for(load_horn("plain-cone")), source="sine"),
        tenor(reed__dynamics="massless"),
        tenor(52.0, reed__dynamics="massless", voice__depth=0.4),
        sung_into(setup_of("cone", "high"), depth=0.3),
        tenor(tract__coupling="on", voice__vowel="i"),
        sung_by_folds()[0].with_value("reed.dynamics", "massless"),
        sung_into(setup_of("cylinder", "vent and row"), drive="folds", gap=2e-4),
    ]


def kinds_of(setups):
    """The kinds of loop that setups need."""
    return {group.kind for group in lanes.Lanes(setups, REFERENCE)._running.groups}


FILLED = CpuLanes(alone=0)
"""Steps few lanes, too, in blocks that are filled up."""

BATCHES = [mixed_batch, pytest.param(batch_of_other_kinds, marks=pytest.mark.ci)]


def pressures(setups, steps, executor=CPU):
    """Pressure in the mouthpiece of each lane, shape (lanes, hops)."""
    batch = lanes.Lanes(setups, REFERENCE, executor=executor)
    return np.array(batch.watch(steps, lambda lane, pressure: pressure.copy()))


# --- the same answers as a take -------------------------------------------------------------------


@compiled_only
def test_the_mixed_batch_makes_each_choice_of_a_loop():
    kinds = kinds_of(mixed_batch())
    assert len(kinds) == 5
    for field in set(Kind._fields) - {"far"}:  # that hangs on the rate, which they share
        assert len({getattr(kind, field) for kind in kinds}) == (3 if field == "pairs" else 2)
    assert not kinds & kinds_of(batch_of_other_kinds())


@compiled_only
@pytest.mark.parametrize("some", BATCHES)
def test_lanes_of_a_mixed_batch_play_what_takes_play(some):
    # Consistency: one text of the step. 1e-9 of the largest pressure.
    batch = some()
    found = pressures(batch, 24000, FILLED)
    for setup, ours in zip(batch, found, strict=True):
        take = again(setup, ours.size / setup.time.rate).traces.pressure
        # Folds are a loop that takes the least difference of two blown curves with it.
        within = 1e-6 if setup.voice.drive == "folds" else 1e-9
        assert np.abs(ours - take).max() <= within * np.abs(take).max()


@compiled_only
@pytest.mark.parametrize("rate", [44100.0, pytest.param(88200.0, marks=pytest.mark.ci), 192000.0])
def test_lanes_play_what_takes_play_at_other_rates(rate):
    # At 44.1 kHz a short tube is shorter than the steps that are usually looked up at once.
    batch = [tenor(length, time__rate_hz=rate) for length in (BB2_MM, 55.0)]
    found = pressures(batch, round(0.1 * rate))
    for setup, ours in zip(batch, found, strict=True):
        take = again(setup, ours.size / rate).traces.pressure
        assert np.abs(ours - take).max() <= 1e-9 * np.abs(take).max()


def test_plain_lanes_are_the_plain_take(monkeypatch):
    # The text of the lanes, uncompiled: a quick rise brings it into motion within a hop.
    uncompiled = CpuLanes(loop=lambda kind, count: make_lanes(kind, count, plain))
    monkeypatch.setattr(lanes, "HOP_S", 0.002)
    setup = tenor(300.0, breath__rise_ms=1.0, voice__fade_ms=5.0)
    found = pressures([setup], 192, uncompiled)[0]
    take = again(setup, 0.1).traces.pressure[: found.size]
    assert np.abs(found - take).max() <= 1e-9 * np.abs(take).max()


@compiled_only
@pytest.mark.parametrize("machine", [FILLED, pytest.param(CPU, marks=pytest.mark.ci)])
@pytest.mark.parametrize("some", BATCHES)
def test_lanes_are_the_step_of_a_take_to_the_last_bit(some, machine):
    # The lanes cut the step into loops of their own; another executor runs each lane, given the
    # same pressure in the mouth, as a take. Same order of the same sums: no bit may differ.
    batch = some()
    ours, theirs = (lanes.Lanes(batch, REFERENCE, executor=one) for one in (machine, OneByOne()))
    assert same(ours.advance(0.2), theirs.advance(0.2))
    late = [one.watch(2000, lambda lane, pressure: pressure.copy()) for one in (ours, theirs)]
    assert same(*late)
    assert np.ptp(late[0], axis=1).min() > 0.0


def singing_many():
    """Seven setups of one loop: too many to be stepped one by one."""
    return [tenor(voice__depth=0.02 * k) for k in range(7)]


def folds_of_many():
    """The same with folds."""
    return [sung_by_folds()[0].with_value("voice.depth", 0.05 + 0.01 * k) for k in range(7)]


@compiled_only
@pytest.mark.parametrize("some", [singing_many, pytest.param(folds_of_many, marks=pytest.mark.ci)])
def test_lane_is_the_same_to_the_last_bit_in_a_block_and_alone(some):
    # And while it goes from the one into the other: those that are left of a block stand alone.
    batch, stays = some(), np.array([True, False, True, False, False, False, True])
    together = lanes.Lanes(batch, REFERENCE)
    first, widths = together.advance(0.1), widths_of(together)
    together.keep(stays)
    later = together.advance(0.1)
    assert (widths, widths_of(together)) == ([LANES], [1, 1, 1])
    for k, setup in enumerate(batch):
        alone = lanes.Lanes([setup], REFERENCE)
        assert widths_of(alone) == [1]
        assert same(first.of(np.array([k])), alone.advance(0.1))
        if stays[k]:
            assert same(later.of(np.array([stays[:k].sum()])), alone.advance(0.1))


@compiled_only
@pytest.mark.parametrize(
    "some", [singing_many, mixed_batch, pytest.param(folds_of_many, marks=pytest.mark.ci)]
)
def test_lanes_that_are_put_together_go_on_as_if_nothing_had_happened(some):
    # Some sing the same period, some another, one none; some can stand in one block, some cannot.
    silent = tenor(voice__source="off")
    lots = some(), [silent], [*some()[3:], tenor(voice__rd=0.6)]
    apart, joined = ([lanes.Lanes(lot, REFERENCE, executor=FILLED) for lot in lots] for _ in "ab")
    for one in (*apart, *joined):
        one.advance(0.1)
    first, *others = joined
    for other in others:
        first.join(other)
    assert np.array_equal(first.sung_hz, np.concatenate([one.sung_hz for one in apart]))
    later = lanes.beside([one.advance(0.1) for one in apart])
    assert same(first.advance(0.1), later)
    kept = np.arange(first.burst.size) % 3 != 1
    first.keep(kept)
    latest = lanes.beside([one.advance(0.1) for one in apart])
    assert same(first.advance(0.1), latest.of(kept))


def test_a_period_that_two_lots_sing_is_kept_once():
    first, other = (lanes.Lanes([tenor(), tenor(voice__rd=rd)], REFERENCE) for rd in (0.6, 1.4))
    first.join(other)
    assert first._running._shared.waves.size == 4 * (TABLE + 1)  # silence, and three more


def widths_of(batch):
    """How many lanes each block has."""
    return [block.table.shape[1] for group in batch._running.groups for block in group.blocks]


@pytest.mark.parametrize(
    ("count", "widths"),
    [
        (ALONE, [1] * ALONE),
        (ALONE + 1, [LANES]),
        (LANES, [LANES]),
        (LANES + ALONE, [LANES, *[1] * ALONE]),
        (LANES + ALONE + 1, [LANES, LANES]),
    ],
)
def test_the_last_few_lanes_stand_alone_and_each_belongs_to_one_block(count, widths):
    batch = lanes.Lanes([tenor()] * count, REFERENCE)
    assert widths_of(batch) == widths
    (group,) = batch._running.groups
    members = np.concatenate([group.members_of(k) for k in range(len(widths))])
    assert members.tolist() == list(range(count))


@compiled_only
def test_any_executor_drops_lanes_and_goes_on_alike():
    batch = [tenor(), tenor(voice__depth=0.3), tenor(1200.0)]
    found = []
    for executor in (CPU, OneByOne()):
        some = lanes.Lanes(batch, REFERENCE, executor=executor)
        some.advance(0.1)
        some.keep([True, False, True])
        found.append(some.advance(0.1))
        assert some.seconds == pytest.approx(0.2, abs=0.02)
    assert same(*found)
    assert found[0].line.shape[0] == 2


@compiled_only
def test_lanes_with_vowels_play_what_takes_play():
    batch = [tenor(voice__vowel=vowel, voice__frequency_hz=hz) for vowel, hz in VOWELS]
    found = pressures(batch, 9600)
    for setup, ours in zip(batch, found, strict=True):
        take = again(setup, ours.size / setup.time.rate).traces.pressure
        assert np.abs(ours - take).max() <= 1e-9 * np.abs(take).max()
    assert not np.array_equal(found[0], found[1])


@compiled_only
def test_pulled_lane_with_a_vowel_is_a_take_with_a_pulled_voice():
    setup = tenor(voice__vowel="a")
    batch = lanes.Lanes([setup], REFERENCE, 30.0)
    found = batch.watch(9600, lambda lane, pressure: pressure.copy())[0]
    take = again(setup, found.size / 96000.0, 30.0).traces.pressure
    assert np.abs(found - take).max() <= 1e-9 * np.abs(take).max()


@compiled_only
def test_pulled_lane_is_a_take_with_a_pulled_voice():
    batch = lanes.Lanes([tenor()] * 2, REFERENCE, [0.0, 3.5])
    found = batch.watch(9600, lambda lane, pressure: pressure.copy())
    take = again(tenor(), found[1].size / 96000.0, 3.5).traces.pressure
    assert np.abs(found[1] - take).max() <= 1e-9 * np.abs(take).max()
    assert not np.array_equal(found[0], found[1])


# --- what is emitted ------------------------------------------------------------------------------


@compiled_only
@pytest.mark.parametrize(("band", "sung"), [(20.0, 349.2), (20.0, 265.0), (10.0, 349.2)])
def test_emitted_phase_is_that_of_the_phase_track(band, sung):
    # The same line, measured on the whole pressure of a take: 1e-3 cycles, level 1e-3. These bands
    # have windows of whole hops; others are rounded up.
    setup = tenor(voice__frequency_hz=sung)
    batch = lanes.Lanes([setup], REFERENCE, band_hz=band)
    ours = batch.advance(2.0)
    track = pitch.phase_track(again(setup, 2.0).traces.pressure, 96000.0, REFERENCE, band)
    late = ours.times > 0.7
    cycles = np.interp(ours.times, track.times, track.cycles)[late]
    off = ours.cycles[0][late] - cycles
    assert late.sum() > 20
    assert np.abs(off - np.round(off)).max() < 1e-3
    level = np.interp(ours.times, track.times, track.amplitude)[late]
    assert np.abs(ours.line[0][late]) == pytest.approx(level, rel=1e-3)


@compiled_only
def test_line_of_the_folds_is_that_of_the_phase_track():
    # The swing of half the gap, near what they aim at: the same as on the whole run of a take.
    singing, clocked = sung_by_folds()[0], tenor()
    batch = lanes.Lanes([singing, clocked], REFERENCE)
    ours = batch.advance(2.0)
    track = pitch.phase_track(again(singing, 2.0).traces.half_gap, 96000.0, 116.54, 20.0)
    late = ours.times > 0.7
    line = ours.sung_line[0][late]
    off = np.unwrap(np.angle(line)) / (2.0 * np.pi)
    off -= np.interp(ours.times, track.times, track.cycles)[late]
    assert np.abs(off - np.round(off)).max() < 1e-3
    level = np.interp(ours.times, track.times, track.amplitude)[late]
    assert np.abs(line) == pytest.approx(level, rel=1e-3)
    assert np.abs(line).min() > 1e-4
    assert not ours.sung_line[1].any()
    # Swings are counted up to the end of a window, once the folds have left where they began.
    rises = pitch.rises(again(singing, 2.0).traces.half_gap, 96000.0)
    counted = np.searchsorted(rises, ours.times[late] + 0.1)
    assert np.ptp(ours.swings[0][late] - counted) <= 1.0
    assert np.ptp(counted) > 100
    assert not ours.swings[1].any()


@compiled_only
def test_pulled_lane_of_folds_is_a_take_with_a_pulled_aim():
    singing = sung_by_folds()[0]
    batch = lanes.Lanes([singing] * 2, REFERENCE, [0.0, -60.0])
    found = batch.watch(9600, lambda lane, pressure: pressure.copy())
    take = again(singing, found[1].size / 96000.0, -60.0).traces.pressure
    assert np.abs(found[1] - take).max() <= 1e-9 * np.abs(take).max()
    assert not np.array_equal(found[0], found[1])


@compiled_only
def test_emitted_levels_are_those_of_the_pressure():
    # Definitions of mean and root mean square, hop by hop.
    setup = tenor()
    ours = lanes.Lanes([setup], REFERENCE).advance(0.4)
    hops = again(setup, 0.4).traces.pressure.reshape(ours.hop_times.size, -1)
    assert ours.mean[0] == pytest.approx(hops.mean(axis=1), rel=1e-9, abs=1e-6)
    assert ours.rms[0] == pytest.approx(hops.std(axis=1), rel=1e-6, abs=1e-3)
    assert ours.hop_times[:2] == pytest.approx([0.01, 0.03], abs=1e-4)


@compiled_only
def test_strobe_sees_the_period_of_a_locked_pair():
    # 3/1 on the tenor: the state repeats at every third beat of the sung note, as on the take.
    setup = tenor()
    batch = lanes.Lanes([setup], REFERENCE)
    batch.advance(2.0)
    states = batch.strobe(24)
    assert states.shape == (1, 24, 16)
    tail = again(setup, batch.seconds).traces.pressure[-round(24.5 * 96000.0 / 349.2) :]
    assert locking.period(states[0]) == locking.period(locking.strobe(tail, 96000.0, 349.2))


# --- watched on, thinned out, in any order --------------------------------------------------------


def same(one, other):
    """Bit for bit."""
    pairs = zip(one, other, strict=True)
    return all(np.array_equal(a, b, equal_nan=True) for a, b in pairs)


@compiled_only
def test_advancing_twice_is_advancing_once():
    batch = mixed_batch()
    whole = lanes.Lanes(batch, REFERENCE, executor=FILLED).advance(0.5)
    twice = lanes.Lanes(batch, REFERENCE, executor=FILLED)
    assert same(lanes.joined(twice.advance(0.14), twice.advance(0.36)), whole)
    assert twice.seconds == pytest.approx(0.5, abs=0.02)


@compiled_only
@pytest.mark.parametrize("executor", [CPU, OneByOne()])
def test_ticks_are_what_averaging_the_steps_gives(executor):
    batch = mixed_batch()[:3]
    one, other = (lanes.Lanes(batch, REFERENCE, executor=executor) for _ in range(2))
    one.advance(0.04)
    other.advance(0.04)
    steps = other.watch(4800, lambda lane, pressure: pressure.copy())
    found = one.ticks(0.05)
    assert one.tick_rate == 12000.0
    for ours, whole in zip(found, steps, strict=True):
        thinned, rate = pitch.thin(whole[-4800:], 96000.0)
        assert rate == one.tick_rate
        assert ours == pytest.approx(thinned, rel=1e-12, abs=1e-9)


@compiled_only
def test_kept_lanes_go_on_as_if_nothing_had_happened():
    batch = mixed_batch() * 3
    keep = np.arange(len(batch)) % 3 == 1
    whole, thinned = (lanes.Lanes(batch, REFERENCE, executor=FILLED) for _ in "ab")
    whole.advance(0.1)
    thinned.advance(0.1)
    thinned.keep(keep)
    ours, all_of_them = thinned.advance(0.2), whole.advance(0.2)
    assert np.array_equal(ours.line, all_of_them.line[keep])
    assert np.array_equal(ours.rms, all_of_them.rms[keep])


@compiled_only
def test_order_and_threads_change_no_bit():
    batch = [tenor(BB2_MM - lane % 3, voice__frequency_hz=340.0 + lane) for lane in range(37)]
    order = np.random.default_rng(1).permutation(len(batch))
    one, three = CpuLanes(threads=1), CpuLanes(threads=3)
    straight = lanes.Lanes(batch, REFERENCE, executor=one).advance(0.3)
    shuffled = lanes.Lanes([batch[lane] for lane in order], REFERENCE, executor=three).advance(0.3)
    assert np.array_equal(shuffled.line, straight.line[order])
    assert np.array_equal(shuffled.rms, straight.rms[order])


@compiled_only
def test_burst_lane_is_told_and_disturbs_nobody():
    # One lane is pushed past any pressure a reed can make; its neighbours do not feel it.
    batch = [tenor(BB2_MM - lane % 3, voice__depth=0.02 * lane) for lane in range(ALONE + 1)]
    calm, burst = lanes.Lanes(batch, REFERENCE), lanes.Lanes(batch, REFERENCE)
    burst._running.groups[0].blocks[0].entering[2, :] = 1e9
    ours, theirs = burst.advance(0.3), calm.advance(0.3)
    others = np.arange(len(batch)) != 2
    assert np.flatnonzero(ours.burst) == [2]
    assert not theirs.burst.any()
    assert np.isnan(ours.line[2]).all()
    assert np.isnan(ours.rms[2]).all()
    assert np.array_equal(ours.line[others], theirs.line[others])


# --- what is refused ------------------------------------------------------------------------------


def test_different_rates_are_refused():
    with pytest.raises(ModelError, match=r"time\.rate_hz is 48000 to 96000 Hz; lanes that"):
        lanes.Lanes([tenor(), tenor(time__rate_hz=48000.0)], REFERENCE)


def test_no_setup_is_refused():
    with pytest.raises(ModelError, match="there is no setup"):
        lanes.Lanes([], REFERENCE)


def test_recorded_voice_is_refused(tmp_path):
    recorded = Voice(source="recording", file=tmp_path / "voice.wav")
    setup = tenor().model_copy(update={"voice": recorded})
    with pytest.raises(ModelError, match=r"voice\.source is 'recording'; allowed in lanes"):
        lanes.Lanes([setup], REFERENCE)


@pytest.mark.parametrize(
    ("voice", "says"),
    [
        ({"jitter": 0.005}, r"voice\.jitter is 0\.005; allowed in lanes, .* is 0 \(a voice like"),
        ({"noise": 0.1}, r"voice\.noise is 0\.1; allowed in lanes"),
        ({"scoop_cents": 50.0}, r"voice\.scoop_cents is 50; allowed in lanes"),
        ({"false_folds": 2}, r"voice\.false_folds is 2; allowed in lanes, .* is 1 \(a voice like"),
    ],
)
def test_unsteady_voice_is_refused(voice, says):
    with pytest.raises(ModelError, match=says):
        lanes.Lanes([tenor(), sung_into(tenor(), **voice)], REFERENCE)


def test_unsteady_voice_that_is_off_is_not_refused():
    batch = lanes.Lanes([sung_into(tenor(), source="off", jitter=0.01)], REFERENCE)
    assert batch.sung_hz.size == 1
