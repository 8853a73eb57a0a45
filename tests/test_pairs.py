"""The prediction for a pair: what arithmetic answers."""

import cmath
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore import notes, pairs
from reedbore.errors import NoteError

SMALL = st.integers(1, 12)
NOTES = st.integers(36, 72).map(notes.midi_to_hz)


def predict(fingered: str, sung: str, **settings: Any) -> pairs.Prediction:
    fingered_hz = notes.parse_pitch(fingered)
    return pairs.predict_pair(
        fingered_hz,
        notes.parse_sung(sung, fingered_hz),
        ratio=notes.parse_ratio(sung),
        **settings,
    )


@pytest.mark.parametrize(
    ("fingered", "sung", "outcome"),
    [
        ("Bb2", "Bb2", "fingered"),
        ("Bb2", "3/1", "fingered"),
        ("Bb2", "D4", "third"),
        ("Bb2", "5/3", "third"),
        ("Bb3", "Bb2", "sung"),
        ("Bb2", "+650c", "none"),
        ("Bb2", "D3", "uncertain"),
        ("Ab2", "Bb2", "growl"),
    ],
)
def test_each_kind_of_pair_is_named(fingered: str, sung: str, outcome: str):
    assert predict(fingered, sung).outcome == outcome


def test_tempered_third_over_the_octave_is_sung_fourteen_cents_low():
    # 5/2 lies 13.69 cents below ten semitones and an octave, exact from the definition.
    pair = predict("Bb2", "D4")
    assert pair.meeting is not None
    assert pair.meeting.ratio == (5, 2)
    assert pair.sing_cents(pair.meeting) == pytest.approx(-13.69, abs=0.01)
    assert pair.name(pair.meeting.sing_hz) == "D4-14c"
    assert pair.name(pair.meeting.resultant_hz) == "Bb1"


def test_ratio_that_the_player_names_stands_though_a_simpler_one_is_near():
    # 12/11 lies 14 cents from 11/10, which has the smaller product.
    meeting = predict("Bb2", "12/11").meeting
    assert meeting is not None
    assert meeting.ratio == (12, 11)
    assert notes.choose_ratio(12 / 11) == (11, 10)


def test_six_folded_fifths_only_growl_and_the_way_out_is_shown():
    # Common practice, no source: 729/512 has its common fundamental nine octaves down.
    pair = predict("C4", "729/512")
    assert pair.outcome == "growl"
    assert pair.nearby is not None
    assert pair.nearby.ratio == (3, 2)


def test_pair_without_a_ratio_has_no_meeting_and_names_the_next_simple_one():
    pair = predict("Bb2", "+650c")
    assert pair.meeting is None
    assert pair.nearby is not None
    assert pair.nearby.ratio == (3, 2)
    assert pair.name(pair.nearby.sing_hz) == "F3+2c"


@pytest.mark.parametrize(
    ("ratio", "simulated"), [("8/7", True), ("7/8", True), ("9/8", False), ("9/4", False)]
)
def test_up_to_eight_a_ratio_is_looked_for_in_a_simulation(ratio: str, simulated: bool):
    meeting = predict("Bb2", ratio).meeting
    assert meeting is not None
    assert meeting.simulated is simulated


def test_what_is_not_simulated_hides_nothing_that_is():
    # A simpler ratio beyond 8 would win over one up to 8; none lies within the widest tolerance.
    within = notes.simple_ratios(notes.MEASURED_LIMIT)
    for p, q in set(notes.simple_ratios(notes.PREDICTED_LIMIT)) - set(within):
        near = (r for r in within if abs(notes.cents(p * r[1], q * r[0])) < 2 * 20.0)
        assert all(r[0] * r[1] < p * q for r in near)


def test_pair_that_gives_a_pitch_needs_no_way_out():
    assert predict("Bb2", "D4").nearby is None


@given(NOTES, NOTES)
def test_singing_where_told_is_exact(fingered: float, sung: float):
    meeting = pairs.predict_pair(fingered, sung).meeting
    if meeting is None:
        return
    p, q = meeting.ratio
    assert abs(notes.cents(meeting.sing_hz, sung)) <= notes.TOLERANCE_CENTS
    assert meeting.sing_hz == pytest.approx(p * meeting.resultant_hz, rel=1e-12)
    assert fingered == pytest.approx(q * meeting.resultant_hz, rel=1e-12)


@pytest.mark.parametrize("tolerance", [-1.0, 50.1, float("nan")])
def test_tolerance_out_of_range_is_refused(tolerance: float):
    with pytest.raises(NoteError, match=r"tolerance is .* allowed 0 to 50 cents"):
        predict("Bb2", "D4", tolerance_cents=tolerance)


def test_no_tolerance_at_all_leaves_only_exact_pairs():
    assert predict("Bb2", "Bb3", tolerance_cents=0.0).outcome == "fingered"
    assert predict("Bb2", "F3", tolerance_cents=0.0).outcome == "none"


def test_tuning_out_of_range_is_refused():
    with pytest.raises(NoteError, match="a4 is 44 Hz"):
        predict("Bb2", "D4", a4=44.0)


# --- combination tones ---------------------------------------------------------------------------


def test_combination_tones_of_a_fifth():
    tones = pairs.combination_tones(200.0, 300.0)
    assert [(tone.name, tone.formula, tone.hz) for tone in tones] == [
        ("difference", "sung - fingered", 100.0),
        ("sum", "sung + fingered", 500.0),
        ("cubic difference", "2 sung - fingered", 400.0),
        ("cubic difference", "2 fingered - sung", 100.0),
        ("cubic sum", "2 sung + fingered", 800.0),
        ("cubic sum", "2 fingered + sung", 700.0),
    ]


def test_difference_is_positive_whichever_note_is_higher():
    low, high = (
        pairs.combination_tones(300.0, 200.0)[0],
        pairs.combination_tones(200.0, 300.0)[0],
    )
    assert low.hz == high.hz == 100.0
    assert low.formula == "fingered - sung"


def test_unison_and_octave_leave_out_the_tone_at_zero():
    assert [tone.name for tone in pairs.combination_tones(200.0, 200.0)].count("difference") == 0
    assert all(tone.hz > 0.0 for tone in pairs.combination_tones(200.0, 400.0))
    assert len(pairs.combination_tones(200.0, 400.0)) == 5


@given(SMALL, SMALL, st.floats(50.0, 500.0))
def test_combination_tones_are_partials_of_the_resultant(p: int, q: int, fingered: float):
    ratio = p // math.gcd(p, q), q // math.gcd(p, q)
    resultant = notes.resultant_hz(fingered, ratio)
    for tone in pairs.combination_tones(fingered, notes.just_hz(fingered, ratio)):
        partial = tone.hz / resultant
        assert partial == pytest.approx(round(partial), abs=1e-9)
        assert round(partial) >= 1


def test_lines_of_a_squared_and_cubed_sum_are_the_combination_tones():
    # cos a cos b = (cos(a-b) + cos(a+b))/2, the product-to-sum rule: the Fourier lines of a
    # quadratic and cubic mixture stand at the listed frequencies and at partials of the two.
    n, fingered, sung = 1100, 100, 170
    turn = 2 * math.pi / n
    two = [math.cos(turn * fingered * k) + math.cos(turn * sung * k) for k in range(n)]
    mixed = [x + 0.3 * x**2 + 0.2 * x**3 for x in two]
    lines = {
        f
        for f in range(1, n // 2)
        if abs(sum(x * cmath.exp(-1j * turn * f * k) for k, x in enumerate(mixed))) > 1.0
    }
    tones = {round(tone.hz) for tone in pairs.combination_tones(fingered, sung)}
    own = {fingered, 2 * fingered, 3 * fingered, sung, 2 * sung, 3 * sung}
    assert tones == lines - own
