import math
import os
import re
from pathlib import Path
from typing import Any

import pytest

from reedbore.errors import PresetError
from reedbore.model import presets
from reedbore.model.setup import Horn, Singer
from reedbore.model.units import QUANTITIES
from reedbore.notes import midi_to_hz, parse_note

HORNS, VOICES = presets.names("horns"), presets.names("voices")
GOOD = (presets.presets_folder() / "horns" / "tenor-saxophone.toml").read_text(encoding="utf-8")


def mistakes(folder: Path, text: str, name: str = "mine.toml") -> list[str]:
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return presets.check(file)


def test_the_presets_promised_are_there() -> None:
    assert {"tenor-saxophone", "plain-cone", "plain-cylinder"} <= set(HORNS)
    assert {"low-male", "high-male", "low-female", "high-female"} <= set(VOICES)
    assert "mill-race" in presets.names("passages")


def test_no_two_presets_share_a_name() -> None:
    every = [name for kind in presets.KINDS for name in presets.names(kind)]
    assert len(every) == len(set(every))


@pytest.mark.parametrize("kind", presets.KINDS)
def test_every_preset_is_right_and_knows_its_kind(kind: str) -> None:
    for name in presets.names(kind):
        path = presets.preset_path(kind, name)
        assert presets.check(path) == []
        assert presets.kind_of(path) == kind


@pytest.mark.parametrize("name", HORNS)
def test_a_horn_states_a_register_of_an_octave_or_more(name: str) -> None:
    low, high = presets.load_horn(name).midi_range
    assert high - low >= 12


@pytest.mark.parametrize("name", HORNS)
def test_every_number_of_a_horn_has_its_source(name: str) -> None:
    horn = presets.load_horn(name)
    plain = horn.to_plain()
    sections = ("mouthpiece", "reed", "breath")
    given = {f"{section}.{key}" for section in sections for key in plain[section]}
    given |= {f"bore.sections.{key}" for key in plain["bore"]["sections"][0]}
    for hole in plain["bore"]["holes"]:
        # All closed is how a horn lies there; what opens stands in its fingerings.
        given |= {f"bore.holes.{key}" for key in hole if key != "open"} | {"fingerings"}
    given |= {f"bore.lattice.{key}" for key in plain["bore"].get("lattice", ())}
    given |= {"low_note", "high_note", "transposition", "clef"}
    # By definition as the preset has them; what a player does with the lip is no number.
    given -= {"reed.strength", "reed.lip", "breath.lip", "breath.air", "breath.sway"}
    given -= {"breath.lip_sway", "breath.pitch_sway_cents", "breath.seed", "breath.tongue_ms"}
    assert {key for key in given if not horn.sources.get(key)} == set()


@pytest.mark.parametrize("name", VOICES)
def test_every_number_of_a_voice_has_its_source(name: str) -> None:
    given = {"low_note", "high_note", "voice.rd", "voice.depth", "voice.fade_ms"}
    assert given <= set(presets.load_singer(name).sources)


@pytest.mark.parametrize("name", VOICES)
def test_a_voice_sings_at_usual_depth_by_default(name: str) -> None:
    assert 0.0 < presets.load_singer(name).voice.depth <= 0.15


@pytest.mark.parametrize(
    ("name", "low", "high"),
    # Ranges of bass, tenor, alto and soprano: common practice, no source.
    [
        ("low-male", "E2", "E4"),
        ("high-male", "C3", "C5"),
        ("low-female", "F3", "F5"),
        ("high-female", "C4", "C6"),
    ],
)
def test_voices_have_the_usual_ranges(name: str, low: str, high: str) -> None:
    singer = presets.load_singer(name)
    assert (singer.low_note, singer.high_note) == (low, high)


# --- the tenor saxophone against what was published ----------------------------------------------


def tenor() -> Horn:
    return presets.load_horn("tenor-saxophone")


def cone_of(horn: Horn) -> tuple[float, float, float]:
    """Length and radii of the one part of a bore that widens. [m]"""
    (cone,) = (piece for piece in horn.bore.chain() if piece[1] < piece[2])
    return cone


def test_the_tenor_cone_has_the_published_angle_and_length() -> None:
    # J.-M. Chen, J. Smith and J. Wolfe, "Saxophone acoustics: introducing a compendium of
    # impedance and sound spectra", Acoustics Australia 37(1), 2009: half-angle of the tenor 1.52
    # degrees, length with mouthpiece 1490 mm.
    length, entry, far = cone_of(tenor())
    assert math.degrees(math.atan((far - entry) / length)) == pytest.approx(1.52, abs=0.005)
    assert sum(piece[0] for piece in tenor().bore.chain()) == pytest.approx(1.490, abs=0.0005)


def test_the_tenor_reed_yields_like_the_published_volume() -> None:
    # UNSW Sydney, acoustics laboratory, saxophone methods page: compliance of a tenor reed 3.25 ml.
    # Air: 1.4 times 101325 Pa, the adiabatic bulk modulus of an ideal diatomic gas.
    reed = tenor().reed
    assert 1.4 * 101325.0 * reed.area / reed.stiffness == pytest.approx(3.25e-6, rel=0.03)


@pytest.mark.parametrize("name", ["tenor-saxophone", "plain-cone"])
def test_mouthpiece_and_reed_replace_the_missing_tip_of_the_cone(name: str) -> None:
    # A. H. Benade, Fundamentals of Musical Acoustics, 1976, chapter 21, from memory: mouthpiece and
    # reed have to make up the volume of the missing tip.
    horn = presets.load_horn(name)
    length, entry, far = cone_of(horn)
    tip = math.pi * entry**2 / 3.0 * entry * length / (far - entry)
    yielding = 1.4 * 101325.0 * horn.reed.area / horn.reed.stiffness
    tube = sum(math.pi * one**2 * long for long, one, other in horn.bore.chain() if one == other)
    assert horn.mouthpiece.volume + tube + yielding == pytest.approx(tip, rel=0.02)


def test_equal_horns_are_one_key_of_a_cache() -> None:
    changed = tenor().model_copy(update={"title": "Mine"})
    assert len({tenor(), tenor(), changed}) == 2


def test_the_tenor_is_written_a_ninth_above_its_sound() -> None:
    # Common practice, no source: lowest note written B flat 3, octave key from written D5.
    horn = tenor()
    assert horn.transposition == 14
    assert parse_note(horn.low_note) + 14 == parse_note("Bb3")
    assert parse_note(horn.high_note) + 14 == parse_note("C#5")


def test_the_tenor_is_long_enough_for_its_lowest_note() -> None:
    # The tip of a complete cone lies half a wavelength from its open end; c at 27 degrees Celsius
    # is 347 m/s (331.3 m/s times the square root of T/273.15 K), the end adds 0.6 of its radius.
    length, entry, far = cone_of(tenor())
    to_tip = entry * length / (far - entry)
    half_wave = 347.0 / (2.0 * midi_to_hz(parse_note("Ab2")))
    assert length + to_tip + 0.6 * far > half_wave


def test_the_demo_passage_fits_its_horn_and_voice() -> None:
    from reedbore.model.line import read_line  # noqa: PLC0415

    piece = presets.load_piece("mill-race")
    fingered, sung = read_line(piece.passage.fingered), read_line(piece.passage.sung)
    assert sum(fingered.beats) == sum(sung.beats)
    for line, (low, high) in (
        (fingered, presets.load_horn(piece.horn).midi_range),
        (sung, presets.load_singer(piece.voice).midi_range),
    ):
        assert all(low <= parse_note(pitch) <= high for pitch in line.pitches if pitch)
    # A singer aims less than half a semitone beside the note that comes out.
    assert len({round(parse_note(pitch)) for pitch in sung.pitches if pitch}) == 5
    assert fingered.pitches[0] == "Bb2"


# --- setups --------------------------------------------------------------------------------------


def test_a_setup_takes_the_voice_of_the_singer() -> None:
    singer = presets.load_singer("low-female")
    assert presets.setup_for(tenor(), singer).voice == singer.voice
    assert presets.setup_for(tenor()).voice.source == "pulse"
    assert isinstance(singer, Singer)


# --- files of the user's own ---------------------------------------------------------------------


def test_all_mistakes_of_a_file_are_told_with_their_lines(tmp_path: Path) -> None:
    text = GOOD
    for right, wrong in {
        r"opening_mm = .*": "opening_mm = 4",
        r"width_mm =": "widht_mm =",
        r"length_mm = .*": "length_m = 1.49",
        r"clef = .*": 'clef = "alto"',
        r"damping = .*": "damping = nan",
        r"reed.contact =": "reed.contacts =",
    }.items():
        text = re.sub(f"(?m)^{right}", wrong, text, count=1)
    lines = text.splitlines()
    told = mistakes(tmp_path, text)
    at = {line.split(":")[1]: line for line in told}
    assert all(line.startswith("mine.toml:") for line in told)
    assert {lines[int(number) - 1].partition("=")[0].strip() for number in at} == {
        "opening_mm", "widht_mm", "length_m", "clef", "damping", "reed.contacts",
    }  # fmt: skip
    joined = "\n".join(told)
    assert "reed.opening_mm is 4 mm; allowed 0.05 to 3 mm (gap between reed tip and lay)" in joined
    assert "reed.widht_mm is an unknown key; did you mean reed.width_mm?" in joined
    assert "bore.sections.1.length_m is an unknown key; the unit is mm: write length_mm = 1490" in (
        joined
    )
    assert "clef is 'alto'; allowed 'treble' or 'bass'" in joined
    assert "did you mean sources.reed.contact?" in joined
    assert len(told) == 6


# Holes for the notes D3 to F3 of a plain bore, and how they are fingered.
HOLED = """title = "Two holes"
low_note = "D3"
high_note = "F3"
transposition = 0
clef = "treble"
reed = {opening_mm = 1, width_mm = 14, stiffness_kpa_per_mm = 7, frequency_hz = 1500, damping = 1}
breath.pressure_kpa = 3
[bore]
end = "lattice"
[bore.lattice]
diameter_mm = 9
chimney_mm = 4
spacing_mm = 20
[[bore.sections]]
length_mm = 600
entry_mm = 12
exit_mm = 20
[[bore.holes]]
position_mm = 400
diameter_mm = 8
chimney_mm = 6
[[bore.holes]]
position_mm = 450.5
diameter_mm = 8.5
chimney_mm = 6
open = 0.5
[fingerings]
D3 = ""
Eb3 = "2"
E3 = "1-2"
"F3" = '1'
"F#3 fork" = "1"
[sources.bore]
holes.position_mm = "mine"
lattice.spacing_mm = "mine"
[sources]
fingerings = "mine"
"""


def test_holes_lattice_and_fingerings_are_read(tmp_path: Path) -> None:
    assert mistakes(tmp_path, HOLED) == []
    horn = presets.load_horn(tmp_path / "mine.toml")
    assert [hole.position for hole in horn.bore.holes] == [0.4, 0.4505]
    assert [hole.open for hole in horn.bore.holes] == [0.0, 0.5]
    assert horn.bore.lattice is not None
    assert horn.bore.lattice.spacing == 0.02
    assert horn.fingering(54, "fork") == (1,)
    assert presets.setup_for(horn).bore == horn.bore
    assert set(horn.sources) == {"bore.holes.position_mm", "bore.lattice.spacing_mm", "fingerings"}


@pytest.mark.parametrize(
    ("right", "wrong", "answer"),
    [
        ("= 450.5", "= 40.5", "bore.holes.2.position_mm is 40.5 mm; holes rise from the reed, "),
        ("8.5", "19", "bore.holes.2.diameter_mm is 19 mm; the bore is 18.0067 mm wide there"),
        ("open = 0.5", "open = 2", "bore.holes.2.open is 2; allowed 0 to 1 (share of the area"),
        ("open = 0.5", "opn = 1", "bore.holes.2.opn is an unknown key; did you mean bore.holes.2."),
        ("spacing_mm = 20", "spacing_cm = 2", "bore.lattice.spacing_cm is an unknown key; the unit "
         "is mm: write spacing_mm = 20"),
        ('end = "lattice"', 'end = "flanged"', "bore.end is 'flanged'; with bore.lattice it must "),
        ('Eb3 = "2"', 'Eb3 = "3"', "fingerings.Eb3 is '3'; the bore has holes 1 to 2"),
        ('Eb3 = "2"', "Eb3 = 2", "fingerings.Eb3 is 2; it must be text in quotes"),
        ('"F#3 fork" = "1"', '"F#3 fork" = "1-"', "fingerings.F#3 fork cannot be read: '1-' is "),
        ('"F#3 fork" = "1"', "'Hb3' = '1'", "fingerings.Hb3 cannot be read: 'Hb3' is not a note"),
        ("holes.position_mm", "holes.place_mm", "sources.bore.holes.place_mm is no setting"),
    ],
)  # fmt: skip
def test_a_mistake_at_a_hole_or_fingering_is_told_with_its_line(
    tmp_path: Path, right: str, wrong: str, answer: str
) -> None:
    text = HOLED.replace(right, wrong, 1)
    (told,) = mistakes(tmp_path, text)
    line = next(n for n, line in enumerate(text.splitlines(), 1) if wrong in line)
    assert told.startswith(f"mine.toml:{line}: {answer}")


def test_notes_without_fingering_are_told_at_the_fingerings(tmp_path: Path) -> None:
    text = HOLED.replace('Eb3 = "2"\n', "").replace('high_note = "F3"', 'high_note = "F#3"')
    line = text.splitlines().index("[fingerings]") + 1
    (told,) = mistakes(tmp_path, text)
    assert told == (f"mine.toml:{line}: fingerings lack Eb3, F#3; each note D3 to F#3 needs one")


def test_a_missing_key_is_told_where_its_table_stands(tmp_path: Path) -> None:
    text = re.sub(r"(?m)^opening_mm = .*\n", "", GOOD, count=1)
    (told,) = mistakes(tmp_path, text)
    line = text.splitlines().index("[reed]") + 1
    assert told.startswith(f"mine.toml:{line}: reed.opening_mm is missing; allowed 0.05 to 3 mm")


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("title = ", "mine.toml:1: cannot be read as TOML: "),
        ("title = 'x'\ntitle = 'y'\n", "mine.toml:2: cannot be read as TOML: "),
        ("a = " + "[" * 5000, "mine.toml"),
        ("bore = 3\n", "mine.toml:1: "),
        ("[[bore]]\nx = 1\n", "mine.toml:1: "),
        ("", "mine.toml:1: "),
        ("name = 'x'\n", "mine.toml:1: "),
        ("reed.opening_mm = 4\n", "mine.toml:1: "),
        ("[reed]\nopening_mm = 1" + "0" * 400, "mine.toml:1: "),
        ("[reed]\nopening_mm = 1979-05-27\n", "mine.toml:1: "),
        ("title = 3\nsources = 4\n", "mine.toml:1: "),
    ],
)
def test_any_text_is_answered_with_sentences(tmp_path: Path, text: str, answer: str) -> None:
    told = mistakes(tmp_path, text)
    assert told[0].startswith(answer)
    assert all("\n" not in sentence and "pydantic" not in sentence for sentence in told)


def test_a_file_in_another_encoding_is_told(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_bytes(GOOD.encode("utf-16"))
    assert presets.check(file) == [f"{file} is no text in UTF-8"]


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    assert mistakes(tmp_path, "\ufeff" + GOOD) == []


@pytest.mark.parametrize("name", ["", "none.toml"])
def test_what_is_no_file_is_told(tmp_path: Path, name: str) -> None:
    (told,) = presets.check(tmp_path / name)
    assert told.startswith(f"{tmp_path / name} cannot be read: ")


@pytest.mark.timeout(60)
def test_a_pipe_is_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "mine.toml")
    told = presets.check(tmp_path / "mine.toml")
    assert told == [
        f"{tmp_path / 'mine.toml'} is a device or a pipe, no plain file: no preset file"
    ]


def test_a_number_of_thousands_of_digits_is_told(tmp_path: Path) -> None:
    (told,) = mistakes(tmp_path, f"title = {'9' * 6000}\n")
    assert told == "mine.toml holds a number of thousands of digits"


@pytest.mark.parametrize("text", ["{} = 1", "[{}]", "x = {{ {} = 1 }}", "'{}'.{} = 1"])
def test_keys_are_nested_no_deeper_than_32(tmp_path: Path, text: str) -> None:
    deep = text.format(*[".".join(["a"] * 33)] * 2)
    assert mistakes(tmp_path, deep) == ["mine.toml is nested too deep for a preset file"]
    flat = text.format(*[".".join(["a"] * 31)] * 2)
    assert "too deep" not in mistakes(tmp_path, flat)[0]


def test_points_in_a_text_are_no_keys(tmp_path: Path) -> None:
    told = mistakes(tmp_path, f"{GOOD}\n# {'0.' * 5} and so on{'. ' * 40}\n")
    assert told == []


def test_a_file_of_another_kind_is_told_by_its_keys(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(GOOD, encoding="utf-8")
    with pytest.raises(PresetError, match=r"mine\.toml:\d+: bore is an unknown key"):
        presets.load_singer(file)


def test_a_file_loads_like_a_preset(tmp_path: Path) -> None:
    file = tmp_path / "tenor-saxophone.toml"
    file.write_text(GOOD, encoding="utf-8")
    assert presets.load_horn(str(file)) == presets.load_horn(file) == tenor()


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("tenor-saxofone", "'tenor-saxofone' is no horn; did you mean tenor-saxophone?"),
        ("tenor", "'tenor' is no horn; did you mean tenor-saxophone?"),
        ("zzz", "'zzz' is no horn; there are alto-saxophone, "),
        ("low-male", "'low-male' is no horn; "),
    ],
)
def test_an_unknown_name_is_answered_with_the_likely_one(name: str, answer: str) -> None:
    with pytest.raises(PresetError) as error:
        presets.load_horn(name)
    assert str(error.value).startswith(answer)


def test_lines_are_found_in_every_spelling_of_toml() -> None:
    text = '# title = 1\nreed.opening_mm = 1\n[bore]\nend = ""\n[[ bore.sections ]]\nexit_mm = 1\n'
    text += '\n[[bore.sections]]\n"exit_mm"=2\n[ breath ]\n'
    text += "[fingerings]\n\"F#3\" = ''\n'Bb3 fork' = '7=9'\nA3 = 'D4 = 3'\n"
    lines = presets.key_lines(text)
    expected: dict[str, Any] = {
        "reed.opening_mm": 2, "bore": 3, "bore.end": 4, "bore.sections": 5,
        "bore.sections.1.exit_mm": 6, "bore.sections.2": 8, "bore.sections.2.exit_mm": 9,
        "breath": 10, "fingerings.F#3": 12, "fingerings.Bb3 fork": 13, "fingerings.A3": 14,
    }  # fmt: skip
    assert {name: lines.get(name) for name in expected} == expected


def test_ranges_of_presets_leave_room_to_sweep() -> None:
    for name in HORNS:
        plain = presets.load_horn(name).to_plain()["reed"]
        for key in ("opening_mm", "stiffness_kpa_per_mm", "damping"):
            low, high = QUANTITIES[f"reed.{key}"].edge_range
            assert low < plain[key] < high
