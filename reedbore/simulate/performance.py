"""A passage played and sung: one reed, the bores of all its notes, one voice.

In: a `Score`: a passage, and for each of its fingered notes the setup that plays it. Out: a
`Performance`: what was blown, sung and heard, a value a step, from the first note to the last.
"""

import bisect
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.kernel.passage import Change, play
from reedbore.kernel.player import Player
from reedbore.measures.segments import steady
from reedbore.model.passage import Passage
from reedbore.model.reed import Reed
from reedbore.model.setup import Setup
from reedbore.notes import A4_HZ, parse_pitch
from reedbore.simulate.acoustics.numbers import HELD_BY_LIP, numbers_of
from reedbore.simulate.controls import (
    FINGERS,
    LARGEST_PART,
    Controls,
    Span,
    controls,
    rise,
    sample_count,
    spans,
)
from reedbore.simulate.dynamics import Held, held_at
from reedbore.simulate.ear import ear_of_line
from reedbore.simulate.folds import line_voiced, singing_line
from reedbore.simulate.outside import SOUND_RATE, radiated
from reedbore.simulate.player import Slopes, held_still, jet, lip_of, pitch_slopes, sway
from reedbore.simulate.singing import sing, sing_line

Samples = NDArray[np.float64]

TAIL_S = 0.5
"""So long the last note may ring. [s]"""

RINGS_S = 0.1
"""So long a bore rings on outside when another has come. [s]"""

LONGEST_S = 300.0
"""A passage is not longer: each second takes 22 MB at 96 kHz, sung by folds 30 MB, and as much
again where breath and lip move, for it is judged held still. [s]"""

LIP_S = 0.0025
"""So often the lip is told where it is; between it goes straight. [s]"""

SILENCE_S = 0.3
"""A shorter gap between the notes of a recorded voice is none. [s]"""


class Fingered(NamedTuple):
    """A note as fingers know it: its pitch as written in the passage, and the fingering's name."""

    pitch: str
    fingering: str


@dataclass(frozen=True)
class Score:
    """A passage and the tuned setups that play it.

    Attributes
    ----------
    passage : Passage
        What is fingered and sung.
    setups : mapping of Fingered to Setup
        For each fingered note of the passage the setup that plays it. Reed, air, voice, tract and
        rate are the same in all of them; bore and breath may differ. A recorded voice
        (``voice.source == "recording"``) begins with the first beat and takes the place of the
        sung line.
    a4 : float
        Frequency of A4. [Hz]
    """

    passage: Passage
    setups: Mapping[Fingered, Setup]
    a4: float = A4_HZ

    @property
    def rate(self) -> float:
        """Steps per second [Hz]."""
        return next(iter(self.setups.values())).time.rate

    @property
    def recorded(self) -> bool:
        """Whether a recorded voice takes the place of the sung line."""
        return next(iter(self.setups.values())).voice.source == "recording"

    def setup_of(self, note: int) -> Setup:
        """Return the setup of a fingered note, by its place in the fingered line."""
        found = self.passage.fingered_line.notes[note]
        return self.setups[Fingered(str(found.pitch), found.fingering)]


@dataclass(frozen=True)
class Performance:
    """One rendered passage.

    Attributes
    ----------
    score : Score
        What was played.
    fingered, sung_notes : tuple of Span
        Notes and rests among the steps; no sung ones for a recorded voice.
    controls : Controls
        Pitches, gates, breath and depth, a value a step.
    pressure_asked : ndarray, shape (n,)
        Steady part of the pressure in the mouth, as blown. [Pa]
    sung : ndarray, shape (n,)
        Sung waveform, gated; largest value about 1. Of folds, how far apart they swing.
    traces : Traces
        Pressure in mouth and mouthpiece, outgoing wave, opening of the reed, a value a step.
    sound : ndarray, shape (m,)
        Pressure one metre from the open end at `outside.SOUND_RATE`, not yet levelled. [Pa]
    held : Held or None
        Breath and lip every `LIP_S`, where the passage has a curve of dynamics.
    """

    score: Score
    fingered: tuple[Span, ...]
    sung_notes: tuple[Span, ...]
    controls: Controls
    pressure_asked: Samples
    sung: Samples
    traces: single.Traces
    sound: Samples
    held: Held | None = None

    def setup_at(self, note: int, step: int) -> Setup:
        """Return the setup of a fingered note, by its place, as breath and lip are at a step."""
        return _as_held(self.score.setup_of(note), step, self.pressure_asked, self.held)


class Stretch(NamedTuple):
    """A while in which one note is fingered and one is sung.

    Attributes
    ----------
    fingered : int
        Place of the note in the fingered line.
    sung : int or None
        Place of the note in the sung line; None for one found in a recorded voice.
    first, end : int
        Steps, the second not included.
    sung_hz : float or None
        The note that was asked for, or the one measured on the recorded voice; None where nobody
        sings. [Hz]
    """

    fingered: int
    sung: int | None
    first: int
    end: int
    sung_hz: float | None


def perform(score: Score, *, still: bool = False) -> Performance:
    """Play a passage from rest to its end and let it ring.

    Parameters
    ----------
    score : Score
        What to play.
    still : bool
        Whether breath and lip are held still but for its dynamics; then no sound is made of it.

    Returns
    -------
    Performance
        `TAIL_S` longer than the passage: the last note dies away.

    Raises
    ------
    ModelError
        If it is longer than `LONGEST_S`, the horn has no dynamics for the breath that is asked, or
        folds do not sing a note.
    """
    if still:
        score = replace(score, setups={key: held_still(one) for key, one in score.setups.items()})
    passage, rate = score.passage, score.rate
    if passage.seconds > LONGEST_S:
        raise ModelError(
            f"the passage lasts {passage.seconds:.0f} s; allowed up to {LONGEST_S:g} s "
            "(length of a passage)"
        )
    n = sample_count(passage, rate) + round(TAIL_S * rate)
    any_setup = score.setup_of(_sounding(score)[0])
    curves = controls(
        passage,
        rate,
        usual_depth=any_setup.voice.depth,
        end=n,
        a4=score.a4,
        breath_rise=any_setup.breath.rise,
        tongue=any_setup.breath.tongue,
    )
    fingered = spans(passage, passage.fingered_line, rate, score.a4)
    sung_notes = () if score.recorded else spans(passage, passage.sung_line, rate, score.a4)
    bores, changes = _changes(score, fingered)
    held = _held(score, bores, changes, curves.breath)
    if held is None:
        blown = _over([setup.breath.pressure for setup in bores], changes, n)
    else:
        blown = np.interp(np.arange(n), _every(rate) * np.arange(held.pressure.size), held.pressure)
    steady = curves.blowing * blown
    slopes = _slopes(bores, changes, rate)
    lips = _player(any_setup, curves.tongue, held, n, slopes)
    moved = steady * sway(any_setup, n, slopes)
    numbers = [numbers_of(setup) for setup in bores]
    if any_setup.voice.drive == "folds":
        notes = _aimed(score, curves, fingered, sung_notes, steady, held)
        player = singing_line(notes, any_setup, n, curves.singing, curves.blowing)
        ear = ear_of_line(notes, n, curves.singing)
        traces = play(numbers, changes, moved, lips, None, *player, ear)
        sung = line_voiced(traces, [note for note, _ in notes], curves.singing)
    else:
        sung, alternating = _sung(score, any_setup, curves, sung_notes, moved)
        traces = play(numbers, changes, moved + alternating, lips)
    sound = np.zeros(0) if still else _radiated(bores, changes, traces.outgoing, rate)
    return Performance(score, fingered, sung_notes, curves, steady, sung, traces, sound, held)


def _sounding(score: Score) -> list[int]:
    """Return for each fingered note and rest the note whose bore it has."""
    notes = score.passage.fingered_line.notes
    own = [place if note.pitch else -1 for place, note in enumerate(notes)]
    for place in range(len(own) - 2, -1, -1):
        own[place] = own[place] if own[place] >= 0 else own[place + 1]
    for place in range(1, len(own)):
        own[place] = own[place] if own[place] >= 0 else own[place - 1]
    return own


def _changes(score: Score, fingered: tuple[Span, ...]) -> tuple[list[Setup], list[Change]]:
    """Return the setups in use, and from when on each is there."""
    bores: list[Setup] = []
    found: list[Change] = []
    for span, note in zip(fingered, _sounding(score), strict=True):
        setup = score.setup_of(note)
        if setup not in bores:
            bores.append(setup)
        bore = bores.index(setup)
        if not found or bore != found[-1].bore:
            steps = round(min(FINGERS * score.rate, LARGEST_PART * (span.end - span.first)))
            found.append(Change(span.first, bore, steps if found else 0))
    return bores, found


def _over(values: list[float], changes: list[Change], n: int) -> Samples:
    """Spread one value a bore over the steps, going over as the bores do."""
    spread = np.empty(n)
    for change, end in zip(changes, [*(c.at for c in changes[1:]), n], strict=True):
        old = values[change.bore] if change.at == 0 else spread[change.at - 1]
        spread[change.at : end] = values[change.bore]
        goes = spread[change.at : min(change.at + change.steps, end)]
        goes[:] = old + _coming(change.steps)[: goes.size] * (goes - old)
    return spread


def _every(rate: float) -> int:
    return round(LIP_S * rate)


def _held(score: Score, bores: list[Setup], changes: list[Change], share: Samples) -> Held | None:
    """Return breath and lip every `LIP_S`; None where the passage leaves them to the horn."""
    if np.isnan(share).all():
        return None
    every = _every(score.rate)
    at = every * np.arange(share.size // every + 2)
    along = share[np.minimum(at, share.size - 1)]
    hertz = {
        bores.index(setup): parse_pitch(key.pitch, score.a4)
        for key, setup in score.setups.items()
        if setup in bores
    }
    found = np.empty((len(Held._fields), at.size))
    ends = [*(change.at for change in changes[1:]), at[-1] + 1]
    for number, (change, end) in enumerate(zip(changes, ends, strict=True)):
        here = (at >= change.at) & (at < end)
        if not here.any():
            continue
        found[:, here] = held_at(bores[change.bore], hertz[change.bore], along[here])
        goes = here & (at < change.at + change.steps)
        if number and goes.any():
            before = changes[number - 1].bore
            old = np.array(held_at(bores[before], hertz[before], along[goes]))
            found[:, goes] = old + rise((at[goes] - change.at) / change.steps) * (
                found[:, goes] - old
            )
    return Held(*found)


def _slopes(bores: list[Setup], changes: list[Change], rate: float) -> Slopes:
    """Return what tells breath and lip, note by note, how they move the pitch."""
    begins = [change.at / rate for change in changes]

    def at(time: Samples) -> Samples:
        known = np.array([pitch_slopes(bores[change.bore]) for change in changes])
        return known[np.searchsorted(begins, time, side="right") - 1].T

    return at


def _player(setup: Setup, tongue: Samples, held: Held | None, n: int, slopes: Slopes) -> Player:
    """Return what lip, tongue and jet do over the steps."""
    every = _every(setup.time.rate)
    if held is None:
        reed = setup.reed.held()
        held = Held(*(np.full(n // every + 2, value) for value in (0.0, *_lip(reed))))
    lip = dict(zip(HELD_BY_LIP, held[1:], strict=True))
    return Player(lip_of(setup, lip, every, slopes), every, tongue, jet(setup, n))


def _lip(reed: Reed) -> list[float]:
    return [getattr(reed, name) for name in HELD_BY_LIP]


def _as_held(setup: Setup, step: int, steady: Samples, held: Held | None) -> Setup:
    """Return a setup blown and held as at a step.

    Rounded, so that equal ones are equal whatever the arithmetic of their curves: far finer than
    any lock.
    """
    breath = setup.breath.model_copy(update={"pressure": round(float(steady[step]), 2)})
    if held is None:
        return setup.model_copy(update={"breath": breath})
    at = round(step / _every(setup.time.rate))
    lip = {
        name: float(f"{values[at]:.9g}") for name, values in zip(HELD_BY_LIP, held[1:], strict=True)
    }
    reed = setup.reed.held().model_copy(update=lip)
    return setup.model_copy(update={"breath": breath, "reed": reed})


def _sung(
    score: Score, setup: Setup, curves: Controls, line: tuple[Span, ...], steady: Samples
) -> tuple[Samples, Samples]:
    """Return the sung waveform, and the pressure [Pa] that it adds in the mouth."""
    if setup.voice.source == "off":
        return np.zeros(steady.size), np.zeros(steady.size)
    if setup.voice.source == "recording":
        wave = sing(setup, steady.size / score.rate)
        return wave, curves.depth * steady * wave
    if not line:
        return np.zeros(steady.size), np.zeros(steady.size)
    sung = sing_line(setup, curves.sung_hz, line)
    wave = sung.wave * curves.singing
    strength = curves.depth * steady if sung.pressure is None else sung.pressure * curves.blowing
    return wave, strength * wave


def _aimed(
    score: Score,
    curves: Controls,
    fingered: tuple[Span, ...],
    line: tuple[Span, ...],
    steady: Samples,
    held: Held | None,
) -> list[tuple[Span, Setup]]:
    """Return the sung notes, and over which horn, breath and depth each is aimed: its middle's."""
    own, ends = _sounding(score), [span.end for span in fingered]
    found = []
    for span in line:
        middle = (span.first + span.end) // 2
        setup = score.setup_of(own[min(bisect.bisect_right(ends, middle), len(own) - 1)])
        depth = curves.depth[middle] or curves.depth[span.first : span.end].max()
        if not span.hz or depth == 0.0 or not setup.voice.folded:
            continue
        # Rounded as the pairs that are held are: far finer than any lock.
        voice = {"frequency": round(span.hz, 5), "depth": round(float(depth), 6)}
        if steady[middle] > 0.0:
            setup = _as_held(setup, middle, steady, held)
        changed = {"voice": setup.voice.model_copy(update=voice)}
        found.append((span, setup.model_copy(update=changed)))
    return found


def _radiated(bores: list[Setup], changes: list[Change], outgoing: Samples, rate: float) -> Samples:
    """Return the sound of all bores, each heard while it is there."""
    unit = round(rate) // math.gcd(round(rate), SOUND_RATE)
    heard = np.zeros(round(outgoing.size * SOUND_RATE / rate) + 1)
    ends = [*(change.at + change.steps for change in changes[1:]), outgoing.size]
    for place, (change, end) in enumerate(zip(changes, ends, strict=True)):
        first = change.at // unit * unit
        last = end + round(RINGS_S * rate)
        window = np.zeros(-(-(last - first) // unit) * unit)
        here = outgoing[change.at : end].copy()
        here[: change.steps] *= _coming(change.steps)
        if place + 1 < len(changes) and changes[place + 1].steps:
            here[-changes[place + 1].steps :] *= 1.0 - _coming(changes[place + 1].steps)
        window[change.at - first : end - first] = here
        begin = first // unit * (unit * SOUND_RATE // round(rate))
        sound = radiated(bores[change.bore], window)[: heard.size - begin]
        heard[begin : begin + sound.size] += sound
    return heard[:-1]


def _coming(steps: int) -> Samples:
    """Return the share of the bore that comes, a value a step."""
    return rise((np.arange(steps) + 1) / max(steps, 1))


def stretches(performance: Performance) -> tuple[Stretch, ...]:
    """Cut a passage where the fingered or the sung note changes; rests of the horn are left out.

    Parameters
    ----------
    performance : Performance
        What was played.

    Returns
    -------
    tuple of Stretch
        In the order of time; for a recorded voice those that `measures.stretches` finds, and the
        silence of at least `SILENCE_S` between them.
    """
    score = performance.score
    sung = _recorded_notes(performance) if score.recorded else _sung_notes(performance)
    marks = {0, performance.sung.size}
    for first, end, _, _ in sung:
        marks |= {first, end}
    found = []
    for span in performance.fingered:
        if not span.hz:
            continue
        cuts = sorted({span.first, span.end, *(m for m in marks if span.first < m < span.end)})
        for first, end in itertools.pairwise(cuts):
            note, hz = next(((k, f) for a, b, k, f in sung if a <= first < b), (None, None))
            if hz is not None or not score.recorded or end - first >= SILENCE_S * score.rate:
                found.append(Stretch(span.note, note, first, end, hz))
    return tuple(found)


_Note = tuple[int, int, int | None, float | None]


def _sung_notes(performance: Performance) -> list[_Note]:
    return [(s.first, s.end, s.note, s.hz or None) for s in performance.sung_notes]


def _recorded_notes(performance: Performance) -> list[_Note]:
    rate = performance.score.rate
    found = steady(performance.sung, rate)
    return [(round(s.begin * rate), round(s.end * rate), None, s.hz) for s in found]
