"""Captions against what the signals themselves say."""

import functools

import numpy as np
import pytest

from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.report import captions
from reedbore.simulate import bore_pressure, pushes
from reedbore.simulate.acoustics import bore
from reedbore.simulate.take import Take, render
from reedbore.simulate.tuning import tune

RATE = 96000.0
CYLINDERS = [("plain-cylinder", 46), ("clarinet-b-flat", 50)]
CONES = [("plain-cone", 53), ("tenor-saxophone", 46)]
SOFTLY = {"breath__pressure_kpa": 0.6}
BEGIN, INSTANTS = 1.5, 20
LOW = {"shut", "turns-low", "rise-returns"}


def with_values(setup, **values):
    for name, value in values.items():
        setup = setup.with_value(name.replace("__", "."), value)
    return setup


@functools.cache
def take_of(horn: str, midi: int, ratio: float = 0.0, seconds: float = 2.0) -> Take:
    setup = tune(load_horn(horn), midi_to_hz(midi))
    if ratio:
        hz = ratio * midi_to_hz(midi)
        setup = with_values(setup, voice__source="pulse", voice__frequency_hz=hz)
    return render(setup, seconds)


@functools.cache
def seen(horn: str, midi: int, ratio: float = 0.0) -> bore_pressure.BorePressure:
    return bore_pressure.pressures(
        take_of(horn, midi, ratio), BEGIN, 6.0 / midi_to_hz(midi), 480, 40
    )


def kinds_at_each_frame(found, frames: int) -> list[str]:
    kinds: list[str] = []
    ends = [caption.first_frame for caption in found[1:]] + [frames]
    for caption, end in zip(found, ends, strict=True):
        kinds += [caption.kind] * (end - caption.first_frame)
    return kinds


def shown(horn: str, midi: int, ratio: float = 0.0):
    """Take, air, and the kind of caption at each frame."""
    take, air = take_of(horn, midi, ratio), seen(horn, midi, ratio)
    return take, air, kinds_at_each_frame(captions.captions(take, air), air.times.size)


def instants(frames: int) -> list[int]:
    """Twenty frames, spread by the golden section so that they meet all parts of the periods."""
    return sorted(int(frames * (0.618034 * k % 1.0)) for k in range(INSTANTS))


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_at_twenty_instants_the_reed_is_said_to_be_shut_when_it_is(horn, midi):
    take, air, kinds = shown(horn, midi)
    openings = take.traces.opening[air.steps] / take.setup.reed.held().opening
    said = [kinds[frame] in LOW for frame in instants(480)]
    are = [openings[frame] < 0.1 for frame in instants(480)]
    assert said == are
    assert 0 < sum(are) < INSTANTS


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_at_twenty_instants_the_flow_at_the_open_end_agrees(horn, midi):
    """The wave that comes back upside down sucks air out: a rise there is an outflow."""
    _, air, kinds = shown(horn, midi)
    flow = air.outflow - air.outflow.mean()
    swing = 0.05 * np.ptp(flow)
    for frame in instants(480):
        if kinds[frame] == "turns":
            assert flow[frame] > -swing
        if kinds[frame] in {"turns-low", "rise-returns"}:
            assert flow[frame] < swing


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_at_twenty_instants_the_pressure_in_the_mouthpiece_agrees(horn, midi):
    take, air, kinds = shown(horn, midi)
    pressure = take.traces.pressure[air.steps]
    middle = 0.5 * (pressure.max() + pressure.min())
    for frame in instants(480):
        if kinds[frame] in {"turns"}:
            assert pressure[frame] > middle
        if kinds[frame] == "turns-low":
            assert pressure[frame] < middle


def begins(kinds: list[str], kind: str, times) -> np.ndarray:
    return np.array([times[k] for k in range(1, len(kinds)) if kinds[k] == kind != kinds[k - 1]])


def next_after(times, marks) -> np.ndarray:
    """How long after each mark the next of the times comes; marks with none after are left out."""
    return np.array([min(t - m for t in times if t > m) for m in marks if max(times) > m])


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_waves_take_as_long_as_sound_does(horn, midi):
    """There in L/c and back in 2L/c, L with the end correction 0.6 a (Levine, Schwinger 1948)."""
    take, air, kinds = shown(horn, midi)
    period, shape = 1.0 / midi_to_hz(midi), bore_pressure.outline(take.setup)
    radius = shape.profile[-1][1] if take.setup.bore.end == "unflanged" else 0.0
    speed = bore.gas_of(take.setup).sound_speed
    there = (shape.reach + 0.6 * radius) / speed
    step = np.diff(
        take.traces.pressure[air.steps]
        > np.mean([take.traces.pressure[air.steps].max(), take.traces.pressure[air.steps].min()])
    )
    rises = air.times[np.flatnonzero(step & (np.diff(take.traces.pressure[air.steps]) > 0)) + 1]
    falls = air.times[np.flatnonzero(step & (np.diff(take.traces.pressure[air.steps]) < 0)) + 1]
    turns = begins(kinds, "turns", air.times)
    assert np.abs(next_after(turns, rises) - there).max() < 0.08 * period
    assert np.abs(next_after(falls, rises) - 2.0 * there).max() < 0.13 * period
    low = begins(kinds, "turns-low", air.times)
    if low.size:
        assert np.abs(next_after(low, falls) - there).max() < 0.08 * period


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_a_cylinder_makes_two_round_trips_a_period_and_a_cone_one(horn, midi):
    take, air, kinds = shown(horn, midi)
    counts = {kind: begins(kinds, kind, air.times).size for kind in captions.KINDS}
    cone = (horn, midi) in CONES
    assert pushes.widens(take.setup) == cone
    for kind in ("opens", "turns", "returns", "shut"):
        assert 5 <= counts[kind] <= 6, kind
    for kind in ("turns-low", "rise-returns"):
        assert counts[kind] == 0 if cone else 5 <= counts[kind] <= 6, kind
    assert {"still", "closed", "follows", "starts", "narrow", "push"}.isdisjoint(kinds)


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_the_low_pressure_closes_the_reed_and_the_rise_opens_it(horn, midi):
    take, air, kinds = shown(horn, midi)
    opening = take.traces.opening[air.steps] / take.setup.reed.held().opening
    for kind, goes in (("returns", -0.5), ("opens", 0.5)):
        firsts = [k for k in range(1, 480) if kinds[k] == kind != kinds[k - 1]]
        lasts = [k for k in range(1, 480) if kinds[k - 1] == kind != kinds[k]]
        for first in firsts:
            ends = [last for last in lasts if last > first]
            if ends:
                moved = opening[ends[0]] - opening[first]
                assert moved < goes if goes < 0.0 else moved > goes


@pytest.mark.parametrize(("horn", "midi"), CYLINDERS + CONES)
def test_what_shuts_the_reed_is_the_breath_and_nothing_pulls(horn, midi):
    """Where it is said that the breath presses it shut, the breath is the higher pressure."""
    take, air, kinds = shown(horn, midi)
    found = captions.captions(take, air)
    text = next(caption.text for caption in found if caption.kind == "returns")
    assert "breath outside presses the reed shut" in text
    assert all("pull" not in caption.text for caption in found)
    over = take.mouth[air.steps] - take.traces.pressure[air.steps]
    shut = np.array([kind in LOW for kind in kinds])
    assert over[shut].min() > 0.0  # the breath stands above the mouthpiece as long as it is shut
    ends = [k for k in range(1, 480) if kinds[k - 1] == "returns" != kinds[k]]
    assert all(over[k] > over[~shut].mean() for k in ends)
    # Where the reed springs open, most of what pressed it shut is gone.
    opens = [k for k in range(1, 470) if kinds[k] == "opens" != kinds[k - 1]]
    assert all(over[k + 10] < 0.5 * over[shut].max() for k in opens)


def test_a_reed_that_never_shuts_is_not_said_to():
    # Just above the threshold the cylinder swings softly.
    setup = with_values(take_of("plain-cylinder", 46).setup, breath__pressure_kpa=1.62)
    take = render(setup, 4.0)
    air = bore_pressure.pressures(take, 3.8, 3.0 / midi_to_hz(46), 240, 20)
    opening = take.traces.opening[air.steps] / setup.reed.held().opening
    found = captions.captions(take, air)
    kinds = {caption.kind for caption in found}
    assert opening.min() > 0.1
    assert np.ptp(opening) > 0.1
    assert "narrow" in kinds
    assert "shut" not in kinds
    assert all("nearly shut" in c.text for c in found if c.kind == "returns")


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (SOFTLY, "still"),
        ({"breath__pressure_kpa": 9.0}, "closed"),
        (SOFTLY | {"voice__source": "pulse", "voice__depth": 0.1}, "follows"),
        (
            SOFTLY | {"voice__source": "pulse", "voice__drive": "flow", "voice__depth": 0.0},
            "follows",
        ),
    ],
)
def test_a_horn_that_does_not_sound_has_one_caption(values, kind):
    take = render(with_values(take_of("plain-cylinder", 46).setup, **values), 1.0)
    air = bore_pressure.pressures(take, 0.8, 0.05, 100, 10)
    found = captions.captions(take, air)
    assert [(c.first_frame, c.kind) for c in found] == [(0, kind)]
    assert np.ptp(take.traces.pressure[air.steps]) < 0.3 * take.mouth[air.steps].mean()


def test_before_the_first_period_the_sound_builds_up():
    take = take_of("plain-cone", 53)
    air = bore_pressure.pressures(take, 0.0, 0.15, 600, 10)
    found = captions.captions(take, air)
    assert found[0].kind == "starts"
    assert {"opens", "turns", "shut"} <= {caption.kind for caption in found[1:]}
    begun = air.steps[found[1].first_frame]
    swing = np.ptp(take.traces.pressure[-9600:])
    assert np.ptp(take.traces.pressure[: begun - 400]) < 0.6 * swing


def test_captions_are_in_order_short_and_known():
    for horn, midi, ratio in ((*CYLINDERS[0], 0.0), (*CONES[0], 0.0), (*CONES[1], 2.5)):
        found = captions.captions(take_of(horn, midi, ratio), seen(horn, midi, ratio))
        firsts = [caption.first_frame for caption in found]
        assert firsts[0] == 0
        assert firsts == sorted(set(firsts))
        assert firsts[-1] < 480
        assert all(caption.kind in captions.KINDS for caption in found)
        assert all(20 < len(caption.text) < 95 for caption in found)


@pytest.mark.parametrize("ratio", [2.5, 2.52], ids=["locked", "drifting"])
def test_a_push_is_said_when_the_voice_peaks_while_the_reed_is_open(ratio):
    take, air, kinds = shown("tenor-saxophone", 46, ratio)
    found = captions.captions(take, air)
    pushed = [caption for caption in found if caption.kind == "push"]
    assert len(pushed) in {2, 3}
    for push in pushed:
        step = air.steps[push.first_frame]
        frame = air.steps[1] - air.steps[0]
        assert take.sung[step - 2 * frame : step + frame].max() > 0.98
        assert take.traces.opening[step] > 0.1 * take.setup.reed.held().opening
    apart = np.diff([air.times[push.first_frame] for push in pushed])
    assert apart == pytest.approx(5.0 / (ratio * midi_to_hz(46)), rel=0.02)
    says = "at this same moment" if ratio == 2.5 else "a little earlier"
    assert all(says in push.text and "every 5th push" in push.text for push in pushed)
    openings = take.traces.opening[air.steps] / take.setup.reed.held().opening
    miss = [k for k in range(480) if (kinds[k] in LOW) != (openings[k] < 0.1)]
    assert len(miss) <= 3


def test_an_instant_has_one_caption():
    take = take_of("tenor-saxophone", 46, 2.5)
    one = bore_pressure.pressures(take, BEGIN, 0.001, 1, 5)
    assert len(captions.captions(take, one)) == 1
