"""A sung line: note after note as a single note is sung, and what happens between them."""

import math

import numpy as np
import pytest
import soundfile
from voiced import ALL, RATE, bent, decibels, levels, voiced

from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.simulate import mouth
from reedbore.simulate.controls import Span, controls, spans
from reedbore.simulate.singing import sing, sing_line


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return setup_for(load_horn("tenor-saxophone"))


def lined(setup, text, seconds=0.0):
    """What is sung of a line at 60 beats a minute, its pitches and its spans."""
    beats = 60.0
    piece = Passage.from_plain({"tempo_bpm": beats, "fingered": "Bb2:9", "sung": text})
    line = spans(piece, piece.sung_line, RATE)
    end = max(span.end for span in line) + round(seconds * RATE)
    hz = controls(piece, RATE, usual_depth=0.1, end=end).sung_hz
    return sing_line(setup, hz, line), hz, line


@pytest.mark.parametrize("voice", [{"source": "sine"}, {"source": "pulse"}, {"vowel": "u"}, ALL])
@pytest.mark.parametrize("drive", ["pressure", "flow"])
def test_a_line_of_one_note_is_that_note(tenor, voice, drive):
    setup = voiced(tenor, 220.0, **({"source": "pulse", "drive": drive} | voice))
    line, _, _ = lined(setup, "220Hz:1")
    note = sing(setup, 1.0)
    faded = 0.5 - 0.5 * np.cos(math.pi * np.minimum(np.arange(RATE) / (0.005 * RATE), 1.0))
    assert np.abs(line.wave * faded - note).max() < 1e-12
    if drive == "pressure":
        assert line.pressure is None
    else:
        assert np.ptp(line.pressure) == 0.0
        assert line.pressure[0] == pytest.approx(mouth.sung_pressure(setup), rel=1e-12)


@pytest.mark.parametrize("voice", [{"vowel": "i"}, {"vowel": "a", "false_folds": 2}, {"rd": 0.4}])
@pytest.mark.parametrize("text", ["F3:0.5~ C4:0.5", "A3:0.3~ D3:0.3~ G3:0.1~ Bb3:0.5"])
@pytest.mark.parametrize("drive", ["pressure", "flow"])
def test_a_slur_does_not_click(tenor, voice, text, drive):
    setup = voiced(tenor, **({"source": "pulse", "drive": drive} | voice))
    line, _, notes = lined(setup, text)
    loud = 1.0 if line.pressure is None else line.pressure
    jumps = np.abs(np.diff(line.wave * loud))
    # Between the glides, which take 60 ms, or a quarter of a short note.
    within = [
        jumps[note.first + round(0.06 * RATE) * note.joined : note.end - 1].max(initial=0.0)
        for note in notes
    ]
    assert jumps.max() < 1.1 * max(within)


def test_the_clock_runs_on_through_slurs_and_rests(tenor):
    # Of a sine the phase is known: 2π times the sum of the pitch.
    line, hz, _ = lined(voiced(tenor, source="sine"), "F3:0.5~ C4:0.5 rest:0.3 A3:0.5")
    turns = np.concatenate(([0.0], np.cumsum(hz[:-1] / RATE)))
    assert np.abs(line.wave - np.sin(2.0 * math.pi * turns)).max() < 1e-5


def test_each_note_of_a_line_has_the_vowel_at_its_own_pitch(tenor):
    setup = voiced(tenor, 999.0, source="pulse", vowel="a")
    line, _, notes = lined(setup, "200Hz:1.2~ 300Hz:1.2 250Hz:1.2")
    for note in notes:
        alone = voiced(tenor, note.hz, source="pulse", vowel="a")
        partials = note.hz * np.arange(1.0, 21.0)
        here = levels(line.wave[note.end - round(RATE) : note.end], *partials)
        assert decibels(here / levels(sing(alone, 1.5), *partials)) == pytest.approx(0.0, abs=0.05)
        assert np.abs(line.wave[note.end - 4800 : note.end]).max() == pytest.approx(1.0, abs=2e-3)


def test_pressure_of_a_line_is_that_of_its_notes_and_goes_from_one_to_the_next(tenor):
    setup = voiced(tenor, source="pulse", vowel="i", drive="flow")
    line, _, notes = lined(setup, "F3:0.5~ C4:0.5 rest:0.2 A3:0.4")
    for note in notes:
        if note.hz:
            own = mouth.sung_pressure(setup.with_value("voice.frequency_hz", note.hz))
            assert line.pressure[note.end - 1] == pytest.approx(own, rel=1e-12)
    slur = line.pressure[notes[1].first - 1 : notes[1].first + round(0.07 * RATE)]
    assert np.all(np.diff(slur) <= 0.0) or np.all(np.diff(slur) >= 0.0)
    assert np.abs(np.diff(slur)).max() < 0.01 * np.ptp(slur)


def test_vibrato_and_scoop_begin_with_a_note_and_run_on_under_a_slur(tenor):
    shape = {"vibrato_hz": 5.0, "vibrato_cents": 50.0, "vibrato_after_ms": 300.0}
    setup = voiced(tenor, source="sine", scoop_cents=200.0, scoop_ms=100.0, **shape)
    tongued, _, _ = lined(setup, "440Hz:1 440Hz:1")
    slurred, _, _ = lined(setup, "440Hz:1~ 440Hz:1")
    time, cents = bent(tongued.wave, 440.0)
    assert np.interp([0.01, 1.01], time, cents) == pytest.approx(-200.0, abs=8.0)
    assert np.interp([0.35, 1.35], time, cents) == pytest.approx(50.0, abs=1.0)
    time, cents = bent(slurred.wave, 440.0)
    since = np.maximum(time - 0.3, 0.0)
    moving = time > 0.11
    assert cents[moving] == pytest.approx(
        50.0 * np.sin(2.0 * math.pi * 5.0 * since[moving]), abs=1.0
    )


def test_a_line_repeats_to_the_last_bit_and_another_seed_does_not(tenor):
    first, same, other = (
        lined(voiced(tenor, source="pulse", seed=seed, **ALL), "F3:0.4~ C4:0.4")[0].wave
        for seed in (3, 3, 4)
    )
    assert first.tobytes() == same.tobytes()
    assert np.std(first - other) > 0.1 * np.std(first)


@pytest.mark.parametrize("source", ["off", "pulse"])
@pytest.mark.parametrize("drive", ["pressure", "flow"])
def test_nobody_sings_with_the_voice_off_or_a_line_of_rests(tenor, source, drive):
    n = round(0.5 * RATE)
    setup = voiced(tenor, source=source, drive=drive, **ALL)
    rests, notes = Span(0, 0, n, 0.0, "", False), Span(0, 0, n, 220.0, "", False)
    found = [sing_line(setup, np.zeros(n), ()), sing_line(setup, np.zeros(n), (rests,))]
    if source == "off":
        found.append(sing_line(setup, np.full(n, 220.0), (notes,)))
    for line in found:
        assert line.wave.size == n
        assert not line.wave.any()
        assert (line.pressure is None) == (drive == "pressure" or source == "off")


def test_a_recorded_voice_takes_the_place_of_the_line(tenor, tmp_path):
    time = np.arange(round(0.5 * RATE)) / RATE
    soundfile.write(tmp_path / "voice.wav", 0.5 * np.sin(2.0 * math.pi * 150.0 * time), int(RATE))
    setup = tenor.with_value("voice.file", str(tmp_path / "voice.wav"))
    setup = setup.with_value("voice.source", "recording").with_value("voice.drive", "flow")
    line, _, _ = lined(setup, "F3:0.5~ C4:0.5")
    late = slice(round(0.3 * RATE), None)
    assert line.pressure is None
    assert np.array_equal(line.wave[late], sing(setup, 1.0)[late])
    assert not line.wave[round(0.6 * RATE) :].any()
