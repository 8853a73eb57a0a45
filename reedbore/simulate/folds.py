"""A voice sung by folds: how tense and how far apart they have to be for a note.

In: a tuned setup whose `voice.drive` is ``folds``. Out: the folds as numbers, and what the same
singer sings with other muscles. What a singer *aims* at is what the same folds, with the same
muscles, sing into a steady leak that takes the mean flow of the horn: no horn sounds back there.

Three things are solved. The gap goes with the flow that the horn takes, so that the pressure
across the folds is that of the same singer on any horn. Tension makes the aim. A chink that never
shuts, behind the part that swings, makes the voice as soft as its depth asks for: it takes its
share of the one flow that reed and breath leave to the folds.
"""

import contextlib
import functools
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError, ReedboreError
from reedbore.files import cache_place, write_whole
from reedbore.kernel import folds as rows
from reedbore.kernel import single
from reedbore.kernel.folds import Folds, Postures, Singer, Steady, sing_into_leak, singer_of
from reedbore.measures.pitch import crossing_rate
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents, note_name
from reedbore.physics import folds, reed
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics.airway import TRACT_K
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.acoustics.singer_airway import FAST_S, airway_steps
from reedbore.simulate.controls import Span
from reedbore.simulate.singing import line_bend, parts, pitch_bend
from reedbore.simulate.tuning import blown, sources

Reals = NDArray[np.float64]

USUAL_FLOW = 0.35e-3
"""What a tenor saxophone takes at its usual breath (computed), for which gaps are told. [m³ s⁻¹]"""

FALLING_HZ = 250.0
"""Above this the wave on the folds takes a share of a period, below it a time: our choice."""

MOST_LUNGS = 4e3
"""No singer starts with more pressure across the folds than this. [Pa]"""

STIR = 5e-4
"""So far from rest the folds begin: near a resonance of the walls a smaller swing dies where one of
this size goes on. [m]"""

RUN_S = 1.25
"""How long folds sing into the leak; their note is that of the end, when the lungs are slow. [s]"""

SETTLED_PA = 2.0
"""Lungs that change less than this from one try to the next have settled. [Pa]"""

LEAST_SWING = 2e-5
"""Half a swing below this is no voice. [m]"""

TENSIONS = np.arange(-1000.0, 501.0, 100.0)
"""Where it is looked for the aim: cents of the folds' own frequency against it."""

MOST_JUMP = 250.0
"""Two tensions whose notes lie farther apart have a break of the voice between them. [cents]"""

AIM_CENTS, JUMP_CENTS, MOST_TRIES = 0.1, 2.0, 10
"""So near comes the aim; or so near after many tries, for folds that meet between two steps jump by
a cent or two at some tensions. [cents]"""

DEPTH_SHARE = 0.03
"""So near comes the depth."""

WIDEST_CHINK = 2.5e-5
"""Searched up to here. [m²]"""

HELD = 100.0
"""Damping of folds that are held still, against that of folds that sing: nothing swings so."""

REACH = 300.0
"""How far a singer's aim can be pulled. [cents]"""


class UnreachedError(ModelError):
    """Folds sing a note, but not with the depth that was asked for."""

    softest = loudest = math.nan
    """Between these depths they do."""


class Solved(NamedTuple):
    """Folds that sing an aim, and what the same folds sing with more or less tension."""

    tension: float
    """Of their own frequency against the aim. [cents]"""
    chink: float
    """Area that never shuts. [m²]"""
    depth: float
    """Peak of the sung pressure in the mouth over the breath, while they sing into the leak."""
    lungs: float
    """Pressure in the lungs over the breath. [Pa]"""
    flow: float
    """Mean flow. [m³ s⁻¹]"""
    more: tuple[float, ...]
    """Rising: tensions beyond that of the aim. [cents]"""
    higher: tuple[float, ...]
    """Rising: what is sung then, against the aim. [cents]"""

    def pull(self, aim_cents: float) -> float:
        """Return how much more tension [cents] moves the aim by so much [cents]."""
        return float(np.interp(aim_cents, self.higher, self.more))

    def raised(self, tension_cents: float, aim_cents: float = 0.0) -> float:
        """Return the aim [cents] that so much more tension [cents] makes of another aim."""
        whole = self.pull(aim_cents) + tension_cents
        return float(np.interp(whole, self.more, self.higher))

    @property
    def slope(self) -> float:
        """Cents of pitch to a cent of tension at the aim."""
        near = float(np.interp(20.0, self.more, self.higher))
        return (near - float(np.interp(-20.0, self.more, self.higher))) / 40.0


def stiffer(tension_cents: float) -> float:
    """Return by how much more tension [cents] multiplies the stiffness of folds."""
    return math.exp2(tension_cents / 600.0)


def mean_flow(setup: Setup) -> float:
    """Return the mean flow [m³ s⁻¹] that a horn takes without a voice."""
    alone = {"voice": Voice(source="off"), "tract": type(setup.tract)()}
    return _mean_flow(setup.model_copy(update={**alone, "breath": setup.breath.settled()}))


@functools.lru_cache(maxsize=256)
def _mean_flow(alone: Setup) -> float:
    traces = single.run(numbers_of(alone), blown(alone, RUN_S))
    late = slice(traces.pressure.size // 2, None)
    drop = traces.mouth[late] - traces.pressure[late]
    opening = np.maximum(traces.opening[late], 0.0)
    held, density = alone.reed.held(), gas_of(alone).density
    flow = reed.channel_flow
    passing = zip(drop, opening, strict=True)
    return float(np.mean([flow(*here, held.width, density) for here in passing]))


def fold_of(setup: Setup, flow: float) -> folds.Fold:
    """Return the folds of a setup's voice on a horn that takes a mean flow [m³ s⁻¹]."""
    voice = setup.voice
    return folds.Fold(
        mass=voice.fold_mass,
        gap=0.5 * voice.gap * flow / USUAL_FLOW,
        length=voice.fold_length,
        delay=0.1 / max(voice.frequency, FALLING_HZ),
    )


def folds_of(setup: Setup, solved: Solved) -> Folds:
    """Return the folds of a setup as the time step runs them.

    Parameters
    ----------
    setup : Setup
        Its voice is sung by folds.
    solved : Solved
        From `solve`.

    Returns
    -------
    Folds
        Tensions of a run multiply the stiffness of the aim.
    """
    fold = fold_of(setup, solved.flow)
    table, steps = airway_steps(setup)
    table = table.copy()
    stiff = folds.stiffness(fold.mass, setup.voice.frequency, solved.tension)
    table[rows.SPRING], table[rows.YIELD] = stiff, table[rows.STEP] / fold.mass
    table[rows.DAMP] = folds.damping(fold.mass, stiff, fold.damping_ratio)
    table[rows.REST], table[rows.WAVE_DELAY], table[rows.LENGTH] = fold.gap, fold.delay, fold.length
    table[rows.SWEPT] = folds.displaced_flow(1.0, fold.length, fold.thickness)
    table[rows.CHINK], table[rows.FREE] = solved.chink, float(setup.voice.source != "off")
    table[rows.LEAK] = solved.flow
    table[rows.LEAK_SLOPE] = solved.flow / (2.0 * max(setup.breath.pressure, 1.0))
    return Folds(table, steps, fold.gap + STIR, solved.lungs)


def singing(setup: Setup, count: int, pull_cents: float | Reals = 0.0) -> Singer:
    """Return the singer of a setup, at rest.

    Parameters
    ----------
    setup : Setup
        Its voice is sung by folds, or would be if it were not off.
    count : int
        Steps of the run.
    pull_cents : float or ndarray, shape (count,)
        By how much the aim is raised, at each step if it is an array: what moves is the tension
        that the muscles hold. Vibrato, scoop and wander of the voice come on top. [cents]

    Returns
    -------
    Singer
        Folds that are held still if the voice is off: the horn alone, with the same air behind it.

    Raises
    ------
    ModelError
        As `solve`.
    """
    if setup.voice.source == "off":
        return singer_of(_held(setup), np.ones(count), np.ones(count))
    solved = solve(setup)
    aims = np.broadcast_to(pitch_bend(setup, count, pull_cents), count)
    more = np.exp2(np.interp(aims, solved.higher, solved.more) / 600.0)
    return singer_of(_held(setup), more, np.sqrt(more))


def _held(setup: Setup) -> Folds:
    """Return the folds of a setup as their muscles hold them."""
    if setup.voice.source != "off":
        return folds_of(setup, solve(setup))
    flow = mean_flow(setup)
    still = Solved(0.0, 0.0, 0.0, _drop(setup, flow, 0.0), flow, (0.0,), (0.0,))
    return folds_of(setup, still)


def steady(setup: Setup, pull_cents: float, reference_hz: float) -> Steady:
    """Return the singer of a setup for one of many lanes, at rest; as `singing`.

    Its own line is followed near the reference.
    """
    singer = singing(setup, 1, pull_cents)
    muscles = float(singer.tension[0]), float(singer.hold[0])
    return Steady(_held(setup), *muscles, reference_hz / setup.time.rate)


def singing_line(
    notes: Sequence[tuple[Span, Setup]], horn: Setup, n: int, gate: Reals, blowing: Reals
) -> tuple[Singer, Postures]:
    """Return a singer, at rest, who sings a line.

    Parameters
    ----------
    notes : sequence of (Span, Setup)
        The sung notes among the steps, and for each the setup over which it is aimed, its pitch and
        depth those of the note.
    horn : Setup
        Into which nobody sings, if there are no notes.
    n : int
        Steps of the run.
    gate, blowing : ndarray, shape (n,)
        Gates of voice and breath, as in `controls.Controls`.

    Returns
    -------
    singer : Singer
        Tension goes from note to note as the pitch of a clock does: gliding under slurs.
    postures : Postures
        Gap, chink and lungs go with it. Where no note is sung the folds are drawn `STIR` apart and
        held still, their damping `HELD` times what it is; a note lets them go at its first step,
        as a take does, and draws them apart again as its gate shuts.

    Raises
    ------
    ModelError
        As `solve`, of any note.
    """
    if not notes:
        return _nobody(horn, n)
    spans, first = [note for note, _ in notes], notes[0][1]
    solved = [solve(setup) for _, setup in notes]
    begin = folds_of(first, solved[0])
    bend = line_bend(first, spans, n)
    apart = _apart(spans, gate)
    log_stiff, rest, delay, chink, lungs = np.zeros((5, n))
    for note, (_, setup), found in zip(
        parts(spans, n, first.time.rate), notes, solved, strict=True
    ):
        table, here, share = folds_of(setup, found).table, note.part, note.share
        more = np.interp(bend[here], found.higher, found.more) / 600.0
        log_stiff[here] += share * (math.log2(table[rows.SPRING]) + more)
        rest[here] += share * (table[rows.REST] + STIR * apart[here])
        delay[here] += share * table[rows.WAVE_DELAY]
        chink[here] += share * found.chink
        drawn = _drop(setup, found.flow, found.chink + 2.0 * STIR * setup.voice.fold_length)
        lungs[here] += share * (drawn + (found.lungs - drawn) * gate[here])
    tension = np.exp2(log_stiff) / begin.table[rows.SPRING]
    hold = np.sqrt(tension) * (1.0 + (HELD - 1.0) * apart)
    lungs *= blowing
    begin = begin._replace(half_gap=rest[0] + STIR * (1.0 - apart[0]), lungs=lungs[0])
    postures = Postures(rest, delay, chink, np.diff(lungs, prepend=lungs[0]))
    return singer_of(begin, tension, hold), postures


def _nobody(horn: Setup, n: int) -> tuple[Singer, Postures]:
    """Return a singer whose folds are held still all the time."""
    voice = horn.voice.model_copy(update={"source": "off"})
    singer = singing(horn.model_copy(update={"voice": voice}), n)
    rest, delay, chink = (
        np.full(n, singer.numbers[row, 0]) for row in (rows.REST, rows.WAVE_DELAY, rows.CHINK)
    )
    return singer, Postures(rest, delay, chink, np.zeros(n))


def _apart(notes: Sequence[Span], gate: Reals) -> Reals:
    """Return how far folds are drawn apart: 1 between notes, rising as a note's gate shuts."""
    apart = np.ones(gate.size)
    for note in notes:
        middle = (note.first + note.end) // 2
        apart[note.first : middle] = 0.0
        apart[middle : note.end] = 1.0 - gate[middle : note.end]
    return apart


def line_voiced(traces: single.Traces, notes: Sequence[Span], gate: Reals) -> Reals:
    """Return what folds sang of a line; as `voiced` within each note, 0 between them."""
    wave = np.zeros(gate.size)
    for note in notes:
        here = slice(note.first, note.end)
        gap = traces.half_gap[here]
        wave[here] = gate[here] * (gap - gap[gap.size // 2 :].mean())
    largest = np.abs(wave).max()
    return wave / largest if largest > LEAST_SWING else np.zeros(gate.size)


def voiced(traces: single.Traces) -> Reals:
    """Return what folds sang: how far they are apart, mean 0, largest value 1; 0 if they rest."""
    late = traces.half_gap[traces.half_gap.size // 2 :]
    if np.ptp(late) < 2.0 * LEAST_SWING:
        return np.zeros(traces.half_gap.size)
    swing = traces.half_gap - late.mean()
    return swing / np.abs(swing).max()


class _Note(NamedTuple):
    """What folds sing into the leak."""

    cents: float
    """Against the aim; nan if they do not sing."""
    depth: float
    lungs: float


class _Leaking:
    """One singer at the leak, whose lungs stay where they have come to from note to note."""

    def __init__(self, setup: Setup, flow: float, chink: float, lungs: float | None = None) -> None:
        self.setup, self.flow, self.chink = setup, flow, chink
        self.lungs = _drop(setup, flow, chink) if lungs is None else lungs

    def sung(self, tension: float) -> _Note:
        """Let the folds sing, from rest."""
        tried = Solved(tension, self.chink, 0.0, self.lungs, self.flow, (), ())
        n, rate = round(RUN_S * self.setup.time.rate), self.setup.time.rate
        singer = singer_of(folds_of(self.setup, tried), np.ones(n), np.ones(n))
        late = slice(round(FAST_S * rate), None)
        mouth, gap = sing_into_leak(singer)[late], singer.half_gap[late]
        self.lungs = float(singer.state[rows.LUNGS, 0])
        hz = crossing_rate(gap, rate)
        if not (np.ptp(gap) > 2.0 * LEAST_SWING and hz > 0.0):
            return _Note(math.nan, 0.0, self.lungs)
        depth = float(np.abs(mouth - mouth.mean()).max()) / max(self.setup.breath.pressure, 1.0)
        return _Note(cents(hz, self.setup.voice.frequency), depth, self.lungs)


def _drop(setup: Setup, flow: float, chink: float) -> float:
    """Return the pressure [Pa] across folds that stand still."""
    area = 2.0 * fold_of(setup, flow).gap * setup.voice.fold_length + chink
    drop = 0.5 * folds.LOSS * air_keefe(TRACT_K).density * (flow / max(area, 1e-9)) ** 2
    return min(drop, MOST_LUNGS)


def solve(setup: Setup) -> Solved:
    """Find the folds that sing a setup's aim as softly as it asks for.

    Parameters
    ----------
    setup : Setup
        Tuned; its voice is sung by folds, aims at `voice.frequency`, and is to have the depth
        `voice.depth` in the mouth.

    Returns
    -------
    Solved
        Kept, in memory and in the user's cache folder.

    Raises
    ------
    ModelError
        If no tension sings the aim, or the depth cannot be reached; the text names the range.
    """
    voice = setup.voice.model_copy(update={"source": "pulse", "seed": 0, "ear": "off"})
    return _solved(setup.model_copy(update={"voice": voice, "breath": setup.breath.settled()}))


def reachable(setup: Setup) -> Setup:
    """Return a setup with the nearest depth to its own that its folds reach.

    Parameters
    ----------
    setup : Setup
        As for `solve`.

    Returns
    -------
    Setup
        That `solve` solves.

    Raises
    ------
    ModelError
        If no tension sings the aim, or neither end of what the folds reach can be held.
    """
    try:
        solve(setup)
    except UnreachedError as error:
        ends = error.softest, error.loudest
        for depth in sorted(ends, key=lambda end: abs(end - setup.voice.depth)):
            voice = setup.voice.model_copy(update={"depth": depth})
            nearest = setup.model_copy(update={"voice": voice})
            with contextlib.suppress(UnreachedError):
                solve(nearest)
                return nearest
        raise
    return setup


@functools.lru_cache(maxsize=1024)
def _solved(setup: Setup) -> Solved:
    place = cache_place(sources(), "folds", setup.to_plain())
    found = _recall(place)
    if found is None:
        found = _solve(setup)
        with contextlib.suppress(OSError, ReedboreError):  # a folder that cannot be written
            write_whole(place, json.dumps(found).encode())
    return found


def _recall(place: Path) -> Solved | None:
    try:
        found = Solved(*json.loads(place.read_text(encoding="ascii")))
        return found._replace(more=tuple(found.more), higher=tuple(found.higher))
    except (OSError, ValueError, TypeError):
        return None


def _solve(setup: Setup) -> Solved:
    flow, wanted = mean_flow(setup), setup.voice.depth
    loudest = _aimed(_Leaking(setup, flow, 0.0), TENSIONS)
    if loudest is None:
        raise _unsung(setup)
    tension, chink, note = loudest[0], 0.0, loudest[1]
    if wanted > note.depth * (1.0 + DEPTH_SHARE):
        raise _unreached(setup, flow, note.depth)
    if note.depth > wanted * (1.0 + DEPTH_SHARE):
        tension, chink, note = _softened(setup, flow, tension, note, wanted)
    more, higher = _curve(setup, flow, chink, tension, note.lungs)
    return Solved(tension, chink, note.depth, note.lungs, flow, more, higher)


def _softened(
    setup: Setup, flow: float, tension: float, loud: _Note, wanted: float
) -> tuple[float, float, _Note]:
    """Open a chink until the voice is as soft as wanted."""
    low, high, note = 0.0, WIDEST_CHINK, loud
    for _ in range(14):
        if abs(note.depth - wanted) <= DEPTH_SHARE * wanted:
            break
        chink = 0.5 * (low + high)
        near = tension + np.array((-100.0, -50.0, 0.0, 50.0, 100.0))
        found = _aimed(_Leaking(setup, flow, chink, note.lungs), near) or _aimed(
            _Leaking(setup, flow, chink), TENSIONS
        )
        if found is None or found[1].depth < wanted:
            high = chink
        else:
            low = chink
        if found is not None:
            tension, note = found
    else:
        raise _unreached(setup, flow, loud.depth)
    return tension, chink if note is not loud else 0.0, note


def _aimed(leaking: _Leaking, tensions: Reals) -> tuple[float, _Note] | None:
    """Find the tension that sings the aim, looked for among some; None if none does."""
    before: tuple[float, _Note] | None = None
    for tension in tensions:
        note = leaking.sung(float(tension))
        if before and before[1].cents <= 0.0 < note.cents < before[1].cents + MOST_JUMP:
            return _closed_in(leaking, before, (float(tension), note))
        before = float(tension), note
    return None


def _closed_in(
    leaking: _Leaking, one: tuple[float, _Note], other: tuple[float, _Note]
) -> tuple[float, _Note] | None:
    """Close in on the aim, until the lungs have settled too.

    By secants. Where lungs that follow late make these miss, the slope is that of the whole
    interval, and a tension that is right to `JUMP_CENTS` is kept until the lungs have come.
    """
    before, here = sorted((one, other), key=lambda tried: -abs(tried[1].cents))
    whole = _slope(one, other)
    best: tuple[float, _Note] | None = None
    for tries in range(2 * MOST_TRIES):
        slope = _slope(before, here)
        if tries >= MOST_TRIES:
            if best and abs(best[1].cents) < JUMP_CENTS:
                break
            slope = math.inf if abs(here[1].cents) < JUMP_CENTS else whole
        tension = here[0] - here[1].cents / slope
        before, here = here, (tension, leaking.sung(tension))
        if math.isnan(here[1].cents):
            return None
        if abs(here[1].lungs - before[1].lungs) < SETTLED_PA:
            best = min(best or here, here, key=lambda tried: abs(tried[1].cents))
            if abs(best[1].cents) < AIM_CENTS:
                break
    return best if best and abs(best[1].cents) < JUMP_CENTS else None


def _slope(one: tuple[float, _Note], other: tuple[float, _Note]) -> float:
    """Return by how much the note rises with the tension, within what folds do."""
    tenser = other[0] - one[0]
    return min(max((other[1].cents - one[1].cents) / tenser, 0.3), 3.0) if tenser else 3.0


def _curve(
    setup: Setup, flow: float, chink: float, tension: float, lungs: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Find what the same folds sing with more and less tension, as far as their note rises."""
    found = {0.0: 0.0}
    for way in (-1.0, 1.0):
        before, leaking = 0.0, _Leaking(setup, flow, chink, lungs)
        for far in (20.0, 50.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0):
            note = leaking.sung(tension + way * far)
            if not 0.0 < way * (note.cents - before) < MOST_JUMP:
                break
            found[way * far] = before = note.cents
            if abs(note.cents) > REACH:
                break
    more = tuple(sorted(found))
    return more, tuple(found[one] for one in more)


def _unsung(setup: Setup) -> ModelError:
    aim = note_name(setup.voice.frequency)
    return ModelError(
        f"voice.frequency_hz is {setup.voice.frequency:.1f} ({aim}), which these folds do not sing "
        f"over this horn at any tension (voice.gap_mm is {setup.value('voice.gap_mm'):g}; narrower "
        "ones sing higher)"
    )


def _unreached(setup: Setup, flow: float, loudest: float) -> UnreachedError:
    softest = loudest
    for chink in np.linspace(0.0, WIDEST_CHINK, 9)[1:]:
        found = _aimed(_Leaking(setup, flow, float(chink)), TENSIONS)
        if found is None:
            break
        softest = min(softest, found[1].depth)
    aim = note_name(setup.voice.frequency)
    error = UnreachedError(
        f"voice.depth is {setup.voice.depth:g}; these folds sing {aim} over this horn with "
        f"{softest:.2f} to {loudest:.2f}"
    )
    error.softest, error.loudest = softest, loudest
    return error
