"""What players report of singing into a horn, held against the model: the low B flat of a tenor.

Run ``python tests/benchmarks/claims.py [COMMAND] [tiny]``, one of these or all of them. The reports
are common practice, no source; each command prints one, and a table in Markdown that bears on it:

- ``pairs``: some pairs fall into place by themselves, the octave and the fifth easily. The model
  agrees: 378 cents at 2/1, 180 at 1/1, 66 at 5/2, 41 at 3/2; 23 at 5/3 and 12 at 4/3.
- ``chance``: a note at random never does. The model disagrees: 7 of 24 do, six of them within a
  tone and a half of unison or octave, from where players do sing free seconds and sevenths.
- ``loud``: loud playing pulls the voice more. The model agrees for unison and octave: from 2.3 to
  3.7 kPa 1/1 widens from 162 to 200 cents, 2/1 from 148 to 392, while 3/2 stays at 41. Of loud
  singing it says the opposite: from depth 0.05 to 0.2 1/1 shrinks from 222 to 140 cents, 3/2 from
  58 to 32.
- ``throat``: closing the throat frees the voice. The model agrees, by little: a tongue as for a,
  the throat narrow, leaves 282 cents at 2/1 and 33 at 3/2; one as for i, the throat wide, 402, 62.
  A mouth of twice the volume frees more: 122 and 14.

Widths are of the range of aims that keep step, in cents; the judge is the program's own. The voice
is the usual one, depth 0.1; nobody's own folds are known.
"""

import functools
import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from reedbore.errors import ModelError
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz, note_name, parse_pitch
from reedbore.report.singer import ease
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.verdict import cells
from reedbore.verdict.lock_edges import sung_at
from reedbore.verdict.result import Verdict
from reedbore.verdict.singer import SingerRow, singer_rows
from reedbore.verdict.state import RowState, State
from reedbore.verdict.take import judge

HORN, NOTE, SINGER = "tenor-saxophone", "Bb2", "low-male"
PAIRS = (1, 1), (2, 1), (3, 2), (4, 3), (5, 3), (5, 2)
RATIOS = (1, 1), (2, 1), (3, 2)
NOTES, SEED = 24, 2
TAKE_S = 4.0

Setting = tuple[str, str | float]
LOUD: dict[str, tuple[Setting, ...]] = {
    "softly blown, 2.3 kPa": (("breath.pressure_kpa", 2.3),),
    "2.7 kPa": (("breath.pressure_kpa", 2.7),),
    "as usual, 3.1 kPa": (),
    "loudly blown, 3.7 kPa": (("breath.pressure_kpa", 3.7),),
    "softly sung, depth 0.05": (("voice.depth", 0.05),),
    "loudly sung, depth 0.2": (("voice.depth", 0.2),),
}
THROAT: dict[str, tuple[Setting, ...]] = {
    "uniform tube, 100 ml": (),
    "mouth of 200 ml": (("tract.volume_ml", 200.0),),
    "tongue as for u": (("voice.vowel", "u"),),
    "tongue as for i, throat wide": (("voice.vowel", "i"),),
    "tongue as for a, throat narrow": (("voice.vowel", "a"),),
    "firmer folds, gap 0.15 mm": (("voice.gap_mm", 0.15),),
}

RATE_HZ = 96e3

if "tiny" in sys.argv[1:]:
    RATE_HZ = 48e3
    PAIRS = RATIOS = ((1, 1),)
    NOTES = 1
    LOUD = {"as usual, 3.1 kPa": ()}
    THROAT = {"uniform tube, 100 ml": ()}


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    print("| " + " | ".join(head) + " |")
    print("|" + "---|" * len(head))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    print(flush=True)


def tenor() -> Setup:
    horn = presets.load_horn(HORN)
    voice = presets.setup_for(horn, presets.load_singer(SINGER)).voice
    setup = tune(horn, parse_pitch(NOTE)).model_copy(update={"voice": voice})
    return setup.with_value("voice.drive", "folds").with_value("time.rate_hz", RATE_HZ)


def with_settings(setup: Setup, settings: Iterable[Setting]) -> Setup:
    for name, value in settings:
        setup = setup.with_value(name, value)
    return setup


@functools.cache
def rows_of(setup: Setup, ratios: tuple[tuple[int, int], ...]) -> list[SingerRow]:
    off = cells.controls_of([setup])[0].hz
    assert off is not None
    return singer_rows([setup], off, ratios)[0]


def pairs() -> None:
    print("Some pairs fall into place by themselves, the octave and the fifth easily.\n")
    cells_of = [
        [f"{row.ratio[0]}/{row.ratio[1]}", *told(row), ease(row)] for row in rows_of(tenor(), PAIRS)
    ]
    table(["sung", "width [cents]", "pulled in the middle [cents]", "told"], cells_of)


def told(row: SingerRow) -> tuple[str, str]:
    if row.state == RowState.UNSUNG:
        return "unsung", ""
    pulled = row.middle.pulled_cents if row.middle else float("nan")
    return f"{'over ' * row.open_ended}{row.width:.0f}", f"{pulled:+.0f}"


def chance() -> None:
    print("A note at random never falls into place.\n")
    low, high = presets.load_singer(SINGER).midi_range
    dice = np.random.default_rng(SEED)
    aims = np.sort(dice.uniform(low, high, NOTES))
    setup = tenor()
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        found = list(pool.map(lambda midi: became(setup, midi_to_hz(midi)), aims.tolist()))
    sung = [one for one in found if one is not None]
    locked = [one for one in sung if one.state == State.LOCKED]
    rows = [
        [note_name(midi_to_hz(midi)), *seen(one)] for midi, one in zip(aims, found, strict=True)
    ]
    table(["aimed at random", "state", "ratio", "pulled [cents]"], rows)
    print(f"{len(locked)} of {len(sung)} notes that these folds sing fall into step\n")


def became(setup: Setup, hz: float) -> Verdict | None:
    """What becomes of an aim; None if the folds do not sing it."""
    try:
        return judge(render(sung_at(setup, hz), TAKE_S))
    except ModelError:
        return None


def seen(found: Verdict | None) -> tuple[str, str, str]:
    if found is None:
        return "unsung", "", ""
    pulled = "" if found.pulled_cents is None else f"{found.pulled_cents:+.0f}"
    return found.state, "{}/{}".format(*found.ratio) if found.ratio else "", pulled


def widths(kinds: dict[str, tuple[Setting, ...]]) -> None:
    """Show how wide the ranges of aims are under some settings."""
    setup = tenor()
    rows = []
    for name, settings in kinds.items():
        found = rows_of(with_settings(setup, settings), RATIOS)
        rows.append([name, *(told(row)[0] for row in found)])
    table(["", *(f"{p}/{q}" for p, q in RATIOS)], rows)


def loud() -> None:
    print("Loud playing pulls the voice more: widths in cents.\n")
    widths(LOUD)


def throat() -> None:
    print("Closing the throat frees the voice: widths in cents.\n")
    widths(THROAT)


COMMANDS: dict[str, Callable[[], None]] = {
    "pairs": pairs,
    "chance": chance,
    "loud": loud,
    "throat": throat,
}


def main() -> None:
    commands = [word for word in sys.argv[1:] if word != "tiny"] or list(COMMANDS)
    if not set(commands) <= set(COMMANDS):
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    start = time.perf_counter()
    for command in commands:
        COMMANDS[command]()
    print(f"{time.perf_counter() - start:.0f} s, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
