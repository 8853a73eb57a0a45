"""Many bores fitted by all cores, before they are stepped.

In: setups. Out: nothing; `reflection.waveguide` then knows their fits. A fit is many small steps of
linear algebra, between which threads wait for each other: processes of their own make them.
"""

import contextlib
import multiprocessing
import signal
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.model.setup import Setup
from reedbore.remembered import Made, hand_over, recording
from reedbore.simulate.acoustics.numbers import fitted_to
from reedbore.simulate.acoustics.reflection import waveguide

FAILS = ReedboreError, ArithmeticError, LookupError, ValueError
"""What a fit may end with here without a word: who needs it is told."""


class Fitters:
    """Processes that fit bores, begun when there are some to fit.

    Parameters
    ----------
    many : int
        How many. A program of yours that asks for them must keep its own start under
        ``if __name__ == "__main__"``.
    """

    def __init__(self, many: int) -> None:
        spawn = multiprocessing.get_context("spawn")  # a fork would take this process's locks along
        self._pool = ProcessPoolExecutor(many, spawn, _settle)

    def __enter__(self) -> "Fitters":
        return self

    def __exit__(self, *_: object) -> None:
        self._pool.shutdown(cancel_futures=True)

    def fit(self, setups: Sequence[Setup]) -> None:
        """Fit the bores of some setups, each different one that is not known once.

        Parameters
        ----------
        setups : sequence of Setup
            Any.
        """
        asked = [one for one in dict.fromkeys(map(fitted_to, setups)) if not waveguide.knows(*one)]
        # If one of them is killed, who needs a fit makes it.
        with contextlib.suppress(BrokenProcessPool):
            for made in self._pool.map(_fitted, asked):
                stopping.check()
                hand_over(made)


def _settle() -> None:
    """Begin such a process: Ctrl-C ends the one that asks, which ends this."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _fitted(asked: tuple[Any, ...]) -> list[Made]:
    with recording() as made, contextlib.suppress(*FAILS):
        waveguide(*asked)
    return made
