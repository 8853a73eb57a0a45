"""Singing folds stepped in plain Python, formula by formula: a slow rival, and what tests measure.

One mass or two a side, with a fixed pressure below and none above, or a whole singer: lungs,
windpipe, folds, tract and mouth, which lets out a steady leak.
"""

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import published_folds
import two_mass_folds as two

from reedbore.physics import airway_cells as cells
from reedbore.physics import folds

DENSITY = 1.14


class Swing(NamedTuple):
    """What a run leaves, a value a step."""

    rate: float
    gap: np.ndarray
    """Half of it; of two masses, how far the lower left one stands outwards."""
    area: np.ndarray
    flow: np.ndarray
    work: np.ndarray
    """Of the air on a fold [W m⁻²]."""
    loss: np.ndarray
    """In its tissue [W m⁻²]."""
    other: np.ndarray
    """Of two masses, the lower right one."""
    upper: np.ndarray
    """Of two masses, the upper left one."""

    def late(self, share=0.5):
        """Return the end of the run."""
        begin = int((1.0 - share) * self.gap.size)
        return Swing(self.rate, *(values[begin:] for values in self[1:]))

    @property
    def hz(self):
        return pitch(self.gap, self.rate)

    @property
    def open_quotient(self):
        return np.mean(self.area > 0.0)

    def whole_periods(self):
        """Return it from the first rise to the last."""
        rises = crossings(self.gap)
        begin, end = math.ceil(rises[0]), math.ceil(rises[-1])
        return Swing(self.rate, *(values[begin:end] for values in self[1:]))


def crossings(values):
    """Return where values rise through their mean, in steps."""
    swing = values - values.mean()
    at = np.flatnonzero((swing[:-1] < 0.0) & (swing[1:] >= 0.0))
    return at + swing[at] / (swing[at] - swing[at + 1])


def pitch(values, rate):
    """Return the mean rate of those crossings [Hz]."""
    rises = crossings(values)
    return (rises.size - 1) / (rises[-1] - rises[0]) * rate


def sing(fold, hz, pressure, seconds=0.6, rate=48e3, start=1e-4, growth=0.0):
    """Step one mass a side; `pressure` is that of the lungs, a number or one per step."""
    steps = round(seconds * rate)
    lungs = np.broadcast_to(np.asarray(pressure, float), steps).tolist()
    step, stiff = 1.0 / rate, folds.stiffness(fold.mass, hz)
    damp = folds.damping(fold.mass, stiff, fold.damping_ratio)
    half, velocity, before = fold.gap + start, 0.0, 0.0
    rows = []
    for below in lungs:
        now = folds.velocity_now(velocity, before)
        lower, upper = folds.edges(half, now, fold.delay)
        area = folds.glottal_area(lower, upper, fold.length)
        pressed = folds.pressure_share(lower, upper) * below
        damped = folds.contact_damping(damp, half)
        damped = published_folds.swing_damping(damped, growth, half - fold.gap)
        push = pressed + folds.spring_pressure(half, fold.gap, stiff)
        before, velocity = (
            velocity,
            folds.next_velocity(velocity, push, damped, step / fold.mass),
        )
        mean = 0.5 * (before + velocity)
        flow = folds.glottal_flow(below, area, 0.0, DENSITY)
        rows.append((half, area, flow, pressed * mean, damped * mean * mean))
        half += step * velocity
    columns = np.array(rows).T
    return Swing(rate, *columns, columns[0], columns[0])


def sing_two(left, right, pressure, rest=two.STEINECKE_REST, seconds=0.6, rate=48e3, start=1e-4):
    """Step two masses a side, Steinecke's and Herzel's folds without a tract."""
    step, sides = 1.0 / rate, (left, right)
    out = [[start, 0.5 * start], [start, 0.0]]
    speed = [[0.0, 0.0], [0.0, 0.0]]
    rows = []
    for _ in range(round(seconds * rate)):
        areas = [two.passage_area(rest, left.length, out[0][i], out[1][i]) for i in (0, 1)]
        narrow = two.narrowest(*areas)
        pressures = two.lower_share(*areas) * pressure, 0.0
        flow = folds.glottal_flow(pressure, narrow, 0.0, DENSITY, 1.0)
        work = loss = 0.0
        kept = (out[0][0], narrow, flow), (out[1][0], out[0][1])
        forces = [
            [
                two.mass_force(
                    *(out[j][i], out[j][1 - i], areas[i], pressures[i]),
                    *(side.springs[i], side.coupling, side.heights[i], side.length),
                )
                for i in (0, 1)
            ]
            for j, side in enumerate(sides)
        ]
        for j, side in enumerate(sides):
            for i in (0, 1):
                was = speed[j][i]
                speed[j][i] = folds.next_velocity(
                    was, forces[j][i], side.dampings[i], step / side.masses[i]
                )
                mean = 0.5 * (was + speed[j][i])
                work += side.length * side.heights[i] * pressures[i] * mean
                loss += side.dampings[i] * mean * mean
                out[j][i] += step * speed[j][i]
        rows.append((*kept[0], work, loss, *kept[1]))
    return Swing(rate, *np.array(rows).T)


class Tract:
    """A row of cylinders as delays, from the folds to the lips."""

    def __init__(self, made, gain=1.0):
        self.up = [[0.0] * part.steps for part in made]
        self.down = [[0.0] * part.steps for part in made]
        self.shares = [cells.reflection(one.area, other.area) for one, other in pairwise(made)]
        self.areas = [part.area for part in made]
        self.gains = [gain**part.steps for part in made]

    def arriving(self):
        """Return the waves that come to the folds and to the lips."""
        return self.down[0][-1], self.up[-1][-1]

    def move(self, from_folds, from_lips):
        """Move on by a step, with the waves that leave folds and lips."""
        ups, downs = [from_folds], []
        for k, share in enumerate(self.shares):
            up, down = cells.scattered(self.up[k][-1], self.down[k + 1][-1], share)
            ups.append(up)
            downs.append(down)
        downs.append(from_lips)
        for k, gain in enumerate(self.gains):
            self.up[k] = [gain * ups[k], *self.up[k][:-1]]
            self.down[k] = [gain * downs[k], *self.down[k][:-1]]

    def energy(self, density, sound_speed, step):
        """Return what the waves in it hold [J]."""
        return sum(
            step * area / (density * sound_speed) * sum(w * w for w in up + down)
            for area, up, down in zip(self.areas, self.up, self.down, strict=True)
        )


class Parts(NamedTuple):
    """A singer: what each part does in a step."""

    fold: folds.Fold
    hz: float
    windpipe: tuple
    sections: tuple
    mouth: cells.Mouth
    gain: float = 1.0
    """What a step leaves of a wave."""
    displaced: bool = True


class Song(NamedTuple):
    """What a whole singer leaves, a value a step; powers in W."""

    rate: float
    gap: np.ndarray
    flow: np.ndarray
    mouth: np.ndarray
    from_lungs: np.ndarray
    in_glottis: np.ndarray
    in_tissue: np.ndarray
    in_windpipe: np.ndarray
    in_wall: np.ndarray
    in_leak: np.ndarray
    stored: np.ndarray
    """Energy [J]."""


def sing_whole(parts, lungs, leak, seconds, rate, gas, start=1e-4, reed=None):
    """Step a singer whose lips let a steady flow out, and a little more as the pressure rises.

    `lungs` is the excess of their pressure over that of the breath, `leak` the flow at the breath
    pressure and by how much it grows [m³ s⁻¹, m³ s⁻¹ Pa⁻¹]. A `reed` between the lips is called
    with the pressure that the mouth would have if nothing left it, and returns the one it has.
    """
    fold, step = parts.fold, 1.0 / rate
    stiff = folds.stiffness(fold.mass, parts.hz)
    damp = folds.damping(fold.mass, stiff, fold.damping_ratio)
    z_below = [cells.resonator_impedance(part, step) for part in parts.windpipe]
    state = [(0.0, 0.0)] * len(z_below)
    tract = Tract(parts.sections, parts.gain)
    z_above = cells.wave_impedance(parts.sections[0].area, gas.density, gas.sound_speed)
    both, swept = sum(z_below) + z_above, folds.displaced_flow(1.0, fold.length, fold.thickness)
    mouth, in_mouth, wall = parts.mouth, 0.0, 0.0
    half, velocity, before = fold.gap + start, 0.0, 0.0
    rows = []
    for _ in range(round(seconds * rate)):
        # The folds, between what comes from below and from above.
        down, up = tract.arriving()
        rest_below = [
            cells.resonator_history(*held, 2.0 * part.compliance / step, z)
            for held, part, z in zip(state, parts.windpipe, z_below, strict=True)
        ]
        now = folds.velocity_now(velocity, before)
        lower, upper = folds.edges(half, now, fold.delay)
        share = folds.pressure_share(lower, upper)
        filling = swept * now * parts.displaced
        below = lungs + sum(rest_below) - sum(z_below) * share * filling
        above = 2.0 * down - z_above * (1.0 - share) * filling
        area = folds.glottal_area(lower, upper, fold.length)
        flow = folds.glottal_flow(below - above, area, both, gas.density)
        below -= sum(z_below) * flow
        above += z_above * flow
        pressed = above + share * (below - above)
        damped = folds.contact_damping(damp, half)
        push = pressed + folds.spring_pressure(half, fold.gap, stiff)
        before, velocity = velocity, folds.next_velocity(velocity, push, damped, step / fold.mass)
        mean = 0.5 * (before + velocity)
        # The windpipe gives what passes and what fills the gap from below.
        given = flow + share * filling
        middles = [rest - z * given for rest, z in zip(rest_below, z_below, strict=True)]
        burnt = sum(
            p * p / part.resistance for p, part in zip(middles, parts.windpipe, strict=True)
        )
        state = [
            cells.resonator_moved(*held, p, step / part.inertance)
            for held, p, part in zip(state, middles, parts.windpipe, strict=True)
        ]
        # The mouth, with its leak solved at once.
        free = cells.mouth_history(
            *(in_mouth, wall, up),
            *(mouth.stored, mouth.wall_kept, mouth.wave, mouth.impedance),
        )
        leaking = (free - mouth.impedance * leak[0]) / (1.0 + mouth.impedance * leak[1])
        middle = reed(free) if reed else leaking
        was = wall
        in_mouth, wall = cells.mouth_moved(
            in_mouth, wall, middle, mouth.wall_kept, mouth.wall_pushed
        )
        moved = 0.5 * (was + wall)
        # Friction of the wall: what its flow loses beside its mass, M = κδt/2(κδt/2M).
        mass = 0.5 * step * mouth.wall_kept / mouth.wall_pushed if mouth.wall_pushed else 0.0
        rubbed = moved * (middle - mass * (wall - was) / step) if mass else 0.0
        tract.move(above - down, middle - up)
        half_on = half + step * velocity
        tissue = 0.5 * fold.mass * velocity**2 + 0.5 * stiff * (half - fold.gap) * (
            half_on - fold.gap
        )
        tissue += 0.5 * (folds.STIFFER - 1.0) * stiff * min(half, 0.0) * min(half_on, 0.0)
        stored = (
            swept * tissue
            + sum(
                0.5 * part.compliance * p * p + 0.5 * part.inertance * i * i
                for (p, i), part in zip(state, parts.windpipe, strict=True)
            )
            + tract.energy(gas.density, gas.sound_speed, step)
            + 0.25 * mouth.stored * step * in_mouth**2
            + 0.5 * mass * wall**2
        )
        rows.append(
            (
                *(half, flow, middle, lungs * given, (below - above) * flow),
                *(swept * damped * mean * mean, burnt, rubbed),
                *(middle * (free - middle) / mouth.impedance, stored),
            )
        )
        half = half_on
    return Song(rate, *np.array(rows).T)
