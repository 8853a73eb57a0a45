"""Verdicts on takes: what is locked, what is not, and that no verdict sees the request."""

import dataclasses
import inspect
import math
import re
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from reedbore import sound
from reedbore.measures import locking, pitch
from reedbore.model.bore import Bore, BoreSection
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Breath, Reed, Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents, midi_to_hz
from reedbore.physics.glottis import pulse_harmonics
from reedbore.report.verdict import summary
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import Take, again, render
from reedbore.simulate.tuning import tune
from reedbore.verdict import runs
from reedbore.verdict.result import Control, Verdict, bare
from reedbore.verdict.state import HornState, State
from reedbore.verdict.take import aimed, judge

B_FLAT = midi_to_hz(46)  # Bb2
FIVE, SEVEN = (half * 0.5 * B_FLAT * 2.0 ** (-0.1 / 1200.0) for half in (5, 7))
"""Inside the locks at 5/2 and 7/2, which end where the just note begins. [Hz]"""
SPOKEN = Path("/usr/share/sounds/alsa/Front_Center.wav")  # Debian package alsa-utils


def with_values(setup: Setup, **values: float | str) -> Setup:
    for name, value in values.items():
        setup = setup.with_value(name.replace("__", "."), value)
    return setup


def sung(setup: Setup, hz: float, depth: float = 0.1, source: str = "pulse") -> Setup:
    return with_values(setup, voice__source=source, voice__frequency_hz=hz, voice__depth=depth)


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return tune(load_horn("tenor-saxophone"), B_FLAT)


@pytest.fixture(scope="module")
def rough(tenor: Setup) -> Take:
    return render(sung(tenor, B_FLAT * 2.0 ** (650.0 / 1200.0)), 6.0)


@pytest.fixture(scope="module")
def sevenths(tenor: Setup) -> Take:
    return render(sung(tenor, SEVEN), 3.0)


@pytest.fixture(scope="module")
def seventh(sevenths: Take) -> Verdict:
    return judge(sevenths)


def test_without_a_voice_the_note_that_was_tuned_is_played(tenor):
    found = judge(render(tenor, 3.0))
    assert found.state == "unsung"
    assert (found.sung_hz, found.ratio, found.drift_hz, found.reason) == (None, None, None, None)
    assert cents(found.played_hz, B_FLAT) == pytest.approx(0.0, abs=0.3)
    assert (found.voice_off_state, found.voice_off_period) == ("sounding", 1)
    assert summary(found) == "Nobody sings: the horn plays alone."


@pytest.mark.slow
def test_three_times_the_note_at_normal_depth_is_locked(tenor):
    take = render(sung(tenor, 3.0 * B_FLAT), 3.0)
    found = judge(take, lock_range=True)
    assert (found.state, found.ratio, found.heard) == ("locked", (3, 1), "same as fingered")
    assert found.sung_hz == pytest.approx(3.0 * B_FLAT, rel=1e-6)
    assert found.drift_hz == 0.0
    assert found.played_hz == pytest.approx(B_FLAT, rel=2e-4)
    assert found.resultant_hz == found.played_hz
    low, high = found.lock_range_cents
    assert -10.0 < low < 0.0 < high < 10.0
    assert high - low > 2.0 * locking.PULL_CENTS
    assert "locks" in summary(found)
    assert "Bb2" in summary(found)


@pytest.mark.parametrize("off", [-0.6, -0.5, 0.3])
def test_the_beat_beside_a_lock_is_the_mean_of_a_minute(tenor, off):
    # A near miss dwells and hurries: a part of a slip would tell half of the beat, or twice.
    setup = sung(tenor, 2.5 * B_FLAT * 2.0 ** (off / 1200.0))
    found = judge(render(setup, 3.0))
    assert (found.state, found.ratio) == ("drifting", (5, 2))
    assert found.drift_hz == pytest.approx(slips(setup, 0.0, (5, 2)) / 40.0, rel=0.1)


@pytest.mark.parametrize("seconds", [3.0, 6.0])
def test_a_lock_that_takes_hold_when_the_take_has_ended_is_told_so(tenor, seconds):
    setup = sung(tenor, FIVE)
    found = judge(render(setup, seconds))
    assert (found.state, found.ratio) == ("locked", (5, 2))
    late = re.search(r"comes to rest only after (\d\.\d) s", summary(found))
    assert (late is not None) == (seconds < 5.0)
    if late:
        pressure, rate = pitch.thin(again(setup, 30.0).traces.pressure, setup.time.rate)
        line = pitch.phase_track(pressure, rate, 0.4 * FIVE, 20.0)
        off = np.abs(5.0 * (line.cycles - line.cycles[-1]))
        assert off[line.times < float(late[1]) - 0.5][-1] > 0.05
        assert off[line.times > float(late[1]) + 0.5].max() < 0.05


@pytest.mark.ci
@pytest.mark.slow(20)
@pytest.mark.parametrize("off", [0.0, 1.0])
def test_the_edges_of_a_lock_hold_for_a_minute_inside_and_slip_outside(tenor, off):
    # Edges lie around the note that is sung, also where it is not the just one. [cents]
    setup = sung(tenor, 3.0 * B_FLAT * 2.0 ** (off / 1200.0))
    edges = judge(render(setup, 2.0), lock_range=True).lock_range_cents
    for edge, way in zip(edges, (-1.0, 1.0), strict=True):
        assert slips(setup, edge - 0.3 * way, (3, 1)) == pytest.approx(0.0, abs=0.1)
        assert abs(slips(setup, edge + 0.5 * way, (3, 1))) > 1.5


def slips(setup: Setup, pull: float, ratio: tuple[int, int]) -> float:
    """Turns between played and sung in the last 40 of 60 seconds, by a plain Fourier sum.

    A sung period more or less is one turn, that is 1/p of a played one.
    """
    p, q = ratio
    rate = setup.time.rate
    run = again(setup, 60.0, pull)
    sung_hz = setup.voice.frequency * 2.0 ** (pull / 1200.0)
    hz = sung_hz * q / p
    thin = run.traces.pressure[: run.traces.pressure.size // 8 * 8].reshape(-1, 8).mean(axis=1)
    rate /= 8.0
    block = round(10.0 * q * rate / sung_hz)  # ten common periods
    turn = np.exp(-2j * np.pi * hz / rate * np.arange(thin.size))
    lines = (thin * turn)[: thin.size // block * block].reshape(-1, block).mean(axis=1)
    phase = np.unwrap(np.angle(lines)) / (2.0 * math.pi)
    first = np.searchsorted(np.arange(lines.size) * block / rate, 20.0)
    return float(p * (phase[-1] - phase[first]))


@pytest.mark.slow
def test_the_lock_of_a_narrow_ratio_holds_for_a_minute_and_breaks_three_cents_away(
    tenor, sevenths, seventh
):
    assert (seventh.state, seventh.ratio) == ("locked", (7, 2))
    setup = sevenths.setup
    assert slips(setup, 0.0, (7, 2)) == pytest.approx(0.0, abs=0.02)
    # Uncoupled, three cents would be p · f · 3 cents = 1.414 Hz, 56.6 turns in 40 seconds.
    for pull in (-3.0, 3.0):
        assert abs(slips(setup, pull, (7, 2))) == pytest.approx(56.6, abs=6.3)
        pulled = with_values(setup, voice__frequency_hz=SEVEN * 2.0 ** (pull / 1200.0))
        outside = judge(render(pulled, 3.0))
        assert (outside.state, outside.ratio) == ("drifting", (7, 2))
        assert abs(outside.drift_hz) == pytest.approx(1.414, rel=0.15)


def test_the_resultant_of_a_lock_is_the_common_fundamental(seventh):
    assert seventh.resultant_hz == pytest.approx(seventh.sung_hz / 7.0, rel=1e-4)
    assert seventh.resultant_level_db < -10.0
    assert seventh.heard in ("yes", "uncertain")
    assert "third note" in summary(seventh)


def test_an_interval_between_the_ratios_is_rough_and_has_no_third_note(rough):
    found = judge(rough)
    assert (found.state, found.ratio, found.heard) == ("rough", None, "no")
    assert (found.resultant_hz, found.resultant_level_db, found.drift_hz) == (None, None, None)
    assert cents(found.sung_hz, B_FLAT) == pytest.approx(650.0, abs=0.1)
    assert found.roughness > 1.5
    assert summary(found) == "No third note. The two notes only roughen each other."


@pytest.mark.slow
def test_all_lines_of_an_unlocked_take_are_sums_of_the_two_pitches(rough):
    found = judge(rough)
    rate = rough.setup.time.rate
    late = rough.traces.pressure[-round(4.0 * rate) :]
    size = np.abs(np.fft.rfft((late - late.mean()) * np.blackman(late.size)))
    top = (size[1:-1] > size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > 1e-3 * size.max())
    peak = np.flatnonzero(top) + 1
    a, b, c = (np.log(size[peak + shift]) for shift in (-1, 0, 1))
    hz = (peak + 0.5 * (a - c) / (a - 2.0 * b + c)) * rate / late.size
    hz = hz[hz < 3000.0]
    order = np.arange(-30, 31)
    n, m = np.meshgrid(order, order)
    simple = np.abs(n) + np.abs(m) <= 30
    sums = np.sort((n * found.played_hz + m * found.sung_hz)[simple])
    nearest = np.min(np.abs(hz[:, np.newaxis] - sums), axis=1)
    assert hz.size > 30
    # Two-frequency motion has no other lines. Of the frequencies below 3 kHz few lie so near a
    # sum by chance.
    covered = np.sum((sums > 0.0) & (sums < 3000.0)) * 0.04 / 3000.0
    assert covered < 0.05
    assert np.all(nearest < 0.02)


def test_the_judge_sees_nothing_but_the_take():
    assert list(inspect.signature(judge).parameters) == ["take", "lock_range"]
    fields = {field.name for field in dataclasses.fields(Take)}
    assert fields == {"setup", "seconds", "sung", "traces", "sound"}
    asked = ("finger", "ask", "request", "note", "ratio")
    names = set(Setup.model_fields) | fields | set(Voice.model_fields)
    assert not [name for name in names for word in asked if word in name]


def test_what_was_asked_for_is_only_written_beside_what_was_measured(seventh):
    plain, labelled = seventh.document(), seventh.document(2.0 * B_FLAT, 7.0 * B_FLAT)
    beside = {"fingered_hz", "fingered_note", "sing_cents", "played_cents"}
    assert plain.keys() == labelled.keys()
    assert {key for key in plain if plain[key] != labelled[key]} == beside
    assert labelled["played_cents"] == pytest.approx(-1200.0, abs=2.0)
    assert plain["ratio"] == "7/2"
    assert plain["sung_hz"] == pytest.approx(SEVEN, rel=1e-6)


def test_a_document_says_how_far_the_sung_note_lies_from_the_just_one(tenor):
    # The just fifth lies 1.955 cents over the 700 of a keyboard: A. J. Ellis, in Helmholtz,
    # On the Sensations of Tone, 2nd English ed., 1885, app. XX (from memory).
    found = judge(render(sung(tenor, B_FLAT * 2.0 ** (7.0 / 12.0)), 3.0))
    assert found.ratio == (3, 2)
    assert found.document(B_FLAT)["sing_cents"] == pytest.approx(1.955, abs=0.01)


def test_the_sung_pitch_is_measured_and_not_read(sevenths):
    other = with_values(sevenths.setup, voice__frequency_hz=555.0)
    pretended = dataclasses.replace(sevenths, setup=other)
    hz, _ = runs.sung_pitch(pretended)
    assert hz == pytest.approx(SEVEN, rel=1e-6)


def test_a_sine_voice_is_measured_like_any_other(tenor):
    found = judge(render(sung(tenor, 2.0 * B_FLAT * 2.0 ** (5.0 / 1200.0), source="sine"), 3.0))
    assert (found.state, found.ratio, found.heard) == ("drifting", (2, 1), "same as fingered")
    # Beat of two mistuned notes: p f_played - q f_sung.
    assert abs(found.drift_hz) < abs(2.0 * found.voice_off_hz - found.sung_hz) * 1.1
    assert abs(found.drift_hz) > 0.1


def test_a_reed_below_its_threshold_is_silent_however_it_is_driven(tenor):
    setup = with_values(sung(tenor, 3.0 * B_FLAT, 0.3), breath__pressure_kpa=1.0)
    found = judge(render(setup, 3.0))
    assert (found.state, found.voice_off_state) == ("silent", "silent")
    assert found.reason == "the reed does not sound by itself"
    assert (found.played_hz, found.ratio, found.drift_hz) == (None, None, None)
    assert summary(found).startswith("The horn does not play")


def test_breath_that_shuts_the_reed_is_silent(tenor):
    # Above 4.1 kPa/mm times 1.43 mm: so fast a rise makes it sound on for a while.
    for setup in (tenor, sung(tenor, 3.0 * B_FLAT)):
        assert judge(render(with_values(setup, breath__pressure_kpa=9.0), 3.0)).state == "silent"


@pytest.mark.slow
def test_a_voice_that_quenches_the_reed_makes_it_silent(tenor):
    soft = with_values(sung(tenor, 1.37 * B_FLAT, 1.0), breath__pressure_kpa=2.1)
    found = judge(render(soft, 3.0))
    assert (found.state, found.reason) == (
        "silent",
        "the voice stops the reed, and only the voice is left",
    )
    assert found.voice_off_state == "sounding"


def test_a_run_that_diverged_has_failed(sevenths):
    broken = sevenths.traces.pressure.copy()
    broken[len(broken) // 2 :] = math.nan
    found = judge(dataclasses.replace(sevenths, traces=sevenths.traces._replace(pressure=broken)))
    assert (found.state, found.reason) == ("failed", "the simulation diverged")
    assert found.document(B_FLAT)["state"] == "failed"
    assert summary(found) == "The simulation failed: the simulation diverged."


@pytest.mark.slow
def test_the_same_take_is_judged_the_same_twice(sevenths, seventh):
    assert judge(sevenths) == seventh


def doubling(mouth: float) -> Setup:
    """A wide cylinder and a reed without mass, ζ = 0.6: ρc/S of 30 mm, a slit of 45 mm².

    T. Taillard, J. Kergomard and F. Laloë, Nonlinear Dynamics 62, 253-271, 2010: clarinet-like
    maps double their period below the beating threshold γ = 1/2 when losses are small.
    """
    impedance = 1.17 * 347.2 / (math.pi * 0.015**2)
    closing = 2.0 / 1.17 * (impedance * 1.5e-3 * 30e-3 / 0.6) ** 2
    return Setup(
        bore=Bore(length=0.8, sections=(BoreSection(length=0.8, entry=0.03, exit=0.03),)),
        reed=Reed(
            opening=1.5e-3,
            width=30e-3,
            stiffness=closing / 1.5e-3,
            frequency=1500.0,
            damping=1.0,
            dynamics="massless",
        ),
        breath=Breath(pressure=mouth * closing),
        voice=Voice(source="off"),
    )


@pytest.mark.slow
@pytest.mark.parametrize("mouth", [0.46, 0.48, 0.495])
def test_a_horn_that_doubles_its_period_by_itself_is_told(mouth):
    found = judge(render(doubling(mouth), 3.0))
    # A quarter wave of 0.8 m and an end correction of 0.61 radii (Levine and Schwinger 1948).
    assert found.voice_off_hz == pytest.approx(347.2 / 4.0 / (0.8 + 0.61 * 0.015), rel=0.03)
    assert found.voice_off_period in (2, 4, 8)


@pytest.mark.slow
def test_below_its_doublings_the_same_horn_has_period_one():
    assert judge(render(doubling(0.40), 3.0)).voice_off_period == 1


@pytest.mark.slow
def test_a_subharmonic_that_the_horn_makes_alone_is_not_credited_to_the_voice():
    setup = doubling(0.46)
    own = judge(render(setup, 3.0)).voice_off_hz
    take = render(sung(setup, 2.0 * own, 0.1), 3.0)
    found = judge(take)
    assert found.voice_off_period in (2, 4, 8)
    assert found.state != "locked"


@pytest.mark.parametrize("sub", [0.05, 0.5])
def test_a_weak_and_a_strong_subharmonic_are_both_counted(sub):
    rate = 96000.0
    time = np.arange(round(rate)) / rate
    note = np.cos(2.0 * math.pi * 200.0 * time) + 0.3 * np.cos(2.0 * math.pi * 600.0 * time)
    tone = note + sub * np.cos(2.0 * math.pi * 100.0 * time)
    assert locking.period(locking.strobe(tone, rate, 200.0)) == 2


def vowel(path: Path, hz: float, seconds: float) -> None:
    """Write a sung "ah": glottal pulses through three formants."""
    formants = np.array([730.0, 1090.0, 2440.0])  # Peterson and Barney 1952 (from memory)
    order = np.arange(1, int(8000.0 / hz) + 1)
    distance = (hz * order[:, np.newaxis] - formants) / 120.0
    coefficients = pulse_harmonics(1.0, order.size) * np.sum(1.0 / (1.0 + distance**2), axis=1)
    time = np.arange(round(seconds * SOUND_RATE)) / SOUND_RATE
    wave: NDArray = np.zeros(time.size)
    for number, coefficient in zip(order, coefficients, strict=True):
        wave += 2.0 * np.real(coefficient * np.exp(2j * math.pi * number * hz * time))
    sound.write(path, 0.5 * wave / np.abs(wave).max(), SOUND_RATE)


def recorded(setup: Setup, path: Path, depth: float = 0.3) -> Setup:
    setup = with_values(setup, voice__file=str(path))
    return with_values(setup, voice__source="recording", voice__depth=depth)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("off", "ratio", "states"),
    [
        (0.0, (3, 1), ("locked", "drifting")),
        (15.0, (3, 1), ("drifting",)),
        (150.0, None, ("rough", "irregular")),
    ],
)
def test_a_recorded_vowel_is_judged_like_a_made_one(tenor, tmp_path, off, ratio, states):
    hz = 3.0 * B_FLAT * 2.0 ** (off / 1200.0)
    vowel(tmp_path / "ah.wav", hz, 8.0)
    found = judge(render(recorded(tenor, tmp_path / "ah.wav"), 7.0))
    assert found.sung_hz == pytest.approx(hz, rel=1e-4)
    assert found.ratio == ratio
    assert found.state in states


@pytest.mark.slow
@pytest.mark.sound
def test_speech_has_a_verdict_but_no_lock(tenor):
    if not SPOKEN.exists():
        pytest.skip("no spoken recordings")
    found = judge(render(recorded(tenor, SPOKEN), 3.0), lock_range=True)
    assert found.state in ("drifting", "rough", "irregular")
    assert found.ratio is None or found.reason
    assert found.lock_range_cents is None
    assert summary(found)


def test_a_horn_alone_has_a_line_spectrum_and_noise_has_not(tenor):
    take = render(tenor, 3.0)
    assert runs.spectrum_state(take, B_FLAT, None) == "rough"
    noise = np.random.default_rng(2).standard_normal(take.traces.pressure.size)
    noisy = dataclasses.replace(take, traces=take.traces._replace(pressure=noise))
    assert runs.spectrum_state(noisy, B_FLAT, None) == "irregular"


@pytest.mark.parametrize(("hz", "found"), [(19.0, False), (20.0, True), (60.0, True)])
def test_an_unsteady_voice_has_a_pitch_from_the_lowest_note_that_may_be_sung_on(hz, found):
    time = np.arange(2 * 12000) / 12000.0
    wave = sum(np.sin(2.0 * math.pi * k * hz * time + k * k) / k for k in range(1, 9))
    sung, _ = runs.voice_pitch(wave, 12000.0, Voice(source="pulse", jitter=0.005))
    assert sung == (pytest.approx(hz, rel=1e-4) if found else None)


def test_a_note_has_settled_near_the_strength_of_its_later_half_not_of_its_end():
    # It rises in half a second, then sways by 8 % either way, and ends where it is loudest.
    time = np.arange(4 * 12000) / 12000.0
    strength = np.minimum(2.0 * time, 1.0) * (1.0 + 0.08 * np.cos(math.pi * (time - 4.0)))
    tone = np.sin(2.0 * math.pi * 200.0 * time)
    assert runs.settled_in(strength * tone, 12000.0, 200.0) == pytest.approx(0.45, abs=0.05)
    swelling = strength * np.where(time > 3.7, 1.3, 1.0)
    assert runs.settled_in(swelling * tone, 12000.0, 200.0) is None


@pytest.mark.ci
@pytest.mark.slow
def test_noise_as_a_voice_has_no_pitch(tenor, tmp_path):
    noise = 0.1 * np.random.default_rng(1).standard_normal(4 * SOUND_RATE)
    sound.write(tmp_path / "noise.wav", noise, SOUND_RATE)
    found = judge(render(recorded(tenor, tmp_path / "noise.wav"), 3.0))
    assert found.reason == "the recorded voice has no pitch"
    assert (found.sung_hz, found.ratio, found.lock_range_cents) == (None, None, None)
    assert found.state in ("rough", "irregular")


@pytest.mark.parametrize(
    ("state", "heard", "words"),
    [
        ("locked", "yes", "A third note is heard, Bb1"),
        (
            "drifting",
            "uncertain",
            "may be heard. The two notes do not lock: the sound moves once in 4 seconds",
        ),
        ("drifting", "no", "No third note is heard; it would be Bb1"),
        ("irregular", "same as sung", "The common note is the sung one"),
        ("locked", "same as fingered", "The common note is the one that the horn now plays, Bb1"),
    ],
)
def test_a_summary_says_what_was_found_in_plain_words(state, heard, words):
    made = Verdict(
        state=State(state),
        reason=None,
        sung_hz=1.5 * B_FLAT,
        played_hz=B_FLAT,
        jumped=True,
        ratio=(3, 2),
        resultant_hz=0.5 * B_FLAT,
        resultant_level_db=-20.0,
        heard=heard,
        drift_hz=-0.25,
        lock_range_cents=None,
        settle_s=0.3,
        roughness=2.0,
        voice_off_state=HornState.SOUNDING,
        voice_off_hz=B_FLAT,
        voice_off_period=1,
    )
    said = summary(made)
    assert words in said
    assert said.endswith("The horn has left its register.")


@pytest.mark.parametrize(
    ("voice", "reed", "follows"),
    [
        (0.9, 0.05, "both"),
        (1.1, 0.05, "voice"),
        (-0.05, 1.1, "reed"),
        (4.0, 1.1, "both"),
        (-4.0, 0.9, "voice"),
    ],
)
def test_who_is_pulled_less_than_a_quarter_of_the_other_leads(voice, reed, follows):
    aim, off = 174.81, 116.54
    control = Control(HornState.SOUNDING, off, 1, 1000.0, np.zeros(0))
    played, sung = off * 2.0 ** (reed / 1200.0), aim * 2.0 ** (voice / 1200.0)
    locked = dataclasses.replace(
        bare(State.LOCKED, control, played=played, sung=sung), ratio=(3, 2)
    )
    folds = setup_for(load_horn("tenor-saxophone")).with_value("voice.frequency_hz", aim)
    assert aimed(locked, folds.with_value("voice.drive", "folds")).follows == follows
    assert aimed(locked, folds).follows == "reed"
