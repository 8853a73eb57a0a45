"""The music of a passage: its lines from what was typed and from files, put together.

In: words as typed. Out: one `Passage`, where it comes from, and which files were read. Tempo and
meter are those of the file with the fingered line, else of the one with the sung line, else 60
beats in a minute.
"""

from pathlib import Path
from typing import Any, NamedTuple

from reedbore import sound
from reedbore.errors import NoteError, ReedboreError
from reedbore.files import readable
from reedbore.model.line import Line, read_beats, read_line, write_beats, write_line
from reedbore.model.midi.read import Found, read_midi
from reedbore.model.midi.tidy import COARSEST_GRID, MOST_SLIVERS_S, USUAL_SLIVERS_S, Tidy
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.read import read_musicxml
from reedbore.model.passage import DYNAMICS, Passage, Piece, read_breath
from reedbore.model.presets import load_piece, preset_path
from reedbore.model.setup import Horn
from reedbore.model.units import QUANTITIES, complaint, to_si
from reedbore.notes import parse_interval
from reedbore.simulate.performance import LONGEST_S
from reedbore.simulate.request import lines
from reedbore.simulate.request.take import DEMO, Words, check_seconds, named

USUAL_BPM = 60.0  # of lines that are typed: a beat is a second
TEMPO, DEPTH = QUANTITIES["passage.tempo_bpm"], QUANTITIES["voice.depth"]


class Source(NamedTuple):
    """Where a passage comes from.

    Attributes
    ----------
    piece : Piece
        Its title, horn, voice and music; of lines that are typed the demo, for its horn and voice.
    typed : bool
        The lines were typed.
    place : str
        Where the fingered line stands, for errors.
    said : tuple of str
        What was left out of a file.
    read : tuple of Path
        Files that were read.
    """

    piece: Piece
    typed: bool
    place: str
    said: tuple[str, ...] = ()
    read: tuple[Path, ...] = ()


class Composed(NamedTuple):
    """A passage, and what `Source` says of it and of its sung line."""

    passage: Passage
    said: tuple[str, ...]
    read: tuple[Path, ...]


def source_of(words: Words) -> Source:
    """Read the file that holds the fingered line, if there is one.

    Parameters
    ----------
    words : Words
        As typed; without a single note the demo is meant.

    Returns
    -------
    Source
        Where the passage comes from.

    Raises
    ------
    ReedboreError
        If a file cannot be read.
    """
    if words.piece is not None:
        return Source(words.piece, False, f"{words.passage}: passage.fingered")
    demo, tidy = load_piece(DEMO), tidy_of(words)
    kind = lines.kind_of(words.passage if words.passage is not None else words.fingered)
    if kind in {"midi", "score"}:
        path = Path(words.passage or words.fingered or "")
        found = _read_file(path, tidy)
        piece = Piece(
            name=path.stem, title=found.title or readable(path.stem), horn=demo.horn,
            voice=demo.voice, passage=found.passage,
        )  # fmt: skip
        place = "channel 1," if kind == "midi" else "what is fingered,"
        return Source(piece, False, f"{path.name}: {place}", _told(path, found), (path,))
    if words.passage is None and (words.fingered is not None or words.sung is not None):
        return Source(demo, True, "--fingered")
    path = preset_path("passages", words.passage or DEMO)
    return Source(load_piece(path), False, f"{path.name}: passage.fingered", (), (path,))


def compose(words: Words, seconds: float | None, source: Source, horn: Horn) -> Composed:
    """Put the lines and curves of a passage together.

    Parameters
    ----------
    words : Words
        As typed.
    seconds : float or None
        Length of a recorded voice over one held note. [s]
    source : Source
        From `source_of`.
    horn : Horn
        Whose transposition holds.

    Returns
    -------
    Composed
        The passage, 0.5 to 300 s long.

    Raises
    ------
    ReedboreError
        If a word cannot be read or is out of range.
    """
    fields = _fields(source)
    sung, said = lines.kind_of(words.sung), source.said
    read = source.read
    if sung in {"midi", "score"}:
        path = Path(words.sung or "")
        found = _sung_file(path, tidy_of(words))
        fields |= _sung_fields(found, source)
        said, read = (*said, *_told(path, found)), (*read, path)
    elif sung == "line":
        fields["sung"] = write_line(_sung_line(words, horn))
    elif sung == "recording":
        fields["sung"], read = "", (*read, Path(words.sung or ""))
    if words.tempo is not None:
        fields |= _tempo(words.tempo)
    fields["fingered"] = write_line(_fingered(words, seconds, fields, horn))
    if sung == "note":
        fields["sung"] = write_line(_over(words, read_line(fields["fingered"]), horn))
    passage = Passage(**(fields | _curves(words)))
    check_seconds(passage.seconds, "the passage", "passage", LONGEST_S)
    return Composed(passage, said, read)


def _fields(source: Source) -> dict[str, Any]:
    if source.typed:
        return {"tempo": to_si(TEMPO, USUAL_BPM), "fingered": "", "sung": ""}
    passage = source.piece.passage
    return {name: getattr(passage, name) for name in Passage.model_fields}


def _tempo(bpm: float) -> dict[str, Any]:
    if wrong := complaint(TEMPO, bpm):
        raise ReedboreError(f"--tempo {wrong}")
    return {"tempo": to_si(TEMPO, bpm), "tempo_changes": ""}


def _curves(words: Words) -> dict[str, str]:
    """Give breath and depth as curves where they were typed."""
    curves = {}
    if words.breath is not None:
        with named("--breath"):
            curves["breath"] = words.breath if is_curve(words.breath) else ""
            read_breath(curves["breath"])
    if words.depth is not None:
        if wrong := complaint(DEPTH, words.depth):
            raise ReedboreError(f"voice.depth {wrong}")
        curves["depth"] = write_beats(words.depth)
    return curves


def is_curve(breath: str) -> bool:
    """Tell a curve of dynamics from one pressure, or from what is neither."""
    return breath in DYNAMICS or "@" in breath or read_beats(breath) is not None


def _read_file(path: Path, tidy: Tidy, held: str = "") -> Found:
    """Read a MIDI file or a score, by its suffix."""
    if lines.kind_of(str(path)) == "midi":
        return read_midi(path, held, tidy)
    return read_musicxml(path, held)


def tidy_of(words: Words) -> Tidy:
    """Read how a MIDI file is tidied, or refuse what was typed of it where none is read."""
    slivers, most = words.slivers, 1e3 * MOST_SLIVERS_S
    if slivers is not None and not 0.0 <= slivers <= most:
        raise ReedboreError(
            f"--slivers is {slivers:g} ms; allowed 0 to {most:g} ms (what is joined in a MIDI file)"
        )
    grid = 0.0
    if words.quantise is not None:
        grid = read_beats(words.quantise.strip()) or 0.0
        if not bars.FINEST <= grid <= COARSEST_GRID:
            raise ReedboreError(
                f"--quantise is {words.quantise!r}; allowed {bars.FINEST} to {COARSEST_GRID:g} "
                "beats, as in 1/4 or 1/3 (grid of a MIDI file)"
            )
    files = words.passage, words.fingered, words.sung
    typed = [name for name in ("slivers", "quantise") if getattr(words, name) is not None]
    if typed and "midi" not in map(lines.kind_of, files):
        raise ReedboreError(f"--{typed[0]} tidies a MIDI file, and none is read")
    return Tidy(USUAL_SLIVERS_S if slivers is None else 1e-3 * slivers, grid)


def _told(path: Path, found: Found) -> tuple[str, ...]:
    return tuple(f"{path.name}: {said}" for said in found.said)


# --- the sung line -------------------------------------------------------------------------------


def _sung_file(path: Path, tidy: Tidy) -> Found:
    # Its fingered line is not used, and need not be there.
    found = _read_file(path, tidy, held="C4")
    if not found.passage.sung:
        what = "channel 2" if lines.kind_of(str(path)) == "midi" else "its second line"
        raise NoteError(f"--sung {path.name}: {what} has no notes; it is the sung line")
    return found


def _sung_fields(found: Found, source: Source) -> dict[str, Any]:
    """Take the sung line of a file; its tempo and meter where nothing else has them."""
    taken = ["sung"] + ["depth"] * bool(found.passage.depth)
    taken += ["tempo", "tempo_changes", "meter"] * source.typed
    return {name: getattr(found.passage, name) for name in taken}


def _sung_line(words: Words, horn: Horn) -> Line:
    line = lines.read_typed("--sung", words.sung or "", horn)
    for place, note in enumerate(line.notes, 1):
        if note.fingering:
            raise NoteError(
                f"--sung '{note.pitch}({note.fingering})' (word {place}): a sung note has no "
                "fingering"
            )
    return line


def _over(words: Words, fingered: Line, horn: Horn) -> Line:
    """Sing one note over all that is fingered, or move along with it at one interval."""
    text = words.sung or ""
    with named("--sung"):
        if parse_interval(text) is not None:
            return lines.parallel(fingered, text, words.a4)
    return lines.held(lines.held_pitch("--sung", text, horn, words.a4), fingered.bounds[-1])


# --- the fingered line ---------------------------------------------------------------------------


def _fingered(words: Words, seconds: float | None, fields: dict[str, Any], horn: Horn) -> Line:
    if fields["fingered"]:
        line = read_line(fields["fingered"])
        return lines.transposed(line, horn) if lines.fingers_written(words) else line
    if words.fingered is not None and lines.kind_of(words.fingered) == "line":
        return lines.read_typed("--fingered", words.fingered, horn, written=words.written)
    if words.fingered is None:
        # The demo's notes are concert pitch, whatever the player's own are.
        first = read_line(load_piece(DEMO).passage.fingered).pitches
        pitch = next(found for found in first if found)
    else:
        pitch = lines.held_pitch(
            "--fingered", words.fingered, horn, words.a4, written=words.written
        )
    beats = read_line(fields["sung"]).bounds[-1] if fields["sung"] else None
    if beats is None:
        beats = _recorded_seconds(Path(words.sung or ""), seconds) * fields["tempo"]
    return lines.held(pitch, beats, " ".join(words.fingering.split()))


def _recorded_seconds(path: Path, seconds: float | None) -> float:
    """Take the length that was asked for, or that of the recording. [s]."""
    samples, rate = sound.read(path, sound.LONGEST_VOICE)
    return (
        check_seconds(samples.size / rate, f"{path}", "recording", LONGEST_S)
        if seconds is None
        else seconds
    )
