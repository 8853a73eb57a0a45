"""Names, cents, ratios, resultants and combination tones, against tables and brute force."""

import math
from fractions import Fraction

import librosa
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from reedbore import notes
from reedbore.errors import NoteError

SMALL = st.integers(1, 12)


def coprime(p: int, q: int) -> tuple[int, int]:
    return p // math.gcd(p, q), q // math.gcd(p, q)


# --- names and frequencies -----------------------------------------------------------------------


def test_tuning_note_is_440_hz():
    # ISO 16:1975: the A in the treble stave is 440 Hz.
    assert notes.parse_pitch("A4") == 440.0


@pytest.mark.parametrize("midi", range(12, 120))
def test_every_note_agrees_with_a_reference_library(midi: int):
    # librosa.midi_to_hz and librosa.note_to_midi, a general audio library.
    name = notes.midi_name(midi)
    assert notes.midi_to_hz(midi) == pytest.approx(librosa.midi_to_hz(midi), rel=1e-12)
    assert librosa.note_to_midi(name) == midi
    assert notes.parse_note(name) == midi


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("C4", 60.0),
        ("Bb2", 46.0),
        ("bb2", 46.0),
        ("b2", 47.0),
        ("A♯2", 46.0),
        ("B♭2", 46.0),
        ("Cb4", 59.0),
        ("B#3", 60.0),
        ("F##3", 55.0),
        ("A𝄫2", 43.0),
        ("C-1", 0.0),
        ("C−1+50c", 0.5),
        ("F#3+14c", 54.14),
        ("D4-13.69c", 61.8631),
        (" E4 ", 64.0),
    ],
)
def test_notes_are_read(text: str, midi: float):
    assert notes.parse_note(text) == pytest.approx(midi, abs=1e-12)


def test_names_are_those_that_horn_players_read():
    names = " ".join(notes.midi_name(midi) for midi in range(60, 72))
    assert names == "C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4"


@given(st.floats(8.2, 19000.0), st.floats(380.0, 500.0))
def test_name_of_a_frequency_reads_back_within_half_a_cent(hz: float, a4: float):
    again = notes.midi_to_hz(notes.parse_note(notes.note_name(hz, a4)), a4)
    assert abs(notes.cents(again, hz)) <= 0.5 + 1e-6


@given(st.floats(0.0, 127.0), st.floats(380.0, 500.0))
def test_midi_number_and_frequency_are_inverse(midi: float, a4: float):
    assert notes.hz_to_midi(notes.midi_to_hz(midi, a4), a4) == pytest.approx(midi, abs=1e-9)


@pytest.mark.parametrize(
    ("hz", "name"), [(440.0, "A4"), (440.2, "A4+1c"), (445.0, "A4+20c"), (436.0, "A4-16c")]
)
def test_cents_stand_after_the_name(hz: float, name: str):
    assert notes.note_name(hz) == name


def test_other_tuning_moves_every_note_with_it():
    assert notes.parse_pitch("A3", 415.0) == pytest.approx(207.5)
    assert notes.note_name(207.5, 415.0) == "A3"


@pytest.mark.parametrize("a4", [0.0, -440.0, 379.9, 501.0, math.nan, math.inf])
def test_tuning_that_nobody_uses_is_refused(a4: float):
    with pytest.raises(NoteError, match=r"a4 is .* allowed 380 to 500 Hz"):
        notes.check_a4(a4)


# --- what a player types -------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["220Hz", "220 hz", "220.0HZ", "A3", "a3"])
def test_pitch_is_a_note_or_a_frequency(text: str):
    assert notes.parse_pitch(text) == pytest.approx(220.0, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "hz"),
    [
        ("5/3", 200.0),
        ("10/6", 200.0),
        ("+12st", 240.0),
        ("-12st", 60.0),
        ("−12st", 60.0),
        ("+1200c", 240.0),
        ("+0.5st", 120.0 * 2 ** (1 / 24)),
        ("+702c", 120.0 * 2 ** (702 / 1200)),
        ("5/3 +12c", 200.0 * 2 ** (12 / 1200)),
        ("5/3−4.5¢", 200.0 * 2 ** (-4.5 / 1200)),
        ("A3", 220.0),
        ("100Hz", 100.0),
    ],
)
def test_sung_note_is_also_an_interval_or_a_ratio(text: str, hz: float):
    assert notes.parse_sung(text, 120.0) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize("text", ["w:C4", "W:C4"])
def test_written_note_sounds_lower_by_the_transposition(text: str):
    # Tenor saxophone in Bb, a major ninth below the written note: common practice, no source.
    assert notes.note_name(notes.parse_pitch(text, transposition=14)) == "Bb2"
    assert notes.note_name(notes.parse_sung(text, 100.0, transposition=14)) == "Bb2"


def test_unmarked_note_is_written_on_request_and_a_frequency_never():
    assert notes.note_name(notes.parse_pitch("C4", transposition=14, written=True)) == "Bb2"
    assert notes.parse_pitch("220Hz", transposition=14, written=True) == 220.0


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("H3", "the note H is written B"),
        ("Bb", "the octave is missing: Bb2"),
        ("Q4", r"write C4, Bb2 or F#3\+14c"),
        ("", "write C4"),
        ("C4 loud", "write C4"),
        ("220", "add what it counts, as in 220Hz"),
        ("-5", "add what it counts"),
        ("220,5Hz", "decimal sign as a point"),
        ("5:3", "a ratio takes a slash"),
        ("7st", r"an interval takes a sign: \+7st or -7st"),
        ("-5Hz", "a frequency is positive"),
        ("C4+14", "cents after a note end in c"),
        ("5/0", "is not a ratio"),
        ("0/3", "is not a ratio"),
        ("C44", "allowed 8 to 20000 Hz"),
        ("0Hz", "allowed 8 to 20000 Hz"),
        ("+200st", "allowed 8 to 20000 Hz"),
        ("+" + "9" * 20 + "st", "allowed 8 to 20000 Hz"),
        ("-" + "9" * 400 + "c", "allowed 8 to 20000 Hz"),
        ("w:C4", "name the horn that it is written for"),
        ("w:5/3", "is not a note"),
    ],
)
def test_wrong_text_gives_one_sentence_with_a_hint(text: str, hint: str):
    with pytest.raises(NoteError, match=hint) as caught:
        notes.parse_sung(text, 220.0)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["5/3", "+7st", "-702c"])
def test_fingered_note_cannot_be_an_interval(text: str):
    with pytest.raises(NoteError, match="only the sung note may be given from the fingered one"):
        notes.parse_pitch(text)


# --- ratios --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("semitones", "ratio"),
    # The simplest ratios of just intonation for tempered steps, by the smallest p·q; computed by
    # hand from the definition.
    [
        (0, (1, 1)),
        (1, None),
        (2, (9, 8)),
        (3, (6, 5)),
        (4, (5, 4)),
        (5, (4, 3)),
        (6, (7, 5)),
        (7, (3, 2)),
        (8, (8, 5)),
        (9, (5, 3)),
        (10, (9, 5)),
        (11, None),
        (12, (2, 1)),
        (13, None),
        (14, (9, 4)),
        (16, (5, 2)),
        (17, (8, 3)),
        (18, None),
        (19, (3, 1)),
        (-5, (3, 4)),
        (-12, (1, 2)),
    ],
)
def test_tempered_step_is_read_as_its_simplest_ratio(semitones: int, ratio: tuple[int, int]):
    assert notes.choose_ratio(2 ** (semitones / 12)) == ratio


def test_wider_tolerance_and_lower_limit_find_the_natural_seventh():
    assert notes.choose_ratio(2 ** (10 / 12), tolerance_cents=35.0, limit=9) == (7, 4)


@given(st.floats(0.05, 20.0), st.floats(0.0, 50.0), st.integers(1, 12))
def test_no_simpler_ratio_within_the_tolerance_is_passed_over(
    ratio: float, tolerance: float, limit: int
):
    near = {
        (p * q, abs(notes.cents(p / q, ratio)), p, q)
        for p in range(1, limit + 1)
        for q in range(1, limit + 1)
        if math.gcd(p, q) == 1
    }
    # Sizes are computed by two routes here; keep away from the very edge of the tolerance.
    assume(all(abs(off - tolerance) > 1e-9 for _, off, _, _ in near))
    wanted = min((row for row in near if row[1] <= tolerance), default=(0, 0, None, None))
    assert (notes.choose_ratio(ratio, tolerance, limit) or (None, None)) == wanted[2:]


@pytest.mark.parametrize(("ratio", "size"), [((5, 4), -13.69), ((3, 2), 1.96), ((7, 4), -31.17)])
def test_just_interval_against_the_tempered_one(ratio: tuple[int, int], size: float):
    # Exact from the definition of the cent, A. J. Ellis, in H. Helmholtz, "On the Sensations of
    # Tone", appendix XX, 1885 (from memory): 386.31, 701.96 and 968.83 cents.
    assert notes.just_cents(ratio) == pytest.approx(size, abs=0.01)


def test_cents_are_signed_and_an_octave_has_1200():
    assert notes.cents(880.0, 440.0) == 1200.0
    assert notes.cents(440.0, 880.0) == -1200.0


# --- resultants ----------------------------------------------------------------------------------


def highest_common_fundamental(fingered: Fraction, sung: Fraction) -> Fraction:
    """Try f, f/2, f/3 ... for the first of whose partials the sung note is one, too."""
    part = 1
    while (sung / (fingered / part)).denominator != 1:
        part += 1
    return fingered / part


@given(SMALL, SMALL, st.fractions(20, 1000, max_denominator=1000))
def test_resultant_is_the_highest_note_with_both_among_its_partials(
    p: int, q: int, fingered: Fraction
):
    p, q = coprime(p, q)
    sung = fingered * p / q
    found = notes.choose_ratio(float(sung / fingered), tolerance_cents=1e-6)
    assert found == (p, q)
    resultant = notes.resultant_hz(float(fingered), found)
    assert resultant == pytest.approx(float(highest_common_fundamental(fingered, sung)), rel=1e-12)


def test_resultant_of_c_and_the_fourth_below():
    # Exact: 261.626 / 196.219 = 4/3, so both are multiples of 65.406 Hz.
    ratio = notes.choose_ratio(196.219 / 261.626)
    assert ratio == (3, 4)
    assert notes.resultant_hz(261.626, ratio) == pytest.approx(65.406, abs=1e-3)


@given(st.integers(1, 12), st.floats(30.0, 1000.0))
def test_whole_multiple_gives_the_fingered_note(multiple: int, fingered: float):
    # Common practice, no source.
    assert notes.resultant_hz(fingered, (multiple, 1)) == fingered


@pytest.mark.parametrize(("ratio", "name"), [((5, 2), "Bb1"), ((5, 3), "Eb1")])
def test_five_over_two_gives_the_octave_and_five_over_three_the_twelfth_below(
    ratio: tuple[int, int], name: str
):
    # Common practice, no source. Below Bb2 the octave is Bb1, the twelfth Eb1 (2 cents flat).
    resultant = notes.resultant_hz(notes.parse_pitch("Bb2"), ratio)
    assert notes.split_note(resultant)[0] == name


def test_six_fifths_folded_up_lie_nine_octaves_apart_and_only_growl():
    # Common practice, no source: (3/2)^6 brought into one octave is 729/512.
    folded = Fraction(3, 2) ** 6 / 2**3
    ratio = (folded.numerator, folded.denominator)
    assert ratio == (729, 512) == notes.parse_ratio("729/512")
    resultant = notes.resultant_hz(440.0, ratio)
    assert notes.cents(440.0, resultant) == pytest.approx(9 * 1200.0)
    assert notes.carries_pitch(resultant) == "no"
    assert notes.choose_ratio(float(folded), tolerance_cents=5.0) is None


@pytest.mark.parametrize(
    ("hz", "answer"),
    [(30.0, "yes"), (65.4, "yes"), (29.9, "uncertain"), (20.0, "uncertain"), (19.9, "no")],
)
def test_pitch_ends_near_thirty_hertz(hz: float, answer: str):
    # K. Krumbholz et al., J. Acoust. Soc. Am. 108, 1170 (2000) and D. Pressnitzer et al., J.
    # Acoust. Soc. Am. 109, 2074 (2001): lower limit of melodic pitch near 30 Hz (from memory).
    assert notes.carries_pitch(hz) == answer
