"""What the page solves before it is asked, and that it gives way."""

import threading

import pytest
from browsing import PATIENCE_S

from reedbore.notes import midi_to_hz, parse_note
from reedbore.page import ahead
from reedbore.page.request import read_words
from reedbore.simulate.request.take import read_request

DEMO = {"fingered": "Bb2", "sung": "D4"}


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was solved, in turn, instead of solving it."""
    done: list[str] = []
    monkeypatch.setattr(
        ahead, "_solve", lambda words: done.append(f"{words.horn} {words.breath} {words.fingered}")
    )
    monkeypatch.setattr(ahead, "_sung", lambda words: done.append(words.settings[-1]))
    monkeypatch.setattr(ahead, "_pushed", lambda words, by: done.append(f"{by:+g} mm"))
    return done


def test_the_nearest_is_solved_first(solved: list[str]):
    for solve in ahead.likely(read_words(DEMO)):
        solve()
    tenor = [one.split()[-1] for one in solved if one.startswith("tenor-saxophone None")]
    assert tenor[:3] == ["Bb2", "A2", "B2"]
    assert len(tenor) == len(set(tenor)) + 1 == 30 + 1  # A flat 2 to C sharp 5, and this horn again
    assert [one for one in solved if " ff " in one] == ["tenor-saxophone ff Bb2"]
    assert "voice.drive=folds" in solved
    assert {"+0.5 mm", "-5 mm"} <= set(solved)
    assert "clarinet-b-flat None D3" in solved  # its lowest note, a third above


def test_pushes_of_a_written_note_are_those_of_the_note_that_it_sounds(monkeypatch):
    pushed: list[float] = []
    monkeypatch.setattr(
        ahead, "_pushed", lambda words, _: pushed.append(read_request(words).typed.fingered_hz)
    )
    monkeypatch.setattr(ahead, "_solve", lambda words: None)
    monkeypatch.setattr(ahead, "_sung", lambda words: None)
    for solve in ahead.likely(read_words({"fingered": "C4", "sung": "D4", "written": True})):
        solve()
    # Written C4 of a tenor sounds a ninth lower, B flat 2: common practice, no source.
    assert set(pushed) == {midi_to_hz(parse_note("Bb2"))}


def test_it_waits_until_nothing_else_is_asked_and_ends(solved: list[str]):
    busy, seen = threading.Event(), threading.Semaphore(0)
    busy.set()

    def asked() -> bool:
        seen.release()
        return busy.is_set()

    one = ahead.Ahead(asked)
    one.about(DEMO)
    for _ in range(3):
        assert seen.acquire(timeout=PATIENCE_S)
    assert solved == []
    busy.clear()
    for _ in range(3):
        assert seen.acquire(timeout=PATIENCE_S)
    one.stop()
    thread = one._thread
    assert thread is not None
    thread.join(PATIENCE_S)
    assert not thread.is_alive()
    assert solved[0] == "tenor-saxophone None Bb2"
    one.about({"fingered": "C3"})  # after the end nothing is begun
    assert one._thread is thread


def test_words_that_cannot_be_read_end_nothing(solved: list[str]):
    one = ahead.Ahead(lambda: False)
    for words in ({"fingered": "H9"}, DEMO):
        one.about(words)
        for _ in range(int(100 * PATIENCE_S)):
            if not one._changed.is_set():  # it has been taken up
                break
            threading.Event().wait(0.01)
    for _ in range(int(100 * PATIENCE_S)):
        if solved:
            break
        threading.Event().wait(0.01)
    assert solved
    one.stop()
