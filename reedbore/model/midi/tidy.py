"""MIDI as people play it, made fit for a score: slivers, gaps, chords, overlaps, the grid.

In: the keys of one channel, in order. Out: keys that follow each other, and a sentence for each
thing that was changed. What is shorter than `Tidy.slivers` is nobody's intent: fingers that leave
or meet a key, a breath of silence between legato notes, two hands that are not quite together.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

Seconds = Callable[[float], float]

USUAL_SLIVERS_S = 0.04
"""Of a file that is read for playing: an ear parts two clicks, but not two notes. [s]"""

MOST_SLIVERS_S = 0.2
COARSEST_GRID = 4.0  # [beats]


class Tidy(NamedTuple):
    """How a file is tidied: nothing unless asked for.

    Attributes
    ----------
    slivers : float
        What is shorter is joined, closed or moved. [s]
    grid : float
        Beginnings and ends move to multiples of so many beats; 0 leaves them.
    """

    slivers: float = 0.0
    grid: float = 0.0


EXACT = Tidy()


class Key(NamedTuple):
    """A key held down from a tick to a tick; `struck` is when its sound was chosen."""

    start: int
    end: int
    number: int
    struck: int


class _Work:
    """Tidies one line; `said` gathers what was done."""

    def __init__(self, tidy: Tidy, seconds: Seconds, name: str) -> None:
        self.tidy, self.seconds, self.name = tidy, seconds, name
        self.said: list[str] = []
        self._over = False
        self._ms = f"{1e3 * tidy.slivers:g} ms"

    def short(self, start: float, end: float) -> bool:
        """Tell whether a stretch of ticks is a sliver."""
        return abs(self.seconds(end) - self.seconds(start)) < self.tidy.slivers - 1e-9

    def say(self, number: int, one: str, many: str) -> None:
        if number:
            text = one if number == 1 else many.format(number)
            self.said.append(f"{self.name}: {text.replace('SLIVER', self._ms)}")

    def joined(self, keys: Sequence[Key]) -> list[Key]:
        """Join slivers to the note before or after them, or leave them out."""
        kept: list[Key] = []
        joined, lost = 0, 0
        waiting: Key | None = None
        for key in keys:
            last, is_sliver = (kept[-1] if kept else None), self.short(key.start, key.end)
            start = key.start
            if waiting and self.short(waiting.end, key.start):
                start, joined = waiting.start, joined + (not is_sliver)
            elif waiting:
                lost += 1
            waiting = None
            if not is_sliver:
                kept.append(key._replace(start=start))
            elif last and (key.start <= last.end or self.short(last.end, key.start)):
                joined += 1
                kept[-1] = last._replace(end=max(last.end, key.end))
            else:
                waiting = key._replace(start=start)
        lost += waiting is not None
        self.say(
            joined,
            "1 note shorter than SLIVER joined to its neighbour",
            "{} notes shorter than SLIVER joined to their neighbours",
        )
        self.say(
            lost,
            "1 note shorter than SLIVER left out, which stands alone",
            "{} notes shorter than SLIVER left out, which stand alone",
        )
        return kept

    def highest(self, keys: Sequence[Key]) -> list[Key]:
        """Keep the highest of those that begin together."""
        kept: list[Key] = []
        for key in keys:
            if kept and self.short(kept[-1].start, key.start):
                top = max(kept[-1], key, key=lambda one: one.number)
                kept[-1] = top._replace(start=kept[-1].start)
            else:
                kept.append(key)
        self.say(
            len(keys) - len(kept),
            "it is one line; 1 note left out, which began within SLIVER of a higher one",
            "it is one line; {} notes left out, which began within SLIVER of higher ones",
        )
        return kept

    def touching(self, keys: Sequence[Key]) -> list[Key]:
        """Close gaps that are slivers, and tell where notes sound on under the next."""
        kept, closed, over = list(keys), 0, 0
        if keys and keys[0].start > 0 and self.short(0, keys[0].start):
            kept[0], closed = keys[0]._replace(start=0), 1
            keys = list(kept)
        for place, (key, after) in enumerate(pairwise(keys)):
            gap = key.end < after.start and self.short(key.end, after.start)
            closed += gap
            kept[place] = key._replace(end=after.start) if gap else key
            over += key.end > after.start and not self.short(after.start, key.end)
        self.say(closed, "1 gap under SLIVER closed", "{} gaps under SLIVER closed")
        self.say(
            0 if self._over else over,
            "1 note sounds on under the next: it ends there, slurred",
            "{} notes sound on under the next: they end there, slurred",
        )
        self._over |= over > 0
        return kept

    def together(self, keys: Sequence[Key], bounds: Sequence[int]) -> list[Key]:
        """Move beginnings and ends to those of the other line that are a sliver away."""
        moved = 0

        def near(tick: int) -> int:
            nonlocal moved
            found = min(bounds, key=lambda bound: abs(bound - tick), default=tick)
            if found == tick or not self.short(found, tick):
                return tick
            moved += 1
            return found

        kept = [key._replace(start=near(key.start), end=near(key.end)) for key in keys]
        self.say(
            moved,
            "1 beginning or end moved by less than SLIVER, to one of channel 1",
            "{} beginnings and ends moved by less than SLIVER, to those of channel 1",
        )
        return [key for key in kept if key.end > key.start]

    def on_grid(self, keys: Sequence[Key], ticks: int) -> list[Key]:
        """Move beginnings and ends to the grid; no note becomes shorter than one step of it."""
        step = self.tidy.grid * ticks
        first: dict[int, Key] = {}
        for key in keys:
            first.setdefault(round(key.start / step), key)
        moved, kept = 0.0, []
        for (place, key), after in zip(first.items(), [*first, None][1:], strict=True):
            end = max(round(key.end / step), place + 1)
            slurred = 0
            if after is not None and end >= after:
                end, slurred = after, key.end > first[after].start
            made = key._replace(start=round(place * step), end=round(end * step) + slurred)
            moved = max(moved, abs(made.start - key.start) / ticks)
            kept.append(made)
        self.say(
            len(keys) - len(kept),
            "1 note left out: another begins on its place of the grid",
            "{} notes left out: others begin on their places of the grid",
        )
        if moved:
            self.said.append(
                f"{self.name}: notes moved to the grid of {self.tidy.grid:g} beats, by up to "
                f"{moved:.2g} beats"
            )
        return kept


def tidied(
    lines: Sequence[Sequence[Key]], tidy: Tidy, seconds: Seconds, ticks: int
) -> tuple[list[list[Key]], list[str]]:
    """Tidy the lines of a file.

    Parameters
    ----------
    lines : sequence of sequence of Key
        Of channel 1, then of channel 2, each in the order in which keys were struck.
    tidy : Tidy
        How.
    seconds : callable
        Turns ticks into seconds.
    ticks : int
        In a beat.

    Returns
    -------
    lines : list of list of Key
        As before if nothing is asked for.
    said : list of str
        What was changed, one sentence each, without full stop.
    """
    found: list[list[Key]] = []
    said: list[str] = []
    for number, line in enumerate(lines, 1):
        work, keys = _Work(tidy, seconds, f"channel {number}"), list(line)
        if tidy.slivers:
            keys = work.touching(work.highest(work.joined(keys)))
        if tidy.slivers and found:
            keys = work.together(keys, sorted({b for key in found[0] for b in key[:2]}))
            keys = work.touching(work.joined(keys))  # what became a sliver by being moved
        if tidy.grid:
            keys = work.on_grid(keys, ticks)
        found.append(keys)
        said += work.said
    return found, said
