import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore.model import units
from reedbore.model.units import QUANTITIES, Quantity, from_si, to_si

each_quantity = pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=list(QUANTITIES))
any_quantity = st.sampled_from(list(QUANTITIES.values()))


@pytest.mark.parametrize(
    ("key", "edge_value", "si"),
    [
        # The International System of Units (SI), 9th edition, BIPM 2019: prefixes (table 7), litre
        # and minute (table 8), zero of the Celsius scale (section 2.3.1).
        ("reed.opening_mm", 1.1, 0.0011),
        ("reed.area_mm2", 156.0, 1.56e-4),
        ("mouthpiece.volume_ml", 6.15, 6.15e-6),
        ("breath.pressure_kpa", 3.4, 3400.0),
        ("reed.stiffness_kpa_per_mm", 6.8, 6.8e6),
        ("breath.rise_ms", 50.0, 0.05),
        ("air.temperature_c", 27.0, 300.15),
        ("passage.tempo_bpm", 90.0, 1.5),
        ("reed.frequency_hz", 1500.0, 1500.0),
        ("voice.depth", 0.1, 0.1),
    ],
)
def test_users_units_become_si_and_return(key: str, edge_value: float, si: float) -> None:
    assert to_si(QUANTITIES[key], edge_value) == si
    assert from_si(QUANTITIES[key], si) == edge_value


@each_quantity
def test_every_quantity_has_a_sentence_without_full_stop(quantity: Quantity) -> None:
    assert quantity.says
    assert not quantity.says.endswith(".")
    assert quantity.low < quantity.high


@each_quantity
def test_both_ends_of_a_range_are_allowed(quantity: Quantity) -> None:
    for end in quantity.edge_range:
        assert units.complaint(quantity, end) is None


@each_quantity
def test_just_outside_a_range_is_refused(quantity: Quantity) -> None:
    low, high = quantity.edge_range
    assert units.complaint(quantity, low - 1e-6 * max(abs(low), 1.0)) is not None
    assert units.complaint(quantity, high * (1 + 1e-6)) is not None


@given(any_quantity, st.integers(0, 10**9))
def test_a_typed_decimal_comes_back_as_typed(quantity: Quantity, step: int) -> None:
    low, high = quantity.edge_range
    typed = round(low + (high - low) * step / 1e9, 9)
    assert from_si(quantity, to_si(quantity, typed)) == typed


@given(any_quantity, st.data())
def test_settling_moves_a_number_by_one_rounding_at_most(
    quantity: Quantity, data: st.DataObject
) -> None:
    value = data.draw(st.floats(quantity.low, quantity.high))
    settled = units.settle(quantity, value)
    assert abs(settled - value) <= math.ulp(value)
    assert units.settle(quantity, settled) == settled
    assert to_si(quantity, from_si(quantity, settled)) == settled


def test_a_refusal_says_value_unit_range_and_meaning() -> None:
    wrong = units.complaint(QUANTITIES["reed.opening_mm"], 4)
    assert wrong == "is 4 mm; allowed 0.05 to 3 mm (gap between reed tip and lay)"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, True, "1", None, [1.0]])
def test_what_is_no_finite_number_is_refused(value: object) -> None:
    for quantity in QUANTITIES.values():
        assert "number" in (units.complaint(quantity, value) or "")


@pytest.mark.parametrize(
    ("written", "value", "hint"),
    [
        ("length_m", 0.148, "the unit is mm: write length_mm = 148"),
        ("length_cm", 14.8, "the unit is mm: write length_mm = 148"),
        # An inch is 25.4 mm: ISO 80000-3:2019, from memory.
        ("length_in", 10, "the unit is mm: write length_mm = 254"),
        ("length_MM", 3, "the unit is mm: write length_mm = 3"),
        ("length_m", "long", "the unit is mm: write length_mm"),
        ("length", 3, "the unit belongs to the key: write length_mm, in mm"),
        ("length_kpa", 3, None),
        ("width_m", 3, None),
    ],
)
def test_another_unit_is_answered_with_the_right_number(
    written: str, value: object, hint: str | None
) -> None:
    assert units.other_unit("length_mm", QUANTITIES["bore.length_mm"], written, value) == hint


def test_centimetres_of_water_are_the_conventional_ones() -> None:
    # 1 cmH2O = 98.0665 Pa: NIST Special Publication 811 (2008), appendix B.8, from memory.
    hint = units.other_unit("pressure_kpa", QUANTITIES["breath.pressure_kpa"], "pressure_cmh2o", 20)
    assert hint == "the unit is kPa: write pressure_kpa = 1.96133"


def test_a_number_is_shown_with_its_unit() -> None:
    assert units.format_edge(QUANTITIES["reed.opening_mm"], 4.0) == "4 mm"
    assert units.format_edge(QUANTITIES["voice.depth"], 0.1) == "0.1"
