"""What a moving picture of the mechanism shows: numbers for each frame, and for its strip of time.

A scene knows nothing of drawing; the panels of the picture know nothing of simulations.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.model.bore import Bore
from reedbore.report import captions
from reedbore.simulate import bore_pressure, pushes
from reedbore.simulate.outside import FULL_SCALE_PA, SOUND_RATE
from reedbore.simulate.take import Take
from reedbore.sound import Levelled, fade, mute_broken, remove_dc, resample, to_full_scale

PAGE_PERIODS = 3
"""Common periods that the strip shows at once, at most."""

PAGE_CYCLES = 8
"""Cycles of the horn, or else of the voice, that it shows where there is no common period."""

BEGIN_S = 3.0
"""When in a take the picture begins, give or take a period: by then the note has settled. [s]"""

BEFORE = 0.12
"""So much of a period is seen before the two waves first come round together."""

LOOK_S = 0.5
"""So far on the beginning of a period is looked for. [s]"""

POINTS = 120
"""Places along the bore."""

FADE_S = 0.02
"""How long the sound of it is faded. [s]"""

HOLD_S = 1.2
"""A caption of two lines is read in this time, at a glance. [s]"""

FAINTEST = 0.3
"""Colours and curves span at least this share of the blowing pressure: silence looks like it."""

Samples = NDArray[np.float64]

NOTHING: Samples = np.zeros(0)


class Course(NamedTuple):
    """What the strip draws: each field has shape (n,), finer than the frames.

    `times` [s] as those of the scene, `mouth` [Pa], `opening` [m]; where folds sing, `folds`, how
    far they stand apart [m], and `inside`, the pressure in the mouthpiece [Pa], else empty.
    """

    times: Samples
    mouth: Samples
    opening: Samples
    folds: Samples = NOTHING
    inside: Samples = NOTHING


class Beats(NamedTuple):
    """Instants [s] that tick in the strip; empty where there is no such note.

    `sung` are the peaks of the sung pressure, `played` the openings of the reed, `common` those
    sung peaks that meet the open reed. `steady` tells whether these meet it at the same moment of
    its swing each time.
    """

    sung: Samples
    played: Samples
    common: Samples
    steady: bool = True


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is shown.

    Attributes
    ----------
    title, says : str
        What is fingered and sung, and what becomes of it.
    slow : float
        How many times slower than in truth.
    rate : int
        Frames a second.
    times : ndarray, shape (frames,)
        Of each frame, from the first one. [s]
    positions : ndarray, shape (points,)
        Along the bore, from the reed. [m]
    pressure, away, back : ndarray, shape (frames, points)
        Along the bore: the whole, and the parts that travel from the reed and to it. [Pa]
    mouth, outflow : ndarray, shape (frames,)
        Pressure in the mouth [Pa] and flow out of the open end [m³ s⁻¹].
    opening : ndarray, shape (frames,)
        Between reed tip and lay. [m]
    inflow : ndarray, shape (frames,)
        Past the reed into the mouthpiece, as a share of the largest; negative out of it.
    folds : ndarray, shape (frames,)
        How far folds that sing stand apart; empty where none do. [m]
    captions : tuple of str
        What happens now, one a frame.
    course, beats : Course, Beats
        For the strip.
    page : float
        How much time the strip shows at once. [s]
    ratio : (int, int) or None
        p/q, sung over fingered, where voice and horn have a common period.
    bore : Bore
        Its outline.
    breath, opening_rest : float
        Blowing pressure [Pa], and opening [m] that the reed has at rest.
    """

    title: str
    slow: float
    rate: int
    times: Samples
    positions: Samples
    pressure: Samples
    away: Samples
    back: Samples
    mouth: Samples
    outflow: Samples
    opening: Samples
    inflow: Samples
    captions: tuple[str, ...]
    course: Course
    beats: Beats
    page: float
    ratio: tuple[int, int] | None
    bore: Bore
    breath: float
    opening_rest: float
    says: str = ""
    folds: Samples = field(default_factory=lambda: NOTHING)

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return self.times.size

    @cached_property
    def largest(self) -> float:
        """Largest pressure along the bore [Pa], at least a little."""
        return max(float(np.abs(self.pressure).max()), FAINTEST * self.breath, 1.0)

    def page_start(self, frame: int) -> float:
        """Return the time [s] at which the strip begins that is shown with a frame."""
        return self.page * math.floor(self.times[frame] / self.page + 1e-9)


class Told(NamedTuple):
    """A caption on a frame, and whether it happens now or has just been."""

    text: str
    now: bool


def held(captions: Sequence[str], rate: int) -> list[Told]:
    """Choose captions that can be read where they would follow each other too fast.

    Parameters
    ----------
    captions : sequence of str
        What happens on each frame.
    rate : int
        Frames a second.

    Returns
    -------
    list of Told
        One a frame. Where captions last for `HOLD_S` on average they stay as they are. Else each
        begins when it happens and stays for `HOLD_S`, and what has been told least comes next.
    """
    starts, texts = [0], []
    for text, run in groupby(captions):
        texts.append(text)
        starts.append(starts[-1] + len(list(run)))
    hold = round(HOLD_S * rate)
    if len(captions) >= hold * len(texts):
        return [Told(text, True) for text in captions]
    chosen, count = [0], Counter(texts[:1])
    while True:
        free = starts[chosen[-1]] + hold
        coming = [k for k in range(len(texts)) if starts[k] >= free]
        if not coming:
            break
        soon = [k for k in coming if starts[k] < free + hold] or coming[:1]
        chosen.append(min(soon, key=lambda k: (count[texts[k]], k)))
        count[texts[chosen[-1]]] += 1
    return [
        Told(texts[k], starts[k] <= frame < starts[k + 1])
        for k, end in zip(chosen, [*(starts[k] for k in chosen[1:]), len(captions)], strict=True)
        for frame in range(starts[k], end)
    ]


def page_span(beats: Beats, span: float) -> float:
    """Choose how much time [s] the strip shows at once, for a picture of such a span [s]."""
    if beats.common.size > 1:
        period = float(np.diff(beats.common).mean())
        return min(PAGE_PERIODS, math.ceil(span / period)) * period
    for ticks in (beats.played, beats.sung):
        if ticks.size > 1:
            return PAGE_CYCLES * float(np.diff(ticks).mean())
    return min(span, LOOK_S)


def take_seconds(video: float, slow: float, *, sound: bool) -> float:
    """Tell how long a take must be to be shown.

    Parameters
    ----------
    video : float
        How long the moving picture is. [s]
    slow : float
        How many times slower than in truth.
    sound : bool
        Whether it is heard at its true speed for as long as that.

    Returns
    -------
    float
        [s]
    """
    return BEGIN_S + LOOK_S + max(video if sound else 0.0, video / slow + LOOK_S)


def scene_of(
    take: Take, video: float, slow: float, rate: int, *, title: str
) -> tuple[Scene, float]:
    """Choose a stretch late in a take, and work out what is seen in it.

    Parameters
    ----------
    take : Take
        As long as `take_seconds` tells.
    video : float
        How long the moving picture is to be. [s]
    slow : float
        How many times slower than in truth.
    rate : int
        Frames a second.
    title : str
        What is fingered and sung.

    Returns
    -------
    scene : Scene
        What is shown; what becomes of it is not yet said.
    begin : float
        Where in the take it begins. [s]

    Raises
    ------
    ModelError
        If the run broke down.
    """
    span, frames = video / slow, round(video * rate)
    found = pushes.meetings(take, BEGIN_S, LOOK_S + max(span, LOOK_S))
    begin = _begin(found)
    air = bore_pressure.pressures(take, begin, span, frames, POINTS)
    beats = Beats(found.sung - begin, found.openings - begin, found.meets - begin, found.stands)
    page = min(page_span(beats, span), LOOK_S)
    opening = np.maximum(take.traces.opening, 0.0)
    scene = Scene(
        title=title, slow=slow, rate=rate, times=air.times - air.times[0],
        positions=air.positions, pressure=air.pressure, away=air.forward, back=air.backward,
        mouth=take.mouth[air.steps], outflow=air.outflow, opening=opening[air.steps],
        inflow=_inflow(take, air.steps), captions=_captions(take, air),
        course=_course(take, begin, max(span, page)), beats=beats, page=page,
        ratio=found.ratio, bore=take.setup.bore, breath=take.setup.breath.pressure,
        opening_rest=take.setup.reed.held().opening,
        folds=_apart(take)[air.steps] if take.setup.voice.folded else NOTHING,
    )  # fmt: skip
    return scene, begin


def heard(take: Take, begin: float, video: float, slow: int = 1) -> Levelled:
    """Cut the sound of a moving picture out of a take.

    Parameters
    ----------
    take : Take
        Long enough.
    begin : float
        Where the picture begins. [s]
    video : float
        How long it is. [s]
    slow : int
        How many times slower, and so lower, the sound is.

    Returns
    -------
    Levelled
        On `SOUND_RATE`, levelled as all sounds of the program are.
    """
    whole, _ = mute_broken(take.sound, SOUND_RATE)
    first, count = round(begin * SOUND_RATE), round(video * SOUND_RATE)
    length = -(-count // slow)
    stretch = remove_dc(whole, SOUND_RATE)[first : first + length]
    stretched = resample(stretch, 1, slow)[:count]
    return to_full_scale(fade(stretched, SOUND_RATE, FADE_S), FULL_SCALE_PA)


def _begin(found: pushes.Meetings) -> float:
    """Begin a little before voice and reed come round together, or before the reed opens. [s]."""
    ticks = found.meets if found.meets.size > 1 else found.openings
    if ticks.size < 2:
        return BEGIN_S
    period = float(np.diff(ticks).mean())
    first = float(ticks[ticks >= BEGIN_S + BEFORE * period][0])
    return first - BEFORE * period if first < BEGIN_S + LOOK_S else BEGIN_S


def _captions(take: Take, air: bore_pressure.BorePressure) -> tuple[str, ...]:
    """Say for each frame what happens."""
    found = captions.captions(take, air)
    starts = [caption.first_frame for caption in found]
    place = np.searchsorted(starts, np.arange(air.steps.size), side="right") - 1
    return tuple(found[number].text if number >= 0 else "" for number in place)


def _inflow(take: Take, steps: NDArray[np.int64]) -> Samples:
    """Estimate the flow past the reed by Bernoulli, as a share of its largest."""
    drop = (take.mouth - take.traces.pressure)[steps]
    flow = np.maximum(take.traces.opening[steps], 0.0) * np.sign(drop) * np.sqrt(np.abs(drop))
    largest = float(np.abs(flow).max())
    return flow / largest if largest > 0.0 else flow


def _course(take: Take, begin: float, span: float) -> Course:
    rate = take.setup.time.rate
    first = round(begin * rate)
    end = min(first + round(span * rate) + 1, take.mouth.size)
    opening = np.maximum(take.traces.opening[first:end], 0.0)
    course = Course(np.arange(end - first) / rate, take.mouth[first:end], opening)
    if not take.setup.voice.folded:
        return course
    return course._replace(folds=_apart(take)[first:end], inside=take.traces.pressure[first:end])


def _apart(take: Take) -> Samples:
    """Return how far the folds stand apart, 0 where they touch. [m]."""
    return 2.0 * np.maximum(take.traces.half_gap, 0.0)
