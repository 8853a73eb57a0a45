"""Tone holes, lattice and fingerings as models: read, checked, changed, written down."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.errors import ModelError, NoteError
from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.fingerings import read_holes, read_label
from reedbore.model.settings import leaves
from reedbore.model.setup import Horn, Setup
from reedbore.model.units import QUANTITIES, from_si

LATTICE = {"diameter_mm": 9, "chimney_mm": 4, "spacing_mm": 20}
# Five semitones, D3 to F#3, need four holes; a fifth, near the reed, makes the upper register.
FINGERINGS = {
    "D3": "", "Eb3": "5", "E3": "4-5", "F3": "3-5", "F#3": "2-5",
    "F3 fork": "3 5", "D4": "1", "Eb4": "1 5",
}  # fmt: skip


def bore_plain(*positions: float, **changes: Any) -> dict[str, Any]:
    sections = [
        {"length_mm": 300, "entry_mm": 12, "exit_mm": 12},
        {"length_mm": 300, "entry_mm": 20, "exit_mm": 30},
    ]
    places = positions or (50, 400, 450, 500, 550)
    holes = [{"position_mm": place, "diameter_mm": 8, "chimney_mm": 6} for place in places]
    return {"sections": sections, "holes": holes, **changes}


def horn_plain(**changes: Any) -> dict[str, Any]:
    reed = {"opening_mm": 1, "width_mm": 14, "stiffness_kpa_per_mm": 7, "damping": 1}
    return {
        "name": "five-holes", "title": "Five holes", "low_note": "D3", "high_note": "F#3",
        "transposition": 0, "clef": "treble", "bore": bore_plain(),
        "reed": {**reed, "frequency_hz": 1500}, "breath": {"pressure_kpa": 3},
        "fingerings": FINGERINGS, **changes,
    }  # fmt: skip


def a_horn(**changes: Any) -> Horn:
    return Horn.from_plain(horn_plain(**changes))


def a_setup(**changes: Any) -> Setup:
    plain = horn_plain()
    bore = bore_plain(**changes)
    return Setup.from_plain({"bore": bore, "reed": plain["reed"], "breath": plain["breath"]})


def refusal(make: Any) -> str:
    with pytest.raises(ModelError) as error:
        make()
    return str(error.value)


# --- holes and lattice ---------------------------------------------------------------------------


def test_holes_are_closed_unless_said_otherwise() -> None:
    assert {hole.open for hole in a_setup().bore.holes} == {0.0}
    assert Hole(position=0.1, diameter=0.008, chimney=0.006, open=0.5).open == 0.5


def test_users_units_and_si_make_the_same_hole() -> None:
    si = Hole(position=0.05, diameter=0.008, chimney=0.006)
    assert Hole(position_mm=50, diameter_mm=8, chimney_mm=6) == si == a_setup().bore.holes[0]


@pytest.mark.parametrize(
    ("position", "wide"),
    [(0, 12), (299, 12), (300, 12), (450, 25), (540, 28), (600, 30), (700, 30)],
)
def test_bore_is_as_wide_as_its_pieces(position: float, wide: float) -> None:
    bore = a_setup().bore
    assert 1e3 * bore.diameter_at(position / 1e3) == pytest.approx(wide, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "answer"),
    [
        ({"positions": (50, 400, 400)}, "bore.holes.3.position_mm is 400 mm; holes rise from the "
         "reed, and hole 2 is at 400 mm"),
        ({"positions": (50, 40)}, "bore.holes.2.position_mm is 40 mm; holes rise from the reed, "
         "and hole 1 is at 50 mm"),
        ({"positions": (50, 600)}, "bore.holes.2.position_mm is 600 mm; the bore plays to 600 mm"),
        ({"length_mm": 500.0}, "bore.holes.4.position_mm is 500 mm; the bore plays to 500 mm"),
        ({"positions": (0.01,)}, "bore.holes.1.position_mm is 0.01 mm; allowed 0.1 to 5000 mm "
         "(from the reed end of the bore to the middle of this tone hole)"),
        ({"end": "lattice"}, "bore.lattice is missing; bore.end is 'lattice'"),
        ({"lattice": LATTICE},
         "bore.end is 'unflanged'; with bore.lattice it must be 'lattice'"),
        ({"end": "lattice", "lattice": 3}, "bore.lattice is 3; it must be a table of settings"),
        ({"end": "lattice", "lattice": {**LATTICE, "spacing_mm": 1}},
         "bore.lattice.spacing_mm is 1 mm; allowed 2 to 200 mm (middle to middle of the open tone "
         "holes beyond the playing length)"),
    ],
)  # fmt: skip
def test_wrong_holes_are_told_in_one_sentence(changes: dict[str, Any], answer: str) -> None:
    positions = changes.pop("positions", ())
    assert refusal(lambda: Bore.from_plain(bore_plain(*positions, **changes))) == answer


def test_hole_wider_than_the_bore_is_refused_and_an_equal_one_is_not() -> None:
    setup = a_setup()
    assert setup.with_value("bore.holes.1.diameter_mm", 12).bore.holes[0].diameter == 0.012
    answer = refusal(lambda: setup.with_value("bore.holes.1.diameter_mm", 12.5))
    assert answer == "bore.holes.1.diameter_mm is 12.5 mm; the bore is 12 mm wide there"


def test_hole_at_a_step_is_held_against_the_narrow_side() -> None:
    assert "bore is 12 mm wide" in refusal(
        lambda: a_setup(holes=[{"position_mm": 300, "diameter_mm": 15, "chimney_mm": 5}])
    )


def test_hole_beyond_the_chain_is_right_where_the_bore_is_longer() -> None:
    holes = [{"position_mm": 650, "diameter_mm": 31, "chimney_mm": 5}]
    assert a_setup(length_mm=700.0, holes=holes).bore.diameter_at(0.65) > 0.031


# --- settings by name ----------------------------------------------------------------------------


def test_settings_of_holes_are_read_and_changed_like_any_other() -> None:
    setup = a_setup(end="lattice", lattice=LATTICE)
    before = dict(leaves(setup.to_plain()))
    for name, value in {
        "bore.holes.3.open": 0.25,
        "bore.holes.5.position_mm": 560.5,
        "bore.holes.1.chimney_mm": 7.1,
        "bore.lattice.spacing_mm": 31.0,
        "bore.sections.2.exit_mm": 33.0,
    }.items():
        assert name in before
        changed = setup.with_value(name, value)
        after = dict(leaves(changed.to_plain()))
        assert changed.value(name) == value
        assert {key for key in before if before[key] != after[key]} == {name}
        assert changed.with_value(name, before[name]) == setup


def test_every_name_listed_can_be_read() -> None:
    for setup in (a_setup(), a_setup(end="lattice", lattice=LATTICE), a_setup(holes=[])):
        assert [setup.value(name) for name in setup.names()]
    assert "bore.lattice" not in set(a_setup().names())


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("bore.holes.6.open", "bore.holes.6.open is no setting; did you mean bore.holes."),
        ("bore.holes.0.open", "bore.holes.0.open is no setting; did you mean bore.holes."),
        ("bore.holes.2", "bore.holes.2 is no setting; did you mean bore.holes.2.position_mm?"),
        ("bore.holes", "bore.holes is no setting; did you mean bore.holes.1.position_mm?"),
        ("bore.lattice", "bore.lattice is no setting; "),
        ("bore.lattice.spacing_mm", "bore.lattice.spacing_mm is no setting; "),
        ("bore.holes.2.position_m", "bore.holes.2.position_m is an unknown key; the unit is mm: "),
    ],
)
def test_settings_that_are_not_there_are_told(name: str, answer: str) -> None:
    assert refusal(lambda: a_setup().value(name)).startswith(answer)
    assert refusal(lambda: a_setup().with_value(name, 1.0)).startswith(answer)


@given(st.data())
def test_setups_with_holes_survive_being_written_down_bit_for_bit(data: st.DataObject) -> None:
    setup = a_setup(end="lattice", lattice=LATTICE)
    ranges = {"position": (0.51, 0.59), "diameter": (0.001, 0.01), "chimney": (1e-3, 0.06)}
    for attribute, (low, high) in {**ranges, "open": (0.0, 1.0)}.items():
        key = Hole.key(attribute)
        si = data.draw(st.floats(low, high), label=key)
        value = from_si(QUANTITIES[f"bore.holes.{key}"], si)
        setup = setup.with_value(f"bore.holes.5.{key}", value)
    spacing = data.draw(st.floats(0.002, 0.2))
    lattice = Lattice(diameter=0.009, chimney=spacing / 10.0, spacing=spacing)
    bore = Bore(**{**dict(setup.bore), "lattice": lattice})
    setup = setup.model_copy(update={"bore": bore})
    written = json.dumps(setup.to_plain())
    again = Setup.from_plain(json.loads(written))
    assert (again, hash(again)) == (setup, hash(setup))
    assert json.dumps(again.to_plain()) == written


def test_equal_setups_with_holes_are_one_key_of_a_cache() -> None:
    opened = a_setup().with_value("bore.holes.2.open", 1)
    assert len({a_setup(), a_setup(), opened, a_setup(end="lattice", lattice=LATTICE)}) == 3


# --- fingerings as text --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "holes"),
    [("", ()), ("20", (20,)), ("19-20", (19, 20)), (" 9-11  7 ", (7, 9, 10, 11)), ("3-3", (3,))],
)
def test_open_holes_are_read(text: str, holes: tuple[int, ...]) -> None:
    assert read_holes(text) == holes


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("x", "'x' is no hole; write open holes as 7 9-20"),
        ("7,9", "'7,9' is no hole"), ("-3", "'-3' is no hole"), ("1.5", "'1.5' is no hole"),
        ("7-", "'7-' is no hole"), ("7 - 9", "'-' is no hole"), ("99999", "'99999' is no hole"),
        ("0", "'0' is no range of holes; they count up from 1"), ("9-7", "'9-7' is no range"),
        ("7-9 8", "hole 8 is named twice"),
    ],
)  # fmt: skip
def test_open_holes_that_cannot_be_read_are_refused(text: str, answer: str) -> None:
    with pytest.raises(NoteError) as error:
        read_holes(text)
    assert str(error.value).startswith(answer)


@given(st.sets(st.integers(1, 40)))
def test_any_holes_come_back_from_their_text(holes: set[int]) -> None:
    assert read_holes(" ".join(map(str, holes))) == tuple(sorted(holes))


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("D3", (50, "")), ("Eb3", (51, "")), ("F#3", (54, "")), ("Bb3 fork", (58, "fork")),
        ("A4 long  low ", (69, "long low")),
    ],
)  # fmt: skip
def test_what_a_fingering_is_for_is_read(text: str, label: tuple[int, str]) -> None:
    assert read_label(text) == label


@pytest.mark.parametrize("text", ["", " ", "fork", "H3", "D3+20c", "220Hz", "fork D3"])
def test_fingerings_for_no_note_are_refused(text: str) -> None:
    with pytest.raises(NoteError):
        read_label(text)


# --- fingerings of a horn ------------------------------------------------------------------------


def test_a_horn_knows_the_open_holes_of_a_note() -> None:
    horn = a_horn()
    assert horn.fingering(50) == ()
    assert horn.fingering(53) == (3, 4, 5)
    assert horn.fingering(53, "fork") == (3, 5)
    assert horn.fingering(63) == (1, 5)
    assert horn.fingering(55) is horn.fingering(53, "long") is None


def test_a_horn_lists_notes_and_names_of_fingerings() -> None:
    horn = a_horn()
    assert horn.notes() == [50, 51, 52, 53, 54, 62, 63]
    assert horn.fingering_names(53) == ["", "fork"]
    assert horn.fingering_names(55) == []


def test_a_horn_without_holes_plays_its_low_register() -> None:
    horn = a_horn(bore=bore_plain(holes=[]), fingerings={})
    assert horn.notes() == [50, 51, 52, 53, 54]
    assert horn.fingering(50) is None
    assert horn.fingering_names(50) == []


@pytest.mark.parametrize(
    ("label", "text", "answer"),
    [
        ("G3", "1 6", "fingerings.G3 is '1 6'; the bore has holes 1 to 5"),
        ("D#3", "5", "fingerings.D#3 is the same as fingerings.Eb3"),
        ("F3  fork", "5", "fingerings.F3  fork is the same as fingerings.F3 fork"),
        ("C3", "5", "fingerings.C3 lies below D3, the low_note"),
        ("G3", "7-3", "fingerings.G3 cannot be read: '7-3' is no range of holes"),
        ("X3", "5", "fingerings.X3 cannot be read: 'X3' is not a note"),
        ("G3", 5, "fingerings.G3 is 5; it must be text in quotes"),
        ("G3", ["5"], "fingerings.G3 is ['5']; it must be text in quotes"),
    ],
)
def test_wrong_fingerings_are_told_in_one_sentence(label: str, text: Any, answer: str) -> None:
    told = refusal(lambda: a_horn(fingerings={**FINGERINGS, label: text}))
    assert told.startswith(answer)
    assert "\n" not in told


def test_all_notes_without_fingering_are_told() -> None:
    # A named fingering is no plain one, so F3 is lacking too.
    told = refusal(lambda: a_horn(fingerings={"D3": "", "E3": "4-5", "F3 fork": "3 5"}))
    assert told == "fingerings lack Eb3, F3, F#3; each note D3 to F#3 needs one"
    assert refusal(lambda: a_horn(fingerings={})).startswith("fingerings lack D3, Eb3, E3, F3, F#3")


def test_fingerings_without_holes_are_refused() -> None:
    told = refusal(lambda: a_horn(bore=bore_plain(holes=[])))
    assert told == "fingerings need holes; the bore has none"


def test_a_horn_with_holes_survives_being_written_down() -> None:
    sources = {
        "fingerings": "mine",
        "bore.holes.position_mm": "mine",
        "bore.lattice.spacing_mm": "",
    }
    horn = a_horn(sources=sources)
    again = Horn.from_plain(json.loads(json.dumps(horn.to_plain())))
    assert (again, hash(again)) == (horn, hash(horn))
    assert "did you mean sources.bore.holes.position_mm?" in refusal(
        lambda: a_horn(sources={"bore.holes.positon_mm": "mine"})
    )


def test_a_position_solved_in_si_survives_being_written_down() -> None:
    section = BoreSection(length=3.0, entry=0.02, exit=0.02)
    for number in range(500):
        hole = Hole(position=0.3 + number * math.pi / 1e3, diameter=0.008, chimney=0.006)
        made = Bore(sections=(section,), holes=(hole,))
        assert Bore.from_plain(json.loads(json.dumps(made.to_plain()))) == made


# --- octave vents of a horn without tone holes ---------------------------------------------------


def a_vent(first: str, last: str, place: float = 60) -> dict[str, Any]:
    hole = {"position_mm": place, "diameter_mm": 4, "chimney_mm": 5}
    return {"first": first, "last": last, "hole": hole}


def a_vented_horn(*vents: dict[str, Any]) -> Horn:
    return a_horn(bore=bore_plain(holes=[]), fingerings={}, vents=list(vents))


def test_vents_carry_a_horn_above_its_low_register() -> None:
    horn = a_vented_horn(a_vent("G3", "A3", 100), a_vent("Bb3", "Bb3"))
    assert horn.notes() == list(range(50, 59))
    assert [horn.vent(midi) is None for midi in (54, 55, 58, 59)] == [True, False, False, True]
    lower, upper = horn.vent(57), horn.vent(58)
    assert lower is not None
    assert upper is not None
    assert (lower.position, lower.open, upper.position) == (0.1, 1.0, 0.06)
    assert Horn.from_plain(json.loads(json.dumps(horn.to_plain()))) == horn


@pytest.mark.parametrize(
    ("vents", "answer"),
    [
        ([a_vent("Ab3", "A3")], "vents.1.first is Ab3; it must be G3, the next note above the"),
        (
            [a_vent("G3", "A3"), a_vent("A3", "C4")],
            "vents.2.first is A3; it must be Bb3, the next note above the others",
        ),
        ([a_vent("A3", "G3")], "vents.1.last is G3; it must not lie below first, A3"),
        ([a_vent("H3", "A3")], "vents.1.first cannot be read: 'H3' is not a note"),
        ([a_vent("G3", "A3+5c")], "vents.1.last is 'A3+5c'; a vent opens for whole notes"),
    ],
)
def test_wrong_vents_are_told_in_one_sentence(vents: list[dict[str, Any]], answer: str) -> None:
    told = refusal(lambda: a_vented_horn(*vents))
    assert told.startswith(answer)
    assert "\n" not in told


def test_a_horn_with_tone_holes_has_its_vents_among_them() -> None:
    told = refusal(lambda: a_horn(vents=[a_vent("G3", "A3")]))
    assert told == "vents need a bore without tone holes; with them a vent is a hole"
