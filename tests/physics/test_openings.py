"""Open holes that hear each other, against the theory of point sources, limits and the balance."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.physics import openings, toneholes, tube
from reedbore.physics.air import air_keefe

GAS = air_keefe(300.15)
STILL = GAS._replace(viscosity=0.0)
OMEGA = 2.0 * math.pi * np.geomspace(40.0, 6000.0, 300)
K = OMEGA / GAS.sound_speed
NOTHING = np.zeros(OMEGA.size, complex)
STRAIGHT = NOTHING + 1.0, NOTHING, NOTHING, NOTHING + 1.0


def branch(place, radius=5e-3, chimney=8e-3, gas=GAS):
    """A hole of a radius in a bore of 10 mm, at a place."""
    own = openings.hole_load(radius, toneholes.OUTER_END, OMEGA, gas)
    inner = 1j * OMEGA * gas.density / (math.pi * radius**2)
    inner = inner * toneholes.inner_length(radius, 10e-3)
    port = tube.cylinder(chimney, radius, OMEGA, gas)
    return openings.Branch(place, radius, inner, port, own)


def solved(places, gas=GAS, deaf=False):
    """A bore of 10 mm radius with holes at some places and an end 50 mm behind the last."""
    end = branch(places[-1] + 0.05, radius=10e-3, gas=gas)._replace(inner=NOTHING, chimney=STRAIGHT)
    branches = [*(branch(place, gas=gas) for place in places), end]
    steps = np.diff([0.0, *(one.place for one in branches)])
    ways = [tube.cylinder(step, 10e-3, OMEGA, gas) for step in steps]
    heard = openings.radiation_matrix(branches, OMEGA, gas)
    if deaf:
        heard = heard * np.eye(len(branches))
    return ways, branches, openings.outflow(ways, branches, heard)


# --- the open air --------------------------------------------------------------------------------


def test_small_hole_radiates_as_a_point():
    # A. D. Pierce, "Acoustics", 1989, ch. 4: ρω²/4πc, at 1 kHz in this air evaluated here.
    load = openings.hole_load(1e-4, 0.75, np.array([2000.0 * math.pi]), GAS)
    assert load.real == pytest.approx(
        1.1759 * (2000.0 * math.pi) ** 2 / (4 * math.pi * 347.4), rel=1e-3
    )
    assert load.imag == pytest.approx(2000.0 * math.pi * 1.1759 * 0.75 / (math.pi * 1e-4), rel=1e-3)


def test_hole_load_does_not_grow_beyond_that_of_a_plane_wave():
    radius = 10e-3
    load = openings.hole_load(radius, 0.75, np.array([1e9]), GAS)
    plane = GAS.density * GAS.sound_speed / (math.pi * radius**2)
    assert load.real == pytest.approx(plane, rel=1e-6)


@pytest.mark.parametrize(
    ("waves", "share"), [(1e-4, 2.0), (0.5, 1.0), (0.75, 1.0 - 1 / (1.5 * math.pi))]
)
def test_two_sources_in_step_share_their_resistance(waves, share):
    # A pair of equal point sources a distance d apart radiates (1 + sin kd / kd) times the sum of
    # both alone (Pierce 1989, ch. 4).
    own = openings.hole_load(1e-5, 0.75, OMEGA[:1], GAS)
    pair = [
        openings.Branch(at, 1e-5, NOTHING[:1], STRAIGHT, own)
        for at in (0.0, waves * 2.0 * math.pi / K[0])
    ]
    heard = openings.radiation_matrix(pair, OMEGA[:1], GAS)[0]
    assert heard.real.sum() / (2.0 * own.real[0]) == pytest.approx(share, rel=1e-6)


def test_distant_source_is_heard_as_its_free_field():
    # jωρ e^{-jkd}/4πd per unit of flow, small holes 0.3 m apart.
    pair = [branch(0.0, radius=1e-4), branch(0.3, radius=1e-4)]
    heard = openings.radiation_matrix(pair, OMEGA, GAS)[:, 0, 1]
    free = 1j * OMEGA * GAS.density * np.exp(-0.3j * K) / (4.0 * math.pi * 0.3)
    assert np.abs(heard / free - 1.0).max() < 1e-4


@given(
    places=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=12),
    radius=st.floats(1e-3, 25e-3),
)
def test_no_flows_draw_power_from_still_air(places, radius):
    branches = [branch(at, radius) for at in places]
    heard = openings.radiation_matrix(branches, OMEGA, GAS)[::20]
    values = np.linalg.eigvalsh(heard.real)
    assert (values.min(axis=1) >= -1e-12 * values.max(axis=1)).all()
    assert np.abs(heard - heard.transpose(0, 2, 1)).max() == 0.0


# --- bore and air together -----------------------------------------------------------------------


def test_deaf_openings_make_the_chain_of_two_ports():
    ways, branches, found = solved((0.3, 0.34, 0.38), deaf=True)
    impedance = branches[-1].own
    for way, one in zip(ways[:0:-1], branches[-2::-1], strict=True):
        behind = tube.input_impedance(way, impedance)
        shunt = one.inner + tube.input_impedance(one.chimney, one.own)
        impedance = 1.0 / (1.0 / behind + 1.0 / shunt)
    whole = 1.0 / tube.input_impedance(ways[0], impedance)
    assert np.abs(found.admittance / whole - 1.0).max() < 1e-9


def test_without_walls_all_that_goes_in_comes_out():
    _, _, found = solved((0.3, 0.34, 0.38, 0.42), gas=STILL)
    taken = 0.5 * found.admittance.real
    assert found.power == pytest.approx(taken, rel=1e-6)


def test_with_walls_some_is_lost():
    _, _, found = solved((0.3, 0.34, 0.38, 0.42))
    assert (found.power < 0.5 * found.admittance.real).all()
    assert (found.power > 0.0).all()


def test_holes_that_hear_each_other_radiate_more_of_long_waves():
    # Lefebvre, Scavone and Kergomard 2013 (abstract): interaction adds radiated energy and lowers
    # the first resonances slightly.
    _, _, alone = solved((0.3, 0.32, 0.34, 0.36, 0.38), deaf=True)
    _, _, heard = solved((0.3, 0.32, 0.34, 0.36, 0.38))
    low = OMEGA / (2.0 * math.pi) < 800.0
    assert (heard.power[low] > 1.3 * alone.power[low]).all()
    first, second = (
        tube.peaks(OMEGA, 1.0 / found.admittance).frequency[0] for found in (heard, alone)
    )
    assert -10.0 < 1200.0 * math.log2(first / second) < 0.0


def test_flows_scale_as_units_demand():
    # Twice the density: every impedance doubles, every flow for the same pressure halves.
    _, _, light = solved((0.3, 0.34), gas=STILL)
    _, _, heavy = solved((0.3, 0.34), gas=STILL._replace(density=2.0 * STILL.density))
    assert np.abs(heavy.flows * 2.0 - light.flows).max() < 1e-9 * np.abs(light.flows).max()
    assert heavy.power * 2.0 == pytest.approx(light.power, rel=1e-9)
