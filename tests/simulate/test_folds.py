"""Folds that sing an aim: what is solved for them, what is refused, and what is kept of it."""

import math
import subprocess
import sys
from pathlib import Path

import folded
import naive_folds
import numba
import numpy as np
import pytest

from reedbore import files
from reedbore.errors import ModelError
from reedbore.kernel import folds as rows
from reedbore.kernel.folds import sing_into_leak, singer_of
from reedbore.simulate import folds
from reedbore.simulate.acoustics.singer_airway import FAST_S
from reedbore.simulate.folds import RUN_S, folds_of, mean_flow, reachable, singing, solve
from reedbore.simulate.tuning import sources

long_run = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="takes minutes uncompiled")
RATE = 96e3


def aimed(hz=116.54, **voice):
    """The tenor, and what is aimed at."""
    changes = {f"voice__{name}": value for name, value in voice.items()}
    return folded.tenor(time__rate_hz=RATE, voice__frequency_hz=hz, **changes)


def leaked(singer):
    """Cents of the note sung into the leak against 1 Hz, and peak pressure there [Pa]."""
    late = slice(round(FAST_S * RATE), None)
    swing = sing_into_leak(singer)[late]
    swing = swing - swing.mean()
    hz = naive_folds.pitch(singer.half_gap[late], RATE)
    return 1200.0 * np.log2(hz), float(np.abs(swing).max())


# --- what is solved ------------------------------------------------------------------------------


class Late:
    """Folds whose note jumps over the aim, and whose lungs come by halves to what tension asks."""

    def __init__(self, jump, follows):
        self.jump, self.follows, self.lungs = jump, follows, 1500.0

    def sung(self, tension):
        beside = tension + 228.0
        wanted = 1530.0 + 8.0 * beside
        self.lungs += self.follows * (wanted - self.lungs)
        off = 1.5 * beside + math.copysign(self.jump, beside) + 0.1 * (self.lungs - wanted)
        return folds._Note(off, 0.3, self.lungs)


@pytest.mark.parametrize(("jump", "follows"), [(0.0, 0.5), (0.5, 0.5), (0.8, 0.8)])
def test_an_aim_is_found_where_lungs_follow_late(jump, follows):
    late = Late(jump, follows)
    low, high = ((tension, late.sung(tension)) for tension in (-300.0, -200.0))
    tension, note = folds._closed_in(late, low, high)
    assert abs(tension + 228.0) < 1.0
    assert abs(note.cents) < folds.JUMP_CENTS


@long_run
@pytest.mark.parametrize(
    ("hz", "depth", "vowel"),
    [(116.54, 0.1, "none"), (116.54, 0.25, "none"), (171.43, 0.1, "none"), (155.6, 0.1, "a")],
)
def test_solved_folds_sing_their_aim_as_softly_as_asked_for(hz, depth, vowel):
    # Definition of the aim: what the same folds sing into a steady leak, their lungs settled for
    # as long as it takes. Within a cent: folds that meet between two steps jump by so much.
    setup = aimed(hz, depth=depth, vowel=vowel)
    for seconds in (RUN_S, 3.0 * RUN_S):
        found, peak = leaked(singing(setup, round(seconds * RATE)))
        assert found == pytest.approx(1200.0 * np.log2(hz), abs=1.0)
        assert peak / setup.breath.pressure == pytest.approx(depth, rel=0.04)
    assert solve(setup).depth == pytest.approx(depth, rel=0.03)


@long_run
def test_lungs_of_solved_folds_have_settled():
    # Lungs that were still on their way made the aim 4 to 30 cents wrong.
    setup = aimed(depth=0.25)
    singer = singing(setup, round(3.0 * RATE))
    sing_into_leak(singer)
    assert singer.lungs[-1] == pytest.approx(solve(setup).lungs, rel=0.02)


@long_run
@pytest.mark.parametrize("cents", [-130.0, -35.0, 10.0, 75.0, 160.0])
def test_what_a_pull_says_is_what_is_sung(cents):
    # Tension between two tried ones is interpolated: within a cent and a half, for each may jump.
    setup, steps = aimed(), round(RUN_S * RATE)
    pulled, _ = leaked(singing(setup, steps, cents))
    assert pulled - 1200.0 * np.log2(116.54) == pytest.approx(cents, abs=1.5)
    more = solve(setup).pull(cents)
    assert singing(setup, 1, cents).tension[0] == pytest.approx(2.0 ** (more / 600.0), rel=1e-12)
    assert abs(more - cents) < 0.3 * abs(cents)


@long_run
def test_pull_of_the_aim_may_move_within_a_run():
    setup, steps = aimed(), round(RUN_S * RATE)
    glide = np.linspace(-100.0, 100.0, steps)
    tension = singing(setup, steps, glide).tension
    assert tension[0] == singing(setup, 1, -100.0).tension[0]
    assert tension[-1] == singing(setup, 1, 100.0).tension[0]
    assert (np.diff(tension) > 0.0).all()


@long_run
def test_slope_is_that_of_pitch_against_tension():
    setup = aimed()
    found = solve(setup)
    up, down = (
        leaked(singer_of(folds_of(setup, found._replace(tension=found.tension + more)), *ones()))[0]
        for more in (20.0, -20.0)
    )
    assert found.slope == pytest.approx((up - down) / 40.0, abs=0.03)


def ones():
    """Muscles that do nothing more."""
    return np.ones(round(RUN_S * RATE)), np.ones(round(RUN_S * RATE))


def test_gap_goes_with_the_flow_that_the_horn_takes():
    # So that the same singer has the same pressure across the folds on any horn: 0.3 mm where
    # 0.35 l/s flow.
    setup = aimed(gap_mm=0.3)
    assert 2.0 * folds.fold_of(setup, 0.35e-3).gap == pytest.approx(0.3e-3)
    assert folds.fold_of(setup, 0.07e-3).gap == pytest.approx(0.03e-3)
    table = folds_of(setup, folded.set_to(flow=0.175e-3)).table
    assert table[rows.REST] == pytest.approx(0.075e-3)


@long_run
def test_mean_flow_is_what_the_tenor_takes():
    # Computed beside the literature on locks: 0.33 to 0.37 l/s for the tenor at its usual breath.
    assert 0.33e-3 < mean_flow(aimed()) < 0.37e-3
    assert mean_flow(aimed()) == mean_flow(aimed(174.8, depth=0.3))


@long_run
def test_voice_that_is_off_has_folds_held_still():
    singer = singing(aimed(source="off"), 100)
    assert singer.numbers[rows.FREE, 0] == 0.0
    assert singing(aimed(), 100).numbers[rows.FREE, 0] == 1.0


# --- what is refused -----------------------------------------------------------------------------


@long_run
@pytest.mark.parametrize(("depth", "reached"), [(0.005, False), (0.02, True), (0.25, True)])
def test_soft_and_loud_ends_of_the_depth_are_told(depth, reached):
    if reached:
        assert solve(aimed(depth=depth)).depth == pytest.approx(depth, rel=0.03)
        return
    says = r"^voice\.depth is 0\.005; these folds sing Bb2 over this horn with 0\.01 to 0\.26$"
    with pytest.raises(ModelError, match=says):
        solve(aimed(depth=depth))


@long_run
@pytest.mark.parametrize(
    ("asked", "nearest"),
    [pytest.param(0.005, 0.01, marks=pytest.mark.ci), (0.1, 0.1), (0.35, 0.26)],
)
def test_nearest_depth_that_folds_reach_is_found(asked, nearest):
    found = reachable(aimed(depth=asked))
    assert found.voice.depth == pytest.approx(nearest, abs=0.005)
    assert solve(found).depth == pytest.approx(found.voice.depth, rel=0.03)


@long_run
def test_depth_beyond_the_loudest_voice_is_refused():
    with pytest.raises(ModelError, match=r"^voice\.depth is 0\.35; .* with 0\.01 to 0\.26$"):
        solve(aimed(depth=0.35))


@long_run
def test_note_that_no_tension_sings_is_refused():
    # So wide a gap leaves hardly any pressure across the folds: they are below their threshold.
    says = r"^voice\.frequency_hz is 392\.0 \(G4\), which these folds do not sing .* 1\.2; narrower"
    with pytest.raises(ModelError, match=says):
        solve(aimed(392.0, gap_mm=1.2))
    assert solve(aimed(392.0, gap_mm=0.3)).lungs > 1000.0


# --- what is kept --------------------------------------------------------------------------------

LOADED = """
import sys
from pathlib import Path
from reedbore.model.presets import load_horn
import reedbore.simulate.take
print(*(m.__file__ for n, m in sys.modules.items() if n.startswith("reedbore.")), sep="\\n")
"""


def test_kept_folds_are_named_after_all_the_code_that_they_depend_on():
    # Every module that a run needs, but for what only reads files, says sentences or makes sound.
    run = subprocess.run([sys.executable, "-c", LOADED], capture_output=True, text=True, check=True)
    loaded = {Path(line) for line in run.stdout.split()}
    rooms = ("kernel", "physics", "simulate/acoustics", "simulate/folds.py", "simulate/tuning.py")
    needed = {
        path for path in loaded if any(path.is_relative_to(files.PACKAGE / room) for room in rooms)
    }
    assert needed
    assert needed <= set(sources())


@long_run
def test_solved_folds_are_found_again_and_forgotten_with_other_code(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    setup, solved = aimed(depth=0.123), []

    def solving(which):
        solved.append(which)
        return folded.set_to()

    monkeypatch.setattr(folds, "_solve", solving)
    for _ in range(2):
        folds._solved.cache_clear()
        assert solve(setup) == folded.set_to()
    assert len(solved) == 1
    code = tmp_path / "edited.py"
    code.write_text("another formula")
    monkeypatch.setattr(folds, "sources", lambda: [code])
    folds._solved.cache_clear()
    assert solve(setup) == folded.set_to()
    assert len(solved) == 2
    folds._solved.cache_clear()
