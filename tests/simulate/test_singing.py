"""What is sung: steady as a clock by default, and as unsteady, growled or vowel-like as asked."""

import dataclasses
import math

import numpy as np
import pytest
from voiced import ALL, RATE, bent, cycles, decibels, levels, successive, voiced

from reedbore.errors import ModelError
from reedbore.model.presets import load_horn
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import midi_to_hz
from reedbore.physics import glottis
from reedbore.simulate import mouth
from reedbore.simulate.acoustics.airway import REED_CONDUCTANCE, Airway
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.singing import sing
from reedbore.simulate.take import again, render
from reedbore.simulate.tuning import tune
from reedbore.verdict import runs
from reedbore.verdict.take import judge

B_FLAT = midi_to_hz(46)  # Bb2


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return tune(load_horn("tenor-saxophone"), B_FLAT)


# --- by default nothing changes ------------------------------------------------------------------


@pytest.mark.parametrize("source", ["pulse", "sine"])
@pytest.mark.parametrize("pull", [0.0, 3.5])
def test_steady_voice_is_a_table_read_by_a_clock_to_the_last_bit(tenor, source, pull):
    setup = voiced(tenor, 174.6, source=source, rd=0.8, fade_ms=200.0)
    n, faster = round(0.7 * RATE), 2.0 ** (np.asarray(pull) / 1200.0)
    count = int(12000.0 / (174.6 * float(faster)))
    partials = glottis.sine_harmonics(count)
    if source == "pulse":
        partials = glottis.pulse_harmonics(0.8, count)
    table = glottis.waveform_table(partials, 8192)
    phase = np.arange(n) * (174.6 * faster / RATE) % 1.0
    wave = np.interp(phase * 8192, np.arange(8193), np.append(table, table[0]))
    fade = 0.5 - 0.5 * np.cos(math.pi * np.minimum(np.arange(n) / (0.2 * RATE), 1.0))
    assert sing(setup, 0.7, pull).tobytes() == (wave * fade).tobytes()


def test_settings_without_effect_leave_the_voice_to_the_last_bit(tenor):
    plain = sing(voiced(tenor), 0.5)
    idle = {"seed": 7, "vibrato_hz": 4.0, "vibrato_after_ms": 50.0, "scoop_ms": 20.0}
    assert sing(voiced(tenor, **idle), 0.5).tobytes() == plain.tobytes()


def test_unsteady_voice_of_no_depth_gives_the_same_bits_as_no_voice(tenor):
    quiet = render(voiced(tenor, source="pulse", depth=0.0, **ALL), 0.5)
    off = render(voiced(tenor, source="off"), 0.5)
    assert quiet.sound.tobytes() == off.sound.tobytes()


# --- what is random repeats ----------------------------------------------------------------------


def test_a_seed_repeats_to_the_last_bit_and_another_one_does_not(tenor):
    first, same, other = (
        sing(voiced(tenor, source="pulse", seed=seed, **ALL), 0.5) for seed in (3, 3, 4)
    )
    assert first.tobytes() == same.tobytes()
    assert np.std(first - other) > 0.1 * np.std(first)


def test_a_longer_note_begins_as_a_shorter_one_does(tenor):
    setup = voiced(tenor, source="pulse", **ALL)
    short, long = sing(setup, 0.4), sing(setup, 0.9)
    assert short.tobytes() == long[: short.size].tobytes()


def test_shimmer_and_noise_leave_the_jitter_as_it_is(tenor):
    alone = sing(voiced(tenor, jitter=0.01), 1.0)
    both = sing(voiced(tenor, jitter=0.01, shimmer_db=0.5), 1.0)
    assert cycles(both) == pytest.approx(cycles(alone), abs=1e-5)


def test_noise_is_the_same_at_any_rate(tenor):
    coarse, fine = (
        sing(voiced(tenor, noise=0.3).with_value("time.rate_hz", rate), 0.3)
        for rate in (RATE, 2.0 * RATE)
    )
    assert fine[::2][: coarse.size] == pytest.approx(coarse, abs=1e-9)


# --- measured on the waveform --------------------------------------------------------------------


@pytest.mark.parametrize("jitter", [0.002, 0.005, 0.01, 0.05])
def test_jitter_is_the_mean_difference_of_successive_periods(tenor, jitter):
    # C. T. Ferrand, Speech Science, 2nd ed., 2007 (from memory): 0.2 to 1 % in healthy adults.
    # 3000 periods leave an error of about 1.5 %.
    periods = np.diff(cycles(sing(voiced(tenor, 300.0, jitter=jitter), 10.0)))
    assert successive(periods) / periods.mean() == pytest.approx(jitter, rel=0.06)
    assert periods.mean() == pytest.approx(1.0 / 300.0, rel=jitter / 5.0)


def test_half_a_per_cent_of_jitter_is_nine_cents_from_period_to_period(tenor):
    # 1200 log2(1.005) = 8.6.
    _, cents = bent(sing(voiced(tenor, 300.0, jitter=0.005), 10.0), 300.0)
    assert successive(cents) == pytest.approx(1200.0 * math.log2(1.005), rel=0.06)


@pytest.mark.parametrize("shimmer", [0.22, 0.5, 3.0])
def test_shimmer_is_the_mean_difference_of_successive_peaks(tenor, shimmer):
    # Ferrand 2007 (from memory): below 0.5 dB in healthy adults.
    wave = sing(voiced(tenor, 300.0, shimmer_db=shimmer), 10.0)
    peaks = wave[: wave.size // 320 * 320].reshape(-1, 320).max(axis=1)[5:]
    assert successive(decibels(peaks)) == pytest.approx(shimmer, rel=0.06)
    # Its pitch stays a clock's.
    periods = np.diff(cycles(wave))
    assert successive(periods) / periods.mean() < 2e-4


def test_shimmer_makes_no_steps(tenor):
    plain, rough = (sing(voiced(tenor, shimmer_db=db), 1.0) for db in (0.0, 3.0))
    assert np.abs(np.diff(rough)).max() < 3.0 * np.abs(np.diff(plain)).max()


@pytest.mark.parametrize(("rate", "extent"), [(5.5, 50.0), (6.5, 100.0), (4.0, 15.0)])
def test_vibrato_has_the_rate_and_the_extent_that_were_asked_for(tenor, rate, extent):
    # J. Sundberg, The Science of the Singing Voice, 1987 (from memory): 5 to 7 Hz, ±50 to ±100
    # cents.
    setup = voiced(tenor, 440.0, vibrato_hz=rate, vibrato_cents=extent, vibrato_after_ms=500.0)
    time, cents = bent(sing(setup, 3.0), 440.0)
    assert np.abs(cents[(time > 0.05) & (time < 0.49)]).max() < 0.1
    moving = time > 0.5
    assert cents[moving].max() == pytest.approx(extent, rel=0.02)
    assert cents[moving].min() == pytest.approx(-extent, rel=0.02)
    assert cents == pytest.approx(
        extent * np.sin(2.0 * math.pi * rate * np.maximum(time - 0.5, 0.0)), abs=0.02 * extent
    )


def test_scoop_starts_below_and_glides_up_to_the_note(tenor):
    setup = voiced(tenor, 440.0, scoop_cents=300.0, scoop_ms=400.0)
    time, cents = bent(sing(setup, 1.0), 440.0)
    assert np.interp(0.01, time, cents) == pytest.approx(-300.0, abs=2.0)
    assert np.interp(0.2, time, cents) == pytest.approx(-150.0, abs=3.0)
    assert np.abs(cents[time > 0.41]).max() < 0.1
    assert np.all(np.diff(cents[(time > 0.02) & (time < 0.39)]) > 0.0)


def test_wandering_is_slow_and_stays_within_what_was_asked_for(tenor):
    time, cents = bent(sing(voiced(tenor, 300.0, wander_cents=30.0), 20.0), 300.0)
    assert 15.0 < np.ptp(cents) < 60.0
    assert np.abs(cents).max() < 30.1
    # At most 0.41 Hz: 2π · 0.41 · 30 = 77 cents a second.
    assert np.abs(np.gradient(cents, time)[20:-20]).max() < 77.0


@pytest.mark.parametrize("source", ["pulse", "sine"])
def test_noise_has_the_share_that_was_asked_for_and_no_colour(tenor, source):
    plain = sing(voiced(tenor, source=source), 3.0)[round(0.1 * RATE) :]
    noise = sing(voiced(tenor, source=source, noise=0.25), 3.0)[round(0.1 * RATE) :] - plain
    assert np.std(noise) / np.std(plain) == pytest.approx(0.25, rel=0.02)
    power = np.abs(np.fft.rfft(noise[: 2 * round(RATE)])) ** 2
    low, high = power[400:2000].mean(), power[6000:10000].mean()
    assert 10.0 * math.log10(low / high) == pytest.approx(0.0, abs=1.5)


# --- false folds ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("folds", "lowest"), [(2, -6.02), (3, -9.54)])
def test_false_folds_of_a_sine_have_the_lines_of_amplitude_modulation(tenor, folds, lowest):
    # (1 + cos x)(1 - s/2 + s/2 cos(x/n)) with s = 1/2, multiplied out: 1 - s/2 at x, s/2 at x/n,
    # s/4 at x ± x/n. For n = 2 two of these fall on x/2.
    wave = sing(voiced(tenor, 300.0, false_folds=folds), 2.0)
    part = 300.0 / folds
    whole, low, high = levels(wave, 300.0, part, 300.0 + part)
    assert decibels(low / whole) == pytest.approx(lowest, abs=0.05)
    assert decibels(high / whole) == pytest.approx(-15.56, abs=0.05)
    if folds == 3:
        assert decibels(levels(wave, 200.0)[0] / whole) == pytest.approx(-15.56, abs=0.05)


@pytest.mark.parametrize("folds", [2, 3])
@pytest.mark.parametrize("voice", [{"source": "sine"}, {"rd": 0.4}, {"rd": 2.7}, {"vowel": "u"}])
def test_growled_voice_repeats_after_so_many_periods_and_not_before(tenor, folds, voice):
    wave = sing(voiced(tenor, 300.0, false_folds=folds, **({"source": "pulse"} | voice)), 1.0)
    whole = wave[round(0.1 * RATE) :][: 320 * 6 * 20]
    assert np.abs(whole).max() == pytest.approx(1.0, abs=2e-3)
    assert np.mean(whole) == pytest.approx(0.0, abs=1e-3)
    assert np.abs(whole[320 * folds :] - whole[: -320 * folds]).max() < 1e-6
    assert np.abs(whole[320:] - whole[:-320]).max() > 0.1


@pytest.mark.parametrize("folds", [1, 2, 3])
@pytest.mark.parametrize("hz", [90.0, 220.0, 700.0, 880.0])
@pytest.mark.parametrize("voice", [{"source": "sine"}, {"rd": 0.3}, {"rd": 2.7}, {"vowel": "a"}])
def test_sung_pitch_is_the_rate_at_which_a_growled_voice_repeats(tenor, hz, folds, voice):
    # Nothing but the waveform is looked at: the setup says that the voice is plain.
    setup = voiced(tenor, hz, **({"source": "pulse"} | voice))
    sung = sing(setup.with_value("voice.false_folds", folds), 3.0)
    take = dataclasses.replace(again(setup, 0.1), sung=sung)
    found, wander = runs.sung_pitch(take)
    assert found == pytest.approx(hz / folds, rel=1e-5)
    assert wander == 0.0


# --- vowels --------------------------------------------------------------------------------------


@pytest.mark.parametrize("source", ["pulse", "sine"])
@pytest.mark.parametrize("vowel", ["a", "i", "u"])
@pytest.mark.parametrize("hz", [60.0, 200.0, 900.0])
def test_vowel_has_no_mean_and_goes_up_to_one(tenor, source, vowel, hz):
    table = mouth.period(*mouth.key(voiced(tenor, hz, source=source, vowel=vowel), hz))
    assert np.abs(table).max() == pytest.approx(1.0, abs=1e-12)
    assert np.mean(table[:-1]) == pytest.approx(0.0, abs=1e-12)
    assert table[0] == table[-1]


@pytest.mark.parametrize("vowel", ["a", "i", "u"])
def test_vowel_multiplies_each_partial_by_what_the_tract_lets_pass(tenor, vowel):
    partials = 200.0 * np.arange(1.0, 26.0)
    plain = levels(sing(voiced(tenor, source="pulse"), 1.5), *partials)
    shaped = levels(sing(voiced(tenor, source="pulse", vowel=vowel), 1.5), *partials)
    gain = np.abs(Airway(vowel, 1e-4, 0.8).transfer(partials, REED_CONDUCTANCE))
    off = decibels(shaped / plain) - decibels(gain)
    assert np.ptp(off) < 0.05


def test_tongue_shapes_differ_by_many_decibels_where_their_formants_lie(tenor):
    # Levels against the fundamental, from the rival of thin slices in `test_upstream`.
    heard = {}
    for vowel in ("a", "i", "u"):
        lines = levels(sing(voiced(tenor, source="pulse", vowel=vowel), 1.5), 200.0, 800.0, 1200.0)
        heard[vowel] = decibels(lines[1:] / lines[0])
    assert heard["u"][0] - heard["i"][0] == pytest.approx(12.1, abs=0.5)
    assert heard["a"][1] - heard["u"][1] == pytest.approx(24.6, abs=0.5)


def test_vowel_is_heard_in_the_mouth_and_outside(tenor):
    # Against the fundamental "a" stands 26.3 dB above "u" at 1164 Hz in the mouth, by the same
    # rival. The reed hears it through the wave that it makes itself: outside the largest change is
    # that of 1455 Hz, by 4.3 dB.
    takes = [
        render(voiced(tenor, 291.0, source="pulse", vowel=vowel, depth=0.2), 1.5)
        for vowel in ("a", "u")
    ]
    lines = [levels(take.mouth, 291.0, 1164.0) for take in takes]
    assert np.ptp([decibels(line[1] / line[0]) for line in lines]) == pytest.approx(26.3, abs=0.5)
    window = np.hanning(SOUND_RATE)
    late = [np.abs(np.fft.rfft(take.sound[-SOUND_RATE:] * window)) for take in takes]
    outside = decibels(late[1][1453:1458].max() / late[0][1453:1458].max())
    assert outside == pytest.approx(4.3, abs=1.0)


def test_pulled_voice_keeps_its_vowel(tenor):
    setup = voiced(tenor, source="pulse", vowel="u")
    plain, pulled = sing(setup, 1.0), sing(setup, 1.0, 1.0)
    assert np.abs(pulled).max() == pytest.approx(np.abs(plain).max(), abs=1e-4)
    assert not np.array_equal(plain, pulled)


# --- verdicts ------------------------------------------------------------------------------------


def judged(setup, hz, **voice):
    return judge(render(voiced(setup, hz, source="pulse", depth=0.2, **voice), 3.0))


@pytest.mark.parametrize("voice", [{"vibrato_cents": 50.0}, {"jitter": 0.05}, {"noise": 1.0}])
def test_voice_that_wanders_far_proves_no_lock(tenor, voice):
    found = judged(tenor, 3.0 * B_FLAT, **voice)
    assert (found.state, found.ratio) == ("drifting", (3, 1))
    assert found.reason.startswith("the voice wanders by")
    assert found.lock_range_cents is None


def test_slightly_unsteady_voice_is_not_said_to_lock_without_proof(tenor):
    found = judged(tenor, 3.0 * B_FLAT, jitter=0.005)
    assert found.sung_hz == pytest.approx(3.0 * B_FLAT, rel=1e-3)
    assert found.ratio == (3, 1)
    assert found.state == "drifting"


@pytest.mark.parametrize("voice", [{"shimmer_db": 0.3}, {"scoop_cents": 300, "scoop_ms": 800}])
def test_voice_whose_pitch_is_steady_in_the_end_can_lock(tenor, voice):
    found = judged(tenor, 2.0 * B_FLAT, **voice)
    assert (found.state, found.ratio, found.reason) == ("locked", (2, 1), None)
    assert found.sung_hz == pytest.approx(2.0 * B_FLAT, rel=1e-6)


def test_vowels_lock_as_a_plain_voice_does(tenor):
    found = judged(tenor, 3.0 * B_FLAT, vowel="a")
    assert (found.state, found.ratio) == ("locked", (3, 1))


def test_false_folds_move_the_common_note(tenor):
    # 3/1 with the false folds at half the sung pitch is 3/2: the common note lies an octave lower.
    found = judged(tenor, 3.0 * B_FLAT, false_folds=2)
    assert found.sung_hz == pytest.approx(1.5 * B_FLAT, rel=1e-6)
    assert found.ratio == (3, 2)
    assert found.resultant_hz == pytest.approx(0.5 * B_FLAT, rel=1e-3)
    assert found.reason == "the false folds make the voice repeat only after 2 periods"


def test_unsteady_voice_with_no_ratio_near_is_rough(tenor):
    found = judged(tenor, 1.45 * B_FLAT, jitter=0.005)
    assert (found.state, found.ratio, found.reason) == ("rough", None, None)


# --- what is refused, and what is left alone -----------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("jitter", 0.06, "voice.jitter is 0.06; allowed 0 to 0.05 (mean difference"),
        ("shimmer_db", 4, "voice.shimmer_db is 4 dB; allowed 0 to 3 dB (mean difference"),
        ("vibrato_cents", -1, "voice.vibrato_cents is -1 cents; allowed 0 to 200 cents (how far"),
        ("false_folds", 2.5, "voice.false_folds is 2.5; it must be a whole number, 1 to 3 (sung"),
        ("seed", 0.5, "voice.seed is 0.5; it must be a whole number, 0 to 999999 (which"),
        ("vowel", "e", "voice.vowel is 'e'; allowed 'none', 'neutral', 'a', 'i' or 'u'"),
        ("vibrato", 5, "voice.vibrato is an unknown key; the unit belongs to the key: write"),
    ],
)
def test_wrong_setting_is_told_in_one_sentence(tenor, name, value, says):
    with pytest.raises(ModelError) as error:
        tenor.with_value(f"voice.{name}", value)
    assert str(error.value).startswith(says)


def test_whole_numbers_survive_being_written_down(tenor):
    setup = tenor.with_value("voice.seed", 12.0).with_value("voice.false_folds", 3)
    assert (setup.voice.seed, setup.voice.false_folds) == (12, 3)
    assert Setup.from_plain(setup.to_plain()) == setup


def test_a_recording_or_no_voice_is_not_made_unsteady(tmp_path):
    names = {"jitter": 0.01, "scoop_cents": 100.0, "false_folds": 2}
    assert Voice(**names).uneven == ["voice.jitter", "voice.scoop_cents", "voice.false_folds"]
    assert Voice(**names).unsteady == ["voice.jitter"]
    assert Voice(source="off", **names).uneven == []
    assert Voice(source="recording", file=tmp_path / "voice.wav", **names).uneven == []
