"""A passage played and sung: against takes, without clicks, cut into its notes."""

import functools

import numpy as np
import pytest
from playing import heard

from reedbore.errors import ModelError
from reedbore.measures import pitch, timbre
from reedbore.model.passage import Passage
from reedbore.model.presets import load_horn, load_singer
from reedbore.notes import cents, parse_pitch
from reedbore.simulate import folds, performance
from reedbore.simulate.breath import threshold
from reedbore.simulate.dynamics import held_at, lip_follows, with_dynamic
from reedbore.simulate.performance import Fingered, Score, perform, stretches
from reedbore.simulate.player import OF_A_CONE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import blown, tune
from reedbore.sound import high_pass, to_full_scale, true_peak, write

RATE, SOUND_RATE = 96000, 48000


@functools.cache
def score(fingered, sung="", horn="tenor-saxophone", passage=(), **voice):
    """A score at 60 beats a minute: a beat is a second."""
    written = Passage(tempo_bpm=60, fingered=fingered, sung=sung, **dict(passage))
    preset = load_horn(horn)
    singer = load_singer("low-male").voice
    setups = {}
    for note in written.fingered_line.notes:
        if note.pitch:
            setup = tune(preset, parse_pitch(note.pitch)).model_copy(update={"voice": singer})
            for name, value in voice.items():
                setup = setup.with_value(name.replace("__", "."), value)
            setups[Fingered(note.pitch, note.fingering)] = setup
    return Score(written, setups)


@functools.cache
def played(*args, **more):
    return perform(score(*args, **more))


def level(sound):
    return 20.0 * np.log10(np.sqrt(np.mean(sound**2)) + 1e-12)


def test_one_note_alone_is_the_take():
    # Consistency: breath and reed are those of a take until the breath ends.
    one = played("Bb2:1.5")
    setup = one.score.setup_of(0).with_value("voice.source", "off")
    taken = render(setup, 1.4)
    begin = slice(0, 134000)
    assert np.allclose(one.pressure_asked[begin], blown(setup, 1.4)[begin], rtol=1e-12)
    swing = np.abs(taken.traces.pressure).max()
    assert np.abs(one.traces.pressure - np.pad(taken.traces.pressure, (0, 57600)))[begin].max() < (
        1e-6 * swing
    )
    # Below hearing a take that ends and a passage that goes on differ.
    sounds = (high_pass(sound, SOUND_RATE, 20.0)[10000:60000] for sound in (one.sound, taken.sound))
    ours, theirs = sounds
    assert np.abs(ours - theirs).max() < 1e-3 * np.abs(theirs).max()


def test_a_sung_pair_is_the_take_of_the_pair():
    # Consistency: the same waveform at the same depth, but for how it fades in.
    one = played("Bb2:2", "D4:2")
    setup = one.score.setup_of(0).with_value("voice.frequency_hz", parse_pitch("D4"))
    taken = render(setup, 2.0)
    late = slice(120000, 180000)
    assert np.abs(one.sung - np.pad(taken.sung, (0, 48000)))[late].max() < 1e-9
    assert np.abs(one.traces.mouth - np.pad(taken.mouth, (0, 48000)))[late].max() < 1e-3


@pytest.mark.parametrize(
    ("horn", "line"),
    [
        ("tenor-saxophone", "Bb2:1~ D3:1~ C3:1"),
        ("clarinet-b-flat", "D3:1~ A4:1"),  # the vent opens
        ("alto-saxophone", "D3:1~ F3:1~ Eb3:1"),
    ],
)
def test_slurred_notes_play_in_tune_and_do_not_click(horn, line):
    one = played(line, horn=horn)
    jerk = np.abs(np.diff(high_pass(one.sound, SOUND_RATE, 20.0), 2))
    for place, span in enumerate(one.fingered):
        pressure = one.traces.pressure[span.end - 40000 : span.end - 2000]
        setup = one.score.setup_of(place).with_value("voice.source", "off")
        alone = heard(render(setup, 1.2).traces.pressure[-40000:])
        assert heard(pressure) == pytest.approx(alone, rel=5e-4)
        if place:
            slur = span.first * SOUND_RATE // RATE
            before, after = jerk[slur - 20000 : slur - 2000], jerk[slur + 5000 : slur + 23000]
            assert jerk[slur - 100 : slur + 1500].max() < 1.3 * max(before.max(), after.max())


def test_parted_notes_are_tongued_and_rests_are_silent():
    one = played("Bb2:1 Bb2:1 rest:1 Bb2:1")
    opening, setup = one.traces.opening, one.score.setup_of(0)
    assert opening[95500:96500].min() < 0.5 * setup.reed.opening
    assert one.controls.tongue[96000] == 0.0
    sounding, resting = one.sound[30000:45000], one.sound[2 * 48000 + 36000 : 3 * 48000 - 1000]
    assert level(resting) < level(sounding) - 40.0
    assert heard(one.traces.pressure[-90000:-50000]) == pytest.approx(parse_pitch("Bb2"), rel=1e-3)


@functools.cache
def swelled(breath="pp@0 ff@2.5"):
    return played("D3:3", horn="clarinet-b-flat", passage=(("breath", breath),))


def test_breath_and_lip_swell_between_the_dynamics():
    # As loud at either end as a take of that dynamic, which is 12 dB and more from pp to ff.
    one = swelled()
    parts = [level(one.sound[at : at + 9600]) for at in range(14400, 134400, 24000)]
    assert parts == sorted(parts)
    assert parts[-1] - parts[0] > 12.0
    setup = one.score.setup_of(0).with_value("voice.source", "off")
    loud = lip_follows(with_dynamic(setup, "ff"), parse_pitch("D3"))
    assert one.held.opening[-1] == pytest.approx(loud.reed.opening)
    assert one.held.pressure[-1] == pytest.approx(loud.breath.pressure)
    assert level(one.sound[130000:140000]) == pytest.approx(
        level(render(loud, 1.0).sound[-10000:]), abs=0.2
    )


def test_a_held_dynamic_is_the_take_of_it_and_its_lip_holds_the_note():
    one = swelled("p")
    setup = one.score.setup_of(0).with_value("voice.source", "off")
    soft = lip_follows(with_dynamic(setup, "p"), parse_pitch("D3"))
    assert one.setup_at(0, 144000).reed.stiffness == pytest.approx(soft.reed.stiffness)
    assert level(one.sound[48000:96000]) == pytest.approx(
        level(render(soft, 2.0).sound[-48000:]), abs=0.05
    )
    assert cents(heard(one.traces.pressure[96000:192000]), parse_pitch("D3")) == pytest.approx(
        0.0, abs=1.0
    )
    still = played("D3:3", horn="clarinet-b-flat", passage=(("breath", "p"),), breath__lip="still")
    assert abs(cents(heard(still.traces.pressure[96000:192000]), parse_pitch("D3"))) > 3.0


def test_below_pp_the_breath_goes_to_where_the_note_begins_and_beyond_ff_up_to_the_loudest():
    setup = swelled().score.setup_of(0)
    found = held_at(setup, parse_pitch("D3"), np.array([0.0, 1.0 / 7.0, 6.0 / 7.0, 1.0]))
    plain = setup.with_value("voice.source", "off")
    soft, loud = (
        lip_follows(with_dynamic(plain, name), parse_pitch("D3")) for name in ("pp", "ff")
    )
    assert found.opening == pytest.approx([soft.reed.opening] * 2 + [loud.reed.opening] * 2)
    assert found.pressure[0] == pytest.approx(threshold(soft))
    assert found.pressure[3] == pytest.approx(setup.breath.loudest * loud.reed.closes_at)
    assert (np.diff(found.pressure) >= 0.0).all()


@pytest.mark.parametrize("breath", ["", "pp@0 ff@2 pp@4"])
def test_a_note_change_has_no_more_energy_than_the_notes_around_it(breath):
    # Of the second difference, in any 5 ms; with the swell as without it.
    line = "Bb2:0.5~ F3:0.5~ C3:0.5~ A3:0.5~ D3:0.5~ Bb2:0.5~ G3:0.5~ F3:0.5"
    one = played(line, passage=(("breath", breath),))
    size = round(0.005 * SOUND_RATE)
    jerk = np.cumsum(np.diff(high_pass(one.sound, SOUND_RATE, 20.0), 2) ** 2)
    energy = jerk[size:] - jerk[:-size]

    def most(begin, end):
        return energy[round(begin * SOUND_RATE) : round(end * SOUND_RATE)].max()

    for at in np.arange(0.5, 4.0, 0.5):
        around = max(most(at - 0.2, at - 0.03), most(at + 0.2, at + 0.4))
        assert most(at - 0.01, at + 0.06) < 2.0 * around


# --- a player who is no machine ------------------------------------------------------------------

MOVES = {"breath__air": 0.002, "breath__sway": 0.03, "breath__lip_sway": 0.04}


def test_breath_and_lip_move_through_a_passage_alike_by_their_seed():
    line, horn = "D3:0.4~ F3:0.4", "clarinet-b-flat"
    still, one = played(line, horn=horn), played(line, horn=horn, **MOVES)
    again = perform(one.score)
    assert np.array_equal(one.sound, again.sound)
    other = played(line, horn=horn, **MOVES, breath__seed=1)
    assert not np.array_equal(one.sound, other.sound)
    held = perform(one.score, still=True)
    assert np.array_equal(held.traces.pressure, still.traces.pressure)
    assert not held.sound.size


def test_each_note_of_a_passage_moves_in_pitch_as_a_take_of_it_does():
    # By the slopes of Bb2, B3 would move by some ten cents.
    player = {f"breath__{name.removeprefix('breath.')}": size for name, size in OF_A_CONE.items()}
    one = played("Bb2:1 B3:2.2", **player)
    late = one.sound[round(1.3 * SOUND_RATE) : round(3.1 * SOUND_RATE)]
    found = timbre.movement(late, SOUND_RATE, parse_pitch("B3"))
    assert 0.8 < found.pitch_cents < 3.2


def test_after_a_rest_the_tongue_waits_for_the_breath():
    one = played("Bb2:0.5 Bb2:0.5 rest:0.5 Bb2:0.5", breath__tongue_ms=8.0)
    rise, gate = one.score.setup_of(0).breath.rise, one.controls.tongue
    for begin in (0.0, 1.5):
        first = round(begin * RATE)
        waits = gate[first : first + round(rise * RATE)]
        assert not waits.any()
        assert gate[first + round((rise + 0.0081) * RATE)] == pytest.approx(1.1, abs=0.01)
        assert gate[first + round((rise + 0.03) * RATE)] == pytest.approx(1.0, abs=1e-6)
    assert gate[round(0.5 * RATE)] == 0.0
    assert gate[round(0.509 * RATE)] > 1.05
    assert np.abs(np.diff(gate)).max() < 0.01


@pytest.mark.parametrize("slur", ["~", ""])
def test_notes_that_change_in_a_swell_are_no_louder_than_the_louder_of_them(slur):
    # Above 6 kHz the alto's Ab3 has five times the energy of its F3: that is no transient.
    line, swell = f"F3:0.5{slur} Ab3:0.5", (("breath", "pp@0 ff@1.5"),)
    one = played(line, horn="alto-saxophone", passage=swell)
    for hz in (3000.0, 6000.0):
        high = np.fft.rfft(one.sound)
        high[np.fft.rfftfreq(one.sound.size, 1.0 / SOUND_RATE) < hz] = 0.0
        wave = np.fft.irfft(high, one.sound.size)
        energy = (wave[: wave.size // 480 * 480] ** 2).reshape(-1, 480).sum(axis=1)  # of 10 ms
        change = round(100 * one.fingered[1].first / RATE)
        before, after = (np.median(energy[change + at : change + at + 20]) for at in (-25, 15))
        assert energy[change - 3 : change + 8].max() < 2.0 * max(before, after)


def test_depth_follows_its_curve():
    one = played("Bb2:2", "D4:2", passage=(("depth", "0.05@0 0.2@2"),))
    steady = one.pressure_asked

    def swing(part):
        return np.max(one.traces.mouth[part] / steady[part] - 1.0)

    assert swing(slice(20000, 22000)) == pytest.approx(0.05 + 0.15 * 0.11, abs=0.01)
    assert swing(slice(180000, 182000)) == pytest.approx(0.19, abs=0.01)


def test_voice_as_a_flow_and_a_coupled_mouth_play_a_passage():
    flow = {"voice__drive": "flow", "voice__vowel": "a", "tract__coupling": "on"}
    one = played("Bb2:1~ D3:1", "D4:1~ A3:1", **flow)
    assert np.isfinite(one.sound).all()
    assert not np.array_equal(one.traces.mouth, one.pressure_asked)
    assert true_peak(to_full_scale(one.sound, 10.0).samples) <= 10 ** (-1.0 / 20.0)


# --- cut into notes ------------------------------------------------------------------------------


def test_a_passage_is_cut_wherever_a_note_changes():
    one = played("Bb2:2 rest:1 D3:1", "rest:0.5 D4:1 F3:2.5")
    found = [(s.fingered, s.sung, s.first / RATE, s.end / RATE) for s in stretches(one)]
    assert found == [(0, 0, 0, 0.5), (0, 1, 0.5, 1.5), (0, 2, 1.5, 2), (2, 2, 3, 4)]
    assert [s.sung_hz for s in stretches(one)] == [
        None, *(pytest.approx(parse_pitch(note)) for note in ("D4", "F3", "F3")),
    ]  # fmt: skip


def test_where_nobody_sings_notes_of_the_horn_are_left():
    found = stretches(played("Bb2:1~ D3:1"))
    assert [(s.fingered, s.sung, s.sung_hz) for s in found] == [(0, None, None), (1, None, None)]


def test_a_recorded_voice_is_cut_where_its_notes_change(tmp_path):
    # Our own two notes, written as a file: 220 Hz, a gap, then 330 Hz.
    time = np.arange(48000 * 3) / 48000
    hz = np.where(time < 1.4, 220.0, 330.0)
    wave = sum(np.sin(2 * np.pi * k * hz * time) / k for k in range(1, 8))
    wave[(time > 1.2) & (time < 1.7)] = 0.0
    write(tmp_path / "hum.wav", 0.1 * wave, 48000)
    file = {"voice__file": str(tmp_path / "hum.wav"), "voice__source": "recording"}
    found = stretches(played("Bb2:2~ D3:1", **file))
    sung = [s.sung_hz and round(s.sung_hz) for s in found]
    assert sung == [220, None, 330, 330]
    assert [s.fingered for s in found] == [0, 0, 0, 1]
    assert [s.first / RATE for s in found] == pytest.approx([0, 1.2, 1.7, 2.0], abs=0.06)


# --- what cannot be played ------------------------------------------------------------------------


def test_a_passage_that_is_too_long_is_refused():
    with pytest.raises(ModelError, match="lasts 700 s; allowed up to 300 s"):
        perform(score("Bb2:700"))


# --- sung by folds -------------------------------------------------------------------------------

FOLDED = (("voice__drive", "folds"),)
SUNG = "Bb2:2~ F3:1 rest:0.5 F3:1.5"


@functools.cache
def sung_by_folds(sung=SUNG):
    return perform(score("Bb2:3~ C3:2", sung, **dict(FOLDED)))


def swing(performance, begin, end):
    """How far the folds swing between two times. [m]"""
    return np.ptp(performance.traces.half_gap[round(begin * RATE) : round(end * RATE)])


def test_folds_sing_the_notes_of_a_line_and_rest_between_them():
    one = sung_by_folds()
    assert swing(one, 1.0, 1.9) > 5e-4
    assert swing(one, 2.3, 2.9) > 5e-4
    assert swing(one, 3.2, 3.5) < 0.1 * swing(one, 2.3, 2.9)
    assert swing(one, 4.0, 4.8) > 5e-4
    assert not one.sung[round(3.05 * RATE) : round(3.45 * RATE)].any()
    assert np.abs(one.sung).max() == pytest.approx(1.0)


def test_each_note_of_folds_has_its_own_aim():
    # Over the horn a voice may be pulled by half a semitone: 1/1 holds B flat, F is drawn up.
    one = sung_by_folds()
    for begin, end, aim, far in ((1.0, 1.9, "Bb2", 5.0), (2.4, 2.9, "F3", 80.0)):
        gap = one.traces.half_gap[round(begin * RATE) : round(end * RATE)]
        cents = 1200.0 * np.log2(pitch.crossing_rate(gap, RATE) / parse_pitch(aim))
        assert abs(cents) < far


def test_tension_glides_under_a_slur_as_the_pitch_of_a_clock_does():
    # Half way through the glide the aim is half way between the notes, in cents.
    written = score("Bb2:3~ C3:2", SUNG, **dict(FOLDED))
    one = sung_by_folds()
    notes = performance._aimed(
        written, one.controls, one.fingered, one.sung_notes, one.pressure_asked, None
    )
    gates = one.controls.singing, one.controls.blowing
    singer, postures = folds.singing_line(notes, notes[0][1], one.sung.size, *gates)
    first = round(2.0 * RATE)
    glide = np.log2(singer.tension[first - 1 : first + round(0.06 * RATE) + 1])
    assert (np.diff(glide) >= 0.0).all()
    assert glide[glide.size // 2] == pytest.approx(0.5 * (glide[0] + glide[-1]), abs=0.01)
    assert glide[-1] - glide[0] == pytest.approx(
        np.log2(singer.tension[round(2.5 * RATE)] / singer.tension[round(1.5 * RATE)]), abs=1e-3
    )
    assert np.abs(np.diff(postures.rest[first - 1 : first + 6000])).max() < 1e-6


def test_a_note_lets_the_folds_go_and_a_rest_holds_them():
    written, one = score("Bb2:3~ C3:2", SUNG, **dict(FOLDED)), sung_by_folds()
    notes = performance._aimed(
        written, one.controls, one.fingered, one.sung_notes, one.pressure_asked, None
    )
    gates = one.controls.singing, one.controls.blowing
    singer, postures = folds.singing_line(notes, notes[0][1], one.sung.size, *gates)
    held = singer.hold / np.sqrt(singer.tension)
    silent, sung = round(3.25 * RATE), round(3.5 * RATE)
    assert held[silent] == pytest.approx(folds.HELD)
    assert held[sung] == pytest.approx(1.0)
    assert postures.rest[silent] - postures.rest[sung] == pytest.approx(folds.STIR, rel=0.01)


def test_passage_without_a_sung_note_holds_the_folds_still():
    one = perform(score("Bb2:1", **dict(FOLDED)))
    assert np.ptp(one.traces.half_gap) == 0.0
    assert not one.sung.any()
    assert np.ptp(one.traces.pressure) > 1000.0


def test_nothing_clicks_where_folds_begin_and_end():
    # Between two steps the mouth moves no more at the ends of a sung note than within it.
    jumps = np.abs(np.diff(sung_by_folds().traces.mouth))
    within = jumps[round(2.4 * RATE) : round(2.9 * RATE)].max()
    for at in (2.0, 3.0, 3.5):
        assert jumps[round((at - 0.05) * RATE) : round((at + 0.05) * RATE)].max() < 1.5 * within


def test_aim_that_folds_cannot_sing_is_refused():
    with pytest.raises(ModelError, match=r"these folds do not sing over this horn"):
        perform(score("Bb2:1", "Bb4:1", voice__drive="folds", voice__gap_mm=1.2))
