"""One time step of reed, throat and bore: one text, run plain or compiled.

A setup is one column of a table of numbers; what changes in time is one column of a second table.
A step takes the pressure in the mouth and the waves that come out of the delay lines, and gives the
pressure in the mouthpiece and the waves that go into them. Nothing is iterated: the opening of
the reed is known before the pressure (central differences in time, second order), the pressure
enters the flow only under one square root, and that solves as a quadratic.

The reed: ḧ + qω(1+s)ḣ + ω²(h - H) + ω²s h = -ω² Δp/K, where s = κ⟨-h⟩/H is the lay, stiffer the
farther the reed curls on it, and damped like the reed. Stiffness terms are averaged over three
steps; with at least ten steps to a period of the reed no legal contact was found to gain energy.

The mouth, if it is coupled: what the flow at the reed does to the pressure there is what a passive
filter of the waves between mouth and throat sends back (`upstream`). Its part that comes at once
is a resistance in series with the reed; the rest is known before the step.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from reedbore.physics import reed
from reedbore.simulate.acoustics.airway_filter import PAIRS as UPSTREAM_PAIRS
from reedbore.simulate.acoustics.airway_filter import POLES as UPSTREAM_POLES
from reedbore.simulate.acoustics.reflection import PAIRS, POLES, UPPER_POLES
from reedbore.simulate.acoustics.throat import BRANCHES

# Rows of the table of numbers.
STIFF, DAMPED, REST, GIVE, CONTACT = range(5)  # reed
CHANNEL, PISTON, CONDUCTANCE = range(5, 8)  # flow at the reed
WAVE, VOLUME = range(8, 10)  # bore at the reed
CLOSING, SLIT = range(10, 12)  # reed without mass
DECAY = 12  # throat
INFLOW = DECAY + BRANCHES
BACKFLOW = INFLOW + BRANCHES
SERIES = BACKFLOW + BRANCHES  # mouth: share of the bore's admittance that is left in series with it
SOURCE, AT_ONCE, FLOW_WAVE, HEARD_WAVE = range(SERIES + 1, SERIES + 5)
MOUTH_GAIN = HEARD_WAVE + 1
MOUTH_POLE = MOUTH_GAIN + UPSTREAM_POLES
MOUTH_TURN = MOUTH_POLE + UPSTREAM_POLES
MOUTH_SHRINK = MOUTH_TURN + UPSTREAM_PAIRS
MOUTH_PAIR_GAIN = MOUTH_SHRINK + UPSTREAM_PAIRS
MOUTH_PAIR_SLOPE = MOUTH_PAIR_GAIN + UPSTREAM_PAIRS
DIRECT = MOUTH_PAIR_SLOPE + UPSTREAM_PAIRS  # reflection
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
IN_MOUTH, INTO_MOUTH = range(VENT_DRIVE + 1, VENT_DRIVE + 3)  # pressure, and the wave that leaves
MOUTH_MEMORY = INTO_MOUTH + 1
MOUTH_RINGING = MOUTH_MEMORY + UPSTREAM_POLES
MOUTH_RINGING_BEFORE = MOUTH_RINGING + UPSTREAM_PAIRS
STATE = MOUTH_RINGING_BEFORE + UPSTREAM_PAIRS

Step = Callable[..., tuple[float, float, float]]


class Parts(NamedTuple):
    """The parts of a time step, in the order in which they are called.

    All take the table of numbers, the table of state and a column of both. Waves, pressures: [Pa].
    """

    from_poles: Callable[..., float]
    """``(..., arriving, early)``: the wave that real poles and early echoes send back."""
    from_pairs: Callable[..., float]
    """``(..., back, arriving, begin, count)``: `back`, and what some of the pole pairs add."""
    at_vent: Callable[..., tuple[float, float]]
    """``(..., back, down, share)``: past the vent, the wave that comes to the reed, and the sum of
    the waves at the vent less the one from below: what goes on down. Not called without a vent."""
    from_upstream: Callable[..., float]
    """``(...)``: the wave that comes up to the mouth, as far as it is known before the step."""
    at_reed: Callable[..., tuple[float, float]]
    """``(..., mouth, heard, back)``: pressure in the mouthpiece, and the wave that leaves the reed.
    `mouth` is blown and sung, `heard` from `from_upstream`, 0 if the mouth is not coupled."""
    into_upstream: Callable[..., None]
    """``(...)``: the wave that goes back down the throat; not called if it is not coupled."""


def from_poles(numbers: Any, state: Any, lane: int, arriving: float, early: float) -> float:
    """Pass the real poles; see `Parts`."""
    fade = numbers[FADE, lane]
    echoing = (1.0 - fade) * early + fade * state[ECHOING, lane]
    state[ECHOING, lane] = echoing
    back = echoing + numbers[DIRECT, lane] * arriving
    for k in range(POLES):
        memory = (
            numbers[POLE + k, lane] * state[MEMORY + k, lane] + numbers[GAIN + k, lane] * arriving
        )
        state[MEMORY + k, lane] = memory
        back += memory
    return back


def from_pairs(
    numbers: Any, state: Any, lane: int, back: float, arriving: float, begin: int, count: int
) -> float:
    """Pass some pole pairs; see `Parts`."""
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
    """Pass the filter between reed and vent."""
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
    """Move the air in the vent; return the pressure in the bore below it."""
    flow = state[VENT_FLOW, lane]
    mass = numbers[VENT_MASS, lane]
    loss = 0.5 * share * (numbers[VENT_LOSS, lane] + numbers[VENT_JET, lane] * abs(flow))
    pushed = 0.5 * share * (drive + state[VENT_DRIVE, lane])
    flow = ((mass - loss) * flow + pushed) / (mass + loss)
    state[VENT_FLOW, lane] = flow
    state[VENT_DRIVE, lane] = drive
    return drive - numbers[VENT_WAVE, lane] * flow


def flow_in_throat(state: Any, lane: int) -> float:
    """Sum the flows in the branches of the bore's throat."""
    flow = 0.0
    for k in range(BRANCHES):
        flow += state[THROAT_FLOW + k, lane]
    return flow


def move_throat(numbers: Any, state: Any, lane: int, pressure: float, back: float) -> None:
    """Move the air in mouthpiece and throat of the bore."""
    state[VOLUME_FLOW, lane] = 2.0 * numbers[VOLUME, lane] * pressure - state[VOLUME_FLOW, lane]
    for k in range(BRANCHES):
        state[THROAT_FLOW + k, lane] = (
            numbers[DECAY + k, lane] * state[THROAT_FLOW + k, lane]
            + numbers[INFLOW + k, lane] * pressure
            - numbers[BACKFLOW + k, lane] * back
        )


def from_upstream(numbers: Any, state: Any, lane: int) -> float:
    """Hear what comes up from the player; see `Parts`."""
    heard = 0.0
    for k in range(UPSTREAM_POLES):
        heard += numbers[MOUTH_POLE + k, lane] * state[MOUTH_MEMORY + k, lane]
    for k in range(UPSTREAM_PAIRS):
        before = state[MOUTH_RINGING + k, lane]
        ringing = (
            numbers[MOUTH_TURN + k, lane] * before
            - numbers[MOUTH_SHRINK + k, lane] * state[MOUTH_RINGING_BEFORE + k, lane]
        )
        heard += (
            numbers[MOUTH_PAIR_GAIN + k, lane] * ringing
            + numbers[MOUTH_PAIR_SLOPE + k, lane] * before
        )
    return heard


def into_upstream(numbers: Any, state: Any, lane: int) -> None:
    """Let a wave go back down the player; see `Parts`."""
    wave = state[INTO_MOUTH, lane]
    for k in range(UPSTREAM_POLES):
        state[MOUTH_MEMORY + k, lane] = (
            numbers[MOUTH_POLE + k, lane] * state[MOUTH_MEMORY + k, lane]
            + numbers[MOUTH_GAIN + k, lane] * wave
        )
    for k in range(UPSTREAM_PAIRS):
        before = state[MOUTH_RINGING + k, lane]
        state[MOUTH_RINGING + k, lane] = (
            wave
            + numbers[MOUTH_TURN + k, lane] * before
            - numbers[MOUTH_SHRINK + k, lane] * state[MOUTH_RINGING_BEFORE + k, lane]
        )
        state[MOUTH_RINGING_BEFORE + k, lane] = before


def make_valve(compiled: Callable[[Any], Any], massless: bool) -> Callable[..., float]:
    """Make the reed: ``valve(numbers, state, lane, supply)``, the drop of pressure across it.

    Parameters
    ----------
    compiled, massless
        As for `make_step`.

    Returns
    -------
    callable
        `supply` is the flow that mouth and bore would drive through no reed at all. [m³ s⁻¹]
    """
    pressure_drop = compiled(reed.pressure_drop)
    quasi_static_drop = compiled(reed.quasi_static_drop)

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

    valve: Callable[..., float] = compiled(drop_without_mass if massless else drop_at_reed)
    return valve


def make_parts(
    compiled: Callable[[Any], Any], massless: bool = False, coupled: bool = False
) -> Parts:
    """Make the parts of the time step.

    Parameters
    ----------
    compiled, massless, coupled
        As for `make_step`.

    Returns
    -------
    Parts
        Each compiled.
    """
    meeting_of, to_vent = compiled(pressure_at_vent), compiled(way_to_vent)
    throat_flow, move = compiled(flow_in_throat), compiled(move_throat)
    valve = make_valve(compiled, massless)

    def at_vent(
        numbers: Any, state: Any, lane: int, back: float, down: float, share: float
    ) -> tuple[float, float]:
        from_reed = to_vent(numbers, state, lane, down)
        meeting = meeting_of(numbers, state, lane, from_reed + back, share)
        return meeting - from_reed, meeting - back

    def at_reed(
        numbers: Any, state: Any, lane: int, mouth: float, heard: float, back: float
    ) -> tuple[float, float]:
        flow = throat_flow(state, lane) - numbers[WAVE, lane] * back - state[VOLUME_FLOW, lane]
        if coupled:
            mouth += numbers[AT_ONCE, lane] * heard
            flow *= numbers[SERIES, lane]
        supply = numbers[CONDUCTANCE, lane] * mouth + flow
        drop = valve(numbers, state, lane, supply)
        if coupled:
            taken = supply - numbers[CONDUCTANCE, lane] * drop
            mouth -= numbers[SOURCE, lane] * taken
            state[IN_MOUTH, lane] = mouth
            state[INTO_MOUTH, lane] = (
                numbers[HEARD_WAVE, lane] * heard - numbers[FLOW_WAVE, lane] * taken
            )
        pressure = mouth - drop
        move(numbers, state, lane, pressure, back)
        return pressure, pressure - back

    return Parts(
        *(compiled(from_poles), compiled(from_pairs), compiled(at_vent)),
        *(compiled(from_upstream), compiled(at_reed), compiled(into_upstream)),
    )


def make_step(
    compiled: Callable[[Any], Any],
    massless: bool = False,
    vented: bool = False,
    coupled: bool = False,
) -> Step:
    """Make the time step.

    Parameters
    ----------
    compiled : callable
        Turns a plain function into the one that runs: a compiler, or ``lambda f: f``.
    massless : bool
        Whether the reed follows the pressure at once.
    vented : bool
        Whether a vent stands between the reed and the rest of the bore.
    coupled : bool
        Whether the reed acts back on the pressure in the mouth.

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
    parts = make_parts(compiled, massless, coupled)
    poles, pairs_of, at_vent, hear, at_reed, let_go = parts

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
        back = poles(numbers, state, lane, arriving, early)
        back = pairs_of(numbers, state, lane, back, arriving, 0, pairs)
        heard = below = 0.0
        if vented:
            back, below = at_vent(numbers, state, lane, back, down, share)
        if coupled:
            heard = hear(numbers, state, lane)
        pressure, out = at_reed(numbers, state, lane, mouth, heard, back)
        if coupled:
            let_go(numbers, state, lane)
        if not vented:
            below = out
        return pressure, out, below

    return compiled(step)
