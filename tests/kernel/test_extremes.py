"""Setups drawn from all that is legal: nothing diverges, all fades once the breath is off."""

import extremes
import numba
import pytest

from reedbore.sound import CEILING_DBTP

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")


@pytest.fixture(scope="module")
def outcomes():
    return [extremes.outcome(extremes.draw_setup(seed)) for seed in range(40)]


def test_no_legal_setup_diverges(outcomes):
    assert {found.state for found in outcomes} <= {"sounded", "silent"}


def test_some_sound_and_some_are_silent(outcomes):
    assert {found.state for found in outcomes} == {"sounded", "silent"}


def test_all_fades_when_the_breath_is_off(outcomes):
    assert max(found.rises for found in outcomes) <= 0.0


def test_no_sound_passes_the_ceiling(outcomes):
    assert max(found.peak_dbtp for found in outcomes) <= CEILING_DBTP + 1e-9
