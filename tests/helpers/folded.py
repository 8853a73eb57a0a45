"""Voices sung by folds for the tests: horns to sing into, and singers nobody had to solve for."""

import numpy as np

from reedbore.kernel import folds as rows
from reedbore.kernel.folds import singer_of
from reedbore.model.presets import load_horn, setup_for
from reedbore.simulate.folds import Solved, folds_of

BB2_MM = 1230.135
"""Length of the tenor's bore that plays B flat 2."""

FLOW = 0.353e-3
"""What the tenor takes at its lowest written C without a voice. [m³ s⁻¹]"""


def tenor(**changes):
    """A tenor saxophone that plays B flat 2, sung into; changes are named voice__depth and so on.

    Its length is given, so that no test has to tune it.
    """
    setup = setup_for(load_horn("tenor-saxophone")).with_value("bore.length_mm", BB2_MM)
    voice = {"voice__source": "pulse", "voice__drive": "folds", "voice__frequency_hz": 116.54}
    for key, value in (voice | changes).items():
        setup = setup.with_value(key.replace("__", "."), value)
    return setup


def set_to(tension=-203.0, chink=7.4e-6, lungs=440.0, flow=FLOW):
    """Muscles and lungs as `simulate.folds.solve` finds them for the tenor's B flat at 1/1."""
    return Solved(tension, chink, 0.1, lungs, flow, (0.0,), (0.0,))


def singer_for(setup, count, solved=None, **changed):
    """Return a singer at rest; changes are rows of its numbers, in lower case."""
    singer = singer_of(folds_of(setup, solved or set_to()), np.ones(count), np.ones(count))
    for name, value in changed.items():
        singer.numbers[getattr(rows, name.upper())] = value
    return singer


def on(singer, count):
    """Return the same singer, as it is, with room for more steps."""
    arrays = {name: np.zeros(count) for name in ("half_gap", "flow", "lungs")}
    return singer._replace(tension=np.ones(count), hold=np.ones(count), **arrays)
