"""A plan as music to practise: its line, or, of notes planned one by one, a bar for each pair.

In: a plan. Out: a passage that sounds, its third notes, and where each pair stands in it.
"""

from collections.abc import Sequence
from typing import NamedTuple

from reedbore.errors import ReedboreError
from reedbore.model.line import Line, Note, write_line
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.write import Third
from reedbore.model.passage import Passage
from reedbore.report.words import is_one_of_two
from reedbore.verdict.plan import Choice, Plan, exact_name
from reedbore.verdict.state import Heard

MOST_PAIRS = 12
"""Of notes that are planned one by one: the best that fit a page."""


LONGEST_LIST = 10  # characters of a narrow column


class Row(NamedTuple):
    """A pair, and where it stands in the music."""

    choice: Choice
    places: str


class Exercise(NamedTuple):
    """What is played, its third notes, and its pairs in the order in which they come."""

    passage: Passage
    third: tuple[Third, ...]
    rows: tuple[Row, ...]


def exercise(plan: Plan) -> Exercise:
    """Make music of a plan.

    Parameters
    ----------
    plan : Plan
        Any.

    Returns
    -------
    Exercise
        The line of the plan; or the best of its pairs, each held for three beats.

    Raises
    ------
    ReedboreError
        If it has no pair.
    """
    if plan.steps and plan.passage:
        return _line(plan, plan.passage)
    best = plan.choices[:MOST_PAIRS]
    if not best:
        raise ReedboreError("there is no pair in this plan, so there is nothing to practise")
    fingered = [(choice.fingered_hz, choice.fingering) for choice in best]
    passage = Passage(
        tempo=plan.tempo_hz,
        fingered=_held(fingered, plan.a4),
        sung=_held([(choice.sing_hz, "") for choice in best], plan.a4),
    )
    third = [t for place, c in enumerate(best) if (t := _third(c, 4.0 * place, 3.0))]
    rows = [Row(choice, f"bar {place}") for place, choice in enumerate(best, 1)]
    return Exercise(passage, tuple(third), tuple(rows))


def _line(plan: Plan, passage: Passage) -> Exercise:
    measures = bars.bars_of(passage.meters, bars.exact(passage.beats))
    places: dict[Choice, list[int]] = {}
    third = []
    for step in plan.steps:
        if step.choice is None:
            continue
        number = sum(bar.start <= bars.exact(step.beat) for bar in measures)
        places.setdefault(step.choice, []).append(number)
        if found := _third(step.choice, step.beat, step.beats):
            third.append(found)
    rows = [Row(choice, listed("bar", found)) for choice, found in places.items()]
    return Exercise(passage, tuple(third), tuple(rows))


def _held(notes: Sequence[tuple[float, str]], a4: float) -> str:
    """Write a bar for each note: three beats, and one to breathe."""
    return write_line(
        Line(
            tuple(
                one
                for hz, name in notes
                for one in (Note(exact_name(hz, a4), 3.0, name), Note(None, 1.0))
            )
        )
    )


def _third(choice: Choice, beat: float, beats: float) -> Third | None:
    if is_one_of_two(choice.heard):
        return None
    return Third(beat, beats, choice.common_hz, choice.locks and choice.heard == Heard.YES)


def listed(what: str, numbers: Sequence[int]) -> str:
    """List numbers with runs drawn together, such as ``bars 1–3``; of a long list the first."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    text = ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in runs)
    found = f"{what}{'' if len(set(numbers)) == 1 else 's'} {text}"
    return found if len(found) <= LONGEST_LIST else f"{what} {runs[0][0]}, …"
