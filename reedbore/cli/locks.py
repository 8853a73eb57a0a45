"""The command `locks`: over one fingered note, what may be sung, how exactly, how strongly."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import say, say_json, tell
from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)


def locks(
    *,
    horn: str | None = None,
    fingered: str | None = None,
    fingering: str = "",
    voice: str | None = None,
    depth: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    breath: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    set: Annotated[tuple[str, ...], Parameter(negative="", show_default=False)] = (),
    a4: float = A4_HZ,
    written: Annotated[bool, Flag] = False,
    all_ratios: Annotated[bool, Flag] = False,
    thorough: Annotated[bool, Flag] = False,
    confirm: Annotated[bool, Flag] = False,
    output: Annotated[list[Path] | None, Parameter(name=["--output", "-o"], negative="")] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Make the lock table of a fingered note: which sung notes lock, how exactly, and are heard.

    Looks at every ratio sung/fingered p/q with p and q up to 8 inside the voice's range: whether
    the reed locks to the voice and over which range of detuning, whether a third note is heard,
    and how much of the time a human voice (0.5 % jitter, slow 10-cent wander) holds the lock.

    Parameters
    ----------
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz. [default: that of the demo, Bb2]
    fingering
        Name of another fingering for that note.
    voice
        Voice, by name or as a preset file: range, pulse and depth. [default: low-male]
    depth
        How strongly it is sung, 0 to 1: soft hum up to 0.075, normal to 0.15, strong to 0.3.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp to ff. [default: that of the horn]
    set
        A setting as FIELD=VALUE, such as reed.opening_mm=1.2; may be given several times.
    a4
        Frequency of A4 in Hz, 380 to 500.
    written
        Take the fingered note as written for the horn.
    all_ratios
        Look at all 43 ratios, also those outside the voice's range.
    thorough
        Also lock range against depth, the least depth that locks, and from where a gliding voice
        is caught; takes several times as long.
    confirm
        Also watch each lock for a minute at twice the rate, just inside and outside its edges.
    output
        Write the table to this file: .csv, .json, .png, .svg or .pdf; may be given several times.
    json
        Print one JSON document.
    """
    from reedbore.cli.work.locks import data, make, readable, write  # noqa: PLC0415 - help starts faster

    words = {
        "horn": horn, "fingered": fingered, "voice": voice, "depth": depth, "breath": breath,
        "fingering": fingering, "settings": set, "a4": a4, "written": written,
    }  # fmt: skip
    outputs = output or []
    made = make(words, outputs, all_ratios=all_ratios, thorough=thorough, confirm=confirm)
    for path in outputs:
        write(made, path)
        tell(f"wrote {path}")
    if json:
        say_json(data(made))
    else:
        say(readable(made))
