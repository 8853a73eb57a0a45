"""One vocabulary: what every part of the program says in the same words.

*Third note* is what a listener hears, measured or to be expected; *common note* is the arithmetic.
A reed *locks* to a voice, over a range that counts from the note to sing; a voice that wanders
*stays* in a lock for a share of the time; *held* is a note that goes on sounding. What stands here
is keyed by the enumerations of the program; a test asks that each table has all of their members.
Standard library only: a prediction is told at once.
"""

import math
from typing import NamedTuple

from reedbore.notes import MEASURED_LIMIT
from reedbore.verdict.state import Follows, Heard, Reason, State

SINGER = "a real singer bends towards a lock, or away from it"
CLOCK = f"the voice in the model is a clock; {SINGER}"
"""The caution under every lock range, table and map."""

FOLDS = "for folds like these; nobody's own are known"
"""The caution under whatever is told for a singer."""

STRAIN = "singing takes more breath than blowing alone: rest often"

STAYS = "a human voice stays in it"
"""Of a share of time, under 0.5 % of jitter and 10 cents of slow wander."""

NOT_SIMULATED = "not simulated"
"""Of a ratio that is beyond what is measured."""

TOO_LARGE = f"p or q above {MEASURED_LIMIT}"

_BELOW = {1: "the note itself", 2: "an octave", 3: "a twelfth", 4: "two octaves"}
_BELOW |= {5: "two octaves and a third", 6: "two octaves and a fifth"}
_BELOW |= {7: "two octaves and a seventh", 8: "three octaves", 9: "three octaves and a second"}
_BELOW |= {10: "three octaves and a third", 11: "three octaves and a fourth"}
_BELOW |= {12: "three octaves and a fifth"}


class HeardWords(NamedTuple):
    """How well a third note is heard: in a sentence, beside a note, and in a narrow column.

    `sentence` has a place for the common note. Where the common note is one of the two, there is
    no third, and `beside` and `cell` stand alone.
    """

    sentence: str
    beside: str
    cell: str


HEARD = {
    Heard.YES: HeardWords("A third note is heard, {}.", "heard", "heard"),
    Heard.UNCERTAIN: HeardWords("A third note, {}, may be heard.", "perhaps heard", "perhaps"),
    Heard.NO: HeardWords("No third note is heard; it would be {}.", "not heard", "unheard"),
    Heard.FINGERED: HeardWords(
        "The common note is the fingered one, {}.", "none: the fingered note", "as fingered"
    ),
    Heard.SUNG: HeardWords(
        "The common note is the sung one, {}.", "none: the sung note", "as sung"
    ),
}


class StateWords(NamedTuple):
    """What a state is called: in a sentence, and in a word or two."""

    clause: str
    short: str


STATES = {
    State.NOT_RUN: StateWords("This has not been run yet", "not run"),
    State.UNSUNG: StateWords("Nobody sings: the horn plays alone", "horn alone"),
    State.SILENT: StateWords("The horn does not play", "silent"),
    State.LOCKED: StateWords("The reed locks to the voice", "locked"),
    State.DRIFTING: StateWords("The two notes do not lock", "drifting"),
    State.ROUGH: StateWords("The two notes only roughen each other", "rough"),
    State.IRREGULAR: StateWords("The sound is irregular", "irregular"),
    State.UNDECIDED: StateWords("What became of the two notes cannot be told", "not decided"),
    State.FAILED: StateWords("The simulation failed", "failed"),
}

FOLLOWS = {
    Follows.REED: STATES[State.LOCKED].clause,
    Follows.VOICE: "The horn takes the voice along",
    Follows.BOTH: "Horn and voice pull each other into step",
}
"""Who follows whom in a lock."""

REASONS: dict[str | None, str] = {
    Reason.UNDECIDED: "perhaps locks",
    Reason.TOO_SHORT: "too short to tell",
    Reason.NOT_SETTLED: "unsettled",
    Reason.STARTING: "still starting",
    Reason.NO_NOTE: "no steady sung note",
    Reason.PARTS: "parts after a while",
}
"""Reasons that say more than the state does, in a word or two."""


def short(state: State, reason: str | None = None) -> str:
    """Say in a word or two what became of two notes, by the reason if that says more."""
    return REASONS.get(reason, STATES[state].short)


ROUGHER = (
    (1.5, "as smooth as the horn alone"),
    (5.0, "a little rougher than the horn alone"),
    (20.0, "much rougher than the horn alone"),
    (math.inf, "far rougher than the horn alone"),
)
"""Up to how many times the roughness of the horn alone each is said. Measured by
`tests/benchmarks/voices.py players` on tenor, alto, clarinet and bass clarinet, sung at depths of
0.1 and 0.2: a unison or an octave that locks comes to 0.7 to 1.5 times, a just fifth to 1.1 to 4, a
just fourth to 2 to 8, a just third to 2.5 to 60, a tempered one to 4 to 500."""


def rougher(times: float) -> str:
    """Say how rough a sound is that is so many times as rough as the horn alone."""
    return next(says for most, says in ROUGHER if times <= most)


def is_one_of_two(heard: str) -> bool:
    """Tell whether the common note is the fingered or the sung note, so that there is no third."""
    return heard in (Heard.FINGERED, Heard.SUNG)


def third(heard: str, note: str) -> str:
    """Name a third note and say how well it is heard, such as ``Bb1 perhaps heard``."""
    beside = HEARD[Heard(heard)].beside
    return beside if is_one_of_two(heard) else f"{note} {beside}"


def heard_alone(heard: str) -> str:
    """Say of a third note how well it is heard, without its name; nothing if there is none."""
    return "" if is_one_of_two(heard) else f"third note {HEARD[Heard(heard)].beside}"


def below(q: int) -> str:
    """Say as a player would how far the q-th part of a frequency lies below it."""
    return _BELOW.get(q) or f"{math.log2(q):.1f} octaves".replace(".0 ", " ")


def sentence(clause: str) -> str:
    """Make a sentence of a clause."""
    return f"{clause[0].upper()}{clause[1:]}."
