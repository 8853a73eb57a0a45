"""The sung note from the horn alone: rendered members of a class beside takes of a known voice."""

import numpy as np
import pytest
from made_mixtures import Held
from recordings import RATE, Case, cut, recorded

from reedbore.measures import pitch
from reedbore.model.presets import load_horn
from reedbore.notes import cents
from reedbore.verdict import synthesis
from reedbore.verdict.recording import Known, analyse, reasons

CASE = Case("tenor-saxophone", 116.54, (5, 3), -60.0, 0.2, "clock", 6)


@pytest.fixture(scope="module")
def take() -> tuple[np.ndarray, float]:
    """A take before a microphone in a room, and what was sung [Hz]."""
    piece = cut(CASE, 2.0, 1.0)
    horn, _ = recorded(piece, noise_db=30.0, reverberation=0.6, bleed_db=None)
    return pitch.thin(horn, RATE)[0], piece.truth.sung


def known() -> Known:
    return Known(reach=(120.0, 320.0), instrument=load_horn("tenor-saxophone"))


def test_the_sung_note_is_named_though_breath_and_depth_are_not_known(take) -> None:
    horn, sung = take
    (row,) = analyse(Held(horn, None), known())
    assert len(row.sung_class) == 4
    assert cents(row.sung_hz, sung) == pytest.approx(0.0, abs=20.0)
    assert row.margin_db > synthesis.SURE_DB
    assert "sung_hz" not in row.cannot


def test_a_small_margin_names_nothing(take, monkeypatch) -> None:
    monkeypatch.setattr(synthesis, "SURE_DB", 50.0)
    (row,) = analyse(Held(take[0], None), known())
    assert row.sung_hz is None
    assert 0.0 < row.margin_db < 50.0
    assert row.cannot["sung_hz"] == reasons.TOO_ALIKE


def test_without_a_horn_or_a_range_nothing_is_rendered(take) -> None:
    for half in (known()._replace(reach=None), known()._replace(instrument=None)):
        (row,) = analyse(Held(take[0], None), half)
        assert (row.sung_hz, row.margin_db) == (None, None)


def test_a_note_that_the_horn_does_not_have_is_told(take) -> None:
    (row,) = analyse(
        Held(take[0], None), known()._replace(instrument=load_horn("soprano-saxophone"))
    )
    assert row.sung_hz is None
    assert "116.5 Hz" in row.cannot["sung_hz"] or "Bb2" in row.cannot["sung_hz"]


def test_one_member_or_silence_leaves_nothing_to_compare() -> None:
    horn = load_horn("tenor-saxophone")
    assert synthesis.choose(np.zeros(12000), 12000.0, 116.54, (175.0, 291.0), horn) is None
    assert synthesis.choose(np.ones(12000), 12000.0, 116.54, (175.0,), horn) is None
