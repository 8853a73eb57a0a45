"""A sound that goes round without a click.

In: a sound. Out: the same with its end cross-faded into the stretch before the place to which it
goes back. That place is chosen so that both are as alike as they can be: for a steady sound they
are whole common periods apart, and the seam is not heard at all.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.sound import smooth_number

FADE_SHARE, LONGEST_FADE = 0.1, 0.25  # of the sound, [s]
FIRST_SHARE, LAST_SHARE = 0.42, 0.62  # where in the sound the loop may begin

Samples = NDArray[np.float64]


class Loop(NamedTuple):
    """A sound, and the samples from and up to which it goes round."""

    sound: Samples
    first: int
    end: int


def looped(sound: Samples, rate: float) -> Loop:
    """Make a sound go round.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Its later half steady, or as steady as it is. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    Loop
        Unchanged but for the last tenth. After the last sample comes sample `first`.
    """
    end = sound.size
    fade = round(min(FADE_SHARE * end, LONGEST_FADE * rate))
    tail = sound[end - fade :]
    lowest, highest = round(FIRST_SHARE * end), round(LAST_SHARE * end)
    first, alike = _best_start(tail, sound[lowest - fade : highest])
    first += lowest
    before = sound[first - fade : first]
    rise = np.sin(0.5 * np.pi * (np.arange(fade) + 1.0) / fade) ** 2
    # Sounds that are alike add, others only add their energy: this keeps the level either way.
    level = np.sqrt(rise**2 + (1.0 - rise) ** 2 + 2.0 * alike * rise * (1.0 - rise))
    out = sound.copy()
    out[end - fade :] = (rise * before + (1.0 - rise) * tail) / level
    return Loop(out, first, end)


def _best_start(tail: Samples, where: Samples) -> tuple[int, float]:
    """Find the stretch that is most like a tail; its number, and how alike, from 0 to 1."""
    size = smooth_number(where.size)  # what wraps round is not looked at
    product = np.fft.irfft(np.fft.rfft(where, size) * np.conj(np.fft.rfft(tail, size)), size)
    product = product[: where.size - tail.size + 1]
    energy = np.concatenate(([0.0], np.cumsum(where**2)))
    energy = energy[tail.size :] - energy[: -tail.size]
    norm = np.sqrt(np.maximum(energy, 0.0) * float(tail @ tail))
    alike = np.divide(product, norm, out=np.zeros_like(product), where=norm > 0.0)
    best = int(np.argmax(alike))
    return best, float(np.clip(alike[best], 0.0, 1.0))
