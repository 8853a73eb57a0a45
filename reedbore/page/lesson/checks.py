"""The tasks of the lesson, tried by the simulation.

In: the name of a step, a student's answer, the words that are set. Out: whether it is right, and
why. No answer is stored: each is found by playing, or calculating, the setup that it is about.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from reedbore.errors import NoteError, ReedboreError
from reedbore.model.setup import Setup
from reedbore.notes import cents, note_name, parse_pitch, parse_sung
from reedbore.page.answers import Shared, shown
from reedbore.page.lesson.steps import STEPS, Step, Task
from reedbore.page.request import read_words
from reedbore.report.words import below
from reedbore.simulate.request.take import Request, Words, read_request, tune_request
from reedbore.simulate.take import render
from reedbore.simulate.tuning import first_peak
from reedbore.verdict import cells
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import Follows, HornState
from reedbore.verdict.take import judge

LISTEN_S = 3.0
OCTAVE_CENTS = 60.0
"""So near an octave the air in a tube has to answer: half a tube is not quite an octave. [cents]"""

THRESHOLD_SHARE = 0.85
"""At so many times the least breath the reed must still keep still."""

COUNT_SHARE = 0.2
"""By so much of itself a count by ear may be off."""

NOTE_CENTS = 50.0
MOST_SEMITONES = 3.0
LEAST_MOVED_CENTS = 15.0

MOST_VERDICTS = 12
"""Kept in memory: whoever answers again need not wait again."""

_verdicts = Shared(MOST_VERDICTS)

Answer = str | float | None
Said = tuple[bool, str]


def check(step: str, answer: object, words: Words) -> dict[str, Any]:
    """Judge an answer by the simulation.

    Parameters
    ----------
    step : str
        Name of the step.
    answer : object
        A number, a text, or nothing where the controls are the answer.
    words : Words
        What the controls are set to; only looked at where they are the answer. All other answers
        are about the setup that the step loads.

    Returns
    -------
    dict
        `right`, and `says` why.

    Raises
    ------
    ReedboreError
        If there is no such step, or the answer cannot be read.
    """
    found = next((one for one in STEPS if one.name == step), None)
    if found is None:
        known = ", ".join(one.name for one in STEPS)
        raise ReedboreError(f"{shown(step)} is no step of the lesson; there are {known}")
    right, says = _CHECKS[found.name](found, _read(found.task, answer), words)
    return {"right": right, "says": says}


def _read(task: Task, answer: object) -> Answer:
    """Take an answer as a number or a text."""
    if task.kind == "set":
        return None
    if task.kind in ("choice", "note"):
        text = answer.strip() if isinstance(answer, str) else ""
        if not text or (task.choices and text not in task.choices):
            wanted = f"one of {', '.join(task.choices)}" if task.choices else "a note such as C2"
            raise ReedboreError(f"the answer is {shown(answer)}; give {wanted}")
        return text
    if isinstance(answer, bool) or not isinstance(answer, int | float) or str(answer) == "nan":
        raise ReedboreError(f"the answer is {shown(answer)}; give a number [{task.unit}]")
    if not task.low <= answer <= task.high:
        allowed = f"allowed {task.low:g} to {task.high:g}"
        raise ReedboreError(f"the answer is {shown(answer)} {task.unit}; {allowed}")
    return float(answer)


def _request(words: Words) -> Request:
    return tune_request(read_request(words, still=True))


def _setup(step: Step, **changes: Any) -> Setup:
    """Make the setup of a step, with words of it changed."""
    return _request(read_words({**step.words, **changes})).setup


def _judged(setup: Setup) -> Verdict:
    found: Verdict = _verdicts.get(setup, lambda: judge(render(setup, LISTEN_S)))
    return found


# --- the checks ----------------------------------------------------------------------------------


def _air(step: Step, answer: Answer, _: Words) -> Said:
    """Find the lowest resonance of the tube, and of the one that was asked for."""
    assert isinstance(answer, float)
    now = _setup(step)
    assert now.bore.length is not None  # a plain tube
    length = 10.0 * answer * now.bore.length
    settings = {**step.words["settings"], "bore.length_mm": length}
    before = first_peak(now, parse_pitch(step.words["fingered"]))
    after = first_peak(_setup(step, settings=settings), before)
    off = cents(after, 2.0 * before)
    told = (
        f"This tube, {1e3 * now.bore.length:.0f} mm long, answers at {before:.1f} Hz; one of "
        f"{length:.0f} mm at {after:.1f} Hz."
    )
    if abs(off) <= OCTAVE_CENTS:
        return True, f"{told} An octave: half the way, half the time."
    way = "more" if off > 0.0 else "less"
    return False, f"{told} That is {way} than an octave."


def _reed(step: Step, answer: Answer, _: Words) -> Said:
    """Blow that hard, and a little softer."""
    assert isinstance(answer, float)
    breaths = answer, THRESHOLD_SHARE * answer
    horns = [_setup(step, breath=f"{breath:.6g}kPa") for breath in breaths]
    speaks, softer = (one.state == HornState.SOUNDING for one in cells.controls_of(horns))
    if not speaks:
        return False, f"At {answer:g} kPa the horn does not speak: blow harder, or not so hard."
    if softer:
        return False, f"It speaks, but it still does at {breaths[1]:.2f} kPa. Go softer."
    return True, f"At {answer:g} kPa it speaks, at {breaths[1]:.2f} kPa it no longer does."


def _voice(step: Step, answer: Answer, _: Words) -> Said:
    """Hum all of the notes, and compare what reaches the mouthpiece with what was sung."""
    gains = {}
    for note in step.task.choices:
        take = render(_setup(step, sung=note), 2.0)
        late = take.mouth.size // 2
        gains[note] = float(np.std(take.traces.pressure[late:]) / np.std(take.mouth[late:]))
    best = max(gains, key=lambda note: gains[note])
    told = ", ".join(f"{note} {100.0 * gain:.0f} %" for note, gain in gains.items())
    measured = f"So much of the sung pressure stands in the mouthpiece: {told}."
    if answer == best:
        return True, f"{measured} {best} returns to the reed just in time."
    return False, f"{measured} Listen again."


def _multiple(step: Step, answer: Answer, _: Words) -> Said:
    """Measure how many sung periods go to one of the reed."""
    found = _judged(_setup(step))
    p, q = found.ratio or (0, 1)
    if q == 1 and answer == p:
        return True, f"{p} to 1, and {found.state}: the reed never sees a difference."
    return False, "Look at one opening of the reed, and count the sung peaks until the next."


def _octave(step: Step, answer: Answer, words: Words) -> Said:
    """Measure the third note."""
    try:
        hz = parse_pitch(str(answer), words.a4)
    except NoteError as error:
        raise NoteError(f"the answer {error}") from error
    found = _judged(_setup(step, a4=words.a4))
    if found.resultant_hz is None or found.heard != "yes":
        return False, "No third note is heard there."
    off = cents(hz, found.resultant_hz)
    if abs(off) < NOTE_CENTS:
        name = note_name(found.resultant_hz, words.a4)
        where = below(found.ratio[1] if found.ratio else 1)
        return True, f"{name}, {where} below the fingered note: measured, and it stands still."
    return False, f"{note_name(hz, words.a4)} is too {'high' if off > 0.0 else 'low'}."


def _lower(step: Step, _: Answer, words: Words) -> Said:
    """Judge what the controls are set to."""
    if refused := _changed(step, words):
        return False, refused
    found = _judged(_request(words).setup)
    if found.ratio is None or found.heard != "yes" or found.resultant_hz is None:
        return False, "No third note is heard there. Two octaves: four openings of the reed."
    told = f"{note_name(found.resultant_hz, words.a4)} is heard, {below(found.ratio[1])} below"
    if found.ratio[1] == 4:
        return True, f"{told}: {found.ratio[0]} hums to 4 openings; {found.state}."
    return False, f"{told}. Two octaves need four openings of the reed for so many hums."


def _drift(step: Step, answer: Answer, _: Words) -> Said:
    """Measure the beat."""
    assert isinstance(answer, float)
    found = _judged(_setup(step))
    turns = 10.0 * abs(found.drift_hz or 0.0)
    if abs(answer - turns) <= COUNT_SHARE * turns:
        return True, f"Measured: {turns:.1f} in ten seconds. Nearer the lock it turns more slowly."
    return False, f"It turns {'more' if answer < turns else 'less'} often than that."


def _rough(step: Step, _: Answer, words: Words) -> Said:
    """Judge what the controls are set to."""
    if refused := _changed(step, words):
        return False, refused
    setup = _request(words).setup
    moved = cents(setup.voice.frequency, _setup(step).voice.frequency) / 100.0
    if abs(moved) > MOST_SEMITONES + 1e-9:
        return False, f"That is {abs(moved):.1f} semitones away; find one within three."
    found = _judged(setup)
    if found.heard == "yes" and found.ratio and found.resultant_hz is not None:
        name, (p, q) = note_name(found.resultant_hz, words.a4), found.ratio
        return True, f"{p} hums to {q} openings: {name} is heard; {found.state}."
    return False, f"There the two notes are {found.state}, and no third note is surely heard."


def _along(step: Step, _: Answer, words: Words) -> Said:
    """Judge from which aim the horn takes the voice along."""
    if refused := _changed(step, words):
        return False, refused
    setup = _request(words).setup
    moved = cents(setup.voice.frequency, _setup(step).voice.frequency)
    if abs(moved) < LEAST_MOVED_CENTS - 1e-6:
        return False, f"That is {abs(moved):.0f} cents away; go at least fifteen."
    found = _judged(setup)
    if (found.state, found.ratio) != step.claim[:2] or found.follows != Follows.VOICE:
        return False, f"Aimed there, the two notes are {found.state}. Stay nearer."
    assert found.played_hz is not None
    assert found.voice_off_hz is not None
    pulled, horn = found.pulled_cents or 0.0, cents(found.played_hz, found.voice_off_hz)
    return True, (
        f"Aimed there, the voice is pulled by {abs(pulled):.0f} cents to the same fifth, and the "
        f"horn by {abs(horn):.1f}."
    )


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
    return "More than the sung note was changed: load the step again."


_CHECKS: dict[str, Callable[[Step, Answer, Words], Said]] = {
    "air": _air,
    "reed": _reed,
    "voice": _voice,
    "multiple": _multiple,
    "octave": _octave,
    "lower": _lower,
    "drift": _drift,
    "rough": _rough,
    "along": _along,
}
