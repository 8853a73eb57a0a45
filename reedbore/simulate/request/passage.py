"""What a player asks for as a passage: its lines, its curves, and who plays it.

In: words as typed, or the sidecar of a passage. Out: a `PassageRequest`, which `score_of` tunes. A
recorded voice is a line as well: over one held note it makes a passage as long as itself.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from reedbore import sound
from reedbore.errors import ModelError, ReedboreError
from reedbore.files import file_stem, readable
from reedbore.model.line import Line, write_line
from reedbore.model.passage import Passage, Piece
from reedbore.model.presets import is_path, load_horn, load_singer, setup_for
from reedbore.model.setup import Horn, Setup
from reedbore.model.sidecar import FingeredSetup, PassageSidecar, differences, strangers
from reedbore.notes import check_a4, parse_pitch
from reedbore.simulate.performance import Fingered, Score
from reedbore.simulate.player import alive
from reedbore.simulate.request import lines
from reedbore.simulate.request.compose import Source, compose, is_curve, source_of
from reedbore.simulate.request.take import (
    Words,
    as_typed,
    blow_and_set,
    check_seconds,
    is_written,
    of_the_voice,
    out_of_range,
    reach_again,
    reach_of,
    recorded,
    transposition_again,
    without_mark,
)
from reedbore.simulate.request.typed import TypedPassage
from reedbore.simulate.tuning import check_note, tune

RAGGED_BEATS = 0.25
"""Lines that end within so much of each other are meant to end together."""


@dataclass(frozen=True, kw_only=True)
class PassageRequest:
    """A passage that is going to be rendered.

    Attributes
    ----------
    piece : Piece
        The music; its horn and voice are those that play it.
    typed : TypedPassage
        What was asked for, as the sidecar keeps it.
    words : Words
        As typed.
    horn : Horn or None
        What `score_of` still has to tune; None when `setups` are there.
    voiced : Setup or None
        Horn, voice and settings, not yet tuned.
    setups : mapping of Fingered to Setup
        Those of a passage that is made again.
    read : tuple of Path
        Files that were read and must stay.
    warnings : tuple of str
        What the player should know before.
    reach : (low, high) or None
        Of the voice, if it is known. [Hz]
    transposition : int or None
        Written note minus sounding note of the horn, if it is known. [semitones]
    """

    piece: Piece
    typed: TypedPassage
    words: Words = field(default_factory=Words)
    horn: Horn | None = None
    voiced: Setup | None = None
    setups: Mapping[Fingered, Setup] = field(default_factory=dict)
    read: tuple[Path, ...] = ()
    warnings: tuple[str, ...] = ()
    reach: tuple[float, float] | None = None
    transposition: int | None = None


def read_passage(words: Words, seconds: float | None = None) -> PassageRequest:
    """Turn what was typed into a passage, at once: nothing is tuned yet.

    Parameters
    ----------
    words : Words
        What was typed.
    seconds : float or None
        Length of a recorded voice over one held note; else a passage has its own. [s]

    Returns
    -------
    PassageRequest
        What `score_of` takes.

    Raises
    ------
    ReedboreError
        If a word cannot be read, or words do not go together.
    """
    check_a4(words.a4)
    _refuse_mixed(words, seconds)
    source = source_of(words)
    known = source.piece
    horn = words.instrument or load_horn(words.horn or known.horn)
    singer = words.singer or load_singer(words.voice or known.voice)
    voiced = _voiced(
        words, alive(setup_for(horn, singer)).with_value("voice.drive", _drive(words, source))
    )
    if voiced.voice.lung is not None:
        raise ReedboreError("voice.lung_kpa is for one held note; give a passage its --breath")
    passage, said, read = compose(words, seconds, source, horn)
    sung = [parse_pitch(pitch, words.a4) for pitch in passage.sung_line.pitches if pitch]
    if sung:
        voiced = voiced.with_value("voice.frequency_hz", sung[0])
    elif voiced.voice.source != "recording":
        voiced = voiced.with_value("voice.source", "off")
    _check_notes(passage, horn, words, source.place)
    piece = Piece(
        name=known.name,
        title=_title(words, source, passage),
        horn=_kept_name(words.horn or known.horn),
        voice=_kept_name(words.voice or known.voice),
        drive=voiced.voice.drive,
        passage=passage,
    )
    return PassageRequest(
        piece=piece,
        typed=_typed(words, piece, horn, source),
        words=words,
        horn=horn,
        voiced=voiced,
        read=read,
        warnings=(
            *said,
            *_at_concert_pitch(words),
            *_uneven(passage),
            *_cut_off(voiced, passage),
            *out_of_range(sung, singer, words.a4),
            *of_the_voice(words.sung),
        ),
        reach=reach_of(voiced, singer, words.a4),
        transposition=horn.transposition,
    )


def _drive(words: Words, source: Source) -> str:
    """Choose how the voice sounds: as a file says of its own horn, voice and sung line."""
    own = not source.typed and (words.horn, words.voice, words.sung) == (None, None, None)
    return source.piece.drive if own else Piece.model_fields["drive"].default


def _at_concert_pitch(words: Words) -> list[str]:
    """Say so if what should be written for the horn is not."""
    file = words.fingered if lines.kind_of(words.fingered) == "score" else words.passage
    if not words.written or file is None or lines.fingers_written(words):
        return []
    if lines.kind_of(file) == "score":
        return [
            f"{file}: a score says itself how it transposes; --written names its notes as written "
            "for the horn, beside what sounds"
        ]
    return [
        f"{file}: a passage file is at concert pitch; --written names its notes as "
        "written for the horn, beside what sounds"
    ]


def _uneven(passage: Passage) -> list[str]:
    """Say so if one line ends before the other."""
    if not passage.sung:
        return []
    fingered, sung = passage.fingered_line.bounds[-1], passage.sung_line.bounds[-1]
    over = abs(fingered - sung)
    if over < RAGGED_BEATS:
        return []
    idle = "nothing is fingered" if fingered < sung else "nobody sings"
    beats = "beat" if over == 1.0 else f"{over:g} beats"
    return [
        f"what is fingered has {fingered:g} beats, what is sung {sung:g}: over the last {beats} "
        f"{idle}; lengthen the last note if it should be held"
    ]


def _cut_off(voiced: Setup, passage: Passage) -> list[str]:
    """Say so if a recorded voice goes on when the passage has ended."""
    if voiced.voice.source != "recording" or voiced.voice.file is None:
        return []
    samples, rate = sound.read(voiced.voice.file, sound.LONGEST_VOICE)
    left = samples.size / rate - passage.seconds
    return [f"the last {left:.1f} s of the recording are left out"] if left > 0.1 else []


def score_of(request: PassageRequest, stage: Callable[[str], None]) -> Score:
    """Tune every fingered note of a passage.

    Parameters
    ----------
    request : PassageRequest
        From `read_passage` or `passage_again`.
    stage : callable
        Where to name the work.

    Returns
    -------
    Score
        Each bore is tuned as the preset has it; settings then move it, as they do a single take.

    Raises
    ------
    ReedboreError
        If the horn does not speak on one of them.
    """
    passage, words, voiced = request.piece.passage, request.words, request.voiced
    setups, asked = dict(request.setups), _asked(request.words)
    for note in passage.fingered_line.notes:
        if note.pitch is None or Fingered(note.pitch, note.fingering) in setups:
            continue
        if request.horn is None or voiced is None:
            raise ReedboreError(f"{note.pitch} has no setup")
        stage(f"tuning {note.pitch}")
        hz = parse_pitch(note.pitch, words.a4)
        with as_typed(words):
            tuned = tune(request.horn, hz, voiced.time.rate, note.fingering)
        sung = alive(tuned).model_copy(update={"voice": voiced.voice})
        setups[Fingered(note.pitch, note.fingering)] = blow_and_set(sung, asked)
    return Score(passage, setups, request.typed.a4_hz)


def kept_setups(score: Score) -> tuple[FingeredSetup, ...]:
    """List the setups of a score as a sidecar keeps them."""
    return tuple(FingeredSetup(*note, setup) for note, setup in score.setups.items())


def passage_again(found: PassageSidecar, path: Path) -> PassageRequest:
    """Take up what the sidecar of a passage says.

    Parameters
    ----------
    found : PassageSidecar
        What was read.
    path : Path
        From where, for the error.

    Returns
    -------
    PassageRequest
        The same setups bit for bit, and the same words.

    Raises
    ------
    ReedboreError
        If it is not whole.
    """
    typed = TypedPassage.read({**found.request, "a4_hz": check_a4(found.a4)}, path, "a passage")
    piece = Piece(
        name=typed.stem, title=typed.music, horn=typed.horn, voice=typed.voice,
        drive=found.setup.voice.drive, passage=found.passage,
    )  # fmt: skip
    voice = found.setup.voice.file
    return PassageRequest(
        piece=piece,
        typed=typed,
        setups={Fingered(note.pitch, note.fingering): note.setup for note in found.setups},
        read=(voice,) if voice else (),
        warnings=(*differences(found), *strangers(found, path)),
        reach=reach_again(found.setup, typed.voice, typed.a4_hz),
        transposition=transposition_again(typed.horn),
    )


# --- what goes together --------------------------------------------------------------------------


def _refuse_mixed(words: Words, seconds: float | None) -> None:
    """Refuse options that do not go together in a passage."""
    fingered, sung = lines.kind_of(words.fingered), lines.kind_of(words.sung)
    if words.passage is not None and words.fingered is not None:
        raise ReedboreError("--passage says what is fingered: leave --fingered out, or --passage")
    if fingered == "recording":
        raise ReedboreError(
            f"--fingered {words.fingered}: a recording cannot be fingered; give it to --sung"
        )
    one_note = fingered in {"none", "note"} and words.passage is None and sung != "none"
    if words.fingering and not one_note:
        raise ReedboreError(
            "--fingering names that of one note; write it into the line, as in Bb3(fork):1"
        )
    if seconds is not None:
        check_seconds(seconds)
        if not (one_note and sung == "recording"):
            raise ReedboreError("--seconds: a passage has its own length; leave it out")


def _check_notes(passage: Passage, horn: Horn, words: Words, place: str) -> None:
    """Refuse a note that the horn does not have, and say where in the line it stands."""
    as_written = lines.fingers_written(words)
    for number, note in enumerate(passage.fingered_line.notes, 1):
        if note.pitch is None:
            continue
        try:
            with as_typed(words):
                check_note(horn, parse_pitch(note.pitch, words.a4), note.fingering)
        except ModelError as error:
            typed = lines.sounding(note.pitch, -horn.transposition if as_written else 0)
            word = write_line(Line((note._replace(pitch=typed, slurred=False),)))
            raise ModelError(f"{place} {word!r} (word {number}): {error}") from error


def _voiced(words: Words, setup: Setup) -> Setup:
    """Give a horn its voice and all that was set, so that mistakes are told before the work."""
    if words.depth is not None:
        setup = setup.with_value("voice.depth", words.depth)
    if lines.kind_of(words.sung) == "recording":
        setup = recorded(setup, Path(words.sung or ""))
    return blow_and_set(setup, _asked(words))


def _asked(words: Words) -> Words:
    """Keep what is set the same for all notes; a curve of breath is the passage's."""
    pressure = words.breath is not None and not is_curve(words.breath)
    return Words(settings=words.settings, breath=words.breath if pressure else None)


# --- names ---------------------------------------------------------------------------------------


def _typed(words: Words, piece: Piece, horn: Horn, source: Source) -> TypedPassage:
    return TypedPassage(
        passage=words.passage,
        fingered=words.fingered,
        sung=words.sung,
        breath=words.breath,
        depth=words.depth,
        tempo=words.tempo,
        fingering=words.fingering,
        written=words.written,
        horn=piece.horn,
        voice=piece.voice,
        settings=tuple(words.settings),
        a4_hz=words.a4,
        music=piece.title,
        title=_titled(horn, piece.title),
        stem=_stem(words, horn, source, piece.passage),
    )


def _titled(horn: Horn, music: str) -> str:
    """Name horn and music, once if a file is called after the horn, whatever else is sung."""
    called, rest = music[: len(horn.title)], music[len(horn.title) :]
    once = called.casefold().replace("-", " ") == horn.title.casefold() and rest[:1] in ("", ",")
    return f"{horn.title}{rest}" if once else f"{horn.title}: {music}"


def _title(words: Words, source: Source, passage: Passage) -> str:
    """Name the music: as its file does, or by what is fingered and sung."""
    fingered = _counted(passage.fingered_line, "fingered")
    sung = _counted(passage.sung_line, "sung") if passage.sung else "nobody sings"
    if lines.kind_of(words.sung) == "recording":
        sung = f"{readable(Path(words.sung or '').name)} sung"
    if source.typed:
        return f"{fingered}, {sung}"
    return source.piece.title if words.sung is None else f"{source.piece.title}, {sung}"


def _counted(line: Line, done: str) -> str:
    notes = [note.pitch for note in line.notes if note.pitch]
    return f"{notes[0] if len(set(notes)) == 1 else f'{len(notes)} notes'} {done}"


def _kept_name(name_or_path: str) -> str:
    """Write a preset so that it is found from any folder."""
    return str(Path(name_or_path).resolve()) if is_path(name_or_path) else name_or_path


def _sounding(word: str | None, line: Line) -> str:
    """Write what was typed as it sounds, as the title does: one note without its beats."""
    return str(line.notes[0].pitch) if lines.kind_of(word) == "note" else write_line(line)


def _stem(words: Words, horn: Horn, source: Source, passage: Passage) -> str:
    sung = words.sung
    if lines.kind_of(sung) in {"recording", "midi", "score"}:
        sung = Path(sung or "").stem
    elif is_written(sung):
        sung = _sounding(sung, passage.sung_line)
    if source.typed:
        fingered = words.fingered or "Bb2"
        if is_written(words.fingered, all_of_it=words.written and words.fingered is not None):
            sounding = _sounding(fingered, passage.fingered_line)
            fingered = f"{sounding}-written-{without_mark(fingered)}"
        parts = [horn.name, fingered, words.fingering, sung or "alone"]
    else:
        changed = horn.name if words.horn else ""
        parts = [source.piece.name, changed, sung or ""]
    parts += [f"depth{words.depth:g}"] if words.depth is not None else []
    parts += [f"{words.tempo:g}bpm"] if words.tempo is not None else []
    parts += [words.breath or "", *words.settings]
    return file_stem(parts)
