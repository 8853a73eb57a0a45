"""How near the colour of each horn lies to that of recorded horns: one table a horn, six notes.

Run `python tests/benchmarks/timbre.py [NAME ...] [tiny]`, with `tiny` for one note of one horn.
Each number stands beside the range of real notes, widened by 15 % or 3 dB; what lies outside is
starred. The ranges were measured on recorded notes of freely available sampled instruments, before
their loops, and are no more than that: a few players, rooms and microphones. For the alto none were
measured; those of the tenor stand in. Movement and noise are those that takes have by default.
"""

import math
import sys
from typing import NamedTuple

import numpy as np

from reedbore.measures import pitch, timbre
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz, parse_note
from reedbore.simulate.dynamics import lip_follows, with_dynamic
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.player import alive
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

NOTES = {
    "tenor-saxophone": "Ab2 Bb2 D3 F3 A3 B3",
    "alto-saxophone": "Db3 F3 A3 C4 D4 E4",
    "clarinet-b-flat": "D3 F3 A3 D4 F4 Ab4",
}
SECONDS, HELD_S = 3.0, 2.0
HIGH_HZ = 4000.0
PARTS_DB, PARTS = 3.0, 1.15
"""By how much a range is widened: dB, and as a factor."""

TINY = "tiny" in sys.argv[1:]
if TINY:
    NOTES = {"clarinet-b-flat": "D4"}
    SECONDS, HELD_S = 0.8, 0.4

KEPT = round(HELD_S * SOUND_RATE)


class Row(NamedTuple):
    """One measure, and where it lies on recorded notes."""

    title: str
    saxophone: tuple[float, float]
    clarinet: tuple[float, float]
    unit: str

    def holds(self, name: str, value: float) -> bool:
        low, high = self.of(name)
        if self.unit == "dB":
            return low - PARTS_DB <= value <= high + PARTS_DB
        return low / PARTS <= value <= high * PARTS

    def of(self, name: str) -> tuple[float, float]:
        return self.clarinet if name.startswith("clarinet") else self.saxophone


ROWS = (
    Row("centroid", (1160.0, 1970.0), (1370.0, 1520.0), "Hz"),
    Row("partials 9-16 under the strongest", (-31.0, -2.0), (-31.0, -10.0), "dB"),
    Row("odd over even, partials 1-8", (-14.0, 0.0), (17.0, 25.0), "dB"),
    Row("above 4 kHz, of the whole", (-33.0, -20.0), (-24.0, -24.0), "dB"),
    Row("partials move", (0.7, 2.1), (0.8, 1.5), "dB moved"),
    Row("pitch moves", (0.8, 3.2), (0.6, 0.6), "cents"),
    Row("harmonics to noise", (28.0, 34.0), (33.0, 34.0), "dB"),
    Row("p to ff, common practice", (10.0, 40.0), (10.0, 40.0), "dB"),
)


def measured(setup: Setup, hz: float) -> list[float]:
    """Measure a note at the breath of its preset, and how much louder ff is than p."""
    still, moving = (render(one, SECONDS).sound[-KEPT:] for one in (setup, alive(setup)))
    played = pitch.refine(still, SOUND_RATE, hz)
    amplitude = timbre.partials(still, SOUND_RATE, played)
    moves = timbre.movement(moving, SOUND_RATE, played)
    return [
        timbre.centroid(amplitude, played),
        timbre.share_db(np.median(amplitude[8:16], keepdims=True), amplitude.max(keepdims=True)),
        timbre.share_db(amplitude[0:8:2], amplitude[1:8:2]),
        timbre.share_db(amplitude[round(HIGH_HZ / played) :], amplitude),
        moves.level_db,
        moves.pitch_cents,
        timbre.harmonics_to_noise(moving, SOUND_RATE, played),
        level(setup, hz, "ff") - level(setup, hz, "p"),
    ]


def level(setup: Setup, hz: float, dynamic: str) -> float:
    """Return the level of a note at a dynamic, the lip following. [dB]"""
    blown = lip_follows(with_dynamic(setup, dynamic), hz)
    sound = render(blown, SECONDS).sound[-KEPT:]
    return 20.0 * math.log10(max(float(np.std(sound)), 1e-12) / 2e-5)


def horn_table(name: str) -> None:
    horn, notes = load_horn(name), NOTES[name].split()
    hertz = [midi_to_hz(parse_note(note)) for note in notes]
    columns = [measured(tune(horn, hz), hz) for hz in hertz]
    print(f"{name}\n{'':35}{''.join(f'{note:>10}' for note in notes)}   recorded notes")
    for number, row in enumerate(ROWS):
        values = [column[number] for column in columns]
        cells = "".join(f"{value:9.4g}{' ' if row.holds(name, value) else '*'}" for value in values)
        inside = sum(row.holds(name, value) for value in values)
        low, high = row.of(name)
        print(
            f"  {row.title:33}{cells}   {low:g} to {high:g} {row.unit}; {inside} of {len(values)}"
        )


def main() -> None:
    for name in [word for word in sys.argv[1:] if word != "tiny"] or NOTES:
        horn_table(name)


if __name__ == "__main__":
    main()
