"""The player of a recording from the command line: find the note, fit, write, tell."""

import shlex
from pathlib import Path

from reedbore.cli.common import Progress, tell
from reedbore.cli.work.analyse import Asked, Made, check_numbers, known_of, listened
from reedbore.errors import ModelError, ReedboreError
from reedbore.files import check_writable, write_whole
from reedbore.measures import spectrum
from reedbore.model.presets import load_piece, write_text
from reedbore.model.setup import Horn
from reedbore.notes import A4_HZ, cents, note_name, split_note
from reedbore.report import fit as report
from reedbore.simulate.request.take import DEMO
from reedbore.verdict.against_plan import SAME_CENTS
from reedbore.verdict.fit import SAID, fit, shortest
from reedbore.verdict.recording import Found
from reedbore.verdict.recording.file import Recording
from reedbore.verdict.recording.modelled import USUAL_DEPTH, depth_of, pair

EDGE_S, LONGEST_S = 0.1, 4.0
"""So much of either end of a note is left out, and no more of it is compared. [s]"""


def usual_horn() -> str:
    """Name the horn that is meant where none is named: the demo's."""
    return load_piece(DEMO).horn


def make(asked: Asked, output: Path | None, progress: Progress) -> Made:
    """Fit the player of a recording and write the horn that was asked for.

    Parameters
    ----------
    asked : Asked
        What was typed.
    output : Path or None
        Where the preset goes.
    progress : Progress
        Where to name the work.

    Returns
    -------
    Made
        What was found.

    Raises
    ------
    ReedboreError
        If a word cannot be read, a file cannot be read or written, no note can be compared, or no
        player of this horn comes near.
    """
    known = known_of(asked)
    horn = known.instrument
    assert horn is not None
    if output is not None:
        if output.suffix.lower() != ".toml":
            raise ReedboreError(f"{output} has no known kind of file; write .toml")
        check_writable(output)
    check_numbers(asked)
    if asked.recording is None:
        raise ReedboreError("RECORDING is missing: the sound file that is to be fitted")
    plain = known._replace(fingered_hz=None, instrument=None)
    recording, rows = listened(asked, plain, progress, every=True)
    note = _longest(rows, known.fingered_hz, asked)
    progress.stage("fitting breath and reed")
    found = _fitted(recording, asked, note, horn)
    if not found.fit.fits:
        raise ReedboreError(report.refusal(found, asked.a4))
    document = {"recording": str(asked.recording), "horn": asked.horn, **report.document(found)}
    told = f"{asked.recording}, {report.text(found, asked.a4)}"
    if output is not None:
        write_whole(output, write_text(_preset(found.fit.horn, asked.recording)).encode())
        tell(f"wrote {output}")
        document["written"] = str(output)
        told += f"\n\nWhat locks for this player: {command(output, found, asked.a4)}"
    return Made(document, told)


def command(horn: Path, found: report.Fitted, a4: float) -> str:
    """Return what to type for the lock table of a player who was found.

    Parameters
    ----------
    horn : Path
        The preset that was written.
    found : Fitted
        The player of a note.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        Of the tempered note that is fingered.
    """
    name, _ = split_note(found.note.played_hz, a4)
    words = ["reedbore", "locks", "--horn", str(horn), "--fingered", name]
    words += ["--depth", f"{found.depth.value:.2g}"] if found.depth else []
    words += ["--a4", f"{a4:g}"] if a4 != A4_HZ else []
    return shlex.join(words)


def _longest(rows: tuple[Found, ...], fingered: float | None, asked: Asked) -> Found:
    """Choose the note that is compared."""
    near = [
        row for row in rows if fingered is None or abs(cents(row.played_hz, fingered)) < SAME_CENTS
    ]
    if not near:
        which = f"{note_name(fingered, asked.a4)} of a horn" if fingered else "a note of a horn"
        raise ReedboreError(f"{asked.recording} does not hold {which}")
    note = max(near, key=lambda row: row.end_s - row.begin_s)
    least = shortest(note.played_hz) + 2.0 * EDGE_S
    if note.end_s - note.begin_s < least:
        raise ReedboreError(
            f"the longest note of {asked.recording} lasts {note.end_s - note.begin_s:.2f} s; "
            f"{least:g} s or more are needed"
        )
    return note


def _fitted(recording: Recording, asked: Asked, note: Found, horn: Horn) -> report.Fitted:
    """Compare a note, and if it is sung over, find how strongly."""
    begin = note.begin_s + EDGE_S
    end = min(note.end_s - EDGE_S, begin + LONGEST_S)
    found = fit(recording.microphones(begin, end), recording.file_rate, note.played_hz, horn)
    if note.sung_hz is None:
        return report.Fitted(note, found, None, None)
    thin, _ = recording.piece(begin, end)
    notes = note.played_hz, note.sung_hz
    try:
        thin = thin[: thin.size // spectrum.GRAIN * spectrum.GRAIN]
        depth = depth_of(found.setup, thin, recording.rate, notes)
        modelled = pair(found.setup, *notes, depth.value if depth else USUAL_DEPTH)
    except ModelError as error:
        tell(f"{asked.recording}: {error}")
        return report.Fitted(note, found, None, None)
    return report.Fitted(note, found, depth, modelled)


def _preset(horn: Horn, recording: Path) -> Horn:
    """Say in a horn where its player comes from."""
    sources = {**dict(horn.sources), **dict.fromkeys(SAID, f"fitted to {recording.name}")}
    return horn.model_copy(update={"title": f"{horn.title}, fitted", "sources": sources})
