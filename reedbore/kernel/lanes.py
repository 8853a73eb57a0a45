"""Many setups stepped side by side: the compiled loop of `lanes`.

A block is one table with a column a lane: the numbers and the state of the time step, and below
them what a lane blows, hears from its delay lines and measures. The innermost loop runs over the
lanes, `LANES` of them, so that the compiler makes vector code of it: rows of one table at fixed
distances cannot overlap. The step is that of `step`, to the last bit.

What must be looked up lane by lane (delay lines, the table of the sung period) is looked up for
some steps at once, which no delay is shorter than, in loops of its own: a delay line is contiguous
in time, and its values are written long before they are read as vectors.

Nothing is kept but running measures. The pressure is averaged over a *tick* of a few steps, turned
back by a clock of the lane's reference frequency, and summed under overlapping windows of some
*hops*; at the end of each hop the oldest window is complete and leaves.
"""

import math
from types import FunctionType
from typing import Any

import numpy as np

from reedbore.kernel import step
from reedbore.kernel.single import BURST_PA
from reedbore.simulate.acoustics.reflection import ECHOES
from reedbore.simulate.mouth import TABLE

LANES = 16
"""Lanes of a block: their numbers and state fit into the nearest cache."""

MOST_AT_ONCE = 9
"""Pole pairs in one loop over the lanes: the compiler writes out no more."""

# Rows of a block, below the numbers and the state of the step.
STATE = step.NUMBERS
BREATH, RISE, DEPTH, FADE_IN = range(STATE + step.STATE, STATE + step.STATE + 4)  # what is set
SUNG_TURN, CLOCK_TURN, VENT_OPENS = range(FADE_IN + 1, FADE_IN + 4)
TAP = VENT_OPENS + 1
WAY_TAP = TAP + 4
ECHO = WAY_TAP + 4
HEARD = ECHO + ECHOES  # what moves
WAY_HEARD = HEARD + 4
EARLY, ARRIVING, BACK, SUNG, BLOWN, FADED = range(WAY_HEARD + 4, WAY_HEARD + 10)
UPSTREAM, PRESSURE, OUT, BELOW = range(FADED + 1, FADED + 5)
TICK, TOTAL, SQUARES, SANE = range(BELOW + 1, BELOW + 5)  # what is measured
CLOCK, CLOCK_SINE, ROTATE, ROTATE_SINE = range(SANE + 1, SANE + 5)
ROWS = ROTATE_SINE + 1

# Rows of the table of places, whole numbers.
FIRST, WAY_FIRST, WAVE, ECHO_PLACE = range(4)
PLACES = ECHO_PLACE + ECHOES

# Tables of some steps, a row a step.
COMING, COMING_EARLY, COMING_DOWN, COMING_SUNG, GOING, GOING_DOWN = range(6)
TILES = 6

AHEAD = 8
"""Most steps that are looked up at once: so many values stand behind the end of a delay line."""

TURN = 2.0 * math.pi

whole = np.uint64
"""A place that cannot lie before the first one: nothing has to be checked."""


def _blow(block: Any, now: int) -> None:
    """Let breath and voice rise."""
    for lane in range(LANES):
        rise = min(now / block[RISE, lane], 1.0)
        fade = min(now / block[FADE_IN, lane], 1.0)
        block[BLOWN, lane] = block[BREATH, lane] * (0.5 - 0.5 * math.cos(math.pi * rise))
        block[FADED, lane] = 0.5 - 0.5 * math.cos(math.pi * fade)


def _sing(block: Any, tiles: Any, places: Any, waves: Any, now: int) -> None:
    """Look up the sung waveform, between two points of its period."""
    for s in range(batch):  # type: ignore[name-defined] # noqa: F821
        for lane in range(LANES):
            phase = (now + s) * block[SUNG_TURN, lane]
            tiles[COMING_SUNG, s, lane] = (phase - math.floor(phase)) * TABLE
        for lane in range(LANES):
            place = tiles[COMING_SUNG, s, lane]
            point = int(place)
            begin = places[WAVE, lane] + point
            low, high = waves[whole(begin)], waves[whole(begin + 1)]
            tiles[COMING_SUNG, s, lane] = (high - low) * (place - point) + low


def _hear(tiles: Any, coming: int, places: Any, first: int, line: Any, now: int) -> None:
    """Take the next values out of a delay line."""
    around = line.shape[1] - AHEAD - 1
    for lane in range(LANES):
        place = (now - places[first, lane]) & around
        for s in range(batch):  # type: ignore[name-defined] # noqa: F821
            tiles[coming, s, lane] = line[lane, whole(place + s)]


def _hear_early(
    block: Any, tiles: Any, early: Any, places: Any, line: Any, echoes: int, now: int
) -> None:
    """Take the next early echoes, summed, out of a delay line.

    Eight sums are written out so that they stay in one register; a smaller batch uses fewer.
    """
    around = line.shape[1] - AHEAD - 1
    for lane in range(LANES):
        a = b = c = d = e = f = g = h = 0.0
        for k in range(echoes):
            place = (now - places[ECHO_PLACE + k, lane]) & around
            strength = block[ECHO + k, lane]
            a += strength * line[lane, whole(place)]
            b += strength * line[lane, whole(place + 1)]
            c += strength * line[lane, whole(place + 2)]
            d += strength * line[lane, whole(place + 3)]
            e += strength * line[lane, whole(place + 4)]
            f += strength * line[lane, whole(place + 5)]
            g += strength * line[lane, whole(place + 6)]
            h += strength * line[lane, whole(place + 7)]
        early[0], early[1], early[2], early[3] = a, b, c, d
        early[4], early[5], early[6], early[7] = e, f, g, h
        for s in range(batch):  # type: ignore[name-defined] # noqa: F821
            tiles[COMING_EARLY, s, lane] = early[s]


def _go(tiles: Any, going: int, line: Any, now: int) -> None:
    """Put values into a delay line; its first ones stand behind its end again."""
    size = line.shape[1] - AHEAD
    place = now & (size - 1)
    for lane in range(LANES):
        for s in range(batch):  # type: ignore[name-defined] # noqa: F821
            line[lane, whole(place + s)] = tiles[going, s, lane]
    if place == 0:
        for lane in range(LANES):
            for s in range(batch):  # type: ignore[name-defined] # noqa: F821
                line[lane, size + s] = line[lane, s]


def _take(block: Any, tiles: Any, s: int, echoes: int, lanes: int) -> None:
    """Set out what comes at one step."""
    for lane in range(lanes):
        block[HEARD, lane] = tiles[COMING, s, lane]
    for lane in range(lanes):
        block[SUNG, lane] = tiles[COMING_SUNG, s, lane]
    if echoes > 0:
        for lane in range(lanes):
            block[EARLY, lane] = tiles[COMING_EARLY, s, lane]
    if vented:  # type: ignore[name-defined] # noqa: F821
        for lane in range(lanes):
            block[WAY_HEARD, lane] = tiles[COMING_DOWN, s, lane]


def _give(block: Any, tiles: Any, s: int, lanes: int) -> None:
    for lane in range(lanes):
        tiles[GOING, s, lane] = block[BELOW, lane]
    if vented:  # type: ignore[name-defined] # noqa: F821
        for lane in range(lanes):
            tiles[GOING_DOWN, s, lane] = block[OUT, lane]


def _come_back(block: Any) -> None:
    """Let what comes out of the delay lines pass the filters of the reflection."""
    numbers, state = block[:STATE], block[STATE:BREATH]
    for lane in range(LANES):
        arriving = 0.0
        for k in range(4):
            arriving += block[TAP + k, lane] * block[HEARD + k, lane]
        for k in range(3, 0, -1):
            block[HEARD + k, lane] = block[HEARD + k - 1, lane]
        block[ARRIVING, lane] = arriving
        block[BACK, lane] = from_poles(  # type: ignore[name-defined] # noqa: F821
            numbers, state, lane, arriving, block[EARLY, lane]
        )


def _ring(block: Any, begin: int) -> None:
    """Let it pass some of the pole pairs."""
    numbers, state = block[:STATE], block[STATE:BREATH]
    for lane in range(LANES):
        block[BACK, lane] = from_pairs(  # type: ignore[name-defined] # noqa: F821
            *(numbers, state, lane, block[BACK, lane], block[ARRIVING, lane], begin),
            *(chunk,),  # type: ignore[name-defined] # noqa: F821
        )


def _come_up(block: Any) -> None:
    """Hear the mouths and throats of the players."""
    numbers, state = block[:STATE], block[STATE:BREATH]
    for lane in range(LANES):
        block[UPSTREAM, lane] = from_upstream(  # type: ignore[name-defined] # noqa: F821
            numbers, state, lane
        )


def _let_go(block: Any) -> None:
    """Send back what goes up to them."""
    numbers, state = block[:STATE], block[STATE:BREATH]
    for lane in range(LANES):
        into_upstream(numbers, state, lane)  # type: ignore[name-defined] # noqa: F821


def _move(block: Any, now: int, vent_rise: int) -> None:
    """Step all lanes on and measure them."""
    numbers, state = block[:STATE], block[STATE:BREATH]
    for lane in range(LANES):
        back, below = block[BACK, lane], 0.0
        if vented:  # type: ignore[name-defined] # noqa: F821
            down = 0.0
            for k in range(4):
                down += block[WAY_TAP + k, lane] * block[WAY_HEARD + k, lane]
            for k in range(3, 0, -1):
                block[WAY_HEARD + k, lane] = block[WAY_HEARD + k - 1, lane]
            share = min(max((now - block[VENT_OPENS, lane]) / vent_rise, 0.0), 1.0)
            back, below = at_vent(  # type: ignore[name-defined] # noqa: F821
                numbers, state, lane, back, down, share
            )
        sung = block[SUNG, lane] * block[FADED, lane]
        mouth = block[BLOWN, lane] * (1.0 + block[DEPTH, lane] * sung)
        pressure, out = at_reed(  # type: ignore[name-defined] # noqa: F821
            numbers, state, lane, mouth, block[UPSTREAM, lane], back
        )
        if not vented:  # type: ignore[name-defined] # noqa: F821
            below = out
        block[PRESSURE, lane] = pressure
        block[OUT, lane] = out
        block[BELOW, lane] = below
        block[TICK, lane] += pressure
        block[TOTAL, lane] += pressure
        block[SQUARES, lane] += pressure * pressure
        block[SANE, lane] = block[SANE, lane] if abs(pressure) < BURST_PA else 0.0


def _set_clocks(block: Any, now: int, tick: int) -> None:
    """Set the clocks to the middle of the tick that begins now."""
    for lane in range(LANES):
        turn = block[CLOCK_TURN, lane]
        phase = (now + 0.5 * (tick - 1)) * turn
        phase = TURN * (phase - math.floor(phase))
        block[CLOCK, lane] = math.cos(phase)
        block[CLOCK_SINE, lane] = math.sin(phase)
        block[ROTATE, lane] = math.cos(TURN * turn * tick)
        block[ROTATE_SINE, lane] = math.sin(TURN * turn * tick)


def _demodulate(block: Any, frames: Any, window: Any, at: int, lanes: int) -> None:
    """Add the tick that ends now to all open windows, and turn the clocks on."""
    ages = window.shape[0]
    for age in range(ages):
        weight = window[age, at]
        for lane in range(lanes):
            frames[age, lane] += weight * (block[TICK, lane] * block[CLOCK, lane])
        for lane in range(lanes):
            frames[ages + age, lane] -= weight * (block[TICK, lane] * block[CLOCK_SINE, lane])
    for lane in range(lanes):
        block[TICK, lane] = 0.0
        cosine, sine = block[CLOCK, lane], block[CLOCK_SINE, lane]
        rotate, rotate_sine = block[ROTATE, lane], block[ROTATE_SINE, lane]
        block[CLOCK, lane] = cosine * rotate - sine * rotate_sine
        block[CLOCK_SINE, lane] = cosine * rotate_sine + sine * rotate


def _emit(block: Any, frames: Any, hop: int, lines: Any, levels: Any) -> None:
    """Let the oldest window and the level of the hop leave; a new window opens."""
    ages = frames.shape[0] // 2
    for part in range(2):
        oldest = (part + 1) * ages - 1
        for lane in range(LANES):
            lines[hop, part, lane] = frames[oldest, lane]
        for age in range(ages - 1):
            for lane in range(LANES):
                frames[oldest - age, lane] = frames[oldest - age - 1, lane]
        for lane in range(LANES):
            frames[oldest - ages + 1, lane] = 0.0
    for lane in range(LANES):
        levels[hop, 0, lane] = block[TOTAL, lane]
        levels[hop, 1, lane] = block[SQUARES, lane]
        levels[hop, 2, lane] = block[SANE, lane]
        block[TOTAL, lane] = block[SQUARES, lane] = 0.0


def _loop(
    block: Any,
    places: Any,
    entering: Any,
    leaving: Any,
    frames: Any,
    tiles: Any,
    sums: Any,
    waves: Any,
    window: Any,
    start: int,
    settled: int,
    tick: int,
    echoes: int,
    vent_rise: int,
    lanes: int,
    lines: Any,
    levels: Any,
    record: Any,
) -> None:
    # From here on the compiler knows how far apart the rows are.
    if block.shape[0] != ROWS or block.shape[1] != LANES or places.shape[1] != LANES:
        return
    if tiles.shape[1] != batch or tiles.shape[2] != LANES:  # type: ignore[name-defined] # noqa: F821
        return
    now = start
    for hop in range(lines.shape[0]):
        _set_clocks(block, now, tick)
        for at in range(window.shape[1]):
            for _ in range(tick // batch):  # type: ignore[name-defined] # noqa: F821
                if waves.size > 0:
                    _sing(block, tiles, places, waves, now)
                _hear(tiles, COMING, places, FIRST, entering, now)
                if echoes > 0:
                    _hear_early(block, tiles, sums, places, entering, echoes, now)
                if vented:  # type: ignore[name-defined] # noqa: F821
                    _hear(tiles, COMING_DOWN, places, WAY_FIRST, leaving, now)
                for s in range(batch):  # type: ignore[name-defined] # noqa: F821
                    if now + s <= settled:
                        _blow(block, now + s)
                    _take(block, tiles, s, echoes, lanes)
                    _come_back(block)
                    for begin in range(0, pairs, chunk):  # type: ignore[name-defined] # noqa: F821
                        _ring(block, begin)
                    if coupled:  # type: ignore[name-defined] # noqa: F821
                        _come_up(block)
                    _move(block, now + s, vent_rise)
                    if coupled:  # type: ignore[name-defined] # noqa: F821
                        _let_go(block)
                    _give(block, tiles, s, lanes)
                    if record.shape[0] > 0:
                        for lane in range(lanes):
                            record[now + s - start, lane] = block[PRESSURE, lane]
                _go(tiles, GOING, entering, now)
                if vented:  # type: ignore[name-defined] # noqa: F821
                    _go(tiles, GOING_DOWN, leaving, now)
                now += batch  # type: ignore[name-defined] # noqa: F821
            _demodulate(block, frames, window, at, lanes)
        _emit(block, frames, hop, lines, levels)


PARTS = (
    *(_blow, _sing, _hear, _hear_early, _go, _take, _give, _come_back, _ring, _come_up),
    *(_move, _let_go, _set_clocks, _demodulate, _emit),
)


def make_lanes(
    compile_with: Any,
    massless: bool,
    vented: bool,
    coupled: bool,
    pairs: int,
    batch: int,
    compile_parts: Any = None,
) -> Any:
    """Make the loop over all steps of a block.

    Parameters
    ----------
    compile_with : callable
        Turns the plain loop into the one that runs, as for `step.make_step`.
    massless, vented, coupled : bool
        As for `step.make_step`.
    pairs : int
        Pole pairs of all lanes; a constant, or the loop over the lanes would not be the innermost.
    batch : int
        For how many steps at once is looked up what comes: at least 1, at most the shortest delay,
        and a tick is a multiple of it.
    compile_parts : callable, optional
        The same for what is inside, if other.

    Returns
    -------
    callable
        Moves a block on.
    """
    parts = compile_parts or compile_with
    name = f"lanes_{'massless' if massless else 'mass'}" + "_vented" * vented
    name += f"{'_coupled' * coupled}_{pairs}_{batch}"
    kind: dict[str, Any] = step.make_parts(parts, massless, coupled)._asdict()
    chunk = max(count for count in range(1, MOST_AT_ONCE + 1) if pairs % count == 0)
    kind |= {"vented": vented, "coupled": coupled, "pairs": pairs, "chunk": chunk, "batch": batch}
    scope = globals() | kind
    scope |= {
        part.__name__: parts(FunctionType(part.__code__, globals() | kind, part.__name__))
        for part in PARTS
    }
    loop = FunctionType(_loop.__code__, scope, name)
    loop.__qualname__ = name
    return compile_with(loop)
