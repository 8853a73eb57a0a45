"""The reed as frozen, checked numbers, and what a player says of it: strength and lip.

In: settings as users write them (``Reed(opening_mm=1)``) or SI (``Reed(opening=0.001)``). Out: a
model that holds SI floats; `Reed.held` turns strength and lip into the physical numbers that the
horn is played with.
"""

import math
from typing import Literal

from reedbore.model.settings import Part
from reedbore.physics.reed import closing_pressure

USUAL_STRENGTH = 2.5

A_STRENGTH = 1.35
"""A reed one strength harder is so much stiffer."""

SHUT = 0.1
"""A reed that is less open than this share of its opening at rest is as good as shut."""


class Reed(Part):
    """The reed as the lip holds it on the lay."""

    section = "reed"
    opening: float
    width: float
    stiffness: float
    frequency: float
    damping: float
    area: float = 0.0
    contact: float = 100.0
    dynamics: Literal["mass", "massless"] = "mass"
    strength: float = USUAL_STRENGTH
    lip: float = 1.0

    @property
    def closes_at(self) -> float:
        """How far [Pa] the pressure in the mouth must stand above that in the bore to shut it."""
        held = self.held()
        return closing_pressure(held.stiffness, held.opening)

    @property
    def shut_below(self) -> float:
        """Opening [m] under which it is as good as shut."""
        return SHUT * self.held().opening

    def held(self) -> "Reed":
        """Return the reed with strength and lip put into its physical numbers.

        Returns
        -------
        Reed
            Of usual strength under a usual lip, but as stiff, open, fast and damped as this one.

        Notes
        -----
        Our own approximate scale, no maker's: each whole strength makes the reed `A_STRENGTH`
        times as stiff at the same mass. A lip that holds twice as firmly takes the tip and the
        lay to 1/√2 of their distance, makes the reed √2 times as stiff and as damped, and the
        contact, over more of the lay, twice as stiff. Common practice, no source: harder reeds
        and firmer lips play sharper; a harder reed needs more breath.
        """
        firm = math.sqrt(self.lip)
        stiffer = A_STRENGTH ** (self.strength - USUAL_STRENGTH) * firm
        if stiffer == firm == 1.0:
            return self
        plain = {name: getattr(self, name) for name in ("width", "area", "dynamics")}
        return self.model_construct(
            opening=self.opening / firm,
            stiffness=self.stiffness * stiffer,
            frequency=self.frequency * math.sqrt(stiffer),
            damping=self.damping * firm,
            contact=self.contact * self.lip,
            strength=USUAL_STRENGTH,
            lip=1.0,
            **plain,
        )
