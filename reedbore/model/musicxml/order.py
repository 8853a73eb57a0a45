"""Parts of a MusicXML score, and which measures are played one after the other.

In: the root of a score, or its measures. Out: its parts; the order of the measures, with repeats,
endings, da capo and dal segno played out.
"""

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple
from xml.etree import ElementTree as ET

from reedbore.errors import NoteError
from reedbore.model.musicxml import bars


class Part(NamedTuple):
    """A part, and its measures as they are printed."""

    name: str
    measures: tuple[ET.Element, ...]


def parts(root: ET.Element) -> list[Part]:
    """List the parts of a score, whichever way it is laid out."""
    names = {
        one.get("id", ""): " ".join((one.findtext("part-name") or "").split())
        for one in root.iter("score-part")
    }
    if root.tag == "score-partwise":
        return [
            Part(names.get(part.get("id", ""), ""), tuple(part.findall("measure")))
            for part in root.findall("part")
        ]
    if root.tag == "score-timewise":
        held: dict[str, list[ET.Element]] = {}
        for measure in root.findall("measure"):
            for part in measure.findall("part"):
                held.setdefault(part.get("id", ""), []).append(part)
        return [Part(names.get(key, ""), tuple(found)) for key, found in held.items()]
    raise NoteError(f"this is no MusicXML score: it begins with <{root.tag:.40}>")


class Turn(NamedTuple):
    """What a measure says about which one comes next."""

    forward: bool
    times: int | None
    endings: frozenset[int]
    to: str
    sign: str
    coda: bool
    to_coda: bool
    fine: bool


def turns(measures: Sequence[ET.Element]) -> list[Turn]:
    """Read what the measures of a part say about their order."""
    found = []
    inside: frozenset[int] = frozenset()
    for measure in measures:
        forward, times, leaves = False, None, False
        for line in measure.findall("barline"):
            ending, repeat = line.find("ending"), line.find("repeat")
            if ending is not None and ending.get("type") == "start":
                numbers = re.findall(r"\d+", ending.get("number", ""))
                inside = frozenset(map(int, numbers)) or frozenset({1})
            leaves |= ending is not None and ending.get("type") in {"stop", "discontinue"}
            if repeat is not None and repeat.get("direction") == "forward":
                forward = True
            elif repeat is not None:
                given = repeat.get("times", "")
                times = int(given) if given.isdecimal() else (max(inside) + 1 if inside else 2)
        said: dict[str, str] = {}
        for sound in measure.iter("sound"):
            said.update(sound.attrib)
        to = "start" if said.get("dacapo") == "yes" else said.get("dalsegno", "")
        found.append(
            Turn(forward, times, inside, to, said.get("segno", ""), "coda" in said,
                  "tocoda" in said, "fine" in said)
        )  # fmt: skip
        inside = frozenset() if leaves else inside
    return found


def unfolded(turns: Sequence[Turn]) -> list[int]:
    """Return which measures are played one after the other: repeats, endings and jumps unfolded."""
    found: list[int] = []
    place, start, visit, jumped = 0, 0, 1, False
    while place < len(turns):
        turn = turns[place]
        if len(found) >= bars.MOST_BARS:
            raise NoteError(f"its repeats unfold to more than {bars.MOST_BARS} bars")
        left = place > 0 and bool(turns[place - 1].endings) and not turn.endings
        if place != start and (turn.forward or left):
            start, visit = place, 1
        skipped = turn.times is not None or any(
            later.times is not None for later in _same_ending(turns, place)
        )
        if turn.endings and (skipped if jumped else visit not in turn.endings):
            place += 1
            continue
        found.append(place)
        if jumped and turn.fine:
            break
        if jumped and turn.to_coda and any(other.coda for other in turns[place + 1 :]):
            place += 1 + next(k for k, other in enumerate(turns[place + 1 :]) if other.coda)
        elif turn.times is not None and visit < turn.times and not jumped:
            place, visit = start, visit + 1
        elif turn.to and not jumped:
            signs = [k for k, other in enumerate(turns) if other.sign and turn.to != "start"]
            place, jumped, start = (signs[0] if signs else 0), True, -1
        else:
            if turn.times is not None:
                start, visit = place + 1, 1
            place += 1
    return found


def _same_ending(turns: Sequence[Turn], place: int) -> Iterator[Turn]:
    """Yield the measures of the ending in which one stands, from it on."""
    for turn in turns[place:]:
        if not turn.endings or turn.endings != turns[place].endings:
            return
        yield turn


def busy(turns: Sequence[Turn]) -> int:
    """Count the measures that say anything about the order."""
    empty = Turn(False, None, frozenset(), "", "", False, False, False)
    return sum(turn != empty for turn in turns)
