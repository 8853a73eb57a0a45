"""The picture of a passage: what it shows, and a whole file for every kind of passage."""

import itertools
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from fake_performances import performance_of, row_of, rows_of
from lightness import lightness
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Annotation, Text

from reedbore.errors import ReedboreError
from reedbore.model import presets
from reedbore.model.passage import Passage
from reedbore.notes import midi_to_hz
from reedbore.report import passage as note_report
from reedbore.report.figures import passage as passages
from reedbore.report.figures import passage_data
from reedbore.report.looks import LOOKS
from reedbore.simulate import outside
from reedbore.verdict.state import Reason

ETUDE_TOLD = (
    {}, {"state": "drifting", "heard": "uncertain", "held": "locked"}, {}, {"state": "rough"},
    {"state": "drifting", "heard": "no"}, {}, {"heard": "no"}, {"state": "drifting"},
    {"state": "rough", "held": "locked"},
)  # fmt: skip


def melody(fingered: str, sung: str = "", tempo: float = 2.0, **more: str) -> Passage:
    return Passage(tempo=tempo, fingered=fingered, sung=sung, **more)


DUET = melody("Bb2:4~ C3:4 rest:1 D3:3", "D4:2~ C4:2 rest:1 G3:3 rest:1 A3:3")


def drawn(passage: Passage, told=(), **more: Any):
    played = performance_of(passage, **more)
    return played, rows_of(played, told)


@pytest.fixture(scope="module")
def etude():
    played = performance_of(presets.load_piece("mill-race").passage)
    return played, rows_of(played, ETUDE_TOLD)


@pytest.mark.parametrize(
    ("kind", "begins"), [(".png", b"\x89PNG"), (".pdf", b"%PDF"), (".SVG", b"<?xml")]
)
def test_etude_is_written_in_every_kind_of_file(etude, kind: str, begins: bytes, tmp_path: Path):
    path = tmp_path / f"etude{kind}"
    passages.passage_picture(*etude, path, title="Mill race", says="It turns.")
    assert path.read_bytes().startswith(begins)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    if kind == ".png":
        picture = imread(path)
        assert picture.shape[1] == 1400
        assert float(np.ptp(picture[:, :, :3])) > 0.8


@pytest.mark.parametrize(("ratio", "drawn"), [((8, 3), True), ((9, 4), False)])
def test_what_is_planned_is_drawn_as_far_as_it_is_simulated(ratio: tuple[int, int], drawn: bool):
    fingered = midi_to_hz(46)
    row = row_of(1, 0.0, 1.0, fingered, fingered * ratio[0] / ratio[1], state="rough")
    assert row.planned.ratio == ratio
    assert bool(passage_data.resultant_of(row)) is drawn


def test_unknown_kind_of_file_is_refused(tmp_path: Path):
    with pytest.raises(ReedboreError, match=r"no known kind of picture; write \.png, \.svg, \.pdf"):
        passages.passage_picture(*drawn(DUET), tmp_path / "duet.jpg", title="Duet")
    assert list(tmp_path.iterdir()) == []


def test_file_that_cannot_be_written_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ReedboreError, match="cannot be written"):
        passages.passage_picture(*drawn(DUET), tmp_path / "file" / "x.png", title="Duet")


def test_same_passage_gives_the_same_file(tmp_path: Path):
    files = [tmp_path / "a.svg", tmp_path / "b.svg"]
    for file in files:
        passages.passage_picture(*drawn(melody("Bb2:1", "D4:1")), file, title="Duet")
    assert files[0].read_bytes() == files[1].read_bytes()


def written(
    passage: Passage, path: Path, told=(), transposition: int | None = None, **more: Any
) -> list[str]:
    """All words that stand in the picture, read from the file as a browser does."""
    played, rows = drawn(passage, told, **more)
    passages.passage_picture(
        played, rows, path, title="Mill & race", says="Two notes < one.",
        transposition=transposition,
    )  # fmt: skip
    root = ElementTree.parse(path).getroot()
    texts = root.iter("{http://www.w3.org/2000/svg}text")
    return ["".join(text.itertext()).strip() for text in texts]


def test_words_of_a_picture_can_be_read_in_the_file(tmp_path: Path):
    told = ({"heard": "uncertain"}, {"state": "drifting", "held": "locked"}, {"heard": "no"})
    words = written(DUET, tmp_path / "duet.svg", told)
    assert {"Mill & race", "Two notes < one."} <= set(words)
    assert {"Bb2", "C3", "D3", "D4", "C4", "G3", "A3"} <= set(words)  # fingered and sung
    # 5/2 over Bb2, 9/4, 3/2 over C3 and over D3: by hand, names an octave and more below.
    assert {"5/2", "9/4", "3/2", "Bb1", "Bb0", "C2", "D2"} <= set(words)
    assert {"locked", "drifting", "locks if held", "third note: heard", "not heard"} <= set(words)
    assert {"time [s]", "level [dB]", "bar", "1", "2"} <= set(words)


def test_fingered_notes_are_named_as_written_beside_what_sounds_on_demand(tmp_path: Path):
    # A tenor saxophone is written a major ninth higher than it sounds: common practice, no source.
    words = written(DUET, tmp_path / "duet.svg", transposition=14)
    assert {"Bb2 (w:C4)", "C3 (w:D4)", "D3 (w:E4)", "D4"} <= set(words)
    assert "Bb2" not in words
    legend = "fingered note, as asked (w: as written for the horn)"
    assert legend in words
    assert legend not in written(DUET, tmp_path / "plain.svg")


def test_names_follow_the_tuning_of_the_horn(tmp_path: Path):
    played, rows = drawn(melody("220Hz:4"))
    path = tmp_path / "low.svg"
    passages.passage_picture(played, rows, path, title="Low", a4=415.0)
    assert ">A3+101c<" not in path.read_text()
    assert re.search(r">Bb3\+1c<", path.read_text())  # 220 Hz against 207.5: 101.3 cents


def boxes(figure) -> list[tuple[str, Any]]:
    """Where all words stand that a picture really shows, in pixels."""
    seen: list[Text] = []
    draw = Text.draw

    def watched(text: Text, renderer: Any) -> None:
        seen.append(text)
        draw(text, renderer)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Text, "draw", watched)
        figure.draw_without_rendering()
    shown = [text for text in seen if text.get_text() and text.get_visible()]
    return [(text.get_text(), text.get_window_extent()) for text in shown]


def crowd(count: int) -> Passage:
    """Short notes, far more than have room for their names."""
    names = itertools.islice(itertools.cycle(["Bb2", "D3", "C3", "F3", "Eb3"]), count)
    voice = itertools.islice(itertools.cycle(["F3", "D4", "A3", "Bb2", "C4", "G3", "D3"]), count)
    line, other = (" ".join(f"{name}:0.5" for name in half) for half in (names, voice))
    return melody(line, other, tempo=2.0)


ALL_STATES = [{"state": state} for state in (*LOOKS, "locked", "drifting")]


@pytest.mark.parametrize(
    ("passage", "told"),
    [
        (None, ETUDE_TOLD),
        (DUET, ()),
        (crowd(40), ETUDE_TOLD * 7),
        (crowd(len(ALL_STATES)), ALL_STATES),
        (melody("Bb2:0.5"), ()),
    ],
)
def test_no_two_words_overlap_or_leave_the_page(passage, told, etude):
    played, rows = drawn(passage, told) if passage else etude
    figure = passages.draw(played, rows, "Mill race", "It turns and turns. " * 40, 440.0)
    found = boxes(figure)
    assert len(found) > 10
    for word, box in found:
        assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, word
        assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, word
    for (one, first), (other, second) in itertools.combinations(found, 2):
        assert not first.overlaps(second), f"{one!r} overlaps {other!r}"


def test_words_without_room_are_left_out_and_counted():
    figure = passages.draw(*drawn(crowd(40)), "Crowd", "", 440.0)
    foot = next(word for word, _ in boxes(figure) if word.startswith("Faint"))
    count = int(re.search(r"(\d+) words have no room", foot)[1])
    rows = rows_of(performance_of(crowd(40)))
    names = 40 + 40 + len(rows)  # fingered, sung, states
    names += sum(1 if 1 in found.ratio else 2 for found in passage_data.resultants(rows))
    written_there = sum(
        len(text.get_text().split("\n"))
        for axes in figure.axes for text in axes.texts
        if isinstance(text, Annotation) and "Hz" not in text.get_text()
    )  # fmt: skip
    assert count > 30
    assert count + written_there == names


def test_roomy_picture_leaves_nothing_out(etude):
    figure = passages.draw(*etude, "Mill race", "", 440.0)
    words = [word for word, _ in boxes(figure)]
    assert "Faint lines: bars and beats." in words
    assert words.count("drifting\nlocks if held") == 1


def test_words_keep_off_the_bars():
    axes = Figure().add_axes((0, 0, 1, 1))
    axes.set_xlim(0.0, 10.0)
    labels = passages.draw_notes(axes, *drawn(crowd(30)), 440.0)
    bars = [patch.get_window_extent() for patch in axes.patches]
    assert len(labels.placed) > 10
    assert len(bars) > 30
    for text in labels.placed:
        box = text.get_window_extent()
        assert not any(box.overlaps(bar) for bar in bars), text.get_text()


@pytest.mark.parametrize(
    ("passage", "told", "recorded"),
    [
        (melody("Bb2:2"), (), False),
        (melody("Bb2:0.01"), (), False),
        (melody("rest:1 Bb2:2 rest:4"), (), False),
        (melody("Bb2:2", "rest:1 D4:1"), ({"state": "silent", "played_hz": None},), False),
        (melody("Bb2:2", "Bb2:1 Bb3:1"), (), False),
        (DUET, ({"state": "rough"},) * 9, False),
        (DUET, ({"state": "failed", "played_hz": None},) * 9, False),
        (DUET, ({"state": "undecided", "heard": "uncertain"},) * 9, False),
        (melody("Bb2:4 D3:4"), (), True),
        (melody("Bb2:4 D3:4", "C4:4"), (), True),
    ],
)
def test_every_kind_of_passage_has_a_picture(passage, told, recorded, tmp_path: Path):
    played, rows = drawn(passage, told, recorded=recorded)
    path = tmp_path / "some.png"
    passages.passage_picture(played, rows, path, title="Mill race")
    assert path.stat().st_size > 10_000


def test_passage_that_nobody_judged_has_a_picture(tmp_path: Path):
    passages.passage_picture(performance_of(DUET), [], tmp_path / "some.png", title="Mill race")
    assert (tmp_path / "some.png").stat().st_size > 10_000


def test_passage_that_broke_shows_what_there_is(tmp_path: Path):
    played, rows = drawn(DUET)
    for samples in (played.sound, played.traces.pressure):
        samples[samples.size // 2 :] = np.nan
    passages.passage_picture(played, rows, tmp_path / "broken.png", title="Broken")
    seconds = np.concatenate([t for t, hz in passage_data.played_course(played, rows)])
    hz = np.concatenate([hz for _, hz in passage_data.played_course(played, rows)])
    half = 0.5 * played.sung.size / played.score.rate
    assert np.isfinite(hz[seconds < 0.8 * half]).all()
    assert not np.isfinite(hz[seconds > half + 0.2]).any()


def test_passage_that_burst_has_a_picture(tmp_path: Path):
    played, rows = drawn(DUET)
    for samples in (played.sound, played.traces.pressure):
        samples[samples.size // 2 :] *= 1e200
    passages.passage_picture(played, rows, tmp_path / "burst.png", title="Burst")
    assert (tmp_path / "burst.png").stat().st_size > 10_000


def test_title_of_any_length_and_sign_stays_on_the_page():
    figure = passages.draw(*drawn(DUET), "A $5 mill, a $6 race " * 20, "100_$", 440.0)
    found = boxes(figure)
    assert any(word.startswith("A $5 mill, a $6") for word, _ in found)
    assert all(box.x1 <= figure.bbox.x1 for _, box in found)


def test_silence_is_told():
    played, _ = drawn(melody("Bb2:2"))
    played.sound[:] = 0.0
    played.traces.pressure[:] = 0.0
    words = [word for word, _ in boxes(passages.draw(played, [], "Mill race", "", 440.0))]
    assert "silence" in words


def test_recorded_voice_shows_what_was_measured(tmp_path: Path):
    # A line beside a recorded voice is not sung.
    played = performance_of(melody("Bb2:4 D3:4", "C5:8"), recorded=True)
    rows = [row_of(1, 0.2, 1.4, 116.54, 174.9), row_of(2, 2.2, 3.4, 146.83, 245.0)]
    # The recording is a tone with a vibrato, over and under a mean that changes once.
    rate = played.score.rate
    time = np.arange(played.sung.size) / rate
    sung = np.where(time < 1.8, 174.9, 245.0) * 2.0 ** (50.0 * np.sin(11.0 * np.pi * time) / 1200.0)
    played.sung[:] = np.cos(2.0 * np.pi * np.cumsum(sung) / rate)
    times, hz = passage_data.sung_course(played, rows)
    assert not np.any((times > 1.41) & (times < 2.19))
    for row in rows:
        inside = (times > row.begin_s + 0.1) & (times < row.end_s - 0.1)
        off = 1200.0 * np.log2(hz[inside] / row.reached.sung_hz)
        assert off.max() == pytest.approx(50.0, abs=8.0)
        assert off.min() == pytest.approx(-50.0, abs=8.0)
    path = tmp_path / "recorded.svg"
    passages.passage_picture(played, rows, path, title="Mill race")
    for word in ("F3", "B3", "sung note, as measured"):
        assert f">{word}<" in path.read_text()
    assert ">C5<" not in path.read_text()


def test_vibrato_of_a_made_voice_is_drawn_as_it_was_sung():
    played = performance_of(melody("Bb2:4", "F3:4"))
    assert not passage_data.measured(played, rows_of(played))
    setups = {k: s.with_value("voice.vibrato_cents", 30.0) for k, s in played.score.setups.items()}
    played = replace(played, score=replace(played.score, setups=setups))
    assert passage_data.measured(played, rows_of(played))
    words = [word for word, _ in boxes(passages.draw(played, rows_of(played), "Rest", "", 440.0))]
    assert "sung note, as measured" in words


@pytest.mark.parametrize(
    ("fingered", "recorded"), [("Bb2:8", True), ("Bb2:4 D3:4", True), ("Bb2:8", False)]
)
def test_bars_are_drawn_where_there_is_a_beat(fingered: str, recorded: bool):
    played = performance_of(melody(fingered), recorded=recorded)
    words = [word for word, _ in boxes(passages.draw(played, [], "Rest", "", 440.0))]
    free = recorded and fingered == "Bb2:8"
    assert [word.startswith(("bar", "Faint lines")) for word in words].count(True) == 2 * (not free)


def test_line_that_nobody_sings_is_not_drawn():
    played, rows = drawn(DUET)
    played.sung[:] = 0.0
    assert passage_data.sung_notes(played, rows) == []
    assert not np.isfinite(passage_data.sung_course(played, rows)[1]).any()


# --- what is measured ----------------------------------------------------------------------------


def test_played_pitch_follows_the_horn_and_not_what_was_asked():
    played, rows = drawn(DUET)
    bent = 2.0 ** (30.0 / 1200.0)  # the horn plays 30 cents sharp, beside a loud voice
    phase = 2.0 * np.pi * np.cumsum(played.controls.fingered_hz * bent) / played.score.rate
    played.traces.pressure[:] = played.controls.blowing * 500.0 * np.cos(phase)
    played.traces.pressure[:] += 400.0 * played.sung
    courses = list(passage_data.played_course(played, rows))
    notes = passage_data.fingered_notes(played)
    assert len(courses) == len(notes) == 3
    for (times, hz), note in zip(courses, notes, strict=True):
        middle = np.abs(times - 0.5 * (note.begin + note.end)) < 0.3 * (note.end - note.begin)
        cents = 1200.0 * np.log2(hz[middle] / note.hz)
        assert cents == pytest.approx(30.0, abs=2.0)


def test_played_pitch_is_found_in_another_register():
    played, rows = drawn(melody("Bb2:4", "D4:2 F4:2"), ({}, {"played_hz": 2.0 * 116.54}))
    rate = played.score.rate
    time = np.arange(played.sung.size) / rate
    hz = np.where(time < 1.0, 116.54, 233.08)
    played.traces.pressure[:] = 500.0 * np.cos(2.0 * np.pi * np.cumsum(hz) / rate)
    low, high = passage_data.played_course(played, rows)
    assert np.nanmedian(low[1]) == pytest.approx(116.54, rel=1e-3)
    assert np.nanmedian(high[1]) == pytest.approx(233.08, rel=1e-3)
    assert low[0][-1] < 1.0 < high[0][0]


def test_of_folds_the_picture_shows_what_is_aimed_at_beside_what_is_sung():
    # Pure tones in the place of folds: they sing what is written, wherever it is said to be aimed.
    played = performance_of(Passage(tempo_bpm=60, fingered="Bb2:2", sung="F3:2"))
    (row,) = rows_of(played)
    row = replace(row, lungs=3400.0, sung_hz=midi_to_hz(53) * 2.0 ** (-40.0 / 1200.0))
    times, hz = passage_data.sung_course(played, [row])
    inside = (times > 0.5) & (times < 1.5)
    assert hz[inside] == pytest.approx(midi_to_hz(53), rel=1e-4)
    figure = passages.draw(played, [row], "Mill race", "", 440.0)
    words = [word for word, _ in boxes(figure)]
    assert "what is aimed at" in words
    assert "sung note, as measured" in words


def test_silent_horn_has_no_pitch():
    played, rows = drawn(DUET)
    played.traces.pressure[:] = 400.0 * played.sung
    for _, hz in passage_data.played_course(played, rows):
        assert not np.isfinite(hz).any()


def test_level_falls_by_six_decibels_where_the_sound_is_halved():
    time = np.arange(2 * outside.SOUND_RATE) / outside.SOUND_RATE
    sound = np.sin(2.0 * np.pi * 100.0 * time) * np.where(time < 1.0, 1.0, 0.5)
    times, level = passage_data.level_course(sound)
    assert level[times < 0.99] == pytest.approx(0.0, abs=1e-6)
    assert level[times > 1.01] == pytest.approx(-6.0206, abs=1e-3)


def test_bars_follow_the_meter():
    passage = melody("Bb2:14", meter="3/4 4/4@6")
    assert passage_data.bar_beats(passage) == [0.0, 3.0, 6.0, 10.0]


def test_glide_is_drawn_and_rest_is_not():
    played, rows = drawn(DUET)
    times, hz = passage_data.sung_course(played, rows)
    gliding = hz[(times > 1.0) & (times < 1.06)]
    assert np.all(np.diff(gliding) < 0.0)  # D4 down to C4
    assert gliding.size > 5
    assert np.isnan(hz[(times > 2.02) & (times < 2.48)]).all()


def test_looks_differ_without_colour():
    bar = passage_data.Note(0.0, 1.0, 50.0)
    looks = set()
    for state, heard in itertools.product(
        ("locked", "drifting", "rough"), ("yes", "uncertain", "no")
    ):
        look = passages.look_of(passage_data.Resultant(bar, (3, 2), state, heard))
        points = passages.BARS[heard].points
        looks.add((look["hatch"], points))
    assert len(looks) == 9
    grey = sorted(lightness(LOOKS[state].light) for state in ("locked", "drifting", "rough"))
    assert min(np.diff(grey)) > 15.0


def test_note_that_would_lock_says_so():
    assert passage_data.words_of(row_of(1, 0, 1, 100.0, 150.0)) == ["locked"]
    held = row_of(1, 0, 1, 100.0, 150.0, state="drifting", held="locked")
    assert passage_data.words_of(held) == ["drifting", "locks if held"]
    not_even = row_of(1, 0, 1, 100.0, 150.0, state="drifting", held="drifting")
    assert passage_data.words_of(not_even) == ["drifting"]


@pytest.mark.parametrize(
    ("state", "reason", "word"),
    [
        ("drifting", Reason.NOT_SETTLED, "unsettled"),
        ("undecided", Reason.STARTING, "still starting"),
        ("undecided", Reason.TOO_SHORT, "too short to tell"),
        ("rough", Reason.NO_NOTE, "no steady sung note"),
    ],
)
def test_a_note_is_called_on_the_picture_what_the_table_calls_it(state, reason, word):
    row = row_of(1, 0, 1, 100.0, 150.0, state=state, reason=reason)
    (told,) = passage_data.words_of(row)
    assert told == word
    assert word in note_report.told(row.reached)
    in_table = note_report.told(row.reached)
    assert all(part in in_table for part in word.split())
