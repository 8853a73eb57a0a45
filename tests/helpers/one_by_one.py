"""An executor that knows of no lanes side by side: each is a take, from rest each time."""

import math

import numpy as np

from reedbore.kernel import single
from reedbore.kernel.executor import Emitted, Keep
from reedbore.kernel.folds import MIDDLE_FOLLOWS, NOBODY, singer_of
from reedbore.kernel.rows import BURST_PA, TABLE


class OneByOne:
    """The plainest machine: one lane after the other by the loop of a take."""

    width, threads, joins = 3, 1, False

    def start(self, lanes, shared):
        return _Takes(lanes, shared)


class _Takes:
    def __init__(self, lanes, shared):
        self.now, self.lanes, self.shared = 0, list(lanes), shared

    def keep(self, mask):
        self.lanes = [lane for lane, stays in zip(self.lanes, mask, strict=True) if stays]

    def advance(self, hops, digest, keep=Keep.NONE):
        self.now += hops * self.shared.hop
        return [digest(self._taken(lane, hops, keep)) for lane in range(len(self.lanes))]

    def _taken(self, lane, hops, keep):
        numbers, drive = self.lanes[lane]
        blown = mouth(drive, self.shared.waves, self.now)
        singer = sings(drive.singer, self.now) if drive.singer else NOBODY
        traces = single.run(numbers, blown, singer=singer)
        pressure, sung = traces.pressure, np.zeros((hops, 3))
        with np.errstate(over="ignore", invalid="ignore"):
            line, levels = self._measured(drive.clock_turn, pressure)
            if drive.singer:
                sung = self._measured(drive.singer.clock_turn, traces.half_gap)[0]
                sung = np.column_stack((sung, self._swings(traces.half_gap)))
        late = pressure[-hops * self.shared.hop :]
        # Summed in turn, as the lanes do.
        ticks = np.cumsum(late.reshape(-1, self.shared.tick), axis=1)[:, -1:] / self.shared.tick
        steps = late[:, None] if keep == Keep.STEPS else np.zeros((0, 1))
        ticks = ticks if keep == Keep.TICKS else np.zeros((0, 1))
        lines = line[-hops:, :, None], sung[-hops:, :, None]
        return Emitted(np.array([lane]), *lines, levels[-hops:, :, None], steps, ticks)

    def _measured(self, turn, signal):
        """Line (hops, 2) and levels (hops, 3) of a whole run."""
        ages, ticks = self.shared.window.shape
        parts = signal.reshape(-1, ticks, self.shared.tick)
        total, squares = (
            np.cumsum(values.reshape(len(parts), -1), axis=1)[:, -1]
            for values in (parts, parts * parts)
        )
        sane = np.cumprod((np.abs(signal) < BURST_PA).reshape(len(parts), -1).all(axis=1))
        open_windows, line = np.zeros((2, ages)), []
        for hop, sums in enumerate(np.cumsum(parts, axis=2)[:, :, -1]):
            self._demodulate(open_windows, sums, turn, hop * self.shared.hop)
            line.append(open_windows[:, -1].copy())
            open_windows[:, 1:] = open_windows[:, :-1].copy()
            open_windows[:, 0] = 0.0
        return np.array(line), np.stack((total, squares, sane), axis=1)

    def _swings(self, gap):
        """How often half a gap has risen through its middle, at the end of each hop."""
        ticks, tick = self.shared.window.shape[1], self.shared.tick
        middle, was, count, found = 0.0, False, 0, []
        for value in (np.cumsum(gap.reshape(-1, tick), axis=1)[:, -1] / tick).tolist():
            off = value - middle
            middle += MIDDLE_FOLLOWS * off
            count += off > 0.0 and not was
            was = off > 0.0
            found.append(count)
        return np.array(found[ticks - 1 :: ticks], dtype=float)

    def _demodulate(self, open_windows, sums, turn, now):
        """Add the ticks of a hop to all open windows, the clock set at its begin."""
        tick, circle = self.shared.tick, 2.0 * math.pi
        phase = (now + 0.5 * (tick - 1)) * turn
        phase = circle * (phase - math.floor(phase))
        cosine, sine = math.cos(phase), math.sin(phase)
        rotate, rotate_sine = math.cos(circle * turn * tick), math.sin(circle * turn * tick)
        for weight, value in zip(self.shared.window.T, sums.tolist(), strict=True):
            open_windows[0] += weight * (value * cosine)
            open_windows[1] -= weight * (value * sine)
            cosine, sine = (
                cosine * rotate - sine * rotate_sine,
                cosine * rotate_sine + sine * rotate,
            )


def sings(steady, steps):
    """The singer of a lane, from rest."""
    muscles = np.full(steps, steady.tension), np.full(steps, steady.hold)
    return singer_of(steady.folds, *muscles)


def risen(steps, rise):
    """How far what rises in so many steps has risen at each step."""
    return np.array([0.5 - 0.5 * math.cos(math.pi * min(n / rise, 1.0)) for n in range(steps)])


def mouth(drive, waves, steps):
    """What is blown and sung in a lane at each step. [Pa]"""
    blown = drive.breath * risen(steps, drive.rise)
    if not waves.size:
        return blown * (1.0 + drive.depth * 0.0)
    phase = np.arange(steps) * drive.sung_turn
    place = (phase - np.floor(phase)) * TABLE
    point = place.astype(np.int64)
    low, high = waves[drive.period + point], waves[drive.period + point + 1]
    sung = (high - low) * (place - point) + low
    return blown * (1.0 + drive.depth * (sung * risen(steps, drive.fade)))
