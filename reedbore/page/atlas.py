"""The whole horn on the page: which notes may be sung over each fingered one, note by note.

In: the words of the setup, or an atlas that the server was given. Out: documents fit for JSON, the
notes as they become known. What is made here is the same as of `locks --every-note`, in the user's
cache folder: a horn that was looked at before is there at once, and one that is stopped goes on.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.files import cache_place, files_of
from reedbore.model.presets import names
from reedbore.model.sidecar import MODEL
from reedbore.notes import hz_to_midi, midi_name, note_name
from reedbore.page.answers import shown
from reedbore.page.choices import given
from reedbore.page.map import sung_words
from reedbore.page.request import read_words
from reedbore.page.underway import Document, Tell, told
from reedbore.report import atlas as telling
from reedbore.report.atlas import Pair
from reedbore.report.words import CLOCK, FOLDS, HEARD, sentence
from reedbore.simulate.request.take import Words, players, with_demo
from reedbore.verdict import atlas, singer
from reedbore.verdict.atlas import Atlas, Found
from reedbore.verdict.atlas.blocks import clock_block, singer_block
from reedbore.verdict.state import Heard
from reedbore.verdict.sweep import table

WHOSE = "clock", "singer"
BLOCKS = {"clock": clock_block, "singer": singer_block}
SAYS = {"clock": CLOCK, "singer": FOLDS}

TYPICAL_FOLDS = {"voice.drive": "folds", "voice.gap_mm": None, "voice.fold_mass_kg_per_m2": None}
"""What sets the folds that an atlas tries first: those of a voice of which nothing is set."""


def stream(body: Mapping[str, Any]) -> Iterator[Document]:
    """Tell what is known of a horn, then make what is not.

    Parameters
    ----------
    body : mapping
        ``words``; ``whose``, a clock's table or a singer's; ``make``, whether what is not known is
        worked out; ``given``, whether the server's own atlas is meant.

    Yields
    ------
    dict
        First the `frame`, then each `note` with its `pairs` and, while one is made, how far it is.

    Raises
    ------
    ReedboreError
        If anything is wrong with it.
    """
    whose = body.get("whose", "clock")
    if whose not in WHOSE:
        raise ReedboreError(f"whose is {shown(whose)}; write {' or '.join(WHOSE)}")
    words = read_words(body.get("words", {}))
    make = body.get("make") is True
    path = given.get("atlas") if body.get("given") is True else _place(words, whose, make=make)
    if path is None:
        yield _frame(of_words(words, whose))
        return
    found = atlas.read(path)
    yield _frame(found.atlas)
    if make and path not in given.values():
        yield from told(lambda tell: _make(found, whose, tell))
        return
    for number, midi in enumerate(found.atlas.notes, 1):
        if (one := _note(found, whose, midi)) is not None:
            yield one | {"done": number / len(found.atlas.notes)}


def of_words(words: Words, whose: str) -> Atlas:
    """Say which atlas the words of the page ask for: all notes, sung as strongly as is set."""
    horn, voice = players(with_demo(words))
    settings = tuple(
        one for one in words.settings if one.partition("=")[0] not in ("voice.drive", "voice.depth")
    )
    made = Atlas(
        horn=horn,
        singer=voice,
        notes=tuple(horn.notes()),
        depths=(voice.voice.depth if words.depth is None else words.depth,),
        voices=singer.tried("one") if whose == "singer" else (),
        breath=words.breath,
        settings=settings,
        a4=words.a4,
    )
    atlas.check(made)
    return made


def _place(words: Words, whose: str, *, make: bool) -> Path | None:
    """Find the store of an atlas; None if nothing is known of it and nothing is to be made."""
    made = of_words(words, whose)
    made_from = [
        made.horn.to_plain(), made.singer.to_plain(), made.depths, made.breath, made.settings,
        made.a4,
    ]  # fmt: skip
    path = cache_place(files_of(MODEL), "atlases", made_from).with_suffix(".zarr")
    if not make and not path.exists():
        return None
    atlas.prepare(path, made)
    return path


def _make(found: Found, whose: str, tell: Tell) -> None:
    """Tell what is known, then make note after note what is not."""
    tasks = list(table.tasks(found.path, whose))
    done = sum(there for _, there in tasks)
    notes = found.atlas.notes
    for task, there in tasks:
        if there:
            tell(_told(found, whose, notes[task.place[0]]) | {"done": done / len(tasks)})
    for task, there in tasks:
        if there:
            continue
        name = midi_name(notes[task.place[0]])

        def share(of_it: float, so_far: int = done, name: str = name) -> None:
            tell({"stage": name, "done": (so_far + min(of_it, 1.0)) / len(tasks)})

        share(0.0)
        values = BLOCKS[whose](found.atlas, task.block, progress=share)
        table.write(found.path, task, values)
        done += 1
        tell(_told(found, whose, notes[task.place[0]]) | {"done": done / len(tasks)})


def _told(found: Found, whose: str, midi: int) -> dict[str, Any]:
    one = _note(found, whose, midi)
    assert one is not None
    return one


def _note(found: Found, whose: str, midi: int) -> dict[str, Any] | None:
    """Tell what may be sung over a note; None if nobody knows yet."""
    made = found.atlas
    read = found.clock if whose == "clock" else found.singer
    sheets = [read(midi, depth) for depth in made.depths]
    if not any(sheets):
        return None
    over = telling.clock_pairs_over if whose == "clock" else telling.singer_pairs_over
    reason = next((sheet.reason for sheet in sheets if sheet and sheet.reason), None)
    return {
        "note": midi,
        "reason": reason,
        "pairs": [_pair(one, made, whose) for one in over(found, midi)],
    }


def _pair(pair: Pair, made: Atlas, whose: str) -> dict[str, Any]:
    (p, q), sung = pair.ratio, sung_words(pair.hz, made.a4)
    drive = TYPICAL_FOLDS if whose == "singer" else {"voice.drive": None}
    third = midi_name(hz_to_midi(pair.third_hz, made.a4))
    return {
        "ratio": f"{p}/{q}",
        "low": hz_to_midi(pair.low_hz, made.a4),
        "high": hz_to_midi(pair.high_hz, made.a4),
        "depth": pair.depth,
        "width_cents": pair.width,
        "sing": note_name(pair.hz, made.a4),
        "heard": pair.heard,
        "third": third,
        "says": HEARD[Heard(pair.heard)].beside,
        "easy": pair.easy,
        "patch": {
            **(_players(made, pair.depth) if "atlas" in given else {}),
            "fingered": midi_name(pair.midi),
            **sung,
            "settings": {**sung["settings"], **drive},
        },
    }


def _players(made: Atlas, depth: float) -> dict[str, Any]:
    """Say who plays an atlas that was given: perhaps another horn than the page's, or other depths.

    Horn and voice can only be set where they are those of presets.
    """
    known = {"horn": made.horn, "voice": made.singer}
    found = {kind: one.name for kind, one in known.items() if one.name in names(f"{kind}s")}
    return {**found, "breath": made.breath, "depth": depth}


def _frame(made: Atlas) -> dict[str, Any]:
    """Tell the notes of a horn, the range of a voice, and where arithmetic puts the ratios."""
    low, high = made.singer.midi_range
    ratios = [
        {"ratio": f"{p}/{q}", "p": p, "q": q, "up": hz_to_midi(440.0 * p / q) - 69.0}
        for p, q in atlas.RATIOS
    ]
    return {
        "frame": {
            "title": f"{made.horn.title} and {made.singer.title.lower()}",
            "horn": made.horn.name,
            "voice": made.singer.name,
            "notes": [
                {
                    "midi": midi,
                    "name": midi_name(midi),
                    "written": midi_name(midi + made.horn.transposition),
                }
                for midi in made.notes
            ],
            "low": low,
            "high": high,
            "ratios": ratios,
            "voices": list(made.voices),
            "says": {whose: sentence(says) for whose, says in SAYS.items()},
        }
    }
