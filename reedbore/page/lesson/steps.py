"""The lesson: what its ten steps say, each with a setup, a picture, and a question.

Nothing is calculated here. What a step claims of the model stands in `Step.claim`; the tests hold
that, and each sentence, against the model and against what the picture draws. The scenario is the
demo's: *Mill race*, hummed at night in a disused mill.
"""

from dataclasses import dataclass, field
from typing import Any

from reedbore.report.words import SINGER, sentence
from reedbore.verdict.state import State

COUNTED_S = 5.0
"""So long is the stretch over which a beat is counted. [s]"""


@dataclass(frozen=True, kw_only=True)
class Task:
    """What the student does.

    Attributes
    ----------
    kind : str
        ``number``, ``choice``, or ``set``: no answer but what the sung note is set to.
    asks : str
        The question, which the picture answers.
    unit : str
        Of a number.
    choices : tuple of str
        Of which one is right.
    low, high : float
        Between which a number is taken.
    hint : str
        What is said to a wrong answer.
    """

    kind: str
    asks: str
    hint: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step: what is read aloud, what is seen and heard, and a question.

    Attributes
    ----------
    name, title : str
        For the program, and for the reader.
    says : tuple of str
        Two short paragraphs to read aloud.
    explains : tuple of (word, meaning)
        Words that stand here for the first time.
    words : dict
        The setup that is seen and heard.
    picture : str
        ``push``, ``waves``, ``spectrum``, ``bore`` or ``turns``.
    watch : str
        Where to look in it.
    task : Task
        What the student does.
    notes : tuple of str
        For the teacher; they give no answer away, not to a quick pupil either.
    claim : tuple
        State, ratio and whether a third note is heard, as `verdict.judge` finds them there.
    """

    name: str
    title: str
    says: tuple[str, str]
    words: dict[str, Any] = field(hash=False)
    picture: str
    watch: str
    task: Task
    notes: tuple[str, ...]
    claim: tuple[State, tuple[int, int] | None, str]
    explains: tuple[tuple[str, str], ...] = ()


_TENOR = {"horn": "tenor-saxophone", "voice": "low-male"}
_TUBE = {
    "horn": "plain-cylinder", "voice": "low-male", "fingered": "Ab2", "sung": "104.35Hz",
    "breath": "0.5kPa", "settings": {"voice.source": "sine", "bore.length_mm": 800},
}  # fmt: skip

STEPS = (
    Step(
        name="push",
        title="A push in a tube",
        says=(
            "Night in the old mill, and a plain tube lies on the table. Its reed end is shut. A "
            "short puff gives the air there a push, and the push runs off down the tube.",
            "The picture shows the air in slow motion. A push is drawn above the line and a pull "
            "below it. What comes back from the far end? Try both ends.",
        ),
        explains=(
            ("push", "air at a higher pressure than the air outside"),
            ("pull", "air at a lower pressure than the air outside"),
        ),
        words=_TUBE,
        picture="push",
        watch="The dashes run away from the reed, the dots run back. The thick line is their sum.",
        task=Task(
            kind="choice",
            asks="Which far end sends the push back upside down, as a pull?",
            choices=("the open end", "the stopped end", "both", "neither"),
            hint="Choose each end in turn. When the dots run back, are they above the line or "
            "below it?",
        ),
        notes=(
            "Let the class vote before you run it.",
            "Ask why, once it is seen: how far can the pressure differ from that of the room where "
            "the tube ends in it? And how far can the air move at a stopper?",
            "Then choose the cone, and the hole. In the short, wide tube the dashed walls show how "
            "far behind the end the wave turns round.",
        ),
        claim=(State.SILENT, None, "no"),
    ),
    Step(
        name="tube",
        title="The note of a tube",
        says=(
            "Now the far end stays open. A wave that comes back to the shut end leaves it the same "
            "way up, and all goes on. A longer tube takes longer, so its note is lower.",
            "Let the player hum so that each new push starts just when the old one stands there "
            "as a push again. Then the swing grows. This hum is the note of the tube. Hear it.",
        ),
        explains=(
            ("extra bit", "the wave turns round just outside the end, at the dashed walls: a tube "
             "sounds as if it were that much longer"),
        ),
        words=_TUBE,
        picture="push",
        watch="Below, the pressure at the reed end. The line of now runs through it.",
        task=Task(
            kind="number",
            asks="How many times does the wave run through the tube, down or back, until it stands "
            "at the reed end as a push again?",
            unit="times",
            low=1.0,
            high=20.0,
            hint="Step through it. Down is one, back is two. Is it a push by then, or a pull?",
        ),
        notes=(
            "The hum is so soft outside the tube that it has been made louder here; the page says "
            "by how much.",
            "Ask how long the tube must be for a note an octave lower.",
            "A cone is another matter: let the class count there too.",
        ),
        claim=(State.SILENT, None, "no"),
    ),
    Step(
        name="reed",
        title="The reed is a door",
        says=(
            "Now the saxophone: low B♭, and nobody sings. The reed is a door with a spring. The "
            "breath in the mouth presses it towards the lay, and the spring holds it open.",
            "The pressure in the mouthpiece helps the spring or leaves it alone. So each wave that "
            "comes back from the bore works the door, and the door lets in the next puff.",
        ),
        explains=(
            ("lay", "the curved edge of the mouthpiece that the reed shuts against"),
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": None},
        picture="waves",
        watch="The second curve is how far the reed stands open. The third is the pressure "
        "behind it, in the mouthpiece.",
        task=Task(
            kind="choice",
            asks="While the reed is shut, is the pressure in the mouthpiece high or low?",
            choices=("high", "low"),
            hint="Find where the second curve lies on its floor. Look straight down from there.",
        ),
        notes=(
            "One truth, to be said in full: what shuts the reed is the breath outside. Nothing "
            "behind it ever pulls.",
            "Ask, once it is answered: when must the door let a puff in, so that it makes good "
            "what the wave loses on its way?",
        ),
        claim=(State.UNSUNG, None, "no"),
    ),
    Step(
        name="voice",
        title="What a hum is made of",
        says=(
            "The player hums an F into the same horn and blows too softly for the reed to swing. "
            "The voice shakes the breath in the mouth, and some of that gets past the open reed.",
            "A steady note is made of partials. They stand at 1, 2, 3 times its pitch, "
            "and so on. So the lines of one note are as even as the rungs of a ladder.",
        ),
        explains=(
            ("partial", "one pure tone out of those that make up a note; one line in the picture"),
            ("depth", "how much the voice shakes the breath. Depth 0.1 is up and down by a tenth. "
             "All steps use it"),
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "F3", "breath": "1kPa"},
        picture="spectrum",
        watch="How far is it from line to line?",
        task=Task(
            kind="choice",
            asks="How many notes make these lines?",
            choices=("one", "two", "three"),
            hint="Two notes make two ladders, with rungs at odd distances. Measure from line to "
            "line.",
        ),
        notes=(
            "This too has been made louder; the page says by how much.",
            "Keep the picture in mind for the steps to come: what is new there is what two notes "
            "make of each other.",
        ),
        claim=(State.SILENT, None, "no"),
    ),
    Step(
        name="multiple",
        title="In step",
        says=(
            "Breath enough, and both at once. The horn plays its low B♭, and the player hums the "
            "B♭ an octave above. The top curve shows the voice, the next one the reed.",
            "Each opening of the reed is like the last one. The two notes keep step, and they do "
            "so by themselves: the horn goes along with the voice. This is a lock.",
        ),
        explains=(
            ("octave", "the way from a B♭ to the next B♭"),
            ("lock", "two notes keep step by themselves, even if one starts a little out of tune"),
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "Bb3"},
        picture="waves",
        watch="Go from one rise of the second curve to its next rise.",
        task=Task(
            kind="number",
            asks="How many peaks of the voice go to each opening of the reed?",
            unit="peaks",
            low=1.0,
            high=12.0,
            hint="Start where the reed opens. Count the peaks of the top curve until it opens "
            "again.",
        ),
        notes=(
            "No new note is heard: everything comes round as often as the reed opens.",
            "Clap it, once it is counted: half of the class is the voice, half the reed.",
        ),
        claim=(State.LOCKED, (2, 1), "same as fingered"),
    ),
    Step(
        name="octave",
        title="A note that nobody plays or sings",
        says=(
            "A pair from the tune Mill race: low B♭ on the horn, and a D hummed high above it, a "
            "little lower than on a piano. The voice pushes more than twice as often as the reed "
            "opens, but not three times as often.",
            "Look at the rows below the horn. Two openings in a row meet the voice in two "
            "different ways. Find the next one that meets it as the first one did.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "D4-13.8c"},
        picture="bore",
        watch="Each tick is one push of the voice, or one opening of the reed.",
        task=Task(
            kind="number",
            asks="How many openings after the first does one meet the voice in the same way?",
            unit="openings",
            low=1.0,
            high=12.0,
            hint="See how far the nearest push is from the first opening. Find the next opening "
            "for which it is just as far.",
        ),
        notes=(
            "Whatever comes round more seldom than the reed opens is a lower note. Let the class "
            "say how much lower before you check.",
            "The ear hears it from what is repeated, not from a strong low tone: small speakers "
            "do it too.",
        ),
        claim=(State.LOCKED, (5, 2), "yes"),
    ),
    Step(
        name="lower",
        title="Lower still",
        says=(
            "The next held note is a D, with a B hummed over it, a little low. Five pushes go to "
            "three openings, so all comes round after three. The new note is the third note.",
            "The more openings it takes, the lower the third note. Two put it an octave below the "
            "horn's own, three an octave and a fifth, four two octaves.",
        ),
        explains=(
            ("5/2", "the pair of the step before: five swings of the sung note to two of the "
             "played one"),
            ("third note", "the note that is heard though nobody plays or sings it"),
            ("cent", "a hundredth of a semitone, the step from one piano key to the next"),
        ),
        words={**_TENOR, "fingered": "D3", "sung": "B3-15.8c"},
        picture="waves",
        watch="The shaded stretch is one round. The numbers count what falls into it.",
        task=Task(
            kind="set",
            asks="Move only the sung note, until one round takes four openings of the reed.",
            hint="For four openings the sung note must be 5/4 or 7/4 of the D: somewhat above it, "
            "or nearly an octave. Go there, then on by single cents.",
        ),
        notes=(
            "Steps of a semitone come near; then go by single cents until the picture finds a "
            "round.",
            "The deeper third notes are rougher, and need a better aim.",
        ),
        claim=(State.LOCKED, (5, 3), "yes"),
    ),
    Step(
        name="drift",
        title="A near miss",
        says=(
            "Low B♭ and D again, but hummed four cents higher: too far for this lock. Hardly "
            "anyone hears so small a step. Yet five pushes no longer fit two openings: each time "
            "they come a little early.",
            "The third note is still there, but the sound turns over and over. Where a partial of "
            "the horn and one of the voice nearly meet, their sum swells and fades. "
            f"{sentence(SINGER)}",
        ),
        explains=(
            ("beat", "the slow swelling and fading of two tones that are nearly the same"),
        ),
        words={
            **_TENOR, "fingered": "Bb2", "sung": "D4-10c",
            "settings": {"breath.sway": 0, "breath.lip_sway": 0},
        },
        picture="turns",
        watch="The curve is the strength where two partials nearly meet.",
        task=Task(
            kind="number",
            asks="How many times does it swell in the five seconds of the picture?",
            unit="times",
            low=0.0,
            high=100.0,
            hint="Count the tops of the curve, and a part of one at either side as a part.",
        ),
        notes=(
            "Let them count by ear first, with eyes shut, and then in the picture.",
            "Nearer to the lock it turns more slowly. In the lock it stands.",
        ),
        claim=(State.DRIFTING, (5, 2), "yes"),
    ),
    Step(
        name="rough",
        title="Only rough",
        says=(
            "The hum sinks to an A, eleven semitones above the low B♭. No small whole numbers fit "
            "these two notes. The horn makes one ladder of lines, and the crosses fit none of it.",
            "The ear finds nothing that comes round, so it hears no third note. It hears only that "
            "the sound is rough.",
        ),
        words={**_TENOR, "fingered": "Bb2", "sung": "A3"},
        picture="spectrum",
        watch="The lines of horn and voice, and the crosses: sums and differences of both.",
        task=Task(
            kind="set",
            asks="Mend it: move only the sung note, by three semitones at most, until all lines "
            "fit one ladder and a third note is heard.",
            hint="Try the ratios with small numbers that lie near: 5/3 is about two semitones "
            "lower. Go there, then on by single cents.",
        ),
        notes=(
            "Roughness is a colour, not a fault: ask where in a piece it would be wanted.",
        ),
        claim=(State.ROUGH, None, "no"),
    ),
    Step(
        name="along",
        title="The horn takes the voice along",
        says=(
            "So far the voice was a clock, and never gave way to the reed. A singer is no clock. "
            "The horn sounds into the mouth, right above the vocal folds, and shakes them too.",
            "Low B♭ again. The singer aims at an F, but forty cents too low: nearly half a "
            "semitone. The horn pulls the folds along. The two notes lock, and the horn hardly "
            "moves.",
        ),
        explains=(
            ("vocal folds", "the two lips in the throat that make the voice by opening and "
             "shutting"),
        ),
        words={
            **_TENOR, "fingered": "Bb2", "sung": "3/2-40c", "settings": {"voice.drive": "folds"},
        },
        picture="bore",
        watch="The folds, the reed and the bore in one picture. Below, each tick is one opening.",
        task=Task(
            kind="number",
            asks="How many times do the folds open while the reed opens twice?",
            unit="times",
            low=1.0,
            high=12.0,
            hint="Start at a tick of the reed. Count the ticks of the folds up to the tick of the "
            "reed after the next one.",
        ),
        notes=(
            "These are folds of the model. Nobody's own are known, and some are taken along from "
            "farther away than others.",
            "If the class tries it: hum softly, a minute at most, then rest. Stop at pain or if "
            "the voice turns hoarse.",
        ),
        claim=(State.LOCKED, (3, 2), "yes"),
    ),
)  # fmt: skip

COVERED = ("number", "choice")
"""Tasks whose picture hides what it counts, until the answer is right."""


def told() -> list[dict[str, Any]]:
    """Return all that the page shows of the lesson, in order; no answers."""
    names = ("name", "title", "words", "picture", "watch")
    return [
        {
            **{name: getattr(step, name) for name in names},
            "says": list(step.says),
            "explains": [list(pair) for pair in step.explains],
            "notes": list(step.notes),
            "covers": step.task.kind in COVERED,
            "task": _plain_task(step.task),
        }
        for step in STEPS
    ]


def _plain_task(task: Task) -> dict[str, Any]:
    plain = {"kind": task.kind, "asks": task.asks, "unit": task.unit}
    return plain | {"choices": list(task.choices), "low": task.low, "high": task.high}
