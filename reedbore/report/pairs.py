"""What arithmetic says about a pair, in words and as data.

In: a `Prediction`. Out: a table for the terminal, a sentence for the page, plain values for JSON.
Standard library only.
"""

from collections.abc import Iterator
from typing import Any

from reedbore import notes
from reedbore.pairs import Meeting, Outcome, Prediction, combination_tones
from reedbore.report.words import NOT_SIMULATED, TOO_LARGE, below

OUTCOMES = {
    Outcome.THIRD: "a third note{}",
    Outcome.UNCERTAIN: "a third note{}, so low that its pitch is uncertain",
    Outcome.GROWL: "no pitch: the common period is so long that it only growls",
    Outcome.FINGERED: "the fingered note; the sung one is among its partials",
    Outcome.SUNG: "the sung note; the fingered one is among its partials",
    Outcome.NONE: "no third note: it only roughens the tone",
}
"""What to expect; the place is for its name."""

_PITCH = {
    "yes": f"can carry a melody ({notes.PITCH_HZ:g} Hz or more)",
    "uncertain": f"uncertain ({notes.NO_PITCH_HZ:g} to {notes.PITCH_HZ:g} Hz)",
    "no": f"none (below {notes.NO_PITCH_HZ:g} Hz)",
}
_LABEL = 13


def document(pair: Prediction) -> dict[str, Any]:
    """Put a prediction into plain values for JSON and CSV; what does not apply is None."""
    meeting, near = pair.meeting, pair.nearby
    return {
        "fingered_hz": pair.fingered_hz,
        "fingered_note": pair.name(pair.fingered_hz),
        "fingered_written": pair.written(pair.fingered_hz) or None,
        "sung_hz": pair.sung_hz,
        "sung_note": pair.name(pair.sung_hz),
        "sing_hz": meeting and meeting.sing_hz,
        "sing_note": meeting and pair.name(meeting.sing_hz),
        "sing_cents": meeting and pair.sing_cents(meeting),
        "ratio": meeting and meeting.ratio_text,
        "simulated": meeting and meeting.simulated,
        "resultant_hz": meeting and meeting.resultant_hz,
        "resultant_note": meeting and pair.name(meeting.resultant_hz),
        "carries_pitch": meeting and meeting.carries_pitch,
        "outcome": pair.outcome,
        "nearby_ratio": near and near.ratio_text,
        "nearby_sing_note": near and pair.name(near.sing_hz),
    }


def pair_document(pair: Prediction) -> dict[str, Any]:
    """Put a prediction with its settings and combination tones into plain values for JSON."""
    tones = [
        {"name": tone.name, "formula": tone.formula, "hz": tone.hz, "note": pair.name(tone.hz)}
        for tone in combination_tones(pair.fingered_hz, pair.sung_hz)
    ]
    settings = {"a4_hz": pair.a4, "tolerance_cents": pair.tolerance_cents}
    return document(pair) | settings | {"combination_tones": tones}


def pair_sentence(pair: Prediction) -> str:
    """Say in a sentence or two what arithmetic expects of a pair."""
    meeting, near = pair.meeting, pair.nearby
    if meeting is None:
        there = near and f"; {_ratio(near)} is near, at {pair.name(near.sing_hz)}"
        return f"{OUTCOMES[pair.outcome]}{there or ''}."
    expected = OUTCOMES[pair.outcome].format(f", {pair.name(meeting.resultant_hz)}")
    off = pair.sing_cents(meeting)
    side = "under" if off < 0.0 else "over"
    by = f"{abs(off):.1f} cents {side} the tempered note"
    where = "just where the tempered note is" if abs(off) < 0.05 else by
    sung = f"Sung exactly it is {pair.name(meeting.sing_hz)}, {where}."
    return f"{_ratio(meeting)} makes {expected}. {sung}"


def pair_text(pair: Prediction) -> str:
    """Write a prediction as a table of at most 80 columns."""
    meeting = pair.meeting
    written = "" if pair.transposition is None else "written"
    rows = [("fingered", pair.fingered_hz), ("sung", pair.sung_hz)]
    if meeting:
        rows.append(("common note", meeting.resultant_hz))
    lines = [f"{'':{_LABEL}}{'concert':10}{'Hz':>9}   {written}".rstrip()]
    lines += [
        f"{label:{_LABEL}}{pair.name(hz):10}{hz:9.2f}   {pair.written(hz)}".rstrip()
        for label, hz in rows
    ]
    lines += ["", *(f"{label:{_LABEL}}{words}" for label, words in _explained(pair))]
    lines += ["", "Combination tones"]
    tones = combination_tones(pair.fingered_hz, pair.sung_hz)
    lines += [
        f"  {tone.name:18}{tone.formula:20}{tone.hz:9.2f} Hz   {pair.name(tone.hz)}"
        for tone in sorted(tones, key=lambda tone: tone.hz)
    ]
    return "\n".join([*lines, "", _caution(meeting)])


def _caution(meeting: Meeting | None) -> str:
    if meeting and not meeting.simulated:
        return f"This is arithmetic: with {TOO_LARGE} a ratio is {NOT_SIMULATED}."
    return "This is arithmetic: whether the horn locks on it, a render tells."


def _explained(pair: Prediction) -> Iterator[tuple[str, str]]:
    meeting, near = pair.meeting, pair.nearby
    if meeting is None:
        limit = notes.PREDICTED_LIMIT
        yield "ratio", f"none within {pair.tolerance_cents:g} cents, p and q up to {limit}"
        yield "to expect", OUTCOMES[pair.outcome]
    else:
        q = meeting.ratio[1]
        yield "ratio", f"{meeting.ratio_text} (sung/fingered){_beyond(meeting)}"
        yield "to expect", OUTCOMES[pair.outcome].format("")
        if q > 1:
            yield "", f"common note {below(q)} below the fingered note"
        yield "its pitch", _PITCH[meeting.carries_pitch]
        yield "sing", _where_to_sing(pair, meeting)
    if near:
        yield "near by", f"{_ratio(near)} gives {pair.name(near.resultant_hz)}"
        yield "", "sing " + _where_to_sing(pair, near)


def _ratio(meeting: Meeting) -> str:
    return meeting.ratio_text + ("" if meeting.simulated else f" ({NOT_SIMULATED})")


def _beyond(meeting: Meeting) -> str:
    return "" if meeting.simulated else f"; {NOT_SIMULATED}: {TOO_LARGE}"


def _where_to_sing(pair: Prediction, meeting: Meeting) -> str:
    off = notes.cents(meeting.sing_hz, pair.sung_hz)
    where = f"{pair.name(meeting.sing_hz)} ({meeting.sing_hz:.2f} Hz)"
    if abs(off) < 0.05:
        return f"{where}: exact as it is"
    return f"{where}, {abs(off):.1f} cents {'higher' if off > 0 else 'lower'}"
