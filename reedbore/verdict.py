"""What became of the two notes, measured on the simulation.

In: a take. Out: a verdict. Nothing here sees which note or ratio was asked for: the sung pitch is
measured on the sung waveform, the played pitch on the pressure in the mouthpiece, the ratio on the
two; whether they are locked is decided by `measures.locking`.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import hearing, locking, pitch, roughness, spectrum
from reedbore.model import Setup
from reedbore.notes import A4_HZ, cents, choose_ratio, note_name
from reedbore.render import SOUND_RATE, Take, again, burst, radiated
from reedbore.tuning import first_peak

SIMPLE = 8
"""Ratios p/q are looked for with p and q up to here."""

NEAR_CENTS = 20.0
"""So near a ratio two notes count as an approach to it. [cents]"""

FUSED_HZ = 15.0
"""A beat slower than this is heard as one moving sound. [Hz]"""

JUMP_CENTS = 50.0
"""A played pitch so far from the one without voice has left its register. [cents]"""

STEADY_VOICE_CENTS = 15.0
"""A recorded voice that wanders more than this (standard deviation) cannot prove a lock."""

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What was measured; None where a quantity has no meaning."""

    state: str
    reason: str | None
    sung_hz: float | None
    played_hz: float | None
    jumped: bool
    ratio: tuple[int, int] | None
    resultant_hz: float | None
    resultant_level_db: float | None
    heard: str
    drift_hz: float | None
    lock_range_cents: tuple[float, float] | None
    settle_s: float | None
    roughness: float | None
    voice_off_state: str
    voice_off_hz: float | None
    voice_off_period: int | None

    def document(
        self,
        fingered_hz: float | None = None,
        asked_sung_hz: float | None = None,
        a4: float = A4_HZ,
    ) -> dict[str, Any]:
        """Return the verdict as plain data; what was asked for is only written beside it.

        Parameters
        ----------
        fingered_hz, asked_sung_hz : float, optional
            The notes that were asked for. [Hz]
        a4 : float
            Pitch of A4 for note names. [Hz]

        Returns
        -------
        dict
            Same keys in every output of the program.
        """

        def name(hz: float | None) -> str | None:
            return None if hz is None else note_name(hz, a4)

        sung = self.sung_hz if self.sung_hz is not None else asked_sung_hz
        just = None
        if self.ratio and self.played_hz and sung:
            reference = fingered_hz or self.voice_off_hz or self.played_hz
            just = cents(reference * self.ratio[0] / self.ratio[1], sung)
        off_note = None
        if self.played_hz and fingered_hz:
            off_note = cents(self.played_hz, fingered_hz)
        return {
            "fingered_hz": fingered_hz,
            "fingered_note": name(fingered_hz),
            "sung_hz": sung,
            "sung_note": name(sung),
            "sing_cents": just,
            "played_hz": self.played_hz,
            "played_cents": off_note,
            "jumped": self.jumped,
            "state": self.state,
            "reason": self.reason,
            "ratio": f"{self.ratio[0]}/{self.ratio[1]}" if self.ratio else None,
            "resultant_hz": self.resultant_hz,
            "resultant_note": name(self.resultant_hz),
            "resultant_level_db": self.resultant_level_db,
            "heard": self.heard,
            "drift_hz": self.drift_hz,
            "lock_range_cents": list(self.lock_range_cents) if self.lock_range_cents else None,
            "held": None,
            "settle_s": self.settle_s,
            "roughness": self.roughness,
            "voice_off": {"state": self.voice_off_state, "period": self.voice_off_period},
        }


@dataclass(frozen=True)
class _Control:
    """The same setup with the voice off."""

    state: str
    hz: float | None
    period: int | None
    amplitude: float
    sound: Samples


NO_CONTROL = _Control("failed", None, None, 0.0, np.zeros(0))


def judge(take: Take, *, lock_range: bool = False) -> Verdict:
    """Measure what became of the two notes.

    Parameters
    ----------
    take : Take
        A rendered take.
    lock_range : bool
        Whether to search the edges of a lock; takes some seconds.

    Returns
    -------
    Verdict
        The verdict.
    """
    if burst(take.traces) is not None:
        return _bare("failed", NO_CONTROL, reason="the simulation diverged")
    control = _control(take)
    if not take.sung.any():
        state = "unsung" if control.state == "sounding" else control.state
        return _bare(state, control, played=control.hz)
    sung, wander = _sung_pitch(take)
    if control.hz is None:
        return _bare("silent", control, sung=sung, reason="the reed does not sound by itself")
    played, jumped = _played_pitch(take, control, sung)
    if played is None:
        return _bare("silent", control, sung=sung, reason="the voice stops the reed")
    if sung is None:
        voiceless = "the recorded voice has no pitch"
        return _measured(
            take,
            control,
            state=_spectrum_state(take, played, None),
            reason=voiceless,
            sung=None,
            played=played,
            jumped=jumped,
        )
    return _judged_pair(take, control, sung, wander, played, jumped, lock_range)


def _judged_pair(
    take: Take,
    control: _Control,
    sung: float,
    wander: float,
    played: float,
    jumped: bool,
    lock_range: bool,
) -> Verdict:
    ratio = choose_ratio(sung / played, NEAR_CENTS, SIMPLE)
    beat = None if ratio is None else ratio[0] * played - ratio[1] * sung
    common: dict[str, Any] = {"sung": sung, "played": played, "jumped": jumped}
    unsteady = None
    if wander > STEADY_VOICE_CENTS:
        unsteady = f"the voice wanders by {wander:.0f} cents, too much to prove a lock"
    if ratio is None or beat is None or abs(beat) >= FUSED_HZ:
        state = _spectrum_state(take, played, sung)
        return _measured(take, control, state=state, reason=unsteady, **common)
    if unsteady:
        return _measured(take, control, state="drifting", reason=unsteady, ratio=ratio, **common)
    recorded = take.setup.voice.source == "recording"
    longest = take.seconds if recorded else locking.LAST_WATCH
    observe = _observer(take, sung, ratio)
    found = locking.decide(observe, longest=longest)
    state = "drifting"
    reason: str | None = None
    edges: tuple[float, float] | None = None
    if found.locked and (control.period or 1) > 1:
        reason = f"the horn repeats every {control.period} periods without a voice"
    elif found.locked:
        state, beat = "locked", 0.0
        common["played"] = sung * ratio[1] / ratio[0]
        if lock_range and not (recorded or jumped) and control.hz is not None:
            edges = _edges(observe, sung, ratio, control.hz)
    else:
        beat = found.drift_hz
        reason = None if found.decided else "not decided within the longest run"
    return _measured(
        take, control, state=state, reason=reason, ratio=ratio, drift=beat, edges=edges, **common
    )


def _edges(
    observe: locking.Observe, sung: float, ratio: tuple[int, int], off_hz: float
) -> tuple[float, float]:
    """Find the lock range [cents] against the just note over the pitch without voice."""
    here = cents(sung, off_hz * ratio[0] / ratio[1])
    low, high = locking.lock_range(observe, 0.0)
    return here + low, here + high


def _observer(take: Take, sung: float, ratio: tuple[int, int]) -> locking.Observe:
    """Make what the judge of locking observes: the phase of the beat p·f_played - q·f_sung."""
    p, q = ratio
    recorded = take.setup.voice.source == "recording"

    def observe(detuning: float, seconds: float) -> locking.Course:
        run = again(take.setup, seconds, detuning)
        hz = sung * 2.0 ** (detuning / 1200.0)
        pressure, rate = pitch.thin(run.traces.pressure, take.setup.time.rate)
        band = min(hz / p, 20.0)
        track = pitch.phase_track(pressure, rate, hz * q / p, band)
        ahead = p * track.cycles
        if recorded:
            voice, _ = pitch.thin(run.sung, take.setup.time.rate)
            line = pitch.phase_track(voice, rate, hz, band)
            kept = line.amplitude > 0.2 * line.amplitude.max()
            ahead = ahead - q * line.cycles
            return locking.Course(track.times[kept], ahead[kept], hz * q)
        return locking.Course(track.times, ahead, hz * q)

    return observe


def _control(take: Take) -> _Control:
    """Play the same setup with the voice off."""
    run = again(take.setup, max(take.seconds, 3.0), voice=False)
    if burst(run.traces) is not None:
        return NO_CONTROL
    pressure, rate = pitch.thin(run.traces.pressure, take.setup.time.rate)
    tone = pressure[-round(rate) :]
    found = pitch.fundamental(tone, rate)
    if found is None or np.std(tone) < 0.01 * take.setup.breath.pressure:
        return _Control("silent", None, None, 0.0, np.zeros(0))
    hz = pitch.refine(tone, rate, found.hz)
    amplitude = float(np.abs(pitch.phase_track(tone, rate, hz, 20.0).amplitude[-1]))
    fine = run.traces.pressure[-round(take.setup.time.rate) :]
    base, repeats = _own_period(take.setup, fine, hz)
    sound = radiated(take.setup, run.traces.outgoing) if take.sound.size else np.zeros(0)
    return _Control("sounding", base, repeats, amplitude, sound)


def _own_period(setup: Setup, tone: Samples, hz: float) -> tuple[float, int | None]:
    """Tell a subharmonic of the horn's own from its note, by its lowest resonance."""
    base = hz * max(1, round(first_peak(setup, hz) / hz))
    return base, locking.period(locking.strobe(tone, setup.time.rate, base))


def _sung_pitch(take: Take) -> tuple[float | None, float]:
    """Measure the sung pitch [Hz] and how far it wanders [cents]."""
    rate = take.setup.time.rate
    if take.setup.voice.source == "recording":
        voice, thin = pitch.thin(take.sung, rate)
        track = pitch.pitch_track(voice, thin)
        voiced = track[1][np.isfinite(track[1])]
        if voiced.size < 5:
            return None, math.inf
        middle = float(np.median(voiced))
        near = voiced[np.abs(1200.0 * np.log2(voiced / middle)) < 600.0]
        wander = float(np.std(1200.0 * np.log2(near / middle)))
        if wander < STEADY_VOICE_CENTS:
            middle = pitch.refine(voice, thin, middle)
        return middle, wander
    steady, rate = pitch.thin(take.sung[take.sung.size // 2 :], rate)
    found = pitch.fundamental(steady, rate)
    return (None, 0.0) if found is None else (pitch.refine(steady, rate, found.hz), 0.0)


def _played_pitch(take: Take, control: _Control, sung: float | None) -> tuple[float | None, bool]:
    """Measure the pitch that the reed plays, and whether it left its register."""
    if control.hz is None:
        return None, False
    pressure, rate = pitch.thin(take.traces.pressure, take.setup.time.rate)
    late = pressure[pressure.size // 2 :]
    line = pitch.phase_track(late, rate, control.hz, 20.0)
    hz = control.hz + float(np.polyfit(line.times, line.cycles, 1)[0])
    if np.median(line.amplitude) > 0.25 * control.amplitude:
        return hz, bool(abs(cents(hz, control.hz)) > JUMP_CENTS)
    found = spectrum.lines(late - late.mean(), rate, -30.0)
    own = [
        (amplitude, hz)
        for hz, amplitude in zip(found.hz, found.amplitude, strict=True)
        if sung is None
        or abs(hz / sung - round(hz / sung)) * sung > 2.0
        or amplitude > 0.5 * control.amplitude
    ]
    if not own or max(own)[0] < 0.1 * control.amplitude:
        return None, False
    hz = float(max(own)[1])
    return hz, bool(abs(cents(hz, control.hz)) > JUMP_CENTS)


def _spectrum_state(take: Take, played: float, sung: float | None) -> str:
    """Tell a line spectrum from an irregular one."""
    late, rate = pitch.thin(
        take.traces.pressure[take.traces.pressure.size // 2 :], take.setup.time.rate
    )
    orders = 8 if sung else 0
    share = spectrum.line_share(late, rate, played, sung or played, orders or 1)
    return "rough" if share.share > 0.95 else "irregular"


def _bare(
    state: str,
    control: _Control,
    *,
    sung: float | None = None,
    played: float | None = None,
    reason: str | None = None,
) -> Verdict:
    """Return the verdict where there are no two notes to compare."""
    return Verdict(
        state=state,
        reason=reason,
        sung_hz=sung,
        played_hz=played,
        jumped=False,
        ratio=None,
        resultant_hz=None,
        resultant_level_db=None,
        heard="no",
        drift_hz=None,
        lock_range_cents=None,
        settle_s=None,
        roughness=None,
        voice_off_state=control.state,
        voice_off_hz=control.hz,
        voice_off_period=control.period,
    )


def _measured(
    take: Take,
    control: _Control,
    *,
    state: str,
    sung: float | None,
    played: float,
    jumped: bool,
    reason: str | None = None,
    ratio: tuple[int, int] | None = None,
    drift: float | None = None,
    edges: tuple[float, float] | None = None,
) -> Verdict:
    """Add what the sound outside shows."""
    late = take.sound[take.sound.size // 2 :]
    found = spectrum.lines(late, SOUND_RATE, -70.0)
    off = spectrum.lines(control.sound[control.sound.size // 2 :], SOUND_RATE, -70.0)
    rough = roughness.relative_roughness(found.hz, found.amplitude, off.hz, off.amplitude)
    resultant = played / ratio[1] if ratio else None
    level, heard = _third_note(found, ratio, resultant)
    return Verdict(
        state=state,
        reason=reason,
        sung_hz=sung,
        played_hz=played,
        jumped=jumped,
        ratio=ratio,
        resultant_hz=resultant,
        resultant_level_db=level,
        heard=heard,
        drift_hz=drift,
        lock_range_cents=edges,
        settle_s=_settled(take, played),
        roughness=rough,
        voice_off_state=control.state,
        voice_off_hz=control.hz,
        voice_off_period=control.period,
    )


def _third_note(
    found: spectrum.Lines, ratio: tuple[int, int] | None, resultant: float | None
) -> tuple[float | None, str]:
    """Measure the partials of the resultant that belong to neither note, and hear them."""
    if ratio is None or resultant is None:
        return None, "no"
    p, q = ratio
    if q == 1:
        return None, "same as fingered"
    if p == 1:
        return None, "same as sung"
    order = np.rint(found.hz / resultant)
    near = np.abs(found.hz - order * resultant) < 0.1 * resultant
    own = near & (order > 0) & (order % p != 0) & (order % q != 0)
    whole = float(np.sum(found.amplitude**2))
    energy = float(np.sum(found.amplitude[own] ** 2))
    level = 10.0 * math.log10(energy / whole) if energy > 0.0 and whole > 0.0 else None
    mine = spectrum.Lines(found.hz[own], found.amplitude[own])
    return level, hearing.heard(mine, found, resultant)


def _settled(take: Take, played: float) -> float | None:
    """Return when [s] the played line has come within a tenth of its final strength."""
    pressure, rate = pitch.thin(take.traces.pressure, take.setup.time.rate)
    line = pitch.phase_track(pressure, rate, played, 20.0)
    final = float(np.median(line.amplitude[line.amplitude.size // 2 :]))
    off = np.flatnonzero(np.abs(line.amplitude - final) > 0.1 * final)
    if not off.size:
        return float(line.times[0])
    last = int(off[-1]) + 1
    return float(line.times[last]) if last < line.times.size else None


def summary(verdict: Verdict, a4: float = A4_HZ) -> str:
    """Say the verdict as a player would, in one or two sentences.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    a4 : float
        Pitch of A4 for note names. [Hz]

    Returns
    -------
    str
        Plain words.
    """
    if verdict.state in ("unsung", "silent", "failed"):
        words = {
            "unsung": "Nobody sings: the horn plays alone.",
            "silent": "The horn does not sound",
            "failed": "The simulation failed",
        }[verdict.state]
        return f"{words}: {verdict.reason}." if verdict.reason else words
    third = _third_words(verdict, a4)
    how = {
        "locked": "The reed locks to the voice and the sound stands still.",
        "drifting": "The two notes do not lock",
        "rough": "The two notes only roughen each other.",
        "irregular": "The sound is irregular.",
    }[verdict.state]
    if verdict.state == "drifting":
        moving = verdict.drift_hz is not None and abs(verdict.drift_hz) >= 0.005
        how += (
            f": the sound moves {abs(verdict.drift_hz or 0.0):.2f} times a second."
            if moving
            else "."
        )
    left = " The horn has left its register." if verdict.jumped else ""
    why = f" ({verdict.reason}.)" if verdict.reason else ""
    return f"{third} {how}{left}{why}"


def _third_words(verdict: Verdict, a4: float) -> str:
    hz = verdict.resultant_hz
    if hz is None:
        return "No third note."
    note = f"{note_name(hz, a4)} ({hz:.1f} Hz)"
    return {
        "yes": f"A third note is heard, {note}.",
        "uncertain": f"A third note, {note}, may be heard.",
        "no": f"No third note is heard; it would be {note}.",
        "same as fingered": f"The common note is the fingered one, {note}.",
        "same as sung": f"The common note is the sung one, {note}.",
    }[verdict.heard]
