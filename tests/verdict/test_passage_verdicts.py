"""Note-by-note verdicts on takes set end to end: what is reached, what only when held."""

import dataclasses

import folded
import numpy as np
import pytest
from note_pieces import B_FLAT, FINGERS, LOCKS, Piece, set_out, sung, tenor_setup
from numpy.typing import NDArray

from reedbore.measures import locking, pitch
from reedbore.model.passage import Passage
from reedbore.model.setup import Setup
from reedbore.notes import cents, midi_to_hz, parse_sung
from reedbore.pairs import predict_pair
from reedbore.simulate.performance import Fingered, Performance, Score, Stretch, perform
from reedbore.simulate.take import render
from reedbore.verdict import passage, runs
from reedbore.verdict.passage import NoteVerdict, judge_notes
from reedbore.verdict.state import Reason
from reedbore.verdict.take import judge

PIECES = {
    "long": Piece(LOCKS, 7.0),
    "cut": Piece(LOCKS, 2.0),
    "near": Piece(LOCKS * 2.0 ** (3.0 / 1200.0), 2.0),
    "rough": Piece(B_FLAT * 2.0 ** (650.0 / 1200.0), 1.5),
    "unsung": Piece(None, 1.0),
    "silent": Piece(LOCKS, 1.0, 1.0),
    "short": Piece(LOCKS, 0.1),
    "brief": Piece(LOCKS, 0.25),
}


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return tenor_setup()


@pytest.fixture(scope="module")
def played(tenor: Setup) -> tuple[Performance, dict[str, Stretch]]:
    performance, cuts = set_out(tenor, list(PIECES.values()))
    return performance, dict(zip(PIECES, cuts, strict=True))


@pytest.fixture(scope="module")
def rows(played: tuple[Performance, dict[str, Stretch]]) -> dict[str, NoteVerdict]:
    performance, cuts = played
    found = judge_notes(performance, cuts=list(cuts.values()))
    return dict(zip(cuts, found, strict=True))


@pytest.mark.slow
def test_a_pair_that_locks_is_locked_in_a_note_long_enough(rows):
    row = rows["long"]
    assert (row.held.state, row.held.ratio) == ("locked", (5, 2))
    assert (row.reached.state, row.reached.ratio, row.reached.heard) == ("locked", (5, 2), "yes")
    assert row.reached.reason is None
    assert row.reached.drift_hz == 0.0
    # Measured, not set: near what a lock demands, but for the way to it.
    kept_step = row.reached.sung_hz * 2.0 / 5.0
    assert abs(cents(row.reached.played_hz, kept_step)) < 0.3
    assert row.reached.played_hz != pytest.approx(kept_step, rel=1e-9)
    assert row.reached.resultant_hz == row.reached.played_hz / 2.0
    assert 2.0 < row.rest_s < 5.0


@pytest.mark.slow
def test_the_phase_turns_less_than_a_twentieth_from_where_it_is_said_to_rest(played, rows):
    performance, cuts = played
    cut, rate = cuts["long"], performance.score.rate
    pressure = performance.traces.pressure[cut.first : cut.end]
    voice = performance.sung[cut.first : cut.end]
    # A rival without windows: Fourier sums over ten resultant periods each, by their definition.
    block = round(10.0 * rate * 5.0 / LOCKS)
    clock = np.arange(pressure.size) * (LOCKS / rate)

    def phases(samples: NDArray[np.float64], share: float) -> NDArray[np.float64]:
        turned = samples * np.exp(-2j * np.pi * share * clock)
        sums = turned[: turned.size // block * block].reshape(-1, block).sum(axis=1)
        return np.unwrap(np.angle(sums)) / (2.0 * np.pi)

    beat = 5.0 * phases(pressure, 0.4) - 2.0 * phases(voice, 1.0)
    times = (np.arange(beat.size) + 0.5) * block / rate
    rest = rows["long"].rest_s
    assert np.ptp(beat[times > rest + 0.1]) < 0.06
    assert abs(beat[np.searchsorted(times, rest - 1.0)] - beat[-1]) > 0.05


@pytest.mark.slow
def test_the_same_note_cut_short_is_not_yet_settled(rows):
    for name in ("cut", "brief"):
        row = rows[name]
        assert row.held == rows["long"].held
        assert (row.reached.state, row.reached.reason) == ("drifting", Reason.NOT_SETTLED)
        assert row.reached.ratio == (5, 2)
        assert row.rest_s is None
    assert rows["cut"].reached.heard == "yes"
    assert rows["cut"].reached.drift_hz != 0.0


@pytest.mark.slow
def test_a_pair_beside_the_lock_drifts_in_the_note_as_when_held(rows):
    row = rows["near"]
    assert (row.held.state, row.reached.state) == ("drifting", "drifting")
    assert row.reached.reason is None
    # Beat of two mistuned notes, p f_played - q f_sung, each of which is measured by itself too.
    found = row.reached
    assert found.drift_hz == pytest.approx(5 * found.played_hz - 2 * found.sung_hz, abs=0.05)
    assert found.drift_hz == pytest.approx(row.held.drift_hz, rel=0.2)


@pytest.mark.parametrize(("sung", "ratio"), [("8/7", (8, 7)), ("C4", (9, 4)), ("9/8", (9, 8))])
def test_a_note_is_planned_as_far_as_arithmetic_goes(tenor, sung, ratio):
    # In the demo C4 stands over Bb2: 9/4, which `predict` names too, and nobody simulates.
    hz = parse_sung(sung, B_FLAT)
    performance, cuts = set_out(tenor, [Piece(hz, 0.16)])
    (row,) = judge_notes(performance, cuts=cuts, held=False)
    assert row.planned.ratio == predict_pair(B_FLAT, hz).ratio == ratio
    assert row.off_just_cents == pytest.approx(cents(hz, B_FLAT * ratio[0] / ratio[1]))


@pytest.mark.slow
def test_a_rough_pair_is_rough(rows):
    row = rows["rough"]
    assert (row.reached.state, row.reached.ratio, row.reached.heard) == ("rough", None, "no")
    assert row.planned.meeting is None
    assert row.off_just_cents is None
    assert row.held.state == "rough"
    assert row.reached.roughness == pytest.approx(row.held.roughness, rel=0.1)


@pytest.mark.slow
def test_where_nobody_sings_nothing_is_planned_or_held(rows):
    row = rows["unsung"]
    assert (row.planned, row.held, row.sung_hz) == (None, None, None)
    assert row.reached.state == "unsung"
    assert row.reached.sung_hz is None
    assert cents(row.reached.played_hz, B_FLAT) == pytest.approx(0.0, abs=1.0)


@pytest.mark.slow
def test_a_horn_below_its_threshold_is_silent(rows):
    row = rows["silent"]
    assert (row.reached.state, row.held.state) == ("silent", "silent")
    assert row.reached.reason == "the reed does not sound by itself"
    assert row.reached.played_hz is None


@pytest.mark.slow
def test_a_note_too_short_says_so_and_nothing_else(rows):
    found = rows["short"].reached
    assert (found.state, found.reason, found.heard) == ("undecided", Reason.TOO_SHORT, "uncertain")
    values = found.sung_hz, found.played_hz, found.ratio, found.resultant_hz, found.drift_hz
    assert values == (None,) * 5
    assert rows["short"].held == rows["long"].held


@pytest.mark.slow
def test_rows_say_where_they_are(rows):
    assert [row.number for row in rows.values()] == list(range(1, len(PIECES) + 1))
    begin = 0.0
    for row, piece in zip(rows.values(), PIECES.values(), strict=True):
        assert (row.begin_s, row.end_s) == pytest.approx((begin, begin + piece.seconds), abs=1e-4)
        assert (row.beat, row.beats) == pytest.approx((begin, piece.seconds), abs=2e-3)
        begin += piece.seconds


def one(
    played: tuple[Performance, dict[str, Stretch]], name: str, **changes: float
) -> tuple[Performance, Stretch]:
    return played[0], played[1][name]._replace(**changes)


def test_measuring_sees_neither_the_note_that_was_asked_for_nor_its_ratio(played):
    wrong = 3.0 * B_FLAT
    performance, cut = one(played, "near", sung_hz=wrong)
    (row,) = judge_notes(performance, cuts=[cut], held=False)
    assert row.sung_hz == wrong
    assert row.planned.ratio == (3, 1)
    assert row.reached.sung_hz == pytest.approx(PIECES["near"].sung_hz, rel=1e-6)
    assert row.reached.ratio == (5, 2)


@pytest.mark.slow
def test_the_lock_of_another_note_proves_nothing(played):
    performance, cut = one(played, "long", sung_hz=3.0 * B_FLAT)
    (row,) = judge_notes(performance, cuts=[cut])
    assert (row.held.state, row.held.ratio) == ("locked", (3, 1))
    assert (row.reached.state, row.reached.reason) == ("drifting", Reason.OTHERWISE)


def test_without_holding_nothing_is_called_locked(played):
    performance, cut = one(played, "long")
    (row,) = judge_notes(performance, cuts=[cut], held=False)
    assert row.held is None
    assert (row.reached.state, row.reached.reason) == ("drifting", Reason.NOT_HELD)
    assert abs(row.reached.drift_hz) < 0.05


def test_a_stretch_with_too_few_periods_of_its_resultant_is_not_measured(tenor):
    # 0.17 s are enough for a resultant of 58 Hz, not for one of 39 Hz.
    pieces = [Piece(B_FLAT * 5.0 / 2.0, 0.17), Piece(B_FLAT * 5.0 / 3.0, 0.17)]
    performance, cuts = set_out(tenor, pieces)
    time = np.arange(performance.traces.pressure.size) / performance.score.rate
    steady = performance.traces._replace(pressure=1500.0 * np.sin(2.0 * np.pi * B_FLAT * time))
    performance = dataclasses.replace(performance, traces=steady)
    first, second = judge_notes(performance, cuts=cuts, held=False)
    assert (first.reached.state, first.reached.ratio) == ("drifting", (5, 2))
    assert (second.reached.state, second.reached.reason) == ("undecided", Reason.TOO_SHORT)


def test_a_reed_that_is_still_starting_is_not_called_rough(tenor):
    performance, cuts = set_out(tenor, [Piece(PIECES["rough"].sung_hz, 0.16), PIECES["rough"]])
    starting, started = judge_notes(performance, cuts=cuts, held=False)
    assert (starting.reached.state, starting.reached.reason) == ("undecided", Reason.STARTING)
    assert started.reached.state == "rough"


def test_a_reed_that_has_stopped_is_silent_though_it_could_sound(played):
    performance, cut = one(played, "unsung")
    still = performance.traces._replace(pressure=np.zeros_like(performance.traces.pressure))
    (row,) = judge_notes(dataclasses.replace(performance, traces=still), cuts=[cut])
    assert (row.reached.state, row.reached.reason) == ("silent", Reason.NOT_SOUNDING)
    assert row.reached.voice_off_state == "sounding"


def test_a_horn_in_its_second_register_has_jumped(played):
    performance, cut = one(played, "unsung")
    time = np.arange(performance.traces.pressure.size) / performance.score.rate
    octave = 1500.0 * np.sin(2.0 * np.pi * 2.0 * B_FLAT * time)
    made = performance.traces._replace(pressure=octave)
    (row,) = judge_notes(dataclasses.replace(performance, traces=made), cuts=[cut])
    assert (row.reached.state, row.reached.jumped) == ("unsung", True)
    assert row.reached.played_hz == pytest.approx(2.0 * B_FLAT, rel=1e-3)


def test_a_run_that_diverged_has_failed_from_there_on(played):
    performance, cuts = played
    broken = performance.traces.pressure.copy()
    broken[cuts["near"].first + 1000 :] = np.nan
    burst = dataclasses.replace(performance, traces=performance.traces._replace(pressure=broken))
    before, after = judge_notes(burst, cuts=[cuts["cut"], cuts["near"]], held=False)
    assert before.reached.state == "drifting"
    assert (after.reached.state, after.reached.reason) == ("failed", "the simulation diverged")


def test_two_exact_tones_that_do_not_know_of_each_other_are_never_locked(played, tenor):
    # They keep step, but the pair that is held beside the ratio slips.
    performance, cut = one(played, "near")
    time = np.arange(performance.traces.pressure.size) / performance.score.rate
    tone = 1500.0 * np.sin(2.0 * np.pi * PIECES["near"].sung_hz * 0.4 * time)
    made = performance.traces._replace(pressure=tone)
    (row,) = judge_notes(dataclasses.replace(performance, traces=made), cuts=[cut])
    assert row.reached.ratio == (5, 2)
    assert row.reached.state == "drifting"
    assert row.reached.drift_hz == pytest.approx(0.0, abs=1e-3)


def test_the_plan_is_arithmetic(played):
    # The just fifth lies 1.955 cents over the 700 of a keyboard: A. J. Ellis, in Helmholtz,
    # On the Sensations of Tone, 2nd English ed., 1885, app. XX (from memory).
    performance, cut = one(played, "rough", sung_hz=midi_to_hz(53))
    (row,) = judge_notes(performance, cuts=[cut], held=False)
    assert row.planned.ratio == (3, 2)
    assert row.planned.meeting.resultant_hz == pytest.approx(B_FLAT / 2.0)
    assert row.off_just_cents == pytest.approx(-1.955, abs=1e-3)


def test_the_horn_alone_is_played_once_for_all_notes_over_it(played, monkeypatch):
    performance, cuts = played
    calls = []
    alone = runs.alone
    monkeypatch.setattr(runs, "alone", lambda setup: calls.append(setup) or alone(setup))
    shares: list[float] = []
    some = [cuts[name] for name in ("cut", "near", "rough", "unsung")]
    judge_notes(performance, cuts=some, held=False, tell=shares.append)
    assert len(calls) == 1
    assert shares[-1] == 1.0


@pytest.mark.slow
def test_a_held_pair_is_the_verdict_of_its_take(rows, tenor):
    take = judge(render(sung(tenor, PIECES["near"]), runs.LEAST_SECONDS))
    held = rows["near"].held
    assert (held.state, held.ratio, held.heard) == (take.state, take.ratio, take.heard)
    assert held.drift_hz == pytest.approx(take.drift_hz, rel=1e-3)


def test_the_course_within_a_note_is_judged_by_the_one_judge(played):
    performance, cut = one(played, "near")
    part = slice(cut.first, cut.end)
    pressure, rate = pitch.thin(performance.traces.pressure[part], performance.score.rate)
    voice, _ = pitch.thin(performance.sung[part], performance.score.rate)
    course = runs.beat(pressure, voice, rate, PIECES["near"].sung_hz, (5, 2), 20.0)
    assert locking.drift(course).state == "slips"


def recorded(performance: Performance, values: dict[str, str | float]) -> Performance:
    """Say that a recording was sung."""
    heard = performance.score.setups[FINGERS].with_value("voice.file", "hum.wav")
    for name, value in {"voice.source": "recording", **values}.items():
        heard = heard.with_value(name, value)
    score = dataclasses.replace(performance.score, setups={FINGERS: heard})
    return dataclasses.replace(performance, score=score)


@pytest.mark.parametrize(("coupling", "vowel"), [("on", "a"), ("off", "none")])
def test_the_tongue_of_a_recorded_voice_stays_where_it_acts_on_the_reed(played, coupling, vowel):
    performance, cut = one(played, "near")
    heard = recorded(performance, {"tract.coupling": coupling, "voice.vowel": "a"})
    voice = passage._pair(heard, cut).voice
    assert (voice.source, voice.vowel) == ("pulse", vowel)


@pytest.mark.slow
def test_a_recorded_voice_is_held_as_a_made_one_at_the_pitch_it_has(played, rows):
    performance, cut = one(played, "near")
    # A recording brings its own: none of these is added to it.
    own = {"drive": "flow", "jitter": 0.01, "false_folds": 2, "rd": 0.4}
    heard = recorded(performance, {f"voice.{name}": value for name, value in own.items()})
    (row,) = judge_notes(heard, cuts=[cut])
    assert row.held == rows["near"].held
    assert (row.reached.state, row.reached.ratio) == ("drifting", (5, 2))
    assert row.reached.sung_hz == pytest.approx(PIECES["near"].sung_hz, rel=1e-5)


@pytest.mark.slow
def test_a_passage_is_cut_and_judged_as_it_is_played(tenor):
    # Where the beat starts hangs on the note before: it may be at rest at once, or late.
    passage = Passage(
        tempo=1.0, fingered="Bb2:9 rest:0.5", sung=f"rest:0.5 Bb3:2.5~ {LOCKS:.4f}Hz:6 rest:0.5"
    )
    score = Score(passage, {FINGERS: sung(tenor, Piece(220.0, 1.0))})
    found = judge_notes(perform(score))
    assert [(row.beat, row.beats) for row in found] == [(0.0, 0.5), (0.5, 2.5), (3.0, 6.0)]
    assert [row.reached.ratio for row in found] == [None, (2, 1), (5, 2)]
    assert found[0].reached.state == "unsung"
    assert [row.held.state for row in found[1:]] == ["locked", "locked"]
    for row in found[1:]:
        settled = row.rest_s is not None
        assert row.reached.state == ("locked" if settled else "drifting")
        assert row.reached.reason == (None if settled else Reason.NOT_SETTLED)
    assert found[2].reached.sung_hz == pytest.approx(LOCKS, rel=1e-6)


@pytest.fixture(scope="module")
def by_folds():
    written = Passage(tempo_bpm=60, fingered="Bb2:4", sung="Bb2+40c:2 F3:1 rest:1")
    setup = folded.tenor(time__rate_hz=48e3)
    return judge_notes(perform(Score(written, {Fingered("Bb2", ""): setup})))


def test_notes_sung_by_folds_are_judged_on_the_folds(by_folds):
    # A little above unison the horn takes the folds along; F is too far from 3/2 for that. A clock
    # a quarter tone off unison would drift.
    unison, fifth, silence = by_folds
    assert (unison.reached.state, unison.reached.ratio) == ("locked", (1, 1))
    assert unison.held.state == "locked"
    assert abs(cents(unison.sung_hz, unison.reached.sung_hz)) > 10.0
    assert cents(unison.reached.sung_hz, unison.reached.played_hz) == pytest.approx(0.0, abs=0.1)
    assert fifth.reached.state != "locked"
    assert fifth.reached.sung_hz == pytest.approx(fifth.held.sung_hz, rel=2e-3)
    assert silence.reached.state == "unsung"
    assert silence.reached.reason is None
    assert silence.lungs is None


def test_what_folds_aim_at_is_told_beside_what_they_sing_and_who_follows(by_folds):
    unison, fifth, _ = by_folds
    for row in (unison, fifth):
        assert row.reached.aimed_hz == pytest.approx(row.sung_hz, abs=1e-5)
        pulled = cents(row.reached.sung_hz, row.sung_hz)
        assert row.reached.pulled_cents == pytest.approx(pulled, abs=1e-3)
        # Air passes the folds only where there is more pressure below than in the mouth.
        assert row.lungs > 2400.0
    assert unison.reached.follows in {"voice", "both"}
    assert fifth.reached.follows is None


@pytest.mark.parametrize(("off", "ratio"), [(-59.0, (3, 2)), (-61.0, (7, 5))])
def test_an_aim_is_planned_for_the_just_note_within_sixty_cents(off, ratio):
    sung = 1.5 * B_FLAT * 2.0 ** (off / 1200.0)
    planned = passage._planned(B_FLAT, sung, 1, 440.0, aims=True)
    assert planned.ratio == ratio
    assert passage._planned(B_FLAT, sung, 1, 440.0, aims=False).ratio != (3, 2)
