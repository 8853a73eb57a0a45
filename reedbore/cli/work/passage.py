"""A passage from the command line: tune, play, judge note by note, write all files, tell."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.cli.common import Progress, tell
from reedbore.cli.work.outputs import Made, Wanted, file_lines, name_files, write_sounds
from reedbore.errors import NoteError, ReedboreError
from reedbore.files import Group, together, write_whole
from reedbore.model import sidecar
from reedbore.model.midi.write import midi_bytes, resultant_bytes
from reedbore.model.musicxml.write import musicxml_bytes
from reedbore.model.passage import Piece, write_piece
from reedbore.model.setup import depth_name
from reedbore.report import passage as note_report
from reedbore.report.verdict import USUAL_DEPTHS
from reedbore.simulate import outside
from reedbore.simulate.performance import Performance, Score, perform
from reedbore.simulate.request.passage import PassageRequest, kept_setups, score_of
from reedbore.sound import resample
from reedbore.verdict.passage import NoteVerdict, judge_notes

MIDI, TOML, SCORE = (".mid", ".midi"), (".toml",), (".musicxml",)

Samples = NDArray[np.float64]


def make(request: PassageRequest, wanted: Wanted, progress: Progress) -> Made:
    """Tune, play, judge and write; nothing is run if a file cannot be written.

    Parameters
    ----------
    request : PassageRequest
        What to play.
    wanted : Wanted
        The files.
    progress : Progress
        Where to name the work.

    Returns
    -------
    Made
        Its document is what the sidecar holds, with ``files`` and a ``summary``.

    Raises
    ------
    ReedboreError
        If a file cannot be written, or the horn has no such note.
    """
    paths = name_files(wanted, request.typed.stem, request.read, table=True)
    written = _written_down(request, paths)
    for warning in request.warnings:
        tell(warning)
    score = score_of(request, progress.stage)
    progress.stage(f"simulating {score.passage.seconds:.3g} s")
    performance = perform(score)
    progress.stage("judging")
    rows = judge_notes(performance, tell=progress.share)
    progress.stage("writing")
    with together() as group:
        if "notes" in paths:
            write_whole(paths["notes"], written or _score(request, rows))
        document, sound = _write_all(
            request, performance, rows, paths, group, matched=wanted.matched
        )
    return Made(document, _text(request, score, rows, document), sound)


def _written_down(request: PassageRequest, paths: Mapping[str, Path]) -> bytes:
    """Write the passage itself as TOML or MIDI; b"" if that was not asked for.

    A score has third notes as well, and is written when they are known.
    """
    third, notes = paths.get("third"), paths.get("notes")
    if third and third.suffix.lower() not in MIDI:
        raise ReedboreError(f"--third {third}: the line is written as MIDI; name it .mid")
    if notes is None or notes.suffix.lower() in SCORE:
        return b""
    piece, a4 = request.piece, request.typed.a4_hz
    if notes.suffix.lower() in MIDI:
        try:
            return midi_bytes(piece.passage, piece.title, a4)
        except NoteError as error:
            raise NoteError(f"--notes {notes}: {error}") from error
    if notes.suffix.lower() in TOML:
        named = Piece(**{**{f: getattr(piece, f) for f in Piece.model_fields}, "name": notes.stem})
        return write_piece(named).encode()
    raise ReedboreError(f"--notes {notes}: a passage is written as .toml, .mid or .musicxml")


def _score(request: PassageRequest, rows: Sequence[NoteVerdict]) -> bytes:
    """Write a passage and its third notes as MusicXML; tell what notation cannot say."""
    made = musicxml_bytes(
        request.piece.passage,
        request.piece.title,
        horn=request.horn.title if request.horn else request.typed.horn,
        transposition=request.transposition or 0,
        clef=request.horn.clef if request.horn else "treble",
        third=note_report.third_notes(rows),
        a4=request.typed.a4_hz,
    )
    for said in made.said:
        tell(said)
    return made.data


def _write_all(
    request: PassageRequest,
    performance: Performance,
    rows: Sequence[NoteVerdict],
    paths: Mapping[str, Path],
    group: Group,
    *,
    matched: bool,
) -> tuple[dict[str, Any], Samples]:
    """Write all files; the document as of `make`, and the sound as written. [full scale]."""
    rate, a4, traces = performance.score.rate, performance.score.a4, performance.traces
    makers: dict[str, Callable[[], Samples]] = {
        "sound": lambda: performance.sound,
        "throat": lambda: resample(traces.mouth, rate, outside.SOUND_RATE),
        "inside": lambda: resample(traces.pressure, rate, outside.SOUND_RATE),
    }
    sound, levels = write_sounds(makers, paths, matched=matched)
    if "picture" in paths:
        _draw(request, performance, rows, paths["picture"])
    spread = note_report.csv_text(rows, a4, request.reach, request.transposition)
    write_whole(paths["table"], spread.encode())
    if "third" in paths:
        spans = note_report.resultant_spans(rows)
        passage, title = performance.score.passage, f"{request.piece.title}: third notes"
        write_whole(paths["third"], resultant_bytes(spans, passage, title, a4))
    kept = replace(
        _sidecar(request, performance.score, rows, levels),
        checksums=group.sums(paths, paths["sidecar"]),
    )
    sidecar.write(paths["sidecar"], kept)
    files = {name: str(path) for name, path in paths.items()}
    says = note_report.summary(rows)
    return {"files": files, "summary": says, **sidecar.document(kept)}, sound


def _draw(
    request: PassageRequest, performance: Performance, rows: Sequence[NoteVerdict], path: Path
) -> None:
    from reedbore.report.figures.passage import passage_picture  # noqa: PLC0415 - may go without

    a4 = performance.score.a4
    title, says = _title(request, performance.score, rows), note_report.summary(rows)
    written = request.transposition if request.typed.written else None
    passage_picture(performance, rows, path, title=title, says=says, a4=a4, transposition=written)


def _sidecar(
    request: PassageRequest, score: Score, rows: Sequence[NoteVerdict], levels: dict[str, Any]
) -> sidecar.PassageSidecar:
    setups = kept_setups(score)
    return sidecar.PassageSidecar(
        passage=score.passage,
        setups=setups,
        a4=score.a4,
        request=request.typed.document(),
        sound=levels,
        notes=note_report.document(rows, score.a4, request.reach, request.transposition),
        versions=sidecar.versions(),
        recording=sidecar.fingerprint(setups[0].setup),
    )


def _title(request: PassageRequest, score: Score, rows: Sequence[NoteVerdict]) -> str:
    """Name horn and music, and how strongly is sung: as is set, or as comes out of a flow."""
    title, setup = request.typed.title, next(iter(score.setups.values()))
    if setup.voice.source == "off":
        return title
    if setup.voice.flows:
        depths = [row.depth for row in rows if row.depth is not None]
        usual = "; usual {:g} to {:g}".format(*USUAL_DEPTHS)
        return f"{title}, {_depths(depths, usual)} out of the flow" if depths else title
    curve = [point.value for point in score.passage.depth_curve]
    folds = ", from folds" if setup.voice.folded else ""
    return f"{title}, {_depths(curve or [setup.voice.depth])}{folds}"


def _depths(values: Sequence[float], usual: str = "") -> str:
    """Say between which depths is sung, and what a player would call that."""
    ends, digits = (min(values), max(values)), 2 if usual else 3
    number = " to ".join(dict.fromkeys(f"{end:.{digits}g}" for end in ends))
    name = " to ".join(dict.fromkeys(depth_name(end) for end in ends))
    return f"depth {number} ({name}{usual})"


def _text(
    request: PassageRequest, score: Score, rows: Sequence[NoteVerdict], document: Mapping[str, Any]
) -> str:
    """Set the passage out for reading: note by note, what it comes to, then the files."""
    written = request.transposition if request.typed.written else None
    told = note_report.text(rows, score.a4, request.reach, written)
    lines = [_title(request, score, rows), "", told, ""]
    return "\n".join([*lines, *file_lines(document)])
