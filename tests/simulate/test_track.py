import io
from dataclasses import replace

import mido
import numpy as np
import pytest

from reedbore.errors import ModelError
from reedbore.measures.loudness import loudness
from reedbore.model.midi.write import PERCUSSION, practice_bytes
from reedbore.model.musicxml.write import Third
from reedbore.model.passage import Passage
from reedbore.notes import parse_pitch
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.track import (
    ANSWER,
    ANSWER_LUFS,
    COUNT,
    DRONE_LUFS,
    GAP,
    GUIDE,
    GUIDE_LUFS,
    LONGEST_S,
    LOOPS,
    Section,
    Track,
    bars_cut,
    slowed,
    sound_of,
    track_of,
)
from reedbore.sound import CEILING_DBTP, true_peak


def passage(**changed: object) -> Passage:
    plain = {"tempo_bpm": 240, "meter": "2/4", "fingered": "Bb2:4", "sung": "F3:2 D4:2"}
    return Passage.from_plain({**plain, **changed})


def heard(track: Track, sound: np.ndarray, name: str) -> np.ndarray:
    found = next(section for section in track.sections if section.name == name)
    return sound[round(found.begin * SOUND_RATE) : round(found.end * SOUND_RATE)]


def strength(sound: np.ndarray, hz: float) -> float:
    """Return the amplitude of a partial, in dB of full scale."""
    times = np.arange(sound.size) / SOUND_RATE
    window = np.hanning(sound.size)
    line = np.sum(sound * window * np.exp(-2j * np.pi * hz * times)) / np.sum(window)
    return float(20.0 * np.log10(2.0 * abs(line) + 1e-12))


@pytest.fixture(name="made", scope="module")
def _made() -> tuple[Track, np.ndarray]:
    # E3 has no partial in common with the drone.
    made = passage(tempo_bpm=120, sung="E3:2 D4:2")
    track = track_of(made, [Third(0.0, 2.0, parse_pitch("Bb1"))])
    return track, sound_of(track)


def test_a_part_is_counted_in_guided_left_open_and_answered() -> None:
    track = track_of(passage())
    # A beat is a quarter of a second: one bar of two, then two bars of two, three times.
    assert track.sections == (
        Section(COUNT, 0.0, 0.5, 0.0), Section(GUIDE, 0.5, 1.5, 0.0), Section(GAP, 1.5, 2.5, 0.0),
        Section(ANSWER, 2.5, 3.5, 0.0),
    )  # fmt: skip
    assert [click.second for click in track.clicks] == pytest.approx(np.arange(14) * 0.25)
    assert [click.strong for click in track.clicks] == [True, False] * 7


def test_what_is_sung_is_guided_and_left_out_in_the_gap() -> None:
    track = track_of(passage())
    roles = [(round(tone.begin, 3), tone.role) for tone in track.tones]
    assert roles == [
        (0.5, "drone"), (0.5, "guide"), (1.0, "guide"), (1.5, "drone"),
        (2.5, "fingered"), (2.5, "sung"), (3.0, "sung"),
    ]  # fmt: skip


def test_bars_in_which_nobody_sings_are_passed_over() -> None:
    track = track_of(passage(fingered="Bb2:12", sung="F3:4 rest:4 D4:4"))
    assert [s.source for s in track.sections if s.name == GAP] == [0.0, 2.0]


def test_the_guide_is_heard_the_drone_lies_under_it_and_the_gap_has_no_guide(
    made: tuple[Track, np.ndarray],
) -> None:
    track, sound = made
    assert loudness(heard(track, sound, GUIDE)) == pytest.approx(GUIDE_LUFS, abs=2.0)
    assert loudness(heard(track, sound, GAP)) == pytest.approx(DRONE_LUFS, abs=3.0)
    half = SOUND_RATE  # E3 sounds for one second
    sung = 2.0 * parse_pitch("E3")
    assert strength(heard(track, sound, GUIDE)[:half], sung) > -40.0
    assert strength(heard(track, sound, GAP)[:half], sung) < -70.0


def test_a_low_guide_is_heard_above_what_a_small_loudspeaker_leaves_out() -> None:
    # 300 Hz: where small loudspeakers begin; common practice, no source.
    track = track_of(passage(tempo_bpm=120, sung="Bb1:4", fingered="Bb2:4"))
    sound = heard(track, sound_of(track), GUIDE)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    above = spectrum[np.fft.rfftfreq(sound.size, 1.0 / SOUND_RATE) > 300.0].sum()
    assert above / spectrum.sum() > 0.1


def test_the_answer_is_what_was_simulated_as_loud_as_the_guide() -> None:
    times = np.arange(3 * SOUND_RATE) / SOUND_RATE
    answer = 1e-3 * np.sin(2.0 * np.pi * 1000.0 * times) * (times < 1.0)
    track = track_of(passage(tempo_bpm=120))
    sound = heard(track, sound_of(track, answer), ANSWER)
    assert strength(sound[:SOUND_RATE], 1000.0) > -30.0
    assert strength(sound[SOUND_RATE:], 1000.0) < -70.0
    assert strength(sound[:SOUND_RATE], 2.0 * parse_pitch("F3")) < -70.0
    assert loudness(sound) == pytest.approx(ANSWER_LUFS, abs=2.0)


@pytest.mark.parametrize("peaks", [0.0, 1.0])
def test_nothing_exceeds_the_ceiling(peaks: float) -> None:
    # An answer of single clicks is soft on the whole and has high peaks.
    answer = np.zeros(2 * SOUND_RATE)
    answer[:: SOUND_RATE // 2] = peaks
    track = track_of(passage())
    sound = sound_of(track, answer)
    peak = 20.0 * np.log10(true_peak(sound))
    assert peak <= CEILING_DBTP + 1e-9
    assert peak > (CEILING_DBTP - 0.5 if peaks else -20.0)


def test_no_note_begins_or_ends_at_once(made: tuple[Track, np.ndarray]) -> None:
    # The drone goes on while the guide changes.
    guide = tuple(tone for tone in made[0].tones if tone.role == "guide")
    track = replace(made[0], clicks=(), tones=guide)
    sound = np.abs(sound_of(track))
    for tone in track.tones:
        for edge in (tone.begin, tone.end):
            near = round(edge * SOUND_RATE)
            assert sound[max(near - 24, 0) : near + 24].max() < 0.02 * sound.max()


def test_bars_are_cut_out_with_what_is_held_into_them() -> None:
    whole = passage(
        fingered="Bb2:3~ C3:5", sung="F3:1 D4:4 G3:3", tempo_changes="120@3", meter="2/4 3/4@4",
        breath="pp ff@8", depth="0.1 0.3@2",
    )  # fmt: skip
    cut = bars_cut(whole, 2, 3)
    assert (cut.fingered, cut.sung) == ("Bb2:1~ C3:4", "D4:3 G3:2")
    assert (cut.tempo, cut.tempo_changes, cut.meter) == (4.0, "120@1", "2/4 3/4@2")
    assert cut.breath_curve[0].value == pytest.approx(1 / 7 + 0.25 * 5 / 7)
    assert cut.depth == "0.3"


def test_chosen_bars_are_gone_through_several_times_after_one_count() -> None:
    track = track_of(bars_cut(passage(), 2, 2), loops=LOOPS)
    assert [section.name for section in track.sections] == [COUNT, *[GUIDE, GAP, ANSWER] * LOOPS]


@pytest.mark.parametrize(("speed", "bpm"), [(0.4, 96.0), (1.0, 240.0)])
def test_it_goes_at_a_share_of_the_tempo(speed: float, bpm: float) -> None:
    slow = slowed(passage(tempo_changes="100@2"), speed)
    assert slow.tempo * 60.0 == pytest.approx(bpm)
    assert slow.seconds == pytest.approx(passage(tempo_changes="100@2").seconds / speed)


@pytest.mark.parametrize(
    ("fails", "says"),
    [
        (lambda: slowed(passage(), 0.39), r"--speed is 39 %; allowed 40 to 100 %"),
        (lambda: slowed(passage(), 1.01), r"--speed is 101 %; allowed 40 to 100 %"),
        (
            lambda: slowed(passage(tempo_bpm=24), 0.41),
            r"41 makes 9\.84 beats in a minute; allowed 10",
        ),
        (lambda: bars_cut(passage(), 2, 3), r"--bars 2-3: the passage has bars 1 to 2"),
        (lambda: bars_cut(passage(fingered="rest:2 C3:2"), 1, 1), "nothing is fingered in bars"),
        (lambda: track_of(passage(sung="")), "nothing is sung there"),
    ],
)
def test_what_cannot_be_practised_is_one_sentence(fails: object, says: str) -> None:
    with pytest.raises(ModelError, match=says):
        fails()  # type: ignore[operator]


def test_a_track_of_more_than_a_quarter_of_an_hour_is_refused() -> None:
    slow = {"tempo_bpm": 10, "meter": "4/4"}
    assert track_of(passage(**slow, fingered="C3:48", sung="C4:48")).seconds <= LONGEST_S
    with pytest.raises(ModelError, match=r"the track would last 960 s; allowed up to 900 s"):
        track_of(passage(**slow, fingered="C3:52", sung="C4:52"))


def test_as_midi_it_has_a_channel_a_line_and_clicks_on_the_tenth() -> None:
    track = track_of(passage())
    lines = {"horn": [t[:3] for t in track.tones if t.role == "drone"], "voice": []}
    data = practice_bytes(lines, track.clicks, track.tempo, "Slow")
    made = mido.MidiFile(file=io.BytesIO(data))
    # General MIDI: percussion is channel 10; keys 76 and 77 are wood blocks.
    clicks = [m for t in made.tracks for m in t if m.type == "note_on" and m.channel == PERCUSSION]
    assert [message.note for message in clicks] == [76, 77] * 7
    assert made.length == pytest.approx(track.seconds, abs=0.3)
    horn = [m.note for m in made.tracks[2] if m.type == "note_on"]
    assert horn == [46, 46]
