"""What is told of a lock range: around which note, and never wider than it is."""

import pytest

from reedbore.notes import midi_to_hz
from reedbore.report.verdict import lock_range_words

F4 = 65


@pytest.mark.parametrize(
    ("ends", "told"),
    [
        ((-2.25, 0.89), "2.2 cents under to 0.8 over"),
        ((-0.3, 0.1 + 0.2), "0.3 cents under to 0.3 over"),
        ((-0.09, 0.0), "less than 0.1 cents under to less than 0.1 over"),
    ],
)
def test_ends_are_rounded_inwards(ends: tuple[float, float], told: str):
    assert lock_range_words(ends, midi_to_hz(F4)).startswith(f"{told} the sung F4+0.0c; ")


def test_note_is_told_as_finely_as_its_ends():
    sung = midi_to_hz(F4 + 0.0196)
    assert "over the sung F4+2.0c" in lock_range_words((-1.0, 1.0), sung)
    assert "over the sung F4-5.9c" in lock_range_words((-1.0, 1.0), sung, 442.0)
