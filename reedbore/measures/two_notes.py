"""What a recording of a horn that is sung into holds: two notes, and whether they know each other.

A reed that is driven at a second frequency mixes: beside the partials n·f1 of what is played there
stand lines at n·f1 + m·f2. In: a note, thinned to about 12 kHz. Out: what is played, the class of
what may be sung, how far the lines of the mixture stand above the floor, and phases.

From the horn alone only the *class* of the sung note can be told, all k·f1 ± f2: their lines with
m = ±1 lie at the same places. It is given as the one member from 0 to f1/2.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import bleed, pitch, spectrum
from reedbore.measures.pitch import Pitch

LOWEST, HIGHEST = 30.0, 1500.0
"""Bounds of what is played. [Hz]"""

TOP_HZ = 4000.0
"""Lines above are not looked at: they are weak, and move most. [Hz]"""

SWAY = 0.006
"""A partial is found within such a share of its frequency."""

LINES_DB, STRONGEST = -45.0, 12
"""Lines that count for what is played, and how many of them may be partials that prove it."""

EMPHASIS, ALMOST = 1.5, 0.7
"""Of several notes whose partials hold `ALMOST` as much as those of the best (amplitudes to this
power summed) the highest is played: half of it holds as much, twice of it half."""

DEEPER, MOST_MISSED, CLEAN = 0.1, 0.9, 0.9
"""Low partials between others that are this strong make the note that has all of them, if without
it more than a tenth is missed and noise is no part of it."""

ORDERS = 12
"""Lines n·f1 ± f2 are looked for up to this n."""

CLEAR_BINS = 4.5
"""Lines nearer than this to another line are hidden by it. [1/length]"""

FEWEST_LINES = 4
"""With fewer lines of the mixture in the open nothing is said of it."""

STRONG_LINES = 6
"""So many of a class tell how strong it is."""

MOST_DB = 30.0
"""A line stands no more than this above the floor when a class is looked for."""

LEAST_CLARITY = 0.3
"""A voice repeats more clearly than this."""

LEFT_OVER = 0.3
"""With less than this share of the throat's power left, the horn's partials are most of it."""

RAISED_DB, MOST_RAISED = 12.0, 5
"""By so much a voice on a partial of the horn, up to this one, stands over what is beside it."""

NEAR_PARTIAL = 0.012
"""So near a partial, as a share of it, a voice is taken away with the horn."""

SAME = 0.03
"""A pitch made exact moves by no more than this share: half a semitone."""

SHOWN = 0.25
"""A phase that moves less than this from end to end shows no drift. [cycles]"""

Samples = NDArray[np.float64]


class Look(NamedTuple):
    """A note's spectrum: `hz`, `level_db` and `over_db` its floor, shape (n,) [dB]; `bin` [Hz]."""

    hz: Samples
    level_db: Samples
    over_db: Samples
    bin: float


class Residue(NamedTuple):
    """A class of sung notes: its member from 0 to half the played note, and its strength."""

    hz: float
    """[Hz]"""
    over_db: float
    """By how much its lines rise over what lies between them, on an average. [dB]"""
    level_db: float
    """Of its strongest lines against the strongest of all. [dB]"""


class Voice(NamedTuple):
    """What a microphone on the throat holds: the note, how clear, and the sound less the horn.

    `hz` is None where only the horn is heard on the throat, or nothing. [Hz]
    """

    hz: float | None
    clarity: float
    samples: Samples


def least_drift(seconds: float) -> float:
    """Return the smallest drift p·f1 - q·f2 that a note of such a length can show. [Hz].

    Parameters
    ----------
    seconds : float
        Length of the note. [s]

    Returns
    -------
    float
        A quarter of a cycle over the note. [Hz]
    """
    return SHOWN / seconds


# --- what is played ------------------------------------------------------------------------------


def played(
    samples: Samples, rate: float, low: float = LOWEST, high: float = HIGHEST
) -> Pitch | None:
    """Find the note that a horn plays, whatever is sung into it.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A note. [any]
    rate : float
        Samples per second. [Hz]
    low, high : float
        Bounds of the search. [Hz]

    Returns
    -------
    Pitch or None
        Its clarity is the share of all lines that are its partials; None for silence.

    Notes
    -----
    The lines of a mixture are far weaker than the partials of the note itself, but all of them
    together make the common note the one with most partials; so the highest note that explains
    nearly as much is taken.
    """
    found = spectrum.lines(samples, rate, LINES_DB)
    kept = (found.hz > 0.8 * low) & (found.hz < TOP_HZ)
    hz, amplitude = found.hz[kept], found.amplitude[kept]
    if not hz.size:
        return None
    strong = hz[np.argsort(amplitude)[-STRONGEST:]]
    tried = (strong[:, np.newaxis] / np.arange(1, STRONGEST + 1)).ravel()
    tried = tried[(tried >= low) & (tried <= high)]
    if not tried.size:
        return None
    weight = amplitude**EMPHASIS
    bin_hz = rate / samples.size
    shares = np.array([float(weight[_partials(hz, one, bin_hz)].sum()) for one in tried])
    good = shares >= ALMOST * shares.max()
    highest = tried[good].max()
    near = good & (np.abs(tried / highest - 1.0) < 0.01)
    best = float(tried[near][np.argmax(shares[near])])
    best /= _deeper(hz, amplitude, best, bin_hz, low)
    for _ in range(3):
        on = _partials(hz, best, bin_hz)
        order = np.rint(hz[on] / best)
        power = amplitude[on] ** 2 * order
        best = float(np.sum(power * hz[on]) / np.sum(power * order))
    share = float(weight[_partials(hz, best, bin_hz)].sum() / weight.sum())
    return Pitch(best, share)


def _deeper(hz: Samples, amplitude: Samples, note: float, bin_hz: float, low: float) -> int:
    """Tell by how much the note lies lower, as its own low partials show; 1 if they do not.

    A horn may hold most of its power in every other partial; but then the low ones between are
    strong, and those of a mixture are not.
    """
    for times in (2, 3):
        lower = note / times
        if lower < low:
            break
        order, weight = np.rint(hz / lower), amplitude**EMPHASIS
        on = _partials(hz, lower, bin_hz)
        own, deep = on & (order % times == 0), on & (order <= 3 * times)
        between = amplitude[deep & ~own]
        clean = weight[on].sum() > CLEAN * weight.sum()
        missed = weight[own].sum() < MOST_MISSED * weight[on].sum()
        strong = np.sum(between > DEEPER * amplitude[own].max(initial=0.0)) >= times
        if clean and missed and strong:
            return times
    return 1


def _partials(hz: Samples, note: float, bin_hz: float) -> NDArray[np.bool_]:
    """Tell which lines are partials of a note: as near as its sway and the length allow."""
    order = np.maximum(np.rint(hz / note), 1.0)
    near = np.minimum(np.maximum(bin_hz, SWAY * order * note), 0.08 * note)
    return np.asarray(np.abs(hz - order * note) < near)


# --- lines of the mixture ------------------------------------------------------------------------


def look(samples: Samples, rate: float, note: float) -> Look:
    """Take the spectrum of a note over its floor.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A note. [any]
    rate : float
        Samples per second. [Hz]
    note : float
        What is played. [Hz]

    Returns
    -------
    Look
        The floor is the median over the width of the played note: lines fill less than half of it
        if there are `40/note` seconds or more.
    """
    grid = spectrum.spectrum(samples - samples.mean(), rate, 2)
    level = spectrum.decibel(grid.amplitude)
    over = level - _floor(level, int(note / grid.hz[1]))
    return Look(grid.hz, level, over, rate / samples.size)


def _floor(level: Samples, width: int) -> Samples:
    """Median over a width [samples], taken every eighth of it."""
    width = min(max(9, width | 1), level.size)
    padded = np.pad(level, width // 2, mode="reflect")
    step = max(1, width // 8)
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)[::step]
    return np.interp(np.arange(level.size), np.arange(len(windows)) * step, np.median(windows, 1))


def interaction(seen: Look, note: float, sung: float) -> float | None:
    """Tell how far the lines n·f1 ± f2 stand above the floor.

    Parameters
    ----------
    seen : Look
        The note.
    note, sung : float
        f1 and f2. [Hz]

    Returns
    -------
    float or None
        Their median. None where too few of them lie apart from the partials of either note, as for
        p or q of 1 and for short notes: then they cannot tell a horn that is sung into from a horn
        and a voice. [dB]
    """
    order = np.arange(1, ORDERS + 1)
    hz = np.concatenate((order * note + sung, np.abs(order * note - sung)))
    apart = np.minimum(_from_partials(hz, note), _from_partials(hz, sung))
    hz = hz[(apart > CLEAR_BINS * seen.bin) & (hz > LOWEST) & (hz < TOP_HZ)]
    at = np.rint(hz / seen.hz[1]).astype(np.int64)
    at = at[(at > 0) & (at < seen.hz.size - 1)]
    if at.size < FEWEST_LINES:
        return None
    return float(np.median(np.max([seen.over_db[at + step] for step in (-1, 0, 1)], axis=0)))


def _from_partials(hz: Samples, note: float) -> Samples:
    """How far lines lie from the nearest partial of a note, its zeroth included. [Hz]."""
    return np.abs(hz - np.rint(hz / note) * note)


def residue(seen: Look, note: float) -> Residue | None:
    """Find the class of what is sung, from the horn alone.

    Parameters
    ----------
    seen : Look
        The note.
    note : float
        What is played. [Hz]

    Returns
    -------
    Residue or None
        The class whose lines stand highest; its strength tells whether there is any. None where
        the note is so short that lines hide each other.

    Notes
    -----
    Classes 2·f2, 3·f2 have lines too, with m = ±2, ±3; so a class counts with half of what its
    double has.
    """
    share = np.arange(
        CLEAR_BINS * seen.bin / note, 0.5 + 0.25 * seen.hz[1] / note, 0.5 * seen.hz[1] / note
    )
    if share.size < 9:
        return None
    strength = _strength(seen, note, share)
    stands = _stands_out(strength)
    double = np.abs(2.0 * share - np.rint(2.0 * share))
    best = int(np.argmax(stands + 0.5 * np.interp(double, share, stands, left=0.0)))
    hz = float(share[best] * note)
    return Residue(hz, float(stands[best]), _level(seen, note, hz))


def _level(seen: Look, note: float, hz: float) -> float:
    """Level of the strongest lines of a class against the strongest of all. [dB]."""
    order = np.arange(ORDERS)
    places = np.concatenate((order * note + hz, order[1:] * note - hz))
    at = np.rint(places[places < TOP_HZ] / seen.hz[1]).astype(np.int64)
    at = at[at < seen.hz.size - 1]
    level = np.sort(np.max([seen.level_db[at + step] for step in (-1, 0, 1)], axis=0))
    return float(np.mean(level[-STRONG_LINES:]) - seen.level_db.max())


def _stands_out(strength: Samples) -> Samples:
    """How far each peak rises over the lowest before it; 0 where there is none.

    What falls away from a partial that moves is no peak. At its end, half the note, the strength
    goes on as in a mirror, where no low is lower.
    """
    rises = strength - np.minimum.accumulate(strength)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(strength, (0, 2), mode="reflect"), 5)
    peak = strength[2:] >= around.max(axis=1)
    return np.concatenate((np.zeros(2), np.where(peak, rises[2:], 0.0)))


def _strength(seen: Look, note: float, share: Samples) -> Samples:
    """Mean level over the floor of the lines (n ± share)·note. [dB]."""
    order = np.arange(ORDERS - 1)[:, np.newaxis]
    hz = np.concatenate(((order + share) * note, (order[1:] - share) * note))
    at = np.rint(hz / seen.hz[1]).astype(np.int64)
    counted = (hz > LOWEST) & (hz < TOP_HZ) & (at < seen.hz.size)
    over = np.clip(seen.over_db[np.minimum(at, seen.hz.size - 1)], 0.0, MOST_DB)
    return np.sum(over * counted, axis=0) / np.maximum(counted.sum(axis=0), 1)


# --- what is sung --------------------------------------------------------------------------------


def voice_on_throat(
    throat: Samples, horn: Samples, rate: float, note: float, low: float, high: float
) -> Voice:
    """Find what is sung in the sound of a microphone on the throat.

    Parameters
    ----------
    throat, horn : ndarray, shape (n,)
        On the throat and before the horn, from the same moment on. [any]
    rate : float
        Samples per second. [Hz]
    note : float
        What is played. [Hz]
    low, high : float
        Bounds of the voice. [Hz]

    Returns
    -------
    Voice
        Found in what is left when the horn is taken away. Where nearly nothing is left, the voice
        may be a partial of the note, from the second up: then it is found in the sound as it came.
    """
    left = bleed.without(throat, bleed.partials_alone(horn, rate, note), rate)
    share = float(np.var(left)) / max(float(np.var(throat)), 1e-30)
    found = pitch.fundamental(left, rate, low, high, LEAST_CLARITY)
    whole = pitch.fundamental(throat - throat.mean(), rate, low, high, LEAST_CLARITY)
    if whole is not None:
        order = round(whole.hz / note)
        near = abs(whole.hz / max(order, 1) / note - 1.0) < NEAR_PARTIAL
        same = found is not None and order >= 2 and abs(found.hz / whole.hz - 1.0) < SAME
        if near and (same or found is None or share < LEFT_OVER):
            order = order if order >= 2 else _raised(throat, horn, rate, note)
            hz = _exact(throat, rate, order * note) if order else None
            return Voice(hz, whole.clarity, throat - throat.mean())
    if found is None:
        return Voice(None, 0.0, left)
    return Voice(_exact(left, rate, found.hz), found.clarity, left)


def _raised(throat: Samples, horn: Samples, rate: float, note: float) -> int:
    """Tell which partial of the horn, from the second up, a voice raises on the throat; 0 if none.

    What the throat hears of the horn's partials goes evenly over them; a voice an octave or a
    twelfth above makes its own far stronger than those on either side.
    """
    heard, played = (
        spectrum.decibel(spectrum.harmonic_amplitudes(one, rate, note, MOST_RAISED + 1))
        for one in (throat, horn)
    )
    through = heard - played
    beside = np.maximum(through[:-2], through[2:])
    above = through[1:-1] - beside
    return int(np.argmax(above)) + 2 if above.max() > RAISED_DB else 0


def _exact(samples: Samples, rate: float, hz: float) -> float | None:
    """Measure a pitch exactly, where the note is long enough for it. [Hz]."""
    if samples.size * hz < 16.0 * rate:
        return hz
    exact = pitch.refine(samples, rate, hz)
    return exact if abs(exact / hz - 1.0) < SAME else hz
