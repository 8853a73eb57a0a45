"""Which way a request goes: a take, a cell of a sweep, a passage, or one of them made again.

In: all that was typed after ``render``. Out: files written, and what is to be told.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import sound as audio
from reedbore.cli.common import Progress
from reedbore.cli.work import take
from reedbore.cli.work.outputs import Made, Wanted
from reedbore.errors import ReedboreError
from reedbore.model import sidecar
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.request.compose import tidy_of
from reedbore.simulate.request.lines import is_passage
from reedbore.simulate.request.take import (
    Request,
    Words,
    check_seconds,
    read_request,
    refuse_words,
    request_again,
)

if TYPE_CHECKING:
    from reedbore.simulate.request.passage import PassageRequest


class Asked(NamedTuple):
    """What was typed besides the words of a request.

    Attributes
    ----------
    seconds : float or None
        Length of the take. [s]
    again : Path or None
        Sidecar of what is made again; then no words may have been typed.
    store : Path or None
        Data set of a sweep, one cell of which is rendered.
    at : sequence of str
        Which cell.
    lock_range : bool
        Whether to search the edges of a lock.
    """

    seconds: float | None = None
    again: Path | None = None
    store: Path | None = None
    at: Sequence[str] = ()
    lock_range: bool = False


def make(words: Mapping[str, Any], asked: Asked, wanted: Wanted, progress: Progress) -> Made:
    """Read what was typed, render it and write all files.

    Parameters
    ----------
    words : mapping
        What `Words` is made of.
    asked : Asked
        The rest.
    wanted : Wanted
        The files.
    progress : Progress
        Where to name the work.

    Returns
    -------
    Made
        What was written, and what is to be told.

    Raises
    ------
    ReedboreError
        If anything is wrong with it, before anything is simulated.
    """
    progress.stage("reading")
    request, seconds = _read(words, asked)
    if isinstance(request, Request):
        return take.make(request, seconds, wanted, progress, lock_range=asked.lock_range)
    if asked.lock_range:
        raise ReedboreError("--lock-range is found for one pair of notes; a passage has several")
    from reedbore.cli.work import passage  # noqa: PLC0415 - a single take goes without

    return passage.make(request, wanted, progress)


def _read(words: Mapping[str, Any], asked: Asked) -> tuple["Request | PassageRequest", float]:
    """Read what was typed; the length [s] is that of a take."""
    seconds = check_seconds(take.SECONDS if asked.seconds is None else asked.seconds)
    if asked.store is not None or asked.at:
        from reedbore.cli.work import sweep  # noqa: PLC0415 - most takes are no cells

        return sweep.read_cell({**words, "again": asked.again}, asked.store, asked.at), seconds
    if asked.again is not None:
        return _read_again(words, asked.seconds, asked.again)
    typed = Words(**words)
    if is_passage(typed.passage, typed.fingered, typed.sung):
        from reedbore.simulate.request.passage import read_passage  # noqa: PLC0415 - only passages

        return read_passage(typed, asked.seconds), 0.0
    if typed.tempo is not None:
        raise ReedboreError("--tempo goes with a line of notes, as in --sung 'D4:2 C4:2'")
    tidy_of(typed)
    return read_request(typed), seconds


def _read_again(
    words: Mapping[str, Any], seconds: float | None, path: Path
) -> tuple["Request | PassageRequest", float]:
    typed = words if seconds is None else {**words, "seconds": seconds}
    refuse_words(typed, f"--again makes what {path} describes")
    found = sidecar.read(path)
    if isinstance(found, sidecar.PassageSidecar):
        from reedbore.simulate.request.passage import passage_again  # noqa: PLC0415 - only passages

        return passage_again(found, path), 0.0
    return request_again(found, path), check_seconds(found.seconds)


def play(sound: NDArray[np.float64]) -> None:
    """Play what was written; an AudioError if that cannot be done."""
    audio.play(sound, SOUND_RATE)
