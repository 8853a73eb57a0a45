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
    every_note: Annotated[bool, Flag] = False,
    depths: str | None = None,
    part: str = "1/1",
    cluster: str | None = None,
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
    every_note
        Of every note of the horn, in one data set, an atlas: -o FILE.zarr. Stop it whenever you
        like, even by force: the same command goes on where it stopped.
    depths
        Of an atlas: how strongly is sung, several depths in one word, as in '0.05 0.1 0.2'.
    part
        Of an atlas: only part i of n, written i/n; all together make the whole.
    cluster
        Of an atlas: address of a dask.distributed scheduler that is to do the work.
    output
        Write the table to this file: .csv, .json, .png, .svg or .pdf; may be given several times.
    json
        Print one JSON document.
    """
    words, outputs = player.words(), output or []
    looks = {"all_ratios": all_ratios, "thorough": thorough, "confirm": confirm}
    if every_note:
        from reedbore.cli.work import atlas  # noqa: PLC0415 - help starts faster

        share = atlas.read_share(part, cluster)
        wanted, store = atlas.read(words, outputs, depths=depths, singers=singers, **looks)
        document, told = atlas.run(wanted, store, share)
    else:
        from reedbore.cli.work import locks as one  # noqa: PLC0415

        one.refuse_atlas(depths, part, cluster)
        made = one.make(words, outputs, singers=singers, **looks)
        for path in outputs:
            one.write(made, path)
            tell(f"wrote {path}")
        document, told = one.data(made), one.readable(made)
    if json:
        say_json(document)
    else:
        say(told)
