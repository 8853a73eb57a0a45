"""What a singer who listens wants to hear: the aim with all that is meant, but no slow wander.

In: a setup, or the notes of a line. Out: an ear for the time step, or none for a singer without.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.ear import Ear
from reedbore.model.setup import Setup
from reedbore.simulate.controls import Span
from reedbore.simulate.folds import LEAST_SWING
from reedbore.simulate.singing import line_bend, parts, pitch_bend

Reals = NDArray[np.float64]


def ear_of(setup: Setup, count: int, pull_cents: float | Reals = 0.0) -> Ear | None:
    """Return the ear of a singer who holds a note.

    Parameters
    ----------
    setup : Setup
        Its voice is sung by folds, or off.
    count : int
        Steps of the run.
    pull_cents : float or ndarray, shape (count,)
        By how much the aim is raised. [cents]

    Returns
    -------
    Ear or None
        None if the singer does not listen.
    """
    if not _listens(setup):
        return None
    meant = pitch_bend(_unwandering(setup), count, pull_cents)
    wanted = np.broadcast_to(setup.voice.frequency * np.exp2(meant / 1200.0), count)
    return Ear(wanted, setup.time.rate, LEAST_SWING)


def ear_of_line(notes: Sequence[tuple[Span, Setup]], n: int, gate: Reals) -> Ear | None:
    """Return the ear of a singer who sings a line.

    Parameters
    ----------
    notes : sequence of (Span, Setup)
        As for `folds.singing_line`.
    n : int
        Steps of the run.
    gate : ndarray, shape (n,)
        Gate of the voice: where it is shut no note is wanted.

    Returns
    -------
    Ear or None
        None if the singer does not listen, or there are no notes.
    """
    if not notes or not _listens(notes[0][1]):
        return None
    spans, first = [note for note, _ in notes], notes[0][1]
    octaves = line_bend(_unwandering(first), spans, n) / 1200.0
    for note in parts(spans, n, first.time.rate):
        octaves[note.part] += note.share * np.log2(note.note.hz)
    wanted = np.where(gate > 0.0, np.exp2(octaves), 0.0)
    return Ear(wanted, first.time.rate, LEAST_SWING)


def _listens(setup: Setup) -> bool:
    return setup.voice.ear == "on" and setup.voice.folded


def _unwandering(setup: Setup) -> Setup:
    return setup.model_copy(update={"voice": setup.voice.model_copy(update={"wander_cents": 0.0})})
