"""One setup stepped through time: the kernel behind a take."""

import functools
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.compiler import compiled, compiled_part
from reedbore.kernel.step import BEFORE, IN_MOUTH, OPENING, STATE, make_step
from reedbore.simulate.acoustics.numbers import Numbers


class Traces(NamedTuple):
    """What one run leaves behind, a value a step; each array has shape (n,)."""

    pressure: NDArray[np.float64]
    """In the mouthpiece. [Pa]"""
    outgoing: NDArray[np.float64]
    """Wave that leaves the reed into the bore. [Pa]"""
    opening: NDArray[np.float64]
    """Between reed tip and lay. [m]"""
    mouth: NDArray[np.float64]
    """In the mouth. [Pa]"""


VENT_RISE_S = 0.01
"""In this time a vent opens. [s]"""

BURST_PA = 1e6
"""No reed makes ten atmospheres: a run that passes this has diverged. [Pa]"""


def vent_rise(rate: float) -> int:
    """Return in how many steps a vent opens, at a rate [Hz]."""
    return max(round(VENT_RISE_S * rate), 1)


def vent_opens(numbers: Numbers) -> int:
    """Return the step at which the vent begins to open; before the run if it was always open."""
    return numbers.vent_opens if numbers.vent_opens > 0 else -vent_rise(numbers.rate)


def _loop(
    table: Any,
    state: Any,
    pairs: int,
    mouth: Any,
    pressure: Any,
    opening: Any,
    in_mouth: Any,
    entering: Any,
    first: int,
    taps: Any,
    echoes: Any,
    places: Any,
    leaving: Any,
    way_first: int,
    way_taps: Any,
    vent_opens: int,
    vent_rise: int,
) -> None:
    lead = entering.size - mouth.size
    for n in range(mouth.size):
        now = n + lead
        arriving = early = down = 0.0
        for k in range(4):
            arriving += taps[k] * entering[now - first - k]
        for k in range(echoes.size):
            early += echoes[k] * entering[now - places[k]]
        share = 1.0
        if vented:  # type: ignore[name-defined] # noqa: F821
            for k in range(4):
                down += way_taps[k] * leaving[now - way_first - k]
            share = min(max((n - vent_opens) / vent_rise, 0.0), 1.0)
        opening[n] = state[0, 0]
        pressure[n], out, below = advance(  # type: ignore[name-defined] # noqa: F821
            table, state, 0, pairs, mouth[n], arriving, early, down, share
        )
        if coupled:  # type: ignore[name-defined] # noqa: F821
            in_mouth[n] = state[IN_MOUTH, 0]
        entering[now] = below
        if vented:  # type: ignore[name-defined] # noqa: F821
            leaving[now] = out


def make_run(
    compile_with: Any,
    massless: bool,
    vented: bool = False,
    coupled: bool = False,
    compile_parts: Any = None,
) -> Any:
    """Make the loop over all steps.

    Parameters
    ----------
    compile_with : callable
        Turns the plain loop into the one that runs, as for `step.make_step`.
    massless : bool
        Whether the reed follows the pressure at once.
    vented : bool
        Whether the bore has an open vent.
    coupled : bool
        Whether the reed acts back on the pressure in the mouth.
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
    name = f"run_{'massless' if massless else 'mass'}"
    name += "_vented" * vented + "_coupled" * coupled
    step = make_step(compile_parts or compile_with, massless, vented, coupled)
    scope = globals() | {"advance": step, "vented": vented, "coupled": coupled}
    loop = FunctionType(_loop.__code__, scope, name)
    loop.__qualname__ = name
    return compile_with(loop)


@functools.cache
def _compiled_run(massless: bool, vented: bool, coupled: bool) -> Any:
    return make_run(compiled, massless, vented, coupled, compile_parts=compiled_part)


def run(numbers: Numbers, mouth: NDArray[np.float64], loop: Any = None) -> Traces:
    """Step one setup from rest.

    Parameters
    ----------
    numbers : Numbers
        The setup.
    mouth : ndarray, shape (n,)
        Pressure that is blown and sung at each step; that in the mouth itself, unless the mouth is
        coupled to the reed. [Pa]
    loop : callable, optional
        Another loop from `make_run`, for example a plain one to step through in a debugger.

    Returns
    -------
    Traces
        What the run leaves behind.
    """
    way = numbers.way or numbers.taps
    lead = max(numbers.taps.first, way.first) + 3
    entering = np.zeros(mouth.size + lead)
    leaving = np.zeros(mouth.size + lead) if numbers.way else entering
    pressure, opening = np.zeros(mouth.size), np.zeros(mouth.size)
    in_mouth = np.zeros(mouth.size) if numbers.coupled else mouth
    state = np.zeros((STATE, 1))
    state[OPENING] = state[BEFORE] = numbers.opening
    loop = loop or _compiled_run(numbers.massless, numbers.way is not None, numbers.coupled)
    loop(
        *(numbers.table.reshape(-1, 1), state, numbers.pairs, mouth, pressure, opening),
        *(
            in_mouth,
            entering,
            numbers.taps.first,
            numbers.taps.weights,
            numbers.echoes,
            numbers.places,
        ),
        *(leaving, way.first, way.weights, vent_opens(numbers), vent_rise(numbers.rate)),
    )
    return Traces(pressure, leaving[lead:], opening, in_mouth)
