import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reedbore.errors import ModelError, NoteError
from reedbore.model import presets
from reedbore.model.line import Line, Note, read_beats, read_line, write_beats, write_line
from reedbore.model.passage import (
    DYNAMICS,
    Passage,
    Piece,
    Point,
    dynamic_share,
    read_breath,
    read_depth,
    write_breath,
    write_depth,
    write_piece,
)
from reedbore.notes import parse_pitch
from reedbore.simulate.controls import (
    BREATH,
    FINGERS,
    GLIDE,
    TONGUE,
    Controls,
    controls,
    sample_count,
    spans,
)

RATE = 48000.0


def passage(**changed: object) -> Passage:
    plain = {"tempo_bpm": 60, "fingered": "Bb2:2 D3:2", "sung": "Bb3:1 C4:1~ D4:1 rest:1"}
    return Passage.from_plain({**plain, **changed})


def controlled(**changed: object) -> Controls:
    return controls(passage(**changed), RATE, usual_depth=0.1)


# --- the notation --------------------------------------------------------------------------------


def test_slurs_fractions_and_fingerings_are_read() -> None:
    line = read_line("Bb3(fork):1~ C4:1/3  rest:0.5 220Hz:2 D4(side key):.5".replace(":.5", ":0.5"))
    assert line.notes == (
        Note("Bb3", 1.0, "fork", True),
        Note("C4", 1 / 3),
        Note(None, 0.5),
        Note("220Hz", 2.0),
        Note("D4", 0.5, "side key"),
    )


def test_bounds_add_up_without_rounding() -> None:
    line = read_line(" ".join(["C4:0.1"] * 10 + ["D4:1/3"] * 3))
    assert line.bounds[10] == 1.0
    assert line.bounds[13] == 2.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("C4:1 D4:1~", "'D4:1~' (word 2): a slur joins two notes"),
        ("C4:1~ rest:1", "'C4:1~' (word 1): a slur joins two notes"),
        ("rest:1~ C4:1", "'rest:1~' (word 1): a slur joins two notes"),
        ("C4:1 D4():1", "'D4():1' (word 2): a note has the name of its fingering in ( )"),
        ("rest(fork):1 D4:1", "'rest(fork):1' (word 1): a note has the name"),
        ("C4:1 X4:1", "'X4:1' (word 2): 'X4' is not a note"),
        ("C4:1/0", "'C4:1/0' (word 1) is no note with beats"),
        ("C4:1 ~ D4:1", "'~' (word 2) is no note with beats"),
        ("w:C4:1", "'w:C4:1' (word 1): 'w:C4' is a written note"),
    ],
)
def test_a_word_that_cannot_be_read_is_named_with_its_place(text: str, says: str) -> None:
    with pytest.raises(NoteError) as told:
        read_line(text)
    assert str(told.value).startswith(says)


@given(st.floats(1e-9, 9999.0) | st.fractions(min_value=0.001, max_value=9000).map(float))
def test_beats_come_back_bit_for_bit(beats: float) -> None:
    assert read_beats(write_beats(beats)) == beats


PITCHES = st.sampled_from(["Bb2", "F#3+14c", "Cb4", "d4-33.5c", "220Hz", "E𝄫4"])
NOTES = st.builds(
    Note,
    st.none() | PITCHES,
    st.floats(1e-6, 9999.0),
    st.sampled_from(["", "fork", "side B flat", "ü 7-9:~"]),
    st.booleans(),
)


def legal(notes: list[Note]) -> list[Note]:
    """Take slurs that lead nowhere, and names of rests, from a line."""
    after = [*(note.pitch for note in notes[1:]), None]
    return [
        note._replace(
            fingering=note.fingering if note.pitch else "",
            slurred=bool(note.slurred and note.pitch and follows),
        )
        for note, follows in zip(notes, after, strict=True)
    ]


LINES = (
    st.lists(NOTES, min_size=1, max_size=12)
    .map(lambda notes: Line(tuple(legal(notes))))
    .filter(lambda line: any(line.pitches))
)


@given(LINES)
def test_a_line_comes_back_bit_for_bit(line: Line) -> None:
    assert read_line(write_line(line)) == line


# --- curves, tempo, meter ------------------------------------------------------------------------


def test_curves_are_read() -> None:
    assert read_breath("mf pp@4 0.5@1001/3") == (
        Point(0.0, 4 / 7), Point(4.0, 1 / 7), Point(1001 / 3, 0.5),
    )  # fmt: skip
    assert read_depth("0.1 0.2@8") == (Point(0.0, 0.1), Point(8.0, 0.2))
    assert read_depth("") == ()


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("breath", "mfp", "'mfp' is no breath; write a dynamic (pp p mp mf f ff) or a share"),
        ("breath", "1.5", "'1.5' is no breath"),
        ("meter", "", "it has no values; write value@beat, as in mf@0 ff@8"),
        ("breath", "mf ff", "'ff' is no value at a beat"),
        ("breath", "mf@4 ff@4", "'ff@4' does not come after beat 4"),
        ("depth", "0.1 2@4", "depth is 2; allowed 0 to 1 (peak of the sung pressure"),
        ("depth", "mf", "depth is 'mf'; it must be a number"),
        ("tempo_changes", "60", "the tempo at beat 0 is tempo_bpm; changes come later"),
        ("tempo_changes", "5@4", "tempo is 5 beats/min; allowed 10 to 400 beats/min"),
        ("meter", "4/5", "'4/5' is no meter"),
        ("sung", "C4(fork):1", "C4(fork): a sung note has no fingering"),
    ],
)
def test_a_text_that_cannot_be_read_is_told_with_its_key(key: str, text: str, says: str) -> None:
    with pytest.raises(ModelError) as told:
        passage(**{key: text})
    assert str(told.value).startswith(f"passage.{key} cannot be read: {says}")


CURVES = st.lists(
    st.tuples(st.floats(0.0, 9999.0), st.floats(0.0, 1.0) | st.sampled_from(DYNAMICS)),
    min_size=1, unique_by=lambda pair: pair[0],
).map(
    lambda pairs: tuple(
        Point(beat, dynamic_share(value) if isinstance(value, str) else value)
        for beat, value in sorted(pairs, key=lambda pair: pair[0])
    )
)  # fmt: skip


@given(CURVES)
def test_curves_come_back_bit_for_bit(points: tuple[Point, ...]) -> None:
    assert read_breath(write_breath(points)) == points
    assert read_depth(write_depth(points)) == points


def test_dynamics_are_six_even_shares_of_a_range() -> None:
    shares = [0.0, *map(dynamic_share, DYNAMICS), 1.0]
    assert np.diff(shares) == pytest.approx(np.full(7, 1.0 / 7.0))


def test_tempo_changes_add_up() -> None:
    # 4 beats at 60, 4 at 120, 2 at 30 beats a minute: 4 + 2 + 4 seconds.
    changing = passage(fingered="C3:10", tempo_changes="120@4 30@8")
    assert [changing.seconds_at(beat) for beat in (2, 4, 6, 8, 10)] == [2.0, 4.0, 5.0, 6.0, 10.0]
    assert changing.seconds == 10.0
    assert sample_count(changing, RATE) == 480000


def test_the_longer_line_says_how_long_a_passage_is() -> None:
    assert passage(fingered="C3:1/3", sung="").beats == 1 / 3
    assert passage(fingered="C3:1").beats == 4.0


def test_meters_start_with_four_crotchets() -> None:
    assert [tuple(meter) for meter in passage(meter="3/4@8").meters] == [(0, 4, 4), (8, 3, 4)]
    assert [tuple(meter) for meter in passage(meter="6/8").meters] == [(0, 6, 8)]


# --- preset files --------------------------------------------------------------------------------


@settings(max_examples=60)
@given(
    line=LINES, breath=CURVES, depth=st.just(()) | CURVES, tempo=st.floats(10.0, 400.0),
    title=st.text(st.characters(codec="utf-8"), max_size=20),
)  # fmt: skip
def test_a_passage_comes_back_from_its_preset_file_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory, line: Line, breath: tuple[Point, ...],
    depth: tuple[Point, ...], tempo: float, title: str,
) -> None:  # fmt: skip
    bare = Line(tuple(note._replace(fingering="") for note in line.notes))
    written = Passage(
        tempo=tempo / 60.0, fingered=write_line(line), sung=write_line(bare),
        breath=write_breath(breath), depth=write_depth(depth), meter="6/8 4/4@8",
        tempo_changes="66.6@1/3",
    )  # fmt: skip
    piece = Piece(
        name="mine", title=title, horn="tenor-saxophone", voice="low-male", passage=written
    )
    file = tmp_path_factory.mktemp("passages") / "mine.toml"
    file.write_bytes(write_piece(piece).encode())
    read = presets.load_piece(file)
    assert read == piece
    assert (read.passage.fingered_line, read.passage.sung_line) == (line, bare)
    assert (read.passage.breath_curve, read.passage.depth_curve) == (breath, depth)


def test_every_mistake_of_a_passage_is_told_with_its_line(tmp_path: Path) -> None:
    good = presets.preset_path("passages", "mill-race").read_text(encoding="utf-8")
    text = good.replace("Bb2:17", "H2:17").replace("= 48", "= 4")
    text += 'breath = "mf fff@8"\ndept = "0.1"\n'
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    assert [line.split(" ")[0:2] for line in presets.check(file)] == [
        ["mine.toml:12:", "passage.tempo_bpm"],
        ["mine.toml:13:", "passage.fingered"],
        ["mine.toml:15:", "passage.breath"],
        ["mine.toml:16:", "passage.dept"],
    ]
    assert "did you mean passage.depth?" in presets.check(file)[-1]


# --- over time -----------------------------------------------------------------------------------


def test_notes_begin_at_their_sample() -> None:
    made = passage(fingered="rest:1/3 C3:1~ D3:1 rest:1", tempo_bpm=70)
    found = spans(made, made.fingered_line, 44100.0)
    beat = 44100.0 * 60.0 / 70.0
    assert [span.first for span in found] == [
        0,
        *(round(at * beat) for at in (1 / 3, 4 / 3, 7 / 3)),
    ]
    assert [span.end for span in found[:-1]] == [span.first for span in found[1:]]
    assert [span.joined for span in found] == [False, False, True, False]
    assert [span.hz for span in found] == [0.0, parse_pitch("C3"), parse_pitch("D3"), 0.0]


def test_pitches_hold_between_glides_and_glide_under_slurs() -> None:
    made = controlled()
    sung = made.sung_hz / parse_pitch("C4")
    assert sung[int(1.01 * RATE)] == 1.0  # tongued: at once
    start, glide = int(2 * RATE), int(GLIDE * RATE)
    assert sung[start] == 1.0
    # Half way in time is half way in cents: D4 lies two semitones above C4.
    assert sung[start + glide // 2] == pytest.approx(math.exp2(1 / 12), rel=1e-9)
    assert np.all(np.diff(sung[start : start + glide]) > 0.0)
    assert sung[start + glide] == pytest.approx(math.exp2(2 / 12), rel=1e-12)


def test_gates_open_from_the_first_sample_of_a_note_and_close_by_its_end() -> None:
    made = controlled(fingered="rest:1 C3:1 D3:1 rest:1", sung="")
    one, two, three = (int(second * RATE) for second in (1, 2, 3))
    assert not made.blowing[: one + 1].any()
    assert np.all(made.blowing[one + 1 : three] > 0.0)
    assert np.all(made.blowing[one + round(BREATH * RATE) : three - round(BREATH * RATE)] == 1.0)
    assert not made.blowing[three:].any()
    closed = np.flatnonzero(made.tongue == 0.0)
    assert closed.tolist() == [two]
    reach = round(TONGUE * RATE)
    assert np.flatnonzero(made.tongue < 1.0)[[0, -1]] == pytest.approx(
        [two - reach, two + reach], abs=1
    )


def test_the_tongue_stays_away_under_a_slur() -> None:
    made = controlled(fingered="C3:1~ D3:1~ E3:2", sung="")
    assert np.all(made.tongue == 1.0)
    assert np.all(made.blowing[round(BREATH * RATE) : -round(BREATH * RATE) - 1] == 1.0)


SHORT = "rest:0.1 C3:0.02 D4:0.01~ E3:0.3 rest:0.02 C5:1~ C3:0.03~ B2:1 rest:0.2"


@pytest.mark.parametrize("tempo", [40, 400])
def test_nothing_jumps_where_it_can_be_heard(tempo: float) -> None:
    made = controlled(fingered=SHORT, sung=SHORT, breath="pp ff@1 p@1.5", tempo_bpm=tempo)
    # The shortest note lasts 72 samples: a quarter of it is one rise, whose steepest step is
    # pi/2 of its mean one.
    steepest = 0.5 * math.pi / (0.25 * 0.01 * 60.0 / tempo * RATE)
    for gate in (made.blowing, made.tongue, made.singing):
        assert np.max(np.abs(np.diff(gate, prepend=0.0 if gate is not made.tongue else 1.0))) < (
            1.01 * steepest
        )
    for hz, heard in (
        (made.fingered_hz, made.blowing * made.tongue), (made.sung_hz, made.singing),
    ):  # fmt: skip
        jumps = np.flatnonzero(np.abs(np.diff(np.log2(hz))) > 4.0 * steepest) + 1
        assert np.all(heard[jumps] == 0.0)


def test_breath_and_depth_run_straight_between_their_points() -> None:
    made = controlled(fingered="C3:4", sung="", breath="0.2 0.6@2", depth="0.1@1 0.3@3")
    at = (np.array([0.0, 1.0, 2.0, 3.5]) * RATE).astype(int)
    assert made.breath[at] == pytest.approx([0.2, 0.4, 0.6, 0.6], abs=1e-12)
    assert made.depth[at] == pytest.approx([0.1, 0.1, 0.2, 0.3], abs=1e-12)


def test_curves_follow_the_beats_through_changes_of_tempo() -> None:
    made = controlled(fingered="C3:4", breath="0 0.4@4", tempo_changes="120@2")
    # Two beats at 60 and two at 120 beats a minute: beat 3 comes after 2.5 seconds.
    assert made.breath[int(2.5 * RATE)] == pytest.approx(0.3, abs=1e-12)
    assert len(made.breath) == 3 * RATE


def test_without_curves_depth_is_the_usual_one_and_without_a_voice_nothing_is_sung() -> None:
    made = controlled(sung="")
    assert np.all(made.depth == 0.1)
    assert not made.singing.any()
    assert not made.sung_hz.any()
    assert np.all(made.fingered_hz > 0.0)


def test_a_passage_is_the_same_wherever_it_is_cut() -> None:
    made = passage(fingered=SHORT, breath="pp ff@2 mf@3", tempo_changes="100@1")
    whole = controls(made, RATE, usual_depth=0.1)
    count = sample_count(made, RATE)
    cuts = [0, 1, 999, count // 2, count]
    parts = [
        controls(made, RATE, usual_depth=0.1, first=first, end=end) for first, end in pairwise(cuts)
    ]
    for array, pieces in zip(whole, zip(*parts, strict=True), strict=True):
        assert np.array_equal(array, np.concatenate(pieces))


def test_past_its_end_a_passage_is_silent() -> None:
    made = passage()
    count = sample_count(made, RATE)
    tail = controls(made, RATE, usual_depth=0.1, first=count, end=count + 100)
    assert not tail.blowing.any()
    assert not tail.singing.any()
    assert np.all(tail.fingered_hz == parse_pitch("D3"))


def test_fingers_are_quicker_than_the_voice() -> None:
    made = controlled(fingered="C3:2~ D3:2", sung="C4:2~ D4:2")
    start = int(2 * RATE)
    done = start + round(FINGERS * RATE)
    assert made.fingered_hz[done] == pytest.approx(parse_pitch("D3"), rel=1e-12)
    assert made.sung_hz[done] < 0.95 * parse_pitch("D4")


def test_a_changed_passage_reads_its_own_lines_and_tempi() -> None:
    made = Passage.from_plain({"tempo_bpm": 60, "fingered": "C4:2"})
    assert made.fingered_line.pitches == ("C4",)
    assert made.seconds == 2.0
    other = made.changed(fingered="D4:1 E4:3", tempo=2.0)
    assert (other.fingered_line.pitches, other.seconds) == (("D4", "E4"), 2.0)
    assert other.tempi[0].hz == 2.0
