"""Note-by-note verdicts for the terminal, for JSON, for a spreadsheet, and as a line of notes.

In: the rows of `verdict.passage.judge_notes`. Out: text, plain data, or what `midi.resultant_bytes`
writes. Where a pair is told about, the third note comes first, then how steady it is, then whether
it locks. Of notes that folds sing, the voice is what is aimed at, beside what is sung.
"""

import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from reedbore.model.musicxml.write import Third
from reedbore.notes import A4_HZ, cents, hz_to_midi, midi_name, note_name
from reedbore.pairs import Outcome, Prediction
from reedbore.report import document as documents
from reedbore.report.verdict import PLAYS, STILL_HZ, instead
from reedbore.report.words import (
    FOLLOWS,
    HEARD,
    NOT_SIMULATED,
    REASONS,
    STRAIN,
    below,
    is_one_of_two,
    short,
)
from reedbore.verdict.instead import KEYS, Range
from reedbore.verdict.passage import NoteVerdict
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import Heard, Movement, Reason, State

WIDEST = 105
"""The columns of the table stand closer together before it gets wider than this. [characters]"""

OFF_CENTS = 5.0
"""A horn that plays so far from the fingered note is told below the table. [cents]"""

_HEAD = ("note", "beat", "horn", "voice", "planned", "off", "in this note", "if held")
_HEAD_AS_WRITTEN = "written"
_HEAD_OF_FOLDS = (*_HEAD[:3], "aim", "planned", "sung", "pulled", *_HEAD[6:])
_RIGHT = {0, 1, 5}  # columns set against their right edge
_RIGHT_OF_FOLDS = {0, 1, 6}
_PLANNED = (
    *("sung_hz", "ratio", "simulated", "resultant_hz", "resultant_note", "carries_pitch"),
    *("outcome", "sing_hz", "sing_note", "off_just_cents"),
)


# --- for reading ---------------------------------------------------------------------------------


def text(
    rows: Sequence[NoteVerdict],
    a4: float = A4_HZ,
    reach: Range | None = None,
    transposition: int | None = None,
) -> str:
    """Return the table, a line a note, and below it what it comes to.

    Parameters
    ----------
    rows : sequence of NoteVerdict
        In order.
    a4 : float
        Frequency of A4. [Hz]
    reach : (low, high), optional
        Of the voice. [Hz]
    transposition : int, optional
        Written note minus sounding note of the horn; given, what is fingered is told as *written*
        beside the *horn*. [semitones]

    Returns
    -------
    str
        *planned* is the ratio and the common note by arithmetic, *off* how many cents the sung
        note lies above the just one, *in this note* what was measured before it ends, *if held*
        what the pair comes to when it is held. Where folds sing, *aim* is the note that is asked
        for, *sung* what was measured on them, *pulled* how far that lies above the aim.
    """
    lines, told_below = table(rows, a4, transposition), sentences(rows, a4, reach)
    return "\n".join([*lines, "", *(textwrap.fill(line, WIDEST) for line in told_below)])


def sentences(
    rows: Sequence[NoteVerdict], a4: float = A4_HZ, reach: Range | None = None
) -> list[str]:
    """Say what stands below the table; as `text`."""
    return [
        *(summary(rows), *_followed(rows), *_reasons(rows), *_strayed(rows, a4)),
        *(*_instead(rows, a4, reach), *_folded(rows), *_strained(rows)),
    ]


def table(
    rows: Sequence[NoteVerdict], a4: float = A4_HZ, transposition: int | None = None
) -> list[str]:
    """Return the lines of the table, its head first; at most about `WIDEST` characters."""
    cells = cells_of(rows, a4)
    right = _RIGHT_OF_FOLDS if cells[0] == _HEAD_OF_FOLDS else _RIGHT
    if transposition is not None:
        named = [_HEAD_AS_WRITTEN, *(_written(row, a4, transposition) for row in rows)]
        cells = [(*c[:3], name, *c[3:]) for c, name in zip(cells, named, strict=True)]
        right = {column + (column > 2) for column in right}
    return documents.columns(cells, right=right, widest=WIDEST)


def cells_of(rows: Sequence[NoteVerdict], a4: float = A4_HZ) -> list[tuple[str, ...]]:
    """Return the cells of the table, its head first."""
    of_folds = any(row.lungs is not None for row in rows)
    head = _HEAD_OF_FOLDS if of_folds else _HEAD
    return [head, *(_cells(row, a4, of_folds=of_folds) for row in rows)]


def _written(row: NoteVerdict, a4: float, transposition: int) -> str:
    return note_name(row.fingered_hz * 2.0 ** (transposition / 12.0), a4)


def _cells(row: NoteVerdict, a4: float, *, of_folds: bool) -> tuple[str, ...]:
    fingered, sung = note_name(row.fingered_hz, a4), row.reached.sung_hz
    off = [_cents(row.off_just_cents)]
    if of_folds:
        off = [note_name(sung, a4) if sung else "", _cents(row.reached.pulled_cents)]
    return (
        str(row.number),
        f"{row.beat:g}",
        f"{fingered}({row.fingering})" if row.fingering else fingered,
        note_name(row.sung_hz, a4) if row.sung_hz else "",
        _planned(row.planned, a4),
        *off,
        told(row.reached, row.rest_s, a4),
        told(row.held, None, a4) if row.held else "",
    )


def _cents(off: float | None) -> str:
    return "" if off is None else f"{off:+.0f}c".replace("-0c", "+0c")


def _planned(planned: Prediction | None, a4: float) -> str:
    if planned is None:
        return ""
    meeting = planned.meeting
    if meeting is None:
        return "none near"
    if not meeting.simulated:
        return f"{meeting.ratio_text} {NOT_SIMULATED}"
    same = planned.outcome in _NONE_OF_ITS_OWN
    return f"{meeting.ratio_text} {planned.outcome if same else _plain(meeting.resultant_hz, a4)}"


def told(found: Verdict, rest_s: float | None = None, a4: float = A4_HZ) -> str:
    """Say in a few words what became of a pair: the third note, then how steady, then the lock.

    Parameters
    ----------
    found : Verdict
        Of a note, or of a pair.
    rest_s : float, optional
        When its beat came to rest. [s]
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        Such as ``Bb1 heard, locks at 3.6 s`` or ``as fingered, moves 0.4/s``.
    """
    if found.reason in (Reason.STARTING, Reason.NO_NOTE):
        return short(found.state, found.reason)
    if not found.state.pair:
        return short(found.state, found.reason) + (", jumped" if found.jumped else "")
    words = [_third(found, a4), _steady(found, rest_s)]
    if found.jumped:
        words[1:] = [found.state, "jumped"]
    return ", ".join(word for word in words if word)


def _third(found: Verdict, a4: float) -> str:
    if found.resultant_hz is None:
        return ""
    cell = HEARD[Heard(found.heard)].cell
    if is_one_of_two(found.heard):
        # A horn that has jumped no longer plays the fingered note.
        return "as played" if found.jumped else cell
    return f"{_plain(found.resultant_hz, a4)} {cell}"


def _steady(found: Verdict, rest_s: float | None) -> str:
    if found.state == State.LOCKED and found.movement == Movement.PARTS:
        return f"locks held still, moves {_rate(found.drift_hz or 0.0)}"
    if found.state == State.LOCKED:
        return "locks" if rest_s is None else f"locks at {rest_s:.1f} s"
    if found.state != State.DRIFTING or found.reason in REASONS:
        return short(found.state, found.reason)
    if found.drift_hz is None:
        return "voice wanders"
    return "no lock" if abs(found.drift_hz) < STILL_HZ else f"moves {_rate(found.drift_hz)}"


def _rate(hz: float) -> str:
    return f"{abs(hz):.{1 if abs(hz) >= 1.0 else 2}f}/s"


def _plain(hz: float, a4: float) -> str:
    """Name the tempered note nearest to a frequency."""
    return midi_name(hz_to_midi(hz, a4))


def summary(rows: Iterable[NoteVerdict]) -> str:
    """Say in a sentence what the notes come to.

    Parameters
    ----------
    rows : iterable of NoteVerdict
        In order.

    Returns
    -------
    str
        How many are sung, and of these how many lock and let a third note be heard.
    """
    rows = list(rows)
    sung = [row for row in rows if row.sung_hz is not None and row.reached.state != State.UNSUNG]
    if not sung:
        return _unsung(rows)
    locked = sum(row.reached.state == State.LOCKED for row in sung)
    heard = sum(row.reached.heard == "yes" for row in sung)
    held = [row.held for row in sung if row.held is not None]
    if not held:
        return (
            f"{_sung(rows, sung)}: a third note is heard in {heard}; "
            "whether they lock was not looked for."
        )
    lock = sum(pair.state == State.LOCKED for pair in held)
    rings = sum(pair.heard == "yes" for pair in held)
    rough = sum(pair.state == State.ROUGH for pair in held)
    roughens = f"; {rough} only {'roughens' if rough == 1 else 'roughen'} the tone" if rough else ""
    return (
        f"{_sung(rows, sung)}: {lock} lock when held, {locked} within the note; a third note is "
        f"heard in {rings} when held, in {heard} within the note{roughens}."
    )


def _unsung(rows: Sequence[NoteVerdict]) -> str:
    """Tell a passage in which nobody sings from a recording without a note."""
    if any(row.reached.reason == Reason.NO_NOTE for row in rows):
        return "No steady sung note was found in the recording: there is nothing to compare."
    return "Nobody sings."


def _sung(rows: Sequence[NoteVerdict], sung: Sequence[NoteVerdict]) -> str:
    """Say how many of the notes are sung."""
    if len(rows) == 1:
        return "The one note is sung"
    return f"Of {len(rows)} notes {len(sung)} {'is' if len(sung) == 1 else 'are'} sung"


def _reasons(rows: Sequence[NoteVerdict]) -> list[str]:
    """Tell which notes end too soon, and what else there is to say of single ones."""
    lines = []
    soon = [str(row.number) for row in rows if row.reached.reason == Reason.NOT_SETTLED]
    if soon:
        they = "it locks, but ends" if len(soon) == 1 else "they lock, but end"
        notes = "note" if len(soon) == 1 else "notes"
        lines.append(f"Hold {notes} {', '.join(soon)} for longer: {they} before settling.")
    told_already = (
        *(None, Reason.NOT_SETTLED, Reason.NO_NOTE, Reason.TOO_SHORT),
        *(Reason.STARTING, Reason.UNDECIDED),
    )
    reasons = [
        (row.number, str(row.reached.reason))
        for row in rows
        if row.reached.reason not in told_already
        # `_folded` tells of these.
        and not (row.folds > 1 and "false folds" in str(row.reached.reason))
    ]
    return lines + [f"{where}: {reason}." for reason, where in _gathered(reasons).items()]


def _strayed(rows: Sequence[NoteVerdict], a4: float) -> list[str]:
    """Tell where the horn plays another note than the fingered one, and which."""
    off = []
    for row in rows:
        told_with = any(clause.startswith(PLAYS) for clause in _advice(row, a4))
        for found, held in (row.reached, ""), (row.held, " if held"):
            hz = found.played_hz if found else None
            if found is None or hz is None or (held and row.reached.jumped):
                continue
            if found.jumped:
                off.append((row.number, f"the horn has jumped to {note_name(hz, a4)}{held}"))
            elif not held and abs(cents(hz, row.fingered_hz)) > OFF_CENTS and not told_with:
                off.append((row.number, f"the horn plays {note_name(hz, a4)}"))
    told = [f"{where}: {what}" for what, where in _gathered(off).items()]
    return [f"{'; '.join(told)}."] if told else []


def _instead(rows: Sequence[NoteVerdict], a4: float, reach: Range | None) -> list[str]:
    """Tell what to sing instead in notes whose pair misses, held if that was looked for."""
    told = [(row.number, clause) for row in rows for clause in _advice(row, a4, reach)]
    return [f"{where}: {what}." for what, where in _gathered(told).items()]


def _advice(row: NoteVerdict, a4: float, reach: Range | None = None) -> list[str]:
    found = row.held or row.reached
    return instead(found.document(row.fingered_hz, a4=a4, reach=reach), a4)


def _followed(rows: Sequence[NoteVerdict]) -> list[str]:
    """Say in which notes that folds sing who follows whom."""
    told = [
        (row.number, FOLLOWS[row.reached.follows])
        for row in rows
        if row.lungs is not None and row.reached.follows is not None
    ]
    return [f"{where}: {what[0].lower()}{what[1:]}." for what, where in _gathered(told).items()]


def _strained(rows: Sequence[NoteVerdict]) -> list[str]:
    """Tell the pressure that the lungs of a singer with folds come to."""
    most = max((row.lungs for row in rows if row.lungs is not None), default=None)
    return [] if most is None else [f"The lungs hold up to {most / 1e3:.2f} kPa; {STRAIN}."]


def _folded(rows: Sequence[NoteVerdict]) -> list[str]:
    """Say which pitch counts where false folds swing along."""
    folds = max((row.folds for row in rows if row.sung_hz is not None), default=1)
    if folds == 1:
        return []
    return [
        f"The false folds make the voice repeat only after {folds} periods: what is planned, and "
        f"how far off it is, counts from {below(folds)} below the sung note."
    ]


def _gathered(told: Iterable[tuple[int, str]]) -> dict[str, str]:
    """Gather the notes of which the same is told."""
    places: dict[str, list[str]] = {}
    for number, what in told:
        places.setdefault(what, []).append(str(number))
    return {what: ", ".join(where) for what, where in places.items()}


# --- as data -------------------------------------------------------------------------------------


def document(
    rows: Iterable[NoteVerdict],
    a4: float = A4_HZ,
    reach: Range | None = None,
    transposition: int | None = None,
) -> list[dict[str, Any]]:
    """Return the rows as plain data.

    Parameters
    ----------
    rows : iterable of NoteVerdict
        In order.
    a4 : float
        Frequency of A4. [Hz]
    reach : (low, high), optional
        Of the voice. [Hz]
    transposition : int, optional
        Written note minus sounding note of the horn. [semitones]

    Returns
    -------
    list of dict
        Fit for JSON. ``reached`` and ``held`` have the keys of every verdict of the program.
    """
    return [_plain_row(row, a4, reach, transposition) for row in rows]


def _plain_row(
    row: NoteVerdict, a4: float, reach: Range | None, transposition: int | None
) -> dict[str, Any]:
    sung = row.sung_hz
    written = None if transposition is None else _written(row, a4, transposition)
    return {
        "note": row.number,
        "begin_s": row.begin_s,
        "end_s": row.end_s,
        "beat": row.beat,
        "beats": row.beats,
        "fingered_hz": row.fingered_hz,
        "fingered_note": note_name(row.fingered_hz, a4),
        "fingered_written": written,
        "fingering": row.fingering or None,
        "sung_hz": sung,
        "sung_note": note_name(sung, a4) if sung else None,
        "depth": row.depth,
        "lungs_kpa": None if row.lungs is None else row.lungs / 1e3,
        "planned": _planned_document(row, a4) if row.planned else None,
        "reached": row.reached.document(row.fingered_hz, a4=a4, reach=reach),
        "rest_s": row.rest_s,
        "held": row.held.document(row.fingered_hz, sung, a4, reach) if row.held else None,
    }


def _planned_document(row: NoteVerdict, a4: float) -> dict[str, Any]:
    assert row.planned is not None
    meeting = row.planned.meeting
    sing = meeting and meeting.sing_hz * row.folds
    values = (
        row.planned.sung_hz,
        meeting and meeting.ratio_text,
        meeting and meeting.simulated,
        meeting and meeting.resultant_hz,
        meeting and note_name(meeting.resultant_hz, a4),
        meeting and meeting.carries_pitch,
        row.planned.outcome,
        sing,
        sing and note_name(sing, a4),
        row.off_just_cents,
    )
    return dict(zip(_PLANNED, values, strict=True))


def csv_text(
    rows: Iterable[NoteVerdict],
    a4: float = A4_HZ,
    reach: Range | None = None,
    transposition: int | None = None,
) -> str:
    """Return the rows for a spreadsheet, a row a note; see `document` and `documents.flat`.

    The columns are the same whatever was found.
    """
    plain = [documents.flat(_whole(row)) for row in document(rows, a4, reach, transposition)]
    return documents.csv_text(plain, "note")


def _whole(row: dict[str, Any]) -> dict[str, Any]:
    """Put empty fields in the place of what is not there."""
    verdict: dict[str, Any] = dict.fromkeys(row["reached"])
    verdict["voice_off"] = dict.fromkeys(row["reached"]["voice_off"])
    whole = {"planned": row["planned"] or dict.fromkeys(_PLANNED)}
    for name in ("reached", "held"):
        found = row[name] or verdict
        whole[name] = found | {"sing_instead": found["sing_instead"] or dict.fromkeys(KEYS)}
    return row | whole


def third_notes(rows: Iterable[NoteVerdict]) -> list[Third]:
    """Return the third notes of a score.

    Parameters
    ----------
    rows : iterable of NoteVerdict
        In order.

    Returns
    -------
    list of Third
        Where one is heard in the note, as measured. Else, told as not heard, where one is heard
        when the pair is held, or arithmetic names one.
    """
    found = []
    for row in rows:
        heard, held = row.reached.heard == "yes", row.held is not None and row.held.heard == "yes"
        hz = (
            row.reached.resultant_hz
            if heard
            else row.held.resultant_hz
            if row.held and held
            else None
        )
        meeting = row.planned.meeting if row.planned else None
        if hz is None and row.planned and meeting and row.planned.outcome not in _NONE_OF_ITS_OWN:
            hz = meeting.resultant_hz if meeting.simulated else None
        if hz is not None:
            found.append(Third(row.beat, row.beats, hz, heard))
    return found


_NONE_OF_ITS_OWN = (Outcome.FINGERED, Outcome.SUNG)


def resultant_spans(rows: Iterable[NoteVerdict]) -> list[tuple[float, float, float]]:
    """Return the third notes as `midi.resultant_bytes` takes them.

    Parameters
    ----------
    rows : iterable of NoteVerdict
        In order.

    Returns
    -------
    list of (beat, beats, hz)
        The measured resultant of each note in which a third note is heard. One that only may be
        heard is left out: a line of notes cannot say "perhaps".
    """
    return [
        (row.beat, row.beats, row.reached.resultant_hz)
        for row in rows
        if row.reached.heard == "yes" and row.reached.resultant_hz is not None
    ]
