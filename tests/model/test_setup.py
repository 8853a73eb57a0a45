import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from reedbore.errors import ModelError, NoteError, ReedboreError
from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.line import read_line
from reedbore.model.settings import Part, leaves
from reedbore.model.setup import (
    Air,
    Breath,
    Mouthpiece,
    Reed,
    Setup,
    Time,
    Tract,
    Voice,
    depth_name,
)
from reedbore.model.units import QUANTITIES, attribute_of, from_si

REED: dict[str, Any] = {
    "opening_mm": 1.1,
    "width_mm": 14,
    "stiffness_kpa_per_mm": 7,
    "frequency_hz": 1500,
    "damping": 0.8,
    "area_mm2": 120,
}
PARTS: tuple[type[Part], ...] = (
    Air, Bore, BoreSection, Hole, Lattice, Mouthpiece, Reed, Breath,
    Voice, Tract, Time,
)  # fmt: skip


def a_setup(*pieces: tuple[float, float, float], length_mm: float | None = None) -> Setup:
    chain = pieces or ((1000, 12, 20), (400, 20, 44))
    return Setup.from_plain(
        {
            "bore": {
                "length_mm": length_mm,
                "sections": [
                    {"length_mm": length, "entry_mm": entry, "exit_mm": far}
                    for length, entry, far in chain
                ],
            },
            "reed": REED,
            "breath": {"pressure_kpa": 3.3},
        }
    )


def chain_in_mm(*pieces: tuple[float, float, float], length_mm: float | None) -> Any:
    """Lengths and diameters, which is how people think of a bore."""
    chain = a_setup(*pieces, length_mm=length_mm).bore.chain()
    return [pytest.approx((1e3 * n, 2e3 * r1, 2e3 * r2)) for n, r1, r2 in chain]


def test_users_units_and_si_make_the_same_reed() -> None:
    si = Reed(opening=0.0011, width=0.014, stiffness=7e6, frequency=1500, damping=0.8, area=1.2e-4)
    assert Reed(**REED) == si


def test_every_number_of_a_model_is_declared_once_and_every_declaration_used() -> None:
    held = {
        f"{part.section}.{part.key(name)}"
        for part in PARTS
        for name in part.model_fields
        if part.quantity(name)
    }
    assert held == {key for key in QUANTITIES if not key.startswith("passage.")}
    numeric = {
        (part, name)
        for part in PARTS
        for name, field in part.model_fields.items()
        if "float" in str(field.annotation)
    }
    assert all(part.quantity(name) for part, name in numeric)


def test_a_value_outside_its_range_is_told_in_one_sentence() -> None:
    with pytest.raises(ModelError) as error:
        Reed(**{**REED, "opening_mm": 4})
    assert str(error.value) == (
        "reed.opening_mm is 4 mm; allowed 0.05 to 3 mm (gap between reed tip and lay)"
    )


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, "1", True, None, 10**400])
def test_what_is_no_finite_number_makes_no_model(value: Any) -> None:
    for key in ("opening_mm", "opening"):
        with pytest.raises(ModelError, match=r"^reed\.opening_mm is "):
            Reed(**{**{k: v for k, v in REED.items() if k != "opening_mm"}, key: value})


def test_all_mistakes_are_told_at_once() -> None:
    plain = a_setup().to_plain()
    plain["reed"] |= {"opening_mm": 4, "dynamics": "heavy"}
    plain["bore"]["sections"][1]["exit_mm"] = 999
    plain["voice"]["source"] = "recording"
    plain["breath"] = 3
    with pytest.raises(ModelError) as error:
        Setup.from_plain(plain)
    assert sorted(line.split()[0] for line in str(error.value).splitlines()) == [
        "bore.sections.2.exit_mm", "breath", "reed.dynamics", "reed.opening_mm", "voice.file",
    ]  # fmt: skip


def test_a_setting_given_twice_is_refused() -> None:
    with pytest.raises(ModelError, match="given twice"):
        Reed(**REED, opening=0.001)


def test_si_names_are_not_taken_from_files() -> None:
    plain = a_setup().to_plain()
    plain["reed"]["opening"] = plain["reed"].pop("opening_mm")
    with pytest.raises(ModelError, match=r"^reed\.opening is an unknown key; .*opening_mm, in mm$"):
        Setup.from_plain(plain)


def test_a_model_cannot_be_changed() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        a_setup().reed.opening = 0.002  # type: ignore[misc]


# --- the bore ------------------------------------------------------------------------------------


def test_without_a_length_the_whole_chain_plays() -> None:
    assert chain_in_mm((1000, 12, 20), (400, 20, 44), length_mm=None) == [
        (1000, 12, 20), (400, 20, 44),
    ]  # fmt: skip


def test_a_shorter_bore_is_cut_at_the_taper_of_its_last_piece() -> None:
    assert chain_in_mm((1000, 12, 20), (400, 20, 44), length_mm=1100) == [
        (1000, 12, 20), (100, 20, 26),
    ]  # fmt: skip


def test_a_cut_goes_through_several_pieces() -> None:
    assert chain_in_mm((100, 10, 12), (100, 12, 16), (300, 16, 20), length_mm=50) == [(50, 10, 11)]


def test_a_longer_bore_goes_on_at_the_taper_of_its_last_piece() -> None:
    assert chain_in_mm((1000, 12, 20), (400, 20, 44), length_mm=1500) == [
        (1000, 12, 20), (500, 20, 50),
    ]  # fmt: skip


def test_a_cut_between_two_pieces_leaves_no_empty_piece() -> None:
    assert chain_in_mm((1000, 12, 20), (400, 20, 44), length_mm=1000) == [(1000, 12, 20)]


def test_a_step_in_the_bore_stays_a_step() -> None:
    assert chain_in_mm((100, 10, 10), (100, 20, 20), length_mm=150) == [
        (100, 10, 10), (50, 20, 20),
    ]  # fmt: skip


@given(st.floats(50, 5000))
def test_the_pieces_add_up_to_the_length(length_mm: float) -> None:
    bore = a_setup((333.3, 10, 12), (333.3, 12, 16), length_mm=length_mm).bore
    assert sum(piece[0] for piece in bore.chain()) == pytest.approx(length_mm / 1e3, rel=1e-12)


def test_a_bore_that_would_close_is_refused() -> None:
    with pytest.raises(ModelError, match=r"^bore\.length_mm is too long"):
        a_setup((100, 12, 10), length_mm=1200)


def test_a_bore_without_pieces_is_refused() -> None:
    with pytest.raises(ModelError, match=r"^bore\.sections is empty"):
        Bore(sections=())


# --- reading, changing, writing down -------------------------------------------------------------


@given(st.data())
def test_a_setup_survives_being_written_down_bit_for_bit(data: st.DataObject) -> None:
    setup = a_setup()
    for name in setup.names():
        bare = ".".join(part for part in name.split(".") if not part.isdigit())
        if bare in QUANTITIES and bare != "bore.length_mm":
            quantity = QUANTITIES[bare]
            si = data.draw(st.floats(quantity.low, quantity.high), label=name)
            si = round(si) if quantity.whole else si
            setup = setup.with_value(name, min(max(from_si(quantity, si), quantity.edge_range[0]),
                                               quantity.edge_range[1]))  # fmt: skip
    written = json.dumps(setup.to_plain())
    again = Setup.from_plain(json.loads(written))
    assert again == setup
    assert json.dumps(again.to_plain()) == written


def test_a_length_solved_in_si_survives_being_written_down() -> None:
    for number in range(1000):
        bore = a_setup().bore.model_copy()
        made = Bore(sections=bore.sections, length=1.0 + number * math.pi / 1e4)
        assert Bore.from_plain(json.loads(json.dumps(made.to_plain()))) == made


def test_a_changed_setting_is_read_back_and_nothing_else_changes() -> None:
    setup = a_setup()
    for name, value in {
        "reed.opening_mm": 1.23,
        "reed.dynamics": "massless",
        "bore.length_mm": 1234.5,
        "bore.sections.2.exit_mm": 40.1,
        "air.temperature_c": 20.1,
    }.items():
        changed = setup.with_value(name, value)
        assert changed.value(name) == value
        assert setup.with_value(name, setup.value(name)) == setup
        before, after = dict(leaves(setup.to_plain())), dict(leaves(changed.to_plain()))
        assert {key for key in before if before[key] != after[key]} == {name}


def test_a_changed_setting_is_checked() -> None:
    with pytest.raises(ModelError, match=r"^reed\.opening_mm is 9 mm; allowed 0\.05 to 3 mm"):
        a_setup().with_value("reed.opening_mm", 9)
    with pytest.raises(ModelError, match=r"^voice\.file is missing"):
        a_setup().with_value("voice.source", "recording")


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("reed.openin_mm", "reed.openin_mm is an unknown key; did you mean reed.opening_mm?"),
        ("reid.opening_mm", "reid.opening_mm is no setting; did you mean reed.opening_mm?"),
        ("bore.length_m", "bore.length_m is an unknown key; the unit is mm: write length_mm"),
        ("reed", "reed is no setting; did you mean reed.opening_mm?"),
        ("bore.sections.3.entry_mm", "bore.sections.3.entry_mm is no setting; did you mean"),
        ("bore.sections.0.entry_mm", "bore.sections.0.entry_mm is no setting; did you mean"),
        ("", " is no setting; a setting is called like reed.opening_mm"),
        ("reed.__class__", "reed.__class__ is an unknown key; known: opening_mm, width_mm"),
    ],
)
def test_an_unknown_setting_is_answered_with_the_likely_one(name: str, answer: str) -> None:
    for attempt in (lambda: a_setup().value(name), lambda: a_setup().with_value(name, 1.0)):
        with pytest.raises(ModelError) as error:
            attempt()
        assert str(error.value).startswith(answer)


# --- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("depth", "name"),
    [
        (0.0, "soft hum"), (0.05, "soft hum"), (0.075, "soft hum"), (0.1, "normal"),
        (0.15, "normal"), (0.2, "strong"), (0.3, "strong"), (0.301, "exaggerated"),
        (1.0, "exaggerated"),
    ],
)  # fmt: skip
def test_depths_have_names(depth: float, name: str) -> None:
    assert depth_name(depth) == name


def test_a_line_of_melody_is_read() -> None:
    line = read_line("F3:1 A3:0.5 rest:0.5 220Hz:2")
    assert line.pitches == ("F3", "A3", None, "220Hz")
    assert line.beats == (1.0, 0.5, 0.5, 2.0)


@pytest.mark.parametrize(
    "text", ["", "rest:4", "F3", "F3:", ":1", "F3:0", "F3:-1", "F3:nan", "X3:1"]
)
def test_a_line_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(NoteError):
        read_line(text)


def test_mistakes_of_all_kinds_are_one_kind() -> None:
    assert issubclass(ModelError, ReedboreError)
    assert all(attribute_of(key) for key in QUANTITIES)
