"""Folds of one mass: onset, pitch, flow and energy against closed formulas and told voices.

"Evaluated here" marks a number computed apart from the code, from the published formula named.
Pressures below are those across the folds, with no air columns unless said.
"""

import math

import numpy as np
import published_folds
import pytest
from hypothesis import given
from hypothesis import strategies as st
from naive_folds import DENSITY, sing
from scipy.optimize import brentq

from reedbore.physics import folds

USUAL = folds.VOICES["usual"]


def damping_of(fold, hz):
    return folds.damping(fold.mass, folds.stiffness(fold.mass, hz), fold.damping_ratio)


def onset(fold, hz):
    """Pressure above which a swing of a thousandth of the gap grows."""

    def growth(pressure):
        gap = np.abs(sing(fold, hz, pressure, 0.25, start=1e-3 * fold.gap).gap - fold.gap)
        return math.log(gap[-2000:].max() / gap[2000:4000].max())

    expected = folds.threshold_pressure(damping_of(fold, hz), fold.gap, fold.delay)
    low, high = 0.97 * expected, 1.03 * expected
    below, above = growth(low), growth(high)
    return low - below * (high - low) / (above - below)


# --- onset ---------------------------------------------------------------------------------------


def test_onset_of_the_first_published_folds():
    # I. R. Titze, J. Acoust. Soc. Am. 83, 1536 (1988), set from memory, evaluated here:
    # 1.1 · 1000 · x₀ · 1/0.003 at c = 1 m/s is 183 Pa at half a millimetre.
    damp = damping_of(published_folds.TITZE, math.sqrt(2e6 / 4.76) / (2.0 * math.pi))
    assert damp == pytest.approx(1000.0, rel=1e-12)
    assert folds.threshold_pressure(damp, 0.5e-3, 1.5e-3) == pytest.approx(183.3, abs=0.1)


@pytest.mark.parametrize(
    ("hz", "gap", "pascals"),
    [(110.0, 0.3e-3, 171.1), (220.0, 0.3e-3, 342.1), (220.0, 0.45e-3, 513.2)],
)
def test_folds_begin_to_sing_at_the_published_threshold(hz, gap, pascals):
    # I. R. Titze, J. Acoust. Soc. Am. 83, 1536 (1988): P = k_t B x₀/2τ, evaluated here.
    fold = USUAL._replace(gap=gap)
    told = folds.threshold_pressure(damping_of(fold, hz), gap, fold.delay)
    assert told == pytest.approx(pascals, rel=5e-4)
    assert onset(fold, hz) == pytest.approx(pascals, rel=5e-3)


def test_a_slow_wave_lowers_the_onset_as_if_it_were_fast():
    # Limit of J. C. Lucero et al., J. Acoust. Soc. Am. 129, 1568 (2011): sin ωτ → ωτ. At
    # ωτ = π/4 the sine is 0.9003 of its angle.
    slow = published_folds.threshold_pressure_lucero(1000.0, 1e-3, 1e-3, 125.0)
    assert folds.threshold_pressure(1000.0, 1e-3, 1e-3) / slow == pytest.approx(0.9003, abs=1e-4)
    quick = published_folds.threshold_pressure_lucero(1000.0, 1e-3, 1e-3, 0.1)
    assert quick == pytest.approx(folds.threshold_pressure(1000.0, 1e-3, 1e-3), rel=1e-6)


def test_onset_scales_with_its_units():
    # Units: lengths × s and times × q: the damping [Pa s/m] over times and lengths is a pressure.
    plain = folds.threshold_pressure(800.0, 0.3e-3, 0.4e-3)
    assert folds.threshold_pressure(800.0 * 5.0 / 3.0, 0.9e-3, 2e-3) == pytest.approx(plain)


@pytest.mark.parametrize(
    ("hz", "inertance", "pascals"),
    [(110.0, 400.0, 109.9), (110.0, 800.0, 72.0), (220.0, 400.0, 249.9), (220.0, 800.0, 183.9)],
)
def test_air_above_lowers_the_onset(hz, inertance, pascals):
    # I. R. Titze, J. Acoust. Soc. Am. 83, 1536 (1988), with the jet's speed: evaluated here.
    told = published_folds.threshold_pressure_loaded(
        damping_of(USUAL, hz), USUAL.gap, USUAL.delay, USUAL.length, inertance, DENSITY
    )
    assert told == pytest.approx(pascals, abs=0.1)


def test_without_air_above_the_onset_is_the_plain_one():
    plain = folds.threshold_pressure(829.0, 0.3e-3, 0.4e-3)
    loaded = published_folds.threshold_pressure_loaded(829.0, 0.3e-3, 0.4e-3, 14e-3, 0.0, DENSITY)
    assert loaded == pytest.approx(plain, rel=1e-12)


def loaded_growth(pressure, hz, inertance):
    """Growth rate of the linearised folds below a mass of air; rows are gap, speed, flow."""
    stiff, area = folds.stiffness(USUAL.mass, hz), 2.0 * USUAL.length * USUAL.gap
    flow = area * folds.jet_speed(pressure, DENSITY)
    slope = 2.0 * pressure / flow  # of the pressure across the folds with the flow
    by_area = 2.0 * pressure / area  # and, at that flow, with the area
    swing = -slope, by_area * 2.0 * USUAL.length, -by_area * 2.0 * USUAL.length * USUAL.delay
    air = np.array([swing[1], swing[2], swing[0]])
    own = np.array([-stiff, -damping_of(USUAL, hz), 0.0])
    own[1] += 2.0 * pressure * USUAL.delay / (folds.LOSS * USUAL.gap)
    system = np.array([[0.0, 1.0, 0.0], (own + air) / USUAL.mass, air / inertance])
    return np.linalg.eigvals(system).real.max()


@pytest.mark.parametrize(
    ("hz", "inertance", "pascals"),
    [(110.0, 400.0, 112.5), (110.0, 800.0, 82.5), (220.0, 400.0, 259.8), (220.0, 800.0, 221.0)],
)
def test_linear_folds_under_a_mass_of_air_start_a_little_above_the_short_formula(
    hz, inertance, pascals
):
    # Eigenvalues of the equations of I. R. Titze, J. Acoust. Soc. Am. 83, 1536 (1988), written
    # out above; the short formula lets the flow follow the gap at once.
    exact = brentq(loaded_growth, 20.0, 400.0, args=(hz, inertance))
    short = published_folds.threshold_pressure_loaded(
        damping_of(USUAL, hz), USUAL.gap, USUAL.delay, USUAL.length, inertance, DENSITY
    )
    assert exact == pytest.approx(pascals, abs=0.1)
    assert 1.0 < exact / short < 1.21


# --- starting and stopping -----------------------------------------------------------------------


def swells_and_dies():
    """Pressures over the onset at which a voice starts and stops as they rise and fall slowly."""
    fold, rate = USUAL, 24e3
    told = folds.threshold_pressure(damping_of(fold, 150.0), fold.gap, fold.delay)
    way = np.concatenate([np.linspace(0.98, 1.3, 24_000), np.linspace(1.3, 0.6, 36_000)])
    gap = sing(fold, 150.0, way * told, 2.5, rate, start=3e-6).gap
    loud = np.flatnonzero(np.abs(gap - fold.gap) > 0.3 * fold.gap)
    return way[loud[0]], way[loud[-1]]


def test_voice_stops_at_a_lower_pressure_than_it_starts():
    # J. C. Lucero et al., J. Acoust. Soc. Am. 129, 1568 (2011): where η x₀² < 1 the onset is
    # subcritical, and a voice that sings goes on below it.
    starts, stops = swells_and_dies()
    assert starts > 1.0
    assert stops < 0.9


def test_swing_needs_more_or_less_pressure_on_either_side_of_luceros_condition():
    # J. C. Lucero et al., J. Acoust. Soc. Am. 129, 1568 (2011), eq. 19 (second hand):
    # subcritical if η x₀² < 1.
    rest = 0.3e-3
    for criterion, sign in ((0.9, -1.0), (1.1, 1.0)):
        growth = criterion / rest**2
        needed = published_folds.sustaining_pressure(100.0, 0.1 * rest, rest, growth) - 100.0
        assert math.copysign(1.0, needed) == sign
    assert published_folds.sustaining_pressure(100.0, 0.0, rest) == 100.0


def test_pressure_that_sustains_a_swing_is_that_of_work_and_loss():
    # Work and loss of I. R. Titze's force, J. Acoust. Soc. Am. 83, 1536 (1988), over a
    # sinusoidal period, by quadrature; a slow wave's own share of the gap is left out.
    rest, swing, growth, delay = 0.3e-3, 0.21e-3, 8e6, 1e-9
    angle = np.arange(4096) * 2.0 * math.pi / 4096
    out, speed = swing * np.cos(angle), -swing * 1000.0 * np.sin(angle)
    per_pascal = np.mean(
        [
            folds.pressure_share(*folds.edges(rest + y, v, delay)) * v
            for y, v in zip(out, speed, strict=True)
        ]
    )
    loss = np.mean(
        [
            published_folds.swing_damping(500.0, growth, y) * v * v
            for y, v in zip(out, speed, strict=True)
        ]
    )
    threshold = folds.threshold_pressure(500.0, rest, delay)
    told = published_folds.sustaining_pressure(threshold, swing, rest, growth)
    assert loss / per_pascal == pytest.approx(told, rel=1e-6)


# --- the note ------------------------------------------------------------------------------------


def test_pitch_and_flow_of_the_usual_folds():
    # Computed apart from this code, at 96 kHz: 253.6 Hz, open for 0.567 of the time, mean flow
    # 0.35 and peak 1.02 litres a second. That program took the velocity half a step late.
    note = sing(USUAL, 220.0, 1000.0, rate=96e3).late()
    assert note.hz == pytest.approx(253.6, abs=0.3)
    assert note.open_quotient == pytest.approx(0.567, abs=0.01)
    assert note.flow.mean() == pytest.approx(0.35e-3, rel=0.02)
    assert note.flow.max() == pytest.approx(1.02e-3, rel=0.02)


def test_pitch_does_not_depend_on_the_rate():
    # Convergence: half the step moves the pitch by less than 0.2 cent.
    coarse, fine = (sing(USUAL, 220.0, 1000.0, 0.5, rate).late() for rate in (96e3, 192e3))
    assert abs(1200.0 * math.log2(fine.hz / coarse.hz)) < 0.2


def test_pitch_rises_with_pressure_as_it_does_in_singers():
    # I. R. Titze, J. Acoust. Soc. Am. 85, 901 (1989): 2 to 6 Hz per cmH₂O, 20 to 60 Hz per
    # kilopascal (from memory).
    low, high = (sing(USUAL, 220.0, pressure).late().hz for pressure in (800.0, 1500.0))
    assert 20.0 < (high - low) / 0.7 < 60.0


def test_pitch_rises_with_tension():
    # Definition: 100 cents of tension are 100 cents of natural frequency; the collision, which
    # stiffens too, and the pressure, which does not, keep the voice within a fifth of that.
    low, high = (
        sing(USUAL, 110.0 * 2.0 ** (cents / 1200.0), 1000.0).late().hz for cents in (0.0, 100.0)
    )
    assert 1200.0 * math.log2(high / low) == pytest.approx(100.0, abs=20.0)
    stiff = folds.stiffness(3.0, 110.0, 100.0)
    assert stiff == pytest.approx(folds.stiffness(3.0, 110.0 * 2.0 ** (1.0 / 12.0)), rel=1e-12)


def test_pressed_folds_close_for_longer():
    # Adduction: a smaller gap at the same pressure leaves less of the period open.
    quotients = [
        sing(USUAL._replace(gap=gap), 150.0, 900.0).late().open_quotient
        for gap in (0.1e-3, 0.2e-3, 0.4e-3)
    ]
    assert quotients[0] < quotients[1] < quotients[2] < 1.0


def test_flow_leans_towards_the_end_of_the_open_phase():
    # M. Rothenberg, J. Acoust. Soc. Am. 53, 1632 (1973), inverse-filtered flows: they fall faster
    # than they rise (from memory). Without a tract it is the folds' own doing: the upper edge lags.
    note = sing(USUAL, 110.0, 1000.0).late()
    slopes = np.diff(note.flow)
    assert slopes.min() < -1.2 * slopes.max()


@pytest.mark.parametrize("name", folds.VOICES)
def test_every_voice_sings_low(name):
    # At 116 Hz and twice its own onset, each of the nine pairs swings by more than half its gap.
    fold = folds.VOICES[name]
    pressure = 2.0 * folds.threshold_pressure(damping_of(fold, 116.0), fold.gap, fold.delay)
    note = sing(fold, 116.0, pressure, 0.4, start=0.3 * fold.gap).late(0.3)
    assert np.ptp(note.gap) > fold.gap
    assert 110.0 < note.hz < 160.0


def test_folds_below_their_onset_do_not_sing():
    note = sing(USUAL, 220.0, 0.75 * 342.1, 0.4)
    assert np.ptp(note.late(0.1).gap) < 1e-2 * np.ptp(note.gap)


def test_voices_are_three_masses_by_three_gaps():
    pairs = {(fold.mass, fold.gap) for fold in folds.VOICES.values()}
    assert pairs == {(m, g) for m in (2.0, 3.0, 5.0) for g in (0.15e-3, 0.30e-3, 0.45e-3)}


@pytest.mark.parametrize("name", folds.KINDS)
def test_kinds_of_voices_have_ranges(name):
    for low, high in folds.KINDS[name]:
        assert 0.0 < low < high


# --- the glottis ---------------------------------------------------------------------------------


@given(
    drive=st.floats(-1e4, 1e4),
    area=st.floats(1e-9, 1e-4),
    impedance=st.floats(0.0, 1e7),
)
def test_glottal_flow_solves_its_equation(drive, area, impedance):
    # By putting it back: Δ = ZU + k_t ρ |U|U/2a².
    flow = folds.glottal_flow(drive, area, impedance, DENSITY)
    lost = 0.5 * folds.LOSS * DENSITY * abs(flow) * flow / area**2
    assert impedance * flow + lost == pytest.approx(drive, rel=1e-12, abs=1e-140)


@given(drive=st.floats(-1e4, 1e4), area=st.floats(0.0, 1e-3), impedance=st.floats(0.0, 1e8))
def test_glottis_never_gives_power(drive, area, impedance):
    # Passivity: flow times what is left of the pressure across the folds.
    flow = folds.glottal_flow(drive, area, impedance, DENSITY)
    assert flow * (drive - impedance * flow) >= -1e-12 * abs(flow * drive)


@given(drive=st.floats(-1e4, 1e4), impedance=st.floats(0.0, 1e8))
def test_shut_glottis_passes_nothing(drive, impedance):
    assert folds.glottal_flow(drive, 0.0, impedance, DENSITY) == 0.0


def test_wide_glottis_is_held_by_the_air_columns():
    # Limit: U = Δ/Z where the folds are no obstacle.
    assert folds.glottal_flow(300.0, 1.0, 2e6, DENSITY) == pytest.approx(1.5e-4, rel=1e-9)


def test_glottal_flow_scales_with_its_units():
    # Units: lengths × s, density fixed, pressures × q²: flow × s² q, impedance × q/s².
    plain = folds.glottal_flow(700.0, 1e-5, 3e6, DENSITY)
    scaled = folds.glottal_flow(700.0 * 9.0, 25e-5, 3e6 * 3.0 / 25.0, DENSITY)
    assert scaled == pytest.approx(plain * 75.0, rel=1e-12)


def test_still_folds_leave_the_pressure_that_their_gap_was_made_for():
    gap = published_folds.gap_for(3.5e-4, 600.0, 14e-3, DENSITY)
    area = folds.glottal_area(gap, gap, 14e-3)
    assert folds.glottal_flow(600.0, area, 0.0, DENSITY) == pytest.approx(3.5e-4, rel=1e-12)


@pytest.mark.parametrize(
    ("lower", "upper", "share"),
    [
        (1e-3, 1e-3, 0.0),
        (1e-3, 0.5e-3, 0.5 / 1.1),
        (1e-3, 1.5e-3, -0.5 / 1.1),
        (1e-3, 9e-3, -1.0 / 1.1),
        (1e-3, -1e-4, 1.0),
        (-1e-4, 1e-3, 0.0),
        (-1e-4, -1e-4, 0.5),
    ],
)
def test_pressure_in_the_gap_by_its_shape(lower, upper, share):
    # I. R. Titze, J. Acoust. Soc. Am. 83, 1536 (1988): (1 - x₂/x₁)/k_t while open.
    assert folds.pressure_share(lower, upper) == pytest.approx(share, abs=1e-12)


def test_stream_leaves_the_folds_at_the_upper_edge_or_before():
    assert folds.glottal_area(1e-3, 0.4e-3, 14e-3) == pytest.approx(2.0 * 14e-3 * 0.4e-3)
    assert folds.glottal_area(0.1e-3, 1e-3, 14e-3) == pytest.approx(2.0 * 14e-3 * 0.2e-3)
    assert folds.glottal_area(0.1e-3, -1e-5, 14e-3) == 0.0


# --- energy --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hz", "pressure"), [(110.0, 600.0), (110.0, 1500.0), (220.0, 1000.0)])
def test_folds_lose_what_the_air_does_on_them(hz, pressure):
    # Balance over whole periods of a steady note, collisions included.
    note = sing(USUAL, hz, pressure).late().whole_periods()
    assert note.work.sum() == pytest.approx(note.loss.sum(), rel=5e-3)


def test_fold_without_loss_swings_for_ever():
    # Central differences keep ½Mv² + ½K(x - x₀)(x⁺ - x₀) to the last digits.
    gap = sing(USUAL._replace(damping_ratio=0.0), 110.0, 0.0, start=2e-4).gap - USUAL.gap
    kinetic = 0.5 * 3.0 * (np.diff(gap) * 48e3) ** 2
    energy = kinetic + 0.5 * folds.stiffness(3.0, 110.0) * gap[:-1] * gap[1:]
    assert energy == pytest.approx(energy[0], rel=1e-10)


def test_colliding_fold_without_loss_gains_nothing():
    # Its swing reaches through the closed position, where it is four times as stiff.
    gap = sing(USUAL._replace(damping_ratio=0.0), 110.0, 0.0, 1.0, start=6e-4).gap
    assert gap.min() < -1e-4
    assert gap[-5000:].max() == pytest.approx(gap[:5000].max(), rel=1e-3)


def test_contact_damps_more():
    assert folds.contact_damping(500.0, -1e-9) == 3.0 * folds.contact_damping(500.0, 1e-9)
