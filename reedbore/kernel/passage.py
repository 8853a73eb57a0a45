"""A reed that goes on sounding while the bore behind it changes: the kernel behind a passage.

In: the numbers of each bore, and from which step on it is the one that sounds. Out: the same
traces as those of one take. A bore is what it sends back for the wave that the reed sends out.
While the fingers move, the bores of both notes hear that wave, and what comes back goes over from
the one to the other; reed, mouthpiece and mouth keep their state. The bore of the note to come has
listened for `LISTENS_S` before it is needed, so that it does not begin at rest.
"""

import functools
import math
from collections.abc import Sequence
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import step
from reedbore.kernel.compiler import compiled, compiled_part
from reedbore.kernel.single import Traces
from reedbore.simulate.acoustics.numbers import Numbers

Reals = NDArray[np.float64]

LISTENS_S = 0.25
"""The slowest pole of a reflection has died away ten times over. [s]"""

REED, BEFORE, COMING = range(3)
"""Columns: reed, mouthpiece and mouth; the bore that was, while it goes; the bore that is."""


class Change(NamedTuple):
    """From step `at` on another bore comes, and is wholly there after `steps`."""

    at: int
    bore: int
    """Its place among the bores."""
    steps: int


class _Bore(NamedTuple):
    """What the loop takes of a bore beside its column of numbers."""

    pairs: int
    first: int
    taps: Reals
    echoes: Reals
    places: NDArray[np.int64]
    line: Reals
    """Delay line of the reflection: what leaves the reed, or what goes on below a vent."""
    vented: bool
    way_first: int = 0
    way_taps: Reals = np.zeros(4)


def _heard(table: Any, state: Any, lane: int, bore: Any, leaving: Any, now: int) -> float:
    """Return what a bore sends back to the reed, and move it on."""
    pairs, first, taps, echoes, places, line, vented, way_first, way_taps = bore
    arriving = early = 0.0
    for k in range(4):
        arriving += taps[k] * line[now - first - k]
    for k in range(echoes.size):
        early += echoes[k] * line[now - places[k]]
    back = from_poles(table, state, lane, arriving, early)  # type: ignore[name-defined] # noqa: F821
    back = from_pairs(  # type: ignore[name-defined] # noqa: F821
        table, state, lane, back, arriving, 0, pairs
    )
    if vented:
        down = 0.0
        for k in range(4):
            down += way_taps[k] * leaving[now - way_first - k]
        back, line[now] = at_vent(  # type: ignore[name-defined] # noqa: F821
            table, state, lane, back, down, 1.0
        )
    return back


def _listen(table: Any, state: Any, bore: Any, leaving: Any, begin: int, end: int) -> None:
    """Let the bore that comes hear what has left the reed."""
    for now in range(begin, end):
        heard(table, state, COMING, bore, leaving, now)  # type: ignore[name-defined] # noqa: F821


def _loop(
    table: Any,
    state: Any,
    before: Any,
    coming: Any,
    mouth: Any,
    tongue: Any,
    pressure: Any,
    opening: Any,
    in_mouth: Any,
    leaving: Any,
    begin: int,
    end: int,
    steps: int,
) -> None:
    lead = leaving.size - mouth.size
    for n in range(begin, end):
        now = n + lead
        back = heard(table, state, COMING, coming, leaving, now)  # type: ignore[name-defined] # noqa: F821
        table[REST, REED], table[SLIT, REED] = table[REST, COMING], table[SLIT, COMING]
        if steps > 0:
            blend = 0.5 - 0.5 * math.cos(math.pi * (n - begin + 1) / steps)
            for k in range(SHARED):
                table[k, REED] = table[k, BEFORE] + blend * (table[k, COMING] - table[k, BEFORE])
            gone = heard(table, state, BEFORE, before, leaving, now)  # type: ignore[name-defined] # noqa: F821
            back = gone + blend * (back - gone)
        table[REST, REED] *= tongue[n]
        table[SLIT, REED] *= tongue[n]
        up = 0.0
        if coupled:  # type: ignore[name-defined] # noqa: F821
            up = from_upstream(table, state, REED)  # type: ignore[name-defined] # noqa: F821
        opening[n] = state[OPENING, REED]
        pressure[n], leaving[now] = at_reed(  # type: ignore[name-defined] # noqa: F821
            table, state, REED, mouth[n], up, back
        )
        if coupled:  # type: ignore[name-defined] # noqa: F821
            into_upstream(table, state, REED)  # type: ignore[name-defined] # noqa: F821
            in_mouth[n] = state[IN_MOUTH, REED]


SHARED, REST, SLIT = step.DIRECT, step.REST, step.SLIT
OPENING, IN_MOUTH = step.OPENING, step.IN_MOUTH


def make_loops(
    compile_with: Any, massless: bool, coupled: bool, compile_parts: Any = None
) -> tuple[Any, Any]:
    """Make the loops over the steps of a passage.

    Parameters
    ----------
    compile_with, massless, coupled, compile_parts
        As for `single.make_run`.

    Returns
    -------
    listen, loop : callable
        Compiled, as `play` calls them.
    """
    parts = compile_parts or compile_with
    scope = globals() | step.make_parts(parts, massless, coupled)._asdict() | {"coupled": coupled}
    scope["heard"] = parts(FunctionType(_heard.__code__, scope, "heard"))
    made = []
    for plain in (_listen, _loop):
        name = f"passage{plain.__name__}_{'massless' if massless else 'mass'}"
        loop = FunctionType(plain.__code__, scope, name + "_coupled" * coupled)
        loop.__qualname__ = loop.__name__
        made.append(compile_with(loop))
    return made[0], made[1]


@functools.cache
def _compiled_loops(massless: bool, coupled: bool) -> tuple[Any, Any]:
    return make_loops(compiled, massless, coupled, compile_parts=compiled_part)


def play(
    bores: Sequence[Numbers],
    changes: Sequence[Change],
    mouth: Reals,
    tongue: Reals,
    loops: tuple[Any, Any] | None = None,
) -> Traces:
    """Step one reed, from rest, through the bores of a passage.

    Parameters
    ----------
    bores : sequence of Numbers
        The same reed, mouth and rate in each; vents are open from the start.
    changes : sequence of Change
        Rising; the first is at step 0 and takes no time. No change begins before the one before
        it has ended.
    mouth : ndarray, shape (n,)
        As for `single.run`. [Pa]
    tongue : ndarray, shape (n,)
        How far the tongue leaves the reed free: 1 not touched, 0 laid against the lay.
    loops : tuple of callable, optional
        Others from `make_loops`, for example plain ones.

    Returns
    -------
    Traces
        What the run leaves behind.
    """
    reed = bores[changes[0].bore]
    listen, loop = loops or _compiled_loops(reed.massless, reed.coupled)
    lead = max(max(b.taps.first, b.way.first if b.way else 0) + 3 for b in bores)
    leaving = np.zeros(mouth.size + lead)
    traces = Traces(
        *(np.zeros(mouth.size), leaving[lead:], np.zeros(mouth.size)),
        np.zeros(mouth.size) if reed.coupled else mouth,
    )
    table, state = np.zeros((step.NUMBERS, 3)), np.zeros((step.STATE, 3))
    table[:, REED] = reed.table
    state[[step.OPENING, step.BEFORE], REED] = reed.opening
    before = coming = _bore(reed, leaving)
    ends = [*(change.at for change in changes[1:]), mouth.size]
    for change, end in zip(changes, ends, strict=True):
        table[:, BEFORE], state[:, BEFORE], before = table[:, COMING], state[:, COMING], coming
        table[:, COMING], coming = bores[change.bore].table, _bore(bores[change.bore], leaving)
        state[:, COMING] = 0.0
        now = change.at + lead
        begin = max(lead, now - round(LISTENS_S * reed.rate))
        listen(table, state, coming, leaving, begin, now)
        arrays = *(before, coming, mouth, tongue, traces.pressure, traces.opening), traces.mouth
        there = min(change.at + change.steps, end)
        loop(table, state, *arrays, leaving, change.at, there, change.steps)
        loop(table, state, *arrays, leaving, there, end, 0)
    return traces


def _bore(numbers: Numbers, leaving: Reals) -> _Bore:
    way, vented = numbers.way or numbers.taps, numbers.way is not None
    # A vent's line is as long as the passage, but only where it sounds is it ever touched.
    line = np.zeros(leaving.size) if vented else leaving
    taps, early = numbers.taps, numbers.echoes
    heard = _Bore(numbers.pairs, taps.first, taps.weights, early, numbers.places, line, vented)
    return heard._replace(way_first=way.first, way_taps=way.weights)
