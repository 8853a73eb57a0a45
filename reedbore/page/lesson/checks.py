"""The questions of the lesson, answered by the simulation.

In: the name of a step, a student's answer, the words that are set. Out: whether it is right, and
why, or a hint. No answer is stored: each is found by playing the setup that it is about.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from reedbore.errors import ReedboreError
from reedbore.measures.drift import mean_drift
from reedbore.model.setup import Setup
from reedbore.notes import cents, note_name, parse_sung
from reedbore.page import signals
from reedbore.page.answers import Shared, shown
from reedbore.page.lesson.steps import COUNTED_S, STEPS, Step, Task
from reedbore.page.lesson.turns import turns_of
from reedbore.page.pulse import KELVIN, bore_named
from reedbore.page.request import read_words
from reedbore.report.words import below
from reedbore.simulate import pulse
from reedbore.simulate.request.take import Request, Words, read_request, tune_request
from reedbore.simulate.take import Take, render
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

LISTEN_S = 3.0
COUNT_SHARE = 0.2
"""By so much of itself a count of slow turns may be off."""

MOST_SEMITONES = 3.0
MOST_KEPT = 24
"""Kept in memory: whoever answers again need not wait again."""

EXAMPLES = {"lower": ("5/4", "7/4"), "rough": ("5/3",)}
"""Ratios to be tried where the sung note is the answer, for the teacher."""

_takes, _verdicts = Shared(2), Shared(MOST_KEPT)

Answer = str | float | None
Said = tuple[bool, str]
Truth = tuple[str | float, str]


def check(step: str, answer: object, words: Words) -> dict[str, Any]:
    """Judge an answer by the simulation.

    Parameters
    ----------
    step : str
        Name of the step.
    answer : object
        A number, a text, or nothing where the sung note is the answer.
    words : Words
        What is set; only looked at where it is the answer. All other answers are about the setup
        that the step loads.

    Returns
    -------
    dict
        `right`, and `says`: why, or a hint.

    Raises
    ------
    ReedboreError
        If there is no such step, or the answer cannot be read.
    """
    found = _named(step)
    given = _read(found.task, answer)
    right, says = (
        _TRIED[step](found, words) if given is None else _compared(found, given, _TRUTHS[step])
    )
    return {"right": right, "says": says}


def truth(name: str) -> dict[str, str]:
    """Find the right answer to a step, for the teacher.

    Parameters
    ----------
    name : str
        Of the step.

    Returns
    -------
    dict
        The `answer`, and what is `said` to it.

    Raises
    ------
    ReedboreError
        If there is no such step.
    """
    step = _named(name)
    if name in _TRUTHS:
        found, says = _TRUTHS[name](step)
        return {
            "answer": found if isinstance(found, str) else f"{found:.3g} {step.task.unit}",
            "said": says,
        }
    tried = {
        ratio: _TRIED[name](step, read_words({**step.words, "sung": ratio}))
        for ratio in EXAMPLES[name]
    }
    good = {ratio: says for ratio, (right, says) in tried.items() if right}
    return {"answer": "sing " + " or ".join(good), "said": " ".join(good.values())}


def _named(name: str) -> Step:
    found = next((one for one in STEPS if one.name == name), None)
    if found is None:
        known = ", ".join(one.name for one in STEPS)
        raise ReedboreError(f"{shown(name)} is no step of the lesson; there are {known}")
    return found


def _read(task: Task, answer: object) -> Answer:
    """Take an answer as a number or a text."""
    if task.kind == "set":
        return None
    if task.kind == "choice":
        text = answer.strip() if isinstance(answer, str) else ""
        if text not in task.choices:
            raise ReedboreError(
                f"the answer is {shown(answer)}; give one of {', '.join(task.choices)}"
            )
        return text
    if isinstance(answer, bool) or not isinstance(answer, int | float) or str(answer) == "nan":
        raise ReedboreError(f"the answer is {shown(answer)}; give a number [{task.unit}]")
    if not task.low <= answer <= task.high:
        allowed = f"allowed {task.low:g} to {task.high:g}"
        raise ReedboreError(f"the answer is {shown(answer)} {task.unit}; {allowed}")
    return float(answer)


def _compared(step: Step, answer: str | float, truth: Callable[[Step], Truth]) -> Said:
    """Compare an answer with what the simulation finds."""
    found, says = truth(step)
    if isinstance(found, str) or isinstance(answer, str):
        right = answer == found
    else:
        off = abs(answer - found)
        right = off <= COUNT_SHARE * found if step.name == "drift" else off < 1e-9
    return right, says if right else step.task.hint


def _request(words: Words) -> Request:
    return tune_request(read_request(words, still=True))


def _setup(step: Step) -> Setup:
    return _request(read_words(step.words)).setup


def _take(setup: Setup) -> Take:
    found: Take = _takes.get(setup, lambda: render(setup, LISTEN_S))
    return found


def _judged(setup: Setup) -> Verdict:
    found: Verdict = _verdicts.get(setup, lambda: judge(_take(setup)))
    return found


# --- what the simulation finds -------------------------------------------------------------------


def _returning(end: pulse.End) -> tuple[bool, ...]:
    """Tell of each wave that comes back to the reed end of the plain tube whether it is a push."""
    found = pulse.pulse(bore_named("tube"), end, KELVIN)
    trip = 2.0 * (found.positions[-1] + found.extra) / found.speed
    strongest = (
        found.back[np.abs(found.times - count * trip) < 0.2 * trip] for count in (1.0, 2.0)
    )
    return tuple(bool(wave[np.argmax(np.abs(wave))] > 0.0) for wave in strongest)


def _push(_: Step) -> Truth:
    over = [name for name, end in (("the open end", "open"), ("the stopped end", "closed"))
            if not _returning(end)[0]]  # type: ignore[arg-type]  # fmt: skip
    found = over[0] if len(over) == 1 else ("both" if over else "neither")
    return found, (
        f"It is {found}. There the air gives way, its pressure stays that of the room, and what "
        "comes back must be the opposite of what arrives."
    )


def _tube(step: Step) -> Truth:
    trips = 1 + _returning("open").index(True)
    setup = _setup(step)
    length = sum(piece[0] for piece in setup.bore.chain())
    return 2.0 * trips, (
        f"{2 * trips} times: down as a push, back as a pull, down as a pull, back as a push. The "
        f"note of this tube, {1e3 * length:.0f} mm long, has {setup.voice.frequency:.0f} swings a "
        f"second: in the time of one, sound runs {2 * trips} times its length and a little "
        "further, for it turns just outside the end."
    )


def _reed(step: Step) -> Truth:
    take = _take(_setup(step))
    late = slice(take.mouth.size // 2, None)
    shut = take.traces.opening[late] < take.setup.reed.shut_below
    pressure = take.traces.pressure[late]
    low, high = float(pressure[shut].mean()), float(pressure[~shut].mean())
    found = "low" if low < high else "high"
    return found, (
        f"{found.capitalize()}: on average {_kpa(low)} while the reed is shut, {_kpa(high)} while "
        f"it is open. The breath outside, {_kpa(float(take.mouth[late].mean()))}, presses it shut "
        "as soon as little stands against it."
    )


def _kpa(pressure: float) -> str:
    return f"{1e-3 * pressure:.1f} kPa".replace("-", "\N{MINUS SIGN}")


def _voice(step: Step) -> Truth:
    take = _take(_setup(step))
    found = signals.pitches_of(take)
    lines, _ = signals.lines(take, found, 440.0)
    ladders = {"horn", "voice"} & {kind for *_, kind in lines}
    count = {1: "one", 2: "two"}.get(len(ladders), "three")
    return count, (
        f"One note: all lines are whole multiples of {found.sung or 0.0:.1f} Hz, the hum. The "
        "bore makes some of them louder than others; it adds nothing new."
    )


def _multiple(step: Step) -> Truth:
    found = _judged(_setup(step))
    p, q = found.ratio or (0, 1)
    return p / q, f"{p} to {q}, and {found.state}: every opening meets the voice in the same way."


def _octave(step: Step) -> Truth:
    found = _judged(_setup(step))
    p, q = found.ratio or (0, 0)
    return float(q), (
        f"Every {q} openings, or {p} pushes, it is the same again. So the whole sound comes round "
        f"half as often as the reed opens. That is a note of its own, {below(q)} below the "
        f"played one: {note_name(found.resultant_hz or 1.0)}. It stands still: the two are "
        f"{found.state}."
    )


def _drift(step: Step) -> Truth:
    request = _request(read_words(step.words))
    seen = turns_of(request.setup, request.typed.fingered_hz)
    p, q = seen.partials
    early = {1: "one whole push", 2: "half a push"}.get(q, f"one {q}th of a push")
    found = _verdicts.get(("beat", request.setup), lambda: _swells(seen.times, seen.strength))
    return found, (
        f"About {found:.0f}: {found:.1f} in five seconds. So often the {p} pushes have come early "
        f"by {early}, and meet the {q} openings as they did before, each as another one did."
    )


def _swells(times: Any, strength: Any) -> float:
    """Count how often a strength swells, by the phase of its swing around its middle."""
    swing = strength - strength.mean()
    spectrum = np.fft.fft(swing * np.hanning(swing.size))
    spectrum[swing.size // 2 :] = 0.0
    turned = np.unwrap(np.angle(np.fft.ifft(spectrum))) / (2.0 * np.pi)
    inner = slice(swing.size // 5, -swing.size // 5)
    return abs(mean_drift(times[inner], turned[inner])) * COUNTED_S


def _along(step: Step) -> Truth:
    found = _judged(_setup(step))
    p, q = found.ratio or (0, 1)
    assert found.played_hz is not None
    assert found.voice_off_hz is not None
    pulled, horn = found.pulled_cents or 0.0, cents(found.played_hz, found.voice_off_hz)
    return float(p), (
        f"{p} to {q}, and {found.state}. The singer aimed {abs(pulled):.0f} cents too low for it, "
        f"and the horn took the voice up; it was moved itself by {abs(horn):.1f} cents. A third "
        f"note stands still, {below(q)} below the horn."
    )


# --- what is set ---------------------------------------------------------------------------------


def _lower(step: Step, words: Words) -> Said:
    """Judge what is set: a third note two octaves down."""
    if refused := _changed(step, words):
        return False, refused
    found = _judged(_request(words).setup)
    if found.ratio is None or found.ratio[1] != 4 or found.heard != "yes":
        return False, step.task.hint
    assert found.resultant_hz is not None
    return True, (
        f"{found.ratio[0]} pushes to 4 openings: {note_name(found.resultant_hz, words.a4)} is "
        f"heard, {below(4)} below; {found.state}."
    )


def _rough(step: Step, words: Words) -> Said:
    """Judge what is set: any third note, and not too far away."""
    if refused := _changed(step, words):
        return False, refused
    setup = _request(words).setup
    moved = cents(setup.voice.frequency, _setup(step).voice.frequency) / 100.0
    if abs(moved) > MOST_SEMITONES + 1e-9:
        return False, f"That is {abs(moved):.1f} semitones away; find one within three."
    found = _judged(setup)
    if found.heard == "yes" and found.ratio and found.resultant_hz is not None:
        name, (p, q) = note_name(found.resultant_hz, words.a4), found.ratio
        return True, f"{p} pushes to {q} openings: {name} is heard; {found.state}."
    return False, step.task.hint


def _changed(step: Step, words: Words) -> str | None:
    """Say so if more than the sung note was changed, or nobody sings."""
    mine, given = read_request(read_words(step.words)), read_request(words)
    if words.sung is None:
        return "Nobody sings."
    parse_sung(words.sung, given.typed.fingered_hz, words.a4)
    same_horn = (mine.typed.horn, mine.typed.fingered_hz) == (
        given.typed.horn,
        given.typed.fingered_hz,
    )
    hz = mine.setup.voice.frequency
    if same_horn and given.setup.with_value("voice.frequency_hz", hz) == mine.setup:
        return None
    return "More than the sung note was changed: set the step again."


_TRUTHS: dict[str, Callable[[Step], Truth]] = {
    "push": _push,
    "tube": _tube,
    "reed": _reed,
    "voice": _voice,
    "multiple": _multiple,
    "octave": _octave,
    "drift": _drift,
    "along": _along,
}
_TRIED: dict[str, Callable[[Step, Words], Said]] = {"lower": _lower, "rough": _rough}
