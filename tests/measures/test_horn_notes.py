"""Notes of a horn: frames made by hand, a made sound, silence, and a take."""

import numpy as np
import pytest

from reedbore.measures import horn_notes, pitch
from reedbore.measures.horn_notes import HOP, WINDOW, Frames
from reedbore.model.presets import load_horn
from reedbore.notes import cents, midi_to_hz
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

RATE = 12000.0
LOUD, FAINT = -20.0, -80.0
NO_PITCH = np.nan


def frames_of(*whiles: tuple[int, float, float]) -> Frames:
    """Frames of whiles: so many of a level [dB] and a pitch [Hz]."""
    counts, levels, pitches = zip(*whiles, strict=True)
    times = 0.5 * WINDOW + HOP * np.arange(sum(counts))
    return Frames(times, np.repeat(levels, counts), np.repeat(pitches, counts))


def silence(count: int) -> tuple[int, float, float]:
    return count, FAINT, NO_PITCH


def spans(found: tuple[horn_notes.Note, ...], times: np.ndarray) -> list[tuple[int, int, float]]:
    """First and last frame and pitch of notes: half a hop lies before the one, behind the other."""
    frame = [
        ((note.begin + 0.5 * HOP - times[0]) / HOP, (note.end - 0.5 * HOP - times[0]) / HOP)
        for note in found
    ]
    return [(round(a, 6), round(b, 6), n.hz) for (a, b), n in zip(frame, found, strict=True)]


def notes_in(*whiles: tuple[int, float, float]) -> list[tuple[int, int, float]]:
    made = frames_of(*whiles)
    return spans(horn_notes.notes(made), made.times)


# --- frames made by hand -------------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "parts"), [(10, 2), (2, 2), (1, 1)])
def test_two_silent_frames_part_notes_of_one_pitch(gap: int, parts: int) -> None:
    found = notes_in(silence(10), (10, LOUD, 220.0), silence(gap), (10, LOUD, 220.0), silence(10))
    ends = [(10, 19, 220.0), (20 + gap, 29 + gap, 220.0)]
    assert found == (ends if parts == 2 else [(10, 29 + gap, 220.0)])


def test_a_change_of_pitch_parts_notes_that_are_slurred() -> None:
    found = notes_in(silence(10), (10, LOUD, 220.0), (10, LOUD, 247.0), silence(10))
    assert found == [(10, 19, 220.0), (20, 29, 247.0)]


@pytest.mark.parametrize(("dip_db", "parts"), [(10.0, 1), (20.0, 2)])
def test_a_dip_of_level_parts_notes_of_one_pitch(dip_db: float, parts: int) -> None:
    # It is not yet silence: 25 dB below the loud would be.
    dip = 3, LOUD - dip_db, 220.0
    found = notes_in(silence(10), (10, LOUD, 220.0), dip, (10, LOUD, 220.0), silence(10))
    assert found == ([(10, 19, 220.0), (23, 32, 220.0)] if parts == 2 else [(10, 32, 220.0)])


@pytest.mark.parametrize(("count", "first"), [(2, []), (4, [(10, 13, 330.0)])])
def test_a_while_shorter_than_an_eighth_of_a_second_is_no_note(
    count: int, first: list[tuple[int, int, float]]
) -> None:
    brief, long = (count, LOUD, 330.0), (20, LOUD, 220.0)
    found = notes_in(silence(10), brief, silence(10), long, silence(10))
    assert found == [*first, (20 + count, 39 + count, 220.0)]


@pytest.mark.parametrize(
    ("floor", "tail", "sounds"),
    [(-40.0, -30.5, True), (-40.0, -31.5, False), (-80.0, -44.5, True), (-80.0, -45.5, False)],
)
def test_a_note_ends_between_the_floor_and_the_loud(
    floor: float, tail: float, sounds: bool
) -> None:
    # 0.45 of the way up from a floor at -40 dB is -31 dB; a deeper floor than 25 dB under -20 dB
    # changes nothing.
    room = 10, floor, NO_PITCH
    found = notes_in(room, (20, LOUD, 220.0), (5, tail, 220.0), room)
    assert found == [(10, 34 if sounds else 29, 220.0)]


@pytest.mark.parametrize(("range_db", "first"), [(5.5, 0), (6.5, 10)])
def test_where_all_is_about_as_loud_pitch_alone_tells(range_db: float, first: int) -> None:
    room = 10, LOUD - range_db, 220.0
    found = notes_in(room, (20, LOUD, 220.0), room)
    begin, end, hz = found[0]
    assert (max(begin, 0), min(end, 39), hz) == (first, 39 - first, 220.0)


@pytest.mark.parametrize(("pitched", "some"), [(9, False), (11, True)])
def test_a_while_of_which_less_than_half_has_a_pitch_is_no_note(pitched: int, some: bool) -> None:
    unpitched = 20 - pitched, LOUD, NO_PITCH
    found = notes_in(silence(10), (pitched, LOUD, 220.0), unpitched, silence(10))
    assert bool(found) == some


def test_notes_at_the_ends_reach_as_far_as_their_frames_look() -> None:
    # Windows of 0.16 s round 0.08 to 0.84 s: the recording is 0.92 s long.
    (note,) = horn_notes.notes(frames_of((20, LOUD, 220.0)))
    assert (note.begin, note.end) == (0.0, pytest.approx(0.92))


def test_frames_without_pitch_hold_no_note() -> None:
    assert horn_notes.notes(frames_of(silence(5), (20, LOUD, NO_PITCH), silence(5))) == ()


# --- sounds --------------------------------------------------------------------------------------


def test_notes_of_a_made_sound_are_found_where_they_are() -> None:
    times = np.arange(round(0.4 * RATE)) / RATE
    tones = [
        sum(np.sin(2.0 * np.pi * k * hz * times) / k for k in range(1, 9)) for hz in (220, 330)
    ]
    quiet = np.zeros(round(0.3 * RATE))
    sound = np.concatenate((quiet, tones[0], quiet, tones[1], quiet))
    sound = sound + 1e-4 * np.random.default_rng(1).standard_normal(sound.size)
    found = horn_notes.notes(horn_notes.frames(sound, RATE))
    assert [note.hz for note in found] == pytest.approx([220.0, 330.0], rel=1e-3)
    assert [note.begin for note in found] == pytest.approx([0.3, 1.0], abs=HOP)
    assert [note.end for note in found] == pytest.approx([0.7, 1.4], abs=HOP)


def test_noise_has_a_level_and_no_pitch() -> None:
    found = horn_notes.frames(0.01 * np.random.default_rng(1).standard_normal(12000), RATE)
    assert found.level_db == pytest.approx(np.full(found.times.size, -40.0), abs=1.0)
    assert np.isnan(found.hz).all()


def test_pieces_are_put_together_as_one_recording() -> None:
    parts = [horn_notes.frames(np.zeros(2400), RATE, begin) for begin in (0.0, 5.0)]
    whole = horn_notes.joined(parts)
    assert whole.times == pytest.approx([0.08, 0.12, 5.08, 5.12])
    assert (whole.level_db == -300.0).all()
    assert np.isnan(whole.hz).all()
    assert horn_notes.notes(whole) == ()


def test_a_take_is_one_note_of_its_pitch() -> None:
    hz = midi_to_hz(53)
    sound = render(tune(load_horn("tenor-saxophone"), hz), 1.0).sound
    thinned, rate = pitch.thin(sound, 48000.0, RATE)
    (note,) = horn_notes.notes(horn_notes.frames(thinned, rate))
    assert cents(note.hz, hz) == pytest.approx(0.0, abs=5.0)
    assert note.end == pytest.approx(1.0, abs=HOP)
