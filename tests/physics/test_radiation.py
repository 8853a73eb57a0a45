"""Open ends against the published theory, another library's integrals, a slow rival and limits.

"Evaluated here" marks a number computed apart from the code, from the published formula named.
"""

import math

import mpmath
import numpy as np
import published_radiation
import pytest
from scipy import special

from reedbore.physics import radiation
from reedbore.physics.air import air_keefe

LEVINE = radiation.reflection_levine
RIVALS = [
    published_radiation.reflection_dalmont,
    published_radiation.reflection_silva,
    published_radiation.reflection_rational,
]

# ka, |R|, l/a, Z_r: the integrals of H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948),
# evaluated here.
TABLE = [
    (0.1, 0.99507, 0.61099, 0.00248 + 0.06117j),
    (0.2, 0.98086, 0.60638, 0.00981 + 0.12186j),
    (0.5, 0.89644, 0.58184, 0.05949 + 0.29844j),
    (1.0, 0.69510, 0.52743, 0.23828 + 0.55751j),
    (1.5, 0.50079, 0.47127, 0.53235 + 0.70291j),
    (2.0, 0.34618, 0.41694, 0.83602 + 0.65454j),
    (3.0, 0.15433, 0.30828, 1.03976 + 0.31606j),
]


def one(function, ka):
    return function(np.array([ka]))[0]


def correction(function, ka):
    grid = np.array([ka])
    return published_radiation.end_correction(function(grid), grid)[0]


# --- the theory of the unflanged end -------------------------------------------------------------


@pytest.mark.parametrize(("ka", "size", "length", "load"), TABLE)
def test_unflanged_end_reflects_as_published(ka, size, length, load):
    reflection = LEVINE(np.array([ka]))
    assert abs(reflection[0]) == pytest.approx(size, abs=2e-5)
    assert correction(LEVINE, ka) == pytest.approx(length, abs=2e-5)
    assert published_radiation.radiation_impedance(reflection)[0] == pytest.approx(load, abs=2e-5)


def test_end_correction_of_low_notes_is_0_613_radii():
    # H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948): 0.6133; their integral gives 0.61270
    # when it is evaluated with 25 digits.
    assert correction(LEVINE, 1e-3) == pytest.approx(0.6130, abs=1e-3)
    assert correction(LEVINE, 1e-3) == pytest.approx(0.61270, abs=1e-5)


@pytest.mark.parametrize("ka", [3.0, 3.5])
def test_little_comes_back_at_high_frequency(ka):
    # H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948): |R| → √(πka) e^{-ka} (1 + 3/(32k²a²)).
    law = math.sqrt(math.pi * ka) * math.exp(-ka) * (1.0 + 3.0 / (32.0 * ka**2))
    assert abs(one(LEVINE, ka)) == pytest.approx(law, rel=1e-3)


@pytest.mark.parametrize("ka", [0.05, 0.7, 3.6])
def test_unflanged_end_agrees_with_integrals_of_any_precision(ka):
    # Second opinion: mpmath's quadrature and Bessel functions with 14 digits, in the integrals of
    # H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948).
    def angle(t):
        x = ka * mpmath.sin(t)
        return mpmath.atan2(mpmath.besselj(1, x), -mpmath.bessely(1, x)) / mpmath.sin(t)

    def near(t):
        x = ka * mpmath.sin(t)
        j, n = mpmath.besselj(1, x), mpmath.bessely(1, x)
        return mpmath.log(mpmath.pi * j * mpmath.hypot(j, n)) / x

    def far(t):
        x = mpmath.exp(t)
        product = mpmath.besseli(1, x) * mpmath.besselk(1, x)
        return -mpmath.log(2 * product) / mpmath.hypot(x, ka)

    with mpmath.workdps(14):
        quarter = [0, mpmath.pi / 4, mpmath.pi / 2]
        size = mpmath.exp(-2 / mpmath.pi * mpmath.quad(angle, quarter))
        length = mpmath.quad(near, quarter) + mpmath.quad(far, [-14, -4, 0, 4, 10, 30])
    expected = -size * mpmath.expj(-2 * ka * length / mpmath.pi)
    assert one(LEVINE, ka) == pytest.approx(complex(expected), abs=2e-8)


def test_series_follows_its_own_integrals_everywhere():
    # The quick series against the slow quadrature, up to the end of the theory.
    ka = np.linspace(1e-3, radiation.LAST_EXACT, 700)
    log_size, length = radiation.levine_integrals(ka)
    exact = -np.exp(log_size - 2j * ka * length)
    assert np.max(np.abs(LEVINE(ka) - exact)) < 5e-9


def test_open_end_turns_slow_waves_over_whole():
    # Limit ka → 0: R = -1.
    assert one(LEVINE, 0.0) == pytest.approx(-1.0, abs=1e-15)


@pytest.mark.parametrize("ka", [0.02, 0.05])
def test_low_notes_radiate_as_the_square_of_frequency(ka):
    # H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948): Re Z_r → k²a²/4 of an unflanged end.
    load = published_radiation.radiation_impedance(LEVINE(np.array([ka])))[0]
    assert load.real == pytest.approx(0.25 * ka**2, rel=0.01)


def test_reflection_goes_on_smoothly_where_the_theory_ends():
    # Value and slope agree on both sides of ka = 3.8, and |R| falls from there on.
    seam = radiation.LAST_EXACT
    left, middle, right = LEVINE(np.array([seam - 1e-6, seam, seam + 1e-6]))
    assert right - middle == pytest.approx(middle - left, rel=1e-3)
    beyond = np.abs(LEVINE(np.linspace(seam, 40.0, 2000)))
    assert (np.diff(beyond) < 0.0).all()


@pytest.mark.parametrize(
    "function",
    [LEVINE, published_radiation.reflection_rational, published_radiation.reflection_silva],
)
def test_open_end_never_returns_more_than_it_gets(function):
    # Passivity.
    ka = np.geomspace(1e-8, 1e3, 4000)
    assert np.max(np.abs(function(ka))) <= 1.0 + 1e-14


# --- closed formulas -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("function", "highest", "error"),
    [
        (published_radiation.reflection_dalmont, 1.5, 0.006),
        (published_radiation.reflection_rational, 1.5, 0.0025),
        (published_radiation.reflection_rational, 3.0, 0.0105),
        (published_radiation.reflection_silva, 1.5, 0.010),
    ],
)
def test_closed_formulas_stay_near_the_theory(function, highest, error):
    # Against H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948); bounds evaluated here.
    ka = np.linspace(0.0, highest, 600)
    assert np.max(np.abs(function(ka) - LEVINE(ka))) <= error


def test_silva_formula_is_as_close_as_its_coefficients_allow():
    # F. Silva et al., J. Sound Vib. 322, 255 (2009), up to ka = 3.5; bounds evaluated here.
    ka = np.linspace(0.01, 3.5, 600)
    silva, exact = published_radiation.reflection_silva(ka), LEVINE(ka)
    assert np.max(np.abs(np.abs(silva) - np.abs(exact))) <= 0.0028
    lengths = published_radiation.end_correction(silva, ka) - published_radiation.end_correction(
        exact, ka
    )
    assert np.max(np.abs(lengths)) <= 0.0103


@pytest.mark.parametrize(
    ("function", "ka", "size", "length"),
    [
        (published_radiation.reflection_dalmont, 0.1, 0.99512, 0.61192),
        (published_radiation.reflection_dalmont, 1.0, 0.69059, 0.52791),
        (published_radiation.reflection_dalmont, 1.5, 0.49687, 0.47192),
        (published_radiation.reflection_silva, 0.1, 0.99504, 0.61221),
        (published_radiation.reflection_silva, 1.0, 0.69436, 0.53099),
        (published_radiation.reflection_silva, 3.0, 0.15350, 0.31504),
    ],
)
def test_closed_formulas_have_the_values_of_their_papers(function, ka, size, length):
    # Evaluated here from J.-P. Dalmont, C. J. Nederveen and N. Joly, J. Sound Vib. 244, 505 (2001),
    # and F. Silva et al., J. Sound Vib. 322, 255 (2009).
    assert abs(one(function, ka)) == pytest.approx(size, abs=1e-5)
    assert correction(function, ka) == pytest.approx(length, abs=1e-5)


@pytest.mark.parametrize("function", RIVALS)
def test_closed_formulas_turn_slow_waves_over_whole(function):
    # Limit ka → 0: R = -1 and an end correction of 0.6133 radii (0.61 for the rational filter).
    assert one(function, 0.0) == -1.0
    assert correction(function, 1e-4) == pytest.approx(0.6133, abs=1e-3)


def test_rational_filter_is_stable_and_causal():
    # Poles of the filter in σ = jka lie left of the axis: common practice, no source.
    sigma = np.roots([0.15429, 0.67925, 1.48898, 1.0])
    assert (sigma.real < -1.0).all()
    expected = -(1.0 + 0.26358j * 2.0 - 0.08459 * 4.0) / np.polyval(
        [0.15429, 0.67925, 1.48898, 1.0], 2.0j
    )
    assert one(published_radiation.reflection_rational, 2.0) == pytest.approx(expected, rel=1e-12)


# --- the flanged end -----------------------------------------------------------------------------


def flanged_rival(ka, modes=14):
    """Slow rival: the end matched to the field of a baffled piston of many radial shapes.

    W. E. Zorumski, J. Acoust. Soc. Am. 54, 1667 (1973), for a hard wall without circumferential
    modes: Z_mn = 2ka ∫ x h_m h_n dx/√(k²a² - x²), h_m = x J₁(x)/(x² - μ_m²), J₁(μ_m) = 0.
    """
    mu = np.concatenate([[0.0], special.jn_zeros(1, modes - 1)])

    def shapes(x):
        return (x * special.j1(x))[:, None] / (x[:, None] ** 2 - mu**2 + 1e-14)

    nodes, weights = np.polynomial.legendre.leggauss(200)
    angle = 0.25 * math.pi * (nodes + 1.0)
    inside = ka * np.sin(angle)
    total = (shapes(inside) * (0.25 * math.pi * weights * inside)[:, None]).T @ shapes(inside)
    stretch = np.linspace(0.0, math.acosh(3000.0 / ka), 120_001)
    outside = ka * np.cosh(stretch)
    weight = np.full(stretch.size, stretch[1])
    weight[[0, -1]] *= 0.5
    total = total + 1j * (shapes(outside) * (weight * outside)[:, None]).T @ shapes(outside)
    flow = 2.0 * ka * total * np.sqrt(1.0 - (mu / ka) ** 2 + 0j).conj()
    return np.linalg.solve(flow + np.eye(modes), flow - np.eye(modes))[0, 0]


@pytest.mark.parametrize("ka", [0.1, 0.5, 1.0, 2.0, 3.0])
def test_flanged_end_agrees_with_matched_modes(ka):
    # F. Silva et al., J. Sound Vib. 322, 255 (2009), against the rival above.
    assert one(radiation.reflection_flanged_silva, ka) == pytest.approx(flanged_rival(ka), abs=0.01)


def test_flanged_end_correction_of_low_notes_is_0_8216_radii():
    # A. N. Norris and I. C. Sheng, J. Sound Vib. 135, 85 (1989): 0.8216 (from memory).
    assert correction(radiation.reflection_flanged_silva, 1e-3) == pytest.approx(0.8216, abs=1e-4)
    rival = flanged_rival(0.01)
    assert -np.angle(-rival) / 0.02 == pytest.approx(0.8216, abs=2e-3)


def test_flanged_end_radiates_twice_as_much_as_an_unflanged_one():
    # Lord Rayleigh, Theory of Sound (1896), § 302: Re Z_r → k²a²/2, half the space, twice the load.
    ka = np.array([0.05])
    flanged = published_radiation.radiation_impedance(radiation.reflection_flanged_silva(ka))[0]
    assert flanged.real == pytest.approx(0.5 * 0.05**2, rel=0.01)
    free = published_radiation.radiation_impedance(LEVINE(ka))[0]
    assert flanged.real / free.real == pytest.approx(2.0, rel=0.02)


# --- load, end correction, sound outside ---------------------------------------------------------


def test_radiation_impedance_and_reflection_are_one_and_the_same():
    # Definition: R = (Z - 1)/(Z + 1).
    reflection = LEVINE(np.linspace(0.1, 4.0, 30))
    load = published_radiation.radiation_impedance(reflection)
    np.testing.assert_allclose((load - 1.0) / (load + 1.0), reflection, rtol=1e-12)


def test_end_correction_is_the_length_of_tube_that_delays_as_much():
    # Definition: a tube of length l, ideally open, gives R = -exp(-2jkl).
    ka = np.linspace(0.05, 1.2, 20)
    found = published_radiation.end_correction(-0.8 * np.exp(-2j * ka * 0.37), ka)
    np.testing.assert_allclose(found, 0.37, rtol=1e-12)


def test_a_watt_at_a_metre():
    # A. D. Pierce, Acoustics (1989), ch. 1 (evaluated here): p² = ρc W/4πr² as mean squares, so
    # that 1 W makes 109.1 dB re 20 µPa at a metre, in air of 27 °C.
    pressure = radiation.spread_pressure(np.array([1.0]), 1.0, air_keefe(300.15))[0]
    assert 20.0 * math.log10(pressure / math.sqrt(2.0) / 2e-5) == pytest.approx(109.1, abs=0.05)


def test_pressure_falls_with_distance_and_grows_in_half_the_space():
    # The same book: p² ∝ W/Ωr².
    gas, power = air_keefe(300.15), np.array([1e-4])
    near = radiation.spread_pressure(power, 1.0, gas)
    np.testing.assert_allclose(radiation.spread_pressure(power, 2.0, gas), near / 2.0, rtol=1e-12)
    walled = radiation.spread_pressure(power, 1.0, gas, 2.0 * math.pi)
    np.testing.assert_allclose(walled, near * math.sqrt(2.0), rtol=1e-12)


def test_small_source_is_as_loud_as_what_the_open_end_gives_off():
    # A. D. Pierce, Acoustics (1989), ch. 4: a small source makes p = ρ/(4πr) dU/dt; the power into
    # the load of a thin tube's end, ½|U|² Re Z_r ρc/πa², makes the same.
    gas, radius, flow = air_keefe(300.15), 0.01, 1e-4
    ka = np.array([0.02])
    omega = ka * gas.sound_speed / radius
    unit = gas.density * gas.sound_speed / (math.pi * radius**2)
    load = published_radiation.radiation_impedance(LEVINE(ka)).real * unit
    pressure = radiation.spread_pressure(0.5 * flow**2 * load, 1.0, gas)
    assert pressure == pytest.approx(gas.density * omega * flow / (4.0 * math.pi), rel=0.005)
