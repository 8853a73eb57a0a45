"""From a setup to a take: what is blown and sung, what the reed does, what is heard outside."""

from dataclasses import dataclass
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.kernel.rows import BURST_PA
from reedbore.model.setup import Setup
from reedbore.simulate import outside
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.ear import ear_of
from reedbore.simulate.folds import singing, voiced
from reedbore.simulate.lungs import breathing
from reedbore.simulate.mouth import depth
from reedbore.simulate.player import held_still, player_of, sway
from reedbore.simulate.singing import sing
from reedbore.simulate.tuning import blown
from reedbore.sound import resample

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Take:
    """One rendered result.

    `sung` (as `singing.sing` returns it) and `traces` have a value a step of `setup.time.rate`;
    `sound` is the pressure one metre from the open end at `outside.SOUND_RATE`. [Pa]
    """

    setup: Setup
    seconds: float
    sung: Samples
    traces: single.Traces
    sound: Samples

    @property
    def mouth(self) -> Samples:
        """Pressure in the mouth [Pa], a value a step."""
        return self.traces.mouth

    def _repr_html_(self) -> str:
        """Show sound, picture and verdict in a notebook; it is asked for by no one else."""
        # By name, for it lies above: whoever renders needs no picture.
        return str(import_module("reedbore.report.notebook").take_html(self))


def render(setup: Setup, seconds: float) -> Take:
    """Render a setup from rest.

    Parameters
    ----------
    setup : Setup
        What to play; where its lungs are given the breath follows them.
    seconds : float
        How long, 0.1 to 600. [s]

    Returns
    -------
    Take
        The take, its sound not yet levelled.

    Raises
    ------
    ModelError
        If the length is not allowed, or folds cannot sing what they are asked for. A run that
        diverges is a take too: silent from there on.
    AudioError
        If a recorded voice cannot be used.
    """
    if not 0.1 <= seconds <= 600.0:
        raise ModelError(f"seconds is {seconds:g} s; allowed 0.1 to 600 s (length of a take)")
    stopping.check()
    setup = breathing(setup)
    sung, traces = _played(setup, seconds, 0.0)
    outgoing, broken = traces.outgoing, burst(traces)
    if broken is not None:
        outgoing = outgoing.copy()
        outgoing[broken:] = 0.0
    return Take(setup, seconds, sung, traces, outside.radiated(setup, outgoing))


def burst(traces: single.Traces) -> int | None:
    """Return the step at which a run diverged: no number, or beyond `BURST_PA`; or None."""
    sane = np.abs(traces.pressure) < BURST_PA
    return None if sane.all() else int(np.argmin(sane))


def again(
    setup: Setup,
    seconds: float,
    pull_cents: float | Samples = 0.0,
    voice: bool = True,
    *,
    still: bool = True,
) -> Take:
    """Run a setup again, held still, its voice detuned or left out; no sound is made of it.

    Parameters
    ----------
    setup : Setup
        As for `render`.
    seconds : float
        How long. [s]
    pull_cents : float or ndarray, shape (n,)
        By how much the sung pitch is raised, once for all or at each step. [cents]
    voice : bool
        Whether there is a voice.
    still : bool
        Whether it is held still.

    Returns
    -------
    Take
        With an empty sound.
    """
    stopping.check()
    setup = held_still(setup) if still else setup
    if not voice:
        setup = setup.model_copy(update={"voice": setup.voice.model_copy(update={"source": "off"})})
    return Take(setup, seconds, *_played(setup, seconds, pull_cents), np.zeros(0))


def _played(
    setup: Setup, seconds: float, pull_cents: float | Samples
) -> tuple[Samples, single.Traces]:
    """Sing and play; return what was sung and what the run left behind."""
    breath = blown(setup, seconds)
    breath = breath * sway(setup, breath.size)
    player = player_of(setup, breath.size)
    if setup.voice.drive == "folds":
        singer = singing(setup, breath.size, pull_cents)
        ear = ear_of(setup, breath.size, pull_cents)
        traces = single.run(numbers_of(setup), breath, singer=singer, ear=ear, player=player)
        return voiced(traces), traces
    sung = sing(setup, seconds, pull_cents)
    mouth = breath * (1.0 + depth(setup) * sung)
    return sung, single.run(numbers_of(setup), mouth, player=player)


def throat(take: Take) -> Samples:
    """Return what a microphone in the mouth picks up [Pa], on `outside.SOUND_RATE`."""
    return resample(take.mouth, take.setup.time.rate, outside.SOUND_RATE)


def inside(take: Take) -> Samples:
    """Return the pressure in the mouthpiece [Pa], on `outside.SOUND_RATE`."""
    return resample(take.traces.pressure, take.setup.time.rate, outside.SOUND_RATE)
