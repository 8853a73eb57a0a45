"""What arithmetic says about a sung note over a fingered one.

In come two frequencies, out comes a `Prediction` with its text and its JSON document. Nothing
here knows a reed: a prediction says which third note two notes have in common, not whether the
horn locks on it. Standard library only. The chart of many pairs is `reedbore.report.chart`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from reedbore import notes
from reedbore.errors import NoteError

TOLERANCE_RANGE_CENTS = (0.0, 50.0)
# A semitone either way; the extra cent keeps its edge, the next tempered note, inside.
NEARBY_CENTS = 101.0
OUTCOMES = {
    "third": "a third note",
    "uncertain": "a third note, so low that its pitch is uncertain",
    "growl": "no pitch: the common period is too long, so it only growls",
    "fingered": "the fingered note; the sung one is among its partials",
    "sung": "the sung note; the fingered one is among its partials",
    "none": "no third note: it only roughens the tone",
}
_BELOW = {2: "an octave", 3: "a twelfth", 4: "two octaves", 5: "two octaves and a third"}
_BELOW |= {6: "two octaves and a fifth", 7: "two octaves and a seventh", 8: "three octaves"}
_BELOW |= {9: "three octaves and a second", 10: "three octaves and a third"}
_BELOW |= {11: "three octaves and a fourth", 12: "three octaves and a fifth"}
_PITCH_WORDS = {
    "yes": f"can carry a melody ({notes.PITCH_HZ:g} Hz or more)",
    "uncertain": f"uncertain ({notes.NO_PITCH_HZ:g} to {notes.PITCH_HZ:g} Hz)",
    "no": f"none (below {notes.NO_PITCH_HZ:g} Hz)",
}


@dataclass(frozen=True, kw_only=True)
class Meeting:
    """What two notes have in common once the sung one is exactly p/q of the fingered one.

    Attributes
    ----------
    ratio : tuple of int
        (p, q), sung/fingered in lowest terms.
    resultant_hz : float
        The common fundamental. [Hz]
    sing_hz : float
        The exact note to sing. [Hz]
    """

    ratio: tuple[int, int]
    resultant_hz: float
    sing_hz: float

    @property
    def ratio_text(self) -> str:
        """The ratio as ``p/q``."""
        return f"{self.ratio[0]}/{self.ratio[1]}"

    @property
    def carries_pitch(self) -> str:
        """Whether the resultant carries a pitch: yes, uncertain or no."""
        return notes.carries_pitch(self.resultant_hz)


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """A fingered and a sung note, and the ratio that is read into them.

    Attributes
    ----------
    fingered_hz, sung_hz : float
        Sounding frequencies. [Hz]
    ratio : tuple of int or None
        (p, q), sung/fingered; None if no simple ratio is near.
    tolerance_cents : float
        How far the sung note may lie from p/q. [cents]
    a4 : float
        Frequency of A4. [Hz]
    transposition : int or None
        Written note minus sounding note of the horn, if there is a horn. [semitones]
    """

    fingered_hz: float
    sung_hz: float
    ratio: tuple[int, int] | None
    tolerance_cents: float = notes.TOLERANCE_CENTS
    a4: float = notes.A4_HZ
    transposition: int | None = None

    @property
    def meeting(self) -> Meeting | None:
        """What the notes have in common at the exact ratio, None without a ratio."""
        if self.ratio is None:
            return None
        return Meeting(
            ratio=self.ratio,
            resultant_hz=notes.resultant_hz(self.fingered_hz, self.ratio),
            sing_hz=notes.just_hz(self.fingered_hz, self.ratio),
        )

    @property
    def outcome(self) -> str:
        """What comes out, one of the keys of `OUTCOMES`."""
        meeting = self.meeting
        if meeting is None:
            return "none"
        if meeting.ratio[1] == 1:
            return "fingered"
        if meeting.carries_pitch == "no":
            return "growl"
        if meeting.ratio[0] == 1:
            return "sung"
        return "third" if meeting.carries_pitch == "yes" else "uncertain"

    @property
    def nearby(self) -> Meeting | None:
        """The simplest ratio within a semitone, if this pair itself has no pitch to offer."""
        if self.outcome not in {"none", "growl"}:
            return None
        ratio = notes.choose_ratio(self.sung_hz / self.fingered_hz, NEARBY_CENTS)
        return None if ratio == self.ratio else replace(self, ratio=ratio).meeting

    def name(self, hz: float) -> str:
        """Name of a sounding frequency at this tuning."""
        return notes.note_name(hz, self.a4)

    def written(self, hz: float) -> str:
        """Name of a sounding frequency as written for the horn, empty without a horn."""
        if self.transposition is None:
            return ""
        return self.name(hz * math.exp2(self.transposition / 12.0))

    def sing_cents(self, meeting: Meeting) -> float:
        """Exact note to sing against the tempered note nearest to it [cents]."""
        return notes.split_note(meeting.sing_hz, self.a4)[1]


def predict_pair(
    fingered_hz: float,
    sung_hz: float,
    *,
    ratio: tuple[int, int] | None = None,
    tolerance_cents: float = notes.TOLERANCE_CENTS,
    a4: float = notes.A4_HZ,
    transposition: int | None = None,
) -> Prediction:
    """Predict what two notes have in common.

    Parameters
    ----------
    fingered_hz, sung_hz : float
        Sounding frequencies. [Hz]
    ratio : tuple of int, optional
        (p, q) if the player named it, which then stands as it is; else the simplest one within
        the tolerance is chosen, p and q up to 12.
    tolerance_cents : float, optional
        0 to 50: from half a semitone on, the answer would belong to another note. [cents]
    a4 : float, optional
        Frequency of A4. [Hz]
    transposition : int, optional
        Written note minus sounding note of the horn. [semitones]

    Returns
    -------
    Prediction

    Raises
    ------
    NoteError
        If the tolerance or `a4` is outside its range.
    """
    low, high = TOLERANCE_RANGE_CENTS
    if not low <= tolerance_cents <= high:
        raise NoteError(
            f"tolerance is {tolerance_cents:g} cents; allowed {low:g} to {high:g} cents "
            "(how far the sung note may lie from a simple ratio)"
        )
    return Prediction(
        fingered_hz=fingered_hz,
        sung_hz=sung_hz,
        ratio=ratio or notes.choose_ratio(sung_hz / fingered_hz, tolerance_cents),
        tolerance_cents=tolerance_cents,
        a4=notes.check_a4(a4),
        transposition=transposition,
    )


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


def below(q: int) -> str:
    """Say as a player would how far the q-th part of a frequency lies below it."""
    return _BELOW.get(q) or f"{math.log2(q):.1f} octaves".replace(".0 ", " ")


# --- a pair as text ------------------------------------------------------------------------------


def pair_text(pair: Prediction) -> str:
    """Write a prediction as a table of at most 80 columns."""
    written = "" if pair.transposition is None else "written"
    rows = [("fingered", pair.fingered_hz), ("sung", pair.sung_hz)]
    if pair.meeting:
        rows.append(("in common", pair.meeting.resultant_hz))
    lines = [f"{'':11}{'concert':10}{'Hz':>9}   {written}".rstrip()]
    lines += [
        f"{label:11}{pair.name(hz):10}{hz:9.2f}   {pair.written(hz)}".rstrip() for label, hz in rows
    ]
    lines += ["", *(f"{label:11}{words}" for label, words in _explained(pair))]
    lines += ["", "Combination tones"]
    tones = combination_tones(pair.fingered_hz, pair.sung_hz)
    lines += [
        f"  {tone.name:18}{tone.formula:20}{tone.hz:9.2f} Hz   {pair.name(tone.hz)}"
        for tone in sorted(tones, key=lambda tone: tone.hz)
    ]
    lines += ["", "This is arithmetic: whether the horn locks on it, a render tells."]
    return "\n".join(lines)


def _explained(pair: Prediction) -> Iterator[tuple[str, str]]:
    meeting, near = pair.meeting, pair.nearby
    if meeting is None:
        yield "ratio", f"none within {pair.tolerance_cents:g} cents, p and q up to 12"
        yield "comes out", OUTCOMES["none"]
    else:
        q = meeting.ratio[1]
        yield "ratio", f"{meeting.ratio_text} (sung/fingered)"
        yield "comes out", OUTCOMES[pair.outcome]
        if q > 1:
            yield "", f"in common: {below(q)} below the fingered note"
        yield "its pitch", _PITCH_WORDS[meeting.carries_pitch]
        yield "sing", _where_to_sing(pair, meeting)
    if near:
        yield "near by", f"{near.ratio_text} gives {pair.name(near.resultant_hz)}"
        yield "", "sing " + _where_to_sing(pair, near)


def _where_to_sing(pair: Prediction, meeting: Meeting) -> str:
    off = notes.cents(meeting.sing_hz, pair.sung_hz)
    where = f"{pair.name(meeting.sing_hz)} ({meeting.sing_hz:.2f} Hz)"
    if abs(off) < 0.05:
        return f"{where}: exact as it is"
    return f"{where}, {abs(off):.1f} cents {'higher' if off > 0 else 'lower'}"


class CombinationTone(NamedTuple):
    """A tone at |n·f_sung + m·f_fingered|: its name, n, m and frequency [Hz]."""

    name: str
    sung_times: int
    fingered_times: int
    hz: float

    @property
    def formula(self) -> str:
        """The tone in words such as ``2 sung - fingered``, written so that it is positive."""
        parts = [(self.sung_times, "sung"), (self.fingered_times, "fingered")]
        first, second = sorted(parts, reverse=True)
        times = ["" if abs(n) == 1 else f"{abs(n)} " for n, _ in (first, second)]
        return f"{times[0]}{first[1]} {'-' if second[0] < 0 else '+'} {times[1]}{second[1]}"


def combination_tones(fingered_hz: float, sung_hz: float) -> list[CombinationTone]:
    """Tones that two notes make when they are mixed, up to the third order.

    Parameters
    ----------
    fingered_hz, sung_hz : float
        Frequencies of the two notes. [Hz]

    Returns
    -------
    list of CombinationTone
        Difference and sum, cubic differences and cubic sums; one at 0 Hz is left out.

    Notes
    -----
    A reed that is driven at two frequencies mixes them: a line can stand at every
    |n·f_sung + m·f_fingered|. n and m up to 2 are the strongest of them as a rule.
    """
    orders = [("difference", 1, -1), ("sum", 1, 1)]
    orders += [("cubic difference", 2, -1), ("cubic difference", -1, 2)]
    orders += [("cubic sum", 2, 1), ("cubic sum", 1, 2)]
    tones = []
    for name, n, m in orders:
        hz = n * sung_hz + m * fingered_hz
        if abs(hz) > 1e-6 * fingered_hz:
            sign = -1 if hz < 0 else 1
            tones.append(CombinationTone(name, sign * n, sign * m, abs(hz)))
    return tones
