"""Tubes against published formulas, another library's Bessel functions, slow rivals and limits.

"Evaluated here" marks a number computed apart from the code, from the published formula named.
"""

import math
from itertools import pairwise

import mpmath
import numpy as np
import published_radiation
import published_tube
import pytest

from reedbore.physics import radiation, tube
from reedbore.physics.air import air_keefe

COOL = air_keefe(293.15)
LOSSLESS = COOL._replace(viscosity=0.0)
SPEED = COOL.sound_speed
DECIBELS = 20.0 / math.log(10.0)

# A cylinder of 15 mm bore, half a metre long.
RADIUS, LENGTH = 7.5e-3, 0.5
UNIT = COOL.density * SPEED / (math.pi * RADIUS**2)


def angular(*hertz):
    return 2.0 * math.pi * np.array(hertz)


# --- wall losses ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("millimetres", "hertz", "attenuation", "speed", "impedance"),
    [
        (7.5, 100, 0.04033, 336.036, 1.00763 - 0.00813j),
        (7.5, 200, 0.05668, 338.125, 1.00540 - 0.00564j),
        (7.5, 500, 0.08913, 340.002, 1.00341 - 0.00351j),
        (7.5, 1000, 0.12569, 340.956, 1.00241 - 0.00246j),
        (7.5, 4000, 0.25054, 342.115, 1.00121 - 0.00122j),
        (6.0, 1000, 0.15738, 340.380, 1.00302 - 0.00309j),
        (10.0, 1000, 0.09411, 341.534, 1.00181 - 0.00184j),
        (3.9, 200, 0.11055, 333.505, 1.01037 - 0.01129j),
    ],
)
def test_losses_speed_and_impedance_of_narrow_tubes(
    millimetres, hertz, attenuation, speed, impedance
):
    # Evaluated here from C. Zwikker and C. W. Kosten, Sound Absorbing Materials (1949), with the
    # air of D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984), at 20 °C.
    radius, omega = millimetres / 1e3, angular(hertz)
    propagation, found = tube.wall_loss(radius, omega, COOL)
    assert propagation.real[0] == pytest.approx(attenuation, rel=1e-3)
    assert omega[0] / propagation.imag[0] == pytest.approx(speed, abs=0.02)
    unit = COOL.density * SPEED / (math.pi * radius**2)
    assert found[0] / unit == pytest.approx(impedance, abs=2e-5)


def test_attenuation_at_1_kilohertz_in_decibels():
    # Evaluated here from C. Zwikker and C. W. Kosten, Sound Absorbing Materials (1949).
    propagation, _ = tube.wall_loss(RADIUS, angular(1000.0), COOL)
    assert DECIBELS * propagation.real[0] == pytest.approx(1.0918, rel=1e-3)


def test_laboratory_pipe_has_the_attenuation_and_impedance_its_owners_state():
    # Acoustics laboratory, University of New South Wales, pages on impedance measurement: a pipe
    # of 7.8 mm bore has 0.11 per metre (1.0 dB/m) at 200 Hz and about 8.5 MPa s/m³.
    propagation, impedance = tube.wall_loss(3.9e-3, angular(200.0), COOL)
    assert propagation.real[0] == pytest.approx(0.1106, abs=5e-4)
    assert propagation.real[0] == pytest.approx(0.11, abs=0.005)
    assert abs(impedance[0]) == pytest.approx(8.5e6, rel=0.04)


def test_series_for_wide_tubes_agrees_with_the_bessel_form():
    # D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984): r_v from 25 to 400 (coefficients from memory).
    ratio = np.geomspace(25.0, 400.0, 60)
    omega = COOL.viscosity / COOL.density * (ratio / RADIUS) ** 2
    exact, exact_impedance = tube.wall_loss(RADIUS, omega, COOL)
    series, series_impedance = published_tube.wall_loss_keefe(RADIUS, omega, COOL)
    np.testing.assert_allclose(series.real, exact.real, rtol=1e-3)
    np.testing.assert_allclose(series.imag, exact.imag, rtol=1e-4)
    np.testing.assert_allclose(series_impedance, exact_impedance, rtol=2e-4)


@pytest.mark.parametrize("ratio", [0.3, 3.0, 12.0, 24.9, 25.1, 100.0, 3000.0])
def test_wall_loss_agrees_with_bessel_functions_of_any_precision(ratio):
    # Second opinion: mpmath's Bessel functions with 30 digits, in the formula of C. Zwikker and
    # C. W. Kosten, Sound Absorbing Materials (1949); both sides of the switch to the series.
    def layer(r):
        z = r * mpmath.sqrt(mpmath.mpc(0, -1))
        return 2 * mpmath.besselj(1, z) / (z * mpmath.besselj(0, z))

    omega = COOL.viscosity / COOL.density * (ratio / RADIUS) ** 2
    with mpmath.workdps(30):
        inertia = 1 - layer(mpmath.mpf(ratio))
        heat = 1 + (COOL.heat_ratio - 1) * layer(mpmath.sqrt(COOL.prandtl) * ratio)
        expected = 1j * omega / SPEED * complex(mpmath.sqrt(heat / inertia))
        expected_impedance = UNIT / complex(mpmath.sqrt(heat * inertia))
    propagation, impedance = tube.wall_loss(RADIUS, np.array([omega]), COOL)
    assert propagation[0] == pytest.approx(expected, rel=1e-12)
    assert impedance[0] == pytest.approx(expected_impedance, rel=1e-12)


def test_losses_grow_with_the_root_of_frequency():
    # G. Kirchhoff, Ann. Phys. Chem. 134, 177 (1868): wide tubes, attenuation proportional to √f.
    propagation, _ = tube.wall_loss(RADIUS, angular(2000.0, 8000.0), COOL)
    assert propagation.real[1] / propagation.real[0] == pytest.approx(2.0, rel=0.02)


def test_very_narrow_tube_resists_as_steady_flow_does():
    # J. L. M. Poiseuille's law: series impedance per metre 8η/(πa⁴), Γ Z_c in the limit r_v → 0.
    radius = 1e-5
    propagation, impedance = tube.wall_loss(radius, angular(1.0), COOL)
    resistance = 8.0 * COOL.viscosity / (math.pi * radius**4)
    assert (propagation * impedance)[0].real == pytest.approx(resistance, rel=1e-4)


def test_very_narrow_tube_keeps_its_temperature():
    # Lord Rayleigh, Theory of Sound (1896), § 350: compression in a capillary is isothermal, so the
    # shunt admittance per metre Γ/Z_c is jωS γ/(ρc²).
    radius, omega = 1e-5, angular(1.0)
    propagation, impedance = tube.wall_loss(radius, omega, COOL)
    area = math.pi * radius**2
    expected = 1j * omega[0] * area * COOL.heat_ratio / (COOL.density * SPEED**2)
    assert (propagation / impedance)[0] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("scale", [0.01, 3.0, 100.0])
def test_wall_loss_keeps_its_form_when_all_lengths_are_scaled(scale):
    # Units: lengths × s, frequency / s and viscosity × s leave r_v and Γ·length alone, Z_c × s⁻².
    omega = angular(80.0, 300.0, 4000.0)
    propagation, impedance = tube.wall_loss(RADIUS, omega, COOL)
    scaled_gas = COOL._replace(viscosity=scale * COOL.viscosity)
    scaled = tube.wall_loss(scale * RADIUS, omega / scale, scaled_gas)
    np.testing.assert_allclose(scaled[0] * scale, propagation, rtol=1e-12)
    np.testing.assert_allclose(scaled[1] * scale**2, impedance, rtol=1e-12)


def test_no_number_is_lost_in_very_wide_and_very_narrow_tubes():
    # Common practice, no source: scaled Bessel functions never overflow.
    omega = np.geomspace(1e-2, 1e6, 200)
    for radius in (1e-5, 1e-3, 1.0):
        propagation, impedance = tube.wall_loss(radius, omega, COOL)
        assert np.isfinite(propagation).all()
        assert np.isfinite(impedance).all()
        assert (propagation.real > 0.0).all()


@pytest.mark.parametrize(
    ("hertz", "gain", "microseconds"),
    [
        (100, 0.96047, 62.82),
        (200, 0.94489, 44.42),
        (500, 0.91473, 28.10),
        (1000, 0.88189, 19.87),
        (2000, 0.83744, 14.05),
        (4000, 0.77838, 9.94),
        (8000, 0.70190, 7.03),
    ],
)
def test_round_trip_of_a_metre_of_tube(hertz, gain, microseconds):
    # Evaluated here from C. Zwikker and C. W. Kosten, Sound Absorbing Materials (1949):
    # exp(-(Γ - jω/c) · 1 m), a tube of 15 mm bore at 20 °C.
    omega = angular(hertz)
    propagation, _ = tube.wall_loss(RADIUS, omega, COOL)
    filtered = np.exp(-(propagation - 1j * omega / SPEED))[0]
    assert abs(filtered) == pytest.approx(gain, abs=1e-4)
    delay = -np.angle(filtered) / omega[0]
    assert delay == pytest.approx(microseconds * 1e-6, abs=0.02e-6)


# --- two-ports -----------------------------------------------------------------------------------


@pytest.mark.parametrize("gas", [COOL, LOSSLESS])
@pytest.mark.parametrize("radii", [(7.5e-3, 7.5e-3), (6e-3, 30e-3), (30e-3, 6e-3)])
def test_every_two_port_is_reciprocal(gas, radii):
    # Reciprocity (Lord Rayleigh, Theory of Sound, 1877, § 107): AD - BC = 1.
    omega = 2.0 * math.pi * np.geomspace(10.0, 5000.0, 300)
    a, b, c, d = tube.bore_two_port([(0.8, *radii)], omega, gas)
    largest = np.maximum(np.abs(a * d), 1.0)
    assert np.max(np.abs(a * d - b * c - 1.0) / largest) < 1e-10


@pytest.mark.parametrize("gas", [COOL, LOSSLESS])
def test_reversed_cone_swaps_the_diagonal(gas):
    # Reciprocity: turning a two-port round exchanges A and D and keeps B and C.
    omega = angular(100.0, 440.0, 1500.0)
    there = tube.cone(0.8, 6e-3, 30e-3, omega, gas)
    back = tube.cone(0.8, 30e-3, 6e-3, omega, gas)
    for here, mirrored in zip(there, (back[3], back[1], back[2], back[0]), strict=True):
        np.testing.assert_allclose(here, mirrored, rtol=1e-9)


def sliced_lossless_cone(length, entry, leave, omega, slices=4000):
    """Slow rival: thousands of short cylinders, each at the radius of its middle."""
    k, step = omega / SPEED, length / slices
    total = np.broadcast_to(np.eye(2, dtype=complex), (omega.size, 2, 2))
    for middle in (np.arange(slices) + 0.5) / slices:
        unit = COOL.density * SPEED / (math.pi * (entry + (leave - entry) * middle) ** 2)
        sine, cosine = 1j * np.sin(k * step), np.cos(k * step)
        part = np.array([[cosine, unit * sine], [sine / unit, cosine]])
        total = total @ np.moveaxis(part, -1, 0)
    return total


def test_cone_agrees_with_thousands_of_short_cylinders():
    # Slow rival: 6 to 30 mm over 0.8 m, 100 to 1500 Hz.
    omega = 2.0 * math.pi * np.arange(100.0, 1501.0, 100.0)
    rival = sliced_lossless_cone(0.8, 6e-3, 30e-3, omega)
    exact = tube.bore_two_port([(0.8, 6e-3, 30e-3)], omega, LOSSLESS)
    for entry, expected in zip(exact, rival.reshape(-1, 4).T, strict=True):
        assert np.max(np.abs(entry - expected)) < 1e-4 * np.max(np.abs(expected))


def test_lossy_cone_agrees_with_hundreds_of_short_cones():
    # Slow rival: the same cone, losses included, cut into 400; the code cuts it into 7.
    frequency = np.arange(60.0, 1500.0, 2.0)
    omega = 2.0 * math.pi * frequency
    radii = np.linspace(6e-3, 30e-3, 401)
    fine = [(0.8 / 400, *pair) for pair in pairwise(radii)]
    bores = ([(0.8, 6e-3, 30e-3)], fine)
    coarse, rival = (
        tube.peaks(frequency, tube.input_impedance(tube.bore_two_port(bore, omega, COOL), 0.0))
        for bore in bores
    )
    assert coarse.frequency.size > 4
    cents = 1200.0 * np.log2(coarse.frequency / rival.frequency)
    assert np.max(np.abs(cents)) < 0.1
    np.testing.assert_allclose(coarse.height, rival.height, rtol=0.005)


@pytest.mark.parametrize("gas", [COOL, LOSSLESS])
@pytest.mark.parametrize("widening", [1e-6, -1e-6])
def test_cone_that_hardly_widens_is_a_cylinder(gas, widening):
    # Limit r₂ → r₁.
    omega = angular(60.0, 200.0, 1234.0, 5000.0)
    narrow = tube.cone(LENGTH, RADIUS, RADIUS * (1.0 + widening), omega, gas)
    straight = tube.cylinder(LENGTH, RADIUS, omega, gas)
    for entry, expected in zip(narrow, straight, strict=True):
        np.testing.assert_allclose(entry, expected, rtol=1e-5, atol=1e-5 * abs(expected).max())


def test_cylinder_is_the_transmission_line_of_hyperbolic_functions():
    # N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments (1998), ch. 8.
    omega = angular(60.0, 200.0, 1234.0)
    propagation, impedance = tube.wall_loss(RADIUS, omega, COOL)
    a, b, c, d = tube.cylinder(LENGTH, RADIUS, omega, COOL)
    np.testing.assert_allclose(a, np.cosh(propagation * LENGTH), rtol=1e-12)
    np.testing.assert_allclose(d, a, rtol=1e-14)
    np.testing.assert_allclose(b, impedance * np.sinh(propagation * LENGTH), rtol=1e-12)
    np.testing.assert_allclose(c, np.sinh(propagation * LENGTH) / impedance, rtol=1e-12)


def test_cut_cylinder_is_the_whole_one():
    # Group property of a uniform line: three pieces in a chain equal the sum of their lengths.
    omega = angular(60.0, 440.0, 3000.0)
    whole = tube.cylinder(0.9, RADIUS, omega, COOL)
    pieces = [(length, RADIUS, RADIUS) for length in (0.1, 0.5, 0.3)]
    for entry, expected in zip(tube.bore_two_port(pieces, omega, COOL), whole, strict=True):
        np.testing.assert_allclose(entry, expected, rtol=1e-10)


def test_bore_scales_with_its_lengths():
    # Units: lossless, lengths × s and frequency / s leave A, D alone; B × s⁻², C × s².
    omega, scale = angular(60.0, 440.0, 3000.0), 12.5
    small = tube.bore_two_port([(0.4, 6e-3, 9e-3), (0.3, 9e-3, 9e-3)], omega, LOSSLESS)
    pieces = [(0.4 * scale, 6e-3 * scale, 9e-3 * scale), (0.3 * scale, 9e-3 * scale, 9e-3 * scale)]
    large = tube.bore_two_port(pieces, omega / scale, LOSSLESS)
    for power, entry, expected in zip((0, 2, -2, 0), large, small, strict=True):
        np.testing.assert_allclose(entry * scale**power, expected, rtol=1e-9)


def test_matched_load_is_seen_through_any_length_of_tube():
    # Transmission line, N. H. Fletcher and T. D. Rossing (1998), ch. 8: Z_L = Z_c gives Z_in = Z_c.
    omega = angular(60.0, 440.0, 3000.0)
    _, impedance = tube.wall_loss(RADIUS, omega, COOL)
    found = tube.input_impedance(tube.cylinder(1.7, RADIUS, omega, COOL), impedance)
    np.testing.assert_allclose(found, impedance, rtol=1e-10)


def test_passive_bore_never_gives_power_back():
    # Passivity: Re Z ≥ 0 at the reed for every frequency.
    omega = 2.0 * math.pi * np.linspace(20.0, 6000.0, 2000)
    reflection = radiation.reflection_levine(omega * 25e-3 / SPEED)
    load = (
        COOL.density
        * SPEED
        / (math.pi * 25e-3**2)
        * published_radiation.radiation_impedance(reflection)
    )
    bore = [(0.2, 6e-3, 6e-3), (1.0, 6e-3, 20e-3), (0.1, 20e-3, 25e-3)]
    impedance = tube.input_impedance(tube.bore_two_port(bore, omega, COOL), load)
    assert (impedance.real > 0.0).all()


def test_short_wide_closed_tube_is_a_cavity():
    # Limit of the transmission line at low frequency: admittance jωV/(ρc²).
    omega = angular(20.0)
    _, _, c, d = tube.cylinder(0.02, 0.01, omega, LOSSLESS)
    volume = math.pi * 0.01**2 * 0.02
    cavity = tube.cavity_admittance(volume, omega, LOSSLESS)
    a = d
    assert (c / a)[0] == pytest.approx(cavity[0], rel=1e-4)


def test_mouth_cavity_of_100_millilitres():
    # Evaluated here from ρc²/(ωV), Keefe's air at 27 °C: 1.027 MPa s/m³ at 220 Hz.
    admittance = tube.cavity_admittance(1e-4, angular(220.0), air_keefe(300.15))
    assert 1.0 / abs(admittance[0]) == pytest.approx(1.027e6, rel=0.01)
