"""The command `animate`: the pressure wave, the reed and the beats, in slow motion."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import DEMO, Flag, Flat, Pair, Signed, Whole, say, say_json


def animate(
    *,
    player: Annotated[Pair, Flat] = DEMO,
    output: Annotated[Path, Parameter(name=["--output", "-o"])],
    again: Path | None = None,
    from_: Annotated[Path | None, Parameter(name="--from")] = None,
    at: Annotated[tuple[str, ...], Flag] = (),
    slow: Annotated[int, Whole] = 400,
    seconds: Annotated[float, Signed] = 10.0,
    sound: str | None = None,
    frame: Annotated[tuple[int, ...], Whole] = (),
    json: Annotated[bool, Flag] = False,
) -> None:
    """Show the mechanism in slow motion: the wave in the bore, the reed, and all waves in step.

    What is played and sung is said as for render; without options it is the first pair of the
    étude Mill race. A caption says what happens now. Folds that sing are shown beside the reed.

    Parameters
    ----------
    player
        Who plays which note, and how.
    output
        A video (.mp4, .webm), a moving picture without sound (.gif), or instants for a handout
        (.svg, .png, .pdf).
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
        For a handout: a frame of the moving picture, counted from 0 at 30 a second; may be given
        several times.
        [default: four instants of a period]
    json
        Print one JSON document.
    """
    from reedbore.cli.common import Progress  # noqa: PLC0415
    from reedbore.cli.work.animate import Asked, make  # noqa: PLC0415 - help starts faster

    words = player.words()
    asked = Asked(output, slow, seconds, sound, frame, again, from_, at)
    with Progress() as progress:
        document, text = make(words, asked, progress)
    if json:
        say_json(document)
    else:
        say(text)
