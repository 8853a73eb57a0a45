"""What the model says of two recorded notes: how strongly was sung, and what becomes of the pair.

In: what was played and sung, and a horn. Out: a depth, a `Verdict`. The voice in the model is one
like a clock, so that what it says holds for these two notes and no others.
"""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.measures import two_notes
from reedbore.model.setup import Horn, Setup
from reedbore.simulate.take import render
from reedbore.simulate.tuning import heard_pitch, tune
from reedbore.verdict import synthesis
from reedbore.verdict.recording.found import Found, Samples
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

USUAL_DEPTH = 0.1
"""Taken where it is not known."""

TRIED = 0.02, 0.06, 0.2
"""Depths that are rendered and compared: what the reed adds grows in proportion, nearly."""

TOLD = 0.005, 1.0
"""A depth beyond these is not told: it lies too far from those tried, or is none."""

GROWS_DB = 5.0
"""Lines that grow less over tenfold the depth do not tell it; in proportion it would be 20. [dB]"""

SECONDS = 4.0
"""Length of the take that is judged. [s]"""


class Depth(NamedTuple):
    """How strongly was sung, and the range in which that lies two times out of three."""

    value: float
    low: float
    high: float


def pair(setup: Setup, played: float, sung: float, depth: float = USUAL_DEPTH) -> Verdict | None:
    """Ask the model what becomes of a pair.

    Parameters
    ----------
    setup : Setup
        The horn, tuned to what is played.
    played, sung : float
        As recorded. [Hz]
    depth : float
        How strongly is sung.

    Returns
    -------
    Verdict or None
        Of the same two notes as far apart, though the horn plays a little higher or lower; None if
        it does not play the note.
    """
    own = heard_pitch(setup, played)
    if own is None:
        return None
    stopping.check()
    return judge(render(_sung(setup, sung * own / played, depth), SECONDS))


def pairs(rows: Sequence[Found], horn: Horn, tell: Callable[[float], None]) -> dict[int, Verdict]:
    """Ask the model of each pair of a recording; of those that are alike once.

    Parameters
    ----------
    rows : sequence of Found
        What was found.
    horn : Horn
        Who plays.
    tell : callable
        Told the share done so far, from 0 to 1.

    Returns
    -------
    dict
        By the number of the row; without those whose sung note is not known, and those that the
        horn does not have or play.
    """
    asked: dict[tuple[int, int], Verdict | None] = {}
    found = {}
    for place, row in enumerate(rows):
        tell(place / len(rows))
        if row.sung_hz is None:
            continue
        # As one reads them: to the cent.
        alike = round(1200.0 * math.log2(row.played_hz)), round(1200.0 * math.log2(row.sung_hz))
        if alike not in asked:
            try:
                asked[alike] = pair(tune(horn, row.played_hz), row.played_hz, row.sung_hz)
            except ModelError:
                asked[alike] = None
        verdict = asked[alike]
        if verdict is not None:
            found[row.number] = verdict
    return found


def _sung(setup: Setup, hz: float, depth: float) -> Setup:
    setup = setup.with_value("voice.source", "pulse").with_value("voice.depth", depth)
    return setup.with_value("voice.frequency_hz", hz)


def depth_of(setup: Setup, horn: Samples, rate: float, notes: tuple[float, float]) -> Depth | None:
    """Find how strongly was sung, by how strong the lines are that the reed adds.

    Parameters
    ----------
    setup : Setup
        The horn, tuned to what is played.
    horn : ndarray, shape (n,)
        The note before the horn, thinned. [any]
    rate : float
        Samples per second. [Hz]
    notes : (f1, f2)
        What is played and sung. [Hz]

    Returns
    -------
    Depth or None
        None where too few such lines stand above the floor, as where one note is a partial of the
        other, or where the horn does not play on; and as of `by_lines`.
    """
    played, sung = notes
    seen = two_notes.look(horn, rate, played)
    places = synthesis.places_of(seen, played, sung)
    if places is None:
        return None
    apart = []
    for depth in TRIED:
        made = synthesis.rendered(setup, played, sung, depth)
        if made is None:
            return None
        apart.append(synthesis.lines_apart(seen, places, made, played))
    return by_lines(np.array(apart))


def by_lines(apart: Samples) -> Depth | None:
    """Find at which depth recorded lines would be as strong as rendered ones.

    Parameters
    ----------
    apart : ndarray, shape (len(TRIED), n)
        How far n recorded lines stand over those rendered at each depth. [dB]

    Returns
    -------
    Depth or None
        None where the lines hardly grow with the depth, or it lies outside `TOLD`.

    Notes
    -----
    The median over the lines is compared, for a line or two may drown in a room. If lines are off
    by chance, evenly about it and each by itself, its standard deviation is √(π/2) times that of
    their mean (any handbook of statistics); how far they are off is told by the depth tried that
    lies nearest.
    """
    tried = np.log10(TRIED)
    # Deeper singing leaves recorded lines less far over rendered ones.
    slope, at_one = np.polyfit(tried, np.median(apart, axis=1), 1)
    if slope > -GROWS_DB:
        return None
    value = -at_one / slope
    if not TOLD[0] <= 10.0**value <= TOLD[1]:
        return None
    lines = apart[np.argmin(np.abs(tried - value))]
    wide = np.sqrt(0.5 * np.pi / lines.size) * np.std(lines, ddof=1) / -slope
    low, high = np.clip(10.0 ** np.array([value - wide, value + wide]), *TOLD).tolist()
    return Depth(float(10.0**value), low, high)
