"""The command `fit`: breath and reed of whoever plays in a recording."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import Flag, Signed, Whole, say, say_json
from reedbore.notes import A4_HZ


def fit(
    recording: Path | None = None,
    *,
    horn: str | None = None,
    fingered: str | None = None,
    throat: Path | None = None,
    throat_channel: Annotated[int | None, Whole] = None,
    voice: str | None = None,
    a4: Annotated[float, Signed] = A4_HZ,
    output: Annotated[Path | None, Parameter(name=["--output", "-o"], negative="")] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Find the breath and the reed with which a horn sounds most like a recorded note.

    Of the longest note: tip opening, breath, strength and damping of the reed, how sure each is,
    which of them only go together, and what is left between rendered and recorded sound. Where that
    is more than 6 dB the horn is refused, and what it lacks is told. With a voice over the note
    also how strongly was sung.

    Parameters
    ----------
    recording
        Sound of the horn: WAV, FLAC, OGG or MP3, of any rate; a held note of 0.5 s or more, and of
        no less than 32 periods and 0.2 s.
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Note that is compared, the longest one of those: Bb2, F#3+14c or 220Hz. [default: the
        longest of all]
    throat
        Sound of a microphone on the throat, begun at the same moment.
    throat_channel
        Which channel of the recording is the throat's, 1 to 64; all others are the horn's.
    voice
        Voice, by name or as a preset file: where its notes are looked for. [default: 60 to
        1000 Hz]
    a4
        Frequency of A4, 380 to 500 Hz.
    output
        Write the horn with this player as a preset, a .toml file: locks, predict, render and all
        others take it after --horn.
    json
        Print one JSON document.
    """
    from reedbore.cli.common import Progress  # noqa: PLC0415
    from reedbore.cli.work import fit as work  # noqa: PLC0415 - help starts faster
    from reedbore.cli.work.analyse import Asked  # noqa: PLC0415

    asked = Asked(
        recording=recording,
        throat=throat,
        throat_channel=throat_channel,
        fingered=fingered,
        horn=horn or work.usual_horn(),
        voice=voice,
        a4=a4,
    )
    with Progress() as progress:
        made = work.make(asked, output, progress)
    if json:
        say_json(made.document)
    else:
        say(made.text)
