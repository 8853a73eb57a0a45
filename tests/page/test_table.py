"""The lock table as the page gets it, against that of the command."""

import json
import threading
from dataclasses import replace

import pytest
from browsing import PATIENCE_S

from reedbore.errors import ReedboreError
from reedbore.measures.locking import Edge
from reedbore.notes import cents, parse_pitch, parse_sung
from reedbore.page import table
from reedbore.page.request import read_words
from reedbore.report.locks import document
from reedbore.verdict.locks import Row, Table, lock_table
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, RowState

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
    *shares, last = table.table(
        replace(DEMO, depth=0.2, settings=("time.rate_hz=48000",)), sung=False
    )
    done = [share["done"] for share in shares]
    assert done == sorted(done)
    assert 0.0 == done[0] <= done[-1] <= 1.0
    rows = last["table"]["rows"]
    json.dumps(last, allow_nan=False)
    assert [row["ratio"] for row in rows] == ["2/1", "7/3", "5/2"]
    assert rows == [row | {k: rows[n][k] for k in ("words", "group", "patch", "held_singer")}
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
    assert [next(stream), next(stream)] == [{"done": 0.0}, {"done": pytest.approx(0.04)}]
    stream.close()
    assert ended.wait(PATIENCE_S)


def test_what_goes_wrong_in_the_table_is_told_to_whoever_asked():
    with pytest.raises(ReedboreError, match="does not sound by itself"):
        list(table.table(replace(DEMO, breath="0.5kPa")))


def test_a_table_needs_a_voice_that_sings():
    with pytest.raises(ReedboreError, match="'pulse' or 'sine'"):
        next(table.table(replace(DEMO, settings=("voice.source=off",))))


def test_a_singer_is_told_first_and_sets_the_folds(monkeypatch):
    ratios, asked = [(3, 2), (2, 1), (7, 8)], []

    def clock(setup, hz, *, voice_range, thorough, progress):
        assert setup.voice.drive == "pressure"
        progress(1.0)
        nothing = dict.fromkeys(("resultant_level_db", "low", "high", "nearest", "held", "lock_s"))
        free = {"state": RowState.FREE, "heard": Heard.NO, **nothing}
        rows = (Row(ratio=(p, q), sung_hz=hz * p / q, resultant_hz=hz / q, **free)
                for p, q in ratios)  # fmt: skip
        return Table(setup=setup, fingered_hz=hz, voice_off_hz=hz, period=1, rows=tuple(rows))

    def sung(setups, hz, some, tell):
        asked.append((setups[0].voice.drive, some))
        tell(0.5)
        edge = {"low": Edge(-45.0, -47.0), "high": Edge(5.0, 7.0)}
        found = SingerRow(some[0], hz * 1.5, RowState.FREE, None, None, None, None, None)
        return [[found._replace(state=RowState.LOCKED, **edge, middle=Aim(hz, hz, 40.0, 1e3)),
                 found._replace(ratio=some[1]), found._replace(ratio=some[2], just_hz=hz * 7 / 8,
                 state=RowState.UNSUNG)]]  # fmt: skip

    monkeypatch.setattr(table, "lock_table", clock)
    monkeypatch.setattr(table, "singer_rows", sung)
    told = list(table.table(replace(DEMO, settings=("voice.drive=folds",))))
    assert asked == [("folds", ratios)]
    assert [one["done"] for one in told] == pytest.approx([0.0, 0.4, 0.4, 0.7, 1.0])
    early, last = (one["table"] for one in told if "table" in one)
    assert early["singer"] is None
    assert [row["ratio"] for row in last["singer"]] == ["3/2", "2/1", "7/8"]  # easiest first
    first = last["singer"][0]
    # The middle of -45 and 5 cents is 20 below the just fifth.
    assert cents(first["aimed_hz"], 1.5 * FINGERED_HZ) == pytest.approx(-20.0)
    assert first["patch"]["settings"]["voice.drive"] == "folds"
    assert {row["patch"]["settings"]["voice.drive"] for row in last["rows"]} == {None}
    assert {group["in_full"] for group in last["groups"].values()} == {True, False}
    json.dumps(told, allow_nan=False)
