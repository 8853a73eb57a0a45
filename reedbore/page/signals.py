"""The waveforms and the spectrum of a take, as numbers that the page draws.

In: a take. Out: some periods of every signal from late in the take, and the lines of its sound.
"""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import notes
from reedbore.measures import spectrum
from reedbore.model.voice import Voice
from reedbore.page.answers import Shared
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.player import held_still
from reedbore.simulate.take import Take, burst
from reedbore.sound import mute_broken
from reedbore.verdict import runs
from reedbore.verdict.result import NEAR_CENTS, SIMPLE

PERIODS = 6
END_S = 0.05  # the last moment of a take is left out
MOST_ALONE = 32
MOST_COLUMNS = 2000
LISTEN_S = 1.5
FLOOR_DB = -60.0
HIGHEST_HZ = 4000.0
REFERENCE_PA = 2e-5  # ISO 1683

Samples = NDArray[np.float64]


class Pitches(NamedTuple):
    """Played and sung pitch [Hz] and their ratio p/q; None for what there is not."""

    played: float | None
    sung: float | None
    ratio: tuple[int, int] | None

    @property
    def resultant(self) -> float | None:
        """The common fundamental, in hertz."""
        return self.played / self.ratio[1] if self.played and self.ratio else None


_alone = Shared(MOST_ALONE)


def pitches_of(take: Take) -> Pitches:
    """Measure what is played at the end of a take, against what is sung.

    Parameters
    ----------
    take : Take
        What was rendered.

    Returns
    -------
    Pitches
        A quick look: whether the two lock is for the verdict to say.
    """
    setup = take.setup
    silent = setup.model_copy(update={"voice": Voice(source="off")})
    control = _alone.get(silent, lambda: runs.alone(silent, outside=False))
    sung = runs.sung_pitch(take)[0] if take.sung.any() else None
    if control.hz is None or burst(take.traces) is not None:
        return Pitches(None, sung, None)
    played = control.hz if sung is None else runs.played_pitch(take, control, sung)[0]
    ratio = notes.choose_ratio(sung / played, NEAR_CENTS, SIMPLE) if sung and played else None
    return Pitches(played, sung, ratio)


def waves(take: Take, found: Pitches) -> Samples:
    """Cut some periods out of a take.

    Parameters
    ----------
    take : Take
        What was rendered.
    found : Pitches
        From `pitches_of`.

    Returns
    -------
    ndarray, shape (5, n) or (6, n)
        Time [s], pressure in mouth and mouthpiece [Pa], opening for the air [m], sound outside
        [Pa], late in the take, and how far folds that sing stand apart [m]; n is at most 2000.
        A reed that is pressed into the lay leaves no opening: it is 0.
    """
    rate = take.setup.time.rate
    slowest = found.played or found.sung or 100.0
    span = max(PERIODS / slowest, 1.0 / (found.resultant or slowest))
    end = take.seconds - END_S
    columns = min(MOST_COLUMNS, round(span * rate))
    times = end - span + span * np.arange(columns) / columns
    steps = np.arange(take.mouth.size) / rate
    inside = mute_broken(take.traces.pressure, rate)[0]
    heard = mute_broken(take.sound, SOUND_RATE)[0]
    traces = (take.mouth, inside, np.maximum(np.nan_to_num(take.traces.opening), 0.0))
    apart = [2.0 * np.maximum(take.traces.half_gap, 0.0)] if take.setup.voice.folded else []
    return np.stack(
        [
            times,
            *(np.interp(times, steps, trace) for trace in traces),
            np.interp(times, np.arange(heard.size) / SOUND_RATE, heard),
            *(np.interp(times, steps, gap) for gap in apart),
        ]
    )


def lines(take: Take, found: Pitches, a4: float) -> tuple[list[list[Any]], float | None]:
    """List the lines of the sound at the end of a take.

    Parameters
    ----------
    take : Take
        What was rendered.
    found : Pitches
        From `pitches_of`.
    a4 : float
        Frequency of A4, for the names of notes. [Hz]

    Returns
    -------
    lines : list of [Hz, dB, name, kind]
        Levels against the strongest; the kind is one of `figures.plots.KINDS`.
    strongest : float or None
        Its level, against 20 µPa at one metre; None for silence. [dB]
    """
    from reedbore.report.figures.take import (  # noqa: PLC0415 - matplotlib is slow
        name_lines,
        stands_out,
    )

    sound = mute_broken(take.sound, SOUND_RATE)[0]
    seen = spectrum.lines(sound[-round(LISTEN_S * SOUND_RATE) :], SOUND_RATE, FLOOR_DB)
    moves = held_still(take.setup) != take.setup
    shown = (seen.hz < HIGHEST_HZ) & stands_out(seen, moves=moves)
    if not shown.any():
        return [], None
    strongest = float(seen.amplitude.max())
    third = None if 1 in (found.ratio or ()) else found.resultant
    kinds = name_lines(seen.hz[shown], found.played, found.sung, third, moves=moves)
    levels = spectrum.decibel(seen.amplitude[shown] / strongest)
    told = [
        [round(float(hz), 3), round(float(level), 2), _name(float(hz), kind, found, a4), kind]
        for hz, level, kind in zip(seen.hz[shown], levels, kinds, strict=True)
    ]
    return told, 20.0 * math.log10(strongest / math.sqrt(2.0) / REFERENCE_PA)


def _name(hz: float, kind: str, found: Pitches, a4: float) -> str:
    """Say whose partial a line is, such as ``partial 3 of the sung note, D4``."""
    whose = {
        "horn": ("the note on the horn", found.played),
        "voice": ("the sung note", found.sung),
        "third": ("the third note", found.resultant),
    }
    if kind == "both":
        return f"{_name(hz, 'horn', found, a4)}; {_name(hz, 'voice', found, a4)}"
    if kind not in whose:
        return "a sum or difference of the two"
    what, fundamental = whose[kind]
    if not fundamental:
        return what
    return f"partial {round(hz / fundamental)} of {what}, {notes.note_name(fundamental, a4)}"
