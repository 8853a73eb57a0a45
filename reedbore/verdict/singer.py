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
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import hearing, locking, pitch, spectrum
from reedbore.measures.locking import Course, Edge
from reedbore.model.setup import Setup
from reedbore.notes import cents
from reedbore.physics import folds, glottis
from reedbore.simulate.folds import LEAST_SWING, REACH, reachable, solve
from reedbore.simulate.lungs import breathing
from reedbore.simulate.outside import SOUND_RATE, radiated
from reedbore.simulate.singing import USUAL_WANDER_CENTS
from reedbore.simulate.take import Take, again
from reedbore.verdict import runs
from reedbore.verdict.human_hold import HELD_CYCLES, HOLD_S, still_share
from reedbore.verdict.lock_edges import Inside, Ratio, Sought, search, sung_at
from reedbore.verdict.questions import Pair, Progress
from reedbore.verdict.state import Reason, RowState

Samples = NDArray[np.float64]

_In = TypeVar("_In")
_Out = TypeVar("_Out")

TYPICAL = "firm"
"""The one of `physics.folds.VOICES` that is shown where one has to do; it was chosen because it
sings all ratios of the demo at a normal depth, before any width was compared."""

FINENESS = 2.0
"""Edges are told to so many cents: nobody aims more finely."""

LONGEST_S = 24.0
"""A breath lasts no longer: what is not decided then is no lock that a singer could use. [s]"""

BOUNDED = HELD_CYCLES
"""What has stayed within this for that long is in step, though it may never come to rest: folds and
horn held by each other may wobble. [cycles]"""

LOOKED_AT = 0.0, -60.0, 60.0, -120.0, 120.0
"""Aims from which a lock is looked for: the horn's sound in the mouth shifts a voice before it
holds it. [cents]"""

LISTEN_S = 4.0
"""So long the pair sounds that is listened to. [s]"""

CURVE_RATE = 1000.0
"""Points a second of the wander of an aim, which is slower than half a hertz. [Hz]"""

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
    depth: float | None = None
    """With which it was sung, the nearest that these folds reach; None: with that asked for."""

    @property
    def width(self) -> float:
        """How wide the range of aims is [cents]; 0 without a lock."""
        return self.high.inside - self.low.inside if self.low and self.high else 0.0

    @property
    def open_ended(self) -> bool:
        """Whether the range goes on beyond where it was looked for."""
        ends = (self.low.inside, self.high.inside) if self.low and self.high else ()
        return any(abs(end) > REACH - 2.0 * FINENESS for end in ends)


def observed(take: Take, sung_hz: float, ratio: Ratio) -> locking.Observe:
    """Make what the judge observes of a singer: the phase of p·played - q·sung, both measured.

    Parameters
    ----------
    take : Take
        Sung by folds.
    sung_hz : float
        What they sing, near p/q times the played pitch. [Hz]
    ratio : (p, q)
        At which the two are compared.

    Returns
    -------
    callable
        Called with a pull of the aim [cents] and a time [s].
    """

    def observe(detuning: float, seconds: float) -> Course:
        return beat_of(again(take.setup, seconds, detuning), sung_hz, ratio)

    return observe


def beat_of(run: Take, sung_hz: float, ratio: Ratio) -> Course:
    """Follow how far p·played runs ahead of q·sung, near what is sung [Hz]."""
    rate, band = run.setup.time.rate, min(sung_hz / ratio[0], BAND)
    pressure, thin = pitch.thin(run.traces.pressure, rate)
    gap, _ = pitch.thin(run.traces.half_gap, rate)
    played = pitch.phase_track(pressure, thin, sung_hz * ratio[1] / ratio[0], band)
    sung = pitch.phase_track(gap, thin, sung_hz, band)
    swings = np.searchsorted(pitch.rises(gap, thin), sung.times).astype(float)
    lines = played.cycles[np.newaxis], sung.cycles[np.newaxis], swings[np.newaxis]
    p, q = (np.array([number]) for number in ratio)
    return runs.singer_beat(sung.times, *lines, np.array([sung_hz]), p, q).of(0)


def singer_row(setup: Setup, voice_off_hz: float, ratio: Ratio) -> SingerRow:
    """Find out how exactly one singer has to aim at one ratio; as `singer_rows`."""
    return singer_rows([setup], voice_off_hz, [ratio])[0][0]


def singer_rows(
    setups: Sequence[Setup],
    voice_off_hz: float,
    ratios: Sequence[Ratio],
    tell: Progress | None = None,
    executor: Executor = CPU,
) -> list[list[SingerRow]]:
    """Find out how exactly singers have to aim at some ratios, all of them side by side.

    Parameters
    ----------
    setups : sequence of Setup
        One for each singer, tuned; the sung frequency does not matter.
    voice_off_hz : float
        What the horn plays with the voice off. [Hz]
    ratios : sequence of (p, q)
        What is aimed at.
    tell : callable, optional
        Told the share done.
    executor : Executor
        The machine that searches; as many threads as are best for it listen.

    Returns
    -------
    list of list of SingerRow
        For each singer a row a ratio.
    """
    told = tell or (lambda _: None)
    at_once = partial(_at_once, threads=executor.threads)
    cases = [
        _Case(sung_at(setup, voice_off_hz * ratio[0] / ratio[1]), ratio)
        for setup in setups
        for ratio in ratios
    ]
    settled = at_once(_settled, cases, lambda share: told(0.4 * share))
    singing = [case for case in settled if isinstance(case, _Case)]
    pairs = [Pair(case.setup, *case.ratio) for case in singing]
    sought = search(pairs, _look, _edge, lambda share: told(0.4 + 0.4 * share), executor)
    work = list(zip(singing, sought, strict=True))
    found = iter(at_once(_sung_row, work, lambda share: told(0.8 + 0.2 * share)))
    rows = [
        _unsung(case, one) if isinstance(one, str) else _told(next(found), case, one)
        for case, one in zip(cases, settled, strict=True)
    ]
    return [rows[k * len(ratios) : (k + 1) * len(ratios)] for k in range(len(setups))]


def aims_at(
    setup: Setup,
    voice_off_hz: float,
    ratios: Sequence[Ratio],
    *,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Sought | None]:
    """Find the ranges of aims at some ratios for one singer, with the depth that is asked for.

    Parameters
    ----------
    setup, voice_off_hz, ratios, progress, executor
        As for `lock_edges.edges_of`; the voice is sung by folds. Given lungs blow as they do for
        the just note.

    Returns
    -------
    list
        One for each ratio; None if the run diverged.
    """
    told = progress or (lambda _: None)
    cases = [_Case(sung_at(setup, voice_off_hz * p / q), (p, q)) for p, q in ratios]
    asked = _at_once(_blown, cases, lambda share: told(0.7 * share), executor.threads)
    pairs = [Pair(one.setup, *one.ratio) for one in asked if isinstance(one, _Case)]
    found = iter(search(pairs, _look, _edge, lambda share: told(0.7 + 0.3 * share), executor))
    refused = Sought(None, (-math.inf, math.inf))
    return [
        next(found) if isinstance(one, _Case) else replace(refused, unsung=one) for one in asked
    ]


class _Case(NamedTuple):
    """A singer who aims at the just note of a ratio."""

    setup: Setup
    ratio: Ratio


def _at_once(
    work: Callable[[_In], _Out], on: Sequence[_In], tell: Progress, threads: int
) -> list[_Out]:
    """Work on all with a few threads; compiled steps run side by side."""
    done: list[_Out] = []
    with ThreadPoolExecutor(threads) as pool:
        for one in pool.map(work, on):
            done.append(one)
            tell(len(done) / len(on))
    return done


def _blown(case: _Case) -> _Case | str:
    """Blow as the lungs do, if they are given; or say why folds do not sing what is asked for."""
    try:
        blown = breathing(case.setup)
        solve(blown)
    except ModelError as error:
        return str(error)
    return case._replace(setup=blown)


def _settled(case: _Case) -> _Case | str:
    """Find the depth that folds reach at what they aim at, or say why they do not sing it."""
    try:
        return case._replace(setup=reachable(case.setup))
    except ModelError as error:
        return str(error)


def _told(row: SingerRow, asked: _Case, sung: _Case) -> SingerRow:
    """Say in a row with what depth it was sung, if it is not the one that was asked for."""
    depth = sung.setup.voice.depth
    return row if depth == asked.setup.voice.depth else row._replace(depth=depth)


def _unsung(case: _Case, reason: str, middle: Aim | None = None) -> SingerRow:
    just = case.setup.voice.frequency
    return SingerRow(case.ratio, just, RowState.UNSUNG, reason, None, None, None, middle)


def _sung_row(work: tuple[_Case, Sought | None]) -> SingerRow:
    """Measure what comes of a pair at the middle of the range of aims, or at the just note."""
    case, sought = work
    (setup, ratio), just = case, case.setup.voice.frequency
    edges = sought.edges if sought else None
    middle = 0.5 * (edges[0].inside + edges[1].inside) if edges else 0.0
    run = again(setup, LISTEN_S, middle)
    aim = aim_of(run, middle)
    if edges is None:
        return SingerRow(ratio, just, RowState.FREE, None, None, None, None, aim)
    if math.isnan(aim.sung_hz):
        # They sing into the leak; over the horn they only let themselves be driven.
        return _unsung(case, Reason.FOLDS_REST, aim)
    held, heard = held_share(setup, ratio, middle), heard_of(run, ratio)
    return SingerRow(ratio, just, RowState.LOCKED, None, *edges, held, aim, heard)


def heard_of(run: Take, ratio: Ratio) -> str:
    """Tell how well the third note of a pair in step is heard."""
    sound = radiated(run.setup, run.traces.outgoing)
    found = spectrum.lines(sound[sound.size // 2 :], SOUND_RATE, -70.0)
    return hearing.third_note(found, ratio, run.setup.voice.frequency / ratio[0])[1]


def _look() -> locking.Question[Inside]:
    """Look for an aim that keeps step, and the nearest ones on either side that do not."""
    found: Inside = None, -math.inf, math.inf
    for start in LOOKED_AT:
        found = yield from locking.find_inside(start, FINENESS, LONGEST_S, REACH, BOUNDED)
        if found[0] is not None or (math.isfinite(found[1]) and math.isfinite(found[2])):
            break
    return found


def _edge(inside: float, outside: float, way: float) -> locking.Question[Edge]:
    """Find the aim up to which voice and horn keep step, from one that does."""
    return locking.edge(
        inside, outside, way, REACH, FINENESS, LONGEST_S, first=8.0, bounded=BOUNDED
    )


def aims_of(observe: locking.Observe) -> tuple[float, float]:
    """Find the range of aims [cents] that keep step, about one that does: 0."""
    lower, upper = (locking.answer(_edge(0.0, way * math.inf, way), observe) for way in (-1.0, 1.0))
    return lower.inside, upper.inside


def aim_of(run: Take, pull_cents: float) -> Aim:
    """Measure what a singer really sings who aims so many cents beside a setup's note."""
    setup, late = run.setup, run.sung.size // 2
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
    times = np.arange(round(HOLD_S * CURVE_RATE) + 1) / CURVE_RATE
    curve = glottis.slow_wander(times, USUAL_WANDER_CENTS, dice)
    aims = aim_cents + np.interp(np.arange(round(HOLD_S * rate)) / rate, times, curve)
    course = beat_of(again(setup, HOLD_S, aims), setup.voice.frequency, ratio)
    ahead = np.cumsum(setup.voice.frequency * (2.0 ** (curve / 1200.0) - 1.0)) / CURVE_RATE
    alone = -ratio[1] * np.interp(course.times, times, ahead)
    still, chance = still_share(course.times, course.cycles), still_share(course.times, alone)
    return beyond_chance(still, chance)


def beyond_chance(still: float, chance: float) -> float:
    """Return which share of the time is held beyond chance, of a pair that is known to lock.

    A wander so slow that it alone would keep the beat still all the time, as over a low note,
    proves nothing: then all counts that is still.
    """
    return max(still - chance, 0.0) / (1.0 - chance) if chance < 1.0 else still


def tried(singers: str) -> tuple[str, ...]:
    """Name the voices of `physics.folds.VOICES` that are tried: ``none``, ``one`` or ``nine``."""
    return {"none": (), "one": (TYPICAL,), "nine": tuple(folds.VOICES)}[singers]


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
