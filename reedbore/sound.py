"""Sound files, sample rates, levels and the loudspeaker.

Files are 24-bit WAV or FLAC. Here no level is raised, only lowered to hold the ceiling.
"""

import io
import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import AudioError
from reedbore.files import write_whole

CEILING_DBTP = -1.0  # common practice, no source
SHORTEST_FADE = 0.005  # [s], common practice, no source
SHORTEST_SOUND = 0.05  # [s], one period at 20 Hz, the lowest sung frequency
LONGEST_SOUND = 3600.0  # [s], fits the memory of a small machine
LONGEST_RECORDING = 86400.0  # [s], read piece by piece
LONGEST_VOICE = 600.0  # [s], as long as the longest take
MOST_SAMPLES = 400_000_000  # an hour of two channels at 48 kHz
LOUDEST = 1e9  # of full scale: whole numbers of 24 bits written as such, and then some
BLOCK = 65536  # samples that are averaged at a time
FILE_RATES = (4000, 768000)  # [Hz]
PLAY_RISE = 0.5  # [s], so that a loudspeaker set too loud is noticed early
VOICE_RUMBLE = 40.0  # [Hz], an octave below the lowest bass voice
PASSBAND = 0.92  # share of the lower Nyquist frequency that resampling leaves untouched
TRUE_PEAK_FACTOR = 4
FILE_FORMATS = {".wav": "WAV", ".flac": "FLAC"}


CLICKS, CLICK_SECONDS = 0.02, 0.025
"""Share of a recording that may be clicks, and the stretches that it is cut into. [s]"""


class Levelled(NamedTuple):
    """Sound at full scale 1, and the gain [dB] it took to hold the ceiling: 0 or negative."""

    samples: NDArray[np.float64]
    gain_db: float


def read(path: str | Path, longest: float = LONGEST_SOUND) -> tuple[NDArray[np.float64], int]:
    """Read a sound file, channels averaged.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, OGG, MP3, AIFF, or whatever else libsndfile can read.
    longest : float
        How long it may last, found out before it is read. [s]

    Returns
    -------
    samples : ndarray, shape (n,)
        The sound. [full scale]
    rate : int
        Samples per second. [Hz]

    Raises
    ------
    AudioError
        If the file is missing or not a sound file, is shorter than 0.05 s or longer than allowed,
        or holds values that are no numbers or no sound.
    """
    import soundfile  # noqa: PLC0415

    path = Path(path)
    if not path.is_file():
        what = "is no plain file" if path.exists() else "is not there"
        raise AudioError(f"{path} {what}; a sound file was expected")
    try:
        # A name may be of bytes that are no letters, which libsndfile does not take.
        with path.open("rb") as held, soundfile.SoundFile(held) as file:
            _check_size(path, file, longest)
            return _mixed(path, file), int(file.samplerate)
    except (soundfile.SoundFileError, OSError) as error:
        raise _unreadable(path, error) from error


def _unreadable(path: Path, error: BaseException) -> AudioError:
    return AudioError(
        f"{path} cannot be read as a sound file ({_reason(error)}); WAV, FLAC, OGG, MP3 and "
        "AIFF are read"
    )


def _mixed(path: Path, file: Any) -> NDArray[np.float64]:
    """Average the channels, block by block, so that many channels take no more memory than one."""
    samples = np.zeros(file.frames)
    place = 0
    for block in file.blocks(BLOCK, dtype="float64", always_2d=True):
        _check_values(path, block)
        mean = block.mean(axis=1)[: samples.size - place]
        samples[place : place + mean.size] = mean
        place += mean.size
    return samples[:place]


def _check_values(path: Path, block: NDArray[np.float64]) -> None:
    peak = float(np.max(np.abs(block), initial=0.0))
    if not math.isfinite(peak):
        raise AudioError(f"{path} holds samples that are not numbers; export it again")
    if peak > LOUDEST:
        raise AudioError(
            f"{path} holds a sample of {peak:.3g}; allowed up to {LOUDEST:g}, full scale being "
            "1: export it again"
        )


class Pieces:
    """A sound file that is read piece by piece, its channels apart, however long it is.

    Parameters
    ----------
    path : str or Path
        As for `read`.

    Attributes
    ----------
    path : Path
    rate : int
        [Hz]
    channels, frames : int
    seconds : float
        [s]

    Raises
    ------
    AudioError
        As of `read`, but that it may last a day.
    """

    def __init__(self, path: str | Path) -> None:
        """Open the file and look at its size."""
        import soundfile  # noqa: PLC0415

        self.path = Path(path)
        if not self.path.is_file():
            what = "is no plain file" if self.path.exists() else "is not there"
            raise AudioError(f"{self.path} {what}; a sound file was expected")
        try:
            with self.path.open("rb") as held, soundfile.SoundFile(held) as file:
                _check_size(self.path, file, LONGEST_RECORDING, most=None)
                self.rate, self.channels = int(file.samplerate), int(file.channels)
                self.frames = int(file.frames)
        except (soundfile.SoundFileError, OSError) as error:
            raise _unreadable(self.path, error) from error
        self.seconds = self.frames / self.rate

    def between(self, begin: float, end: float) -> NDArray[np.float64]:
        """Read a piece.

        Parameters
        ----------
        begin, end : float
            [s]

        Returns
        -------
        ndarray, shape (n, channels)
            What there is of it. [full scale]
        """
        import soundfile  # noqa: PLC0415

        first = min(max(round(begin * self.rate), 0), self.frames)
        count = max(min(round(end * self.rate), self.frames) - first, 0)
        try:
            with self.path.open("rb") as held, soundfile.SoundFile(held) as file:
                file.seek(first)
                block = file.read(count, dtype="float64", always_2d=True)
        except (soundfile.SoundFileError, OSError) as error:
            raise _unreadable(self.path, error) from error
        _check_values(self.path, block)
        return np.asarray(block)


def write(path: str | Path, samples: NDArray[np.float64], rate: float) -> None:
    """Write a 24-bit WAV or FLAC file; it appears under its name only when it is whole.

    Parameters
    ----------
    path : str or Path
        Ends in .wav or .flac; missing folders are made.
    samples : ndarray, shape (n,) or (n, channels)
        The sound, between -1 and 1. [full scale]
    rate : float
        Samples per second. [Hz]

    Raises
    ------
    AudioError
        If the name ends otherwise, or a sample is not a number or beyond full scale.
    ReedboreError
        If the folder cannot be written to.
    """
    path = Path(path)
    if path.suffix.lower() not in FILE_FORMATS:
        raise AudioError(f"{path} ends in '{path.suffix}'; sound is written as .wav or .flac")
    data = encode(samples, rate, FILE_FORMATS[path.suffix.lower()])
    write_whole(path, data)


def resample(samples: NDArray[np.float64], rate_in: float, rate_out: float) -> NDArray[np.float64]:
    """Change the sample rate.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound; taken to be silent before and after. [any]
    rate_in, rate_out : float
        Samples per second before and after, rounded to whole numbers. [Hz]

    Returns
    -------
    ndarray, shape (ceil(n · rate_out / rate_in),)
        The sound; its first sample is at the same instant as before. [any]

    Notes
    -----
    In the spectrum of the whole sound: flat up to 0.92 of the lower Nyquist frequency, then a
    raised cosine down to nothing at it, so that no partial is folded.
    """
    before, after = round(rate_in), round(rate_out)
    if before == after:
        return np.array(samples, dtype=np.float64)
    common = math.gcd(before, after)
    block_in, block_out = before // common, after // common
    length = math.ceil(len(samples) * block_out / block_in)
    # The filter rings for about 100 samples of the lower rate; silence of that length keeps the
    # end of the sound from ringing into its beginning.
    silence = 128 * max(1, math.ceil(block_in / block_out))
    blocks = smooth_number(math.ceil((len(samples) + silence) / block_in))
    nyquist = 0.5 * blocks * min(block_in, block_out)
    spectrum = np.fft.rfft(samples, blocks * block_in)[: int(nyquist) + 1]
    flat = math.ceil(PASSBAND * nyquist)
    edge = (np.arange(flat, spectrum.size) / nyquist - PASSBAND) / (1.0 - PASSBAND)
    spectrum[flat:] *= 0.5 + 0.5 * np.cos(np.pi * edge)
    out = np.fft.irfft(spectrum, blocks * block_out)
    return out[:length] * (block_out / block_in)


def high_pass(samples: NDArray[np.float64], rate: float, hz: float) -> NDArray[np.float64]:
    """Take away what is slower than a frequency, without phase shift or ringing.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        Gain is 0 at 0 Hz, 0.63 at this frequency and 0.98 at twice it. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        The sound minus its moving average under a Gaussian. [any]
    """
    # The Gaussian is exp(−(π hz t)²) in time, below 1e-16 two periods from its middle.
    reach = min(len(samples), math.ceil(2.0 * rate / hz))
    extended = np.pad(samples, reach, mode="symmetric")
    size = smooth_number(len(extended) + reach)
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    slow = np.fft.irfft(np.fft.rfft(extended, size) * np.exp(-((frequency / hz) ** 2)), size)
    return samples - slow[reach : reach + len(samples)]


def remove_dc(samples: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Take away the resting value and its slow changes, below about 10 Hz; as `high_pass`."""
    return high_pass(samples, rate, 10.0)


def fade(samples: NDArray[np.float64], rate: float, seconds: float) -> NDArray[np.float64]:
    """Fade a sound in and out with raised cosines.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    seconds : float
        Length of either fade, at least 0.005, at most half of the sound. [s]

    Returns
    -------
    ndarray, shape (n,)
        The sound; first and last sample 0. [any]
    """
    length = min(math.ceil(max(seconds, SHORTEST_FADE) * rate), len(samples) // 2)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(length) / max(length, 1))
    out = np.array(samples, dtype=np.float64)
    out[:length] *= rise
    out[len(out) - length :] *= rise[::-1]
    return out


def true_peak(samples: NDArray[np.float64]) -> float:
    """Highest absolute value of the continuous wave that passes through the samples.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound, faded in and out. [full scale]

    Returns
    -------
    float
        The peak. [full scale]

    Notes
    -----
    Four times as many samples, after Annex 2 of [1]_, through a longer filter than given there.

    References
    ----------
    .. [1] Recommendation ITU-R BS.1770, "Algorithms to measure audio programme loudness and
       true-peak audio level."
    """
    waves = resample(samples, 1, TRUE_PEAK_FACTOR), samples
    return float(max(max(np.max(each, initial=0.0), -np.min(each, initial=0.0)) for each in waves))


def to_full_scale(pressure: NDArray[np.float64], full_scale: float) -> Levelled:
    """Turn a pressure into samples, at one fixed level unless the ceiling is in the way.

    Parameters
    ----------
    pressure : ndarray, shape (n,)
        Sound pressure, free of NaN, faded. [Pa]
    full_scale : float
        Pressure that belongs to a sample of 1. [Pa]

    Returns
    -------
    Levelled
        Samples with a true peak of at most -1 dBTP, and the gain taken. [full scale], [dB]
    """
    samples = pressure / full_scale
    ceiling = 10.0 ** (CEILING_DBTP / 20.0)
    gain = ceiling / max(true_peak(samples), ceiling)
    return Levelled(samples * gain, 20.0 * math.log10(gain))


def mute_broken(
    samples: NDArray[np.float64], rate: float
) -> tuple[NDArray[np.float64], float | None]:
    """Silence a sound from shortly before its first value that is not a number.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    samples : ndarray, shape (n,)
        The sound, faded to silence where it breaks. [any]
    seconds : float or None
        When it breaks; None if it is sound throughout, and then it comes back as it is. [s]
    """
    broken = np.flatnonzero(~np.isfinite(samples))
    if len(broken) == 0:
        return samples, None
    first = int(broken[0])
    length = min(first, math.ceil(SHORTEST_FADE * rate))
    out = np.zeros(len(samples))
    out[:first] = samples[:first]
    fall = np.arange(length, 0, -1) / max(length, 1)
    out[first - length : first] *= 0.5 - 0.5 * np.cos(np.pi * fall)
    return out, first / rate


def voice_waveform(samples: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Turn a recorded voice into the sung waveform: no rumble, mean zero, largest value 1.

    A click does not make it soft: all but the loudest `CLICKS` of its stretches reach up to 1.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        The waveform; nowhere beyond 1. [peak]

    Raises
    ------
    AudioError
        If the recording is silent.
    """
    clean = high_pass(samples, rate, VOICE_RUMBLE)
    size = max(round(CLICK_SECONDS * rate), 1)
    blocks = np.pad(np.abs(clean), (0, -clean.size % size)).reshape(-1, size).max(axis=1)
    blocks = blocks[blocks > 0.03 * np.median(blocks)] if clean.size else blocks
    peak = float(np.quantile(blocks, 1.0 - CLICKS, method="lower")) if blocks.size else 0.0
    # 1e-6 of full scale: below the last bit of a 20-bit converter there is no voice.
    if peak < 1e-6:
        raise AudioError("the recorded voice is silent; its peak must be above 1e-6 of full scale")
    cut = np.clip(clean, -peak, peak)
    cut -= cut.mean()
    return cut / np.max(np.abs(cut))


def play(samples: NDArray[np.float64], rate: float) -> None:
    """Play a sound and wait for its end; it rises from silence over half a second.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound, between -1 and 1. [full scale]
    rate : float
        Samples per second. [Hz]

    Raises
    ------
    AudioError
        If there is no PortAudio or no sound output device, or the sound is unfit to be heard.
    """
    if not np.all(np.isfinite(samples)) or np.max(np.abs(samples), initial=0.0) > 1.0:
        raise AudioError("the sound is not between -1 and 1 throughout, so it was not played")
    device = _sounddevice()
    quiet = fade(samples, rate, SHORTEST_FADE)
    rise = min(round(PLAY_RISE * rate), len(quiet))
    quiet[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / max(rise, 1))
    try:
        device.play(quiet.astype(np.float32), round(rate), blocking=True)
    except device.PortAudioError as error:
        raise AudioError(f"the sound device refused the sound ({_reason(error)})") from error
    finally:
        device.stop()


def record(seconds: float, channels: int, rate: int = 48000) -> tuple[NDArray[np.float64], int]:
    """Record from the sound input.

    Parameters
    ----------
    seconds : float
        How long. [s]
    channels : int
        How many channels.
    rate : int
        Samples per second. [Hz]

    Returns
    -------
    samples : ndarray, shape (n, channels)
        [full scale]
    rate : int
        [Hz]

    Raises
    ------
    AudioError
        If there is no PortAudio or no sound input with so many channels.
    """
    device = _sounddevice("input")
    try:
        samples = device.rec(
            round(seconds * rate),
            samplerate=rate,
            channels=channels,
            dtype="float32",
            blocking=True,
        )
    except device.PortAudioError as error:
        raise AudioError(f"the sound input refused to record ({_reason(error)})") from error
    return np.asarray(samples, dtype=np.float64), rate


def encode(samples: NDArray[np.float64], rate: float, file_format: str = "WAV") -> bytes:
    """Make a 24-bit file in memory; refuse a sound that must not be heard, as `write`."""
    import soundfile  # noqa: PLC0415

    if not np.all(np.isfinite(samples)):
        raise AudioError("the sound holds samples that are not numbers, so it was not kept")
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak > 1.0:
        raise AudioError(f"the sound peaks at {peak:.3g} of full scale; allowed -1 to 1")
    memory = io.BytesIO()
    soundfile.write(memory, samples, round(rate), format=file_format, subtype="PCM_24")
    return memory.getvalue()


def _sounddevice(way: str = "output") -> Any:
    """Import sounddevice, or say what is missing; `way` is output or input."""
    done = {"output": "played", "input": "recorded"}[way]
    try:
        import sounddevice  # noqa: PLC0415
    except (ImportError, OSError) as error:
        raise AudioError(
            f"PortAudio is missing, so nothing can be {done}; "
            "on Debian or Ubuntu: apt install libportaudio2"
        ) from error
    if not any(device[f"max_{way}_channels"] for device in sounddevice.query_devices()):
        raise AudioError(f"no sound {way} device was found, so nothing can be {done}")
    return sounddevice


def _check_size(path: Path, file: Any, longest: float, most: int | None = MOST_SAMPLES) -> None:
    """Refuse recordings that are empty, too short, too long or at an odd rate."""
    low, high = FILE_RATES
    frames, rate = file.frames, file.samplerate
    if frames == 0:
        raise AudioError(f"{path} is empty: it holds no samples")
    if not low <= rate <= high:
        raise AudioError(f"{path} has {rate} samples per second; allowed {low} to {high}")
    seconds = frames / rate
    if not SHORTEST_SOUND <= seconds <= longest:
        raise AudioError(
            f"{path} lasts {seconds:.3g} s; allowed {SHORTEST_SOUND:g} to {longest:g} s"
        )
    if most is not None and frames * file.channels > most:
        raise AudioError(f"{path} holds {frames * file.channels} samples; allowed up to {most}")


def smooth_number(least: int) -> int:
    """Find the smallest number from `least` up whose prime factors are 2, 3 and 5."""
    number = max(least, 1)
    while True:
        rest = number
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return number
        number += 1


def _reason(error: BaseException) -> str:
    """Say why in a few words: the system's own, without file names."""
    text = getattr(error, "strerror", None) or str(error)
    return text.split(": ")[-1].rstrip(". ").lower()
