"""One time step of reed, throat and bore: one text, run plain or compiled.

A setup is one column of a table of numbers; what changes in time is one column of a second table.
A step takes the pressure in the mouth and the waves that come out of the delay lines, and gives the
pressure in the mouthpiece and the waves that go into them. Nothing is iterated: the opening of
the reed is known before the pressure (central differences in time, second order), the pressure
enters the flow only under one square root, and that solves as a quadratic.

The reed: ḧ + qω(1+s)ḣ + ω²(h - H) + ω²s h = -ω² Δp/K, where s = κ⟨-h⟩/H is the lay, stiffer the
farther the reed curls on it, and damped like the reed. Stiffness terms are averaged over three
steps; with at least ten steps to a period of the reed no legal contact was found to gain energy.
"""

from collections.abc import Callable
from typing import Any

from reedbore.kernel.reflection import PAIRS, POLES, UPPER_POLES
from reedbore.kernel.throat import BRANCHES
from reedbore.physics import reed

# Rows of the table of numbers.
STIFF, DAMPED, REST, GIVE, CONTACT = range(5)  # reed
CHANNEL, PISTON, CONDUCTANCE = range(5, 8)  # flow at the reed
WAVE, VOLUME = range(8, 10)  # bore at the reed
CLOSING, SLIT = range(10, 12)  # reed without mass
DECAY = 12  # throat
INFLOW = DECAY + BRANCHES
BACKFLOW = INFLOW + BRANCHES
DIRECT = BACKFLOW + BRANCHES  # reflection
GAIN = DIRECT + 1
POLE = GAIN + POLES
FADE = POLE + POLES
TURN = FADE + 1  # pole pairs: a, b of 1 - a/z + b/z², numerators
SHRINK = TURN + PAIRS
PAIR_GAIN = SHRINK + PAIRS
PAIR_SLOPE = PAIR_GAIN + PAIRS
WAY_DIRECT = PAIR_SLOPE + PAIRS  # vent, and the way to it
WAY_GAIN = WAY_DIRECT + 1
WAY_POLE = WAY_GAIN + UPPER_POLES
VENT_MASS, VENT_LOSS, VENT_JET, VENT_WAVE = range(
    WAY_POLE + UPPER_POLES, WAY_POLE + UPPER_POLES + 4
)
NUMBERS = VENT_WAVE + 1

# Rows of the table of state.
OPENING, BEFORE, VOLUME_FLOW, ECHOING = range(4)
MEMORY = 4
THROAT_FLOW = MEMORY + POLES
RINGING = THROAT_FLOW + BRANCHES
RINGING_BEFORE = RINGING + PAIRS
WAY_MEMORY = RINGING_BEFORE + PAIRS
VENT_FLOW, VENT_DRIVE = range(WAY_MEMORY + UPPER_POLES, WAY_MEMORY + UPPER_POLES + 2)
STATE = VENT_DRIVE + 1

Step = Callable[..., tuple[float, float, float]]


def make_parts(
    compiled: Callable[[Any], Any], massless: bool = False, vented: bool = False
) -> tuple[Callable[..., float], Callable[..., float], Step]:
    """Make the parts of the time step: what comes back from the bore, and the rest.

    Parameters
    ----------
    compiled, massless, vented
        As for `make_step`.

    Returns
    -------
    from_poles : callable
        ``from_poles(numbers, state, lane, arriving, early)``: the wave that real poles and early
        echoes send back. [Pa]
    from_pairs : callable
        ``from_pairs(numbers, state, lane, back, arriving, begin, count)``: `back`, and what some of
        the pole pairs add. [Pa]
    at_reed : callable
        ``at_reed(numbers, state, lane, mouth, back, down, share)``: what a step returns.
    """
    pressure_drop = compiled(reed.pressure_drop)
    quasi_static_drop = compiled(reed.quasi_static_drop)

    def from_poles(numbers: Any, state: Any, lane: int, arriving: float, early: float) -> float:
        fade = numbers[FADE, lane]
        echoing = (1.0 - fade) * early + fade * state[ECHOING, lane]
        state[ECHOING, lane] = echoing
        back = echoing + numbers[DIRECT, lane] * arriving
        for k in range(POLES):
            memory = (
                numbers[POLE + k, lane] * state[MEMORY + k, lane]
                + numbers[GAIN + k, lane] * arriving
            )
            state[MEMORY + k, lane] = memory
            back += memory
        return back

    def from_pairs(
        numbers: Any, state: Any, lane: int, back: float, arriving: float, begin: int, count: int
    ) -> float:
        for k in range(begin, begin + count):
            before = state[RINGING + k, lane]
            ringing = (
                arriving
                + numbers[TURN + k, lane] * before
                - numbers[SHRINK + k, lane] * state[RINGING_BEFORE + k, lane]
            )
            state[RINGING_BEFORE + k, lane] = before
            state[RINGING + k, lane] = ringing
            back += numbers[PAIR_GAIN + k, lane] * ringing + numbers[PAIR_SLOPE + k, lane] * before
        return back

    def way_to_vent(numbers: Any, state: Any, lane: int, down: float) -> float:
        wave = numbers[WAY_DIRECT, lane] * down
        for k in range(UPPER_POLES):
            memory = (
                numbers[WAY_POLE + k, lane] * state[WAY_MEMORY + k, lane]
                + numbers[WAY_GAIN + k, lane] * down
            )
            state[WAY_MEMORY + k, lane] = memory
            wave += memory
        return wave

    def pressure_at_vent(numbers: Any, state: Any, lane: int, drive: float, share: float) -> float:
        flow = state[VENT_FLOW, lane]
        mass = numbers[VENT_MASS, lane]
        loss = 0.5 * share * (numbers[VENT_LOSS, lane] + numbers[VENT_JET, lane] * abs(flow))
        pushed = 0.5 * share * (drive + state[VENT_DRIVE, lane])
        flow = ((mass - loss) * flow + pushed) / (mass + loss)
        state[VENT_FLOW, lane] = flow
        state[VENT_DRIVE, lane] = drive
        return drive - numbers[VENT_WAVE, lane] * flow

    def flow_in_throat(state: Any, lane: int) -> float:
        flow = 0.0
        for k in range(BRANCHES):
            flow += state[THROAT_FLOW + k, lane]
        return flow

    def move_throat(numbers: Any, state: Any, lane: int, pressure: float, back: float) -> None:
        state[VOLUME_FLOW, lane] = 2.0 * numbers[VOLUME, lane] * pressure - state[VOLUME_FLOW, lane]
        for k in range(BRANCHES):
            state[THROAT_FLOW + k, lane] = (
                numbers[DECAY + k, lane] * state[THROAT_FLOW + k, lane]
                + numbers[INFLOW + k, lane] * pressure
                - numbers[BACKFLOW + k, lane] * back
            )

    def drop_without_mass(numbers: Any, state: Any, lane: int, supply: float) -> float:
        slit, closing = numbers[SLIT, lane], numbers[CLOSING, lane]
        conductance = numbers[CONDUCTANCE, lane]
        drop = quasi_static_drop(supply / conductance, slit / conductance, closing)
        state[OPENING, lane] = numbers[REST, lane] * max(1.0 - drop / closing, 0.0)
        return drop

    def drop_at_reed(numbers: Any, state: Any, lane: int, supply: float) -> float:
        opening = state[OPENING, lane]
        before = state[BEFORE, lane]
        stiff = numbers[STIFF, lane]
        damped = numbers[DAMPED, lane]
        grip = 1.0 + numbers[CONTACT, lane] * max(-opening, 0.0)
        # A division takes as long as ten products: there is one, for both 1/mass and 1/total.
        mass = 1.0 + (damped + stiff) * grip
        piston = numbers[PISTON, lane]
        yields = numbers[CONDUCTANCE, lane] * mass + piston * numbers[GIVE, lane]
        inverse = 1.0 / (mass * yields)
        weight = yields * inverse
        resistance = mass * mass * inverse
        free = weight * (
            (2.0 - 2.0 * stiff * grip) * opening
            - (1.0 + (stiff - damped) * grip) * before
            + 4.0 * stiff * numbers[REST, lane]
        )
        give = weight * numbers[GIVE, lane]
        drop = pressure_drop(
            (supply + piston * (free - before)) * resistance,
            numbers[CHANNEL, lane] * max(opening, 0.0) * resistance,
        )
        state[BEFORE, lane] = opening
        state[OPENING, lane] = free - give * drop
        return drop

    at_vent = compiled(pressure_at_vent)
    to_vent = compiled(way_to_vent)
    throat_flow = compiled(flow_in_throat)
    move = compiled(move_throat)
    valve = compiled(drop_without_mass if massless else drop_at_reed)

    def at_reed(
        numbers: Any, state: Any, lane: int, mouth: float, back: float, down: float, share: float
    ) -> tuple[float, float, float]:
        below = 0.0
        if vented:
            from_reed = to_vent(numbers, state, lane, down)
            meeting = at_vent(numbers, state, lane, from_reed + back, share)
            below = meeting - back
            back = meeting - from_reed
        supply = (
            numbers[CONDUCTANCE, lane] * mouth
            - numbers[WAVE, lane] * back
            - state[VOLUME_FLOW, lane]
            + throat_flow(state, lane)
        )
        pressure = mouth - valve(numbers, state, lane, supply)
        move(numbers, state, lane, pressure, back)
        if not vented:
            below = pressure - back
        return pressure, pressure - back, below

    return compiled(from_poles), compiled(from_pairs), compiled(at_reed)


def make_step(compiled: Callable[[Any], Any], massless: bool = False, vented: bool = False) -> Step:
    """Make the time step.

    Parameters
    ----------
    compiled : callable
        Turns a plain function into the one that runs: a compiler, or ``lambda f: f``.
    massless : bool
        Whether the reed follows the pressure at once.
    vented : bool
        Whether a vent stands between the reed and the rest of the bore.

    Returns
    -------
    callable
        ``step(numbers, state, lane, pairs, mouth, arriving, early, down, share)`` moves column
        `lane` of `state` on. It takes how many pole pairs are in use, the pressure in the mouth,
        what comes out of the delay line of the reflection, early echoes summed, what comes out of
        the line to the vent, and the share of the vent that is open. It returns the pressure in
        the mouthpiece, the wave that leaves the reed and the one that enters the line of the
        reflection, all in Pa; without a vent the last two are the same.
    """
    from_poles, from_pairs, at_reed = make_parts(compiled, massless, vented)

    def step(
        numbers: Any,
        state: Any,
        lane: int,
        pairs: int,
        mouth: float,
        arriving: float,
        early: float,
        down: float,
        share: float,
    ) -> tuple[float, float, float]:
        back = from_poles(numbers, state, lane, arriving, early)
        back = from_pairs(numbers, state, lane, back, arriving, 0, pairs)
        return at_reed(numbers, state, lane, mouth, back, down, share)

    return compiled(step)
