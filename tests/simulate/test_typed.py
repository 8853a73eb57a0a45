"""What a sidecar keeps of a request: read back as it was, refused where it could do harm."""

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from reedbore.errors import ReedboreError
from reedbore.simulate.request.typed import Typed, TypedCell

TAKE: dict[str, Any] = {
    "horn": "tenor-saxophone",
    "fingered": "Bb2",
    "sung": "5/3",
    "voice": "low-male",
    "breath": None,
    "fingering": "",
    "settings": ["reed.opening_mm=1.2"],
    "written": False,
    "a4_hz": 440.0,
    "fingered_hz": 116.54,
    "title": "Tenor saxophone, Bb2 fingered, G3 sung",
    "stem": "tenor-saxophone-Bb2-5-3",
}
CELL: dict[str, Any] = {
    "from": "a.zarr",
    "cell": {"state": "locked", "p": 5},
    "horn": "tenor-saxophone",
    "fingered": "Bb2",
    "fingering": "",
    "at": ["sung=5/2"],
    "a4_hz": 440.0,
    "fingered_hz": 116.54,
    "title": "Tenor saxophone, Bb2 fingered, D4 sung",
    "stem": "a-sung-5-2",
}


def take(**changed: Any) -> Typed:
    return Typed.read({**TAKE, **changed}, Path("x.json"), "a take")


def test_what_is_kept_is_what_was_read_in_the_same_order():
    assert list(take().document().items()) == list(TAKE.items())
    cell = TypedCell.read(CELL, Path("x.json"), "a take")
    assert list(cell.document().items()) == list(CELL.items())


def test_old_sidecar_without_newer_words_is_read():
    old = {name: TAKE[name] for name in ("a4_hz", "fingered_hz", "title", "stem")}
    found = Typed.read({**old, "unknown": 1}, Path("x.json"), "a take")
    assert (found.settings, found.fingering, found.written) == ((), "", False)


def test_nothing_can_be_changed_once_it_is_read():
    with pytest.raises(ValidationError, match="frozen"):
        take().stem = "other"  # type: ignore[misc]


@pytest.mark.parametrize("stem", ["../../x", "a/b", "a\\b", "", "a\0b", "\x1b[2J", "/etc/x"])
def test_name_that_could_lead_elsewhere_is_refused(stem: str):
    with pytest.raises(ReedboreError, match=r"x\.json is no sidecar of a take: request\.stem is"):
        take(stem=stem)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"title": 5}, r"request\.title is 5"),
        ({"a4_hz": "440"}, r"request\.a4_hz is '440'"),
        ({"a4_hz": 379.9}, r"request\.a4_hz is 379\.9"),
        ({"fingered_hz": float("nan")}, r"request\.fingered_hz is nan"),
        ({"fingered_hz": 1e308}, r"request\.fingered_hz is 1e\+308"),
        ({"settings": "reed"}, r"request\.settings is 'reed'"),
        ({"settings": ["a", 5]}, r"request\.settings\.1 is 5"),
    ],
)
def test_value_of_the_wrong_kind_is_told_with_its_place(changed: dict[str, Any], sentence: str):
    with pytest.raises(ReedboreError, match=sentence):
        take(**changed)


def test_missing_value_is_told():
    with pytest.raises(ReedboreError, match=r"request\.title is missing"):
        Typed.read({n: TAKE[n] for n in TAKE if n != "title"}, Path("x.json"), "a take")
