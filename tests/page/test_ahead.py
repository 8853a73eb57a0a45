"""What the page solves before it is asked, and that it gives way."""

import contextlib
import math
import os
import threading
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from browsing import PATIENCE_S

from reedbore.errors import ReedboreError
from reedbore.notes import midi_to_hz, parse_note
from reedbore.page import ahead
from reedbore.page.answers import request_of
from reedbore.page.aside import LOWER, Aside
from reedbore.page.request import read_words
from reedbore.remembered import Made, hand_over, remembered
from reedbore.simulate import dynamics, outside, player
from reedbore.simulate.acoustics import reflection
from reedbore.simulate.acoustics.numbers import waveguide_of
from reedbore.simulate.request import take
from reedbore.simulate.request.take import read_request

DEMO = {"fingered": "Bb2", "sung": "D4"}


class Here:
    """Stands for a process of its own: does the work where it is asked for."""

    def __init__(self) -> None:
        self.ended = 0

    def do(self, work: Callable[[], object]) -> list[Made]:
        work()
        return []

    def end(self) -> None:
        self.ended += 1


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was solved, in turn, instead of solving it."""
    done: list[str] = []
    monkeypatch.setattr(
        ahead, "_solve", lambda words: done.append(f"{words.horn} {words.breath} {words.fingered}")
    )
    monkeypatch.setattr(ahead, "_sung", lambda words: done.append(words.settings[-1]))
    monkeypatch.setattr(ahead, "_pushed", lambda words, by: done.append(f"{by:+g} mm"))
    monkeypatch.setattr(ahead, "_sway", lambda words: done.append(words.settings[-1]))
    return done


def test_the_nearest_is_solved_first(solved: list[str]):
    for solve in ahead.likely(read_words(DEMO)):
        solve()
    tenor = [one.split()[-1] for one in solved if one.startswith("tenor-saxophone None")]
    assert tenor[:3] == ["Bb2", "A2", "B2"]
    assert len(tenor) == len(set(tenor)) + 1 == 30 + 1  # A flat 2 to C sharp 5, and this horn again
    assert [one for one in solved if " ff " in one] == ["tenor-saxophone ff Bb2"]
    assert "voice.drive=folds" in solved
    assert {"reed.strength=2.6", "reed.strength=1.9", "reed.lip=0.95"} <= set(solved)
    assert {"+0.5 mm", "-5 mm", "-20 mm"} <= set(solved)
    assert "clarinet-b-flat None D3" in solved  # its lowest note, a third above
    order = [solved.index(f"tenor-saxophone None {note}") for note in ("Bb2", "E3", "C#5")]
    assert order[1] < solved.index("clarinet-b-flat None D3") < order[2]


def test_of_a_note_nothing_is_solved_twice_for_another_voice_or_breath():
    """A bore hangs on neither: the fits are those of the note alone."""
    there, here = ({"fingered": "Bb2", "sung": "D4", **more} for more in ({}, {"depth": 0.2}))
    works = [{ahead._named(one) for one in ahead.likely(read_words(w))} for w in (there, here)]
    assert len(works[0] - works[1]) == 1  # how folds sing it
    hot = {**there, "settings": {"air.temperature_c": 35.0}}
    other = {ahead._named(solve) for solve in ahead.likely(read_words(hot))}
    assert not other & works[0]


def test_a_reed_or_breath_a_few_steps_away_is_known_when_it_is_asked_for(monkeypatch):
    plain = {"horn": "plain-cylinder", "fingered": "B2", "settings": {"reed.lip": 1.1}}
    for solve in ahead.likely(read_words({**plain, "sung": None})):
        if isinstance(solve, partial) and solve.func is ahead._sway:
            with contextlib.suppress(ReedboreError):
                solve()
    monkeypatch.setattr(player._pitch_slopes, "_function", lambda *_: pytest.fail("not known"))
    for changed in ({"reed.lip": 1.25}, {"reed.strength": 2.2}, {"reed.opening_mm": 0.56}):
        setup = request_of(read_words({**plain, "settings": {"reed.lip": 1.1} | changed})).setup
        assert any(player.pitch_slopes(setup))
    assert any(player.pitch_slopes(request_of(read_words({**plain, "breath": "1.8kPa"})).setup))
    loud = ahead.likely(read_words({**plain, "breath": "f"}))  # whose lip would follow each
    assert ahead._sway not in [one.func for one in loud if isinstance(one, partial)]


def test_pushes_of_a_written_note_are_those_of_the_note_that_it_sounds(monkeypatch):
    pushed: list[float] = []
    monkeypatch.setattr(
        ahead, "_pushed", lambda words, _: pushed.append(read_request(words).typed.fingered_hz)
    )
    for name in ("_solve", "_sway", "_sung"):
        monkeypatch.setattr(ahead, name, lambda words: None)
    for solve in ahead.likely(read_words({"fingered": "C4", "sung": "D4", "written": True})):
        solve()
    # Written C4 of a tenor sounds a ninth lower, B flat 2: common practice, no source.
    assert set(pushed) == {midi_to_hz(parse_note("Bb2"))}


def test_it_waits_while_a_sound_is_asked_for_and_ends(solved: list[str]):
    busy, seen = threading.Event(), threading.Semaphore(0)
    busy.set()

    def asked() -> bool:
        seen.release()
        return busy.is_set()

    here = Here()
    one = ahead.Ahead(asked, lambda: here, many=1)
    one.about(DEMO)
    for _ in range(3):
        assert seen.acquire(timeout=PATIENCE_S)
    assert solved == []
    busy.clear()
    for _ in range(3):
        assert seen.acquire(timeout=PATIENCE_S)
    one.stop()
    (thread,) = one.threads
    thread.join(PATIENCE_S)
    assert not thread.is_alive()
    assert solved[0] == "tenor-saxophone None Bb2"
    assert here.ended
    one.about({"fingered": "C3"})  # after the end nothing is begun
    assert one.threads == [thread]


def test_what_was_solved_is_left_out_and_an_idle_process_ends(solved: list[str]):
    here, idle = Here(), threading.Semaphore(0)
    here.end = idle.release  # type: ignore[method-assign]
    one = ahead.Ahead(lambda: False, lambda: here, many=1)
    one.about(DEMO)
    assert idle.acquire(timeout=PATIENCE_S)
    whole = list(solved)
    assert len(whole) == len(set(whole)) > 100
    one.about({**DEMO, "depth": 0.2})
    assert idle.acquire(timeout=PATIENCE_S)
    assert solved[len(whole) :] == ["voice.drive=folds"]
    one.stop()


def test_what_is_no_longer_kept_is_solved_again(solved: list[str], monkeypatch):
    monkeypatch.setattr(ahead, "MOST_DONE", 150)
    here, idle = Here(), threading.Semaphore(0)
    here.end = idle.release  # type: ignore[method-assign]
    one = ahead.Ahead(lambda: False, lambda: here, many=1)
    for note in ("Bb2", "C3", "Bb2"):
        one.about({**DEMO, "fingered": note})
        assert idle.acquire(timeout=PATIENCE_S)
    assert solved.count("tenor-saxophone None Bb2") > 1
    one.stop()


def test_words_that_cannot_be_read_end_nothing(solved: list[str]):
    here, idle = Here(), threading.Semaphore(0)
    here.end = idle.release  # type: ignore[method-assign]
    one = ahead.Ahead(lambda: False, lambda: here, many=1)
    one.about({"fingered": "H9"})
    assert idle.acquire(timeout=PATIENCE_S)
    assert solved == []
    one.about(DEMO)
    assert idle.acquire(timeout=PATIENCE_S)
    assert solved
    one.stop()


def test_what_was_made_aside_is_what_is_made_here_and_is_not_made_again(monkeypatch):
    words = read_words({"horn": "plain-cylinder", "fingered": "B2", "sung": None, "breath": "mp"})
    beside = Aside()
    made = {one.name.rpartition(".")[2]: one for one in beside.do(partial(ahead._solve, words))}
    beside.end()
    assert set(made) == {"tune", "waveguide", "_firmness", "_pitch_slopes", "_outside"}
    here = reflection.waveguide(*made["waveguide"].asked)
    pairs = zip(flat(made["waveguide"].result), flat(here), strict=True)
    assert all(np.array_equal(one, two) for one, two in pairs)
    request = request_of(words)
    handed = (
        *(reflection.waveguide, take._tuned, dynamics._firmness),
        *(player._pitch_slopes, outside._outside),
    )
    for kept in handed:
        kept.cache_clear()
        monkeypatch.setattr(kept, "_function", lambda *_: pytest.fail("it was made again"))
    hand_over(list(made.values()))
    assert take.tune_request(read_request(words)).setup == request.setup
    assert waveguide_of(request.setup) is made["waveguide"].result
    assert player.pitch_slopes(request.setup) is made["_pitch_slopes"].result
    assert outside.transmission(request.setup, np.array([100.0])).all()
    for kept in handed:
        kept.cache_clear()


def flat(value: object) -> list[object]:
    return [one for part in value for one in flat(part)] if isinstance(value, tuple) else [value]


def refused() -> None:
    raise ReedboreError("not today")


def breaks_down() -> None:
    math.log(0.0)


def dies() -> None:
    os._exit(1)


@remembered(4)
def priority(_: str) -> int:
    return os.nice(0)


def ask(word: str) -> None:
    priority(word)


def test_a_refusal_and_a_process_that_dies_bring_nothing_and_the_next_piece_is_done():
    beside = Aside()
    assert beside.do(refused) == []
    assert beside.do(partial(ask, "one"))
    assert beside.do(breaks_down) == []
    assert beside.do(partial(ask, "one")) == []  # it knows that already, being the same
    assert beside.do(dies) == []
    assert beside.do(partial(ask, "one"))
    beside.end()


@pytest.mark.skipif(not hasattr(os, "nice"), reason="a system without priorities")
def test_it_gives_way_by_its_priority():
    beside = Aside()
    (made,) = beside.do(partial(ask, "two"))
    assert made.result == min(os.nice(0) + LOWER, 19)  # there is no lower one
    hand_over([made])
    assert priority("two") == made.result
    beside.end()
