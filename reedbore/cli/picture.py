"""The command `picture`: draw a sweep as a lock map."""

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from reedbore.cli.common import Flag, say, say_json

if TYPE_CHECKING:
    from reedbore.report.maps_data import Aim, LockMap


def picture(
    file: Path,
    /,
    *,
    output: Annotated[Path, Parameter(name=["--output", "-o"])],
    json: Annotated[bool, Flag] = False,
) -> None:
    """Draw a sweep: two axes as a lock map, one as lines, three as small multiples. Or an atlas.

    A sweep or an atlas that is still being made is drawn as far as it has come.

    Parameters
    ----------
    file
        The data set of a sweep, or the atlas of a horn, FILE.zarr.
    output
        The picture: .png, .svg, .pdf, or .html, a page in which every cell can be asked and which
        needs no network.
    json
        Print one JSON document.
    """
    from reedbore.verdict.sweep.arrays import is_atlas  # noqa: PLC0415 - help starts faster

    document, lines = _atlas(file, output) if is_atlas(file) else _sweep(file, output)
    if json:
        say_json({"wrote": str(output), **document})
    else:
        say("\n".join([f"wrote {output}", *lines]))


def _atlas(file: Path, output: Path) -> tuple[dict[str, Any], list[str]]:
    """Draw an atlas; what it tells as data, and in lines."""
    from reedbore.report import atlas as telling  # noqa: PLC0415
    from reedbore.report.figures import atlas  # noqa: PLC0415

    found = atlas.picture(file, output)
    return telling.document(found), [telling.text(found)]


def _sweep(file: Path, output: Path) -> tuple[dict[str, Any], list[str]]:
    """Draw a sweep; what it tells as data, and in lines."""
    from reedbore.report import maps_data  # noqa: PLC0415
    from reedbore.report.figures.maps import picture as maps  # noqa: PLC0415
    from reedbore.report.maps import aim_words, care, does, resolution, unfinished  # noqa: PLC0415

    found = maps.picture(file, output)
    aims = maps_data.aims(found)
    lines = []
    for aim in aims:
        ratio, note, third = aim_words(found, aim)
        lines.append(f"  {ratio:4} {does(found.sweep)} {note:9} third note {third}")
    says = unfinished(found), resolution(found), care(found.sweep)
    return _document(found, aims), [*lines, *(words for words in says if words)]


def _document(found: "LockMap", aims: "list[Aim]") -> dict[str, Any]:
    """Tell what was drawn, and where to aim, as plain data."""
    edges = found.edges
    return {
        "axes": {axis.name: len(axis.values) for axis in found.sweep.axes},
        "states": dict(Counter(found.state_names().ravel().tolist())),
        "narrowest_band_cents": found.sweep.resolved_cents,
        "narrowest_edge_cents": edges.narrowest if edges else None,
        "aims": [
            {
                "ratio": f"{aim.ratio[0]}/{aim.ratio[1]}",
                "sung_hz": aim.sung_hz,
                "low_cents": aim.low,
                "high_cents": aim.high,
                "resultant_hz": aim.third_hz,
                "from_edges": aim.exact,
            }
            for aim in aims
        ],
    }
