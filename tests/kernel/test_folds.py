"""Folds in the time step: one text, against a slow rival, all their energy, all legal settings."""

import bores
import folded
import naive_folds
import numba
import numpy as np
import pytest
from extremes import between

from reedbore.kernel import folds as rows
from reedbore.kernel import rows as reed_rows
from reedbore.kernel import single
from reedbore.kernel.compiler import assembled, plain
from reedbore.kernel.folds import from_lungs, make_leak, sing, sing_into_leak
from reedbore.kernel.step import at_reed, bore_of, from_bore
from reedbore.physics import airway_cells as cells
from reedbore.physics import folds, tract
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics.airway import TRACT_K, Airway
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.take import burst
from reedbore.simulate.tuning import blown

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
GAS = air_keefe(TRACT_K)
TUBE = slice(rows.TUBE_GAIN, rows.TUBE_SHARE)


# --- one text, plain and compiled ----------------------------------------------------------------


def test_plain_folds_are_the_compiled_folds():
    # The same operations in the same order: no bit may differ.
    setup = folded.tenor(voice__vowel="a")
    both = [folded.singer_for(setup, 3000) for _ in range(2)]
    mouths = sing_into_leak(both[0]), sing_into_leak(both[1], loop=make_leak(plain))
    assert np.array_equal(*mouths)
    assert np.array_equal(both[0].half_gap, both[1].half_gap)
    assert np.ptp(both[0].half_gap) > 1e-4


def test_plain_run_with_folds_is_the_compiled_run():
    setup = folded.tenor(breath__rise_ms=2.0)
    numbers, breath = numbers_of(setup), blown(setup, 0.1)[:2000]
    loop = single.make_run("mass", coupled=True, folds=True, compile_with=plain)
    runs = [
        single.run(numbers, breath, which, folded.singer_for(setup, breath.size))
        for which in (None, loop)
    ]
    for ours, theirs in zip(*runs, strict=True):
        assert np.array_equal(ours, theirs)
    assert np.ptp(runs[0].opening) > 1e-5


# --- rows of the tables --------------------------------------------------------------------------


def test_rows_of_a_singer_do_not_overlap():
    # Each row has one meaning: the blocks follow each other and end where the table ends.
    assert rows.SPRING == rows.HALF_GAP == 0
    blocks = [rows.SPRING, rows.CHINK, rows.BELOW_AT_ONCE, rows.LUNGS_FAST, rows.STORED, rows.LEAK]
    blocks += [rows.RESONATOR, rows.TUBE_GAIN, rows.TUBE_SHARE, rows.NUMBERS]
    assert list(np.diff(blocks)) == [8, 2, 3, 3, 5, 2, 3 * rows.RESONATORS, *2 * [rows.SECTIONS]]
    assert list(np.diff([rows.HALF_GAP, rows.RINGING, rows.STATE])) == [7, 2 * rows.RESONATORS]


def test_each_resonance_below_the_folds_has_its_rows_and_none_is_left_over():
    assert len(cells.windpipe(GAS.density, GAS.sound_speed)) == rows.RESONATORS


def test_rows_of_many_singers_do_not_overlap():
    # Numbers and state, then what else lanes keep of each.
    blocks = [rows.NUMBERS + rows.STATE, rows.TENSE, rows.HELD, rows.CARRIED, rows.PUSHED]
    blocks += [rows.TICK, rows.CLOCK_TURN, rows.CLOCK, rows.MIDDLE, rows.ABOVE, rows.SWINGS]
    assert list(np.diff([*blocks, rows.ROWS])) == [0, *6 * [1], 4, *3 * [1]]


# --- against a slow rival ------------------------------------------------------------------------


def rivals_parts(setup, solved):
    """The same singer for the slow rival."""
    rate, vowel = setup.time.rate, setup.voice.vowel.replace("none", "neutral")
    shape = tract.SHAPES[vowel]
    step, air = 1.0 / rate, (GAS.density, GAS.sound_speed)
    cut, rest = cells.sections(shape.areas, shape.section_length, GAS.sound_speed, step)
    way = Airway(vowel, setup.tract.volume, 0.0)
    resistance = tract.WALL_LOSS * 2.0 * np.pi * tract.WALL_HZ * way.mass
    spring = GAS.density * GAS.sound_speed**2
    outlet = cells.wave_impedance(cut[-1].area, *air)
    voice, shown = setup.voice, folds.VOICES["usual"]
    return naive_folds.Parts(
        fold=shown._replace(
            gap=0.5 * voice.gap * solved.flow / 0.35e-3,
            delay=0.1 / max(voice.frequency, 250.0),
        ),
        hz=voice.frequency * 2.0 ** (solved.tension / 1200.0),
        windpipe=cells.windpipe(*air),
        sections=cut,
        mouth=cells.mouth((way.cavity + rest) / spring, way.mass, resistance, outlet, step),
        gain=cells.wave_gain(60.0, 1, step),
    )


def still_lungs(setup, count, solved, **changed):
    """A singer whose lungs do not follow, as the rival's do not."""
    return folded.singer_for(setup, count, solved, lungs_fast=0.0, lungs_slow=0.0, **changed)


@pytest.mark.parametrize("vowel", ["neutral", "a"])
def test_folds_do_what_a_slow_rival_does(vowel):
    # Formula by formula, waves in lists; sums in another order: 1e-9 of the largest value.
    setup, solved = folded.tenor(voice__vowel=vowel), folded.set_to(chink=0.0)
    singer = still_lungs(setup, 4800, solved)
    mouth = sing_into_leak(singer)
    leak = solved.flow, solved.flow / (2.0 * setup.breath.pressure)
    parts = rivals_parts(setup, solved)
    song = naive_folds.sing_whole(parts, solved.lungs, leak, 0.05, 96e3, GAS, start=5e-4)
    pairs = (mouth, song.mouth), (singer.flow, song.flow), (singer.half_gap[:-1], song.gap[1:])
    for ours, theirs in pairs:
        assert np.abs(ours - theirs).max() <= 1e-9 * np.abs(theirs).max()
    assert np.ptp(song.mouth) > 100.0


def test_folds_behind_a_reed_do_what_a_slow_rival_does():
    # The rival's mouth asks the reed; horn and reed are those of a take.
    setup, solved = folded.tenor(breath__rise_ms=2.0), folded.set_to(chink=0.0)
    numbers, breath = numbers_of(setup), blown(setup, 0.1)[:3000]
    ours = single.run(numbers, breath, singer=still_lungs(setup, breath.size, solved))
    table, state = numbers.table.reshape(-1, 1), np.zeros((reed_rows.STATE, 1))
    state[reed_rows.OPENING] = state[reed_rows.BEFORE] = numbers.opening
    leaving = np.zeros(breath.size + numbers.lead)
    bore, steps = bore_of(numbers, leaving, 0), iter(range(breath.size))
    coupled_reed = assembled(at_reed, "reed", plain, COUPLED=True)

    def reed(free):
        n = next(steps)
        back = from_bore(table, state, 0, bore, leaving, n + numbers.lead)
        leaving[n + numbers.lead] = coupled_reed(table, state, 0, breath[n], free, back)[1]
        return state[reed_rows.IN_MOUTH, 0] - breath[n]

    parts, seconds = rivals_parts(setup, solved), breath.size / 96e3
    no_leak = 0.0, 0.0
    song = naive_folds.sing_whole(parts, solved.lungs, no_leak, seconds, 96e3, GAS, 5e-4, reed)
    for one, other in ((ours.mouth, breath + song.mouth), (ours.glottal_flow, song.flow)):
        assert np.abs(one - other).max() <= 1e-9 * np.abs(other).max()
    assert np.ptp(ours.pressure) > 100.0


# --- energy --------------------------------------------------------------------------------------


def powers(singer, steps):
    """Step a singer on in plain Python; return what each part takes, a row a step [W].

    Columns: lungs, glottis, tissue, air on the folds, windpipe, wall, lips.
    """
    f, s = singer.numbers[:, 0], singer.state[:, 0]
    z = f[rows.BELOW_AT_ONCE], f[rows.ABOVE_AT_ONCE]
    resonators = f[rows.RESONATOR : rows.TUBE_GAIN].reshape(-1, 3)
    mass = 0.5 * f[rows.STEP] * f[rows.WALL_KEPT] / f[rows.WALL_PUSHED]
    found = np.zeros((steps, 7))
    for n in range(steps):
        down, was = singer.tube[singer.tube.shape[0] // 2 + singer.places[0], 0], s.copy()
        free = from_lungs(singer)
        middle = free - f[rows.MOUTH_AT_ONCE] * f[rows.LEAK]
        middle /= 1.0 + f[rows.MOUTH_AT_ONCE] * f[rows.LEAK_SLOPE]
        sing(singer, middle, n)
        now = folds.velocity_now(was[rows.VELOCITY], was[rows.VELOCITY_BEFORE])
        edges = folds.edges(was[rows.HALF_GAP], now, f[rows.WAVE_DELAY])
        share, filling = folds.pressure_share(*edges), f[rows.SWEPT] * now
        given = s[rows.FLOW] + share * filling
        above = 2.0 * down - z[1] * (1.0 - share) * filling + z[1] * s[rows.FLOW]
        rings = [
            cells.resonator_history(*was[rows.RINGING + 2 * k :][:2], *row[:2]) - row[1] * given
            for k, row in enumerate(resonators)
        ]
        below = was[rows.LUNGS] + sum(rings)
        mean = 0.5 * (was[rows.VELOCITY] + s[rows.VELOCITY])
        damp = folds.contact_damping(f[rows.DAMP], was[rows.HALF_GAP])
        moved = 0.5 * (was[rows.WALL_FLOW] + s[rows.WALL_FLOW])
        pushes = mass * (s[rows.WALL_FLOW] - was[rows.WALL_FLOW]) / f[rows.STEP]
        resisted = [1.0 / row[1] - row[0] - 0.5 * row[2] for row in resonators]
        found[n] = (
            *(was[rows.LUNGS] * given, (below - above) * s[rows.FLOW]),
            *(f[rows.SWEPT] * damp * mean * mean,),
            f[rows.SWEPT] * (above + share * (below - above)) * mean,
            sum(p * p * lossy for p, lossy in zip(rings, resisted, strict=True)),
            *(moved * (middle - pushes), middle * (free - middle) / f[rows.MOUTH_AT_ONCE]),
        )
    return found


@pytest.fixture(scope="module")
def sung():
    """Powers over whole periods of a steady voice in a tube without loss."""
    setup = folded.tenor(time__rate_hz=48000.0)
    singer = folded.singer_for(setup, 72000, lungs_fast=0.0, lungs_slow=0.0)
    singer.numbers[TUBE] = 1.0
    sing_into_leak(singer)
    more = folded.on(singer, 7200)
    found = powers(more, 7200)
    rises = naive_folds.crossings(more.half_gap)
    return found[int(np.ceil(rises[0])) : int(np.ceil(rises[-1]))]


@long_run
def test_folds_lose_over_whole_periods_what_the_air_does_on_them(sung):
    lungs, _, tissue, air = sung.mean(axis=0)[:4]
    assert air == pytest.approx(tissue, rel=5e-3)
    assert tissue > 0.02 * lungs


@long_run
def test_glottis_never_gives_power(sung):
    assert sung[:, 1].min() >= -1e-12 * sung[:, 1].max()
    assert sung[:, 1].max() > 0.0


@long_run
def test_all_that_the_lungs_give_is_found_again(sung):
    # Lungs = glottis + tissue + windpipe + wall + lips. The flow that the folds displace is a
    # velocity taken half a step on: the balance closes to a ten-thousandth.
    lungs, glottis, tissue, _, windpipe, wall, lips = sung.mean(axis=0)
    assert glottis + tissue + windpipe + wall + lips == pytest.approx(lungs, rel=1e-4)
    assert min(glottis, tissue, windpipe, wall) > 0.0


def work_and_loss(f, run):
    """What the air did on folds, and what they lost, a row a step [W], out of what a run left.

    The airway below is stepped again with the flow that left it; above the folds there is as much
    less pressure as the stream loses in their gap.
    """
    resonators = f[rows.RESONATOR : rows.TUBE_GAIN].reshape(-1, 3)
    ringing, found = np.zeros((3, 2)), np.zeros((run.half_gap.size, 2))
    moved = np.diff(run.half_gap, prepend=run.half_gap[0]) / f[rows.STEP]
    for n in range(2, run.half_gap.size):
        half, flow, after = run.half_gap[n - 1], run.glottal_flow[n], moved[n]
        now = folds.velocity_now(moved[n - 1], moved[n - 2])
        lower, upper = folds.edges(half, now, f[rows.WAVE_DELAY])
        share = folds.pressure_share(lower, upper)
        below = run.lungs[n]
        for k, (stored, at_once, push) in enumerate(resonators):
            middle = cells.resonator_history(*ringing[k], stored, at_once)
            middle -= at_once * (flow + share * f[rows.SWEPT] * now)
            ringing[k] = cells.resonator_moved(*ringing[k], middle, push)
            below += middle
        area = folds.glottal_area(lower, upper, f[rows.LENGTH]) + f[rows.CHINK]
        lost = 0.5 * folds.LOSS * f[rows.DENSITY] * flow * abs(flow) / area**2
        mean = 0.5 * (moved[n - 1] + after)
        damp = folds.contact_damping(f[rows.DAMP], half)
        found[n] = (below - (1.0 - share) * lost) * mean, damp * mean * mean
    return f[rows.SWEPT] * found


@long_run
@pytest.mark.parametrize("aim", [0.0, 40.0])
def test_folds_that_feel_a_horn_lose_over_whole_periods_what_the_air_does_on_them(aim):
    # In step with the horn, which sounds into the mouth; and pulled along from a sharper aim.
    setup = folded.tenor(time__rate_hz=48000.0)
    breath = blown(setup, 1.5)
    singer = folded.singer_for(setup, breath.size, folded.set_to(tension=-203.0 + aim))
    run = single.run(numbers_of(setup), breath, singer=singer)
    found = work_and_loss(singer.numbers[:, 0], run)
    late = naive_folds.crossings(run.half_gap[48000:]) + 48000.0
    air, tissue = found[int(np.ceil(late[0])) : int(np.ceil(late[-1]))].mean(axis=0)
    assert air == pytest.approx(tissue, rel=5e-3)
    assert tissue > 1e-4
    sung, played = (naive_folds.pitch(x[48000:], 48e3) for x in (run.half_gap, run.pressure))
    assert sung == pytest.approx(played, rel=1e-4)


@pytest.mark.parametrize("vowel", ["neutral", "u"])
def test_tract_and_mouth_without_loss_keep_their_energy(vowel):
    # Folds shut and held still, lips shut, walls that only weigh: waves, cavity and wall for ever.
    setup = folded.tenor(voice__vowel=vowel)
    singer = folded.singer_for(
        *(setup, 4000, folded.set_to(chink=0.0, lungs=0.0)),
        free=0.0,
        leak=0.0,
        leak_slope=0.0,
        wall_kept=1.0,
        lungs_fast=0.0,
        lungs_slow=0.0,
    )
    f, s = singer.numbers[:, 0], singer.state[:, 0]
    f[TUBE], f[rows.WALL_PUSHED] = 1.0, 2e-9
    wave = f[rows.MOUTH_WAVE] / 2.0
    f[rows.MOUTH_AT_ONCE] = 1.0 / (f[rows.STORED] + wave + f[rows.WALL_PUSHED])
    s[rows.HALF_GAP], s[rows.IN_MOUTH] = -1e-3, 300.0
    areas = [1.0]
    for share in f[rows.TUBE_SHARE :][: singer.steps.size - 1]:
        areas.append(areas[-1] * (1.0 - share) / (1.0 + share))
    by_step = np.repeat(np.array(areas) / areas[-1] * wave, singer.steps)

    def energy():
        cavity = 0.25 * f[rows.STORED] * s[rows.IN_MOUTH] ** 2
        weight = 0.25 * s[rows.WALL_FLOW] ** 2 / f[rows.WALL_PUSHED]
        return cavity + weight + np.sum(np.tile(by_step, 2) * singer.tube[:, 0] ** 2)

    begin = energy()
    mouth = sing_into_leak(singer)
    assert energy() == pytest.approx(begin, rel=1e-10)
    assert np.ptp(mouth) > 100.0
    assert not singer.flow.any()


# --- what holds for every singer -----------------------------------------------------------------


@long_run
def test_breath_is_the_mean_pressure_in_the_mouth():
    setup = folded.tenor()
    breath = blown(setup, 3.0)
    run = single.run(numbers_of(setup), breath, singer=folded.singer_for(setup, breath.size))
    late = slice(breath.size // 2, None)
    assert np.mean(run.mouth[late]) == pytest.approx(setup.breath.pressure, rel=0.01)
    assert np.ptp(run.half_gap[late]) > 2e-4
    assert np.ptp(run.mouth[late]) > 0.05 * setup.breath.pressure


def test_folds_that_are_not_free_stay_where_they_are():
    setup = folded.tenor()
    breath = blown(setup, 0.1)
    singer = folded.singer_for(setup, breath.size, free=0.0)
    begin = float(singer.state[rows.HALF_GAP, 0])
    run = single.run(numbers_of(setup), breath, singer=singer)
    assert (run.half_gap == begin).all()
    assert run.glottal_flow[-1] > 0.0


@long_run
def test_pitch_of_singing_folds_does_not_depend_on_the_rate():
    # Twice the steps to the same tube, the same gains and the same mouth: less than 0.2 cents. As
    # whole steps round the tube, its length and so the pitch of the leak may move by two.
    found = []
    for rate, steps in ((96e3, 48), (192e3, 96), (192e3, None)):
        setup = folded.tenor(time__rate_hz=rate)
        singer = folded.singer_for(setup, round(2.0 * rate))
        assert singer.steps.size == 1
        if steps:
            singer = singer._replace(
                steps=np.array([steps]),
                tube=np.zeros((2 * steps, 1)),
            )
            singer.numbers[rows.TUBE_GAIN] = cells.wave_gain(60.0, steps, 1.0 / rate)
            _of_same_air(singer, rate)
        sing_into_leak(singer)
        found.append(naive_folds.pitch(singer.half_gap[singer.half_gap.size // 2 :], rate))
    moved = 1200.0 * np.log2(np.array(found) / found[0])
    assert abs(moved[1]) < 0.2
    assert abs(moved[2]) < 2.0
    assert found[0] == pytest.approx(116.54, rel=0.01)


def _of_same_air(singer, rate):
    """Give the mouth the cavity that it has with 48 steps at 96 kHz."""
    usual = folded.singer_for(folded.tenor(), 1).numbers[:, 0]
    f = singer.numbers[:, 0]
    f[rows.STORED] = usual[rows.STORED] * rate / 96e3
    total = f[rows.STORED] + 0.5 * f[rows.MOUTH_WAVE] + f[rows.WALL_PUSHED]
    f[rows.MOUTH_AT_ONCE] = 1.0 / total


DRAWN = {
    "voice": ("frequency_hz", "fold_mass_kg_per_m2", "fold_length_mm", "gap_mm"),
    "tract": ("volume_ml",),
    "breath": ("pressure_kpa",),
}


def drawn(seed):
    """Draw folds, mouth and breath from all that is legal; and what solving may set them to."""
    dice = np.random.default_rng(seed)
    horn = [("cone", "high"), ("cylinder", "vent and row"), ("row behind a cone", "closed")][
        seed % 3
    ]
    setup = bores.setup_of(*horn).with_value("time.rate_hz", (48e3, 96e3)[seed // 3 % 2])
    setup = setup.with_value("voice.source", "pulse").with_value("voice.drive", "folds")
    for part, names in DRAWN.items():
        for name in names:
            setup = setup.with_value(f"{part}.{name}", between(dice, f"{part}.{name}"))
    setup = setup.with_value("voice.vowel", str(dice.choice(("none", "neutral", "a", "i", "u"))))
    solved = folded.set_to(
        tension=float(dice.uniform(-1400.0, 900.0)),
        chink=float(dice.choice((0.0, dice.uniform(0.0, 2.5e-5)))),
        lungs=float(dice.uniform(0.0, 4000.0)),
        flow=float(np.exp(dice.uniform(np.log(2e-5), np.log(1e-3)))),
    )
    return setup, solved


@pytest.mark.ci
@long_run
@pytest.mark.parametrize("fifty", range(4))
def test_no_legal_singer_diverges(fifty):
    # From all that can be set, and tension, chink, lungs and flow from beyond what is ever solved.
    moved = 0
    for seed in range(50 * fifty, 50 * fifty + 50):
        setup, solved = drawn(seed)
        breath = blown(setup, 0.3)
        singer = folded.singer_for(setup, breath.size, solved)
        run = single.run(numbers_of(setup), breath, singer=singer)
        assert burst(run) is None
        assert all(np.isfinite(trace).all() for trace in run)
        # Ten times any lungs.
        assert np.abs(run.mouth - breath).max() < 1e5
        moved += np.ptp(run.half_gap[run.half_gap.size // 2 :]) > 1e-4
    assert moved > 5


def test_reed_sees_the_mouth_of_the_singer():
    # What `numbers_of` puts in series with the reed is what the mouth of the folds loses at once.
    setup = folded.tenor()
    table, singer = numbers_of(setup).table, folded.singer_for(setup, 1)
    assert table[reed_rows.SOURCE] == singer.numbers[rows.MOUTH_AT_ONCE, 0]
    alone = numbers_of(setup.with_value("voice.drive", "pressure")).table
    whole = 1.0 / alone[reed_rows.CONDUCTANCE] + table[reed_rows.SOURCE]
    assert 1.0 / table[reed_rows.CONDUCTANCE] == pytest.approx(whole, rel=1e-12)
