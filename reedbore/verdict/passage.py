"""Note by note, what became of a passage: planned, reached within the note, and held for good.

In: a `Performance`. Out: a `NoteVerdict` for each stretch of it. *Planned* is arithmetic on what
was asked for. *Reached* is measured inside the stretch on the sung waveform, the pressure in the
mouthpiece and the sound, and sees no request. *Held* is the verdict of the same pair played from
rest for as long as it takes. A stretch is called locked only if the held pair is, at the same
ratio, and the beat has come to rest before the stretch ends. Sung by folds, the note that is asked
for is what the singer aims at; what is sung, and how far the horn pulls it, is measured.
"""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from reedbore.measures import locking, pitch
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import PREDICTED_LIMIT, cents, choose_ratio
from reedbore.pairs import Prediction
from reedbore.simulate import mouth
from reedbore.simulate.controls import beats_at
from reedbore.simulate.performance import Performance, Stretch, perform, stretches
from reedbore.simulate.player import held_still
from reedbore.simulate.take import again, render
from reedbore.verdict import runs
from reedbore.verdict.result import NEAR_CENTS, SIMPLE, Control, Verdict
from reedbore.verdict.state import State
from reedbore.verdict.stretch import Held, Inside
from reedbore.verdict.take import aimed, judge

THREADS = 2
"""Held pairs that are played side by side."""

AIM_NEAR_CENTS = 60.0
"""So near a just note an aim counts as aimed at it: the horn's sound in the mouth shifts a voice by
tens of cents before it holds it. [cents]"""


@dataclass(frozen=True, kw_only=True)
class NoteVerdict:
    """What became of one stretch of a passage.

    Attributes
    ----------
    number : int
        Place among the stretches, from 1.
    begin_s, end_s : float
        From the start of the passage. [s]
    beat, beats : float
        When it begins and how long it lasts, in beats, to a thousandth.
    fingered_hz : float
        As asked for. [Hz]
    fingering : str
        Name of the fingering, "" for the plain one.
    sung_hz : float or None
        As asked for, which of folds is the aim; of a recorded voice as measured; None where nobody
        sings. [Hz]
    planned : Prediction or None
        What arithmetic says of the pitch at which the voice repeats; of an aim, with p and q up to
        8; None where nobody sings.
    reached : Verdict
        Measured within the stretch; ``settle_s`` counts from where it begins.
    rest_s : float or None
        Where it is locked, the time from its beginning to where the beat is at rest. [s]
    held : Verdict or None
        Of the same pair held; None where nobody sings or it was not asked for.
    depth : float or None
        Of the sung pressure, set or, for a source of flow, computed; None where nobody sings.
    folds : int
        After how many periods of the sung note the voice repeats: more than 1 for false folds.
    lungs : float or None
        Median pressure in the lungs late in the stretch, if folds sing there. [Pa]
    """

    number: int
    begin_s: float
    end_s: float
    beat: float
    beats: float
    fingered_hz: float
    fingering: str
    sung_hz: float | None
    planned: Prediction | None
    reached: Verdict
    rest_s: float | None
    held: Verdict | None
    depth: float | None = None
    folds: int = 1
    lungs: float | None = None

    @property
    def off_just_cents(self) -> float | None:
        """How far the sung note lies above the just one that is planned. [cents]."""
        meeting = self.planned and self.planned.meeting
        return cents(self.planned.sung_hz, meeting.sing_hz) if self.planned and meeting else None


def judge_notes(
    performance: Performance,
    *,
    cuts: Sequence[Stretch] | None = None,
    held: bool = True,
    tell: Callable[[float], None] | None = None,
) -> tuple[NoteVerdict, ...]:
    """Judge each stretch of a passage.

    Parameters
    ----------
    performance : Performance
        What was played.
    cuts : sequence of Stretch, optional
        Its stretches, if they are known already; by default those of `performing.stretches`.
    held : bool
        Whether to hold each pair as well; takes up to some seconds a pair. Without, no stretch
        can be called locked.
    tell : callable, optional
        Told the share done so far, from 0 to 1.

    Returns
    -------
    tuple of NoteVerdict
        One for each stretch, in order.
    """
    parts = _sung_or_not(performance, stretches(performance) if cuts is None else cuts)
    told = tell or (lambda _: None)
    setups = [_pair(performance, part) for part in parts]
    alone = {s: runs.alone(s) for s in dict.fromkeys(map(_silenced, setups))}
    asked = [s for s, part in zip(setups, parts, strict=True) if held and part.sung_hz is not None]
    known = _hold_all(list(dict.fromkeys(map(held_still, asked))), told)
    moves = any(setup.breath.moves for setup in setups)
    still = perform(performance.score, still=True) if moves else performance
    rows = []
    for number, (part, setup) in enumerate(zip(parts, setups, strict=True), 1):
        pair = known.get(held_still(setup)) if part.sung_hz is not None else None
        row = _row(performance, still, part, setup, alone[_silenced(setup)], pair)
        rows.append(replace(row, number=number))
    told(1.0)
    return tuple(rows)


def _sung_or_not(performance: Performance, cuts: Iterable[Stretch]) -> tuple[Stretch, ...]:
    """Leave out what is written for a voice that is switched off."""
    score = performance.score

    def silent(part: Stretch) -> bool:
        return score.setup_of(part.fingered).voice.source == "off"

    return tuple(part._replace(sung_hz=None) if silent(part) else part for part in cuts)


def _row(
    performance: Performance,
    still: Performance,
    part: Stretch,
    setup: Setup,
    control: Control,
    pair: Held | None,
) -> NoteVerdict:
    score = performance.score
    note = performance.fingered[part.fingered]
    begin, end = part.first / score.rate, part.end / score.rate
    first, last = (round(float(b), 3) for b in beats_at(score.passage, np.array([begin, end])))
    depth = mouth.depth(setup)
    folds = setup.voice.false_folds if setup.voice.source in {"pulse", "sine"} else 1
    reached, rest = Inside(still, part, control, pair, depth).judged(performance)
    lungs = _lungs(performance, part)
    return NoteVerdict(
        number=1,
        begin_s=begin,
        end_s=end,
        beat=first,
        beats=round(last - first, 3),
        fingered_hz=note.hz,
        fingering=note.fingering,
        sung_hz=part.sung_hz,
        planned=_planned(note.hz, part.sung_hz, folds, score.a4, aims=lungs is not None),
        reached=aimed(reached, setup),
        rest_s=rest,
        held=pair.verdict if pair else None,
        depth=None if part.sung_hz is None else depth,
        folds=folds,
        lungs=lungs,
    )


def _lungs(performance: Performance, part: Stretch) -> float | None:
    """Return the median pressure in the lungs late in a stretch, if folds sing there. [Pa]."""
    over = performance.traces.lungs
    if part.sung_hz is None or not over.size:
        return None
    late = slice((part.first + part.end) // 2, part.end)
    return float(np.median(over[late] + performance.pressure_asked[late]))


def _planned(
    fingered: float, sung: float | None, folds: int, a4: float, *, aims: bool
) -> Prediction | None:
    """Return what arithmetic says; what counts is the pitch at which the voice repeats."""
    if sung is None:
        return None
    near, limit = (AIM_NEAR_CENTS, SIMPLE) if aims else (NEAR_CENTS, PREDICTED_LIMIT)
    return Prediction(
        fingered_hz=fingered,
        sung_hz=sung / folds,
        ratio=choose_ratio(sung / folds / fingered, near, limit),
        tolerance_cents=near,
        a4=a4,
    )


# --- the pairs, held -----------------------------------------------------------------------------


def _pair(performance: Performance, part: Stretch) -> Setup:
    """Return the setup that holds the pair of a stretch, blown and sung as in its middle.

    A recording is held as a plain voice of its pitch: what makes a made voice human is no part of
    it. At no depth nobody sings.
    """
    middle = (part.first + part.end) // 2
    setup = performance.setup_at(part.fingered, middle)
    voice = setup.voice
    if voice.source == "recording":
        # A tongue that acts back on the reed stays where it is.
        voice = Voice(vowel=voice.vowel if setup.tract.coupling == "on" else "none")
    sung: dict[str, Any] = {}
    if part.sung_hz is not None:
        sung["frequency"] = round(part.sung_hz, 5)
    if not voice.flows:
        curve = performance.controls.depth
        depth = curve[middle] or curve[part.first : part.end].max()
        sung["depth"] = round(float(depth), 6)
        if depth == 0.0:
            sung["source"] = "off"
    return setup.model_copy(update={"voice": voice.model_copy(update=sung)})


def _silenced(setup: Setup) -> Setup:
    """Return the same without a voice, equal for all that is sung over one note.

    The tongue stays where it is: its shape may act on the reed.
    """
    voice = setup.voice.model_copy(update=_SILENT)
    return setup.model_copy(update={"voice": voice})


_SILENT = {"source": "off", "depth": 0.0, "frequency": Voice().frequency}


def _hold_all(setups: list[Setup], tell: Callable[[float], None]) -> dict[Setup, Held]:
    """Play each pair from rest for as long as it takes; compiled steps run side by side."""
    found: dict[Setup, Held] = {}
    with ThreadPoolExecutor(THREADS) as pool:
        for setup, pair in zip(setups, pool.map(_hold, setups), strict=True):
            found[setup] = pair
            tell(len(found) / (len(setups) + 1))
    return found


def _hold(setup: Setup) -> Held:
    take = render(setup, runs.LEAST_SECONDS)
    found = judge(take)
    if found.state != State.LOCKED or found.ratio is None or found.sung_hz is None:
        return Held(found, None)
    sung, ratio = found.sung_hz, found.ratio
    band = min(sung / ratio[0], runs.LINE_BAND)
    ends: list[float] = []

    def observe(_: float, seconds: float) -> locking.Course:
        run = again(setup, seconds)
        pressure, rate = pitch.thin(run.traces.pressure, setup.time.rate)
        voice, _rate = pitch.thin(run.sung, setup.time.rate)
        course = runs.beat(pressure, voice, rate, sung, ratio, band)
        ends.append(float(np.median(course.cycles[-course.cycles.size // 16 :])))
        return course

    locking.answer(locking.watch(0.0), observe)
    return Held(found, ends[-1])
