"""Resonances of pipes and cones against published formulas, limits and units.

"Evaluated here" marks a number computed apart from the code, from the published formula named.
"""

import math

import numpy as np
import published_radiation
import pytest
from scipy.optimize import brentq

from reedbore.physics import radiation, tube
from reedbore.physics.air import air_keefe

COOL = air_keefe(293.15)
LOSSLESS = COOL._replace(viscosity=0.0)
SPEED = COOL.sound_speed

# A cylinder of 15 mm bore, half a metre long, closed by the reed and open, unflanged, at the end.
RADIUS, LENGTH = 7.5e-3, 0.5
UNIT = COOL.density * SPEED / (math.pi * RADIUS**2)


def pipe_impedance(frequency, gas=COOL, open_end=True):
    omega = 2.0 * math.pi * frequency
    load = 0.0
    if open_end:
        reflection = radiation.reflection_levine(omega * RADIUS / gas.sound_speed)
        load = UNIT * published_radiation.radiation_impedance(reflection)
    return tube.input_impedance(tube.cylinder(LENGTH, RADIUS, omega, gas), load) / UNIT


def cone_of(start, length=1.0, radius=6e-3):
    """Radii of a cone whose narrow end lies `start` from its apex."""
    return length, radius, radius * (start + length) / start


def resonances(residual, count, step=0.02):
    """Zeros of a real function of kL, by sign change and bracketing."""
    grid = np.arange(0.5, 3.6 * count, step)
    values = residual(grid)
    found = [
        brentq(lambda x: residual(np.array([x]))[0], grid[i], grid[i + 1], xtol=1e-13)
        for i in np.flatnonzero(np.sign(values[1:]) != np.sign(values[:-1]))
    ]
    return np.array(found[:count])


def test_half_metre_pipe_resonates_where_it_should():
    # Evaluated here: walls after C. Zwikker and C. W. Kosten (1949), open end after H. Levine and
    # J. Schwinger, Phys. Rev. 73, 383 (1948), air after D. H. Keefe (1984) at 20 °C.
    frequency = np.arange(50.0, 1700.0, 0.5)
    found = tube.peaks(frequency, pipe_impedance(frequency))
    expected = [167.30, 505.42, 844.18, 1183.22, 1522.44]
    np.testing.assert_allclose(found.frequency, expected, atol=0.1)
    np.testing.assert_allclose(found.height, [38.69, 21.90, 16.48, 13.46, 11.43], rtol=5e-3)
    assert found.quality[0] == pytest.approx(30.0, abs=0.5)


def test_quality_is_frequency_over_half_power_bandwidth():
    # Definition; 5.57 Hz evaluated here as above. The peak is followed down to -3 dB on both sides.
    frequency = np.arange(150.0, 185.0, 0.002)
    size = np.abs(pipe_impedance(frequency))
    above = frequency[size > size.max() / math.sqrt(2.0)]
    width = above[-1] - above[0]
    assert width == pytest.approx(5.57, abs=0.02)
    coarse = np.arange(50.0, 400.0, 1.0)
    found = tube.peaks(coarse, pipe_impedance(coarse))
    assert found.quality[0] == pytest.approx(found.frequency[0] / width, rel=0.01)


@pytest.mark.parametrize("step", [1.0, 5.0, 10.0])
def test_peaks_on_a_coarse_grid_agree_with_a_fine_one(step):
    # Convergence: at least ten points from peak to peak.
    fine, coarse = np.arange(50.0, 1700.0, 0.05), np.arange(50.0, 1700.0, step)
    exact = tube.peaks(fine, pipe_impedance(fine))
    found = tube.peaks(coarse, pipe_impedance(coarse))
    np.testing.assert_allclose(found.frequency, exact.frequency, atol=0.002 * step)
    np.testing.assert_allclose(found.height, exact.height, rtol=0.01)


def test_flat_impedance_has_no_peaks():
    found = tube.peaks(np.arange(10.0), np.full(10, 3.0 + 1.0j))
    assert found.frequency.size == found.height.size == found.quality.size == 0


def test_peaks_scale_with_their_units():
    # Units: frequency in kilohertz and impedance in other units change neither place nor Q.
    frequency = np.arange(50.0, 1700.0, 2.0)
    impedance = pipe_impedance(frequency)
    plain, scaled = tube.peaks(frequency, impedance), tube.peaks(frequency / 1e3, 7.0 * impedance)
    np.testing.assert_allclose(scaled.frequency * 1e3, plain.frequency, rtol=1e-9)
    np.testing.assert_allclose(scaled.height / 7.0, plain.height, rtol=1e-9)
    np.testing.assert_allclose(scaled.quality, plain.quality, rtol=1e-9)


def test_lossy_pipe_with_an_ideal_open_end():
    # Evaluated here from C. Zwikker and C. W. Kosten (1949): wall dispersion lowers the first
    # resonance 29 cents below c/4L.
    frequency = np.arange(50.0, 1000.0, 0.5)
    found = tube.peaks(frequency, pipe_impedance(frequency, open_end=False))
    np.testing.assert_allclose(found.frequency, [168.82, 510.03, 851.89], atol=0.02)
    flat = 1200.0 * math.log2(found.frequency[0] / (SPEED / (4.0 * LENGTH)))
    assert flat == pytest.approx(-28.7, abs=0.3)


def test_lossless_closed_pipe_has_the_odd_series():
    # N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments (1998), ch. 8:
    # f = (2n - 1) c/4L, where D, the admittance at the reed with an ideal open end, vanishes.
    def residual(phase):
        return tube.cylinder(LENGTH, RADIUS, phase * SPEED / LENGTH, LOSSLESS)[3].real

    frequency = resonances(residual, 5) * SPEED / LENGTH / (2.0 * math.pi)
    expected = (2.0 * np.arange(5) + 1.0) * SPEED / (4.0 * LENGTH)
    np.testing.assert_allclose(frequency, expected, rtol=1e-9)


@pytest.mark.parametrize(
    ("start", "second", "third"),
    [(0.05, 2.0020, 3.0076), (0.1, 2.0122, 3.0419), (0.2, 2.0554, 3.1622)],
)
def test_cone_closed_at_its_throat_is_sharp_of_the_harmonic_series(start, second, third):
    # A. H. Benade, Fundamentals of Musical Acoustics (1976): tan kL = -k x₁; evaluated here.
    length, entry, leave = cone_of(start)

    def residual(phase):
        return tube.cone(length, entry, leave, phase * SPEED, LOSSLESS)[3].real

    found = resonances(residual, 3)
    textbook = resonances(lambda x: np.sin(x) + start * x * np.cos(x), 3)
    np.testing.assert_allclose(found, textbook, rtol=1e-10)
    assert found[1] / found[0] == pytest.approx(second, abs=2e-4)
    assert found[2] / found[0] == pytest.approx(third, abs=2e-4)


@pytest.mark.parametrize(
    ("start", "second", "third"),
    [(0.05, 2.0000, 3.0001), (0.1, 2.0004, 3.0027), (0.2, 2.0063, 3.0367)],
)
def test_volume_of_the_missing_tip_restores_the_harmonic_series(start, second, third):
    # A. H. Benade, Fundamentals of Musical Acoustics (1976): a mouthpiece of the volume of the cut
    # tip makes the cone whole; numbers evaluated here from the two-port of spherical waves.
    length, entry, leave = cone_of(start)
    volume = math.pi * entry**2 * start / 3.0

    def residual(phase):
        omega = phase * SPEED
        _, b, _, d = tube.cone(length, entry, leave, omega, LOSSLESS)
        return (d + b * tube.cavity_admittance(volume, omega, LOSSLESS)).real

    found = resonances(residual, 3)
    assert found[1] / found[0] == pytest.approx(second, abs=2e-4)
    assert found[2] / found[0] == pytest.approx(third, abs=2e-4)
    assert found[0] == pytest.approx(math.pi * length / (length + start), rel=1e-3)
