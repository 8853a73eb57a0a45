"""Many setups that differ in little: what is the same in them is kept, and worked out, once.

In: setups. Out: the different ones but for the note that is sung, and columns: which of them, and
what note, each setup has. A map of thousands of cells has some hundred horns.
"""

from collections.abc import Callable, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reedbore.model.setup import Setup

Reals = NDArray[np.float64]
Whole = NDArray[np.int64]


class Setups(Sequence[Setup]):
    """Setups as columns.

    Parameters
    ----------
    kinds : sequence of Setup
        All different. Of folds each stands for itself, for they are solved for their note.
    which : ndarray, shape (n,)
        Which of them each setup is.
    sung_hz : ndarray, shape (n,)
        The note that it sings. [Hz]
    """

    def __init__(self, kinds: Sequence[Setup], which: Whole, sung_hz: Reals) -> None:
        self.kinds, self.which, self.sung_hz = tuple(kinds), which, sung_hz

    @classmethod
    def of(cls, setups: Sequence[Setup]) -> "Setups":
        """Find what is the same in some setups."""
        if isinstance(setups, Setups):
            return setups
        known: dict[Setup, int] = {}
        which = [known.setdefault(_kind(setup), len(known)) for setup in setups]
        sung = [setup.voice.frequency for setup in setups]
        return cls(list(known), np.array(which, np.int64), np.array(sung, np.float64))

    @classmethod
    def joined(cls, parts: "Sequence[Setups]") -> "Setups":
        """Put several of them one after the other."""
        before = np.cumsum([0, *(len(part.kinds) for part in parts)])
        return cls(
            [kind for part in parts for kind in part.kinds],
            np.concatenate(
                [part.which + first for part, first in zip(parts, before[:-1], strict=True)]
            ),
            np.concatenate([part.sung_hz for part in parts]),
        )

    def __len__(self) -> int:
        return self.which.size

    @overload
    def __getitem__(self, place: int) -> Setup: ...
    @overload
    def __getitem__(self, place: slice) -> "Setups": ...
    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return self.at(np.arange(len(self))[place])
        return with_note(self.kinds[self.which[place]], float(self.sung_hz[place]))

    def at(self, places: ArrayLike) -> "Setups":
        """Return some of them, by their places."""
        some = np.asarray(places, np.int64)
        used, which = np.unique(self.which[some], return_inverse=True)
        return Setups([self.kinds[k] for k in used], which, self.sung_hz[some])

    def each(self, value: Callable[[Setup], Any], dtype: Any = np.float64) -> NDArray[Any]:
        """Return for each setup what hangs on all but the note that it sings."""
        return np.array([value(kind) for kind in self.kinds], dtype)[self.which]


def with_note(setup: Setup, hz: float) -> Setup:
    """Return a setup with another note sung. [Hz]."""
    if setup.voice.frequency == hz:
        return setup
    return setup.model_copy(update={"voice": setup.voice.model_copy(update={"frequency": hz})})


def _kind(setup: Setup) -> Setup:
    return setup if setup.voice.drive == "folds" else with_note(setup, 1.0)
