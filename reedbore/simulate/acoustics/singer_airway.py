"""The air round singing folds, as the time step runs it: windpipe, tube, mouth, lungs.

In: a setup's tract. Out: rows of `kernel.folds`. It is the airway of `airway.py` in another form:
that is one port at the lips, this has the folds for its other end.
"""

import functools
import math

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import folds as rows
from reedbore.model.setup import Setup
from reedbore.physics import airway_cells, tract
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics.airway import TRACT_K, Airway

Reals = NDArray[np.float64]

TUBE_WIDTH_HZ = 60.0
"""What walls and air cost the waves in the tube, as a bandwidth: common practice, no source."""

LUNGS_FAST, LUNGS_SLOW, FAST_S = 25.0, 0.5, 0.75
"""How quickly the lungs follow the mean pressure in the mouth, and how long quickly. Walls that
give way take a share of each push: what is left of it is a third to a fifth. [s⁻¹, s]"""


def airway_steps(setup: Setup) -> tuple[Reals, NDArray[np.int64]]:
    """Return what the time step needs of the air round singing folds.

    Parameters
    ----------
    setup : Setup
        Its tract and vowel; without one the tube is the neutral one.

    Returns
    -------
    table : ndarray, shape (NUMBERS,)
        Rows of `kernel.folds` for windpipe, tube, mouth and lungs; those of the folds are 0.
    steps : ndarray, shape (k,)
        Of delay in each section of the tube.
    """
    vowel = "neutral" if setup.voice.vowel == "none" else setup.voice.vowel
    return _airway_numbers(vowel, setup.tract.volume, setup.time.rate)


@functools.lru_cache(maxsize=64)
def _airway_numbers(vowel: str, volume: float, rate: float) -> tuple[Reals, NDArray[np.int64]]:
    """Return the rows of windpipe, tube, mouth and lungs, and the steps of the tube."""
    gas, step, shape = air_keefe(TRACT_K), 1.0 / rate, tract.SHAPES[vowel]
    table = np.zeros(rows.NUMBERS)
    table[rows.DENSITY], table[rows.STEP] = gas.density, step
    follow = np.array((LUNGS_FAST, LUNGS_SLOW)) * step
    table[rows.LUNGS_FAST], table[rows.LUNGS_SLOW], table[rows.FAST_STEPS] = *follow, FAST_S * rate
    for k, part in enumerate(airway_cells.windpipe(gas.density, gas.sound_speed)):
        at_once = airway_cells.resonator_impedance(part, step)
        table[rows.RESONATOR + 3 * k] = 2.0 * part.compliance / step
        table[rows.RESONATOR + 3 * k + 1] = at_once
        table[rows.RESONATOR + 3 * k + 2] = step / part.inertance
        table[rows.BELOW_AT_ONCE] += at_once
    made, rest = airway_cells.sections(shape.areas, shape.section_length, gas.sound_speed, step)
    for k, section in enumerate(made):
        table[rows.TUBE_GAIN + k] = airway_cells.wave_gain(TUBE_WIDTH_HZ, section.steps, step)
        if k:
            table[rows.TUBE_SHARE + k - 1] = airway_cells.reflection(made[k - 1].area, section.area)
    first, last = (
        airway_cells.wave_impedance(made[end].area, gas.density, gas.sound_speed) for end in (0, -1)
    )
    table[rows.ABOVE_AT_ONCE] = first
    way = Airway(vowel, volume, 0.0)
    resistance = tract.WALL_LOSS * 2.0 * math.pi * tract.WALL_HZ * way.mass
    spring = gas.density * gas.sound_speed**2
    mouth = airway_cells.mouth((way.cavity + rest) / spring, way.mass, resistance, last, step)
    table[rows.STORED : rows.MOUTH_AT_ONCE + 1] = mouth
    return table, np.array([section.steps for section in made])
