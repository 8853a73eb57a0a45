"""Setups drawn from all that is legal: nothing diverges, all fades once the breath is off."""

import extremes
import numba
import pytest

from reedbore.simulate.acoustics.bore import vent_number
from reedbore.sound import CEILING_DBTP

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")


# The first draws have every kind of loop among them; on CI more bores are drawn.
SOME, MORE = range(18), range(18, 40)


@pytest.fixture(
    scope="module",
    params=[pytest.param(SOME, id="some"), pytest.param(MORE, id="more", marks=pytest.mark.ci)],
)
def outcomes(request):
    return [extremes.outcome(extremes.draw_setup(seed)) for seed in request.param]


def test_some_draws_have_every_kind_of_loop_among_them():
    drawn = [extremes.draw_setup(seed) for seed in SOME]
    kinds = {
        (setup.reed.dynamics, vent_number(setup.bore) is not None, setup.tract.coupling)
        for setup in drawn
    }
    assert len(kinds) == 8


def test_no_legal_setup_diverges(outcomes):
    assert {found.state for found in outcomes} <= {"sounded", "silent"}


def test_some_sound_and_some_are_silent(outcomes):
    assert {found.state for found in outcomes} == {"sounded", "silent"}


def test_all_fades_when_the_breath_is_off(outcomes):
    assert max(found.rises for found in outcomes) <= 0.0


def test_no_sound_passes_the_ceiling(outcomes):
    assert max(found.peak_dbtp for found in outcomes) <= CEILING_DBTP + 1e-9
