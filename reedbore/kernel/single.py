"""One setup stepped through time: the kernel behind a take."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import step as rows
from reedbore.kernel.compiler import compiled
from reedbore.kernel.parameters import Numbers


class Traces(NamedTuple):
    """What one run leaves behind, a value a step; each array has shape (n,)."""

    pressure: NDArray[np.float64]
    """In the mouthpiece. [Pa]"""
    outgoing: NDArray[np.float64]
    """Wave that leaves the reed into the bore. [Pa]"""
    opening: NDArray[np.float64]
    """Between reed tip and lay. [m]"""


def make_run(compile_with: Any, massless: bool) -> Any:
    """Make the loop over all steps; `compile_with` as for `step.make_step`."""
    advance = rows.make_step(compile_with, massless)

    def run(
        table: Any,
        state: Any,
        first: int,
        taps: Any,
        mouth: Any,
        pressure: Any,
        waves: Any,
        opening: Any,
    ) -> None:
        lead = waves.size - mouth.size
        for n in range(mouth.size):
            here = n + lead - first
            arriving = (
                taps[0] * waves[here]
                + taps[1] * waves[here - 1]
                + taps[2] * waves[here - 2]
                + taps[3] * waves[here - 3]
            )
            opening[n] = state[0, 0]
            total, back = advance(table, state, 0, mouth[n], arriving)
            pressure[n] = total
            waves[n + lead] = total - back

    return compile_with(run)


_run_mass = make_run(compiled, massless=False)
_run_massless = make_run(compiled, massless=True)


def run(numbers: Numbers, mouth: NDArray[np.float64], loop: Any = None) -> Traces:
    """Step one setup from rest.

    Parameters
    ----------
    numbers : Numbers
        The setup.
    mouth : ndarray, shape (n,)
        Pressure in the mouth at each step. [Pa]
    loop : callable, optional
        Another loop from `make_run`, for example a plain one to step through in a debugger.

    Returns
    -------
    Traces
        What the run leaves behind.
    """
    lead = numbers.first_tap + 3
    waves = np.zeros(mouth.size + lead)
    pressure, opening = np.zeros(mouth.size), np.zeros(mouth.size)
    state = np.zeros((rows.STATE, 1))
    state[rows.OPENING] = state[rows.BEFORE] = numbers.opening
    loop = loop or (_run_massless if numbers.massless else _run_mass)
    table = numbers.table.reshape(-1, 1)
    loop(table, state, numbers.first_tap, numbers.taps, mouth, pressure, waves, opening)
    return Traces(pressure, waves[lead:], opening)
