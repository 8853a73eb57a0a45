"""What a recorded voice sings and when: the whiles in which it holds one note.

The pitch track is explained by notes that cost something to change: a vibrato or a slip of the
tracker is cheaper borne, a new note is not. Gaps and dips of level part notes too; glides go.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import pitch

Samples = NDArray[np.float64]

RATE = 24000.0
"""A recording is thinned to about this: at 12 kHz a clipped high voice reads 5 cents off. [Hz]"""

HOP = 0.01
"""From one frame of the track to the next. [s]"""

LEAST_SECONDS = 0.14
"""A shorter while is no note: 150 ms less what the track loses at the ends. [s]"""

CHANGE_COST = 7.0
"""Departure [cents·s] that a change of note has to save. Half a swing of a vibrato of ±80 cents
at 4 Hz saves 4; a note of 0.15 s a semitone away saves 15, and takes two changes to come back."""

SWING_SECONDS = 0.2
"""Half a swing of a slow vibrato and the slide to the next note last no longer together. [s]"""

FARTHEST = 150.0
"""A frame farther off counts as so far: slips by an octave are to be borne. [cents]"""

GRID = 10.0
"""Notes are looked for so far apart. [cents]"""

EDGE = 110.0
"""Where a stretch begins and ends the voice is nearer to its note than this. [cents]"""

EDGE_FRAMES = 3
"""So many at either end, where the neighbouring note may show, do not count for a vibrato."""

LEAST_NEAR = 0.75
"""Share of the frames of a stretch that lie within `EDGE` of its note."""

GAP_FRAMES = 3
"""So many frames in a row without pitch part two notes."""

DIP_DB, DIP_SECONDS = 12.0, 0.25
"""A dip of level so deep parts two notes if the voice is loud so soon before and after it."""

GLIDE, GLIDE_FAR, GLIDE_EVEN = 80.0, 45.0, 6.0
"""A pitch is no note if it moves faster [cents/s], farther [cents], and so many times as far as it
departs from a straight line; a single cycle of a vibrato moves 4 times as far."""

VIBRATO_HZ = 3.5, 9.0
"""Usual rates of a sung vibrato, and a margin: common practice, no source."""

LEAST_SWINGS = 1.5
"""With fewer periods of it a vibrato cannot be told from any other bend."""

STEADY_CENTS = 15.0
"""A voice that wanders less has a line to measure exactly."""


class Sung(NamedTuple):
    """A while in which a voice holds one note.

    Attributes
    ----------
    begin, end : float
        From the start of the recording. [s]
    hz : float
        The note: middle of the pitches, the vibrato evened out. [Hz]
    wander_cents : float
        Standard deviation of the pitch inside the stretch, vibrato counted. [cents]
    """

    begin: float
    end: float
    hz: float
    wander_cents: float


def steady(samples: Samples, rate: float) -> tuple[Sung, ...]:
    """Find the whiles in which a recorded voice holds one note.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording, one channel. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    tuple of Sung
        In the order of time, none shorter than 0.14 s; empty if nothing is sung. A note sung again
        after a gap, a consonant without pitch or a dip of level counts anew.

    Notes
    -----
    The cheapest line of notes through the track, by dynamic programming: each frame costs its
    distance from the note, each change `CHANGE_COST`. A vibrato is heard at the middle of its
    swing [1]_.

    References
    ----------
    .. [1] J. I. Shonle and K. E. Horan, "The pitch of vibrato tones," J. Acoust. Soc. Am. 67(1),
       246-252, 1980 (from memory).
    """
    voice, rate = pitch.thin(np.asarray(samples, dtype=np.float64), rate, RATE)
    return held(voice, rate, *pitch.pitch_track(voice, rate, hop=HOP))


def held(voice: Samples, rate: float, times: Samples, hz: Samples) -> tuple[Sung, ...]:
    """Find the whiles in which a pitch track holds one note.

    Parameters
    ----------
    voice : ndarray, shape (n,)
        The recording. [any]
    rate : float
        Samples per second. [Hz]
    times, hz : ndarray, shape (frames,)
        Its pitch, `HOP` apart; nan where it has none. [s], [Hz]

    Returns
    -------
    tuple of Sung
        As of `steady`.
    """
    if not np.isfinite(hz).any():
        return ()
    low = float(np.nanmin(hz))
    track = 1200.0 * np.log2(hz / low)
    track[dips(_levels(voice, rate, times), HOP)] = np.nan
    found = []
    for first, end in _runs(track):
        for part in _whole(level_parts(track[first:end], HOP), track[first:end]):
            cut = slice(first + part.start, first + part.stop)
            found.append(_held(voice, rate, times[cut], track[cut], low))
    return tuple(sung for sung in found if sung is not None)


def _levels(voice: Samples, rate: float, times: Samples) -> Samples:
    """Level [dB] of a fortieth of a second around each moment; a constant counts as silence."""
    half = max(1, round(0.0125 * rate))
    sums = np.concatenate(([0.0], np.cumsum((voice - voice.mean()) ** 2)))
    middle = np.rint(times * rate).astype(np.int64)
    begin, end = np.maximum(middle - half, 0), np.minimum(middle + half, voice.size)
    power = (sums[end] - sums[begin]) / np.maximum(end - begin, 1)
    return 10.0 * np.log10(np.maximum(power, 1e-30))


def dips(level: Samples, hop: float) -> NDArray[np.bool_]:
    """Tell the frames [dB], `hop` apart [s], much weaker than some just before and after."""
    reach = round(DIP_SECONDS / hop)
    padded = np.pad(level, reach, mode="edge")
    loudest = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1)
    before, after = loudest[: level.size], loudest[reach:]
    return np.minimum(before, after) - level > DIP_DB


def _runs(track: Samples) -> list[tuple[int, int]]:
    """Cut at gaps; each run begins and ends with a pitch."""
    voiced = np.flatnonzero(np.isfinite(track))
    if not voiced.size:
        return []
    parts = np.split(voiced, np.flatnonzero(np.diff(voiced) > GAP_FRAMES) + 1)
    return [(int(part[0]), int(part[-1]) + 1) for part in parts]


def level_parts(track: Samples, hop: float, change: float = CHANGE_COST) -> list[slice]:
    """Cut a track where the cheapest line of levels through it changes.

    Parameters
    ----------
    track : ndarray, shape (n,)
        Pitch over a reference, nan where there is none; at least one is not. [cents]
    hop : float
        From one value to the next. [s]
    change : float
        Departure that a change has to save. [cents·s]

    Returns
    -------
    list of slice
        In order; together they are the whole track.
    """
    lowest, highest = np.nanmin(track), np.nanmax(track)
    grid = np.arange(lowest, highest + GRID, GRID)
    total = np.zeros(grid.size)
    stays = np.empty((track.size, grid.size), dtype=np.bool_)
    best = np.empty(track.size, dtype=np.int64)
    for frame, cents in enumerate(track):
        best[frame] = int(np.argmin(total))
        dearer = total[best[frame]] + change / hop
        stays[frame] = total <= dearer
        total = np.minimum(total, dearer)
        if math.isfinite(cents):
            total = total + np.minimum(np.abs(grid - cents), FARTHEST)
    note, edges, end = int(np.argmin(total)), [], track.size
    for frame in range(track.size - 1, 0, -1):
        if not stays[frame, note]:
            note = int(best[frame])
            edges.append(slice(frame, end))
            end = frame
    edges.append(slice(0, end))
    return edges[::-1]


def _whole(parts: list[slice], track: Samples) -> list[slice]:
    """Give each piece that may be a swing or a slide to the neighbour it is near, if any is."""
    brief = [_brief(track[part]) for part in parts]
    note = [float(np.nanmedian(track[part])) for part in parts]
    edges: list[list[int] | None] = [[part.start, part.stop] for part in parts]
    for index, part in enumerate(parts):
        beside = [i for i in (index - 1, index + 1) if 0 <= i < len(parts) and not brief[i]]
        nearest = min(beside, key=lambda i: abs(note[i] - note[index]), default=index)
        taker = edges[nearest]
        if brief[index] and beside and taker and abs(note[nearest] - note[index]) < EDGE:
            before = nearest < index
            taker[before] = part.stop if before else part.start
            edges[index] = None
    return [slice(*edge) for edge in edges if edge]


def _brief(track: Samples) -> bool:
    """Tell a piece too short for a note, or so short and uneven that it may be half a swing."""
    seconds = track.size * HOP
    uneven = float(np.nanstd(track)) > STEADY_CENTS
    return seconds < LEAST_SECONDS or (seconds < SWING_SECONDS and uneven)


def _held(voice: Samples, rate: float, times: Samples, track: Samples, low: float) -> Sung | None:
    """Measure one note, given its times [s] and pitches [cents above low]; None if it is none."""
    note = _middle(times, track)
    at_note = np.flatnonzero(np.abs(track - note) < EDGE)
    if not at_note.size:
        return None
    inside = slice(int(at_note[0]), int(at_note[-1]) + 1)
    times, track = times[inside], track[inside]
    begin, end = max(float(times[0]) - 0.5 * HOP, 0.0), float(times[-1]) + 0.5 * HOP
    near = np.abs(track - note) < EDGE
    if end - begin < LEAST_SECONDS or np.mean(near) < LEAST_NEAR:
        return None
    when, cents = times[near], track[near]
    wander = float(np.std(cents))
    if _glides(when, cents):
        return None
    hz = low * 2.0 ** (_middle(times, track) / 1200.0)
    if wander < STEADY_CENTS:
        hz = _exact(voice[round(begin * rate) : round(end * rate)], rate, hz)
    return Sung(begin, end, hz, wander)


def _glides(times: Samples, cents: Samples) -> bool:
    """Tell whether a pitch moves evenly instead of staying."""
    slope, start = np.polyfit(times - times[0], cents, 1)
    rest = float(np.std(cents - start - slope * (times - times[0])))
    moved = abs(slope) * float(times[-1] - times[0])
    return bool(abs(slope) > GLIDE and moved > max(GLIDE_FAR, GLIDE_EVEN * rest))


def _middle(times: Samples, track: Samples) -> float:
    """Find the middle of a vibrato by least squares, or the median of what is none. [cents]."""
    pitches = np.sort(track[np.isfinite(track)])
    rough = pitches[pitches.size // 2]
    near = np.abs(track - rough) < 1.5 * EDGE
    middle = float(np.median(track[near]))
    if track.size > 6 * EDGE_FRAMES:
        near[:EDGE_FRAMES] = near[-EDGE_FRAMES:] = False
    if not near.any():
        return middle
    since, cents = times[near] - times[0], track[near]
    left = 0.3 * float(np.sum((cents - cents.mean()) ** 2))
    slowest = max(VIBRATO_HZ[0], LEAST_SWINGS / max(float(np.ptp(since)), HOP))
    for hz in np.arange(slowest, VIBRATO_HZ[1], 0.1):
        turn = 2.0 * math.pi * hz * since
        terms = np.column_stack((np.ones_like(turn), np.sin(turn), np.cos(turn)))
        fitted = np.linalg.lstsq(terms, cents, rcond=None)[0]
        rest = float(np.sum((cents - terms @ fitted) ** 2))
        if rest < left:
            middle, left = float(fitted[0]), rest
    return middle


def _exact(voice: Samples, rate: float, hz: float) -> float:
    """Measure the first partial of a steady note exactly, if it is there to be measured."""
    edge = voice.size // 8
    middle = voice[edge : voice.size - edge]
    if middle.size * hz < 16.0 * rate:
        return hz
    exact = pitch.refine(middle - middle.mean(), rate, hz)
    near = 2.0 ** (0.3 * STEADY_CENTS / 1200.0)
    return exact if hz / near < exact < hz * near else hz
