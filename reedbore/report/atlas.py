"""What an atlas says of a horn and a voice, in words and as data.

In: an atlas, as far as it is made. Out: short texts and plain data; picture and terminal say the
same.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

from reedbore.model.setup import depth_name
from reedbore.notes import cents, midi_name, note_name, split_note
from reedbore.report.singer import ease
from reedbore.verdict.atlas import Found
from reedbore.verdict.locks import Row
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import Ease, Heard, RowState

EASY = Ease.BY_ITSELF, Ease.WITH_CARE


class Pair(NamedTuple):
    """A fingered and a sung note that fall into step."""

    midi: int
    """Fingered, as it sounds."""
    depth: float
    ratio: tuple[int, int]
    low_hz: float
    """Lowest and highest note that may be sung, or aimed at. [Hz]"""
    high_hz: float
    heard: str
    """How well the third note is heard, one of `Heard`."""
    third_hz: float
    easy: bool
    """Of a singer: whether they fall into step by themselves, or if the aim is right."""

    @property
    def hz(self) -> float:
        """Where to sing or aim. [Hz]."""
        return (self.low_hz * self.high_hz) ** 0.5

    @property
    def width(self) -> float:
        """How wide the range is. [cents]."""
        return cents(self.high_hz, self.low_hz)


def clock_pairs(found: Found) -> Iterator[Pair]:
    """List what a voice like a clock locks to, note by note, as far as it is made."""
    for midi in found.atlas.notes:
        yield from clock_pairs_over(found, midi)


def clock_pairs_over(found: Found, midi: int) -> Iterator[Pair]:
    """List the same of one note."""
    for depth in found.atlas.depths:
        sheet = found.clock(midi, depth)
        for row in sheet.rows if sheet else ():
            if row.state == RowState.LOCKED:
                yield _clock_pair(midi, depth, row)


def _clock_pair(midi: int, depth: float, row: Row) -> Pair:
    assert row.low is not None
    assert row.high is not None
    low, high = (
        row.sung_hz * 2.0 ** ((end.inside - row.middle) / 1200.0) for end in (row.low, row.high)
    )
    return Pair(midi, depth, row.ratio, low, high, row.heard, row.resultant_hz, easy=False)


def singer_pairs(found: Found, voice: str | None = None) -> Iterator[Pair]:
    """List what falls into step for a singer, by default the first that was tried."""
    for midi in found.atlas.notes:
        yield from singer_pairs_over(found, midi, voice)


def singer_pairs_over(found: Found, midi: int, voice: str | None = None) -> Iterator[Pair]:
    """List the same of one note."""
    for depth in found.atlas.depths:
        sheet = found.singer(midi, depth, voice)
        for row in sheet.rows if sheet else ():
            if row.state == RowState.LOCKED:
                yield _singer_pair(midi, depth, row)


def _singer_pair(midi: int, depth: float, row: SingerRow) -> Pair:
    assert row.low is not None
    assert row.high is not None
    low, high = (row.just_hz * 2.0 ** (end.inside / 1200.0) for end in (row.low, row.high))
    third_hz = row.just_hz / row.ratio[0]
    return Pair(midi, depth, row.ratio, low, high, str(row.heard), third_hz, ease(row) in EASY)


def missing(found: Found) -> dict[int, str]:
    """Say for each note that has no table why: it does not sound, or is not made yet."""
    told = {}
    for midi in found.atlas.notes:
        sheets = [found.clock(midi, depth) for depth in found.atlas.depths]
        why = [sheet.reason if sheet else "not made yet" for sheet in sheets]
        if all(why):
            told[midi] = str(why[0])
    return told


# --- words ---------------------------------------------------------------------------------------


def title(found: Found) -> str:
    """Name horn and voice."""
    atlas = found.atlas
    return f"{atlas.horn.title} and {_lower(atlas.singer.title)}"


def _lower(words: str) -> str:
    return words[0].lower() + words[1:]


def subtitle(found: Found) -> str:
    """Tell breath, depths and what was set."""
    atlas = found.atlas
    depths = ", ".join(f"{depth:g} ({depth_name(depth)})" for depth in atlas.depths)
    breath = f"breath {atlas.breath}" if atlas.breath else "usual breath"
    told = [breath, f"depth {depths}", *atlas.settings]
    notes = atlas.notes
    span = f"{len(notes)} notes, {midi_name(notes[0])} to {midi_name(notes[-1])}"
    return " · ".join([span, *told])


def text(found: Found) -> str:
    """Sum an atlas up for reading.

    Parameters
    ----------
    found : Found
        The atlas, as far as it is made.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    told = document(found)
    lines = [told["title"], told["subtitle"]]
    for who, says in SAYS.items():
        pairs = [pair for pair in told["pairs"] if pair["who"] == who]
        heard = sum(pair["heard"] == Heard.YES for pair in pairs)
        if who == "clock" or told["voices"]:
            lines.append(f"{says} {len(pairs)} pairs; a third note is heard of {heard}")
    lines += [f"{name}: {why}" for name, why in told["missing"].items()]
    if left := sum(told["left"].values()):
        lines.append(f"{left} tables are still to be made")
    return "\n".join([*lines, f"file        {told['file']}"])


SAYS = {
    "clock": "a voice like a clock locks in",
    "singer": "a singer, whose folds feel the horn, falls into step in",
}
"""Before how many pairs there are."""


def document(found: Found) -> dict[str, Any]:
    """Return what falls into step as plain data.

    Parameters
    ----------
    found : Found
        The atlas, as far as it is made.

    Returns
    -------
    dict
        Fit for JSON; `pairs` lists those of the clock and of the first singer.
    """
    atlas = found.atlas
    pairs = [_plain("clock", pair, atlas.a4) for pair in clock_pairs(found)]
    pairs += [_plain("singer", pair, atlas.a4) for pair in singer_pairs(found)]
    return {
        "file": str(found.path),
        "title": title(found),
        "subtitle": subtitle(found),
        "horn": atlas.horn.name,
        "voice": atlas.singer.name,
        "notes": [midi_name(midi) for midi in atlas.notes],
        "depths": list(atlas.depths),
        "voices": list(atlas.voices),
        "pairs": pairs,
        "missing": {midi_name(midi): why for midi, why in missing(found).items()},
        "left": found.left,
    }


def _plain(who: str, pair: Pair, a4: float) -> dict[str, Any]:
    note, off = split_note(pair.hz, a4)
    return {
        "who": who,
        "fingered_note": midi_name(pair.midi),
        "depth": pair.depth,
        "ratio": f"{pair.ratio[0]}/{pair.ratio[1]}",
        "sung_note" if who == "clock" else "aimed_note": note,
        "sing_cents" if who == "clock" else "aim_cents": off,
        "hz": pair.hz,
        "width_cents": pair.width,
        "heard": pair.heard,
        "resultant_hz": pair.third_hz,
        "resultant_note": note_name(pair.third_hz, a4),
    }
