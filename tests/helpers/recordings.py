"""Recordings of horn and voice whose truth is known: takes of our own, in a room, with noise.

A `Case` is what is played and sung; `source` plays it, once; `cut` takes a piece out of it, tells
its truth from the phases inside that piece, and `recorded` puts it before microphones: one before
the horn in a room, and one on the throat that hears the voice through the neck, and the horn.
"""

import functools
from typing import NamedTuple

import numpy as np

from reedbore.kernel import single
from reedbore.kernel.player import Player
from reedbore.measures import pitch
from reedbore.model.presets import load_horn
from reedbore.simulate import outside
from reedbore.simulate.acoustics.numbers import HELD_BY_LIP, numbers_of
from reedbore.simulate.ear import ear_of
from reedbore.simulate.folds import reachable, singing, voiced
from reedbore.simulate.player import jet, lip_of, sway
from reedbore.simulate.take import render
from reedbore.simulate.tuning import blown, tune
from reedbore.sound import resample

RATE = 48000.0
TRACE_RATE = 12000.0
STARTED_S = 1.0
"""Pieces are cut after this: horn and folds have settled. [s]"""

TAKE_S = 5.0

BELOW_DIRECT_DB = 6.0
"""The tail of a room against the direct sound: the microphone stands at half the distance at which
both are alike. [dB]"""

NECK_HZ = 900.0
"""Tissue passes the voice up to about here, then falls by 12 dB an octave: common practice."""


class Case(NamedTuple):
    """What is played and sung. `ratio` is a just one, `off` [cents] beside it."""

    horn: str
    played: float
    ratio: tuple[int, int]
    off: float
    depth: float
    voice: str
    """clock, human or folds"""
    seed: int = 0


class Truth(NamedTuple):
    """What the phases inside a piece say."""

    played: float
    """[Hz]"""
    sung: float
    """[Hz]"""
    drift: float
    """p·f1 - q·f2 at the ratio of the case. [Hz]"""
    ranges: float
    """Of that phase over the piece. [cycles]"""


class Piece(NamedTuple):
    """A piece of a take: what a dry microphone heard, the voice at the folds, and the truth."""

    horn: np.ndarray
    voice: np.ndarray
    truth: Truth


class Source(NamedTuple):
    """A take: its sound and voice at `RATE`, its pressure and voice at `trace_rate`."""

    sound: np.ndarray
    voice: np.ndarray
    pressure: np.ndarray
    sung: np.ndarray
    trace_rate: float


def setup_of(case: Case):
    """Set up the player of a case: human breath but for a clock's, folds as deep as they can."""
    setup = tune(load_horn(case.horn), case.played)
    p, q = case.ratio
    values = {
        "voice.source": "pulse",
        "voice.frequency_hz": case.played * p / q * 2.0 ** (case.off / 1200.0),
        "voice.depth": case.depth,
        "voice.seed": case.seed,
        "breath.seed": case.seed,
    }
    if case.voice != "clock":
        values |= {"voice.wander_cents": 10.0, "breath.air": 0.01, "breath.sway": 0.01}
    if case.voice == "human":
        values |= {"voice.jitter": 0.005, "voice.shimmer_db": 0.3}
    if case.voice == "folds":
        values["voice.drive"] = "folds"
    for name, value in values.items():
        setup = setup.with_value(name, value)
    return reachable(setup) if case.voice == "folds" else setup


@functools.lru_cache(maxsize=64)
def source(case: Case, seconds: float = TAKE_S) -> Source:
    """Play a case."""
    take = render(setup_of(case), seconds)
    rate = take.setup.time.rate
    pressure, trace_rate = pitch.thin(take.traces.pressure, rate, TRACE_RATE)
    sung, _ = pitch.thin(take.sung, rate, TRACE_RATE)
    return Source(take.sound, resample(take.sung, rate, RATE), pressure, sung, trace_rate)


def cut(case: Case, begin: float, seconds: float, whole: Source | None = None) -> Piece:
    """Cut a piece out of a take, and tell its truth."""
    found = source(case) if whole is None else whole
    inside = slice(round(begin * RATE), round((begin + seconds) * RATE))
    traced = slice(round(begin * found.trace_rate), round((begin + seconds) * found.trace_rate))
    truth = truth_of(found.pressure[traced], found.sung[traced], found.trace_rate, case)
    return Piece(found.sound[inside], found.voice[inside], truth)


def truth_of(pressure: np.ndarray, sung: np.ndarray, rate: float, case: Case) -> Truth:
    """Measure both phases inside a piece: in the mouthpiece, and at the folds."""
    (p, q), seconds = case.ratio, pressure.size / rate
    played = slope(pressure, rate, case.played, seconds)
    voice = slope(sung, rate, case.played * p / q * 2.0 ** (case.off / 1200.0), seconds)
    band = max(0.5 * min(played, voice) / q, 8.0 / seconds)
    first = pitch.phase_track(pressure, rate, played, band)
    second = pitch.phase_track(sung, rate, voice, band)
    ahead = p * (first.cycles + played * first.times) - q * (second.cycles + voice * second.times)
    return Truth(played, voice, p * played - q * voice, float(np.ptp(ahead)))


def slope(samples: np.ndarray, rate: float, near: float, seconds: float) -> float:
    """Mean frequency of the line near a frequency: the slope of its phase. [Hz]."""
    hz = near
    for _ in range(4):
        track = pitch.phase_track(samples, rate, hz, max(0.25 * near, 8.0 / seconds))
        hz += float(np.polyfit(track.times, track.cycles, 1)[0])
    return hz


# --- microphones ---------------------------------------------------------------------------------


def recorded(
    piece: Piece, *, noise_db: float, reverberation: float, bleed_db: float | None, seed: int = 0
) -> tuple[np.ndarray, np.ndarray]:
    """Put a piece before a microphone in a room, and one on the throat.

    Noise is pink, so far below the horn (or the voice); `bleed_db` is the horn on the throat
    against the voice there, None for none at all.
    """
    dice = np.random.default_rng([seed, 7])
    horn = in_room(piece.horn, reverberation, dice)
    neck = through_neck(piece.voice)
    throat = neck / rms(neck)
    if bleed_db is not None:
        through_air = delayed(piece.horn, 0.0015)
        throat = throat + 10.0 ** (bleed_db / 20.0) * through_air / rms(through_air)
    return noisy(horn, noise_db, dice), noisy(throat, noise_db, dice)


def rms(samples: np.ndarray) -> float:
    """Effective value less the mean."""
    return float(np.std(samples))


def in_room(samples: np.ndarray, reverberation: float, dice: np.random.Generator) -> np.ndarray:
    """Add the tail of a room that dies away by 60 dB in so many seconds; 0 for a dry one."""
    if not reverberation:
        return samples.copy()
    n = round(reverberation * RATE)
    tail = dice.standard_normal(n) * 10.0 ** (-3.0 * np.arange(n) / n)
    tail[: round(0.005 * RATE)] = 0.0
    tail *= 10.0 ** (-BELOW_DIRECT_DB / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return convolved(samples, tail)


def convolved(samples: np.ndarray, response: np.ndarray) -> np.ndarray:
    """As long as the samples."""
    size = samples.size + response.size
    turned = np.fft.rfft(samples, size) * np.fft.rfft(response, size)
    return np.fft.irfft(turned, size)[: samples.size]


def delayed(samples: np.ndarray, seconds: float) -> np.ndarray:
    """The way through the air to the throat, which dulls it a little."""
    lag = round(seconds * RATE)
    response = np.zeros(lag + 8)
    response[lag:] = 0.5 ** np.arange(8)
    return convolved(samples, response)


def through_neck(voice: np.ndarray) -> np.ndarray:
    """What a microphone on the throat hears of the folds: dull, and nothing below 50 Hz."""
    hz = np.fft.rfftfreq(2 * voice.size, 1.0 / RATE)
    passed = 1.0 / (1.0 + 1j * hz / NECK_HZ) ** 2 * (1j * hz / (50.0 + 1j * hz)) ** 2
    return np.fft.irfft(np.fft.rfft(voice - voice.mean(), 2 * voice.size) * passed)[: voice.size]


def noisy(samples: np.ndarray, below_db: float, dice: np.random.Generator) -> np.ndarray:
    """Add pink noise between 20 Hz and 20 kHz, so far below the sound."""
    hz = np.fft.rfftfreq(samples.size, 1.0 / RATE)
    shaped = np.fft.rfft(dice.standard_normal(samples.size))
    shaped *= np.where((hz > 20.0) & (hz < 2e4), 1.0 / np.sqrt(np.maximum(hz, 20.0)), 0.0)
    noise = np.fft.irfft(shaped, samples.size)
    return samples + noise * rms(samples) / rms(noise) * 10.0 ** (-below_db / 20.0)


# --- a player who bends the note -----------------------------------------------------------------

BEND_HZ = 0.4
"""How often a second the lip goes firm and loose again: slowly enough for folds to be taken along,
and one bend fits into a note of two seconds and a half."""


def bent(case: Case, firm: float, seconds: float = TAKE_S) -> Source:
    """Play a case while the lip makes the reed slowly stiffer and looser by a share."""
    setup = setup_of(case)
    rate, every = setup.time.rate, 960
    breath = blown(setup, seconds)
    breath = breath * sway(setup, breath.size)
    time = every / rate * np.arange(breath.size // every + 2)
    held = {name: np.full(time.size, getattr(setup.reed.held(), name)) for name in HELD_BY_LIP}
    held["stiffness"] = held["stiffness"] * (1.0 + firm * np.sin(2.0 * np.pi * BEND_HZ * time))
    player = Player(lip_of(setup, held, every), every, np.zeros(0), jet(setup, breath.size))
    singer, ear = singing(setup, breath.size, 0.0), ear_of(setup, breath.size, 0.0)
    run = single.run(numbers_of(setup), breath, singer=singer, ear=ear, player=player)
    heard = voiced(run)
    pressure, trace_rate = pitch.thin(run.pressure, rate, TRACE_RATE)
    sung, _ = pitch.thin(heard, rate, TRACE_RATE)
    sound = outside.radiated(setup, run.outgoing)
    return Source(sound, resample(heard, rate, RATE), pressure, sung, trace_rate)
