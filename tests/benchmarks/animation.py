"""How fast a moving picture is drawn, against drawing each of its frames anew as a whole.

Run by `.ci/run bench` or `python tests/benchmarks/animation.py [tiny]`. Both draw the same frames
in turn, block by block; ratios are medians of pairs of processor times.
"""

import statistics
import sys
import time
from collections.abc import Callable, Iterable
from typing import Any, cast

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import midi_to_hz, parse_note
from reedbore.report.figures.film import look
from reedbore.report.figures.film.scene import Scene, held, scene_of, take_seconds
from reedbore.report.figures.film.stage import Picture, Stage
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

TINY = "tiny" in sys.argv[1:]
SECONDS, SLOW, RATE = 0.3 if TINY else 4.0, 400.0, 30
BLOCK = 3 if TINY else 10  # frames


def shown() -> Scene:
    """Sing the just major tenth over the lowest note of the tenor saxophone."""
    hz = midi_to_hz(parse_note("Bb2"))
    voice = load_singer("low-male").voice.model_copy(update={"frequency": 2.5 * hz})
    setup = tune(load_horn("tenor-saxophone"), hz).model_copy(update={"voice": voice})
    take = render(setup, take_seconds(SECONDS, SLOW, sound=False))
    return scene_of(take, SECONDS, SLOW, RATE, title="Tenor saxophone, Bb2 and D4")[0]


def anew(scene: Scene) -> Callable[[int], None]:
    """Draw as whoever keeps nothing between frames."""
    figure = Figure(figsize=look.INCHES, dpi=look.DOTS_PER_INCH, facecolor=look.PAPER)
    canvas = cast("Any", FigureCanvasAgg(figure))
    picture = Picture(figure, scene, held(scene.captions, scene.rate))

    def draw(number: int) -> None:
        picture.show(number)
        canvas.draw()

    return draw


def took(draw: Callable[[int], object], numbers: Iterable[int]) -> float:
    start = time.process_time()
    for number in numbers:
        draw(number)
    return time.process_time() - start


def main() -> None:
    scene = shown()
    ours, rival = Stage(scene).frame, anew(scene)
    for draw in (ours, rival):
        draw(0)
    blocks = [range(first, first + BLOCK) for first in range(1, scene.frames - BLOCK, BLOCK)]
    pairs = [(took(ours, block), took(rival, block)) for block in blocks]
    frame = 1e3 * statistics.median(pair[0] for pair in pairs) / BLOCK
    ratio = statistics.median(b / a for a, b in pairs)
    print(f"a frame of {look.PIXELS[0]} x {look.PIXELS[1]}: {frame:.1f} ms of processor time")
    print(f"drawn anew as a whole it takes {ratio:.1f} times as long")


if __name__ == "__main__":
    main()
