"""A fingered note becomes a bore that plays it: to the cent, at any rate, or one clear sentence."""

import shutil
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from audio_library import librosa

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.measures import pitch
from reedbore.model.presets import load_horn, setup_for
from reedbore.notes import cents, midi_to_hz, parse_note
from reedbore.simulate import tuning
from reedbore.simulate.acoustics.bore import admittance
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown, first_peak, low_register, tune

HORNS = ("tenor-saxophone", "plain-cylinder", "plain-cone")
CONFIRMED = [("tenor-saxophone", "Bb2"), ("plain-cylinder", "Bb2"), ("plain-cone", "Bb3")]


def hertz(name):
    return midi_to_hz(parse_note(name))


def steady_tone(setup, near_hz, seconds=0.5, periods=150):
    """Pressure in the mouthpiece [Pa] after 1 s and some periods, when the tone stands still."""
    mouth = blown(setup, 1.0 + periods / near_hz + seconds)
    numbers = numbers_of(setup)
    return single.run(numbers, mouth).pressure[-round(seconds * setup.time.rate) :]


def played(setup, near_hz, periods=150):
    """Pitch found with no guess, then made exact. [Hz]"""
    tone, rate = steady_tone(setup, near_hz, periods=periods), setup.time.rate
    return pitch.refine(tone, rate, pitch.fundamental(tone, rate).hz)


@pytest.mark.slow
@pytest.mark.ci  # three notes of every horn: `test_presets_play`
@pytest.mark.parametrize("horn", HORNS)
def test_every_note_of_the_register_plays_within_half_a_cent(horn):
    # Equal temperament. The pitch is the period of the whole tone, so another register would be
    # an octave or a twelfth off.
    model = load_horn(horn)
    notes = [midi_to_hz(midi) for midi in low_register(model)]
    off = [cents(played(tune(model, hz), hz), hz) for hz in notes]
    assert np.abs(off).max() < 0.5


ENDS = [("tenor-saxophone", midi) for midi in (60, 66, 67, 73)] + [("soprano-saxophone", 78)]
VENTED = [
    pytest.param(name, midi, marks=[] if (name, midi) in ENDS else pytest.mark.ci)
    for name in ("tenor-saxophone", "soprano-saxophone")
    for midi in load_horn(name).notes()
    if midi > low_register(load_horn(name))[-1]
]
"""Sounding notes of upper registers; the ends of the tenor's octave vents are always tried."""


@pytest.mark.slow
@pytest.mark.parametrize(("name", "midi"), VENTED)
def test_a_note_under_an_octave_vent_starts_from_rest_in_tune(name, midi):
    # Equal temperament, at the breath of the preset. The pitch is found with no guess, so the low
    # octave would be an octave off.
    hz = midi_to_hz(midi)
    setup = tune(load_horn(name), hz)
    assert [hole.open for hole in setup.bore.holes] == [1.0]
    assert setup.breath == load_horn(name).breath
    assert abs(cents(played(setup, hz, periods=60), hz)) < 1.0


def test_the_octave_key_changes_between_written_g_sharp_and_a_and_leaves_low_notes_alone():
    # Common practice, no source: two vents, the upper one from written A5; D5 to D#6 are offered.
    horn = load_horn("tenor-saxophone")
    places = {midi + horn.transposition: horn.vent(midi) for midi in horn.notes()}
    vents = {written: vent.position for written, vent in places.items() if vent}
    assert list(vents) == list(range(74, 88))
    assert {vents[written] for written in range(74, 81)} == {0.295}
    assert {vents[written] for written in range(81, 88)} == {0.108}
    assert tuning.roughly(horn, hertz("B3")).bore.holes == ()
    assert len(tuning.roughly(horn, hertz("C4")).bore.holes) == 1


@pytest.mark.ci
@pytest.mark.slow
@pytest.mark.parametrize("rate", [96000.0, 192000.0])
@pytest.mark.parametrize(("horn", "note"), CONFIRMED)
def test_pitch_is_confirmed_by_a_reassigned_spectrogram(horn, note, rate):
    # An independent library: librosa, after F. Auger and P. Flandrin, IEEE Trans. Signal Process.
    # 43, 1068 (1995). Its estimate of the line nearest the note, frame by frame.
    hz = hertz(note)
    tone = steady_tone(tune(load_horn(horn), hz, rate), hz, seconds=1.0)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        lines, *_ = librosa.reassigned_spectrogram(
            tone, sr=rate, n_fft=16384, hop_length=4096, center=False, fill_nan=True
        )
    heard = np.median(lines[round(hz * 16384 / rate)])
    assert abs(cents(heard, hz)) < 0.5


@pytest.mark.parametrize("finer", [192000.0, 384000.0])
def test_pitch_hardly_depends_on_the_rate(finer):
    # Convergence: the same bore, stepped two and four times as finely.
    hz = hertz("Bb2")
    setup = tune(load_horn("tenor-saxophone"), hz)
    assert abs(cents(played(setup.with_value("time.rate_hz", finer), hz), hz)) < 0.5


def test_a_tuned_horn_has_no_voice_and_is_otherwise_as_its_preset_says():
    # Only the length is solved.
    horn = load_horn("plain-cylinder")
    setup = tune(horn, hertz("C3"), 48000.0)
    assert setup.voice.source == "off"
    assert setup.time.rate == 48000.0
    assert (setup.reed, setup.breath, setup.mouthpiece) == (horn.reed, horn.breath, horn.mouthpiece)


def test_lower_notes_need_longer_bores():
    # By halving the length of a plain tube its pitch rises by about an octave.
    horn = load_horn("plain-cylinder")
    low, high = (tune(horn, hertz(name)).bore.length for name in ("Bb2", "Bb3"))
    assert low / high == pytest.approx(2.0, rel=0.05)


def test_low_register_runs_by_semitones_from_the_lowest_note_to_the_highest():
    # The tenor saxophone's written B flat 3 to C sharp 5 sounds a ninth lower: A flat 2 to B 3.
    assert low_register(load_horn("tenor-saxophone")) == list(range(44, 60))


@pytest.mark.parametrize("note", ["C2", "G5"])
def test_note_outside_the_register_is_refused_with_its_range(note):
    with pytest.raises(ModelError) as caught:
        tune(load_horn("tenor-saxophone"), hertz(note))
    sentence = str(caught.value)
    assert note in sentence
    assert "Ab2" in sentence
    assert "C#5" in sentence
    assert "\n" not in sentence


def test_quarter_tone_past_the_end_of_the_register_is_still_played():
    # Other tunings have half-steps of other sizes: 60 cents are allowed. So low, the tenor
    # saxophone takes three seconds to settle.
    hz = hertz("Ab2") * 2.0 ** (-50.0 / 1200.0)
    horn = load_horn("tenor-saxophone")
    assert abs(cents(played(tune(horn, hz), hz, periods=400), hz)) < 0.5


def test_horn_that_cannot_speak_says_so():
    # Below the threshold, a third of the closing pressure, no reed sounds: T. A. Wilson and
    # G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974).
    horn = load_horn("plain-cylinder")
    breath = horn.breath.model_copy(update={"pressure": 500.0})
    with pytest.raises(ModelError, match=r"does not speak on Bb2 .* 0\.50 kPa"):
        tune(horn.model_copy(update={"breath": breath}), hertz("Bb2"))


def test_giving_reed_lowers_the_first_resonance():
    # C. J. Nederveen, "Acoustical Aspects of Woodwind Instruments", rev. ed. 1998: a reed that
    # yields acts like more air at the mouthpiece.
    setup = tune(load_horn("tenor-saxophone"), hertz("Bb2"))
    rigid = setup.with_value("reed.area_mm2", 0.0)
    assert first_peak(setup, 116.5) < first_peak(rigid, 116.5)


def test_giving_reed_adds_the_admittance_of_its_spring():
    # Definition: jω S/K.
    setup, frequency = tune(load_horn("plain-cylinder"), hertz("Bb2")), np.array([100.0, 300.0])
    rigid = setup.with_value("reed.area_mm2", 0.0)
    spring = admittance(setup, frequency) - admittance(rigid, frequency)
    wanted = 2j * np.pi * frequency * setup.reed.area / setup.reed.stiffness
    assert spring == pytest.approx(wanted, rel=1e-9)


def test_a_solved_length_is_kept_and_a_spoilt_one_solved_again(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    horn = load_horn("plain-cylinder")
    first = tune(horn, 196.0)
    (kept,) = (path for path in tmp_path.rglob("*") if path.is_file())
    assert tune(horn, 196.0) == first
    kept.write_text("nonsense")
    assert tune(horn, 196.0) == first


def test_on_a_full_disk_lengths_are_solved_and_not_kept_but_old_ones_are_used(
    tmp_path, monkeypatch
):
    solved = iter((700.0, 750.0, 800.0))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(tuning, "_solve", lambda *_: next(solved))
    horn = load_horn("tenor-saxophone")
    assert tune(horn, 116.54).value("bore.length_mm") == 700.0

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    assert tune(horn, 116.54).value("bore.length_mm") == 700.0
    assert [tune(horn, 130.81).value("bore.length_mm") for _ in range(2)] == [750.0, 800.0]
    assert len([path for path in tmp_path.rglob("*") if path.is_file()]) == 1


def test_kept_lengths_are_named_after_all_code_that_they_depend_on():
    code = "import sys, reedbore; reedbore.tune(reedbore.load_horn('plain-cylinder'), 110.0);"
    code += "print(*(sys.modules[n].__file__ for n in sorted(sys.modules) if n[:8] == 'reedbore'))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {Path(name) for name in done.stdout.split() if not name.endswith("__init__.py")}
    # Exceptions, what keeps results, a polite stop and whole files say nothing of a length.
    idle = {
        tuning.PACKAGE / name for name in ("errors.py", "remembered.py", "stopping.py", "files.py")
    }
    assert loaded - idle <= set(tuning.sources())
    assert {path.stem for path in loaded} >= {"bore", "tube", "reflection", "step", "units"}


def test_an_edit_of_any_of_it_makes_the_kept_lengths_new(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    shutil.copytree(tuning.PACKAGE, tmp_path / "reedbore", ignore=shutil.ignore_patterns("static"))
    monkeypatch.setattr(tuning, "PACKAGE", tmp_path / "reedbore")
    setup = setup_for(load_horn("plain-cylinder"))
    places = [tuning._place(setup, 110.0)]
    for name in ("simulate/acoustics/bore.py", "model/bore.py", "physics/tube.py", "notes.py"):
        with (tmp_path / "reedbore" / name).open("a", encoding="utf-8") as file:
            file.write("# edited\n")
        places.append(tuning._place(setup, 110.0))
    assert len({place.parent for place in places}) == 5
