"""The pressure along the bore: against the take, pure delays, two-ports and the sound outside."""

import functools
import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from bores import setup_of

from reedbore.errors import ModelError
from reedbore.kernel.rows import BRANCHES
from reedbore.kernel.single import Traces
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.physics import tube
from reedbore.simulate import bore_pressure
from reedbore.simulate.acoustics import bore as acoustics
from reedbore.simulate.acoustics import numbers, reflection
from reedbore.simulate.acoustics.throat import Throat
from reedbore.simulate.outside import DISTANCE, SOUND_RATE
from reedbore.simulate.take import Take, again, render
from reedbore.simulate.tuning import tune

RATE = 96000.0
NOTES = {"plain-cylinder": 46, "plain-cone": 53}


@functools.cache
def take_of(horn: str, midi: int, seconds: float = 1.5) -> Take:
    return render(tune(load_horn(horn), midi_to_hz(midi)), seconds)


def plain_takes():
    return [take_of(horn, midi) for horn, midi in NOTES.items()]


def steady(
    take: Take, midi: int, points: int = 9, begin: float = 1.2
) -> bore_pressure.BorePressure:
    """Six periods, a frame a step."""
    count = round(6.0 / midi_to_hz(midi) * RATE)
    return bore_pressure.pressures(take, begin, count / RATE, count, points)


def harmonics(samples, count: int):
    """Amplitudes of the first partials of six periods."""
    return (2.0 * np.fft.rfft(samples, axis=0) / samples.shape[0])[6 * np.arange(1, count + 1)]


@pytest.mark.parametrize("horn", NOTES)
def test_at_the_reed_the_picture_is_the_take(horn):
    take = take_of(horn, NOTES[horn])
    found = bore_pressure.pressures(take, 1.2, 0.05, 240, 20)
    traces = take.traces
    size = np.ptp(traces.pressure[found.steps])
    for drawn, known in (
        (found.pressure, traces.pressure),
        (found.forward, traces.outgoing),
        (found.backward, traces.pressure - traces.outgoing),
    ):
        assert np.abs(drawn[:, 0] - known[found.steps]).max() < 1e-6 * size
    assert np.abs(found.times - found.steps / RATE).max() == 0.0
    assert np.ptp(np.diff(found.steps)) <= 1


@pytest.mark.parametrize("horn", NOTES)
def test_the_picture_goes_on_from_the_reed_without_a_jump(horn):
    # The first column is the take; the second is computed, and 1 mm away may differ by little.
    found = bore_pressure.pressures(take_of(horn, NOTES[horn]), 1.2, 0.03, 480, 500)
    size = np.ptp(found.pressure[:, 0])
    assert np.abs(found.pressure[:, 1] - found.pressure[:, 0]).max() < 0.01 * size
    assert np.abs(found.forward[:, 1] - found.forward[:, 0]).max() < 0.02 * size


def widest_steps(found: bore_pressure.BorePressure) -> list[Any]:
    """Of the sum and of both waves: the widest step between each two places."""
    three = found.pressure, found.forward, found.backward
    return [np.abs(np.diff(rows, axis=1)).max(axis=0) for rows in three]


@pytest.mark.parametrize("vent", [False, True])
def test_both_waves_go_on_from_the_tube_of_a_mouthpiece_into_the_cone(vent):
    """A mass beside a plane wave, in the tube as in the cone: Benade, JASA 83, 1988.

    Under a vent the time step has a plane wave in the tube, which is drawn as the others are.
    """
    take = take_of("tenor-saxophone", 46)
    if vent:
        take = again(setup_of("mouthpiece, cone and holes", "lower vent and row"), 1.5, voice=False)
    found = bore_pressure.pressures(take, 1.2, 0.03, 480, 800)
    end = int(np.searchsorted(found.positions, take.setup.bore.chain()[0][0]))
    for steps in widest_steps(found):  # a wave that is plane in the tube steps forty times as far
        assert steps[: end + 3].max() < 1.5 * steps[end + 3 : end + 40].max()


def test_waves_under_a_vent_are_those_that_are_drawn_without_one():
    # Benade 1988, from the same narrow end; the plane waves of the step would stay plane in a cone.
    vented, plain = (setup_of("mouthpiece, cone and holes", f) for f in ("lower vent", "row"))
    stepped, known = (numbers.waveguide_of(setup).throat for setup in (vented, plain))
    gas, s = acoustics.gas_of(plain), 2j * math.pi * np.geomspace(20.0, 4000.0, 20)
    assert not stepped.throat.any()
    drawn = reflection.throat_along(vented.bore, stepped, gas)
    assert drawn.at_throat(s) == pytest.approx(known.at_throat(s), rel=1e-6)
    assert reflection.throat_along(plain.bore, known, gas) is known


@pytest.mark.parametrize(
    ("horn", "midi", "what"), [("clarinet-b-flat", 50, "taper"), ("alto-saxophone", 60, "hole")]
)
def test_both_waves_step_at_a_taper_further_down_and_at_an_open_hole_their_sum_does_not(
    horn, midi, what
):
    take = take_of(horn, midi)
    found = bore_pressure.pressures(take, 1.2, 0.03, 480, 800)
    bore = take.setup.bore
    place = bore.chain()[0][0] if what == "taper" else bore_pressure.outline(take.setup).reach
    at = int(np.searchsorted(found.positions, place)) - 1
    whole, *waves = widest_steps(found)
    assert whole[at] < 2.0 * np.median(whole[at - 20 : at + 20])
    for steps in waves:
        assert steps[at] > 20.0 * np.median(steps[at - 20 : at + 20])


def lossless(monkeypatch, setup, entry: float, taper: float):
    """Take friction out of the air, and give the reed the ideal throat of a cone."""
    gas = acoustics.gas_of(setup)._replace(viscosity=0.0)
    monkeypatch.setattr(acoustics, "gas_of", lambda _: gas)
    area, none = math.pi * entry**2, np.zeros(BRANCHES)
    inertance = none.copy()
    inertance[0] = area * taper / (entry * gas.density)
    throat = Throat(gas.density * gas.sound_speed / area, 0.0, inertance, none, none)

    class Guide:
        def __init__(self):
            self.throat = throat

    monkeypatch.setattr(numbers, "waveguide_of", lambda _: Guide())
    return gas


def band_limited(seed: int, count: int):
    """Noise between 60 Hz and 5 kHz: any wave at all."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=count))
    hz = np.fft.rfftfreq(count, 1.0 / RATE)
    return np.fft.irfft(spectrum * ((hz > 60.0) & (hz < 5000.0)), count)


@pytest.mark.parametrize("far", [7.5e-3, 30e-3], ids=["cylinder", "cone"])
def test_without_losses_waves_are_pure_delays_at_three_places(monkeypatch, far):
    """d'Alembert 1747: p = f(t - x/c) + g(t + x/c); in a cone times r(0)/r(x)."""
    entry, steps, n = 7.5e-3, 180, 60000
    setup = take_of("plain-cylinder", 46).setup
    gas = acoustics.gas_of(setup)
    length = steps * gas.sound_speed / RATE
    section = setup.bore.sections[0].model_copy(
        update={"length": length, "entry": 2.0 * entry, "exit": 2.0 * far}
    )
    bore = setup.bore.model_copy(update={"sections": (section,), "length": None})
    setup = setup.model_copy(update={"bore": bore})
    lossless(monkeypatch, setup, entry, (far - entry) / length)
    out, back = band_limited(1, n), band_limited(2, n)
    silent = np.zeros(n)
    traces = Traces(out + back, out, silent, silent)
    found = bore_pressure.pressures(
        Take(setup, n / RATE, silent, traces, silent), 0.3, 0.02, 480, 5
    )
    size = np.abs(out).max()
    for place in (0, 2, 4):
        delay = place * steps // 4
        wider = 1.0 + (far / entry - 1.0) * place / 4.0
        forward, backward = out[found.steps - delay] / wider, back[found.steps + delay] / wider
        assert np.abs(found.forward[:, place] - forward).max() < 1e-6 * size
        assert np.abs(found.backward[:, place] - backward).max() < 1e-6 * size
        assert np.abs(found.pressure[:, place] - forward - backward).max() < 1e-6 * size


def carriers(setup, positions, hz):
    """What 1 Pa of the wave from the reed, and of the wave to it, makes at the last position."""
    length, entry, far = setup.bore.chain()[0]
    gas, throat = acoustics.gas_of(setup), numbers.waveguide_of(setup).throat
    # The formulas begin above zero; at 1e-3 Hz nothing depends on how far above.
    omega = 2.0 * math.pi * np.maximum(hz, 1e-3)
    radii = entry + (far - entry) * positions / length
    steps = zip(pairwise(positions), pairwise(radii), strict=True)
    _, b, _, d = tube.chain(
        tube.bore_two_port([(two - one, *ends)], omega, gas) for (one, two), ends in steps
    )
    wave, beside = throat.of_wave(1j * omega), throat.at_throat(1j * omega)
    return d - b * (beside + wave), d - b * (beside - wave)


def carried(take: Take, positions):
    """Carry both waves of the whole take from the reed to the last position: no bore behind it."""
    trace = take.traces.pressure
    # Silence for longer than the air remembers, or the end would come round to the beginning.
    size = 2 ** math.ceil(math.log2(4.0 * trace.size))
    low, high = bore_pressure.BAND_HZ
    hz = np.fft.rfftfreq(size, 1.0 / RATE)
    hz = hz[hz < high]
    waves = take.traces.outgoing, trace - take.traces.outgoing
    out, back = (np.fft.rfft(wave, size)[: hz.size] for wave in waves)
    forth, to_reed = carriers(take.setup, positions, hz)
    spectrum = out * forth + back * to_reed
    spectrum *= 0.5 + 0.5 * np.cos(math.pi * np.clip((hz - low) / (high - low), 0.0, 1.0))
    spectrum[0] = spectrum[0].real
    return np.fft.irfft(spectrum, size)[: trace.size]


@pytest.mark.parametrize("begin", [0.5, 1.2])
@pytest.mark.parametrize("horn", NOTES)
def test_three_places_have_the_travelling_waves_of_the_take(horn, begin):
    """Against the inverse two-port on the whole take, which knows neither window nor open end."""
    take = take_of(horn, NOTES[horn])
    found = steady(take, NOTES[horn], begin=begin)
    size = np.abs(found.pressure).max()
    for place in (2, 4, 8):
        known = carried(take, found.positions[: place + 1])[found.steps]
        assert np.abs(found.pressure[:, place] - known).max() < 1e-6 * size


@pytest.mark.parametrize(
    "horn",
    [pytest.param(one, marks=pytest.mark.ci) if one == "plain-cone" else one for one in NOTES],
)
def test_three_places_have_steady_waves_as_finely_cut_two_ports_carry_them(horn):
    """A constant and partials of 100 Hz, any waves at all, summed up without a transform.

    A cone loses like short cones of even loss: eight of them miss by 2e-5, 1600 by below 1e-8.
    The constant of the cone alone misses more than the rest, by 4e-6 to 6e-6 of the peak. Friction
    in so wide a bore settles for ten seconds (a²ρ/5.8η at the end), and the waves are heard from
    1.5 s ago on; whether that is all of it is not known.
    """
    setup, time = take_of(horn, NOTES[horn]).setup, np.arange(360000) / RATE
    hz, random = 100.0 * np.arange(41), np.random.default_rng(3)
    parts = random.normal(size=(2, 41)) * np.exp(2j * math.pi * random.random((2, 41)))
    parts /= 1.0 + 0.002 * hz
    parts[:, 0] = 2.0, -1.5
    period = np.exp(2j * math.pi * np.outer(time[:960], hz))
    out, back = (np.tile((period @ part).real, 375) for part in parts)
    silent = np.zeros(time.size)
    traces = Traces(out + back, out, silent, silent)
    found = bore_pressure.pressures(Take(setup, 3.75, silent, traces, silent), 3.5, 0.01, 960, 201)
    size = np.abs(found.pressure).max()
    for place in (50, 100, 200):
        ways = carriers(setup, np.linspace(0.0, found.positions[place], 1601), hz)
        known = (period @ (parts[0] * ways[0] + parts[1] * ways[1])).real
        miss = found.pressure[:, place] - known
        assert np.abs(miss - miss.mean()).max() < 1e-6 * size
        assert abs(miss.mean()) < (1e-5 if horn == "plain-cone" else 1e-6) * size


def transfer(setup, x: float, hz):
    """Pressure at x over that at the reed, by two two-ports and the load behind them."""
    gas, omega = acoustics.gas_of(setup), 2.0 * math.pi * hz
    length, entry, far = setup.bore.chain()[0]
    middle = entry + (far - entry) * x / length
    load = acoustics.end_impedance(setup.bore, omega, gas)
    if x < length - 1e-9:
        rest = tube.bore_two_port([(length - x, middle, far)], omega, gas)
        load = tube.input_impedance(rest, load)
    a, b, _, _ = tube.bore_two_port([(x, entry, middle)], omega, gas)
    return load / (a * load + b)


@pytest.mark.parametrize("horn", NOTES)
def test_the_transfer_is_that_of_the_two_ports(horn):
    """To 0.5 dB, p(x)/p(0) = Z/(AZ + B), Chaigne and Kergomard 2016 (from memory)."""
    take = take_of(horn, NOTES[horn])
    found = steady(take, NOTES[horn])
    partials = harmonics(found.pressure, 12)
    hz = np.arange(1, 13) * midi_to_hz(NOTES[horn])
    strong = np.abs(partials[:, 0]) > 10 ** (-46.5 / 20.0) * np.abs(partials[0, 0])
    assert strong.sum() >= 5
    for place in range(1, 9):
        ratio = (
            partials[:, place] / partials[:, 0] / transfer(take.setup, found.positions[place], hz)
        )
        assert np.abs(20.0 * np.log10(np.abs(ratio[strong]))).max() < 0.5


def test_a_cylinder_is_a_quarter_wave_and_a_cone_a_half_wave_of_r_p():
    """Textbook shapes: cos(πx/2L) in a stopped cylinder; in a cone r·p is sin(kx) from the tip."""
    cylinder, cone = (
        steady(take, midi) for take, midi in zip(plain_takes(), NOTES.values(), strict=True)
    )
    first = np.abs(harmonics(cylinder.pressure, 1)[0])
    x = cylinder.positions / (cylinder.positions[-1] + 0.6133 * 7.5e-3)
    assert np.abs(first / first[0] - np.cos(0.5 * math.pi * x)).max() < 0.03
    setup = take_of("plain-cone", 53).setup
    length, entry, far = setup.bore.chain()[0]
    tip, radius = entry * length / (far - entry), np.linspace(entry, far, 9)
    first = np.abs(harmonics(cone.pressure, 1)[0]) * radius
    x = (cone.positions + tip) / (length + tip + 0.6133 * far)
    shape = np.sin(math.pi * x)
    assert np.abs(first / first.max() - shape / shape.max()).max() < 0.05


@pytest.mark.parametrize(("horn", "midi"), NOTES.items())
def test_the_flow_out_of_the_opening_makes_the_sound(horn, midi):
    """Energy: ½ Re Z |U|² into the load Z of the open end, and 4πr² |p|²/2ρc far away."""
    take = take_of(horn, midi)
    count = round(6.0 / midi_to_hz(midi) * SOUND_RATE)
    found = bore_pressure.pressures(take, 1.2, count / SOUND_RATE, count, 3)
    first = round(1.2 * SOUND_RATE)
    sound = np.abs(harmonics(take.sound[first : first + count], 6))
    flow = np.abs(harmonics(found.outflow, 6))
    omega = 2.0 * math.pi * np.arange(1, 7) * 6.0 * SOUND_RATE / count
    gas = acoustics.gas_of(take.setup)
    load = acoustics.end_impedance(take.setup.bore, omega, gas).real
    made = flow * np.sqrt(gas.density * gas.sound_speed * load / (4.0 * math.pi)) / DISTANCE
    assert np.abs(made - sound).max() < 0.01 * sound.max()


@pytest.mark.parametrize("horn", NOTES)
def test_what_flows_out_at_the_end_is_the_difference_of_the_waves_there(horn):
    take = take_of(horn, NOTES[horn])
    found = steady(take, NOTES[horn])
    gas, radius = acoustics.gas_of(take.setup), take.setup.bore.chain()[-1][2]
    waves = found.forward[:, -1] - found.backward[:, -1]
    flow = math.pi * radius**2 / (gas.density * gas.sound_speed) * waves
    first, of_waves = harmonics(found.outflow, 6), harmonics(flow, 6)
    if horn == "plain-cylinder":
        assert np.abs(first - of_waves).max() < 0.02 * np.abs(first).max()
    # In a cone the air that its widening takes flows beside the waves.
    high = np.abs(first[3:] - of_waves[3:]) / np.abs(first[3:])
    assert high.max() < 0.3


def test_holes_let_the_pressure_out():
    take = again(setup_of("cylinder", "middle"), 1.0, voice=False)
    found = bore_pressure.pressures(take, 0.8, 0.04, 200, 100)
    size = np.abs(found.pressure).max(axis=0)
    reach = bore_pressure.outline(take.setup).reach
    assert reach == pytest.approx(0.374)
    behind = size[found.positions > reach + 0.1]
    assert 0.0 < behind.max() < 0.1 * size[0]
    assert np.abs(np.diff(size)).max() < 0.1 * size[0]


@pytest.mark.parametrize(
    ("name", "fingering"),
    [
        *[(bore, holes) for bore in ("cylinder", "cone") for holes in ("high", "vent and row")],
        ("row behind a cone", "closed"),
        ("bell", "closed"),
    ],
)
def test_the_picture_of_any_bore_is_finite_and_no_stronger_than_at_the_reed(name, fingering):
    take = again(setup_of(name, fingering), 0.6, voice=False)
    found = bore_pressure.pressures(take, 0.5, 0.03, 60, 40)
    assert all(np.isfinite(field).all() for field in found)
    assert np.abs(found.pressure).max() < 1.5 * np.abs(take.traces.pressure).max()


def test_a_vent_that_is_still_closed_lets_nothing_out():
    late = setup_of("cylinder", "vent")
    late = late.model_copy(update={"bore": late.bore.model_copy(update={"vent_after": 0.5})})
    closed = setup_of("cylinder", "closed")
    before, after = (
        bore_pressure.pressures(again(s, 0.5, voice=False), 0.4, 0.03, 100, 40).pressure
        for s in (late, closed)
    )
    # Two fits of one bore: with the vent as a junction, and closed.
    assert np.abs(np.abs(before).max(axis=0) - np.abs(after).max(axis=0)).max() < 0.1 * np.ptp(
        after
    )


def test_the_ends_of_a_take_can_be_drawn():
    take = take_of("plain-cylinder", 46)
    start = bore_pressure.pressures(take, 0.0, 0.05, 100, 10)
    assert np.abs(start.pressure[0]).max() < 1.0
    whole = bore_pressure.pressures(take, 1.4, 0.1, 1000, 10)
    cut = replace(take, seconds=1.45, traces=Traces(*(t[:139200] for t in take.traces)))
    short = bore_pressure.pressures(cut, 1.4, 0.05, 500, 10)
    size = np.abs(whole.pressure).max()
    assert np.abs(short.pressure[:400] - whole.pressure[:400]).max() < 0.01 * size


def test_the_outline_is_the_bore():
    cone = bore_pressure.outline(take_of("plain-cone", 53).setup)
    (start, narrow), (end, wide) = cone.profile
    assert (start, narrow) == (0.0, pytest.approx(6e-3))
    assert wide == pytest.approx(6e-3 + end * math.tan(math.radians(2.0)), rel=1e-4)
    assert (cone.holes, cone.reach, cone.end) == ((), end, "unflanged")
    speed = acoustics.gas_of(take_of("plain-cone", 53).setup).sound_speed
    assert cone.round_trip == pytest.approx(2.0 * end / speed)
    row = bore_pressure.outline(take_of("tenor-saxophone", 46).setup)
    assert row.holes == (bore_pressure.HolePlace(row.profile[-1][0], 0.02, 1.0),)
    holed = bore_pressure.outline(setup_of("cylinder", "low"))
    assert [hole.open for hole in holed.holes] == [0.0] * 10 + [1.0]
    assert holed.reach == pytest.approx(0.498)
    assert [at for at, _ in holed.profile] == pytest.approx([0.0, 0.53, 0.59, 0.66])


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ((1.4, 0.2, 10, 10), r"begin is 1\.4 s; .* between 0 and 1\.3 s"),
        ((-0.1, 0.2, 10, 10), r"begin is -0\.1 s"),
        ((0.0, 0.0, 10, 10), r"seconds is 0 s; allowed up to 2 s"),
        ((0.0, 3.0, 10, 10), r"seconds is 3 s"),
        ((0.0, 0.1, 0, 10), r"frames is 0; allowed 1 to 6000"),
        ((0.0, 0.1, 10, 1), r"points is 1; allowed 2 to 1000"),
        ((math.nan, 0.1, 10, 10), r"begin is nan s"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_one_sentence(asked, says):
    with pytest.raises(ModelError, match=says):
        bore_pressure.pressures(take_of("plain-cylinder", 46), *asked)


def test_a_run_that_broke_down_is_drawn_up_to_there():
    take = take_of("plain-cylinder", 46)
    pressure = take.traces.pressure.copy()
    pressure[100000:] = np.nan
    broken = replace(take, traces=take.traces._replace(pressure=pressure))
    with pytest.raises(ModelError, match=r"broke down after 1\.042 s"):
        bore_pressure.pressures(broken, 1.1, 0.05, 10, 10)
    found, whole = (
        bore_pressure.pressures(one, 0.98, 0.05, 10, 10).pressure for one in (broken, take)
    )
    assert np.abs(found - whole).max() < 0.02 * np.abs(whole).max()
