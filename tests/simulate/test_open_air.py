"""Openings that hear each other, on the bores of horns: the balance of power, and both limits."""

import math

import bores
import numpy as np
import pytest

from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.physics import openings
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics import bore as deaf
from reedbore.simulate.acoustics import open_air
from reedbore.simulate.tuning import roughly

GAS = air_keefe(300.15)
QUIET = GAS._replace(viscosity=0.0)
OMEGA = 2.0 * math.pi * np.geomspace(40.0, 5000.0, 150)
WITH_HOLES = "alto-saxophone", "clarinet-b-flat"


def bore_of(note, name="clarinet-b-flat"):
    return roughly(load_horn(name), midi_to_hz(note)).bore


def louder(bore, omega):
    """Power outside over that of openings that do not hear each other, both for 1 Pa. [dB]"""
    both = [way.outflow(bore, omega, GAS).power for way in (open_air, deaf)]
    return 10.0 * np.log10(both[0] / both[1])


@pytest.mark.parametrize("name", WITH_HOLES)
def test_without_walls_all_that_enters_is_radiated_on_every_note(name):
    # Energy, at partials 1 to 24: what openings send out is what the bore takes in.
    for midi in load_horn(name).notes():
        omega = 2.0 * math.pi * midi_to_hz(midi) * np.arange(1.0, 25.0)
        found = open_air.outflow(bore_of(midi, name), omega, QUIET)
        assert found.power == pytest.approx(0.5 * found.admittance.real, rel=1e-6)


@pytest.mark.parametrize(("name", "fingering"), bores.HOLED)
def test_walls_take_their_share_of_what_enters(name, fingering):
    found = open_air.outflow(bores.setup_of(name, fingering).bore, OMEGA, GAS)
    assert (found.power > 0.0).all()
    assert (found.power < 0.5 * found.admittance.real).all()


@pytest.mark.parametrize(("name", "fingering"), bores.HOLED)
def test_openings_made_deaf_are_the_chain_of_holes(name, fingering, monkeypatch):
    # The other way through the same bore, hole by hole: there the air outside is a length more of
    # each chimney, here a load at its end, which differs most where the flow nearly stands still.
    heard = openings.radiation_matrix
    monkeypatch.setattr(
        openings, "radiation_matrix", lambda *asked: heard(*asked) * np.eye(len(asked[0]))
    )
    apart = np.abs(louder(bores.setup_of(name, fingering).bore, OMEGA[OMEGA < 18850.0]))
    assert np.median(apart) < 0.1
    assert apart.max() < 0.7


def test_long_waves_leave_a_row_as_from_one_opening():
    # Pierce, "Acoustics", 1989, ch. 4: sources much nearer to each other than a wave is long send
    # out what one source with the sum of their flows does.
    omega = 2.0 * math.pi * np.array([20.0, 40.0])
    found = open_air.outflow(bore_of(68), omega, GAS)
    point = 0.5 * openings.point_resistance(omega, GAS) * np.abs(found.flow) ** 2
    assert found.power == pytest.approx(point, rel=0.01)


@pytest.mark.parametrize("midi", [57, 62, 68])
def test_a_row_is_louder_below_its_cutoff_and_no_louder_above(midi):
    # A. Lefebvre, G. P. Scavone and J. Kergomard, Acta Acust. united Acust. 99, 975 (2013,
    # abstract): interaction adds radiated energy. The size is this model's; the cut-off, 1.5 kHz.
    bore = bore_of(midi)
    low, high = midi_to_hz(midi), np.linspace(2500.0, 6000.0, 200)
    assert 4.0 < louder(bore, 2.0 * math.pi * np.array([low]))[0] < 8.0
    assert abs(np.median(louder(bore, 2.0 * math.pi * high))) < 0.5


@pytest.mark.parametrize("midi", [50, 69])
def test_one_opening_alone_hears_nobody(midi):
    # D3 opens no hole. A4 has its vent and the whole row's end: too far apart to matter much.
    bore = bore_of(midi)
    assert np.abs(louder(bore, OMEGA)).max() < (1e-9 if midi == 50 else 3.0)
