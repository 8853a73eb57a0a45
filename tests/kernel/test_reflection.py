"""The bore in time against the exact bore in frequency: losses, resonances, passivity, delay."""

import functools
import math

import numba
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.kernel import parameters, reflection, single
from reedbore.kernel import step as rows
from reedbore.physics import air, radiation, tube
from reedbore.presets import load_horn, setup_for

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")

# Bores that play the lowest, middle and highest note of each horn. [mm]
TENOR, CYLINDER, CONE = "tenor-saxophone", "plain-cylinder", "plain-cone"
BORES = [(TENOR, 1408), (TENOR, 804), (TENOR, 460), (CYLINDER, 800), (CYLINDER, 497)]
BORES += [(CYLINDER, 325), (CONE, 799), (CONE, 557), (CONE, 315)]


@functools.cache
def bore_of(horn, length_mm):
    """A setup, its fitted reflection and its lumped elements."""
    setup = setup_for(load_horn(horn)).with_value("bore.length_mm", float(length_mm))
    gas, volume = parameters.gas_of(setup), setup.mouthpiece.volume
    lumped = reflection.throat(setup.bore.chain(), volume, gas)
    return setup, parameters.reflection_of(setup), lumped


def exact_impedance(setup, frequency):
    """Input impedance of bore and mouthpiece from the two-ports."""
    gas, omega = parameters.gas_of(setup), 2.0 * math.pi * frequency
    bore = reflection.bore_admittance(setup.bore.chain(), setup.bore.end, omega, gas)
    return 1.0 / (bore + tube.cavity_admittance(setup.mouthpiece.volume, omega, gas))


@functools.cache
def impedance_in_time(horn, length_mm):
    """Frequencies [Hz] and input impedance from stepping the bore, the reed's channel shut.

    A flow of 1, -1, 1, ... is fed in through the state of the mouthpiece's volume; the sum of
    neighbours of the pressure is then the answer to a single puff.
    """
    setup, *_ = bore_of(horn, length_mm)
    numbers, rate = parameters.numbers_of(setup), setup.time.rate
    numbers.table[[rows.CHANNEL, rows.PISTON]] = 0.0

    def puffed(table, state, *rest):
        state[rows.VOLUME_FLOW] = 1.0
        single._run_mass(table, state, *rest)

    pressure = single.run(numbers, np.zeros(round(4.0 * rate)), puffed).pressure
    pressure[1:] += pressure[:-1].copy()
    frequency = np.fft.rfftfreq(1 << 20, 1.0 / rate)
    return frequency[300:50000], np.fft.rfft(pressure, 1 << 20)[300:50000]


def peaks_in_time_and_exact(horn, length_mm):
    """First eight peaks of the stepped bore and of the exact one."""
    frequency, stepped = impedance_in_time(horn, length_mm)
    exact = exact_impedance(bore_of(horn, length_mm)[0], frequency)
    found = [tube.peaks(frequency, impedance) for impedance in (stepped, exact)]
    assert all(peaks.frequency.size >= 8 for peaks in found)
    return [tube.Peaks(*(field[:8] for field in peaks)) for peaks in found]


# --- the fractional delay ------------------------------------------------------------------------


@given(fraction=st.floats(0.0, 1.0))
def test_delay_has_the_published_taps(fraction):
    # T. I. Laakso, V. Valimaki, M. Karjalainen and U. K. Laine, IEEE Signal Process. Mag. 13(1),
    # 30 (1996): h(n) = product over k != n of (D - k)/(n - k), here D = 1 + fraction.
    wanted = [
        math.prod((1.0 + fraction - k) / (n - k) for k in range(4) if k != n) for n in range(4)
    ]
    assert reflection.lagrange(fraction) == pytest.approx(wanted, abs=1e-15)


def delayed(fraction, turn):
    """Response of the taps at angles [rad a sample]."""
    taps = np.array(reflection.lagrange(fraction))
    return taps @ np.exp(-1j * np.outer(np.arange(4), turn))


@given(fraction=st.floats(0.0, 1.0))
def test_delay_amplifies_no_frequency(fraction):
    # The same source: of odd order, and used in its middle stretch.
    assert np.abs(delayed(fraction, np.linspace(0.0, math.pi, 500))).max() <= 1.0 + 1e-12


def test_delay_of_thirteen_tenths_at_200_hz():
    # By definition of phase delay: minus the phase over the angle a sample.
    turn = 2.0 * math.pi * 200.0 / 96000.0
    assert -np.angle(delayed(0.3, np.array([turn])))[0] / turn == pytest.approx(1.3, abs=1e-6)


@given(delay=st.floats(3.0, 5000.0))
def test_split_delay_is_the_whole_delay(delay):
    # The taps begin one sample before the whole part: first + 1 + fraction.
    first, fraction = reflection.split_delay(delay)
    assert 0.0 <= fraction < 1.0
    assert first + 1 + fraction == pytest.approx(delay, abs=1e-9)


# --- losses --------------------------------------------------------------------------------------


def test_lossy_round_trip_of_a_cylinder():
    # D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984), evaluated here: 1 m of tube of 7.5 mm radius
    # at 20 degrees and 1 kHz leaves 0.88189 of a wave and delays it by 19.87 us more than c does.
    gas, hertz, rate = air.air_keefe(293.15), np.array([1000.0]), 96000.0
    fitted = reflection.fit(((0.5, 7.5e-3, 7.5e-3),), "unflanged", 0.0, gas, rate)
    end = radiation.reflection_levine(2.0 * math.pi * hertz * 7.5e-3 / gas.sound_speed)
    trip = (fitted.response(np.exp(2j * math.pi * hertz / rate)) / end)[0]
    plain = np.exp(-2j * math.pi * hertz[0] / gas.sound_speed)
    assert abs(trip) == pytest.approx(0.88189, abs=2e-3)
    assert -np.angle(trip / plain) / (2e3 * math.pi) == pytest.approx(19.87e-6, abs=1e-6)


def test_resonances_of_a_half_metre_cylinder():
    # Losses by Keefe 1984, open end by H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948),
    # evaluated here at 20 degrees: 167.30, 505.42 and 844.18 Hz.
    gas, frequency = air.air_keefe(293.15), np.linspace(50.0, 1000.0, 4000)
    pieces = ((0.5, 7.5e-3, 7.5e-3),)
    fitted = reflection.fit(pieces, "unflanged", 0.0, gas, 96000.0)
    lumped = reflection.throat(pieces, 0.0, gas)
    admittance = reflection.sampled_admittance(fitted, lumped, frequency, 96000.0)
    found = tube.peaks(frequency, 1.0 / admittance).frequency
    assert found == pytest.approx([167.30, 505.42, 844.18], abs=0.3)


# --- resonances ----------------------------------------------------------------------------------


@long_run
@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_stepped_bore_has_the_admittance_that_it_is_said_to_have(horn, length_mm):
    # Consistency of the time step with the formula that the passivity below is checked on.
    setup, fitted, lumped = bore_of(horn, length_mm)
    frequency, stepped = impedance_in_time(horn, length_mm)
    said = reflection.sampled_admittance(fitted, lumped, frequency, setup.time.rate)
    assert np.abs(stepped * said - 1.0).max() < 1e-3


@long_run
@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_stepped_bore_resonates_within_two_cents_of_the_exact_one(horn, length_mm):
    # Keefe 1984 and Levine and Schwinger 1948 through the two-ports.
    stepped, exact = peaks_in_time_and_exact(horn, length_mm)
    assert np.abs(1200.0 * np.log2(stepped.frequency / exact.frequency)).max() <= 2.0


@long_run
@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_stepped_bore_resonates_within_half_a_decibel_of_the_exact_one(horn, length_mm):
    # Keefe 1984 and Levine and Schwinger 1948 through the two-ports.
    stepped, exact = peaks_in_time_and_exact(horn, length_mm)
    assert np.abs(20.0 * np.log10(stepped.height / exact.height)).max() <= 0.5


# --- passivity -----------------------------------------------------------------------------------


def dense_frequencies(rate):
    """From DC to half the rate (infinite there by the trapezoidal rule), dense at the bottom."""
    low, high = np.geomspace(1e-2, 200.0, 8001), np.linspace(200.0, 0.49999 * rate, 60001)
    return np.concatenate(([0.0], low, high))


@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_reflection_never_exceeds_one(horn, length_mm):
    # J. O. Smith, "Physical Audio Signal Processing", 2010: a passive reflectance is bounded by 1.
    setup, fitted, _ = bore_of(horn, length_mm)
    turn = 2.0 * math.pi * dense_frequencies(setup.time.rate) / setup.time.rate
    assert np.abs(fitted.response(np.exp(1j * turn))).max() <= 1.0 + 1e-9


@pytest.mark.parametrize("rate", [44100.0, 96000.0, 192000.0])
@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_bore_gives_no_power_at_any_frequency(horn, length_mm, rate):
    # The same source: the admittance of a passive bore is positive real.
    setup = bore_of(horn, length_mm)[0].with_value("time.rate_hz", rate)
    fitted, lumped = parameters.reflection_of(setup), bore_of(horn, length_mm)[2]
    admittance = reflection.sampled_admittance(fitted, lumped, dense_frequencies(rate), rate)
    assert admittance.real.min() >= 0.0


@pytest.mark.parametrize(("horn", "length_mm"), BORES)
def test_filter_of_the_bore_is_stable(horn, length_mm):
    # All poles lie inside the unit circle.
    _, fitted, _ = bore_of(horn, length_mm)
    pair = np.roots((1.0, -fitted.ring[0], fitted.ring[1]))
    assert fitted.poles.min() > 0.0
    assert max(fitted.poles.max(), np.abs(pair).max()) < 1.0
