"""The command `sweep`: a setup with some of its numbers moved, as a labelled data set."""

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from reedbore.cli.common import DEMO, Flag, Flat, Pair, Several, Signed, say, say_json


def sweep(
    *,
    player: Annotated[Pair, Flat] = DEMO,
    along: Annotated[tuple[tuple[str, str, str, str], ...], Several],
    log: Annotated[tuple[str, ...], Flag] = (),
    output: Annotated[Path, Parameter(name=["--output", "-o"])],
    seconds: Annotated[float | None, Signed] = None,
    edges: Annotated[bool, Flag] = False,
    part: str = "1/1",
    cluster: str | None = None,
    on: Literal["auto", "cpu", "gpu"] = "auto",
    json: Annotated[bool, Flag] = False,
) -> None:
    """Sweep one to three quantities and see where voice and horn lock: a data set for a lock map.

    Stop it whenever you like, even by force: the same command goes on where it stopped.

    Parameters
    ----------
    player
        Who plays which note, and how.
    along
        FIELD START STOP COUNT, one to three times: reed.opening_mm 0.6 1.4 41, or any number
        that presets show HORN lists. The field sung moves the sung note: sung -12st +24st 73
        from the fingered note, sung 5/2-10c 5/2+10c 41 around a ratio, sung Bb2 D4 161.
    log
        A field whose values lie at even ratios, not at even distances.
    output
        The data set, a folder FILE.zarr that xarray opens.
    seconds
        Run no cell longer than this, 0.5 to 600 s, and mark what is not decided by then; the time
        it takes grows in proportion. [default: as long as the decision needs]
    edges
        Also find where each lock ends, to a fraction of a cent, for all ratios along the sung
        axis, and so the locks that lie between cells too. Takes some seconds for each value of
        the other axes.
    part
        Do only part i of n, written i/n; all parts together, in any order or at the same time,
        make the whole.
    cluster
        Address of a dask.distributed scheduler that is to do the work.
    on
        What steps the cells: the cores, a graphics card, or a card if there is one and the sweep
        is large.
    json
        Print one JSON document.
    """
    from reedbore.cli.work.sweep import read, read_part, run, text  # noqa: PLC0415 - help starts faster
    from reedbore.verdict.sweep import store  # noqa: PLC0415

    words = player.words()
    share = read_part(part)
    store.check_place(output)
    swept = read(words, along, log, seconds, edges=edges)
    document = run(swept, output, edges=edges, part=share, cluster=cluster, on=on)
    if json:
        say_json(document)
    else:
        say(text(document))
