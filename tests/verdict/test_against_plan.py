"""Recordings beside plans: made notes, so that what is wrong with them is known."""

import pytest

from reedbore.model.passage import Passage
from reedbore.notes import midi_to_hz, parse_note
from reedbore.verdict.against_plan import align, laid, planned_notes
from reedbore.verdict.recording import Found

PLAN = Passage(tempo=1.0, fingered="Bb2:2 D3:1 rest:1 F3:2", sung="D4:1 C4:1 A3:1 rest:1 C4:2")


def hz(name: str) -> float:
    return midi_to_hz(parse_note(name))


def found(played: str, sung: str | None, begin: float, seconds: float, high: float = 0.0) -> Found:
    up = 2.0 ** (high / 1200.0)
    return Found(
        begin_s=begin,
        end_s=begin + seconds,
        level_db=-20.0,
        played_hz=hz(played) * up,
        played_within=1.0,
        sung_hz=None if sung is None else hz(sung) * up,
        shows_hz=0.5,
    )


def played(slow: float = 1.0, high: float = 0.0, late: float = 0.5) -> list[Found]:
    notes = [
        ("Bb2", "D4", 0.0, 1.0), ("Bb2", "C4", 1.0, 1.0), ("D3", "A3", 2.0, 1.0),
        ("F3", "C4", 4.0, 2.0),
    ]  # fmt: skip
    return [found(p, s, late + slow * b, slow * d, high) for p, s, b, d in notes]


def outcomes(rows: list[Found], plan: Passage = PLAN) -> list[str]:
    return [one.outcome for one in align(rows, planned_notes(plan)).matches]


def test_a_plan_is_cut_where_either_line_changes() -> None:
    notes = planned_notes(PLAN)
    assert [note.beat for note in notes] == [0.0, 1.0, 2.0, 4.0]
    assert [note.sung_hz for note in notes] == [hz(n) for n in ("D4", "C4", "A3", "C4")]


@pytest.mark.parametrize("slow", [0.6, 1.0, 1.7])
@pytest.mark.parametrize("high", [-35.0, 0.0, 35.0])
def test_tempo_and_tuning_of_the_player_are_found(slow: float, high: float) -> None:
    aligned = align(played(slow, high), planned_notes(PLAN))
    assert [one.outcome for one in aligned.matches] == ["right"] * 4
    assert aligned.tempo_ratio == pytest.approx(1.0 / slow, rel=1e-6)
    assert aligned.tuning_cents == pytest.approx(high, abs=1e-6)
    assert aligned.extra == ()


def test_tuning_is_that_of_all_notes_those_too_that_are_far_before_it_is_known() -> None:
    # By itself 70 cents is another note: two notes tell the tuning, then all four.
    highs = 30.0, 50.0, 70.0, 70.0
    rows = [played(high=high)[place] for place, high in enumerate(highs)]
    aligned = align(rows, planned_notes(PLAN))
    assert aligned.tuning_cents == pytest.approx(60.0)
    assert [one.outcome for one in aligned.matches] == ["right"] * 4


def test_a_wrong_note_is_named() -> None:
    rows = played()
    rows[2] = found("Eb3", "A3", rows[2].begin_s, 1.0)
    assert outcomes(rows) == ["right", "right", "wrong note", "right"]


@pytest.mark.parametrize(("off", "outcome"), [(59.0, "right"), (61.0, "wrong sung note")])
def test_a_sung_note_is_wrong_beyond_sixty_cents(off: float, outcome: str) -> None:
    rows = played()
    rows[1] = found("Bb2", f"C4+{off:g}c", rows[1].begin_s, 1.0)
    assert outcomes(rows)[1] == outcome


def test_a_note_that_was_left_out_is_missing() -> None:
    rows = played()
    del rows[2]
    assert outcomes(rows) == ["right", "right", "missing", "right"]


def test_a_note_too_many_is_extra() -> None:
    rows = played()
    rows.insert(3, found("C3", "G3", 4.0, 0.4))
    aligned = align(rows, planned_notes(PLAN))
    assert [row.played_hz for row in aligned.extra] == [hz("C3")]
    assert [one.outcome for one in aligned.matches] == ["right"] * 4


def test_what_the_horn_alone_leaves_open_the_plan_names() -> None:
    rows = played()
    members = (hz("F3"), hz("D4") * 1.003, hz("Ab4"))
    rows[0] = found("Bb2", None, 0.5, 1.0).__class__(**{
        **rows[0].__dict__, "sung_hz": None, "sung_class": members, "cannot": {"sung_hz": "why"}
    })  # fmt: skip
    aligned = align(rows, planned_notes(PLAN))
    assert aligned.rows[0].sung_hz == members[1]
    assert aligned.rows[0].ratio == (5, 2)
    assert aligned.rows[0].cannot == {}
    assert aligned.matches[0].outcome == "right"


def test_the_same_note_twice_may_be_played_as_one() -> None:
    plan = Passage(tempo=1.0, fingered="Bb2:1 Bb2:1 D3:1", sung="D4:1 D4:1 A3:1")
    rows = [found("Bb2", "D4", 0.0, 2.0), found("D3", "A3", 2.0, 1.0)]
    assert outcomes(rows, plan) in (["right", "joined", "right"], ["joined", "right", "right"])


def test_parts_of_a_long_note_are_one() -> None:
    rows = played()
    rows[3:] = [found("F3", "C4", 4.5, 1.0), found("F3", "C4", 5.55, 1.0)]
    aligned = align(rows, planned_notes(PLAN))
    assert [one.outcome for one in aligned.matches] == ["right"] * 4
    assert aligned.extra == ()


def test_nothing_played_is_all_missing() -> None:
    aligned = align([], planned_notes(PLAN))
    assert [one.outcome for one in aligned.matches] == ["missing"] * 4
    assert aligned.tempo_ratio is None


def test_a_plan_is_laid_over_the_recording_where_its_notes_were_found() -> None:
    over = laid(align(played(1.5, 20.0, 0.7), planned_notes(PLAN)))
    assert [note.begin_s for note in over] == pytest.approx([0.7, 2.2, 3.7, 6.7])
    assert over[0].fingered_hz == pytest.approx(hz("Bb2+20c"))
    assert over[0].sung_hz == pytest.approx(hz("D4+20c"))
    assert laid(align([], planned_notes(PLAN))) == ()
