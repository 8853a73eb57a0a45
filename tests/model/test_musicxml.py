import base64
import functools
import io
import zipfile
from collections.abc import Callable
from fractions import Fraction
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

import mido
import pytest
import verovio
import xmlschema
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from other_scores import other_score
from scores import score

from reedbore.errors import NoteError
from reedbore.model import presets
from reedbore.model.line import Line, Note, write_line
from reedbore.model.midi.read import Found
from reedbore.model.musicxml import bars, file
from reedbore.model.musicxml.read import read_musicxml
from reedbore.model.musicxml.write import Third, musicxml_bytes, spelled
from reedbore.model.passage import Meter, Passage
from reedbore.notes import midi_name

Read = Callable[[bytes], Found]


@pytest.fixture(name="reading")
def _reading(tmp_path: Path) -> Read:
    def reading(data: bytes) -> Found:
        file = tmp_path / "mine.musicxml"
        file.write_bytes(data)
        return read_musicxml(file)

    return reading


def passage(**changed: object) -> Passage:
    return Passage.from_plain({"tempo_bpm": 60, "fingered": "Bb2:4", "sung": "D4:4", **changed})


@functools.cache
def schema() -> xmlschema.XMLSchema:
    """Return the schema of MusicXML 4.0, as the library musicxml ships it."""
    here = Path(str(find_spec("musicxml").origin)).parent / "generate_classes"
    links = Path(str(xmlschema.__file__)).parent / "schemas" / "XLINK" / "xlink.xsd"
    places = {
        "http://www.w3.org/XML/1998/namespace": str(here / "xml.xsd"),
        "http://www.w3.org/1999/xlink": str(links),
    }
    return xmlschema.XMLSchema(
        str(here / "musicxml_4_0.xsd"), allow="local", locations=places, defuse="never"
    )


def mill_race() -> bytes:
    piece = presets.load_piece("mill-race")
    third = [Third(5, 6, 58.2), Third(13, 4, 58.3, heard=False)]
    return musicxml_bytes(
        piece.passage, piece.title, horn="Tenor saxophone", transposition=14, third=third
    ).data


AWKWARD = passage(
    fingered="Bb2:1/3 C3:1/3 D3:1/3 Eb3:2/3 F3:2/3~ G3:2/3 A3:0.2 rest:0.4 B3:0.4 C4:3.5 "
    "D4:0.0625 E4:1.9375 F4(fork):5",
    sung="Db4+12.5c:1.375~ D4:0.125 E4:0.125 F#4-40c:8",
    breath="mf mf@4 ff@6.5 pp@9 0.25@12", depth="0.1 0.3@4 0.05@5",
    meter="6/8 3/4@3", tempo_changes="33.3@1 200@7",
)  # fmt: skip


@pytest.mark.parametrize(
    "data", [mill_race(), musicxml_bytes(AWKWARD, "A < B", transposition=9).data],
    ids=["the demo", "an awkward passage"],
)  # fmt: skip
def test_what_we_write_is_valid_musicxml_4(data: bytes) -> None:
    assert [error.reason for error in schema().iter_errors(io.BytesIO(data))] == []


def test_the_schema_refuses_what_is_not() -> None:
    broken = mill_race().replace(b"<voice>", b"<choir>").replace(b"</voice>", b"</choir>")
    assert list(schema().iter_errors(io.BytesIO(broken)))


# --- read by another library ---------------------------------------------------------------------


def heard_by_verovio(data: bytes) -> list[tuple[float, int]]:
    """Let verovio play a score as MIDI; onset [quarters] and key of each note as it sounds."""
    tool = verovio.toolkit()
    assert tool.loadData(data.decode())
    made = mido.MidiFile(file=io.BytesIO(base64.b64decode(tool.renderToMIDI())))
    found = []
    for track in made.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                found.append((now / made.ticks_per_beat, message.note))
    return sorted(found)


def test_another_library_reads_the_demo_as_it_sounds() -> None:
    # Written C4 and E4 sound as B flat 2 (46) and D3 (50) on a tenor saxophone.
    assert heard_by_verovio(mill_race()) == [
        (0, 46), (0, 58), (3, 60), (5, 34), (5, 62), (11, 57), (13, 34), (13, 53),
        (18, 50), (18, 58), (20, 60), (22, 62), (25, 57), (30, 53),
    ]  # fmt: skip


def test_another_library_reads_triplets_where_they_are() -> None:
    data = musicxml_bytes(passage(fingered="C4:1/3 D4:1/3 E4:1/3 F4:2/3 G4:2/3 A4:2/3", sung=""))
    onsets = [beat for beat, _ in heard_by_verovio(data.data)]
    assert onsets == pytest.approx([0, 1 / 3, 2 / 3, 1, 5 / 3, 7 / 3], abs=0.01)


def test_a_score_of_one_library_goes_out_and_is_read_by_a_second(tmp_path: Path) -> None:
    other_score(tmp_path / "other.musicxml")
    found = read_musicxml(tmp_path / "other.musicxml")
    # Written C4 and E4 for the tenor; the first of two bars is repeated.
    assert found.passage.fingered == "Bb2:3 Bb2:3 D3:2 rest:1"
    assert found.passage.sung == "Bb3:1 C4:2 Bb3:1 C4:2 D4:3"
    assert found.passage.meter == "3/4"
    data = musicxml_bytes(found.passage, transposition=14).data
    assert heard_by_verovio(data) == [
        (0, 46), (0, 58), (1, 60), (3, 46), (3, 58), (4, 60), (6, 50), (6, 62),
    ]  # fmt: skip


# --- there and back ------------------------------------------------------------------------------


def test_the_demo_comes_back(reading: Read) -> None:
    found = reading(mill_race())
    assert (found.title, found.said) == ("Mill race", ())
    assert found.passage.fingered == "Bb2:17 rest:1 D3:15"
    # The silence that fills the last bar is none of the music's.
    assert found.passage.sung == presets.load_piece("mill-race").passage.sung.removesuffix(
        " rest:1"
    )
    assert (found.passage.tempo, found.passage.meter) == (0.8, "4/4")


def test_tuplets_curves_and_fingerings_come_back(reading: Read) -> None:
    found = reading(musicxml_bytes(AWKWARD, "A < B", transposition=9).data)
    assert (found.title, found.said) == ("A < B", ())
    for name in ("fingered", "breath", "depth", "meter", "tempo_changes"):
        assert getattr(found.passage, name) == getattr(AWKWARD, name)
    assert found.passage.sung == AWKWARD.sung.replace("Db4", "C#4") + " rest:4.875"


GRID = st.integers(1, 48).map(lambda n: n / 16) | st.integers(1, 12).map(float)
SPELLED = st.builds(
    lambda key, cents: midi_name(key) + (f"{cents:+g}c" if cents else ""),
    st.integers(24, 96), st.just(0) | st.integers(-49, 49),
)  # fmt: skip
LINES = st.lists(
    st.builds(Note, SPELLED, GRID, st.sampled_from(["", "fork"]), st.booleans())
    | st.builds(Note, st.none(), GRID),
    min_size=1, max_size=12,
)  # fmt: skip


def _plain(notes: list[Note]) -> Line:
    """Take away what a score writes in one way only: rests after rests, ties, slurs to nowhere."""
    kept = [n for k, n in enumerate(notes) if k == 0 or n.pitch or notes[k - 1].pitch]
    while kept and not kept[-1].pitch:
        kept.pop()
    return Line(
        tuple(
            n._replace(
                fingering=n.fingering if n.pitch else "",
                slurred=bool(n.slurred and n.pitch and after and after.pitch)
                and (n.pitch, n.fingering) != (after.pitch, after.fingering),
            )
            for n, after in zip(kept, [*kept[1:], None], strict=False)
        )
    )


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(LINES.map(_plain).filter(lambda line: line.notes), st.sampled_from([0, 2, 9, 14, 21, -3]),
       st.sampled_from(["4/4", "3/4", "6/8", "5/8 2/2@2.5", "3/4 4/4@3"]))  # fmt: skip
def test_lines_come_back_exactly(reading: Read, line: Line, transposition: int, meter: str) -> None:
    made = passage(fingered=write_line(line), sung="", meter=meter)
    written = musicxml_bytes(made, transposition=transposition)
    assert written.said == ()
    assert reading(written.data).passage.fingered_line == line


def test_what_is_off_every_grid_goes_to_the_nearest_sixty_fourth_and_is_told(
    reading: Read,
) -> None:
    made = musicxml_bytes(passage(fingered="C3:0.47 D3:0.53 E3:0.99 F3:0.01 G3:2", sung=""))
    assert made.said == (
        "3 notes of the fingered staff written to the nearest sixty-fourth: notation has no "
        "shorter grid",
        "1 note of the fingered staff left out, too short to be written",
    )
    assert reading(made.data).passage.fingered == "C3:0.5 D3:0.5 E3:1 G3:2"


# --- bars ----------------------------------------------------------------------------------------


def set_line(*bounds: float, meter: str = "4/4") -> list[list[tuple[float, float, int]]]:
    """Set touching notes in bars; of each sign where it begins, what it is written as, tuplet."""
    number, unit = map(int, meter.split("/"))
    beats = [bars.exact(bound) for bound in bounds]
    spans = [bars.Span(*pair) for pair in pairwise(beats)]
    measures = bars.bars_of([Meter(0.0, number, unit)], beats[-1])
    found = bars.set_in_bars(spans, measures)
    return [
        [(float(s.start), float(s.value.plain * (2 - Fraction(1, 2**s.value.dots))), s.tuplet)
         for s in signs]
        for signs in found.bars
    ]  # fmt: skip


def test_a_note_over_a_bar_line_is_tied() -> None:
    assert set_line(0, 3, 6, 8) == [[(0, 3, 1), (3, 1, 1)], [(4, 2, 1), (6, 2, 1)]]


def test_a_note_of_five_quarters_has_no_value_of_its_own() -> None:
    assert set_line(0, 2.5, 4) == [[(0, 2, 1), (2, 0.5, 1), (2.5, 1.5, 1)]]


def test_a_triplet_is_set_in_its_own_beat() -> None:
    third = 1 / 3
    (bar,) = set_line(0, 1, 1 + third, 1 + 2 * third, 2, 4)
    assert [(value, tuplet) for _, value, tuplet in bar] == [
        (1, 1), (0.5, 3), (0.5, 3), (0.5, 3), (2, 1),
    ]  # fmt: skip


def test_every_bar_is_full() -> None:
    made = musicxml_bytes(AWKWARD).data.decode()
    found = file._parsed(made.encode())
    for part in found.iter("part"):
        divisions = int(next(part.iter("divisions")).text or "0")
        lengths = [
            sum(int(n.findtext("duration") or "0") for n in m.iter("note")) / divisions
            for m in part.iter("measure")
        ]
        assert lengths == [3.0] * len(lengths)


@pytest.mark.parametrize(
    ("sounding", "transposition", "written"),
    [("Bb2", 14, "C4"), ("Ab2", 14, "Bb3"), ("C#3", 14, "D#4"), ("Db3", 14, "Eb4"),
     ("Db3", 9, "Bb3"), ("F#3", 9, "D#4"), ("Eb3", 21, "C5"), ("B2", 2, "C#3"),
     ("G#3", 9, "F4")],
)  # fmt: skip
def test_notes_are_spelled_by_the_interval(sounding: str, transposition: int, written: str) -> None:
    # A major ninth, sixth, thirteenth and second; E sharp is written F.
    found = spelled(sounding, transposition=transposition)
    name = "CDEFGAB"[found.letter] + {1: "#", -1: "b", 0: ""}[found.alter] + str(found.octave)
    assert name == written


# --- scores of others ----------------------------------------------------------------------------

NOTE = "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>{}</duration>{}</note>"


def note(pitch: str, beats: int, more: str = "") -> str:
    return NOTE.format(pitch[0], pitch[1], beats, more)


def bar(*inside: str, first: str = "") -> str:
    head = f"<attributes><divisions>1</divisions>{first}</attributes>" if first != "-" else ""
    return f"<measure number='1'>{head}{''.join(inside)}</measure>"


REPEAT = "<barline location='right'>{}<repeat direction='backward'/></barline>"
ENDING = "<barline location='left'><ending number='{}' type='start'/></barline>"
LEAVES = "<ending number='{}' type='{}'/>"


def test_repeats_and_endings_are_played_out(reading: Read) -> None:
    data = score(
        bar("<barline location='left'><repeat direction='forward'/></barline>", note("C3", 4)),
        bar(ENDING.format("1"), note("D3", 4), REPEAT.format(LEAVES.format("1", "stop"))),
        bar(ENDING.format("2"), note("E3", 4),
            f"<barline location='right'>{LEAVES.format('2', 'discontinue')}</barline>"),
        bar(note("F3", 4), REPEAT.format("")),
    )  # fmt: skip
    found = reading(data)
    assert found.passage.fingered == "C3:4 D3:4 C3:4 E3:4 F3:4 F3:4"
    assert "its repeats are played out: 4 bars become 6" in found.said


def test_da_capo_goes_to_fine_without_repeats(reading: Read) -> None:
    data = score(
        bar(note("C3", 4), REPEAT.format("")),
        bar(note("D3", 4), "<sound fine='yes'/>"),
        bar(note("E3", 4), "<sound dacapo='yes'/>"),
    )
    assert reading(data).passage.fingered == "C3:4 C3:4 D3:4 E3:4 C3:4 D3:4"


def test_dal_segno_goes_on_at_the_coda(reading: Read) -> None:
    data = score(
        bar(note("C3", 4)),
        bar("<sound segno='s'/>", note("D3", 4), "<sound tocoda='c'/>"),
        bar(note("E3", 4), "<sound dalsegno='s'/>"),
        bar("<sound coda='c'/>", note("F3", 4)),
    )
    assert reading(data).passage.fingered == "C3:4 D3:4 E3:4 D3:4 F3:4"


def test_the_first_two_parts_are_fingered_and_sung(reading: Read) -> None:
    tenor = "<transpose><chromatic>-2</chromatic><octave-change>-1</octave-change></transpose>"
    data = score(
        [bar(note("C4", 4), first=tenor)], [bar(note("D4", 2), note("E4", 2))],
        [bar(note("G4", 4))], names=("Tenor", "Choir", "Harp"),
    )  # fmt: skip
    found = reading(data)
    assert (found.passage.fingered, found.passage.sung) == ("Bb2:4", "D4:2 E4:2")
    assert found.said == (
        "fingered is the part 'Tenor'; sung is the part 'Choir'",
        "1 further line is left out (in 'Harp')",
    )


def test_two_voices_of_one_part_are_fingered_and_sung(reading: Read) -> None:
    data = score(
        bar(note("C4", 4, "<voice>1</voice>"), "<backup><duration>4</duration></backup>",
            "<forward><duration>1</duration></forward>", note("G4", 3, "<voice>2</voice>"))
    )  # fmt: skip
    found = reading(data)
    assert (found.passage.fingered, found.passage.sung) == ("C4:4", "rest:1 G4:3")
    assert found.said == ("fingered is the first line of its part, sung the second",)


def test_chords_grace_notes_and_odd_dynamics_are_told(reading: Read) -> None:
    dynamic = "<direction><direction-type><dynamics><{}/></dynamics></direction-type></direction>"
    data = score(
        bar(dynamic.format("ppp"), note("C4", 2), "<note><grace/></note>", dynamic.format("sfz"),
            note("E4", 2), note("G4", 2).replace("<note>", "<note><chord/>"))
    )  # fmt: skip
    found = reading(data)
    assert found.passage.fingered == "C4:2 G4:2"
    assert found.passage.breath == "pp"
    assert found.said[1:] == (
        "grace and cue notes left out: 1", "lower notes of chords left out: 1",
        "dynamics left out: sfz",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("more", "says"),
    [("<alter>0.5</alter>", "C#4-50c"), ("<alter>-1.25</alter>", "B3-25c")],
)
def test_quarter_tones_are_cents(reading: Read, more: str, says: str) -> None:
    data = score(bar(note("C4", 4).replace("</step>", f"</step>{more}")))
    assert reading(data).passage.fingered == f"{says}:4"


@pytest.mark.parametrize("text", ["-31", "−31c", "-31 cents"])
def test_cents_are_read_beside_a_note_too(reading: Read, text: str) -> None:
    words = f"<direction><direction-type><words>{text}</words></direction-type></direction>"
    assert reading(score(bar(words, note("C4", 4)))).passage.fingered == "C4-31c:4"


def test_a_metronome_counts_what_it_says(reading: Read) -> None:
    mark = "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>c. 60</per-minute>"
    words = f"<direction><direction-type>{mark}</metronome></direction-type></direction>"
    assert reading(score(bar(words, note("C4", 4)))).passage.tempo == pytest.approx(1.5)


def test_a_score_laid_out_in_time_is_read(reading: Read) -> None:
    data = score([bar(note("C4", 4))], [bar(note("D4", 4))]).decode()
    inside = "".join(
        f"<part id='{p}'><attributes><divisions>1</divisions></attributes>{note(n, 4)}</part>"
        for p, n in (("P1", "C4"), ("P2", "D4"))
    )
    head = data[: data.index("<part id=")].replace("score-partwise", "score-timewise")
    whole = f"{head}<measure number='1'>{inside}</measure></score-timewise>"
    found = reading(whole.encode())
    assert (found.passage.fingered, found.passage.sung) == ("C4:4", "D4:4")


# --- anybody's files -----------------------------------------------------------------------------


def zipped(path: Path, **members: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as held:
        for name, data in members.items():
            held.writestr({"container": file.CONTAINER}.get(name, name), data)
    return path


CONTAINER = b"<container><rootfiles><rootfile full-path='score'/></rootfiles></container>"


def test_a_compressed_score_is_read(tmp_path: Path) -> None:
    packed = zipped(tmp_path / "a.mxl", container=CONTAINER, score=mill_race())
    assert read_musicxml(packed).title == "Mill race"


def test_a_bomb_in_a_compressed_score_is_not_unpacked(tmp_path: Path) -> None:
    bomb = zipped(tmp_path / "a.mxl", container=CONTAINER, score=bytes(file.LARGEST_FILE + 1))
    assert bomb.stat().st_size < 100_000
    with pytest.raises(NoteError, match=r"a\.mxl: 'score' in it is larger than 20000 kB unpacked"):
        read_musicxml(bomb)


@pytest.mark.parametrize(
    ("members", "says"),
    [({}, "it holds no 'META-INF/container.xml'"),
     ({"container": b"<container/>"}, "its META-INF/container.xml names no score"),
     ({"container": CONTAINER}, "it holds no 'score'")],
)  # fmt: skip
def test_a_compressed_score_that_is_not_whole_is_told(
    tmp_path: Path, members: dict[str, bytes], says: str
) -> None:
    with pytest.raises(NoteError, match=says):
        read_musicxml(zipped(tmp_path / "a.mxl", **members))


LOCAL, CENTRAL = b"PK\x03\x04", b"PK\x01\x02"
"""Begin the headers of an archive's members: APPNOTE.TXT of the ZIP format, 4.3.7 and 4.3.12."""


def no_archive(data: bytes) -> bytes:
    return data[:50]


def corrupt(data: bytes) -> bytes:
    """Spoil what is packed in each member, behind its header and its name."""
    spoilt, at = bytearray(data), data.find(LOCAL)
    while at >= 0:
        begins = at + 30 + int.from_bytes(data[at + 26 : at + 28], "little")
        spoilt[begins : begins + 8] = b"\xff" * 8
        at = data.find(LOCAL, at + 4)
    return bytes(spoilt)


def marked(offset: int, value: int) -> Callable[[bytes], bytes]:
    """Write a number of two bytes into the headers of all members."""

    def written(data: bytes) -> bytes:
        changed = bytearray(data)
        for head, more in ((LOCAL, 0), (CENTRAL, 2)):
            at = data.find(head)
            while at >= 0:
                place = at + offset + more
                changed[place : place + 2] = value.to_bytes(2, "little")
                at = data.find(head, at + 4)
        return bytes(changed)

    return written


def unnamed(data: bytes) -> bytes:
    """Break the name of the first member in the table of an archive, which is marked as UTF-8."""
    at = data.find(CENTRAL)
    spoilt = bytearray(data)
    spoilt[at + 9] |= 0x08
    spoilt[at + 46] = 0xF4
    return bytes(spoilt)


def misplaced(data: bytes) -> bytes:
    """Say that the table of an archive is longer than the archive."""
    at = data.rfind(b"PK\x05\x06")
    return data[: at + 12] + (2**31).to_bytes(4, "little") + data[at + 16 :]


def beyond(data: bytes) -> bytes:
    """Say that what is packed begins behind the end of the archive."""
    spoilt, at = bytearray(data), data.find(LOCAL)
    while at >= 0:
        spoilt[at + 28 : at + 30] = b"\xff\xff"
        at = data.find(LOCAL, at + 4)
    return bytes(spoilt)


def newer(data: bytes) -> bytes:
    """Ask for a version of the format that does not exist."""
    return marked(4, 183)(data)


@pytest.mark.parametrize(
    "spoil",
    [
        no_archive, corrupt, marked(6, 1), marked(8, 97), marked(8, 12), unnamed, misplaced, beyond,
        newer,
    ],
    ids=[
        "no archive", "corrupt", "under a password", "packed in a way not known", "bzip2",
        "name that is none", "table too long", "beyond its end", "of a version not known",
    ],
)  # fmt: skip
def test_an_archive_that_cannot_be_unpacked_is_told(
    tmp_path: Path, spoil: Callable[[bytes], bytes]
) -> None:
    packed = zipped(tmp_path / "a.mxl", container=CONTAINER * 20, score=mill_race())
    packed.write_bytes(spoil(packed.read_bytes()))
    with pytest.raises(NoteError, match=r"^a\.mxl: this is no compressed MusicXML file \("):
        read_musicxml(packed)


ENTITY = b"<!DOCTYPE s [<!ENTITY a 'x'>]><score-partwise>&a;</score-partwise>"
OUTSIDE = b"<!DOCTYPE s [<!ENTITY a SYSTEM 'file:///etc/hostname'>]><s>&a;</s>"
DEEP = b"<a>" * (file.DEEPEST + 1) + b"</a>" * (file.DEEPEST + 1)
ENDLESS = "<barline><repeat direction='backward' times='9999999'/></barline>"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "it is no whole XML (no element found: line 1, column 0)"),
        (b"<a>", "it is no whole XML"),
        (b"<a/>", "this is no MusicXML score: it begins with <a>"),
        (ENTITY, "it declares entities, which no score needs (line 1)"),
        (OUTSIDE, "it declares entities, which no score needs (line 1)"),
        (DEEP, "it is nested more than 40 deep (line 1)"),
        (b"<score-partwise/>", "it has no measures"),
        (score(bar("<note><rest/><duration>4</duration></note>")), "it has no notes"),
        (score(bar(note("C4", 1), ENDLESS)), "its repeats unfold to more than 2000 bars"),
        (score(bar(note("H4", 1))), "a note has the step 'H'; allowed A to G"),
        (score(bar(note("C4", 1))).replace(b"<duration>1<", b"<duration>1e99<"),
         "its <duration> is '1e99', which is no number that can be used"),
        (score(bar(note("C4", 1))).replace(b"<divisions>1<", b"<divisions>0<"),
         "its divisions of a quarter note are not more than 0"),
        (score(bar(note("C9", 1))).replace(b"<octave>9<", b"<octave>99<"), "passage.fingered"),
        (score([bar(note("C4", 1))], [bar(note("C4", 1))], names=("sung", "else")),
         "none of its parts is called 'fingered'"),
    ],
    ids=lambda value: value[:40] if isinstance(value, str) else "",
)  # fmt: skip
def test_a_broken_score_is_one_sentence(reading: Read, data: bytes, says: str) -> None:
    with pytest.raises(NoteError) as told:
        reading(data)
    assert str(told.value).startswith(f"mine.musicxml: {says}")
    assert "\n" not in str(told.value)


def test_a_score_at_the_deepest_is_read(reading: Read) -> None:
    # The note lies five deep; the rest is filled with what nobody knows.
    more = file.DEEPEST - 5
    data = score(bar(note("C4", 4, "<x>" * more + "</x>" * more)))
    assert reading(data).passage.fingered == "C4:4"


def test_more_elements_than_allowed_are_refused(
    reading: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = score(bar(note("C4", 4)))
    count = data.count(b"<") - data.count(b"</") - data.count(b"<?")
    monkeypatch.setattr(file, "MOST_ELEMENTS", count)
    assert reading(data).passage.fingered == "C4:4"
    monkeypatch.setattr(file, "MOST_ELEMENTS", count - 1)
    with pytest.raises(NoteError, match=f"it has more than {count - 1} elements"):
        reading(data)


@given(st.binary(max_size=300))
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_bytes_a_file_holds_it_is_told(reading: Read, tail: bytes) -> None:
    for data in (tail, mill_race()[:3000] + tail):
        with pytest.raises(NoteError):
            reading(data)
