"""One push in a quiet bore, as the film that the page draws: rows, and what is said of them.

In: the name of a bore and what is at its end. Out: rows of pressure and headers as `bore.moving`
makes them, with captions that are read off the waves themselves.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.model.bore import Bore, BoreSection
from reedbore.model.presets import load_horn
from reedbore.page.answers import shown
from reedbore.simulate.bore_pressure import profile
from reedbore.simulate.pulse import Pulse, pulse

KELVIN = 300.15
"""Of the air, as usual in a setup. [K]"""

BORES = {"tube": "a plain tube", "cone": "a cone", "short": "a short, wide tube"}
ENDS = {
    "open": "the open end",
    "closed": "the stopper",
    "hole": "the open end",
}

Samples = NDArray[np.float64]
Said = tuple[float, str, str]


def bore_named(name: object) -> Bore:
    """Return a bore to send a push down.

    Parameters
    ----------
    name : object
        One of `BORES`: the plain tube and the plain cone of the presets, or one so short and wide
        that its end correction is plainly seen.

    Returns
    -------
    Bore

    Raises
    ------
    ReedboreError
        If there is none of that name.
    """
    if name not in tuple(BORES):
        raise ReedboreError(f"bore is {shown(name)}; there are {', '.join(BORES)}")
    if name == "short":
        return Bore(sections=(BoreSection(length=0.3, entry=0.06, exit=0.06),))
    return load_horn("plain-cone" if name == "cone" else "plain-cylinder").bore


def running(name: object, end: object, frames: int, points: int) -> tuple[Samples, dict[str, Any]]:
    """Send a push down a bore.

    Parameters
    ----------
    name, end : object
        Of `BORES` and `ENDS`.
    frames, points : int
        How finely.

    Returns
    -------
    rows : ndarray, shape (2 · frames, points)
        Pressure along the bore, then the part of it that runs towards the end; in a cone times how
        much wider the bore is there than at the reed, for it thins out as it spreads. [Pa]
    headers : dict
        As of `bore.moving`, and `x-extra`: how far behind an open end the wave turns [m].

    Raises
    ------
    ReedboreError
        If there is no such bore or end.
    """
    bore = bore_named(name)
    if end not in tuple(ENDS):
        raise ReedboreError(f"end is {shown(end)}; there are {', '.join(ENDS)}")
    found = pulse(bore, end, KELVIN, frames, points)  # type: ignore[arg-type]
    entry = bore.diameter_at(0.0)
    wider = np.array([bore.diameter_at(at) for at in found.positions]) / entry
    still = np.zeros(frames)
    rows = np.concatenate((found.pressure * wider, found.forward * wider))
    times = found.times - found.times[0]
    headers = {
        "x-positions": [round(float(at), 6) for at in found.positions],
        "x-times": [round(float(at), 8) for at in times],
        "x-signals": {
            **{key: still.tolist() for key in ("mouth", "opening_mm", "outflow", "sung")},
            "mouthpiece": [round(float(value), 1) for value in found.pressure[:, 0]],
            **dict.fromkeys(("sung_phase", "played_phase", "resultant_phase")),
        },
        "x-captions": [
            [int(np.searchsorted(found.times, at - 1e-12)), text, kind]
            for at, text, kind in _captions(found, end)
        ],
        "x-outline": {
            "outline": [list(point) for point in profile(bore)],
            "holes": [[hole.position, hole.diameter / 2.0, 1.0] for hole in found.bore.holes],
            "end": "closed" if end == "closed" else bore.end,
        },
        "x-ratio": "",
        "x-kind": "pulse",
        "x-widens": bool(wider[-1] > 1.5),
        "x-extra": found.extra,
    }
    return rows, headers


def _captions(found: Pulse, end: str) -> list[Said]:
    """Say what the push does, each sentence read off the waves."""
    length, flight = float(found.positions[-1]), float(found.positions[-1]) / found.speed
    told = [(found.times[0], "A push leaves the reed end, which is shut", "leaves")]
    if found.bore.holes:
        at = found.bore.holes[0].position
        early = _sign(found, 0.5 * at, 1.5 * at / found.speed)
        told.append(
            (
                at / found.speed,
                f"At the open hole a part turns round as a {early}; the rest runs on",
                "hole",
            )
        )
    back = _sign(found, 0.85 * length, 1.15 * flight + found.extra / found.speed)
    over = "upright" if back == "push" else "upside down"
    told.append((flight, f"It meets {ENDS[end]} and comes back {over}: as a {back}", "turns"))
    trip = 2.0 * (flight + found.extra / found.speed)
    if not found.bore.holes:
        again = _sign(found, 0.5 * length, trip + 0.5 * flight, forward=True)
        how = "the same way up" if again == back else "upside down once more"
        told.append(
            (trip, f"The {back} is back at the reed end and leaves again {how}: as a {again}",
             "returns")
        )  # fmt: skip
    return told


def _sign(found: Pulse, position: float, time: float, *, forward: bool = False) -> str:
    """Tell a push from a pull: the strongest wave that passes a place around a time."""
    place = int(np.argmin(np.abs(found.positions - position)))
    wave = found.forward[:, place]
    if not forward:
        wave = found.pressure[:, place] - wave
    around = np.abs(found.times - time) < 0.1 * found.positions[-1] / found.speed
    passing = wave[around]
    return "push" if passing[np.argmax(np.abs(passing))] > 0.0 else "pull"
