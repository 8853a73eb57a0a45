"""What a recording holds, for the terminal, for JSON and for a spreadsheet.

In: the rows of `verdict.recording.analyse`. Out: text and plain data. What cannot be told is null,
and the reason stands beside it under ``cannot_tell``.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from reedbore.notes import A4_HZ, note_name, split_note
from reedbore.report import document as documents
from reedbore.report.words import STATES, rougher
from reedbore.verdict.against_plan import Aligned, Match
from reedbore.verdict.instead import KEYS, Range
from reedbore.verdict.practice_log import Entry, progress
from reedbore.verdict.recording import Found
from reedbore.verdict.recording.modelled import USUAL_DEPTH
from reedbore.verdict.recording.reasons import PROVEN
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import State

HEAD = ("note", "at s", "lasts", "horn", "voice", "common", "ratio", "off", "drift Hz", "state")
RIGHT = {0, 1, 2, 7, 8}


def modelled_document(rows: Sequence[Found], models: Mapping[int, Verdict]) -> list[Any]:
    """Return what the model says of the pairs that were found, beside what was found.

    Parameters
    ----------
    rows : sequence of Found
        In order.
    models : mapping
        By the number of the row.

    Returns
    -------
    list of dict
        One for each row that the model was asked of.
    """
    return [
        {
            "number": row.number,
            "state_recorded": row.state,
            "state_modelled": models[row.number].state,
            "ratio_modelled": _ratio(models[row.number].ratio),
            "drift_modelled_hz": models[row.number].drift_hz,
            "heard_modelled": models[row.number].heard,
        }
        for row in rows
        if row.number in models
    ]


def modelled_text(rows: Sequence[Found], models: Mapping[int, Verdict], horn: str) -> str:
    """Say the same, a line a row; empty if it was asked of none."""
    said = [
        f"Note {row.number}: recorded {STATES[row.state].short}; in the model "
        f"{STATES[models[row.number].state].short}."
        for row in rows
        if row.number in models
    ]
    if not said:
        return ""
    head = f"The same pairs in the model of {horn}, sung at depth {USUAL_DEPTH:g} by a clock:"
    return "\n".join([head, *said])


def _ratio(ratio: tuple[int, int] | None) -> str | None:
    return f"{ratio[0]}/{ratio[1]}" if ratio else None


def document(rows: Sequence[Found], a4: float = A4_HZ, reach: Range | None = None) -> list[Any]:
    """Return the rows as plain data.

    Parameters
    ----------
    rows : sequence of Found
        In order.
    a4 : float
        Frequency of A4. [Hz]
    reach : (low, high), optional
        Of the voice. [Hz]

    Returns
    -------
    list of dict
        The same keys for each row.
    """
    return [_plain(row, a4, reach) for row in rows]


def _plain(row: Found, a4: float, reach: Range | None) -> dict[str, Any]:
    def name(hz: float | None) -> str | None:
        return None if hz is None else note_name(hz, a4)

    instead = row.instead(reach)
    common = row.common_hz
    tempered = None if row.sung_hz is None else split_note(row.sung_hz, a4)[1]
    return {
        "number": row.number,
        "begin_s": row.begin_s,
        "end_s": row.end_s,
        "level_db": row.level_db,
        "played_hz": row.played_hz,
        "played_note": name(row.played_hz),
        "played_within_cents": row.played_within,
        "played_tempered_cents": split_note(row.played_hz, a4)[1],
        "sung_hz": row.sung_hz,
        "sung_note": name(row.sung_hz),
        "sung_within_cents": row.sung_within,
        "sung_tempered_cents": tempered,
        "sung_class_hz": list(row.sung_class),
        "sung_class_within_hz": row.class_within if row.sung_class else None,
        "sung_margin_db": row.margin_db,
        "ratio": f"{row.ratio[0]}/{row.ratio[1]}" if row.ratio else None,
        "sung_just_cents": row.off_cents,
        "common_hz": common,
        "common_note": name(common),
        "third_level_db": row.third_db,
        "heard": row.heard,
        "state": row.state,
        "reason": row.reason,
        "drift_hz": row.drift_hz,
        "drift_within_hz": row.drift_within,
        "least_drift_hz": row.shows_hz,
        "interaction_db": row.interaction_db,
        "wander_cycles": row.wander,
        "roughness": row.roughness,
        "sing_instead": instead and instead.document(a4),
        "cannot_tell": dict(row.cannot),
    }


def csv_text(rows: Sequence[Found], a4: float = A4_HZ, reach: Range | None = None) -> str:
    """Return the rows for a spreadsheet; as `document`, one line a row."""
    spread = []
    for plain in document(rows, a4, reach):
        plain["sing_instead"] = plain["sing_instead"] or dict.fromkeys(KEYS)
        plain["sung_class_hz"] = " ".join(f"{hz:.3f}" for hz in plain["sung_class_hz"])
        plain["cannot_tell"] = "; ".join(
            f"{key}: {why}" for key, why in plain["cannot_tell"].items()
        )
        spread.append(documents.flat(plain))
    return documents.csv_text(spread, "number")


def plan_document(aligned: Aligned, tempo_bpm: float, a4: float = A4_HZ) -> dict[str, Any]:
    """Return what became of a plan as plain data.

    Parameters
    ----------
    aligned : Aligned
        The recording beside its plan.
    tempo_bpm : float
        As planned, at the start. [1/min]
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        The player's tempo and tuning, each planned note and what was found for it, and what was
        not planned.
    """
    ratio = aligned.tempo_ratio
    return {
        "tempo_bpm": tempo_bpm,
        "played_bpm": None if ratio is None else ratio * tempo_bpm,
        "tuning_cents": aligned.tuning_cents,
        "notes": [
            {
                "number": one.planned.number,
                "beat": one.planned.beat,
                "fingered_hz": one.planned.fingered_hz,
                "fingered_note": note_name(one.planned.fingered_hz, a4),
                "sung_hz": one.planned.sung_hz,
                "sung_note": one.planned.sung_hz and note_name(one.planned.sung_hz, a4),
                "found": one.found and one.found.number,
                "outcome": one.outcome,
            }
            for one in aligned.matches
        ],
        "extra": [row.number for row in aligned.extra],
    }


def plan_text(aligned: Aligned, tempo_bpm: float, a4: float = A4_HZ) -> str:
    """Say what became of a plan; as `plan_document`."""
    right = sum(one.outcome in ("right", "joined") for one in aligned.matches)
    said = [f"{right} of {len(aligned.matches)} planned notes are right."]
    if aligned.tempo_ratio is not None:
        said.append(
            f"Played at {aligned.tempo_ratio * tempo_bpm:.0f} beats a minute, planned "
            f"{tempo_bpm:g}; the horn is {aligned.tuning_cents:+.0f} cents from the plan."
        )
    for one in aligned.matches:
        if one.outcome in ("right", "joined"):
            continue
        planned = note_name(one.planned.fingered_hz, a4)
        if one.planned.sung_hz is not None:
            planned += f" with {note_name(one.planned.sung_hz, a4)}"
        said.append(f"Planned note {one.planned.number}, {planned}: {_became(one, a4)}.")
    said += [
        f"Note {row.number}, {note_name(row.played_hz, a4)}, was not planned."
        for row in aligned.extra
    ]
    return "\n".join(said)


def log_text(entries: Sequence[Entry]) -> str:
    """Set the recordings of a passage side by side, and say whether it gets better.

    Parameters
    ----------
    entries : sequence of Entry
        Oldest first; one or more.

    Returns
    -------
    str
        Lines without a line end after the last.
    """

    def cell(value: float | None, digits: int) -> str:
        return "?" if value is None else f"{value:.{digits}f}"

    cells = [("date", "recording", "right", "off c", "drift Hz", "tempo")]
    cells += [
        (
            one.date,
            one.recording,
            f"{one.right}/{one.planned}",
            cell(one.off_cents, 1),
            cell(one.drift_hz, 2),
            cell(one.bpm, 0),
        )
        for one in entries
    ]
    widths = [max(len(line[column]) for line in cells) for column in range(len(cells[0]))]
    told = [
        "  ".join(each.ljust(width) for each, width in zip(line, widths, strict=True)).rstrip()
        for line in cells
    ]
    return "\n".join([*told, "", *progress(entries)])


def _became(one: Match, a4: float) -> str:
    if one.found is None:
        return one.outcome
    heard = note_name(one.found.played_hz, a4)
    if one.outcome == "wrong sung note":
        heard = _voice(one.found, a4)
    elif one.outcome == "no sung note told":
        return f"{one.outcome} in note {one.found.number}"
    return f"{one.outcome}, {heard} in note {one.found.number}"


def lines(rows: Sequence[Found]) -> list[tuple[str, list[tuple[float, float, float]]]]:
    """Return what was played, what was sung and the common notes as lines for MIDI.

    Parameters
    ----------
    rows : sequence of Found
        In order.

    Returns
    -------
    list of (name, notes)
        Notes as second, seconds, frequency [Hz]; what cannot be told is left out.
    """

    def line(of: Callable[[Found], float | None]) -> list[tuple[float, float, float]]:
        told = [(row.begin_s, row.end_s - row.begin_s, of(row)) for row in rows]
        return [(begin, seconds, hz) for begin, seconds, hz in told if hz is not None]

    return [
        ("played", line(lambda row: row.played_hz)),
        ("sung", line(lambda row: row.sung_hz)),
        ("common", line(lambda row: row.common_hz)),
    ]


def text(rows: Sequence[Found], a4: float = A4_HZ, reach: Range | None = None) -> str:
    """Return the table, a line a note, and below it what it comes to.

    Parameters
    ----------
    rows, a4, reach
        As for `document`.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    if not rows:
        return "No note of a horn was found."
    cells = [HEAD, *(cells_of(row, a4) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(HEAD))]
    lines = [
        "  ".join(
            cell.rjust(width) if column in RIGHT else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in cells
    ]
    return "\n".join([*lines, "", *sentences(rows, a4, reach)])


def cells_of(row: Found, a4: float = A4_HZ) -> tuple[str, ...]:
    """Return a row of the table, under `HEAD`."""
    common = row.common_hz
    ratio = f"{row.ratio[0]}/{row.ratio[1]}" if row.ratio else f"?/{row.q}" if row.q else ""
    return (
        str(row.number),
        f"{row.begin_s:.2f}",
        f"{row.end_s - row.begin_s:.2f}",
        note_name(row.played_hz, a4),
        _voice(row, a4),
        note_name(common, a4) if common else "",
        ratio,
        "" if row.off_cents is None else f"{row.off_cents:+.0f}c",
        "" if row.drift_hz is None else f"{row.drift_hz:.2f}",
        _state(row),
    )


def _voice(row: Found, a4: float) -> str:
    if row.sung_hz is not None:
        return note_name(row.sung_hz, a4)
    if not row.sung_class:
        return "-" if row.state == State.UNSUNG else "?"
    some = " ".join(note_name(hz, a4) for hz in row.sung_class[:2])
    return f"? ({some}{' …' if len(row.sung_class) > 2 else ''})"


def _state(row: Found) -> str:
    if row.state == State.UNDECIDED and row.reason:
        return PROVEN if row.reason.startswith(PROVEN) else STATES[row.state].short
    return STATES[row.state].short


def sentences(rows: Sequence[Found], a4: float = A4_HZ, reach: Range | None = None) -> list[str]:
    """Say what it comes to: reasons, what to sing instead, what is rough."""
    said = []
    for row in rows:
        advice = row.instead(reach)
        if advice is not None and advice.hz is not None and advice.cents is not None:
            assert row.sung_hz is not None
            assert advice.ratio is not None
            p, q = advice.ratio
            said.append(
                f"Note {row.number}: sing {note_name(advice.hz, a4)}, {abs(advice.cents):.0f} "
                f"cents {'higher' if advice.cents > 0.0 else 'lower'}, for {p}/{q}."
            )
        if row.roughness is not None:
            said.append(f"Note {row.number} is {rougher(row.roughness)}.")
    reasons = Counter(row.reason for row in rows if row.reason)
    for reason in reasons:
        which = [str(row.number) for row in rows if row.reason == reason]
        many = "Notes" if len(which) > 1 else "Note"
        said.append(f"{many} {', '.join(which)}: {reason}.")
    if any(row.drift_hz is not None for row in rows):
        least = max(row.shows_hz for row in rows if row.drift_hz is not None)
        said.append(f"A drift slower than {least:.2g} Hz does not show in the shortest of them.")
    return said
