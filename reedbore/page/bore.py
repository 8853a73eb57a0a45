"""The moving bore as numbers: pressure along it frame by frame, and all that goes with a frame.

In: a take. Out: rows of pressure and headers, over whole common periods where there are any, so
that the page can show them round and round.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.page.answers import shown
from reedbore.page.signals import Pitches
from reedbore.report import captions
from reedbore.simulate import bore_pressure, pushes
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.pulse import end_correction
from reedbore.simulate.take import Take

LEAST_PERIODS, PERIODS_ALONE = 3, 6  # of the played note
LAST_S = 0.15  # this much of the take is left after the stretch
MOST_S = 0.5
FRAMES, POINTS = (24, 600), (20, 400)

Samples = NDArray[np.float64]


def counted(value: object, name: str, bounds: tuple[int, int], usual: int) -> int:
    """Read how many of something the page wants.

    Parameters
    ----------
    value : object
        What was sent, None for nothing.
    name : str
        Of it, for the error.
    bounds : (int, int)
        Allowed, both included.
    usual : int
        If nothing was sent.

    Returns
    -------
    int

    Raises
    ------
    ReedboreError
        If it is no whole number in range.
    """
    count = usual if value is None else value
    if isinstance(count, bool) or not isinstance(count, int):
        raise ReedboreError(f"{name} is {shown(value)}; it must be a whole number")
    if not bounds[0] <= count <= bounds[1]:
        raise ReedboreError(f"{name} is {shown(count)}; allowed {bounds[0]} to {bounds[1]}")
    return count


def moving(take: Take, found: Pitches, frames: int, points: int) -> tuple[Samples, dict[str, Any]]:
    """Redraw the air in the bore over some periods late in a take.

    Parameters
    ----------
    take : Take
        What was rendered.
    found : Pitches
        Of `signals.pitches_of`.
    frames, points : int
        How finely.

    Returns
    -------
    rows : ndarray, shape (2 · frames, points)
        Pressure along the bore, then the wave in it that runs towards the open end; a steady
        stream is no wave, so that each of the two waves has half of the mean pressure. [Pa]
    headers : dict
        Positions [m], times [s], signals, captions, outline and ratio.
    """
    begin, seconds = _stretch(take, found)
    drawn = bore_pressure.pressures(take, begin, seconds, frames, points)
    shape = bore_pressure.outline(take.setup)
    whole = shape.reach >= shape.profile[-1][0]  # no hole is open before the end
    headers = {
        "x-positions": _short(drawn.positions, 6),
        "x-times": _short(drawn.times, 7),
        "x-signals": _signals(take, found, drawn),
        "x-captions": [
            [caption.first_frame, caption.text, caption.kind]
            for caption in captions.captions(take, drawn)
        ],
        "x-outline": {
            "outline": [list(point) for point in shape.profile],
            "holes": [[hole.position, hole.radius, hole.open] for hole in shape.holes],
            "end": shape.end,
            "reach": shape.reach,
            "round_trip": shape.round_trip,
        },
        "x-extra": end_correction(take.setup.bore, gas_of(take.setup)) if whole else 0.0,
        "x-ratio": "" if found.ratio is None else f"{found.ratio[0]}/{found.ratio[1]}",
    }
    swing = drawn.forward - drawn.forward.mean(axis=0) + 0.5 * drawn.pressure.mean(axis=0)
    return np.concatenate((drawn.pressure, swing)), headers


def _stretch(take: Take, found: Pitches) -> tuple[float, float]:
    """Choose where to look: whole common periods, from where a sung peak meets the open reed."""
    slowest = found.played or found.sung or 100.0
    span = PERIODS_ALONE / slowest
    if found.resultant and 1.0 / found.resultant <= MOST_S:
        period = 1.0 / found.resultant
        span = period * np.ceil(LEAST_PERIODS / (slowest * period) - 1e-9)
    begin = take.seconds - LAST_S - 2.0 * span
    marks = pushes.meetings(take, begin, span)
    starts = marks.meets if found.ratio and marks.meets.size else marks.openings
    return (float(starts[0]) if starts.size else begin), float(span)


def _signals(take: Take, found: Pitches, drawn: bore_pressure.BorePressure) -> dict[str, Any]:
    """Gather what else happens at each frame."""
    steps, times = drawn.steps, drawn.times
    first, span = float(times[0]), float(times[-1] - times[0])
    marks = pushes.meetings(take, first - 0.5 * span, 2.0 * span)
    phases = {
        "sung_phase": _phase(times, marks.sung, found.sung),
        "played_phase": _phase(times, marks.openings, found.played),
        "resultant_phase": _phase(times, marks.meets, found.resultant),
    }
    apart = 2e3 * np.maximum(take.traces.half_gap, 0.0)
    folds = {"gap_mm": _short(apart[steps], 4)} if take.setup.voice.folded else {}
    return {
        **folds,
        "mouth": _short(take.mouth[steps], 1),
        "mouthpiece": _short(take.traces.pressure[steps], 1),
        "opening_mm": _short(1e3 * np.maximum(take.traces.opening[steps], 0.0), 4),
        "outflow": [float(f"{value:.4g}") for value in drawn.outflow],
        "sung": _short(take.sung[steps], 4),
        **{name: None if phase is None else _short(phase, 4) for name, phase in phases.items()},
    }


def _phase(times: Samples, marks: Samples, hz: float | None) -> Samples | None:
    """Return cycles at each time, whole ones at the marks; None if there is no pitch."""
    if hz is None or not marks.size:
        return None
    inner = np.interp(times, marks, np.arange(marks.size, dtype=np.float64))
    before, after = np.minimum(times - marks[0], 0.0), np.maximum(times - marks[-1], 0.0)
    return inner + (before + after) * hz


def _short(values: Samples, digits: int) -> list[float]:
    return [round(float(value), digits) for value in values]
