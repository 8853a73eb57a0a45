"""How true: bore against theory, tuning, steadiness over breath, convergence with the rate.

Run by `.ci/run bench` or `python tests/benchmarks/accuracy.py`.
"""

import math

import numpy as np

from reedbore import acoustics, verdict
from reedbore.kernel import parameters, single
from reedbore.measures import locking, pitch
from reedbore.model import Setup, Voice
from reedbore.notes import cents, midi_name, midi_to_hz
from reedbore.physics import tube
from reedbore.presets import load_horn
from reedbore.render import render
from reedbore.tuning import blown, low_register, tune

HORNS = ("tenor-saxophone", "plain-cone", "plain-cylinder")


def tone(setup: Setup, seconds: float = 4.0) -> np.ndarray:
    run = single.run(parameters.numbers_of(setup), blown(setup, seconds))
    return run.pressure[-round(setup.time.rate) :]


def peak_errors(setup: Setup) -> tuple[float, float]:
    """Worst error of the first eight impedance peaks, in time against exact. [cents], [dB]"""
    gas, hz = acoustics.gas_of(setup), np.arange(30.0, 4000.0, 0.25)
    omega = 2.0 * math.pi * hz
    exact = acoustics.bore_admittance(setup.bore, omega, gas)
    exact = exact + tube.cavity_admittance(setup.mouthpiece.volume, omega, gas)
    found = tube.peaks(hz, 1.0 / parameters.waveguide_of(setup).admittance(hz))
    true = tube.peaks(hz, 1.0 / exact)
    first = slice(0, min(8, true.frequency.size, found.frequency.size))
    off = 1200.0 * np.log2(found.frequency[first] / true.frequency[first])
    level = 20.0 * np.log10(found.height[first] / true.height[first])
    return float(np.abs(off).max()), float(np.abs(level).max())


def horn_table(name: str) -> None:
    horn = load_horn(name)
    print(f"{name}\nnote    length [mm]  tuning [c]  jitter    peaks [c]  peaks [dB]")
    for midi in low_register(horn):
        hz = midi_to_hz(midi)
        setup = tune(horn, hz)
        steady = tone(setup)
        played = pitch.refine(steady, setup.time.rate, hz)
        jitter = pitch.period_jitter(steady, setup.time.rate, played)
        off, level = peak_errors(setup)
        length = 1e3 * (setup.bore.length or 0.0)
        print(
            f"{midi_name(midi):<8}{length:11.1f}{cents(played, hz):12.3f}"
            f"{jitter:10.1e}{off:11.2f}{level:12.2f}"
        )


def breath_table(name: str, note: int) -> None:
    horn = load_horn(name)
    setup = tune(horn, midi_to_hz(note))
    closing = setup.reed.stiffness * setup.reed.opening / 1e3
    print(f"{name} {midi_name(note)}: jitter over breath, in parts of the closing pressure")
    for part in np.arange(0.40, 0.90, 0.05):
        blow = setup.with_value("breath.pressure_kpa", part * closing)
        steady = tone(blow, 6.0)
        found = pitch.fundamental(steady, setup.time.rate)
        if found is None or np.std(steady) < 50.0:
            print(f"  {part:.2f}  silent")
            continue
        period = locking.period(locking.strobe(steady, setup.time.rate, found.hz))
        jitter = pitch.period_jitter(steady, setup.time.rate, found.hz)
        print(f"  {part:.2f}  {found.hz:8.2f} Hz  period {period}  jitter {jitter:.1e}")


def convergence() -> None:
    setup = tune(load_horn("tenor-saxophone"), midi_to_hz(46))
    fine = setup.with_value("time.rate_hz", 4 * setup.time.rate)
    played = [pitch.refine(tone(s), s.time.rate, 116.54) for s in (setup, fine)]
    print(f"pitch of Bb2, 96 kHz against 384 kHz: {cents(*played):+.3f} cents")
    for rate_name, horn in (("96 kHz", setup), ("384 kHz", fine)):
        voice = Voice(source="pulse", frequency=played[0] * 3.0, depth=0.1)
        take = render(horn.model_copy(update={"voice": voice}), 4.0)
        edges = verdict.judge(take, lock_range=True).lock_range_cents
        print(f"  edges of 3/1 at depth 0.1, {rate_name}: {edges}")


def main() -> None:
    for name in HORNS:
        horn_table(name)
    breath_table("tenor-saxophone", 46)
    breath_table("plain-cylinder", 46)
    convergence()


if __name__ == "__main__":
    main()
