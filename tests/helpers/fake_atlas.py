"""Lock tables that simulate nothing, for the tests of atlases; and a process that can die.

What they say of a ratio depends on the setup alone, as with the real ones, and is quick to have.
"""

import math
import sys
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import fake_cells

from reedbore.errors import ModelError
from reedbore.measures.locking import Edge
from reedbore.model.presets import load_horn, load_singer
from reedbore.model.setup import Setup
from reedbore.verdict import atlas, locks, singer
from reedbore.verdict.locks import Row, Table
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, RowState

MUTE_HZ = 104.0
"""Below this the horn does not sound."""


def untuned(made: atlas.Atlas, midi: int, depth: float) -> Setup:
    """Make the setup of a note as it is before it is tuned, but for the note: in the air's heat."""
    setup = made.request(midi, depth).setup
    return setup.with_value("air.temperature_c", float(midi - 25))


def note_of(setup: Setup) -> float:
    """Read back which note `untuned` was asked for. [Hz]."""
    midi = float(setup.value("air.temperature_c") or 0.0) + 25.0
    return 440.0 * 2.0 ** ((midi - 69.0) / 12.0)


def alone(setup: Setup, executor: Any = None) -> SimpleNamespace:
    """Sound the note by itself, a little flat; the lowest is mute."""
    hz = note_of(setup) * 0.9995
    if hz < MUTE_HZ:
        raise ModelError("the reed does not sound by itself at 1 kPa")
    return SimpleNamespace(hz=hz, period=1)


def lock_table(
    setup: Setup,
    fingered_hz: float,
    *,
    voice_range: tuple[float, float] | None = None,
    progress: Any = None,
    executor: Any = None,
) -> Table:
    """Lock where p is odd, as widely as the depth in percent over q."""
    if progress:
        progress(0.5)
    hz, rows = alone(setup).hz, []
    low, high = voice_range or (0.0, math.inf)
    for p, q in atlas.RATIOS:
        if not low <= hz * p / q <= high:
            continue
        half, just = 10.0 * setup.voice.depth / q, hz * p / q
        free, wide = p % 2 == 0, half > 0.3
        edges = (Edge(-half, -math.inf), Edge(half, half + 0.1)) if not free else (None, None)
        rows.append(
            Row(
                ratio=(p, q),
                sung_hz=just,
                state=RowState.FREE if free else RowState.LOCKED if wide else RowState.NARROW,
                heard=Heard.FINGERED if q == 1 else Heard.YES if p > 2 else Heard.UNCERTAIN,
                resultant_hz=hz / q,
                resultant_level_db=None if q == 1 else -10.0 * q,
                low=edges[0],
                high=edges[1],
                nearest=(-0.1, math.inf) if free else None,
                held=0.5 / q if wide and not free else None,
                lock_s=1.0 if wide and not free else None,
            )
        )
    rows.sort(key=lambda row: row.sung_hz)
    return Table(
        setup=setup, fingered_hz=fingered_hz, voice_off_hz=hz, period=1, rows=tuple(rows)
    )  # fmt: skip


def singer_rows(
    setups: Sequence[Setup],
    voice_off_hz: float,
    ratios: Sequence[tuple[int, int]],
    tell: Any = None,
    executor: Any = None,
) -> list[list[SingerRow]]:
    """Fall into step where p + q is odd, over 200 cents over p q; some notes are not sung."""
    return [[_sung(setup, voice_off_hz, ratio) for ratio in ratios] for setup in setups]


def _sung(setup: Setup, hz: float, ratio: tuple[int, int]) -> SingerRow:
    p, q = ratio
    just, mass = hz * p / q, setup.voice.fold_mass
    if q == 7:
        return SingerRow(ratio, just, RowState.UNSUNG, "the folds do not swing", *[None] * 4)
    aim = Aim(just * 1.01, hz * 1.001, mass, 3600.1)
    if (p + q) % 2 == 0:
        return SingerRow(ratio, just, RowState.FREE, None, None, None, None, aim)
    half = 100.0 / (p * q)
    edges = Edge(-half, -half - 2.0), Edge(half, half + 2.0)
    heard = "same as fingered" if q == 1 else "yes"
    return SingerRow(ratio, just, RowState.LOCKED, None, *edges, 0.9, aim, heard, 0.08)


def example(**changed: Any) -> atlas.Atlas:
    """Make an atlas of three notes, the lowest mute, at two depths, for two singers."""
    known: dict[str, Any] = {
        "horn": load_horn("tenor-saxophone"),
        "singer": load_singer("low-male"),
        "notes": (44, 46, 50),
        "depths": (0.1, 0.2),
        "voices": ("firm", "light"),
    }
    return atlas.Atlas(**(known | changed))


def patch(set_to: Any) -> None:
    """Put these in place of the simulation; `set_to` is as `monkeypatch.setattr`."""
    set_to(atlas.Atlas, "setup", untuned)
    set_to(locks, "lock_table", lock_table)
    set_to(locks, "alone", alone)
    set_to(singer, "singer_rows", singer_rows)


def main(path: str, part: str, dies_at: str = "0") -> None:
    """Make the example, as a process of its own."""
    fake_cells.die_at(path, int(dies_at))
    patch(setattr)
    number, parts = map(int, part.split("/"))
    atlas.run(example(), Path(path), part=(number, parts))


if __name__ == "__main__":
    main(*sys.argv[1:])
