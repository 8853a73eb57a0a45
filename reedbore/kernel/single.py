"""One setup stepped through time: the kernel behind a take."""

from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import step as rows
from reedbore.kernel.compiler import compiled, compiled_part
from reedbore.kernel.parameters import Numbers


class Traces(NamedTuple):
    """What one run leaves behind, a value a step; each array has shape (n,)."""

    pressure: NDArray[np.float64]
    """In the mouthpiece. [Pa]"""
    outgoing: NDArray[np.float64]
    """Wave that leaves the reed into the bore. [Pa]"""
    opening: NDArray[np.float64]
    """Between reed tip and lay. [m]"""


def _loop(
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
        total, back = advance(table, state, 0, mouth[n], arriving)  # type: ignore[name-defined] # noqa: F821
        pressure[n] = total
        waves[n + lead] = total - back


def make_run(compile_with: Any, massless: bool, compile_parts: Any = None) -> Any:
    """Make the loop over all steps.

    Parameters
    ----------
    compile_with : callable
        Turns the plain loop into the one that runs, as for `step.make_step`.
    massless : bool
        Whether the reed follows the pressure at once.
    compile_parts : callable, optional
        The same for the step inside, if other.

    Returns
    -------
    callable
        Fills the arrays that `run` makes.

    Notes
    -----
    The step reaches the loop as a global name, not as a closure: compiled code of a closure is
    never found again in the cache.
    """
    name = "run_massless" if massless else "run_mass"
    scope = globals() | {"advance": rows.make_step(compile_parts or compile_with, massless)}
    loop = FunctionType(_loop.__code__, scope, name)
    loop.__qualname__ = name
    return compile_with(loop)


_run_mass = make_run(compiled, massless=False, compile_parts=compiled_part)
_run_massless = make_run(compiled, massless=True, compile_parts=compiled_part)


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
