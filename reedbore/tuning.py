"""From a fingered note to the length of bore that plays it.

The note is solved once, at the horn's default reed and breath and without a voice; later changes of
reed or breath then move the pitch, as they do on a horn. Solved lengths are kept in the user's
cache folder until anything they depend on changes.
"""

import contextlib
import hashlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError, ReedboreError
from reedbore.files import write_whole
from reedbore.kernel import parameters, reflection, single
from reedbore.kernel.compiler import PACKAGE, cache_folder
from reedbore.measures import pitch
from reedbore.model import Horn, Setup, Voice
from reedbore.notes import cents, midi_name, midi_to_hz, note_name, parse_note
from reedbore.physics import tube
from reedbore.presets import setup_for

TOLERANCE_CENTS = 0.05
"""Where the search for a length ends."""

MARGIN_CENTS = 60.0
"""A note may lie this far outside the low register: half-steps of other tunings still work."""

SOURCES = "kernel", "physics", "measures"
"""Parts of the package on which a solved length depends."""

LISTEN_S = 0.5
"""Length of steady tone that a pitch is measured on. [s]"""


def low_register(horn: Horn) -> list[int]:
    """List the notes of a horn's low register, as sounding MIDI numbers, lowest first."""
    low, high = (round(parse_note(name)) for name in (horn.low_note, horn.high_note))
    return list(range(low, high + 1))


def tune(horn: Horn, fingered_hz: float, rate: float = 96000.0) -> Setup:
    """Find the bore that plays a note.

    Parameters
    ----------
    horn : Horn
        The instrument, with its default reed and breath.
    fingered_hz : float
        The note that the fingers ask for. [Hz]
    rate : float
        Steps per second of the simulation. [Hz]

    Returns
    -------
    Setup
        The horn with `bore.length` solved, voice off.

    Raises
    ------
    ModelError
        If the horn has no such note, or does not speak in its low register there.
    """
    register = low_register(horn)
    low, high = midi_to_hz(register[0]), midi_to_hz(register[-1])
    if cents(fingered_hz, low) < -MARGIN_CENTS or cents(fingered_hz, high) > MARGIN_CENTS:
        raise ModelError(
            f"fingered note is {note_name(fingered_hz)} ({fingered_hz:.1f} Hz); allowed "
            f"{midi_name(register[0])} to {midi_name(register[-1])} (low register of {horn.name})"
        )
    setup = setup_for(horn).model_copy(update={"voice": Voice(source="off")})
    setup = setup.with_value("time.rate_hz", rate)
    place = _place(setup, fingered_hz)
    length = _recall(place)
    if length is None:
        length = _solve(setup, fingered_hz, horn.name)
        with contextlib.suppress(OSError, ReedboreError):  # a folder that cannot be written
            write_whole(place, repr(length).encode())
    return setup.with_value("bore.length_mm", length)


def _place(setup: Setup, hz: float) -> Path:
    """Name the file that keeps a solved length, by all that the length depends on."""
    sources = sorted(p for part in SOURCES for p in (PACKAGE / part).glob("*.py"))
    key = json.dumps([setup.to_plain(), hz])
    name = hashlib.sha256(key.encode()).hexdigest()[:24]
    return cache_folder([*sources, Path(__file__)], "tuned") / name


def _recall(place: Path) -> float | None:
    try:
        return float(place.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None


def _solve(setup: Setup, hz: float, name: str) -> float:
    """Find the length [mm] that plays a note, by secants from the acoustic length."""
    length = _acoustic_length(setup, hz)
    before: tuple[float, float] | None = None
    for _ in range(12):
        trial = setup.with_value("bore.length_mm", length * 1e3)
        off = cents(_played(trial, hz, name), hz)
        if abs(off) < TOLERANCE_CENTS:
            return length * 1e3
        slope = -1200.0 / math.log(2.0) / length
        if before and abs(before[1] - off) > 1e-9 and abs(length - before[0]) < 0.05 * length:
            slope = (off - before[1]) / (length - before[0])
        before = length, off
        length -= min(max(off / slope, -0.1 * length), 0.1 * length)
    raise ModelError(f"{name} does not settle on {note_name(hz)}")


def _acoustic_length(setup: Setup, hz: float) -> float:
    """Find the length [m] whose first impedance peak lies at a frequency."""
    low, high = 0.05, 0.6 * 347.0 / hz
    for _ in range(16):
        middle = 0.5 * (low + high)
        first = first_peak(setup.with_value("bore.length_mm", middle * 1e3), hz)
        low, high = (middle, high) if first > hz else (low, middle)
    return 0.5 * (low + high)


def first_peak(setup: Setup, near_hz: float) -> float:
    """Return the lowest resonance [Hz] of horn, mouthpiece and giving reed."""
    frequency = np.linspace(near_hz / 8.0, near_hz * 4.0, 320)
    found = tube.peaks(frequency, np.reciprocal(admittance(setup, frequency))).frequency
    return float(found[0]) if found.size else math.inf


def admittance(setup: Setup, frequency: NDArray[np.float64]) -> NDArray[Any]:
    """Return the exact input admittance at the reed: bore, mouthpiece and giving reed.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece, reed and air.
    frequency : ndarray, shape (n,)
        Above zero. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        [m³ s⁻¹ Pa⁻¹]
    """
    gas, omega = parameters.gas_of(setup), 2.0 * math.pi * frequency
    bore = reflection.bore_admittance(setup.bore.chain(), setup.bore.end, omega, gas)
    reed = 1j * omega * setup.reed.area / setup.reed.stiffness
    return bore + tube.cavity_admittance(setup.mouthpiece.volume, omega, gas) + reed


def _played(setup: Setup, hz: float, name: str) -> float:
    """Return the pitch [Hz] that a setup plays from rest, in the register asked for."""
    for seconds in (0.5 + 60.0 / hz, 1.0 + 200.0 / hz, 2.0 + 400.0 / hz):
        mouth = blown(setup, seconds + LISTEN_S)
        run = single.run(parameters.numbers_of(setup), mouth)
        pressure, rate = pitch.thin(run.pressure, setup.time.rate)
        tone = pressure[-round(LISTEN_S * rate) :]
        half = tone.size // 2
        if np.ptp(tone) > 0.05 * setup.breath.pressure:
            early, late = (pitch.refine(part, rate, hz) for part in (tone[:half], tone[half:]))
            if abs(cents(late, early)) < 0.02:
                break
    else:
        early = late = math.nan
    heard = pitch.fundamental(tone, rate) if np.ptp(tone) > 0.05 * setup.breath.pressure else None
    if heard is None or not abs(cents(heard.hz, hz)) < 300.0:
        raise ModelError(
            f"{name} does not speak on {note_name(hz)} in its low register at "
            f"{setup.breath.pressure / 1e3:.2f} kPa; try another breath or reed"
        )
    return pitch.refine(tone, rate, heard.hz)


def blown(setup: Setup, seconds: float) -> NDArray[np.float64]:
    """Return the steady part of the pressure in the mouth, rising smoothly from rest.

    Parameters
    ----------
    setup : Setup
        Breath and rate.
    seconds : float
        How long. [s]

    Returns
    -------
    ndarray, shape (n,)
        [Pa]
    """
    n = round(seconds * setup.time.rate)
    rise = np.minimum(np.arange(n) / (setup.breath.rise * setup.time.rate), 1.0)
    return setup.breath.pressure * (0.5 - 0.5 * np.cos(math.pi * rise))
