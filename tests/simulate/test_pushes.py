"""When the voice pushes and the reed opens, and which pushes meet the open reed."""

import functools
import math
from dataclasses import replace

import numpy as np
import pytest

from reedbore.kernel.single import Traces
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.simulate import pushes
from reedbore.simulate.take import Take, render
from reedbore.simulate.tuning import tune

RATE = 96000.0


@functools.cache
def take_of(horn: str, midi: int, ratio: float = 0.0, seconds: float = 2.0) -> Take:
    setup = tune(load_horn(horn), midi_to_hz(midi))
    if ratio:
        hz = ratio * midi_to_hz(midi)
        setup = setup.with_value("voice.source", "pulse").with_value("voice.frequency_hz", hz)
    return render(setup, seconds)


def made(p: int, q: int, off_hz: float, phase: float, seconds: float = 2.0) -> Take:
    """A reed that swings evenly at 100 Hz, and a voice at p/q of it, somewhat off."""
    setup = take_of("tenor-saxophone", 46).setup
    time = np.arange(round(seconds * RATE)) / RATE
    opening = setup.reed.held().opening * np.maximum(
        0.5 - 0.5 * np.cos(200.0 * math.pi * time), 0.0
    )
    voice = np.cos(2.0 * math.pi * ((100.0 * p / q + off_hz) * time - phase))
    silent = np.zeros(time.size)
    traces = Traces(silent, silent, opening, silent)
    return Take(setup, seconds, voice, traces, silent)


@pytest.mark.parametrize(("p", "q"), [(5, 2), (3, 2), (2, 1), (1, 1), (1, 2), (4, 3), (7, 4)])
@pytest.mark.parametrize("off", [0.0, 0.004, -0.002])
def test_meetings_of_a_made_pair(p, q, off):
    # The voice peaks, once in p of its periods, at the middle of the open reed, 5 ms.
    sung_hz = 100.0 * p / q * (1.0 + off)
    found = pushes.meetings(made(p, q, 100.0 * p / q * off, 0.005 * sung_hz), 0.0, 0.3)
    assert found.ratio == (p, q)
    assert np.diff(found.openings) == pytest.approx(0.01, rel=0.01)
    assert np.diff(found.sung) == pytest.approx(1.0 / sung_hz, rel=0.01)
    assert found.meets[0] == pytest.approx(0.005, abs=2e-4)
    assert np.diff(found.meets) == pytest.approx(p / sung_hz, rel=0.01)
    # In p sung periods q played ones and some more pass: 100 p / sung - q, per p / sung.
    assert found.drift == pytest.approx(100.0 - q * sung_hz / p, abs=0.05)
    assert found.stands == (off == 0.0)


def test_of_folds_each_swing_counts_though_only_every_third_is_like_another():
    take = made(3, 2, 0.0, 0.75)
    time = np.arange(take.sung.size) / RATE
    uneven = take.sung + 0.3 * np.cos(2.0 * math.pi * 50.0 * time)
    assert pushes.meetings(replace(take, sung=uneven)).ratio == (1, 2)
    folds = take.setup.with_value("voice.source", "pulse").with_value("voice.drive", "folds")
    found = pushes.meetings(replace(take, sung=uneven, setup=folds))
    assert found.ratio == (3, 2)
    assert np.diff(found.sung).mean() == pytest.approx(1.0 / 150.0, rel=1e-3)


def test_a_stretch_may_be_short_or_outside_the_take():
    take = take_of("tenor-saxophone", 46, 2.5)
    for begin, seconds in ((5.0, 1.0), (1.99, 3.0), (-1.0, 0.01), (1.0, 0.0)):
        found = pushes.meetings(take, begin, seconds)
        assert not found.meets.size
        assert found.ratio is None


def test_a_pair_that_is_no_ratio_never_meets():
    found = pushes.meetings(made(1, 1, 137.0 - 100.0, 0.0))
    assert found.ratio is None
    assert not found.meets.size
    assert not found.stands
    assert found.sung.size == pytest.approx(137, abs=1)
    assert found.openings.size == pytest.approx(100, abs=1)


def test_nobody_meets_where_nobody_sings_or_the_reed_rests():
    alone = pushes.meetings(take_of("plain-cylinder", 46))
    assert alone.ratio is None
    assert not alone.sung.size
    setup = take_of("plain-cylinder", 46).setup.with_value("breath.pressure_kpa", 0.6)
    setup = setup.with_value("voice.source", "pulse")
    resting = pushes.meetings(render(setup, 1.0))
    assert resting.ratio is None
    assert resting.sung.size > 50
    assert not resting.meets.size


def test_a_locked_pair_stands_and_a_drifting_one_moves_as_its_beat_does():
    locked = pushes.meetings(take_of("tenor-saxophone", 46, 2.5, 5.0), 3.5, 1.5)
    assert locked.ratio == (5, 2)
    assert locked.stands
    moves = pushes.meetings(take_of("tenor-saxophone", 46, 2.52))
    # Beat p·f_played - q·f_sung, in played periods a second at each p-th push: over p.
    beat = 5.0 * midi_to_hz(46) - 2.0 * 2.52 * midi_to_hz(46)
    assert moves.drift == pytest.approx(beat / 5.0, rel=0.05)
    assert not moves.stands
