"""A fixed small sample of the recordings that `tests/benchmarks/recordings.py` draws at random.

Asked for with a throat microphone, bleed of -20 dB or less, half a second or more and 20 dB over
the noise: sung pitch within a cent as a rule and 5 cents in nearly all, the ratio right; of the
horn alone the class of the sung note.
"""

import numpy as np
import pytest
from made_mixtures import Held
from recordings import RATE, Case, cut, recorded, source

from reedbore.measures import pitch
from reedbore.notes import cents, choose_ratio
from reedbore.verdict.recording import Found, analyse
from reedbore.verdict.state import State

CASES = (
    Case("tenor-saxophone", 116.54, (3, 2), 3.0, 0.1, "human", 1),
    Case("alto-saxophone", 155.563, (5, 3), 2.0, 0.1, "human", 2),
    Case("clarinet-b-flat", 174.614, (3, 2), 55.0, 0.1, "clock", 3),
)
PLACES = ((0.5, 20.0, 0.6, -20.0), (1.0, 30.0, 1.5, None), (1.0, 20.0, 0.0, -20.0))
"""Seconds, noise, room, bleed."""

pytestmark = pytest.mark.ci


@pytest.fixture(scope="module")
def told() -> list[tuple[Case, float, Found, Found]]:
    """Each case in each place: what was sung, and what is found with a throat and without."""
    rows = []
    for case in CASES:
        take = source(case, 2.4)
        for number, (seconds, noise, room, bleed) in enumerate(PLACES):
            piece = cut(case, 1.1 + 0.1 * number, seconds, take)
            both = recorded(piece, noise_db=noise, reverberation=room, bleed_db=bleed, seed=number)
            horn, throat = (pitch.thin(one, RATE)[0] for one in both)
            rate = pitch.thin(both[0], RATE)[1]
            found = [longest(analyse(Held(horn, one, rate))) for one in (throat, None)]
            rows.append((case, piece.truth.sung, *found))
    return rows


def longest(rows: tuple[Found, ...]) -> Found:
    return max(rows, key=lambda row: row.end_s - row.begin_s)


def test_with_a_throat_the_sung_note_and_the_ratio_are_right(told) -> None:
    off = [abs(cents(row.sung_hz, sung)) for _, sung, row, _ in told]
    assert np.median(off) < 1.0
    assert max(off) < 5.0
    for case, sung, row, _ in told:
        assert row.ratio == choose_ratio(sung / row.played_hz, 20.0, 8), case


def test_from_the_horn_alone_the_class_is_right_where_it_is_told(told) -> None:
    classes = [(sung, row.sung_class) for _, sung, _, row in told if row.sung_class]
    right = [min(abs(hz - sung) for hz in members) < 1.0 for sung, members in classes]
    assert len(classes) >= 7
    assert np.mean(right) >= 0.85


def test_nothing_that_drifts_is_called_locked(told) -> None:
    assert not [row for *_, with_throat, alone in told for row in (with_throat, alone)
                if row.state == State.LOCKED]  # fmt: skip
