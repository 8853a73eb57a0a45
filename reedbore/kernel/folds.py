"""Singing folds behind a reed: what they, the air round them and the lungs do in one step.

A singer is one column of a table of numbers, one of a table of state, and the waves in the tube
between folds and lips. The tube is a chain of sections; each is two delays of whole steps, and
waves scatter where two sections meet. What travels lies in a table of its own, *tube*: a row for
each step of delay, first on the way up, then on the way down. `places` says which row of each
section is read and written now; it moves on once a step, for all lanes alike.

In: the breath at each step, and the flow that leaves through the lips. Out: the pressure in the
mouth. Both ways are open: `step.at_reed` takes its flow out of the mouth at once, through the
resistance `MOUTH_AT_ONCE`; folds and reed feel each other by way of the tube, some steps later.
All pressures are deviations from the breath, so that no loss in the tube is a leak for it.

The lungs hold the mean pressure in the mouth: quickly at first, then slowly.
"""

import functools
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.compiler import Compile, assembled, compiled
from reedbore.physics.airway_cells import (
    mouth_history,
    mouth_moved,
    resonator_history,
    resonator_moved,
    scattered,
)
from reedbore.physics.folds import (
    LOSS,
    contact_damping,
    edges,
    glottal_area,
    glottal_flow,
    next_velocity,
    pressure_share,
    spring_pressure,
    velocity_now,
)

Reals = NDArray[np.float64]
Whole = NDArray[np.int64]

RESONATORS = 3
"""Of the airway below the folds."""

SECTIONS = 24
"""Most sections of the tube."""

# Rows of the table of numbers.
SPRING, DAMP, REST, YIELD, WAVE_DELAY, LENGTH, SWEPT, DENSITY = range(8)  # folds
CHINK, FREE = range(8, 10)  # area that never shuts; 1 for folds that swing, 0 for ones held still
BELOW_AT_ONCE, ABOVE_AT_ONCE, STEP = range(10, 13)
LUNGS_FAST, LUNGS_SLOW, FAST_STEPS = range(13, 16)
STORED, WALL_KEPT, WALL_PUSHED, MOUTH_WAVE, MOUTH_AT_ONCE = range(16, 21)  # mouth
LEAK, LEAK_SLOPE = range(21, 23)  # flow out of the lips where there is no reed
RESONATOR = 23  # three rows each: stored, at once, inverse mass
TUBE_GAIN = RESONATOR + 3 * RESONATORS
TUBE_SHARE = TUBE_GAIN + SECTIONS
NUMBERS = TUBE_SHARE + SECTIONS

# Rows of the table of state.
HALF_GAP, VELOCITY, VELOCITY_BEFORE, LUNGS, IN_MOUTH, WALL_FLOW, FLOW = range(7)
RINGING = 7  # two rows each: pressure, flow
STATE = RINGING + 2 * RESONATORS

# Rows of a block's table of singers, below numbers and state: what muscles hold, and what is
# measured; the clock is four rows, as in `rows`.
TENSE, HELD, CARRIED, PUSHED, TICK, CLOCK_TURN, CLOCK = range(NUMBERS + STATE, NUMBERS + STATE + 7)
MIDDLE, ABOVE, SWINGS = range(CLOCK + 4, CLOCK + 7)  # what the folds swing about, and how often
ROWS = SWINGS + 1

MIDDLE_FOLLOWS = 1e-3
"""By so much of the way what folds swing about follows them from tick to tick."""


class Folds(NamedTuple):
    """A singer as numbers."""

    table: Reals
    """Shape (NUMBERS,)."""
    steps: Whole
    """Shape (k,), of delay in each section of the tube."""
    half_gap: float
    """Where the folds begin. [m]"""
    lungs: float
    """Pressure in the lungs over the breath where they begin. [Pa]"""


class Steady(NamedTuple):
    """A singer of one of many lanes, and where its own line is followed."""

    folds: Folds
    tension: float
    hold: float
    """What the muscles do, all the time; as in `Singer`."""
    clock_turn: float
    """[cycles a step]"""


class Singer(NamedTuple):
    """What the step takes of one singer."""

    numbers: Reals
    """Shape (NUMBERS, 1)."""
    state: Reals
    """Shape (STATE, 1)."""
    tube: Reals
    """Shape (2 steps, 1), waves on their way up and down. [Pa]"""
    steps: Whole
    places: Whole
    """Shape (k,), the row of each section that is read and written next."""
    tension: Reals
    """Shape (n,), multiplies the stiffness of the folds at each step."""
    hold: Reals
    """Shape (n,), multiplies their damping."""
    half_gap: Reals
    """Shape (n,), what the folds did: below 0 where they press on each other. [m]"""
    flow: Reals
    """Shape (n,), through them. [m³ s⁻¹]"""
    lungs: Reals
    """Shape (n,), pressure below them over the breath. [Pa]"""


class Postures(NamedTuple):
    """What else muscles and lungs do while a singer goes from note to note; shapes (n,)."""

    rest: Reals
    """Half the gap where the folds rest. [m]"""
    delay: Reals
    """Of the wave on them. [s]"""
    chink: Reals
    """Area that never shuts. [m²]"""
    lungs: Reals
    """By how much the pressure in the lungs is raised at a step. [Pa]"""


NOBODY = Singer(
    numbers=np.zeros((0, 1)),
    state=np.zeros((0, 1)),
    tube=np.zeros((0, 1)),
    steps=np.zeros(0, np.int64),
    places=np.zeros(0, np.int64),
    tension=np.zeros(0),
    hold=np.zeros(0),
    half_gap=np.zeros(0),
    flow=np.zeros(0),
    lungs=np.zeros(0),
)
"""In the place of a singer whose folds are not stepped."""

NONE = Postures(*(np.zeros(0) for _ in Postures._fields))
"""In the place of the postures of nobody."""


def singer_of(folds: Folds, tension: Reals, hold: Reals) -> Singer:
    """Return a singer at rest.

    Parameters
    ----------
    folds : Folds
        The numbers.
    tension, hold : ndarray, shape (n,)
        What the muscles do at each step.

    Returns
    -------
    Singer
        As the step takes it.
    """
    state = np.zeros((STATE, 1))
    state[HALF_GAP], state[LUNGS] = folds.half_gap, folds.lungs
    return Singer(
        numbers=folds.table.reshape(-1, 1).copy(),
        state=state,
        tube=np.zeros((2 * int(folds.steps.sum()), 1)),
        steps=folds.steps,
        places=first_places(folds.steps),
        tension=tension,
        hold=hold,
        half_gap=np.zeros(tension.size),
        flow=np.zeros(tension.size),
        lungs=np.zeros(tension.size),
    )


def first_places(steps: Whole) -> Whole:
    """Return the row of the tube at which each section begins."""
    return np.cumsum(steps) - steps


def wave_at_lips(numbers: Any, state: Any, lane: int, arriving: float) -> float:
    """Return the pressure in the mouth [Pa] if no flow left it; `arriving` comes up the tube."""
    return mouth_history(
        state[IN_MOUTH, lane],
        state[WALL_FLOW, lane],
        arriving,
        numbers[STORED, lane],
        numbers[WALL_KEPT, lane],
        numbers[MOUTH_WAVE, lane],
        numbers[MOUTH_AT_ONCE, lane],
    )


def move_mouth(numbers: Any, state: Any, lane: int, pressure: float, now: int) -> None:
    """Move the mouth on at the pressure [Pa] that it had, and let the lungs follow."""
    state[IN_MOUTH, lane], state[WALL_FLOW, lane] = mouth_moved(
        state[IN_MOUTH, lane],
        state[WALL_FLOW, lane],
        pressure,
        numbers[WALL_KEPT, lane],
        numbers[WALL_PUSHED, lane],
    )
    fast = now < numbers[FAST_STEPS, lane]
    follow = numbers[LUNGS_FAST, lane] if fast else numbers[LUNGS_SLOW, lane]
    state[LUNGS, lane] -= follow * pressure


def waiting(numbers: Any, state: Any, lane: int, k: int) -> float:
    """Return the pressure [Pa] of a resonator below the folds if nothing flowed out of it."""
    return resonator_history(
        state[RINGING + 2 * k, lane],
        state[RINGING + 2 * k + 1, lane],
        numbers[RESONATOR + 3 * k, lane],
        numbers[RESONATOR + 3 * k + 1, lane],
    )


def move_below(numbers: Any, state: Any, lane: int, taken: float) -> None:
    """Take a flow [m³ s⁻¹] out of the airway below the folds."""
    for k in range(RESONATORS):
        at_once = numbers[RESONATOR + 3 * k + 1, lane]
        middle = waiting(numbers, state, lane, k) - at_once * taken
        state[RINGING + 2 * k, lane], state[RINGING + 2 * k + 1, lane] = resonator_moved(
            state[RINGING + 2 * k, lane],
            state[RINGING + 2 * k + 1, lane],
            middle,
            numbers[RESONATOR + 3 * k + 2, lane],
        )


def move_folds(
    numbers: Any, state: Any, lane: int, down: float, tension: float, hold: float
) -> float:
    """Move the folds and the air below them on.

    `down` comes down the tube; `tension` multiplies their stiffness, `hold` their damping. Returns
    the wave that goes up the tube. [Pa]
    """
    half, velocity = state[HALF_GAP, lane], state[VELOCITY, lane]
    now = velocity_now(velocity, state[VELOCITY_BEFORE, lane])
    lower, upper = edges(half, now, numbers[WAVE_DELAY, lane])
    share = pressure_share(lower, upper, LOSS)
    filling = numbers[SWEPT, lane] * now
    z_below, z_above = numbers[BELOW_AT_ONCE, lane], numbers[ABOVE_AT_ONCE, lane]
    below = state[LUNGS, lane] - z_below * share * filling
    for k in range(RESONATORS):
        below += waiting(numbers, state, lane, k)
    above = 2.0 * down - z_above * (1.0 - share) * filling
    area = glottal_area(lower, upper, numbers[LENGTH, lane]) + numbers[CHINK, lane]
    flow = glottal_flow(below - above, area, z_below + z_above, numbers[DENSITY, lane], LOSS)
    below -= z_below * flow
    above += z_above * flow
    stiff, step = numbers[SPRING, lane] * tension, numbers[STEP, lane]
    push = above + share * (below - above) + spring_pressure(half, numbers[REST, lane], stiff)
    damp = contact_damping(numbers[DAMP, lane] * hold, half)
    after = numbers[FREE, lane] * next_velocity(velocity, push, damp, numbers[YIELD, lane])
    move_below(numbers, state, lane, flow + share * filling)
    state[VELOCITY_BEFORE, lane], state[VELOCITY, lane] = velocity, after
    state[HALF_GAP, lane] = half + step * after
    state[FLOW, lane] = flow
    return above - down


def past_section(numbers: Any, lane: int, k: int, up: float, down: float) -> tuple[float, float]:
    """Part the waves [Pa] where section k meets the next; return those that leave, faded.

    The first goes up the next section, the second down section k.
    """
    up, down = scattered(up, down, numbers[TUBE_SHARE + k, lane])
    return numbers[TUBE_GAIN + k + 1, lane] * up, numbers[TUBE_GAIN + k, lane] * down


def take_posture(singer: Any, postures: Any, n: int) -> None:
    """Let one singer do what a step of a line asks of muscles and lungs."""
    numbers = singer.numbers
    numbers[REST, 0], numbers[WAVE_DELAY, 0] = postures.rest[n], postures.delay[n]
    numbers[CHINK, 0] = postures.chink[n]
    singer.state[LUNGS, 0] += postures.lungs[n]


def from_lungs(singer: Any) -> float:
    """Return the pressure in the mouth of one singer [Pa] if no flow left it."""
    arriving = singer.tube[singer.places[singer.steps.size - 1], 0]
    return wave_at_lips(singer.numbers, singer.state, 0, arriving)


def sing(singer: Any, pressure: float, n: int) -> None:
    """Move one singer on, at the pressure [Pa] that the mouth had."""
    numbers, state, tube, places = singer.numbers, singer.state, singer.tube, singer.places
    falls = tube.shape[0] // 2
    move_mouth(numbers, state, 0, pressure, n)
    down = tube[falls + places[0], 0]
    carry = move_folds(numbers, state, 0, down, singer.tension[n], singer.hold[n])
    carry *= numbers[TUBE_GAIN, 0]
    end, last = 0, singer.steps.size - 1
    for k in range(last + 1):
        here = places[k]
        rising = tube[here, 0]
        tube[here, 0] = carry
        if k < last:
            falling = tube[falls + places[k + 1], 0]
            carry, tube[falls + here, 0] = past_section(numbers, 0, k, rising, falling)
        else:
            tube[falls + here, 0] = numbers[TUBE_GAIN + k, 0] * (pressure - rising)
        end += singer.steps[k]
        places[k] = here + 1 if here + 1 < end else end - singer.steps[k]
    singer.half_gap[n], singer.flow[n] = state[HALF_GAP, 0], state[FLOW, 0]
    singer.lungs[n] = state[LUNGS, 0]


def _leak(singer: Any, taken: Any, mouth: Any, begin: int, end: int) -> None:
    numbers = singer.numbers
    for n in range(begin, end):
        lost = numbers[LEAK, 0] + taken[n]
        resisted = numbers[MOUTH_AT_ONCE, 0]
        pressure = from_lungs(singer) - resisted * lost
        pressure /= 1.0 + resisted * numbers[LEAK_SLOPE, 0]
        sing(singer, pressure, n)
        mouth[n] = pressure


def make_leak(compile_with: Compile = compiled) -> Any:
    """Make the loop over steps of folds that sing into a leak; as `single.make_run`."""
    return assembled(_leak, "folds_leak", compile_with)


@functools.cache
def _compiled_leak() -> Any:
    return make_leak()


def sing_into_leak(singer: Singer, taken: Reals | None = None, loop: Any = None) -> Reals:
    """Let a singer sing, on from where it is, into an opening that takes a flow as a horn does.

    Parameters
    ----------
    singer : Singer
        Rows `LEAK` and `LEAK_SLOPE` of its numbers say what leaves through the lips; its `half_gap`
        and `flow` are filled.
    taken : ndarray, shape (n,), optional
        Flow that leaves beside the leak. [m³ s⁻¹]
    loop : callable, optional
        Another one from `make_leak`, for example a plain one.

    Returns
    -------
    ndarray, shape (n,)
        Pressure in the mouth less the breath. [Pa]
    """
    mouth = np.zeros(singer.tension.size)
    extra = np.zeros(mouth.size) if taken is None else taken
    (loop or _compiled_leak())(singer, extra, mouth, 0, mouth.size)
    return mouth
