"""Where an axis is labelled: notes by name, settings at round numbers."""

import math

import numpy as np
from numpy.typing import NDArray

from reedbore.notes import hz_to_midi, midi_name
from reedbore.report.maps_data import along, is_logarithmic
from reedbore.verdict.sweep.plan import Axis, Sweep

NOTE_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 300, 400, 600, 1200)
"""Cents between labelled notes, finest first."""

ROUND = (1.0, 2.0, 5.0, 10.0)

Ticks = list[tuple[float, str]]


def axis_ticks(sweep: Sweep, axis: Axis, most: int = 12) -> Ticks:
    """Label an axis.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    axis : Axis
        One of its axes.
    most : int
        How many labels there is room for.

    Returns
    -------
    list of (float, str)
        Place, as `maps_data.along` counts, and what is written there.
    """
    places = along(sweep, axis)
    low, high = float(places[0]), float(places[-1])
    if axis is sweep.sung_axis:
        return note_ticks(low, high, hz_to_midi(sweep.fingered.hz, sweep.fingered.a4), most)
    if not is_logarithmic(axis):
        return [(value, f"{value:.10g}") for value in round_numbers(low, high, most)]
    tens = range(math.floor(low), math.ceil(high) + 1)
    steps = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0) if high - low < 1.2 else (1.0, 2.0, 5.0)
    marks = [step * 10.0**ten for ten in tens for step in steps]
    shown = [value for value in marks if low - 1e-9 <= math.log10(value) <= high + 1e-9]
    if len(shown) < 3:
        shown = [value for value in round_numbers(10.0**low, 10.0**high, most) if value > 0.0]
    return [(math.log10(value), f"{value:.10g}") for value in shown]


def note_ticks(low: float, high: float, fingered_midi: float, most: int = 12) -> Ticks:
    """Label notes by name, between tempered ones with their cents.

    Parameters
    ----------
    low, high : float
        Ends of the axis, from the fingered note. [cents]
    fingered_midi : float
        The fingered note.
    most : int
        How many labels there is room for.

    Returns
    -------
    list of (float, str)
        Cents from the fingered note, and for example ``D4`` or ``D4+20c``.
    """
    step = next((s for s in NOTE_STEPS if (high - low) / s <= most), NOTE_STEPS[-1])
    zero = 100.0 * fingered_midi
    first = math.ceil((zero + low - 1e-6) / step)
    last = math.floor((zero + high + 1e-6) / step)
    return [(number * step - zero, _note(number * step)) for number in range(first, last + 1)]


def _note(midi_cents: int) -> str:
    off = (midi_cents + 50) % 100 - 50
    name = midi_name((midi_cents - off) / 100)
    return f"{name}{off:+d}c" if off else name


def round_numbers(low: float, high: float, most: int = 8) -> NDArray[np.float64]:
    """List round numbers from low to high, at most so many."""
    rough = max(high - low, 1e-12) / max(most, 1)
    ten = 10.0 ** math.floor(math.log10(rough))
    step = next(ten * value for value in ROUND if ten * value >= rough * (1.0 - 1e-9))
    numbers = np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    return np.asarray(numbers * step, np.float64)
