"""One setup stepped through time: the kernel behind a take."""

import functools
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import rows
from reedbore.kernel.compiler import Compile, assembled, compiled
from reedbore.kernel.ear import Ear, stretches
from reedbore.kernel.folds import NOBODY, Singer
from reedbore.kernel.numbers import Numbers
from reedbore.kernel.player import STILL, Player, hold, jet_noise
from reedbore.kernel.step import COUPLED, bore_of, from_bore, from_player, from_singer
from reedbore.kernel.valve import VALVES

FOLDS = False
"""Whether folds sing in the mouth; `make_run` says so for others."""

MOVES = True
"""Whether lip, tongue or jet do anything: a table that a loop may write to costs twice the time."""


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
    half_gap: NDArray[np.float64] = NOBODY.half_gap
    """Between singing folds, below 0 where they press on each other; empty without them. [m]"""
    glottal_flow: NDArray[np.float64] = NOBODY.flow
    """Through them. [m³ s⁻¹]"""
    lungs: NDArray[np.float64] = NOBODY.lungs
    """Pressure below them over the breath. [Pa]"""
    corrected: NDArray[np.float64] = NOBODY.lungs
    """Tension that the ear has added; empty without one. [cents]"""


def _loop(
    table: Any,
    state: Any,
    bore: Any,
    singer: Any,
    player: Any,
    mouth: Any,
    pressure: Any,
    opening: Any,
    in_mouth: Any,
    leaving: Any,
    begin: int,
    end: int,
) -> None:
    lead = leaving.size - mouth.size
    for n in range(begin, end):
        now = n + lead
        reflected = from_bore(table, state, 0, bore, leaving, now)
        noise = 0.0
        if MOVES:
            hold(table, player, n)
            noise = jet_noise(table, player, in_mouth, pressure, opening, n)
        opening[n] = state[rows.OPENING, 0]
        if FOLDS:
            pressure[n], leaving[now] = from_singer(
                table, state, 0, singer, mouth[n] + noise, reflected, n
            )
        else:
            pressure[n], leaving[now] = from_player(table, state, 0, mouth[n] + noise, reflected)
        if COUPLED:
            in_mouth[n] = state[rows.IN_MOUTH, 0] - noise


def make_run(
    valve: str,
    coupled: bool = False,
    compile_with: Compile = compiled,
    folds: bool = False,
    vented: bool = True,
    moves: bool = True,
) -> Any:
    """Make the loop over all steps.

    Parameters
    ----------
    valve : str
        One of `valve.VALVES`.
    coupled : bool
        Whether the reed acts back on the pressure in the mouth.
    compile_with : callable
        Turns the plain loop into the one that runs: a compiler, or `compiler.plain`.
    folds : bool
        Whether folds sing in it; then it is coupled too.
    vented : bool
        Whether there may be a vent.
    moves : bool
        Whether lip, tongue or jet may do anything.

    Returns
    -------
    callable
        Fills the arrays that `run` makes.
    """
    name = f"run_{valve}" + "_vented" * vented + "_coupled" * coupled + "_folds" * folds
    name += "_moves" * moves
    kind: dict[str, Any] = {"valve": VALVES[valve], "COUPLED": coupled, "FOLDS": folds}
    kind |= {"VENTED": vented, "MOVES": moves}
    return assembled(_loop, name, compile_with, **kind)


@functools.cache
def compiled_run(valve: str, coupled: bool, folds: bool, vented: bool, moves: bool) -> Any:
    """Return the compiled loop for a kind of setup."""
    return make_run(valve, coupled, folds=folds, vented=vented, moves=moves)


def run(
    numbers: Numbers,
    mouth: NDArray[np.float64],
    loop: Any = None,
    singer: Singer = NOBODY,
    ear: Ear | None = None,
    player: Player = STILL,
) -> Traces:
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
    singer : Singer, optional
        Whose folds sing in the mouth; `mouth` is then the breath, and the reed coupled.
    ear : Ear, optional
        By which the singer moves the tension.
    player : Player, optional
        What lip, tongue and jet do; a tongue needs a lip.

    Returns
    -------
    Traces
        What the run leaves behind.
    """
    leaving = np.zeros(mouth.size + numbers.lead)
    bore = bore_of(numbers, leaving, numbers.lead + numbers.vent_begins)
    pressure, opening = np.zeros(mouth.size), np.zeros(mouth.size)
    in_mouth = np.zeros(mouth.size) if numbers.coupled else mouth
    state = np.zeros((rows.STATE, 1))
    table = numbers.table.reshape(-1, 1).copy()
    hold(table, player, 0)
    held = player.lip.size or player.tongue.size
    state[rows.OPENING] = state[rows.BEFORE] = table[rows.REST] if held else numbers.opening
    folds = singer.steps.size > 0
    moves = bool(held or player.jet.size)
    vented = numbers.upper is not None
    loop = loop or compiled_run(numbers.valve, numbers.coupled, folds, vented, moves)
    arrays = bore, singer, player, mouth, pressure, opening, in_mouth, leaving
    for part in stretches(ear, singer, 0, mouth.size):
        loop(table, state, *arrays, *part)
    folded = singer.half_gap, singer.flow, singer.lungs, ear.added if ear else NOBODY.lungs
    return Traces(pressure, leaving[numbers.lead :], opening, in_mouth, *folded)


class Sounding:
    """A setup that goes on from where it has come to, and whose reed may be held otherwise then.

    Parameters
    ----------
    numbers : Numbers
        The setup, at rest.
    """

    def __init__(self, numbers: Numbers) -> None:
        self._state = np.zeros((rows.STATE, 1))
        self._state[rows.OPENING] = self._state[rows.BEFORE] = numbers.opening
        self._lines = np.zeros((3, numbers.lead))
        self._now = 0

    def go_on(self, numbers: Numbers, mouth: NDArray[np.float64]) -> NDArray[np.float64]:
        """Step on, as `run` does from rest; nothing else moves.

        Parameters
        ----------
        numbers : Numbers
            Of the same bore; the reed may be another.
        mouth : ndarray, shape (n,)
            As for `run`. [Pa]

        Returns
        -------
        ndarray, shape (n,)
            Pressure in the mouthpiece. [Pa]
        """
        lead = numbers.lead
        leaving = np.concatenate((self._lines[0], np.zeros(mouth.size)))
        bore = bore_of(numbers, leaving, lead + numbers.vent_begins - self._now)
        lines = leaving, bore.line, bore.onward
        for line, before in zip(lines[1:], self._lines[1:], strict=True):
            line[:lead] = before
        pressure, opening = np.zeros(mouth.size), np.zeros(mouth.size)
        in_mouth = np.zeros(mouth.size) if numbers.coupled else mouth
        loop = compiled_run(numbers.valve, numbers.coupled, False, bore.vented, False)
        arrays = NOBODY, STILL, mouth, pressure, opening, in_mouth, leaving
        loop(numbers.table.reshape(-1, 1), self._state, bore, *arrays, 0, mouth.size)
        self._lines = np.array([line[-lead:] for line in lines])
        self._now += mouth.size
        return pressure
