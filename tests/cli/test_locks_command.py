"""The command `locks`: what is asked for reaches the search, and the table every kind of file."""

import csv
import json
import re

import pytest

from reedbore.cli import main
from reedbore.cli.work import locks
from reedbore.measures.locking import Edge
from reedbore.verdict.locks import Row, Table
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import RowState

ROW = Row(
    ratio=(5, 2),
    sung_hz=291.35,
    state="locked",
    heard="yes",
    resultant_hz=58.27,
    resultant_level_db=-27.0,
    low=Edge(-0.4, -0.5),
    high=Edge(0.1, 0.2),
    nearest=None,
    held=0.25,
    lock_s=3.5,
)


AIMS = Edge(-40.0, -42.0), Edge(34.0, 36.0)
SUNG = Aim(291.3, 116.52, 1.0, 3600.0)


@pytest.fixture
def asked(monkeypatch):
    """Stand in for the search, which takes half a minute; what it is asked is kept."""
    kept = {}

    def lock_table(setup, fingered_hz, **how):
        kept.update(how, setup=setup, fingered_hz=fingered_hz)
        return Table(
            setup=setup, fingered_hz=fingered_hz, voice_off_hz=116.54, period=1, rows=(ROW,)
        )

    def singer_rows(setups, voice_off_hz, ratios, tell):
        kept["sung"] = [(setup, voice_off_hz, ratios) for setup in setups]
        row = SingerRow((5, 2), 291.35, RowState.LOCKED, None, *AIMS, 1.0, SUNG, "yes")
        return [[row]] * len(setups)

    monkeypatch.setattr(locks, "lock_table", lock_table)
    monkeypatch.setattr(locks, "singer_rows", singer_rows)
    return kept


def test_the_demo_is_the_default(asked, capsys):
    assert main(["locks"]) == 0
    assert asked["fingered_hz"] == pytest.approx(116.54, abs=0.01)
    assert asked["setup"].voice.source == "pulse"
    # The low male voice, E2 to E4.
    assert asked["voice_range"] == pytest.approx((82.41, 329.63), abs=0.01)
    out = capsys.readouterr().out
    assert out.startswith("Tenor saxophone, Bb2 fingered")
    told = [
        "5/2",
        "D4, 13.7 cents low",
        "0.2 under to 0.2 over",
        "Bb1 heard",
        "25 % of the time",
        "3.5 s",
    ]
    sung, clock = (re.split(r"\s{2,}", line.strip()) for line in out.splitlines() if "5/2" in line)
    assert clock == told
    # 5/2 of 116.54 Hz is D4-14c; the middle of the aims lies 3 cents below.
    assert sung == ["5/2", "D4-17c", "37 cents", "up 1", "100 %", "Bb1 heard"]
    assert out.index("for a singer") < out.index("for a voice like a clock")
    ((setup, off, ratios),) = asked["sung"]
    assert (off, ratios, setup.voice.drive) == (116.54, [(5, 2)], "folds")


def test_nobody_sings_or_nine_singers_do(asked, capsys):
    assert main(["locks", "--singers", "none"]) == 0
    assert "for a singer" not in capsys.readouterr().out
    assert "sung" not in asked
    assert main(["locks", "--singers", "nine", "--json"]) == 0
    assert len(asked["sung"]) == 9
    assert len({(setup.voice.fold_mass, setup.voice.gap) for setup, _, _ in asked["sung"]}) == 9
    (row,) = json.loads(capsys.readouterr().out)["singer"]
    assert (row["voices"], row["voices_that_sing"]) == (9, 9)
    assert row["width_cents"] == {"low": 74.0, "typical": 74.0, "high": 74.0}
    assert row["held_singer"] == {"low": 1.0, "typical": 1.0, "high": 1.0}


def test_what_is_asked_for_reaches_the_search(asked):
    words = ["--horn", "clarinet-b-flat", "--fingered", "D3", "--depth", "0.2", "--all-ratios"]
    assert main(["locks", *words, "--thorough", "--confirm", "--set", "reed.lip=1.1"]) == 0
    assert (asked["thorough"], asked["confirm"], asked["voice_range"]) == (True, True, None)
    assert asked["setup"].voice.depth == 0.2
    assert asked["setup"].reed.lip == 1.1


def test_one_json_document_on_stdout(asked, capsys):
    assert main(["locks", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["fingered_note"], document["fingered_written"]) == ("Bb2", "C4")
    # The lock reaches from 0.4 cents under the just note to 0.1 over it, around its middle.
    assert document["rows"][0]["lock_range_cents"] == [-0.25, 0.25]
    assert document["rows"][0]["aim"].startswith("D4, 13.7 cents low")


def test_the_table_is_written_as_asked(asked, tmp_path):
    kinds = [tmp_path / f"table.{kind}" for kind in ("csv", "json", "png", "svg")]
    assert main(["locks", *(word for path in kinds for word in ("-o", str(path)))]) == 0
    with kinds[0].open(encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
        assert (row["p"], row["q"], row["aimed_note"]) == ("5", "2", "D4")
        assert (row["width_cents_typical"], row["clock_held"]) == ("74.0", "0.25")
    assert json.loads(kinds[1].read_text(encoding="utf-8"))["title"].startswith("Tenor")
    assert kinds[2].read_bytes().startswith(b"\x89PNG")
    assert "<svg" in kinds[3].read_text(encoding="utf-8")


def test_a_note_typed_as_written_is_told_both_ways(asked, capsys):
    assert main(["locks", "--fingered", "C4", "--written"]) == 0
    assert asked["fingered_hz"] == pytest.approx(116.54, abs=0.01)
    assert capsys.readouterr().out.startswith("Tenor saxophone, Bb2 (written C4) fingered, ")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--fingered", "C7", "--written"], "allowed Bb3 to Eb6"),
        (["-o", "table.doc"], "table.doc has no known kind of file; write one of .csv, .json"),
        (["--fingered", "C7"], "allowed Ab2 to C#5"),
        (["--depth", "2"], "voice.depth is 2; allowed 0 to 1"),
        (["--singers", "ten"], "--singers is 'ten'; allowed none, one, nine (whose folds are"),
        (["--horn", "tuba"], "'tuba' is no horn"),
    ],
)
def test_a_mistake_is_told_before_anything_is_searched(asked, capsys, words, sentence):
    assert main(["locks", *words]) == 2
    assert sentence in capsys.readouterr().err
    assert not asked
