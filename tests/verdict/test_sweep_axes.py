"""The axes of a sweep as they are typed, and what can be wrong with a sweep."""

from dataclasses import replace
from typing import Any

import pytest

from reedbore.errors import ReedboreError
from reedbore.model.presets import load_horn, setup_for
from reedbore.verdict.sweep.axes import check, read_axis, read_sung
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

TENOR = setup_for(load_horn("tenor-saxophone")).with_value("voice.source", "sine")
FINGERED = Fingered(116.0)


def axis(*words: str, logarithmic: bool = False) -> Axis:
    return read_axis(words, TENOR, FINGERED, logarithmic=logarithmic)


def swept(*axes: Axis, **changed: Any) -> Sweep:
    return Sweep(setup=TENOR, fingered=FINGERED, axes=axes, **changed)


def test_linear_axis_goes_from_end_to_end_in_values_that_can_be_typed():
    found = axis("reed.opening_mm", "0.6", "1.4", "9")
    assert found.values == (0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4)
    assert found.unit == "mm"
    assert found.says == "gap between reed tip and lay"


def test_logarithmic_axis_has_even_ratios():
    values = axis("breath.pressure_kpa", "1", "16", "5", logarithmic=True).values
    assert values == (1.0, 2.0, 4.0, 8.0, 16.0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("-12st", -1200.0),
        ("+702c", 702.0),
        # The just major third: 386.314 cents (H. von Helmholtz, Die Lehre von den Tonempfindungen).
        ("5/4", 386.314),
        ("5/4-10c", 376.314),
        ("5/4+0.5c", 386.814),
        ("232Hz", 1200.0),
    ],
)
def test_sung_note_is_counted_in_cents_from_the_fingered_one(text: str, expected: float):
    assert read_sung(text, FINGERED) == pytest.approx(expected, abs=5e-4)


def test_sung_axis_sings_what_it_says():
    grid = swept(axis("sung", "-12st", "+24st", "4"))
    notes = [grid.cell([value]).voice.frequency for value in grid.axes[0].values]
    assert notes == pytest.approx([58.0, 116.0, 232.0, 464.0], rel=1e-12)
    assert grid.resolved_cents == pytest.approx(1200.0)


def test_axis_of_frequencies_resolves_least_at_its_low_end():
    grid = swept(axis("voice.frequency_hz", "100", "400", "4"))
    assert grid.cell([200.0]).voice.frequency == 200.0
    assert grid.resolved_cents == pytest.approx(1200.0)  # from 100 to 200 Hz
    assert swept(axis("voice.depth", "0", "0.3", "4")).resolved_cents is None


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("reed.opening", "1", "2", "3"), "did you mean|the unit belongs to the key"),
        (("reed.dynamics", "1", "2", "3"), "'mass'; only numbers can be swept"),
        (("reed.opening_mm", "0.6mm", "1", "3"), "'0.6mm' is no number, in mm"),
        (("reed.opening_mm", "0.6", "nan", "3"), "must be a finite number"),
        (("reed.opening_mm", "0.6", "4", "3"), r"is 4 mm; allowed 0.05 to 3 mm \(gap between"),
        (("reed.opening_mm", "1", "0.6", "3"), "from 1 to 0.6; it must rise"),
        (("reed.opening_mm", "1", "2", "1"), "COUNT is '1'; allowed 2 to 100000"),
        (("reed.opening_mm", "1", "2", "-o"), "COUNT is '-o'; allowed 2"),
        (("reed.opening_mm", "1", "1.000000000001", "90"), "closer than can be written"),
        (("sung", "-12", "+12st", "3"), "a bare number"),
        (("sung", "-36st", "+12st", "3"), r"-36st is 14.5 Hz; allowed 20 to 2000 Hz \(fundamental"),
        (("bore.holes.9.open", "0", "1", "3"), "no setting"),
    ],
)
def test_wrong_axis_is_refused_in_one_sentence(words: tuple[str, ...], says: str):
    with pytest.raises(ReedboreError, match=says) as caught:
        axis(*words)
    assert str(caught.value).startswith("--along ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("name", "low"), [("sung", "-1st"), ("voice.depth", "0")])
def test_axis_that_cannot_be_logarithmic_is_refused(name: str, low: str):
    with pytest.raises(ReedboreError, match=f"--log {name}"):
        axis(name, low, "+2st" if name == "sung" else "0.3", "4", logarithmic=True)


DEPTH = Axis(name="voice.depth", values=(0.1, 0.2))
NOTES = Axis(name=SUNG, values=(0.0, 100.0))


@pytest.mark.parametrize(
    ("axes", "changed", "says"),
    [
        ((), {}, "--along is given 0 times; allowed 1 to 3"),
        ((DEPTH, DEPTH), {}, "--along voice.depth: it is swept twice"),
        ((NOTES, Axis(name="voice.frequency_hz", values=(90.0, 99.0))), {}, "swept twice"),
        ((DEPTH,), {"seconds": 0.1}, "--seconds is 0.1 s; allowed 0.5 to 600 s"),
        ((DEPTH,), {"setup": TENOR.with_value("voice.source", "off")}, "nobody sings"),
        (
            (DEPTH,),
            {"setup": TENOR.with_value("voice.jitter", 0.005)},
            r"voice\.jitter is 0\.005; a map needs a voice like a clock, with 0",
        ),
        (
            (DEPTH,),
            {"setup": TENOR.with_value("voice.false_folds", 2)},
            r"voice\.false_folds is 2; a map needs a voice like a clock, with 1",
        ),
        (
            (Axis(name="voice.shimmer_db", values=(0.0, 1.0)),),
            {},
            r"--along: at a corner of the grid voice\.shimmer_db is 1;",
        ),
        (
            (DEPTH,),
            {"setup": TENOR.with_value("reed.frequency_hz", 12000)},
            r"reed\.frequency_hz is 12000 Hz; allowed up to 9600 Hz at 96000 steps a second",
        ),
    ],
)
def test_wrong_sweep_is_refused(axes: tuple[Axis, ...], changed: dict[str, Any], says: str):
    with pytest.raises(ReedboreError, match=says):
        check(replace(swept(*axes), **changed))


def test_values_that_do_not_go_together_are_refused_before_anything_is_run():
    clarinet = setup_for(load_horn("clarinet-b-flat"))
    first, last = clarinet.bore.holes[0].position * 1e3, clarinet.bore.holes[-1].position * 1e3
    crossing = Axis(name="bore.holes.1.position_mm", values=(first, last + 1.0))
    with pytest.raises(ReedboreError, match=r"--along: at a corner of the grid bore.holes"):
        check(Sweep(setup=clarinet, fingered=FINGERED, axes=(crossing,)))
