"""What the picture of a passage shows: pitches and level over time, resultants, words.

In: a performance and what became of its notes. Out: arrays and short texts.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import BURST_PA
from reedbore.measures import pitch, spectrum
from reedbore.model.passage import Passage
from reedbore.report.words import is_one_of_two, short
from reedbore.simulate.controls import Span
from reedbore.simulate.outside import SOUND_RATE
from reedbore.sound import mute_broken
from reedbore.verdict.state import State

if TYPE_CHECKING:
    from reedbore.simulate.performance import Performance
    from reedbore.verdict.passage import NoteVerdict

Samples = NDArray[np.float64]

LEVEL_S, LEVEL_FLOOR_DB = 0.02, -50.0
DRAWN_POINTS = 4000
OPEN_GATE = 0.05
TRACK_SHARE = 8.0
"""The line of a note is told from those this share of it away: no mixed tone is nearer."""
VOICE_SHARE = 2.5
"""The same for a voice alone, which has no line between its partials and may have a vibrato."""
TRACK_WINDOWS = 3.0
"""At least so many windows fit into a note."""
WEAK_DB, WEAK_PA = -30.0, 20.0
INSTANT = 0.01  # [s]
SAME_PITCH = 1.0  # [semitones], so far a played pitch may move and be followed as one
IF_HELD = "locks if held"


class Note(NamedTuple):
    """A note as a bar: from when to when [s], and its pitch [Hz]."""

    begin: float
    end: float
    hz: float


class Resultant(NamedTuple):
    """The resultant of a note: its bar, its ratio p/q, its state, and how well it is heard.

    `heard` is ``yes``, ``uncertain``, ``no``, ``same`` where it is one of the two notes itself, or
    ``planned`` where it was not reached.
    """

    bar: Note
    ratio: tuple[int, int]
    state: State
    heard: str


def resultants(rows: Sequence["NoteVerdict"]) -> list[Resultant]:
    """List the resultants of notes that have one; as `resultant_of`."""
    return [found for found in map(resultant_of, rows) if found]


def resultant_of(row: "NoteVerdict") -> Resultant | None:
    """Choose what is drawn as the resultant of a note; None if it has none.

    Parameters
    ----------
    row : NoteVerdict
        What became of the note.

    Returns
    -------
    Resultant or None
        As it was measured, or else as it was planned, up to the ratios that are measured at all.
    """
    reached = row.reached
    if reached.ratio and reached.resultant_hz:
        heard = "same" if is_one_of_two(reached.heard) else reached.heard
        bar = Note(row.begin_s, row.end_s, reached.resultant_hz)
        return Resultant(bar, reached.ratio, reached.state, heard)
    meeting = row.planned and row.planned.meeting
    if meeting and meeting.simulated:
        bar = Note(row.begin_s, row.end_s, meeting.resultant_hz)
        return Resultant(bar, meeting.ratio, reached.state, "planned")
    return None


def bar_beats(passage: Passage) -> list[float]:
    """List the beats at which the bars of a passage begin."""
    ends = [*(meter.beat for meter in passage.meters[1:]), passage.beats]
    return [
        beat
        for meter, end in zip(passage.meters, ends, strict=True)
        for beat in np.arange(meter.beat, end, 4.0 * meter.number / meter.unit).tolist()
    ]


def has_beats(performance: "Performance") -> bool:
    """Tell whether there is a beat: a free recording over one held note has none."""
    held = [span for span in performance.fingered if span.hz]
    return not (performance.score.recorded and len(held) == 1)


def level_course(sound: Samples) -> tuple[Samples, Samples]:
    """Measure how loud a sound is over time.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        At `SOUND_RATE`. [any]

    Returns
    -------
    times, level : ndarray
        Level of blocks of 20 ms or, of long sounds, longer ones, against the loudest. [s], [dB]
    """
    whole = np.clip(mute_broken(sound, SOUND_RATE)[0], -BURST_PA, BURST_PA)
    block = max(round(LEVEL_S * SOUND_RATE), math.ceil(whole.size / DRAWN_POINTS))
    count = whole.size // block
    power = np.mean(whole[: count * block].reshape(count, block) ** 2, axis=1)
    loudest = float(power.max(initial=0.0))
    level = spectrum.decibel(np.sqrt(power / loudest)) if loudest else np.full(count, -np.inf)
    return (np.arange(count) + 0.5) * block / SOUND_RATE, np.maximum(level, LEVEL_FLOOR_DB)


def played_course(
    performance: "Performance", rows: Sequence["NoteVerdict"]
) -> Iterator[tuple[Samples, Samples]]:
    """Measure the pitch that the horn really plays, over time.

    Parameters
    ----------
    performance : Performance
        What was played.
    rows : sequence of NoteVerdict
        They tell near which pitch to look; where there are none, near the fingered note.

    Yields
    ------
    times, hz : ndarray
        A stretch of it. [s], [Hz]
    """
    whole = mute_broken(performance.traces.pressure, performance.score.rate)[0]
    wave = np.clip(whole, -BURST_PA, BURST_PA)
    yield from _tracked(wave, performance.score.rate, _pieces(performance, rows), WEAK_PA)


def _tracked(
    wave: Samples, rate: float, pieces: Iterable[Note], weakest: float, share: float = TRACK_SHARE
) -> Iterator[tuple[Samples, Samples]]:
    """Follow the line of a wave near a pitch, piece by piece; nan where it is weak."""
    thinned, slow = pitch.thin(wave, rate)
    for first, end, near in pieces:
        part = thinned[round(first * slow) : round(end * slow)]
        band = max(near / share, 4.0 * TRACK_WINDOWS / (end - first))
        if band > 0.5 * near:
            continue
        track = pitch.phase_track(part, slow, near, band)
        if len(track.times) < 3:
            continue
        hz = near + np.gradient(track.cycles, track.times)
        least = max(weakest, 10.0 ** (WEAK_DB / 20.0) * float(track.amplitude.max()))
        clear = (track.amplitude > least) & (np.abs(hz - near) < band)
        yield first + track.times, np.where(clear, hz, np.nan)


def _pieces(performance: "Performance", rows: Sequence["NoteVerdict"]) -> Iterator[Note]:
    """Cut the fingered notes where the horn leaves its register or comes back to it."""
    for note in fingered_notes(performance):
        begin, near = note.begin, note.hz
        for row in rows:
            hz = row.reached.played_hz
            inside = note.begin - INSTANT <= row.begin_s < note.end
            if not (hz and inside) or abs(12.0 * math.log2(hz / near)) < SAME_PITCH:
                continue
            if row.begin_s > begin + INSTANT:
                yield Note(begin, row.begin_s, near)
                begin = row.begin_s
            near = hz
        yield Note(begin, note.end, near)


def sung_course(
    performance: "Performance", rows: Sequence["NoteVerdict"]
) -> tuple[Samples, Samples]:
    """Follow the sung line with its glides.

    Parameters
    ----------
    performance : Performance
        What was sung.
    rows : sequence of NoteVerdict
        They tell near which pitch to look where the line is `measured`.

    Returns
    -------
    times, hz : ndarray
        nan where nobody sings. [s], [Hz]
    """
    if measured(performance, rows):
        share = TRACK_SHARE if of_folds(rows) else VOICE_SHARE
        pieces = _sung_pieces(performance, rows)
        parts = _tracked(performance.sung, performance.score.rate, pieces, 0.0, share)
        ended = [(np.append(at, at[-1]), np.append(hz, np.nan)) for at, hz in parts]
        if not ended:
            return np.zeros(0), np.zeros(0)
        times, hz = zip(*ended, strict=True)
        return np.concatenate(times), np.concatenate(hz)
    if from_notes(performance) and performance.sung.any():
        line = performance.controls
        step = max(1, math.ceil(line.sung_hz.size / DRAWN_POINTS))
        hz, gate = line.sung_hz[::step], line.singing[::step]
        heard = (gate > OPEN_GATE) & (hz > 0.0)
        return np.arange(hz.size) * step / performance.score.rate, np.where(heard, hz, np.nan)
    return np.zeros(0), np.zeros(0)


def _sung_pieces(performance: "Performance", rows: Sequence["NoteVerdict"]) -> Iterator[Note]:
    if not of_folds(rows):
        yield from sung_notes(performance, rows)
        return
    for row in rows:
        if row.reached.sung_hz:
            yield Note(row.begin_s, row.end_s, row.reached.sung_hz)


def measured(performance: "Performance", rows: Sequence["NoteVerdict"]) -> bool:
    """Tell whether the sung line is what was sung, for nobody wrote down just that."""
    voices = (setup.voice for setup in performance.score.setups.values())
    unsteady = any(voice.unsteady for voice in voices)
    return of_folds(rows) or unsteady or not from_notes(performance)


def of_folds(rows: Sequence["NoteVerdict"]) -> bool:
    """Tell whether folds sing, so that what is asked for is but the aim."""
    return any(row.lungs is not None for row in rows)


def fingered_notes(performance: "Performance") -> list[Note]:
    """List the notes that are fingered."""
    return _sounding(performance.fingered, performance.score.rate)


def from_notes(performance: "Performance") -> bool:
    """Tell whether the voice sings the line of the passage, and is not a recorded one."""
    return bool(performance.sung_notes) and not performance.score.recorded


def sung_notes(performance: "Performance", rows: Sequence["NoteVerdict"]) -> list[Note]:
    """List the notes that are sung; of a recorded voice those that were measured."""
    if not performance.sung.any():
        return []
    if from_notes(performance):
        return _sounding(performance.sung_notes, performance.score.rate)
    return [Note(row.begin_s, row.end_s, hz) for row in rows if (hz := _sung_hz(row))]


def _sounding(line: Sequence[Span], rate: float) -> list[Note]:
    return [Note(span.first / rate, span.end / rate, span.hz) for span in line if span.hz]


def _sung_hz(row: "NoteVerdict") -> float | None:
    return row.reached.sung_hz or row.sung_hz


def words_of(row: "NoteVerdict") -> list[str]:
    """Say in a word what became of a note, and whether it would lock if it were longer.

    Parameters
    ----------
    row : NoteVerdict
        What became of it.

    Returns
    -------
    list of str
        One or two lines.
    """
    state = row.reached.state
    told = [short(state, row.reached.reason)]
    if row.held is not None and row.held.state == State.LOCKED and state != State.LOCKED:
        told.append(IF_HELD)
    return told
