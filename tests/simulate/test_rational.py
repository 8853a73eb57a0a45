"""Filters as sums of sections: the best of all that are passive; fits that processes make."""

import math
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize, nnls

from reedbore.model.presets import load_horn, setup_for
from reedbore.remembered import hand_over
from reedbore.simulate.acoustics import beforehand
from reedbore.simulate.acoustics.beforehand import Fitters
from reedbore.simulate.acoustics.numbers import fitted_to
from reedbore.simulate.acoustics.rational import (
    nonnegative,
    pair_sections,
    passive_fit,
    real_sections,
    solve,
)
from reedbore.simulate.acoustics.reflection import waveguide

Z = np.exp(1j * math.pi * np.linspace(0.0, 1.0, 400))
POLES = np.array([0.3, 0.9])


def basis(z):
    return np.hstack((np.ones((z.size, 1)), real_sections(POLES, z)))


@given(seed=st.integers(0, 10**6), rows=st.integers(1, 12), unknowns=st.integers(1, 12))
def test_unknowns_that_are_not_negative_are_those_of_scipy(seed, rows, unknowns):
    dice = np.random.default_rng(seed)
    problem, wanted = dice.normal(size=(rows, unknowns)), dice.normal(size=rows)
    found = nonnegative(problem, wanted)
    assert found.min() >= 0.0
    missed = np.linalg.norm(problem @ found - wanted)
    assert missed == pytest.approx(nnls(problem, wanted)[1], abs=1e-9)


def test_the_same_condition_twice_does_no_harm():
    problem = np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    np.testing.assert_allclose(problem @ nonnegative(problem, np.array([2.0, -1.0])), [2.0, 0.0])


@pytest.mark.parametrize("height", [1.02, 1.3, 3.0])
def test_a_target_above_1_gets_the_passive_fit_that_misses_least(height):
    # Against scipy's own solver for any smooth conditions, put at 400 points.
    wanted = height * basis(Z) @ np.array([-0.5, 0.7, 0.9])
    weight = np.linspace(2.0, 1.0, Z.size)
    found = passive_fit(basis, Z, wanted, weight)
    fine = np.exp(1j * math.pi * np.linspace(0.0, 1.0, 100_000))
    assert 1.0 - 1e-4 < np.abs(basis(fine) @ found).max() <= 1.0

    def missed(weights):
        return float(np.sum(np.abs((basis(Z) @ weights - wanted) * weight) ** 2))

    passive = {"type": "ineq", "fun": lambda weights: 1.0 - np.abs(basis(Z) @ weights) ** 2}
    best = minimize(
        missed, np.zeros(3), method="SLSQP", constraints=passive, options={"ftol": 1e-12}
    )
    assert missed(found) == pytest.approx(best.fun, rel=1e-3)


def test_a_passive_target_is_met_to_the_last_digits():
    weights = np.array([0.1, -0.2, -0.6])
    found = passive_fit(basis, Z, basis(Z) @ weights, np.ones(Z.size))
    np.testing.assert_allclose(found, weights, atol=1e-12)
    np.testing.assert_allclose(solve(basis(Z), basis(Z) @ weights), weights, atol=1e-12)


def test_a_response_that_is_nowhere_near_1_is_fitted():
    pairs = np.array([0.7 + 0.3j])

    def basis(z):
        return pair_sections(pairs, z)

    weights = np.array([0.02, -0.01])
    assert np.abs(basis(Z) @ weights).max() < 0.5
    np.testing.assert_allclose(passive_fit(basis, Z, basis(Z) @ weights, np.ones(400)), weights)


def test_processes_make_the_same_fits_once_each(monkeypatch):
    plain = setup_for(load_horn("plain-cylinder"))
    setups = [plain.with_value("bore.length_mm", mm) for mm in (400.0, 410.0, 400.0, 417.0)]
    here = [waveguide(*fitted_to(setup)) for setup in setups]
    waveguide.cache_clear()
    made = []

    def keep(some):
        made.extend(some)
        hand_over(some)

    monkeypatch.setattr(beforehand, "hand_over", keep)
    with Fitters(2) as fitters:
        fitters.fit(setups)
        fitters.fit(setups)
    assert [one.asked for one in made] == [fitted_to(setups[k]) for k in (0, 1, 3)]
    monkeypatch.setattr(waveguide, "_function", pytest.fail)
    for setup, ours in zip(setups, here, strict=True):
        theirs = waveguide(*fitted_to(setup))
        z = np.exp(1j * np.linspace(0.001, math.pi, 50))
        np.testing.assert_array_equal(theirs.reflection.response(z), ours.reflection.response(z))


def test_a_process_that_is_killed_leaves_the_fits_to_who_needs_them():
    setup = setup_for(load_horn("plain-cylinder")).with_value("bore.length_mm", 433.0)
    with Fitters(1) as fitters:
        fitters._pool.submit(os._exit, 1)
        fitters.fit([setup])
        fitters.fit([setup])
    assert not waveguide.knows(*fitted_to(setup))
    assert waveguide(*fitted_to(setup)).rate == 96e3


def test_what_cannot_be_fitted_is_left_to_who_needs_it(monkeypatch):
    def broken(*_):
        raise ArithmeticError

    monkeypatch.setattr(waveguide, "_function", broken)
    setup = setup_for(load_horn("plain-cylinder")).with_value("bore.length_mm", 431.0)
    assert beforehand._fitted(fitted_to(setup)) == []
