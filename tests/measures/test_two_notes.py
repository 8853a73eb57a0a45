"""What is played, the class of what is sung, and lines of a mixture: made sounds, takes, silence.

The made reed multiplies horn and voice, so that its lines n·f1 + m·f2 are known; takes of the
simulation are cut by `recordings`, whose truth comes from their own phases.
"""

import numpy as np
import pytest
from made_mixtures import RATE, added, clock, cycles, mixed, noise, tone
from recordings import RATE as FILE_RATE
from recordings import Case, cut, delayed, noisy, recorded

from reedbore.measures import pitch, two_notes
from reedbore.notes import cents

F1, F2 = 116.54, 203.7
TENOR = Case("tenor-saxophone", 116.54, (5, 2), -4.0, 0.1, "human", 1)


def pair(seconds: float = 1.0, sung: float = F2, join=mixed) -> np.ndarray:
    t = clock(seconds)
    return join(tone(F1 * t), tone(sung * t, 10.0)) + noise(t.size, 0.02)


def thinned(*channels: np.ndarray) -> list[np.ndarray]:
    return [pitch.thin(one, FILE_RATE, RATE)[0] for one in channels]


@pytest.mark.parametrize("sung", [F2, 2.5 * F1, 5.0 / 3.0 * F1, 1.01 * F1])
@pytest.mark.parametrize("seconds", [0.25, 1.0])
def test_played_note_is_told_whatever_is_sung(sung: float, seconds: float) -> None:
    found = two_notes.played(pair(seconds, sung), RATE)
    assert found is not None
    assert cents(found.hz, F1) == pytest.approx(0.0, abs=3.0)


def test_common_note_is_not_taken_for_the_played_one() -> None:
    # 5/2: every line is a partial of F1/2, and a plain search for the period finds that.
    samples = pair(1.0, 2.5 * F1)
    assert pitch.fundamental(mixed(tone(F1 * clock(1.0)), tone(2.5 * F1 * clock(1.0)), 0.5), RATE)
    assert two_notes.played(samples, RATE).hz == pytest.approx(F1, rel=1e-3)


def test_odd_partials_alone_are_a_note_too() -> None:
    t = clock(1.0)
    hollow = sum(np.sin(2.0 * np.pi * k * F1 * t + k) / k for k in (1, 3, 5, 7, 9))
    assert two_notes.played(hollow, RATE).hz == pytest.approx(F1, rel=1e-4)


def lines_at(amplitudes: dict[float, float]) -> np.ndarray:
    """A second of sinusoids at some multiples of F1."""
    t = clock(1.0)
    return sum(a * np.sin(2.0 * np.pi * k * F1 * t + k) for k, a in amplitudes.items())


def test_the_twelfth_partial_still_proves_a_note() -> None:
    # None lower is there: as the eleventh it would belong to a note that lacks both others.
    found = two_notes.played(lines_at({12: 1.0, 13: 1.0, 17: 1.0}), RATE)
    assert found.hz == pytest.approx(F1, rel=1e-4)


@pytest.mark.parametrize(
    ("whole", "between", "note"),
    [
        (2, {1: 0.5, 3: 0.5}, 1),
        (2, {3: 0.8}, 2),  # one is too few
        (2, {1: 0.15, 3: 0.15}, 2),  # 3 % of all: little is missed without them
        (2, {1: 0.5, 3: 0.5, 2.45: 0.5, 4.45: 0.5}, 2),  # a sixth of all is no partial
        (3, {1: 0.4, 2: 0.4, 4: 0.4}, 1),
        (3, {1: 0.4, 2: 0.4}, 3),
    ],
)
def test_a_note_lies_lower_only_if_as_many_strong_low_partials_show_it(
    whole: int, between: dict[float, float], note: int
) -> None:
    most = {whole * k: 1.0 for k in range(1, 5)}
    found = two_notes.played(lines_at(most | between), RATE)
    assert found.hz == pytest.approx(note * F1, rel=1e-4)


def test_silence_plays_nothing() -> None:
    assert two_notes.played(np.zeros(12000), RATE) is None


@pytest.mark.parametrize("sung", [F2, F2 + F1, F1 - (F2 - F1)])
def test_class_of_the_sung_note_is_the_same_for_its_members(sung: float) -> None:
    samples = pair(1.0, sung)
    found = two_notes.residue(two_notes.look(samples, RATE, F1), F1)
    assert found.hz == pytest.approx(2.0 * F1 - F2, abs=1.0)
    assert found.over_db > 10.0


def test_strongest_lines_of_a_class_tell_its_level() -> None:
    # By hand: six lines of a tenth of the first partial, the others of the class far weaker.
    own = {n + d: 0.1 if n < 3 else 0.003 for n in range(12) for d in (0.3, 0.7)}
    samples = lines_at({1: 1.0, 2: 0.5} | own) + noise(round(RATE), 0.02)
    found = two_notes.residue(two_notes.look(samples, RATE, F1), F1)
    assert found.hz == pytest.approx(0.3 * F1, abs=0.5)
    assert found.level_db == pytest.approx(-20.0, abs=0.3)


def test_horn_alone_shows_no_class() -> None:
    t = clock(1.0)
    alone = tone(F1 * t) + noise(t.size, 0.02)
    assert two_notes.residue(two_notes.look(alone, RATE, F1), F1).over_db < 5.0


def test_a_class_cannot_be_told_where_lines_hide_each_other() -> None:
    # Lines are 4 bins wide, 20 Hz in a fifth of a second: 9 of them do not fit into F1/2.
    assert two_notes.residue(two_notes.look(pair(0.08), RATE, F1), F1) is None


def test_lines_of_a_mixture_stand_above_the_floor_only_where_a_reed_mixed() -> None:
    sung_into, beside = pair(), pair(join=added)
    assert two_notes.interaction(two_notes.look(sung_into, RATE, F1), F1, F2) > 15.0
    assert two_notes.interaction(two_notes.look(beside, RATE, F1), F1, F2) < 6.0


@pytest.mark.parametrize("sung", [F1, 2.0 * F1, 0.5 * F1])
def test_lines_that_are_partials_of_either_note_prove_nothing(sung: float) -> None:
    seen = two_notes.look(pair(1.0, sung), RATE, F1)
    assert two_notes.interaction(seen, F1, sung) is None


def raised(bin_hz: float = 0.1) -> two_notes.Look:
    """A made spectrum that stands 20 dB over its floor from 650 Hz up."""
    hz = np.arange(0.0, 6000.0, 0.05)
    return two_notes.Look(hz, np.zeros(hz.size), np.where(hz > 650.0, 20.0, 0.0), bin_hz)


def test_lines_of_a_mixture_are_looked_for_up_to_the_twelfth() -> None:
    # 100 n ± 23.7 Hz: as many lines with n from 1 to 6 as with n from 7 to 12.
    assert two_notes.interaction(raised(), 100.0, 23.7) == 10.0


@pytest.mark.parametrize(("length_s", "apart"), [(1.0, 4.5), (0.5, 9.0)])
@pytest.mark.parametrize("past", [-0.1, 0.1])
def test_lines_nearer_than_four_and_a_half_over_the_length_hide_each_other(
    length_s: float, apart: float, past: float
) -> None:
    # Sung so far off the octave, each line lies as far off a partial of what is played.
    told = two_notes.interaction(raised(1.0 / length_s), 100.0, 200.0 + apart + past)
    assert (told is not None) == (past > 0.0)


@pytest.mark.parametrize(("bleed", "within"), [(None, 1.0), (-20.0, 1.0), (-10.0, 5.0)])
def test_sung_pitch_is_told_through_what_the_throat_hears_of_the_horn(bleed, within) -> None:
    piece = cut(TENOR, 2.0, 0.5)
    horn, throat = thinned(*recorded(piece, noise_db=20.0, reverberation=0.6, bleed_db=bleed))
    played = two_notes.played(horn, RATE)
    assert cents(played.hz, piece.truth.played) == pytest.approx(0.0, abs=3.0)
    voice = two_notes.voice_on_throat(throat, horn, RATE, played.hz, 60.0, 1000.0)
    assert cents(voice.hz, piece.truth.sung) == pytest.approx(0.0, abs=within)


def test_horn_on_the_throat_is_not_taken_for_a_voice() -> None:
    piece = cut(TENOR._replace(depth=0.0), 2.0, 0.5)
    only = noisy(delayed(piece.horn, 0.0015), 20.0, np.random.default_rng(1))
    horn, throat = thinned(piece.horn, only)
    played = two_notes.played(horn, RATE)
    assert two_notes.voice_on_throat(throat, horn, RATE, played.hz, 60.0, 1000.0).hz is None


def test_an_octave_is_told_though_all_its_partials_are_the_horns() -> None:
    t = clock(0.5)
    horn, throat = tone(F1 * t), tone(2.0 * F1 * t, 10.0) + 0.03 * tone(F1 * t)
    voice = two_notes.voice_on_throat(throat, horn, RATE, F1, 60.0, 1000.0)
    assert voice.hz == pytest.approx(2.0 * F1, rel=1e-4)


@pytest.mark.parametrize(
    ("order", "by_db", "told"),
    [(2, 11.5, False), (2, 12.5, True), (5, 12.5, True), (6, 12.5, False)],
)
def test_a_voice_on_a_partial_stands_twelve_decibels_over_the_throats_other_partials(
    order: int, by_db: float, told: bool
) -> None:
    # All else that the throat hears is the horn, and the whole repeats as the horn does.
    turns = F1 * clock(0.5)
    own = tone(turns, partials=order) - tone(turns, partials=order - 1)
    throat = tone(turns) + (10.0 ** (by_db / 20.0) - 1.0) * own
    voice = two_notes.voice_on_throat(throat, tone(turns), RATE, F1, 60.0, 1000.0)
    assert voice.hz == (pytest.approx(order * F1, rel=1e-4) if told else None)


def test_a_voice_near_the_octave_is_not_taken_for_it_though_the_throat_hears_a_partial() -> None:
    # Both together repeat best near the octave; what is left without the horn does not.
    t = clock(0.5)
    horn = tone(F1 * t)
    throat = tone(2.1 * F1 * t, 60.0) + 1.3 * np.sin(2.0 * np.pi * 4.0 * F1 * t)
    voice = two_notes.voice_on_throat(throat, horn, RATE, F1, 60.0, 1000.0)
    assert voice.hz == pytest.approx(2.1 * F1, rel=1e-3)


def test_a_take_holds_lines_of_the_mixture_and_the_class_of_its_voice() -> None:
    piece = cut(TENOR._replace(off=55.0), 2.0, 1.0)
    horn = thinned(recorded(piece, noise_db=30.0, reverberation=0.6, bleed_db=None)[0])[0]
    seen = two_notes.look(horn, RATE, piece.truth.played)
    assert two_notes.interaction(seen, piece.truth.played, piece.truth.sung) > 12.0
    member = piece.truth.sung % piece.truth.played
    found = two_notes.residue(seen, piece.truth.played)
    assert found.hz == pytest.approx(min(member, piece.truth.played - member), abs=1.0)


def test_smallest_drift_is_a_quarter_of_a_cycle_over_the_note() -> None:
    assert two_notes.least_drift(0.5) == pytest.approx(0.5)


def test_made_cycles_are_those_of_the_pitch() -> None:
    assert cycles(100.0, np.zeros(12000))[-1] == pytest.approx(100.0)
