"""What a reed lets in for a small pressure, against derivatives of the flow law and limits."""

import math

import numpy as np
import pytest

from reedbore.physics import onset, reed

OPENING, WIDTH, STIFFNESS, DENSITY = 0.5e-3, 12e-3, 8e6, 1.176
STILL = np.ones(1, complex)


def flow(inside: float, mouth: float) -> float:
    drop = mouth - inside
    return reed.channel_flow(drop, OPENING - drop / STIFFNESS, WIDTH, DENSITY)


@pytest.mark.parametrize("mouth", [800.0, 1500.0, 3000.0])
def test_a_reed_without_mass_lets_in_the_slope_of_its_flow(mouth: float):
    # Definition: dU/dp of Bernoulli's law with h = H - Δp/K, by central differences.
    found = onset.drive_admittance(np.array([mouth]), OPENING, WIDTH, STIFFNESS, DENSITY, STILL)[0]
    slope = (flow(0.1, mouth) - flow(-0.1, mouth)) / 0.2
    assert found == pytest.approx(slope, rel=1e-5)


def test_without_losses_a_massless_reed_begins_at_a_third_of_closing():
    # T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): γ = 1/3.
    third = np.array([STIFFNESS * OPENING / 3.0])
    found = onset.drive_admittance(third, OPENING, WIDTH, STIFFNESS, DENSITY, STILL)[0]
    scale = WIDTH * math.sqrt(2.0 * third[0] / DENSITY) / STIFFNESS
    assert abs(found) < 1e-12 * scale


def test_reed_with_mass_follows_slow_pressure_lags_at_resonance_and_is_left_behind():
    # An oscillator with one mass: 1, -j/q and -1/x².
    omega = np.array([1e-3, 1.0, 100.0])
    found = onset.reed_response(omega, 1.0, 0.5)
    assert found == pytest.approx([1.0, -2.0j, -1e-4], rel=1e-2)
