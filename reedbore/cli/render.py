"""The command `render`: a take or a passage as sound, picture, sidecar and verdict."""

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from reedbore.cli.common import DEMO, Flag, Flat, Pair, Signed, say, say_json


def render(
    *,
    player: Annotated[Pair, Flat] = DEMO,
    passage: str | None = None,
    tempo: Annotated[float | None, Signed] = None,
    slivers: Annotated[float | None, Signed] = None,
    quantise: str | None = None,
    seconds: Annotated[float | None, Signed] = None,
    again: Path | None = None,
    from_: Annotated[Path | None, Parameter(name="--from")] = None,
    at: Annotated[tuple[str, ...], Flag] = (),
    lock_range: Annotated[bool, Flag] = False,
    throat: Path | None = None,
    inside: Path | None = None,
    third: Path | None = None,
    notes: Path | None = None,
    no_picture: Annotated[bool, Flag] = False,
    level: Literal["true", "matched"] = "true",
    play: Annotated[bool, Flag] = False,
    output: Annotated[Path | None, Parameter(name=["--output", "-o"])] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Simulate a take or a passage: sound, picture, verdict; without options, the étude Mill race.

    Writes the sound, and beside it a picture (.png) and a sidecar (.json) from which --again makes
    the same; of a passage also the verdict on each note (.csv). A fingered note without a sung one
    is the horn alone.

    Parameters
    ----------
    player
        Who plays which note, and how.
    passage
        Fingered and sung line by name (mill-race), as a TOML file, as a MusicXML score (.musicxml,
        .xml, .mxl: the parts called fingered and sung, or the first two), or as a MIDI file:
        channel 1 is fingered, channel 2 sung. In its place --fingered and --sung take such a score
        or MIDI file each, or a line of notes with their beats, "F3:1 A3:0.5 rest:0.5 C4:2", ~ for
        a slur, Bb3(fork):1; --breath then also takes a course over the beats, "mf@0 ff@8".
    tempo
        Beats in a minute, 10 to 400, throughout. [default: that of the passage; 60 for lines that
        are typed]
    slivers
        In a MIDI file, how short a note or a gap is no intent, 0 to 200 ms: it is joined to its
        neighbour, beginnings are moved together, and that is told. [default: 40]
    quantise
        Move the notes of a MIDI file to this part of a beat, such as 1/4 or 1/3.
    seconds
        Length of the take, 0.5 to 600 s; the time it takes grows in proportion. [default: 4, or
        that of the recorded voice]
    again
        Sidecar of a take or passage to make again.
    from_
        Data set of a sweep, one cell of which is to be heard.
    at
        Which cell: FIELD=VALUE for each quantity that was swept, such as sung=+7st.
    lock_range
        Find how far out of tune the voice may be before the lock breaks; takes several times
        as long.
    throat
        Write what a microphone on the throat hears to this file: .wav or .flac.
    inside
        Write the pressure inside the mouthpiece to this file: .wav or .flac.
    third
        Write the third notes of a passage that are heard to this file: .mid.
    notes
        Write the passage itself down, to be kept, edited and played again: .toml, .mid, or
        .musicxml, which has the third notes on a staff of their own.
    no_picture
        Leave the picture out.
    level
        true: full scale is 10 Pa at one metre, so that takes can be compared. matched: as loud as
        others, -23 LUFS, for listening.
    play
        Play the sound when it is written.
    output
        Sound file: .wav or .flac. [default: renders/HORN-FINGERED-SUNG.wav]
    json
        Print one JSON document.
    """
    from reedbore.cli.common import Progress  # noqa: PLC0415
    from reedbore.cli.work import render as rendering  # noqa: PLC0415 - help starts faster
    from reedbore.cli.work.outputs import Wanted  # noqa: PLC0415

    words = {
        **player.words(),
        "passage": passage,
        "tempo": tempo,
        "slivers": slivers,
        "quantise": quantise,
    }
    asked = rendering.Asked(seconds, again, from_, at, lock_range)
    wanted = Wanted(output, throat, inside, notes, third, not no_picture, level == "matched")
    with Progress() as progress:
        made = rendering.make(words, asked, wanted, progress)
    if json:
        say_json(made.document)
    else:
        say(made.text)
    if play:
        rendering.play(made.sound)
