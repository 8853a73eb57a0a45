"""The command `plan` on its way to the practice room: sheets, scores, tracks."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from midi_files import END, by_hand, hexed

from reedbore.cli import main
from reedbore.cli.work import plan as work
from reedbore.cli.work import practice
from reedbore.errors import ModelError
from reedbore.measures.loudness import loudness
from reedbore.model.midi.read import read_midi
from reedbore.model.musicxml.read import read_musicxml
from reedbore.model.presets import load_horn, load_singer
from reedbore.simulate import performance
from reedbore.simulate.request import passage as requests
from reedbore.sound import CEILING_DBTP, true_peak
from reedbore.verdict import tried
from reedbore.verdict.kept import Player
from reedbore.verdict.plan import Tried
from reedbore.verdict.planning import Fingered
from reedbore.verdict.state import Heard, RowState

LINE = ("--fingered", "Bb2:2 D3:2", "--sung", "D4:2 A3:2", "--tempo", "240")


def found(hz: float, p: int, q: int) -> Tried:
    return Tried(
        state=RowState.LOCKED, reason=None, played_hz=hz, aim_hz=hz * p / q, width_cents=30.0,
        pulled_cents=-5.0, held=1.0, heard=Heard.YES, depth=0.1, softest=0.05,
    )  # fmt: skip


@pytest.fixture(autouse=True)
def _quickly(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Stand in for the singer who tries pairs, which takes minutes, and for the tuning."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(work, "known_pairs", lambda *_: {})
    monkeypatch.setattr(
        tried, "try_pairs",
        lambda _, note, ratios: {(p, q): found(note.hz, p, q) for p, q in ratios},
    )  # fmt: skip
    monkeypatch.setattr(
        practice, "flows", lambda _, notes: {(note.hz, note.fingering): 0.3 for note in notes}
    )


def plan(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    status = main(["plan", *words])
    out, err = capsys.readouterr()
    assert status == 0, err
    return out + err


def test_a_line_is_taken_to_the_practice_room(capsys, tmp_path):
    files = ["a.pdf", "a.svg", "a.musicxml", "a.mid"]
    told = plan(capsys, *LINE, *(word for name in files for word in ("-o", name)))
    assert all(f"wrote {name}" in told for name in files)
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-")
    for passage in (
        read_musicxml(tmp_path / "a.musicxml").passage, read_midi(tmp_path / "a.mid").passage
    ):  # fmt: skip
        assert passage.fingered == "Bb2:2 D3:2"
        assert [note.beats for note in passage.sung_line.notes] == [2.0, 2.0]
        assert passage.tempo == 4.0
    assert read_midi(tmp_path / "a.mid").said == (
        "notes on channel 3 are left out; 1 is the fingered line and 2 the sung one",
    )


def test_notes_one_by_one_have_a_sheet_and_a_score_too(capsys, tmp_path):
    plan(capsys, "--fingered", "Bb2", "--quick", "-o", "a.svg", "-o", "a.musicxml")
    made = read_musicxml(tmp_path / "a.musicxml").passage
    assert made.fingered.startswith("Bb2:3 rest:1 Bb2:3 rest:1")


def test_a_quick_track_is_made_of_tones_at_a_safe_level(capsys, tmp_path):
    plan(capsys, *LINE, "--quick", "--track", "a.flac", "--speed", "50")
    sound, rate = soundfile.read(tmp_path / "a.flac")
    # A bar of clicks, then one bar three times, at 120 beats in a minute.
    assert sound.size / rate == pytest.approx(4 * 2.0, abs=0.01)
    assert 20.0 * np.log10(true_peak(sound)) <= CEILING_DBTP
    assert loudness(sound) == pytest.approx(-23.0, abs=4.0)


def test_bars_are_gone_through_four_times_and_a_track_may_be_midi(capsys, tmp_path):
    words = ("--fingered", "Bb2:4 D3:4", "--sung", "D4:4 A3:4", "--tempo", "240", "--quick")
    plan(capsys, *words, "--track", "a.mid", "--bars", "2")
    made = read_midi(tmp_path / "a.mid").passage
    assert {note.pitch for note in made.fingered_line.notes} == {None, "D3"}
    assert [n.beats for n in made.fingered_line.notes if n.pitch] == [4.0] * 12


@pytest.mark.ci
def test_the_answer_is_the_passage_sung_by_folds(capsys, tmp_path, monkeypatch):
    heard = []
    perform = performance.perform
    monkeypatch.setattr(performance, "perform", lambda score: heard.append(score) or perform(score))
    plan(capsys, *LINE, "--track", "a.wav")
    (score,) = heard
    assert score.passage.fingered == "Bb2:2 D3:2"
    assert all(setup.voice.drive == "folds" for setup in score.setups.values())
    sound, rate = soundfile.read(tmp_path / "a.wav")
    assert loudness(sound[-rate:]) == pytest.approx(-23.0, abs=3.0)


def test_what_folds_do_not_sing_is_answered_with_tones(capsys, tmp_path, monkeypatch):
    def perform(_):
        raise ModelError("these folds do not sing it")

    monkeypatch.setattr(performance, "perform", perform)
    monkeypatch.setattr(requests, "score_of", lambda *_: None)
    told = plan(capsys, *LINE, "--track", "a.wav")
    assert "these folds do not sing it; the answer is made of tones" in told
    sound, rate = soundfile.read(tmp_path / "a.wav")
    assert loudness(sound[-rate:]) > -30.0


def test_a_midi_file_becomes_a_tidy_score_without_being_played(capsys, tmp_path):
    # Two beats at 120 a minute, the second note 26 ms late and the first 13 ms short.
    played = hexed("00 902E40 5B 802E40 0A 903240 5B 803240") + END
    sung = hexed("00 913E40 60 813E40 00 913940 60 813940") + END
    (tmp_path / "a.mid").write_bytes(by_hand(played, sung))
    told = plan(capsys, "--passage", "a.mid", "--quick", "--quantise", "1/4", "-o", "a.musicxml")
    made = read_musicxml(tmp_path / "a.musicxml").passage
    assert made.fingered == "Bb2:1 D3:1"
    assert "a.mid: channel 1: notes moved to the grid of 0.25 beats" in told


def test_a_passage_is_moved_for_another_voice_with_its_ratios(capsys, tmp_path):
    plan(capsys, *LINE, "--quick", "--transpose", "3", "-o", "a.mid")
    made = read_midi(tmp_path / "a.mid").passage
    assert made.fingered == "C#3:2 F3:2"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--track", "a.mp3"], "--track a.mp3: a track is written as .wav, .flac or .mid"),
        (["--track", "a.wav", "--speed", "39"], "--speed is 39 %; allowed 40 to 100 %"),
        (["--track", "a.wav", "--bars", "4-3"], "--bars is '4-3'; write one bar, 3, or from bar"),
        (["--bars", "3"], "--bars is for a practice track: name its file with --track"),
        (["--speed", "50"], "--speed is for a practice track"),
        (["--fingered", "Bb2", "--transpose", "2"], "--transpose moves a passage, and here"),
        ([*LINE, "--transpose", "25"], "--transpose is 25 semitones; allowed -24 to 24"),
        ([*LINE, "--transpose", "24"], "--transpose 24: "),
        ([*LINE, "--quick", "--track", "a.wav", "--bars", "2"], "the passage has bars 1 to 1"),
        (["--fingered", "Bb2", "--quantise", "1/4"], "--quantise tidies a MIDI file, and none is"),
        ([*LINE, "--slivers", "20"], "--slivers tidies a MIDI file, and none is read"),
        (["-o", "a.doc"], "write one of .csv, .json, .pdf, .svg, .musicxml, .mid"),
    ],
)  # fmt: skip
def test_a_mistake_is_one_sentence(capsys, words, sentence):
    assert main(["plan", *words]) == 2
    assert sentence in capsys.readouterr().err


def test_the_air_that_a_horn_takes_is_the_mean_flow_without_a_voice(monkeypatch):
    monkeypatch.undo()
    player = Player(horn=load_horn("plain-cylinder"), singer=load_singer("low-male"))
    found = practice.flows(player, [Fingered(110.0)])
    # Clarinets take 0.02 to 0.2 l/s; from memory.
    assert 0.02 < found[110.0, ""] < 0.2
