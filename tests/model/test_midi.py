import contextlib
import io
import os
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from midi_files import END, TYPE_0, TYPE_1, another_library, by_hand, chunk, hexed

from reedbore.errors import NoteError
from reedbore.model import presets
from reedbore.model.line import Line, Note, write_line
from reedbore.model.midi.read import Found, read_midi
from reedbore.model.midi.tidy import USUAL_SLIVERS_S, Tidy
from reedbore.model.midi.write import (
    FULL,
    FULL_DEPTH,
    TICKS,
    midi_bytes,
    resultant_bytes,
    soundings,
)
from reedbore.model.passage import (
    DYNAMICS,
    Passage,
    Point,
    dynamic_share,
    write_breath,
    write_depth,
)
from reedbore.notes import midi_name, midi_to_hz

Read = Callable[[bytes], Found]


@pytest.fixture(name="read")
def _read(tmp_path: Path) -> Read:
    def read(data: bytes) -> Found:
        file = tmp_path / "mine.mid"
        file.write_bytes(data)
        return read_midi(file)

    return read


def passage(**changed: object) -> Passage:
    return Passage.from_plain({"tempo_bpm": 60, "fingered": "Bb2:4", "sung": "D4:4", **changed})


def events(data: bytes, track: int) -> list[tuple[int, mido.Message]]:
    """List the messages of a track with the tick of each."""
    now, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[track]:
        now += message.time
        found.append((now, message))
    return found


@pytest.mark.parametrize("data", [TYPE_0, TYPE_1], ids=["type 0", "type 1"])
def test_the_example_of_the_standard_is_read(read: Read, data: bytes) -> None:
    found = read(data)
    assert found.passage == passage(tempo_bpm=120, fingered="rest:2 E5:2", sung="rest:1 G4:3")
    assert found.said == (
        "notes on channel 3 are left out; 1 is the fingered line and 2 the sung one",
    )


@pytest.mark.parametrize("kind", [0, 1])
def test_a_file_of_another_library_is_read(read: Read, kind: int) -> None:
    found = read(another_library(kind))
    made = found.passage
    assert made.fingered == "Bb2:4 D3:3"
    assert made.sung == "Bb3:1~ C4:0.5 rest:0.5 D4:1/3 rest:5/3 Bb3:3"
    assert (made.tempo, made.tempo_changes, made.meter) == (72 / 60, "96@4", "3/4")
    # A controller holds until the next: ff to shortly before beat 4, then pp.
    assert [point.value for point in made.breath_curve] == [
        dynamic_share(n) for n in ("f", "f", "pp")
    ]
    assert [point.beat for point in made.breath_curve] == [0.0, 4.0 - 1 / 16, 4.0]
    assert made.depth == "0.1"
    assert found.title == "Mill race"
    assert found.said == ("controller 7 on channel 1 is left out",)


# --- there and back ------------------------------------------------------------------------------


def test_the_demo_comes_back_from_midi(read: Read) -> None:
    piece = presets.load_piece("mill-race")
    found = read(midi_bytes(piece.passage, piece.title))
    assert found.said == ()
    assert found.title == "Mill race"
    assert found.passage.fingered_line == piece.passage.fingered_line
    assert found.passage.sung_line == piece.passage.sung_line
    assert found.passage.tempo == piece.passage.tempo
    assert found.passage.breath_curve == piece.passage.breath_curve


GRID = st.integers(1, 3 * TICKS).map(lambda ticks: ticks / TICKS)
SPELLED = st.builds(
    lambda key, tenths: midi_name(key) + (f"{tenths / 10:+g}c" if tenths else ""),
    st.integers(1, 126), st.just(0) | st.integers(-499, 499),
)  # fmt: skip


def lines(names: tuple[str, ...]) -> st.SearchStrategy[Line]:
    note = st.builds(
        Note, SPELLED | st.sampled_from(["C4", "D4"]), GRID, st.sampled_from(names), st.booleans()
    )
    rest = st.builds(Note, st.none(), GRID)
    return (
        st.lists(note | rest, min_size=1, max_size=12)
        .map(_plain)
        .filter(lambda line: any(line.pitches))
    )


def _plain(notes: list[Note]) -> Line:
    """Take away what MIDI writes in one way only: rests after rests, ties, slurs to nowhere."""
    kept = [
        note for here, note in enumerate(notes) if here == 0 or note.pitch or notes[here - 1].pitch
    ]
    after: list[Note | None] = [*kept[1:], None]
    return Line(
        tuple(
            note._replace(
                fingering=note.fingering if note.pitch else "",
                slurred=bool(note.slurred and note.pitch and following and following.pitch)
                and (note.pitch, note.fingering) != (following.pitch, following.fingering),
            )
            for note, following in zip(kept, after, strict=True)
        )
    )


QUICK = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@QUICK
@given(lines(("", "fork", "side B♭")), lines(("",)), st.integers(1000, 40000))
def test_lines_come_back_from_midi_exactly(
    read: Read, fingered: Line, sung: Line, tempo: int
) -> None:
    made = passage(
        tempo_bpm=tempo / 100, fingered=write_line(fingered), sung=write_line(sung),
        tempo_changes="33.3@1 200@7", meter="6/8 3/4@3",
    )  # fmt: skip
    found = read(midi_bytes(made))
    assert found.said == ()
    assert found.passage.fingered_line == fingered
    assert found.passage.sung_line == sung
    assert found.passage.tempo == made.tempo
    assert [tempo[:2] for tempo in found.passage.tempi] == [
        tempo[:2] for place, tempo in enumerate(made.tempi)
        if place == 0 or tempo.hz != made.tempi[place - 1].hz
    ]  # fmt: skip
    assert found.passage.meters == made.meters


VALUES = st.sampled_from([dynamic_share(name) for name in DYNAMICS]) | st.floats(0.0, 1.0)
CURVES = st.lists(
    st.tuples(st.integers(0, 12 * TICKS), VALUES), min_size=1, max_size=8,
    unique_by=lambda pair: pair[0],
).map(lambda pairs: tuple(Point(tick / TICKS, value) for tick, value in sorted(pairs)))  # fmt: skip


DEPTHS = CURVES.map(lambda points: tuple(Point(at, FULL_DEPTH * value) for at, value in points))


@QUICK
@given(CURVES, DEPTHS)
def test_curves_come_back_from_midi_to_a_few_steps_of_fourteen_bits(
    read: Read, breath: tuple[Point, ...], depth: tuple[Point, ...]
) -> None:
    made = passage(breath=write_breath(breath), depth=write_depth(depth))
    found = read(midi_bytes(made)).passage
    beats = np.arange(0, 13 * TICKS, 7) / TICKS
    for before, after in (
        (made.breath_curve, found.breath_curve), (made.depth_curve, found.depth_curve),
    ):  # fmt: skip
        then, now = (np.interp(beats, *np.array(points).T) for points in (before, after))
        assert np.max(np.abs(then - now)) < 3.5 / FULL
    # The lines do not grow where a curve goes on beyond them.
    assert (found.fingered, found.sung) == ("Bb2:4", "D4:4")


def test_a_hairpin_comes_back_as_it_was_written(read: Read) -> None:
    text = "mf mf@4 ff@6.5 pp@9 0.25@12"
    found = read(midi_bytes(passage(fingered="C3:12", breath=text, depth="0.1 0.3@4 0.05@5")))
    assert found.passage.breath == text
    assert found.passage.depth == "0.1 0.3@4 0.05@5"
    assert found.said == ()


def test_a_tie_is_one_note_in_midi(read: Read) -> None:
    found = read(midi_bytes(passage(fingered="C3:1~ C3:1~ D3:1 D3:1")))
    assert found.passage.fingered == "C3:2~ D3:1 D3:1"


def test_bounds_are_rounded_one_by_one() -> None:
    # 30 notes of a seventh of a beat: the last ends within half a tick of where it should.
    made = soundings(Line((Note("C4", 1 / 7),) * 30))
    assert made[-1].end == round(30 / 7 * TICKS)
    assert all(here.end == there.start for here, there in pairwise(made))


def test_a_note_shorter_than_a_tick_is_refused() -> None:
    with pytest.raises(NoteError, match="D3 at beat 1 is shorter than 1/960 beat"):
        midi_bytes(passage(fingered="C3:1 D3:0.0001 C3:1"))


# --- the bytes that we write ---------------------------------------------------------------------


def test_a_slur_overlaps_and_a_tongued_note_does_not() -> None:
    data = midi_bytes(passage(fingered="C3:1~ D3:1 E3:1"))
    notes = [
        (tick, message.type, message.note)
        for tick, message in events(data, 1)
        if message.type.startswith("note")
    ]
    assert notes == [
        (0, "note_on", 48), (960, "note_on", 50), (961, "note_off", 48),
        (1920, "note_off", 50), (1920, "note_on", 52), (2880, "note_off", 52),
    ]  # fmt: skip


def test_cents_are_bent_within_two_semitones() -> None:
    data = midi_bytes(passage(sung="C4+50c:1 C4:1"))
    bends = [
        (tick, message.pitch) for tick, message in events(data, 2) if message.type == "pitchwheel"
    ]
    # 8192 steps are two semitones [MIDI 1.0 specification, pitch bend and RPN 0].
    assert bends == [(0, 2048), (960, 0)]


def test_controllers_have_their_standard_numbers() -> None:
    # Table of controllers of the MIDI 1.0 specification: 2 breath, 11 expression, 32 more for the
    # fine part of each.
    data = midi_bytes(passage(breath="1", depth="0.2"))
    for track, numbers in ((3, [2, 34]), (4, [11, 43])):
        found = [message for _, message in events(data, track) if message.type == "control_change"]
        assert [message.control for message in found] == numbers
    assert [message.channel for _, message in events(data, 4)[1:-1]] == [1, 1]


def test_resultants_are_written_with_the_tempo_of_their_passage() -> None:
    heard = [
        (0.0, 2.0, midi_to_hz(34.25)), (2.0, 1.0, 5.0), (3.0, 1.0, float("nan")),
        (4.0, 1.0, midi_to_hz(34.0)), (5.0, 0.0001, 100.0),
    ]  # fmt: skip
    data = resultant_bytes(heard, passage(tempo_bpm=50), "Mill race, resultants")
    (tempo,) = [message.tempo for _, message in events(data, 0) if message.type == "set_tempo"]
    assert tempo == 1_200_000
    found = [
        (tick, message.type, getattr(message, "pitch", getattr(message, "note", None)))
        for tick, message in events(data, 1)
        if message.type in {"note_on", "note_off", "pitchwheel"}
    ]
    assert found == [
        (0, "pitchwheel", 1024), (0, "note_on", 34), (1920, "note_off", 34),
        (3840, "pitchwheel", 0), (3840, "note_on", 34), (4800, "note_off", 34),
    ]  # fmt: skip


# --- files by hand -------------------------------------------------------------------------------


def test_the_range_of_the_bend_follows_its_rpn(read: Read) -> None:
    # RPN 0 to 12 semitones and 0 cents; bend 6144 = 8192 + (-2048), a quarter of it downwards.
    ranged = hexed("00 B06500 00 B06400 00 B0060C 00 B02600 00 E00030")
    found = read(by_hand(ranged + hexed("00 903C40 60 803C40") + END))
    assert found.passage.fingered == "A3:1"


def test_another_parameter_leaves_the_range_alone(read: Read) -> None:
    # RPN 1 (fine tuning), then NRPN: neither is the range of the bend.
    other = hexed("00 B06500 00 B06401 00 B0060C 00 B06300 00 B0060C 00 E00060")
    found = read(by_hand(other + hexed("00 903C40 60 803C40") + END))
    assert found.passage.fingered == "C#4:1"


def test_a_coarse_ramp_is_thinned_to_its_ends(read: Read) -> None:
    steps = b"".join(b"\x06\xb0\x02" + bytes([value]) for value in range(1, 101))
    data = hexed("00 B00200") + steps + hexed("00 903C40 60 803C40") + END
    points = read(by_hand(data)).passage.breath_curve
    assert [point.beat for point in points] == [0.0, 600 / 96]
    assert points[-1].value == pytest.approx(100 / 127, abs=0.5 / 127)


def test_what_a_line_cannot_hold_is_said(read: Read) -> None:
    chord = hexed("00 903C40 00 904040 30 E00050 30 803C40 00 804040")
    drums = hexed("00 992440 10 892440")
    found = read(by_hand(chord + END, drums + END))
    assert found.passage.fingered == "E4:1"
    assert found.said == (
        "channel 1 is one line: 1 note left out, which began together with a higher one or lasted "
        "no time",
        "pitch bend within 1 note of channel 1 left out; a note keeps the pitch it begins with",
        "notes on channel 10 are left out; 1 is the fingered line and 2 the sung one",
    )


def test_the_fullest_expression_is_the_strongest_hum(read: Read) -> None:
    # 127 is what programs write where nobody thought of it: it must not be exaggerated.
    sung = hexed("00 B10B7F 00 914040 60 814040")
    found = read(by_hand(hexed("00 903C40 60 803C40") + END, sung + END))
    assert found.passage.depth == "0.3"
    assert found.said == ()


def test_a_depth_beyond_the_fullest_expression_is_refused() -> None:
    with pytest.raises(NoteError, match=r"the depth goes beyond 0\.3, all that MIDI can say"):
        midi_bytes(passage(depth="0.1 0.5@2"))


def test_notes_that_never_end_last_to_the_end_of_their_track(read: Read) -> None:
    found = read(by_hand(hexed("00 903C40 60 B07B00 60 904040") + hexed("60 FF2F00")))
    assert found.passage.fingered == "C4:1 rest:1 E4:1"


def test_foreign_chunks_are_skipped(read: Read) -> None:
    data = by_hand(hexed("00 903C40 60 803C40") + END)
    found = read(data[:14] + chunk(b"XFIH", b"\x00" * 5) + data[14:] + chunk(b"XFKM", b"!"))
    assert found.passage.fingered == "C4:1"


def test_a_title_may_be_in_either_encoding(read: Read) -> None:
    notes = hexed("00 903C40 60 803C40") + END
    for held in ("Mühle".encode(), "Mühle".encode("latin-1")):
        name = b"\x00\xff\x03" + bytes([len(held)]) + held
        assert read(by_hand(name + notes)).title == "Mühle"


GOOD = hexed("00 903C40 60 803C40") + END


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "this is no MIDI file: it does not begin with a MIDI header (byte 0)"),
        (b"RIFF" + bytes(40), "this is no MIDI file"),
        (by_hand(GOOD, kind=2), "it is a MIDI file of type 2; types 0 and 1 can be read (byte 9)"),
        (by_hand(GOOD, ticks=-6360), "it counts time in film frames, not in beats (byte 12)"),
        (by_hand(GOOD)[:-6], "it ends inside a track: 6 of 12 bytes (byte 14)"),
        (by_hand(GOOD)[:14], "it has 0 of the 1 tracks that it names (byte 10)"),
        (by_hand(GOOD, hexed("00 3C40") + END), "track 2 is broken near its byte 2: running"),
        (by_hand(hexed("00 903C")), "track 1 is broken near its byte 3: an event is cut off"),
        (by_hand(hexed("00 903C90 00 803C40") + END), "track 1 is broken near its byte 4: data"),
        (by_hand(END), "channel 1 has no notes; it is the fingered line"),
        (by_hand(hexed("00 FF5103 0186A0") + GOOD), "passage.tempo_bpm is 600 beats/min; allowed"),
        (by_hand(hexed("00 FF5103 000000") + GOOD), "it has a tempo of 0 microseconds a beat"),
        (by_hand(hexed("00 FF5804 04061808") + GOOD), "passage.meter cannot be read: '4/64' is no"),
    ],
    ids=lambda value: value[:40] if isinstance(value, str) else "",
)  # fmt: skip
def test_a_broken_file_is_one_sentence_that_says_where(read: Read, data: bytes, says: str) -> None:
    with pytest.raises(NoteError) as told:
        read(data)
    assert str(told.value).startswith("mine.mid: " + says)
    assert "\n" not in str(told.value)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(NoteError, match=r"none\.mid cannot be read: No such file"):
        read_midi(tmp_path / "none.mid")


@settings(QUICK, max_examples=150)
@given(
    st.sampled_from([TYPE_0, TYPE_1, another_library(1)]),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=6),
    st.integers(0, 400),
)
def test_no_bytes_do_harm(
    read: Read, data: bytes, changes: list[tuple[int, int]], cut: int
) -> None:
    broken = bytearray(data)
    for place, value in changes:
        broken[place % len(broken)] = value
    # Anything but a passage or one sentence, told by NoteError, would fail here.
    with contextlib.suppress(NoteError):
        assert read(bytes(broken[: len(broken) - cut // 8])).passage.fingered_line.notes


# --- what a file may leave out -------------------------------------------------------------------


def test_the_breath_of_the_horn_itself_needs_no_controller(read: Read) -> None:
    made = passage(breath="")
    data = midi_bytes(made)
    controls = [message for _, message in events(data, 1) if message.type == "control_change"]
    # Controller 2 is the breath, 34 its fine part: MIDI 1.0.
    assert not {2, 34} & {message.control for message in controls}
    assert read(data).passage.breath == ""


def test_a_file_of_the_sung_line_alone_takes_the_note_that_is_held(tmp_path: Path) -> None:
    file = tmp_path / "sung.mid"
    # Channel 2: D4 for one beat of 96 ticks.
    file.write_bytes(by_hand(hexed("00 913E40 60 813E40") + END))
    assert read_midi(file, held="Bb2").passage == passage(
        tempo_bpm=120, fingered="Bb2:1", sung="D4:1"
    )
    with pytest.raises(NoteError, match="channel 1 has no notes"):
        read_midi(file)


@pytest.mark.parametrize(("notes", "read"), [(5000, True), (5001, False)])
def test_passage_has_at_most_five_thousand_notes(tmp_path: Path, notes: int, read: bool):
    one_tick = b"".join(
        hexed(f"00 90{50 + n % 12:02X}40 01 80{50 + n % 12:02X}00") for n in range(notes)
    )
    path = tmp_path / "many.mid"
    path.write_bytes(by_hand(one_tick + END))
    if read:
        assert len(read_midi(path).passage.fingered_line.notes) == notes
    else:
        with pytest.raises(NoteError, match="5001 notes and rests; allowed 1 to 5000"):
            read_midi(path)


@pytest.mark.timeout(300)
def test_pipe_is_never_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.mid")
    with pytest.raises(
        NoteError, match=r"pipe\.mid is a device or a pipe, no plain file: no passage"
    ):
        read_midi(tmp_path / "pipe.mid")


# --- as people play ------------------------------------------------------------------------------

PLAYED = Tidy(slivers=USUAL_SLIVERS_S)


def by_ms(*lines: list[tuple[int, int, int]]) -> bytes:
    """Write keys as (from, to, key), in milliseconds: a beat of 500 ms has 500 ticks."""
    tracks = []
    for channel, keys in enumerate(lines):
        messages = sorted(
            [(start, 1, bytes([0x90 | channel, key, 64])) for start, _, key in keys]
            + [(end, 0, bytes([0x80 | channel, key, 64])) for _, end, key in keys]
        )
        now, held = 0, b""
        for tick, _, message in messages:
            wait = tick - now
            held += (bytes([0x80 | wait >> 7]) if wait > 127 else b"") + bytes([wait & 127])
            held, now = held + message, tick
        tracks.append(held + END)
    return by_hand(*tracks, ticks=500)


def tidied(tmp_path: Path, tidy: Tidy, *lines: list[tuple[int, int, int]]) -> Found:
    file = tmp_path / "played.mid"
    file.write_bytes(by_ms(*lines))
    return read_midi(file, tidy=tidy)


FOUR = [(0, 985, 46), (1004, 1990, 50)], [(12, 480, 58), (508, 990, 60), (996, 1490, 62),
                                          (1512, 2000, 57)]  # fmt: skip


def test_four_hummed_notes_of_two_hands_stay_four(tmp_path: Path) -> None:
    found = tidied(tmp_path, PLAYED, *FOUR)
    assert [note.pitch for note in found.passage.fingered_line.notes] == ["Bb2", "D3"]
    assert [note.pitch for note in found.passage.sung_line.notes] == ["Bb3", "C4", "D4", "A3"]
    bounds = {*found.passage.fingered_line.bounds, *found.passage.sung_line.bounds}
    assert len(bounds) == 5
    assert found.said == (
        "channel 1: 1 gap under 40 ms closed",
        "channel 2: 4 gaps under 40 ms closed",
        "channel 2: 3 beginnings and ends moved by less than 40 ms, to those of channel 1",
    )


def test_untidied_they_fall_into_slivers(tmp_path: Path) -> None:
    found = tidied(tmp_path, Tidy(), *FOUR)
    assert len({*found.passage.fingered_line.bounds, *found.passage.sung_line.bounds}) == 12
    assert found.said == ()


@pytest.mark.parametrize(("gap", "rests"), [(39, 0), (40, 1)])
def test_a_gap_under_the_stated_length_is_closed(tmp_path: Path, gap: int, rests: int) -> None:
    found = tidied(tmp_path, PLAYED, [(0, 500 - gap, 46), (500, 1000, 50)])
    assert found.passage.fingered_line.pitches.count(None) == rests
    assert not any(note.slurred for note in found.passage.fingered_line.notes)


@pytest.mark.parametrize(("length", "notes"), [(39, 2), (40, 3)])
def test_a_note_under_the_stated_length_joins_its_neighbour(
    tmp_path: Path, length: int, notes: int
) -> None:
    start = 500 - length
    found = tidied(tmp_path, PLAYED, [(0, start, 46), (start, 500, 48), (500, 1000, 50)])
    assert len(found.passage.fingered_line.notes) == notes
    if notes == 2:
        assert found.passage.fingered == "Bb2:1 D3:1"
        assert found.said == ("channel 1: 1 note shorter than 40 ms joined to its neighbour",)


def test_a_sliver_before_a_note_joins_it_and_one_alone_is_left_out(tmp_path: Path) -> None:
    found = tidied(tmp_path, PLAYED, [(0, 20, 45), (20, 500, 46), (700, 720, 40), (1000, 1500, 50)])
    assert found.passage.fingered == "Bb2:1 rest:1 D3:1"
    assert found.said == (
        "channel 1: 1 note shorter than 40 ms joined to its neighbour",
        "channel 1: 1 note shorter than 40 ms left out, which stands alone",
    )


@pytest.mark.parametrize(("apart", "notes"), [(39, 1), (40, 2)])
def test_a_chord_of_fingers_that_fall_one_by_one_is_its_highest(
    tmp_path: Path, apart: int, notes: int
) -> None:
    found = tidied(tmp_path, PLAYED, [(0, 500, 50), (apart, 500, 46)])
    assert len(found.passage.fingered_line.notes) == notes
    assert found.passage.fingered.startswith("D3:")
    told = [said for said in found.said if "began within 40 ms of a higher one" in said]
    assert len(told) == 2 - notes


@pytest.mark.parametrize(("over", "told"), [(39, 0), (40, 1)])
def test_a_note_that_sounds_on_under_the_next_is_told(tmp_path: Path, over: int, told: int) -> None:
    found = tidied(tmp_path, PLAYED, [(0, 500 + over, 46), (500, 1000, 50)])
    assert found.passage.fingered == "Bb2:1~ D3:1"
    said = "channel 1: 1 note sounds on under the next: it ends there, slurred"
    assert found.said == (said,) * told


def test_notes_move_to_the_grid_and_none_vanishes(tmp_path: Path) -> None:
    keys = [(12, 480, 46), (530, 560, 48), (770, 1010, 50), (1010, 1290, 51)]
    found = tidied(tmp_path, Tidy(grid=0.25), keys)
    assert found.passage.fingered == "Bb2:1 C3:0.25 rest:0.25 D3:0.5 Eb3:0.5"
    assert found.said == ("channel 1: notes moved to the grid of 0.25 beats, by up to 0.06 beats",)


def test_two_notes_on_one_place_of_the_grid_are_told(tmp_path: Path) -> None:
    found = tidied(tmp_path, Tidy(grid=1.0), [(0, 200, 46), (200, 450, 48), (500, 1000, 50)])
    assert found.passage.fingered == "Bb2:1 D3:1"
    assert found.said[0] == "channel 1: 1 note left out: another begins on its place of the grid"


PLAYED_LINES = st.lists(
    st.tuples(st.integers(0, 4000), st.integers(1, 900), st.integers(40, 60)),
    min_size=1, max_size=20,
).map(lambda keys: [(start, start + length, key) for start, length, key in keys])  # fmt: skip


@QUICK
@given(PLAYED_LINES, PLAYED_LINES, st.sampled_from([0.0, 0.25, 1 / 3]))
def test_whatever_is_played_no_sliver_is_left(
    tmp_path: Path, below: list[tuple[int, int, int]], above: list[tuple[int, int, int]],
    grid: float,
) -> None:  # fmt: skip
    below = [*below, (5000, 5500, 50)]
    found = tidied(tmp_path, Tidy(USUAL_SLIVERS_S, grid), below, above)
    for line in (found.passage.fingered_line, found.passage.sung_line):
        assert all(
            note.beats * 0.5 > USUAL_SLIVERS_S - 0.0011
            for note, after in pairwise(line.notes) if note.pitch or after.pitch
        )  # fmt: skip
