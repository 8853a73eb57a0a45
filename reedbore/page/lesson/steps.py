"""What the lesson says: nine steps, each with a setup, where to look, and a task.

Nothing is calculated here. What a step claims of the model stands in `Step.claim`; the tests hold
it against the model. The scenario is the demo's: *Mill race*, hummed at night in a disused mill.
"""

from dataclasses import dataclass, field
from typing import Any

from reedbore.report.words import SINGER, sentence
from reedbore.verdict.state import State


@dataclass(frozen=True, kw_only=True)
class Task:
    """What the student does.

    Attributes
    ----------
    kind : str
        ``number``, ``choice``, ``note``, or ``set``: no answer but what the controls are set to.
    asks : str
        The task.
    unit : str
        Of a number.
    choices : tuple of str
        Of which one is right.
    low, high : float
        Between which a number is taken.
    """

    kind: str
    asks: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step: what is read aloud, what it loads, where to look, and a task.

    Attributes
    ----------
    name, title : str
        For the program, and for the reader.
    says : tuple of str
        Two or three sentences to read aloud.
    words : dict
        The setup that it loads.
    panel : str
        Where on the page to look.
    watch : str
        For what.
    task : Task
        What the student does.
    claim : tuple
        State, ratio and whether a third note is heard, as `verdict.judge` finds them there.
    """

    name: str
    title: str
    says: tuple[str, ...]
    words: dict[str, Any] = field(hash=False)
    panel: str
    watch: str
    task: Task
    claim: tuple[State, tuple[int, int] | None, str]


_TENOR = {"horn": "tenor-saxophone", "voice": "low-male"}

STEPS = (
    Step(
        name="air",
        title="The air in the tube",
        says=(
            "Night in the old mill, and the horn is a plain tube, closed by its reed at one end "
            "and open at the other. The player breathes so softly that the reed keeps still, and "
            "hums one pure tone through it: only the air inside swings.",
            "Each push runs down the tube, comes back from the open end as a pull, goes down again "
            "and comes back as a push. If the next hum arrives just then, the swing grows: that is "
            "the note of this tube.",
        ),
        words={
            **_TENOR, "horn": "plain-cylinder", "fingered": "Bb2", "sung": "Bb2",
            "breath": "0.5kPa", "settings": {"voice.source": "sine"},
        },
        panel="bore",
        watch="The pressure swings most at the closed reed and hardly at all at the open end.",
        task=Task(
            kind="number",
            asks=(
                "To how much of its length must this tube be cut for its air to answer an octave "
                "higher, in per cent?"
            ),
            unit="%",
            low=10.0,
            high=300.0,
        ),
        claim=(State.SILENT, None, "no"),
    ),
    Step(
        name="reed",
        title="The reed is a door",
        says=(
            "Now the tenor saxophone, low B♭, and nobody sings. The pressure in the mouth pushes "
            "the reed towards shutting; each push that comes back from the bore opens it again.",
            "So this door lets in more air just when the pressure behind it is high. With enough "
            "breath that makes good what the wave loses on its way: the horn plays.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": None},
        panel="waves",
        watch="The reed shuts once in each wave of the mouthpiece: it and the air move together.",
        task=Task(
            kind="number",
            asks="Blow softer and softer. What is the least breath with which the note speaks?",
            unit="kPa",
            low=0.1,
            high=20.0,
        ),
        claim=(State.UNSUNG, None, "no"),
    ),
    Step(
        name="voice",
        title="The voice alone",
        says=(
            "The player hums into the same horn, and breathes too softly for the reed to speak. "
            "The voice shakes the air in the mouth; some of it passes the open reed into the bore.",
            "Nothing new comes out: the bore only makes some hums louder than others, those that "
            "return to the reed in time.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "F3", "breath": "1kPa"},
        panel="spectrum",
        watch="All lines belong to the voice: there is no note of the horn, and no third one.",
        task=Task(
            kind="choice",
            asks="Which of these hums does the air in the horn answer most strongly?",
            choices=("E2", "C3", "F3", "Bb3"),
        ),
        claim=(State.SILENT, None, "no"),
    ),
    Step(
        name="multiple",
        title="A whole number of hums",
        says=(
            "Breath enough, and both at once: the horn plays its low B♭, the player hums an octave "
            "above. Each time the reed opens, the voice has pushed a whole number of times.",
            "So every opening of the reed is like the last one. The two notes fall into step, and "
            "what comes out has the pitch of the fingered note, in another colour.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "Bb3"},
        panel="waves",
        watch="The sung peaks stand at the same places against every opening of the reed.",
        task=Task(
            kind="number",
            asks="Count: how many sung peaks fall on each opening of the reed?",
            unit="peaks",
            low=1.0,
            high=12.0,
        ),
        claim=(State.LOCKED, (2, 1), "same as fingered"),
    ),
    Step(
        name="octave",
        title="A note that nobody plays or sings",
        says=(
            "The first pair of Mill race: low B♭ fingered, D hummed an octave and a third above, a "
            "little low. Now five hums go to two openings of the reed.",
            "One opening meets the voice on a push, the next between two pushes: they differ, and "
            "only every second one is alike. The whole sound repeats half as often as the reed "
            "opens, and the ear hears that as a note of its own.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "D4-13.8c"},
        panel="bore",
        watch="In the beats below, a tick of sung and of horn meet only at each tick of the third.",
        task=Task(kind="note", asks="Which third note is heard? Write its name, such as C2."),
        claim=(State.LOCKED, (5, 2), "yes"),
    ),
    Step(
        name="lower",
        title="Lower still",
        says=(
            "The second held note of Mill race, D, and a B hummed over it, a little low: five hums "
            "to three openings of the reed. Only every third opening is alike.",
            "So the third note lies a twelfth below the fingered one. The more openings it takes "
            "until all is alike again, the lower the note, and the rougher it grows.",
        ),
        words={**_TENOR, "fingered": "D3", "sung": "B3-15.7c"},
        panel="spectrum",
        watch="Between the lines of horn and voice stand new ones, as far apart as the third note.",
        task=Task(
            kind="set",
            asks=(
                "Change only the sung note, until a third note is heard two octaves below the "
                "fingered one."
            ),
        ),
        claim=(State.LOCKED, (5, 3), "yes"),
    ),
    Step(
        name="drift",
        title="A near miss",
        says=(
            "Low B♭ and D again, but the player hums a few cents too high. Five hums no longer fit "
            "two openings: each time they come a little earlier.",
            "The third note is still heard, but it moves: the sound turns over and over, slowly, "
            f"and with a beat that one can count. {sentence(SINGER)}",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "D4-10c"},
        panel="map",
        watch="Compute the map: the lock is a narrow tongue, and this pair lies beside it.",
        task=Task(
            kind="number",
            asks="Hold the sound and count: how many times does it turn over in ten seconds?",
            unit="times",
            low=0.0,
            high=600.0,
        ),
        claim=(State.DRIFTING, (5, 2), "yes"),
    ),
    Step(
        name="rough",
        title="Only rough",
        says=(
            "The hum sinks to A, eleven semitones over the low B♭. No small whole numbers fit "
            "these two notes: no opening of the reed is like another for a long time.",
            "The ear finds nothing that repeats, so it hears no third note, only roughness. In "
            "Mill race that is where the wheel grinds.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "A3"},
        panel="spectrum",
        watch="Many lines, and no even ladder among them.",
        task=Task(
            kind="set",
            asks=(
                "Mend it: move only the sung note, by no more than three semitones, until a third "
                "note is heard."
            ),
        ),
        claim=(State.ROUGH, None, "no"),
    ),
    Step(
        name="along",
        title="The horn takes the voice along",
        says=(
            "So far the voice was a clock, and the reed had to follow. A singer is no clock: the "
            "horn sounds into the mouth, right above the vocal folds, and shakes them too.",
            "Low B♭ again, and the singer aims forty cents under the fifth. The folds are taken "
            "along: what is sung is the fifth, three hums to two openings of the reed, and the "
            "third note stands still. The horn's own pitch hardly moves.",
        ),
        words={
            **_TENOR, "fingered": "Bb2", "sung": "3/2-40c", "settings": {"voice.drive": "folds"},
        },
        panel="bore",
        watch="The folds open three times while the reed opens twice, at the same moments again.",
        task=Task(
            kind="set",
            asks=(
                "Move only the sung note, by at least fifteen cents: find another aim from which "
                "the horn takes the voice to the same fifth."
            ),
        ),
        claim=(State.LOCKED, (3, 2), "yes"),
    ),
)  # fmt: skip


def told() -> list[dict[str, Any]]:
    """Return all that the page shows of the lesson, in order."""
    listed = []
    for step in STEPS:
        plain = {name: getattr(step, name) for name in ("name", "title", "words", "panel", "watch")}
        listed.append({**plain, "says": list(step.says), "task": _plain_task(step.task)})
    return listed


def _plain_task(task: Task) -> dict[str, Any]:
    plain = {"kind": task.kind, "asks": task.asks, "unit": task.unit}
    return plain | {"choices": list(task.choices), "low": task.low, "high": task.high}
