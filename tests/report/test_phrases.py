import pytest

from reedbore.model.passage import Passage
from reedbore.report.phrases import BREATHING_S, ONE_BREATH_L, Phrase, phrases


def passage(fingered: str, sung: str = "", bpm: float = 60.0) -> Passage:
    return Passage.from_plain({"tempo_bpm": bpm, "fingered": fingered, "sung": sung})


def parted(fingered: str, sung: str = "", flow: float = 0.5) -> list[Phrase]:
    return phrases(passage(fingered, sung), lambda _: flow)


def test_air_is_flow_times_the_time_that_the_horn_sounds() -> None:
    (phrase,) = phrases(
        passage("C4:1 rest:0.25 D4:2", bpm=120.0), lambda note: 0.2 if note.pitch == "C4" else 0.4
    )
    assert phrase.seconds == pytest.approx(1.5)
    assert phrase.litres == pytest.approx(0.5 * 0.2 + 1.0 * 0.4)


@pytest.mark.parametrize(("rest", "breaths"), [(BREATHING_S - 0.01, 1), (BREATHING_S, 2)])
def test_a_rest_long_enough_to_breathe_ends_a_phrase(rest: float, breaths: int) -> None:
    found = parted(f"C4:1 rest:{rest:.2f} D4:1")
    assert len(found) == breaths
    assert found[0].rests


@pytest.mark.parametrize(("beats", "breaths"), [(ONE_BREATH_L, 1), (ONE_BREATH_L + 0.02, 2)])
def test_what_takes_more_than_one_breath_is_parted(beats: float, breaths: int) -> None:
    assert len(parted(f"C4:{beats:.2f} D4:{beats:.2f}")) == breaths


def test_one_breathes_between_tongued_notes_rather_than_in_a_slur() -> None:
    found = parted("C4:2 D4:2~ E4:1 F4:2")
    assert [(phrase.end, phrase.within) for phrase in found] == [(5.0, False), (7.0, False)]
    found = parted("C4:2 D4:2~ E4:1.5 F4:2")
    ends = [(phrase.end, phrase.within) for phrase in found]
    assert ends == [(2.0, False), (5.5, False), (7.5, False)]


def test_a_hum_is_parted_before_a_held_note_of_the_horn() -> None:
    # At 3 the hum goes on over a new note of the horn, at 4 the horn over a new hum.
    found = parted("C4:3 D4:4", "G4:4 A4:3")
    assert [(phrase.end, phrase.within) for phrase in found] == [(3.0, True), (7.0, False)]


def test_two_notes_that_are_both_held_are_never_broken_but_told() -> None:
    found = parted("C4:12", "G4:12")
    assert [(phrase.end, phrase.long) for phrase in found] == [(12.0, True)]
    assert not parted("C4:5", "G4:5")[0].long
    assert parted("C4:5.1", "G4:5.1")[0].long
