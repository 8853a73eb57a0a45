"""What a recording of horn and voice holds, note by note, and what it cannot tell.

In: a `Sounds` that hands out pieces of a recording, thinned, and what is known of it. Out:
a `Found` for each note. Nothing is guessed: what cannot be told from what was given is None, and
`cannot` says why.

*Locked* is said only where p·φ1 - q·φ2 stays within a quarter of a cycle over the note, and lines
n·f1 ± f2 show that the reed mixed both, and the voice itself strayed so far that a horn which did
not go along would have been left behind. Else notes in tune are *undecided*.
"""

import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.measures import (
    hearing,
    horn_notes,
    keeping_step,
    pitch,
    roughness,
    segments,
    spectrum,
    two_notes,
)
from reedbore.model.setup import Horn
from reedbore.notes import MEASURED_LIMIT, cents, choose_ratio
from reedbore.verdict.instead import Instead, Range, sing_instead
from reedbore.verdict.result import FUSED_HZ, NEAR_CENTS, Ratio
from reedbore.verdict.state import Reason, State

PIECE_S = 20.0
"""So much of a recording is looked at at once; a longer note is told in parts. [s]"""

EDGE_S = 0.06
"""So much of a note's either end is left to the tongue and the fingers. [s]"""

LINES_DB = -50.0
"""Weaker lines of a recording are its noise."""

GRAIN = 96
"""Pieces are whole multiples of this. [samples]"""

SHORTEST_S = 0.15
"""A shorter note is not measured. [s]"""

LEAST_PERIODS = 6.0
"""Of the common note: a note that holds fewer cannot tell it."""

IN_STEP = 0.25
"""A beat that moves by no more from end to end keeps step. [cycles]"""

OWN_WANDER = 0.5
"""A voice that strays by so much would have left a horn that does not go along. [cycles]"""

MIXED_DB, APART_DB = 10.0, 6.0
"""Lines n·f1 ± f2 that stand so far above the floor prove that a reed mixed both notes; below the
second there are none to be seen. In a second at 30 dB over the noise takes came to 13.8 and more,
horn and voice merely added up to 4.6 at most; in two seconds one such sum reached 11.1."""

CLASS_DB, CLASS_LEVEL_DB = 6.0, -42.0
"""A class of sung notes stands out so far, and its lines are no weaker against the horn's."""

STILL = 0.95
"""Lines of the horn alone keep step if this share of their power neither turns nor beats."""

HUSHED_DB = 15.0
"""A throat so much softer than where it sings is a throat at rest."""

VOICE_RANGE = 60.0, 1000.0
"""Where a voice is looked for if its range is not known. [Hz]"""

MEMBER_CENTS = 80.0
"""A planned note this near a member of the class is that member. [cents]"""

PROVEN = "in tune, lock unproven"

Samples = NDArray[np.float64]


class Sounds(Protocol):
    """A recording that is handed out piece by piece."""

    rate: float
    """Samples per second of what is handed out. [Hz]"""
    seconds: float

    def piece(self, begin: float, end: float) -> tuple[Samples, Samples | None]:
        """Return what the horn's and the throat's microphone heard from, to [s]."""
        ...


class Known(NamedTuple):
    """What is known of a recording beforehand."""

    fingered_hz: float | None = None
    """Throughout. [Hz]"""
    reach: Range | None = None
    """Lowest and highest note of the voice. [Hz]"""
    sung_hz: Callable[[float, float], float | None] | None = None
    """What is planned to be sung over a played note [Hz] at a time [s]."""
    instrument: Horn | None = None
    """Who plays: then each member of a class is rendered and compared, if the range is known."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """A note, or a while in which the voice holds one note over it; None what cannot be told.

    Attributes
    ----------
    number : int
        From 1.
    begin_s, end_s : float
        [s]
    level_db : float
        Of the horn's microphone, full scale being 0. [dB]
    played_hz : float
        [Hz]
    played_within : float
        The played pitch is surer than this, as far as its length tells. [cents]
    sung_hz, sung_within : float or None
        [Hz], [cents]
    sung_class : tuple of float
        What may have been sung, from the horn alone: within the voice's range. [Hz]
    margin_db : float or None
        Where the sung note was chosen by rendering each member: how much farther the next is.
    ratio : (p, q) or None
    q : int or None
        Of the common note f1/q, where p is not known.
    drift_hz : float or None
        p·f1 - q·f2; without a sign from the horn alone.
    shows_hz : float
        The smallest drift that this note can show. [Hz]
    interaction_db : float or None
        How far lines n·f1 ± f2 stand above the floor.
    wander : float or None
        How far q·φ2 strays from an even course. [cycles]
    state, reason
        As of a verdict.
    third_db, heard
        Level of the third note's own partials against the whole, and whether they are heard.
    roughness : float or None
        Times that of the same note without a voice, in the same recording.
    cannot : mapping
        For each figure that cannot be told, why.
    throat_db : float or None
        Level on the throat, full scale being 0. [dB]
    lines : Lines or None
        Of the horn's microphone.
    """

    number: int = 0
    begin_s: float
    end_s: float
    level_db: float
    played_hz: float
    played_within: float
    sung_hz: float | None = None
    sung_within: float | None = None
    sung_class: tuple[float, ...] = ()
    margin_db: float | None = None
    ratio: Ratio | None = None
    q: int | None = None
    drift_hz: float | None = None
    shows_hz: float
    interaction_db: float | None = None
    wander: float | None = None
    state: State = State.UNDECIDED
    reason: str | None = None
    third_db: float | None = None
    heard: str | None = None
    roughness: float | None = None
    cannot: Mapping[str, str] = field(default_factory=dict)
    throat_db: float | None = None
    lines: spectrum.Lines | None = None

    @property
    def common_hz(self) -> float | None:
        """The common note. [Hz]."""
        q = self.ratio[1] if self.ratio else self.q
        return self.played_hz / q if q else None

    @property
    def off_cents(self) -> float | None:
        """How far the sung note lies above the just one over what is played. [cents]."""
        if self.ratio is None or self.sung_hz is None:
            return None
        just = self.played_hz * self.ratio[0] / self.ratio[1]
        if self.drift_hz is not None and not self.sung_class:
            # The drift is surer than the difference of two pitches that move.
            just = self.sung_hz + self.drift_hz / self.ratio[1]
        return cents(self.sung_hz, just)

    def instead(self, reach: Range | None) -> Instead | None:
        """Find what to sing instead where the two notes miss each other."""
        if self.sung_hz is None or self.state not in (State.DRIFTING, State.ROUGH):
            return None
        return sing_instead(self.played_hz, self.sung_hz, self.sung_hz, self.ratio, reach)


NOTHING = Known()


# --- the recording -------------------------------------------------------------------------------


def analyse(
    sounds: Sounds, known: Known = NOTHING, tell: Callable[[float], None] | None = None
) -> tuple[Found, ...]:
    """Tell note by note what a recording holds.

    Parameters
    ----------
    sounds : Sounds
        The recording.
    known : Known
        What is known of it.
    tell : callable, optional
        Told the share done so far, from 0 to 1.

    Returns
    -------
    tuple of Found
        In order of time; empty where no horn plays a note.
    """
    told = tell or (lambda _: None)
    notes = _horn_notes(sounds, lambda share: told(0.5 * share))
    found: list[Found] = []
    for place, note in enumerate(notes):
        stopping.check()
        found += _over(sounds, note, known)
        told(0.5 + 0.5 * (place + 1) / len(notes))
    found = _unsung(found)
    rows = [_reasoned(row) for row in _rougher(found)]
    return tuple(replace(row, number=number) for number, row in enumerate(rows, 1))


def _reasoned(row: Found) -> Found:
    """Say of every figure that is missing why it is."""
    usual = {
        "sung_hz": REST,
        "ratio": NO_RATIO,
        "drift_hz": NO_RATIO,
        "third_db": NO_RATIO if row.ratio is None else NO_THIRD,
        "interaction_db": NO_SUNG if row.sung_hz is None else HIDDEN,
        "roughness": NO_QUIET,
    }
    missing = {key: why for key, why in usual.items() if getattr(row, key) is None}
    told = {key: why for key, why in row.cannot.items() if key in missing}
    return replace(row, cannot=missing | told)


def _horn_notes(sounds: Sounds, told: Callable[[float], None]) -> tuple[horn_notes.Note, ...]:
    parts, begin = [], 0.0
    while begin < sounds.seconds:
        stopping.check()
        end = min(begin + PIECE_S, sounds.seconds)
        horn, _ = sounds.piece(begin, min(end + horn_notes.WINDOW - horn_notes.HOP, sounds.seconds))
        parts.append(horn_notes.frames(horn, sounds.rate, begin))
        begin = end
        told(begin / sounds.seconds)
    return horn_notes.notes(horn_notes.joined(parts))


def _over(sounds: Sounds, note: horn_notes.Note, known: Known) -> list[Found]:
    """Judge what is sung over one note of the horn: one row for each while."""
    rows = []
    count = max(1, math.ceil((note.end - note.begin) / PIECE_S))
    edges = np.linspace(note.begin, note.end, count + 1)
    for begin, end in itertools.pairwise(edges):
        rows += _over_part(sounds, note._replace(begin=float(begin), end=float(end)), known)
    return rows


def _over_part(sounds: Sounds, note: horn_notes.Note, known: Known) -> list[Found]:
    horn, throat = sounds.piece(note.begin, note.end)
    rate, size = sounds.rate, horn.size // GRAIN * GRAIN
    horn, throat = horn[:size], None if throat is None else throat[:size]
    low, high = known.reach or VOICE_RANGE
    if throat is None:
        cuts = _classes(horn, rate, note)
        return [_row(note, horn, None, rate, cut, known) for cut in cuts]
    edge = min(round(EDGE_S * rate), horn.size // 6)
    exact = two_notes.played(horn[edge : horn.size - edge], rate)
    played = exact.hz if exact is not None and _same(exact.hz, note.hz) else note.hz
    voice = two_notes.voice_on_throat(throat, horn, rate, played, low, high)
    cuts = _sung(voice.samples, rate, low, high)
    return [_row(note, horn, throat, rate, cut, known) for cut in _filled(cuts, horn.size / rate)]


def _same(one: float, other: float) -> bool:
    return abs(cents(one, other)) < segments.EDGE


def _sung(voice: Samples, rate: float, low: float, high: float) -> list[tuple[float, float]]:
    """Find the whiles in which a voice holds a note, from the start of the piece. [s]."""
    track = pitch.pitch_track(voice, rate, low, high, segments.HOP)
    if not track[0].size:
        return []
    return [(one.begin, one.end) for one in segments.held(voice, rate, *track)]


def _filled(cuts: list[tuple[float, float]], seconds: float) -> list[tuple[float, float]]:
    """Add the whiles between, in which the horn is alone, if they are long enough to be told."""
    edges = [0.0, *(edge for cut in cuts for edge in cut), seconds]
    rests = list(zip(edges[::2], edges[1::2], strict=True))
    least = 2.0 * SHORTEST_S
    whole = [rest for rest in rests if rest[1] - rest[0] >= least or not cuts]
    return sorted([*cuts, *whole])


CLASS_WINDOW, CLASS_HOP = 0.4, 0.1
"""From the horn alone the class of the sung note is followed in such windows. [s]"""

CLASS_CHANGE, NO_CLASS_CENTS = 20.0, -400.0
"""Departure that a change of class has to save [cents·s]; and what stands for no class: farther
from any of them than counts. [cents]"""


def _classes(horn: Samples, rate: float, note: horn_notes.Note) -> list[tuple[float, float]]:
    """Cut a note where the class of what is sung into it changes."""
    seconds, length = horn.size / rate, round(CLASS_WINDOW * rate)
    starts = range(0, horn.size - length + 1, round(CLASS_HOP * rate))
    if len(starts) < 6:
        return [(0.0, seconds)]
    track = np.full(len(starts), NO_CLASS_CENTS)
    for place, start in enumerate(starts):
        frame = horn[start : start + length]
        seen = two_notes.look(frame, rate, note.hz)
        kind = two_notes.residue(seen, note.hz)
        if kind is not None and _told(kind):
            track[place] = 1200.0 * math.log2(1.0 + kind.hz / note.hz)
    parts = segments.level_parts(track, CLASS_HOP, CLASS_CHANGE)
    at = [0.0, *(part.start * CLASS_HOP + 0.5 * CLASS_WINDOW for part in parts[1:]), seconds]
    return list(itertools.pairwise(at))


def _told(kind: two_notes.Residue) -> bool:
    """Tell whether a class stands out enough to be one."""
    return kind.over_db >= CLASS_DB and kind.level_db >= CLASS_LEVEL_DB


# --- one row -------------------------------------------------------------------------------------


def _row(
    note: horn_notes.Note,
    horn: Samples,
    throat: Samples | None,
    rate: float,
    cut: tuple[float, float],
    known: Known,
) -> Found:
    """Judge a while of a note; `cut` counts from its start. [s]."""
    edge = min(EDGE_S, (cut[1] - cut[0]) / 6.0)
    first, last = round((cut[0] + edge) * rate), round((cut[1] - edge) * rate)
    # A length with many small factors is transformed many times faster.
    inside = slice(first, first + (last - first) // GRAIN * GRAIN)
    horn = horn[inside]
    throat = None if throat is None else throat[inside]
    seconds = horn.size / rate
    near = known.fingered_hz or note.hz
    exact = two_notes.played(horn, rate, 0.93 * near, 1.07 * near) if horn.size else None
    played = exact.hz if exact is not None else note.hz
    row = Found(
        begin_s=note.begin + cut[0],
        end_s=note.begin + cut[1],
        level_db=_level(horn),
        played_hz=played,
        played_within=_within(played, seconds),
        shows_hz=two_notes.least_drift(max(seconds, 1e-3)),
    )
    if seconds < SHORTEST_S:
        why = Reason.TOO_SHORT
        return replace(row, reason=why, cannot={"sung_hz": why, "drift_hz": why, "ratio": why})
    row = replace(row, lines=spectrum.lines(horn, rate, LINES_DB))
    if throat is None:
        return _alone(row, horn, rate, known)
    return _with_throat(row, horn, throat, rate, known)


def _level(samples: Samples) -> float:
    """Level of the effective value against a full scale of 1. [dB]."""
    return 10.0 * math.log10(max(float(np.var(samples)) if samples.size else 0.0, 1e-30))


def _within(hz: float, seconds: float) -> float:
    """How well a pitch can be told: a hundredth of a cycle over the note. [cents]."""
    return 1200.0 / math.log(2.0) * 0.01 / (hz * max(seconds, 1e-3))


def _with_throat(row: Found, horn: Samples, throat: Samples, rate: float, known: Known) -> Found:
    low, high = known.reach or VOICE_RANGE
    row = replace(row, throat_db=_level(throat))
    voice = two_notes.voice_on_throat(throat, horn, rate, row.played_hz, low, high)
    if voice.hz is None:
        why = HORN_ON_THROAT if voice.clarity else NO_VOICE
        state = State.UNDECIDED if voice.clarity else State.UNSUNG
        return replace(row, state=state, reason=why, cannot=_all_of_the_voice(why))
    ratio = choose_ratio(voice.hz / row.played_hz, NEAR_CENTS, MEASURED_LIMIT)
    row = replace(
        row,
        sung_hz=voice.hz,
        sung_within=_within(voice.hz, horn.size / rate),
        ratio=ratio,
        q=ratio and ratio[1],
    )
    seen = two_notes.look(horn, rate, row.played_hz)
    row = _heard(replace(row, interaction_db=_interaction(seen, row, voice.hz)))
    if ratio is None:
        return replace(row, state=State.ROUGH)
    if horn.size / rate * row.played_hz / ratio[1] < LEAST_PERIODS:
        return replace(row, reason=Reason.TOO_SHORT, cannot={"drift_hz": Reason.TOO_SHORT})
    beat = keeping_step.beat(horn, voice.samples, rate, (row.played_hz, voice.hz), ratio)
    row = replace(row, drift_hz=beat.drift, wander=beat.wanders)
    # The course ends half a window before the note does: its slope tells the rest.
    moves = max(beat.moves, abs(beat.drift) * horn.size / rate)
    return _state(row, keeps=moves <= IN_STEP)


def _interaction(seen: two_notes.Look, row: Found, sung: float) -> float | None:
    """Measure it where it can be measured: not where one note is a partial of the other."""
    if row.ratio is not None and 1 in row.ratio:
        return None
    return two_notes.interaction(seen, row.played_hz, sung)


def _state(row: Found, *, keeps: bool) -> Found:
    """Say what became of two notes near a ratio."""
    assert row.drift_hz is not None
    if not keeps:
        state = State.DRIFTING if abs(row.drift_hz) < FUSED_HZ else State.ROUGH
        return replace(row, state=state)
    why = _unproven(row)
    return replace(row, state=State.UNDECIDED if why else State.LOCKED, reason=why)


def _unproven(row: Found) -> str | None:
    """Say why notes in step are not proven to be locked; None if they are."""
    if row.interaction_db is None:
        return f"{PROVEN}: {HIDDEN}"
    if row.interaction_db < MIXED_DB:
        return f"{PROVEN}: {APART if row.interaction_db < APART_DB else FAINT}"
    if row.wander is None or row.wander < OWN_WANDER:
        return f"{PROVEN}: {STILL_VOICE}"
    return None


HIDDEN = "the partials of one note hide what a reed would add between them"
APART = "nothing shows that the reed mixed both notes"
FAINT = "what the reed would add is too faint to be told from noise"
STILL_VOICE = "the voice holds too still to prove that the horn goes along"
HORN_ON_THROAT = "the throat has the horn's own note only: nobody sings, or at the unison"
NO_VOICE = "the throat has no note"
REST = "nobody sings"
NO_CLASS = "nothing lies between the horn's partials: nobody sings, or one of them"
ONE_CHANNEL = "the horn alone tells only the class of the sung note; add a throat microphone"
TOO_ALIKE = "rendered, two of the notes that it may have been are too much alike"
NO_RATIO = "no simple ratio is near"
NO_THIRD = "the common note is one of the two"
NO_SUNG = "it takes the sung note"
NO_QUIET = "it takes the same note without a voice in this recording"


def _all_of_the_voice(why: str) -> dict[str, str]:
    return dict.fromkeys(("sung_hz", "ratio", "drift_hz", "third_db"), why)


# --- from the horn alone -------------------------------------------------------------------------


def _alone(row: Found, horn: Samples, rate: float, known: Known) -> Found:
    seen = two_notes.look(horn, rate, row.played_hz)
    kind = two_notes.residue(seen, row.played_hz)
    if kind is None or not _told(kind):
        why = NO_CLASS if kind is not None else Reason.TOO_SHORT
        return replace(row, reason=why, cannot=_all_of_the_voice(why))
    row = replace(
        row,
        sung_class=_members(row.played_hz, kind.hz, known.reach or VOICE_RANGE, rate / horn.size),
        interaction_db=kind.over_db,
    )
    row = _named(row, known)
    if row.sung_hz is None and known.instrument is not None and known.reach is not None:
        row = _rendered(row, horn, rate, known.instrument)
    share = kind.hz / row.played_hz
    member = _small_ratio(share, row)
    if member is None:
        cannot = {"drift_hz": NO_RATIO, "ratio": NO_RATIO}
        return replace(_heard(row), state=State.ROUGH, cannot={**row.cannot, **cannot})
    k, q = member
    if row.sung_hz is not None:
        row = replace(row, ratio=(round(row.sung_hz / row.played_hz * q), q))
    orders = _clear_orders(seen, row.played_hz, kind.hz)
    beat = keeping_step.beat_alone(horn, rate, (row.played_hz, kind.hz), (k, q), orders)
    apart = abs(q * kind.hz - k * row.played_hz)
    if apart > 0.5 * keeping_step.FASTEST:
        beat = beat._replace(drift=apart, moves=apart * horn.size / rate)
    row = _heard(replace(row, q=q, drift_hz=abs(beat.drift), wander=beat.wanders))
    keeps = beat.moves <= IN_STEP and beat.steady >= STILL
    drifts = abs(beat.drift) > row.shows_hz
    if not keeps and not drifts:
        return replace(row, reason=UNEVEN)
    return _state(row, keeps=keeps)


UNEVEN = "the lines between the partials are too uneven to tell drift from step"


def _members(played: float, residue: float, reach: Range, apart: float) -> tuple[float, ...]:
    """List the notes of a class within the range of a voice, lowest first. [Hz].

    Those nearer to each other than `apart` [Hz] are told as one.
    """
    most = math.ceil(reach[1] / played) + 1
    every = sorted({abs(k * played + sign * residue) for k in range(most) for sign in (-1, 1)})
    inside = [hz for hz in every if reach[0] <= hz <= reach[1]]
    # At half the played note two members fall together.
    told: list[float] = []
    for hz in inside:
        if told and hz - told[-1] < apart:
            told[-1] = 0.5 * (told[-1] + hz)
        else:
            told.append(hz)
    return tuple(told)


def _named(row: Found, known: Known) -> Found:
    """Name the sung note if the range or the plan leaves one only."""
    planned = known.sung_hz and known.sung_hz(row.played_hz, 0.5 * (row.begin_s + row.end_s))
    chosen = None
    if planned:
        near = [hz for hz in row.sung_class if abs(cents(hz, planned)) < MEMBER_CENTS]
        chosen = min(near, key=lambda hz: abs(cents(hz, planned)), default=None)
    elif len(row.sung_class) == 1 and known.reach is not None:
        chosen = row.sung_class[0]
    if chosen is None:
        return replace(
            row, cannot={"sung_hz": ONE_CHANNEL, "third_db": NO_SUNG, "ratio": ONE_CHANNEL}
        )
    return replace(row, sung_hz=chosen, sung_within=row.played_within * row.played_hz / chosen)


def _rendered(row: Found, horn: Samples, rate: float, instrument: Horn) -> Found:
    """Name the sung note by rendering each member, if one of them clearly comes closest."""
    from reedbore.verdict import synthesis  # noqa: PLC0415 - only with a horn is anything rendered

    try:
        best = synthesis.choose(horn, rate, row.played_hz, row.sung_class, instrument)
    except ModelError as error:
        return replace(row, cannot={**row.cannot, "sung_hz": str(error)})
    if best is None:
        return row
    if best.margin_db < synthesis.SURE_DB:
        return replace(row, margin_db=best.margin_db, cannot={**row.cannot, "sung_hz": TOO_ALIKE})
    within = row.played_within * row.played_hz / best.hz
    return replace(row, sung_hz=best.hz, sung_within=within, margin_db=best.margin_db)


def _small_ratio(share: float, row: Found) -> tuple[int, int] | None:
    """Find k/q near the class's share of the played note; near as a sung note would be."""
    lowest = min(row.sung_class, default=row.played_hz)
    reach = lowest / row.played_hz * (2.0 ** (NEAR_CENTS / 1200.0) - 1.0)
    for q in range(2, MEASURED_LIMIT + 1):
        k = round(share * q)
        if k and math.gcd(k, q) == 1 and abs(share - k / q) <= reach:
            return k, q
    return None


def _clear_orders(seen: two_notes.Look, played: float, residue: float) -> NDArray[np.int64]:
    """Choose the lines of a class that stand highest above the floor."""
    order = np.arange(two_notes.ORDERS - 1)
    order = np.concatenate((order, -order[1:]))
    hz = np.abs(order * played + residue)
    at = np.minimum(np.rint(hz / seen.hz[1]).astype(np.int64), seen.hz.size - 1)
    return order[np.argsort(seen.over_db[at])[-LINES_FOLLOWED:]]


LINES_FOLLOWED = 5
"""So many lines of a class are followed."""


# --- what is heard -------------------------------------------------------------------------------


def _heard(row: Found) -> Found:
    """Measure the third note's own partials, as far as both notes are known."""
    if row.ratio is None or row.lines is None or row.common_hz is None:
        return row
    level, heard = hearing.third_note(row.lines, row.ratio, row.common_hz)
    return replace(row, third_db=level, heard=str(heard))


def _unsung(rows: list[Found]) -> list[Found]:
    """Tell a throat at rest from a unison where it sings elsewhere in the recording."""
    sings = [row.throat_db for row in rows if row.sung_hz is not None and row.throat_db is not None]
    told = []
    for row in rows:
        level = row.throat_db
        doubted = row.reason == HORN_ON_THROAT and level is not None
        rests = doubted and sings and level is not None and level < max(sings) - HUSHED_DB
        silent = replace(row, state=State.UNSUNG, reason=None, cannot=_all_of_the_voice(REST))
        told.append(silent if rests else row)
    return told


def _rougher(rows: list[Found]) -> list[Found]:
    """Compare each note with the same one without a voice."""
    alone = [row for row in rows if row.state == State.UNSUNG and row.lines is not None]
    told = []
    for row in rows:
        same = [one for one in alone if _same(one.played_hz, row.played_hz)]
        if row.lines is None or not same or row.state == State.UNSUNG:
            told.append(row)
            continue
        still = same[0].lines
        assert still is not None
        lines = row.lines.hz, row.lines.amplitude, still.hz, still.amplitude
        told.append(replace(row, roughness=roughness.relative_roughness(*lines)))
    return told
