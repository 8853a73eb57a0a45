"""Setups drawn from all that is legal: nothing diverges, all fades once the breath is off."""

import extremes
import numba
import pytest

from reedbore.kernel import rows
from reedbore.simulate.acoustics.bore import vent_number
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.sound import CEILING_DBTP
from reedbore.verdict.state import State

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")


# Bores with and without a vent, with and without a coupled mouth. Each of the eight kinds of lanes
# takes long to compile, so only CI runs them.
SOME, MORE = (3, 6, 7, 11), (2, 9, 12, 13, 14, 24)
EACH = 5


def drawn(place):
    return [extremes.draw_setup(extremes.ALIKE * place + k, place) for k in range(EACH)]


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(SOME, id="some", marks=pytest.mark.ci),
        pytest.param(MORE, id="more", marks=pytest.mark.ci),
    ],
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
