"""What a singer who listens wants to hear."""

import folded
import numpy as np
import pytest

from reedbore.simulate.controls import Span
from reedbore.simulate.ear import ear_of, ear_of_line

RATE = 48e3
TENOR = folded.tenor(time__rate_hz=RATE, voice__frequency_hz=170.0, voice__ear="on")


def test_ear_wants_what_is_meant_and_no_wander():
    for name, changes in (("vibrato_cents", True), ("scoop_cents", True), ("wander_cents", False)):
        setup = TENOR.with_value(f"voice.{name}", 40.0)
        wanted = ear_of(setup, 48000)._wanted
        assert (np.ptp(wanted) > 0.5) == changes
    raised = ear_of(TENOR, 10, 1200.0)._wanted
    assert raised == pytest.approx(np.full(10, 340.0))


def test_only_folds_that_sing_have_an_ear():
    assert ear_of(TENOR.with_value("voice.ear", "off"), 10) is None
    assert ear_of(TENOR.with_value("voice.source", "off"), 10) is None


def test_ear_of_a_line_wants_each_note_while_it_is_sung():
    spans = Span(0, 0, 24000, 160.0, "", False), Span(1, 24000, 48000, 200.0, "", True)
    gate = np.ones(60000)
    gate[48000:] = 0.0
    wanted = ear_of_line([(span, TENOR) for span in spans], gate.size, gate)._wanted
    assert wanted[[0, 23000]] == pytest.approx(160.0)
    # A slur glides, as the tension does.
    assert wanted[24000] < 180.0 < wanted[28000]
    assert wanted[[30000, 47999]] == pytest.approx(200.0)
    assert (wanted[48000:] == 0.0).all()


def test_nobody_listens_to_a_line_that_is_not_sung():
    assert ear_of_line([], 10, np.zeros(10)) is None
    deaf = TENOR.with_value("voice.ear", "off")
    assert ear_of_line([(Span(0, 0, 10, 160.0, "", False), deaf)], 10, np.ones(10)) is None
