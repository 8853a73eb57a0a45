"""What a player does from step to step beside blowing and singing: lip, tongue, noise of the jet.

The lip holds the reed: how open, stiff and damped it is may change slowly. The tongue lays the
reed's rest against the lay. The jet through the reed makes noise in proportion to the pressure
that drives it, which is known a step late.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import rows

Reals = NDArray[np.float64]

LIP = (*range(rows.DAMPED, rows.LAY_DAMPED + 1), rows.CLOSING)
"""Rows that the lip changes, in the order of `Player.lip`; the slit goes with the rest."""

JET_OPENING = 0.1
"""Under this share of its rest the reed is as good as shut, and makes no noise."""

REED = 0
"""Column of the reed."""


class Player(NamedTuple):
    """Arrays that may each be empty: then the lip keeps still, the tongue away, the jet quiet."""

    lip: Reals
    """Shape (m, len(LIP)), at every `every`-th step from the first on, past the last step."""
    every: int
    """[steps]"""
    tongue: Reals
    """Share of the rest that the tongue leaves, for the first steps; more where it draws the reed
    away from the lay."""
    jet: Reals
    """Noise over the drop of pressure through the reed, for the first steps."""


STILL = Player(np.zeros((0, len(LIP))), 1, np.zeros(0), np.zeros(0))
"""Who moves nothing."""


def hold(table: Any, player: Any, n: int) -> None:
    """Put the lip of a step into the reed's column, and the tongue."""
    if player.lip.shape[0] > 0:
        at = n // player.every
        share = (n - at * player.every) / player.every
        for k in range(rows.LAY_DAMPED + 1 - rows.DAMPED):
            table[rows.DAMPED + k, REED] = player.lip[at, k] + share * (
                player.lip[at + 1, k] - player.lip[at, k]
            )
        last = rows.LAY_DAMPED + 1 - rows.DAMPED
        table[rows.CLOSING, REED] = player.lip[at, last] + share * (
            player.lip[at + 1, last] - player.lip[at, last]
        )
        table[rows.SLIT, REED] = table[rows.CHANNEL, REED] * table[rows.REST, REED]
    if n < player.tongue.size:
        table[rows.REST, REED] *= player.tongue[n]
        table[rows.SLIT, REED] *= player.tongue[n]


def jet_noise(table: Any, player: Any, mouth: Any, pressure: Any, opening: Any, n: int) -> float:
    """Return the noise of the jet at a step, a pressure in series with the reed [Pa].

    `mouth`, `pressure` and `opening` are traces up to the step before.
    """
    if 0 < n < player.jet.size and opening[n - 1] > JET_OPENING * table[rows.REST, REED]:
        return player.jet[n] * (mouth[n - 1] - pressure[n - 1])
    return 0.0
