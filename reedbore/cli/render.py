"""The command `render`: one take as sound, picture, sidecar and verdict."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import say, say_json, tell
from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)


def render(
    *,
    horn: str | None = None,
    fingered: str | None = None,
    fingering: str = "",
    sung: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
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
    no_picture: Annotated[bool, Flag] = False,
    play: Annotated[bool, Flag] = False,
    output: Annotated[Path | None, Parameter(name=["--output", "-o"])] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Simulate a take: sound, picture and a measured verdict; without options, the demo.

    Writes the sound, and beside it a picture (.png) and a sidecar (.json) from which --again
    makes the same take. A fingered note without a sung one is the horn alone.

    Parameters
    ----------
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz. [default: that of the demo, Bb2]
    fingering
        Name of another fingering for that note, such as fork; presets show HORN lists them.
    sung
        Sung note: as the fingered one, or from it: +7st, -5st, +702c, or the ratio 5/3;
        w:E5 is written for the horn. Or a recorded voice: a WAV or FLAC file.
    voice
        Voice, by name or as a preset file: shape of the pulse, and depth. [default: low-male]
    depth
        How strongly it is sung: peak of the sung over the blowing pressure, 0 to 1. Soft hum
        up to 0.075, normal to 0.15, strong to 0.3, exaggerated above.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp, p, mp, mf, f, ff between the pressure at which
        the horn begins to sound and the loudest of its low register. [default: that of the horn]
    seconds
        Length of the take, 0.5 to 600 s; the time it takes grows in proportion. [default: 4]
    set
        A setting as FIELD=VALUE, such as reed.opening_mm=1.2; may be given several times.
    a4
        Frequency of A4 in Hz, 380 to 500.
    written
        Take the fingered note as written for the horn.
    again
        Sidecar of a take to make again.
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
    no_picture
        Leave the picture out.
    play
        Play the sound when it is written.
    output
        Sound file: .wav or .flac. [default: renders/HORN-FINGERED-SUNG.wav]
    json
        Print one JSON document.
    """
    from reedbore.cli import taking  # noqa: PLC0415 - help starts faster

    words = {
        "horn": horn, "fingered": fingered, "sung": sung, "voice": voice, "depth": depth,
        "breath": breath, "fingering": fingering, "settings": set, "a4": a4, "written": written,
    }  # fmt: skip
    files = {"output": output, "throat": throat, "inside": inside}
    with taking.Progress() as progress:
        progress.stage("reading")
        if from_ or at:
            from reedbore.cli import sweeping  # noqa: PLC0415 - most takes are no cells

            length = taking.check_seconds(taking.SECONDS if seconds is None else seconds)
            request = sweeping.read_cell({**words, "again": again}, from_, at)
        else:
            request, length = taking.read(words, seconds, again)
        paths = taking.name_files(request, picture=not no_picture, **files)
        for warning in request.warnings:
            tell(warning)
        take, verdict = taking.simulate(request, length, progress, lock_range=lock_range)
        progress.stage("writing")
        document, sound = taking.write_all(request, take, verdict, paths)
    if json:
        say_json(document)
    else:
        say(taking.text(request, take, verdict, document))
    if play:
        taking.play(sound)
