"""Every table of words and looks knows every state: in Python, and on the page."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import reedbore
from reedbore.report import words
from reedbore.report.looks import LOOKS
from reedbore.verdict.state import VERDICTS, Follows, Heard, RowState, State

STATIC = Path(reedbore.__file__).parent / "page" / "static"


def scripts() -> Iterator[str]:
    texts = [path.read_text(encoding="utf-8") for path in sorted(STATIC.rglob("*.js"))]
    assert texts
    yield from texts


def badges() -> set[str]:
    """Names of the states that the page has a sign for."""
    tables = [
        found for text in scripts() for found in re.findall(r"const MARKS = {(.*?)};", text, re.S)
    ]
    assert len(tables) == 1
    return set(re.findall(r'(\w+): "', tables[0]))


@pytest.mark.parametrize(
    ("table", "states"),
    [
        (LOOKS, set(State)),
        (words.STATES, set(State)),
        (words.HEARD, set(Heard)),
        (words.FOLLOWS, set(Follows)),
        (badges(), set(VERDICTS)),
    ],
)
def test_every_table_of_words_and_looks_is_total(table, states):
    assert set(table) == states


def test_the_page_knows_no_other_states():
    # Of a row of the lock table, too; a badge may wait for an answer; sound runs or is closed.
    known = {*State, *RowState, "waiting", "running", "closed"}
    told = r"""(?:\bstate (?:===|!==) |data-state(?:=|": ))"([\w ]+)\""""
    texts = [*scripts(), *(path.read_text(encoding="utf-8") for path in STATIC.rglob("*.css"))]
    found = [state for text in texts for state in re.findall(told, text)]
    assert {"locked", "drifting"} <= set(found)
    assert set(found) <= known
