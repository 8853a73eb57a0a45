"""Sound in and out: files good and bad, sample rates, levels, and a machine without sound."""

import os
import struct
import subprocess
import sys
from collections.abc import Callable
from ctypes.util import find_library
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

from reedbore import sound
from reedbore.errors import AudioError, ReedboreError

SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils
RATE = 48000
TIME = np.arange(RATE) / RATE


def tone(hz: float, rate: float = RATE, seconds: float = 1.0) -> NDArray[np.float64]:
    wave = np.sin(2.0 * np.pi * hz * np.arange(round(seconds * rate)) / rate)
    return sound.fade(wave, rate, 0.05)


def level_db(samples: NDArray[np.float64]) -> float:
    return float(20.0 * np.log10(max(np.sqrt(2.0 * np.mean(samples**2)), 1e-15)))


# --- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["hum.wav", "hum.flac", "deep/er/HUM.WAV"])
def test_written_sound_is_read_back_to_24_bits(tmp_path: Path, name: str) -> None:
    wave = 0.5 * tone(220.0)
    sound.write(tmp_path / name, wave, RATE)
    samples, rate = sound.read(tmp_path / name)
    assert rate == RATE
    assert np.max(np.abs(samples - wave)) <= 2.0**-23
    assert soundfile.info(tmp_path / name).subtype == "PCM_24"
    assert [file.name for file in (tmp_path / name).parent.iterdir()] == [Path(name).name]


def test_two_channels_are_averaged(tmp_path: Path) -> None:
    stereo = np.stack([0.5 * tone(220.0), 0.25 * tone(220.0)], axis=1)
    sound.write(tmp_path / "two.wav", stereo, RATE)
    samples = sound.read(tmp_path / "two.wav")[0]
    assert np.max(np.abs(samples - 0.375 * tone(220.0))) < 1e-6


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN.exists(), reason="Debian's alsa-utils is not installed")
def test_spoken_recording_becomes_a_sung_waveform() -> None:
    samples, rate = sound.read(SPOKEN)
    voice = sound.voice_waveform(samples, rate)
    assert rate == RATE
    assert len(voice) == len(samples)
    assert np.max(np.abs(voice)) == pytest.approx(1.0, abs=1e-12)
    assert voice.mean() == pytest.approx(0.0, abs=1e-12)


def empty(path: Path) -> None:
    soundfile.write(path, np.zeros(0), RATE)


def no_bytes(path: Path) -> None:
    path.write_bytes(b"")


def a_letter(path: Path) -> None:
    path.write_text("Dear miller, the race is running again.")


def a_click(path: Path) -> None:
    soundfile.write(path, np.zeros(100), RATE)


def not_numbers(path: Path) -> None:
    soundfile.write(path, np.full(RATE, np.nan), RATE, subtype="FLOAT")


def slow(path: Path) -> None:
    soundfile.write(path, np.zeros(1000), 100)


def far_too_loud(path: Path) -> None:
    soundfile.write(path, np.full((RATE, 2), 1e308), RATE, subtype="DOUBLE")


def pipe(path: Path) -> None:
    os.mkfifo(path)


def very_long_but_empty(path: Path) -> None:
    # A header that promises two gigabytes, and a hole in the file where they should be.
    soundfile.write(path, np.zeros(48), 4000, subtype="PCM_16")
    head = bytearray(path.read_bytes()[:44])
    head[4:8], head[40:44] = struct.pack("<L", 2**31 - 8), struct.pack("<L", 2**31 - 44)
    with path.open("wb") as file:
        file.write(head)
        file.truncate(2**31)


def folder(path: Path) -> None:
    path.mkdir()


def nothing(path: Path) -> None:
    assert not path.exists()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (nothing, "is not there"),
        (folder, "is no plain file; a sound file was expected"),
        (empty, "is empty: it holds no samples"),
        (no_bytes, "cannot be read as a sound file"),
        (a_letter, "cannot be read as a sound file"),
        (a_click, "lasts 0.00208 s; allowed 0.05 to 3600 s"),
        (not_numbers, "holds samples that are not numbers"),
        (far_too_loud, "holds a sample of 1e+308; allowed up to 1e+09, full scale being 1"),
        (pipe, "is no plain file; a sound file was expected"),
        (very_long_but_empty, "lasts 2.68e+05 s; allowed 0.05 to 3600 s"),
        (slow, "has 100 samples per second; allowed 4000 to 768000"),
    ],
)
def test_unfit_recording_is_refused_in_one_sentence(
    tmp_path: Path, make: Callable[[Path], None], says: str
) -> None:
    path = tmp_path / "voice.wav"
    make(path)
    with pytest.raises(AudioError) as caught:
        sound.read(path)
    assert says in str(caught.value)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg", "mp3", "aiff"])
def test_usual_kinds_of_sound_are_read(tmp_path: Path, kind: str) -> None:
    tone = 0.5 * np.sin(0.05 * np.arange(RATE))
    soundfile.write(tmp_path / f"voice.{kind}", np.column_stack([tone, tone]), RATE)
    samples, rate = sound.read(tmp_path / f"voice.{kind}")
    assert (rate, samples.shape) == (RATE, (RATE,))
    # Lossy kinds shift the wave by less than a thousandth of its level in the mean.
    assert np.std(samples) == pytest.approx(np.std(tone), rel=0.02)


def test_voice_may_be_as_long_as_the_longest_take(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "voice.wav", np.zeros(4000 * 2), 4000)
    assert sound.read(tmp_path / "voice.wav", 2.0)[0].size == 8000
    with pytest.raises(AudioError, match=r"lasts 2 s; allowed 0.05 to 1.99 s"):
        sound.read(tmp_path / "voice.wav", 1.99)


def test_largest_sample_that_is_read_is_a_thousand_million(tmp_path: Path) -> None:
    path = tmp_path / "voice.wav"
    soundfile.write(path, np.full(RATE, sound.LOUDEST), RATE, subtype="DOUBLE")
    assert sound.read(path)[0].max() == sound.LOUDEST
    soundfile.write(path, np.full(RATE, 1.001 * sound.LOUDEST), RATE, subtype="DOUBLE")
    with pytest.raises(AudioError, match="holds a sample of"):
        sound.read(path)


def test_name_of_other_letters_is_read(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/h\xfcm.flac"))
    with path.open("wb") as file:
        soundfile.write(file, np.zeros(RATE), RATE, format="FLAC")
    assert sound.read(path)[0].size == RATE


@pytest.mark.parametrize(
    ("name", "samples", "says"),
    [
        ("take.mp3", np.zeros(9), "ends in '.mp3'; sound is written as .wav or .flac"),
        ("take", np.zeros(9), "ends in ''; sound is written as .wav or .flac"),
        ("take.wav", np.array([0.0, np.nan]), "not numbers"),
        ("take.wav", np.array([0.0, np.inf]), "not numbers"),
        ("take.wav", np.array([0.0, -1.5]), "peaks at 1.5 of full scale; allowed -1 to 1"),
    ],
)
def test_unfit_sound_is_not_written(
    tmp_path: Path, name: str, samples: NDArray[np.float64], says: str
) -> None:
    with pytest.raises(AudioError, match="sound") as caught:
        sound.write(tmp_path / name, samples, RATE)
    assert says in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_folder_that_cannot_be_written_to_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(ReedboreError, match=r"file/take\.wav cannot be written \(.+\)") as caught:
        sound.write(tmp_path / "file" / "take.wav", tone(220.0), RATE)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("step", ["write_bytes", "replace"])
def test_failed_writing_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    sound.write(tmp_path / "take.wav", 0.5 * tone(220.0), RATE)
    before = (tmp_path / "take.wav").read_bytes()

    def full_disk(self: Path, _: object) -> None:
        with self.open("ab") as file:
            file.write(b"half a fi")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, step, full_disk)
    with pytest.raises(ReedboreError, match=r"cannot be written \(no space left on device\)"):
        sound.write(tmp_path / "take.wav", tone(330.0), RATE)
    assert (tmp_path / "take.wav").read_bytes() == before
    assert len(list(tmp_path.iterdir())) == 1


# --- sample rates --------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_in", [8000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize("rate_out", [44100, 48000, 96000, 192000])
@pytest.mark.parametrize("hz", [20.0, 440.0, 3600.0])
def test_tone_survives_a_change_of_rate(rate_in: int, rate_out: int, hz: float) -> None:
    changed = sound.resample(tone(hz, rate_in), rate_in, rate_out)
    expected = np.sin(2.0 * np.pi * hz * np.arange(rate_out) / rate_out)
    middle = slice(rate_out // 4, -rate_out // 4)
    assert len(changed) == rate_out
    assert level_db((changed - expected)[middle]) < -120.0


@pytest.mark.parametrize("hz", [24500.0, 26000.0, 31000.0, 47000.0])
def test_halving_the_rate_folds_nothing_above_minus_100_db(hz: float) -> None:
    assert level_db(sound.resample(tone(hz, 96000), 96000, 48000)) < -100.0


@pytest.mark.parametrize(("rate_in", "rate_out"), [(44100, 48000), (96000, 48000)])
def test_resampling_agrees_with_a_reference_library(rate_in: int, rate_out: int) -> None:
    # soxr, a general resampling library, at its highest quality; its own pass band ends sooner
    # than ours, so the tones stay below 12 kHz.
    rng = np.random.default_rng(2)
    wave = sum(
        sound.fade(np.sin(2.0 * np.pi * (hz * np.arange(rate_in) / rate_in)), rate_in, 0.1)
        for hz in rng.uniform(50.0, 12000.0, 20)
    )
    ours = sound.resample(np.asarray(wave), rate_in, rate_out)
    assert level_db(ours - soxr.resample(wave, rate_in, rate_out, "VHQ")[: len(ours)]) < -100.0


def test_end_of_a_sound_does_not_ring_into_its_beginning() -> None:
    wave = np.zeros(RATE)
    wave[-2000:] = 1.0
    assert np.max(np.abs(sound.resample(wave, RATE, 2 * RATE)[:RATE])) < 1e-4


@pytest.mark.parametrize("length", [1, 2, 3, 777])
def test_short_sounds_can_be_resampled(length: int) -> None:
    assert len(sound.resample(np.ones(length), 44100, 48000)) == -(-length * 160 // 147)


# --- levels --------------------------------------------------------------------------------------


def test_true_peak_lies_between_the_samples() -> None:
    # Idea of Rec. ITU-R BS.1770 Annex 2: a sine at a quarter of the rate, 45° off the samples.
    wave = sound.fade(np.sin(0.5 * np.pi * np.arange(RATE) + 0.25 * np.pi), RATE, 0.05)
    assert np.max(np.abs(wave)) == pytest.approx(0.7071, abs=1e-3)
    assert sound.true_peak(wave) == pytest.approx(1.0, abs=0.05)


def test_true_peak_of_silence_is_nothing() -> None:
    assert sound.true_peak(np.zeros(100)) == 0.0


def test_quiet_take_is_not_raised() -> None:
    samples, gain_db = sound.to_full_scale(0.01 * tone(220.0), 1.0)
    assert gain_db == 0.0
    assert np.array_equal(samples, 0.01 * tone(220.0))


def test_level_follows_the_fixed_full_scale() -> None:
    half = sound.to_full_scale(tone(220.0), 4.0).samples
    assert np.allclose(half, 0.25 * tone(220.0), rtol=1e-12)


@pytest.mark.parametrize("loudness", [1.0, 3.0, 1e6])
def test_loud_take_is_lowered_to_the_ceiling_and_says_so(loudness: float) -> None:
    wave = loudness * sound.fade(np.sin(0.5 * np.pi * np.arange(RATE) + 0.25 * np.pi), RATE, 0.05)
    samples, gain_db = sound.to_full_scale(wave, 1.0)
    assert 20.0 * np.log10(sound.true_peak(samples)) == pytest.approx(-1.0, abs=1e-6)
    assert gain_db == pytest.approx(-1.0 - 20.0 * np.log10(sound.true_peak(wave)), abs=1e-6)


def test_resting_value_and_its_drift_go_and_the_tone_stays() -> None:
    wave = 0.1 * tone(100.0)
    clean = sound.remove_dc(wave + 5.0 + 0.5 * TIME, RATE)
    assert abs(20.0 * np.log10(abs(clean.mean()) + 1e-15)) > 60.0
    middle = slice(4800, -4800)
    assert level_db((clean - wave)[middle]) < level_db(wave[middle]) - 60.0


@pytest.mark.parametrize(("hz", "gain"), [(20.0, 0.2212), (40.0, 0.6321), (80.0, 0.9817)])
def test_rumble_is_taken_out_by_the_stated_gain(hz: float, gain: float) -> None:
    # 1 - exp(-(f/f0)²), the response of a sound minus its average under a Gaussian.
    middle = slice(12000, -12000)
    passed = sound.high_pass(tone(hz), RATE, 40.0)[middle]
    assert np.max(np.abs(passed)) == pytest.approx(gain, rel=2e-3)


@pytest.mark.parametrize("seconds", [0.0, 0.005, 0.1, 9.0])
def test_sound_is_faded_for_five_milliseconds_or_more(seconds: float) -> None:
    faded = sound.fade(np.ones(RATE), RATE, seconds)
    assert faded[0] == faded[-1] == 0.0
    assert np.max(np.abs(np.diff(faded))) <= 0.5 * np.pi / (0.005 * RATE) + 1e-9
    assert faded[RATE // 2 - 1] == pytest.approx(1.0, abs=1e-6)


def test_broken_sound_is_muted_from_before_its_break() -> None:
    wave = np.ones(RATE)
    wave[RATE // 2] = np.nan
    wave[-1] = np.inf
    muted, seconds = sound.mute_broken(wave, RATE)
    assert seconds == 0.5
    assert np.all(np.isfinite(muted))
    assert not muted[RATE // 2 :].any()
    assert muted[RATE // 2 - 1] < 1e-3
    assert muted[RATE // 2 - 240] == 1.0


def test_sound_without_a_break_comes_back_as_it_is() -> None:
    wave = tone(220.0)
    assert sound.mute_broken(wave, RATE) == (wave, None)


@pytest.mark.parametrize("scale", [1e-3, 1.0, 30.0])
def test_recorded_voice_is_levelled_and_freed_of_rumble(scale: float) -> None:
    wave = scale * (tone(150.0) + 0.5 * tone(10.0) + 0.3)
    voice = sound.voice_waveform(wave, RATE)
    assert np.max(np.abs(voice)) == pytest.approx(1.0, abs=1e-12)
    middle = slice(12000, -12000)
    assert level_db((voice / np.max(voice[middle]) - tone(150.0))[middle]) < -25.0


@pytest.mark.parametrize("value", [0.0, 0.5])
def test_silent_voice_is_refused(value: float) -> None:
    with pytest.raises(AudioError, match="the recorded voice is silent"):
        sound.voice_waveform(np.full(RATE, value), RATE)


# --- playing -------------------------------------------------------------------------------------

PLAY = """
import numpy as np
from reedbore import sound as audio
from reedbore.errors import AudioError, ReedboreError
try:
    audio.play(0.5 * np.sin(0.05 * np.arange({count})), 48000)
except AudioError as error:
    print(error)
"""


def played(folder: Path, environment: dict[str, str], count: int = 48000) -> str:
    return subprocess.run(
        [sys.executable, "-c", PLAY.format(count=count)],
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), *sys.path]), **environment},
        check=True,
    ).stdout.strip()


@pytest.mark.parametrize(
    ("module", "says"),
    [
        (
            "raise OSError('PortAudio library not found')",
            "PortAudio is missing, so nothing can be played; "
            "on Debian or Ubuntu: apt install libportaudio2",
        ),
        (
            "def query_devices(): return []",
            "no sound output device was found, so nothing can be played",
        ),
        (
            "def query_devices(): return [{'max_output_channels': 0}]",
            "no sound output device was found, so nothing can be played",
        ),
        (
            "class PortAudioError(Exception): pass\n"
            "def query_devices(): return [{'max_output_channels': 2}]\n"
            "def stop(): pass\n"
            "def play(*_, blocking): raise PortAudioError('Error opening: Device unavailable')",
            "the sound device refused the sound (device unavailable)",
        ),
    ],
)
def test_machine_without_sound_is_told_so_in_one_sentence(
    tmp_path: Path, module: str, says: str
) -> None:
    (tmp_path / "sounddevice.py").write_text(module)
    assert played(tmp_path, {}) == says


def test_playing_starts_from_silence_and_never_louder(tmp_path: Path) -> None:
    (tmp_path / "sounddevice.py").write_text(
        "import numpy as np\n"
        "class PortAudioError(Exception): pass\n"
        "def query_devices(): return [{'max_output_channels': 2}]\n"
        "def stop(): pass\n"
        "def play(samples, rate, blocking): np.save('heard.npy', samples)\n"
    )
    assert played(tmp_path, {}) == ""
    heard = np.load(tmp_path / "heard.npy")
    assert heard[0] == heard[-1] == 0.0
    assert np.max(np.abs(heard[:4800])) < 0.06
    assert np.max(np.abs(heard)) == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("bad", [np.array([np.nan]), np.array([2.0])])
def test_sound_that_must_not_be_heard_is_not_played(bad: NDArray[np.float64]) -> None:
    with pytest.raises(AudioError, match="so it was not played"):
        sound.play(bad, RATE)


ALSA = """<confdir:alsa.conf>
pcm.rb_null {{ type null }}
pcm.rb_out {{ type file  slave.pcm rb_null  file "{0}/out.raw"  format "raw" }}
pcm.!default {{ type plug  slave.pcm rb_out }}
"""


@pytest.mark.sound
@pytest.mark.skipif(find_library("portaudio") is None, reason="PortAudio is not installed")
def test_sound_reaches_a_device(tmp_path: Path) -> None:
    # A device of the operating system that writes what it is given into a file.
    (tmp_path / "asound.conf").write_text(ALSA.format(tmp_path))
    assert played(tmp_path, {"ALSA_CONFIG_PATH": str(tmp_path / "asound.conf")}) == ""
    assert (tmp_path / "out.raw").stat().st_size >= 48000 * 2


def test_a_click_does_not_make_a_voice_soft() -> None:
    # Consistency: three samples of a click, 30 times as loud as the voice.
    time = np.arange(2 * RATE) / RATE
    hum = 0.02 * np.sin(2.0 * np.pi * 220.0 * time) * (1.0 + 0.2 * np.sin(2.0 * np.pi * time))
    clicked = hum.copy()
    clicked[50000:50003] = 0.6
    alone, beside = (sound.voice_waveform(samples, RATE) for samples in (hum, clicked))
    kept = slice(60000, 90000)
    assert np.std(beside[kept]) == pytest.approx(np.std(alone[kept]), rel=0.05)
    assert np.max(np.abs(beside)) <= 1.0 + 1e-12
