"""Made sounds of a horn and a voice: mixed by a reed, or only added up."""

from typing import NamedTuple

import numpy as np

RATE = 12000.0


def tone(cycles: np.ndarray, falls_db: float = 4.0, partials: int = 20) -> np.ndarray:
    """Partials that fall evenly over a phase in cycles; none beyond 5 kHz in what is made here."""
    orders = range(1, partials + 1)
    return sum(
        10.0 ** (-falls_db * (k - 1) / 20.0) * np.sin(2.0 * np.pi * k * cycles + 0.7 * k * k)
        for k in orders
    )


def clock(seconds: float) -> np.ndarray:
    return np.arange(round(seconds * RATE)) / RATE


def sway(seconds: float, cents: float, seed: int) -> np.ndarray:
    """A slow wander of a pitch [cents], the same for the same seed."""
    t, dice = clock(seconds), np.random.default_rng(seed)
    waves = [np.sin(2.0 * np.pi * (hz * t + dice.random())) for hz in (0.6, 0.9, 1.7)]
    return cents * sum(waves) / 1.5


def cycles(hz: float, cents: np.ndarray) -> np.ndarray:
    return np.cumsum(hz * 2.0 ** (cents / 1200.0)) / RATE


def mixed(horn: np.ndarray, voice: np.ndarray, depth: float = 0.1) -> np.ndarray:
    """What a reed does: it opens and shuts with what is sung, so the two multiply."""
    return horn * (1.0 + depth * voice)


def added(horn: np.ndarray, voice: np.ndarray, depth: float = 0.1) -> np.ndarray:
    return horn + depth * voice


def noise(count: int, effective: float, seed: int = 0) -> np.ndarray:
    return effective * np.random.default_rng(seed).standard_normal(count)


class Held(NamedTuple):
    """A recording in memory: the `Sounds` of `verdict.recording`."""

    horn: np.ndarray
    throat: np.ndarray | None
    rate: float = RATE

    @property
    def seconds(self) -> float:
        return self.horn.size / self.rate

    def piece(self, begin: float, end: float) -> tuple[np.ndarray, np.ndarray | None]:
        inside = slice(round(begin * self.rate), round(end * self.rate))
        return self.horn[inside], None if self.throat is None else self.throat[inside]
