"""What is said of recordings: made ones whose phases are known, takes, and real horns and voices.

Real notes come from the Debian packages fluid-soundfont-gm and freepats, and are only added up: a
horn that knows of no voice. They must never be called locked.
"""

import functools

import numpy as np
import pytest
from made_mixtures import RATE, Held, added, clock, cycles, mixed, noise, sway, tone
from real_sounds import fluid, freepats, need
from recordings import Case, bent, cut, recorded

from reedbore.measures import pitch, two_notes
from reedbore.notes import cents
from reedbore.sound import resample
from reedbore.verdict.recording import NOTHING, Found, Known, analyse, reasons
from reedbore.verdict.recording.alone import CLASS_DB
from reedbore.verdict.recording.proof import OWN_WANDER
from reedbore.verdict.state import State

F1 = 116.54
FILE_RATE = 48000.0


def made(
    ratio: tuple[int, int] = (5, 2),
    seconds: float = 2.0,
    *,
    drift: float = 0.0,
    wander: float = 0.0,
    join=mixed,
    throat: bool = True,
) -> Held:
    first = cycles(F1, sway(seconds, wander, 3))
    second = (ratio[0] * first - drift * clock(seconds)) / ratio[1]
    horn = join(tone(first), tone(second, 10.0)) + noise(first.size, 0.02, 1)
    return Held(horn, tone(second, 8.0) + noise(first.size, 0.02, 2) if throat else None)


def only(sounds: Held, known: Known = NOTHING) -> Found:
    (row,) = analyse(sounds, known)
    return row


# --- what is locked ------------------------------------------------------------------------------


def test_a_pair_that_wanders_together_is_locked() -> None:
    row = only(made(wander=15.0))
    assert row.wander > OWN_WANDER
    assert row.state == State.LOCKED
    assert row.reason is None


def test_the_same_without_a_reed_between_them_is_not() -> None:
    row = only(made(wander=15.0, join=added))
    assert row.state == State.UNDECIDED
    assert row.reason == f"{reasons.PROVEN}: {reasons.APART}"


def test_notes_in_tune_that_hold_still_are_not_proven_to_lock() -> None:
    row = only(made())
    assert (row.state, row.ratio) == (State.UNDECIDED, (5, 2))
    assert row.reason == f"{reasons.PROVEN}: {reasons.STILL_VOICE}"


@pytest.mark.parametrize("ratio", [(1, 1), (2, 1), (3, 1)])
def test_where_one_note_hides_the_other_nothing_is_locked(ratio: tuple[int, int]) -> None:
    row = only(made(ratio, wander=15.0))
    assert row.state == State.UNDECIDED


@pytest.mark.parametrize(("drift", "state"), [(0.1, State.LOCKED), (0.2, State.DRIFTING)])
def test_a_quarter_of_a_cycle_parts_step_from_drift(drift: float, state: State) -> None:
    row = only(made(wander=13.0, drift=drift))
    assert row.wander > OWN_WANDER
    assert row.state == state
    assert row.drift_hz == pytest.approx(drift, abs=0.03)
    assert row.shows_hz == pytest.approx(0.25 / 1.75, rel=0.05)


def test_what_to_sing_instead_is_told_where_notes_miss() -> None:
    row = only(made(drift=-2.0))
    advice = row.instead(None)
    assert advice.cents == pytest.approx(-row.off_cents, abs=0.1)
    assert only(made()).instead(None) is None


@pytest.mark.ci
def test_folds_that_go_along_with_a_bent_note_are_proven_to_be_locked() -> None:
    """Over a horn that holds still the same folds keep step as well, and prove nothing."""
    case = Case("tenor-saxophone", 146.83, (3, 2), -31.0, 0.1, "folds", 3)
    told = []
    for firm in (0.0, 0.14):
        piece = cut(case, 1.0, 2.5, bent(case, firm, 3.7))
        assert piece.truth.ranges < 0.2
        microphones = recorded(piece, noise_db=30.0, reverberation=0.3, bleed_db=-20.0)
        (row,) = analyse(Held(*(pitch.thin(one, FILE_RATE)[0] for one in microphones)))
        told.append((row.ratio, row.state))
        bends = 1200.0 * np.log2(row.played_course.hz / row.played_hz)
        assert np.ptp(bends) == pytest.approx(6.0 if firm else 0.0, abs=2.0)
    assert told == [((3, 2), State.UNDECIDED), ((3, 2), State.LOCKED)]


@pytest.mark.parametrize("throat", [True, False])
def test_pitches_are_followed_as_they_move(throat: bool) -> None:
    t = clock(2.0)
    vibrato = 30.0 * np.sin(2.0 * np.pi * 4.0 * t)
    voice, horn = cycles(2.5 * F1, vibrato), F1 * t
    both = mixed(tone(horn), tone(voice, 10.0)) + noise(t.size, 0.02, 1)
    (row,) = analyse(Held(both, tone(voice, 8.0) + noise(t.size, 0.02, 2) if throat else None))
    flat = 1200.0 * np.log2(row.played_course.hz / F1)
    assert np.abs(flat).max() < 1.0
    if not throat:
        assert row.sung_course is None
        return
    sung = 1200.0 * np.log2(row.sung_course.hz / (2.5 * F1))
    true = np.interp(row.sung_course.times, t, vibrato)
    assert sung == pytest.approx(true, abs=6.0)


# --- how sure it is ------------------------------------------------------------------------------


def mean_hz(phase: np.ndarray) -> float:
    return float(np.polyfit(clock(phase.size / RATE), phase, 1)[0])


@pytest.mark.parametrize("seconds", [1.0, 2.0])
def test_pitches_and_drift_lie_within_what_is_told_in_nearly_all_notes(seconds: float) -> None:
    """What a note that wanders leaves open is shown by its own course."""
    inside = []
    for seed in range(20):
        first = cycles(F1, sway(seconds, 0.5, seed + 100))
        second = cycles(2.5 * F1 + 0.6, sway(seconds, 8.0, seed))
        horn = mixed(tone(first), tone(second, 10.0)) + noise(first.size, 0.02, seed)
        row = only(Held(horn, tone(second, 8.0) + noise(first.size, 0.02, seed + 50)))
        played, sung = mean_hz(first), mean_hz(second)
        inside.append(
            (
                abs(cents(row.played_hz, played)) <= row.played_within,
                abs(cents(row.sung_hz, sung)) <= row.sung_within,
                abs(row.drift_hz - (5.0 * played - 2.0 * sung)) <= row.drift_within,
            )
        )
    assert np.mean(inside, axis=0).min() >= 0.85


def test_pitches_that_hold_still_are_told_as_surely_as_their_length_lets_them_be() -> None:
    row = only(made(seconds=1.0))
    # A hundredth of a cycle over 0.86 s.
    assert row.played_within == pytest.approx(0.17, abs=0.02)
    assert row.sung_within < 0.1
    assert row.drift_within < 0.03


@pytest.mark.parametrize("ratio", [(5, 2), (5, 3), (73, 50)])
def test_a_member_of_a_class_is_as_sure_as_the_class(ratio: tuple[int, int]) -> None:
    sung = F1 * ratio[0] / ratio[1]
    row = only(made(ratio, 1.0, throat=False), Known(reach=(0.97 * sung, 1.03 * sung)))
    # q·f2 is as sure as the drift; where no ratio is near, half a cycle over 0.86 s.
    whole = 0.5 / 0.86 if row.q is None else row.drift_within / row.q
    assert row.class_within == pytest.approx(whole, rel=0.03)
    assert row.sung_within == pytest.approx(cents(sung + row.class_within, sung), rel=0.01)


def test_a_drift_from_the_horn_alone_is_less_sure_the_less_it_explains() -> None:
    clean = only(made(seconds=1.0, drift=2.0, throat=False))
    assert 0.1 / 0.86 < clean.drift_within < 0.25
    first = cycles(F1, sway(1.0, 0.0, 3))
    second = 2.5 * first - clock(1.0) + 0.25 * np.sin(2.0 * np.pi * 2.0 * clock(1.0))
    horn = mixed(tone(first), tone(second, 10.0)) + noise(first.size, 0.02, 1)
    assert only(Held(horn, None)).drift_within > 4.0 * clean.drift_within


# --- what cannot be told -------------------------------------------------------------------------


def test_horn_alone_names_no_sung_note_but_its_class() -> None:
    row = only(made(throat=False))
    assert row.sung_hz is None
    assert row.cannot["sung_hz"] == reasons.ONE_CHANNEL
    assert min(abs(cents(hz, 2.5 * F1)) for hz in row.sung_class) < 10.0
    assert row.common_hz == pytest.approx(0.5 * F1, rel=1e-3)


@pytest.mark.parametrize("drift", [0.0, 1.5, 3.2])
def test_class_is_exact_though_its_lines_fall_together(drift: float) -> None:
    """In half a second lines 3.2 Hz apart are one peak, in the middle."""
    row = only(made(seconds=0.5, drift=drift, throat=False))
    sung = 2.5 * F1 - 0.5 * drift
    assert min(abs(hz - sung) for hz in row.sung_class) < 0.2


def softly(sung: float, depth: float, rustle: float, seed: int) -> Held:
    t = clock(2.0)
    both = mixed(tone(F1 * t), tone(sung * t, 10.0), depth)
    return Held(both + noise(t.size, rustle, seed), None)


@pytest.mark.parametrize("seed", [2, 6, 7])
def test_a_soft_voice_is_told_where_noise_alone_would_not_come_so_far(seed: int) -> None:
    row = only(softly(1.71 * F1, 0.03, 0.1, seed))
    assert CLASS_DB < row.interaction_db < 6.0
    assert min(abs(hz - 1.71 * F1) for hz in row.sung_class) < 0.5


@pytest.mark.parametrize("seed", [0, 1, 4])
def test_a_voice_that_is_faint_in_places_is_one_note(seed: int) -> None:
    row = only(softly(1.71 * F1, 0.03, 0.05, seed))
    assert min(abs(hz - 1.71 * F1) for hz in row.sung_class) < 0.5


@pytest.mark.parametrize("seconds", [0.5, 1.0])
def test_noise_has_no_class(seconds: float) -> None:
    t = clock(seconds)
    over = [
        two_notes.residue(two_notes.look(horn, RATE, 155.56), 155.56).over_db
        for horn in (tone(155.56 * t) + noise(t.size, 0.1, seed) for seed in range(100))
    ]
    assert max(over) < CLASS_DB - 0.5


def test_a_range_with_one_member_names_it() -> None:
    row = only(made(throat=False), Known(reach=(250.0, 340.0)))
    assert cents(row.sung_hz, 2.5 * F1) == pytest.approx(0.0, abs=10.0)
    assert row.ratio == (5, 2)


def test_a_plan_names_the_member_near_it() -> None:
    row = only(made(throat=False), Known(sung_hz=lambda *_: 2.5 * F1 * 1.02))
    assert row.ratio == (5, 2)


@pytest.mark.parametrize("ratio", [(1, 1), (2, 1), (3, 1)])
def test_horn_alone_never_names_a_partial_of_its_own(ratio: tuple[int, int]) -> None:
    row = only(made(ratio, throat=False))
    assert (row.sung_hz, row.ratio, row.state) == (None, None, State.UNDECIDED)
    assert row.reason == reasons.NO_CLASS


@pytest.mark.parametrize("throat", [True, False])
@pytest.mark.parametrize("ratio", [(5, 2), (2, 1)])
def test_every_figure_that_is_missing_has_its_reason(ratio: tuple[int, int], throat: bool) -> None:
    row = only(made(ratio, throat=throat))
    figures = ("sung_hz", "ratio", "drift_hz", "third_db", "interaction_db", "roughness")
    assert {key for key in figures if getattr(row, key) is None} == set(row.cannot)


def test_a_throat_at_rest_is_horn_alone_where_it_sings_elsewhere() -> None:
    sung, t = made(), clock(2.0)
    pause = np.zeros(4800)
    horn = np.concatenate((sung.horn, pause, tone(F1 * t) + noise(t.size, 0.02, 4)))
    throat = np.concatenate((sung.throat, pause, 0.1 * tone(F1 * t) + noise(t.size, 0.02, 5)))
    first, second = analyse(Held(horn + noise(horn.size, 0.001), throat))
    assert (first.ratio, second.state) == ((5, 2), State.UNSUNG)
    assert second.cannot["sung_hz"] == reasons.REST
    assert first.roughness > 1.0


def test_silence_holds_no_note() -> None:
    assert analyse(Held(np.zeros(24000), None)) == ()


def test_notes_are_cut_where_either_voice_changes() -> None:
    parts = [made((5, 2), 1.0), made((3, 2), 1.0)]
    horn, throat = (np.concatenate(each) for each in zip(*(p[:2] for p in parts), strict=True))
    rows = analyse(Held(horn, throat))
    assert [row.ratio for row in rows] == [(5, 2), (3, 2)]
    assert rows[0].end_s == pytest.approx(1.0, abs=0.1)


# --- real horns and voices -----------------------------------------------------------------------


@functools.cache
def real() -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Horns and voices of at least 0.6 s, at RATE, without their first tenth of a second."""

    def fit(samples: np.ndarray, rate: float) -> np.ndarray:
        whole, _ = pitch.thin(resample(samples, rate, FILE_RATE), FILE_RATE, RATE)
        return whole[round(0.1 * RATE) :] / np.std(whole)

    horns = fluid("Tenor A#4(L)", "Baritone E4(L)", "E's Bassoon G2(L)")
    voices = fluid("solo_vox_c3", "solo_vox_c2", "Ahh Choir C4(L)")
    voices |= {f"ooh {n}": one for n, one in enumerate(freepats("053_Voice_Oohs.pat")[:1])}
    kept = [{name: fit(*one) for name, one in each.items()} for each in (horns, voices)]
    return kept[0], kept[1]


def brought_to(voice: np.ndarray, ratio: float) -> np.ndarray:
    """The same voice, faster or slower."""
    at = np.arange(0.0, voice.size - 1, ratio)
    return np.interp(at, np.arange(voice.size), voice)


@pytest.mark.sound
@pytest.mark.parametrize(
    "ratio",
    [(3, 2), *(pytest.param(each, marks=pytest.mark.ci) for each in ((5, 3), (5, 2), (2, 1)))],
)
def test_real_horn_and_voice_added_up_are_never_locked(ratio: tuple[int, int]) -> None:
    need()
    horns, voices = real()
    told = []
    for horn in horns.values():
        note = two_notes.played(horn, RATE)
        for voice in voices.values():
            sung = pitch.fundamental(voice, RATE, 60.0, 1000.0)
            wanted = note.hz * ratio[0] / ratio[1]
            fast = brought_to(voice, wanted / sung.hz)
            n = min(horn.size, fast.size)
            both = horn[:n] + 0.2 * fast[:n]
            told += analyse(Held(both, fast[:n])) + analyse(Held(both, None))
    assert len(told) > len(horns) * len(voices)
    assert not [row for row in told if row.state == State.LOCKED]
