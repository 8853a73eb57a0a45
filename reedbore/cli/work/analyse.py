"""A recording from the command line: read, look at its channels, judge, write, tell."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from reedbore import sound
from reedbore.cli.common import Progress, tell
from reedbore.errors import ReedboreError
from reedbore.files import check_writable, write_whole
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import check_a4, parse_pitch
from reedbore.report import recording as report
from reedbore.verdict import practice_log
from reedbore.verdict import recording as judging
from reedbore.verdict.against_plan import Aligned, align, laid, planned_notes
from reedbore.verdict.instead import Range
from reedbore.verdict.recording.file import Recording, by_channel, complaints
from reedbore.verdict.result import Verdict

TEXTS, MIDI, PICTURES = (".csv", ".json"), (".mid", ".midi"), (".png", ".svg", ".pdf")
LONGEST_RECORD, MOST_CHANNELS = 3600.0, 64


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was typed."""

    recording: Path | None
    throat: Path | None = None
    throat_channel: int | None = None
    fingered: str | None = None
    horn: str | None = None
    voice: str | None = None
    passage: str | None = None
    log: Path | None = None
    record: float | None = None
    a4: float
    outputs: tuple[Path, ...] = ()


class Made(NamedTuple):
    """What was found: a document fit for JSON, and lines for reading."""

    document: dict[str, Any]
    text: str


def make(asked: Asked, progress: Progress) -> Made:
    """Judge a recording and write what was asked for.

    Parameters
    ----------
    asked : Asked
        What was typed.
    progress : Progress
        Where to name the work.

    Returns
    -------
    Made
        What was found.

    Raises
    ------
    ReedboreError
        If a word cannot be read, a file cannot be read or written, or the recording is unfit.
    """
    known = known_of(asked)
    for path in asked.outputs:
        _check_output(path)
    check_numbers(asked)
    passage = _passage(asked.passage)
    entries = _log(asked)
    if asked.recording is None:
        raise ReedboreError("RECORDING is missing: the sound file that is to be analysed")
    if asked.record is not None:
        _record(asked, asked.record, asked.recording, progress)
    recording, rows = listened(asked, known, progress)
    aligned = None if passage is None else align(rows, planned_notes(passage, asked.a4))
    rows = rows if aligned is None else aligned.rows
    throat = asked.throat or asked.throat_channel
    document: dict[str, Any] = {
        "recording": str(asked.recording),
        "throat": None if throat is None else str(throat),
        "seconds": recording.seconds,
        "a4_hz": asked.a4,
        "notes": report.document(rows, asked.a4, known.reach),
    }
    if aligned is not None and passage is not None:
        bpm = 60.0 * passage.tempo
        document["plan"] = report.plan_document(aligned, bpm, asked.a4)
    models: dict[int, Verdict] = {}
    if known.instrument is not None and any(row.sung_hz is not None for row in rows):
        from reedbore.verdict.recording.modelled import pairs  # noqa: PLC0415 - only with a horn

        progress.stage("asking the model")
        models = pairs(rows, known.instrument, progress.share)
        document["modelled"] = report.modelled_document(rows, models)
    for path in asked.outputs:
        progress.stage("writing")
        _write(path, rows, document, asked, known.reach, recording, aligned)
        tell(f"wrote {path}")
    head = f"{asked.recording}, {recording.seconds:.1f} s"
    told = report.text(rows, asked.a4, known.reach)
    if models and known.instrument is not None:
        told += f"\n\n{report.modelled_text(rows, models, known.instrument.title)}"
    if aligned is not None and passage is not None:
        bpm = 60.0 * passage.tempo
        told += f"\n\n{report.plan_text(aligned, bpm, asked.a4)}"
        if asked.log is not None and asked.passage is not None:
            today = datetime.now(UTC).date().isoformat()
            now = practice_log.entry(aligned, today, asked.recording.name, bpm)
            practice_log.write(asked.log, asked.passage, [*entries, now])
            told += f"\n\n{report.log_text([*entries, now])}"
    return Made(document, f"{head}\n\n{told}")


def _log(asked: Asked) -> list[practice_log.Entry]:
    """Read the log that this recording goes into."""
    if asked.log is None:
        return []
    if asked.passage is None:
        raise ReedboreError("--log keeps recordings of one passage; name it by --passage")
    check_writable(asked.log)
    return practice_log.read(asked.log, asked.passage)


def _passage(named: str | None) -> Passage | None:
    """Read the passage that was to be played: by name, TOML, MIDI or a score."""
    if named is None:
        return None
    from reedbore.simulate.request.compose import source_of  # noqa: PLC0415 - only with a plan
    from reedbore.simulate.request.take import Words  # noqa: PLC0415

    return source_of(Words(passage=named)).piece.passage


def known_of(asked: Asked) -> judging.Known:
    """Read what is known of a recording beforehand."""
    check_a4(asked.a4)
    reach = load_singer(asked.voice).reach(asked.a4) if asked.voice is not None else None
    instrument = load_horn(asked.horn) if asked.horn else None
    transposition = instrument.transposition if instrument else None
    fingered = asked.fingered and parse_pitch(asked.fingered, asked.a4, transposition=transposition)
    return judging.Known(fingered or None, reach, instrument=instrument)


def _check_output(path: Path) -> None:
    known = TEXTS + MIDI + PICTURES
    if path.suffix.lower() not in known:
        raise ReedboreError(f"{path} has no known kind of file; write one of {', '.join(known)}")
    check_writable(path)


def listened(
    asked: Asked, known: judging.Known, progress: Progress, *, every: bool = False
) -> tuple[Recording, tuple[judging.Found, ...]]:
    """Open what was recorded, tell what is wrong with it, and what it holds.

    Parameters
    ----------
    asked : Asked
        What was typed.
    known : Known
        What is known of the recording.
    progress : Progress
        Where to name the work.
    every : bool
        Whether all channels but the throat's will be listened to.

    Returns
    -------
    (Recording, tuple of Found)
        The `Sounds` of `verdict.recording`, and its notes.

    Raises
    ------
    ReedboreError
        If a file cannot be read or is silent, or there is no such channel.
    """
    recording = _opened(asked, every=every)
    progress.stage("looking at the sound")
    for warning in complaints(recording, progress.share):
        tell(f"{asked.recording}: {warning}")
    progress.stage("listening to the notes")
    return recording, judging.analyse(recording, known, progress.share)


def _opened(asked: Asked, *, every: bool) -> Recording:
    """Open what was recorded, and find out which channel is whose."""
    assert asked.recording is not None
    horn = sound.Pieces(asked.recording)
    if asked.throat is not None and asked.throat_channel is not None:
        raise ReedboreError("--throat is a file, --throat-channel a channel: give one of them")
    if asked.throat is not None:
        throat = sound.Pieces(asked.throat)
        if abs(throat.seconds - horn.seconds) > 1.0:
            tell(
                f"{asked.throat} lasts {throat.seconds:.1f} s and {asked.recording} "
                f"{horn.seconds:.1f} s: both have to begin at the same moment"
            )
        return Recording(horn, throat, (None, None))
    if asked.throat_channel is None and horn.channels > 1 and not every:
        tell(
            f"{asked.recording} has {horn.channels} channels, of which the first is taken for "
            "the horn; say --throat-channel 2 if the second is on the throat"
        )
    return by_channel(horn, asked.throat_channel)


def check_numbers(asked: Asked) -> None:
    """Refuse a channel or a length that none can be."""
    if asked.throat_channel is not None and not 1 <= asked.throat_channel <= MOST_CHANNELS:
        raise ReedboreError(
            f"--throat-channel is {asked.throat_channel}; allowed 1 to {MOST_CHANNELS} (which "
            "channel is the throat's)"
        )
    if asked.record is not None and not 1.0 <= asked.record <= LONGEST_RECORD:
        raise ReedboreError(
            f"--record is {asked.record:g} s; allowed 1 to {LONGEST_RECORD:g} s (length of the "
            "recording)"
        )


def _record(asked: Asked, seconds: float, path: Path, progress: Progress) -> None:
    """Record from the sound input into the file that is then analysed."""
    if path.exists():
        raise ReedboreError(f"{path} is there already; record into a new file")
    check_writable(path)
    progress.stage(f"recording {seconds:g} s")
    wanted = max(asked.throat_channel, 2) if asked.throat_channel else 1
    samples, rate = sound.record(seconds, wanted)
    sound.write(path, samples, rate)


def _write(
    path: Path,
    rows: tuple[judging.Found, ...],
    document: dict[str, Any],
    asked: Asked,
    reach: Range | None,
    recording: Recording,
    aligned: Aligned | None,
) -> None:
    """Write what was found, by the kind of file."""
    kind = path.suffix.lower()
    if kind == ".csv":
        write_whole(path, report.csv_text(rows, asked.a4, reach).encode())
    elif kind in MIDI:
        from reedbore.model.midi.write import heard_bytes  # noqa: PLC0415 - only on demand

        write_whole(path, heard_bytes(report.lines(rows), str(asked.recording), asked.a4))
    elif kind in PICTURES:
        from reedbore.report.figures.recording import recording_picture  # noqa: PLC0415

        plan = () if aligned is None else laid(aligned)
        title = str(asked.recording)
        recording_picture(recording, rows, path, title=title, a4=asked.a4, plan=plan)
    else:
        write_whole(path, (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode())
