"""The lock table as the page gets it, against that of the command."""

import json
import threading
from dataclasses import replace

import pytest
from browsing import PATIENCE_S

from reedbore.errors import ReedboreError
from reedbore.notes import cents, parse_pitch, parse_sung
from reedbore.page import table
from reedbore.page.request import read_words
from reedbore.report.locks import document
from reedbore.verdict.locks import lock_table

DEMO = read_words({})
FINGERED_HZ = parse_pitch("Bb2")


@pytest.mark.ci
@pytest.mark.slow
def test_the_table_is_that_of_the_locks_command_with_words_beside_it(monkeypatch):
    made = []

    def some(setup, hz, *, voice_range, thorough, progress):
        # E2 to E4 is the range of the low male voice; a few ratios in it are enough here.
        assert voice_range == pytest.approx((parse_pitch("E2"), parse_pitch("E4")))
        bounds = 1.9 * hz, 2.6 * hz
        made.append(lock_table(setup, hz, voice_range=bounds, thorough=thorough, progress=progress))
        return made[0]

    monkeypatch.setattr(table, "lock_table", some)
    # Half as many steps a second as usual are half of the work.
    *shares, last = table.table(replace(DEMO, settings=("time.rate_hz=48000",)))
    done = [share["done"] for share in shares]
    assert done == sorted(done)
    assert 0.0 == done[0] <= done[-1] <= 1.0
    rows = last["table"]["rows"]
    json.dumps(last, allow_nan=False)
    assert [row["ratio"] for row in rows] == ["2/1", "7/3", "5/2"]
    assert rows == [row | {k: rows[n][k] for k in ("words", "group", "patch")}
                    for n, row in enumerate(document(made[0])["rows"])]  # fmt: skip
    for row in rows:
        sung = parse_sung(row["patch"]["sung"], FINGERED_HZ)
        assert abs(cents(sung, row["sung_hz"])) < 0.006
        assert row["words"]["sing"].startswith(row["sung_note"])
        low, high = row["lock_range_cents"]
        under, over = (float(word) for word in row["words"]["exactly"].split() if "." in word)
        assert row["group"] in last["table"]["groups"]
        assert under + over <= high - low + 1e-6
    assert rows[0]["words"]["third"] == "none: the fingered note"
    assert rows[2]["words"]["third"] == "Bb1, an octave below: heard"


def test_a_table_that_nobody_wants_stops(monkeypatch):
    ended = threading.Event()

    def endless(setup, hz, *, voice_range, thorough, progress):
        try:
            while True:
                progress(0.1)
        finally:
            ended.set()

    monkeypatch.setattr(table, "lock_table", endless)
    stream = table.table(DEMO)
    assert [next(stream), next(stream)] == [{"done": 0.0}, {"done": 0.1}]
    stream.close()
    assert ended.wait(PATIENCE_S)


def test_what_goes_wrong_in_the_table_is_told_to_whoever_asked():
    with pytest.raises(ReedboreError, match="does not sound by itself"):
        list(table.table(replace(DEMO, breath="0.5kPa")))


def test_a_table_needs_a_voice_that_sings():
    with pytest.raises(ReedboreError, match="'pulse' or 'sine'"):
        next(table.table(replace(DEMO, settings=("voice.source=off",))))
