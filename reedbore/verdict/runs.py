"""What can be measured on single runs: pitches, the run without voice, the third note.

In: takes. Out: numbers for `verdict`, which decides.
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import locking, pitch, spectrum
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents
from reedbore.simulate.outside import radiated
from reedbore.simulate.take import Take, again, burst
from reedbore.simulate.tuning import first_peak
from reedbore.verdict.result import NO_CONTROL, STEADY_VOICE_CENTS, Control
from reedbore.verdict.state import HornState, State

JUMP_CENTS = 50.0
"""A played pitch so far from the one without voice has left its register. [cents]"""

LEAST_SECONDS = 3.0
"""A shorter take ends before a low note has settled; its verdict is that of one so long. [s]"""

LINE_BAND = 20.0
"""Lines farther from the played one than this are kept out of its pitch and strength. [Hz]"""

MOST_UNCOUNTED = 2.0
"""Swings that folds make more or less often than their line turns: more than so many, and the line
is not theirs. [cycles]"""

LEAST_SHARE = 0.95
"""A sound of which no more lies in lines is irregular."""

LINE_ORDERS = 8
"""Lines of a sound are looked for at sums of so many times either pitch."""

Samples = NDArray[np.float64]


def control_run(take: Take) -> Control:
    """Play the setup of a take with the voice off."""
    return alone(take.setup, max(take.seconds, LEAST_SECONDS), outside=bool(take.sound.size))


def alone(setup: Setup, seconds: float = LEAST_SECONDS, *, outside: bool = True) -> Control:
    """Play a setup with the voice off for some seconds, with or without its sound outside.

    It is held still, but for that sound: with it a sound is compared whose player moves.
    """
    run = again(setup, seconds, voice=False)
    if burst(run.traces) is not None:
        return NO_CONTROL
    found = control_of(setup, run.traces.pressure[-round(setup.time.rate) :])
    if found.hz is None or not outside:
        return found
    if setup.breath.moves:
        run = again(setup, seconds, voice=False, still=False)
    return replace(found, sound=radiated(setup, run.traces.outgoing))


def control_of(setup: Setup, fine: Samples) -> Control:
    """Measure the horn alone on its last second in the mouthpiece [Pa], a value a step."""
    tone, rate = pitch.thin(fine, setup.time.rate)
    found = pitch.fundamental(tone, rate)
    if found is None or np.std(tone) < 0.01 * setup.breath.pressure:
        return Control(HornState.SILENT, None, None, 0.0, np.zeros(0))
    hz = pitch.refine(tone, rate, found.hz)
    amplitude = float(np.abs(pitch.phase_track(tone, rate, hz, 20.0).amplitude[-1]))
    base, repeats = _own_period(setup, fine, hz)
    return Control(HornState.SOUNDING, base, repeats, amplitude, np.zeros(0))


def _own_period(setup: Setup, tone: Samples, hz: float) -> tuple[float, int | None]:
    """Tell a subharmonic of the horn's own from its note, by its lowest resonance."""
    base = hz * max(1, round(_lowest_resonance(setup, hz) / hz))
    return base, locking.period(locking.strobe(tone, setup.time.rate, base))


def _lowest_resonance(setup: Setup, hz: float) -> float:
    """Find the lowest resonance [Hz] of a horn that plays `hz`, which may lie far below it."""
    found = (first_peak(setup, times * hz) for times in (1.0, 16.0, 256.0))
    return next((peak for peak in found if math.isfinite(peak)), hz)


def sung_pitch(take: Take) -> tuple[float | None, float]:
    """Measure the sung pitch [Hz] and how far it wanders [cents].

    It is the rate at which the sung waveform repeats: between false folds that swing once in two
    periods of the true ones, half of that at which these swing.
    """
    recorded = take.setup.voice.source == "recording"
    late = take.sung if recorded else take.sung[take.sung.size // 2 :]
    return voice_pitch(late, take.setup.time.rate, take.setup.voice)


def voice_pitch(sung: Samples, whole: float, voice: Voice) -> tuple[float | None, float]:
    """Measure pitch [Hz] and wandering [cents] of a stretch of a sung waveform at a rate [Hz].

    Of the voice's settings only its kind is looked at: recorded, unsteady, or a clock.
    """
    late, rate = pitch.thin(sung, whole)
    if voice.source == "recording":
        return _wandering_pitch(late, rate, 60.0, 1000.0)
    if voice.folded:
        # Held by a horn, folds may repeat only after some of their swings; what moves them about
        # is the horn, which tells nothing against a lock.
        hz = pitch.crossing_rate(late, rate)
        return (pitch.refine(late, rate, hz), 0.0) if hz > 0.0 else (None, 0.0)
    if voice.unsteady:
        # A long look finds a low pitch, a shorter one a pitch that moves.
        for low in (20.0, 60.0):
            near, _ = _wandering_pitch(late, rate, low, 2000.0)
            if near is not None:
                return _wandering_pitch(late, rate, 0.3 * near, 1.8 * near)
        return None, math.inf
    # A bright high voice has too few samples to the period once it is thinned.
    found = pitch.fundamental(sung[-round(whole) :], whole)
    return (None, 0.0) if found is None else (pitch.refine(late, rate, found.hz), 0.0)


def _wandering_pitch(
    voice: Samples, rate: float, low: float, high: float
) -> tuple[float | None, float]:
    """Measure the pitch between two bounds [Hz] of a voice that moves, and how far it does."""
    track = pitch.pitch_track(voice, rate, low, high)
    voiced = track[1][np.isfinite(track[1])]
    if voiced.size < 5:
        return None, math.inf
    middle = float(np.median(voiced))
    near = voiced[np.abs(1200.0 * np.log2(voiced / middle)) < 600.0]
    wander = float(np.std(1200.0 * np.log2(near / middle)))
    if wander < STEADY_VOICE_CENTS:
        middle = pitch.refine(voice, rate, middle)
    return middle, wander


def played_pitch(take: Take, control: Control, sung: float | None) -> tuple[float | None, bool]:
    """Measure the pitch that the reed plays, and whether it left its register."""
    if control.hz is None:
        return None, False
    pressure, rate = pitch.thin(take.traces.pressure, take.setup.time.rate)
    return late_pitch(pressure[pressure.size // 2 :], rate, control, sung)


def late_pitch(
    late: Samples, rate: float, control: Control, sung: float | None, band: float = LINE_BAND
) -> tuple[float | None, bool]:
    """Measure the pitch played in the late part of a pressure, and whether it left its register.

    Parameters
    ----------
    late : ndarray, shape (n,)
        In the mouthpiece; longer than 4/band. [Pa]
    rate : float
        Samples per second. [Hz]
    control : Control
        The horn alone.
    sung : float or None
        The sung pitch. [Hz]
    band : float
        How far from the line others are suppressed. [Hz]

    Returns
    -------
    hz : float or None
        None where the reed has no oscillation of its own. [Hz]
    jumped : bool
    """
    if control.hz is None:
        return None, False
    line = pitch.phase_track(late, rate, control.hz, band)
    hz = control.hz + float(np.polyfit(line.times, line.cycles, 1)[0])
    if np.median(line.amplitude) > 0.25 * control.amplitude:
        return hz, bool(abs(cents(hz, control.hz)) > JUMP_CENTS)
    other = other_line(late, rate, control, sung)
    return other, bool(other and abs(cents(other, control.hz)) > JUMP_CENTS)


def other_line(late: Samples, rate: float, control: Control, sung: float | None) -> float | None:
    """Find the note [Hz] that has taken the place of the horn's own, if any."""
    voice = np.array([math.nan if sung is None else sung])
    hz = float(other_lines(late[np.newaxis], rate, np.array([control.amplitude]), voice)[0])
    return None if math.isnan(hz) else hz


def other_lines(late: Samples, rate: float, alone: Samples, sung: Samples) -> Samples:
    """Find the same for many pressures.

    Parameters
    ----------
    late : ndarray, shape (runs, n)
        In the mouthpiece. [Pa]
    rate : float
        Samples per second. [Hz]
    alone : ndarray, shape (runs,)
        Amplitudes of the lines of the horns alone. [Pa]
    sung : ndarray, shape (runs,)
        What is sung; nan for nothing. [Hz]

    Returns
    -------
    ndarray, shape (runs,)
        nan for none. [Hz]
    """
    found = np.full(len(late), math.nan)
    whose, (hz, amplitude) = spectrum.lines_of(late, rate, -30.0)
    times = hz / sung[whose]
    of_voice = np.abs(times - np.rint(times)) * sung[whose] <= 2.0
    own = ~of_voice | (amplitude > 0.5 * alone[whose])
    own &= amplitude >= 0.1 * alone[whose]
    order = np.lexsort((hz[own], amplitude[own]))
    # Of each run the strongest comes last, and stays.
    found[whose[own][order]] = hz[own][order]
    return found


def beat(
    pressure: Samples, sung: Samples, rate: float, hz: float, ratio: tuple[int, int], band: float
) -> locking.Course:
    """Follow the phase of the beat p·f_played - q·f_sung.

    Parameters
    ----------
    pressure, sung : ndarray, shape (n,)
        In the mouthpiece, and the sung waveform, from the same moment on. [Pa], [1]
    rate : float
        Samples per second. [Hz]
    hz : float
        The sung pitch. [Hz]
    ratio : (p, q)
        At which the two are compared.
    band : float
        Lines farther than this from either are suppressed. [Hz]

    Returns
    -------
    Course
        Where the voice is heard; its phase, but for whole cycles, depends on the two alone.
    """
    p, q = ratio
    line = pitch.phase_track(pressure, rate, hz * q / p, band)
    voice = pitch.phase_track(sung, rate, hz, band)
    kept = voice.amplitude > 0.2 * voice.amplitude.max()
    ahead = p * line.cycles - q * voice.cycles
    return locking.Course(line.times[kept], ahead[kept], hz * q)


def singer_beat(
    times: Samples,
    played: Samples,
    sung: Samples,
    swings: Samples,
    hz: Samples,
    p: NDArray[np.int64],
    q: NDArray[np.int64],
) -> locking.Courses:
    """Follow the phase of the beats p·f_played - q·f_sung of folds that feel the horn.

    Parameters
    ----------
    times : ndarray, shape (n,)
        [s]
    played, sung : ndarray, shape (singers, n)
        How far the lines of horn and folds run ahead of clocks at hz·q/p and hz. [cycles]
    swings : ndarray, shape (singers, n)
        How often the folds have swung.
    hz : ndarray, shape (singers,)
        Near what is sung. [Hz]
    p, q : ndarray, shape (singers,)
        Ratios at which the two are compared.

    Returns
    -------
    Courses
        Of the line, or of the swings.

    Notes
    -----
    The horn shakes the folds, wherever they sing. Far beside a lock that line stands alone near the
    clock and keeps step with the horn by itself; but the folds do not swing as often as it turns.
    """
    counted = swings - hz[:, np.newaxis] * times
    started = times >= 0.75 * times[0] + 0.25 * times[-1]
    theirs = np.ptp((counted - sung)[:, started], axis=1) <= MOST_UNCOUNTED
    turns = np.where(theirs[:, np.newaxis], sung, counted)
    return locking.Courses(times, p[:, np.newaxis] * played - q[:, np.newaxis] * turns, hz * q)


def spectrum_state(take: Take, played: float, sung: float | None) -> State:
    """Tell a line spectrum from an irregular one."""
    late, rate = pitch.thin(
        take.traces.pressure[take.traces.pressure.size // 2 :], take.setup.time.rate
    )
    return line_state(late, rate, played, sung)


def line_state(late: Samples, rate: float, played: float, sung: float | None) -> State:
    """Tell a line spectrum from an irregular one, of a pressure at a rate."""
    pair = np.array([played]), np.array([math.nan if sung is None else sung])
    return State.of(int(line_states(late[np.newaxis], rate, *pair)[0]))


def line_states(late: Samples, rate: float, played: Samples, sung: Samples) -> NDArray[np.int64]:
    """Tell the same of many pressures, shape (runs, n): codes. Where nothing is sung it is nan."""
    other = np.where(np.isnan(sung), played, sung)
    share, _ = spectrum.line_shares(late, rate, played, other, LINE_ORDERS)
    return np.where(share > LEAST_SHARE, State.ROUGH.code, State.IRREGULAR.code)


def settled(take: Take, played: float) -> float | None:
    """Return when [s] the played line has come within a tenth of its final strength."""
    return settled_in(*pitch.thin(take.traces.pressure, take.setup.time.rate), played)


def settled_in(
    pressure: Samples, rate: float, played: float, band: float = LINE_BAND
) -> float | None:
    """Return the same [s] for a pressure from its beginning, at a rate [Hz]."""
    line = pitch.phase_track(pressure, rate, played, band)
    final = float(np.median(line.amplitude[line.amplitude.size // 2 :]))
    off = np.flatnonzero(np.abs(line.amplitude - final) > 0.1 * final)
    if not off.size:
        return float(line.times[0])
    last = int(off[-1]) + 1
    return float(line.times[last]) if last < line.times.size else None
