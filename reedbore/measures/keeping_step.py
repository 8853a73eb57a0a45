"""How two notes of one recording run against each other: the phase p·φ1 - q·φ2 over a note.

In: a note before one microphone or two, and about what is played and sung. Out: a `Beat`. A real
recording cannot be run again, pulled a little, so the judge of `locking` cannot be asked: what a
note proves is that its phases kept step while the voice itself did not hold still.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import pitch

NARROWEST, WIDEST = 5.0, 30.0
"""Lines farther than this from the one that is followed are kept out: the wider it is, the faster a
beat may be, the narrower, the more noise is borne. [Hz]"""

PARTIALS = 6
"""So many partials at most tell where a note is in its period."""

WEAKEST = 0.1
"""Of the strongest partial: a weaker one tells nothing."""

FASTEST = 6.0
"""Drifts up to here are looked for in lines that fall together. [Hz]"""

INDEPENDENT = 8
"""Of the points of a phase track, sixteen a window, so many hold what one of their own would: the
window's noise is twice as wide as one over its length."""

CHANCE = 4.0
"""One more line explains so many times what noise lets it explain once in a thousand times (F of
10 and 30 degrees of freedom, any handbook of statistics)."""

Samples = NDArray[np.float64]
Ratio = tuple[int, int]


class Beat(NamedTuple):
    """How p·φ1 - q·φ2 runs.

    Attributes
    ----------
    times, cycles : ndarray, shape (n,)
        [s], [cycles]
    drift : float
        Its mean slope. [Hz]
    moves : float
        From its lowest to its highest value. [cycles]
    wanders : float
        How far q·φ2 itself strays from an even course, from lowest to highest. [cycles]
    steady : float
        Share of the power of the lines followed in the horn that neither turns nor beats; two lines
        beside each other beat, though their phase may keep step. 1 where the throat was followed.
        [1]
    strays : float
        How far the phase itself strays from an even course: effective value. [cycles]
    unexplained : float
        Share of the power of the lines followed in the horn that the drift leaves over. [1]
    """

    times: Samples
    cycles: Samples
    drift: float
    moves: float
    wanders: float
    steady: float = 1.0
    strays: float = 0.0
    unexplained: float = 0.0


def beat(
    horn: Samples, voice: Samples, rate: float, notes: tuple[float, float], ratio: Ratio
) -> Beat:
    """Follow the beat of what is played and what a throat microphone hears.

    Parameters
    ----------
    horn, voice : ndarray, shape (n,)
        Before the horn and on the throat, from the same moment on. [any]
    rate : float
        Samples per second. [Hz]
    notes : (f1, f2)
        What is played and sung. [Hz]
    ratio : (p, q)
        At which they are compared.

    Returns
    -------
    Beat
        Over the note but for half a window at either end.
    """
    band = _band(horn.size / rate, notes[0], ratio[1])
    times, first = _phase(horn, rate, notes[0], band)
    # What was taken away with the horn's partials took a share of the voice's along where both
    # fall together: every q-th.
    _, second = _phase(voice, rate, notes[1], band, leave_out=ratio[1] if ratio[1] > 1 else None)
    return _beat(times, first, second, notes, ratio)


class Course(NamedTuple):
    """A pitch over time: seconds from the start of the note, and [Hz]; shape (n,).

    `mean` is the even pitch whose phase lies nearest [Hz], `strays` how far from it: effective
    value. [cycles]
    """

    times: Samples
    hz: Samples
    mean: float
    strays: float


def course(samples: Samples, rate: float, hz: float) -> Course:
    """Follow a pitch as it moves within a note.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The note. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        Its mean pitch. [Hz]

    Returns
    -------
    Course
        From half a window after the start to half a window before the end.
    """
    times, cycles = _phase(
        samples, rate, hz, max(min(WIDEST, 0.25 * hz), 8.0 * rate / samples.size)
    )
    if times.size < 3:
        return Course(np.zeros(0), np.zeros(0), hz, 0.0)
    mean = hz + float(np.polyfit(times, cycles, 1)[0])
    strays = float(np.std(_uneven(times, cycles)))
    return Course(times, hz + np.gradient(cycles, times), mean, strays)


def beat_alone(
    horn: Samples, rate: float, notes: tuple[float, float], ratio: Ratio, orders: NDArray[np.int64]
) -> Beat:
    """Follow the beat in the lines n·f1 ± f2 of the horn alone.

    Parameters
    ----------
    horn : ndarray, shape (n,)
        Before the horn. [any]
    rate : float
        Samples per second. [Hz]
    notes : (f1, f2)
        What is played, and one member of the class of what may be sung. [Hz]
    ratio : (p, q)
        Of these.
    orders : ndarray of int, shape (k,)
        Lines n·f1 + f2 for n ≥ 0 and -n·f1 - f2 for n < 0 that are heard.

    Returns
    -------
    Beat
        Of the member; its drift changes its sign with the member's side.
    """
    played, sung = notes
    p, q = ratio
    band = _band(horn.size / rate, played, q)
    times, first = _phase(horn, rate, played, band)
    total, weights, turned = np.zeros(times.size), 0.0, []
    for order in orders:
        line = pitch.phase_track(horn, rate, abs(order * played + sung), band)
        weight = float(np.median(line.amplitude)) ** 2
        second = np.sign(order * played + sung) * line.cycles - order * first
        total += weight * (second - second.mean())
        weights += weight
        against = second - p / q * first + (sung - p / q * played) * times
        turned.append(line.amplitude * np.exp(2j * np.pi * against))
    found = _beat(times, first, total / max(weights, 1e-30), notes, ratio)
    near = p * played - q * sung
    near = near if abs(near) > FASTEST else 0.0
    drift, steady, unexplained = _two_lines(times, np.array(turned), q, near)
    return found._replace(drift=drift, steady=steady, unexplained=unexplained)


def _two_lines(
    times: Samples, turned: NDArray[np.complex128], q: int, near: float = 0.0
) -> tuple[float, float, float]:
    """Find the drift that explains lines that fall together at a ratio; shape (lines, n).

    Returns
    -------
    drift : float
        Looked for about `near`. [Hz]
    steady : float
        Share of their power that is explained without any. [1]
    unexplained : float
        Share that is left over. [1]

    Notes
    -----
    Near p/q the lines n·f1 + f2 and n'·f1 - (q-1)·f2 lie beside each other, apart by the drift d:
    seen from the just place one turns by -d/q, the other by (q-1)·d/q. Two lines explain more than
    one does also where there is but one, and noise: there they would find a drift of about one
    over the length. So two are taken only if they explain more than chance lets them.
    """
    since = times - times.mean()
    power = float(np.sum(np.abs(turned) ** 2))
    still = float(np.sum(np.abs(turned.mean(axis=1)) ** 2) * times.size / max(power, 1e-30))
    length = float(np.ptp(times)) + float(times[1] - times[0])
    count = round(FASTEST * length / 0.05)
    tried = near + 0.05 / length * np.arange(-count, count + 1)
    left = np.empty((2, tried.size))
    for place, drift in enumerate(tried):
        one = np.exp(-2j * np.pi * drift / q * since) / since.size**0.5
        other = np.exp(2j * np.pi * drift * (q - 1) / q * since)
        basis = np.linalg.qr(np.stack([one, other]).T)[0] if abs(drift) * length > 0.1 else one
        for row, explains in enumerate((one[:, np.newaxis], basis.reshape(since.size, -1))):
            left[row, place] = power - float(np.sum(np.abs(turned @ explains.conj()) ** 2))
    alone, both = left.min(axis=1)
    free = max(times.size / INDEPENDENT - 2.0, 0.5)
    kept = left[1 if (alone - both) * free > CHANCE * both else 0]
    return float(tried[np.argmin(kept)]), still, float(kept.min() / max(power, 1e-30))


def _band(seconds: float, played: float, q: int) -> float:
    """Width about a line that others stay out of. [Hz]."""
    widest = min(WIDEST, 0.5 * played / q)
    return max(min(widest, 16.0 / seconds), NARROWEST, 8.0 / seconds)


def _phase(
    samples: Samples, rate: float, hz: float, band: float, leave_out: int | None = None
) -> tuple[Samples, Samples]:
    """Phase [cycles] of a note against a clock at hz, from its partials; and its times [s]."""
    orders = [
        order
        for order in range(1, PARTIALS + 1)
        if order * hz < 0.4 * rate and (leave_out is None or order % leave_out)
    ]
    tracks = [pitch.phase_track(samples, rate, order * hz, band) for order in orders]
    strength = np.array([float(np.median(track.amplitude)) for track in tracks])
    total, weights = np.zeros(tracks[0].times.size), 0.0
    for order, track, amplitude in zip(orders, tracks, strength, strict=True):
        if amplitude < WEAKEST * strength.max():
            continue
        weight = (order * amplitude) ** 2
        total += weight * (track.cycles - track.cycles.mean()) / order
        weights += weight
    return tracks[0].times, total / max(weights, 1e-30)


def _beat(
    times: Samples, first: Samples, second: Samples, notes: tuple[float, float], ratio: Ratio
) -> Beat:
    (played, sung), (p, q) = notes, ratio
    cycles = p * first - q * second + (p * played - q * sung) * times
    slope = float(np.polyfit(times, cycles, 1)[0]) if times.size > 1 else p * played - q * sung
    wanders = q * float(np.ptp(_uneven(times, second)))
    strays = float(np.std(_uneven(times, cycles)))
    return Beat(times, cycles, slope, float(np.ptp(cycles)), wanders, strays=strays)


def _uneven(times: Samples, cycles: Samples) -> Samples:
    """Return how far a phase departs from an even course. [cycles]."""
    if times.size < 2:
        return np.zeros(times.size)
    return np.asarray(cycles - np.polyval(np.polyfit(times, cycles, 1), times))
