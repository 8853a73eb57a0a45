"""Hearing data against published values; what is heard, against sounds made to be plain cases."""

import math
from pathlib import Path

import numpy as np
import pytest

from reedbore.measures.hearing import (
    audible,
    critical_band_rate,
    daily_hours,
    heard,
    hearing_threshold,
    line_levels,
    masked_threshold,
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


@pytest.mark.parametrize(("level", "slope"), [(40.0, 16.23), (70.0, 10.23), (90.0, 6.23)])
def test_masking_spreads_further_upwards_the_louder_the_masker(level: float, slope: float) -> None:
    # Terhardt 1979: 24 + 230 Hz/f - 0.2 L dB a Bark.
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
