"""How hard a player blows: pressures as they are typed, and where a horn begins to sound.

What a player does from pp to ff, with breath and lip, stands in `dynamics`.
"""

import math
import re

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.model.passage import DYNAMICS
from reedbore.model.setup import Setup
from reedbore.physics import onset, tube
from reedbore.simulate.acoustics.bore import (
    admittance,
    elements,
    first_opening,
    gas_of,
    vent_number,
)

CM_OF_WATER = 98.0665  # [Pa], the conventional centimetre of water: exact by definition
UNITS = {"kpa": 1e3, "cmh2o": CM_OF_WATER}
SEARCH_STEP = 2.0  # [Hz], a tenth of the width of the first resonance or less
HIGHEST_UNDER_VENT = 0.5  # the vent itself is the first opening
LONGEST_TUBE = 1.2  # of a half wave: the first resonance of any bore lies below this
AROUND_PEAK = 0.85, 1.1  # of the peak: there the reed's mass draws the note
PEAK_POINTS = 600
MOST_OVER_CLOSING = 3.0  # what needs more pressure does not sound
HALVINGS = 40

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_PRESSURE = re.compile(r"(-?\d+(?:\.\d+)?)\s*(kpa|cmh2o)", re.IGNORECASE)


def threshold(setup: Setup) -> float:
    """Pressure in the mouth at which the first resonance begins to sound.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece, reed and air.

    Returns
    -------
    float
        The least at which a small sound neither grows nor dies. [Pa]

    Notes
    -----
    At each frequency about the resonance the real parts of what the reed lets in and of what the
    horn takes in are alike at one pressure; where the imaginary parts are so, too, it sounds.
    """
    held, gas = setup.reed.held(), gas_of(setup)
    frequency = _playing_peak(setup) * np.geomspace(*AROUND_PEAK, PEAK_POINTS)
    omega = 2.0 * math.pi * frequency
    response = np.ones(omega.size, np.complex128)
    if held.dynamics == "mass":
        response = onset.reed_response(omega, 2.0 * math.pi * held.frequency, held.damping)
    give = 1j * omega * held.area / held.stiffness
    taken = admittance(setup, frequency) + give * (response - 1.0)
    low, high = np.full(omega.size, 1e-3), np.full(omega.size, MOST_OVER_CLOSING)
    low, high = low * setup.reed.closes_at, high * setup.reed.closes_at

    def surplus(pressure: Reals) -> Complexes:
        drive = (held.opening, held.width, held.stiffness, gas.density, response)
        return onset.drive_admittance(pressure, *drive) - taken

    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        enough = surplus(middle).real > 0.0
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    left = surplus(high).imag
    crossed = np.flatnonzero((left[:-1] > 0.0) & (left[1:] <= 0.0))
    if not crossed.size:
        return float(high.min())
    share = left[crossed] / (left[crossed] - left[crossed + 1])
    return float((high[crossed] + share * (high[crossed + 1] - high[crossed])).min())


def parse_pressure(text: str) -> float:
    """Read how hard a player blows.

    Parameters
    ----------
    text : str
        ``3kPa`` or ``30cmH2O``.

    Returns
    -------
    float
        Pressure in the mouth. [Pa]

    Raises
    ------
    ModelError
        If the text is no pressure; it then says that a dynamic would do, too.
    """
    found = _PRESSURE.fullmatch(text.strip().replace("₂", "2"))
    if not found:
        raise ModelError(
            f"{text!r} is no breath; write a pressure (3kPa, 30cmH2O) or a dynamic "
            f"({' '.join(DYNAMICS)})"
        )
    return float(found[1]) * UNITS[found[2].lower()]


def _playing_peak(setup: Setup) -> float:
    """Return the frequency [Hz] of the lowest impedance peak, or under a vent of the tallest."""
    length = first_opening(elements(setup.bore))
    highest = LONGEST_TUBE * gas_of(setup).sound_speed / (2.0 * length)
    vented = vent_number(setup.bore) is not None
    if vented:
        highest *= HIGHEST_UNDER_VENT
    count = math.ceil(max(highest / SEARCH_STEP, 100.0))
    frequency = np.linspace(highest / count, highest, count)
    found = tube.peaks(frequency, np.asarray(1.0 / admittance(setup, frequency), np.complex128))
    if not found.height.size:
        raise ModelError("this bore has no resonance for a dynamic; give --breath in kPa")
    return float(found.frequency[np.argmax(found.height) if vented else 0])
