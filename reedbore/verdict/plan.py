"""A plan: what to finger and what to sing, inside the range of one voice.

`verdict.planning` makes plans and chooses; here stands what they are made of, and which pair is
better. A pair is told by arithmetic, and as simulated where it was tried. No kernel is loaded.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from reedbore.model.line import Line, Note, write_line
from reedbore.model.passage import Passage
from reedbore.model.setup import Horn, Singer
from reedbore.notes import (
    A4_HZ,
    carries_pitch,
    just_hz,
    split_note,
)
from reedbore.verdict.state import Ease, Heard, RowState

Ratio = tuple[int, int]
Range = tuple[float, float]

EASE_COSTS = {
    Ease.BY_ITSELF: 0.0,
    Ease.WITH_CARE: 3.0,
    Ease.HARDLY: 12.0,
    Ease.NEVER: 24.0,
    Ease.UNSUNG: 36.0,
}
HEARD_COSTS = {
    Heard.YES: 0.0,
    Heard.UNCERTAIN: 3.0,
    Heard.FINGERED: 6.0,
    Heard.SUNG: 6.0,
    Heard.NO: 12.0,
}


class Key(NamedTuple):
    """Names a pair: what is tried once is known wherever the pair stands."""

    fingered_hz: float
    fingering: str
    ratio: Ratio


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What became of a pair in the simulation, sung by folds that feel the horn.

    Attributes
    ----------
    state : RowState
        ``locked``, ``free``, or ``unsung``: these folds do not sing the note.
    reason : str or None
        Why it is unsung.
    played_hz : float
        What the horn plays with the voice off. [Hz]
    aim_hz : float
        Where to aim: the middle of the aims that fall into step, or the just note. [Hz]
    width_cents : float
        How wide the range of aims is that fall into step, `aim_hz` in its middle. [cents]
    pulled_cents : float or None
        How far the horn takes the voice from the aim. [cents]
    held : float or None
        Share of the time in step, with natural wander.
    heard : Heard or None
        How well the third note is heard; None without a lock.
    depth : float
        How strongly it was sung.
    softest : float or None
        The least depth among those tried at which it still falls into step; None if none was.
    """

    state: RowState
    reason: str | None
    played_hz: float
    aim_hz: float
    width_cents: float
    pulled_cents: float | None
    held: float | None
    heard: Heard | None
    depth: float
    softest: float | None = None


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A fingered note and what may be sung over it.

    Attributes
    ----------
    fingered_hz : float
        As it is asked for. [Hz]
    ratio : (p, q)
        Sung/fingered.
    fingering : str
        Name of the fingering, "" for the plain one.
    tried : Tried or None
        As simulated; None where that was not asked for or is not known.
    """

    fingered_hz: float
    ratio: Ratio
    fingering: str = ""
    tried: Tried | None = None

    @property
    def key(self) -> Key:
        """What names the pair."""
        return Key(self.fingered_hz, self.fingering, self.ratio)

    @property
    def just_hz(self) -> float:
        """The note to sing by arithmetic. [Hz]."""
        return just_hz(self.fingered_hz, self.ratio)

    @property
    def sing_hz(self) -> float:
        """The note to aim at: as simulated where it falls into step, else by arithmetic. [Hz]."""
        return self.tried.aim_hz if self.tried and self.locks else self.just_hz

    @property
    def common_hz(self) -> float:
        """The common note; under what the horn was found to play, where it was. [Hz]."""
        return (self.tried.played_hz if self.tried else self.fingered_hz) / self.ratio[1]

    @property
    def locks(self) -> bool:
        """Whether the simulation found that voice and horn fall into step."""
        return self.tried is not None and self.tried.state == RowState.LOCKED

    @property
    def ease(self) -> Ease | None:
        """How easily they do; None where it was not tried."""
        return Ease.of(self.tried.state, self.tried.width_cents) if self.tried else None

    @property
    def heard(self) -> Heard:
        """How well the third note is heard: as simulated in a lock, else what may be hoped for."""
        p, q = self.ratio
        if q == 1 or p == 1:
            return Heard.FINGERED if q == 1 else Heard.SUNG
        if self.tried is not None:
            return self.tried.heard or Heard.NO
        return {"yes": Heard.YES, "uncertain": Heard.UNCERTAIN, "no": Heard.NO}[
            carries_pitch(self.common_hz)
        ]


@dataclass(frozen=True, kw_only=True)
class Step:
    """One note or rest of a planned line.

    Attributes
    ----------
    beat, beats : float
        When it begins and how long it lasts. [quarter notes]
    choice : Choice or None
        What is fingered and sung; None for a rest, and where nothing can be had.
    others : tuple of Choice
        What else would do, the best first.
    wanted_hz : float or None
        The third note that was asked for. [Hz]
    fingered_hz : float or None
        The fingered note that was given, if one was. [Hz]
    fingering : str
        Its name, "" for the plain one.
    sung_hz : float or None
        What the passage has to sing here, if it says. [Hz]
    nearest : tuple of Choice
        Where the wanted note cannot be had: the best for the nearest ones that can.
    fingers_on, sings_on : bool
        The fingered note, or the sung one, goes on into the next step: tied, or slurred.
    """

    beat: float
    beats: float
    choice: Choice | None = None
    others: tuple[Choice, ...] = ()
    wanted_hz: float | None = None
    fingered_hz: float | None = None
    fingering: str = ""
    sung_hz: float | None = None
    nearest: tuple[Choice, ...] = ()
    fingers_on: bool = False
    sings_on: bool = False

    @property
    def pairs(self) -> tuple[Choice, ...]:
        """All pairs that would do, the chosen one first."""
        return (self.choice, *self.others) if self.choice else ()

    def taking(self, place: int) -> "Step":
        """Return the same step with another of its pairs chosen."""
        pairs = self.pairs
        others = best_first(pairs[:place] + pairs[place + 1 :])
        return replace(self, choice=pairs[place], others=tuple(others))


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to finger and sing.

    Attributes
    ----------
    title : str
        What is planned: a note, a whole horn, wanted notes, or the title of a piece.
    horn : Horn
        With title, name, transposition and clef.
    singer : Singer
        With title, `low_note` and `high_note`.
    choices : tuple of Choice
        All pairs that were looked at, the best first; of a line those that it uses, in any order.
    steps : tuple of Step
        The line in time; empty where notes are planned one by one.
    wanted_hz : float or None
        The one third note that was asked for; None for anything else. [Hz]
    nearest : tuple of Choice
        Where it cannot be had: the best for the nearest ones that can.
    a4 : float
        Frequency of A4. [Hz]
    depth : float
        How strongly is sung.
    breath : str or None
        As typed; None for the horn's own.
    tempo_hz : float
        Beats per second. [Hz]
    tempo_changes, meter, breath_curve, depth_curve : str
        As of a `Passage`.
    written : bool
        Fingered notes are told as written for the horn first.
    """

    title: str
    horn: Horn
    singer: Singer
    choices: tuple[Choice, ...]
    steps: tuple[Step, ...] = ()
    wanted_hz: float | None = None
    nearest: tuple[Choice, ...] = ()
    a4: float = A4_HZ
    depth: float = 0.1
    breath: str | None = None
    tempo_hz: float = 1.0
    tempo_changes: str = ""
    meter: str = "4/4"
    breath_curve: str = ""
    depth_curve: str = ""
    written: bool = False

    @cached_property
    def passage(self) -> Passage | None:
        """The planned line as a passage at concert pitch, to render and to write down; or None.

        What is sung is the note to aim at; where nothing can be had nobody sings.
        """
        if not any(step.choice for step in self.steps):
            return None
        return Passage(
            tempo=self.tempo_hz,
            tempo_changes=self.tempo_changes,
            meter=self.meter,
            fingered=write_line(_joined(_fingered(step, self.a4) for step in self.steps)),
            sung=write_line(_joined(_sung(step, self.a4) for step in self.steps)),
            breath=self.breath_curve,
            depth=self.depth_curve,
        )


def exact_name(hz: float, a4: float = A4_HZ) -> str:
    """Name a frequency with its cents to a hundredth, such as ``F#3+13.69c``."""
    name, off = split_note(hz, a4)
    return f"{name}{off:+.2f}c" if abs(off) >= 0.005 else name


def _fingered(step: Step, a4: float) -> Note:
    hz, name = step.fingered_hz, step.fingering
    if step.choice:
        hz, name = step.choice.fingered_hz, step.choice.fingering
    return Note(None if hz is None else exact_name(hz, a4), step.beats, name, step.fingers_on)


def _sung(step: Step, a4: float) -> Note:
    pitch = exact_name(step.choice.sing_hz, a4) if step.choice else None
    return Note(pitch, step.beats, "", step.sings_on)


def _joined(notes: Iterable[Note]) -> Line:
    """Make a line of notes: what goes on unchanged is one note, and a slur needs two of them."""
    line: list[Note] = []
    for note in notes:
        last = line.pop() if line else None
        same = last and (last.pitch, last.fingering) == (note.pitch, note.fingering)
        if last and same and (last.slurred or note.pitch is None):
            line.append(note._replace(beats=last.beats + note.beats))
        else:
            both = last and last.pitch and note.pitch
            line += [last._replace(slurred=bool(last.slurred and both))] if last else []
            line.append(note)
    return Line((*line[:-1], line[-1]._replace(slurred=False)))


def best_first(choices: Iterable[Choice]) -> list[Choice]:
    """Sort pairs by what a singer can do.

    Parameters
    ----------
    choices : iterable of Choice
        Pairs.

    Returns
    -------
    list of Choice
        First by how easily they fall into step, then by how well a third note is heard, by how
        wide the range of aims is, and by how little the horn pulls; what was not tried comes
        behind what falls into step, the simplest ratio first.
    """
    return sorted(choices, key=_order)


def _order(choice: Choice) -> tuple[float, ...]:
    tried, heard = choice.tried, HEARD_COSTS[choice.heard]
    simple = math.prod(choice.ratio), choice.fingered_hz
    if tried is None or choice.ease is None:
        return (EASE_COSTS[Ease.NEVER] - 1.0, heard, 0.0, 0.0, *simple)
    pulled = abs(tried.pulled_cents or 0.0)
    return (EASE_COSTS[choice.ease], heard, -tried.width_cents, pulled, *simple)
