"""One take from the command line: read what is asked for, simulate, write all files, tell.

The command `render` is made of these steps; they are apart from it so that its help starts fast.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.cli.common import Progress, tell
from reedbore.cli.work.outputs import Made, Wanted, file_lines, name_files, write_sounds
from reedbore.errors import ReedboreError
from reedbore.files import together
from reedbore.model import sidecar
from reedbore.notes import written_name
from reedbore.report import verdict as telling
from reedbore.report.verdict import summary
from reedbore.simulate.request.take import Request, tune_request
from reedbore.simulate.take import Take, inside, render, throat
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

SECONDS = 4.0

Samples = NDArray[np.float64]


def make(
    request: Request, seconds: float, wanted: Wanted, progress: Progress, *, lock_range: bool
) -> Made:
    """Tune, render, judge and write; nothing is run if a file cannot be written.

    Parameters
    ----------
    request : Request
        What to render.
    seconds : float
        How long. [s]
    wanted : Wanted
        The files.
    progress : Progress
        Where to name the work.
    lock_range : bool
        Whether to search the edges of a lock.

    Returns
    -------
    Made
        Its document is what the sidecar holds, and under ``files`` the names of all files.

    Raises
    ------
    ReedboreError
        If a file cannot be written, or the horn has no such note.
    """
    for flag, path in (("--notes", wanted.notes), ("--third", wanted.third)):
        if path is not None:
            raise ReedboreError(
                f"{flag} writes a line of notes, and this is a single take; give the note its "
                "beats, as in --fingered Bb2:4, or leave it out"
            )
    voice = request.setup.voice.file
    paths = name_files(wanted, request.typed.stem, [voice] if voice else [], table=False)
    for warning in request.warnings:
        tell(warning)
    take, verdict = simulate(request, seconds, progress, lock_range=lock_range)
    progress.stage("writing")
    document, sound = write_all(request, take, verdict, paths, matched=wanted.matched)
    return Made(document, text(request, take, verdict, document), sound)


def simulate(
    request: Request, seconds: float, progress: Progress, *, lock_range: bool
) -> tuple[Take, Verdict]:
    """Tune, render and judge; the judge sees nothing but the take."""
    progress.stage("tuning the horn")
    setup = tune_request(request).setup
    progress.stage(f"simulating {seconds:g} s")
    take = render(setup, seconds)
    progress.stage("finding the lock range" if lock_range else "judging")
    return take, judge(take, lock_range=lock_range)


def write_all(
    request: Request,
    take: Take,
    verdict: Verdict,
    paths: Mapping[str, Path],
    *,
    matched: bool = False,
) -> tuple[dict[str, Any], Samples]:
    """Write all files; the document as of `make`, and the sound as written. [full scale]."""
    makers: dict[str, Callable[[], Samples]] = {
        "sound": lambda: take.sound,
        "throat": lambda: throat(take),
        "inside": lambda: inside(take),
    }
    with together() as group:
        sound, levels = write_sounds(makers, paths, matched=matched)
        if "picture" in paths:
            _draw(request, take, verdict, paths["picture"])
        kept = replace(
            telling.kept(request, take, verdict, levels),
            checksums=group.sums(paths, paths["sidecar"]),
        )
        sidecar.write(paths["sidecar"], kept)
    files = {name: str(path) for name, path in paths.items()}
    return {
        "files": files,
        "fingered_written": _written(request),
        **sidecar.document(kept),
    }, sound


def _written(request: Request) -> str | None:
    """Name the fingered note as it is written for the horn, if that is known."""
    typed, transposition = request.typed, request.transposition
    if transposition is None:
        return None
    return written_name(typed.fingered_hz, transposition, typed.a4_hz)


def _draw(request: Request, take: Take, verdict: Verdict, path: Path) -> None:
    from reedbore.report.figures.take import take_picture  # noqa: PLC0415 - a take may go without

    a4 = request.typed.a4_hz
    says = summary(verdict, a4)
    take_picture(take, verdict, path, title=telling.title(request), says=says, a4=a4)


def text(request: Request, take: Take, verdict: Verdict, document: Mapping[str, Any]) -> str:
    """Set the verdict out for reading: the sentence, then the numbers, then the files.

    Parameters
    ----------
    request, take, verdict : Request, Take, Verdict
        What was asked for, rendered and measured.
    document : mapping
        As from `write_all`.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    lines = [telling.title(request), *telling.sentences(request, take, verdict), ""]
    lines += [f"  {name:11} {value}" for name, value in telling.rows(request, take, verdict)]
    lines.append("")
    return "\n".join([*lines, *file_lines(document)])
