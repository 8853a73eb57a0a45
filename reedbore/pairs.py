"""What arithmetic says about a sung note over a fingered one.

In come two frequencies, out comes a `Prediction`; `reedbore.report.pairs` puts it into words.
Nothing here knows a reed: a prediction says which common note two notes have, not whether the
horn locks on it. Standard library only. The chart of many pairs is `reedbore.report.chart`.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from reedbore import notes
from reedbore.errors import NoteError

TOLERANCE_RANGE_CENTS = (0.0, 50.0)
# A semitone either way; the extra cent keeps its edge, the next tempered note, inside.
NEARBY_CENTS = 101.0


class Outcome(StrEnum):
    """What comes of two notes as far as arithmetic goes; `reedbore.report.pairs` has the words."""

    THIRD = "third"
    UNCERTAIN = "uncertain"
    GROWL = "growl"
    FINGERED = "fingered"
    SUNG = "sung"
    NONE = "none"


@dataclass(frozen=True, kw_only=True)
class Meeting:
    """The common note of two notes once the sung one is exactly p/q of the fingered one.

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
        """Whether the common note carries a pitch: yes, uncertain or no."""
        return notes.carries_pitch(self.resultant_hz)

    @property
    def simulated(self) -> bool:
        """Whether the ratio is one of those that are looked for in a simulated sound."""
        return max(self.ratio) <= notes.MEASURED_LIMIT


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
        """The common note at the exact ratio, None without a ratio."""
        if self.ratio is None:
            return None
        return Meeting(
            ratio=self.ratio,
            resultant_hz=notes.resultant_hz(self.fingered_hz, self.ratio),
            sing_hz=notes.just_hz(self.fingered_hz, self.ratio),
        )

    @property
    def outcome(self) -> Outcome:
        """What may be expected of the pair."""
        meeting = self.meeting
        if meeting is None:
            return Outcome.NONE
        if meeting.ratio[1] == 1:
            return Outcome.FINGERED
        if meeting.carries_pitch == "no":
            return Outcome.GROWL
        if meeting.ratio[0] == 1:
            return Outcome.SUNG
        return Outcome.THIRD if meeting.carries_pitch == "yes" else Outcome.UNCERTAIN

    @property
    def nearby(self) -> Meeting | None:
        """The simplest ratio within a semitone, if this pair itself has no pitch to offer."""
        if self.outcome not in {Outcome.NONE, Outcome.GROWL}:
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
        return notes.written_name(hz, self.transposition, self.a4)

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
    """Predict the common note of two notes.

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
