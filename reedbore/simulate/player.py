"""What a player does that is no machine: the tongue's start, slow movement, the noise of the jet.

In: a setup's `breath`. Out: what the pressure is multiplied by, and a `kernel.player.Player`. It
repeats bit for bit by `breath.seed`; each movement has dice of its own, so that setting one leaves
the others as they are.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.player import STILL, Player
from reedbore.model.bore import Bore
from reedbore.model.setup import Setup
from reedbore.physics import unsteady
from reedbore.simulate.acoustics.numbers import HELD_BY_LIP, lip_rows
from reedbore.simulate.controls import BACK, let_go

Reals = NDArray[np.float64]

AIR, SWAY, TIP, STIFFNESS = range(10, 14)
"""Dice."""

EVERY_S = 0.01
"""So often slow movement is drawn, and lies straight between: it ends below 6 Hz. [s]"""

OF_A_CONE = {"breath.air": 0.018, "breath.sway": 0.02, "breath.lip_sway": 0.06}
OF_A_CYLINDER = {"breath.air": 0.002, "breath.sway": 0.05, "breath.lip_sway": 0.003}
"""What takes and passages have, by the bore, unless something else is set.

Found by trial, so that level of partials, pitch and noise move as on recorded notes: the wide slit
of a saxophone lets more air through, and rougher, and where a lip holds the reed of a clarinet as
loosely as there its pitch would move by too much.
"""

TONGUE_MS = 8.0
"""What a tongue takes to let go, unless something else is set. [ms]"""

CONE = 1.5
"""A bore that half way down is so many times as wide as at its start is a cone."""


def alive(setup: Setup) -> Setup:
    """Give a setup the breath, lip and tongue of a player who is no machine."""
    usual = OF_A_CONE if _is_cone(setup.bore) else OF_A_CYLINDER
    for name, value in {**usual, "breath.tongue_ms": TONGUE_MS}.items():
        setup = setup.with_value(name, value)
    return setup


def _is_cone(bore: Bore) -> bool:
    length = sum(section.length for section in bore.sections)
    return bore.diameter_at(0.5 * length) > CONE * bore.diameter_at(0.0)


def held_still(setup: Setup) -> Setup:
    """Return a setup whose player has neither noise nor sway: that is how states are judged."""
    if not setup.breath.moves:
        return setup
    return setup.model_copy(update={"breath": setup.breath.held_still()})


def sway(setup: Setup, n: int) -> Reals | float:
    """Return what slow movement multiplies the breath by at each of `n` steps."""
    if not setup.breath.sway:
        return 1.0
    rate = setup.time.rate
    time = EVERY_S * np.arange(math.ceil(n / rate / EVERY_S) + 1, dtype=np.float64)
    return np.interp(np.arange(n) / rate, time, _slow(setup, setup.breath.sway, SWAY, time))


def player_of(setup: Setup, n: int) -> Player:
    """Return what lip, tongue and jet do in a take of `n` steps."""
    breath, rate = setup.breath, setup.time.rate
    if not (breath.moves or breath.tongue):
        return STILL
    tongue = np.zeros(0)
    if breath.tongue:
        last = math.ceil((breath.rise + breath.tongue + BACK) * rate)
        tongue = let_go(np.arange(min(last, n)) / rate - breath.rise, breath.tongue)
    every = round(EVERY_S * rate)
    held = setup.reed.held()
    usual = {name: np.full(n // every + 2, getattr(held, name)) for name in HELD_BY_LIP}
    return Player(lip_of(setup, usual, every), every, tongue, jet(setup, n))


def lip_of(setup: Setup, held: Mapping[str, Reals], every: int) -> Reals:
    """Return `kernel.player.Player.lip` of a reed that a lip holds, and moves, every so many steps.

    Parameters
    ----------
    setup : Setup
        Reed, breath and rate.
    held : mapping
        For each of `HELD_BY_LIP` what the lip makes of it, shape (m,).
    every : int
        Steps between them.

    Returns
    -------
    ndarray, shape (m, len(LIP))
    """
    opening, stiffness, damping, contact = (held[name] for name in HELD_BY_LIP)
    if setup.breath.lip_sway:
        time = every / setup.time.rate * np.arange(opening.size, dtype=np.float64)
        opening = opening * _slow(setup, setup.breath.lip_sway, TIP, time)
        stiffness = stiffness * _slow(setup, setup.breath.lip_sway, STIFFNESS, time)
    return lip_rows(setup, opening, stiffness, damping, contact)


def _slow(setup: Setup, size: float, dice: int, time: Reals) -> Reals:
    """Return what slow movement of a size multiplies by, at some times [s]."""
    return 1.0 + size * unsteady.slow_sway(time, np.random.default_rng([setup.breath.seed, dice]))


def jet(setup: Setup, n: int) -> Reals:
    """Return the noise of the jet through the reed over the drop of pressure there, at each step.

    Notes
    -----
    Turbulence makes a source in proportion to the pressure that drives the jet [1]_: the flow
    U = wh √(2Δp/ρ) (1 + σξ), ξ noise of rms 1, as a pressure 2σξΔp.

    References
    ----------
    .. [1] K. N. Stevens, "Airflow and turbulence noise for fricative and stop consonants: static
       considerations," J. Acoust. Soc. Am. 50(4B), 1180-1192, 1971 (abstract).
    """
    if not setup.breath.air:
        return np.zeros(0)
    dice = np.random.default_rng([setup.breath.seed, AIR])
    return 2.0 * setup.breath.air * unsteady.breath_noise(n, setup.time.rate, dice)
