"""Whole runs of one setup: plain and compiled, without voice, without breath, at the limits."""

import math

import bores
import numba
import numpy as np
import ode
import pytest
from folded import BB2_MM
from hypothesis import given, settings
from hypothesis import strategies as st

from reedbore.errors import ModelError
from reedbore.kernel import rows, single
from reedbore.kernel.compiler import plain
from reedbore.kernel.numbers import vent_rise
from reedbore.kernel.player import LIP, Player
from reedbore.kernel.rows import (
    BRANCHES,
    PAIRS,
    POLES,
    UPPER_POLES,
    UPSTREAM_PAIRS,
    UPSTREAM_POLES,
)
from reedbore.kernel.step import bore_of, from_bore, vent_share
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.acoustics.numbers import LEAST_STEPS, lay_damped, numbers_of
from reedbore.simulate.take import again, render
from reedbore.simulate.tuning import blown

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
HORNS = ("tenor-saxophone", "plain-cylinder", "plain-cone")
MILLIMETRES = {"tenor-saxophone": BB2_MM, "plain-cylinder": 711.0, "plain-cone": 700.0}


def horn_setup(horn, **changes):
    """A horn without voice; changes are named reed__opening_mm and so on."""
    setup = setup_for(load_horn(horn)).with_value("bore.length_mm", MILLIMETRES[horn])
    for key, value in ({"voice__source": "off"} | changes).items():
        setup = setup.with_value(key.replace("__", "."), value)
    return setup


# --- one text, plain and compiled ----------------------------------------------------------------


@pytest.mark.parametrize("horn", HORNS)
@pytest.mark.parametrize("dynamics", ["mass", "massless"])
def test_plain_run_is_the_compiled_run(horn, dynamics):
    # Consistency; the voice and a quick rise bring everything into motion within 50 ms.
    setup = horn_setup(horn, reed__dynamics=dynamics, breath__rise_ms=5.0)
    numbers = numbers_of(setup)
    mouth = blown(setup, 0.05) * (1.0 + 0.3 * np.sin(0.01 * np.arange(4800)))
    loop = single.make_run(dynamics, compile_with=plain)
    both = single.run(numbers, mouth), single.run(numbers, mouth, loop)
    for ours, theirs in zip(*(traces[:4] for traces in both), strict=True):
        assert np.abs(ours - theirs).max() <= 1e-12 * np.abs(ours).max()


# --- against a solver of differential equations --------------------------------------------------


@pytest.mark.parametrize("depth", [0.0, 0.3])
def test_step_follows_the_solver_of_scipy_twice_as_finely_four_times_as_closely(depth):
    # Rival: scipy.integrate.solve_ivp, method LSODA (A. C. Hindmarsh, ODEPACK, 1983), on the same
    # equations in continuous time: a beating reed, mouthpiece and throat of a cone without end.
    exact, opening = ode.solved(ode.endless_cone(), 0.06, depth)
    errors = []
    for times in (1, 2):
        ours = ode.stepped(ode.endless_cone(times * 96000.0), 0.06, depth)[::times]
        errors.append(np.sqrt(np.mean((ours - exact) ** 2)) / np.std(exact))
    assert opening.min() < 0.0  # it does beat
    assert errors[0] < 3e-3
    assert errors[1] < errors[0] / 3.0


# --- a setup as numbers --------------------------------------------------------------------------


VENT_ROWS = rows.NUMBERS - rows.UPPER_DIRECT
MOUTH_ROWS = rows.DIRECT - rows.SERIES


def unused_pairs(numbers):
    """How many rows are kept for pole pairs that this bore does without."""
    return 4 * (PAIRS - numbers.pairs)


def test_numbers_of_the_plain_cone_fill_the_table():
    # No row is forgotten: the plain cone has a mass, a mouthpiece, losses and a cone.
    # A barely damped reed needs a lay that damps more.
    numbers = numbers_of(horn_setup("plain-cone", reed__damping=0.05))
    assert numbers.table.shape == (rows.NUMBERS,)
    assert np.isfinite(numbers.table).all()
    rest = VENT_ROWS + MOUTH_ROWS + unused_pairs(numbers)
    assert numbers.pairs == 1
    assert np.count_nonzero(numbers.table) == rows.NUMBERS - rest
    assert not numbers.table[rows.UPPER_DIRECT :].any()


def test_numbers_of_a_coupled_cone_with_holes_and_a_vent_fill_the_table():
    # No row is forgotten: with a tube, an open vent and a coupled mouth those of all three.
    setup = bores.setup_of("mouthpiece, cone and holes", "upper vent")
    setup = setup.with_value("tract.coupling", "on")
    setup = setup.with_value("reed.damping", 0.05)
    numbers = numbers_of(setup.with_value("voice.vowel", "a"))
    assert numbers.pairs > 1
    assert numbers.echoes.all()
    assert np.isfinite(numbers.table).all()
    assert np.count_nonzero(numbers.table) == rows.NUMBERS - unused_pairs(numbers)


def test_numbers_of_the_reed_follow_from_the_setup():
    # Definitions: closing pressure K H, area of the slit by √(2/ρ), stiffness of the lay by that
    # of the reed.
    setup = horn_setup("plain-cone", reed__opening_mm=0.8, reed__contact=50.0)
    numbers, density = numbers_of(setup), gas_of(setup).density
    table = numbers.table
    assert table[rows.CLOSING] == pytest.approx(7e6 * 0.8e-3)
    assert table[rows.SLIT] == pytest.approx(14e-3 * 0.8e-3 * (2.0 / density) ** 0.5)
    assert table[rows.CONTACT] * 0.8e-3 == pytest.approx(50.0)
    assert numbers.opening == table[rows.REST] == pytest.approx(0.8e-3)


def test_the_lay_damps_more_than_the_reed_only_where_that_is_not_enough():
    fastest = 2.0 * math.pi / LEAST_STEPS
    assert lay_damped(0.45, fastest) == 0.0
    assert lay_damped(0.4, fastest) > 0.0
    assert lay_damped(0.25, fastest / 5.0) == 0.0
    # The bound: at the deepest first grip, x = 1, a bounce gains what half a period loses.
    stiff, damped = fastest**2 / 4.0, 0.1 * fastest / 2.0
    share = (damped + lay_damped(0.1, fastest)) / stiff
    kept = math.exp(-0.05 * math.pi / (1.0 + stiff))
    assert (3.0 + share) / (1.0 + share) * kept == pytest.approx(1.0)


def test_rows_of_the_tables_do_not_overlap():
    # Each row has one meaning: the blocks follow each other and end where the table ends.
    blocks = [rows.STIFF, rows.CHANNEL, rows.WAVE, rows.CLOSING, rows.DECAY, rows.INFLOW]
    blocks += [rows.BACKFLOW, rows.SERIES, rows.MOUTH_GAIN, rows.MOUTH_POLE, rows.MOUTH_TURN]
    blocks += [rows.MOUTH_SHRINK, rows.MOUTH_PAIR_GAIN, rows.MOUTH_PAIR_SLOPE]
    blocks += [rows.DIRECT, rows.GAIN, rows.POLE, rows.FADE, rows.TURN, rows.SHRINK]
    blocks += [rows.PAIR_GAIN, rows.PAIR_SLOPE, rows.UPPER_DIRECT, rows.UPPER_GAIN, rows.UPPER_POLE]
    sizes = np.diff([*blocks, rows.VENT_MASS, rows.JUNCTION_TUBE, rows.NUMBERS])
    mouth = [5, *2 * [UPSTREAM_POLES], *4 * [UPSTREAM_PAIRS]]
    bore = [BRANCHES, BRANCHES, BRANCHES, *mouth, 1, POLES, POLES, 1, PAIRS, PAIRS, PAIRS, PAIRS]
    assert list(sizes) == [6, 3, 2, 2, *bore, 1, UPPER_POLES, UPPER_POLES, 4, 3]


def test_rows_of_the_state_do_not_overlap():
    # The same for what changes in time.
    blocks = [rows.OPENING, rows.MEMORY, rows.THROAT_FLOW, rows.RINGING, rows.RINGING_BEFORE]
    blocks += [rows.UPPER_MEMORY, rows.VENT_FLOW, rows.TIP_FLOW, rows.IN_MOUTH, rows.MOUTH_MEMORY]
    sizes = np.diff([*blocks, rows.MOUTH_RINGING, rows.MOUTH_RINGING_BEFORE, rows.STATE])
    mouth = [2, UPSTREAM_POLES, UPSTREAM_PAIRS, UPSTREAM_PAIRS]
    assert list(sizes) == [4, POLES, BRANCHES, PAIRS, PAIRS, UPPER_POLES, 2, 1, *mouth]


# --- before and at the first step ----------------------------------------------------------------


@pytest.mark.parametrize(("horn", "fingers"), [("cone", "vent"), ("cylinder", "closed")])
def test_first_step_hears_all_of_its_delay_lines_and_nothing_that_has_not_left_yet(horn, fingers):
    # What it reads is there, before the place of the step itself.
    numbers = numbers_of(bores.setup_of(horn, fingers))
    leaving = np.zeros(numbers.lead + 1)
    bore = bore_of(numbers, leaving, 0)
    leaving[-1] = bore.line[-1] = math.nan
    table, state = numbers.table.reshape(-1, 1), np.zeros((rows.STATE, 1))
    assert from_bore(table, state, 0, bore, leaving, numbers.lead) == 0.0
    leaving[0] = bore.line[0] = 1.0
    assert from_bore(table, state, 0, bore, leaving, numbers.lead) != 0.0


@pytest.mark.parametrize("opens", [0, 500])
def test_a_vent_that_was_always_open_has_opened_before_the_first_step(opens):
    # It opens in a hundredth of a second: 960 steps.
    numbers = numbers_of(bores.setup_of("cone", "vent"))._replace(vent_opens=opens)
    share = [vent_share(n, numbers.vent_begins, vent_rise(96e3)) for n in (0, 500, 980, 1460)]
    assert share == ([1.0] * 4 if opens == 0 else [0.0, 0.0, 0.5, 1.0])


def test_a_run_without_folds_leaves_nothing_of_any():
    found = single.run(numbers_of(horn_setup("plain-cone")), np.zeros(1))
    sizes = [trace.size for trace in found]
    assert sizes == [1, 1, 1, 1, 0, 0, 0, 0]


# --- a reed that is held otherwise while it sounds -----------------------------------------------


@pytest.mark.parametrize("coupling", ["off", "on"])
def test_parts_that_go_on_from_each_other_are_the_whole_run(coupling):
    # Bit for bit; with a tube, a vent that opens meanwhile, and a part shorter than its delays.
    setup = bores.setup_of("mouthpiece, cone and holes", "upper vent")
    setup = setup.with_value("tract.coupling", coupling).with_value("breath.rise_ms", 5.0)
    numbers = numbers_of(setup)._replace(vent_opens=700)
    mouth = blown(setup, 0.05)
    sounding = single.Sounding(numbers)
    parts = [sounding.go_on(numbers, part) for part in np.split(mouth, [600, 610, 1500])]
    whole = single.run(numbers, mouth).pressure
    assert whole.any()
    assert np.array_equal(np.concatenate(parts), whole)


def test_a_reed_held_otherwise_from_a_step_on_is_one_that_a_lip_moves_then():
    # Rival: a lip that changes the rows of the same reed, within one step of the table.
    setup = horn_setup("tenor-saxophone", breath__rise_ms=5.0)
    firmer = setup.with_value("reed.opening_mm", 0.9).with_value("reed.stiffness_kpa_per_mm", 9.0)
    mouth, half = blown(setup, 0.05), 2400
    sounding = single.Sounding(numbers_of(setup))
    ours = [sounding.go_on(numbers_of(one), mouth[:half]) for one in (setup, firmer)]
    held = [numbers_of(one).table[list(LIP)] for one in (setup, firmer)]
    lip = np.repeat(held, half, axis=0)
    player = Player(np.vstack((lip, lip[-1:])), 1, np.zeros(0), np.zeros(0))
    both = np.concatenate((mouth[:half], mouth[:half]))
    theirs = single.run(numbers_of(setup), both, player=player).pressure
    assert np.array_equal(ours[0], theirs[:half])
    assert np.abs(ours[1] - theirs[half:]).max() <= 1e-9 * np.abs(theirs).max()
    assert not np.allclose(ours[1], single.run(numbers_of(setup), both).pressure[half:])


# --- voice ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("horn", HORNS)
def test_voice_of_no_depth_is_no_voice(horn):
    # Bit for bit: nothing of the voice may leak in by another way than its depth.
    silent = render(horn_setup(horn), 0.1)
    dumb = render(horn_setup(horn, voice__source="pulse", voice__depth=0.0), 0.1)
    for off, unsung in zip(silent.traces, dumb.traces, strict=True):
        assert np.array_equal(off, unsung)
    assert np.array_equal(silent.sound, dumb.sound)


def test_run_again_without_voice_is_the_run_of_a_silent_voice():
    # Bit for bit, and with a voice it is not.
    sung = horn_setup("plain-cylinder", voice__source="pulse", voice__depth=0.2)
    control = again(sung, 0.1, voice=False).traces.pressure
    assert np.array_equal(control, again(horn_setup("plain-cylinder"), 0.1).traces.pressure)
    assert not np.array_equal(control, again(sung, 0.1).traces.pressure)


# --- energy --------------------------------------------------------------------------------------


def levels_after_breath(setup, seconds=0.8, off=0.2, window=0.1):
    """Level [Pa] of the outgoing wave in windows after the breath stops, and all of the run."""
    rate = setup.time.rate
    mouth = blown(setup, seconds)
    mouth[round(off * rate) :] = 0.0
    traces = single.run(numbers_of(setup), mouth)
    length = round(window * rate)
    after = traces.outgoing[round(off * rate) :]
    windows = after[: after.size // length * length].reshape(-1, length)
    return np.sqrt(np.mean(windows**2, axis=1)), traces


@long_run
@pytest.mark.parametrize("dynamics", ["mass", "massless"])
@pytest.mark.parametrize("horn", HORNS)
def test_without_breath_the_wave_only_fades(horn, dynamics):
    # Passivity of reed, channel and bore.
    levels, _ = levels_after_breath(horn_setup(horn, reed__dynamics=dynamics))
    assert levels[0] > 10.0
    assert (np.diff(levels[1:]) <= 0.0).all()


def spread(low, high):
    """Values spread evenly in their logarithm."""
    return st.floats(0.0, 1.0).map(lambda x: min(max(low * (high / low) ** x, low), high))


ANY_SETUP = st.fixed_dictionaries(
    {
        "reed__opening_mm": spread(0.05, 3.0),
        "reed__width_mm": spread(3.0, 30.0),
        "reed__stiffness_kpa_per_mm": spread(0.5, 100.0),
        "reed__frequency_hz": spread(200.0, 6000.0),
        "reed__damping": spread(0.1, 10.0),
        "reed__area_mm2": st.floats(0.0, 800.0),
        "reed__contact": spread(1.0, 1000.0),
        "reed__dynamics": st.sampled_from(["mass", "massless"]),
        "breath__pressure_kpa": st.floats(0.1, 20.0),
        "mouthpiece__volume_ml": st.sampled_from([0.0, 6.0, 40.0]),
    }
)
"""Legal setups of a reed that 96 kHz resolves."""


@long_run
@settings(max_examples=25, deadline=None, derandomize=True)
@given(horn=st.sampled_from(HORNS), changes=ANY_SETUP)
def test_any_reed_stays_within_bounds_and_gets_no_louder_without_breath(horn, changes):
    # Passivity: all power comes from the breath. Outgoing waves seen here reach eight breaths.
    setup = horn_setup(horn, **changes)
    levels, traces = levels_after_breath(setup, seconds=0.5)
    blowing = np.abs(traces.outgoing[:19200]).max()
    assert all(np.isfinite(trace).all() for trace in traces)
    assert blowing < 20.0 * setup.breath.pressure
    assert levels[1:].max() <= blowing


def test_a_reed_too_fast_for_the_rate_is_refused():
    # Its contact with the lay would gain energy: at 44.1 kHz such a one once reached 1e8 Pa.
    reed = {"opening_mm": 0.263, "stiffness_kpa_per_mm": 0.558, "frequency_hz": 11747.0}
    changes = {f"reed__{name}": value for name, value in reed.items()}
    setup = horn_setup("plain-cone", **changes, time__rate_hz=44100.0)
    with pytest.raises(ModelError, match=r"reed\.frequency_hz is 11747 Hz; allowed up to 4410 Hz"):
        numbers_of(setup)
