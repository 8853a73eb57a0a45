"""What each horn preset does: bore in time against theory, tuning, breath, steadiness, overblowing.

Run `python tests/benchmarks/horns.py [NAME ...] [--all] [tiny]`; peaks and breath are taken at the
lowest, the middle and the highest note of the low register, with --all at every one of them, with
`tiny` at the lowest alone. Work is timed by the processor's own clock.
"""

import math
import os
import statistics
import sys
import time
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import single
from reedbore.measures import locking, pitch, spectrum
from reedbore.model.presets import load_horn, names
from reedbore.model.setup import Horn, Setup
from reedbore.notes import cents, midi_name, midi_to_hz
from reedbore.physics import tube
from reedbore.simulate.acoustics import bore
from reedbore.simulate.acoustics.numbers import numbers_of, waveguide_of
from reedbore.simulate.tuning import blown, low_register, tune

FIRST_PEAKS = 8
STEP = 1.04
"""From one breath to the next."""

IN_REGISTER_CENTS = 100.0
SETTLED_S, MOST_JITTER = 6.0, 1e-5
TAKE_S = 2.0
RUNS = 7
VENT_OPENS_S = 0.6
IN_TUNE_CENTS = 50.0

TINY = "tiny" in sys.argv[1:]
if TINY:
    STEP, SETTLED_S, TAKE_S, RUNS = 1.5, 1.5, 0.2, 1

Samples = NDArray[np.float64]


class Peaks(NamedTuple):
    """Worst errors of the first impedance peaks on one side of the cut-off."""

    count: int
    off: float
    """[cents]"""
    height: float
    """[dB]"""


def pressure(setup: Setup, seconds: float) -> Samples:
    return single.run(numbers_of(setup), blown(setup, seconds)).pressure


def heard(tone: Samples, rate: float) -> float | None:
    """Pitch [Hz], found with no guess; None for what is no tone."""
    thin, slow = pitch.thin(tone, rate)
    found = pitch.fundamental(thin, slow)
    return pitch.refine(thin, slow, found.hz) if found and np.ptp(thin) > 100.0 else None


def peak_errors(setup: Setup, edge: float) -> tuple[Peaks, Peaks]:
    """Compare the first peaks in time with the exact ones, below and above a cut-off [Hz].

    A peak above the cut-off may be a mere ripple: those in time are told apart by nearness.
    """
    gas, hz = bore.gas_of(setup), np.arange(30.0, 6000.0, 0.5)
    omega = 2.0 * math.pi * hz
    exact = bore.bore_admittance(setup.bore, omega, gas)
    exact = exact + tube.cavity_admittance(setup.mouthpiece.volume, omega, gas)
    found = tube.peaks(hz, 1.0 / waveguide_of(setup).admittance(hz))
    true = tube.peaks(hz, 1.0 / exact)
    first = slice(0, FIRST_PEAKS)
    nearest = np.abs(np.log(found.frequency[:, None] / true.frequency[first])).argmin(axis=0)
    off = 1200.0 * np.log2(found.frequency[nearest] / true.frequency[first])
    level = 20.0 * np.log10(found.height[nearest] / true.height[first])
    below = true.frequency[first] < edge
    return _worst(off[below], level[below]), _worst(off[~below], level[~below])


def _worst(off: Samples, level: Samples) -> Peaks:
    if not off.size:
        return Peaks(0, 0.0, 0.0)
    return Peaks(off.size, float(np.abs(off).max()), float(np.abs(level).max()))


def peak_rows(horn: Horn, notes: list[int]) -> None:
    sides: list[list[Peaks]] = [[], []]
    worst = ""
    for midi in notes:
        setup = tune(horn, midi_to_hz(midi))
        edge = bore.open_row_cutoff(setup) or math.inf
        pair = peak_errors(setup, edge)
        for side, one in zip(sides, pair, strict=True):
            side.append(one)
        if pair[0].off == max(one.off for one in sides[0]):
            worst = midi_name(midi)
    for name, side in zip(("below", "above"), sides, strict=True):
        if count := sum(one.count for one in side):
            off, height = max(one.off for one in side), max(one.height for one in side)
            at = f", worst at {worst}" if name == "below" else ""
            print(
                f"  {count} of the first {FIRST_PEAKS} peaks of {len(notes)} notes, {name} the "
                f"cut-off: worst {off:.2f} cents, {height:.2f} dB{at}"
            )


def tuning_row(horn: Horn) -> None:
    """Every note of the low register from rest, at the breath of the preset."""
    off: dict[str, float] = {}
    jitter = []
    for midi in low_register(horn)[: 1 if TINY else None]:
        hz = midi_to_hz(midi)
        setup = tune(horn, hz)
        tone = pressure(setup, 3.0 + 100.0 / hz)[-round(setup.time.rate) :]
        played = heard(tone, setup.time.rate)
        off[midi_name(midi)] = cents(played, hz) if played else math.inf
        if played:
            jitter.append(pitch.period_jitter(tone, setup.time.rate, played))
    worst = max(off, key=lambda name: abs(off[name]))
    print(
        f"  {len(off)} notes from rest: worst {worst} {off[worst]:+.2f} cents, median "
        f"{statistics.median(map(abs, off.values())):.2f}; jitter worst {max(jitter):.1e}"
    )


class Tone(NamedTuple):
    """A steady note."""

    breath: float
    """[Pa]"""
    period: int | None
    jitter: float


def tone_at(setup: Setup, breath: float, hz: float, seconds: float) -> Tone | None:
    """Play a note from rest at a breath [Pa]; None if it is not in its register."""
    rate = setup.time.rate
    blow = setup.with_value("breath.pressure_kpa", breath / 1e3)
    tone = pressure(blow, seconds)[-round(0.5 * rate) :]
    played = heard(tone, rate)
    if played is None:
        return None
    base = played * max(1, round(hz / played))
    if abs(cents(base, hz)) > IN_REGISTER_CENTS:
        return None
    period = locking.period(locking.strobe(tone, rate, base))
    return Tone(breath, period, pitch.period_jitter(tone, rate, base))


def breaths(setup: Setup, hz: float) -> list[float]:
    """List the breaths [Pa], rising, of the unbroken range that speaks."""
    found: list[float] = []
    for factor in (1.0 / STEP, STEP):
        breath = setup.breath.pressure
        while breath <= 20e3 and tone_at(setup, breath, hz, 1.5 + 150.0 / hz):
            found.append(breath)
            breath *= factor
    return sorted(set(found))


def breath_row(horn: Horn, notes: list[int]) -> None:
    ranges: dict[str, list[float]] = {}
    steady: list[tuple[float, str, float]] = []
    many_periods = 0
    for midi in notes:
        hz = midi_to_hz(midi)
        setup = tune(horn, hz)
        name = midi_name(midi)
        ranges[name] = breaths(setup, hz)
        settled = [tone_at(setup, breath, hz, SETTLED_S) for breath in ranges[name]]
        there = [tone for tone in settled if tone]
        many_periods += sum(tone.period != 1 for tone in there)
        steady += [(tone.jitter, name, tone.breath) for tone in there if tone.period == 1]
    factors = {name: found[-1] / found[0] for name, found in ranges.items() if found}
    least = min(factors, key=lambda name: factors[name])
    low, high = ranges[least][0] / 1e3, ranges[least][-1] / 1e3
    print(
        f"  breath range from rest: least factor {factors[least]:.2f} ({least}, {low:.2f} to "
        f"{high:.2f} kPa), median {statistics.median(factors.values()):.2f}"
    )
    worst, name, breath = max(steady)
    share = np.mean([one[0] <= MOST_JITTER for one in steady])
    print(
        f"  jitter over that range, {len(steady)} tones of period 1 ({many_periods} others): "
        f"median {statistics.median(one[0] for one in steady):.1e}, {share:.0%} up to "
        f"{MOST_JITTER:g}, worst {worst:.1e} ({name}, {breath / 1e3:.2f} kPa)"
    )


def partials_row(horn: Horn, notes: list[int]) -> None:
    """Levels in the mouthpiece against the strongest partial, and odd over even ones."""
    print("  partials 1 to 6 in the mouthpiece [dB], the third over the stronger of 2, 4:")
    for midi in notes:
        hz = midi_to_hz(midi)
        setup = tune(horn, hz)
        tone = pressure(setup, 2.0 + 100.0 / hz)[-round(0.5 * setup.time.rate) :]
        played = heard(tone, setup.time.rate)
        if played is None:
            continue
        level = spectrum.decibel(spectrum.harmonic_amplitudes(tone, setup.time.rate, played, 6))
        level = level - level.max()
        margin = level[2] - max(level[1], level[3])
        text = " ".join(f"{one:6.1f}" for one in level)
        print(f"    {midi_name(midi):<4}{text}   {margin:+6.1f}")


def overblown_row(horn: Horn) -> None:
    """Open the vent from rest, and under a sounding low note."""
    low = low_register(horn)[-1]
    upper = [midi for midi in horn.notes() if midi > low][: 1 if TINY else None]
    if not upper:
        return
    for word, late in (("from rest", 0.0), ("opened late", VENT_OPENS_S)):
        off: dict[str, float] = {}
        for midi in upper:
            setup = tune(horn, midi_to_hz(midi)).with_value("bore.vent_after_ms", 1e3 * late)
            tone = pressure(setup, late + 1.4)[-round(0.4 * setup.time.rate) :]
            played = heard(tone, setup.time.rate)
            off[midi_name(midi)] = cents(played, midi_to_hz(midi)) if played else math.inf
        there = [one for one in off.values() if abs(one) < IN_TUNE_CENTS]
        missed = [name for name, one in off.items() if abs(one) >= IN_TUNE_CENTS]
        worst = max(map(abs, there), default=math.nan)
        print(
            f"  vent {word}: {len(there)} of {len(off)} upper notes speak, worst of them "
            f"{worst:.1f} cents off" + (f"; not {' '.join(missed)}" if missed else "")
        )


def form_of(setup: Setup) -> str:
    if bore.vent_number(setup.bore) is not None:
        return "vented"
    if setup.bore.holes:
        return "holes"
    return "row" if setup.bore.lattice is not None else "plain"


def speed_row(setup: Setup) -> None:
    numbers, mouth = numbers_of(setup), blown(setup, TAKE_S)
    single.run(numbers, mouth[:1000])
    times = []
    for _ in range(RUNS):
        start = time.thread_time()
        single.run(numbers, mouth)
        times.append(time.thread_time() - start)
    took = statistics.median(times)
    print(
        f"  form '{form_of(setup)}', {numbers.pairs} pole pairs, {numbers.echoes.size} echoes: "
        f"{1e9 * took / mouth.size:.1f} ns a step, {TAKE_S / took:.0f} x real time "
        f"(least {1e9 * min(times) / mouth.size:.1f} ns)"
    )


def horn_table(name: str, every: bool) -> None:
    horn = load_horn(name)
    notes = low_register(horn)
    three = [notes[0], notes[len(notes) // 2], notes[-1]][: 1 if TINY else None]
    some = notes if every else three
    print(f"{name}")
    peak_rows(horn, some)
    tuning_row(horn)
    breath_row(horn, some)
    partials_row(horn, three)
    overblown_row(horn)
    played = [notes[0], horn.notes()[-1]] if TINY else horn.notes()
    setups = {form_of(setup): setup for setup in (tune(horn, midi_to_hz(n)) for n in played)}
    for setup in setups.values():
        speed_row(setup)


def main() -> None:
    words = sys.argv[1:]
    start, busy = time.perf_counter(), time.process_time()
    usual = ["clarinet-b-flat"] if TINY else names("horns")
    for name in [word for word in words if word not in ("--all", "tiny")] or usual:
        horn_table(name, "--all" in words)
    print(
        f"{time.perf_counter() - start:.0f} s, {time.process_time() - busy:.0f} s of processor, "
        f"load {os.getloadavg()[0]:.1f}"
    )


if __name__ == "__main__":
    main()
