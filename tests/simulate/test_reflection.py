"""The bore in time against the exact bore in frequency: losses, resonances, passivity, delay."""

import functools
import math

import bores
import numba
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.kernel import rows, single
from reedbore.model.bore import Bore, BoreSection
from reedbore.model.presets import load_horn, setup_for
from reedbore.notes import parse_note
from reedbore.physics import air, radiation, tube
from reedbore.simulate.acoustics import reflection
from reedbore.simulate.acoustics.bore import (
    bore_admittance,
    gas_of,
    open_row_cutoff,
    vent_number,
)
from reedbore.simulate.acoustics.delay import lagrange, split_delay
from reedbore.simulate.acoustics.numbers import numbers_of, waveguide_of

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")

# Bores that play the lowest, middle and highest note of each horn. [mm]
TENOR, CYLINDER, CONE = "tenor-saxophone", "plain-cylinder", "plain-cone"
BORES = [(TENOR, 1408), (TENOR, 804), (TENOR, 460), (CYLINDER, 800), (CYLINDER, 497)]
BORES += [(CYLINDER, 325), (CONE, 799), (CONE, 557), (CONE, 315)]
# Tenors under their vents, as the note and the length that plays it.
UPPER = [("C4", 1078), ("F#4", 684), ("G4", 665), ("C#5", 420)]
ALL = BORES + bores.HOLED + bores.TUBED + UPPER + bores.ENDED
VENTED = [(bore, how) for bore, how in bores.HOLED if how.startswith("vent")]
UNVENTED = [case for case in bores.HOLED if case not in VENTED]
BEHIND_A_TUBE = [*UPPER, *((bore, how) for bore, how in bores.TUBED if "vent and row" in how)]

# Every bore at the usual rate; at the others one of each kind, and on CI every bore again.
OF_A_KIND = [(TENOR, 804), (CYLINDER, 325), (CONE, 557), ("cylinder", "vent and row"),
             ("cone", "crossed"), ("row behind a cone", "closed"), ("bell", "closed"),
             ("G4", 665), (bores.TUBED[0][0], "lower vent and row")]  # fmt: skip
AT_RATES = [
    pytest.param(*case, rate, marks=[] if rate == 96e3 or case in OF_A_KIND else pytest.mark.ci)
    for case in ALL
    for rate in (44100.0, 96000.0, 192000.0)
]


@functools.cache
def setup_of(bore, how):
    """A horn's bore with a length [mm], or a bore of the tests with a fingering.

    Instead of a horn, a note of the tenor that has a vent.
    """
    if isinstance(how, str):
        return bores.setup_of(bore, how)
    if (bore, how) in UPPER:
        vent = load_horn(TENOR).vent(parse_note(bore))
        return with_holes(setup_of(TENOR, how), (vent,))
    return setup_for(load_horn(bore)).with_value("bore.length_mm", float(how))


def with_holes(setup, holes):
    return setup.model_copy(update={"bore": setup.bore.model_copy(update={"holes": holes})})


def exact_impedance(setup, frequency):
    """Input impedance of bore and mouthpiece from the two-ports."""
    gas, omega = gas_of(setup), 2.0 * math.pi * frequency
    bore = bore_admittance(setup.bore, omega, gas)
    return 1.0 / (bore + tube.cavity_admittance(setup.mouthpiece.volume, omega, gas))


@functools.cache
def impedance_in_time(bore, how):
    """Frequencies [Hz] and input impedance from stepping the bore, the reed's channel shut."""
    return stepped_impedance(setup_of(bore, how))


def stepped_impedance(setup):
    """Frequencies [Hz] and input impedance from stepping a bore, the reed's channel shut.

    A flow of 1, -1, 1, ... is fed in through the state of the mouthpiece's volume; the sum of
    neighbours of the pressure is then the answer to a single puff. The flow is far too strong for
    the jet of a vent, so that is left out.
    """
    numbers, rate = numbers_of(setup), setup.time.rate
    numbers.table[[rows.CHANNEL, rows.PISTON, rows.VENT_JET]] = 0.0
    loop = single.compiled_run("mass", False, False, numbers.upper is not None, False)

    def puffed(table, state, *rest):
        state[rows.VOLUME_FLOW] = 1.0
        loop(table, state, *rest)

    pressure = single.run(numbers, np.zeros(round(4.0 * rate)), puffed).pressure
    pressure[1:] += pressure[:-1].copy()
    frequency = np.fft.rfftfreq(1 << 20, 1.0 / rate)
    return frequency[300:50000], np.fft.rfft(pressure, 1 << 20)[300:50000]


@functools.cache
def peaks_off(bore, how):
    """First eight peaks of the stepped bore against the exact one: in cents and in decibels."""
    return off(setup_of(bore, how), *impedance_in_time(bore, how), 8)


def off(setup, frequency, stepped, count):
    """First peaks of a stepped impedance against the exact one: in cents and in decibels."""
    exact = tube.peaks(frequency, exact_impedance(setup, frequency))
    found = tube.peaks(frequency, stepped)
    assert min(exact.frequency.size, found.frequency.size) >= count
    cents = 1200.0 * np.log2(found.frequency[:count] / exact.frequency[:count])
    return cents, 20.0 * np.log10(found.height[:count] / exact.height[:count])


def below_cutoff(bore, how):
    """Which of the first eight peaks lie below the cut-off of the row of holes, if there is one."""
    setup = setup_of(bore, how)
    frequency, _ = impedance_in_time(bore, how)
    exact = tube.peaks(frequency, exact_impedance(setup, frequency))
    return exact.frequency[:8] < (open_row_cutoff(setup) or np.inf)


# --- the fractional delay ------------------------------------------------------------------------


@given(fraction=st.floats(0.0, 1.0))
def test_delay_has_the_published_taps(fraction):
    # T. I. Laakso, V. Valimaki, M. Karjalainen and U. K. Laine, IEEE Signal Process. Mag. 13(1),
    # 30 (1996): h(n) = product over k != n of (D - k)/(n - k), here D = 1 + fraction.
    wanted = [
        math.prod((1.0 + fraction - k) / (n - k) for k in range(4) if k != n) for n in range(4)
    ]
    assert lagrange(fraction) == pytest.approx(wanted, abs=1e-15)


def delayed(fraction, turn):
    """Response of the taps at angles [rad a sample]."""
    taps = np.array(lagrange(fraction))
    return taps @ np.exp(-1j * np.outer(np.arange(4), turn))


@given(fraction=st.floats(0.0, 1.0))
def test_delay_amplifies_no_frequency(fraction):
    # The same source: of odd order, and used in its middle stretch.
    assert np.abs(delayed(fraction, np.linspace(0.0, math.pi, 500))).max() <= 1.0 + 1e-12


def test_delay_of_thirteen_tenths_at_200_hz():
    # By definition of phase delay: minus the phase over the angle a sample.
    turn = 2.0 * math.pi * 200.0 / 96000.0
    assert -np.angle(delayed(0.3, np.array([turn])))[0] / turn == pytest.approx(1.3, abs=1e-6)


@given(samples=st.floats(3.0, 5000.0))
def test_split_delay_is_the_whole_delay(samples):
    # The taps begin one sample before the whole part: first + 1 + fraction.
    first, fraction = split_delay(samples)
    assert 0.0 <= fraction < 1.0
    assert first + 1 + fraction == pytest.approx(samples, abs=1e-9)


# --- losses --------------------------------------------------------------------------------------


def half_metre_pipe(gas):
    """The bore in time of half a metre of tube of 7.5 mm radius, without mouthpiece."""
    bore = Bore(sections=(BoreSection(length=0.5, entry=15e-3, exit=15e-3),))
    return reflection.waveguide(bore, 0.0, gas, 96000.0)


def test_lossy_round_trip_of_a_cylinder():
    # D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984), evaluated here: 1 m of tube of 7.5 mm radius
    # at 20 degrees and 1 kHz leaves 0.88189 of a wave and delays it by 19.87 us more than c does.
    gas, hertz, rate = air.air_keefe(293.15), np.array([1000.0]), 96000.0
    fitted = half_metre_pipe(gas).reflection
    end = radiation.reflection_levine(2.0 * math.pi * hertz * 7.5e-3 / gas.sound_speed)
    trip = (fitted.response(np.exp(2j * math.pi * hertz / rate)) / end)[0]
    plain = np.exp(-2j * math.pi * hertz[0] / gas.sound_speed)
    assert abs(trip) == pytest.approx(0.88189, abs=2e-3)
    assert -np.angle(trip / plain) / (2e3 * math.pi) == pytest.approx(19.87e-6, abs=1e-6)


def test_resonances_of_a_half_metre_cylinder():
    # Losses by Keefe 1984, open end by H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948),
    # evaluated here at 20 degrees: 167.30, 505.42 and 844.18 Hz.
    frequency = np.linspace(50.0, 1000.0, 4000)
    admittance = half_metre_pipe(air.air_keefe(293.15)).admittance(frequency)
    found = tube.peaks(frequency, 1.0 / admittance).frequency
    assert found == pytest.approx([167.30, 505.42, 844.18], abs=0.3)


# --- resonances ----------------------------------------------------------------------------------


@long_run
@pytest.mark.parametrize(("bore", "how"), ALL)
def test_stepped_bore_has_the_admittance_that_it_is_said_to_have(bore, how):
    # Consistency of the time step with the formula that the passivity below is checked on.
    frequency, stepped = impedance_in_time(bore, how)
    said = waveguide_of(setup_of(bore, how)).admittance(frequency)
    assert np.abs(stepped * said - 1.0).max() < 1e-3


@long_run
@pytest.mark.parametrize(("bore", "how"), BORES + bores.ENDED)
def test_stepped_bore_resonates_within_two_cents_of_the_exact_one(bore, how):
    # Keefe 1984 and Levine and Schwinger 1948 through the two-ports.
    cents, _ = peaks_off(bore, how)
    assert np.abs(cents[below_cutoff(bore, how)]).max() <= 2.0


@long_run
@pytest.mark.parametrize(("bore", "how"), BORES + bores.ENDED)
def test_stepped_bore_resonates_within_half_a_decibel_of_the_exact_one(bore, how):
    # Keefe 1984 and Levine and Schwinger 1948 through the two-ports.
    _, decibels = peaks_off(bore, how)
    assert np.abs(decibels[below_cutoff(bore, how)]).max() <= 0.5


@long_run
@pytest.mark.parametrize(("bore", "how"), BORES + bores.ENDED)
def test_weak_peaks_above_the_cutoff_of_a_row_are_near(bore, how):
    # Above the cut-off the row lets most of a wave go: what is left of a peak is low and broad.
    cents, decibels = peaks_off(bore, how)
    assert np.abs(cents).max() <= 15.0
    assert np.abs(decibels).max() <= 1.0


@long_run
@pytest.mark.parametrize(("bore", "how"), bores.HOLED)
def test_stepped_bore_with_holes_resonates_like_the_exact_one(bore, how):
    # Keefe 1984 and, for holes, D. H. Keefe, J. Acoust. Soc. Am. 88, 35 (1990). A few echoes and
    # pole pairs stand for twenty holes: the two lowest peaks, which the note hangs on, are true
    # within 3 cents, the eight lowest within 20.
    cents, _ = peaks_off(bore, how)
    assert np.abs(cents[:2]).max() <= 3.0
    assert np.abs(cents).max() <= 20.0


@long_run
@pytest.mark.parametrize(
    ("cases", "lowest", "any_peak"), [(UNVENTED, 1.0, 2.5), (VENTED, 3.0, 3.0)]
)
def test_stepped_bore_with_holes_resonates_about_as_high_as_the_exact_one(cases, lowest, any_peak):
    # The same sources. A vent is the mass of its air and a resistance, taken at one frequency.
    off = np.abs([peaks_off(bore, how)[1] for bore, how in cases])
    assert off[:, :2].max() <= lowest
    assert off.max() <= any_peak


@long_run
@pytest.mark.parametrize(("bore", "how"), BEHIND_A_TUBE)
def test_bore_behind_a_mouthpieces_tube_resonates_like_the_exact_one_under_its_vent(bore, how):
    # Keefe 1984 and 1990, the row of a tenor as in `bore.end_impedance`. One filter for tube and
    # cone, between which waves turn back, missed by up to 66 cents and 8 dB.
    cents, decibels = off(setup_of(bore, how), *impedance_in_time(bore, how), 4)
    assert np.abs(cents).max() <= 5.0
    assert np.abs(decibels).max() <= 1.0


@long_run
@pytest.mark.parametrize(("bore", "how"), BEHIND_A_TUBE)
def test_bore_behind_a_mouthpieces_tube_is_the_unvented_one_until_its_vent_opens(bore, how):
    # The same sources. Without a junction the lowest peak was up to 92 cents flat.
    setup = setup_of(bore, how)
    later = setup.bore.model_copy(update={"vent_after": 10.0})
    number = vent_number(setup.bore)
    shut = [
        hole.model_copy(update={"open": 0.0}) if at == number else hole
        for at, hole in enumerate(setup.bore.holes)
    ]
    stepped = stepped_impedance(setup.model_copy(update={"bore": later}))
    cents, _ = off(with_holes(setup, tuple(shut)), *stepped, 4)
    assert np.abs(cents).max() <= 5.0


def test_a_junction_stands_only_where_a_tube_meets_a_cone_above_a_vent():
    # What it reflects follows from the tip: (a + b - s)/(1 + g), g = cT/4x, for equal widths.
    tubed, plain = (
        waveguide_of(setup_of(*case)).vent.chamber
        for case in ((bores.TUBED[0][0], "upper vent"), ("cone", "vent"))
    )
    gas, tip = gas_of(setup_of("cone", "vent")), 12.4 * 0.95 / (65.0 - 12.4)
    share = 1.0 / (1.0 + gas.sound_speed / (4.0 * 96000.0 * tip))
    assert (1.0 + tubed.of_tube, 1.0 + tubed.of_cone) == pytest.approx((share, share), rel=1e-4)
    assert tubed.of_tip == pytest.approx(2.0 * (1.0 - share), rel=0.02)  # friction adds to the mass
    assert 0.97 < tubed.left < 1.0
    assert tubed.delay == pytest.approx(2.0 * 0.033 / gas.sound_speed * 96000.0, rel=0.02)
    assert (plain.left, plain.of_tube, plain.of_cone, plain.of_tip) == (1.0, 0.0, 0.0, 0.0)
    assert waveguide_of(setup_of(bores.TUBED[0][0], "row")).vent is None


def test_a_tube_too_short_for_a_delay_line_has_no_junction():
    setup = setup_of(bores.TUBED[0][0], "upper vent")
    short = setup.bore.sections[0].model_copy(update={"length": 2e-3})
    bore = setup.bore.model_copy(update={"sections": (short, *setup.bore.sections[1:])})
    guide = waveguide_of(setup.model_copy(update={"bore": bore}))
    assert guide.vent.chamber.of_tip == 0.0
    assert guide.throat.throat.any()


# --- passivity -----------------------------------------------------------------------------------


def dense_frequencies(rate, fitted):
    """From DC to half the rate (infinite there by the trapezoidal rule).

    Dense at the bottom and around each pole pair, where a response is as narrow as the pair is
    near to the unit circle.
    """
    low, high = np.geomspace(1e-2, 200.0, 2001), np.linspace(200.0, 0.49999 * rate, 12001)
    at, width = np.angle(fitted.pairs), 1.0 - np.abs(fitted.pairs)
    near = (at + np.linspace(-4.0, 4.0, 33)[:, None] * width).ravel() * rate / (2.0 * math.pi)
    near = near[(near > 0.0) & (near < 0.49999 * rate)]
    return np.concatenate(([0.0], low, high, near))


@functools.cache
def swept(bore, how, rate):
    """Largest reflection, largest way to a vent, and least conductance over 1/Zc of a bore."""
    setup = setup_of(bore, how).with_value("time.rate_hz", rate)
    guide = waveguide_of(setup)
    frequency = dense_frequencies(rate, guide.reflection)
    z = np.exp(2j * math.pi * frequency / rate)
    upper = np.abs(guide.vent.upper(z)).max() if guide.vent else 0.0
    conductance = guide.admittance(frequency).real.min() * guide.throat.resistance
    return np.abs(guide.reflection.response(z)).max(), upper, conductance


@pytest.mark.parametrize(("bore", "how", "rate"), AT_RATES)
def test_reflection_never_exceeds_one(bore, how, rate):
    # J. O. Smith, "Physical Audio Signal Processing", 2010: a passive reflectance is bounded by 1.
    reflected, upper, _ = swept(bore, how, rate)
    assert max(reflected, upper) <= 1.0 + 1e-9


@pytest.mark.parametrize(("bore", "how", "rate"), AT_RATES)
def test_bore_gives_no_power_at_any_frequency(bore, how, rate):
    # The same source: the admittance of a passive bore is positive real.
    assert swept(bore, how, rate)[2] >= 0.0


@pytest.mark.parametrize(("bore", "how", "rate"), AT_RATES)
def test_filter_of_the_bore_is_stable(bore, how, rate):
    # All poles lie inside the unit circle.
    setup = setup_of(bore, how).with_value("time.rate_hz", rate)
    guide = waveguide_of(setup)
    real = [guide.reflection.poles, [guide.reflection.fade]]
    real += [guide.vent.poles] if guide.vent else []
    assert np.concatenate(real).min() > 0.0
    assert max(np.concatenate(real).max(), np.abs(guide.reflection.pairs).max()) < 1.0


@pytest.mark.parametrize(("bore", "how"), VENTED + UPPER)
def test_vent_only_takes_power(bore, how):
    # Passivity of a hole: its air has mass, its friction and its jet only brake.
    guide = waveguide_of(setup_of(bore, how))
    assert min(guide.vent.mass, guide.vent.loss, guide.vent.jet, guide.vent.wave) > 0.0
