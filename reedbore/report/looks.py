"""How the states of a cell look: one table for print, for the screen by day and by night.

A state is told by its lightness and by a mark as well as by its colour, so that a grey print and
every eye can tell it from the others. What matters most stands out most: locks are darkest on
paper and lightest on a dark screen.
"""

from typing import NamedTuple

from reedbore.verdict.state import State


class Look(NamedTuple):
    """What a state is called in a legend, its colours on light and dark ground, and its mark.

    The mark is the hatching as matplotlib writes it; the script of the page knows the same signs.
    """

    says: str
    light: str
    dark: str
    mark: str


LOOKS = {
    State.LOCKED: Look("locked: the sound stands still", "#7a1f52", "#f3b6d5", ""),
    State.DRIFTING: Look("near a ratio, but drifting", "#5e93b8", "#5b8fb5", "/"),
    State.ROUGH: Look("rough: no simple ratio", "#cfc6ad", "#524d3d", "."),
    State.IRREGULAR: Look("irregular sound", "#4d6d4a", "#93ab8d", "x"),
    State.UNDECIDED: Look("not decided within the run", "#dba23a", "#8a6518", "+"),
    State.SILENT: Look("the horn does not play", "#f4efe4", "#2a2821", "-"),
    State.UNSUNG: Look("nobody sings", "#ffffff", "#1c1b16", "|"),
    State.FAILED: Look("the simulation failed", "#14120f", "#ffffff", "*"),
    State.NOT_RUN: Look("not run yet", "#e4dfd3", "#3b382e", "\\"),
}


def looks(*, folded: bool) -> dict[State, Look]:
    """Return them in their order for a map of a clock, or of folds, which may not sing a note."""
    unsung = LOOKS[State.UNSUNG]._replace(says="unsung: these folds do not sing it")
    return LOOKS | ({State.UNSUNG: unsung} if folded else {})
