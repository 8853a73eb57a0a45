"""The time step against the theory of the massless reed, of the free reed and of small signals."""

import itertools
import math
from typing import get_args

import naive
import numba
import numpy as np
import published_reed
import pytest

from reedbore.kernel import rows, single
from reedbore.kernel.compiler import compiled, plain
from reedbore.kernel.folds import NOBODY
from reedbore.kernel.numbers import Numbers, Taps
from reedbore.kernel.player import STILL
from reedbore.kernel.rows import LAY_DAMPED, NUMBERS, PAIRS, STATE
from reedbore.kernel.step import at_junction, bore_of
from reedbore.kernel.valve import VALVES
from reedbore.measures import pitch
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.reed import Reed
from reedbore.physics import reed
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")

TRIP = 7


def stepped_mouth(mouth):
    """A breath that starts softer for one trip, so that the tube is set into motion."""
    breath = np.full(120 * TRIP, mouth)
    breath[:TRIP] *= 0.7
    return breath


@pytest.mark.parametrize(
    ("mouth", "zeta", "returned"),
    [(0.30, 0.4, 0.95), (0.45, 0.4, 0.95), (0.48, 0.6, 0.98), (0.70, 0.3, 0.90), (2.0, 0.8, 0.95)],
)
def test_massless_reed_on_a_plain_tube_follows_the_published_equations(mouth, zeta, returned):
    # Wilson and Beavers 1974, McIntyre, Schumacher and Woodhouse 1983 (see `naive`): below and
    # above the threshold, with doubled period, beating, and blown shut.
    breath = stepped_mouth(mouth)
    numbers = naive.plain_tube(TRIP, returned, zeta)
    wanted = naive.outgoing_waves(breath, TRIP, returned, zeta)
    assert np.abs(single.run(numbers, breath).outgoing - wanted).max() < 1e-9


def test_massless_reed_on_a_plain_tube_is_the_iterated_map():
    # C. Maganza, R. Causse and F. Laloe, Europhys. Lett. 1, 295 (1986): one map a round trip.
    outgoing = single.run(naive.plain_tube(TRIP, 0.95, 0.4), stepped_mouth(0.45)).outgoing
    mapped = [published_reed.lambda_map(0.45, 0.4, 0.95, wave) for wave in outgoing[:-TRIP]]
    assert np.abs(outgoing[TRIP:] - mapped).max() < 1e-9


def test_massless_reed_settles_on_the_amplitude_of_raman():
    # J. Kergomard, in Mechanics of Musical Instruments, CISM Lectures 355, Springer 1995: without
    # losses the square wave has the amplitude √((1 - γ)(3γ - 1)); 0.40 gives 0.34641.
    breath = np.full(4000 * TRIP, 0.40)
    breath[:TRIP] = 0.28
    pressure = single.run(naive.plain_tube(TRIP, 1.0 - 1e-6, 0.4), breath).pressure
    assert np.ptp(pressure[-20 * TRIP :]) / 2.0 == pytest.approx(0.34641, abs=1e-4)


def test_soft_voice_below_threshold_moves_the_pressure_by_the_linear_law():
    # Wilson and Beavers 1974, linearised here: p̂/γ̂ = -ZF/(1 - ZF), F = ζ(3X - 1)/(2√X) the slope
    # of the flow at X = 1/4, ζ = 0.4: F = -0.1. With an impedance peak Z = 38.7 that is 0.7947.
    peak, half_period = 38.7, 100
    steady = 0.25 + reed.quasi_static_flow(0.25, 0.4) / peak
    numbers = naive.plain_tube(half_period, (peak - 1.0) / (peak + 1.0), 0.4)
    phase = np.arange(2 * half_period * 300) * math.pi / half_period
    pressure = single.run(numbers, steady * (1.0 + 1e-4 * np.sin(phase))).pressure
    last = slice(-2 * half_period, None)
    line = 2.0 * np.mean(pressure[last] * np.exp(-1j * phase[last]))
    assert abs(line) / (steady * 1e-4) == pytest.approx(3.87 / 4.87, rel=0.01)


# --- the reed by itself --------------------------------------------------------------------------


def falling_crossings(swing):
    """Moments [samples] at which a curve falls through zero."""
    at = np.flatnonzero((swing[:-1] > 0.0) & (swing[1:] <= 0.0))
    return at + swing[at] / (swing[at] - swing[at + 1])


@pytest.mark.parametrize(("frequency", "damping"), [(1000.0, 0.2), (1500.0, 0.1), (600.0, 0.4)])
def test_free_reed_swings_at_its_damped_frequency(frequency, damping):
    # Damped oscillator, textbook: ω √(1 - q²/4).
    numbers = naive.lone_reed(frequency, damping, 96000.0, start=1.5e-3)
    swing = single.run(numbers, np.zeros(1200)).opening - 1e-3
    played = 96000.0 / np.diff(falling_crossings(swing)).mean()
    assert played == pytest.approx(frequency * math.sqrt(1.0 - damping**2 / 4.0), rel=0.01)


@pytest.mark.parametrize(("frequency", "damping"), [(1000.0, 0.2), (1500.0, 0.1), (600.0, 0.4)])
def test_free_reed_dies_away_at_its_damping(frequency, damping):
    # Damped oscillator, textbook: the amplitude falls as exp(-q ω t / 2).
    numbers = naive.lone_reed(frequency, damping, 96000.0, start=1.5e-3)
    swing = single.run(numbers, np.zeros(1200)).opening - 1e-3
    crossings = falling_crossings(swing)
    marks = crossings.astype(int)
    dips = [-swing[a:b].min() for a, b in itertools.pairwise(marks)]
    fall = math.log(dips[0] / dips[-1]) / (crossings[-2] - crossings[0]) * 96000.0
    assert fall == pytest.approx(math.pi * damping * frequency, rel=0.01)


def test_reed_let_go_on_the_lay_never_swings_wider():
    # Passivity: contact with a stiff lay gives no energy back that was not put in.
    numbers = naive.lone_reed(1500.0, 0.1, 96000.0, start=2.6e-3)
    opening = single.run(numbers, np.zeros(2000)).opening
    assert opening.min() < 0.0
    assert opening.max() == opening[0]


def growth_of_bounces(steps, damping, *, lay_damps_more):
    """How much wider a reed thrown at the lay ever swings than three periods before."""
    most = 0.0
    for start, contact in itertools.product(np.geomspace(1.5e-3, 10.0, 20), (1.0, 1000.0)):
        numbers = naive.lone_reed(96000.0 / steps, damping, 96000.0, start, contact=contact)
        numbers.table[LAY_DAMPED] *= lay_damps_more
        swing = single.run(numbers, np.zeros(30 * steps)).opening - 1e-3
        widest = np.maximum(swing.reshape(10, -1).max(axis=1), 1e-4)
        most = max(most, (widest / np.append(start - 1e-3, widest[:-1])).max())
    return most


@pytest.mark.parametrize(("steps", "damping"), [(10, 0.05), (10, 0.2), (60, 0.1)])
def test_no_bounce_off_the_lay_gains_more_than_the_flight_to_the_next_one_loses(steps, damping):
    # Passivity, from a touch to ten thousand openings deep; with the reed's own damping alone
    # it does not hold.
    assert growth_of_bounces(steps, damping, lay_damps_more=True) <= 1.0
    assert growth_of_bounces(steps, damping, lay_damps_more=False) > 1.2


def test_breath_that_is_slow_to_come_bends_the_reed_like_a_spring():
    # Hooke's law: with a channel that leaks nothing and no return, h = H - Δp/K.
    numbers = naive.lone_reed(1500.0, 1.0, 96000.0, start=1e-3, stiffness=1e7)
    opening = single.run(numbers, np.full(4000, 3000.0)).opening
    assert opening[-1] == pytest.approx(0.7e-3, rel=1e-9)


def partials_of_fast_reed(dynamics):
    """Partials [Pa] of the plain cylinder with a reed far above those that matter.

    Phases count from that of the first partial: the inertia of the reed lowers the pitch by a few
    cents, which is no part of the waveform.
    """
    setup = setup_for(load_horn("plain-cylinder")).with_value("voice.source", "off")
    faster = {"reed.frequency_hz": 20000.0, "reed.area_mm2": 0.0, "reed.dynamics": dynamics}
    for key, value in (faster | {"time.rate_hz": 384000.0}).items():
        setup = setup.with_value(key, value)
    tone = single.run(numbers_of(setup), blown(setup, 0.8)).pressure[-76800:]
    hz = pitch.refine(tone, 384000.0, pitch.fundamental(tone, 384000.0).hz)
    turns = np.arange(1, 40)[:, None] * np.arange(tone.size) * (hz / 384000.0)
    lines = np.exp(-2j * math.pi * turns) @ (tone * np.hanning(tone.size)) * (4.0 / tone.size)
    return lines * np.exp(-1j * np.angle(lines[0]) * np.arange(1, 40))


@long_run
def test_fast_reed_plays_the_waveform_of_a_massless_one():
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): far below its resonance
    # the reed follows the pressure at once. 384 kHz, so that the 20 kHz reed itself is resolved.
    heavy, light = partials_of_fast_reed("mass"), partials_of_fast_reed("massless")
    assert np.linalg.norm(light) > 500.0
    assert np.linalg.norm(heavy - light) < 0.05 * np.linalg.norm(light)


# --- a junction above a vent ---------------------------------------------------------------------


@pytest.mark.parametrize("wider", [1.0, 1.3])
def test_a_junction_takes_and_gives_no_power(wider):
    # Waves in, of any kind, and silence until the air of the tip is at rest: Σ Y p² of what goes
    # away is that of what came. A mass moved by the trapezoidal rule is a pure reactance.
    mass = 0.05
    whole = 1.0 + wider + mass
    table, state = np.zeros((NUMBERS, 1)), np.zeros((STATE, 1))
    table[rows.JUNCTION_TUBE] = 2.0 / whole - 1.0
    table[rows.JUNCTION_CONE] = 2.0 * wider / whole - 1.0
    table[rows.JUNCTION_TIP] = 2.0 * mass / whole
    came = np.zeros((2000, 2))
    came[:500] = np.random.default_rng(3).normal(size=(500, 2))
    went = np.array([at_junction(table, state, 0, *waves) for waves in came])
    # Two waves at one place are one pressure, whichever side they are on.
    assert went[:, 0] + came[:, 0] == pytest.approx(went[:, 1] + came[:, 1], abs=1e-12)
    power = [(waves**2).sum(axis=0) @ (1.0, wider) for waves in (came, went)]
    assert power[1] == pytest.approx(power[0], rel=1e-9)


# --- one text, plain and compiled ----------------------------------------------------------------


# Each of them is another loop to compile; these two have each choice once.
SOME_STEPS = ("mass", False, True), ("massless", True, False)


@pytest.mark.parametrize(
    ("valve", "vented", "coupled"),
    [
        pytest.param(*kind, marks=[] if kind in SOME_STEPS else pytest.mark.ci)
        for kind in itertools.product(VALVES, (False, True), (False, True))
    ],
)
def test_one_plain_step_is_the_compiled_step(valve, vented, coupled):
    # Consistency, on a state in which nothing is zero, with all pole pairs in use.
    table, state = np.random.default_rng(5).uniform(0.1, 0.9, (2, NUMBERS, 1))
    taps = Taps(2, np.array((0.1, 0.4, 0.3, 0.2)))
    echoes, places = np.array((0.3, 0.2)), np.array((1, 3))
    numbers = Numbers(
        *(table[:, 0], PAIRS, taps, taps if vented else None, echoes, places),
        *(1, 1e-3, valve, coupled, 300.0, taps if vented else None),
    )
    ends = []
    for how in (compiled, plain):
        memory, line = state[:STATE].copy(), np.linspace(0.1, 0.9, 6)
        bore = bore_of(numbers, line, 4)
        if vented:
            bore.line[:], bore.onward[:] = np.linspace(0.2, 0.7, 6), np.linspace(0.8, 0.3, 6)
        traces = np.zeros((3, 1))
        single.make_run(valve, coupled, how)(
            *(table, memory, bore, NOBODY, STILL, np.array([1.3]), *traces, line, 0, 1),
        )
        ends.append(np.concatenate((memory[:, 0], line, bore.line, bore.onward, traces[:, 0])))
    assert np.abs(ends[0] - ends[1]).max() < 1e-12 * np.abs(ends[0]).max()


def test_valves_are_those_that_a_reed_may_have():
    # A new one is named twice: where players choose it and where the time step finds it.
    assert set(VALVES) == set(get_args(Reed.model_fields["dynamics"].annotation))
