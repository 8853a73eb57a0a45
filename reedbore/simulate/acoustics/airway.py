"""The air upstream of the reed: what the reed feels of the player, and what the folds send it.

In: a tongue shape, the air in mouth and throat, and how much of a wave the folds send back. Out:
the impedance behind the pressure that is blown and sung, and how a flow through the folds becomes
that pressure; both exact, for any frequency.

A tube with the tongue's shape leads from the folds to the lips. What it does not hold of the air
lies before the reed, in a cavity whose walls yield. Without a tongue shape there is only the
cavity, and the folds are not seen.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.setup import Setup
from reedbore.physics import tract
from reedbore.physics.air import air_keefe

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

TRACT_K = 308.15
"""Temperature of the air in the vocal tract. [K]"""

REED_CONDUCTANCE = tract.channel_conductance(1.8e-4, 3e3)
"""What the lips' end of the tract lets out: the channel of a reed, blown as usual (common practice,
no source). [m³ s⁻¹ Pa⁻¹]"""

LEAST_CAVITY = 5e-6
"""Air that always lies before the reed, however large the tube: our choice. [m³]"""

LUNGS = 50.0
"""The lungs hold the mean pressure in the mouth: like a mass of air, so many times that of the
walls, that lies beside them. It is felt below 2 Hz, and by less than
0.9 dB above 60 Hz, over all airways that can be set; our choice."""

LOWEST_HZ = 1e-6
"""Below this all is as it is here, within 1e-6."""


class Airway(NamedTuple):
    """Mouth and throat of a player; what is said of them depends on nothing else."""

    vowel: str
    """``none``, or one of `tract.SHAPES`."""
    volume: float
    """Air in mouth and throat together. [m³]"""
    folds: float
    """Share of a wave that the folds send back."""

    @property
    def resistance(self) -> float:
        """What waves refer to [Pa s m⁻³].

        Twice what all the air, as a spring, resists at the walls' resonance. The walls' mass goes
        with the air, so that with this reference their resonance is one of the waves too,
        whatever the airway.
        """
        return 4.0 * math.pi * tract.WALL_HZ * self.mass

    @property
    def mass(self) -> float:
        """Of all walls, which swings on the air at `tract.WALL_HZ` [kg m⁻⁴]."""
        gas = air_keefe(TRACT_K)
        air = self.cavity + (0.0 if self.vowel == "none" else tract.SHAPES[self.vowel].volume)
        return gas.density * gas.sound_speed**2 / ((2.0 * math.pi * tract.WALL_HZ) ** 2 * air)

    @property
    def slowest(self) -> float:
        """Rate at which the lungs bring the mean pressure back [s⁻¹]."""
        lungs = LUNGS * self.mass
        steady = _omega(np.zeros(1))
        leak = (1.0 / self.impedance(steady) - 1.0 / (1j * steady * lungs))[0].real
        return 1.0 / ((leak + 1.0 / self.resistance) * lungs)

    @property
    def cavity(self) -> float:
        """The air before the reed [m³]."""
        if self.vowel == "none":
            return self.volume
        return max(self.volume - tract.SHAPES[self.vowel].volume, LEAST_CAVITY)

    def impedance(self, frequency: Reals) -> Complexes:
        """Return what the reed has upstream.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            From zero up. [Hz]

        Returns
        -------
        ndarray, shape (n,)
            Pressure that the mouth loses for a flow into the reed. [Pa s m⁻³]
        """
        omega = _omega(frequency)
        seen = self._before_reed(omega)
        if self.vowel == "none":
            return 1.0 / seen
        tube, folds = self._tube(omega)
        return 1.0 / (seen + 1.0 / tract.impedance_at_lips(tube, folds))

    def transfer(self, frequency: Reals, load: float = 0.0) -> Complexes:
        """Return the pressure before the reed for a flow through the folds.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            From zero up. [Hz]
        load : float
            Conductance of the reed's channel; 0 for a reed that lets nothing out.
            [m³ s⁻¹ Pa⁻¹]

        Returns
        -------
        ndarray, shape (n,)
            [Pa s m⁻³]
        """
        omega = _omega(frequency)
        let_out = self._before_reed(omega) + load
        if self.vowel == "none":
            return 1.0 / let_out
        tube, folds = self._tube(omega)
        return tract.pressure_at_lips(tube, let_out, folds)

    def _before_reed(self, omega: Reals) -> Complexes:
        """Return the admittance of cavity and lungs [m³ s⁻¹ Pa⁻¹]."""
        mouth = tract.mouth_impedance(self.cavity, omega, air_keefe(TRACT_K))
        return 1.0 / mouth + 1.0 / (1j * omega * LUNGS * self.mass)

    def _tube(self, omega: Reals) -> tuple[tract.TwoPort, float]:
        """Return the tube from the folds to the lips, and the conductance of the folds."""
        gas, shape = air_keefe(TRACT_K), tract.SHAPES[self.vowel]
        folds = tract.folds_conductance(shape.areas[0], self.folds, gas)
        return tract.two_port(shape, omega, gas, tract.HELD), folds


def _omega(frequency: Reals) -> Reals:
    return 2.0 * math.pi * np.maximum(frequency, LOWEST_HZ)


def airway(setup: Setup) -> Airway:
    """Return mouth and throat of a setup's player."""
    return Airway(setup.voice.vowel, setup.tract.volume, setup.tract.returned)


def impedance(setup: Setup, frequency: Reals) -> Complexes:
    """Return the upstream impedance of a setup, coupled or not; see `Airway.impedance`."""
    return airway(setup).impedance(frequency)


def transfer(setup: Setup, frequency: Reals) -> Complexes:
    """Return the pressure before a closed reed for a flow through a setup's folds.

    Parameters
    ----------
    setup : Setup
        Its vowel, volume and folds.
    frequency : ndarray, shape (n,)
        From zero up. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        What `impedance` is then in series with. [Pa s m⁻³]
    """
    return airway(setup).transfer(frequency)
