"""Whole tones against the bore as a convolution with the inverse transform of its reflectance."""

import functools
import math

import bores
import naive
import numba
import numpy as np
import pytest

from reedbore.kernel import rows, single
from reedbore.measures import pitch
from reedbore.model.presets import load_horn, setup_for
from reedbore.notes import cents
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")

RATE = 96000.0
LAST = round(0.2 * RATE)


def setup_of(bore, how, dynamics):
    """A horn with a length [mm], or a bore of the tests with a fingering; without voice."""
    if isinstance(how, str):
        setup = bores.setup_of(bore, how)
    else:
        setup = setup_for(load_horn(bore)).with_value("bore.length_mm", how)
    return setup.with_value("voice.source", "off").with_value("reed.dynamics", dynamics)


def partials(tone):
    """Pitch [Hz] and partials [Pa] up to 8 kHz, phases counted from that of the first.

    By Parseval's theorem their distance is the mean square distance of one period, shifted so
    that the first partials agree; windows of 0.2 s leave the small change from period to period.
    """
    hz = pitch.refine(tone, RATE, pitch.fundamental(tone, RATE).hz)
    numbers = np.arange(1, int(8000.0 / hz))
    turns = numbers[:, None] * np.arange(tone.size) * (hz / RATE)
    lines = np.exp(-2j * math.pi * turns) @ (tone * np.hanning(tone.size)) * (4.0 / tone.size)
    return hz, lines * np.exp(-1j * np.angle(lines[0]) * numbers)


@functools.cache
def both_ways(bore, how, dynamics):
    """Pitch and partials of the kernel's tone and of the convolution's; no jet in a vent."""
    setup = setup_of(bore, how, dynamics)
    numbers, mouth = numbers_of(setup), blown(setup, 0.8)
    numbers.table[rows.VENT_JET] = 0.0
    ours = single.run(numbers, mouth).pressure[-LAST:]
    theirs = naive.convolved(setup, mouth, RATE)[-LAST:]
    return partials(ours), partials(theirs)


# Both reeds on one bore, one reed on one bore of each kind; on CI both reeds on more of them.
# How far one period may differ, and the pitch in cents: about twice what was found. The
# convolution itself, at twice the rate, changes by 0.0001 and 0.01 cents.
TONES = [
    ("plain-cylinder", 711.0, "mass", 0.002, 0.1),
    ("plain-cylinder", 711.0, "massless", 0.002, 0.1),
    ("plain-cone", 700.0, "mass", 0.03, 1.0),
    pytest.param("plain-cone", 700.0, "massless", 0.03, 1.0, marks=pytest.mark.ci),
    pytest.param("cylinder", "closed", "mass", 0.03, 2.5, marks=pytest.mark.ci),
    ("cylinder", "middle", "mass", 0.04, 2.5),
    pytest.param("cylinder", "middle", "massless", 0.04, 2.5, marks=pytest.mark.ci),
    ("cylinder", "vent and row", "mass", 0.1, 4.0),
    ("cone", "middle", "mass", 0.17, 5.0),
]


@long_run
@pytest.mark.parametrize(("bore", "how", "dynamics", "within", "in_tune"), TONES)
def test_tone_is_that_of_the_convolved_bore(bore, how, dynamics, within, in_tune):
    # R. T. Schumacher, Acustica 48, 71 (1981), with the exact reflectance: see `naive`.
    (our_hz, ours), (their_hz, theirs) = both_ways(bore, how, dynamics)
    count = min(ours.size, theirs.size)
    ours, theirs = ours[:count], theirs[:count]
    assert np.linalg.norm(theirs) > 500.0
    assert np.linalg.norm(ours - theirs) <= within * np.linalg.norm(theirs)
    assert abs(cents(our_hz, their_hz)) <= in_tune


@pytest.mark.parametrize(
    ("bore", "how"),
    [("plain-cylinder", 711.0), ("plain-cone", 700.0), ("cylinder", "middle"), ("cone", "vent")],
)
def test_reflected_pulse_comes_after_its_cause_and_dies_away(bore, how):
    # Causality; what stands before time zero wraps round to the end of the transform.
    pulse, _ = naive.reflected_pulse(setup_of(bore, how, "mass"), RATE, 1.0)
    size = np.linalg.norm(pulse)
    assert np.linalg.norm(pulse[-200:]) < 5e-4 * size
    assert np.linalg.norm(pulse[round(0.06 * RATE) :]) < 5e-3 * size


def test_reflected_pulse_of_a_cylinder_first_comes_back_after_one_round_trip():
    # Textbook: nothing before 2L/c, and then less than was sent, upside down.
    setup = setup_of("plain-cylinder", 711.0, "mass")
    pulse, _ = naive.reflected_pulse(setup, RATE)
    trip = 2.0 * 0.711 / gas_of(setup).sound_speed * RATE
    assert np.abs(pulse[3 : round(trip) - 20]).max() < 1e-3
    assert pulse.argmin() == pytest.approx(trip, abs=10.0)
    assert -1.0 < pulse.min() < -0.05
