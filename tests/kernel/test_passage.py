"""One reed through the bores of a passage: against one take, without clicks, its state kept."""

import functools

import bores
import folded
import numba
import numpy as np
import pytest

from reedbore.kernel import folds, passage, rows, single
from reedbore.kernel.compiler import plain
from reedbore.kernel.folds import Postures
from reedbore.kernel.passage import Change
from reedbore.kernel.player import STILL
from reedbore.measures import pitch
from reedbore.model.presets import load_horn
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown, tune

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
RATE = 96000.0
NOTES = {
    "tenor-saxophone": (116.54, 146.83),  # two lengths of one cone
    "alto-saxophone": (146.83, 174.61),  # two sets of holes
    "clarinet-b-flat": (146.83, 440.0),  # the vent opens, which is another delay line
}
FINGERS = 960  # [steps]: 10 ms


@functools.cache
def numbers(horn, hz, coupling="off"):
    return numbers_of(tune(load_horn(horn), hz).with_value("tract.coupling", coupling))


@functools.cache
def breath(horn, hz, seconds):
    return blown(tune(load_horn(horn), hz), seconds)


def slurred(horn, change, seconds=2.0):
    """Play the two notes of a horn, the second from a step on."""
    low, high = NOTES[horn]
    mouth = breath(horn, low, seconds)
    changes = [Change(0, 0, 0), Change(change, 1, FINGERS)]
    both = [numbers(horn, low), numbers(horn, high)]
    return passage.play(both, changes, mouth)


def tongued(tongue):
    return STILL._replace(tongue=tongue)


def note(pressure):
    thinned, rate = pitch.thin(pressure, RATE)
    return pitch.refine(thinned, rate, pitch.fundamental(thinned, rate).hz)


@pytest.mark.parametrize("horn", NOTES)
@pytest.mark.parametrize("coupling", ["off", "on"])
@pytest.mark.parametrize("place", [0, pytest.param(1, marks=pytest.mark.ci)])
def test_one_note_is_the_take_to_the_last_bit(horn, coupling, place):
    hz = NOTES[horn][place]
    one, mouth = numbers(horn, hz, coupling), breath(horn, hz, 0.05)
    taken = single.run(one, mouth)
    passed = passage.play([one], [Change(0, 0, 0)], mouth)
    for ours, theirs in zip(passed, taken, strict=True):
        assert ours.tobytes() == theirs.tobytes()


@pytest.mark.parametrize("coupling", [pytest.param("off", marks=pytest.mark.ci), "on"])
def test_plain_run_is_the_compiled_run(coupling):
    low, high = (numbers("clarinet-b-flat", hz, coupling) for hz in NOTES["clarinet-b-flat"])
    mouth = breath("clarinet-b-flat", 146.83, 0.03)
    tongue = np.linspace(1.0, 0.5, mouth.size)
    changes = [Change(0, 0, 0), Change(1000, 1, 400)]
    loops = passage.make_loops("mass", coupling == "on", plain)
    both = (
        passage.play([low, high], changes, mouth, tongued(tongue), how) for how in (None, loops)
    )
    for ours, theirs in zip(*(traces[:4] for traces in both), strict=True):
        assert np.abs(ours - theirs).max() <= 1e-12 * np.abs(theirs).max()


@pytest.mark.parametrize("gone", [1, 5, 9, 10])
def test_one_bore_goes_over_into_the_other_along_half_a_cosine(gone):
    # Ten steps: after so many of them sin² of as many tenths of a right angle.
    first = numbers("tenor-saxophone", 116.54)
    second, row = first._replace(table=first.table.copy()), rows.CONTACT
    second.table[row] += 8.0
    listen, loop = passage.make_loops("mass", compile_with=plain)
    seen = []

    def spied(table, *others):
        loop(table, *others)
        seen.append(table[row, 0] - first.table[row])

    mouth = np.zeros(20 + gone)
    passage.play(
        [first, second], [Change(0, 0, 0), Change(20, 1, 10)], mouth, STILL, (listen, spied)
    )
    assert seen[-1] == pytest.approx(8.0 * np.sin(0.05 * np.pi * gone) ** 2)


@long_run
@pytest.mark.parametrize("horn", NOTES)
def test_going_over_to_the_same_bore_changes_nothing(horn):
    one, mouth = numbers(horn, NOTES[horn][0]), breath(horn, NOTES[horn][0], 1.0)
    changes = [Change(0, 0, 0), Change(60000, 1, FINGERS)]
    passed = passage.play([one, one], changes, mouth)
    assert np.abs(passed.pressure - single.run(one, mouth).pressure).max() < 0.05  # [Pa] of 3000


@long_run
@pytest.mark.parametrize("horn", NOTES)
def test_a_slur_leads_to_the_note_that_the_second_bore_plays(horn):
    high = NOTES[horn][1]
    alone = single.run(numbers(horn, high), breath(horn, NOTES[horn][0], 2.0)).pressure
    passed = slurred(horn, 96000)
    assert note(passed.pressure[-48000:]) == pytest.approx(note(alone[-48000:]), rel=1e-4)


@long_run
@pytest.mark.parametrize("horn", NOTES)
@pytest.mark.parametrize("phase", range(0, 800, 100))
def test_a_slur_does_not_click(horn, phase):
    # The pressure of a beating reed has steep flanks of its own: no steeper one at the slur.
    change = 96000 + phase
    pressure = slurred(horn, change, 1.5).pressure
    jerk = np.abs(np.diff(pressure, 2))
    steady = max(jerk[80000:95000].max(), jerk[-15000:].max())
    assert jerk[change : change + 2 * FINGERS].max() < 1.3 * steady


@long_run
@pytest.mark.parametrize("horn", NOTES)
def test_the_reed_goes_on_through_a_slur(horn):
    # Begun afresh it would stand open, 1.0 of its rest, and take its time to speak.
    passed = slurred(horn, 96000)
    swing = [np.ptp(passed.opening[at : at + 2000]) for at in range(96000, 110000, 2000)]
    assert min(swing) > 0.3 * np.ptp(passed.opening[90000:96000])


@long_run
def test_the_tongue_stops_the_reed_and_lets_it_speak_again():
    one, mouth = numbers("tenor-saxophone", 116.54), breath("tenor-saxophone", 116.54, 3.0)
    tongue = np.ones(mouth.size)
    tongue[96000:172800] = 0.0
    passed = passage.play([one], [Change(0, 0, 0)], mouth, tongued(tongue))
    # Shut off from the breath, the bore rings on by itself, 0.8 s, as a closed tube does.
    assert np.ptp(passed.pressure[160000:170000]) < 0.05 * np.ptp(passed.pressure[80000:95000])
    assert np.abs(passed.opening[160000:170000]).max() < 0.1 * one.opening
    assert note(passed.pressure[-48000:]) == pytest.approx(note(passed.pressure[48000:95000]), 1e-4)


# --- a tube before a cone, and a vent ------------------------------------------------------------


def tubed(fingering):
    return bores.setup_of("mouthpiece, cone and holes", fingering).with_value("breath.rise_ms", 5.0)


@pytest.mark.parametrize("fingering", ["upper vent and row", "lower vent and row"])
def test_one_note_under_a_vent_behind_a_tube_is_the_take_to_the_last_bit(fingering):
    one, mouth = numbers_of(tubed(fingering)), blown(tubed(fingering), 0.05)
    assert one.table[rows.JUNCTION_TIP] > 0.0
    taken, passed = single.run(one, mouth), passage.play([one], [Change(0, 0, 0)], mouth)
    for ours, theirs in zip(passed, taken, strict=True):
        assert ours.tobytes() == theirs.tobytes()
    assert np.ptp(taken.pressure) > 100.0


@long_run
@pytest.mark.parametrize("way", [("row", "lower vent and row"), ("lower vent and row", "row")])
def test_a_slur_over_the_break_does_not_click_where_a_tube_is_before_the_cone(way):
    # The waves at the reed are plane under a vent, else those of a cone: the step takes both.
    both = [numbers_of(tubed(fingering)) for fingering in way]
    mouth, change = blown(tubed("row"), 2.0), 96000
    pressure = passage.play(both, [Change(0, 0, 0), Change(change, 1, FINGERS)], mouth).pressure
    jerk = np.abs(np.diff(pressure, 2))
    steady = max(jerk[80000:95000].max(), jerk[-15000:].max())
    assert jerk[change : change + 2 * FINGERS].max() < 1.3 * steady
    alone = single.run(both[1], mouth).pressure
    assert note(pressure[-48000:]) == pytest.approx(note(alone[-48000:]), rel=1e-4)


# --- folds ---------------------------------------------------------------------------------------


def still_line(singer, steps):
    """A line of one note: nothing goes on but singing."""
    table = singer.numbers[:, 0]
    kept = (np.full(steps, table[row]) for row in (folds.REST, folds.WAVE_DELAY, folds.CHINK))
    return Postures(*kept, lungs=np.zeros(steps))


@pytest.mark.parametrize("compiled", [True, False])
def test_one_sung_note_is_the_take_to_the_last_bit(compiled):
    setup = folded.tenor(breath__rise_ms=2.0)
    steps = 4800 if compiled else 600
    one, mouth = numbers_of(setup), blown(setup, 0.1)[:steps]
    taken = single.run(one, mouth, singer=folded.singer_for(setup, steps))
    singer = folded.singer_for(setup, steps)
    loops = None if compiled else passage.make_loops("mass", True, plain, folds=True)
    passed = passage.play(
        *([one], [Change(0, 0, 0)], mouth, STILL, loops),
        singer=singer,
        postures=still_line(singer, steps),
    )
    for ours, theirs in zip(passed, taken, strict=True):
        assert ours.tobytes() == theirs.tobytes()
    assert np.ptp(passed.half_gap) > 1e-5


def test_singer_does_what_each_step_of_a_line_asks_for():
    # What is asked for at a step counts from that step on, and not before.
    setup, at = folded.tenor(breath__rise_ms=2.0), 600
    one, mouth = numbers_of(setup), blown(setup, 0.1)[:1200]
    found = {}
    for name in ("", *Postures._fields):
        singer = folded.singer_for(setup, 1200)
        line = still_line(singer, 1200)
        if name:
            getattr(line, name)[at] += {"rest": 1e-4, "delay": 1e-4, "chink": 1e-5, "lungs": 9.0}[
                name
            ]
        play = functools.partial(passage.play, singer=singer, postures=line)
        found[name] = play([one], [Change(0, 0, 0)], mouth)
    for name in Postures._fields:
        moved = found[name].half_gap != found[""].half_gap
        assert at <= np.argmax(moved) <= at + 1
        assert moved.any()
