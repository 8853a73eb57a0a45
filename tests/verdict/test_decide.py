"""The one decision, on made-up looks: which comes first, and where each threshold lies."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from reedbore.notes import choose_ratio, simple_ratios
from reedbore.verdict.decide import (
    Answer,
    answers_of,
    decide,
    decide_all,
    nearest_ratios,
    settle,
    settle_all,
)
from reedbore.verdict.result import NEAR_CENTS, NO_CONTROL, SIMPLE, Control
from reedbore.verdict.state import HornState, Reason, State

HORN_HZ = 100.0
ALONE = Control(HornState.SOUNDING, HORN_HZ, 1, 1000.0, np.zeros(0))
MUTE = replace(ALONE, state=HornState.SILENT, hz=None, period=None)


@dataclass(frozen=True)
class Look:
    """Two notes near 3/2, 2 Hz beside it, and whatever a test changes."""

    burst: bool = False
    brief: bool = False
    alone: Control = ALONE
    sings: bool = True
    voice: tuple[float | None, float] = (151.0, 0.0)
    reed: tuple[float | None, bool] = (HORN_HZ, False)
    mute: tuple[State, str | None] = (State.SILENT, Reason.MUTE)
    why_silent: Reason = Reason.ONLY_VOICE
    why_unsung: Reason | None = None
    why_no_pitch: Reason = Reason.NO_PITCH
    unanswered: State = State.DRIFTING
    exact: bool = True
    few: bool = False
    starts: bool = False
    spectrum: State = State.ROUGH

    def too_few(self, played, ratio):
        assert ratio == (3, 2)
        return self.few

    def starting(self, played):
        return self.starts

    def lines(self, played, sung):
        return self.spectrum


def test_two_notes_beside_a_ratio_are_put_to_the_judge_of_locking():
    found = decide(Look())
    assert found.asks
    assert (found.state, found.ratio, found.drift) == (State.UNDECIDED, (3, 2), -2.0)


# Each line also has all that the lines below it are told by: what stands first is said.
@pytest.mark.parametrize(
    ("changes", "state", "reason"),
    [
        ({"burst": True}, State.FAILED, Reason.DIVERGED),
        ({"brief": True}, State.UNDECIDED, Reason.TOO_SHORT),
        ({"alone": MUTE}, State.SILENT, Reason.MUTE),
        ({"reed": (None, False)}, State.SILENT, Reason.ONLY_VOICE),
        ({"sings": False}, State.UNSUNG, None),
        ({"voice": (None, 0.0)}, State.ROUGH, Reason.NO_PITCH),
        ({"few": True}, State.UNDECIDED, Reason.TOO_SHORT),
    ],
)
def test_what_is_said_first(changes, state, reason):
    order = [
        {"burst": True}, {"brief": True}, {"alone": MUTE}, {"reed": (None, False)},
        {"sings": False}, {"voice": (None, 0.0)}, {"few": True},
    ]  # fmt: skip
    for only in ({}, *order[order.index(changes) + 1 :]):
        found = decide(replace(Look(), **{**only, **changes}))
        assert (found.state, found.reason) == (state, reason)
        assert not found.asks


@pytest.mark.parametrize(
    ("hz", "state"),
    [
        (0.5 * (3.0 * HORN_HZ - 14.9), State.UNDECIDED),  # beats 14.9 times a second
        (0.5 * (3.0 * HORN_HZ - 15.1), State.ROUGH),
    ],
)
def test_a_beat_below_15_hertz_fuses(hz, state):
    # 14.9 Hz of 300 are 88 cents: a horn three octaves higher beats so fast within 20 cents.
    scale = 8.0
    alone = replace(ALONE, hz=scale * HORN_HZ)
    sung = scale * 1.5 * HORN_HZ + (hz - 1.5 * HORN_HZ)
    found = decide(Look(alone=alone, reed=(scale * HORN_HZ, False), voice=(sung, 0.0)))
    assert found.state == state


@pytest.mark.parametrize(("off", "near"), [(19.9, True), (-19.9, True), (20.1, False)])
def test_a_ratio_reaches_20_cents_far(off, near):
    sung = 1.5 * HORN_HZ * 2.0 ** (off / 1200.0)
    assert decide(Look(voice=(sung, 0.0))).asks == near


@pytest.mark.parametrize(
    ("wander", "state", "reason"),
    [
        (15.0, State.UNDECIDED, Reason.UNDECIDED),
        (15.1, State.DRIFTING, "the voice wanders by 15 cents, too much to prove a lock"),
    ],
)
def test_a_voice_that_wanders_more_than_15_cents_proves_no_lock(wander, state, reason):
    found = decide(Look(voice=(151.0, wander)))
    assert (found.state, found.reason) == (state, reason)
    assert found.asks == (state == State.UNDECIDED)


def test_a_line_that_starts_is_not_called_rough():
    far = Look(voice=(137.0, 0.0), spectrum=State.IRREGULAR)
    assert decide(far).state == State.IRREGULAR
    found = decide(replace(far, starts=True))
    assert (found.state, found.reason, found.sung) == (State.UNDECIDED, Reason.STARTING, None)


# --- the answer ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "state", "reason", "drift"),
    [
        (Answer(True, 1.0), State.LOCKED, None, 0.0),
        (Answer(True, 1.0, reason="late"), State.LOCKED, "late", 0.0),
        (Answer(False, 1.0), State.DRIFTING, None, 1.0),
        (Answer(False, 1.0, reason="folds"), State.DRIFTING, "folds", 1.0),
        (Answer(False, -14.9), State.DRIFTING, None, -14.9),
        # Beats that fast are no approach: they kept step when they were looked at, and left later.
        (Answer(False, -15.1), State.DRIFTING, Reason.PARTS, None),
        (Answer(False, 1.0, False, "folds"), State.DRIFTING, Reason.UNDECIDED, 1.0),
        (None, State.FAILED, Reason.DIVERGED, None),
    ],
)
def test_an_answer_settles_it(answer, state, reason, drift):
    found = settle(Look(), decide(Look()), answer)
    assert (found.state, found.reason, found.drift) == (state, reason, drift)
    assert not found.asks


def test_what_no_watch_tells_is_named_as_its_caller_does():
    look = Look(unanswered=State.UNDECIDED)
    assert settle(look, decide(look), Answer(False, 0.1, False)).state == State.UNDECIDED


@pytest.mark.parametrize(
    ("period", "state", "drift"),
    [(None, State.LOCKED, 0.0), (1, State.LOCKED, 0.0), (2, State.DRIFTING, -2.0)],
)
def test_a_subharmonic_of_the_horns_own_is_not_credited_to_the_voice(period, state, drift):
    look = Look(alone=replace(ALONE, period=period))
    found = settle(look, decide(look), Answer(True, 0.0))
    assert (found.state, found.drift) == (state, drift)
    if state == State.DRIFTING:
        assert found.reason == "the horn repeats every 2 periods without a voice"


@pytest.mark.parametrize(("exact", "played"), [(True, 151.0 * 2.0 / 3.0), (False, HORN_HZ)])
def test_a_proven_lock_gives_the_played_pitch_exactly(exact, played):
    look = Look(exact=exact)
    assert settle(look, decide(look), Answer(True, 0.0)).played == played


def test_a_run_that_diverged_says_nothing_of_the_horn_alone():
    assert decide(Look(burst=True, alone=NO_CONTROL)).played is None


# --- many at once ---------------------------------------------------------------------------------


class Looks:
    """Several looks, seen as many."""

    exact = True
    unanswered = State.DRIFTING

    def __init__(self, looks):
        self.looks, self.count = looks, len(looks)

    def each(self, at, value, dtype=np.float64):
        return np.array([value(self.looks[k]) for k in at], dtype)

    def burst(self, at):
        return self.each(at, lambda look: look.burst, bool)

    def brief(self, at):
        return self.each(at, lambda look: look.brief, bool)

    def alone_hz(self, at):
        return self.each(at, lambda look: look.alone.hz)

    def period(self, at):
        return self.each(at, lambda look: look.alone.period or 0, int)

    def sings(self, at):
        return self.each(at, lambda look: look.sings, bool)

    def voice(self, at):
        return tuple(self.each(at, lambda look: look.voice).reshape(-1, 2).T)

    def reed(self, at):
        hz, jumped = self.each(at, lambda look: look.reed).reshape(-1, 2).T
        return hz, jumped > 0.0

    def mute(self, at):
        codes = self.each(at, lambda look: look.mute[0].code, int)
        return codes, self.each(at, lambda look: look.mute[1], object)

    def why(self, what, at):
        return self.each(at, lambda look: getattr(look, what), object)

    def too_few(self, at, played, p, q):
        return self.each(at, lambda look: look.few, bool)

    def starting(self, at, played):
        return self.each(at, lambda look: look.starts, bool)

    def lines(self, at, played, sung):
        return self.each(at, lambda look: look.spectrum.code, int)


EACH = [
    {"burst": True}, {"brief": True}, {"alone": MUTE}, {"reed": (None, False)}, {"sings": False},
    {"voice": (None, 0.0)}, {"few": True}, {"voice": (137.0, 0.0)}, {"voice": (151.0, 20.0)},
    {"voice": (137.0, 20.0)}, {"starts": True, "voice": (137.0, 0.0)}, {"reed": (99.5, True)},
    {"spectrum": State.IRREGULAR, "voice": (137.0, 0.0)}, {},
    {"alone": replace(ALONE, period=2)}, {"alone": replace(ALONE, period=None)},
]  # fmt: skip
ANSWERS = [
    Answer(True, 1.0), Answer(True, 1.0, reason="late"), Answer(False, -14.9), None,
    Answer(False, -15.1), Answer(False, 1.0, False, "folds"),
]  # fmt: skip


def test_many_looks_are_decided_as_each_alone():
    looks = [replace(Look(), **{**one, **two}) for one in EACH for two in EACH]
    looks = [look for look in looks if not (look.few and look.voice[0] == 137.0)]
    seen = Looks(looks)
    found = decide_all(seen)
    alone = [decide(look) for look in looks]
    assert [found.one(k) for k in range(seen.count)] == alone
    assert {one.state for one in alone} >= {
        State.FAILED, State.UNDECIDED, State.SILENT, State.UNSUNG, State.ROUGH, State.IRREGULAR,
        State.DRIFTING,
    }  # fmt: skip
    at = np.flatnonzero(found.asks)
    assert [one.asks for one in alone] == found.asks.tolist()
    answers = [ANSWERS[k % len(ANSWERS)] for k in range(at.size)]
    settle_all(seen, found, at, answers_of(answers))
    for k, answer in zip(at.tolist(), answers, strict=True):
        assert found.one(k) == settle(looks[k], alone[k], answer)


def test_ratios_of_many_are_those_of_each():
    # A hair on either side of where another ratio is chosen, and all between.
    sizes = [1200.0 * np.log2(p / q) for p, q in simple_ratios(SIMPLE)]
    ends = np.array([size + way * NEAR_CENTS for size in sizes for way in (-1.0, 1.0)])
    tried = np.concatenate((ends - 1e-6, ends + 1e-6, np.linspace(-3700.0, 3700.0, 4001)))
    ratios = 2.0 ** (tried / 1200.0)
    found = list(zip(*(column.tolist() for column in nearest_ratios(ratios)), strict=True))
    assert found == [choose_ratio(one, NEAR_CENTS, SIMPLE) or (0, 0) for one in ratios.tolist()]
