"""The command `render`: a take or a passage as sound, picture, sidecar and verdict."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import say, say_json
from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)


def render(
    *,
    horn: str | None = None,
    fingered: str | None = None,
    fingering: str = "",
    sung: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    passage: str | None = None,
    tempo: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    voice: str | None = None,
    depth: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    breath: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    seconds: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    set: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    a4: float = A4_HZ,
    written: Annotated[bool, Flag] = False,
    again: Path | None = None,
    from_: Annotated[Path | None, Parameter(name="--from")] = None,
    at: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    lock_range: Annotated[bool, Flag] = False,
    throat: Path | None = None,
    inside: Path | None = None,
    resultant: Path | None = None,
    notes: Path | None = None,
    no_picture: Annotated[bool, Flag] = False,
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
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz; a line of notes with their beats, such as
        "F3:1 A3:0.5 rest:0.5 C4:2", ~ for a slur, Bb3(fork):1; or channel 1 of a MIDI file.
        [default: Bb2]
    fingering
        Name of another fingering for one note, such as fork; presets show HORN lists them.
    sung
        Sung note: as the fingered one, or from it: +7st, -5st, +702c, or the ratio 5/3, 5/3-4c;
        w:E5 is written for the horn. Or a line, or channel 2 of a MIDI file, or a recorded voice:
        a WAV or FLAC file.
    passage
        Fingered and sung line by name (mill-race), as a TOML file, or as a MIDI file.
    tempo
        Beats in a minute, throughout. [default: that of the passage; 60 for lines that are typed]
    voice
        Voice, by name or as a preset file: shape of the pulse, and depth. [default: low-male]
    depth
        How strongly it is sung: peak of the sung over the blowing pressure, 0 to 1. Soft hum
        up to 0.075, normal to 0.15, strong to 0.3, exaggerated above.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp, p, mp, mf, f, ff between the pressure at which
        the horn begins to sound and the loudest of its low register; of a passage also a course
        over its beats, "mf@0 ff@8". [default: that of the horn]
    seconds
        Length of the take, 0.5 to 600 s; the time it takes grows in proportion. [default: 4, or
        that of the recorded voice]
    set
        A setting as FIELD=VALUE, such as reed.opening_mm=1.2; may be given several times.
    a4
        Frequency of A4 in Hz, 380 to 500.
    written
        Take what is fingered as written for the horn.
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
    resultant
        Write the third notes of a passage that are heard to this file: .mid.
    notes
        Write the passage itself down, to be kept, edited and played again: .toml or .mid.
    no_picture
        Leave the picture out.
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
        "horn": horn, "fingered": fingered, "sung": sung, "voice": voice, "depth": depth,
        "breath": breath, "fingering": fingering, "settings": set, "a4": a4, "written": written,
        "passage": passage, "tempo": tempo,
    }  # fmt: skip
    asked = rendering.Asked(seconds, again, from_, at, lock_range)
    wanted = Wanted(output, throat, inside, notes, resultant, not no_picture)
    with Progress() as progress:
        made = rendering.make(words, asked, wanted, progress)
    if json:
        say_json(made.document)
    else:
        say(made.text)
    if play:
        rendering.play(made.sound)
