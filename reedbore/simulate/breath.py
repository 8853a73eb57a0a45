"""How hard a player blows: pressures as they are typed, and where a horn begins to sound.

What a player does from pp to ff, with breath and lip, stands in `dynamics`; in a passage, whose
breath moves while the lip is still, a dynamic is a share of `dynamic_range`.
"""

import math
import re

import numpy as np

from reedbore.errors import ModelError
from reedbore.model.passage import DYNAMICS
from reedbore.model.setup import Setup
from reedbore.physics import reed, tube
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
        Pressure for a reed without mass. [Pa]

    Notes
    -----
    `reed.threshold_pressure` needs the height h of the impedance peak only by its product with
    the strength of the reed as a valve, so that h takes the place of the characteristic impedance.
    """
    held, closing = setup.reed.held(), setup.reed.closes_at
    slit = held.width * held.opening
    height = _playing_height(setup)
    strength = reed.reed_parameter(slit, closing, height, gas_of(setup).density)
    return closing * reed.threshold_pressure(strength, 1.0)


def dynamic_range(setup: Setup) -> tuple[float, float]:
    """Pressures between which the dynamics of a horn lie.

    Parameters
    ----------
    setup : Setup
        Bore, mouthpiece, reed and air.

    Returns
    -------
    low, high : float
        `threshold`, and `breath.loudest` of the closing pressure. [Pa]

    Raises
    ------
    ModelError
        If the reed shuts before it sounds.
    """
    low = threshold(setup)
    high = setup.breath.loudest * setup.reed.closes_at
    if not low < high:
        raise ModelError(
            f"this reed shuts at {high / 1e3:.3g} kPa and would need {low / 1e3:.3g} kPa to sound; "
            "open it (reed.opening_mm), or give --breath in kPa"
        )
    return low, high


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


def _playing_height(setup: Setup) -> float:
    """Return the height of the lowest impedance peak, or under a vent of the tallest one."""
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
    return float(max(found.height) if vented else found.height[0])
