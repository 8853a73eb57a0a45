import threading

import pytest
from hypothesis import given
from hypothesis import strategies as some

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.model import presets
from reedbore.model.setup import Horn, Singer
from reedbore.page.answers import Shared
from reedbore.page.request import read_words
from reedbore.report.verdict import how_to_sing
from reedbore.simulate.request.take import parse_setting

JSON = some.recursive(
    some.none() | some.booleans() | some.floats(allow_nan=False) | some.text(max_size=20),
    lambda inner: some.lists(inner, max_size=3) | some.dictionaries(some.text(max_size=12), inner),
    max_leaves=8,
)
NAMES = some.sampled_from(
    ["horn", "fingered", "sung", "voice", "breath", "fingering", "depth", "settings", "a4",
     "written", "horn_text", "voice_text"]
)  # fmt: skip


def test_what_is_missing_is_the_demo() -> None:
    words = read_words({})
    assert (words.horn, words.fingered, words.voice) == ("tenor-saxophone", "Bb2", "low-male")
    assert words.sung == read_words({"fingered": "C3"}).sung != read_words({"sung": None}).sung
    assert read_words({"sung": ""}).sung is read_words({"sung": None}).sung is None


def test_settings_come_through_bit_for_bit() -> None:
    words = read_words({"settings": {"reed.opening_mm": 1.1000000000000003, "bore.end": "flanged"}})
    assert [parse_setting(text) for text in words.settings] == [
        ("reed.opening_mm", 1.1000000000000003),
        ("bore.end", "flanged"),
    ]


@given(some.dictionaries(NAMES, JSON, max_size=4))
def test_whatever_is_sent_is_read_or_refused_in_a_sentence(plain: dict[str, object]) -> None:
    try:
        told = str(hash(read_words(plain)))
    except ReedboreError as error:
        told = str(error)
    assert told


@pytest.mark.parametrize("kind", ["horns", "voices"])
def test_a_written_preset_reads_back_bit_for_bit(kind: str) -> None:
    for name in presets.names(kind):
        preset = presets.load(kind, name)
        assert isinstance(preset, Horn | Singer)
        assert presets.read_text(presets.write_text(preset), f"{name}.toml") == preset


def test_how_to_sing_names_the_way() -> None:
    # 100 cents to the semitone: A. J. Ellis, 1885 (from memory).
    told = {
        "sing_instead": None,
        "sing_cents": -13.7,
        "ratio": "5/2",
        "sung_hz": 440.0 * 2.0 ** (5 / 12),
    }
    told["pulled_cents"] = 0.0
    assert how_to_sing(told, 440.0) == "for exactly 5/2 sing D5-14c, 13.7 cents lower"
    assert how_to_sing(told | {"sing_cents": 0.01}, 440.0).startswith("D5 is exactly 5/2")
    assert how_to_sing(told | {"ratio": None}, 440.0) == ""
    pulled = told | {"pulled_cents": 42.0, "aimed_hz": told["sung_hz"] * 2.0 ** (-42.0 / 1200.0)}
    says = "aimed at D5-42c, the voice comes out as D5, pulled up by 42 cents"
    assert how_to_sing(pulled, 440.0) == says


def test_stopped_work_says_so() -> None:
    stopping.check()
    event = threading.Event()
    token = stopping.wanted.set(event)
    try:
        stopping.check()
        event.set()
        with pytest.raises(stopping.Stopped):
            stopping.check()
    finally:
        stopping.wanted.reset(token)


def test_what_several_want_is_made_once() -> None:
    made: list[int] = []
    shared = Shared(2)
    ready = threading.Barrier(5)

    def want() -> None:
        ready.wait()
        assert shared.get("key", lambda: made.append(1) or len(made)) == 1

    tabs = [threading.Thread(target=want) for _ in range(5)]
    for one in tabs:
        one.start()
    for one in tabs:
        one.join()
    assert made == [1]
    with pytest.raises(ZeroDivisionError):
        shared.get("wrong", lambda: 1 // 0)
    assert "wrong" not in shared._locks  # what fails leaves nothing behind
    assert [shared.get(key, lambda key=key: key) for key in ("wrong", "a", "b", "key")][-1] == "key"


def test_no_more_is_kept_than_was_said_but_the_newest() -> None:
    shared, made = Shared(20.0, weigh=float), []

    def get(key: int) -> None:
        shared.get(key, lambda: made.append(key) or key)

    for key in (4, 6, 10, 4, 9, 6, 30, 30):
        get(key)
    # 9 drives 6 out, which is the oldest that nobody asked for again; 30 drives all out.
    assert made == [4, 6, 10, 9, 6, 30]
