"""Many setups stepped side by side: the loop over the lanes of a block.

A block is one table with a column a lane: the numbers and the state of the time step, and below
them what a lane blows, hears from its delay lines and measures. The innermost loop runs over the
lanes, `LANES` of them or a single one, so that the compiler makes vector code of it: rows of one
table at fixed distances cannot overlap.

The step is that of `step`, to the last bit, but cut: each of its parts runs over all lanes before
the next. This is the only other place where the order of `step.from_bore` and `step.from_player`
stands; a test holds it to them.

What must be looked up lane by lane (delay lines, the table of the sung period) is looked up for
some steps at once, in loops of its own: a delay line is contiguous in time, and its values are
written long before they are read as vectors. What comes from afar is looked up for more of them
than what has been in a delay line for a few steps only.

Singers whose folds feel the horn have a table of their own, *voices*, and the waves in their tubes
another; lanes that are stepped together have tubes of equal steps.

Nothing is kept but running measures. The pressure is averaged over a *tick* of a few steps, turned
back by a clock of the lane's reference frequency, and summed under overlapping windows of some
*hops*; at the end of each hop the oldest window is complete and leaves.
"""

import math
from typing import Any, NamedTuple

import numpy as np

from reedbore.kernel import folds, rows
from reedbore.kernel.compiler import Compile, assembled, compiled
from reedbore.kernel.folds import move_folds, move_mouth, past_section, wave_at_lips
from reedbore.kernel.rows import AHEAD, LANES
from reedbore.kernel.single import FOLDS
from reedbore.kernel.step import (
    COUPLED,
    at_junction,
    at_reed,
    at_vent,
    from_pairs,
    from_poles,
    from_upstream,
    into_upstream,
    vent_share,
)
from reedbore.kernel.valve import VALVES

MOST_AT_ONCE = 9
"""Pole pairs in one loop over the lanes: the compiler writes out no more."""

CIRCLE = 2.0 * math.pi

whole = np.uint64
"""A place that cannot lie before the first one: nothing has to be checked."""

# Of a kind of lanes; `make_lanes` puts those of another kind in their place.
VENTED = False
"""Whether the bores have vents."""

IN_USE = rows.PAIRS
"""Pole pairs; a constant, or the loop over the lanes would not be the innermost."""

CHUNK = MOST_AT_ONCE
"""How many of them are passed in one loop over the lanes."""

FAR = BATCH = AHEAD
"""For how many steps at once is looked up what comes from afar, and what comes from near by."""


class Kind(NamedTuple):
    """What lanes must have in common to be stepped together."""

    valve: str
    """One of `valve.VALVES`."""
    vented: bool
    coupled: bool
    """As in `Numbers`."""
    folds: bool
    """Whether folds sing in the mouths; then they are coupled too."""
    pairs: int
    """Pole pairs of all lanes."""
    far: int
    """For how many steps at once is looked up what comes from afar: the main echo, and early ones
    that take `AHEAD` steps or more; a tick is a multiple of it."""
    batch: int
    """The same of what comes sooner, and to a vent: at most the shortest delay; `far` is a multiple
    of it."""


def _blow(block: Any, now: int) -> None:
    """Let breath and voice rise."""
    for lane in range(LANES):
        rise = min(now / block[rows.RISE, lane], 1.0)
        fade = min(now / block[rows.FADE_IN, lane], 1.0)
        block[rows.BLOWN, lane] = block[rows.BREATH, lane] * (0.5 - 0.5 * math.cos(math.pi * rise))
        block[rows.FADED, lane] = 0.5 - 0.5 * math.cos(math.pi * fade)


def _sing(block: Any, tiles: Any, places: Any, waves: Any, now: int) -> None:
    """Look up the sung waveform, between two points of its period."""
    for s in range(FAR):
        for lane in range(LANES):
            phase = (now + s) * block[rows.SUNG_TURN, lane]
            tiles[rows.COMING_SUNG, s, lane] = (phase - math.floor(phase)) * rows.TABLE
        for lane in range(LANES):
            place = tiles[rows.COMING_SUNG, s, lane]
            point = int(place)
            begin = places[rows.PERIOD, lane] + point
            low, high = waves[whole(begin)], waves[whole(begin + 1)]
            tiles[rows.COMING_SUNG, s, lane] = (high - low) * (place - point) + low


def _hear(
    tiles: Any, coming: int, places: Any, first: int, line: Any, now: int, begin: int, count: int
) -> None:
    """Take some values out of a delay line, from a step on."""
    around = line.shape[1] - AHEAD - 1
    for lane in range(LANES):
        place = (now + begin - places[first, lane]) & around
        for s in range(count):
            tiles[coming, begin + s, lane] = line[lane, whole(place + s)]


def _hear_early(
    strengths: Any, tiles: Any, early: Any, places: Any, line: Any, echoes: int, now: int
) -> None:
    """Take the next early echoes that come from afar, summed, out of a delay line.

    Eight sums are written out so that they stay in one register; fewer steps use fewer.
    """
    around = line.shape[1] - AHEAD - 1
    for lane in range(LANES):
        a = b = c = d = e = f = g = h = 0.0
        for k in range(echoes):
            place = (now - places[rows.ECHO_PLACE + k, lane]) & around
            strength = strengths[k, lane]
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
        for s in range(FAR):
            tiles[rows.COMING_EARLY, s, lane] = early[s]


def _hear_near(
    strengths: Any, tiles: Any, places: Any, line: Any, near: int, now: int, begin: int
) -> None:
    """Add those that come sooner, from a step on."""
    around = line.shape[1] - AHEAD - 1
    for s in range(begin, begin + BATCH):
        for lane in range(LANES):
            early = tiles[rows.COMING_EARLY, s, lane]
            for k in range(near):
                place = (now + s - places[rows.NEAR_PLACE + k, lane]) & around
                early += strengths[rows.ECHOES + k, lane] * line[lane, whole(place)]
            tiles[rows.COMING_EARLY, s, lane] = early


def _go(tiles: Any, going: int, line: Any, now: int, begin: int) -> None:
    """Put values into a delay line, from a step on; its first ones stand behind its end again."""
    size = line.shape[1] - AHEAD
    place = (now + begin) & (size - 1)
    for lane in range(LANES):
        for s in range(BATCH):
            line[lane, whole(place + s)] = tiles[going, begin + s, lane]
    if place < AHEAD:
        for lane in range(LANES):
            for s in range(BATCH):
                line[lane, whole(size + place + s)] = tiles[going, begin + s, lane]


def _take(block: Any, tiles: Any, s: int, early: bool, lanes: int) -> None:
    """Set out what comes at one step."""
    for lane in range(lanes):
        block[rows.DELAYED, lane] = tiles[rows.COMING, s, lane]
    for lane in range(lanes):
        block[rows.SUNG, lane] = tiles[rows.COMING_SUNG, s, lane]
    if early:
        for lane in range(lanes):
            block[rows.EARLY, lane] = tiles[rows.COMING_EARLY, s, lane]
    if VENTED:
        for lane in range(lanes):
            block[rows.UPPER_DELAYED, lane] = tiles[rows.COMING_DOWN, s, lane]
        for lane in range(lanes):
            block[rows.TUBE_DELAYED, lane] = tiles[rows.COMING_THROUGH, s, lane]


def _put_out(block: Any, tiles: Any, s: int, lanes: int) -> None:
    for lane in range(lanes):
        tiles[rows.GOING, s, lane] = block[rows.BELOW, lane]
    if VENTED:
        for lane in range(lanes):
            tiles[rows.GOING_DOWN, s, lane] = block[rows.OUT, lane]
        for lane in range(lanes):
            tiles[rows.GOING_ON, s, lane] = block[rows.ONWARD, lane]


def _out_of(block: Any, taps: int, delayed: int, lane: int) -> float:
    """Hear a delay line between two of its steps, as `step.out_of`, and make room for the next."""
    wave = 0.0
    for k in range(rows.TAPS):
        wave += block[taps + k, lane] * block[delayed + k, lane]
    for k in range(rows.TAPS - 1, 0, -1):
        block[delayed + k, lane] = block[delayed + k - 1, lane]
    return wave


def _come_back(block: Any, numbers: Any, state: Any) -> None:
    """Let what comes out of the delay lines pass the filters of the reflection."""
    for lane in range(LANES):
        arriving = _out_of(block, rows.TAP, rows.DELAYED, lane)
        block[rows.ARRIVING, lane] = arriving
        block[rows.REFLECTED, lane] = from_poles(
            numbers, state, lane, arriving, block[rows.EARLY, lane]
        )


def _ring(block: Any, numbers: Any, state: Any, begin: int) -> None:
    """Let it pass some of the pole pairs."""
    for lane in range(LANES):
        block[rows.REFLECTED, lane] = from_pairs(
            *(numbers, state, lane, block[rows.REFLECTED, lane], block[rows.ARRIVING, lane], begin),
            *(CHUNK,),
        )


def _come_up(block: Any, numbers: Any, state: Any) -> None:
    """Hear the mouths and throats of the players."""
    for lane in range(LANES):
        block[rows.UPSTREAM, lane] = from_upstream(numbers, state, lane)


def _let_go(numbers: Any, state: Any) -> None:
    """Send back what goes up to them."""
    for lane in range(LANES):
        into_upstream(numbers, state, lane)


def _come_from_folds(block: Any, voices: Any, tubes: Any, place: int) -> None:
    """Hear the mouths of singers, into each of which a wave comes up at a place of the tubes."""
    numbers, state = voices[: folds.NUMBERS], voices[folds.NUMBERS : folds.TENSE]
    for lane in range(LANES):
        block[rows.UPSTREAM, lane] = wave_at_lips(numbers, state, lane, tubes[place, lane])


def _phonate(block: Any, reeds: Any, voices: Any, tubes: Any, place: int, now: int) -> None:
    """Move mouths and folds on; to these a wave comes down at a place of the tubes.

    `reeds` is the state of the step, in which the pressure in the mouths stands.
    """
    numbers, state = voices[: folds.NUMBERS], voices[folds.NUMBERS : folds.TENSE]
    for lane in range(LANES):
        pushed = reeds[rows.IN_MOUTH, lane] - block[rows.BLOWN, lane]
        voices[folds.PUSHED, lane] = pushed
        move_mouth(numbers, state, lane, pushed, now)
    for lane in range(LANES):
        tense, held = voices[folds.TENSE, lane], voices[folds.HELD, lane]
        up = move_folds(numbers, state, lane, tubes[place, lane], tense, held)
        voices[folds.CARRIED, lane] = up * numbers[folds.TUBE_GAIN, lane]
        voices[folds.TICK, lane] += state[folds.HALF_GAP, lane]


def _pass_section(voices: Any, tubes: Any, k: int, here: int, beyond: int, falls: int) -> None:
    """Move the waves on where section k of the tubes meets the next."""
    numbers = voices[: folds.NUMBERS]
    for lane in range(LANES):
        rising, falling = tubes[here, lane], tubes[falls + beyond, lane]
        tubes[here, lane] = voices[folds.CARRIED, lane]
        up, down = past_section(numbers, lane, k, rising, falling)
        voices[folds.CARRIED, lane], tubes[falls + here, lane] = up, down


def _pass_lips(voices: Any, tubes: Any, k: int, here: int, falls: int) -> None:
    """Move them on at the end of the last section."""
    for lane in range(LANES):
        rising = tubes[here, lane]
        tubes[here, lane] = voices[folds.CARRIED, lane]
        reflected = voices[folds.PUSHED, lane] - rising
        tubes[falls + here, lane] = voices[folds.TUBE_GAIN + k, lane] * reflected


def _sing_on(
    block: Any, reeds: Any, voices: Any, tubes: Any, steps: Any, spots: Any, now: int
) -> None:
    """Move singers on; as `folds.sing`."""
    falls, last = tubes.shape[0] // 2, steps.size - 1
    _phonate(block, reeds, voices, tubes, falls + spots[0], now)
    end = 0
    for k in range(last + 1):
        here = spots[k]
        if k < last:
            _pass_section(voices, tubes, k, here, spots[k + 1], falls)
        else:
            _pass_lips(voices, tubes, k, here, falls)
        end += steps[k]
        spots[k] = here + 1 if here + 1 < end else end - steps[k]


def _move(block: Any, numbers: Any, state: Any, now: int, vent_rise: int) -> None:
    """Step all lanes on and measure them."""
    for lane in range(LANES):
        reflected, below, onward = block[rows.REFLECTED, lane], 0.0, 0.0
        if VENTED:
            down = _out_of(block, rows.UPPER_TAP, rows.UPPER_DELAYED, lane)
            share = vent_share(now, block[rows.VENT_OPENS, lane], vent_rise)
            up, below = at_vent(numbers, state, lane, reflected, down, share)
            through = _out_of(block, rows.TUBE_TAP, rows.TUBE_DELAYED, lane)
            reflected, onward = at_junction(numbers, state, lane, through, up)
        sung = block[rows.SUNG, lane] * block[rows.FADED, lane]
        mouth = block[rows.BLOWN, lane] * (1.0 + block[rows.DEPTH, lane] * sung)
        pressure, out = at_reed(numbers, state, lane, mouth, block[rows.UPSTREAM, lane], reflected)
        if not VENTED:
            below = out
        block[rows.PRESSURE, lane] = pressure
        block[rows.OUT, lane] = out
        block[rows.BELOW, lane] = below
        if VENTED:
            block[rows.ONWARD, lane] = onward
        block[rows.TICK, lane] += pressure
        block[rows.TOTAL, lane] += pressure
        block[rows.SQUARES, lane] += pressure * pressure
        block[rows.SANE, lane] = block[rows.SANE, lane] if abs(pressure) < rows.BURST_PA else 0.0


def _set_clocks(table: Any, turns: int, clock: int, now: int, tick: int) -> None:
    """Set the clocks, four rows of a table, to the middle of the tick that begins now."""
    for lane in range(LANES):
        turn = table[turns, lane]
        phase = (now + 0.5 * (tick - 1)) * turn
        phase = CIRCLE * (phase - math.floor(phase))
        table[clock, lane] = math.cos(phase)
        table[clock + 1, lane] = math.sin(phase)
        table[clock + 2, lane] = math.cos(CIRCLE * turn * tick)
        table[clock + 3, lane] = math.sin(CIRCLE * turn * tick)


def _demodulate(
    table: Any, ticks: int, clock: int, frames: Any, window: Any, at: int, lanes: int
) -> None:
    """Add the tick that ends now to all open windows, and turn the clocks on."""
    ages = window.shape[0]
    for age in range(ages):
        weight = window[age, at]
        for lane in range(lanes):
            frames[age, lane] += weight * (table[ticks, lane] * table[clock, lane])
        for lane in range(lanes):
            frames[ages + age, lane] -= weight * (table[ticks, lane] * table[clock + 1, lane])
    for lane in range(lanes):
        table[ticks, lane] = 0.0
        cosine, sine = table[clock, lane], table[clock + 1, lane]
        rotate, rotate_sine = table[clock + 2, lane], table[clock + 3, lane]
        table[clock, lane] = cosine * rotate - sine * rotate_sine
        table[clock + 1, lane] = cosine * rotate_sine + sine * rotate


def _emit(frames: Any, hop: int, lines: Any) -> None:
    """Let the oldest window leave; a new one opens."""
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


def _keep_tick(block: Any, tick: int, row: int, ticks: Any, lanes: int) -> None:
    """Keep the mean pressure of the tick that ends now."""
    for lane in range(lanes):
        ticks[row, lane] = block[rows.TICK, lane] / tick


def _count_swings(voices: Any, tick: int, lanes: int) -> None:
    """Count how often folds have swung: how often they part beyond what they swing about."""
    for lane in range(lanes):
        off = voices[folds.TICK, lane] / tick - voices[folds.MIDDLE, lane]
        voices[folds.MIDDLE, lane] += folds.MIDDLE_FOLLOWS * off
        above = 1.0 if off > 0.0 else 0.0
        voices[folds.SWINGS, lane] += above * (1.0 - voices[folds.ABOVE, lane])
        voices[folds.ABOVE, lane] = above


def _emit_swings(voices: Any, hop: int, lines: Any) -> None:
    """Let the count of swings leave beside the line of the folds."""
    for lane in range(LANES):
        lines[hop, 2, lane] = voices[folds.SWINGS, lane]


def _emit_levels(block: Any, hop: int, levels: Any) -> None:
    """Let the level of the hop leave."""
    for lane in range(LANES):
        levels[hop, 0, lane] = block[rows.TOTAL, lane]
        levels[hop, 1, lane] = block[rows.SQUARES, lane]
        levels[hop, 2, lane] = block[rows.SANE, lane]
        block[rows.TOTAL, lane] = block[rows.SQUARES, lane] = 0.0


def parts_of(block: Any, apart: Any) -> Any:
    """Return numbers, state and strengths of early echoes: rows of a block.

    Another machine keeps them `apart`. A step that is a function of its own would be compiled
    before it is known how far apart rows are, and take nearly twice as long.
    """
    return (
        block[: rows.NUMBERS],
        block[rows.NUMBERS : rows.BREATH],
        block[rows.ECHO : rows.DELAYED],
    )


def move_lanes(
    block: Any,
    apart: Any,
    places: Any,
    entering: Any,
    leaving: Any,
    onward: Any,
    frames: Any,
    voices: Any,
    tubes: Any,
    sung_frames: Any,
    steps: Any,
    spots: Any,
    tiles: Any,
    sums: Any,
    waves: Any,
    window: Any,
    start: int,
    settled: int,
    tick: int,
    echoes: int,
    near: int,
    vent_rise: int,
    lanes: int,
    lines: Any,
    sung_lines: Any,
    levels: Any,
    record: Any,
    ticks: Any,
) -> None:
    """Step the lanes of a block on, from a step, and measure them."""
    # From here on the compiler knows how far apart the rows are.
    if block.shape[0] != rows.ROWS or block.shape[1] != LANES or places.shape[1] != LANES:
        return
    if tiles.shape[1] != FAR or tiles.shape[2] != LANES:
        return
    if FOLDS and (voices.shape[0] != folds.ROWS or voices.shape[1] != LANES):
        return
    if FOLDS and tubes.shape[1] != LANES:
        return
    numbers, state, strengths = parts_of(block, apart)
    now = start
    for hop in range(lines.shape[0]):
        _set_clocks(block, rows.CLOCK_TURN, rows.CLOCK, now, tick)
        if FOLDS:
            _set_clocks(voices, folds.CLOCK_TURN, folds.CLOCK, now, tick)
        for at in range(window.shape[1]):
            for _ in range(tick // FAR):
                if waves.size > 0:
                    _sing(block, tiles, places, waves, now)
                _hear(tiles, rows.COMING, places, rows.FIRST, entering, now, 0, FAR)
                if echoes + near > 0:
                    _hear_early(strengths, tiles, sums, places, entering, echoes, now)
                for begin in range(0, FAR, BATCH):
                    if near > 0:
                        _hear_near(strengths, tiles, places, entering, near, now, begin)
                    if VENTED:
                        some = begin, BATCH
                        _hear(tiles, rows.COMING_DOWN, places, rows.UPPER_FIRST, onward, now, *some)
                        _hear(
                            tiles, rows.COMING_THROUGH, places, rows.TUBE_FIRST, leaving, now, *some
                        )
                    for s in range(begin, begin + BATCH):
                        if now + s <= settled:
                            _blow(block, now + s)
                        _take(block, tiles, s, echoes + near > 0, lanes)
                        _come_back(block, numbers, state)
                        for pair in range(0, IN_USE, CHUNK):
                            _ring(block, numbers, state, pair)
                        if FOLDS:
                            _come_from_folds(block, voices, tubes, spots[steps.size - 1])
                        elif COUPLED:
                            _come_up(block, numbers, state)
                        _move(block, numbers, state, now + s, vent_rise)
                        if FOLDS:
                            _sing_on(block, state, voices, tubes, steps, spots, now + s)
                        elif COUPLED:
                            _let_go(numbers, state)
                        _put_out(block, tiles, s, lanes)
                        if record.shape[0] > 0:
                            for lane in range(lanes):
                                record[now + s - start, lane] = block[rows.PRESSURE, lane]
                    _go(tiles, rows.GOING, entering, now, begin)
                    if VENTED:
                        _go(tiles, rows.GOING_DOWN, leaving, now, begin)
                        _go(tiles, rows.GOING_ON, onward, now, begin)
                now += FAR
            if ticks.shape[0] > 0:
                _keep_tick(block, tick, hop * window.shape[1] + at, ticks, lanes)
            _demodulate(block, rows.TICK, rows.CLOCK, frames, window, at, lanes)
            if FOLDS:
                _count_swings(voices, tick, lanes)
                _demodulate(voices, folds.TICK, folds.CLOCK, sung_frames, window, at, lanes)
        _emit(frames, hop, lines)
        if FOLDS:
            _emit(sung_frames, hop, sung_lines)
            _emit_swings(voices, hop, sung_lines)
        _emit_levels(block, hop, levels)


def make_lanes(kind: Kind, lanes: int = LANES, compile_with: Compile = compiled) -> Any:
    """Make the loop over all steps of a block.

    Parameters
    ----------
    kind : Kind
        Of its lanes.
    lanes : int
        How many it has.
    compile_with : callable
        Turns the plain loop into the one that runs, as for `single.make_run`.

    Returns
    -------
    callable
        Moves a block on.
    """
    name = f"lanes_{lanes}_{name_of(kind)}"
    return assembled(move_lanes, name, compile_with, **choices(kind), LANES=lanes)


def name_of(kind: Kind) -> str:
    """Return a name for the code of a kind."""
    how = "_vented" * kind.vented + "_coupled" * kind.coupled + "_folds" * kind.folds
    return f"{kind.valve}{how}_{kind.pairs}_{kind.far}_{kind.batch}"


def choices(kind: Kind) -> dict[str, Any]:
    """Return what stands in the text of the lanes for a kind."""
    chunks = [count for count in range(1, MOST_AT_ONCE + 1) if kind.pairs % count == 0]
    return {
        "valve": VALVES[kind.valve],
        "VENTED": kind.vented,
        "COUPLED": kind.coupled,
        "FOLDS": kind.folds,
        "IN_USE": kind.pairs,
        "CHUNK": max(chunks),
        "FAR": kind.far,
        "BATCH": kind.batch,
    }
