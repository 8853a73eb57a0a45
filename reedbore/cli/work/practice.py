"""What a plan is taken to the practice room as: a sheet, a score, a track."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.cli.common import tell
from reedbore.errors import ModelError, ReedboreError
from reedbore.files import check_writable, write_whole
from reedbore.model.line import Line, write_line
from reedbore.model.midi.write import midi_bytes, practice_bytes
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.write import musicxml_bytes
from reedbore.model.passage import Passage
from reedbore.model.setup import Horn
from reedbore.notes import parse_pitch
from reedbore.report.exercise import exercise
from reedbore.simulate.tuning import check_note
from reedbore.sound import FILE_FORMATS, write
from reedbore.verdict.kept import Player
from reedbore.verdict.plan import Plan, exact_name
from reedbore.verdict.planning import Fingered

if TYPE_CHECKING:
    from reedbore.simulate.track import Track

MIDI = ".mid"
FOLDS = "voice.drive=folds"
MOST_MOVED = 24  # semitones
SPEEDS = (40.0, 100.0)  # percent of the tempo


class TrackAsked(NamedTuple):
    """A track that is asked for.

    Attributes
    ----------
    path : Path
        Ends in .wav, .flac or .mid.
    speed : float
        Share of the tempo.
    bars : (first, last) or None
        Which bars; None for all.
    """

    path: Path
    speed: float = 1.0
    bars: tuple[int, int] | None = None


def read_track(path: Path | None, speed: float | None, bars: str | None) -> TrackAsked | None:
    """Read what track is asked for, before anything is calculated.

    Parameters
    ----------
    path : Path or None
        Where to; None for no track.
    speed : float or None
        Share of the tempo. [%]
    bars : str or None
        ``3`` or ``3-4``.

    Returns
    -------
    TrackAsked or None
        None if no track is asked for.

    Raises
    ------
    ReedboreError
        If the file cannot be written or a number is out of range.
    """
    low, high = SPEEDS
    if speed is not None and not low <= speed <= high:
        raise ReedboreError(
            f"--speed is {speed:g} %; allowed {low:g} to {high:g} % (of the tempo, for the track)"
        )
    if path is None:
        for name, value in (("speed", speed), ("bars", bars)):
            if value is not None:
                raise ReedboreError(f"--{name} is for a practice track: name its file with --track")
        return None
    if path.suffix.lower() not in {*FILE_FORMATS, MIDI}:
        raise ReedboreError(f"--track {path}: a track is written as .wav, .flac or .mid")
    check_writable(path)
    return TrackAsked(path, 1.0 if speed is None else speed / 100.0, _bars(bars))


def _bars(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    first, dash, last = (part.strip() for part in text.partition("-"))
    ends = [first, last] if dash else [first, first]
    if not all(end.isdecimal() and len(end) < 6 for end in ends) or not 1 <= int(ends[0]) <= int(
        ends[1]
    ):
        raise ReedboreError(f"--bars is {text!r}; write one bar, 3, or from bar to bar, 3-4")
    return int(ends[0]), int(ends[1])


def check_transposed(semitones: int) -> None:
    """Refuse to move a passage farther than from one voice to another."""
    if abs(semitones) > MOST_MOVED:
        raise ReedboreError(
            f"--transpose is {semitones} semitones; allowed -{MOST_MOVED} to {MOST_MOVED}"
        )


def transposed(passage: Passage, semitones: int, horn: Horn, a4: float) -> Passage:
    """Move a passage, what is fingered and what is sung, so that another voice can sing it.

    Parameters
    ----------
    passage : Passage
        At concert pitch.
    semitones : int
        By how much, up or down.
    horn : Horn
        Which has to have the notes.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    Passage
        The ratios of its notes are the same.

    Raises
    ------
    ReedboreError
        If the horn has no such note.
    """
    fingered = _moved(passage.fingered_line, semitones, a4)
    for note in fingered.notes:
        if note.pitch is not None:
            try:
                check_note(horn, parse_pitch(note.pitch, a4), note.fingering)
            except ModelError as error:
                raise ModelError(f"--transpose {semitones}: {error}") from error
    sung = _moved(passage.sung_line, semitones, a4)
    return passage.changed(
        fingered=write_line(fingered), sung=write_line(sung) if sung.notes else ""
    )


def _moved(line: Line, semitones: int, a4: float) -> Line:
    factor = 2.0 ** (semitones / 12.0)
    return Line(
        tuple(
            note._replace(pitch=exact_name(parse_pitch(note.pitch, a4) * factor, a4))
            if note.pitch
            else note
            for note in line.notes
        )
    )


# --- sheet and score -----------------------------------------------------------------------------


def sheet(player: Player, plan: Plan, path: Path) -> None:
    """Draw the practice sheet of a plan, with the air that a player's horn takes."""
    from reedbore.report.figures.sheet import practice_sheet  # noqa: PLC0415 - only for sheets

    rows = exercise(plan).rows
    notes = [Fingered(row.choice.fingered_hz, row.choice.fingering) for row in rows]
    notes += [
        Fingered(step.fingered_hz, step.fingering)
        for step in plan.steps
        if step.choice is None and step.fingered_hz is not None
    ]
    practice_sheet(plan, path, flows(player, notes))


def flows(player: Player, notes: Sequence[Fingered]) -> dict[tuple[float, str], float]:
    """Return the mean flow that a player's horn takes on each note. [l/s]."""
    # They load the kernel.
    from reedbore.simulate.folds import mean_flow  # noqa: PLC0415
    from reedbore.simulate.request.take import tune_request  # noqa: PLC0415
    from reedbore.verdict.tried import request_of  # noqa: PLC0415

    return {
        (note.hz, note.fingering): 1e3 * mean_flow(tune_request(request_of(player, note)).setup)
        for note in dict.fromkeys(notes)
    }


def score(plan: Plan, path: Path) -> None:
    """Write a plan as MusicXML or MIDI; tell what notation cannot say."""
    music = exercise(plan)
    if path.suffix.lower() == MIDI:
        third = [note[:3] for note in music.third]
        write_whole(path, midi_bytes(music.passage, plan.title, plan.a4, third))
        return
    made = musicxml_bytes(
        music.passage,
        plan.title,
        horn=plan.horn.title,
        transposition=plan.horn.transposition,
        clef=plan.horn.clef,
        third=music.third,
        a4=plan.a4,
    )
    for said in made.said:
        tell(said)
    write_whole(path, made.data)


# --- the track -----------------------------------------------------------------------------------


def track(player: Player, plan: Plan, wanted: TrackAsked, *, simulate: bool = True) -> None:
    """Write the practice track of a plan.

    Parameters
    ----------
    player : Player
        Who plays the answer.
    plan : Plan
        What is practised.
    wanted : TrackAsked
        Where to, how fast, which bars.
    simulate : bool
        Whether the answer is simulated; else it is made of tones.

    Raises
    ------
    ReedboreError
        If there is nothing to practise, or the file cannot be written.
    """
    from reedbore.simulate import track as tracks  # noqa: PLC0415 - loads the kernel
    from reedbore.simulate.outside import SOUND_RATE  # noqa: PLC0415

    music = exercise(plan)
    passage, third, loops = tracks.slowed(music.passage, wanted.speed), music.third, 0
    if wanted.bars:
        loops, whole = tracks.LOOPS, passage
        passage = tracks.bars_cut(whole, *wanted.bars)
        begin = _begin(whole, wanted.bars[0])
        third = tuple(
            note._replace(beat=note.beat - begin)
            for note in third
            if note.beat + note.beats > begin
        )
    found = tracks.track_of(passage, third, loops=loops, a4=plan.a4)
    if wanted.path.suffix.lower() == MIDI:
        write_whole(wanted.path, _track_midi(found, plan))
        return
    answer = _answer(player, plan, passage) if simulate else None
    write(wanted.path, tracks.sound_of(found, answer), SOUND_RATE)


def _begin(passage: Passage, bar: int) -> float:
    return float(bars.bars_of(passage.meters, bars.exact(passage.beats))[bar - 1].start)


def _track_midi(found: "Track", plan: Plan) -> bytes:
    """Write what is heard line by line: the horn, the voice, the third note."""
    roles = {"horn": {"drone", "fingered"}, "voice": {"guide", "sung"}, "third note": {"third"}}
    notes = {
        name: [tone[:3] for tone in found.tones if tone.role in those]
        for name, those in roles.items()
    }
    return practice_bytes(notes, found.clicks, found.tempo, plan.title, plan.a4)


def _answer(player: Player, plan: Plan, passage: Passage) -> NDArray[np.float64] | None:
    """Play a passage as planned, sung by folds; None where they do not sing it."""
    # They load the kernel.
    from reedbore.simulate.performance import perform  # noqa: PLC0415
    from reedbore.simulate.request.passage import read_passage, score_of  # noqa: PLC0415
    from reedbore.simulate.request.take import Words  # noqa: PLC0415

    words = Words(
        horn=player.horn.name,
        instrument=player.horn,
        voice=player.singer.name,
        singer=player.singer,
        fingered=passage.fingered,
        sung=passage.sung,
        breath=passage.breath or player.breath,
        depth=None if passage.depth else player.depth,
        settings=(FOLDS, *player.settings),
        a4=plan.a4,
    )
    request = read_passage(words)
    request = replace(request, piece=request.piece.model_copy(update={"passage": passage}))
    tell(f"simulating {passage.seconds:.3g} s for the answer ...")
    try:
        return perform(score_of(request, lambda _: None)).sound
    except ModelError as error:
        tell(f"{error}; the answer is made of tones")
        return None
