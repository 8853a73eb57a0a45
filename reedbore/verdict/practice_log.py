"""A practice log: recordings of one passage over days, side by side.

In: recordings laid beside their plan. Out: a plain file, one a passage, and whether the last
recording is nearer and steadier than the one before.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from reedbore.errors import ReedboreError
from reedbore.files import unfit, write_whole
from reedbore.verdict.against_plan import Aligned

VERSION = 1
MOST_BYTES = 2_000_000
"""A log of thousands of recordings is smaller."""

NEARER_CENTS, STEADIER_HZ, RIGHT = 2.0, 0.1, 1
"""Less of a change than this is none."""

KEYS = ("date", "recording", "right", "planned", "off_cents", "drift_hz", "bpm", "tuning_cents")


class Entry(NamedTuple):
    """One recording of a passage.

    Attributes
    ----------
    date : str
        As of ISO 8601, 2026-03-01.
    recording : str
        Name of the file.
    right, planned : int
        Notes.
    off_cents : float or None
        Median distance of the sung notes from the just ones. [cents]
    drift_hz : float or None
        Median of the drifts, without sign. [Hz]
    bpm : float or None
        The player's tempo. [1/min]
    tuning_cents : float
    """

    date: str
    recording: str
    right: int
    planned: int
    off_cents: float | None
    drift_hz: float | None
    bpm: float | None
    tuning_cents: float


def entry(aligned: Aligned, date: str, recording: str, tempo_bpm: float) -> Entry:
    """Sum up a recording.

    Parameters
    ----------
    aligned : Aligned
        The recording beside its plan.
    date, recording : str
        When, and which file.
    tempo_bpm : float
        As planned. [1/min]

    Returns
    -------
    Entry
        Of the planned notes that were found.
    """
    found = [one.found for one in aligned.matches if one.found is not None]
    off = [abs(row.off_cents) for row in found if row.off_cents is not None]
    drift = [abs(row.drift_hz) for row in found if row.drift_hz is not None]
    ratio = aligned.tempo_ratio
    return Entry(
        date,
        recording,
        sum(one.outcome in ("right", "joined") for one in aligned.matches),
        len(aligned.matches),
        float(np.median(off)) if off else None,
        float(np.median(drift)) if drift else None,
        None if ratio is None else ratio * tempo_bpm,
        aligned.tuning_cents,
    )


def read(path: Path, passage: str) -> list[Entry]:
    """Read a log; none where there is no file yet.

    Parameters
    ----------
    path : Path
        The file.
    passage : str
        Which passage it has to be of.

    Returns
    -------
    list of Entry
        Oldest first.

    Raises
    ------
    ReedboreError
        If it is no log, of another version or of another passage.
    """
    if not path.exists():
        return []
    if why := unfit(path, MOST_BYTES):
        raise ReedboreError(f"{path} {why}; a practice log was expected")
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
        version, of = held["version"], held["passage"]
        entries = [_read_entry(one) for one in held["recordings"]] if version == VERSION else []
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ReedboreError(f"{path} is no practice log; name another file, or none yet") from error
    if version != VERSION:
        raise ReedboreError(f"{path} is a practice log of version {version}; known is {VERSION}")
    if of != passage:
        raise ReedboreError(f"{path} is the log of {of!r}, not of {passage!r}; one file a passage")
    return entries


def _read_entry(held: dict[str, Any]) -> Entry:
    """Read a recording, its numbers checked."""
    if set(held) != set(KEYS):
        raise ValueError("other keys")
    for key in KEYS[2:]:
        number = held[key]
        missing = number is None and key in ("off_cents", "drift_hz", "bpm")
        if not missing and (isinstance(number, bool) or not isinstance(number, int | float)):
            raise ValueError(key)
    return Entry(**{**held, "date": str(held["date"]), "recording": str(held["recording"])})


def write(path: Path, passage: str, entries: Sequence[Entry]) -> None:
    """Write a log, whole or not at all."""
    held = {
        "version": VERSION,
        "passage": passage,
        "recordings": [one._asdict() for one in entries],
    }
    write_whole(path, (json.dumps(held, indent=1, ensure_ascii=False) + "\n").encode())


def progress(entries: Sequence[Entry]) -> list[str]:
    """Say how the last recording compares with the one before.

    Parameters
    ----------
    entries : sequence of Entry
        Oldest first.

    Returns
    -------
    list of str
        Sentences; one that says so where there is nothing to compare with.
    """
    if len(entries) < 2:
        return ["The first recording in this log."]
    before, now = entries[-2], entries[-1]
    said = []
    more = now.right - before.right
    if abs(more) >= RIGHT:
        said.append(f"{abs(more)} {'more' if more > 0 else 'fewer'} right than before.")
    if now.off_cents is not None and before.off_cents is not None:
        said.append(_change(before.off_cents, now.off_cents, NEARER_CENTS, "Nearer", "cents off"))
    if now.drift_hz is not None and before.drift_hz is not None:
        said.append(_change(before.drift_hz, now.drift_hz, STEADIER_HZ, "Steadier", "Hz of drift"))
    return [one for one in said if one] or ["Neither nearer nor steadier than before."]


def _change(before: float, now: float, least: float, better: str, unit: str) -> str:
    if abs(now - before) < least:
        return ""
    worse = {"Nearer": "Farther", "Steadier": "Less steady"}[better]
    word = better if now < before else worse
    return f"{word}: {before:.1f} {unit} before, {now:.1f} now."
