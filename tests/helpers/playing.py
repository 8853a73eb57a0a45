"""What a horn plays from rest, for the tests of presets with tone holes."""

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import single
from reedbore.measures import pitch
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics import numbers
from reedbore.simulate.tuning import blown

RATE = 96000.0


def heard(pressure: NDArray[np.float64]) -> float:
    """Find the pitch [Hz] of a steady stretch with no guess; 0 if there is none."""
    thinned, rate = pitch.thin(pressure, RATE)
    found = pitch.fundamental(thinned, rate)
    return pitch.refine(thinned, rate, found.hz) if found and np.ptp(thinned) > 100.0 else 0.0


def played(setup: Setup, seconds: float = 1.2) -> NDArray[np.float64]:
    """Pressure in the mouthpiece [Pa] from rest; the last half second is steady."""
    return single.run(numbers.numbers_of(setup), blown(setup, seconds)).pressure
