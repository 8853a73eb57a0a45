"""One time step of reed, throat and bore: one text, run plain or compiled.

A setup is one column of a table of numbers; what changes in time is one column of a second table.
A step takes the pressure in the mouth and the wave that left the reed one round trip ago, and
gives the pressure in the mouthpiece. Nothing is iterated: the opening of the reed is known before
the pressure (central differences in time, second order), the pressure enters the flow only under
one square root, and that solves as a quadratic.

The reed: ḧ + qω(1+s)ḣ + ω²(h - H) + ω²s h = -ω² Δp/K, where s = κ⟨-h⟩/H is the lay, stiffer the
farther the reed curls on it, and damped like the reed. Stiffness terms are averaged over three
steps; with at least ten steps to a period of the reed no legal contact was found to gain energy.
"""

from collections.abc import Callable
from typing import Any

from reedbore.kernel.reflection import BRANCHES, POLES
from reedbore.physics import reed

# Rows of the table of numbers.
STIFF, DAMPED, REST, GIVE, CONTACT = range(5)  # reed
CHANNEL, PISTON, CONDUCTANCE = range(5, 8)  # flow at the reed
WAVE, VOLUME = range(8, 10)  # bore at the reed
CLOSING, SLIT = range(10, 12)  # reed without mass
DIRECT = 12
GAIN = DIRECT + 1
POLE = GAIN + POLES
RING, RING_LOSS, RING_GAIN, RING_SLOPE = range(POLE + POLES, POLE + POLES + 4)
DECAY = RING_SLOPE + 1
INFLOW = DECAY + BRANCHES
BACKFLOW = INFLOW + BRANCHES
NUMBERS = BACKFLOW + BRANCHES

# Rows of the table of state.
OPENING, BEFORE, VOLUME_FLOW, MEMORY = range(4)
RINGING, RINGING_BEFORE = range(MEMORY + POLES, MEMORY + POLES + 2)
THROAT_FLOW = RINGING_BEFORE + 1
STATE = THROAT_FLOW + BRANCHES

Step = Callable[[Any, Any, int, float, float], tuple[float, float]]


def make_step(compiled: Callable[[Any], Any], massless: bool = False) -> Step:
    """Make the time step.

    Parameters
    ----------
    compiled : callable
        Turns a plain function into the one that runs: a compiler, or ``lambda f: f``.
    massless : bool
        Whether the reed follows the pressure at once.

    Returns
    -------
    callable
        ``step(numbers, state, lane, mouth, arriving)`` returns the pressure in the mouthpiece and
        the part of it that comes back from the bore [Pa], and moves column `lane` of `state` on.
    """
    pressure_drop = compiled(reed.pressure_drop)
    quasi_static_drop = compiled(reed.quasi_static_drop)

    def back_from_bore(numbers: Any, state: Any, lane: int, arriving: float) -> float:
        back = numbers[DIRECT, lane] * arriving
        for k in range(POLES):
            memory = (
                numbers[POLE + k, lane] * state[MEMORY + k, lane]
                + numbers[GAIN + k, lane] * arriving
            )
            state[MEMORY + k, lane] = memory
            back += memory
        before = state[RINGING, lane]
        ringing = (
            arriving
            + numbers[RING, lane] * before
            - numbers[RING_LOSS, lane] * state[RINGING_BEFORE, lane]
        )
        state[RINGING_BEFORE, lane] = before
        state[RINGING, lane] = ringing
        return back + numbers[RING_GAIN, lane] * ringing + numbers[RING_SLOPE, lane] * before

    def flow_in_throat(state: Any, lane: int) -> float:
        flow = 0.0
        for k in range(BRANCHES):
            flow += state[THROAT_FLOW + k, lane]
        return flow

    def move_bore(numbers: Any, state: Any, lane: int, pressure: float, back: float) -> None:
        state[VOLUME_FLOW, lane] = 2.0 * numbers[VOLUME, lane] * pressure - state[VOLUME_FLOW, lane]
        for k in range(BRANCHES):
            state[THROAT_FLOW + k, lane] = (
                numbers[DECAY + k, lane] * state[THROAT_FLOW + k, lane]
                + numbers[INFLOW + k, lane] * pressure
                - numbers[BACKFLOW + k, lane] * back
            )

    reflected = compiled(back_from_bore)
    throat_flow = compiled(flow_in_throat)
    move = compiled(move_bore)

    def step(
        numbers: Any, state: Any, lane: int, mouth: float, arriving: float
    ) -> tuple[float, float]:
        back = reflected(numbers, state, lane, arriving)
        conductance = numbers[CONDUCTANCE, lane]
        supply = (
            conductance * mouth
            - numbers[WAVE, lane] * back
            - state[VOLUME_FLOW, lane]
            + throat_flow(state, lane)
        )
        if massless:
            slit = numbers[SLIT, lane]
            closing = numbers[CLOSING, lane]
            drop = quasi_static_drop(supply / conductance, slit / conductance, closing)
            state[OPENING, lane] = numbers[REST, lane] * max(1.0 - drop / closing, 0.0)
        else:
            opening = state[OPENING, lane]
            before = state[BEFORE, lane]
            stiff = numbers[STIFF, lane]
            damped = numbers[DAMPED, lane]
            grip = 1.0 + numbers[CONTACT, lane] * max(-opening, 0.0)
            weight = 1.0 / (1.0 + (damped + stiff) * grip)
            free = weight * (
                (2.0 - 2.0 * stiff * grip) * opening
                - (1.0 + (stiff - damped) * grip) * before
                + 4.0 * stiff * numbers[REST, lane]
            )
            give = weight * numbers[GIVE, lane]
            piston = numbers[PISTON, lane]
            total = conductance + piston * give
            drop = pressure_drop(
                (supply + piston * (free - before)) / total,
                numbers[CHANNEL, lane] * max(opening, 0.0) / total,
            )
            state[BEFORE, lane] = opening
            state[OPENING, lane] = free - give * drop
        pressure = mouth - drop
        move(numbers, state, lane, pressure, back)
        return pressure, back

    return compiled(step)
