"""Where the tone holes of a horn have to be: solved once by whoever makes a preset, then stored.

In: a horn with tone holes at rough positions. Out: the same horn, its holes where every plain
fingering of the low register plays its tempered note. The lowest note, which opens no hole, needs
the right length of bore beforehand. To place the holes of a preset anew, run ::

    python -m reedbore.simulate.hole_placement presets/horns/clarinet-b-flat.toml

and copy the positions that it prints into the file; the pitch that is left over stands beside them.
"""

import math
import sys

from reedbore.errors import ModelError, ReedboreError
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Horn
from reedbore.notes import cents, midi_name, midi_to_hz
from reedbore.simulate.tuning import low_register, sounding, tune

ROUNDS = 3
"""A hole that is placed changes the notes below it, whose holes are then placed again."""

GRAIN_MM = 0.1
"""Positions are multiples of this."""

TRIALS = 8
"""Trials for one hole, at most."""


def place_holes(horn: Horn, rounds: int = ROUNDS) -> Horn:
    """Move the tone holes so that the low register is in tune.

    Parameters
    ----------
    horn : Horn
        With tone holes in the right order, roughly in place, and with fingerings each of which
        opens one hole more than that of the note below. Reed and breath are its own.
    rounds : int
        How often all holes are placed, from the lowest note up.

    Returns
    -------
    Horn
        The copy. Holes that no plain fingering of the low register needs stay where they are.

    Raises
    ------
    ModelError
        If a note does not speak, a fingering opens no hole of its own, or holes would have to
        pass each other.
    """
    if not horn.bore.holes:
        raise ModelError(f"{horn.name} has no tone holes to place")
    fingered = _hole_of_each_note(horn)
    for _ in range(rounds):
        for midi, number in fingered:
            horn = _placed(horn, midi, number)
    return horn


def off_pitch(horn: Horn, midi: int) -> float:
    """Measure how far from its tempered note a plain fingering plays.

    Parameters
    ----------
    horn : Horn
        With its own reed and breath.
    midi : int
        The note, sounding.

    Returns
    -------
    float
        Positive if too high. [cents]

    Raises
    ------
    ModelError
        If there is no such fingering or it does not speak in its register.
    """
    hz = midi_to_hz(midi)
    return cents(sounding(tune(horn, hz), hz, horn), hz)


def _hole_of_each_note(horn: Horn) -> list[tuple[int, int]]:
    """List each note but the lowest with the hole that it opens and the note below does not."""
    found = []
    before = set(horn.fingering(low_register(horn)[0]) or ())
    for midi in low_register(horn)[1:]:
        opened = set(horn.fingering(midi) or ())
        if len(opened - before) != 1:
            raise ModelError(f"fingerings.{midi_name(midi)} must open one hole more than the last")
        found.append((midi, (opened - before).pop()))
        before = opened
    return found


def _placed(horn: Horn, midi: int, number: int) -> Horn:
    """Move one hole until its note is in tune, to the grain; by secants."""
    before: tuple[float, float] | None = None
    place = 1e3 * horn.bore.holes[number - 1].position
    for _ in range(TRIALS):
        horn = _with_hole_at(horn, number, place)
        off = off_pitch(horn, midi)
        slope = -1200.0 / math.log(2.0) / place
        if before and abs(before[0] - place) < 0.05 * place:
            slope = min((off - before[1]) / (place - before[0]), 0.3 * slope)
        before = place, off
        place = GRAIN_MM * round((place - off / slope) / GRAIN_MM)
        if abs(place - before[0]) < 0.5 * GRAIN_MM:
            return horn
    return horn


def _with_hole_at(horn: Horn, number: int, place_mm: float) -> Horn:
    moved = setup_for(horn).with_value(f"bore.holes.{number}.position_mm", place_mm)
    return horn.model_copy(update={"bore": moved.bore})


def main(path: str) -> None:
    """Print where the holes of a preset have to be, and how far off its notes then are."""
    horn = place_holes(load_horn(path))
    for number, hole in enumerate(horn.bore.holes, 1):
        sys.stdout.write(f"hole {number:2d}  position_mm = {1e3 * hole.position:.1f}\n")
    for midi in low_register(horn):
        sys.stdout.write(f"{midi_name(midi):4s} {off_pitch(horn, midi):+.1f} cents\n")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("which horn? write python -m reedbore.simulate.hole_placement FILE")
    try:
        main(sys.argv[1])
    except ReedboreError as error:
        sys.exit(str(error))
