"""How true: steadiness over breath, step by step, and convergence with the rate.

Run `.ci/run bench` or `python tests/benchmarks/accuracy.py [tiny]`. Bores, tuning and breath of all
horns are in `horns.py`, edges of more locks in `edges.py`.
"""

import sys

import numpy as np

from reedbore.kernel import single
from reedbore.measures import locking, pitch
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents, midi_name, midi_to_hz
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.take import render
from reedbore.simulate.tuning import blown, tune
from reedbore.verdict.take import judge

TINY = "tiny" in sys.argv[1:]
PARTS = (0.6,) if TINY else np.arange(0.40, 0.90, 0.05)
"""Breaths, in parts of the pressure that closes the reed."""

TONE_S = 1.2 if TINY else 6.0
RATE_HZ = 48e3 if TINY else 96e3
TIMES = 2 if TINY else 4
"""How much finer the fine step is."""


def tone(setup: Setup, seconds: float = min(TONE_S, 4.0)) -> np.ndarray:
    run = single.run(numbers.numbers_of(setup), blown(setup, seconds))
    return run.pressure[-round(setup.time.rate) :]


def breath_table(name: str, note: int) -> None:
    horn = load_horn(name)
    setup = tune(horn, midi_to_hz(note))
    closing = setup.reed.stiffness * setup.reed.opening / 1e3
    print(f"{name} {midi_name(note)}: jitter over breath, in parts of the closing pressure")
    for part in PARTS:
        blow = setup.with_value("breath.pressure_kpa", part * closing)
        steady = tone(blow, TONE_S)
        found = pitch.fundamental(steady, setup.time.rate)
        if found is None or np.std(steady) < 50.0:
            print(f"  {part:.2f}  silent")
            continue
        period = locking.period(locking.strobe(steady, setup.time.rate, found.hz))
        jitter = pitch.period_jitter(steady, setup.time.rate, found.hz)
        print(f"  {part:.2f}  {found.hz:8.2f} Hz  period {period}  jitter {jitter:.1e}")


def convergence() -> None:
    setup = tune(load_horn("tenor-saxophone"), midi_to_hz(46), RATE_HZ)
    fine = setup.with_value("time.rate_hz", TIMES * setup.time.rate)
    played = [pitch.refine(tone(s), s.time.rate, 116.54) for s in (setup, fine)]
    names = [f"{one.time.rate / 1e3:g} kHz" for one in (setup, fine)]
    print(f"pitch of Bb2, {' against '.join(names)}: {cents(*played):+.3f} cents")
    for rate_name, horn in zip(names, (setup, fine), strict=True):
        voice = Voice(source="pulse", frequency=played[0] * 3.0, depth=0.1)
        take = render(horn.model_copy(update={"voice": voice}), 4.0)
        edges = judge(take, lock_range=True).lock_range_cents
        print(f"  edges of 3/1 at depth 0.1, {rate_name}: {edges}")


def main() -> None:
    breath_table("tenor-saxophone", 46)
    breath_table("plain-cylinder", 46)
    convergence()


if __name__ == "__main__":
    main()
