"""Takes: what is sung, that runs repeat bit for bit, and what is radiated."""

import math
from pathlib import Path

import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.model.presets import load_horn, names
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz
from reedbore.simulate.acoustics import open_air
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.acoustics.numbers import waveguide_of
from reedbore.simulate.outside import SOUND_RATE, radiated, transmission
from reedbore.simulate.take import again, inside, render, sing, throat
from reedbore.simulate.tuning import blown, roughly, tune
from reedbore.sound import write

B_FLAT = midi_to_hz(46)  # Bb2


def with_values(setup: Setup, **values: float | str) -> Setup:
    for name, value in values.items():
        setup = setup.with_value(name.replace("__", "."), value)
    return setup


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return with_values(
        tune(load_horn("tenor-saxophone"), B_FLAT),
        voice__source="pulse",
        voice__frequency_hz=1.5 * B_FLAT,
    )


@pytest.fixture(scope="module")
def cylinder() -> Setup:
    return tune(load_horn("plain-cylinder"), B_FLAT)


def test_rendering_twice_gives_the_same_bits(tenor):
    first, second = render(tenor, 1.0), render(tenor, 1.0)
    for one, other in zip(
        (first.sound, first.mouth, first.sung, *first.traces),
        (second.sound, second.mouth, second.sung, *second.traces),
        strict=True,
    ):
        assert one.tobytes() == other.tobytes()


def test_a_voice_of_no_depth_gives_the_same_bits_as_no_voice(tenor):
    quiet = render(with_values(tenor, voice__depth=0.0), 1.0)
    off = render(with_values(tenor, voice__source="off"), 1.0)
    assert quiet.sound.tobytes() == off.sound.tobytes()
    assert quiet.traces.pressure.tobytes() == off.traces.pressure.tobytes()


def test_a_take_run_again_is_the_same_run(tenor):
    take, repeat = render(tenor, 0.5), again(tenor, 0.5)
    assert take.traces.pressure.tobytes() == repeat.traces.pressure.tobytes()
    assert repeat.sound.size == 0
    alone = again(tenor, 0.5, voice=False)
    assert not alone.sung.any()
    assert alone.mouth.tobytes() == blown(tenor, 0.5).tobytes()


def test_the_lengths_are_those_asked_for(tenor):
    take = render(tenor, 0.7)
    steps = round(0.7 * tenor.time.rate)
    assert {a.size for a in (take.mouth, take.sung, *take.traces[:4])} == {steps}
    assert {a.size for a in take.traces[4:]} == {0}  # no folds sing
    assert {a.size for a in (take.sound, throat(take), inside(take))} == {round(0.7 * SOUND_RATE)}


def test_the_sound_is_finite_and_has_no_constant_part(tenor):
    for setup in (tenor, with_values(tenor, voice__source="off")):
        sound = render(setup, 2.0).sound
        assert np.isfinite(sound).all()
        # 60 dB under full level: common practice, no source. The window keeps out what a
        # period cut at the end would add.
        window = np.hanning(SOUND_RATE)
        mean = np.sum(window * sound[-SOUND_RATE:]) / window.sum()
        assert abs(mean) < 1e-3 * np.sqrt(np.mean(sound**2))
        assert 0.01 < np.abs(sound).max() < 20.0


@pytest.mark.parametrize("seconds", [0.0, 0.09, 600.1, -1.0, math.nan])
def test_a_length_that_is_not_allowed_is_refused_in_one_sentence(tenor, seconds):
    with pytest.raises(ModelError, match=r"seconds is .* s; allowed 0\.1 to 600 s"):
        render(tenor, seconds)


@pytest.mark.parametrize("source", ["pulse", "sine"])
def test_the_sung_waveform_has_zero_mean_and_largest_value_one(tenor, source):
    setup = with_values(tenor, voice__source=source, voice__frequency_hz=200.0)
    wave = sing(setup, 2.2)
    steady = wave[round(setup.time.rate) :]
    whole = steady[: round(setup.time.rate)]  # 200 whole periods
    assert np.mean(whole) == pytest.approx(0.0, abs=1e-3)
    assert np.abs(steady).max() == pytest.approx(1.0, abs=2e-3)


def test_a_sine_voice_is_a_sine(tenor):
    setup = with_values(tenor, voice__source="sine", voice__frequency_hz=200.0)
    wave = sing(setup, 2.0)[-round(setup.time.rate) :]
    spectrum = np.abs(np.fft.rfft(wave)) / wave.size * 2.0
    assert spectrum[200] == pytest.approx(1.0, abs=1e-3)
    assert np.delete(spectrum, 200).max() < 1e-4


def test_the_voice_fades_in_from_nothing(tenor):
    setup = with_values(tenor, voice__source="sine", voice__fade_ms=500.0)
    wave = np.abs(sing(setup, 1.0))
    rate = setup.time.rate
    assert wave[0] == 0.0
    assert wave[: round(0.05 * rate)].max() < 0.03
    middle = wave[round(0.24 * rate) : round(0.26 * rate)].max()
    assert middle == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("pull", [-1200.0, 0.0, 0.1, 700.0])
def test_pulling_raises_the_sung_pitch_by_so_many_cents(tenor, pull):
    setup = with_values(tenor, voice__source="sine", voice__frequency_hz=200.0)
    seconds = 10.0
    wave = sing(setup, seconds, pull)
    rate = setup.time.rate
    ups = np.flatnonzero((wave[:-1] < 0.0) & (wave[1:] >= 0.0))
    at = ups - wave[ups] / (wave[ups + 1] - wave[ups])
    hz = rate * (at.size - 1) / (at[-1] - at[0])
    assert 1200.0 * math.log2(hz / 200.0) == pytest.approx(pull, abs=0.01)


def test_the_voice_modulates_the_pressure_in_the_mouth_by_its_depth(tenor):
    take = render(with_values(tenor, voice__depth=0.2), 1.0)
    late = take.mouth[take.mouth.size // 2 :] / tenor.breath.pressure
    assert np.abs(late - 1.0).max() == pytest.approx(0.2, abs=0.002)
    microphone = throat(take)[SOUND_RATE // 2 : -SOUND_RATE // 20] / tenor.breath.pressure
    assert np.abs(microphone - 1.0).max() == pytest.approx(0.2, abs=0.02)


def test_a_recorded_voice_is_followed_by_silence(tenor, tmp_path: Path):
    time = np.arange(24000) / 48000
    write(tmp_path / "voice.wav", 0.5 * np.sin(2.0 * np.pi * 220.0 * time), 48000)
    setup = with_values(tenor, voice__file=str(tmp_path / "voice.wav"))
    setup = with_values(setup, voice__source="recording")
    wave = sing(setup, 1.5)
    rate = setup.time.rate
    assert wave.size == round(1.5 * rate)
    # Beyond the fade of the waveform itself at the recording's ends.
    body = wave[round(0.25 * rate) : round(0.45 * rate)]
    assert np.abs(body).max() == pytest.approx(1.0, abs=0.1)
    assert not wave[round(0.55 * rate) :].any()


def test_nothing_steady_and_nothing_above_hearing_is_radiated(tenor):
    # A monopole radiates the rate of change of its flow: nothing at all at zero frequency.
    frequency = np.array([0.0, 0.01, 1.0, 4.0, 200.0, 22000.0, 30000.0])
    size = np.abs(transmission(tenor, frequency))
    assert size[0] == 0.0
    assert size[1] < 1e-4 * size[4]
    assert np.all(np.diff(size[:5]) > 0.0)
    assert np.all(size[5:] < 1e-12)


def test_a_cylinder_radiates_what_a_monopole_at_its_end_does(cylinder):
    # N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 2nd ed., 1998, ch. 7
    # and 8 (from memory): p = jωρU/4πr, and U = 2p⁺/Zc at an open end of low ka. The loss on the
    # way is 3e-5 √f/a nepers a metre (same book).
    frequency = np.array([80.0, 120.0, 200.0, 300.0])
    length, radius, _ = cylinder.bore.chain()[0]
    decay = np.exp(-3e-5 * np.sqrt(frequency) / radius * length)
    simple = 2.0 * math.pi * frequency * 2.0 * radius**2 * decay / (4.0 * 347.0)
    assert np.abs(transmission(cylinder, frequency)) == pytest.approx(simple, rel=0.03)


def test_a_flanged_end_radiates_into_half_the_space(cylinder):
    frequency = np.array([100.0, 200.0])
    free = np.abs(transmission(cylinder, frequency))
    flanged = np.abs(transmission(with_values(cylinder, bore__end="flanged"), frequency))
    assert flanged / free == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize("name", names("horns"))
def test_level_outside_is_that_of_the_power_that_leaves(name):
    # A. D. Pierce, Acoustics, 1989, ch. 1: 4πr² |p|²/2ρc is the power; at partials 1 to 24, for
    # 1 Pa at the reed. Within 1 dB, whatever holes there are.
    horn = load_horn(name)
    for midi in {horn.notes()[0], horn.notes()[-1]}:
        setup = roughly(horn, midi_to_hz(midi))
        frequency = midi_to_hz(midi) * np.arange(1.0, 25.0)
        frequency = frequency[frequency < 19000.0]
        gas, omega = gas_of(setup), 2.0 * math.pi * frequency
        leaves = open_air.outflow(setup.bore, omega, gas)
        throat = waveguide_of(setup).throat
        waves = (leaves.admittance - throat.at_throat(1j * omega)) / throat.of_wave(1j * omega)
        heard = np.abs(transmission(setup, frequency) * (1.0 + waves) / 2.0) ** 2
        heard *= 4.0 * math.pi / (2.0 * gas.density * gas.sound_speed)
        assert np.abs(10.0 * np.log10(heard / leaves.power)).max() < 1.0


def test_nothing_is_heard_before_it_can_have_arrived(tenor):
    # Holes of a long row cancel each other; the phase of their sum would sound 18 dB early.
    frequency = np.fft.rfftfreq(32768, 1.0 / SOUND_RATE)
    click = np.fft.irfft(transmission(tenor, frequency)) ** 2
    assert click[click.size // 2 :].sum() < 1e-4 * click.sum()


@pytest.mark.parametrize("hz", [150.0, 1000.0])
def test_a_sine_wave_leaves_as_the_transmission_says(tenor, hz):
    rate = tenor.time.rate
    wave = np.cos(2.0 * math.pi * hz * np.arange(round(rate)) / rate)
    sound = radiated(tenor, wave)[SOUND_RATE // 4 : 3 * SOUND_RATE // 4]
    spectrum = np.abs(np.fft.rfft(sound)) / sound.size * 2.0
    at = round(hz * sound.size / SOUND_RATE)
    assert spectrum[at] == pytest.approx(
        float(np.abs(transmission(tenor, np.array([hz])))[0]), 0.01
    )


def test_what_a_bore_of_one_metre_radiates_comes_after_the_time_of_flight(cylinder):
    setup = with_values(cylinder, bore__length_mm=1000.0)
    rate = setup.time.rate
    click = np.zeros(round(0.1 * rate))
    click[round(0.02 * rate)] = 1.0
    sound = np.abs(radiated(setup, click))
    flight = np.argmax(sound) / SOUND_RATE - 0.02
    # c at 27 °C: 347.2 m/s (D. H. Keefe, J. Acoust. Soc. Am. 75, 58, 1984; from memory)
    assert flight == pytest.approx(1.0 / 347.2, abs=5e-5)
    first = np.flatnonzero(sound > 0.05 * sound.max())[0] / SOUND_RATE - 0.02
    assert first > 0.9 / 347.2


def test_inside_is_the_pressure_at_the_reed(tenor):
    take = render(tenor, 1.0)
    pressure = inside(take)
    block = round(tenor.time.rate / SOUND_RATE)
    thin = take.traces.pressure[::block]
    kept = slice(SOUND_RATE // 10, -SOUND_RATE // 10)
    off = pressure[kept] - thin[kept]
    assert np.sqrt(np.mean(off**2)) < 0.03 * np.std(thin[kept])
