"""The reed as a valve against the classical theory, the map of a massless reed, limits and units.

Below, pressures of the map are in units of the closing pressure. "Evaluated here" marks a number
computed apart from the code, from the published formula named.
"""

import math

import numpy as np
import published_reed
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from reedbore.physics import reed

ZETAS = st.floats(0.01, 0.99)


def bore_pressures(mouth, zeta, returned, trips=3000, keep=8, start=1e-3):
    """Pressure in the mouthpiece over the last round trips."""
    kept, outgoing = [], start
    for _ in range(trips):
        following = published_reed.lambda_map(mouth, zeta, returned, outgoing)
        kept.append(following - returned * outgoing)
        outgoing = following
    return np.array(kept[-keep:])


def steady_growth(mouth, zeta, returned):
    """How much a small disturbance of the silent state grows in one round trip."""

    def change(outgoing):
        return published_reed.lambda_map(mouth, zeta, returned, outgoing) - outgoing

    rest, step = brentq(change, 0.0, 1.0, xtol=1e-15), 1e-6
    above, below = change(rest + step), change(rest - step)
    return 1.0 + (above - below) / (2.0 * step)


def loss_admittance(returned):
    """Z_c over the impedance peak of a tube that brings back a share of every wave."""
    return (1.0 - returned) / (1.0 + returned)


# --- flow through the channel --------------------------------------------------------------------


def test_channel_flow_by_bernoulli():
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974), evaluated here:
    # 12 mm by 0.5 mm at 4 kPa and 1.2 kg/m³ pass 6e-6 √(8000/1.2) = 0.4899 litres a second.
    assert reed.channel_flow(4000.0, 0.5e-3, 12e-3, 1.2) == pytest.approx(4.899e-4, rel=1e-4)


def test_channel_flow_turns_round_with_the_pressure():
    # Symmetry; a shut channel passes nothing.
    assert reed.channel_flow(-900.0, 1e-3, 0.01, 1.2) == -reed.channel_flow(900.0, 1e-3, 0.01, 1.2)
    assert reed.channel_flow(900.0, 0.0, 0.01, 1.2) == 0.0


def test_channel_flow_scales_with_its_units():
    # Units: lengths × s and pressure × q², density fixed: flow × s² q.
    plain = reed.channel_flow(700.0, 0.4e-3, 13e-3, 1.2)
    scaled = reed.channel_flow(700.0 * 9.0, 0.4e-3 * 5.0, 13e-3 * 5.0, 1.2)
    assert scaled == pytest.approx(plain * 25.0 * 3.0, rel=1e-12)


# --- the channel and what it feeds ---------------------------------------------------------------


@given(drive=st.floats(-1e5, 1e5), conductance=st.floats(0.0, 1e4))
def test_pressure_drop_solves_its_equation(drive, conductance):
    # By putting it back. Only the squares of drives below 1e-140 underflow to zero.
    drop = reed.pressure_drop(drive, conductance)
    flow = math.copysign(conductance * math.sqrt(abs(drop)), drop)
    assert drop + flow == pytest.approx(drive, rel=1e-14, abs=1e-140)


def test_pressure_drop_has_the_root_of_a_known_quadratic():
    # Algebra: r² + 2r = 3 has the root 1, so a conductance of 2 and a drive of 3 leave a drop of 1.
    assert reed.pressure_drop(3.0, 2.0) == pytest.approx(1.0, rel=1e-15)


@pytest.mark.parametrize("drive", [1e-3, 1e-8, 1e-15, 1e-100])
def test_small_drives_lose_no_digits(drive):
    # Limit: (E/b)² for small E; the textbook root loses all digits here.
    expected = (drive / 50.0) ** 2 * (1.0 - 2.0 * drive / 2500.0)
    assert reed.pressure_drop(drive, 50.0) == pytest.approx(expected, rel=1e-11)


def test_pressure_drop_at_rest_and_over_a_shut_channel():
    # Limits: no drive, no drop; no channel, the whole drive.
    assert reed.pressure_drop(0.0, 0.0) == reed.pressure_drop(0.0, 3.0) == 0.0
    assert reed.pressure_drop(-123.0, 0.0) == pytest.approx(-123.0, rel=1e-15)


def test_pressure_drop_scales_with_its_units():
    # Units: pressures × s and conductance × √s.
    plain = reed.pressure_drop(321.0, 12.0)
    assert reed.pressure_drop(321.0 * 49.0, 12.0 * 7.0) == pytest.approx(49.0 * plain, rel=1e-13)


# --- the reed without mass -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zeta", "drive", "drop"),
    [
        (0.4, 0.5, 0.34612387),
        (0.4, 0.2, 0.09053857),
        (0.4, -0.3, -0.13397460),
        (0.6, 0.9, 0.78630511),
        (0.35, 0.42, 0.28634031),
        (0.3, 1.2, 1.2),
    ],
)
def test_massless_reed_scatters_as_evaluated(zeta, drive, drop):
    # Evaluated here from the flow law of T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56,
    # 653 (1974), with p = p⁺ + p⁻ and u = p⁺ - p⁻.
    assert reed.quasi_static_drop(drive, zeta, 1.0) == pytest.approx(drop, abs=1e-7)


@given(zeta=ZETAS, drive=st.floats(-5.0, 2.0))
def test_massless_reed_solves_its_equation(zeta, drive):
    # By putting it back, as above.
    drop = reed.quasi_static_drop(drive, zeta, 1.0)
    assert drop + reed.quasi_static_flow(drop, zeta) == pytest.approx(drive, rel=1e-13, abs=1e-140)


@pytest.mark.parametrize("zeta", [0.05, 0.4, 0.9])
def test_root_of_the_massless_reed_is_the_only_one(zeta):
    # Second opinion: numpy's polynomial roots of -ζy³ + y² + ζy = E, for ζ < 1 one in (0, 1).
    for drive in (0.01, 0.3, 0.7, 0.99):
        roots = np.roots([-zeta, 1.0, zeta, -drive])
        inside = [r.real for r in roots if abs(r.imag) < 1e-9 and 0.0 < r.real < 1.0]
        assert len(inside) == 1
        assert reed.quasi_static_drop(drive, zeta, 1.0) == pytest.approx(inside[0] ** 2, rel=1e-9)


def test_massless_reed_far_from_closing_is_a_channel_of_fixed_opening():
    # Limit: a closing pressure far above the drive.
    fixed = reed.pressure_drop(500.0, 30.0)
    assert reed.quasi_static_drop(500.0, 30.0, 1e12) == pytest.approx(fixed, rel=1e-8)


def test_massless_reed_scales_with_its_units():
    # Units: pressures × s and conductance × √s.
    plain = reed.quasi_static_drop(1800.0, 20.0, 4000.0)
    scaled = reed.quasi_static_drop(1800.0 * 25.0, 20.0 * 5.0, 4000.0 * 25.0)
    assert scaled == pytest.approx(25.0 * plain, rel=1e-12)


@pytest.mark.parametrize("zeta", [0.1, 0.35, 0.8])
def test_flow_is_largest_at_a_third_of_the_closing_pressure(zeta):
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): 2ζ/(3√3) = 0.3849 ζ.
    drops = np.linspace(0.0, 1.0, 3001)
    flows = np.array([reed.quasi_static_flow(drop, zeta) for drop in drops])
    assert drops[flows.argmax()] == pytest.approx(1.0 / 3.0, abs=1e-6)
    assert flows.max() == pytest.approx(2.0 * zeta / (3.0 * math.sqrt(3.0)), abs=1e-6)
    assert published_reed.flow_slope(1.0 / 3.0, zeta) == pytest.approx(0.0, abs=1e-12)


@given(zeta=ZETAS, drop=st.floats(0.01, 0.99))
def test_flow_slope_is_the_derivative_of_the_flow(zeta, drop):
    # Definition, by central difference; the bore pressure falls as the drop rises.
    step = 1e-6
    higher = reed.quasi_static_flow(drop + step, zeta)
    rise = (higher - reed.quasi_static_flow(drop - step, zeta)) / (2.0 * step)
    assert published_reed.flow_slope(drop, zeta) == pytest.approx(-rise, abs=1e-6)


@given(zeta=ZETAS, drop=st.floats(-10.0, 10.0))
def test_valve_only_ever_takes_power_out_of_the_stream(zeta, drop):
    # Passivity: u Δp ≥ 0 in every state.
    assert reed.quasi_static_flow(drop, zeta) * drop >= 0.0
    assert reed.channel_flow(drop, 1e-3, 0.01, 1.2) * drop >= 0.0


# --- scales --------------------------------------------------------------------------------------


def schumacher_stiffness():
    # R. T. Schumacher, Acustica 48, 71 (1981), a clarinet reed (from memory): mass per area
    # 0.0231 kg/m², 3700 Hz.
    return 0.0231 * (2.0 * math.pi * 3700.0) ** 2


def test_clarinet_reed_closes_at_5_kilopascal():
    # Evaluated here from R. T. Schumacher, Acustica 48, 71 (1981) (from memory): opening 0.4 mm.
    assert reed.closing_pressure(schumacher_stiffness(), 0.4e-3) == pytest.approx(4995.0, abs=5.0)


def test_clarinet_reed_gives_like_9_millimetres_of_bore():
    # Evaluated here from R. T. Schumacher, Acustica 48, 71 (1981) (from memory): moving area
    # 1.46 cm²; bore of 15 mm, Keefe's air at 27 °C. Players know 5 to 12 mm (common practice).
    volume = published_reed.equivalent_volume(1.46e-4, schumacher_stiffness(), 1.17631, 347.316)
    assert volume / (math.pi * 7.5e-3**2) == pytest.approx(9.4e-3, abs=0.2e-3)


def test_strength_of_a_clarinet_reed_on_its_bore():
    # Evaluated here from R. T. Schumacher, Acustica 48, 71 (1981) (from memory): 13 mm by 0.4 mm.
    strength = reed.reed_parameter(13e-3 * 0.4e-3, 4995.0, 2.31193e6, 1.17631)
    assert strength == pytest.approx(0.222, abs=1e-3)


def test_scales_of_the_reed_follow_their_units():
    # Units: a slit twice as large is twice as strong, four times the closing pressure halves it;
    # twice the stiffness gives way half as much and takes twice the pressure to close.
    strength = reed.reed_parameter(5e-6, 5000.0, 2e6, 1.2)
    assert reed.reed_parameter(1e-5, 20000.0, 2e6, 1.2) == pytest.approx(strength, rel=1e-12)
    volume = published_reed.equivalent_volume(1e-4, 1e7, 1.2, 340.0)
    assert published_reed.equivalent_volume(1e-4, 2e7, 1.2, 340.0) == pytest.approx(
        volume / 2.0, rel=1e-12
    )
    assert reed.closing_pressure(2e7, 4e-4) == 2.0 * reed.closing_pressure(1e7, 4e-4)


# --- where sound begins --------------------------------------------------------------------------


@pytest.mark.parametrize(("mouth", "sounds"), [(0.33, False), (0.34, True)])
def test_lossless_reed_sounds_from_a_third_of_the_closing_pressure(mouth, sounds):
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): threshold 1/3.
    swing = np.ptp(bore_pressures(mouth, 0.4, 1.0 - 1e-6, trips=8000, start=mouth + 1e-4))
    assert (swing > 0.1) == sounds
    assert reed.threshold_pressure(0.4, 0.0) == pytest.approx(1.0 / 3.0, rel=1e-12)


@pytest.mark.parametrize(
    ("zeta", "returned", "threshold"),
    [(0.4, 0.95, 0.3629), (0.4, 0.90, 0.3960), (0.2, 0.95, 0.3884), (0.6, 0.90, 0.3810)],
)
def test_losses_raise_the_threshold(zeta, returned, threshold):
    # Linear stability of the map of C. Maganza, R. Caussé and F. Laloë, Europhys. Lett. 1, 295
    # (1986), evaluated here; the formula counts the same loss for the steady flow.
    found = brentq(lambda mouth: steady_growth(mouth, zeta, returned) + 1.0, 0.3, 0.6)
    assert found == pytest.approx(threshold, abs=5e-4)
    loss = loss_admittance(returned)
    assert reed.threshold_pressure(zeta, loss, loss) == pytest.approx(found, abs=1e-6)


@pytest.mark.parametrize(("zeta", "drop"), [(0.2, 0.3869), (0.3, 0.3682), (0.4, 0.3591)])
def test_threshold_on_a_half_metre_pipe(zeta, drop):
    # Evaluated here from ζ(3X - 1)/(2√X) = Z_c/Z_peak (T. A. Wilson and G. S. Beavers, 1974) with a
    # peak of 38.69 times the characteristic impedance.
    assert reed.threshold_drop(zeta, 1.0 / 38.69) == pytest.approx(drop, abs=1e-4)
    assert published_reed.flow_slope(reed.threshold_drop(zeta, 0.05), zeta) == pytest.approx(
        0.05, rel=1e-12
    )


def test_threshold_rises_with_small_losses_as_published():
    # J.-P. Dalmont and C. Frappé, J. Acoust. Soc. Am. 122, 1173 (2007), form from memory:
    # γ = 1/3 + 2Y/(3√3 ζ) to first order, without a steady drop in the bore.
    loss, zeta = 1e-4, 0.3
    first_order = 1.0 / 3.0 + 2.0 * loss / (3.0 * math.sqrt(3.0) * zeta)
    assert reed.threshold_pressure(zeta, loss) == pytest.approx(first_order, abs=1e-7)


# --- how loud it gets ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mouth", "amplitude"),
    [
        (0.34, 0.114891),
        (0.35, 0.180278),
        (0.38, 0.294618),
        (0.40, 0.346410),
        (0.42, 0.388330),
        (0.45, 0.438748),
        (0.48, 0.478330),
        (0.50, 0.5),
        (0.60, 0.6),
        (0.80, 0.8),
    ],
)
def test_square_wave_of_the_lossless_reed(mouth, amplitude):
    # Evaluated here from J. Kergomard, in Mechanics of Musical Instruments (1995): the two states
    # ±P pass the same flow.
    assert published_reed.raman_amplitude(mouth) == pytest.approx(amplitude, abs=1e-6)
    flows = [reed.quasi_static_flow(mouth - sign * amplitude, 0.4) for sign in (1.0, -1.0)]
    assert flows[0] == pytest.approx(flows[1], abs=1e-5)


@pytest.mark.parametrize("mouth", [0.40, 0.45, 0.60])
@pytest.mark.parametrize("zeta", [0.2, 0.4])
def test_map_without_losses_plays_the_square_wave(mouth, zeta):
    # J. Kergomard, in Mechanics of Musical Instruments (1995); the amplitude does not depend on ζ.
    orbit = bore_pressures(mouth, zeta, 1.0 - 1e-6, keep=2)
    np.testing.assert_allclose(np.abs(orbit), published_reed.raman_amplitude(mouth), atol=1e-4)
    assert orbit.prod() < 0.0


def test_square_wave_grows_from_nothing_and_joins_the_beating_law():
    # Limits: silence below 1/3, √-like growth above it, continuous at 1/2.
    assert published_reed.raman_amplitude(0.2) == published_reed.raman_amplitude(0.0) == 0.0
    assert published_reed.raman_amplitude(1.0 / 3.0 + 1e-6) == pytest.approx(
        math.sqrt(2e-6), rel=1e-3
    )
    assert published_reed.raman_amplitude(0.5 - 1e-9) == pytest.approx(0.5, abs=1e-8)


@pytest.mark.parametrize(
    ("zeta", "returned", "mouth", "low", "high"),
    [
        (0.3, 0.95, 0.40, -0.25158, 0.25624),
        (0.3, 0.95, 0.50, -0.49030, 0.49109),
        (0.3, 0.95, 0.80, -0.78047, 0.78150),
        (0.5, 0.90, 0.45, -0.37350, 0.38402),
        (0.5, 0.90, 0.60, -0.58124, 0.58446),
    ],
)
def test_two_states_of_the_lossy_map(zeta, returned, mouth, low, high):
    # Evaluated here from the map of C. Maganza, R. Caussé and F. Laloë, Europhys. Lett. 1, 295
    # (1986), by a separate program.
    orbit = np.sort(bore_pressures(mouth, zeta, returned, keep=2))
    np.testing.assert_allclose(orbit, [low, high], atol=1e-4)


def test_beating_reed_shares_its_pressures_as_a_line_of_that_loss_does():
    # Algebra of the map with the reed shut in one half: p_low = -p_high/cosh 2αL and
    # u(γ - p_high) = p_high tanh 2αL, λ = exp(-2αL).
    mouth, zeta, returned = 0.8, 0.3, 0.95
    low, high = np.sort(bore_pressures(mouth, zeta, returned, keep=2))
    turn = -math.log(returned)
    assert low == pytest.approx(-high / math.cosh(turn), rel=1e-9)
    flow = reed.quasi_static_flow(mouth - high, zeta)
    assert flow == pytest.approx(high * math.tanh(turn), rel=1e-9)


# --- where sound ends, and how the map goes astray -----------------------------------------------


def sounding_limit(zeta, returned, start, step=0.002):
    """Raise the mouth pressure slowly, keeping the note, until it dies."""
    mouth, outgoing = start, 0.9 * start
    while True:
        low, high = outgoing, outgoing
        for trip in range(120):
            outgoing = published_reed.lambda_map(mouth, zeta, returned, outgoing)
            if trip >= 118:
                low, high = min(low, outgoing), max(high, outgoing)
        if high - low < 0.5:
            return mouth
        mouth += step


@pytest.mark.parametrize(
    ("zeta", "returned", "map_limit", "formula"), [(0.4, 0.95, 3.37, 3.34), (0.6, 0.90, 2.57, 2.53)]
)
def test_hard_blown_note_dies(zeta, returned, map_limit, formula):
    # After J.-P. Dalmont, J. Gilbert, J. Kergomard and S. Ollivier, J. Acoust. Soc. Am. 118, 3294
    # (2005): the formula as reworked here, and the map of C. Maganza et al. (1986) swept upwards.
    assert published_reed.extinction_pressure(zeta, returned) == pytest.approx(formula, abs=0.01)
    found = sounding_limit(zeta, returned, start=map_limit - 0.1)
    assert found == pytest.approx(map_limit, abs=0.02)


@pytest.mark.parametrize(("zeta", "returned", "formula"), [(0.4, 0.98, 7.96), (0.2, 0.95, 1.84)])
def test_extinction_formula(zeta, returned, formula):
    # Evaluated here, as above.
    assert published_reed.extinction_pressure(zeta, returned) == pytest.approx(formula, abs=0.01)


def test_note_without_losses_never_dies():
    # Limit: the extinction pressure grows beyond all bounds as 1/loss.
    near, nearer = (published_reed.extinction_pressure(0.4, 1.0 - loss) for loss in (1e-4, 1e-5))
    assert nearer / near == pytest.approx(10.0, rel=1e-3)


def test_strong_reed_doubles_its_period():
    # Evaluated here; such orbits are the subject of P.-A. Taillard, J. Kergomard and F. Laloë,
    # Nonlinear Dyn. 62, 253 (2010). Cyclic, so the orbit is turned to begin at its highest value.
    orbit = bore_pressures(0.48, 0.6, 0.98, keep=4)
    turned = np.roll(orbit, -int(orbit.argmax()))
    np.testing.assert_allclose(turned, [0.48563, -0.32801, 0.38638, -0.54172], atol=1e-4)


def test_same_reed_blown_less_keeps_its_period():
    # Evaluated here, as above.
    orbit = np.sort(bore_pressures(0.40, 0.6, 0.98, keep=4))
    np.testing.assert_allclose(orbit, [-0.32984, -0.32984, 0.33271, 0.33271], atol=1e-4)


@pytest.mark.parametrize(
    ("zeta", "returned", "mouth", "period"),
    [
        (0.4, 0.98, 0.47, 2),
        (0.4, 0.98, 0.49, 4),
        (0.6, 0.98, 0.44, 2),
        (0.6, 0.95, 0.48, 4),
        (0.6, 0.90, 0.48, 2),
        (0.6, 0.90, 0.495, 4),
        (0.4, 0.90, 0.49, 2),
    ],
)
def test_windows_of_period_doubling(zeta, returned, mouth, period):
    # Evaluated here from the map of C. Maganza, R. Caussé and F. Laloë, Europhys. Lett. 1, 295
    # (1986): λ 0.98 with ζ 0.4 doubles from γ 0.480 to 0.500, and so on; losses close the window.
    orbit = bore_pressures(mouth, zeta, returned, trips=6000, keep=8)
    assert np.ptp(orbit[::period]) < 1e-6
    assert np.ptp(orbit[:: period // 2]) > 1e-3
