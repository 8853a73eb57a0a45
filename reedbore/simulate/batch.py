"""Many setups stepped side by side on all cores: the kernel behind tables and maps.

In: setups that may differ in everything but the rate. Out, fifty times a second and for each: the
line of the pressure in the mouthpiece near a reference frequency, its level, whether it burst. From
the phase of that line the judge in `measures.locking` decides, as it does for a take.

Lanes of a kind (reed with or without mass, vent or none, so many pole pairs) are stepped together,
block by block; each lane does what `single.run` does, whatever stands beside it.
"""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reedbore.errors import ModelError
from reedbore.kernel import blocks, lanes
from reedbore.kernel.single import vent_rise
from reedbore.measures import locking
from reedbore.measures.spectrum import blackman_harris
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics.numbers import numbers_of

HOP_S = 0.02
"""About the time from one value to the next. [s]"""

TICK_HZ = 12000.0
"""About the rate at which the pressure is looked at: what is measured lies below 2 kHz. [Hz]"""

Reals = NDArray[np.float64]
Emitted = tuple[Reals, Reals, Reals]
"""Of a block: lines (hops, 2, LANES), levels (hops, 3, LANES) and pressure (steps, LANES)."""

Answer = TypeVar("Answer")


class Lines(NamedTuple):
    """What lanes emit; the last axis is time."""

    times: Reals
    """Shape (k,), middles of the windows of the line, from the start of the run. [s]"""
    line: NDArray[np.complex128]
    """Shape (lanes, k), peak amplitude and phase against the reference; nan after a burst. [Pa]"""
    hop_times: Reals
    """Shape (n,), middles of the hops. [s]"""
    mean: Reals
    """Shape (lanes, n), mean pressure over a hop; nan after a burst. [Pa]"""
    rms: Reals
    """Shape (lanes, n), of the pressure about that mean. [Pa]"""
    burst: NDArray[np.bool_]
    """Shape (lanes,), whether a lane has diverged so far."""

    @property
    def cycles(self) -> Reals:
        """Phase [cycles] of the line against the reference, unwrapped, shape (lanes, k)."""
        return np.unwrap(np.angle(self.line), axis=1) / (2.0 * np.pi)


def joined(earlier: Lines, later: Lines) -> Lines:
    """Put together what the same lanes emitted one after the other."""
    parts = zip(earlier[:-1], later[:-1], strict=True)
    times, line, hop_times, mean, rms = (np.concatenate(pair, axis=-1) for pair in parts)
    return Lines(times, line, hop_times, mean, rms, later.burst)


class Lanes:
    """Setups that are stepped side by side, from rest.

    Parameters
    ----------
    setups : sequence of Setup
        At least one; all with the same `time.rate`. Voices are steady pulses or sines, or off.
    reference_hz : float or array_like, shape (lanes,)
        Near which frequency the played line of each lane is followed. [Hz]
    pull_cents : float or array_like, shape (lanes,), optional
        By how much each sung pitch is raised. [cents]
    band_hz : float
        Lines farther than this from the reference are suppressed by 92 dB. [Hz]
    threads : int, optional
        By default as many as there are cores.

    Attributes
    ----------
    rate : float
        Steps per second. [Hz]
    sung_hz, reference_hz : ndarray, shape (lanes,)
        What is sung, pulled as asked for, and where the line is followed. [Hz]
    burst : ndarray, shape (lanes,)
        Whether a lane has diverged.

    Raises
    ------
    ModelError
        If the rates differ, a voice is recorded or unsteady, or a setup cannot be stepped.

    Notes
    -----
    Memory is that of the lanes themselves, about 5 kB each and 8 to 16 bytes more for each step of
    the longest delay: take a large sweep in batches.
    """

    def __init__(
        self,
        setups: Sequence[Setup],
        reference_hz: ArrayLike,
        pull_cents: ArrayLike = 0.0,
        *,
        band_hz: float = 20.0,
        threads: int | None = None,
    ) -> None:
        count = len(setups)
        self.rate = _common_rate(setups)
        self.reference_hz: Reals = np.full(count, reference_hz, np.float64)
        sung = np.array([setup.voice.frequency for setup in setups])
        self.sung_hz: Reals = sung * 2.0 ** (np.full(count, pull_cents, np.float64) / 1200.0)
        self.burst = np.zeros(count, np.bool_)
        self._threads = threads or os.cpu_count() or 1
        self._now = 0
        rise = max(max(setup.breath.rise, setup.voice.fade) for setup in setups)
        self._settled = math.ceil(rise * self.rate)
        self._tick = 4 * round(self.rate / (4.0 * TICK_HZ))
        self._window = _window(self.rate / self._tick, band_hz) / self._tick
        which, self._waves = blocks.waves(setups, self.sung_hz, self.rate)
        self._groups = self._grouped(setups, which)

    def _grouped(self, setups: Sequence[Setup], which: NDArray[np.int64]) -> list[blocks.Group]:
        count = len(setups)
        columns, places = np.zeros((lanes.ROWS, count)), np.zeros((lanes.PLACES, count), np.int64)
        kinds: dict[blocks.Kind, list[int]] = {}
        for lane, setup in enumerate(setups):
            numbers = numbers_of(setup)
            blocks.fill(columns[:, lane], places[:, lane], setup, numbers)
            kinds.setdefault(blocks.kind_of(numbers, self._tick), []).append(lane)
        columns[lanes.SUNG_TURN] = self.sung_hz / self.rate
        columns[lanes.CLOCK_TURN] = self.reference_hz / self.rate
        places[lanes.WAVE] = which
        ages = self._window.shape[0]
        return [
            blocks.group(kind, np.array(members), columns, places, ages)
            for kind, members in kinds.items()
        ]

    @property
    def seconds(self) -> float:
        """How long [s] the lanes have run."""
        return self._now / self.rate

    @property
    def _hop(self) -> int:
        """Steps from one value to the next."""
        return self._window.shape[1] * self._tick

    def advance(self, seconds: float) -> Lines:
        """Step all lanes on from where they are.

        Parameters
        ----------
        seconds : float
            How long, rounded up to whole hops of about `HOP_S`. [s]

        Returns
        -------
        Lines
            What was emitted meanwhile; near the start of a run there are fewer windows than hops.
        """
        hops = math.ceil(seconds * self.rate / self._hop - 1e-6)
        count, before = self.burst.size, self._now // self._hop
        line, levels = np.empty((count, hops), np.complex128), np.empty((3, count, hops))

        def put(members: NDArray[np.int64], emitted: Emitted) -> None:
            lines, level, _ = emitted
            line[members] = (lines[:, 0] + 1j * lines[:, 1]).T[: members.size]
            levels[:, members] = level.transpose(1, 2, 0)[:, : members.size]

        self._run(hops, put)
        sane = levels[2] > 0.0
        self.burst |= ~sane.all(axis=1)
        line[~sane] = complex(math.nan, math.nan)
        mean = np.where(sane, levels[0] / self._hop, math.nan)
        power = np.where(sane, levels[1] / self._hop, math.nan)
        rms = np.sqrt(np.maximum(power - mean**2, 0.0))
        ages = self._window.shape[0]
        steps = (before + np.arange(hops, dtype=np.float64) + 0.5) * self._hop - 0.5
        middles = steps / self.rate
        whole = np.arange(before, before + hops) >= ages - 1
        times = middles[whole] - 0.5 * (ages - 1) * self._hop / self.rate
        return Lines(times, line[:, whole], middles, mean, rms, self.burst.copy())

    def strobe(self, beats: int, hz: ArrayLike | None = None, phases: int = 16) -> Reals:
        """Step all lanes on and look at the pressure at equal phases of a clock.

        Parameters
        ----------
        beats : int
            How many beats of its clock each lane is looked at.
        hz : float or array_like, shape (lanes,), optional
            The clocks; by default the sung note. [Hz]
        phases : int
            Values per beat.

        Returns
        -------
        ndarray, shape (lanes, beats, phases)
            Pressure in the mouthpiece at the end of the stretch, for `locking.period`. [Pa]
        """
        clock = np.full(self.burst.size, self.sung_hz if hz is None else hz, np.float64)

        def look(lane: int, pressure: Reals) -> Reals:
            steps = math.ceil(beats * self.rate / clock[lane]) + 3
            return locking.strobe(pressure[-steps:], self.rate, clock[lane], phases)[-beats:]

        return np.array(self.watch(math.ceil(beats * self.rate / clock.min()) + 3, look))

    def watch(self, steps: int, look: Callable[[int, Reals], Answer]) -> list[Answer]:
        """Step all lanes on and look at the pressure of each lane before it is forgotten.

        Parameters
        ----------
        steps : int
            How many, rounded up to whole hops.
        look : callable
            Called with a lane and its pressure [Pa], shape (steps,); the array is not kept.

        Returns
        -------
        list
            What `look` answered for each lane.
        """

        def digest(members: NDArray[np.int64], emitted: Emitted) -> dict[int, Answer]:
            _, levels, pressure = emitted
            self.burst[members] |= ~(levels[-1, 2, : members.size] > 0.0)
            columns = zip(members.tolist(), np.ascontiguousarray(pressure.T), strict=False)
            return {lane: look(lane, column) for lane, column in columns}

        parts = self._run(-(-steps // self._hop), digest, record=True)
        answers = {lane: answer for part in parts for lane, answer in part.items()}
        return [answers[lane] for lane in range(self.burst.size)]

    def keep(self, mask: ArrayLike) -> None:
        """Drop lanes; those that stay keep their order and go on as if nothing had happened.

        Parameters
        ----------
        mask : array_like, shape (lanes,)
            Which lanes stay.
        """
        stays = np.asarray(mask, np.bool_)
        moved = np.cumsum(stays) - 1
        left = [blocks.kept(group, stays, moved) for group in self._groups]
        self._groups = [group for group in left if group]
        self.reference_hz, self.sung_hz = self.reference_hz[stays], self.sung_hz[stays]
        self.burst = self.burst[stays]

    def _run(
        self,
        hops: int,
        digest: Callable[[NDArray[np.int64], Emitted], Answer],
        record: bool = False,
    ) -> list[Answer]:
        """Move all blocks on, all cores at work; what each emitted is digested at once."""
        start, self._now = self._now, self._now + hops * self._hop
        work = [(group, number) for group in self._groups for number in range(len(group.blocks))]
        steps = hops * self._hop if record else 0

        def move(piece: tuple[blocks.Group, int]) -> Answer:
            group, number = piece
            emitted = (
                np.zeros((hops, 2, lanes.LANES)),
                np.zeros((hops, 3, lanes.LANES)),
                np.zeros((steps, lanes.LANES)),
            )
            batch = group.kind[-1]
            tiles = np.zeros((lanes.TILES, batch, lanes.LANES)), np.zeros(lanes.AHEAD)
            blocks.compiled_loop(group.kind)(
                *(*group.blocks[number], *tiles, self._waves, self._window, start, self._settled),
                *(self._tick, group.echoes, vent_rise(self.rate), lanes.LANES, *emitted),
            )
            members = group.members[number * lanes.LANES : (number + 1) * lanes.LANES]
            return digest(members, emitted)

        if self._threads == 1 or len(work) == 1:
            return [move(piece) for piece in work]
        with ThreadPoolExecutor(self._threads) as pool:
            return list(pool.map(move, work))


def _common_rate(setups: Sequence[Setup]) -> float:
    """Check that setups can be stepped together; return their rate [Hz]."""
    rates = sorted({setup.time.rate for setup in setups})
    if len(rates) != 1:
        said = f"{rates[0]:g} to {rates[-1]:g} Hz" if rates else "missing: there is no setup"
        raise ModelError(f"time.rate_hz is {said}; lanes that are stepped together need one rate")
    if any(setup.voice.source == "recording" for setup in setups):
        raise ModelError(
            "voice.source is 'recording'; allowed in lanes are 'pulse', 'sine' and 'off'"
        )
    for setup in setups:
        for name in setup.voice.uneven:
            steady = 1 if name == "voice.false_folds" else 0
            raise ModelError(
                f"{name} is {setup.value(name):g}; allowed in lanes, and so in tables and maps, "
                f"is {steady} (a voice like a clock)"
            )
    return rates[0]


def _window(tick_hz: float, band_hz: float) -> Reals:
    """Return the window of the line, cut into hops, for values at a rate: shape (hops, ticks)."""
    ticks = round(HOP_S * tick_hz)
    hops = math.ceil(4.0 * tick_hz / band_hz / ticks)
    shape = blackman_harris(hops * ticks)
    return (shape * (2.0 / shape.sum())).reshape(hops, ticks)
