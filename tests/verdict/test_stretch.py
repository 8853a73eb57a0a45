"""What is measured inside a note: its mean beat, whether anybody sings, whether it still starts."""

import dataclasses
import math
import re

import numpy as np
import pytest
from note_pieces import B_FLAT, FINGERS, LOCKS, Piece, set_out, sung, tenor_setup
from numpy.typing import NDArray

from reedbore.measures import locking
from reedbore.model.passage import Passage
from reedbore.model.setup import Setup
from reedbore.simulate.performance import Performance, Score, Stretch, perform
from reedbore.verdict.passage import NoteVerdict, judge_notes
from reedbore.verdict.state import Reason
from reedbore.verdict.stretch import mean_beat

BESIDE = LOCKS * 2.0 ** (3.0 / 1200.0)  # drifts, heard as 5/2
APART = B_FLAT * 2.0 ** (650.0 / 1200.0)  # near no ratio


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return tenor_setup()


@pytest.fixture(scope="module")
def beside(tenor: Setup) -> tuple[Performance, Stretch]:
    performance, (cut,) = set_out(tenor, [Piece(BESIDE, 2.0)])
    return performance, cut


def changed(performance: Performance, voice: dict[str, object]) -> Performance:
    """Say that another voice has sung it."""
    setup = performance.score.setups[FINGERS]
    for name, value in voice.items():
        setup = setup.with_value(f"voice.{name}", value)
    score = dataclasses.replace(performance.score, setups={FINGERS: setup})
    return dataclasses.replace(performance, score=score)


def with_depth(performance: Performance, depth: NDArray[np.float64]) -> Performance:
    return dataclasses.replace(performance, controls=performance.controls._replace(depth=depth))


def judged(performance: Performance, cut: Stretch, *, held: bool = False) -> NoteVerdict:
    (row,) = judge_notes(performance, cuts=[cut], held=held)
    return row


def slip(times: NDArray[np.float64], pull: float, detuning: float, start: float) -> locking.Course:
    """Solve dφ/dt = detuning - pull·sin φ exactly. [rad/s].

    R. Adler, A study of locking phenomena in oscillators, Proc. IRE 34, 1946 (from memory).
    """
    beat = math.sqrt(detuning**2 - pull**2)
    half = 0.5 * beat * (times - start)
    turns = np.rint(half / math.pi)
    angle = np.arctan(pull / detuning + beat / detuning * np.tan(half)) / math.pi
    return locking.Course(times, angle + turns, 100.0)


@pytest.mark.parametrize("start", [0.0, 0.6, 1.1, 1.7])
@pytest.mark.parametrize("seconds", [3.0, 4.0, 6.0])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_the_beat_of_an_uneven_slip_is_its_mean(start, seconds, way):
    detuning = 6.0
    pull = math.sqrt(detuning**2 - (2.0 * math.pi * 0.45) ** 2)
    course = slip(np.arange(0.1, seconds - 0.1, 0.0125), pull, detuning, start)
    course = course._replace(cycles=way * course.cycles)
    # The mean is sqrt(detuning² - pull²), by the same paper: here 0.45 slips a second.
    assert mean_beat(course) == pytest.approx(way * 0.45, rel=0.02)


def test_a_quarter_of_an_uneven_slip_tells_another_beat():
    detuning = 6.0
    pull = math.sqrt(detuning**2 - (2.0 * math.pi * 0.45) ** 2)
    course = slip(np.arange(0.1, 2.9, 0.0125), pull, detuning, 1.1)
    last = slice(-course.times.size // 4, None)
    assert abs(np.polyfit(course.times[last], course.cycles[last], 1)[0] - 0.45) > 0.1


@pytest.mark.parametrize("start", [0.2, 1.1])
def test_the_beat_of_a_note_beside_its_lock_is_the_mean(tenor, start):
    performance, (cut,) = set_out(tenor, [Piece(BESIDE, 4.0)])
    time = np.arange(performance.sung.size) / performance.score.rate
    pull = math.sqrt(6.0**2 - (2.0 * math.pi * 0.45) ** 2)
    # p·f_played - q·f_sung is the slip: five times that of the played note alone.
    turns = 0.4 * BESIDE * time + slip(time, pull, 6.0, start).cycles / 5.0
    made = performance.traces._replace(pressure=1500.0 * np.sin(2.0 * np.pi * turns))
    voice = np.sin(2.0 * np.pi * BESIDE * time)
    row = judged(dataclasses.replace(performance, traces=made, sung=voice), cut)
    assert (row.reached.state, row.reached.ratio) == ("drifting", (5, 2))
    assert row.reached.drift_hz == pytest.approx(0.45, rel=0.03)


def test_a_course_without_a_whole_slip_has_the_mean_of_its_later_part():
    times = np.arange(0.0, 4.0, 0.01)
    # It comes to rest: 0.3 cycles die down within a second.
    dying = locking.Course(times, 0.3 * np.exp(-times), 100.0)
    middle = times[times >= 0.3]
    middle = middle[middle.size // 2]
    mean = 0.3 * (math.exp(-times[-1]) - math.exp(-middle)) / (times[-1] - middle)
    assert mean_beat(dying) == pytest.approx(mean, rel=1e-9)
    even = locking.Course(times, 0.2 * times, 100.0)
    assert mean_beat(even) == pytest.approx(0.2, rel=1e-9)


@pytest.mark.parametrize(("extent", "beats"), [(5.0, True), (50.0, False)])
def test_a_voice_that_wanders_has_no_beat(beside, extent, beats):
    performance, cut = beside
    performance = changed(performance, {"vibrato_cents": extent})
    rate = performance.score.rate
    time = np.arange(performance.sung.size) / rate
    bent = BESIDE * 2.0 ** (extent / 1200.0 * np.sin(2.0 * np.pi * 5.5 * time))
    turns = np.cumsum(bent) / rate
    voice = sum(np.sin(2.0 * np.pi * k * turns) / k for k in (1, 2, 3))
    row = judged(dataclasses.replace(performance, sung=voice), cut)
    assert (row.reached.state, row.reached.ratio) == ("drifting", (5, 2))
    assert (row.reached.drift_hz is not None) == beats
    found = re.match("the voice wanders by ([0-9]+) cents", str(row.reached.reason))
    assert (found is None) == beats
    if found:
        # A sine's standard deviation is its extent over the root of 2.
        assert float(found[1]) == pytest.approx(extent / math.sqrt(2.0), rel=0.1)


@pytest.mark.parametrize(("first", "seconds"), [(0.5, 1.0), (0.0, 3.0)])
def test_a_crescendo_is_not_taken_for_a_start(tenor, first, seconds):
    # From nothing within a second the reed begins to sound in the later half, and is starting.
    line = f"Bb2:{seconds:g}"
    passage = Passage(
        tempo=1.0, fingered=line, sung=f"C4:{seconds:g}", breath=f"{first:g}@0 1@{seconds:g}"
    )
    score = Score(passage, {FINGERS: sung(tenor, Piece(220.0, 1.0))})
    (row,) = judge_notes(perform(score), held=False)
    assert (row.reached.state, row.reached.reason) == ("rough", None)


def test_a_horn_that_has_jumped_is_not_taken_for_one_that_starts(tenor):
    performance, (cut,) = set_out(tenor, [Piece(APART, 1.5)])
    time = np.arange(performance.sung.size) / performance.score.rate
    twelfth = 1500.0 * np.sin(2.0 * np.pi * 3.0 * B_FLAT * time)
    left = 60.0 * time * np.sin(2.0 * np.pi * B_FLAT * time)
    made = performance.traces._replace(pressure=twelfth + left)
    row = judged(dataclasses.replace(performance, traces=made), cut)
    assert (row.reached.state, row.reached.jumped) == ("rough", True)
    assert row.reached.played_hz == pytest.approx(3.0 * B_FLAT, rel=1e-3)


def test_a_flow_sings_whatever_depth_is_set(beside):
    performance, cut = beside
    none = with_depth(performance, np.zeros(performance.sung.size))
    row = judged(changed(none, {"drive": "flow", "depth": 0.0}), cut)
    assert (row.reached.state, row.reached.ratio) == ("drifting", (5, 2))
    twice = judged(changed(none, {"drive": "flow", "flow_ml_per_s": 200.0}), cut)
    # A source of flow passes a linear airway: twice the flow is twice the depth.
    assert twice.depth == pytest.approx(2.0 * row.depth)


@pytest.mark.parametrize(("off", "reason"), [(4.0, None), (6.0, Reason.OTHERWISE)])
def test_a_held_pair_up_to_5_cents_away_is_the_same_note(beside, off, reason):
    # Both drift when held, and are heard as 5/2 like the note itself.
    performance, cut = beside
    asked = cut._replace(sung_hz=BESIDE * 2.0 ** (off / 1200.0))
    row = judged(performance, asked, held=True)
    assert (row.held.state, row.held.ratio, row.held.reason) == ("drifting", (5, 2), None)
    assert (row.reached.state, row.reached.reason) == ("drifting", reason)


def test_at_no_depth_the_horn_is_alone_in_the_note_and_held(beside):
    performance, cut = beside
    row = judged(with_depth(performance, np.zeros(performance.sung.size)), cut, held=True)
    assert (row.reached.state, row.held.state, row.depth) == ("unsung", "unsung", 0.0)
    assert row.held.sung_hz is None


def test_a_voice_that_sings_but_in_the_middle_of_a_note_has_sung(beside):
    performance, cut = beside
    swell = 0.1 * np.abs(np.linspace(-1.0, 1.0, performance.sung.size))
    swell[(cut.first + cut.end) // 2] = 0.0
    row = judged(with_depth(performance, swell), cut)
    assert (row.reached.state, row.depth) == ("drifting", 0.1)


def test_a_voice_that_is_off_has_no_plan(beside):
    performance, cut = beside
    silent = dataclasses.replace(performance, sung=np.zeros(performance.sung.size))
    row = judged(changed(silent, {"source": "off"}), cut, held=True)
    assert (row.sung_hz, row.planned, row.held, row.depth) == (None, None, None, None)
    assert row.reached.state == "unsung"


def test_a_recording_without_a_steady_note_has_neither_ratio_nor_beat(beside, tmp_path):
    performance, cut = beside
    heard = {"file": str(tmp_path / "hum.wav"), "source": "recording"}
    row = judged(changed(performance, heard), cut._replace(sung_hz=None))
    found = row.reached
    assert (found.state, found.reason) == ("rough", Reason.NO_NOTE)
    assert (found.ratio, found.drift_hz, found.sung_hz, found.resultant_hz) == (None,) * 4
    assert found.played_hz == pytest.approx(B_FLAT, rel=1e-3)


def test_false_folds_are_planned_at_the_pitch_at_which_the_voice_repeats(beside):
    performance, cut = beside
    row = judged(changed(performance, {"false_folds": 2}), cut._replace(sung_hz=2.0 * BESIDE))
    assert (row.folds, row.sung_hz) == (2, 2.0 * BESIDE)
    assert row.planned.sung_hz == BESIDE
    assert row.planned.ratio == row.reached.ratio == (5, 2)
