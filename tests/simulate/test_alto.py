"""The alto saxophone preset plays as saxophones do: in tune, all partials, octaves by two vents."""

import functools
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray
from playing import RATE, heard, played

from reedbore.measures.spectrum import decibel, harmonic_amplitudes
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.notes import cents, midi_name, midi_to_hz, parse_note
from reedbore.physics import toneholes, tube
from reedbore.simulate.acoustics import reflection
from reedbore.simulate.acoustics.bore import admittance, open_row_cutoff
from reedbore.simulate.tuning import low_register, tune

VENT_OPENS_S = 0.6
ALTO = "alto-saxophone"
UPPER_VENT, LOWER_VENT = 1, 2


@functools.cache
def fingered(label: str, kpa: float | None = None, horn: str = ALTO) -> Setup:
    """Take a fingering, at the horn's own breath unless said otherwise."""
    note, *name = label.split()
    setup = tune(load_horn(horn), midi_to_hz(parse_note(note)), fingering=" ".join(name))
    return setup.with_value("breath.pressure_kpa", kpa) if kpa else setup


def off_note(label: str, kpa: float | None = None) -> float:
    """How far [cents] the steady tone is from the note, whichever register it is in."""
    tone = played(fingered(label, kpa))[-48000:]
    return cents(heard(tone) or 1.0, midi_to_hz(parse_note(label.split(maxsplit=1)[0])))


def opened_late(label: str) -> tuple[float, float]:
    """Pitches [cents from the upper note] before the vent is opened, and long after."""
    setup = fingered(label).with_value("bore.vent_after_ms", 1e3 * VENT_OPENS_S)
    pressure = played(setup, VENT_OPENS_S + 1.0)
    before = round(VENT_OPENS_S * RATE)
    hz = midi_to_hz(parse_note(label.split(maxsplit=1)[0]))
    early, late = heard(pressure[before - 19200 : before]), heard(pressure[-28800:])
    return cents(early or 1.0, hz), cents(late or 1.0, hz)


def partials(label: str, horn: str = ALTO) -> NDArray[np.float64]:
    """Levels [dB] of four partials in the mouthpiece, over the strongest."""
    tone = played(fingered(label, horn=horn))[-48000:]
    level = decibel(harmonic_amplitudes(tone, RATE, heard(tone), 4))
    return level - level.max()


def resonances(label: str) -> NDArray[np.float64]:
    """Frequencies [Hz] of the impedance peaks, mouthpiece and reed included, rising."""
    frequency = np.linspace(100.0, 2000.0, 3000)
    return tube.peaks(frequency, np.reciprocal(admittance(fingered(label), frequency))).frequency


@pytest.mark.parametrize("label", ["Db3", "Bb3", "E4"])
def test_low_register_is_in_tune_and_in_its_register(label: str) -> None:
    # Equal temperament. The pitch is the period of the whole tone, found with no guess.
    assert abs(off_note(label)) < 10.0


@pytest.mark.parametrize("kpa", [3.7, 7.4])
@pytest.mark.parametrize("label", ["Db3", "F3", "E4"])
def test_low_register_speaks_over_a_breath_ratio_of_two(label: str, kpa: float) -> None:
    assert abs(off_note(label, kpa)) < 70.0


@pytest.mark.parametrize("label", ["A3 fork", "B3 fork"])
def test_forks_play_the_note_below_that_of_their_first_hole(label: str) -> None:
    note, horn = round(parse_note(label.split(maxsplit=1)[0])), load_horn(ALTO)
    first, *rest = horn.fingering(note, "fork") or ()
    plain_above = horn.fingering(note + 1) or ()
    assert first == plain_above[0]
    assert set(rest) < set(plain_above)
    assert abs(off_note(label)) < 10.0


@pytest.mark.parametrize("label", ["Db3", "F3", "Bb3"])
def test_all_partials_are_in_the_mouthpiece_where_a_clarinet_has_odd_ones(label: str) -> None:
    # A closed cone resonates at all multiples, a closed cylinder at odd ones: A. H. Benade,
    # Fundamentals of Musical Acoustics, 1976, ch. 21 (from memory). Limits are our own figures.
    level = partials(label)
    assert level[0] > level[1] > level[2] > level[3] > -36.0
    assert level[1] > -10.0
    cylinder = partials("D3", "clarinet-b-flat")
    assert max(cylinder[1], cylinder[3]) < level[3] - 10.0


@pytest.mark.parametrize("label", ["F4", "Ab4", "A4", "C5", "Eb5", "E5"])
def test_a_vent_makes_the_octave_from_rest_and_under_a_sounding_note(label: str) -> None:
    # As players do it. The vent still closed, the low note is in tune.
    assert abs(off_note(label)) < 40.0
    before, after = opened_late(label)
    assert before == pytest.approx(-1200.0, abs=10.0)
    assert abs(after) < 40.0


def test_resonances_are_the_more_stretched_the_shorter_the_horn_is() -> None:
    # A cone cut off near its tip has stretched resonances, which a mouthpiece of the missing
    # volume makes up for at low frequencies only: C. J. Nederveen, "Acoustical Aspects of
    # Woodwind Instruments", rev. ed. 1998 (from memory).
    found = (resonances(label) for label in ("A3", "C4", "D4", "E4"))
    stretched = [cents(second, 2.0 * first) for first, second, *_ in found]
    assert np.all(np.diff([0.0, *stretched]) > 0.0)


@pytest.fixture
def without_jet(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(toneholes, "JET_LOSS", 0.0)
    reflection.waveguide.cache_clear()
    yield
    reflection.waveguide.cache_clear()


# N. Szwarcberg, T. Colinot, C. Vergez and M. Jousserand, arXiv 2404.07540, 2024: opened under a
# sounding note, linear register holes never reach the second register.


@pytest.mark.usefixtures("without_jet")
@pytest.mark.parametrize("label", ["A4", "C5"])
def test_without_loss_in_the_jet_the_upper_vent_drives_the_low_register_up(label: str) -> None:
    before, after = opened_late(label)
    assert before < after < -700.0


@pytest.mark.usefixtures("without_jet")
@pytest.mark.parametrize("label", ["F4", "G4"])
def test_without_loss_in_the_jet_the_lower_vent_does_not_reach_the_octave(label: str) -> None:
    assert opened_late(label)[1] < -700.0


def test_upper_register_opens_one_vent_over_the_holes_of_the_octave_below() -> None:
    # Two vents, the lower one for the lower notes, one open at a time: common practice, no source.
    horn = load_horn(ALTO)
    upper = [midi for midi in horn.notes() if midi > low_register(horn)[-1]]
    assert upper == list(range(65, 77))
    for midi in upper:
        vent, *row = horn.fingering(midi) or ()
        octave = horn.fingering(midi - 12) or ()
        assert vent == (LOWER_VENT if midi <= parse_note("Ab4") else UPPER_VENT), midi_name(midi)
        assert tuple(row) == octave


def test_cutoff_of_the_open_row_is_about_one_kilohertz_and_falls_from_high_to_low_notes() -> None:
    # E. Petersen, T. Colinot, J. Kergomard and P. Guillemain, Acta Acustica 4, 13 (2020): on
    # saxophones it falls from high to low notes. About 1 kHz on the alto: from memory. The
    # highest note is left out: its hole stands apart from the row, for it plays below its first
    # resonance, and the note below it above its own.
    notes = ("Eb3", "F3", "G3", "A3", "B3", "C#4", "Eb4")
    cutoffs = np.array([open_row_cutoff(fingered(note)) for note in notes])
    assert np.all(np.diff(cutoffs) > 0.0)
    assert np.median(cutoffs) == pytest.approx(1000.0, rel=0.2)


@pytest.mark.parametrize(("label", "mode", "room"), [("F3", 3, 0.5), ("C4", 4, 0.15)])
def test_cutoff_lies_near_the_third_resonance_or_the_fourth(
    label: str, mode: int, room: float
) -> None:
    # Acoustics 7 (2025), doi 10.3390/acoustics7010015, alto saxophone, first register: near the
    # third mode for low notes, the fourth for higher ones. Here near the fourth for all: the wide
    # holes of low notes let the cut-off lie 1.4 times as high as the third.
    cutoff = open_row_cutoff(fingered(label))
    assert cutoff == pytest.approx(resonances(label)[mode - 1], rel=room)


@pytest.mark.parametrize("label", ["F3", "C4"])
def test_resonances_fade_above_the_cutoff(label: str) -> None:
    # Above its cut-off an open row lets waves out: A. H. Benade, Fundamentals of Musical
    # Acoustics, 1976, ch. 21 (from memory).
    frequency = np.linspace(100.0, 3000.0, 4000)
    found = tube.peaks(frequency, np.reciprocal(admittance(fingered(label), frequency)))
    cutoff = open_row_cutoff(fingered(label))
    assert cutoff is not None
    below = found.height[found.frequency < 0.9 * cutoff]
    above = found.height[found.frequency > 1.1 * cutoff]
    assert above.max() < 0.3 * below.min()
