"""What is said of a file that is to be the voice: made voices and horns, real ones, speech, noise.

Real notes come from the Debian packages fluid-soundfont-gm and freepats, speech from alsa-utils.
"""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_mixtures import RATE, clock, cycles, mixed, noise, sway, tone
from real_sounds import fluid, freepats, need

from reedbore import sound
from reedbore.simulate.request.voice_file import complaints

SPOKEN = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))


def said(folder: Path, samples: np.ndarray, rate: float = RATE) -> list[str]:
    path = folder / "voice.wav"
    sound.write(path, 0.5 * samples / np.abs(samples).max(), rate)
    return complaints(path)


def sung(seconds: float = 1.5, falls_db: float = 9.0) -> np.ndarray:
    return tone(cycles(220.0, sway(seconds, 8.0, 1)), falls_db)


def test_a_sung_note_is_not_complained_of(tmp_path: Path) -> None:
    assert said(tmp_path, sung()) == []
    assert said(tmp_path, sung() + noise(round(1.5 * RATE), 0.05)) == []


def test_a_horn_that_is_sung_into_holds_two_notes(tmp_path: Path) -> None:
    t = clock(1.5)
    both = mixed(tone(116.54 * t), tone(203.7 * t, 10.0)) + noise(t.size, 0.01)
    (line,) = said(tmp_path, both)
    assert line.endswith("reedbore analyse tells what is in it")


def test_what_is_bright_may_be_a_horn(tmp_path: Path) -> None:
    (line,) = said(tmp_path, tone(220.0 * clock(1.5), 0.5))
    assert "as bright as a horn" in line


def test_clipping_is_told_and_a_flat_foot_is_none(tmp_path: Path) -> None:
    voice = sung()
    (line,) = said(tmp_path, np.clip(voice, -0.6, 0.6))
    assert "is clipped; record it softer" in line
    pulse = np.maximum(np.sin(2.0 * np.pi * 220.0 * clock(1.5)), -0.3)
    assert said(tmp_path, pulse) == []


def test_noise_has_no_pitch(tmp_path: Path) -> None:
    (line,) = said(tmp_path, noise(24000, 1.0))
    assert "it has no pitch" in line


@pytest.mark.sound
def test_speech_is_told_from_song(tmp_path: Path) -> None:
    if not SPOKEN:
        pytest.skip("there are no spoken recordings; `.ci/run install` installs them")
    words = [soundfile.read(path) for path in SPOKEN[:6]]
    together = np.concatenate([samples for samples, _ in words])
    (line,) = said(tmp_path, together, words[0][1])
    assert "speech? sing or hum" in line


@pytest.mark.sound
def test_most_real_saxophones_are_told_and_most_real_voices_are_not(tmp_path: Path) -> None:
    need()
    horns = fluid("Tenor C5(L)", "Tenor G#4(L)", "Baritone B3(L)", "Alto G#4(L)")
    voices = fluid("solo_vox_c2", "solo_vox_c3", "Ohh Voices C 4(L)")
    every = [list(horns.values()), [*voices.values(), freepats("053_Voice_Oohs.pat")[3]]]
    told = [[bool(said(tmp_path, *one)) for one in each] for each in every]
    assert sum(told[0]) >= 3
    assert sum(told[1]) <= 1
