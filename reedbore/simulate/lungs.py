"""Lungs that are given, and the breath that they leave in the mouth.

In: a setup whose lungs are given. Out: the same, its breath what is left of them behind the folds
that sing its aim into a steady leak. Without given lungs these follow the breath (`folds.solve`).
"""

import functools

from reedbore.errors import ModelError
from reedbore.model.setup import Setup
from reedbore.simulate.folds import SETTLED_PA, solve

MOST_TRIES = 12
"""The folds take about the same at any breath, for their gap goes with the flow: three do."""

USUAL_DROP = 600.0
"""Where it is begun. [Pa]"""

LEAST_BREATH = 100.0
"""Less in the mouth makes no horn sound. [Pa]"""


def breathing(setup: Setup) -> Setup:
    """Give a setup the breath that its lungs leave.

    Parameters
    ----------
    setup : Setup
        Tuned. If its lungs are given (`voice.lung_kpa`) its own breath does not matter.

    Returns
    -------
    Setup
        Itself if nobody sings or its lungs are not given.

    Raises
    ------
    ModelError
        As `folds.solve`, or if the folds leave nothing.
    """
    if setup.voice.lung is None or not setup.voice.folded:
        return setup
    voice = setup.voice.model_copy(update={"ear": "off", "seed": 0})
    plain = {"voice": voice, "breath": setup.breath.settled()}
    return _blown(setup, _left(_blown(setup.model_copy(update=plain), 0.0)))


def _blown(setup: Setup, pressure: float) -> Setup:
    return setup.model_copy(
        update={"breath": setup.breath.model_copy(update={"pressure": pressure})}
    )


@functools.lru_cache(maxsize=1024)
def _left(setup: Setup) -> float:
    """Return the breath [Pa] that the lungs leave; that of the setup does not matter."""
    lungs = setup.voice.lung
    assert lungs is not None
    drop, before = min(USUAL_DROP, 0.5 * lungs), 0.0
    for _ in range(MOST_TRIES):
        if lungs - drop < LEAST_BREATH:
            raise ModelError(
                f"voice.lung_kpa is {lungs / 1e3:g} kPa, of which the folds take {drop / 1e3:.2f}; "
                "nothing is left to blow with"
            )
        if abs(drop - before) < SETTLED_PA:
            break
        before = drop
        drop = solve(_blown(setup, lungs - drop)).lungs
    return lungs - drop
