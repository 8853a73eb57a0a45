"""Many setups stepped side by side on all cores: the kernel behind tables and maps.

In: setups that may differ in everything but the rate. Out, fifty times a second and for each: the
line of the pressure in the mouthpiece near a reference frequency, its level, whether it burst. From
the phase of that line the judge in `measures.locking` decides, as it does for a take.

Which machine steps them is the executor's affair (`kernel.executor`); each lane does what
`single.run` does, whatever stands beside it.
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, CpuRunning, Emitted, Executor, Keep, Shared
from reedbore.kernel.folds import Steady
from reedbore.kernel.numbers import Driven, Numbers
from reedbore.kernel.rows import LANES, TABLE
from reedbore.measures import locking
from reedbore.measures.spectrum import blackman_harris
from reedbore.model.setup import Setup
from reedbore.simulate import mouth
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.acoustics.rational import one_thread
from reedbore.simulate.folds import steady
from reedbore.simulate.many import Setups, Whole

HOP_S = 0.02
"""About the time from one value to the next. [s]"""

TICK_HZ = 12000.0
"""About the rate at which the pressure is looked at: what is measured lies below 2 kHz. [Hz]"""

Reals = NDArray[np.float64]

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
    sung_line: NDArray[np.complex128]
    """Shape (lanes, k), of half the gap between singing folds against theirs; 0 without. [m]"""
    swings: Reals
    """Shape (lanes, k), how often folds have swung up to the end of each window."""

    @property
    def cycles(self) -> Reals:
        """Phase [cycles] of the line against the reference, unwrapped, shape (lanes, k)."""
        return np.unwrap(np.angle(self.line), axis=1) / (2.0 * np.pi)

    @property
    def sung_cycles(self) -> Reals:
        """The same of the line of the folds."""
        return np.unwrap(np.angle(self.sung_line), axis=1) / (2.0 * np.pi)

    def of(self, lanes: ArrayLike) -> "Lines":
        """Return what some of the lanes emitted."""
        shared = "times", "hop_times"
        own = {name: value[lanes] for name, value in self._asdict().items() if name not in shared}
        return self._replace(**own)


def joined(earlier: Lines, later: Lines) -> Lines:
    """Put together what the same lanes emitted one after the other."""
    parts = zip(earlier, later, strict=True)
    whole = Lines(*(np.concatenate(pair, axis=-1) for pair in parts))
    return whole._replace(burst=later.burst)


def beside(several: Sequence[Lines]) -> Lines:
    """Put together what several lots of lanes emitted at the same times."""
    first, parts = several[0], zip(*several, strict=True)
    whole = Lines(*(np.concatenate(lots) for lots in parts))
    return whole._replace(times=first.times, hop_times=first.hop_times)


class Lanes:
    """Setups that are stepped side by side, from rest.

    Parameters
    ----------
    setups : sequence of Setup
        At least one; all with the same `time.rate`. Voices are steady pulses or sines, folds that
        hold their muscles, or off.
    reference_hz : float or array_like, shape (lanes,)
        Near which frequency the played line of each lane is followed. [Hz]
    pull_cents : float or array_like, shape (lanes,), optional
        By how much each sung pitch is raised, or what folds aim at. [cents]
    band_hz : float
        Lines farther than this from the reference are suppressed by 92 dB. [Hz]
    executor : Executor
        The machine that steps them.

    Attributes
    ----------
    rate, tick_rate : float
        Steps, and ticks, per second. [Hz]
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
        executor: Executor = CPU,
    ) -> None:
        setups = Setups.of(setups)
        count = len(setups)
        self.rate = _common_rate(setups.kinds)
        self.reference_hz: Reals = np.full(count, reference_hz, np.float64)
        pulls = np.full(count, pull_cents, np.float64)
        self.sung_hz: Reals = setups.sung_hz * 2.0 ** (pulls / 1200.0)
        self.burst = np.zeros(count, np.bool_)
        rise = max(max(setup.breath.rise, setup.voice.fade) for setup in setups.kinds)
        tick = 4 * round(self.rate / (4.0 * TICK_HZ))
        self.tick_rate = self.rate / tick
        window = _window(self.tick_rate, band_hz) / tick
        periods, waves = _waves(setups, self.sung_hz)
        self._shared = Shared(waves, window, tick, math.ceil(rise * self.rate))
        turns = self.sung_hz / self.rate, self.reference_hz / self.rate
        self._threads = executor.threads
        numbers = _numbers(setups.kinds, executor.threads)
        driven = _driven(setups, numbers, pulls, *turns, periods)
        self._running = executor.start(driven, self._shared)

    @property
    def seconds(self) -> float:
        """How long [s] the lanes have run."""
        return self._running.now / self.rate

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
        hop, ages = self._shared.hop, self._shared.window.shape[0]
        hops = math.ceil(seconds * self.rate / hop - 1e-6)
        count, before = self.burst.size, self._running.now // hop
        line, sung = np.empty((2, count, hops), np.complex128)
        swings, levels = np.empty((count, hops)), np.empty((3, count, hops))

        def put(some: Emitted) -> None:
            line[some.members] = (some.line[:, 0] + 1j * some.line[:, 1]).T
            sung[some.members] = (some.sung[:, 0] + 1j * some.sung[:, 1]).T
            swings[some.members] = some.sung[:, 2].T
            levels[:, some.members] = some.levels.transpose(1, 2, 0)

        self._running.advance(hops, put)
        sane = levels[2] > 0.0
        self.burst |= ~sane.all(axis=1)
        line[~sane] = sung[~sane] = complex(math.nan, math.nan)
        mean = np.where(sane, levels[0] / hop, math.nan)
        power = np.where(sane, levels[1] / hop, math.nan)
        rms = np.sqrt(np.maximum(power - mean**2, 0.0))
        steps = (before + np.arange(hops, dtype=np.float64) + 0.5) * hop - 0.5
        middles = steps / self.rate
        whole = np.arange(before, before + hops) >= ages - 1
        times = middles[whole] - 0.5 * (ages - 1) * hop / self.rate
        burst = self.burst.copy()
        lines = line[:, whole], middles, mean, rms, burst, sung[:, whole], swings[:, whole]
        return Lines(times, *lines)

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

        def digest(some: Emitted) -> dict[int, Answer]:
            self.burst[some.members] |= ~(some.levels[-1, 2] > 0.0)
            lanes, columns = some.members.tolist(), np.ascontiguousarray(some.pressure.T)
            if len(lanes) <= LANES or self._threads == 1:
                return dict(zip(lanes, map(look, lanes, columns), strict=True))
            with ThreadPoolExecutor(self._threads) as pool:
                return dict(zip(lanes, pool.map(look, lanes, columns), strict=True))

        parts = self._running.advance(-(-steps // self._shared.hop), digest, Keep.STEPS)
        answers = {lane: answer for part in parts for lane, answer in part.items()}
        return [answers[lane] for lane in range(self.burst.size)]

    def ticks(self, seconds: float) -> Reals:
        """Step all lanes on and look at their pressure twelve thousand times a second.

        Parameters
        ----------
        seconds : float
            How long, rounded up to whole hops. [s]

        Returns
        -------
        ndarray, shape (lanes, ticks)
            The mean pressure of each tick, at `tick_rate`; the last `seconds` of it. [Pa]
        """
        hops = math.ceil(seconds * self.rate / self._shared.hop - 1e-6)
        kept = np.empty((self.burst.size, hops * self._shared.window.shape[1]))

        def put(some: Emitted) -> None:
            self.burst[some.members] |= ~(some.levels[-1, 2] > 0.0)
            kept[some.members] = some.ticks.T

        self._running.advance(hops, put, Keep.TICKS)
        return kept[:, -round(seconds * self.tick_rate) :]

    def keep(self, mask: ArrayLike) -> None:
        """Drop lanes; those that stay keep their order and go on as if nothing had happened.

        Parameters
        ----------
        mask : array_like, shape (lanes,)
            Which lanes stay.
        """
        stays = np.asarray(mask, np.bool_)
        self._running.keep(stays)
        self.reference_hz, self.sung_hz = self.reference_hz[stays], self.sung_hz[stays]
        self.burst = self.burst[stays]

    def join(self, other: "Lanes") -> None:
        """Take over lanes that have come as far and are heard in the same band; they stand last.

        Each goes on as if nothing had happened. Only where the executor `joins`.
        """
        ours, theirs = self._running, other._running
        assert isinstance(ours, CpuRunning)
        assert isinstance(theirs, CpuRunning)
        ours.join(theirs)
        self.reference_hz = np.concatenate((self.reference_hz, other.reference_hz))
        self.sung_hz = np.concatenate((self.sung_hz, other.sung_hz))
        self.burst = np.concatenate((self.burst, other.burst))


def _waves(setups: Setups, sung_hz: Reals) -> tuple[Whole, Reals]:
    """Return where the period of each lane begins among all that are sung, and these.

    Silence stands first; if nobody sings there is none at all.
    """
    known: dict[mouth.Key, int] = {}
    which = np.zeros(len(setups), np.int64)
    sings = setups.each(
        lambda one: one.voice.source != "off" and one.voice.drive != "folds", np.bool_
    )
    lanes = np.flatnonzero(sings)
    if lanes.size:
        rate = setups.kinds[0].time.rate
        partials = mouth.harmonics(sung_hz[lanes], rate)
        passes = setups.each(lambda one: mouth.passes(one.voice), np.bool_)[lanes]
        note = np.where(passes, setups.sung_hz[lanes], 0.0)
        alike = np.stack((setups.which[lanes], partials, note))
        _, first, same = np.unique(alike, axis=1, return_index=True, return_inverse=True)
        keys = [mouth.key(setups[k], float(sung_hz[k])) for k in lanes[first].tolist()]
        places = [known.setdefault(key, len(known) + 1) * (TABLE + 1) for key in keys]
        which[lanes] = np.array(places, np.int64)[same.reshape(-1)]
    silence = np.zeros(TABLE + 1 if known else 0)
    return which, np.concatenate([silence, *(mouth.period(*key) for key in known)])


def _numbers(kinds: Sequence[Setup], threads: int) -> list[Numbers]:
    """Return the numbers of setups, their bores fitted side by side."""
    if threads == 1 or len(kinds) <= threads:
        return list(map(numbers_of, kinds))
    with one_thread(), ThreadPoolExecutor(threads) as pool:
        return list(pool.map(numbers_of, kinds))


def _driven(
    setups: Setups,
    numbers: Sequence[Numbers],
    pulls: Reals,
    sung_turn: Reals,
    clock_turn: Reals,
    periods: Whole,
) -> Driven:
    """Return what lanes blow and sing, pulled so far. [cents]."""
    rate, singers = setups.kinds[0].time.rate, list[Steady | None]()
    folds = setups.each(lambda one: one.voice.drive == "folds", np.bool_)
    if folds.any():
        singers = [
            steady(one, pull, one.voice.frequency) if sings else None
            for one, pull, sings in zip(setups, pulls.tolist(), folds.tolist(), strict=True)
        ]
    return Driven(
        numbers=numbers,
        which=setups.which,
        breath=setups.each(lambda one: one.breath.pressure),
        rise=setups.each(lambda one: one.breath.rise * rate),
        depth=np.where(folds, 0.0, depths(setups)),
        fade=setups.each(lambda one: one.voice.fade * rate),
        sung_turn=sung_turn,
        clock_turn=clock_turn,
        period=periods,
        singers=singers,
    )


def depths(setups: Setups) -> Reals:
    """Return the depth of what each setup sings, as `mouth.depth` does."""
    depth = setups.each(lambda one: 0.0 if one.voice.flows else mouth.depth(one))
    for k in np.flatnonzero(setups.each(lambda one: one.voice.flows, np.bool_)).tolist():
        depth[k] = mouth.depth(setups[k])  # it hangs on the note
    return depth


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
    if any(setup.voice.ear == "on" for setup in setups):
        raise ModelError(
            "voice.ear is 'on'; allowed in lanes, and so in tables and maps, is 'off' (locks are "
            "told for muscles that hold still)"
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
