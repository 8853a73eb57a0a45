"""Hearing data against published values; what is heard, against sounds made to be plain cases."""

import math
from pathlib import Path

import numpy as np
import pytest

from reedbore.measures.hearing import (
    THRESHOLD_HZ,
    audible,
    critical_band_rate,
    daily_hours,
    heard,
    hearing_threshold,
    line_levels,
    masked_threshold,
    third_note,
    weekly_hours,
)
from reedbore.measures.spectrum import Lines, lines
from reedbore.sound import read

SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils
NOTHING = Lines(np.zeros(0), np.zeros(0))


def made_of(*pairs: tuple[float, float]) -> Lines:
    hz, amplitude = np.array(sorted(pairs)).T
    return Lines(hz, amplitude)


# --- thresholds ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hz", "level"), [(20.0, 78.5), (400.0, 6.2), (1000.0, 2.4), (4000.0, -5.4)]
)
def test_threshold_in_quiet_is_that_of_the_standard(hz: float, level: float) -> None:
    # ISO 226:2003, table 1 (from memory).
    assert hearing_threshold(np.array([hz]))[0] == pytest.approx(level)


# ISO 226:2003 (from memory): frequency [Hz]; table 1: exponent α of loudness, level L_U of the
# transfer function [dB]; the contour of 40 phon as it is usually tabulated [dB SPL].
AS_LOUD = (
    *((20.0, 0.532, -31.6, 99.85), (25.0, 0.506, -27.2, 93.94), (31.5, 0.480, -23.0, 88.17)),
    *((40.0, 0.455, -19.1, 82.63), (50.0, 0.432, -15.9, 77.78), (63.0, 0.409, -13.0, 73.08)),
    *((80.0, 0.387, -10.3, 68.48), (100.0, 0.367, -8.1, 64.37), (125.0, 0.349, -6.2, 60.59)),
    *((160.0, 0.330, -4.5, 56.70), (200.0, 0.315, -3.1, 53.41), (250.0, 0.301, -2.0, 50.40)),
    *((315.0, 0.288, -1.1, 47.58), (400.0, 0.276, -0.4, 44.98), (500.0, 0.267, 0.0, 43.05)),
    *((630.0, 0.259, 0.3, 41.34), (800.0, 0.253, 0.5, 40.06), (1000.0, 0.250, 0.0, 40.01)),
    *((1250.0, 0.246, -2.7, 41.82), (1600.0, 0.244, -4.1, 42.51), (2000.0, 0.243, -1.0, 39.23)),
    *((2500.0, 0.243, 1.7, 36.51), (3150.0, 0.243, 2.5, 35.61), (4000.0, 0.242, 1.2, 36.65)),
    *((5000.0, 0.242, -2.1, 40.01), (6300.0, 0.245, -7.1, 45.83), (8000.0, 0.254, -11.2, 51.80)),
    *((10000.0, 0.271, -10.7, 54.28), (12500.0, 0.301, -3.1, 51.49)),
)


def test_thresholds_make_the_contour_of_40_phon_of_the_standard() -> None:
    # ISO 226:2003, 4.1: level = 10/α lg A - L_U + 94 dB, with A = 4.47e-3 (10^(0.025 N) - 1.15)
    # + (0.4 · 10^((T + L_U)/10 - 9))^α. Both tables are rounded: a threshold T that is 0.2 dB off
    # shows in most rows, one that is 1 dB off in each.
    hz, exponent, transfer, as_loud = np.array(AS_LOUD).T
    assert hz.size == 29
    inner = (0.4 * 10.0 ** ((hearing_threshold(hz) + transfer) / 10.0 - 9.0)) ** exponent
    inner += 4.47e-3 * (10.0 ** (0.025 * 40.0) - 1.15)
    level = 10.0 / exponent * np.log10(inner) - transfer + 94.0
    assert level == pytest.approx(as_loud, abs=0.006)


def test_thresholds_stand_at_the_preferred_frequencies() -> None:
    # ISO 266:1997: the series R10 of preferred numbers, times powers of ten; here 20 to 12500 Hz.
    series = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
    assert pytest.approx([series[n % 10] * 10.0 ** (n // 10) for n in range(13, 42)]) == [
        *THRESHOLD_HZ
    ]


@pytest.mark.parametrize("hz", [50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3000.0, 5000.0])
def test_threshold_in_quiet_is_near_a_second_published_curve(hz: float) -> None:
    # E. Terhardt, Hearing Research 1, 155 (1979) (from memory):
    # 3.64 f^-0.8 - 6.5 exp(-0.6 (f - 3.3)²) + 0.001 f⁴ dB, f in kHz.
    f = hz / 1000.0
    terhardt = 3.64 * f**-0.8 - 6.5 * math.exp(-0.6 * (f - 3.3) ** 2) + 1e-3 * f**4
    assert hearing_threshold(np.array([hz]))[0] == pytest.approx(terhardt, abs=5.0)


@pytest.mark.parametrize("hz", [0.0, 19.0, 15000.0])
def test_outside_the_standard_nothing_is_heard(hz: float) -> None:
    assert hearing_threshold(np.array([hz]))[0] == math.inf


@pytest.mark.parametrize(
    ("hz", "bark"), [(100.0, 1.0), (510.0, 5.0), (1080.0, 9.0), (2000.0, 13.0), (4400.0, 18.0)]
)
def test_critical_band_rate_is_that_of_the_published_table(hz: float, bark: float) -> None:
    # E. Zwicker, J. Acoust. Soc. Am. 33, 248 (1961) (from memory): upper edges of the bands.
    assert critical_band_rate(np.array([hz]))[0] == pytest.approx(bark, abs=0.2)


# --- masking -------------------------------------------------------------------------------------


def test_masking_falls_by_27_db_a_bark_downwards() -> None:
    # Terhardt 1979: the lower slope does not depend on level.
    masker_hz = np.array([1000.0])
    place = critical_band_rate(masker_hz)[0]
    probe = np.array([700.0, 920.0])
    below = masked_threshold(probe, masker_hz, np.array([70.0]))
    apart = place - critical_band_rate(probe)
    assert below == pytest.approx(70.0 - 14.5 - place - 27.0 * apart)


LOUDER = [(40.0, 16.23), (70.0, 10.23), (90.0, 6.23), (118.0, 0.63), (130.0, 0.0)]


@pytest.mark.parametrize(("level", "slope"), LOUDER)
def test_masking_spreads_further_upwards_the_louder_the_masker(level: float, slope: float) -> None:
    # Terhardt 1979: 24 + 230 Hz/f - 0.2 L dB a Bark. Above 121 dB that would be less than none.
    probe = np.array([1200.0, 2000.0])
    above = masked_threshold(probe, np.array([1000.0]), np.array([level]))
    step = np.diff(critical_band_rate(probe))[0]
    assert above[0] - above[1] == pytest.approx(slope * step)


def test_two_equal_maskers_mask_three_decibel_more_than_one() -> None:
    one = masked_threshold(np.array([900.0]), np.array([1000.0]), np.array([60.0]))
    two = masked_threshold(np.array([900.0]), np.array([1000.0, 1000.0]), np.array([60.0, 60.0]))
    assert two - one == pytest.approx(10.0 * math.log10(2.0))


def test_line_does_not_mask_itself() -> None:
    alone = masked_threshold(np.array([440.0]), np.array([440.0]), np.array([70.0]))
    assert alone[0] == -math.inf


def test_levels_of_the_lines_add_up_to_the_listening_level() -> None:
    sound = made_of((200.0, 1.0), (300.0, 0.3), (900.0, 0.01))
    levels = line_levels(sound, sound, 65.0)
    assert 10.0 * math.log10(np.sum(10.0 ** (levels / 10.0))) == pytest.approx(65.0)
    assert levels[0] - levels[2] == pytest.approx(40.0)


def test_audible_lines_do_not_depend_on_the_unit() -> None:
    sound = made_of((200.0, 1.0), (300.0, 0.3), (320.0, 1e-3), (900.0, 0.01))
    scaled = Lines(sound.hz, 1e4 * sound.amplitude)
    assert np.array_equal(audible(sound, sound).hz, audible(scaled, scaled).hz)


@pytest.mark.parametrize(("level", "count"), [(70.0, 2), (20.0, 0)])
def test_low_lines_are_lost_at_a_low_level(level: float, count: int) -> None:
    # ISO 226: at 58 and 117 Hz the threshold is near 40 and 23 dB SPL.
    sound = made_of((58.0, 1.0), (117.0, 1.0))
    assert len(audible(sound, sound, level).hz) == count


@pytest.mark.parametrize(("over", "count"), [(1.0, 1), (-1.0, 0)])
def test_a_sound_is_listened_to_at_70_decibels(over: float, count: int) -> None:
    # ISO 226, table 1: at 100 Hz the threshold is 26.5 dB SPL; a line at 3 kHz masks nothing there.
    low = 10.0 ** ((26.5 + over - 70.0) / 20.0)
    sound = made_of((100.0, low), (3000.0, 1.0))
    assert len(audible(made_of((100.0, low)), sound).hz) == count


# --- a third note --------------------------------------------------------------------------------

# A fingered note of 100 k Hz with harmonics 2, 4, 6 …, a sung one with 3, 6, 9 …: the resultant's
# own partials are 1, 5, 7, 11, 13.
OWN = (1, 5, 7, 11, 13)


def meeting(resultant: float, own: dict[int, float]) -> tuple[Lines, Lines]:
    both = {k: 1.0 / k for k in range(2, 16) if k % 2 == 0 or k % 3 == 0}
    sound = both | own
    return (
        made_of(*((resultant * k, a) for k, a in own.items())) if own else NOTHING,
        made_of(*((resultant * k, a) for k, a in sound.items())),
    )


@pytest.mark.parametrize(
    ("resultant", "strength", "answer"),
    [
        (60.0, 0.3, "yes"),
        (60.0, 1e-4, "no"),
        (25.0, 0.5, "uncertain"),
        (19.0, 0.5, "no"),
        (110.0, 0.1, "yes"),
    ],
)
def test_third_note_is_heard_if_its_partials_and_its_pitch_are(
    resultant: float, strength: float, answer: str
) -> None:
    assert heard(*meeting(resultant, dict.fromkeys(OWN, strength)), resultant) == answer


@pytest.mark.parametrize(
    ("count", "answer"), [(0, "no"), (1, "uncertain"), (2, "uncertain"), (3, "yes")]
)
def test_three_audible_partials_make_a_pitch_and_fewer_a_doubt(count: int, answer: str) -> None:
    own = dict.fromkeys(OWN[1 : 1 + count], 0.5)
    assert heard(*meeting(80.0, own), 80.0) == answer


def test_third_note_is_lost_when_the_whole_is_too_soft() -> None:
    own, everything = meeting(60.0, dict.fromkeys(OWN, 0.3))
    assert heard(own, everything, 60.0, level_db_spl=0.0) == "no"


def test_silence_holds_no_third_note() -> None:
    assert heard(NOTHING, NOTHING, 60.0) == "no"


def test_level_of_a_third_note_is_that_of_its_own_partials() -> None:
    # Over 60 Hz at 3/2: 300 and 420 Hz belong to neither note, and hold 1.25/9.25 of the power.
    sound = made_of((120.0, 2.0), (180.0, 2.0), (300.0, 1.0), (420.0, 0.5))
    level, answer = third_note(sound, (3, 2), 60.0)
    assert level == pytest.approx(10.0 * math.log10(1.25 / 9.25))
    assert answer == "uncertain"


@pytest.mark.parametrize("sound", [NOTHING, made_of((120.0, 2.0), (180.0, 2.0))])
def test_a_third_note_without_partials_of_its_own_has_no_level(sound: Lines) -> None:
    assert third_note(sound, (3, 2), 60.0) == (None, "no")


@pytest.mark.parametrize(
    ("ratio", "hz", "answer"),
    [
        (None, 60.0, "no"),
        ((3, 2), None, "no"),
        ((3, 1), 120.0, "same as fingered"),
        ((1, 2), 60.0, "same as sung"),
    ],
)
def test_a_third_note_that_is_none_has_no_level(
    ratio: tuple[int, int] | None, hz: float | None, answer: str
) -> None:
    assert third_note(made_of((60.0, 1.0), (300.0, 1.0)), ratio, hz) == (None, answer)


@pytest.mark.sound
@pytest.mark.skipif(not SPOKEN.exists(), reason="Debian's alsa-utils is not installed")
def test_strongest_line_of_a_spoken_recording_is_audible() -> None:
    wave, rate = read(SPOKEN)
    found = lines(wave, rate, -50.0)
    strongest = found.hz[np.argmax(found.amplitude)]
    kept = audible(found, found)
    assert strongest in kept.hz
    assert len(kept.hz) < len(found.hz)


# --- listening times -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("level", "hours"), [(80.0, 40.0), (89.0, 5.0), (95.0, 1.25), (100.0, 0.3937)]
)
def test_weekly_listening_time_is_that_of_the_recommendation(level: float, hours: float) -> None:
    # Rec. ITU-T H.870 (with WHO): 80 dB(A) for 40 h a week, the same sound energy at other levels.
    assert weekly_hours(level) == pytest.approx(hours, rel=0.01)


@pytest.mark.parametrize(("level", "hours"), [(85.0, 8.0), (88.0, 4.0), (94.0, 1.0), (100.0, 0.25)])
def test_daily_exposure_is_that_of_the_criteria(level: float, hours: float) -> None:
    # NIOSH, publication 98-126, 1998: 85 dB(A) for 8 h, 3 dB exchange rate.
    assert daily_hours(level) == pytest.approx(hours, rel=0.001)
