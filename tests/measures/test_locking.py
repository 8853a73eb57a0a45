"""The judge of locking against textbook oscillators whose lock ranges are known exactly."""

import math
from collections.abc import Iterator

import numba
import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from winding import winding_number

from reedbore.measures import locking, pitch
from reedbore.measures.locking import Course

CENT = math.log(2.0) / 1200.0
B_FLAT = 116.54  # [Hz], Bb2 in equal temperament on A4 = 440 Hz


def lock_range(observe, inside, **bounds):
    low, high = locking.answer(locking.lock_range(inside, **bounds), observe)
    return low.inside, high.inside


def decide(observe, *where):
    return locking.answer(locking.decide(*where), observe)


def watch(observe, *where, **bounds):
    return locking.answer(locking.watch(*where, **bounds), observe)


def adler_phase(
    detuning: float, strength: float, times: NDArray[np.float64], start: float = 1.0
) -> NDArray[np.float64]:
    """Phase [rad] of dφ/dt = Δω − Δω_L sin φ by fourth-order Runge-Kutta steps.

    R. Adler, "A study of locking phenomena in oscillators," Proc. IRE 34, 351-357, 1946, eq. 10.
    """
    step = times[1] - times[0]
    phase = np.empty(times.size)
    phase[0] = now = start
    for n in range(1, times.size):
        k1 = detuning - strength * math.sin(now)
        k2 = detuning - strength * math.sin(now + 0.5 * step * k1)
        k3 = detuning - strength * math.sin(now + 0.5 * step * k2)
        k4 = detuning - strength * math.sin(now + step * k3)
        now += step * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
        phase[n] = now
    return phase


def adler(half_range: float, off: float = 0.0, hz: float = B_FLAT, start: float = 1.0):
    """An oscillator at `hz` that locks within `half_range` cents; the other is `off` cents high."""

    def observe(detuning: float, seconds: float) -> Course:
        times = np.arange(0.0, seconds, 0.02)
        radians = 2.0 * math.pi * hz * CENT
        phase = adler_phase(radians * (off + detuning), radians * half_range, times, start)
        return Course(times, -phase / (2.0 * math.pi), hz)

    return observe


def circle_map(omega: float, k: float, beats: int, start: float = 0.1) -> Iterator[float]:
    """Lifted phases of θ' = θ + Ω − (K/2π) sin 2πθ."""
    theta = start
    for _ in range(beats):
        yield theta
        theta += omega - k / (2.0 * math.pi) * math.sin(2.0 * math.pi * theta)


def tongue(k: float, p: int, q: int, hz: float = 100.0):
    """Observer of the p/q tongue of the circle map, kicked `hz` times a second.

    A slip there is 1/q of a turn: the course counts slips.
    """

    def observe(detuning: float, seconds: float) -> Course:
        beats = int(seconds * hz)
        # Ω of the 0/1 tongue counts from one turn a beat, which the map does not see.
        omega = (p / q or 1.0) * math.exp(detuning * CENT) - (0.0 if p else 1.0)
        theta = np.fromiter(circle_map(omega, k, beats), float, beats)
        order = np.arange(beats)
        return Course(order / hz, q * theta - order * p, hz * (p or 1))

    return observe


@pytest.mark.parametrize("ratio", [1.01, 1.1, 1.25, 2.0])
def test_the_drift_outside_an_adler_lock_is_the_published_beat(ratio):
    # Adler 1946: mean beat √(Δω² − Δω_L²), that is 0.75 and 1.73205 at ratios 1.25 and 2.
    strength = 2.0 * math.pi
    beat = math.sqrt(ratio**2 - 1.0)
    times = np.arange(0.0, 40.0 / beat, 2e-3)
    phase = adler_phase(ratio * strength, strength, times)
    found = locking.drift(Course(times, phase / (2.0 * math.pi), B_FLAT))
    assert found.state == "slips"
    assert found.hz == pytest.approx(beat, rel=0.02)
    turns = (phase - phase[0]) / (2.0 * math.pi)
    whole = np.searchsorted(turns, [5.0, 25.0])
    assert 20.0 / np.diff(times[whole])[0] == pytest.approx(beat, rel=5e-3)


# --- thresholds, on either side ------------------------------------------------------------------


@pytest.mark.parametrize(("half_range", "locked"), [(0.08, False), (0.09, False), (0.12, True)])
def test_a_lock_must_reach_a_tenth_of_a_cent_either_way(half_range, locked):
    assert decide(adler(half_range, hz=4000.0)).locked == locked


def even(hz: float, seconds: float = 10.0) -> Course:
    times = np.arange(0.0, seconds, 0.02)
    return Course(times, hz * times, B_FLAT)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize(("share", "state"), [(0.095, "follows"), (0.105, "undecided")])
def test_a_course_is_still_below_a_tenth_of_what_the_pull_makes_of_it(share, state, way):
    pulled = B_FLAT * (2.0 ** (0.1 / 1200.0) - 1.0)  # [Hz]
    assert locking.drift(even(way * share * pulled)).state == state


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize(("cycles", "state"), [(0.24, "undecided"), (0.26, "slips")])
def test_an_even_drift_slips_after_a_quarter_of_a_cycle(cycles, state, way):
    # A course is looked at without its first quarter, in which the oscillation starts.
    assert locking.drift(even(way * cycles / 7.5)).state == state


@pytest.mark.parametrize(("points", "state"), [(0, "undecided"), (11, "undecided"), (12, "slips")])
def test_a_course_of_fewer_than_twelve_points_shows_no_drift(points, state):
    course = Course(np.arange(points) / 10.0, np.arange(points) / 10.0, B_FLAT)
    found = locking.drift(course)
    assert found.state == state
    assert math.isnan(found.hz) == (state == "undecided")


def test_a_search_in_a_time_that_shows_no_drift_finds_no_lock():
    asked = []

    def short(detuning, _seconds):
        asked.append(detuning)
        return Course(np.arange(3.0), np.arange(3.0), B_FLAT)

    found = locking.answer(locking.find_inside(bounded=1.0), short)
    assert found == (None, -math.inf, math.inf)
    assert asked == [0.0]  # nor would it find one by asking again
    assert watch(short, 0.0, bounded=10.0).state == "undecided"
    assert not decide(short).decided


def test_a_course_is_looked_at_without_its_first_quarter():
    course = Course(np.arange(13.0), np.arange(13.0), B_FLAT)
    assert locking.drift(course).way == 9.0


def in_thirds(*slopes: float) -> Course:
    """Ten seconds whose last three quarters drift at three speeds [Hz], one after the other."""
    times = np.arange(500) * 0.02
    steps = np.repeat((slopes[0], *slopes), 125) * 0.02
    return Course(times, np.cumsum(steps), B_FLAT)


# In pairs, on either side: the last speed is less than 0.3 of the first; first · last is the square
# of the middle one, to a fifth; a quarter of the time at the last speed leads on by less than 0.02
# cycles; the course went through less than 0.8.
@pytest.mark.parametrize(
    ("slopes", "state"),
    [
        ((0.02, 0.0108, 0.0058), "follows"),
        ((0.02, 0.0111, 0.0062), "undecided"),
        ((0.02, 0.008, 1.19 * 0.0032), "follows"),
        ((0.02, 0.008, 1.21 * 0.0032), "undecided"),
        ((0.02, 0.008, 0.81 * 0.0032), "follows"),
        ((0.02, 0.008, 0.79 * 0.0032), "undecided"),
        ((0.032, 0.016, 0.0079), "follows"),
        ((0.032, 0.016, 0.0081), "undecided"),
        ((0.265, 0.043, 0.007), "follows"),
        ((0.275, 0.044, 0.007), "undecided"),
    ],
)
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_course_that_dies_geometrically_follows_before_it_rests(slopes, state, way):
    assert locking.drift(in_thirds(*(way * slope for slope in slopes))).state == state


@pytest.mark.parametrize(("left", "slows"), [(0.84, True), (0.86, False)])
def test_a_course_slows_if_less_than_85_percent_of_its_speed_is_left(left, slows):
    assert locking.drift(in_thirds(0.02, 0.02, left * 0.02)).slows == slows


# --- the search for a lock -----------------------------------------------------------------------


def slips_beside(place: float, hz: float = 1.0):
    """An oscillator that locks nowhere: it slips evenly, one way below a detuning, else above."""
    asked = []

    def observe(detuning: float, seconds: float) -> Course:
        asked.append(detuning)
        times = np.arange(0.0, seconds, 0.02)
        return Course(times, math.copysign(hz, place - detuning) * times, B_FLAT)

    return observe, asked


@pytest.mark.parametrize("off", [25.0, -25.0])
def test_a_lock_some_way_from_the_start_is_found(off):
    inside, low, high = locking.answer(locking.find_inside(), adler(1.0, -off))
    assert low < off - 1.0 < inside < off + 1.0 < high


def test_a_search_that_has_closed_in_ends():
    # Bisection halves what is left: it ends with the first that is finer than was asked for.
    observe, _ = slips_beside(3.3)
    inside, low, high = locking.answer(locking.find_inside(finest=0.05), observe)
    assert inside is None
    assert low <= 3.3 <= high
    assert 0.025 <= high - low < 0.05


def test_a_search_goes_no_farther_than_told():
    observe, asked = slips_beside(1000.0)
    found = locking.answer(locking.find_inside(reach=40.0), observe)
    assert found == (None, asked[-1], math.inf)
    # A beat of 1 Hz is worth 14.9 cents at this note.
    assert asked == pytest.approx([0.0, 14.86, 29.71], abs=0.01)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_search_moves_by_half_of_the_finest_at_least(way):
    search = locking.find_inside(finest=0.05)
    assert next(search).detuning == 0.0
    slow = locking.Drift(locking.Keeps.SLIPS, way * 1e-6, 1.0, slows=False, kept_hz=B_FLAT)
    assert search.send(slow).detuning == pytest.approx(way * 0.025)


# --- edges ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("half_range", [0.5, 2.0, 7.3, 40.0])
def test_both_edges_of_an_adler_lock_are_found(half_range):
    low, high = lock_range(adler(half_range), 0.0)
    margin = max(0.1, 0.01 * half_range)
    assert low == pytest.approx(-half_range, abs=margin)
    assert high == pytest.approx(half_range, abs=margin)


def test_the_edges_are_found_from_any_locked_start():
    low, high = lock_range(adler(3.0, off=2.0), -1.0, fineness=0.02)
    assert low == pytest.approx(-5.0, abs=0.05)
    assert high == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("half_range", [0.3, 0.6, 1.5])
@pytest.mark.parametrize("start", [2.6, -2.6, 3.0, -3.0])
@pytest.mark.parametrize("share", [0.6, -0.6, 0.9, -0.9])
def test_what_is_not_yet_decided_bounds_no_lock(half_range, start, share):
    # Near the unstable phase a course that will follow drifts for a while, faster and faster.
    off = share * half_range
    inside, low, high = locking.answer(locking.find_inside(), adler(half_range, off, start=start))
    assert low < -half_range - off < inside < half_range - off < high


@pytest.mark.parametrize("off_edge", [0.0, 0.004, -0.004])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_an_edge_near_a_detuning_that_tells_nothing_is_sought_on_both_sides_of_it(off_edge, way):
    # Adler 1946: near the edge a phase needs minutes to come to rest, or to slip.
    edge = 0.5 + off_edge
    found = locking.answer(locking.edge(0.0, way, way, longest=60.0), adler(edge))
    inside, outside = way * found.inside, way * found.outside
    assert 0.4 < inside <= edge + 0.005
    assert edge < outside < 0.7


def test_the_search_for_edges_goes_no_farther_than_told():
    low, high = lock_range(adler(500.0), 0.0, farthest=30.0, fineness=0.1)
    assert -30.0 <= low < -29.8
    assert 29.8 < high <= 30.0


def test_an_edge_is_found_in_a_signal_that_follows_adlers_equation():
    rate, hz, half_range = 2000.0, B_FLAT, 1.5

    def observe(detuning: float, seconds: float) -> Course:
        coarse = np.arange(0.0, seconds + 0.02, 0.02)
        radians = 2.0 * math.pi * hz * CENT
        slow = adler_phase(radians * detuning, radians * half_range, coarse)
        times = np.arange(0.0, seconds, 1.0 / rate)
        turned = 2.0 * math.pi * hz * (1.0 + detuning * CENT) * times
        wave = np.cos(turned - np.interp(times, coarse, slow))
        track = pitch.phase_track(wave, rate, hz * math.exp(detuning * CENT), 20.0)
        return Course(track.times, track.cycles, hz)

    low, high = lock_range(observe, 0.0, fineness=0.05)
    assert low == pytest.approx(-half_range, abs=0.1)
    assert high == pytest.approx(half_range, abs=0.1)


@pytest.mark.parametrize("off", [0.0, 0.1, -0.1])
@pytest.mark.parametrize("start", [0.0, 1.0, -2.0])
def test_a_true_lock_of_a_third_of_a_cent_is_locked(off, start):
    found = decide(adler(0.3, off, start=start))
    assert (found.locked, found.decided) == (True, True)
    assert abs(found.drift_hz) < 0.01


@pytest.mark.parametrize("off", [1.0, -1.0, 0.6])
def test_a_near_miss_is_not_locked_and_its_beat_is_told(off):
    found = decide(adler(0.3, off))
    beat = B_FLAT * CENT * math.copysign(math.sqrt(off**2 - 0.09), off)
    assert (found.locked, found.decided) == (False, True)
    assert found.drift_hz == pytest.approx(-beat, rel=0.03)


def test_pulling_on_takes_the_voice_out_of_a_lock_narrower_than_the_pull():
    found = decide(adler(0.05))
    assert not found.locked


@pytest.mark.parametrize("nearness", [0.5, 0.9, 0.97])
def test_slow_relaxation_near_an_edge_is_not_called_a_slip(nearness):
    # Adler 1946: the phase comes to rest with the rate √(Δω_L² − Δω²): slowly near the edge.
    for half_range in (0.3, 1.0, 4.0):
        for start in (0.0, 2.5, -2.5):
            observe = adler(half_range, nearness * half_range, start=start)
            assert watch(observe, 0.0).state != "slips"


@settings(max_examples=60)
@example(half_range=0.3, ratio=0.0, hz=116.54, start=1.0)
@given(
    half_range=st.floats(0.12, 20.0),
    ratio=st.floats(-3.0, 3.0),
    hz=st.floats(40.0, 500.0),
    start=st.floats(-2.6, 2.6),
)
def test_what_is_decided_about_an_adler_oscillator_is_right(half_range, ratio, hz, start):
    off = ratio * half_range
    reach = abs(off) + locking.PULL_CENTS
    assume(abs(reach - half_range) > max(0.03 * half_range, 0.03))
    found = decide(adler(half_range, off, hz, start))
    if found.decided:
        assert found.locked == (reach < half_range)


def test_two_oscillators_tuned_exactly_a_fifth_apart_are_not_locked():
    rate, fingered = 2000.0, B_FLAT

    def observe(detuning: float, seconds: float) -> Course:
        times = np.arange(0.0, seconds, 1.0 / rate)
        sung = 1.5 * fingered * math.exp(detuning * CENT)
        track = pitch.phase_track(np.sin(2.0 * math.pi * fingered * times), rate, sung / 1.5, 20.0)
        return Course(track.times, track.cycles, sung / 1.5)

    assert watch(observe, 0.0).state == "follows"
    found = decide(observe)
    assert (found.locked, found.decided) == (False, True)
    assert found.drift_hz == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("k", [0.05, 0.5])
def test_the_widest_tongue_of_the_circle_map_has_its_exact_edges(k):
    # Fixed points θ' = θ need |Ω| ≤ K/2π (V. I. Arnold, Amer. Math. Soc. Transl. 46, 213, 1965;
    # M. H. Jensen, P. Bak and T. Bohr, Phys. Rev. A 30, 1960, 1984; from memory).
    edge = k / (2.0 * math.pi)
    assert edge == pytest.approx(0.0795775 * k / 0.5, abs=1e-6)
    low, high = lock_range(tongue(k, 0, 1), 0.0, farthest=300.0, fineness=0.05)
    assert low == pytest.approx(math.log(1.0 - edge) / CENT, abs=0.1)
    assert high == pytest.approx(math.log(1.0 + edge) / CENT, abs=0.1)


@pytest.mark.parametrize(("k", "tolerance"), [(0.1, 0.03), (0.25, 0.03)])
def test_the_half_tongue_widens_with_the_square_of_the_coupling(k, tolerance):
    # To second order in K the width in Ω is K²/4π (Jensen, Bak and Bohr 1984; from memory).
    low, high = lock_range(tongue(k, 1, 2), 0.0, fineness=0.005)
    width = 0.5 * (math.exp(high * CENT) - math.exp(low * CENT))
    assert width == pytest.approx(k**2 / (4.0 * math.pi), rel=tolerance)


def test_the_half_tongue_is_locked_inside_and_not_outside():
    # Edges .490251 and .509749 at K = 0.5: own calculation on the twice iterated map.
    low, high = (math.log(2.0 * edge) / CENT for edge in (0.490251, 0.509749))
    observe = tongue(0.5, 1, 2)
    for inside in (low + 0.5, 0.0, high - 0.5):
        assert decide(observe, inside).locked
    for outside in (low - 0.5, high + 0.5):
        found = decide(observe, outside)
        assert (found.locked, found.decided) == (False, True)


def test_the_winding_number_converges_far_faster_than_the_mean():
    # Das, Saiki, Sander and Yorke, Nonlinearity 30, 4111, 2017: the method. The figure is an own
    # calculation, held against the bound |θ_n − θ_0 − nW| < 1 of every invertible circle map.
    theta = np.fromiter(circle_map(0.3, 0.5, 200_001), float, 200_001)
    winding = winding_number(np.diff(theta[:20_001]))
    assert winding == pytest.approx(0.2927398244, abs=1e-9)
    assert abs(theta[-1] - theta[0] - 200_000 * winding) < 1.0
    assert abs((theta[20_000] - theta[0]) / 20_000 - winding) > 1e-8


def test_the_winding_number_never_falls_as_the_detuning_rises():
    # Arnold 1965 (from memory): W(Ω) is a devil's staircase, monotone for K ≤ 1; the widest step
    # between 1/3 and 1/2 is their Farey mediant 2/5.
    omega = np.linspace(0.3, 0.55, 2000)
    turns = np.empty((2000, omega.size))
    theta = np.zeros(omega.size)
    for n in range(-500, 2000):
        turn = omega - 0.9 / (2.0 * math.pi) * np.sin(2.0 * math.pi * theta)
        theta += turn
        if n >= 0:
            turns[n] = turn
    winding = np.array([winding_number(column) for column in turns.T])
    assert np.diff(winding).min() > -1e-4
    between = (winding > 1.0 / 3.0 + 1e-3) & (winding < 0.5 - 1e-3)
    widths = {
        (p, q): int(np.sum(np.abs(winding[between] - p / q) < 1e-6))
        for q in range(2, 13)
        for p in range(1, q)
        if math.gcd(p, q) == 1
    }
    assert max(widths, key=widths.__getitem__) == (2, 5)
    assert widths[2, 5] > 2 * widths[3, 8] > 0


@pytest.mark.parametrize("beats", [1, 2, 3, 4, 8])
def test_the_period_of_a_repeating_signal_is_found(beats):
    rate, hz = 12000.0, 100.0
    times = np.arange(0.0, 1.0, 1.0 / rate)
    slow = 0.2 * np.cos(2.0 * math.pi * hz / beats * times) if beats > 1 else 0.0
    wave = np.sin(2.0 * math.pi * hz * times) + slow
    assert locking.period(locking.strobe(wave, rate, hz)) == beats


def test_a_signal_that_never_repeats_has_no_period():
    rate, hz = 12000.0, 100.0
    times = np.arange(0.0, 1.0, 1.0 / rate)
    golden = 0.5 * (math.sqrt(5.0) - 1.0)
    wave = np.sin(2.0 * math.pi * hz * times) + 0.3 * np.sin(2.0 * math.pi * hz * golden * times)
    assert locking.period(locking.strobe(wave, rate, hz)) is None


def test_a_constant_repeats_at_every_beat():
    assert locking.period(np.ones((20, 16))) == 1


def logistic(parameter: float) -> NDArray[np.float64]:
    x, orbit = 0.3, []
    for n in range(3000):
        x = parameter * x * (1.0 - x)
        if n >= 2900:
            orbit.append([x])
    return np.array(orbit)


@pytest.mark.parametrize(
    ("parameter", "beats"), [(3.2, 2), (3.5, 4), (3.55, 8), (3.83, 3), (3.9, None)]
)
def test_the_period_doublings_of_the_logistic_map_are_counted(parameter, beats):
    # R. M. May, Nature 261, 459-467, 1976: periods 2, 4, 8, then chaos; period 3 near 3.83.
    assert locking.period(logistic(parameter)) == beats


def test_strobed_values_lie_at_equal_phases():
    rate, hz = 9000.0, 97.3
    times = np.arange(4000) / rate
    states = locking.strobe(np.sin(2.0 * math.pi * hz * times), rate, hz, phases=8)
    expected = np.sin(2.0 * math.pi * np.arange(8) / 8)
    assert states.shape[0] == int(3998 * hz / rate)
    assert np.abs(states - expected).max() < 2e-3


@pytest.mark.parametrize(
    ("swing", "bounded", "state"),
    [(0.12, 0.25, "follows"), (0.13, 0.25, "undecided"), (0.12, 0.0, "undecided")],
)
def test_what_wobbles_on_follows_if_it_stays_within_what_was_told(swing, bounded, state):
    def observe(detuning: float, seconds: float) -> Course:
        times = np.arange(0.0, seconds, 0.02)
        return Course(times, swing * np.sin(times) ** 3, B_FLAT)

    assert watch(observe, 0.0, 24.0, bounded=bounded).state == state


def test_the_bound_on_watching_is_kept():
    asked = []

    def observe(detuning: float, seconds: float) -> Course:
        asked.append(seconds)
        return adler(0.5, 0.51)(detuning, seconds)

    assert watch(observe, 0.0, longest=10.0).state == "undecided"
    assert asked == [locking.FIRST_WATCH, 10.0]


@numba.njit
def toy_cylinder(mouth: NDArray[np.float64], zeta: float) -> NDArray[np.float64]:
    """Pressure in a cylinder of one delay, one low-pass and a reed without mass; over closing.

    The reed's law is that of A. Hirschberg and J. Kergomard (J. Kergomard, "Elementary
    considerations on reed-instrument oscillations," in Mechanics of Musical Instruments, 1995,
    from memory), solved by bisection; the bore is a delay of 118.3 samples.
    """
    out, pressure = np.zeros(mouth.size + 120), np.empty(mouth.size)
    back = 0.0
    for n in range(mouth.size):
        arriving = 0.7 * out[n + 120 - 118] + 0.3 * out[n + 120 - 119]
        back = 0.55 * arriving + 0.45 * back
        inward = -0.94 * back
        drive = mouth[n] - 2.0 * inward
        low, high = min(drive, 0.0), max(drive, 0.0)
        for _ in range(30):  # to a billionth
            drop = 0.5 * (low + high)
            gap = max(1.0 - drop, 0.0)
            if drop + zeta * gap * math.copysign(math.sqrt(abs(drop)), drop) > drive:
                high = drop
            else:
                low = drop
        pressure[n] = mouth[n] - 0.5 * (low + high)
        out[n + 120] = pressure[n] - inward
    return pressure


def toy(mouth: float, depth: float, voice: list[float], ratio: tuple[int, int]):
    """Observer of the toy cylinder under a voice of given harmonics, tuned p/q to its note."""
    rate, (p, q) = 48000.0, ratio
    strengths = np.array(voice) / math.sqrt(np.sum(np.square(voice)))
    steady = toy_cylinder(np.full(96000, mouth), 0.35)[-48000:]
    note = pitch.refine(steady, rate, 201.5)

    def observe(detuning: float, seconds: float) -> Course:
        hz = note * p / q * math.exp(detuning * CENT)
        turns = 2.0 * math.pi * hz / rate * np.arange(round(seconds * rate))
        sung = sum(a * np.sin(k * turns) for k, a in enumerate(strengths, 1))
        wave = toy_cylinder(mouth * (1.0 + depth * sung), 0.35)
        thin = wave[: wave.size // 4 * 4].reshape(-1, 4).mean(axis=1)
        track = pitch.phase_track(thin, rate / 4.0, hz * q / p, min(hz / p, 20.0))
        return Course(track.times, p * track.cycles, hz * q)

    return observe


def follows(observe: locking.Observe, detunings: NDArray[np.float64]) -> int:
    return sum(watch(observe, float(cents), 6.0).state == "follows" for cents in detunings)


SINE, PULSE = [1.0], [1.0, 0.5, 0.3, 0.2, 0.14, 0.1]


@pytest.mark.slow
def test_a_cylinder_locks_to_even_multiples_and_hardly_to_odd_ones():
    # The half-wave symmetry of a cylinder's oscillation leaves odd multiples without effect in
    # first order. Widths: own calculation; half-width 2/1 at least 3.5 cents, 3/1 below 0.5.
    even = follows(toy(0.42, 0.2, SINE, (2, 1)), np.arange(-8.0, 8.1, 1.0))
    odd = follows(toy(0.42, 0.2, SINE, (3, 1)), np.arange(-4.0, 4.1, 0.5))
    assert even >= 7
    assert odd <= 2


@pytest.mark.ci
@pytest.mark.slow
def test_a_bright_voice_locks_where_a_sine_does_not():
    # Sung an octave and a fifth under the note: only the voice's own third harmonic acts in first
    # order. Half-widths: own calculation; sine below 1 cent, pulse 5 cents or more.
    detunings = np.arange(-20.0, 20.1, 2.0)
    assert follows(toy(0.40, 0.3, SINE, (1, 3)), detunings) <= 1
    assert follows(toy(0.40, 0.3, PULSE, (1, 3)), detunings) >= 5


def test_the_toy_cylinder_plays_the_note_of_its_delay_and_odd_partials():
    rate = 48000.0
    wave = toy_cylinder(np.full(96000, 0.42), 0.35)[-48000:]
    hz = pitch.refine(wave, rate, 201.5)
    assert hz == pytest.approx(201.52, abs=0.05)
    lines = [
        float(np.median(pitch.phase_track(wave, rate, k * hz, 20.0).amplitude)) for k in range(1, 6)
    ]
    level = 20.0 * np.log10(np.array(lines) / lines[0])
    assert level[[2, 4]] == pytest.approx([-9.9, -15.1], abs=0.3)
    assert max(level[1], level[3]) < -40.0


# --- many at once ---------------------------------------------------------------------------------


def test_courses_side_by_side_are_decided_as_each_alone():
    # Bit for bit: those that follow, slip, dwell, die down or are at rest, in one block.
    times = np.arange(0.2, 7.5, 0.02)
    rng = np.random.default_rng(5)
    rates = np.concatenate((10.0 ** rng.uniform(-8.0, 1.0, 60), np.zeros(4)))
    dying = 10.0 ** rng.uniform(-2.0, 1.0, 64)
    size = rng.uniform(-1.0, 1.0, 64)
    cycles = rates[:, None] * times + size[:, None] * np.exp(-dying[:, None] * times)
    hz = rng.uniform(50.0, 900.0, 64)
    together = locking.drifts(locking.Courses(times, cycles, hz))
    alone = [locking.drift(Course(times, *one)) for one in zip(cycles, hz.tolist(), strict=True)]
    assert together == alone
    assert {found.state for found in together} == set(locking.Keeps)
    assert {found.slows for found in together} == {True, False}
