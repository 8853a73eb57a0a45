"""A vent in time: the upper bore, down to it, the mass of the air in it, its loss and its jet.

Where the mouthpiece begins with a tube, the upper bore begins behind it: see `chamber`.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.simulate.acoustics.chamber import Chamber
from reedbore.simulate.acoustics.delay import delay_response
from reedbore.simulate.acoustics.rational import real_sections

Reals = NDArray[np.float64]
Complexes = NDArray[Any]


class Vent(NamedTuple):
    """A hole open far above the others, and the upper bore: down to it and back."""

    chamber: Chamber
    """First part of the way: the tube of a mouthpiece, or what stands for it."""
    delay: float
    """From its end to the vent and back. [samples]"""
    direct: float
    gains: Reals
    poles: Reals
    """Shape (UPPER_POLES,), between 0 and 1."""
    mass: float
    """Inertance of the air in the vent. [kg m⁻⁴]"""
    loss: float
    """Resistance of friction and radiation. [Pa s m⁻³]"""
    jet: float
    """Pressure lost in the jet over flow². [Pa s² m⁻⁶]"""
    wave: float
    """Half the characteristic resistance of the bore there. [Pa s m⁻³]"""

    def at_reed(self, below: Complexes, z: Complexes, s: Complexes) -> Complexes:
        """Return the reflection at the reed, given that below the vent, for small flows."""
        return self.chamber.at_reed(self.upper(z) * self.at_hole(below, s), z)

    def upper(self, z: Complexes) -> Complexes:
        """Return the response of the upper bore, down and back."""
        weights = np.concatenate(((self.direct,), self.gains / (1.0 - self.poles)))
        return upper_basis(self.delay, self.poles, z) @ weights

    def at_hole(self, below: Complexes, s: Complexes) -> Complexes:
        """Return the reflection above the vent, given that below it, for small flows."""
        share = self.wave / (self.wave + self.loss + s * self.mass)
        meeting = (1.0 - share) / (1.0 - (1.0 - share) * below / (1.0 + below))
        return meeting - 1.0


def upper_basis(delay: float, poles: Reals, z: Complexes) -> Complexes:
    """Return the responses that the filter of the upper bore is a sum of, one a column."""
    sections = np.hstack((np.ones((z.size, 1)), real_sections(poles, z)))
    return delay_response(delay, z)[:, None] * sections
