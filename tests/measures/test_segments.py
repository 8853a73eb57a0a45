"""Notes found in a voice: in made lines whose notes are known, in speech, in noise and in nothing.

The made voices are pulses of `physics.glottis` at pitches chosen here; speech is compared with
librosa.pyin, a general audio library.
"""

import functools
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from audio_library import librosa
from numpy.typing import NDArray

from reedbore import sound
from reedbore.measures import pitch
from reedbore.measures.segments import Sung, held, steady
from reedbore.physics.glottis import pulse_harmonics, waveform_table

RATE = 48000
TABLE = 4096
# Debian package alsa-utils: a woman's spoken words.
SPOKEN = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))


class Note(NamedTuple):
    begin: float
    end: float
    hz: float


LINE = (
    Note(0.3, 1.0, 220.0),
    Note(1.25, 1.85, 261.6),
    Note(2.1, 2.6, 196.0),
    Note(2.9, 4.0, 330.0),
)
LOW_LINE = tuple(Note(n.begin, n.end, n.hz / 2.5) for n in LINE)
HIGH_LINE = tuple(Note(n.begin, n.end, n.hz * 2.4) for n in LINE)
LEGATO = (
    Note(0.3, 0.9, 220.0),
    Note(0.9, 1.4, 233.1),
    Note(1.4, 2.0, 196.0),
    Note(2.0, 2.4, 220.0),
)
SECONDS = 4.5


def dice(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def pulses(cycles: NDArray, highest: float, rate: float, rd: float = 1.0) -> NDArray:
    """The sung pulse over a phase in cycles, without a partial above 0.45 of the rate."""
    harmonics = pulse_harmonics(rd, max(1, int(0.45 * rate / highest)))
    table = waveform_table(harmonics, TABLE)
    return np.interp(cycles % 1.0 * TABLE, np.arange(TABLE + 1), np.append(table, table[0]))


def jittered(hz: NDArray, rate: float, jitter: float) -> NDArray:
    """Phase [cycles] of a pitch whose periods are unequal by so much (standard deviation)."""
    even = np.cumsum(hz) / rate
    lengths = 1.0 + jitter * dice(2).normal(size=int(even[-1]) + 3)
    return np.interp(even, np.concatenate([[0.0], np.cumsum(lengths)]), np.arange(len(lengths) + 1))


def line(
    notes: tuple[Note, ...],
    rate: float = RATE,
    vibrato: tuple[float, float] = (0.0, 5.5),
    jitter: float = 0.0,
    glide: float = 0.02,
    seconds: float = SECONDS,
) -> NDArray:
    """Sing notes; vibrato (cents, Hz); between notes without a rest a glide so long [s]."""
    time = np.arange(round(seconds * rate)) / rate
    knots = [(t, np.log2(n.hz)) for n in notes for t in (n.begin + glide / 2, n.end - glide / 2)]
    pitches = np.interp(time, *np.array(knots).T)
    pitches += vibrato[0] / 1200.0 * np.sin(2.0 * np.pi * vibrato[1] * time)
    gate = sum(
        np.clip((time - n.begin) / 0.01, 0, 1) * np.clip((n.end - time) / 0.01, 0, 1)
        for n in merged(notes)
    )
    cycles = jittered(2.0**pitches, rate, jitter)
    return gate * pulses(cycles, 1.06 * max(n.hz for n in notes), rate)


def merged(notes: tuple[Note, ...]) -> list[Note]:
    """Join notes without a rest between them."""
    joined = [notes[0]]
    for note in notes[1:]:
        if note.begin == joined[-1].end:
            joined[-1] = joined[-1]._replace(end=note.end)
        else:
            joined.append(note)
    return joined


def rms(wave: NDArray) -> float:
    return float(np.sqrt(np.mean(wave[wave != 0.0] ** 2)))


def noise(size: int, level: float, seed: int = 1) -> NDArray:
    return level * dice(seed).normal(size=size)


def cents(found: float | NDArray, expected: float | NDArray) -> NDArray:
    return 1200.0 * np.log2(np.asarray(found) / np.asarray(expected))


def check(found: tuple[Sung, ...], notes: tuple[Note, ...], off: float = 5.0) -> None:
    assert len(found) == len(notes), found
    for mine, note in zip(found, notes, strict=True):
        assert mine.begin == pytest.approx(note.begin, abs=0.06)
        assert mine.end == pytest.approx(note.end, abs=0.06)
        assert abs(cents(mine.hz, note.hz)) < off


# --- made lines: the notes are those put in ------------------------------------------------------


@pytest.mark.parametrize("rate", [44100, 48000, 96000])
@pytest.mark.parametrize("notes", [LINE, LOW_LINE, HIGH_LINE, LEGATO])
def test_plain_line_is_read_note_by_note(notes: tuple[Note, ...], rate: int) -> None:
    found = steady(line(notes, rate), rate)
    check(found, notes, off=0.5)
    assert all(note.wander_cents < 20.0 for note in found)


@pytest.mark.parametrize("vibrato", [(30.0, 5.5), (50.0, 6.0), (80.0, 4.0), (80.0, 8.0)])
@pytest.mark.parametrize("notes", [LINE, LOW_LINE, HIGH_LINE])
def test_vibrato_cuts_no_note_and_is_told(
    notes: tuple[Note, ...], vibrato: tuple[float, float]
) -> None:
    found = steady(line(notes, vibrato=vibrato), RATE)
    check(found, notes)
    for note in found:  # standard deviation of a sine; frames of 40 ms flatten it a little
        assert note.wander_cents == pytest.approx(vibrato[0] / np.sqrt(2.0), rel=0.15)


@pytest.mark.parametrize("vibrato", [(30.0, 5.5), (50.0, 6.0), (80.0, 5.5)])
def test_legato_with_vibrato_is_cut_at_its_steps(vibrato: tuple[float, float]) -> None:
    check(steady(line(LEGATO, vibrato=vibrato), RATE), LEGATO)


def test_widest_slowest_vibrato_still_counts_semitones_right() -> None:
    # ±80 cents at 4 Hz over a semitone: where the step lies is not to be told to 60 ms.
    found = steady(line(LEGATO, vibrato=(80.0, 4.0)), RATE)
    assert len(found) == len(LEGATO)
    assert max(abs(cents(f.hz, n.hz)) for f, n in zip(found, LEGATO, strict=True)) < 15.0


def clipped(wave: NDArray) -> NDArray:
    """Twice as loud as the converter takes."""
    return np.clip(2.0 * wave, -np.max(np.abs(wave)), np.max(np.abs(wave)))


def humming(wave: NDArray) -> NDArray:
    """A mains hum 40 dB below the voice, and a constant as large as the voice."""
    turn = 2.0 * np.pi * 50.0 * np.arange(wave.size) / RATE
    return wave + 0.5 + 0.01 * rms(wave) * np.sqrt(2.0) * np.sin(turn)


HARMS = {
    "noise 20 dB below": lambda wave: wave + noise(wave.size, 0.1 * rms(wave)),
    "clipped by 6 dB": clipped,
    "hum and constant": humming,
    "very quiet": lambda wave: 1e-6 * wave,
    "all at once": lambda wave: 1e-3 * humming(clipped(wave) + noise(wave.size, 0.1 * rms(wave))),
}


@pytest.mark.parametrize("vibrato", [0.0, 50.0])
@pytest.mark.parametrize("harm", HARMS)
@pytest.mark.parametrize("notes", [LINE, LOW_LINE, HIGH_LINE, LEGATO])
def test_no_harm_is_done(notes: tuple[Note, ...], harm: str, vibrato: float) -> None:
    wave = line(notes, vibrato=(vibrato, 5.5), jitter=0.005)
    check(steady(HARMS[harm](wave), RATE), notes)


def test_knocks_do_no_harm() -> None:
    wave = np.concatenate([line(LINE), np.zeros(RATE)])
    wave[-RATE // 2 : -RATE // 2 + 48] = 100.0 * np.max(wave)
    check(steady(wave, RATE), LINE)


@pytest.mark.parametrize("gap", [0.04, 0.08])
@pytest.mark.parametrize("consonant", [0.0, 0.5])
def test_note_sung_again_counts_anew(gap: float, consonant: float) -> None:
    notes = tuple(Note(0.2 + 0.5 * i, 0.7 + 0.5 * i - gap, 220.0) for i in range(4))
    wave = line(notes, seconds=2.5)
    for note in notes:
        burst = slice(round(note.end * RATE), round((note.end + gap) * RATE))
        wave[burst] += noise(burst.stop - burst.start, consonant * rms(wave))
    check(steady(wave, RATE), notes)


def test_note_sung_again_in_a_hall_counts_anew() -> None:
    # Between the notes the hall rings on at the same pitch, 60 dB down after 0.6 s.
    notes = tuple(Note(0.2 + 0.7 * i, 0.65 + 0.7 * i, 220.0) for i in range(3))
    time = np.arange(round(0.6 * RATE)) / RATE
    hall = np.exp(-6.9 * time / 0.6) * dice(4).normal(size=time.size)
    size = 1 << 18
    wave = line(notes, seconds=2.6)
    wet = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(hall, size), size)[: wave.size]
    found = steady(wave + 0.3 * wet * rms(wave) / rms(wet), RATE)
    assert len(found) == 3
    assert [note.begin for note in found] == pytest.approx([n.begin for n in notes], abs=0.06)
    assert max(abs(cents(note.hz, 220.0)) for note in found) < 5.0


@pytest.mark.parametrize("slope", [150.0, 300.0, 600.0, 1200.0])
def test_glide_is_no_note_but_cuts_them(slope: float) -> None:
    time = np.arange(4 * RATE) / RATE
    bend = np.clip((time - 1.0) * slope, 0.0, 2.0 * slope)
    wave = pulses(np.cumsum(200.0 * 2.0 ** (bend / 1200.0)) / RATE, 900.0, RATE)
    first, last = steady(wave, RATE)
    assert (first.hz, last.hz) == pytest.approx((200.0, 200.0 * 2.0 ** (slope / 600.0)), rel=2e-3)
    assert 1.0 < first.end < 1.25
    assert 2.75 < last.begin < 3.0


def test_frames_an_octave_off_cut_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def slipping(*given: float, hop: float) -> tuple[NDArray, NDArray]:
        times, hz = track(*given, hop=hop)
        hz[7::11] *= 0.5
        hz[9::23] *= 2.0
        return times, hz

    track = pitch.pitch_track
    monkeypatch.setattr(pitch, "pitch_track", slipping)
    found = steady(line(LINE, vibrato=(50.0, 5.5)), RATE)
    check(found, LINE)
    assert all(note.wander_cents < 45.0 for note in found)


def test_chromatic_passing_note_of_a_sixth_of_a_second_is_found() -> None:
    notes = (Note(0.2, 0.6, 220.0), Note(0.6, 0.77, 233.08), Note(0.77, 1.2, 246.94))
    check(steady(line(notes, seconds=1.5), RATE), notes)


def test_shorter_sounds_are_no_notes() -> None:
    notes = tuple(Note(0.2 + 0.3 * i, 0.3 + 0.3 * i, 220.0) for i in range(5))
    assert steady(line(notes, seconds=2.0), RATE) == ()


# --- human voices against a general reference library --------------------------------------------


@functools.cache
def compared(path: Path) -> tuple[NDArray, NDArray, NDArray, tuple[Sung, ...]]:
    """Times [s], pitch there by `pitch_track` and by librosa.pyin [Hz, nan: none]; our notes.

    pYIN: M. Mauch and S. Dixon, "pYIN: a fundamental frequency estimator using probabilistic
    threshold distributions," Proc. IEEE ICASSP, 659-663, 2014. Its window is made about as long as
    ours (37 ms), for spoken pitch glides; its steps of 10 cents are its own.
    """
    wave, rate = sound.read(path)
    times, hz = pitch.pitch_track(wave, rate)
    theirs = librosa.pyin(wave, fmin=60.0, fmax=1000.0, sr=rate, frame_length=1800, hop_length=480)[
        0
    ]
    grid = librosa.times_like(theirs, sr=rate, hop_length=480)
    return times, hz, np.interp(times, grid, theirs), steady(wave, rate)


spoken = pytest.mark.skipif(not SPOKEN, reason="Debian's alsa-utils is not installed")


@pytest.mark.ci
@pytest.mark.slow
@pytest.mark.sound
@spoken
@pytest.mark.parametrize("path", SPOKEN, ids=lambda path: path.stem)
def test_spoken_pitch_agrees_with_a_reference_library(path: Path) -> None:
    _, hz, theirs, _ = compared(path)
    common = np.isfinite(hz) & np.isfinite(theirs)
    off = np.abs(cents(hz[common], theirs[common]))
    assert common.sum() > 0.9 * np.isfinite(hz).sum()
    assert common.sum() > 0.75 * np.isfinite(theirs).sum()
    assert np.median(off) < 10.0
    assert np.mean(off < 50.0) >= 0.9


@pytest.mark.ci
@pytest.mark.slow
@pytest.mark.sound
@spoken
def test_spoken_stretches_agree_with_a_reference_library() -> None:
    # Speech glides: few of its whiles stay near one note.
    off = []
    for times, _, theirs, found in map(compared, SPOKEN):
        for note in found:
            inside = (times > note.begin) & (times < note.end) & np.isfinite(theirs)
            assert inside.sum() > 10
            off.append(abs(cents(note.hz, np.median(theirs[inside]))))
    assert len(off) >= 5
    assert np.median(off) < 10.0
    assert max(off) < 25.0


@pytest.mark.ci
@pytest.mark.slow
@pytest.mark.sound
@spoken
@pytest.mark.parametrize("path", SPOKEN[:2], ids=lambda path: path.stem)
def test_drawled_stretches_agree_with_a_reference_library(path: Path) -> None:
    # Slowed four times by librosa's phase vocoder, a human voice stays as long as a singer's.
    wave, rate = sound.read(path)
    wave = librosa.effects.time_stretch(wave, rate=0.25)
    theirs = librosa.pyin(wave, fmin=60.0, fmax=1000.0, sr=rate, frame_length=1800, hop_length=480)[
        0
    ]
    times = librosa.times_like(theirs, sr=rate, hop_length=480)
    found = steady(wave, rate)
    assert len(found) >= 3
    for note in found:
        inside = (times > note.begin) & (times < note.end)
        assert np.mean(np.isfinite(theirs[inside])) > 0.9
        assert abs(cents(note.hz, np.nanmedian(theirs[inside]))) < 20.0


@pytest.mark.sound
@spoken
def test_recorded_noise_sings_nothing() -> None:
    assert steady(*sound.read(SPOKEN[0].with_name("Noise.wav"))) == ()


# --- nothing sung --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(10))
def test_noise_alone_sings_nothing(seed: int) -> None:
    white = noise(2 * RATE, 0.1, seed)
    assert steady(white, RATE) == ()
    brown = np.cumsum(white)
    assert steady(brown - brown.mean(), RATE) == ()


@pytest.mark.parametrize(
    "wave",
    [
        np.zeros(0),
        np.zeros(1),
        np.zeros(100),
        np.zeros(RATE),
        np.full(RATE, 0.1),
        np.full(RATE, 1e-300),
        np.linspace(0.0, 1.0, RATE),
        np.eye(1, RATE, RATE // 2)[0],
        np.zeros(RATE, dtype=np.int16),
    ],
    ids=["empty", "one", "short", "zeros", "constant", "tiny", "ramp", "click", "integers"],
)
@pytest.mark.parametrize("rate", [8000, 44100, 48000, 192000])
def test_nothing_sung_is_no_stretch(wave: NDArray, rate: int) -> None:
    assert steady(wave, rate) == ()


@pytest.mark.parametrize(("missing", "notes"), [(2, 1), (3, 2)])
def test_three_frames_without_pitch_part_two_notes(missing: int, notes: int) -> None:
    # A hundredth of a second each; the voice itself goes on as loudly.
    hz = np.full(100, 220.0)
    hz[50 : 50 + missing] = np.nan
    times = 0.05 + 0.01 * np.arange(hz.size)
    voice = np.sin(2.0 * np.pi * 220.0 * np.arange(1.1 * RATE) / RATE)
    assert len(held(voice, RATE, times, hz)) == notes


@pytest.mark.parametrize("first", [0.0, 0.3])
def test_a_note_begins_and_ends_half_a_frame_from_its_first_and_last(first: float) -> None:
    # Two notes three octaves apart, a second each; the second swings too far to be made exact.
    times = first + 0.01 * np.arange(200)
    swing = np.where(times < times[100], 0.0, 30.0 * np.sin(2.0 * np.pi * 5.5 * times))
    hz = np.where(times < times[100], 100.0, 800.0) * 2.0 ** (swing / 1200.0)
    voice = np.sin(2.0 * np.pi * 100.2 * np.arange((first + 2.1) * RATE) / RATE)
    low, high = held(voice, RATE, times, hz)
    assert low.begin == pytest.approx(max(first - 0.005, 0.0), abs=1e-9)
    ends = low.end, high.begin, high.end
    assert ends == pytest.approx((first + 0.995, first + 0.995, first + 1.995), abs=1e-9)
    assert cents(low.hz, 100.2) == pytest.approx(0.0, abs=0.01)  # as the sound has it
    assert cents(high.hz, 800.0) == pytest.approx(0.0, abs=0.1)
