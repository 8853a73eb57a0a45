"""The command `animate`: the pressure wave, the reed and the beats, in slow motion."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import say, say_json
from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)


def animate(
    *,
    output: Annotated[Path, Parameter(name=["--output", "-o"])],
    horn: str | None = None,
    fingered: str | None = None,
    fingering: str = "",
    sung: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    voice: str | None = None,
    depth: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    breath: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    set: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    a4: float = A4_HZ,
    written: Annotated[bool, Flag] = False,
    again: Path | None = None,
    from_: Annotated[Path | None, Parameter(name="--from")] = None,
    at: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    slow: Annotated[int, Parameter(allow_leading_hyphen=True)] = 400,
    seconds: Annotated[float, Parameter(allow_leading_hyphen=True)] = 10.0,
    sound: str | None = None,
    frame: Annotated[tuple[int, ...], Parameter(negative="", allow_leading_hyphen=True)] = (),
    json: Annotated[bool, Flag] = False,
) -> None:
    """Show the mechanism in slow motion: the wave in the bore, the reed, and all waves in step.

    What is played and sung is said as for render; without options it is the first pair of the
    étude Mill race. A caption says what happens now.

    Parameters
    ----------
    output
        A video (.mp4, .webm), a moving picture without sound (.gif), or instants for a handout
        (.svg, .png, .pdf).
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note, such as Bb2, F#3+14c or 220Hz. [default: Bb2]
    fingering
        Name of another fingering for the note.
    sung
        Sung note, +7st, 5/3, or a recorded voice: a WAV or FLAC file.
    voice
        Voice, by name or as a preset file. [default: low-male]
    depth
        How strongly it is sung, 0 to 1.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp to ff. [default: that of the horn]
    set
        A setting as FIELD=VALUE; may be given several times.
    a4
        Frequency of A4 in Hz, 380 to 500.
    written
        Take the fingered note as written for the horn.
    again
        Sidecar of a take to show.
    from_
        Data set of a sweep, one cell of which is to be shown.
    at
        Which cell: FIELD=VALUE for each quantity that was swept.
    slow
        How many times slower than in truth, 20 to 1000.
    seconds
        Length of the moving picture, 1 to 40 s.
    sound
        Of a video: true (as it sounds, at its own speed), slowed (as slow as the picture, and as
        much lower), or none. [default: true]
    frame
        For a handout: a frame of the moving picture, counted from 0; may be given several times.
        [default: four instants of a period]
    json
        Print one JSON document.
    """
    from reedbore.cli.common import Progress  # noqa: PLC0415
    from reedbore.cli.work.animate import Asked, make  # noqa: PLC0415 - help starts faster

    words = {
        "horn": horn, "fingered": fingered, "sung": sung, "voice": voice, "depth": depth,
        "breath": breath, "fingering": fingering, "settings": set, "a4": a4, "written": written,
    }  # fmt: skip
    asked = Asked(output, slow, seconds, sound, frame, again, from_, at)
    with Progress() as progress:
        document, text = make(words, asked, progress)
    if json:
        say_json(document)
    else:
        say(text)
