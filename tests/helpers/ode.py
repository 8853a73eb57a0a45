"""A slow rival of the time step: the same equations handed to scipy's solver of differential ones.

The horn is a cone without end: nothing comes back from it, so that no delay is left and reed,
mouthpiece and throat are ordinary differential equations. A narrow cone with a large mouthpiece
resonates by itself, and the reed sounds on it and beats against the lay.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from reedbore.kernel import single
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics import bore
from reedbore.simulate.acoustics.numbers import numbers_of, waveguide_of

Samples = NDArray[np.float64]

SETTINGS = {
    "bore.sections.1.entry_mm": 4.0,
    "mouthpiece.volume_ml": 20.0,
    "breath.pressure_kpa": 4.0,
    "breath.rise_ms": 10.0,
}
ABSOLUTE = np.array([1e-14, 1e-9, 1e-6, *[1e-15] * 5])
"""Errors allowed in opening [m], its speed [m/s], pressure [Pa], flows [m³/s]."""


def endless_cone(rate: float = 96000.0) -> Setup:
    setup = setup_for(load_horn("plain-cone")).with_value("time.rate_hz", rate)
    for name, value in SETTINGS.items():
        setup = setup.with_value(name, value)
    return setup


def mouth(setup: Setup, time: Samples | float, depth: float, hz: float) -> Samples:
    """Breath and a sine sung into it [Pa] at some times [s]."""
    rise = np.minimum(np.asarray(time) / setup.breath.rise, 1.0)
    breath = setup.breath.pressure * (0.5 - 0.5 * np.cos(math.pi * rise))
    return breath * (1.0 + depth * np.sin(2.0 * math.pi * hz * np.asarray(time)))


def stepped(setup: Setup, seconds: float, depth: float = 0.0, hz: float = 100.0) -> Samples:
    """Pressure in the mouthpiece [Pa] by the time step; the way back takes longer than the run."""
    numbers = numbers_of(setup)
    time = np.arange(round(seconds * setup.time.rate)) / setup.time.rate
    far = numbers.taps._replace(first=time.size)
    none, nowhere = np.zeros(0), np.zeros(0, np.int64)
    numbers = numbers._replace(taps=far, echoes=none, places=nowhere)
    return single.run(numbers, mouth(setup, time, depth, hz)).pressure


def solved(
    setup: Setup, seconds: float, depth: float = 0.0, hz: float = 100.0
) -> tuple[Samples, Samples]:
    """Pressure [Pa] and opening [m] at the same times by `scipy.integrate.solve_ivp` (LSODA)."""
    reed, throat = setup.reed, waveguide_of(setup).throat
    omega, speeds = 2.0 * math.pi * reed.frequency, throat.throat + throat.wave
    slit = reed.width * math.sqrt(2.0 / bore.gas_of(setup).density)

    def change(time: float, y: Samples) -> Samples:
        opening, speed, pressure, flows = y[0], y[1], y[2], y[3:]
        drop = float(mouth(setup, time, depth, hz)) - pressure
        lay = reed.contact * max(-opening, 0.0) / reed.opening
        force = opening - reed.opening + lay * opening + drop / reed.stiffness
        pull = -reed.damping * omega * (1.0 + lay) * speed - omega**2 * force
        flow = slit * max(opening, 0.0) * math.copysign(math.sqrt(abs(drop)), drop)
        stored = flow - reed.area * speed - pressure / throat.resistance - flows.sum()
        moved = speeds * pressure - throat.rates * flows
        return np.concatenate(([speed, pull, stored / throat.compliance], moved))

    start = np.zeros(3 + speeds.size)
    start[0] = reed.opening
    time = np.arange(round(seconds * setup.time.rate)) / setup.time.rate
    found = solve_ivp(
        *(change, (0.0, seconds), start, "LSODA", time),
        rtol=1e-9,
        atol=ABSOLUTE,
        max_step=1e-4,
    )
    return found.y[2], found.y[0]
