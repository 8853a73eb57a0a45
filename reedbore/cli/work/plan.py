"""A plan from the command line: read what is asked for, let a singer try it, write, tell."""

import json
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reedbore import notes
from reedbore.cli.common import tell
from reedbore.cli.work import practice
from reedbore.cli.work.known import known_pairs
from reedbore.errors import ModelError, NoteError, ReedboreError
from reedbore.files import check_writable, write_whole
from reedbore.model.line import Line
from reedbore.model.presets import load_horn, load_singer, setup_for
from reedbore.model.setup import Horn, Singer
from reedbore.model.units import QUANTITIES, complaint, to_si
from reedbore.pairs import TOLERANCE_RANGE_CENTS
from reedbore.report import plan as report
from reedbore.simulate.request import lines
from reedbore.simulate.request.compose import USUAL_BPM, tidy_of
from reedbore.simulate.request.passage import read_passage
from reedbore.simulate.request.take import (
    Words,
    as_typed,
    blow_and_set,
    named,
    with_demo,
)
from reedbore.simulate.tuning import check_note
from reedbore.verdict import planning
from reedbore.verdict.kept import Player
from reedbore.verdict.plan import Choice, Key, Plan, Ratio, Tried, best_first
from reedbore.verdict.planning import Fingered

MOST_WANTED = 500
"""Notes of a line that is wanted."""


@dataclass(frozen=True)
class Asked:
    """A plan by arithmetic, and who tries its pairs."""

    plan: Plan
    player: Player


Writer = Callable[[Asked, Plan, Path], None]


def read(
    typed: Mapping[str, Any],
    *,
    want: str | None,
    span: str | None,
    tolerance: float,
    outputs: Sequence[Path] = (),
    transpose: int = 0,
) -> Asked:
    """Read what is asked for, and plan it by arithmetic.

    Parameters
    ----------
    typed : mapping
        What `Words` is made of.
    want : str or None
        A third note, or a line of them.
    span : str or None
        Range of the voice, ``A2:E4``.
    tolerance : float
        How far a third note may lie from the wanted one. [cents]
    outputs : sequence of Path
        Where the plan will be written, looked at before anything is calculated.
    transpose : int
        How far a passage is moved before it is planned. [semitones]

    Returns
    -------
    Asked
        The plan.

    Raises
    ------
    ReedboreError
        If a word cannot be read, words do not go together, the horn has no such note, or a file
        cannot be written.
    """
    for path in outputs:
        if path.suffix.lower() not in WRITERS:
            known = ", ".join(WRITERS)
            raise ReedboreError(f"{path} has no known kind of file; write one of {known}")
        check_writable(path)
    practice.check_transposed(transpose)
    low, high = TOLERANCE_RANGE_CENTS
    if not low <= tolerance <= high:
        raise NoteError(
            f"--tolerance is {tolerance:g} cents; allowed {low:g} to {high:g} cents (how far a "
            "third note may lie from the wanted one)"
        )
    words = Words(**typed)
    notes.check_a4(words.a4)
    tidy_of(words)
    if planned_line(words):
        if want is not None:
            raise ReedboreError("--want asks for third notes, a passage has its own: leave one out")
        return _passage(words, span, transpose)
    if transpose:
        raise ReedboreError("--transpose moves a passage, and here is none: leave it out")
    if words.sung is not None:
        raise ReedboreError(
            "--sung goes with a line of notes with their beats; leave it out, a plan says what to "
            "sing"
        )
    if words.tempo is not None and (want is None or not _is_line(want)):
        raise ReedboreError("--tempo goes with a line; leave it out")
    return _notes(words, want, span, tolerance)


def planned_line(words: Words) -> bool:
    """Tell whether words ask for a passage: a file, or a line of notes."""
    kinds = {lines.kind_of(words.fingered), lines.kind_of(words.sung)}
    if "recording" in kinds:
        raise ReedboreError("--sung is a recording; a plan takes a line of notes, or none")
    return words.passage is not None or not kinds <= {"none", "note"}


def _is_line(want: str) -> bool:
    return len(want.split()) > 1 or ":" in want


# --- a piece -------------------------------------------------------------------------------------


def _passage(words: Words, span: str | None, transpose: int) -> Asked:
    request = read_passage(words)
    for warning in request.warnings:
        if "outside what" not in warning:
            tell(warning)
    passage, voiced = request.piece.passage, request.voiced
    horn = load_horn(words.horn or request.piece.horn)
    singer = _singer(words.voice or request.piece.voice, span, words.a4)
    if transpose:
        passage = practice.transposed(passage, transpose, horn, words.a4)
    steps = planning.passage_steps(passage, singer.reach(words.a4), words.a4)
    plan = Plan(
        title=request.typed.music,
        horn=horn,
        singer=singer,
        choices=(),
        steps=steps,
        a4=words.a4,
        depth=voiced.voice.depth if voiced else singer.voice.depth,
        breath=words.breath,
        tempo_hz=passage.tempo,
        tempo_changes=passage.tempo_changes,
        meter=passage.meter,
        breath_curve=passage.breath,
        depth_curve=passage.depth,
        written=words.written,
    )
    pressure = None if passage.breath else words.breath
    return Asked(plan, _player(plan, replace(words, breath=pressure)))


def _player(plan: Plan, words: Words) -> Player:
    return Player(
        horn=plan.horn,
        singer=plan.singer,
        depth=words.depth,
        breath=words.breath,
        settings=tuple(words.settings),
    )


# --- notes, and third notes ----------------------------------------------------------------------


def _notes(words: Words, want: str | None, span: str | None, tolerance: float) -> Asked:
    full = with_demo(words)
    horn = load_horn(full.horn or "")
    singer = _singer(full.voice or "", span, words.a4)
    reach = singer.reach(words.a4)
    given = _fingered(words, horn)
    pairs = [
        pair
        for note in given or planning.fingered_notes(horn, words.a4)
        for pair in planning.pairs_over(note, reach)
    ]
    depth = singer.voice.depth if words.depth is None else words.depth
    plan = Plan(
        title=_title(words, given, horn),
        horn=horn,
        singer=singer,
        choices=tuple(best_first(pairs)),
        a4=words.a4,
        depth=depth,
        breath=words.breath,
        written=words.written,
    )
    if want is not None:
        plan = _wanted(plan, want, words, tolerance)
    asked = Asked(plan, _player(plan, words))
    blow_and_set(setup_for(horn, singer).with_value("voice.depth", depth), words)  # or say why not
    return asked


def _wanted(plan: Plan, want: str, words: Words, tolerance: float) -> Plan:
    if not _is_line(want):
        with named("--want"):
            hz = notes.parse_pitch(want, plan.a4, transposition=plan.horn.transposition)
        found = planning.pairs_for(hz, plan.choices, tolerance)
        return replace(
            plan,
            title=f"{notes.note_name(hz, plan.a4)} wanted as a third note",
            choices=tuple(found),
            wanted_hz=hz,
            nearest=() if found else planning.nearest_to(hz, plan.choices),
        )
    line = _wanted_line(want, plan.horn)
    return replace(
        plan,
        title=f"{sum(note.pitch is not None for note in line.notes)} third notes wanted",
        choices=(),
        steps=planning.wanted_steps(line, plan.choices, tolerance, plan.a4),
        tempo_hz=_tempo_hz(words.tempo),
    )


def _tempo_hz(bpm: float | None) -> float:
    tempo = QUANTITIES["passage.tempo_bpm"]
    bpm = USUAL_BPM if bpm is None else bpm
    if wrong := complaint(tempo, bpm):
        raise ReedboreError(f"--tempo {wrong}")
    return to_si(tempo, bpm)


def _wanted_line(want: str, horn: Horn) -> Line:
    """Read wanted notes; those without beats have one each."""
    if len(want.split()) > MOST_WANTED:
        raise NoteError(f"--want has {len(want.split())} notes; allowed 1 to {MOST_WANTED}")
    bare = ":" not in want.replace("w:", "").replace("W:", "")
    return lines.read_typed(
        "--want", " ".join(f"{word}:1" for word in want.split()) if bare else want, horn
    )


def _fingered(words: Words, horn: Horn) -> list[Fingered]:
    """Read the fingered notes that were given; none for all that the horn has."""
    found = []
    for word in (words.fingered or "").split():
        with named("--fingered"):
            hz = notes.parse_pitch(
                word, words.a4, transposition=horn.transposition, written=words.written
            )
        with as_typed(words):
            check_note(horn, hz, words.fingering)
        found.append(Fingered(hz, words.fingering))
    if words.fingered is not None and not found:
        raise NoteError("--fingered names no note; write Bb2, or several: Bb2 C3")
    if words.fingering and len(found) != 1:
        raise NoteError("--fingering names that of one note: give one --fingered")
    return found


def _title(words: Words, given: Sequence[Fingered], horn: Horn) -> str:
    if not given:
        return "all that can be fingered"
    return f"{', '.join(_named_both(note.hz, words, horn) for note in given)} fingered"


def _named_both(hz: float, words: Words, horn: Horn) -> str:
    written = notes.written_name(hz, horn.transposition, words.a4)
    return notes.note_name(hz, words.a4) + f" (written {written})" * words.written


def _singer(name: str, span: str | None, a4: float) -> Singer:
    """Find a voice, and give it the range that was typed."""
    singer = load_singer(name)
    if span is None:
        return singer
    low, colon, high = (part.strip() for part in span.partition(":"))
    if not colon:
        raise NoteError(f"--range is {span!r}; write the lowest and the highest note, A2:E4")
    with named("--range"):
        ends = [notes.parse_note(end) for end in (low, high)]
    if any(end != round(end) for end in ends) or ends[0] >= ends[1]:
        raise NoteError(
            f"--range is {span!r}; it goes from a lower to a higher note, without cents: A2:E4"
        )
    return singer.model_copy(update={"low_note": low, "high_note": high, "title": "A voice"})


# --- what a singer makes of it -------------------------------------------------------------------


def _pairs(plan: Plan) -> list[Choice]:
    """List all pairs of a plan, each once."""
    steps = [pair for step in plan.steps for pair in (*step.pairs, *step.nearest)]
    found = {pair.key: pair for pair in (*plan.choices, *plan.nearest, *steps)}
    return list(found.values())


def lacking(plan: Plan) -> list[Choice]:
    """List the pairs of a plan that nobody has tried, fingered note by fingered note."""
    return sorted((pair for pair in _pairs(plan) if not pair.tried), key=lambda pair: pair.key)


def _by_note(pairs: Sequence[Choice]) -> dict[Fingered, list[Choice]]:
    found: dict[Fingered, list[Choice]] = {}
    for pair in pairs:
        found.setdefault(Fingered(pair.fingered_hz, pair.fingering), []).append(pair)
    return found


def _taken(plan: Plan, note: Fingered, found: Mapping[Ratio, Tried]) -> Plan:
    known = {Key(note.hz, note.fingering, ratio): tried for ratio, tried in found.items()}
    return planning.tried(plan, known)


def known(asked: Asked, atlas: Path | None) -> Plan:
    """Take into a plan what is kept in the user's cache folder, and what an atlas has of it."""
    plan = asked.plan
    return planning.tried(plan, known_pairs(asked.player, _by_note(_pairs(plan)), atlas, plan.a4))


def simulated(asked: Asked, plan: Plan) -> Plan:
    """Let a singer try what is not known yet, and tell how far that is and how long it takes."""
    from reedbore.verdict import tried  # noqa: PLC0415 - arithmetic answers before the kernel loads

    left = lacking(plan)
    done, begun = 0, time.monotonic()
    for note, pairs in _by_note(left).items():
        spent = time.monotonic() - begun
        more = f", about {_minutes(spent / done * (len(left) - done))} more" if done else ""
        name = notes.note_name(note.hz, plan.a4)
        tell(f"a singer tries {len(pairs)} pairs over {name}, {len(left) - done} in all{more} ...")
        try:
            found = tried.try_pairs(asked.player, note, [pair.ratio for pair in pairs])
        except ModelError as error:
            tell(f"{name}: {error}")
            found = {}
        except KeyboardInterrupt:
            tell(f"what was tried before {name} is kept: the same command goes on from there")
            raise
        plan, done = _taken(plan, note, found), done + len(pairs)
    return plan


def _minutes(seconds: float) -> str:
    if seconds < 90.0:
        return f"{max(seconds, 1.0):.0f} s"
    return f"{seconds / 60.0:.0f} minutes"


# --- out -----------------------------------------------------------------------------------------


def readable(plan: Plan) -> str:
    """Return the plan for reading."""
    return report.text(plan)


def data(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain data."""
    return report.document(plan)


def write(asked: Asked, plan: Plan, path: Path) -> None:
    """Write the plan into a file, by its suffix."""
    WRITERS[path.suffix.lower()](asked, plan, path)


def _csv(_: Asked, plan: Plan, path: Path) -> None:
    write_whole(path, report.csv_text(plan).encode())


def _json(_: Asked, plan: Plan, path: Path) -> None:
    write_whole(path, (json.dumps(data(plan), indent=1, ensure_ascii=False) + "\n").encode())


def _sheet(asked: Asked, plan: Plan, path: Path) -> None:
    practice.sheet(asked.player, plan, path)


def _score(_: Asked, plan: Plan, path: Path) -> None:
    practice.score(plan, path)


WRITERS: dict[str, Writer] = {
    ".csv": _csv,
    ".json": _json,
    ".pdf": _sheet,
    ".svg": _sheet,
    ".musicxml": _score,
    ".mid": _score,
}
"""What writes which kind of file."""
