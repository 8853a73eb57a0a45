"""What a singer can do over a fingered note: how exactly to aim so that voice and horn keep step.

In: a tuned setup whose voice is sung by folds. Out: for each ratio p/q the range of *aims* that
fall into step, how far the voice is pulled there, and how long it stays with natural wander. All
aims are in cents against p/q times the pitch that the horn plays with the voice off.

Folds are no clock: both phases are measured, that of the horn in the mouthpiece, that of the voice
on the folds. The judge is that of `measures.locking`; what it pulls is the aim, by the tension of
the folds. A subharmonic of the folds alone is none of the horn's: what counts is the phase of
p·played - q·sung, which folds alone do not hold.
"""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.measures import hearing, locking, pitch, spectrum
from reedbore.measures.locking import Course, Edge
from reedbore.model.setup import Setup
from reedbore.notes import cents
from reedbore.physics import folds, glottis
from reedbore.simulate.folds import LEAST_SWING, REACH, solve
from reedbore.simulate.outside import SOUND_RATE, radiated
from reedbore.simulate.singing import USUAL_WANDER_CENTS
from reedbore.simulate.take import Take, again
from reedbore.verdict import runs
from reedbore.verdict.human_hold import HOLD_S, still_share
from reedbore.verdict.lock_edges import Ratio, sung_at
from reedbore.verdict.state import Reason, RowState

Samples = NDArray[np.float64]
Progress = Callable[[float], None]

FINENESS = 2.0
"""Edges are told to so many cents: nobody aims more finely."""

LONGEST_S = 24.0
"""A breath lasts no longer: what is not decided then is no lock that a singer could use. [s]"""

LOOKED_AT = 0.0, -60.0, 60.0, -120.0, 120.0
"""Aims from which a lock is looked for: the horn's sound in the mouth shifts a voice before it
holds it. [cents]"""

LISTEN_S = 4.0
"""So long the pair sounds that is listened to. [s]"""

BAND = 20.0
"""Lines farther than this from horn or voice are kept out of their phases. [Hz]"""


class Aim(NamedTuple):
    """What became of one aim; nan where there is none."""

    sung_hz: float
    played_hz: float
    pulled_cents: float
    """What is sung against the aim."""
    lungs: float
    """Pressure in the lungs. [Pa]"""


class SingerRow(NamedTuple):
    """What is known of one ratio for one singer."""

    ratio: Ratio
    just_hz: float
    """p/q times what the horn plays alone. [Hz]"""
    state: RowState
    """``locked``, ``free``, or ``unsung``: these folds do not sing the note."""
    reason: str | None
    low: Edge | None
    high: Edge | None
    """Of the aim. [cents]"""
    held: float | None
    """Share of the time in step, with natural wander."""
    middle: Aim | None
    """At the middle of the range, or at the just note."""
    heard: str | None = None
    """How well the third note is heard there; None without a lock."""

    @property
    def width(self) -> float:
        """How wide the range of aims is [cents]; 0 without a lock."""
        return self.high.inside - self.low.inside if self.low and self.high else 0.0

    @property
    def open_ended(self) -> bool:
        """Whether the range goes on beyond where it was looked for."""
        ends = (self.low.inside, self.high.inside) if self.low and self.high else ()
        return any(abs(end) > REACH - 2.0 * FINENESS for end in ends)


def observed(setup: Setup, ratio: Ratio) -> locking.Observe:
    """Make what the judge observes of a singer: the phase of p·played - q·sung, both measured.

    Parameters
    ----------
    setup : Setup
        Its voice aims near p/q times the played pitch.
    ratio : (p, q)
        At which the two are compared.

    Returns
    -------
    callable
        Called with a pull of the aim [cents] and a time [s].
    """

    def observe(detuning: float, seconds: float) -> Course:
        stopping.check()
        return beat_of(again(setup, seconds, detuning), ratio)

    return observe


def beat_of(run: Take, ratio: Ratio) -> Course:
    """Follow how far p·played runs ahead of q·sung."""
    rate, hz = run.setup.time.rate, run.setup.voice.frequency
    pressure, thin = pitch.thin(run.traces.pressure, rate)
    gap, _ = pitch.thin(run.traces.half_gap, rate)
    return runs.beat(pressure, gap, thin, hz, ratio, min(hz / ratio[0], BAND))


def singer_row(setup: Setup, voice_off_hz: float, ratio: Ratio) -> SingerRow:
    """Find out how exactly one singer has to aim at one ratio.

    Parameters
    ----------
    setup : Setup
        Tuned; the sung frequency does not matter.
    voice_off_hz : float
        What the horn plays with the voice off. [Hz]
    ratio : (p, q)
        The ratio.

    Returns
    -------
    SingerRow
        What was found.
    """
    just = voice_off_hz * ratio[0] / ratio[1]
    aimed = sung_at(setup, just)
    try:
        solve(aimed)
    except ModelError as error:
        return SingerRow(ratio, just, RowState.UNSUNG, str(error), None, None, None, None)
    observe = observed(aimed, ratio)
    inside = _inside(observe)
    if inside is None:
        return SingerRow(ratio, just, RowState.FREE, None, None, None, None, aim_of(aimed, 0.0))
    here, low, high = inside
    lower, upper = _edges(observe, here, low, high)
    middle = 0.5 * (lower.inside + upper.inside)
    aim = aim_of(aimed, middle)
    if math.isnan(aim.sung_hz):
        # They sing into the leak; over the horn they only let themselves be driven.
        return SingerRow(ratio, just, RowState.UNSUNG, Reason.FOLDS_REST, None, None, None, aim)
    held, heard = held_share(aimed, ratio, middle), heard_of(aimed, ratio, middle)
    return SingerRow(ratio, just, RowState.LOCKED, None, lower, upper, held, aim, heard)


def heard_of(setup: Setup, ratio: Ratio, pull_cents: float) -> str:
    """Tell how well the third note of a pair in step is heard, for an aim so far beside [cents]."""
    run = again(setup, LISTEN_S, pull_cents)
    sound = radiated(setup, run.traces.outgoing)
    found = spectrum.lines(sound[sound.size // 2 :], SOUND_RATE, -70.0)
    return hearing.third_note(found, ratio, setup.voice.frequency / ratio[0])[1]


def _edges(
    observe: locking.Observe, here: float, low: float = -math.inf, high: float = math.inf
) -> tuple[Edge, Edge]:
    """Find the aims between which voice and horn keep step, from one that does."""
    lower, upper = (
        locking.answer(locking.edge(here, far, way, REACH, FINENESS, LONGEST_S, first=8.0), observe)
        for far, way in ((low, -1.0), (high, 1.0))
    )
    return lower, upper


def aims_of(observe: locking.Observe) -> tuple[float, float]:
    """Find the range of aims [cents] that keep step, about one that does: 0."""
    lower, upper = _edges(observe, 0.0)
    return lower.inside, upper.inside


def _inside(observe: locking.Observe) -> tuple[float, float, float] | None:
    """Find an aim that keeps step, and the nearest ones on either side that do not."""
    for start in LOOKED_AT:
        question = locking.find_inside(start, FINENESS, LONGEST_S, REACH)
        here, low, high = locking.answer(question, observe)
        if here is not None:
            return here, low, high
        if math.isfinite(low) and math.isfinite(high):
            return None
    return None


def aim_of(setup: Setup, pull_cents: float) -> Aim:
    """Measure what a singer really sings who aims so many cents beside a setup's note."""
    run = again(setup, runs.LEAST_SECONDS, pull_cents)
    late = run.sung.size // 2
    gap, pressure = run.traces.half_gap[late:], run.traces.pressure[late:]
    rate, hz = setup.time.rate, setup.voice.frequency
    lungs = float(run.traces.lungs[-1]) + setup.breath.pressure
    played = pitch.fundamental(pressure, rate)
    if played is None or np.ptp(gap) < 2.0 * LEAST_SWING:
        return Aim(math.nan, math.nan, math.nan, lungs)
    aim = hz * 2.0 ** (pull_cents / 1200.0)
    # Held by the horn, folds may repeat only after some of their swings: their own line counts.
    sung = pitch.refine(*pitch.thin(gap, rate), aim)
    return Aim(sung, played.hz, cents(sung, aim), lungs)


def held_share(setup: Setup, ratio: Ratio, aim_cents: float, seed: int = 0) -> float:
    """Measure how much of the time a singer whose aim wanders stays in step.

    Parameters
    ----------
    setup : Setup
        Its voice aims at the just note.
    ratio : (p, q)
        At which it is to keep step.
    aim_cents : float
        Where the aim wanders about. [cents]
    seed : int
        Which wander.

    Returns
    -------
    float
        Share of the time beyond chance, as `human_hold.held_share`: less that in which so slow a
        wander would keep the beat still by itself.
    """
    rate, dice = setup.time.rate, np.random.default_rng(seed)
    curve = glottis.slow_wander(np.arange(round(HOLD_S * rate)) / rate, USUAL_WANDER_CENTS, dice)
    course = beat_of(again(setup, HOLD_S, aim_cents + curve), ratio)
    ahead = np.cumsum(setup.voice.frequency * (2.0 ** (curve / 1200.0) - 1.0)) / rate
    alone = -ratio[1] * np.interp(course.times, np.arange(curve.size) / rate, ahead)
    still, chance = still_share(course.times, course.cycles), still_share(course.times, alone)
    return max(still - chance, 0.0) / (1.0 - chance) if chance < 1.0 else 0.0


def singer_rows(
    setup: Setup, voice_off_hz: float, ratios: Sequence[Ratio], tell: Progress | None = None
) -> list[SingerRow]:
    """Find out for many ratios how exactly one singer has to aim; as `singer_row`."""
    rows: list[SingerRow] = []
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        for row in pool.map(lambda ratio: singer_row(setup, voice_off_hz, ratio), ratios):
            rows.append(row)
            if tell:
                tell(len(rows) / len(ratios))
    return rows


def singers(setup: Setup) -> dict[str, Setup]:
    """Return a setup with each of the voices that stand for all singers.

    Returns
    -------
    dict of str to Setup
        Light to heavy, loose to firm; nobody's own folds are known.
    """
    made = {}
    for name, fold in folds.VOICES.items():
        changed = {"fold_mass": fold.mass, "gap": 2.0 * fold.gap, "drive": "folds"}
        voice = setup.voice.model_copy(update=changed)
        made[name] = setup.model_copy(update={"voice": voice})
    return made
