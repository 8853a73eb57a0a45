"""The tube of a mouthpiece in time, and its junction with the cone behind it.

Plane waves go down the tube and spherical ones down the cone. Where they meet, the pressure is one,
and beside both waves stands the inertance of the tip that the cone lacks.
"""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import AHEAD
from reedbore.physics import tube
from reedbore.physics.air import Gas
from reedbore.simulate.acoustics.bore import Piece
from reedbore.simulate.acoustics.delay import delay_response

Complexes = NDArray[Any]

LOSS_HZ = 300.0
"""Where the loss of the tube is taken, for all frequencies: taken at 1 kHz, the lowest peaks of a
tenor under its vents are up to 1.2 dB too low."""

SPEED_HZ = 1000.0
"""Where the speed of a wave along the walls is taken, on which delay and mass hang. Without what
friction adds to the mass, the lowest peak of an alto whose vent is still closed is 6 cents sharp;
taken at 300 Hz, that of one whose vent is open 5 cents flat."""

SHORTEST = 2.0
"""Least delay of a line that is written after it was read. [samples]"""


class Chamber(NamedTuple):
    """The way from the reed to a junction and back, and the junction.

    With a the wave that comes down and b the one that comes back from the cone, the pressure at the
    junction is a + b + (`of_tube` a + `of_cone` b - s); then s grows by `of_tip` times it. All
    three are 0 where nothing reflects.
    """

    delay: float
    """Down and back, all of it on the way down. [samples]"""
    left: float
    """Share of a wave that friction leaves, down and back."""
    of_tube: float = 0.0
    of_cone: float = 0.0
    of_tip: float = 0.0
    resistance: float = 0.0
    """Characteristic resistance ρc/S at the entry of the cone. [Pa s m⁻³]"""
    tip: float = math.inf
    """What the cone lacks, as an inertance. [kg m⁻⁴]"""

    def at_reed(self, behind: Complexes, z: Complexes) -> Complexes:
        """Return the reflection at the reed, given that of the cone behind the junction."""
        step = z - 1.0 if self.of_tip else np.ones_like(z)
        taken = step * (1.0 - self.of_cone * behind) + self.of_tip * (1.0 + behind)
        at_junction = (1.0 + self.of_tube) * step * (1.0 + behind) / taken - 1.0
        return self.left * delay_response(self.delay, z) * at_junction


def through(whole: float) -> Chamber:
    """Return the first part of a way without a junction, long enough to be looked up at once.

    Parameters
    ----------
    whole : float
        The way to the vent and back, at least twice `SHORTEST`. [samples]

    Returns
    -------
    Chamber
        A whole number of samples, so that it leaves waves as they are.
    """
    return Chamber(float(min(AHEAD + 1, math.floor(0.5 * whole))), 1.0)


def chamber(piece: Piece, cone: Piece, missing: float, gas: Gas, rate: float) -> Chamber | None:
    """Return a tube before a cone as the time step has it.

    Parameters
    ----------
    piece, cone : tuple of length, entry_radius, exit_radius
        Tube and cone. [m]
    missing : float
        The tip that the cone lacks. [m]
    gas : Gas
        Air in the bore.
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    Chamber or None
        None if it is no cylinder, or too short for a delay line.

    Notes
    -----
    The tip x₀ is an inertance ρ x₀/S in parallel [1]_, Γc/jω times as heavy by friction at the
    walls. Moved by the trapezoidal rule it makes the pressure (2 Y₁ a + 2 Y₂ b - u)/G, with
    G = Y₁ + Y₂ + T/2M, characteristic admittances Y = S/ρc on both sides, and u the flow into the
    mass M but for the last half step.

    References
    ----------
    .. [1] A. H. Benade, "Equivalent circuits for conical waveguides," J. Acoust. Soc. Am. 83,
       1988.
    """
    length, entry, end = piece
    if entry != end:
        return None
    omega = 2.0 * math.pi * np.array([LOSS_HZ, SPEED_HZ])
    lossy, delaying = tube.wall_loss(entry, omega, gas)[0]
    slowness = float(delaying.imag / omega[1])
    delay = 2.0 * length * slowness * rate
    if delay < SHORTEST:
        return None
    of_wave = [math.pi * radius**2 / (gas.density * gas.sound_speed) for radius in (end, cone[1])]
    mass = gas.density * missing / (math.pi * cone[1] ** 2) * slowness * gas.sound_speed
    of_mass = 0.5 / (rate * mass)
    whole = sum(of_wave) + of_mass
    return Chamber(
        delay=delay,
        left=math.exp(-2.0 * length * float(lossy.real)),
        of_tube=2.0 * of_wave[0] / whole - 1.0,
        of_cone=2.0 * of_wave[1] / whole - 1.0,
        of_tip=2.0 * of_mass / whole,
        resistance=1.0 / of_wave[1],
        tip=mass,
    )
