"""What is heard outside: the way from the reed into open air, and sounds made fit for a file."""

import functools
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.measures.loudness import loudness
from reedbore.model.bore import Bore
from reedbore.model.setup import Setup
from reedbore.physics import radiation
from reedbore.physics.air import Gas
from reedbore.remembered import remembered
from reedbore.simulate.acoustics import numbers, open_air, reflection
from reedbore.simulate.acoustics.bore import elements, first_opening
from reedbore.sound import fade, mute_broken, remove_dc, smooth_number, to_full_scale

SOUND_RATE = 48000
"""Of all sounds that leave the program. [Hz]"""

FULL_SCALE_PA = 10.0
"""Pressure at one metre that is full scale in every file, so that comparisons are true. [Pa]"""

DISTANCE = 1.0
"""From the open end to the listener. [m]"""

MATCHED_LUFS = -23.0
"""Loudness that sounds are brought to where matched levels are asked for [EBU R 128, 2020]."""

MOST_GAIN_DB = 30.0
"""A sound is made louder by so much at most: what is fainter is no horn that plays."""

FADE_S = 0.02

LEAST_PHASE_POINTS = 32768
"""Between no frequency and half of `SOUND_RATE`: less than 1 Hz apart."""

Samples = NDArray[np.float64]
Levels = dict[str, Any]
Fitted = tuple[Bore, float, Gas, float]
"""Bore, volume of the mouthpiece [m³], air and rate [Hz]: all that the way out depends on."""


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
    through = _through(numbers.fitted_to(setup), rate / pad, min(pad, out) // 2 + 1)
    heard: NDArray[Any] = spectrum[: through.size] * through
    sound = np.fft.irfft(heard, out) * (out / pad)
    return sound[: round(outgoing.size * SOUND_RATE / rate)]


@functools.lru_cache(maxsize=4)
def _through(fitted: Fitted, step: float, count: int) -> NDArray[Any]:
    """Return `transmission` at so many even steps [Hz]; kept as `_outside` is."""
    found = _transmission(fitted, step * np.arange(count, dtype=np.float64))
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
    At the reed p = (1 + R) p⁺; for 1 Pa there, `open_air.outflow` tells the power that leaves
    all openings. Told without a direction, it spreads evenly over the space Ω around the horn:
    |p|² = 2ρc W/Ωr² [1]_. Beside the time of flight the phase is the least that this size allows
    [2]_: so nothing is heard before it can have arrived.

    References
    ----------
    .. [1] A. D. Pierce, "Acoustics: An Introduction to Its Physical Principles and Applications,"
       Acoustical Society of America, 1989, ch. 1.
    .. [2] A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal Processing," Prentice Hall,
       1989, ch. 10: the Hilbert transform of the logarithm (from memory).
    """
    return _transmission(numbers.fitted_to(setup), frequency)


def _transmission(fitted: Fitted, frequency: Samples) -> NDArray[Any]:
    grid, smooth, flight = _outside(*fitted)
    edge = 0.5 + 0.5 * np.cos(math.pi * np.clip((frequency - 20000.0) / 2000.0, 0.0, 1.0))
    shape = np.interp(frequency, grid, smooth)
    low = np.minimum(frequency / grid[0], 1.0)
    return shape * edge * low * np.exp(-2j * math.pi * frequency * flight)


@remembered(256)
def _outside(
    bore: Bore, volume: float, gas: Gas, rate: float
) -> tuple[Samples, NDArray[Any], float]:
    """Find what `transmission` is made of: frequencies [Hz], values less the flight, its time [s].

    It is kept, for on the page many voices, breaths and reeds are tried on one bore.
    """
    plain = not bore.holes and len(bore.sections) == 1
    grid = np.concatenate(
        (np.geomspace(4.0, 100.0, 40), np.linspace(103.0, 22000.0, 700 if plain else 2100))
    )
    omega = 2.0 * math.pi * grid
    found = open_air.outflow(bore, omega, gas)
    fast = reflection.waveguide(bore, volume, gas, rate).throat
    waves = (found.admittance - fast.at_throat(1j * omega)) / fast.of_wave(1j * omega)
    solid = 2.0 * math.pi if bore.end == "flanged" else 4.0 * math.pi
    size = radiation.spread_pressure(found.power, DISTANCE, gas, solid)
    heard = _least_phase(grid, 2.0 / np.abs(1.0 + waves) * size)
    return grid, heard, first_opening(elements(bore)) / gas.sound_speed


def _least_phase(grid: Samples, size: Samples) -> NDArray[Any]:
    """Return a response of a given size at frequencies [Hz] and of the least phase."""
    even = np.linspace(0.0, SOUND_RATE / 2.0, LEAST_PHASE_POINTS + 1)
    count = 2 * LEAST_PHASE_POINTS
    cepstrum = np.fft.irfft(np.log(np.interp(even, grid, size)), count)
    cepstrum[1 : count // 2] *= 2.0
    cepstrum[count // 2 + 1 :] = 0.0
    phase = np.fft.rfft(cepstrum).imag
    return np.asarray(size * np.exp(1j * np.interp(grid, even, phase)))


def levelled(
    pressure: Samples, full_scale: float = FULL_SCALE_PA, *, matched: bool = False
) -> tuple[Samples, Levels]:
    """Make a sound fit for a file: no offset, faded, at the fixed level or below.

    Parameters
    ----------
    pressure : ndarray, shape (n,)
        At `SOUND_RATE`; it may break off. [Pa]
    full_scale : float
        What becomes full scale. [Pa]
    matched : bool
        Bring it to `MATCHED_LUFS` instead, as loud as other sounds; never above the ceiling.

    Returns
    -------
    samples : ndarray, shape (n,)
        The sound. [full scale]
    levels : dict
        How it was levelled, fit for JSON.
    """
    clean, _ = mute_broken(pressure, SOUND_RATE)
    clean = fade(remove_dc(clean, SOUND_RATE), SOUND_RATE, FADE_S)
    lift = matching(clean / full_scale) if matched else 0.0
    found = to_full_scale(clean * 10.0 ** (lift / 20.0), full_scale)
    level = {
        "rate_hz": SOUND_RATE,
        "full_scale_pa": full_scale,
        "gain_db": lift + found.gain_db,
        **({"matched_lufs": MATCHED_LUFS} if matched else {}),
    }
    return found.samples, level


def matching(samples: Samples, most: float = MOST_GAIN_DB) -> float:
    """Return the gain that makes a sound as loud as others.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At `SOUND_RATE`. [full scale]
    most : float
        It is never larger. [dB]

    Returns
    -------
    float
        To `MATCHED_LUFS`, at most `most`; 0 for silence. Some sounds it takes beyond the
        ceiling: see `sound.to_full_scale`. [dB]
    """
    found = loudness(samples)
    return min(MATCHED_LUFS - found, most) if math.isfinite(found) else 0.0
