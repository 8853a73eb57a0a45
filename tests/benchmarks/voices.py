"""What the kind of voice does: waveform, false folds, jitter, and how rough it makes the sound.

Run ``python tests/benchmarks/voices.py [COMMAND] [tiny]``, one of these or all of them:

- ``waveforms [HORN ...]``: which ratios lock, and how widely, with a sine and with two pulses;
- ``folds``: where the common note goes when the false vocal folds swing along;
- ``jitter [HORN ...]``: how much unevenness a lock stands;
- ``players [HORN ...]``: how rough each sung interval is, beside what players report.

It prints tables in Markdown. Detunings are in cents against p/q times the pitch that the horn plays
with the voice off; all searches and judgements are the program's own.
"""

import itertools
import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import spectrum
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import note_name, parse_pitch, simple_ratios
from reedbore.simulate import singing, tuning
from reedbore.simulate.take import render
from reedbore.verdict import cells, human_hold, runs
from reedbore.verdict.lock_edges import (
    LONGEST_S,
    NARROWEST_CENTS,
    Sought,
    edges_of,
    seek,
    sung_at,
    width,
)
from reedbore.verdict.questions import Pair
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

NOTES = {
    "tenor-saxophone": "Bb2",
    "alto-saxophone": "Eb3",
    "clarinet-b-flat": "D3",
    "bass-clarinet": "F2",
}
SINGER = "low-male"

Setting = tuple[str, str | float]
WAVEFORMS: dict[str, tuple[Setting, ...]] = {
    "sine": (("voice.source", "sine"),),
    "soft pulse": (("voice.source", "pulse"), ("voice.rd", 2.5)),
    "bright pulse": (("voice.source", "pulse"), ("voice.rd", 0.4)),
}
WAVEFORM_HORNS = "tenor-saxophone", "clarinet-b-flat"
WAVEFORM_DEPTHS = 0.1, 0.2
RATIOS = [(p, q) for p, q in simple_ratios(8) if 2 / 3 <= p / q <= 4 and q <= 4]
RATIOS.sort(key=lambda ratio: ratio[0] / ratio[1])
PARTIALS = 8

FOLDS_HORN, FOLDS_SECONDS = "tenor-saxophone", 4.0
FOLDS_RATIOS = (1, 1), (3, 2), (2, 1), (5, 2), (3, 1)
FOLDS_NOTES = "D4", "F3"  # sung as tempered, beside the just ones

JITTER_RATIOS = {
    "tenor-saxophone": ((1, 1), (2, 1), (3, 1), (5, 2)),
    "bass-clarinet": ((2, 1), (3, 1)),
}
JITTER_DEPTHS = 0.1, 0.2, 0.3
HUMAN = (10.0, 0.0), (10.0, 0.005), (10.0, 0.01)
"""Slow wander [cents] and jitter of the voices that try to hold a lock as `locks` asks it."""

JITTERS = 0.005, 0.01, 0.02, 0.05
"""Of voices that do not wander; healthy ones have 0.002 to 0.01."""

SEEDS = range(3)
WATCH_S, STRETCH_S, HOP_S = 27.0, 5.0, 0.5
"""A voice without wander is watched so long, in stretches so long, one begun so often."""

PLAYERS_HORNS = "tenor-saxophone", "alto-saxophone"
PLAYERS_DEPTHS = 0.1, 0.2
PLAYERS_SECONDS = 8.0
INTERVALS = {
    "unison": 0.0,
    "minor second": 100.0,
    "minor third": 300.0,
    "major third": 400.0,
    "fourth": 500.0,
    "tritone": 600.0,
    "650 cents": 650.0,
    "fifth": 700.0,
    "octave": 1200.0,
    "1330 cents": 1330.0,
}
JUST = {"minor third": (6, 5), "major third": (5, 4), "fourth": (4, 3), "fifth": (3, 2)}

if "tiny" in sys.argv[1:]:
    WAVEFORM_HORNS = PLAYERS_HORNS = ("tenor-saxophone",)
    WAVEFORM_DEPTHS = JITTER_DEPTHS = PLAYERS_DEPTHS = (0.1,)
    RATIOS = FOLDS_RATIOS = [(2, 1)]
    FOLDS_NOTES = ("D4",)
    FOLDS_SECONDS = PLAYERS_SECONDS = 1.0
    JITTER_RATIOS = {"tenor-saxophone": ((2, 1),)}
    HUMAN, JITTERS, SEEDS, WATCH_S = HUMAN[:1], JITTERS[:1], range(1), 8.0
    INTERVALS = {"fifth": 700.0}
    JUST = {"fifth": (3, 2)}

Samples = NDArray[np.float64]
Ratio = tuple[int, int]


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    print("| " + " | ".join(head) + " |")
    print("|" + "---|" * len(head))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    print(flush=True)


def side_by_side(work: Callable[[Any], Any], on: Iterable[Any]) -> list[Any]:
    """Compiled steps run side by side."""
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        return list(pool.map(work, on))


def fingered(name: str) -> tuple[Setup, float]:
    """The horn with its note fingered and the voice in the mouth, and what it plays alone [Hz]."""
    horn = presets.load_horn(name)
    voice = presets.setup_for(horn, presets.load_singer(SINGER)).voice
    setup = tuning.tune(horn, parse_pitch(NOTES[name])).model_copy(update={"voice": voice})
    off = cells.controls_of([setup])[0].hz
    assert off is not None, f"{name} is silent"
    return setup, off


def with_settings(setup: Setup, settings: Iterable[Setting]) -> Setup:
    for name, value in settings:
        setup = setup.with_value(name, value)
    return setup


# waveforms


def partials_table(setup: Setup, hz: float) -> None:
    """Show what the theory goes by: the partials of a wave whose peak is 1."""
    print(f"partials of the sung wave at {note_name(hz)}, its largest value 1\n")
    rows, rate = [], setup.time.rate
    for name, settings in WAVEFORMS.items():
        wave = singing.sing(sung_at(with_settings(setup, settings), hz), 1.0)
        line = spectrum.harmonic_amplitudes(wave[wave.size // 2 :], rate, hz, PARTIALS)
        rows.append([name, *(f"{one:.3f}" for one in line)])
    table(["voice", *(str(order) for order in range(1, PARTIALS + 1))], rows)


class Seen(NamedTuple):
    """What was found of one ratio with one kind of voice."""

    cents: float
    """How wide the lock is, 0 if there is none."""
    text: str


def searched(setups: dict[str, Setup], off: float) -> dict[tuple[str, Ratio], Seen]:
    """All ratios with all voices in one search, quicker than a table for each.

    'jumped': there the horn leaves its register; unlike a table this does not look beside.
    """
    cases = list(itertools.product(setups, RATIOS))
    just = [sung_at(setups[kind], off * p / q) for kind, (p, q) in cases]
    pairs = [Pair(sung, *ratio) for sung, (_, ratio) in zip(just, cases, strict=True)]
    found = [middle_of(one) for one in seek(pairs, LONGEST_S, lambda _: None)]
    aims = [
        sung_at(sung, sung.voice.frequency * 2.0 ** ((lock[2] if lock else 0.0) / 1200.0))
        for sung, lock in zip(just, found, strict=True)
    ]
    looks = cells.judge_cells(aims, [off] * len(aims), seconds=runs.LEAST_SECONDS)
    seen = {}
    for case, lock, look in zip(cases, found, looks, strict=True):
        text = f"{lock[0]:+.1f} {lock[1]:+.1f}" if lock else "·"
        text += " jumped" if look.jumped else ""
        seen[case] = Seen(lock[1] - lock[0] if lock else 0.0, text)
    return seen


def waveforms(names: Sequence[str]) -> None:
    for name in names or WAVEFORM_HORNS:
        setup, off = fingered(name)
        partials_table(setup, off)
        kinds = {
            f"{kind} {depth:g}": with_settings(setup, [*settings, ("voice.depth", depth)])
            for depth, (kind, settings) in itertools.product(WAVEFORM_DEPTHS, WAVEFORMS.items())
        }
        seen = searched(kinds, off)
        print(f"{name}, {NOTES[name]} ({off:.2f} Hz): lock ranges [cents], or · for none\n")
        rows = [[f"{r[0]}/{r[1]}", *(seen[kind, r].text for kind in kinds)] for r in RATIOS]
        count = [str(sum(seen[kind, one].cents > 0.0 for one in RATIOS)) for kind in kinds]
        table(["sung", *kinds], [*rows, ["how many lock", *count]])
        print("widths of the locks together [cents], by q\n")
        qs = sorted({q for _, q in RATIOS})
        rows = [[kind, *(f"{together(seen, kind, q):.1f}" for q in qs)] for kind in kinds]
        table(["voice", *(f"q = {q}" for q in qs)], rows)


def together(seen: dict[tuple[str, Ratio], Seen], kind: str, q: int) -> float:
    return sum(one.cents for (of, (_, at)), one in seen.items() if of == kind and at == q)


# false folds


def folds(_: Sequence[str]) -> None:
    setup, off = fingered(FOLDS_HORN)
    notes = [(f"{p}/{q} just", off * p / q) for p, q in FOLDS_RATIOS]
    notes += [(f"{note} tempered", parse_pitch(note)) for note in FOLDS_NOTES]
    asked = list(itertools.product(WAVEFORM_DEPTHS, notes, (1, 2, 3)))

    def judged(case: tuple[float, tuple[str, float], int]) -> Verdict:
        depth, (_, hz), count = case
        sung = sung_at(setup, hz).with_value("voice.depth", depth)
        return judge(render(sung.with_value("voice.false_folds", count), FOLDS_SECONDS))

    rows = []
    for (depth, (label, hz), count), found in zip(asked, side_by_side(judged, asked), strict=True):
        row = [f"{depth:g}", f"{label}, {note_name(hz)}", str(count)]
        rows.append([*row, *fold_cells(found)])
    print(f"{FOLDS_HORN}, {NOTES[FOLDS_HORN]}, which plays {off:.2f} Hz alone\n")
    head = "depth", "sung", "folds", "repeats at", "ratio", "common note"
    table([*head, "state", "beat [Hz]", "heard"], rows)


def fold_cells(found: Verdict) -> list[str]:
    sung, common = found.sung_hz, found.resultant_hz
    return [
        f"{sung:.2f} Hz {note_name(sung)}" if sung else "none",
        "{}/{}".format(*found.ratio) if found.ratio else "none",
        f"{common:.2f} Hz {note_name(common)}" if common else "",
        found.state,
        f"{found.drift_hz:+.2f}" if found.drift_hz is not None else "",
        found.heard,
    ]


# jitter


class Place(NamedTuple):
    """A lock that an uneven voice is to hold, and where it aims [Hz]."""

    label: str
    setup: Setup
    ratio: Ratio
    aim: float


def places_of(name: str) -> tuple[list[Place], list[str]]:
    """The locks at each depth, and the ratios that do not lock."""
    setup, off = fingered(name)
    places, missing, ratios = [], [], JITTER_RATIOS[name]
    for depth in JITTER_DEPTHS:
        deep = setup.with_value("voice.depth", depth)
        for ratio, found in zip(ratios, edges_of(deep, off, ratios), strict=True):
            label = f"{ratio[0]}/{ratio[1]} at {depth:g}"
            if lock := middle_of(found):
                hz = off * ratio[0] / ratio[1] * 2.0 ** (lock[2] / 1200.0)
                label += f" ({lock[0]:+.1f} {lock[1]:+.1f})"
                places.append(Place(label, deep, ratio, hz))
            else:
                missing.append(label)
    return places, missing


def middle_of(found: Sought | None) -> tuple[float, float, float] | None:
    """Both edges of a lock and its middle [cents]."""
    if found is None or found.edges is None or width(found.edges) < NARROWEST_CENTS:
        return None
    low, high = (edge.inside for edge in found.edges)
    return low, high, 0.5 * (low + high)


def human_share(place: Place) -> float:
    """The share that `locks` shows, mean of some voices."""
    shares = [human_hold.held_share(place.setup, place.aim, place.ratio, seed) for seed in SEEDS]
    return float(np.mean(shares))


def stays(place: Place) -> tuple[float, float]:
    """Shares of stretches that a beat stays within a quarter cycle: locked, and by itself."""
    rate, (_, q) = place.setup.time.rate, place.ratio
    locked, alone = [], []
    for seed in SEEDS:
        curve = singing.human_pitch(WATCH_S, rate, place.aim, seed)
        sung = sung_at(place.setup, place.aim)
        times, beat = human_hold.beat_of(sung, place.ratio, WATCH_S, curve)
        walked = np.cumsum(place.aim * (2.0 ** (curve / 1200.0) - 1.0)) / rate
        by_itself = q * np.interp(times, np.arange(curve.size) / rate, walked)
        locked.append(within(times, beat))
        alone.append(within(times, by_itself))
    return float(np.mean(locked)), float(np.mean(alone))


def within(times: Samples, beat: Samples) -> float:
    """Share of stretches from whose start to whose end a beat hardly moves."""
    step = float(times[1] - times[0])
    start, long, hop = (round(seconds / step) for seconds in (2.0, STRETCH_S, HOP_S))
    moved = np.abs(beat[start + long :: hop] - beat[start:-long:hop])
    return float(np.mean(moved < human_hold.HELD_CYCLES))


def halved(shares: Samples) -> str:
    """Jitter at which the share beyond chance falls to half of a clock's, which is all."""
    before = 0.0, 1.0
    for uneven, share in zip(JITTERS, shares, strict=True):
        if share < 0.5:
            across = (before[1] - 0.5) / (before[1] - share)
            return f"{100.0 * (before[0] + across * (uneven - before[0])):.1f} %"
        before = uneven, share
    return f"over {100.0 * JITTERS[-1]:g} %"


def voiced(wander: float, jitter: float) -> Any:
    """Every human voice meanwhile wanders so far and is so uneven."""
    return mock.patch.multiple(singing, USUAL_WANDER_CENTS=wander, USUAL_JITTER=jitter)


def wandering_table(places: list[Place]) -> None:
    rows = [[place.label] for place in places]
    for wander, uneven in HUMAN:
        with voiced(wander, uneven):
            for row, share in zip(rows, side_by_side(human_share, places), strict=True):
                row.append(f"{share:.0%}")
    print(f"share of {human_hold.HOLD_S:g} s held beyond chance: mean of {len(SEEDS)} voices\n")
    heads = [f"wander {wander:g} cents, jitter {100.0 * one:g} %" for wander, one in HUMAN]
    table(["lock [cents]", *heads], rows)


def steady_table(places: list[Place]) -> None:
    rows, shares = [[place.label] for place in places], np.zeros((len(places), len(JITTERS)))
    for column, uneven in enumerate(JITTERS):
        with voiced(0.0, uneven):
            for k, (share, chance) in enumerate(side_by_side(stays, places)):
                rows[k].append(f"{share:.0%} ({chance:.0%})")
                shares[k, column] = (share - chance) / (1.0 - chance) if chance < 1.0 else 1.0
    print(
        f"without wander: share of {STRETCH_S:g} s stretches over which the beat stays within a "
        "quarter cycle (by itself), and the jitter that halves it beyond chance\n"
    )
    heads = [f"{100.0 * one:g} %" for one in JITTERS]
    rows = [[*row, halved(seen)] for row, seen in zip(rows, shares, strict=True)]
    table(["lock [cents]", *heads, "half at"], rows)


def jitter(names: Sequence[str]) -> None:
    for name in names or JITTER_RATIOS:
        places, missing = places_of(name)
        print(f"{name}, {NOTES[name]}; no lock: {', '.join(missing) or 'none'}\n")
        wandering_table(places)
        steady_table(places)


# players' reports


def sung_notes(off: float) -> list[tuple[str, float]]:
    """Each interval over what the horn plays, tempered, and just where that differs [Hz]."""
    notes = [(name, off * 2.0 ** (size / 1200.0)) for name, size in INTERVALS.items()]
    return notes + [(f"{name}, just", off * p / q) for name, (p, q) in JUST.items()]


def players(names: Sequence[str]) -> None:
    for name in names or PLAYERS_HORNS:
        setup, off = fingered(name)
        notes = sung_notes(off)
        for depth in PLAYERS_DEPTHS:
            deep = setup.with_value("voice.depth", depth)
            setups = [sung_at(deep, hz) for _, hz in notes]
            found = side_by_side(lambda sung: judge(render(sung, PLAYERS_SECONDS)), setups)
            print(f"{name}, {NOTES[name]} ({off:.2f} Hz), depth {depth:g}, least rough first\n")
            ranked = sorted(zip(notes, found, strict=True), key=lambda one: one[1].roughness or 0.0)
            table(
                ["sung", "roughness", "state", "ratio", "beat [Hz]"],
                [player_cells(label, seen) for (label, _), seen in ranked],
            )


def player_cells(label: str, seen: Verdict) -> list[str]:
    return [
        label,
        f"{seen.roughness:.2f}" if seen.roughness is not None else "none",
        seen.state + (", jumped" if seen.jumped else ""),
        "{}/{}".format(*seen.ratio) if seen.ratio else "",
        f"{seen.drift_hz:+.2f}" if seen.drift_hz is not None else "",
    ]


COMMANDS: dict[str, tuple[Callable[[Sequence[str]], None], Iterable[str]]] = {
    "waveforms": (waveforms, NOTES),
    "folds": (folds, ()),
    "jitter": (jitter, JITTER_RATIOS),
    "players": (players, NOTES),
}


def main() -> None:
    words = [word for word in sys.argv[1:] if word != "tiny"]
    commands, horns = words[:1] or list(COMMANDS), words[1:]
    if commands[0] not in COMMANDS or not set(horns) <= set(COMMANDS[commands[0]][1]):
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    start = time.perf_counter()
    for command in commands:
        COMMANDS[command][0](horns)
    print(f"{time.perf_counter() - start:.0f} s, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
