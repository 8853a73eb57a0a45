"""Tone holes are put where the notes are in tune, and stay on the grain of a preset file."""

from pathlib import Path

import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.model.setup import Horn
from reedbore.notes import cents, midi_to_hz
from reedbore.simulate import hole_placement
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.tuning import blown, tune

# A short cylinder: three semitones above A4, and a vent that none of them opens.
ROUGH = (40.0, 136.0, 146.0, 159.0)
HORN = """
title = "Three holes"
low_note = "A4"
high_note = "C5"
transposition = 0
clef = "treble"
[bore]
sections = [{ length_mm = 184, entry_mm = 14, exit_mm = 14 }]
holes = [
  { position_mm = 40, diameter_mm = 2, chimney_mm = 6 },
  { position_mm = 136, diameter_mm = 7, chimney_mm = 5 },
  { position_mm = 146, diameter_mm = 7, chimney_mm = 5 },
  { position_mm = 159, diameter_mm = 7, chimney_mm = 5 },
]
[reed]
opening_mm = 0.5
width_mm = 12
stiffness_kpa_per_mm = 8
frequency_hz = 2000
damping = 0.8
[breath]
pressure_kpa = 2.2
[fingerings]
A4 = ""
Bb4 = "4"
B4 = "3-4"
C5 = "2-4"
"""


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    written = tmp_path_factory.mktemp("horns") / "three-holes.toml"
    written.write_text(HORN)
    return written


@pytest.fixture(scope="module")
def placed(path: Path) -> Horn:
    return hole_placement.place_holes(hole_placement.load_horn(path), rounds=2)


@pytest.mark.parametrize("midi", [70, 71, 72])
def test_placed_holes_play_their_tempered_notes(placed: Horn, midi: int) -> None:
    # Equal temperament. Periods are counted here, from one rise through zero to the next; a grain
    # of 0.1 mm is 1.5 cents at most on so short a bore, and half of that is what may be left.
    hz = midi_to_hz(midi)
    setup = tune(placed, hz)
    tone = single.run(numbers.numbers_of(setup), blown(setup, 1.5)).pressure[-48000:]
    rises = np.flatnonzero((tone[:-1] < 0.0) & (tone[1:] >= 0.0))
    exact = rises + tone[rises] / (tone[rises] - tone[rises + 1])
    played = setup.time.rate * (exact.size - 1) / (exact[-1] - exact[0])
    assert abs(cents(played, hz)) < 1.5


def test_placed_holes_lie_on_the_grain_and_the_vent_stays(placed: Horn) -> None:
    places = [1e3 * hole.position for hole in placed.bore.holes]
    assert places == pytest.approx([round(place, 1) for place in places], abs=1e-9)
    assert places[0] == pytest.approx(ROUGH[0])
    assert places != pytest.approx(ROUGH)


@pytest.mark.ci
def test_another_start_leads_to_the_same_places(placed: Horn, path: Path) -> None:
    started = hole_placement.load_horn(path)
    for number, place in ((2, 133.0), (3, 149.0), (4, 162.0)):
        started = hole_placement._with_hole_at(started, number, place)
    again = hole_placement.place_holes(started, rounds=2)
    off = [
        b.position - a.position for a, b in zip(placed.bore.holes, again.bore.holes, strict=True)
    ]
    assert np.abs(off).max() < 0.15e-3


def test_a_bore_without_holes_is_refused() -> None:
    with pytest.raises(ModelError, match="plain-cylinder has no tone holes to place"):
        hole_placement.place_holes(hole_placement.load_horn("plain-cylinder"))


def test_a_fingering_that_opens_two_holes_at_once_is_refused(placed: Horn) -> None:
    fingerings = {**placed.fingerings, "B4": "2 3 4", "C5": "1-4", "Bb4": "4"}
    horn = placed.model_copy(update={"fingerings": fingerings})
    with pytest.raises(ModelError, match=r"fingerings\.B4 must open one hole more"):
        hole_placement.place_holes(horn)


def test_a_horn_that_does_not_speak_cannot_be_placed(placed: Horn) -> None:
    breath = placed.breath.model_copy(update={"pressure": 500.0})
    with pytest.raises(ModelError, match=r"does not speak on Bb4"):
        hole_placement.place_holes(placed.model_copy(update={"breath": breath}))


def test_the_command_prints_where_holes_belong_and_what_is_left(
    path: Path, placed: Horn, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(hole_placement, "place_holes", lambda horn: placed)
    hole_placement.main(str(path))
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].split() == [
        "hole",
        "2",
        "position_mm",
        "=",
        f"{1e3 * placed.bore.holes[1].position:.1f}",
    ]
    assert [line.split()[0] for line in lines[4:]] == ["A4", "Bb4", "B4", "C5"]
    assert all(abs(float(line.split()[1])) < 1.5 for line in lines[5:])
