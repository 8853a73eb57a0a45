"""The beat of two notes in a recording: made phases, and takes whose phases are known."""

import numpy as np
import pytest
from made_mixtures import RATE, clock, cycles, mixed, noise, sway, tone
from recordings import RATE as FILE_RATE
from recordings import Case, cut, recorded

from reedbore.measures import keeping_step, pitch, two_notes

F1 = 116.54
RATIO = (5, 2)
F2 = 2.5 * F1


def sung_into(seconds: float, drift: float, wander: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A horn and a throat; the voice drifts, and both wander together."""
    wandering = sway(seconds, wander, 3)
    first = cycles(F1, wandering)
    second = (RATIO[0] * first - drift * clock(seconds)) / RATIO[1]
    horn = mixed(tone(first), tone(second)) + noise(first.size, 0.02, 1)
    return horn, tone(second, 8.0) + noise(first.size, 0.02, 2)


@pytest.mark.parametrize("drift", [0.0, 0.4, -1.3, 4.0])
def test_drift_is_the_slope_of_the_phase(drift: float) -> None:
    horn, throat = sung_into(1.0, drift)
    found = keeping_step.beat(horn, throat, RATE, (F1, F2), RATIO)
    assert found.drift == pytest.approx(drift, abs=0.05)
    assert found.wanders < 0.1


def test_a_pair_that_wanders_together_keeps_step_all_the_same() -> None:
    horn, throat = sung_into(2.0, 0.0, wander=10.0)
    found = keeping_step.beat(horn, throat, RATE, (F1, F2), RATIO)
    assert found.moves < 0.1
    assert found.wanders > 0.5


def test_a_voice_that_wanders_alone_does_not_keep_step() -> None:
    horn, _ = sung_into(2.0, 0.0)
    _, throat = sung_into(2.0, 0.0, wander=10.0)
    found = keeping_step.beat(horn, throat, RATE, (F1, F2), RATIO)
    assert found.moves > 1.0


@pytest.mark.parametrize(
    ("ratio", "seconds", "width"),
    [
        ((2, 1), 0.5, 30.0),
        ((2, 1), 1.0, 16.0),
        ((6, 5), 1.0, 10.0),
        ((13, 12), 4.0, 5.0),
        ((13, 12), 1.0, 8.0),
    ],
)
def test_a_beat_is_followed_in_lines_as_wide_as_their_neighbours_let_them_be(
    ratio: tuple[int, int], seconds: float, width: float
) -> None:
    # At 100 Hz: half of what lies between lines of the mixture, 100 Hz over q; at most 30 Hz and
    # what makes windows of a quarter of the note, at least 5 Hz and windows of half the note.
    sung = 100.0 * ratio[0] / ratio[1]
    both = (tone(hz * clock(seconds)) for hz in (100.0, sung))
    found = keeping_step.beat(*both, RATE, (100.0, sung), ratio)
    assert found.times[0] == pytest.approx(0.5 * 4.0 / width, abs=2.0 / RATE)
    assert found.moves < 0.05


@pytest.mark.parametrize("drift", [0.0, 0.7, 2.0])
def test_horn_alone_tells_how_fast_it_drifts(drift: float) -> None:
    horn, _ = sung_into(1.5, drift)
    member = 0.5 * F1
    found = keeping_step.beat_alone(
        horn, RATE, (F1, member), (1, 2), np.array([0, 1, 2, 3, -2, -3])
    )
    assert abs(found.drift) == pytest.approx(drift, abs=two_notes.least_drift(1.5))
    assert (found.steady > 0.95) == (drift == 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_noise_beside_one_line_is_not_taken_for_another(seed: int) -> None:
    horn, _ = sung_into(0.5, 0.0)
    orders = np.array([0, 1, 2, -2, -3])
    noisy = horn + noise(horn.size, 0.1, seed)
    found = keeping_step.beat_alone(noisy, RATE, (F1, 0.5 * F1), (1, 2), orders)
    assert abs(found.drift) < 0.1


def test_drift_of_a_line_that_turns_fast_is_as_exact() -> None:
    # Taken for a line 8 Hz off the just one it lies half a hertz off.
    horn = mixed(tone(F1 * clock(1.0)), tone(1.54 * F1 * clock(1.0))) + noise(12000, 0.02, 1)
    notes = F1, 0.46 * F1 + 0.5
    found = keeping_step.beat_alone(horn, RATE, notes, (1, 2), np.array([0, 1, 2, -2, -3]))
    assert found.drift == pytest.approx(0.08 * F1, abs=0.1)


def test_drift_of_a_take_is_told_through_noise_and_a_room() -> None:
    case = Case("tenor-saxophone", 116.54, (5, 2), -4.0, 0.1, "human", 1)
    piece = cut(case, 2.0, 1.0)
    microphones = recorded(piece, noise_db=20.0, reverberation=0.6, bleed_db=-20.0)
    horn, throat = (pitch.thin(one, FILE_RATE, RATE)[0] for one in microphones)
    played = two_notes.played(horn, RATE).hz
    voice = two_notes.voice_on_throat(throat, horn, RATE, played, 60.0, 1000.0)
    found = keeping_step.beat(horn, voice.samples, RATE, (played, voice.hz), (5, 2))
    assert abs(piece.truth.drift) > 0.5
    assert found.drift == pytest.approx(piece.truth.drift, abs=0.2)


# --- the course of a pitch -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hz", "seconds", "window"),
    [
        (300.0, 2.0, 4.0 / 30.0),
        (60.0, 2.0, 4.0 / 15.0),
        (300.0, 0.2, 0.1),
        (2500.0, 2.0, 4.0 / 30.0),  # its second partial lies too near to half the rate
    ],
)
def test_a_course_reaches_half_a_window_to_the_ends(
    hz: float, seconds: float, window: float
) -> None:
    # Windows are four over a width: 30 Hz, a quarter of a low note, never more than half the note.
    found = keeping_step.course(tone(hz * clock(seconds)), RATE, hz)
    assert found.times[0] == pytest.approx(0.5 * window, abs=2.0 / RATE)
    assert found.times[-1] == pytest.approx(seconds - 0.5 * window, abs=window / 16.0)
    assert found.hz == pytest.approx(np.full(found.hz.size, hz), rel=1e-4)


def test_a_course_follows_a_vibrato() -> None:
    seconds, slow = 2.0, 2.0 * np.pi * 2.0
    swinging = 30.0 * np.sin(slow * clock(seconds))
    found = keeping_step.course(tone(cycles(250.0, swinging)), RATE, 250.0)
    wanted = 30.0 * np.sin(slow * found.times)
    assert 1200.0 * np.log2(found.hz / 250.0) == pytest.approx(wanted, abs=3.0)


def test_a_course_strays_by_what_its_phase_swings() -> None:
    # Of 30 cents twice a second 0.35 cycles are left from the middle to the highest; the windows of
    # 0.13 s smooth some of it.
    seconds, slow = 8.0, 2.0 * np.pi * 2.0
    swing = 250.0 * (2.0 ** (30.0 / 1200.0) - 1.0) / slow
    samples = tone(cycles(250.0, 30.0 * np.sin(slow * clock(seconds))))
    found = keeping_step.course(samples, RATE, 250.0)
    assert found.strays == pytest.approx(swing / 2.0**0.5, rel=0.05)
    assert found.mean == pytest.approx(250.0, rel=1e-4)
    assert keeping_step.course(tone(250.0 * clock(seconds)), RATE, 250.0).strays < 1e-4


def test_silence_has_a_beat_of_its_own_two_clocks_and_no_more() -> None:
    nothing = np.zeros(12000)
    found = keeping_step.beat(nothing, nothing, RATE, (F1, F2 + 1.0), RATIO)
    assert found.drift == pytest.approx(-2.0, abs=1e-6)
    assert found.wanders == pytest.approx(0.0, abs=1e-9)
