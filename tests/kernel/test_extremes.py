"""Setups drawn from all that is legal: nothing diverges, all fades once the breath is off."""

import energy
import extremes
import numba
import numpy as np
import pytest

from reedbore.kernel import rows
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.acoustics.bore import vent_number
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.sound import CEILING_DBTP
from reedbore.verdict.state import State

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")


# Bores with and without a vent, with and without a coupled mouth. Each of the eight kinds of lanes
# takes long to compile, so only CI runs them. How many steps they look ahead makes other kinds of
# the same; of those more have one.
SOME, MORE = (3, 6, 7, 11), (4, 10, 14, 21, 24, 29)
EACH = 5


def drawn(place):
    return [extremes.draw_setup(extremes.ALIKE * place + k, place) for k in range(EACH)]


@pytest.fixture(
    scope="module",
    params=[pytest.param((*SOME, *MORE), id="all", marks=[pytest.mark.ci, pytest.mark.slow(25)])],
)
def outcomes(request):
    return [found for place in request.param for found in extremes.outcomes(drawn(place))]


# Where the lay damps no more than the reed two of these diverge and one grows.
BOUNCING = (156, 172, 341)


@pytest.mark.parametrize("seed", BOUNCING)
def test_a_fast_light_barely_damped_reed_gains_nothing_from_the_lay(seed):
    setup = extremes.draw_worst(seed, seed // extremes.ALIKE)
    assert numbers_of(setup).table[rows.LAY_DAMPED] > 0.0
    (found,) = extremes.outcomes([setup], judged=False)
    assert found.state == "stepped"
    assert found.rises <= 0.0


@pytest.mark.parametrize("contact", [1.0, 3.0, 100.0, 1000.0])
@pytest.mark.parametrize("seed", [8, 49, 172])
def test_without_breath_energy_does_not_grow_with_the_air_of_the_bore_attached(seed, contact):
    # Passivity: reed, lay and what the bore was given, from flight to flight. Derived is the bound
    # for a reed that flies freely; where the bore throws it back sooner, a stiff lay may gain a
    # hundredth at most of what there was (99 draws at eight lays each); soft ones nothing.
    found = energy.run(energy.bouncing(seed, contact), seconds=0.5)
    assert energy.gained(found) <= (0.0 if contact < 10.0 else 0.01)
    held = found.reed + found.lay
    assert held[-1] < 1e-3 * held[found.off]


@pytest.mark.parametrize("seed", [12, 156, 341])
def test_it_grows_where_the_lay_damps_no_more_than_a_barely_damped_reed(seed):
    found = energy.run(energy.bouncing(seed), lay_damps_more=False, seconds=0.5)
    assert found is None or energy.gained(found) > 0.1
    assert energy.gained(energy.run(energy.bouncing(seed), seconds=0.5)) == 0.0


def test_without_a_lay_reed_and_air_trade_energy_exactly():
    # Blown too softly to sound; then only valve and damping take from the account.
    setup = setup_for(load_horn("tenor-saxophone")).with_value("voice.source", "off")
    setup = setup.with_value("breath.pressure_kpa", 1.0).with_value("reed.damping", 0.1)
    found = energy.run(setup, seconds=0.5)
    account = found.account[found.off + 1 :]
    assert not found.lay.any()
    assert np.diff(account).max() <= 1e-12 * account[0]
    assert account[-1] < account[0]


def test_some_draws_have_every_kind_of_loop_among_them():
    kinds = {
        (setup.reed.dynamics, vent_number(setup.bore) is not None, setup.tract.coupling)
        for place in SOME
        for setup in drawn(place)
    }
    assert len(kinds) == 8


def test_no_legal_setup_diverges_or_cannot_be_judged(outcomes):
    assert not {found.state for found in outcomes} & {"diverged", State.FAILED}


def test_at_least_half_sound(outcomes):
    judged = [found for found in outcomes if found.state != "stepped"]
    sounding = [found for found in judged if found.state in extremes.SOUNDING]
    assert len(judged) / 2 <= len(sounding) < len(judged)


def test_all_fades_when_the_breath_is_off(outcomes):
    assert max(found.rises for found in outcomes) <= 0.0


def test_no_sound_passes_the_ceiling(outcomes):
    assert max(found.peak_dbtp for found in outcomes) <= CEILING_DBTP + 1e-9
