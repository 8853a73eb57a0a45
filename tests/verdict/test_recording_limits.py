"""Three things that a recording is told wrongly, or not at all, kept with their reasons.

They hold what is so today: who mends one has to say so here.
"""

import pytest
from made_mixtures import RATE, Held, clock, mixed, noise, tone
from real_sounds import fluid, need

from reedbore.measures import pitch
from reedbore.sound import resample
from reedbore.verdict.recording import analyse, reasons
from reedbore.verdict.state import State

F1 = 116.54


def test_a_note_that_is_tongued_again_at_once_is_told_as_one() -> None:
    """Frames of 0.16 s do not see a dip of 0.04 s; a plan tells such notes as joined."""
    t = clock(1.0)
    horn = mixed(tone(F1 * t), tone(2.5 * F1 * t, 10.0)) + noise(t.size, 0.02, 1)
    horn[5760:6240] *= 0.05
    rows = analyse(Held(horn, tone(2.5 * F1 * t, 8.0) + noise(t.size, 0.02, 2)))
    assert len(rows) == 1


def test_a_unison_cannot_be_told_from_the_horn_on_the_throat() -> None:
    """Each partial of the voice is one of the horn's; a filter that takes these away takes all."""
    t = clock(1.0)
    horn = tone(F1 * t) + noise(t.size, 0.02, 1)
    (row,) = analyse(Held(horn, tone(F1 * t, 8.0) + noise(t.size, 0.02, 2)))
    assert (row.sung_hz, row.state) == (None, State.UNDECIDED)
    assert row.reason == reasons.HORN_ON_THROAT


@pytest.mark.sound
def test_a_real_saxophone_that_nobody_sings_into_may_seem_to_have_a_class() -> None:
    """Lines of its own between the partials, 38 dB down, are as strong as those of a soft hum."""
    need()
    ((samples, rate),) = fluid("Tenor A5(L)").values()
    horn, _ = pitch.thin(resample(samples, rate, 48000.0), 48000.0, RATE)
    rows = analyse(Held(horn[round(0.1 * RATE) :], None))
    assert [row for row in rows if row.sung_class]
    assert not [row for row in rows if row.state == State.LOCKED]
