"""Bores with tone holes, bells and rows for the tests: made here, like no horn in particular.

Lengths in metres. A fingering names the open holes, counted from 1 at the reed.
"""

import functools

from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Mouthpiece, Setup
from reedbore.simulate.tuning import open_holes

CYLINDER_PLACES = 0.262, 0.281, 0.302, 0.324, 0.348, 0.374, 0.402, 0.432, 0.464, 0.498
CONE_PLACES = 0.37, 0.41, 0.455, 0.505, 0.56, 0.62, 0.685, 0.755, 0.83, 0.91


def _sections(*diameters_and_lengths):
    return tuple(
        BoreSection(entry=entry, length=length, exit=far)
        for entry, length, far in diameters_and_lengths
    )


BELL = _sections((14.6e-3, 0.53, 14.6e-3), (14.6e-3, 0.06, 22e-3), (22e-3, 0.07, 60e-3))
TAPER = _sections((12.4e-3, 0.96, 66e-3), (66e-3, 0.09, 120e-3))
# Two vents behind a tube: the first hole is the upper one.
TUBED_PLACES = 0.1, 0.22, *CONE_PLACES
ROW = Lattice(diameter=8e-3, chimney=7e-3, spacing=22e-3)

BORES = {
    "cylinder": Bore(
        sections=BELL,
        holes=(
            Hole(position=0.135, diameter=3e-3, chimney=12e-3),
            *(Hole(position=at, diameter=8e-3, chimney=8e-3) for at in CYLINDER_PLACES),
        ),
    ),
    "cone": Bore(
        sections=TAPER,
        holes=(
            Hole(position=0.19, diameter=3e-3, chimney=6e-3),
            *(Hole(position=at, diameter=0.034 * at + 6e-3, chimney=6e-3) for at in CONE_PLACES),
        ),
    ),
    "row behind a cylinder": Bore(
        sections=_sections((14.6e-3, 0.45, 14.6e-3)), end="lattice", lattice=ROW
    ),
    "row behind a cone": Bore(
        sections=_sections((12.4e-3, 0.6, 46e-3)),
        end="lattice",
        lattice=Lattice(diameter=24e-3, chimney=6e-3, spacing=50e-3),
    ),
    "row behind mouthpiece and cone": Bore(
        sections=_sections((12.4e-3, 0.03, 12.4e-3), (12.4e-3, 0.77, 53.3e-3)),
        end="lattice",
        lattice=Lattice(diameter=36e-3, chimney=4e-3, spacing=42e-3),
    ),
    "mouthpiece and cone": Bore(
        sections=_sections((12e-3, 0.021, 12e-3), (12e-3, 0.6, 54e-3)),
    ),
    "mouthpiece, cone and holes": Bore(
        sections=_sections(
            (12.4e-3, 0.033, 12.4e-3), (12.4e-3, 0.95, 65e-3), (65e-3, 0.09, 120e-3)
        ),
        holes=(
            Hole(position=TUBED_PLACES[0], diameter=3.4e-3, chimney=5e-3),
            Hole(position=TUBED_PLACES[1], diameter=4.2e-3, chimney=6e-3),
            *(Hole(position=at, diameter=0.034 * at + 6e-3, chimney=6e-3) for at in CONE_PLACES),
        ),
    ),
    "bell": Bore(sections=BELL),
    "bell of a cone": Bore(sections=TAPER),
}
VOLUMES = {
    "cylinder": 2e-6,
    "bell": 2e-6,
    "row behind a cylinder": 2e-6,
    "row behind mouthpiece and cone": 2.5e-6,
    "mouthpiece and cone": 1.7e-6,
    "mouthpiece, cone and holes": 2.4e-6,
}

FINGERINGS = {
    "closed": (),
    "low": (11,),
    "middle": tuple(range(7, 12)),
    "high": tuple(range(3, 12)),
    "crossed": (5, 8, 9, 10, 11),
    "vent": (1,),
    "vent and row": (1, *range(7, 12)),
}
TUBED_FINGERINGS = {
    "row": tuple(range(7, 13)),
    "upper vent": (1,),
    "lower vent": (2,),
    "lower vent and row": (2, *range(7, 13)),
    "upper vent and row": (1, *range(7, 13)),
}
HOLED = [(bore, fingering) for bore in ("cylinder", "cone") for fingering in FINGERINGS]
TUBED = [("mouthpiece, cone and holes", fingering) for fingering in TUBED_FINGERINGS]
ENDED = [(name, "closed") for name, bore in BORES.items() if not bore.holes]


@functools.cache
def setup_of(name: str, fingering: str = "closed", volume: float | None = None) -> Setup:
    """One of the bores under the reed of the plain cylinder, silent voice, 96 kHz."""
    setup = setup_for(load_horn("plain-cylinder")).with_value("voice.source", "off")
    bore, volume = BORES[name], VOLUMES.get(name, 9e-6) if volume is None else volume
    setup = setup.model_copy(update={"bore": bore, "mouthpiece": Mouthpiece(volume=volume)})
    return open_holes(setup, (FINGERINGS | TUBED_FINGERINGS)[fingering]) if bore.holes else setup
