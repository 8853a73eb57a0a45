"""From a setup to a take: what is blown and sung, what the reed does, what is heard outside."""

import functools
import math
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.model.setup import Breath, Setup
from reedbore.model.voice import Tract, Voice
from reedbore.physics import radiation
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.acoustics.bore import elements, first_opening, gas_of, outflow
from reedbore.simulate.mouth import depth
from reedbore.simulate.singing import sing
from reedbore.simulate.tuning import blown
from reedbore.sound import fade, mute_broken, remove_dc, resample, smooth_number, to_full_scale

SOUND_RATE = 48000
"""Of all sounds that leave the program. [Hz]"""

FULL_SCALE_PA = 10.0
"""Pressure at one metre that is full scale in every file, so that comparisons are true. [Pa]"""

DISTANCE = 1.0
"""From the open end to the listener. [m]"""

FADE_S = 0.02

Samples = NDArray[np.float64]
Levels = dict[str, Any]


@dataclass(frozen=True)
class Take:
    """One rendered result.

    `sung` (as `singing.sing` returns it) and `traces` have a value a step of `setup.time.rate`;
    `sound` is the pressure one metre from the open end at `SOUND_RATE`. [Pa]
    """

    setup: Setup
    seconds: float
    sung: Samples
    traces: single.Traces
    sound: Samples

    @property
    def mouth(self) -> Samples:
        """Pressure in the mouth [Pa], a value a step."""
        return self.traces.mouth

    def _repr_html_(self) -> str:
        """Show sound, picture and verdict in a notebook; it is asked for by no one else."""
        # By name, for it lies above: whoever renders needs no picture.
        return str(import_module("reedbore.report.notebook").take_html(self))


def render(setup: Setup, seconds: float) -> Take:
    """Render a setup from rest.

    Parameters
    ----------
    setup : Setup
        What to play.
    seconds : float
        How long, 0.1 to 600. [s]

    Returns
    -------
    Take
        The take, its sound not yet levelled.

    Raises
    ------
    ModelError
        If the length is not allowed. A run that diverges is a take too: silent from there on.
    AudioError
        If a recorded voice cannot be used.
    """
    if not 0.1 <= seconds <= 600.0:
        raise ModelError(f"seconds is {seconds:g} s; allowed 0.1 to 600 s (length of a take)")
    stopping.check()
    sung = sing(setup, seconds)
    mouth = blown(setup, seconds) * (1.0 + depth(setup) * sung)
    traces = single.run(numbers.numbers_of(setup), mouth)
    outgoing, broken = traces.outgoing, burst(traces)
    if broken is not None:
        outgoing = outgoing.copy()
        outgoing[broken:] = 0.0
    return Take(setup, seconds, sung, traces, radiated(setup, outgoing))


def burst(traces: single.Traces) -> int | None:
    """Return the step at which a run diverged: no number, or beyond `single.BURST_PA`; or None."""
    sane = np.abs(traces.pressure) < single.BURST_PA
    return None if sane.all() else int(np.argmin(sane))


def again(
    setup: Setup, seconds: float, pull_cents: float | Samples = 0.0, voice: bool = True
) -> Take:
    """Run a setup again, its voice detuned or left out; no sound is made of it.

    Parameters
    ----------
    setup : Setup
        As for `render`.
    seconds : float
        How long. [s]
    pull_cents : float or ndarray, shape (n,)
        By how much the sung pitch is raised, once for all or at each step. [cents]
    voice : bool
        Whether there is a voice.

    Returns
    -------
    Take
        With an empty sound.
    """
    stopping.check()
    sung = sing(setup, seconds, pull_cents) if voice else np.zeros(round(seconds * setup.time.rate))
    mouth = blown(setup, seconds) * (1.0 + depth(setup) * sung)
    traces = single.run(numbers.numbers_of(setup), mouth)
    return Take(setup, seconds, sung, traces, np.zeros(0))


def radiated(setup: Setup, outgoing: Samples) -> Samples:
    """Return the sound outside from the wave that leaves the reed.

    Parameters
    ----------
    setup : Setup
        Bore and air.
    outgoing : ndarray, shape (n,)
        Outgoing wave at the reed, at `setup.time.rate`. [Pa]

    Returns
    -------
    ndarray, shape (m,)
        Pressure at `DISTANCE` on `SOUND_RATE`, the time of flight outside left out. [Pa]
    """
    rate = setup.time.rate
    # A length that is quick to transform, and whole at both rates.
    unit = round(rate) // math.gcd(round(rate), SOUND_RATE)
    pad = unit * smooth_number(-(-(outgoing.size + round(0.2 * rate)) // unit))
    spectrum = np.fft.rfft(outgoing, pad)
    out = round(pad * SOUND_RATE / rate)
    through = _through(setup.model_copy(update=_NO_PLAYER), rate / pad, min(pad, out) // 2 + 1)
    heard: NDArray[Any] = spectrum[: through.size] * through
    sound = np.fft.irfft(heard, out) * (out / pad)
    return sound[: round(outgoing.size * SOUND_RATE / rate)]


@functools.lru_cache(maxsize=4)
def _through(setup: Setup, step: float, count: int) -> NDArray[Any]:
    """Return `transmission` at so many even steps [Hz]; kept as `_outside` is."""
    found = transmission(setup, step * np.arange(count, dtype=np.float64))
    found.flags.writeable = False
    return found


def transmission(setup: Setup, frequency: Samples) -> NDArray[Any]:
    """Return the radiated pressure over the outgoing wave at the reed.

    Parameters
    ----------
    setup : Setup
        Bore and air.
    frequency : ndarray, shape (n,)
        From zero up. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Smoothly gone above 20 kHz.

    Notes
    -----
    At the reed p = (1 + R) p⁺; for 1 Pa there, `acoustics.outflow` tells the flow out of all
    openings, each of which radiates as a monopole as far away as the others.
    """
    grid, smooth, flight = _outside(setup.model_copy(update=_NO_PLAYER))
    edge = 0.5 + 0.5 * np.cos(math.pi * np.clip((frequency - 20000.0) / 2000.0, 0.0, 1.0))
    shape = np.interp(frequency, grid, smooth)
    low = np.minimum(frequency / grid[0], 1.0)
    return shape * edge * low * np.exp(-2j * math.pi * frequency * flight)


_NO_PLAYER = {"voice": Voice(source="off"), "breath": Breath(pressure=0.0), "tract": Tract()}


@functools.lru_cache(maxsize=32)
def _outside(setup: Setup) -> tuple[Samples, NDArray[Any], float]:
    """Find what `transmission` is made of: frequencies [Hz], values less the flight, its time [s].

    It is kept, for on the page many voices and breaths are tried on one bore.
    """
    gas, bore = gas_of(setup), setup.bore
    plain = not bore.holes and len(bore.sections) == 1
    grid = np.concatenate(
        (np.geomspace(4.0, 100.0, 40), np.linspace(103.0, 22000.0, 700 if plain else 2100))
    )
    omega = 2.0 * math.pi * grid
    taken, outside = outflow(bore, omega, gas)
    fast = numbers.waveguide_of(setup).throat
    waves = (taken - fast.at_throat(1j * omega)) / fast.of_wave(1j * omega)
    flow = 2.0 / (1.0 + waves) * outside
    solid = 2.0 * math.pi if bore.end == "flanged" else 4.0 * math.pi
    pressure = radiation.monopole_pressure(
        np.asarray(1j * omega * flow, np.complex128), DISTANCE, gas.density, solid
    )
    flight = first_opening(elements(bore)) / gas.sound_speed
    return grid, pressure * np.exp(1j * omega * flight), flight


def levelled(pressure: Samples, full_scale: float = FULL_SCALE_PA) -> tuple[Samples, Levels]:
    """Make a sound fit for a file: no offset, faded, at the fixed level or below.

    Parameters
    ----------
    pressure : ndarray, shape (n,)
        At `SOUND_RATE`; it may break off. [Pa]
    full_scale : float
        What becomes full scale. [Pa]

    Returns
    -------
    samples : ndarray, shape (n,)
        The sound. [full scale]
    levels : dict
        How it was levelled, fit for JSON.
    """
    clean, _ = mute_broken(pressure, SOUND_RATE)
    clean = fade(remove_dc(clean, SOUND_RATE), SOUND_RATE, FADE_S)
    found = to_full_scale(clean, full_scale)
    level = {"rate_hz": SOUND_RATE, "full_scale_pa": full_scale, "gain_db": found.gain_db}
    return found.samples, level


def throat(take: Take) -> Samples:
    """Return what a microphone in the mouth picks up [Pa], on `SOUND_RATE`."""
    return resample(take.mouth, take.setup.time.rate, SOUND_RATE)


def inside(take: Take) -> Samples:
    """Return the pressure in the mouthpiece [Pa], on `SOUND_RATE`."""
    return resample(take.traces.pressure, take.setup.time.rate, SOUND_RATE)
