"""When a horn plays which note, whatever is sung into it: frames of a recording, and its notes.

In: a recording before the horn, piece by piece. Out: notes. A note is a while in which the played
pitch stays; the tongue parts notes of one pitch where the level dips. Rooms let notes ring on, and
breath and room go on between them: so the level that counts as sounding lies between the two.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import segments, two_notes

WINDOW, HOP = 0.16, 0.04
"""A frame is so long, and the next comes so much later. [s]"""

CLEAR = 0.35
"""A frame whose lines are partials of a note to a smaller share has no pitch."""

SOUNDING, DEEPEST_DB = 0.45, 25.0
"""Sounding is what lies above this part of the way from the floor to the loud, and never so far
below the loud. [dB]"""

LEAST_RANGE_DB = 6.0
"""With less between floor and loud the level tells nothing: pitch alone does. [dB]"""

CHANGE = 9.0
"""Departure that a change of note has to save. [cents·s]"""

LEAST_SECONDS = 0.12
"""A shorter while is no note. [s]"""

GAP_FRAMES = 2
"""So many silent frames in a row part two notes."""

Samples = NDArray[np.float64]


class Frames(NamedTuple):
    """A recording in frames, shape (n,): their middles [s], levels [dB], pitches [Hz] or nan."""

    times: Samples
    level_db: Samples
    hz: Samples


class Note(NamedTuple):
    """A note that a horn plays: from, to [s], and about its pitch [Hz]."""

    begin: float
    end: float
    hz: float


def frames(samples: Samples, rate: float, begin: float = 0.0) -> Frames:
    """Look at a recording frame by frame.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A piece of the recording, thinned to about 12 kHz. [any]
    rate : float
        Samples per second. [Hz]
    begin : float
        When it begins. [s]

    Returns
    -------
    Frames
        A frame each `HOP`; those that do not fit in whole are left out.
    """
    length, hop = round(WINDOW * rate), round(HOP * rate)
    starts = np.arange(0, samples.size - length + 1, hop)
    level, hz = np.full(starts.size, -300.0), np.full(starts.size, np.nan)
    inner = slice((length - hop) // 2, (length + hop) // 2)
    for place, start in enumerate(starts):
        frame = samples[start : start + length]
        power = float(np.var(frame[inner]))
        if power > 0.0:
            level[place] = 10.0 * np.log10(power)
            found = two_notes.played(frame, rate)
            if found is not None and found.clarity > CLEAR:
                hz[place] = found.hz
    return Frames(np.asarray(begin + (starts + 0.5 * length) / rate, np.float64), level, hz)


def joined(parts: list[Frames]) -> Frames:
    """Put the frames of successive pieces together."""
    return Frames(*(np.concatenate(field) for field in zip(*parts, strict=True)))


def notes(found: Frames) -> tuple[Note, ...]:
    """Find the notes.

    Parameters
    ----------
    found : Frames
        Of the whole recording.

    Returns
    -------
    tuple of Note
        In order of time.
    """
    if not np.isfinite(found.hz).any():
        return ()
    sounding = _sounding(found.level_db) & ~segments.dips(found.level_db, HOP)
    track = 1200.0 * np.log2(found.hz / np.nanmin(found.hz))
    track[~sounding] = np.nan
    kept = []
    for first, end in _runs(sounding):
        if not np.isfinite(track[first:end]).any():
            continue
        for part in segments.level_parts(track[first:end], HOP, CHANGE):
            at = slice(first + part.start, first + part.stop)
            kept += _note(found, at, track)
    return tuple(kept)


def _note(found: Frames, at: slice, track: Samples) -> list[Note]:
    """Return the note of a part of the track, none if it is too short or has no pitch."""
    # The first and the last frame look as far as the recording goes.
    first, last = at.start == 0, at.stop == found.times.size
    begin = float(found.times[at.start]) - 0.5 * (WINDOW if first else HOP)
    end = float(found.times[at.stop - 1]) + 0.5 * (WINDOW if last else HOP)
    pitched = np.isfinite(track[at])
    if end - begin < LEAST_SECONDS or np.mean(pitched) < 0.5:
        return []
    middle = float(np.median(track[at][pitched]))
    near = np.abs(track[at][pitched] - middle) < segments.EDGE
    if np.mean(near) < 0.5:
        return []
    hz = float(np.median(found.hz[at][pitched][near]))
    return [Note(max(begin, 0.0), end, hz)]


def _sounding(level: Samples) -> NDArray[np.bool_]:
    """Tell the frames in which the horn sounds."""
    heard = level[level > -200.0]
    if not heard.size:
        return np.zeros(level.size, dtype=np.bool_)
    floor, loud = np.quantile(heard, 0.05), np.quantile(heard, 0.9)
    if loud - floor < LEAST_RANGE_DB:
        return np.asarray(level > -200.0)
    return np.asarray(level > max(floor + SOUNDING * (loud - floor), loud - DEEPEST_DB))


def _runs(sounding: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Cut at gaps."""
    at = np.flatnonzero(sounding)
    if not at.size:
        return []
    parts = np.split(at, np.flatnonzero(np.diff(at) > GAP_FRAMES) + 1)
    return [(int(part[0]), int(part[-1]) + 1) for part in parts]
