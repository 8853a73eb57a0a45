"""Takes set end to end as if they were a passage over one fingered note: for its judge."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import single
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.notes import midi_to_hz, parse_pitch
from reedbore.simulate.controls import Controls, spans
from reedbore.simulate.performance import Fingered, Performance, Score, Stretch
from reedbore.simulate.take import Take, render
from reedbore.simulate.tuning import tune

B_FLAT = midi_to_hz(46)  # Bb2
LOCKS = parse_pitch("D4-13.8c")  # 5/2 over it; comes to rest after more than three seconds
FINGERS = Fingered("Bb2", "")


class Piece(NamedTuple):
    """A note of the passage that the tests play: what is sung over Bb2, and for how long."""

    sung_hz: float | None
    seconds: float
    pressure_kpa: float | None = None


def tenor_setup() -> Setup:
    """Return a tenor saxophone that plays Bb2."""
    return tune(load_horn("tenor-saxophone"), B_FLAT)


def sung(setup: Setup, piece: Piece) -> Setup:
    """Return the setup of a piece."""
    if piece.pressure_kpa is not None:
        setup = setup.with_value("breath.pressure_kpa", piece.pressure_kpa)
    if piece.sung_hz is None:
        return setup
    setup = setup.with_value("voice.source", "pulse").with_value("voice.depth", 0.1)
    return setup.with_value("voice.frequency_hz", piece.sung_hz)


def set_out(tenor: Setup, pieces: list[Piece]) -> tuple[Performance, list[Stretch]]:
    """Set takes end to end, each from rest, as if they were one passage at a beat a second."""
    takes = [render(sung(tenor, piece), piece.seconds) for piece in pieces]
    sizes = [take.sung.size for take in takes]
    ends = np.cumsum(sizes)

    def joined(part: Callable[[Take], NDArray[np.float64]]) -> NDArray[np.float64]:
        return np.concatenate([part(take) for take in takes])

    traces = [joined(lambda take, k=k: take.traces[k]) for k in range(len(single.Traces._fields))]
    ones = np.ones(ends[-1])
    pressures = [sung(tenor, piece).breath.pressure for piece in pieces]
    passage = Passage(
        tempo=1.0,
        fingered=" ".join(f"Bb2:{piece.seconds:g}" for piece in pieces),
        sung=" ".join(
            f"{piece.sung_hz:.4f}Hz:{piece.seconds:g}" if piece.sung_hz else f"rest:{piece.seconds}"
            for piece in pieces
        ),
    )
    rate = tenor.time.rate
    performance = Performance(
        score=Score(passage, {FINGERS: sung(tenor, Piece(220.0, 1.0))}),
        fingered=spans(passage, passage.fingered_line, rate),
        sung_notes=spans(passage, passage.sung_line, rate),
        controls=Controls(ones, ones, ones, 0.1 * ones, ones, ones, ones),
        pressure_asked=np.repeat(pressures, sizes),
        sung=joined(lambda take: take.sung),
        traces=single.Traces(*traces),
        sound=joined(lambda take: take.sound),
    )
    cuts = [
        Stretch(k, k, int(end - size), int(end), piece.sung_hz)
        for k, (piece, size, end) in enumerate(zip(pieces, sizes, ends, strict=True))
    ]
    return performance, cuts
