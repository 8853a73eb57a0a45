"""The player of a recording: breath and reed with which a horn sounds most like a recorded note.

In: a held note before one microphone or more, and the horn. Out: a `Fit`: the settings, how sure
each is, which of them only go together, and what is left between rendered and recorded sound.

Compared are levels in bands a third of an octave wide, up to 5 kHz. What microphone and room did to
the sound is not known: they are free to change its level, and its slope a little, for rendered
sound has no direction and a bell sends what is high before it. Settings that sound alike are told
apart by what is usual only: each is drawn, weakly, towards that of the preset.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.measures import bands, pitch, spectrum
from reedbore.model.reed import A_STRENGTH
from reedbore.model.setup import Horn, Setup
from reedbore.model.units import QUANTITIES
from reedbore.notes import cents
from reedbore.simulate import outside
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown, tune

TOP_HZ, RANGE_DB = 5000.0, 45.0
"""Partials up to here are compared, in bands no softer than this under the loudest."""

REFUSED_DB = 6.0
"""What is left may be no more, on an average: else the horn of the recording is another one."""

SAID = "reed.opening_mm", "breath.pressure_kpa", "reed.strength", "reed.damping"
"""The settings that are found."""

LOW = np.array([-1.2, -1.3, -0.45, -1.6, -3.0])
HIGH = np.array([0.5, 0.0, 0.75, 0.7, 3.0])
"""Where is looked: natural logarithms of opening, stiffness and damping over those of the preset,
second of the breath over the pressure that shuts the reed; last the slope of microphone and room
[dB/octave]. Nothing is looked for where a setting is not allowed."""

USUAL = np.array([0.6, 0.5, 0.5, 1.0, 1.5])
"""How far players and microphones lie about the preset and an even one, as standard deviations: our
choice."""

LEAST_BREATH = 800.0
"""Nobody blows softer [Pa]: players were measured at 1 kPa and more, Fuks and Sundberg, TMH-QPSR 3,
1996."""

ROOM_DB, LEAST_DB = 4.0, 0.25
"""At first a band is taken to be off by so much, then by what is left, but no less."""

TRIALS, FOLLOWED, STEPS = 64, 3, 10
"""Setups tried all over, how many of the best are followed down, for how many steps."""

MISSED_DB = 40.0
"""Counts for each band of a setup that does not play the note."""

NEAR_CENTS = 150.0
"""A setup that plays farther from the note plays another one. [cents]"""

GRAIN = 8 * spectrum.GRAIN
"""The end that is listened to is a whole multiple of this, also as it is thinned. [samples]"""

SHORTEST_S = 0.3
"""A shorter note is not compared, nor one of fewer periods than a frame of `bands`. [s]"""

EDGE = 1e-6
"""So far inside the bounds is looked."""

FEWEST_BANDS = 6
"""With fewer bands four settings cannot be told."""

Reals = NDArray[np.float64]

# Opening, breath, stiffness, damping and slope from what is searched: breath goes with what shuts
# the reed.
_TOLD = np.eye(5)
_TOLD[1, :3] = 1.0


class Setting(NamedTuple):
    """A setting as found, the range it lies in two times out of three, and that of the preset."""

    name: str
    value: float
    low: float
    high: float
    preset: float


class Left(NamedTuple):
    """What the largest part of what is left lies in: in words, and how far it is off. [dB]."""

    feature: str
    db: float


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The setup that comes closest to a recorded note.

    Attributes
    ----------
    setup : Setup
        Tuned to the note, without a voice.
    horn : Horn
        The same player for all notes.
    settings : tuple of Setting
        In the order of `SAID`.
    together : mapping
        Factor by which each setting may go, all at once, along the least sure direction; that of
        the strength is one of the number on its scale.
    together_db : float
        By how much that changes the sound. [dB]
    rest_db, preset_db : float
        Effective value of what is left, and of what was left of the preset. [dB]
    hz, recorded_db, rendered_db : ndarray, shape (n,)
        Middles of the bands compared [Hz]; their levels, both about a mean of 0. [dB]
    slope, slope_within : float
        By how much microphone and room make it brighter, and how sure that is. [dB/octave]
    left : Left
        The feature that explains the largest part of what is left.
    """

    setup: Setup
    horn: Horn
    settings: tuple[Setting, ...]
    together: dict[str, float]
    together_db: float
    rest_db: float
    preset_db: float
    hz: Reals
    recorded_db: Reals
    rendered_db: Reals
    slope: float
    slope_within: float
    left: Left

    @property
    def fits(self) -> bool:
        """Whether the horn can be that of the recording."""
        return self.rest_db <= REFUSED_DB


class _Heard(NamedTuple):
    """What a player makes of a note: its pitch [Hz], and its partials outside [any]."""

    plays: float
    partials: Reals


class _Horn:
    """A horn tuned to a note, and what it sounds like with each player."""

    def __init__(self, horn: Horn, tuned: Setup, hz: float, count: int) -> None:
        self.horn, self.tuned, self.hz, self.count = horn, tuned, hz, count
        self.low, self.high = _bounds(horn)
        self._grid = np.linspace(0.0, 1.2 * count * hz, 4 * count + 1)
        self._outside = np.abs(outside.transmission(tuned, self._grid))

    @property
    def usual(self) -> Reals:
        """Where the preset lies."""
        breath = self.horn.breath.pressure / self.horn.reed.closes_at
        return np.array([0.0, np.log(breath), 0.0, 0.0, 0.0])

    def setup(self, at: Reals) -> Setup:
        """Put a player to the horn."""
        reed, strength = self.horn.reed, 1.0 / np.log(A_STRENGTH)
        setup = self.tuned.with_value("reed.opening_mm", 1e3 * reed.opening * np.exp(at[0]))
        setup = setup.with_value("reed.strength", reed.strength + strength * at[2])
        setup = setup.with_value("reed.damping", reed.damping * np.exp(at[3]))
        return setup.with_value("breath.pressure_kpa", 1e-3 * setup.reed.closes_at * np.exp(at[1]))

    def heard(self, at: Reals) -> _Heard | None:
        """Blow; None if there can be no such player, or if another note or none comes out."""
        try:
            setup = self.setup(at)
        except ModelError:  # the breath goes with the reed, and may leave its range
            return None
        rate = setup.time.rate
        if setup.breath.pressure < LEAST_BREATH:
            return None
        seconds = 0.45 + (bands.PERIODS + 16.0) / self.hz
        run = single.run(numbers_of(setup), blown(setup, seconds))
        late = slice(-round((bands.PERIODS + 1.0) / self.hz * rate / GRAIN) * GRAIN, None)
        inside, slow = pitch.thin(run.pressure[late], rate)
        if not np.ptp(inside) > 0.05 * setup.breath.pressure:
            return None
        near = pitch.fundamental(inside, slow, 0.4 * self.hz, 2.4 * self.hz)
        if near is None or abs(cents(near.hz, self.hz)) > NEAR_CENTS:
            return None
        plays = pitch.refine(inside, slow, near.hz)
        wave = spectrum.harmonic_amplitudes(run.outgoing[late], rate, plays, self.count)
        at_hz = plays * np.arange(1, self.count + 1)
        return _Heard(plays, wave * np.interp(at_hz, self._grid, self._outside))


def _bounds(horn: Horn) -> tuple[Reals, Reals]:
    """Return `LOW` and `HIGH`, drawn in to where opening, strength and damping are allowed."""
    low, high = LOW.copy(), HIGH.copy()
    reed = horn.reed
    for place, name, value in (0, SAID[0], reed.opening), (3, SAID[3], reed.damping):
        quantity = QUANTITIES[name]
        low[place] = max(low[place], np.log(quantity.low / value))
        high[place] = min(high[place], np.log(quantity.high / value))
    quantity = QUANTITIES["reed.strength"]
    low[2] = max(low[2], np.log(A_STRENGTH) * (quantity.low - reed.strength))
    high[2] = min(high[2], np.log(A_STRENGTH) * (quantity.high - reed.strength))
    return low + EDGE, high - EDGE


class _Search:
    """Compares recorded bands with those of a horn."""

    def __init__(self, horn: _Horn, recorded: Reals, sure_db: float) -> None:
        whole = bands.thirds(recorded, horn.hz)
        self.kept = whole.level_db > whole.level_db.max() - RANGE_DB
        self.hz, self.horn, self.sure_db = whole.hz[self.kept], horn, sure_db
        self.recorded = whole.level_db[self.kept] - whole.level_db[self.kept].mean()
        octaves = np.log2(self.hz)
        self.octaves = octaves - octaves.mean()

    def rendered(self, at: Reals) -> Reals | None:
        """Return the levels of the same bands at the microphone, their mean 0. [dB]."""
        found = self.horn.heard(at)
        if found is None:
            return None
        level = bands.thirds(found.partials, self.horn.hz).level_db
        level = np.maximum(level, level.max() - RANGE_DB - 15.0)[self.kept]
        return np.asarray(level - level.mean() + at[4] * self.octaves)

    def apart(self, at: Reals) -> Reals:
        """Return how far apart the bands are. [dB]."""
        stopping.check()
        level = self.rendered(at)
        return np.full(self.hz.size, MISSED_DB) if level is None else self.recorded - level

    def cost(self, at: Reals) -> Reals:
        """Return all that is to be small, in standard deviations."""
        return np.concatenate((self.apart(at) / self.sure_db, (at - self.horn.usual) / USUAL))

    def down(self, at: Reals, steps: int = STEPS) -> tuple[float, Reals, Reals]:
        """Go down from a point: what is left, where it ends, and the slopes there."""
        low, high = self.horn.low, self.horn.high
        inside = np.clip(at, low + EDGE, high - EDGE)
        found = least_squares(
            self.cost, inside, bounds=(low, high), diff_step=0.02, x_scale=USUAL, max_nfev=steps
        )
        return float(found.cost), found.x, found.jac

    def everywhere(self) -> list[Reals]:
        """Return the best of many points all over, and that of the preset, best first."""
        low, high = self.horn.low, self.horn.high
        tried = [self.horn.usual, *(low + (high - low) * each for each in _spread(TRIALS))]
        costs = [float(np.sum(self.cost(at) ** 2)) for at in tried]
        return [tried[place] for place in np.argsort(costs)[:FOLLOWED]]


def _spread(count: int) -> Reals:
    """Points that fill a cube of four dimensions evenly, shape (count, 5), the last in the middle.

    Multiples of the powers of 1/g, where g⁵ = g + 1: an additive recurrence, as of Roberts.
    """
    root = 1.0
    for _ in range(40):
        root = (1.0 + root) ** 0.2
    steps = root ** -np.arange(1.0, 5.0)
    found = (0.5 + np.arange(1, count + 1)[:, np.newaxis] * steps) % 1.0
    return np.concatenate((found, np.full((count, 1), 0.5)), axis=1)


def shortest(hz: float) -> float:
    """Return how long a note must be to be compared, to a hundredth. [s]."""
    return math.ceil(100.0 * max(SHORTEST_S, bands.PERIODS / hz)) / 100.0


def fit(sounds: Sequence[Reals], rate: float, hz: float, horn: Horn) -> Fit:
    """Find the player whose note comes closest to a recorded one.

    Parameters
    ----------
    sounds : sequence of ndarray, shape (n,)
        The held note, as each microphone heard it. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        What is played. [Hz]
    horn : Horn
        Who plays.

    Returns
    -------
    Fit
        Also where it is refused: see `Fit.fits`.

    Raises
    ------
    ModelError
        If the note is too short or too dull or does not hold still, or the horn has no such note
        or does not play it.
    """
    if sounds[0].size < shortest(hz) * rate:
        raise ModelError(
            f"the note lasts {sounds[0].size / rate:.2f} s; {shortest(hz):g} s or more are needed"
        )
    count = int(min(TOP_HZ, 0.45 * rate) / hz)
    recorded = bands.partials(sounds, rate, hz, count)
    if not recorded.any():
        raise ModelError(f"the note does not hold still enough at {hz:.0f} Hz to be compared")
    first = _Horn(horn, tune(horn, hz), hz, count)
    search = _Search(first, recorded, ROOM_DB)
    if search.hz.size < FEWEST_BANDS:
        raise ModelError(
            f"the note has {search.hz.size} bands with partials up to {TOP_HZ:g} Hz; "
            f"{FEWEST_BANDS} or more are needed"
        )
    preset_db = _size(search.apart(first.usual))
    _, at, _ = min((search.down(start) for start in search.everywhere()), key=lambda each: each[0])
    for _ in range(2):
        sure = max(_size(search.apart(at)), LEAST_DB)
        search = _Search(_drawn(search.horn, at), recorded, sure)
        _, at, slopes = search.down(at)
    return _told(search, at, slopes, preset_db)


def _drawn(horn: _Horn, at: Reals) -> _Horn:
    """Draw the mouthpiece until the note is in tune with this reed and breath."""
    length = horn.tuned.bore.length
    heard = horn.heard(at)
    if horn.tuned.bore.holes or length is None or heard is None:
        return horn
    tuned = horn.tuned.with_value("bore.length_mm", 1e3 * length * heard.plays / horn.hz)
    return _Horn(horn.horn, tuned, horn.hz, horn.count)


def _size(apart: Reals) -> float:
    return float(np.sqrt(np.mean(apart**2)))


def _told(search: _Search, at: Reals, slopes: Reals, preset_db: float) -> Fit:
    level = search.rendered(at)
    if level is None:
        raise ModelError(
            f"no breath and reed were found with which the horn plays {search.horn.hz:.1f} Hz"
        )
    setup = search.horn.setup(at)
    spread = _TOLD @ np.linalg.inv(slopes.T @ slopes) @ _TOLD.T
    sure = np.sqrt(np.diag(spread))
    settings = []
    for place, name in enumerate(SAID):
        value, usual = setup.value(name), search.horn.tuned.value(name)
        assert isinstance(value, float)
        assert isinstance(usual, float)
        if name == "reed.strength":
            step = sure[place] / np.log(A_STRENGTH)
            edges = value - step, value + step
        else:
            factor = np.exp(sure[place])
            edges = value / factor, value * factor
        low, high = np.clip(edges, *QUANTITIES[name].edge_range).tolist()
        settings.append(Setting(name, value, low, high, usual))
    size, axes = np.linalg.eigh(spread[:4, :4])
    along = np.sqrt(size[-1]) * axes[:, -1]
    along *= np.sign(along[np.argmax(np.abs(along))])
    # The slope of the microphone goes along as it is drawn.
    whole = np.append(along, spread[4, :4] @ np.linalg.solve(spread[:4, :4], along))
    moved = slopes[: search.hz.size] @ np.linalg.solve(_TOLD, whole) * search.sure_db
    together = dict(zip(SAID, np.exp(along).tolist(), strict=True))
    harder = float(along[2] / np.log(A_STRENGTH))
    together["reed.strength"] = 1.0 + harder / setup.reed.strength
    return Fit(
        setup=setup,
        horn=search.horn.horn.model_copy(update={"reed": setup.reed, "breath": setup.breath}),
        settings=tuple(settings),
        together=together,
        together_db=_size(moved),
        rest_db=_size(search.recorded - level),
        preset_db=preset_db,
        hz=search.hz,
        recorded_db=search.recorded,
        rendered_db=level,
        slope=float(at[4]),
        slope_within=float(sure[4]),
        left=_feature(search.hz, search.recorded - level, search.horn.hz),
    )


def _feature(hz: Reals, apart: Reals, note: float) -> Left:
    """Name what explains the largest part of a difference: brightness, or one band."""
    octaves = np.log2(hz / 1000.0)
    octaves -= octaves.mean()
    slope = float(octaves @ apart / (octaves @ octaves))
    tilted = slope**2 * float(octaves @ octaves)
    worst = int(np.argmax(np.abs(apart)))
    if tilted > apart[worst] ** 2:
        more = "brighter" if slope > 0.0 else "darker"
        return Left(f"it is {more} by {abs(slope):.1f} dB an octave", abs(slope))
    off = float(apart[worst])
    more = "louder" if off > 0.0 else "softer"
    order = round(hz[worst] / note)
    where = (
        f"partial {order} at {order * note:.0f} Hz"
        if order <= 3
        else f"the band about {hz[worst]:.0f} Hz"
    )
    return Left(f"{where} is {abs(off):.0f} dB {more}", abs(off))
