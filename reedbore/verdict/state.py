"""What can become of two notes, of a row of a lock table, of an edge: the words, and reasons.

In every output a state is its word; stores write its `code`, which therefore never changes.
"""

from collections.abc import Iterable
from enum import StrEnum
from typing import Self


class Coded(StrEnum):
    """A word, and the number that stores write for it."""

    code: int

    def __new__(cls, word: str, code: int = -1) -> Self:
        """Make a member, whose value is its word; to find one by it no code is needed."""
        member = str.__new__(cls, word)
        member._value_ = word
        member.code = code
        return member

    @classmethod
    def of(cls, code: int) -> Self:
        """Find the member of a code.

        Parameters
        ----------
        code : int
            As a store holds it.

        Returns
        -------
        Coded
            The member.

        Raises
        ------
        ValueError
            If none has this code.
        """
        for member in cls:
            if member.code == code:
                return member
        raise ValueError(f"{code} is the code of no {cls.__name__}")

    @classmethod
    def by_code(cls) -> list[Self]:
        """List the members by rising code."""
        return sorted(cls, key=lambda member: member.code)


class State(Coded):
    """What became of two notes."""

    NOT_RUN = "not run", -1
    """A cell of a map that nobody has judged yet; no verdict says so."""
    UNSUNG = "unsung", 0
    SILENT = "silent", 1
    LOCKED = "locked", 2
    DRIFTING = "drifting", 3
    ROUGH = "rough", 4
    IRREGULAR = "irregular", 5
    UNDECIDED = "undecided", 6
    FAILED = "failed", 7

    @property
    def pair(self) -> bool:
        """Whether it tells of two notes that were compared."""
        return self in _PAIRS


_PAIRS = {State.LOCKED, State.DRIFTING, State.ROUGH, State.IRREGULAR}

VERDICTS = tuple(state for state in State if state is not State.NOT_RUN)
"""States that a verdict can have."""


class EdgeState(Coded):
    """What became of the search for the edges of a lock at one ratio."""

    NOT_RUN = "not run", -1
    ELSEWHERE = "elsewhere", 0
    """Its just note lies outside the sung axis."""
    NO_LOCK = "no lock", 1
    NARROW = "narrow", 2
    """Too narrow to be sure of."""
    LOCK = "lock", 3
    FAILED = "failed", 4
    UNSUNG = "unsung", 5
    """These folds do not sing the note."""


class RowState(Coded):
    """What a row of a lock table says of its ratio."""

    LOCKED = "locked", 1
    NARROW = "narrow", 2
    """Too narrow to be sure of."""
    FREE = "free", 3
    """Never locks."""
    JUMPED = "jumped", 4
    """Where a lock was looked for the horn leaves its register."""
    UNSUNG = "unsung", 5
    """These folds do not sing the note; a clock always does."""


SINGERS_MISS = 19.0
"""By so much half of the notes of untrained singers miss: M. Mauch, K. Frieler and S. Dixon, J.
Acoust. Soc. Am. 136(1), 401-411, 2014. [cents]"""

WANDER = 5.0
"""A note that is held wanders by so much either way: common practice, no source. [cents]"""


class Ease(StrEnum):
    """How easily a singer brings two notes into step."""

    BY_ITSELF = "falls into step by itself"
    WITH_CARE = "falls into step if the aim is right"
    HARDLY = "hardly: the range of aims is smaller than a voice wanders"
    NEVER = "does not fall into step"
    UNSUNG = "not sung by these folds"

    @classmethod
    def of(cls, state: RowState, width_cents: float) -> "Ease":
        """Say how easily: by how wide the range of aims is that fall into step. [cents]."""
        if state == RowState.UNSUNG:
            return cls.UNSUNG
        if state != RowState.LOCKED:
            return cls.NEVER
        if width_cents >= 2.0 * SINGERS_MISS:
            return cls.BY_ITSELF
        return cls.WITH_CARE if width_cents >= 2.0 * WANDER else cls.HARDLY


class KeptState(Coded):
    """What an atlas keeps of a ratio on one note: the state of its row, or why there is none."""

    NOT_RUN = "not run", -1
    ELSEWHERE = "elsewhere", 0
    """The voice does not reach the note."""
    LOCKED = "locked", RowState.LOCKED.code
    NARROW = "narrow", RowState.NARROW.code
    FREE = "free", RowState.FREE.code
    JUMPED = "jumped", RowState.JUMPED.code
    UNSUNG = "unsung", RowState.UNSUNG.code
    NO_TABLE = "no table", 6
    """The horn does not sound the fingered note by itself, or nothing could be calculated."""


class Heard(Coded):
    """How well a third note is heard."""

    YES = "yes", 1
    UNCERTAIN = "uncertain", 2
    NO = "no", 3
    FINGERED = "same as fingered", 4
    SUNG = "same as sung", 5


class Follows(StrEnum):
    """Who is pulled where two notes keep step."""

    REED = "reed"
    VOICE = "voice"
    BOTH = "both"


class Movement(StrEnum):
    """What became of a verdict on the still horn where breath and lip move."""

    KEEPS = "keeps"
    """Nothing else than held still."""
    PARTS = "parts"
    """They leave a lock that the still horn holds."""
    JUMPS = "jumps"
    """The horn leaves its register, or comes back to it."""


class HornState(StrEnum):
    """What the horn does with the voice off."""

    SOUNDING = "sounding"
    SILENT = "silent"
    FAILED = "failed"


class Reason(StrEnum):
    """Why a state is what it is, in words that end a sentence."""

    DIVERGED = "the simulation diverged"
    MUTE = "the reed does not sound by itself"
    ONLY_VOICE = "the voice stops the reed, and only the voice is left"
    NO_PITCH = "the voice has no pitch"
    FOLDS_REST = "the folds do not swing"
    EAR = "muscles held as the ear leaves them lock, but the ear moves them on"
    NO_PITCH_RECORDED = "the recorded voice has no pitch"
    UNDECIDED = "the drift is too slow to tell within the longest run"
    PARTS = "they keep step for some seconds, then the voice breaks away"
    # Within a note of a passage:
    TOO_SHORT = "too short to measure"
    NOT_SETTLED = "not yet settled when the note ends"
    STARTING = "the reed is still starting when the note ends"
    NOT_HELD = "whether the pair locks when held was not looked for"
    NOT_SOUNDING = "the reed does not sound within this note"
    NO_NOTE = "no steady sung note was found here"
    OTHERWISE = "held from rest, the pair comes to something else"


LATE = "the beat comes to rest only after"


def late(seconds: float) -> str:
    """Say that a lock takes hold only after so long. [s]."""
    return f"{LATE} {seconds:.1f} s"


def broke_down(error: Exception) -> str:
    """Say that not the reed but the calculation failed, and how."""
    return f"the calculation broke down ({type(error).__name__}: {error})"


def wanders(by_cents: float) -> str:
    """Say that the voice moves by so much. [cents]."""
    return f"the voice wanders by {by_cents:.0f} cents, too much to prove a lock"


def own_period(periods: int | None) -> str:
    """Say that the horn alone repeats after so many of its periods only."""
    return f"the horn repeats every {periods} periods without a voice"


def folds(periods: int) -> str:
    """Say that false folds let the voice repeat after so many periods only."""
    return f"the false folds make the voice repeat only after {periods} periods"


def flags(states: Iterable[Coded]) -> dict[str, list[int] | str]:
    """Write codes and their words as the CF conventions (1.11, section 3.5) do."""
    known = sorted(states, key=lambda state: state.code)
    words = (state.replace(" ", "_") for state in known)
    return {"flag_values": [state.code for state in known], "flag_meanings": " ".join(words)}
