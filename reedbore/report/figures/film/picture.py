"""Moving pictures of the mechanism: the wave in the bore, the reed, and the beats of all waves.

In: a scene (`animation_scene`). Out: a video or a GIF, or instants of it as a page for a handout.
"""

import io
import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from reedbore.files import picture_kind, write_whole
from reedbore.report.figures.film import look
from reedbore.report.figures.film.scene import Scene, Told
from reedbore.report.figures.film.stage import Picture, Stage
from reedbore.report.figures.film.video import FILMS, STILLS, write_video

COLUMNS = 2  # of a page of instants
QUARTERS = 4


def film(
    scene: Scene,
    path: Path,
    sound: NDArray[np.float64] | None = None,
    tell: Callable[[float], None] = lambda share: None,
) -> None:
    """Draw all frames of a scene into a file.

    Parameters
    ----------
    scene : Scene
        What is shown.
    path : Path
        One of `FILMS`; it appears only when it is whole.
    sound : ndarray, shape (n,), optional
        As from `heard`. [full scale]
    tell : callable, optional
        Called with the share that is done, now and then.

    Raises
    ------
    ReedboreError
        If there is no encoder, or the file cannot be written.
    """
    picture_kind(path, tuple(FILMS))
    write_video(path, _frames(scene, tell), look.PIXELS, scene.rate, sound)


def _frames(scene: Scene, tell: Callable[[float], None]) -> Iterator[memoryview]:
    stage = Stage(scene)
    for number in range(scene.frames):
        tell(number / scene.frames)
        yield stage.frame(number)


def quarters(scene: Scene) -> list[int]:
    """Choose the frames at four instants of a period of the played note, a quarter apart.

    Fewer where the scene ends before.
    """
    ticks = scene.beats.played
    ticks = ticks[ticks >= 0.0]
    period = float(np.diff(ticks).mean()) if ticks.size > 1 else float(scene.times[-1])
    first = float(ticks[0]) if ticks.size else 0.0
    wanted = first + period * np.arange(QUARTERS) / QUARTERS
    found = {int(np.abs(scene.times - at).argmin()) for at in wanted}
    return sorted(found)


def stills(scene: Scene, frames: Sequence[int], path: Path) -> None:
    """Draw some instants of a scene as one page.

    Parameters
    ----------
    scene : Scene
        What is shown.
    frames : sequence of int
        Which of its frames, from 0; at most `MOST_INSTANTS`.
    path : Path
        One of `STILLS`; it appears only when it is whole.

    Raises
    ------
    ReedboreError
        If the file cannot be written.
    """
    kind = picture_kind(path, STILLS)
    columns = min(COLUMNS, len(frames))
    rows = math.ceil(len(frames) / columns)
    wide, high = look.INCHES
    buffer = io.BytesIO()
    undated = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    # Letters stay letters, so that a picture can be searched and read aloud.
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "reedbore", "pdf.fonttype": 42}):
        figure = Figure(figsize=(columns * wide, rows * high), facecolor=look.PAPER)
        FigureCanvasAgg(figure)
        told = [Told(text, True) for text in scene.captions]
        parts = np.ravel(figure.subfigures(rows, columns, squeeze=False))
        for part, number in zip(parts, frames, strict=False):
            part.patch.set(facecolor=look.PAPER, edgecolor=look.FAINT, linewidth=1.5)
            Picture(part, scene, told).show(number)
        figure.savefig(buffer, format=kind, dpi=look.DOTS_PER_INCH, metadata=undated.get(kind))
    write_whole(path, buffer.getvalue())
