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
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import rows
from reedbore.kernel.compiler import Compile, assembled, compiled
from reedbore.kernel.ear import Ear, stretches
from reedbore.kernel.folds import NOBODY, NONE, Postures, Singer, take_posture
from reedbore.kernel.numbers import Numbers, vent_rise
from reedbore.kernel.player import REED, STILL, Player, hold, jet_noise
from reedbore.kernel.single import FOLDS, Traces
from reedbore.kernel.step import COUPLED, Bore, bore_of, from_bore, from_player, from_singer
from reedbore.kernel.valve import VALVES

Reals = NDArray[np.float64]

LISTENS_S = 0.35
"""The slowest pole of a reflection, 3 Hz, has died away to a thousandth. [s]"""

BEFORE, COMING = range(1, 3)
"""Columns beside that of reed and mouth: the bore that was, while it goes, and the one that is."""


class Change(NamedTuple):
    """From step `at` on another bore comes, and is wholly there after `steps`."""

    at: int
    bore: int
    """Its place among the bores."""
    steps: int


def _listen(table: Any, state: Any, bore: Any, leaving: Any, begin: int, end: int) -> None:
    """Let the bore that comes hear what has left the reed."""
    for now in range(begin, end):
        from_bore(table, state, COMING, bore, leaving, now)


def _loop(
    table: Any,
    state: Any,
    before: Any,
    coming: Any,
    singer: Any,
    postures: Any,
    player: Any,
    mouth: Any,
    pressure: Any,
    opening: Any,
    in_mouth: Any,
    leaving: Any,
    since: int,
    steps: int,
    begin: int,
    end: int,
) -> None:
    lead = leaving.size - mouth.size
    for n in range(begin, end):
        now = n + lead
        reflected = from_bore(table, state, COMING, coming, leaving, now)
        table[rows.REST, REED] = table[rows.REST, COMING]
        table[rows.SLIT, REED] = table[rows.SLIT, COMING]
        if steps > 0:
            blend = 0.5 - 0.5 * math.cos(math.pi * (n - since + 1) / steps)
            # Rows above those of the reflection: reed, mouthpiece and mouth.
            for k in range(rows.DIRECT):
                table[k, REED] = table[k, BEFORE] + blend * (table[k, COMING] - table[k, BEFORE])
            gone = from_bore(table, state, BEFORE, before, leaving, now)
            reflected = gone + blend * (reflected - gone)
        hold(table, player, n)
        noise = jet_noise(table, player, in_mouth, pressure, opening, n)
        opening[n] = state[rows.OPENING, REED]
        if FOLDS:
            take_posture(singer, postures, n)
            pressure[n], leaving[now] = from_singer(
                table, state, REED, singer, mouth[n] + noise, reflected, n
            )
        else:
            pressure[n], leaving[now] = from_player(table, state, REED, mouth[n] + noise, reflected)
        if COUPLED:
            in_mouth[n] = state[rows.IN_MOUTH, REED] - noise


def make_loops(
    valve: str,
    coupled: bool = False,
    compile_with: Compile = compiled,
    folds: bool = False,
    vented: bool = True,
) -> tuple[Any, Any]:
    """Make the loops over the steps of a passage.

    Parameters
    ----------
    valve, coupled, compile_with, folds, vented
        As for `single.make_run`.

    Returns
    -------
    listen, loop : callable
        As `play` calls them.
    """
    name = f"_{valve}" + "_vented" * vented + "_coupled" * coupled + "_folds" * folds
    kind: dict[str, Any] = {"valve": VALVES[valve], "COUPLED": coupled, "FOLDS": folds}
    kind["VENTED"] = vented
    listen = assembled(_listen, "passage_listen" + "_vented" * vented, compile_with, VENTED=vented)
    return listen, assembled(_loop, "passage_loop" + name, compile_with, **kind)


@functools.cache
def compiled_loops(valve: str, coupled: bool, folds: bool, vented: bool) -> tuple[Any, Any]:
    """Return the compiled loops for a kind of setup."""
    return make_loops(valve, coupled, folds=folds, vented=vented)


def play(
    bores: Sequence[Numbers],
    changes: Sequence[Change],
    mouth: Reals,
    player: Player = STILL,
    loops: tuple[Any, Any] | None = None,
    singer: Singer = NOBODY,
    postures: Postures = NONE,
    ear: Ear | None = None,
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
    player : Player, optional
        What lip, tongue and jet do.
    loops : tuple of callable, optional
        Others from `make_loops`, for example plain ones.
    singer : Singer, optional
        As for `single.run`.
    postures : Postures, optional
        What the singer does beside it, a value a step.
    ear : Ear, optional
        As for `single.run`.

    Returns
    -------
    Traces
        What the run leaves behind.
    """
    reed = bores[changes[0].bore]
    folds = singer.steps.size > 0
    vented = any(bore.upper is not None for bore in bores)
    listen, loop = loops or compiled_loops(reed.valve, reed.coupled, folds, vented)
    lead = max(bore.lead for bore in bores)
    leaving = np.zeros(mouth.size + lead)
    traces = Traces(
        *(np.zeros(mouth.size), leaving[lead:], np.zeros(mouth.size)),
        np.zeros(mouth.size) if reed.coupled else mouth,
        *(singer.half_gap, singer.flow, singer.lungs, ear.added if ear else NOBODY.lungs),
    )
    table, state = np.zeros((rows.NUMBERS, 3)), np.zeros((rows.STATE, 3))
    table[:, REED] = reed.table
    hold(table, player, 0)
    state[[rows.OPENING, rows.BEFORE], REED] = table[rows.REST, REED]
    before = coming = _open(reed, leaving)
    ends = [*(change.at for change in changes[1:]), mouth.size]
    for change, end in zip(changes, ends, strict=True):
        table[:, BEFORE], state[:, BEFORE], before = table[:, COMING], state[:, COMING], coming
        table[:, COMING], coming = bores[change.bore].table, _open(bores[change.bore], leaving)
        state[:, COMING] = 0.0
        now = change.at + lead
        begin = max(lead, now - round(LISTENS_S * reed.rate))
        listen(table, state, coming, leaving, begin, now)
        players = before, coming, singer, postures, player
        arrays = mouth, traces.pressure, traces.opening, traces.mouth
        there = min(change.at + change.steps, end)
        for steps, *span in ((change.steps, change.at, there), (0, there, end)):
            for part in stretches(ear, singer, *span):
                loop(table, state, *players, *arrays, leaving, change.at, steps, *part)
    return traces


def _open(numbers: Numbers, leaving: Reals) -> Bore:
    """Return a bore whose vent, if it has one, is open before its first step."""
    return bore_of(numbers, leaving, -vent_rise(numbers.rate))
