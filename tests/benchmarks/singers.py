"""How wide the range of aims is for singers whose folds feel the horn, over several horns.

Run ``python tests/benchmarks/singers.py [COMMAND] [PLACE ...] [--voices one] [--depth 0.1]
[--ratios 1/1,3/2] [--json FILE] [tiny]``, one of these commands or all of them:

- ``widths``: nine voices, light to heavy and loose to firm; ``--voices one`` takes the typical one;
- ``one-way``: the same folds' own sound played back as a clock, which nothing can pull, beside them
  and beside the clock of the tables;
- ``finer``: the same at twice the rate, and with half of every tolerance;
- ``speed``: singers side by side against one take at a time, in the same run.

A place is a horn and a note, such as ``tenor-Bb2``. All cores work; tables are printed in Markdown
as they come, how far it is goes to stderr. Aims are in cents of what the folds sing where no horn
sounds back, against p/q times the pitch that the horn plays with the voice off.
"""

import argparse
import contextlib
import functools
import json
import math
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import single
from reedbore.kernel.folds import sing_into_leak
from reedbore.measures import locking, pitch
from reedbore.measures.locking import Course
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import parse_pitch
from reedbore.simulate import folds, tuning
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.take import again
from reedbore.verdict import cells, lock_edges, singer
from reedbore.verdict.lock_edges import Ratio, edges_of, sung_at, width
from reedbore.verdict.questions import Pair
from reedbore.verdict.singer import TYPICAL, SingerRow, singer_rows, singers

PLACES = {
    "tenor-Bb2": ("tenor-saxophone", "Bb2"),
    "tenor-D3": ("tenor-saxophone", "D3"),
    "alto-D3": ("alto-saxophone", "D3"),
    "clarinet-D3": ("clarinet-b-flat", "D3"),
    "bass-clarinet-D2": ("bass-clarinet", "D2"),
}
RATIOS = (1, 1), (2, 1), (3, 2), (5, 2), (4, 3), (5, 3)
SINGER = "low-male"

LEAK_S = 3.0
"""So long the folds sing whose sound is played back. [s]"""

POINTS = 2048
"""Of one period of it."""

FINER = 1.0
"""Edges are told so finely where widths are compared. [cents]"""

RATE_SHARE = 0.5 if "tiny" in sys.argv[1:] else 1.0
"""Of the usual rate."""

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Asked:
    """What is to be done."""

    places: list[str]
    ratios: list[Ratio]
    voices: str
    depth: float
    tiny: bool

    def names(self) -> list[str]:
        known = list(singers(presets.setup_for(presets.load_horn("tenor-saxophone"))))
        return known if self.voices == "nine" and not self.tiny else [TYPICAL]


def said(ratio: Ratio) -> str:
    return f"{ratio[0]}/{ratio[1]}"


def table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    lines = [f"\n{title}\n", "| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    print("\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)]), flush=True)


@functools.cache
def fingered(place: str, depth: float, rate_times: float = 1.0) -> tuple[Setup, float]:
    """The horn with its note fingered, a voice in the mouth, and what it plays alone [Hz]."""
    name, note = PLACES[place]
    horn = presets.load_horn(name)
    voice = presets.setup_for(horn, presets.load_singer(SINGER)).voice
    setup = tuning.tune(horn, parse_pitch(note)).model_copy(update={"voice": voice})
    setup = setup.with_value("voice.depth", depth)
    setup = setup.with_value("time.rate_hz", RATE_SHARE * rate_times * setup.time.rate)
    off = cells.controls_of([setup])[0].hz
    assert off is not None, f"{place} is silent"
    return setup, off


def each(asked: Asked, work: Callable[[str], Any]) -> Iterator[tuple[str, Any]]:
    """Work on all places at once, for one alone leaves cores idle; what is ready comes first."""
    with ThreadPoolExecutor(len(asked.places)) as pool:
        running = {pool.submit(work, place): place for place in asked.places}
        for done in as_completed(running):
            yield running[done], done.result()


# widths


def sung(asked: Asked, names: Sequence[str], place: str, **finer: float) -> list[list[SingerRow]]:
    """Rows of some voices at one place."""
    setup, off = fingered(place, asked.depth, **finer)
    known, steps = singers(setup), [0]

    def tell(share: float) -> None:
        if int(10.0 * share) > steps[0]:
            steps[0] = int(10.0 * share)
            print(f"{place}: {10 * steps[0]} %", file=sys.stderr, flush=True)

    return singer_rows([known[name] for name in names], off, asked.ratios, tell)


def plain(row: SingerRow) -> dict[str, Any]:
    sings = row.middle is not None and math.isfinite(row.middle.sung_hz)
    return {
        "state": row.state,
        "reason": row.reason,
        "aims_cents": [row.low.inside, row.high.inside] if row.low and row.high else None,
        "width_cents": row.width,
        "open_ended": row.open_ended,
        "depth": row.depth,
        "held_singer": row.held,
        "pulled_cents": row.middle.pulled_cents if row.middle and sings else None,
        "lungs_kpa": row.middle.lungs / 1e3 if row.middle else None,
    }


def cell(row: SingerRow) -> str:
    if row.state == "unsung":
        return "unsung"
    at = f" at {row.depth:.2g}" if row.depth else ""
    return f"{'over ' * row.open_ended}{row.width:.0f}{at}" if row.width else f"none{at}"


def as_sung(mine: Setup, row: SingerRow) -> Setup:
    """The setup of a row: another depth than was asked for is the nearest that is reached."""
    aimed = sung_at(mine, row.just_hz)
    return aimed.with_value("voice.depth", row.depth) if row.depth else aimed


def spread(rows: Sequence[SingerRow]) -> str:
    """Least, middle and largest width of the voices that sing it, and how many do."""
    found = sorted(row.width for row in rows if row.state != "unsung")
    if not found:
        return "nobody sings it"
    return f"{found[0]:.0f} / {np.median(found):.0f} / {found[-1]:.0f} ({len(found)})"


def widths(asked: Asked) -> dict[str, Any]:
    names, kept = asked.names(), {}
    for place, found in each(asked, functools.partial(sung, asked, names)):
        rows = [
            [name, *map(cell, voice), *held(voice)]
            for name, voice in zip(names, found, strict=True)
        ]
        by_ratio = list(zip(*found, strict=True))
        rows.append(["low / middle / high (how many sing)", *map(spread, by_ratio), ""])
        head = ["voice", *map(said, asked.ratios), "stays with natural wander [%]"]
        table(f"{place}: width of the range of aims [cents], depth {asked.depth:g}", head, rows)
        kept[place] = {
            name: {said(row.ratio): plain(row) for row in voice}
            for name, voice in zip(names, found, strict=True)
        }
    return kept


def held(voice: Sequence[SingerRow]) -> list[str]:
    shares = ("·" if row.held is None else f"{100.0 * row.held:.0f}" for row in voice)
    return [" ".join(shares)]


# one way


def own_sound(setup: Setup) -> tuple[Samples, float]:
    """One period of what folds make in the mouth where no horn sounds back, peak 1; its depth."""
    rate = setup.time.rate
    singer_alone = folds.singing(setup, round(LEAK_S * rate))
    made = sing_into_leak(singer_alone)[round(0.5 * LEAK_S * rate) :]
    gap = singer_alone.half_gap[round(0.5 * LEAK_S * rate) :]
    hz = pitch.refine(*pitch.thin(gap, rate), pitch.crossing_rate(gap, rate))
    place = (np.arange(made.size) * hz / rate) % 1.0
    order = np.argsort(place)
    period = np.interp(np.arange(POINTS) / POINTS, place[order], made[order], period=1.0)
    period -= period.mean()
    largest = float(np.abs(period).max())
    return period / largest, largest / setup.breath.pressure


def played_back(setup: Setup, ratio: Ratio) -> locking.Observe:
    """The judge's view of a horn and that sound, played back at any pitch: nothing pulls it."""
    wave, depth = own_sound(setup)
    ends = np.append(wave, wave[0])

    def observe(detuning: float, seconds: float) -> Course:
        rate, hz = setup.time.rate, setup.voice.frequency * 2.0 ** (detuning / 1200.0)
        blown = tuning.blown(setup, seconds)
        place = (np.arange(blown.size) * hz / rate) % 1.0 * POINTS
        mouth = blown * (1.0 + depth * np.interp(place, np.arange(POINTS + 1), ends))
        alone = setup.model_copy(
            update={"voice": setup.voice.model_copy(update={"source": "off", "drive": "pressure"})}
        )
        pressure, thin = pitch.thin(single.run(numbers_of(alone), mouth).pressure, rate)
        clock = hz * ratio[1] / ratio[0]
        track = pitch.phase_track(pressure, thin, clock, min(hz / ratio[0], 20.0))
        return Course(track.times, ratio[0] * track.cycles, hz * ratio[1])

    return observe


def clock_width(setup: Setup, ratio: Ratio, longest: float) -> float:
    """Width of the lock to the folds' own sound played back [cents]; 0 if there is none."""
    observe = played_back(setup, ratio)
    inside, low, high = locking.answer(locking.find_inside(longest=longest), observe)
    if inside is None:
        return 0.0
    found = locking.lock_range(inside, low, high, fineness=0.05, longest=longest)
    return max(width(locking.answer(found, observe)), 0.0)


def one_way(asked: Asked) -> dict[str, Any]:
    longest, kept = 7.5 if asked.tiny else lock_edges.LONGEST_S, {}

    def work(place: str) -> list[dict[str, Any]]:
        setup, off = fingered(place, asked.depth)
        mine = singers(setup)[TYPICAL]
        (rows,) = singer_rows([mine], off, asked.ratios)
        clocks = edges_of(setup, off, asked.ratios, longest=longest)
        alone = [as_sung(mine, row) if row.state != "unsung" else None for row in rows]
        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            back = pool.map(
                lambda one: clock_width(one[0], one[1], longest) if one[0] else math.nan,
                zip(alone, asked.ratios, strict=True),
            )
        return [
            {
                "folds_cents": row.width,
                "played_back_cents": again_width,
                "clock_cents": max(width(clock.edges), 0.0) if clock else math.nan,
            }
            for row, again_width, clock in zip(rows, back, clocks, strict=True)
        ]

    for place, found in each(asked, work):
        rows = [
            [said(ratio), *(f"{value:.2f}" for value in one.values())]
            for ratio, one in zip(asked.ratios, found, strict=True)
        ]
        head = "ratio", "folds that feel the horn", "their sound played back", "clock of the tables"
        table(f"{place}, {TYPICAL} voice, depth {asked.depth:g}: widths [cents]", head, rows)
        kept[place] = dict(zip(map(said, asked.ratios), found, strict=True))
    return kept


# finer


@contextlib.contextmanager
def tolerances(share: float) -> Iterator[None]:
    """Meanwhile edges are told within `FINER` cents times a share, and aims are solved as finely.

    What was solved otherwise is not used, and what is solved now is not kept. How far a note may
    miss where folds jump is no tolerance: half of it only refuses some.
    """
    names = "AIM_CENTS", "DEPTH_SHARE", "SETTLED_PA"
    changed: dict[str, Any] = {name: share * getattr(folds, name) for name in names}
    changed |= {"_recall": lambda _: None, "write_whole": lambda *_: None}
    folds._solved.cache_clear()
    with (
        mock.patch.multiple(folds, **changed),
        mock.patch.object(singer, "FINENESS", FINER * share),
    ):
        yield
    folds._solved.cache_clear()


def finer(asked: Asked) -> dict[str, Any]:
    kept: dict[str, Any] = {place: {} for place in asked.places}
    ways = {"as is": (1.0, 1.0), "twice the rate": (1.0, 2.0), "half the tolerance": (0.5, 1.0)}
    if asked.tiny:
        del ways["twice the rate"]
    for way, (share, times) in ways.items():
        with tolerances(share):
            work = functools.partial(sung, asked, [TYPICAL], rate_times=times)
            for place, (rows,) in each(asked, work):
                kept[place][way] = {said(row.ratio): plain(row) for row in rows}
                print(f"{place}, {way}: " + "  ".join(map(cell, rows)), flush=True)
    for place, found in kept.items():
        rows = [
            [said(ratio), *(shown(found, way, said(ratio)) for way in ways)]
            for ratio in asked.ratios
        ]
        title = f"{place}, {TYPICAL} voice, depth {asked.depth:g}: widths [cents], each edge within"
        table(f"{title} {FINER:g}", ["ratio", *ways], rows)
    return kept


def shown(found: dict[str, Any], way: str, ratio: str) -> str:
    here, first = found[way][ratio]["width_cents"], found["as is"][ratio]["width_cents"]
    change = f" ({100.0 * (here / first - 1.0):+.0f} %)" if first and way != "as is" else ""
    return f"{here:.1f}{change}"


# speed


def speed(asked: Asked) -> dict[str, Any]:
    """Both by the clock of the processor: on one core or many, their ratio is the same."""
    place = asked.places[0]
    setup, off = fingered(place, asked.depth)
    names = asked.names()
    cases = [
        (sung_at(singers(setup)[name], off * p / q), (p, q))
        for name in names
        for p, q in asked.ratios
    ]
    tried = [singer._settled(singer._Case(*case)) for case in cases]
    sings = [case for case in tried if not isinstance(case, str)]
    pairs = [Pair(aimed, *ratio) for aimed, ratio in sings]
    lock_edges.search(pairs[:1], singer._look, singer._edge, lambda _: None)  # compiles
    start = time.process_time()
    many = lock_edges.search(pairs, singer._look, singer._edge, lambda _: None)
    between = time.process_time()
    one = [one_at_a_time(*case) for case in sings]
    end = time.process_time()
    kept = {"side_by_side_s": between - start, "one_by_one_s": end - between}
    most = max(
        (abs(width(mine.edges) - theirs) for mine, theirs in zip(many, one, strict=True)
         if mine and mine.edges and theirs), default=0.0,
    )  # fmt: skip
    print(
        f"\n{place}, {len(names)} voices, {len(pairs)} ranges of aims: side by side "
        f"{between - start:.1f} s of processor, one take at a time {end - between:.1f} s, "
        f"{(end - between) / (between - start):.1f} times as long; widths differ by up to "
        f"{most:.1f} cents; load {os.getloadavg()[0]:.1f}"
    )
    return kept


def one_at_a_time(aimed: Setup, ratio: Ratio) -> float:
    observe = singer.observed(again(aimed, 0.1), aimed.voice.frequency, ratio)
    inside, low, high = locking.answer(singer._look(), observe)
    if inside is None:
        return 0.0
    ends = [
        locking.answer(singer._edge(inside, there, way), observe).inside
        for there, way in ((low, -1.0), (high, 1.0))
    ]
    return ends[1] - ends[0]


COMMANDS: dict[str, Callable[[Asked], dict[str, Any]]] = {
    "widths": widths,
    "one-way": one_way,
    "finer": finer,
    "speed": speed,
}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    words.add_argument("words", nargs="*", metavar="COMMAND, PLACE or tiny")
    words.add_argument("--voices", choices=("one", "nine"), default="nine")
    words.add_argument("--depth", type=float, default=0.1)
    words.add_argument("--ratios", default=",".join(map(said, RATIOS)))
    words.add_argument("--json", type=Path)
    given = words.parse_args()
    unknown = set(given.words) - {*COMMANDS, *PLACES, "tiny"}
    if unknown:
        words.error(f"{', '.join(sorted(unknown))}: no command, no place, and not tiny")
    tiny = "tiny" in given.words
    places = [word for word in given.words if word in PLACES] or list(PLACES)
    ratios = [tuple(map(int, ratio.split("/"))) for ratio in given.ratios.split(",")]
    asked = Asked(places[:1] if tiny else places, ratios[:1] if tiny else ratios, given.voices,
                  given.depth, tiny)  # fmt: skip
    kept = {}
    for command in [word for word in given.words if word in COMMANDS] or list(COMMANDS):
        start = time.perf_counter()
        kept[command] = COMMANDS[command](asked)
        took = time.perf_counter() - start
        print(f"\n{command}: {took:.0f} s, load {os.getloadavg()[0]:.1f}", flush=True)
        if given.json:
            given.json.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
