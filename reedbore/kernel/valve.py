"""The valves between mouth and bore, by name: what `valve` of the time step may be.

Each takes the table of numbers, the table of state and a column of both, and the flow that mouth
and bore would drive through no reed at all [m³ s⁻¹]. It moves the reed on and returns the drop of
pressure across it [Pa].
"""

from collections.abc import Callable
from typing import Any

from reedbore.kernel import rows
from reedbore.physics.reed import pressure_drop, quasi_static_drop


def follow_pressure(numbers: Any, state: Any, lane: int, supply: float) -> float:
    """Let a reed without mass follow the pressure at once."""
    slit, closing = numbers[rows.SLIT, lane], numbers[rows.CLOSING, lane]
    conductance = numbers[rows.CONDUCTANCE, lane]
    drop = quasi_static_drop(supply / conductance, slit / conductance, closing)
    state[rows.OPENING, lane] = numbers[rows.REST, lane] * max(1.0 - drop / closing, 0.0)
    return drop


def swing(numbers: Any, state: Any, lane: int, supply: float) -> float:
    """Swing a reed with mass, damping and contact at the lay; see `step`."""
    opening = state[rows.OPENING, lane]
    before = state[rows.BEFORE, lane]
    stiff = numbers[rows.STIFF, lane]
    damped = numbers[rows.DAMPED, lane]
    lay = numbers[rows.CONTACT, lane] * max(-opening, 0.0)
    grip = 1.0 + lay
    more = numbers[rows.LAY_DAMPED, lane] * lay
    # A division takes as long as ten products: there is one, for both 1/mass and 1/total.
    mass = 1.0 + (damped + stiff) * grip + more
    piston = numbers[rows.PISTON, lane]
    yields = numbers[rows.CONDUCTANCE, lane] * mass + piston * numbers[rows.GIVE, lane]
    inverse = 1.0 / (mass * yields)
    weight = yields * inverse
    resistance = mass * mass * inverse
    free = weight * (
        (2.0 - 2.0 * stiff * grip) * opening
        - (1.0 + (stiff - damped) * grip - more) * before
        + 4.0 * stiff * numbers[rows.REST, lane]
    )
    give = weight * numbers[rows.GIVE, lane]
    drop = pressure_drop(
        (supply + piston * (free - before)) * resistance,
        numbers[rows.CHANNEL, lane] * max(opening, 0.0) * resistance,
    )
    state[rows.BEFORE, lane] = opening
    state[rows.OPENING, lane] = free - give * drop
    return drop


VALVES: dict[str, Callable[[Any, Any, int, float], float]] = {
    "mass": swing,
    "massless": follow_pressure,
}
"""By the names that a reed's ``dynamics`` has."""
