"""What to sing instead where a pair misses: arithmetic on what was measured, nothing is run.

In: pitches as measured, and the range of the voice. Out: an `Instead`.
"""

from typing import Any, NamedTuple

from reedbore.notes import MEASURED_LIMIT, cents, just_hz, note_name, simple_ratios

WITHIN_CENTS = 50.0
"""A note farther from what is sung would be another note. [cents]"""

CLOCK_CENTS, AIM_CENTS = 0.1, 5.0
"""A move by less is no advice: to a voice like a clock, and to an aim. [cents]"""

Range = tuple[float, float]


class Instead(NamedTuple):
    """A note to sing, or to aim at; None for all where there is none within `WITHIN_CENTS`.

    `cents` is how far it lies above what is sung or aimed at, `in_range` None where nobody knows
    the range of the voice.
    """

    hz: float | None
    """[Hz]"""
    cents: float | None
    ratio: tuple[int, int] | None
    in_range: bool | None

    def document(self, a4: float) -> dict[str, Any]:
        """Return it as plain data, the note by name beside its frequency. [Hz]."""
        named = {"note": None if self.hz is None else note_name(self.hz, a4)}
        ratio = f"{self.ratio[0]}/{self.ratio[1]}" if self.ratio else None
        return {**named, **self._asdict(), "ratio": ratio}


KEYS = ("note", *Instead._fields)
"""Of its document."""


def sing_instead(
    played: float,
    sung: float,
    asked: float,
    ratio: tuple[int, int] | None = None,
    reach: Range | None = None,
) -> Instead:
    """Find the note that meets what the horn really plays.

    Parameters
    ----------
    played, sung : float
        As measured. [Hz]
    asked : float
        What the voice does to sing that: its aim, where the horn pulls it; the note of the true
        folds, where false ones repeat more slowly. It is moved as far as the sung pitch has to
        move, as if the pull stayed what it is. [Hz]
    ratio : (p, q), optional
        That is met nearly; without one the nearest within `WITHIN_CENTS`, p and q up to 8.
    reach : (low, high), optional
        Of the voice; what lies within it goes first. [Hz]

    Returns
    -------
    Instead
        Perhaps of nothing.
    """
    found = []
    for pair in simple_ratios(MEASURED_LIMIT):
        off = cents(just_hz(played, pair), sung)
        if abs(off) <= WITHIN_CENTS:
            hz = asked * 2.0 ** (off / 1200.0)
            inside = None if reach is None else reach[0] <= hz <= reach[1]
            order = (inside is False, pair != ratio, abs(off))
            found.append((order, Instead(hz, off, pair, inside)))
    if not found:
        return Instead(None, None, None, None if reach is None else False)
    return min(found)[1]
