"""The command `plan`: what to finger and what to sing, for a note, a horn, or a piece."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import DEMO, Flag, Flat, Pair, Signed, Whole, say, say_json, tell
from reedbore.notes import TOLERANCE_CENTS


def plan(
    *,
    player: Annotated[Pair, Flat] = DEMO,
    want: str | None = None,
    passage: str | None = None,
    tempo: Annotated[float | None, Signed] = None,
    range_: Annotated[str | None, Parameter(name="--range")] = None,
    tolerance: Annotated[float, Signed] = TOLERANCE_CENTS,
    atlas: Path | None = None,
    quick: Annotated[bool, Flag] = False,
    slivers: Annotated[float | None, Signed] = None,
    quantise: str | None = None,
    transpose: Annotated[int, Whole] = 0,
    track: Path | None = None,
    speed: Annotated[float | None, Signed] = None,
    bars: str | None = None,
    output: Annotated[list[Path] | None, Parameter(name=["--output", "-o"], negative="")] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Plan what to finger and sing inside the range of a voice, the easiest first.

    Without a note it plans all of the horn; --want asks for a third note and is told every pair
    that gives it. Arithmetic answers at once; then a singer with folds tries each pair, which
    takes a few seconds a pair and is kept: a plan that was stopped goes on where it was.

    Parameters
    ----------
    player
        Who plays which note, and how; --fingered takes several notes, "Bb2 C3", or a line of them
        with their beats, and --sung goes with such a line.
    want
        Third note that is to be heard, F1, or a line of them, "F1:2 G1:2"; at concert pitch, as is
        all that is sung.
    passage
        A piece by name (mill-race), as a TOML, MusicXML or MIDI file: its third notes, sung by this
        voice.
    tempo
        Beats in a minute, 10 to 400, of a line. [default: that of the passage; 60]
    range_
        Lowest and highest note of the voice in place of its preset's, A2:E4.
    tolerance
        How far a third note may lie from the wanted one, 0 to 50 cents.
    atlas
        Take what is simulated from this atlas of the horn.
    quick
        Arithmetic only; what is known already is told with it.
    slivers
        In a MIDI file, how short a note or a gap is no intent, 0 to 200 ms; as for render.
    quantise
        Move the notes of a MIDI file to this part of a beat, such as 1/4 or 1/3.
    transpose
        Move a passage by so many semitones, -24 to 24, before it is planned, for another voice.
    track
        Write a practice track to this file: .wav, .flac or .mid. It counts in one bar; then, two
        bars at a time, it sings, leaves you a gap over a drone, and answers. The answer takes
        about as long to simulate as it lasts; with --quick it is made of tones.
    speed
        How fast the track goes, 40 to 100 percent of the tempo.
    bars
        Bars of the track, 3 or 3-4, four times.
    output
        Write the plan to this file: .pdf or .svg a practice sheet for the stand, .musicxml or .mid
        a score, .csv or .json the table; may be given several times.
    json
        Print one JSON document.
    """
    from reedbore.cli.work import plan as work  # noqa: PLC0415 - help starts faster
    from reedbore.cli.work import practice  # noqa: PLC0415

    outputs = output or []
    words = player.words() | {
        "passage": passage, "tempo": tempo, "slivers": slivers, "quantise": quantise,
    }  # fmt: skip
    practised = practice.read_track(track, speed, bars)
    asked = work.read(
        words, want=want, span=range_, tolerance=tolerance, outputs=outputs, transpose=transpose
    )
    told = work.known(asked, atlas)
    if not quick and work.lacking(told):
        if not json:
            say(work.readable(told))
        told = work.simulated(asked, told)
    for path in outputs:
        work.write(asked, told, path)
        tell(f"wrote {path}")
    if practised:
        practice.track(asked.player, told, practised, simulate=not quick)
        tell(f"wrote {practised.path}")
    if json:
        say_json(work.data(told))
    else:
        say(work.readable(told))
