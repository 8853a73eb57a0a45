"""A practice log: which changes are told, and what is read of a file."""

import json
from pathlib import Path
from typing import Any

import pytest

from reedbore.errors import ReedboreError
from reedbore.verdict.practice_log import KEYS, Entry, progress, read, write

BEFORE = Entry("2026-03-01", "monday.wav", 4, 6, 10.0, 1.0, 60.0, -3.0)
NEITHER = "Neither nearer nor steadier than before."


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"right": 5}, "1 more right than before."),
        ({"right": 2}, "2 fewer right than before."),
        ({"off_cents": 7.9}, "Nearer: 10.0 cents off before, 7.9 now."),
        ({"off_cents": 12.1}, "Farther: 10.0 cents off before, 12.1 now."),
        ({"off_cents": 8.1}, NEITHER),
        ({"off_cents": 11.9}, NEITHER),
        ({"drift_hz": 0.89}, "Steadier: 1.0 Hz of drift before, 0.9 now."),
        ({"drift_hz": 1.11}, "Less steady: 1.0 Hz of drift before, 1.1 now."),
        ({"drift_hz": 0.91}, NEITHER),
        ({"drift_hz": 1.09}, NEITHER),
        ({"off_cents": None, "drift_hz": None}, NEITHER),
    ],
)
def test_a_change_is_told_from_two_cents_a_tenth_of_a_hertz_and_one_note_on(
    changes: dict[str, Any], said: str
) -> None:
    assert progress([BEFORE._replace(right=0), BEFORE, BEFORE._replace(**changes)]) == [said]


def test_a_first_recording_is_compared_with_nothing() -> None:
    assert progress([BEFORE]) == ["The first recording in this log."]


def test_a_log_is_read_as_it_was_written(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    assert read(path, "a.toml") == []
    entries = [BEFORE, BEFORE._replace(off_cents=None, drift_hz=None, bpm=None)]
    write(path, "a.toml", entries)
    assert read(path, "a.toml") == entries


@pytest.mark.parametrize(
    "changes",
    [{"more": 1}, *({key: "1"} for key in KEYS[2:]), {"right": True}, {"right": None},
    {"planned": None}, {"tuning_cents": None}],
)  # fmt: skip
def test_a_recording_with_other_keys_or_no_numbers_is_none(
    tmp_path: Path, changes: dict[str, Any]
) -> None:
    path = tmp_path / "a.log"
    held = {"version": 1, "passage": "a.toml", "recordings": [{**BEFORE._asdict(), **changes}]}
    path.write_text(json.dumps(held), encoding="utf-8")
    with pytest.raises(ReedboreError, match="is no practice log"):
        read(path, "a.toml")


@pytest.mark.parametrize("key", KEYS)
def test_a_recording_that_lacks_a_key_is_none(tmp_path: Path, key: str) -> None:
    path = tmp_path / "a.log"
    left = {name: value for name, value in BEFORE._asdict().items() if name != key}
    path.write_text(json.dumps({"version": 1, "passage": "a.toml", "recordings": [left]}))
    with pytest.raises(ReedboreError, match="is no practice log"):
        read(path, "a.toml")
