"""The command `analyse`: what a recording of horn and voice holds, note by note."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import Flag, Signed, Whole, say, say_json
from reedbore.notes import A4_HZ


def analyse(
    recording: Path | None = None,
    *,
    throat: Path | None = None,
    throat_channel: Annotated[int | None, Whole] = None,
    fingered: str | None = None,
    horn: str | None = None,
    voice: str | None = None,
    passage: str | None = None,
    log: Path | None = None,
    record: Annotated[float | None, Signed] = None,
    a4: Annotated[float, Signed] = A4_HZ,
    output: Annotated[list[Path] | None, Parameter(name=["--output", "-o"], negative="")] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Tell note by note what a recording of horn and voice holds.

    Of each note: what was played and sung, the common note, how far the voice was off, whether the
    two kept step, and what to sing instead. With a microphone on the throat the sung note is told;
    from the horn alone only which notes it may have been. What cannot be told is said to be so.

    Parameters
    ----------
    recording
        Sound of the horn: WAV, FLAC, OGG or MP3, of any rate and length.
    throat
        Sound of a microphone on the throat, begun at the same moment.
    throat_channel
        Which channel of the recording is the throat's, 1 to 64; the first of the others is the
        horn's.
    fingered
        The note that is fingered throughout, if it is one: Bb2, F#3+14c or 220Hz.
    horn
        Horn, by name or as a preset file: --fingered w:C4 is then written for it, and each pair is
        tried in its model, some seconds each. With --voice and no throat, what may have been sung
        is rendered and compared as well.
    voice
        Voice, by name or as a preset file: where its notes are looked for. [default: 60 to
        1000 Hz]
    passage
        What was to be played, by name (mill-race), as a TOML, MIDI or MusicXML file: wrong, missing
        and extra notes are told, at the tempo and the tuning of the player.
    log
        Practice log of this passage, a file: the recording goes into it, and stands beside those
        before.
    record
        Record so many seconds from the sound input first, 1 to 3600, into RECORDING.
    a4
        Frequency of A4, 380 to 500 Hz.
    output
        Write what was found to this file: .csv, .json, .mid (what was played, sung and common, a
        second to a beat), .png, .svg or .pdf; may be given several times.
    json
        Print one JSON document.
    """
    from reedbore.cli.common import Progress  # noqa: PLC0415
    from reedbore.cli.work import analyse as work  # noqa: PLC0415 - help starts faster

    asked = work.Asked(
        recording=recording,
        throat=throat,
        throat_channel=throat_channel,
        fingered=fingered,
        horn=horn,
        voice=voice,
        passage=passage,
        log=log,
        record=record,
        a4=a4,
        outputs=tuple(output or ()),
    )
    with Progress() as progress:
        made = work.make(asked, progress)
    if json:
        say_json(made.document)
    else:
        say(made.text)
