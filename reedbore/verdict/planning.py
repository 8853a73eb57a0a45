"""From what a player wants to a plan: the pairs there are, and the cheapest way through a line.

In: fingered notes, wanted third notes or a passage, and the range of a voice. Out: pairs and
steps by arithmetic alone; `tried` takes in what singers with folds make of them. No kernel is
loaded.

The cheapest way is told in semitones: those that the voice moves, a quarter of those that the
fingers move, and what a pair costs by itself (`effort`). The prices are our own.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import NamedTuple

from reedbore.model.line import Line, Note
from reedbore.model.passage import Passage
from reedbore.model.setup import Horn
from reedbore.notes import (
    A4_HZ,
    MEASURED_LIMIT,
    TOLERANCE_CENTS,
    cents,
    choose_ratio,
    just_hz,
    midi_to_hz,
    parse_pitch,
    simple_ratios,
)
from reedbore.verdict.plan import (
    EASE_COSTS,
    HEARD_COSTS,
    Choice,
    Key,
    Plan,
    Step,
    Tried,
    best_first,
)
from reedbore.verdict.state import Heard

Range = tuple[float, float]

NEAR_CENTS = 50.0
"""So near a just note a sung note of a passage is read as meant for it. [cents]"""

FINGERS_COST = 0.25
CHANGE_COST = 20.0
"""To sing another note than the passage has is dearer than any leap, and cheaper than a pair that
does not fall into step. [semitones]"""


# --- which pairs there are -----------------------------------------------------------------------


class Fingered(NamedTuple):
    """A note that can be fingered. [Hz]."""

    hz: float
    fingering: str = ""


def fingered_notes(horn: Horn, a4: float = A4_HZ) -> list[Fingered]:
    """List all notes that a horn fingers plainly, lowest first, those under its vents too."""
    return [Fingered(midi_to_hz(midi, a4)) for midi in horn.notes()]


def pairs_over(note: Fingered, reach: Range) -> list[Choice]:
    """List what a voice may sing over a fingered note, the best first by arithmetic.

    Parameters
    ----------
    note : Fingered
        The note.
    reach : (low, high)
        Of the voice. [Hz]

    Returns
    -------
    list of Choice
        All ratios with p and q up to 8 whose just note the voice has.
    """
    low, high = reach
    return best_first(
        Choice(fingered_hz=note.hz, ratio=ratio, fingering=note.fingering)
        for ratio in simple_ratios(MEASURED_LIMIT)
        if low <= just_hz(note.hz, ratio) <= high
    )


def pairs_for(
    wanted_hz: float, choices: Iterable[Choice], tolerance_cents: float = TOLERANCE_CENTS
) -> list[Choice]:
    """Choose the pairs whose third note is a wanted one, the best first.

    Parameters
    ----------
    wanted_hz : float
        The third note. [Hz]
    choices : iterable of Choice
        Pairs to choose from.
    tolerance_cents : float
        How far the third note may lie from what is wanted. [cents]

    Returns
    -------
    list of Choice
        A common note that is one of the two is no third note.
    """
    return best_first(
        choice
        for choice in choices
        if min(choice.ratio) > 1 and abs(cents(choice.common_hz, wanted_hz)) <= tolerance_cents
    )


def nearest_to(wanted_hz: float, choices: Sequence[Choice]) -> tuple[Choice, ...]:
    """Choose the best pairs for the nearest third notes below and above one that cannot be had."""
    thirds = [choice for choice in choices if choice.heard in (Heard.YES, Heard.UNCERTAIN)]
    found = []
    for way in (-1.0, 1.0):
        side = [c for c in thirds if way * cents(c.common_hz, wanted_hz) > 0.0]
        if side:
            near = min(abs(cents(c.common_hz, wanted_hz)) for c in side)
            same = [c for c in side if abs(cents(c.common_hz, wanted_hz)) < near + 1.0]
            found.append(best_first(same)[0])
    return tuple(found)


# --- the cheapest way through a line -------------------------------------------------------------


def effort(choice: Choice) -> float:
    """Tell what a pair costs a singer by itself. [semitones]."""
    ease = choice.ease
    alone = math.log2(math.prod(choice.ratio)) if ease is None else EASE_COSTS[ease]
    return alone + HEARD_COSTS[choice.heard]


def moved(before: Choice, after: Choice) -> float:
    """Tell what it costs to go from one pair to another. [semitones]."""
    voice = abs(cents(after.sing_hz, before.sing_hz)) / 100.0
    return voice + FINGERS_COST * abs(cents(after.fingered_hz, before.fingered_hz)) / 100.0


def led(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Choose among the pairs of each step so that the whole line is cheapest.

    Parameters
    ----------
    steps : sequence of Step
        Each with all its pairs as `choice` and `others`.

    Returns
    -------
    tuple of Step
        The same, `choice` being what the cheapest way takes; steps without a pair stay.
    """
    sung = [step for step in steps if step.choice]
    if not sung:
        return tuple(steps)
    costs = [[_step_cost(step, choice) for choice in step.pairs] for step in sung]
    total, ways = costs[0], []
    for before, after, alone in zip(sung, sung[1:], costs[1:], strict=False):
        reached = [
            min(
                (cost + moved(one, other), k)
                for k, (cost, one) in enumerate(zip(total, before.pairs, strict=True))
            )
            for other in after.pairs
        ]
        ways.append([k for _, k in reached])
        total = [cost + here for (cost, _), here in zip(reached, alone, strict=True)]
    places = accumulate(
        reversed(ways), lambda place, way: way[place], initial=total.index(min(total))
    )
    chosen = iter(reversed(list(places)))
    return tuple(step.taking(next(chosen)) if step.choice else step for step in steps)


def _step_cost(step: Step, choice: Choice) -> float:
    stays = step.sung_hz is None or abs(cents(choice.just_hz, step.sung_hz)) <= NEAR_CENTS
    return effort(choice) + (0.0 if stays else CHANGE_COST)


# --- plans ---------------------------------------------------------------------------------------


def tried(plan: Plan, known: Mapping[Key, Tried]) -> Plan:
    """Take into a plan what the simulation says, and choose again.

    Parameters
    ----------
    plan : Plan
        Any.
    known : mapping
        What became of pairs.

    Returns
    -------
    Plan
        The copy; what is not known stays as it was.
    """

    def told(choice: Choice) -> Choice:
        return replace(choice, tried=known.get(choice.key, choice.tried))

    steps = []
    for step in plan.steps:
        pairs = best_first(map(told, step.pairs))
        near = tuple(map(told, step.nearest))
        steps.append(
            replace(step, choice=pairs[0] if pairs else None, others=tuple(pairs[1:]), nearest=near)
        )
    return replace(
        plan,
        choices=tuple(best_first(map(told, plan.choices))),
        nearest=tuple(map(told, plan.nearest)),
        steps=led(steps),
    )


def wanted_steps(
    line: Line, choices: Sequence[Choice], tolerance_cents: float, a4: float = A4_HZ
) -> tuple[Step, ...]:
    """Make the steps of a line of wanted third notes, by arithmetic."""
    steps = []
    for note, beat in zip(line.notes, line.bounds, strict=False):
        wanted = None if note.pitch is None else parse_pitch(note.pitch, a4)
        pairs = [] if wanted is None else pairs_for(wanted, choices, tolerance_cents)
        lacking = wanted is not None and not pairs
        steps.append(
            Step(
                beat=beat,
                beats=note.beats,
                choice=pairs[0] if pairs else None,
                others=tuple(pairs[1:]),
                wanted_hz=wanted,
                nearest=nearest_to(wanted, choices) if wanted is not None and lacking else (),
                fingers_on=note.slurred,
                sings_on=note.slurred,
            )
        )
    return led(steps)


def passage_steps(passage: Passage, reach: Range, a4: float = A4_HZ) -> tuple[Step, ...]:
    """Make the steps of a passage: its fingered notes, and what one voice sings over them.

    Parameters
    ----------
    passage : Passage
        At concert pitch.
    reach : (low, high)
        Of the voice. [Hz]
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    tuple of Step
        One from each beat at which either line goes on. Where the passage sings, a pair keeps its
        third note if the voice can: the same q; where it says nothing, any pair may stand.
    """
    lines = passage.fingered_line, passage.sung_line
    beats = sorted({0.0, *lines[0].bounds, *lines[1].bounds})
    free = not passage.sung
    steps = []
    for beat, end in pairwise(beats):
        (note, fingers_on), (voice, sings_on) = (_at(line, beat, end) for line in lines)
        fingered = parse_pitch(note.pitch, a4) if note and note.pitch else None
        sung = parse_pitch(voice.pitch, a4) if voice and voice.pitch else None
        pairs: list[Choice] = []
        if fingered is not None and (free or sung is not None):
            pairs = pairs_over(Fingered(fingered, note.fingering if note else ""), reach)
        ratio = fingered and sung and choose_ratio(sung / fingered, NEAR_CENTS, MEASURED_LIMIT)
        kept = [pair for pair in pairs if ratio and pair.ratio[1] == ratio[1]]
        pairs = kept or pairs
        steps.append(
            Step(
                beat=beat,
                beats=end - beat,
                choice=pairs[0] if pairs else None,
                others=tuple(pairs[1:]),
                wanted_hz=fingered / ratio[1] if ratio and fingered else None,
                fingered_hz=fingered,
                fingering=note.fingering if note else "",
                sung_hz=sung,
                fingers_on=fingers_on,
                sings_on=fingers_on if free else sings_on,
            )
        )
    return led(steps)


def _at(line: Line, beat: float, end: float) -> tuple[Note | None, bool]:
    """Return the note that sounds from a beat on, and whether it goes on after another."""
    for note, first, last in zip(line.notes, line.bounds, line.bounds[1:], strict=False):
        if first <= beat < last:
            return note, end < last or note.slurred
    return None, False
