"""What mouth, throat and passages cost, and what a vowel does; rivals run in turn in one process.

Run as ``python tests/benchmarks/passages.py [tiny]``.
"""

import functools
import math
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import passage, single
from reedbore.kernel.passage import Change
from reedbore.kernel.player import STILL
from reedbore.model.presets import load_horn, load_piece, load_singer
from reedbore.model.setup import Setup
from reedbore.notes import parse_pitch
from reedbore.report.passage import table
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.mouth import depth
from reedbore.simulate.performance import Fingered, Score, perform
from reedbore.simulate.player import alive, player_of
from reedbore.simulate.singing import sing
from reedbore.simulate.take import render
from reedbore.simulate.tuning import blown, tune
from reedbore.verdict.passage import judge_notes

TINY = "tiny" in sys.argv[1:]
RUNS, SECONDS, RATE = 1 if TINY else 9, 0.5 if TINY else 10.0, 96000.0
EVERYTHING = {
    "voice.drive": "flow", "voice.vowel": "a", "tract.coupling": "on", "voice.jitter": 0.005,
    "voice.shimmer_db": 0.2, "voice.vibrato_cents": 30, "voice.wander_cents": 10,
    "voice.scoop_cents": 100, "voice.noise": 0.02, "voice.false_folds": 2,
}  # fmt: skip


def seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def changed(setup: Setup, values: dict[str, float | str]) -> Setup:
    for name, value in values.items():
        setup = setup.with_value(name, value)
    return setup


def tuned(horn: str, note: str) -> Setup:
    setup = tune(load_horn(horn), parse_pitch(note))
    return setup.model_copy(update={"voice": load_singer("low-male").voice})


def kernels() -> None:
    """Compare the kernel of a take, coupled or in a passage, with the plain one."""
    print(f"kernel, {SECONDS:g} s at {RATE / 1e3:g} kHz, median of {RUNS}, one core")
    for horn, note in (("tenor-saxophone", "Bb2"), ("clarinet-b-flat", "A4")):
        setup = tuned(horn, note)
        mouth = blown(setup, SECONDS)
        plain = numbers.numbers_of(setup)
        both = numbers.numbers_of(changed(setup, {"tract.coupling": "on", "voice.vowel": "a"}))
        begin = [Change(0, 0, 0)]
        free = STILL._replace(tongue=np.ones(mouth.size))
        moves = player_of(alive(setup), mouth.size)
        runs = {
            "plain": functools.partial(single.run, plain, mouth),
            "coupled": functools.partial(single.run, both, mouth),
            "lip, tongue and air": functools.partial(single.run, plain, mouth, player=moves),
            "in a passage": functools.partial(passage.play, [plain], begin, mouth, free),
            "in a passage, coupled": functools.partial(passage.play, [both], begin, mouth, free),
        }
        for run in runs.values():
            run()
        rows = [[seconds(run) for run in runs.values()] for _ in range(RUNS)]
        for place, name in enumerate(runs):
            took = statistics.median(row[place] for row in rows)
            ratio = statistics.median(row[place] / row[0] for row in rows)
            step = 1e9 * took / mouth.size
            print(f"  {horn:16} {name:22} {step:6.1f} ns a step {SECONDS / took:5.0f} x real "
                  f"time {ratio:5.2f} x plain")  # fmt: skip


def whole() -> None:
    """Time a take with everything on, and the étude from notes to verdicts."""
    setup = changed(tuned("clarinet-b-flat", "A4"), {"voice.frequency_hz": 220, **EVERYTHING})
    render(setup, min(SECONDS, 1.0))
    parts = {
        "voice": lambda: sing(setup, SECONDS),
        "whole take": lambda: render(setup, SECONDS),
    }
    print("everything on (coupled flow, vowel, unsteady voice, false folds, vent), clarinet A4")
    for name, run in parts.items():
        took = statistics.median(seconds(run) for _ in range(min(RUNS, 5)))
        print(f"  {name:30} {SECONDS / took:5.0f} x real time")
    piece = load_piece("mill-race")
    if TINY:
        quick = piece.passage.model_copy(update={"tempo": 10.0 * piece.passage.tempo})
        piece = piece.model_copy(update={"passage": quick})
    notes = {
        Fingered(str(n.pitch), n.fingering) for n in piece.passage.fingered_line.notes if n.pitch
    }
    for name, values in (("the étude", {}), ("the étude, everything on", EVERYTHING)):
        setups = {key: changed(tuned(piece.horn, key.pitch), values) for key in notes}
        score = Score(piece.passage, setups)
        played = perform(score)
        took = statistics.median(
            seconds(lambda score=score: perform(score)) for _ in range(min(RUNS, 3))
        )
        judged = seconds(lambda played=played: judge_notes(played))
        long = piece.passage.seconds
        print(f"  {name:30} {long / took:5.0f} x real time, judged in {judged:.1f} s")
        print("\n".join(f"    {line}" for line in table(judge_notes(played))))


def levels(samples: NDArray[np.float64], rate: float, hz: float, count: int) -> list[float]:
    """Levels of the first partials at the end of a sound. [dB]."""
    steps = np.arange(round(round(hz) / hz * rate))
    window = np.blackman(steps.size)
    clock = np.exp(-2j * math.pi * hz / rate * np.outer(np.arange(1, count + 1), steps))
    lines = np.abs(clock @ (window * samples[-steps.size :])) / window.sum()
    return [20.0 * math.log10(2.0 * line + 1e-12) for line in lines]


def vowels() -> None:
    """Tell what a vowel does under a held note, coupled and not: levels of partials. [dB]."""
    print("tenor B flat 2, D4 sung as a flow; partials 1 to 8 of the horn, dB re 1 Pa")
    for coupling in ("off", "on"):
        for vowel in ("none", "neutral", "a", "i", "u"):
            setup = changed(
                tuned("tenor-saxophone", "Bb2"),
                {"voice.frequency_hz": 291.35, "voice.drive": "flow", "voice.vowel": vowel,
                 "tract.coupling": coupling},
            )  # fmt: skip
            take = render(setup, 1.2 if TINY else 3.0)
            mouth = levels(take.mouth, RATE, 116.54, 8)
            sound = levels(take.sound, 48000.0, 116.54, 8)
            print(f"  {coupling:3} {vowel:8} depth {depth(setup):.3f}  mouth "
                  + " ".join(f"{max(x, -99.0):4.0f}" for x in mouth) + "  sound "
                  + " ".join(f"{x:4.0f}" for x in sound))  # fmt: skip


if __name__ == "__main__":
    kernels()
    whole()
    vowels()
