"""A take whose singer listens: what the ear does to a lock, and what is told to practise."""

from dataclasses import replace
from types import SimpleNamespace

import folded
import numba
import pytest

from reedbore.errors import ModelError
from reedbore.notes import cents
from reedbore.report.verdict import _by_ear, rows
from reedbore.simulate.batch import Lanes
from reedbore.simulate.request.take import Words, read_request
from reedbore.simulate.take import render
from reedbore.verdict import runs
from reedbore.verdict.result import NO_CONTROL, bare
from reedbore.verdict.state import Reason, State
from reedbore.verdict.take import judge

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
RATE = 48e3
F3_HZ = 440.0 * 2.0 ** (-16.0 / 12.0)


@pytest.fixture(scope="module")
def fifth():
    """The tenor's B flat 2, and 3/2 of what it plays."""
    setup = folded.tenor(time__rate_hz=RATE)
    return setup, 1.5 * runs.alone(setup, outside=False).hz


def aimed(fifth, off, ear="on"):
    setup, just = fifth
    setup = setup.with_value("voice.frequency_hz", just * 2.0 ** (off / 1200.0))
    return render(setup.with_value("voice.ear", ear), 4.0)


@pytest.fixture(scope="module")
def heard(fifth):
    take = aimed(fifth, -12.0)
    return take, judge(take)


@long_run
def test_ear_takes_an_aim_near_the_just_note_into_the_lock(fifth, heard):
    # Muscles alone lock some 14 to 56 cents under the just note: the horn pushes the voice up. An
    # ear that hears it too high slackens the folds by itself.
    _, verdict = heard
    assert verdict.state == State.LOCKED
    assert verdict.ear_cents == pytest.approx(-29.0, abs=4.0)
    assert cents(verdict.sung_hz, fifth[1]) == pytest.approx(0.0, abs=2.0)
    assert judge(aimed(fifth, -12.0, "off")).state != State.LOCKED


@long_run
def test_what_is_told_to_practise_locks_without_the_ear(fifth, heard):
    _, verdict = heard
    practised = cents(verdict.practise_hz, fifth[1])
    assert practised == pytest.approx(-37.0, abs=4.0)
    found = judge(aimed(fifth, practised, "off"))
    assert found.state == State.LOCKED
    assert found.sung_hz == pytest.approx(verdict.sung_hz, rel=1e-4)
    assert found.ear_cents is found.practise_hz is None


@long_run
def test_ear_takes_a_voice_out_of_the_lock_that_still_muscles_find(fifth):
    assert judge(aimed(fifth, -40.0, "off")).state == State.LOCKED
    assert judge(aimed(fifth, -40.0)).state != State.LOCKED


@long_run
def test_lock_that_the_ear_does_not_leave_alone_is_none(fifth):
    found = judge(aimed(fifth, -2.0))
    assert (found.state, found.reason) == (State.DRIFTING, Reason.EAR)
    assert abs(found.drift_hz) > 0.1


@long_run
def test_correction_is_told_as_what_to_practise(heard):
    take, verdict = heard
    asked = SimpleNamespace(typed=SimpleNamespace(a4_hz=440.0), written=None)
    told = dict(rows(asked, take, verdict))["ear"]
    by = -round(verdict.ear_cents)
    aim, sung = (f"F3{cents(hz, F3_HZ):+.0f}c" for hz in (verdict.practise_hz, verdict.sung_hz))
    assert told == (
        f"slackens the folds by {by} cents; practise aiming at {aim} and leaving it there, though "
        f"{sung} is heard"
    )
    document = verdict.document()
    assert document["ear_cents"] == verdict.ear_cents
    assert document["practise_note"] == aim


@pytest.mark.parametrize(
    ("added", "state", "told"),
    [
        (2.9, State.LOCKED, "has nothing to correct"),
        (-2.9, State.ROUGH, "has nothing to correct"),
        (12.0, State.ROUGH, "tightens the folds by 12 cents"),
        (-12.0, State.DRIFTING, "slackens the folds by 12 cents"),
        (None, State.LOCKED, None),
    ],
)
def test_ear_is_told_as_far_as_it_matters(added, state, told):
    verdict = replace(bare(state, NO_CONTROL, sung=200.0), aimed_hz=200.0, ear_cents=added)
    verdict = replace(verdict, practise_hz=None if added is None else 199.0)
    assert dict(_by_ear(verdict, 440.0)).get("ear") == told


def test_clock_has_no_ear_and_order_of_settings_does_not_matter():
    for settings in (("voice.ear=on", "voice.drive=folds"), ("voice.drive=folds", "voice.ear=on")):
        words = Words(fingered="Bb2", sung="F3", settings=settings)
        assert read_request(words).setup.voice.ear == "on"
    says = r"^voice\.ear is 'on'; only a voice with voice\.drive=folds corrects itself$"
    with pytest.raises(ModelError, match=says):
        read_request(Words(fingered="Bb2", sung="F3", settings=("voice.ear=on",)))


def test_tables_and_maps_have_no_ear():
    with pytest.raises(ModelError, match=r"^voice\.ear is 'on'; allowed in lanes, .* is 'off'"):
        Lanes([folded.tenor(voice__ear="on")], 100.0)
