"""A setup as the numbers that the time step works with."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel import folds, rows
from reedbore.kernel.numbers import Numbers, Taps
from reedbore.kernel.player import LIP
from reedbore.model.bore import Bore
from reedbore.model.setup import Setup
from reedbore.physics.air import Gas
from reedbore.simulate.acoustics import bore, reflection
from reedbore.simulate.acoustics.airway import airway
from reedbore.simulate.acoustics.airway_filter import Upstream, upstream_filter
from reedbore.simulate.acoustics.delay import lagrange, split_delay
from reedbore.simulate.acoustics.singer_airway import airway_steps
from reedbore.simulate.acoustics.throat import Throat
from reedbore.simulate.acoustics.vent import Vent

Reals = NDArray[np.float64]

HELD_BY_LIP = "opening", "stiffness", "damping", "contact"
"""What of a reed a lip changes, as `lip_rows` takes it."""

LEAST_STEPS = 10.0
"""Steps in a period of the reed: down to these `lay_damped` was tried."""


def waveguide_of(setup: Setup) -> reflection.Waveguide:
    """Return the fitted delays and filters of a setup's bore."""
    return reflection.waveguide(*fitted_to(setup))


def fitted_to(setup: Setup) -> tuple[Bore, float, Gas, float]:
    """Return what `reflection.waveguide` is asked for a setup."""
    return setup.bore, setup.mouthpiece.volume, bore.gas_of(setup), setup.time.rate


def numbers_of(setup: Setup) -> Numbers:
    """Return the numbers of a setup.

    Parameters
    ----------
    setup : Setup
        What to render.

    Returns
    -------
    Numbers
        What `single` and the sweeps step with.

    Raises
    ------
    ModelError
        If the reed is too fast for the rate.
    """
    check_reed(setup)
    reed = setup.reed.held()
    guide = waveguide_of(setup)
    table = np.zeros(rows.NUMBERS)
    _fill_reed(table, setup)
    _fill_flow(table, setup, guide.throat)
    coupled = setup.tract.coupling == "on" or setup.voice.drive == "folds"
    if setup.voice.drive == "folds":
        _fill_lips(table, airway_steps(setup)[0][folds.MOUTH_AT_ONCE])
    elif coupled:
        _fill_mouth(table, upstream_filter(airway(setup), setup.time.rate))
    _fill_reflection(table, guide.reflection)
    if guide.vent:
        _fill_vent(table, guide.vent, setup.time.rate)
    echoes, places = guide.reflection.echoes, guide.reflection.places
    order = np.argsort(places < rows.AHEAD, kind="stable")
    return Numbers(
        table,
        guide.reflection.pairs.size,
        _taps(guide.reflection.delay),
        _taps(guide.vent.delay) if guide.vent else None,
        echoes[order],
        places[order],
        round(setup.bore.vent_after * setup.time.rate),
        reed.opening,
        reed.dynamics,
        coupled,
        setup.time.rate,
        _taps(guide.vent.chamber.delay, guide.vent.chamber.left) if guide.vent else None,
    )


def check_reed(setup: Setup) -> None:
    """Refuse a reed that is too fast for the rate, with a ModelError."""
    reed, highest = setup.reed.held(), setup.time.rate / LEAST_STEPS
    if reed.dynamics == "mass" and reed.frequency > highest:
        raise ModelError(
            f"reed.frequency_hz is {reed.frequency:g} Hz; allowed up to {highest:g} Hz at "
            f"{setup.time.rate:g} steps a second (time.rate_hz)"
        )


def _taps(delay: float, left: float = 1.0) -> Taps:
    """Return the taps of a delay after which so much of a wave is left."""
    first, fraction = split_delay(delay)
    return Taps(first, left * np.array(lagrange(fraction)))


def _fill_reflection(table: NDArray[np.float64], back: reflection.Reflection) -> None:
    table[rows.DIRECT] = back.direct
    table[rows.GAIN : rows.GAIN + rows.POLES] = back.gains
    table[rows.POLE : rows.POLE + rows.POLES] = back.poles
    table[rows.FADE] = back.fade
    count = back.pairs.size
    table[rows.TURN : rows.TURN + count] = 2.0 * back.pairs.real
    table[rows.SHRINK : rows.SHRINK + count] = np.abs(back.pairs) ** 2
    table[rows.PAIR_GAIN : rows.PAIR_GAIN + count] = back.pair_gains[:, 0]
    table[rows.PAIR_SLOPE : rows.PAIR_SLOPE + count] = back.pair_gains[:, 1]


def _fill_vent(table: NDArray[np.float64], vent: Vent, rate: float) -> None:
    table[rows.UPPER_DIRECT] = vent.direct
    table[rows.UPPER_GAIN : rows.UPPER_POLE] = vent.gains
    table[rows.UPPER_POLE : rows.VENT_MASS] = vent.poles
    table[rows.VENT_MASS] = vent.mass * rate
    table[rows.VENT_LOSS] = vent.loss + vent.wave
    table[rows.VENT_JET] = vent.jet
    table[rows.VENT_WAVE] = vent.wave
    table[rows.JUNCTION_TUBE] = vent.chamber.of_tube
    table[rows.JUNCTION_CONE] = vent.chamber.of_cone
    table[rows.JUNCTION_TIP] = vent.chamber.of_tip


def _fill_mouth(table: NDArray[np.float64], up: Upstream) -> None:
    """Put the mouth in series with the bore: both share the flow through the reed."""
    at_once = up.direct + up.gains.sum() + up.pair_gains[:, 0].sum()
    table[rows.SOURCE] = up.resistance * (1.0 + at_once) / (1.0 - at_once)
    table[rows.AT_ONCE] = 2.0 / (1.0 - at_once)
    table[rows.INCOMING_WAVE] = 1.0 / (1.0 - at_once)
    table[rows.FLOW_WAVE] = up.resistance / (1.0 - at_once)
    table[rows.SERIES] = 1.0 / (1.0 + table[rows.CONDUCTANCE] * table[rows.SOURCE])
    table[rows.CONDUCTANCE] *= table[rows.SERIES]
    table[rows.MOUTH_GAIN : rows.MOUTH_POLE] = up.gains
    table[rows.MOUTH_POLE : rows.MOUTH_TURN] = up.poles
    count = up.pairs.size
    table[rows.MOUTH_TURN : rows.MOUTH_TURN + count] = 2.0 * up.pairs.real
    table[rows.MOUTH_SHRINK : rows.MOUTH_SHRINK + count] = np.abs(up.pairs) ** 2
    table[rows.MOUTH_PAIR_GAIN : rows.MOUTH_PAIR_GAIN + count] = up.pair_gains[:, 0]
    table[rows.MOUTH_PAIR_SLOPE : rows.MOUTH_PAIR_SLOPE + count] = up.pair_gains[:, 1]


def _fill_lips(table: NDArray[np.float64], at_once: float) -> None:
    """Put a mouth in series whose own waves `kernel.folds` moves: it resists at once by so much."""
    table[rows.SOURCE], table[rows.AT_ONCE] = at_once, 1.0
    table[rows.SERIES] = 1.0 / (1.0 + table[rows.CONDUCTANCE] * at_once)
    table[rows.CONDUCTANCE] *= table[rows.SERIES]


def lip_rows(
    setup: Setup, opening: Reals, stiffness: Reals, damping: Reals, contact: Reals
) -> Reals:
    """Return what the time step works with of a reed that a lip holds in changing ways.

    Parameters
    ----------
    setup : Setup
        Gives what a lip leaves as it is, and the rate.
    opening, stiffness, damping, contact : ndarray, shape (m,)
        Of the reed as held. [m], [Pa/m], [1], [1]

    Returns
    -------
    ndarray, shape (m, len(LIP))
        A column for each of `kernel.player.LIP`.
    """
    step = 1.0 / setup.time.rate
    swing = 2.0 * math.pi * setup.reed.held().frequency * step
    found = {
        rows.DAMPED: damping * swing / 2.0,
        rows.REST: opening,
        rows.GIVE: swing**2 / stiffness,
        rows.CONTACT: contact / opening,
        rows.LAY_DAMPED: lay_damped(damping, swing),
        rows.CLOSING: stiffness * opening,
    }
    return np.stack(np.broadcast_arrays(*(found[row] for row in LIP)), axis=-1)


def lay_damped(damping: Any, swing: float) -> Any:
    """Return what the lay must damp beyond the reed, so that no bounce gains more than is lost.

    Parameters
    ----------
    damping : float or ndarray
        Of the reed.
    swing : float
        Angle by which the reed turns in a step: ωT. [rad]

    Returns
    -------
    float or ndarray
        In units of the row `DAMPED`, qωT/2; 0 for a reed whose own damping is enough: from
        0.45 on, and less is needed the shorter the steps are.

    Notes
    -----
    Derived here. The grip of the lay is known only a step late. With s = (ωT)²/4, r times as much
    damping, and an endless stiffness, the scheme sends a reed that came in at V, and was x V T deep
    when the lay first gripped, back at V (4x + r - 1)/(1 + r): at (3 + r)/(1 + r) at most. Half
    a free period until the next bounce takes a factor of exp(πq/2(1 + s)) at least. All in all
    nothing is gained where r ≥ 2/(exp(πq/2(1 + s)) - 1) - 1. That softer lays gain less is seen,
    not proved: a test tries soft and stiff ones, from a touch to far too deep.
    """
    stiff = swing**2 / 4.0
    kept = np.expm1(0.5 * math.pi * damping / (1.0 + stiff))
    return np.maximum(stiff * (2.0 / kept - 1.0) - damping * swing / 2.0, 0.0)


def _fill_reed(table: NDArray[np.float64], setup: Setup) -> None:
    reed, step = setup.reed.held(), 1.0 / setup.time.rate
    table[rows.STIFF] = (2.0 * math.pi * reed.frequency * step) ** 2 / 4.0
    held = (np.array([getattr(reed, name)]) for name in HELD_BY_LIP)
    table[list(LIP)] = lip_rows(setup, *held)[0]


def _fill_flow(table: NDArray[np.float64], setup: Setup, lumped: Throat) -> None:
    reed, gas, step = setup.reed.held(), bore.gas_of(setup), 1.0 / setup.time.rate
    volume = 2.0 * lumped.compliance / step
    throat, wave, decay = lumped.sampled(setup.time.rate)
    table[rows.CHANNEL] = reed.width * math.sqrt(2.0 / gas.density)
    table[rows.PISTON] = reed.area / (2.0 * step)
    table[rows.CONDUCTANCE] = 1.0 / lumped.resistance + volume + (throat + wave).sum()
    table[rows.WAVE] = 2.0 * (1.0 / lumped.resistance + wave.sum())
    table[rows.VOLUME] = volume
    table[rows.DECAY : rows.INFLOW] = decay
    table[rows.INFLOW : rows.BACKFLOW] = (1.0 + decay) * (throat + wave)
    table[rows.BACKFLOW : rows.SERIES] = 2.0 * (1.0 + decay) * wave
    table[rows.SLIT] = table[rows.CHANNEL] * reed.opening
