"""The command `analyse`: recordings in, tables and files out, one sentence for what is unfit."""

import csv
import io
import itertools
import json
import re
from dataclasses import replace
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
from made_mixtures import RATE, added, clock, cycles, mixed, noise, sway, tone

from reedbore import sound
from reedbore.cli import main
from reedbore.cli.work import analyse as work
from reedbore.model.presets import load_singer

F1 = 116.54


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def pair(join=mixed, wander: float = 13.0) -> tuple[np.ndarray, np.ndarray]:
    first = cycles(F1, sway(1.5, wander, 3))
    horn = join(tone(first), tone(2.5 * first, 10.0)) + noise(first.size, 0.02, 1)
    return horn, tone(2.5 * first, 8.0) + noise(first.size, 0.02, 2)


def kept(name: str, *channels: np.ndarray, rate: float = RATE) -> str:
    whole = np.stack(channels, axis=1)
    soundfile.write(name, 0.5 * whole / np.abs(whole).max(axis=0), round(rate))
    return name


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["analyse", *words]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["analyse", *words]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    return line


def notes_of(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict]:
    return json.loads(told(capsys, *words, "--json"))["notes"]


def test_both_channels_tell_what_was_played_and_sung(capsys):
    name = kept("take.wav", *pair())
    (note,) = notes_of(capsys, name, "--throat-channel", "2")
    assert (note["ratio"], note["state"], note["reason"]) == ("5/2", "locked", None)
    assert note["played_hz"] == pytest.approx(F1, rel=3e-3)
    assert note["sung_just_cents"] == pytest.approx(0.0, abs=1.0)
    assert note["common_note"].startswith("Bb1")
    assert note["cannot_tell"].keys() == {"roughness"}


def test_a_file_of_the_throat_does_the_same_as_a_channel(capsys):
    horn, throat = pair()
    both = notes_of(capsys, kept("both.wav", horn, throat), "--throat-channel", "2")
    apart = notes_of(capsys, kept("horn.wav", horn), "--throat", kept("throat.flac", throat))
    assert apart[0]["sung_hz"] == pytest.approx(both[0]["sung_hz"], rel=1e-6)


def test_horn_alone_says_what_it_cannot_tell(capsys):
    (note,) = notes_of(capsys, kept("take.wav", pair(wander=0.0)[0]))
    assert note["sung_hz"] is None
    assert "add a throat microphone" in note["cannot_tell"]["sung_hz"]
    assert any(abs(hz / (2.5 * F1) - 1.0) < 5e-3 for hz in note["sung_class_hz"])


def test_a_voice_is_looked_for_where_its_notes_count_as_sung():
    asked = work.Asked(recording=None, voice="low-male", a4=442.0)
    assert work.known_of(asked).reach == load_singer("low-male").reach(442.0)
    assert work.known_of(replace(asked, voice=None)).reach is None


def test_table_says_the_same_in_words(capsys):
    text = told(capsys, kept("take.wav", *pair(added)), "--throat-channel", "2")
    assert "in tune, lock unproven" in text
    assert "Note 1: in tune, lock unproven: nothing shows that the reed mixed both notes." in text


def test_what_was_found_is_written_as_csv_and_json(capsys):
    name = kept("take.wav", *pair())
    out = told(capsys, name, "--throat-channel", "2", "-o", "a.csv", "-o", "a.json", "--json")
    assert json.loads(Path("a.json").read_text(encoding="utf-8")) == json.loads(out)
    (row,) = csv.DictReader(io.StringIO(Path("a.csv").read_text(encoding="utf-8")))
    assert (row["p"], row["q"], row["state"]) == ("5", "2", "locked")


def test_midi_holds_what_was_played_sung_and_common(capsys):
    told(capsys, kept("take.wav", *pair()), "--throat-channel", "2", "-o", "a.mid")
    tracks = mido.MidiFile("a.mid").tracks
    assert [track.name for track in tracks[1:]] == ["played", "sung", "common"]
    keys = [[m.note for m in track if m.type == "note_on"] for track in tracks[1:]]
    assert keys == [[46], [62], [34]]  # B flat 2, D4 and, an octave below the first, B flat 1
    seconds = sum(m.time for m in tracks[1]) / mido.MidiFile("a.mid").ticks_per_beat
    assert seconds == pytest.approx(1.5, abs=0.1)


@pytest.mark.parametrize("words", [["--throat-channel", "2"], []])
def test_picture_shows_what_was_found(words, capsys):
    name = kept("take.wav", *pair(wander=0.0))
    told(capsys, name, *words, "-o", "a.svg", "-o", "a.png")
    drawn = Path("a.svg").read_text(encoding="utf-8")
    shown = {"take.wav", "played", "sung", "common note", "not decided", "seconds"}
    assert {word for word in shown if f">{word}<" in drawn} == shown
    assert (">one of these was sung<" in drawn) == (not words)
    assert Path("a.png").read_bytes().startswith(b"\x89PNG")


def test_what_the_model_says_of_a_pair_stands_beside_what_was_found(capsys):
    name = kept("take.wav", *pair())
    words = (name, "--throat-channel", "2", "--horn", "tenor-saxophone")
    (told_of,) = json.loads(told(capsys, *words, "--json"))["modelled"]
    # A clock within a cent of 5/2 is held or hardly drifts; without a horn nothing is asked.
    assert (told_of["number"], told_of["state_recorded"]) == (1, "locked")
    assert (told_of["ratio_modelled"], told_of["state_modelled"]) in {
        ("5/2", "locked"),
        ("5/2", "drifting"),
    }
    assert "modelled" not in json.loads(told(capsys, *words[:3], "--json"))


def test_any_rate_will_do(capsys):
    horn, throat = (sound.resample(one, RATE, 44100.0) for one in pair())
    (note,) = notes_of(capsys, kept("a.wav", horn, throat, rate=44100), "--throat-channel", "2")
    assert note["ratio"] == "5/2"


def test_two_channels_without_a_word_are_told(capsys):
    main(["analyse", kept("take.wav", *pair())])
    assert "say --throat-channel 2 if the second is on the throat" in capsys.readouterr().err


def test_swapped_channels_are_told(capsys):
    horn, throat = pair()
    bright = tone(F1 * clock(1.5), 0.5)
    main(
        ["analyse", kept("take.wav", tone(F1 * clock(1.5), 14.0), bright), "--throat-channel", "2"]
    )
    assert "the channels may be swapped" in capsys.readouterr().err
    main(["analyse", kept("fine.wav", horn, throat), "--throat-channel", "2"])
    assert "swapped" not in capsys.readouterr().err


def test_clipping_is_told(capsys):
    horn = pair()[0]
    main(["analyse", kept("take.wav", np.clip(horn, -0.7, 0.7))])
    assert "is clipped" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["none.wav"], "none.wav is not there; a sound file was expected"),
        ([], "RECORDING is missing"),
        (["text.wav"], "cannot be read as a sound file"),
        (["silent.wav"], "silent.wav is silent: its loudest sample is 0"),
        (["one.wav", "--throat-channel", "2"], "one.wav has 1 channel, and one of them is the"),
        (["one.wav", "--throat-channel", "1"], "one.wav has 1 channel, and one of them is the"),
        (["one.wav", "--throat", "one.wav", "--throat-channel", "1"], "give one of them"),
        (["one.wav", "-o", "a.doc"], "a.doc has no known kind of file; write one of .csv, .json"),
        (["one.wav", "--fingered", "H2"], "the note H is written B"),
        (["one.wav", "--fingered", "w:C4"], "name the horn that it is written for"),
        (["one.wav", "--record", "3"], "one.wav is there already; record into a new file"),
        (["new.wav", "--record", "0.5"], "--record is 0.5 s; allowed 1 to 3600 s"),
    ],
)
def test_what_is_unfit_gets_one_sentence(words, says, capsys):
    Path("text.wav").write_text("no sound", encoding="utf-8")
    kept("one.wav", pair()[0])
    soundfile.write("silent.wav", np.zeros(12000), 12000)
    assert says in refused(capsys, *words)


def test_a_written_note_is_that_of_the_horn(capsys):
    name = kept("take.wav", pair()[0])
    words = ("--horn", "tenor-saxophone", "--fingered", "w:C4")
    (note,) = notes_of(capsys, name, *words)
    assert note["played_note"].startswith("Bb2")


def test_recording_is_kept_and_analysed(capsys, monkeypatch):
    asked = []

    def record(seconds: float, channels: int) -> tuple[np.ndarray, int]:
        asked.append((seconds, channels))
        return 0.05 * np.stack(pair(), axis=1), round(RATE)

    monkeypatch.setattr(sound, "record", record)
    (note,) = notes_of(capsys, "new.wav", "--record", "1.5", "--throat-channel", "2")
    assert (asked, note["ratio"]) == ([(1.5, 2)], "5/2")
    assert sound.Pieces("new.wav").channels == 2


def test_a_file_is_read_piece_by_piece_as_it_is_as_a_whole():
    kept("take.wav", *pair())
    pieces = sound.Pieces("take.wav")
    edges = [0.0, 0.3, 0.31, 1.2, 9.0]
    parts = [pieces.between(*edge) for edge in itertools.pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), soundfile.read("take.wav")[0])


def test_a_plan_is_laid_beside_what_was_played(capsys):
    plan = '[passage]\ntempo_bpm = 60\nfingered = "Bb2:1.5 D3:1"\nsung = "D4:1.5 A3:1"\n'
    head = 'title = "Two"\nhorn = "tenor-saxophone"\nvoice = "low-male"\n\n'
    Path("two.toml").write_text(head + plan, encoding="utf-8")
    name = kept("take.wav", *pair())
    words = (name, "--throat-channel", "2", "--passage", "two.toml")
    text = told(capsys, *words)
    assert "1 of 2 planned notes are right." in text
    assert "Planned note 2, D3 with A3: missing." in text
    plan = json.loads(told(capsys, *words, "--json"))["plan"]
    assert [note["outcome"] for note in plan["notes"]] == ["right", "missing"]
    told(capsys, *words, "-o", "a.svg")
    assert ">planned<" in Path("a.svg").read_text(encoding="utf-8")
    assert "none.toml" in refused(capsys, name, "--passage", "none.toml")


def test_recordings_of_a_passage_stand_side_by_side_in_its_log(capsys):
    plan = '[passage]\ntempo_bpm = 60\nfingered = "Bb2:1.5"\nsung = "D4:1.5"\n'
    head = 'title = "One"\nhorn = "tenor-saxophone"\nvoice = "low-male"\n\n'
    Path("one.toml").write_text(head + plan, encoding="utf-8")
    Path("other.toml").write_text(head + plan, encoding="utf-8")
    horn, _ = pair(wander=0.0)
    t = clock(1.5)
    off = tone(2.5 * F1 * 1.01 * t, 8.0) + noise(t.size, 0.02, 2)
    first = kept("monday.wav", mixed(tone(F1 * t), off / 3.0) + noise(t.size, 0.02, 1), off)
    second = kept("tuesday.wav", horn, pair(wander=0.0)[1])
    words = ("--throat-channel", "2", "--passage", "one.toml", "--log", "one.log")
    assert "The first recording in this log." in told(capsys, first, *words)
    text = told(capsys, second, *words)
    assert re.search(r"Nearer: 17\.\d cents off before, 0\.\d now\.", text)
    assert "Steadier: " in text
    kept_log = json.loads(Path("one.log").read_text(encoding="utf-8"))
    assert [one["recording"] for one in kept_log["recordings"]] == ["monday.wav", "tuesday.wav"]
    words = ("--throat-channel", "2", "--passage", "other.toml", "--log", "one.log")
    assert "is the log of 'one.toml', not of 'other.toml'" in refused(capsys, second, *words)
    assert "name it by --passage" in refused(capsys, second, "--log", "one.log")


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ("no log", "is no practice log"),
        ('{"version": 2, "passage": "one.toml", "recordings": []}', "of version 2; known is 1"),
        ('{"version": 1, "passage": "one.toml", "recordings": [{}]}', "is no practice log"),
    ],
)
def test_a_log_that_is_none_is_refused_and_stays(held, says, capsys):
    plan = '[passage]\ntempo_bpm = 60\nfingered = "Bb2:1.5"\n'
    head = 'title = "One"\nhorn = "tenor-saxophone"\nvoice = "low-male"\n\n'
    Path("one.toml").write_text(head + plan, encoding="utf-8")
    Path("one.log").write_text(held, encoding="utf-8")
    name = kept("take.wav", *pair())
    assert says in refused(capsys, name, "--passage", "one.toml", "--log", "one.log")
    assert Path("one.log").read_text(encoding="utf-8") == held
