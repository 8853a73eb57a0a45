"""The command `locks`: over one fingered note, what may be sung, how exactly, how strongly."""

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from reedbore.cli.common import ALONE, Flag, Flat, Player, say, say_json, tell


def locks(
    *,
    player: Annotated[Player, Flat] = ALONE,
    all_ratios: Annotated[bool, Flag] = False,
    thorough: Annotated[bool, Flag] = False,
    confirm: Annotated[bool, Flag] = False,
    singers: Literal["none", "one", "nine"] = "one",
    output: Annotated[list[Path] | None, Parameter(name=["--output", "-o"], negative="")] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Make the lock table of a fingered note: which sung notes lock, how exactly, and are heard.

    Looks at every ratio sung/fingered p/q with p and q up to 8 inside the voice's range, twice:
    for a singer whose folds feel the horn, where to aim, how exactly, and how far the horn pulls
    the voice; and for a voice like a clock, over which range the reed alone locks to it.

    Parameters
    ----------
    player
        Who plays which note, and how.
    all_ratios
        Look at all 43 ratios, also those outside the voice's range.
    thorough
        Also lock range against depth, the least depth that locks, and from where a gliding voice
        is caught; takes several times as long.
    confirm
        Also watch each lock for a minute at twice the rate, just inside and outside its edges.
    singers
        Whose folds are tried: none, one usual voice, or nine, light to heavy and loose to firm,
        for nobody's own are known; nine take several minutes.
    output
        Write the table to this file: .csv, .json, .png, .svg or .pdf; may be given several times.
    json
        Print one JSON document.
    """
    from reedbore.cli.work.locks import data, make, readable, write  # noqa: PLC0415 - help starts faster

    words = player.words()
    outputs = output or []
    looks = {"all_ratios": all_ratios, "thorough": thorough, "confirm": confirm}
    made = make(words, outputs, singers=singers, **looks)
    for path in outputs:
        write(made, path)
        tell(f"wrote {path}")
    if json:
        say_json(data(made))
    else:
        say(readable(made))
