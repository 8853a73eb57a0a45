"""From a fingered note to the length of bore that plays it.

The note is solved once, at the horn's default reed and breath and without a voice; later changes of
reed or breath then move the pitch, as they do on a horn. Solved lengths are kept in the user's
cache folder until anything they depend on changes.
"""

import contextlib
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError, ReedboreError
from reedbore.files import PACKAGE, cache_place, files_of, write_whole
from reedbore.kernel import single
from reedbore.measures import pitch
from reedbore.model.presets import setup_for
from reedbore.model.setup import Horn, Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents, hz_to_midi, midi_to_hz, note_name, parse_note
from reedbore.physics import tube
from reedbore.simulate.acoustics import bore, numbers

TOLERANCE_CENTS = 0.05
"""Where the search for a length ends."""

TRIALS = 20
"""Of a length, at most."""

MARGIN_CENTS = 60.0
"""A note may lie this far outside the low register: half-steps of other tunings still work."""

SOURCES = "measures", "model", "notes.py", "physics", "kernel", "simulate"
"""Parts of the package on which a solved length depends."""

SETTLED = 1.05
"""A tone that swings so much wider a quarter of a second later still grows."""

STEADY_CENTS = 0.5
"""A tone whose pitch moves more in a quarter of a second has not found its register."""

LISTEN_S = 0.5
"""Length of steady tone that a pitch is measured on. [s]"""


def low_register(horn: Horn) -> list[int]:
    """List the notes of a horn's low register, as sounding MIDI numbers, lowest first."""
    low, high = (round(parse_note(name)) for name in (horn.low_note, horn.high_note))
    return list(range(low, high + 1))


def tune(horn: Horn, fingered_hz: float, rate: float = 96000.0, fingering: str = "") -> Setup:
    """Find the bore that plays a note.

    Parameters
    ----------
    horn : Horn
        The instrument, with its default reed and breath.
    fingered_hz : float
        The note that the fingers ask for. [Hz]
    rate : float
        Steps per second of the simulation. [Hz]
    fingering : str
        Name of one of several fingerings for a note, on a horn with tone holes.

    Returns
    -------
    Setup
        The horn, voice off: with tone holes, those of the fingering open, its pitch what they make
        it; else with `bore.length` solved.

    Raises
    ------
    ModelError
        If the horn has no such note or fingering, or does not speak in its low register there.
    """
    opened = check_note(horn, fingered_hz, fingering)
    setup = setup_for(horn).model_copy(update={"voice": Voice(source="off")})
    setup = setup.with_value("time.rate_hz", rate)
    if opened is not None:
        return open_holes(setup, opened)
    setup = _vented(setup, horn, fingered_hz)
    place = _place(setup, fingered_hz)
    length = _recall(place)
    if length is None:
        length = _solve(setup, fingered_hz, horn)
        with contextlib.suppress(OSError, ReedboreError):  # a folder that cannot be written
            write_whole(place, repr(length).encode())
    return setup.with_value("bore.length_mm", length)


class WrongNote(ModelError):
    """A note that a horn has not; told in concert pitch, and as written for the horn on demand."""

    def __init__(self, horn: Horn, text: str, *midi: float) -> None:
        super().__init__(text.format(*(_named(one) for one in midi)))
        self._written = text.format(*(_named(one + horn.transposition) for one in midi))

    def as_written(self) -> ModelError:
        """Tell the same in written notes."""
        return ModelError(f"{self._written}, notes as written for it")


def check_note(horn: Horn, fingered_hz: float, fingering: str = "") -> tuple[int, ...] | None:
    """Find out at once whether a horn has a note.

    Parameters
    ----------
    horn, fingered_hz, fingering
        As for `tune`.

    Returns
    -------
    tuple of int or None
        With tone holes the numbers of the open ones, those of the fingering nearest to the note.

    Raises
    ------
    ModelError
        If the horn has no such note or fingering.
    """
    if horn.bore.holes:
        return _fingering(horn, fingered_hz, fingering)
    if fingering:
        raise ModelError(f"fingering {fingering!r} is unknown; {horn.name} has no tone holes")
    register = horn.notes()
    low, high = midi_to_hz(register[0]), midi_to_hz(register[-1])
    if cents(fingered_hz, low) < -MARGIN_CENTS or cents(fingered_hz, high) > MARGIN_CENTS:
        raise _no_note(horn, fingered_hz, register)
    return None


def _named(midi: float) -> str:
    return note_name(midi_to_hz(midi))


def _no_note(horn: Horn, hz: float, notes: list[int]) -> WrongNote:
    register = "notes" if horn.bore.holes or horn.vents else "low register"
    text = f"fingered note is {{}} ({hz:.1f} Hz); allowed {{}} to {{}} ({register} of {horn.name})"
    return WrongNote(horn, text, hz_to_midi(hz), notes[0], notes[-1])


def roughly(horn: Horn, hz: float) -> Setup:
    """Set a horn up for a note at once, by its resonance, without playing it.

    Parameters
    ----------
    horn : Horn
        The instrument.
    hz : float
        One of its notes. [Hz]

    Returns
    -------
    Setup
        With tone holes as `tune`; else its length is within a few per cent of the tuned one.
    """
    if horn.bore.holes:
        return tune(horn, hz)
    setup = setup_for(horn).model_copy(update={"voice": Voice(source="off")})
    setup = _vented(setup, horn, hz)
    return setup.with_value("bore.length_mm", _acoustic_length(setup, hz) * 1e3)


def _nearest(hz: float) -> int:
    """Return the MIDI number of the note nearest to a pitch."""
    return round(hz_to_midi(hz))


def _vented(setup: Setup, horn: Horn, hz: float) -> Setup:
    """Open the octave vent of a note, if it needs one."""
    vent = horn.vent(_nearest(hz))
    if vent is None:
        return setup
    return setup.model_copy(update={"bore": setup.bore.model_copy(update={"holes": (vent,)})})


def _fingering(horn: Horn, hz: float, name: str) -> tuple[int, ...]:
    """Find the open holes of the fingering nearest to a note."""
    midi = _nearest(hz)
    opened = horn.fingering(midi, name)
    if opened is None:
        if name and horn.fingering_names(midi):
            known = ", ".join(known or "the plain one" for known in horn.fingering_names(midi))
            raise WrongNote(horn, f"fingering {name!r} is unknown; {{}} has {known}", midi)
        raise _no_note(horn, hz, horn.notes())
    return opened


def open_holes(setup: Setup, opened: Sequence[int]) -> Setup:
    """Open some tone holes and close all others.

    Parameters
    ----------
    setup : Setup
        A horn with tone holes.
    opened : sequence of int
        Numbers of the open holes, counted from 1 at the reed.

    Returns
    -------
    Setup
        The copy.
    """
    holes = tuple(
        hole.model_copy(update={"open": 1.0 if number in opened else 0.0})
        for number, hole in enumerate(setup.bore.holes, 1)
    )
    return setup.model_copy(update={"bore": setup.bore.model_copy(update={"holes": holes})})


def _unvented(setup: Setup) -> Setup:
    return setup.model_copy(update={"bore": setup.bore.model_copy(update={"holes": ()})})


def sources() -> list[Path]:
    """List the files on which a solved length depends."""
    return files_of(SOURCES, PACKAGE)


def _place(setup: Setup, hz: float) -> Path:
    """Name the file that keeps a solved length, by all that the length depends on."""
    return cache_place(sources(), "tuned", [setup.to_plain(), hz])


def _recall(place: Path) -> float | None:
    try:
        return float(place.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None


def _solve(setup: Setup, hz: float, horn: Horn) -> float:
    """Find the length [mm] that plays a note, by secants kept between the nearest misses."""
    length = _acoustic_length(setup, hz)
    sharp, flat = 0.0, math.inf
    before: tuple[float, float] | None = None
    for _ in range(TRIALS):
        off = cents(sounding(setup.with_value("bore.length_mm", length * 1e3), hz, horn), hz)
        if abs(off) < TOLERANCE_CENTS:
            return length * 1e3
        if off > 0.0:
            sharp = max(sharp, length)
        else:
            flat = min(flat, length)
        slope = -1200.0 / math.log(2.0) / length
        if before and abs(before[1] - off) > 1e-9 and abs(length - before[0]) < 0.05 * length:
            slope = min((off - before[1]) / (length - before[0]), 0.2 * slope)
        before = length, off
        length -= min(max(off / slope, -0.1 * length), 0.1 * length)
        if not sharp < length < flat:
            length = 0.5 * (sharp + min(flat, 1.1 * sharp))
    raise WrongNote(horn, f"{horn.name} does not settle on {{}}", hz_to_midi(hz))


def _acoustic_length(setup: Setup, hz: float) -> float:
    """Find the length [m] whose first impedance peak lies at a frequency."""
    if setup.bore.holes:  # an octave vent, under which the second peak plays
        setup, hz = _unvented(setup), hz / 2.0
    low, high = 0.05, 0.6 * 347.0 / hz
    for _ in range(16):
        middle = 0.5 * (low + high)
        first = first_peak(setup.with_value("bore.length_mm", middle * 1e3), hz)
        low, high = (middle, high) if first > hz else (low, middle)
    return 0.5 * (low + high)


def first_peak(setup: Setup, near_hz: float) -> float:
    """Return the lowest resonance [Hz] of horn, mouthpiece and giving reed."""
    frequency = np.linspace(near_hz / 8.0, near_hz * 4.0, 320)
    found = tube.peaks(frequency, np.reciprocal(bore.admittance(setup, frequency))).frequency
    return float(found[0]) if found.size else math.inf


def sounding(setup: Setup, hz: float, horn: Horn) -> float:
    """Measure the pitch that a setup plays from rest, voice off.

    Parameters
    ----------
    setup : Setup
        What is played.
    hz : float
        The note that it should be, within three semitones. [Hz]
    horn : Horn
        Whose setup it is, for the error.

    Returns
    -------
    float
        [Hz]

    Raises
    ------
    ModelError
        If it does not speak there.
    """
    found = heard_pitch(setup, hz)
    if found is None:
        kilopascals = setup.breath.pressure / 1e3
        where = "" if setup.bore.holes else " in its low register"
        text = f"{{}}{where} at {kilopascals:.2f} kPa; try another breath or reed"
        raise WrongNote(horn, f"{horn.name} does not speak on {text}", hz_to_midi(hz))
    return found


def heard_pitch(setup: Setup, hz: float, soon: bool = False) -> float | None:
    """Measure the pitch [Hz] that a setup plays from rest; None if not within three semitones.

    If it has to speak `soon`, it must have settled within about a second and 60 periods.
    """
    for seconds in (0.5 + 60.0 / hz, 1.0 + 200.0 / hz, 2.0 + 400.0 / hz)[: 1 if soon else None]:
        mouth = blown(setup, seconds + LISTEN_S)
        run = single.run(numbers.numbers_of(setup), mouth)
        pressure, rate = pitch.thin(run.pressure, setup.time.rate)
        tone = pressure[-round(LISTEN_S * rate) :]
        half = tone.size // 2
        if soon and np.ptp(tone[half:]) > SETTLED * np.ptp(tone[:half]):
            return None
        if np.ptp(tone) > 0.05 * setup.breath.pressure:
            early, late = (pitch.refine(part, rate, hz) for part in (tone[:half], tone[half:]))
            if abs(cents(late, early)) < 0.02:
                break
            if soon and abs(cents(late, early)) > STEADY_CENTS:
                return None
    heard = pitch.fundamental(tone, rate) if np.ptp(tone) > 0.05 * setup.breath.pressure else None
    if heard is None or not abs(cents(heard.hz, hz)) < 300.0:
        return None
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
    rising = setup.breath.rise * setup.time.rate
    out = np.full(round(seconds * setup.time.rate), setup.breath.pressure)
    steps = np.arange(min(out.size, math.ceil(rising)))
    out[: steps.size] *= 0.5 - 0.5 * np.cos(math.pi * (steps / rising))
    return out
