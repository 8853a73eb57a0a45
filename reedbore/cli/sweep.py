"""The command `sweep`: a setup with some of its numbers moved, as a labelled data set."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from reedbore.cli.common import say, say_json
from reedbore.notes import A4_HZ

Flag = Parameter(negative="", show_default=False)
Several = Parameter(negative="", show_default=False, allow_leading_hyphen=True)


def sweep(
    *,
    along: Annotated[tuple[tuple[str, str, str, str], ...], Several],
    log: Annotated[tuple[str, ...], Flag] = (),
    output: Annotated[Path, Parameter(name=["--output", "-o"])],
    horn: str | None = None,
    fingered: str | None = None,
    fingering: str = "",
    sung: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    voice: str | None = None,
    depth: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    breath: Annotated[str | None, Parameter(allow_leading_hyphen=True)] = None,
    set: Annotated[tuple[str, ...], Flag] = (),
    a4: float = A4_HZ,
    written: Annotated[bool, Flag] = False,
    seconds: Annotated[float | None, Parameter(allow_leading_hyphen=True)] = None,
    edges: Annotated[bool, Flag] = False,
    part: str = "1/1",
    cluster: str | None = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Sweep one to three quantities and see where voice and horn lock: a data set for a lock map.

    Stop it whenever you like, even by force: the same command goes on where it stopped.

    Parameters
    ----------
    along
        FIELD START STOP COUNT, one to three times: reed.opening_mm 0.6 1.4 41, or any number
        that presets show HORN lists. The field sung moves the sung note: sung -12st +24st 73
        from the fingered note, sung 5/2-10c 5/2+10c 41 around a ratio, sung Bb2 D4 161.
    log
        A field whose values lie at even ratios, not at even distances.
    output
        The data set, a folder FILE.zarr that xarray opens.
    horn
        Horn, by name or as a preset file. [default: tenor-saxophone]
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz. [default: that of the demo, Bb2]
    fingering
        Name of another fingering for that note, such as fork; presets show HORN lists them.
    sung
        Sung note, where no axis moves it: as the fingered one, or +7st, -5st, +702c, 5/3, 5/3-4c.
    voice
        Voice, by name or as a preset file: shape of the pulse, and depth. [default: low-male]
    depth
        How strongly it is sung: peak of the sung over the blowing pressure, 0 to 1. Soft hum
        up to 0.075, normal to 0.15, strong to 0.3, exaggerated above.
    breath
        How hard it is blown: 3kPa, 30cmH2O, or pp, p, mp, mf, f, ff. [default: that of the horn]
    set
        A setting as FIELD=VALUE, such as reed.opening_mm=1.2; may be given several times.
    a4
        Frequency of A4 in Hz, 380 to 500.
    written
        Take the fingered note as written for the horn.
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
    json
        Print one JSON document.
    """
    from reedbore.cli.work.sweep import read, read_part, run, text  # noqa: PLC0415 - help starts faster
    from reedbore.verdict.sweep import store  # noqa: PLC0415

    words = {
        "horn": horn, "fingered": fingered, "sung": sung, "voice": voice, "depth": depth,
        "breath": breath, "fingering": fingering, "settings": set, "a4": a4, "written": written,
    }  # fmt: skip
    share = read_part(part)
    store.check_place(output)
    swept = read(words, along, log, seconds, edges=edges)
    document = run(swept, output, edges=edges, part=share, cluster=cluster)
    if json:
        say_json(document)
    else:
        say(text(document))
