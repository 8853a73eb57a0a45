"""Mouth and throat in series with the bore: against linear theory, and stable whatever they are."""

import math

import numba
import numpy as np
import pytest

from reedbore.kernel import single
from reedbore.model.presets import load_horn
from reedbore.model.units import QUANTITIES
from reedbore.physics import tube
from reedbore.simulate.acoustics import airway, numbers
from reedbore.simulate.acoustics import bore as acoustics
from reedbore.simulate.take import render
from reedbore.simulate.tuning import blown, tune

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
RATE = 96000.0
VOWELS = "none", "neutral", "a", "i", "u"


def coupled(horn="tenor-saxophone", hz=116.54, vowel="a"):
    setup = tune(load_horn(horn), hz).with_value("tract.coupling", "on")
    return setup.with_value("voice.vowel", vowel).with_value("voice.source", "off")


def soft_lines(setup, hz, breath=500.0, swing=1e-3, seconds=2.0):
    """Partials [Pa] at a frequency in mouth and mouthpiece, and the sung pressure that makes them.

    The breath is far below the one at which the reed begins to sound.
    """
    steps = np.arange(round(seconds * RATE))
    turns = np.exp(-2j * math.pi * hz / RATE * steps)
    rise = np.minimum(steps / 4800.0, 1.0)
    run = single.run(numbers.numbers_of(setup), breath * rise * (1.0 + swing * turns.imag))
    last = slice(-round(round(0.5 * hz) / hz * RATE), None)

    def line(samples):
        return 2j * np.mean((samples[last] - samples[last].mean()) * turns[last])

    return line(run.mouth), line(run.pressure), -breath * swing, run


def reed_admittance(setup, hz, run):
    """Flow through a still-standing, open reed for a small drop of pressure, and its yielding.

    U = w h √(2Δp/ρ), h and Δp both moving; the reed's own resonance: h = -Δp/K /(1 - x² + jqx).
    """
    held, gas = setup.reed.held(), acoustics.gas_of(setup)
    drop = float(np.mean(run.mouth[-9600:] - run.pressure[-9600:]))
    opening = float(np.mean(run.opening[-9600:]))
    x = hz / held.frequency
    moves = -1.0 / held.stiffness / (1.0 - x**2 + 1j * held.damping * x)
    speed = math.sqrt(2.0 * drop / gas.density)
    piston = 2j * math.pi * hz * held.area * -moves
    return held.width * (opening * speed / (2.0 * drop) + moves * speed) + piston


def bore_admittance(setup, hz):
    """Input admittance [m³ s⁻¹ Pa⁻¹] of bore and mouthpiece, the reed left out."""
    gas, omega = acoustics.gas_of(setup), np.array([2.0 * math.pi * hz])
    cavity = tube.cavity_admittance(setup.mouthpiece.volume, omega, gas)
    return complex((acoustics.bore_admittance(setup.bore, omega, gas) + cavity)[0])


@long_run
@pytest.mark.parametrize("vowel", VOWELS)
@pytest.mark.parametrize("horn", [("tenor-saxophone", 116.54), ("clarinet-b-flat", 220.0)])
@pytest.mark.parametrize("hz", [110.0, 233.0, 470.0, 930.0])
def test_soft_voice_finds_mouth_and_bore_in_series(vowel, horn, hz):
    # A. H. Benade, in Vibration Plates to Musical Air Columns, 1985; J. Chen, J. Smith and
    # J. Wolfe, J. Acoust. Soc. Am. 129, 415, 2011: the reed sees Z_up + Z_bore. Linear circuit: the
    # flow is p / (Z_up + Z_bore + 1/Y_reed).
    setup = coupled(*horn, vowel)
    mouth, inside, sung, run = soft_lines(setup, hz)
    up = complex(airway.impedance(setup, np.array([hz]))[0])
    bore = 1.0 / bore_admittance(setup, hz)
    flow = sung / (up + bore + 1.0 / reed_admittance(setup, hz, run))
    for found, wanted in ((mouth, sung - up * flow), (inside, bore * flow)):
        assert abs(20.0 * math.log10(abs(found / wanted))) < 0.3  # [dB]


@long_run
def test_breath_holds_its_mean_behind_a_coupled_reed():
    # The lungs hold the mean pressure (common practice, no source): what is set is what is blown.
    setup = coupled(vowel="a")
    mouth = single.run(numbers.numbers_of(setup), blown(setup, 1.5)).mouth
    assert mouth[-48000:].mean() == pytest.approx(setup.breath.pressure, rel=0.01)


def partials(samples, rate, hz, count):
    """Levels of the first partials at the end of a sound. [dB]"""
    steps = np.arange(round(round(hz) / hz * rate))
    window = np.blackman(steps.size)
    clock = np.exp(-2j * math.pi * hz / rate * np.outer(np.arange(1, count + 1), steps))
    return 20.0 * np.log10(np.abs(clock @ (window * samples[-steps.size :])) / window.sum())


def of_vowel(vowel, coupling, drive="flow"):
    """Mouth and sound of a held B flat over which D4 is sung, as levels of their partials. [dB]"""
    setup = coupled(vowel=vowel).with_value("tract.coupling", coupling)
    setup = setup.with_value("voice.source", "pulse").with_value("voice.frequency_hz", 291.35)
    take = render(setup.with_value("voice.drive", drive), 1.5)
    return partials(take.mouth, RATE, 116.54, 12), partials(take.sound, 48000.0, 116.54, 12)


@long_run
def test_vowel_moves_what_is_heard_only_through_a_coupled_reed():
    # Vowels change the colour of singing into horns: common practice, no source. From "a" to "i"
    # the fourth partial of the horn, at 466 Hz, grows by 17 dB in the mouth, and the twelfth, at
    # 1.4 kHz, falls by 4 dB in the sound; uncoupled that moves by no more than 0.5 dB.
    steps = {}
    for coupling in ("on", "off"):
        (mouth_a, sound_a), (mouth_i, sound_i) = (of_vowel(vowel, coupling) for vowel in "ai")
        steps[coupling] = mouth_i[3] - mouth_a[3], (sound_i - sound_a)[11]
    assert steps["on"] == pytest.approx((17.0, -4.0), abs=1.5)
    assert abs(steps["off"][1]) < 0.5


@long_run
@pytest.mark.parametrize("dynamics", ["mass", "massless"])
@pytest.mark.parametrize("seed", range(12))
def test_nothing_grows_behind_any_legal_tract(seed, dynamics):
    # Passivity: when the breath has stopped, what sounds in bore and mouth dies away.
    dice = np.random.default_rng(seed)
    setup = coupled("plain-cylinder", 146.83, str(dice.choice(VOWELS)))
    ranges = {name: QUANTITIES[f"tract.{name}"].edge_range for name in ("volume_ml", "returned")}
    for name, (low, high) in ranges.items():
        setup = setup.with_value(f"tract.{name}", float(dice.uniform(low, high)))
    setup = setup.with_value("reed.dynamics", dynamics)
    mouth = 2.0 * blown(setup, 1.5) * (1.0 + 0.5 * np.sin(0.013 * np.arange(144000)))
    mouth[48000:] = 0.0
    run = single.run(numbers.numbers_of(setup), mouth)
    for trace in (run.outgoing, run.mouth):
        parts = np.sqrt(np.mean(trace[52800:].reshape(-1, 11400) ** 2, axis=1))
        assert parts[0] > 0.0
        assert (np.diff(parts) < 1e-3 * parts[0]).all()
        assert parts[-1] < 0.3 * parts[0]
