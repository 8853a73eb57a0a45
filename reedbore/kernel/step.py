"""One time step of reed, throat and bore: one text, run plain or compiled.

A setup is one column of a table of numbers; what changes in time is one column of a second table.
A step takes the pressure in the mouth and the waves that come out of the delay lines, and gives the
pressure in the mouthpiece and the waves that go into them. Nothing is iterated: the opening of
the reed is known before the pressure (central differences in time, second order), the pressure
enters the flow only under one square root, and that solves as a quadratic.

The reed: ḧ + qω(1+s)ḣ + ω²(h - H) + ω²s h = -ω² Δp/K, where s = κ⟨-h⟩/H is the lay, stiffer the
farther the reed curls on it, and damped like the reed, or more if q is too small for the rate
(`numbers.lay_damped` of the acoustics). Stiffness terms are averaged over three steps. A single
bounce off the lay may gain energy, for s is known a step late; the flight to the next one loses it.

The mouth, if it is coupled: what the flow at the reed does to the pressure there is what a passive
filter of the waves between mouth and throat sends back. Its part that comes at once is a resistance
in series with the reed; the rest is known before the step.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import rows
from reedbore.kernel.folds import from_lungs, sing
from reedbore.kernel.numbers import Numbers, vent_rise
from reedbore.kernel.valve import VALVES

Reals = NDArray[np.float64]

# What the text is for; `compiler.assembled` puts what another kind of setup needs in their place.
COUPLED = False
"""Whether the reed acts back on the pressure in the mouth."""

VENTED = True
"""Whether there may be a vent: where there is none, its branch round arrays would cost as much as
all the rest of a step."""

valve = VALVES["mass"]
"""What stands between mouth and bore."""


class Bore(NamedTuple):
    """What the step takes of a bore beside its column of numbers."""

    pairs: int
    """Pole pairs in use."""
    first: int
    taps: Reals
    """As in `Taps`, of the line of the reflection."""
    echoes: Reals
    places: NDArray[np.int64]
    line: Reals
    """Delay line of the reflection: what leaves the reed, or what goes on below a vent. [Pa]"""
    vented: bool
    upper_first: int
    upper_taps: Reals
    """As in `Taps`, of the line to the vent."""
    tube_first: int
    tube_taps: Reals
    """As in `Taps`, of the line to the junction above it."""
    onward: Reals
    """Delay line to the vent: what goes on behind that junction. [Pa]"""
    vent_begins: int
    """At which place in the lines the vent begins to open."""
    vent_rise: int
    """In how many steps it opens."""


def from_poles(numbers: Any, state: Any, lane: int, arriving: float, early: float) -> float:
    """Pass the real poles.

    `arriving` comes out of the delay line, `early` are the early echoes, summed. Returns the wave
    that both send back. [Pa]
    """
    fade = numbers[rows.FADE, lane]
    echoing = (1.0 - fade) * early + fade * state[rows.ECHOING, lane]
    state[rows.ECHOING, lane] = echoing
    reflected = echoing + numbers[rows.DIRECT, lane] * arriving
    for k in range(rows.POLES):
        memory = (
            numbers[rows.POLE + k, lane] * state[rows.MEMORY + k, lane]
            + numbers[rows.GAIN + k, lane] * arriving
        )
        state[rows.MEMORY + k, lane] = memory
        reflected += memory
    return reflected


def from_pairs(
    numbers: Any, state: Any, lane: int, reflected: float, arriving: float, begin: int, count: int
) -> float:
    """Pass some pole pairs; return `reflected` [Pa] and what they add."""
    for k in range(begin, begin + count):
        before = state[rows.RINGING + k, lane]
        ringing = (
            arriving
            + numbers[rows.TURN + k, lane] * before
            - numbers[rows.SHRINK + k, lane] * state[rows.RINGING_BEFORE + k, lane]
        )
        state[rows.RINGING_BEFORE + k, lane] = before
        state[rows.RINGING + k, lane] = ringing
        reflected += (
            numbers[rows.PAIR_GAIN + k, lane] * ringing
            + numbers[rows.PAIR_SLOPE + k, lane] * before
        )
    return reflected


def at_junction(
    numbers: Any, state: Any, lane: int, down: float, back: float
) -> tuple[float, float]:
    """Pass the junction of a mouthpiece's tube with the cone, where the air of the tip moves.

    `down` comes out of the tube, `back` out of the cone. Returns the wave that comes to the reed,
    and what goes on down the cone. [Pa]
    """
    more = (
        numbers[rows.JUNCTION_TUBE, lane] * down
        + numbers[rows.JUNCTION_CONE, lane] * back
        - state[rows.TIP_FLOW, lane]
    )
    to_reed, onward = back + more, down + more
    state[rows.TIP_FLOW, lane] += numbers[rows.JUNCTION_TIP, lane] * (down + to_reed)
    return to_reed, onward


def down_upper_bore(numbers: Any, state: Any, lane: int, down: float) -> float:
    """Pass the filter between reed and vent."""
    wave = numbers[rows.UPPER_DIRECT, lane] * down
    for k in range(rows.UPPER_POLES):
        memory = (
            numbers[rows.UPPER_POLE + k, lane] * state[rows.UPPER_MEMORY + k, lane]
            + numbers[rows.UPPER_GAIN + k, lane] * down
        )
        state[rows.UPPER_MEMORY + k, lane] = memory
        wave += memory
    return wave


def pressure_at_vent(numbers: Any, state: Any, lane: int, drive: float, share: float) -> float:
    """Move the air in the vent; return the pressure in the bore below it."""
    flow = state[rows.VENT_FLOW, lane]
    mass = numbers[rows.VENT_MASS, lane]
    loss = 0.5 * share * (numbers[rows.VENT_LOSS, lane] + numbers[rows.VENT_JET, lane] * abs(flow))
    pushed = 0.5 * share * (drive + state[rows.VENT_DRIVE, lane])
    flow = ((mass - loss) * flow + pushed) / (mass + loss)
    state[rows.VENT_FLOW, lane] = flow
    state[rows.VENT_DRIVE, lane] = drive
    return drive - numbers[rows.VENT_WAVE, lane] * flow


def flow_in_throat(state: Any, lane: int) -> float:
    """Sum the flows in the branches of the bore's throat."""
    flow = 0.0
    for k in range(rows.BRANCHES):
        flow += state[rows.THROAT_FLOW + k, lane]
    return flow


def move_throat(numbers: Any, state: Any, lane: int, pressure: float, reflected: float) -> None:
    """Move the air in mouthpiece and throat of the bore."""
    state[rows.VOLUME_FLOW, lane] = (
        2.0 * numbers[rows.VOLUME, lane] * pressure - state[rows.VOLUME_FLOW, lane]
    )
    for k in range(rows.BRANCHES):
        state[rows.THROAT_FLOW + k, lane] = (
            numbers[rows.DECAY + k, lane] * state[rows.THROAT_FLOW + k, lane]
            + numbers[rows.INFLOW + k, lane] * pressure
            - numbers[rows.BACKFLOW + k, lane] * reflected
        )


def from_upstream(numbers: Any, state: Any, lane: int) -> float:
    """Return the wave [Pa] that comes up to the mouth, as far as it is known before the step."""
    incoming = 0.0
    for k in range(rows.UPSTREAM_POLES):
        incoming += numbers[rows.MOUTH_POLE + k, lane] * state[rows.MOUTH_MEMORY + k, lane]
    for k in range(rows.UPSTREAM_PAIRS):
        before = state[rows.MOUTH_RINGING + k, lane]
        ringing = (
            numbers[rows.MOUTH_TURN + k, lane] * before
            - numbers[rows.MOUTH_SHRINK + k, lane] * state[rows.MOUTH_RINGING_BEFORE + k, lane]
        )
        incoming += (
            numbers[rows.MOUTH_PAIR_GAIN + k, lane] * ringing
            + numbers[rows.MOUTH_PAIR_SLOPE + k, lane] * before
        )
    return incoming


def into_upstream(numbers: Any, state: Any, lane: int) -> None:
    """Let the wave that left the mouth go back down the player."""
    wave = state[rows.INTO_MOUTH, lane]
    for k in range(rows.UPSTREAM_POLES):
        state[rows.MOUTH_MEMORY + k, lane] = (
            numbers[rows.MOUTH_POLE + k, lane] * state[rows.MOUTH_MEMORY + k, lane]
            + numbers[rows.MOUTH_GAIN + k, lane] * wave
        )
    for k in range(rows.UPSTREAM_PAIRS):
        before = state[rows.MOUTH_RINGING + k, lane]
        state[rows.MOUTH_RINGING + k, lane] = (
            wave
            + numbers[rows.MOUTH_TURN + k, lane] * before
            - numbers[rows.MOUTH_SHRINK + k, lane] * state[rows.MOUTH_RINGING_BEFORE + k, lane]
        )
        state[rows.MOUTH_RINGING_BEFORE + k, lane] = before


def at_vent(
    numbers: Any, state: Any, lane: int, reflected: float, down: float, share: float
) -> tuple[float, float]:
    """Pass the vent, open by a share.

    `reflected` comes from below it, `down` out of the line to it. Returns the wave that goes back
    up, and what goes on down: the waves at the vent less the one from below. [Pa]
    """
    from_above = down_upper_bore(numbers, state, lane, down)
    meeting = pressure_at_vent(numbers, state, lane, from_above + reflected, share)
    return meeting - from_above, meeting - reflected


def at_reed(
    numbers: Any, state: Any, lane: int, mouth: float, incoming: float, reflected: float
) -> tuple[float, float]:
    """Move reed, mouthpiece and throat on.

    `mouth` is blown and sung, `incoming` from `from_upstream`, 0 if the mouth is not coupled.
    Returns the pressure in the mouthpiece and the wave that leaves the reed. [Pa]
    """
    flow = (
        flow_in_throat(state, lane)
        - numbers[rows.WAVE, lane] * reflected
        - state[rows.VOLUME_FLOW, lane]
    )
    if COUPLED:
        mouth += numbers[rows.AT_ONCE, lane] * incoming
        flow *= numbers[rows.SERIES, lane]
    supply = numbers[rows.CONDUCTANCE, lane] * mouth + flow
    drop = valve(numbers, state, lane, supply)
    if COUPLED:
        taken = supply - numbers[rows.CONDUCTANCE, lane] * drop
        mouth -= numbers[rows.SOURCE, lane] * taken
        state[rows.IN_MOUTH, lane] = mouth
        state[rows.INTO_MOUTH, lane] = (
            numbers[rows.INCOMING_WAVE, lane] * incoming - numbers[rows.FLOW_WAVE, lane] * taken
        )
    pressure = mouth - drop
    move_throat(numbers, state, lane, pressure, reflected)
    return pressure, pressure - reflected


def out_of(line: Any, now: int, first: int, taps: Any) -> float:
    """Hear a delay line between two of its steps."""
    wave = 0.0
    for k in range(rows.TAPS):
        wave += taps[k] * line[now - first - k]
    return wave


def vent_share(now: int, begins: float, rise: int) -> float:
    """Return how far a vent is open that begins to open at a step, for so many steps."""
    return min(max((now - begins) / rise, 0.0), 1.0)


def from_bore(numbers: Any, state: Any, lane: int, bore: Bore, leaving: Any, now: int) -> float:
    """Move a bore on.

    Parameters
    ----------
    numbers, state, lane
        The tables, and its column of both.
    bore : Bore
        What else there is of it.
    leaving : ndarray
        Delay line of the waves that left the reed. [Pa]
    now : int
        The present place in all delay lines.

    Returns
    -------
    float
        The wave that it sends back to the reed. [Pa]
    """
    arriving, early = out_of(bore.line, now, bore.first, bore.taps), 0.0
    for k in range(bore.echoes.size):
        early += bore.echoes[k] * bore.line[now - bore.places[k]]
    reflected = from_poles(numbers, state, lane, arriving, early)
    reflected = from_pairs(numbers, state, lane, reflected, arriving, 0, bore.pairs)
    if VENTED and bore.vented:
        down = out_of(bore.onward, now, bore.upper_first, bore.upper_taps)
        share = vent_share(now, bore.vent_begins, bore.vent_rise)
        up, bore.line[now] = at_vent(numbers, state, lane, reflected, down, share)
        through = out_of(leaving, now, bore.tube_first, bore.tube_taps)
        reflected, bore.onward[now] = at_junction(numbers, state, lane, through, up)
    return reflected


def from_player(
    numbers: Any, state: Any, lane: int, mouth: float, reflected: float
) -> tuple[float, float]:
    """Move the player on, and the reed with what the bore sends back.

    Parameters
    ----------
    numbers, state, lane
        As for `from_bore`.
    mouth : float
        What is blown and sung. [Pa]
    reflected : float
        From `from_bore`. [Pa]

    Returns
    -------
    pressure, out : float
        In the mouthpiece, and the wave that leaves the reed. [Pa]

    Notes
    -----
    Whatever is upstream meets the reed as one wave that comes, known before the step, and one that
    goes; between them it may be any number of ports.
    """
    incoming = 0.0
    if COUPLED:
        incoming = from_upstream(numbers, state, lane)
    pressure, out = at_reed(numbers, state, lane, mouth, incoming, reflected)
    if COUPLED:
        into_upstream(numbers, state, lane)
    return pressure, out


def from_singer(
    numbers: Any, state: Any, lane: int, singer: Any, mouth: float, reflected: float, n: int
) -> tuple[float, float]:
    """Move a player on whose voice comes from folds, and the reed; as `from_player`.

    `singer` is a `folds.Singer`, `mouth` the breath, `n` the step.
    """
    incoming = from_lungs(singer)
    pressure, out = at_reed(numbers, state, lane, mouth, incoming, reflected)
    sing(singer, state[rows.IN_MOUTH, lane] - mouth, n)
    return pressure, out


def bore_of(numbers: Numbers, leaving: Reals, vent_begins: int) -> Bore:
    """Return what the step takes of a bore beside its column of numbers.

    Parameters
    ----------
    numbers : Numbers
        Of a setup.
    leaving : ndarray, shape (n,)
        Delay line of the waves that leave the reed; without a vent the bore hears it directly.
    vent_begins : int
        The place in the delay lines at which its vent begins to open.

    Returns
    -------
    Bore
        With lines of its own if there is a vent.
    """
    vented = numbers.upper is not None
    upper, tube = numbers.upper or numbers.taps, numbers.tube or numbers.taps
    # A vent's lines are as long as the run, but only where it sounds are they ever touched.
    line, onward = (np.zeros(leaving.size) if vented else leaving for _ in range(2))
    return Bore(
        *(numbers.pairs, *numbers.taps, numbers.echoes, numbers.places, line, vented),
        *(*upper, *tube, onward, vent_begins, vent_rise(numbers.rate)),
    )
