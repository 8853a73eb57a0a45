"""The command `render` with a passage: lines as text and MIDI, and all that is written."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import mido
import numpy as np
import pytest
import soundfile
from midi_files import END, another_library, by_hand, hexed

from reedbore import sound
from reedbore.cli import main
from reedbore.errors import ReedboreError
from reedbore.files import file_stem
from reedbore.model import presets
from reedbore.model.midi.read import read_midi
from reedbore.model.passage import Passage
from reedbore.model.sidecar import PassageSidecar, read
from reedbore.notes import parse_pitch
from reedbore.simulate.request.passage import PassageRequest, passage_again, read_passage
from reedbore.simulate.request.take import Words, is_recording
from reedbore.simulate.tuning import tune

# A tenor saxophone's written C4 sounds Bb2: a major ninth lower, common practice, no source.
ROUGH = ("--fingered", "Bb2", "--sung", "C4:0.75 E4:0.75")


class Ran(NamedTuple):
    """What a command left: exit status, both streams."""

    status: int
    out: str
    err: str


@pytest.fixture(name="run")
def _run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Any:
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> Ran:
        status = main(["render", *words])
        return Ran(status, *capsys.readouterr())

    return run


@pytest.fixture(scope="module")
def rough(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Play two short hums over a held note once, every file written; their folder."""
    folder = tmp_path_factory.mktemp("rough")
    files = {
        "-o": "two.wav", "--throat": "throat.wav", "--inside": "inside.flac",
        "--third": "third.mid", "--notes": "two.toml",
    }  # fmt: skip
    words = [word for flag, name in files.items() for word in (flag, str(folder / name))]
    assert main(["render", *ROUGH, *words]) == 0
    return folder


def asked(seconds: float | None = None, **words: Any) -> PassageRequest:
    return read_passage(Words(**words), seconds)


def music(seconds: float | None = None, **words: Any) -> Passage:
    return asked(seconds, **words).piece.passage


def hum(path: Path, seconds: float = 1.0, hz: float = 175.0) -> Path:
    time = np.arange(round(seconds * 48000)) / 48000.0
    soundfile.write(
        path, sum(np.sin(2.0 * np.pi * hz * k * time) / k for k in range(1, 6)) / 4, 48000
    )
    return path


# --- what the words mean -------------------------------------------------------------------------


def test_nothing_at_all_means_the_etude() -> None:
    found = asked()
    assert found.piece == presets.load_piece("mill-race")
    assert found.typed.stem == "mill-race"
    assert found.typed.title == "Tenor saxophone: Mill race"


@pytest.mark.parametrize(
    ("words", "drive"),
    [
        ({}, "folds"),
        ({"passage": "mill-race"}, "folds"),
        ({"breath": "mf", "depth": 0.08}, "folds"),
        ({"settings": ["voice.drive=pressure"]}, "pressure"),
        # The file speaks of its own horn, voice and sung line.
        ({"horn": "baritone-saxophone"}, "pressure"),
        ({"voice": "high-male"}, "pressure"),
        ({"passage": "mill-race", "sung": "D4"}, "pressure"),
        ({"fingered": "Bb2:2 D3:2", "sung": "D4"}, "pressure"),
    ],
)
def test_the_etude_is_sung_by_folds_over_its_own_horn(words: dict[str, Any], drive: str) -> None:
    found = asked(**words)
    assert found.voiced
    assert found.voiced.voice.drive == drive
    assert found.piece.drive == drive


def test_a_typed_line_has_sixty_beats_in_a_minute_and_the_breath_of_the_horn() -> None:
    found = music(fingered="Bb2:12 D3:12")
    assert (found.fingered, found.sung, found.seconds) == ("Bb2:12 D3:12", "", 24.0)
    assert found.breath == ""
    assert music(fingered="Bb2:12", tempo=120).seconds == 6.0


def test_a_note_is_held_under_or_over_a_line() -> None:
    under = music(fingered="Bb2", sung="D4:4~ C4:4 rest:1")
    assert (under.fingered, under.sung) == ("Bb2:9", "D4:4~ C4:4 rest:1")
    over = music(fingered="Bb2:2 rest:1 D3:2", sung="D4-13.8c")
    assert over.sung == "D4-13.8c:5"
    assert music(sung="D4:4").fingered == "Bb2:4"


def test_an_interval_moves_along_with_the_fingered_line() -> None:
    found = music(fingered="Bb2:1~ D3:1 rest:1 220Hz:1", sung="5/2")
    line = found.sung_line
    assert [note.slurred for note in line.notes] == [True, False, False, False]
    assert line.pitches[2] is None
    for below, above in zip(found.fingered_line.pitches, line.pitches, strict=True):
        if below and above:
            assert parse_pitch(above) / parse_pitch(below) == pytest.approx(2.5, rel=1e-7)
    assert music(fingered="Bb2:1 C3:1", sung="+7st").sung == "F3:1 G3:1"


def test_written_notes_are_moved_to_what_sounds() -> None:
    assert music(fingered="C4:2 E4-5c:1 220Hz:1", written=True).fingered == "Bb2:2 D3-5c:1 220Hz:1"
    assert music(fingered="w:C4:2 C3:1", sung="w:E5:1 E4:1").fingered == "Bb2:2 C3:1"
    assert music(fingered="w:C4:2 C3:1", sung="w:E5:1 E4:1").sung == "D4:1 E4:1"
    assert music(fingered="w:C4:2 E4:1", written=True).fingered == "Bb2:2 D3:1"
    assert music(fingered="w:C4", sung="D4:2").fingered == "Bb2:2"
    # What nobody typed is concert pitch.
    assert music(sung="D4:2", written=True).fingered == "Bb2:2"


def test_breath_is_a_curve_or_one_pressure_for_all() -> None:
    assert music(fingered="Bb2:8", breath="mf@0 ff@8").breath == "mf@0 ff@8"
    assert music(fingered="Bb2:8", breath="pp").breath == "pp"
    found = asked(breath="3kPa", passage="mill-race")
    assert found.piece.passage.breath == ""
    assert found.voiced
    assert found.voiced.breath.pressure == pytest.approx(3000.0)


def test_depth_is_kept_with_the_passage() -> None:
    found = asked(fingered="Bb2:4", sung="D4", depth=0.2)
    assert found.piece.passage.depth == "0.2"
    assert found.voiced
    assert found.voiced.voice.depth == 0.2


def test_a_note_by_another_fingering() -> None:
    words = {"horn": "clarinet-b-flat", "sung": "D4:2"}
    assert music(fingered="B3", fingering="fork", **words).fingered == "B3(fork):2"
    assert music(fingered="B3(fork):1 B3:1", **words).fingered == "B3(fork):1 B3:1"


def test_notes_that_the_voice_does_not_have_are_named_once() -> None:
    found = asked(sung="D5:2 E5:1 D5:1")
    assert found.warnings == (
        "D5, E5 lie outside what the low male voice sings, E2 to E4; rendered all the same",
    )


def test_a_midi_file_gives_both_lines_or_one(tmp_path: Path) -> None:
    file = tmp_path / "another.mid"
    file.write_bytes(another_library(1))
    whole = read_midi(file).passage
    assert music(fingered=str(file)) == whole
    assert music(passage=str(file)) == whole
    assert asked(passage=str(file)).piece.title == "Mill race"
    assert music(fingered=str(file), sung="D4").fingered == whole.fingered
    above = music(fingered="Bb2", sung=str(file))
    assert (above.sung, above.tempo, above.tempo_changes) == (
        whole.sung, whole.tempo, whole.tempo_changes,
    )  # fmt: skip
    assert above.fingered_line.bounds[-1] == whole.sung_line.bounds[-1]
    assert music(fingered="Bb2", sung=str(file), tempo=80).tempo_changes == ""


def test_a_midi_file_may_hold_the_sung_line_alone(tmp_path: Path) -> None:
    file = tmp_path / "sung.mid"
    # Channel 2: D4 for four beats of 96 ticks.
    file.write_bytes(by_hand(hexed("00 913E40 8300 813E40") + END))
    assert music(fingered="Bb2", sung=str(file)).sung == "D4:4"


def test_a_midi_file_may_hold_what_is_written_for_the_horn(tmp_path: Path) -> None:
    file = tmp_path / "written.mid"
    # Channel 1: C4 for four beats of 96 ticks.
    file.write_bytes(by_hand(hexed("00 903C40 8300 803C40") + END))
    assert music(fingered=str(file), written=True, sung="D4").fingered == "Bb2:4"
    assert music(passage=str(file), written=True, sung="D4").fingered == "Bb2:4"


def test_a_passage_file_is_at_concert_pitch_and_it_is_said() -> None:
    made = read_passage(Words(passage="mill-race", written=True))
    assert made.piece.passage == read_passage(Words(passage="mill-race")).piece.passage
    assert made.warnings[0].startswith("mill-race: a passage file is at concert pitch; --written")
    assert made.transposition == 14


def test_a_recording_over_one_note_is_as_long_as_itself(tmp_path: Path) -> None:
    file = hum(tmp_path / "hum.wav", 1.5)
    found = asked(fingered="Bb2", sung=str(file))
    assert (found.piece.passage.seconds, found.piece.passage.sung) == (1.5, "")
    assert found.voiced
    assert found.voiced.voice.source == "recording"
    assert music(1.0, fingered="Bb2", sung=str(file)).seconds == 1.0
    assert music(fingered="Bb2:2 D3:2", sung=str(file)).seconds == 4.0
    assert music(passage="mill-race", sung=str(file)).fingered == music().fingered
    for text in ("voice.source=pulse", "voice.file=other.wav"):
        with pytest.raises(ReedboreError, match="--sung is a recording already"):
            asked(fingered="Bb2", sung=str(file), settings=[text])


# --- mistakes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["--fingered", "Bb2:1 H3:1"],
            "--fingered 'H3:1' (word 2): 'H3' is not a note; the note H",
        ),
        (["--fingered", "Bb2:1 D3:"], "--fingered 'D3:' (word 2) is no note with beats"),
        (["--fingered", "Bb2:1 C6:1"], "--fingered 'C6:1' (word 2): fingered note is C6"),
        (["--fingered", "Bb2:1 D3(fork):1"], "(word 2): fingering 'fork' is unknown; tenor-saxoph"),
        (["--fingered", "Bb2:1~"], "--fingered 'Bb2:1~' (word 1): a slur joins two notes"),
        (["--sung", "D4:4 C4(fork):1"], "--sung 'C4(fork)' (word 2): a sung note has no fingering"),
        (["--sung", "5/2:4 D4:1"], "--sung '5/2:4': an interval stands alone"),
        (
            ["--fingered", "Bb2:1", "--sung", "+99999999999st"],
            "--sung '+99999999999st' is inf Hz; allowed 8 to 20000 Hz",
        ),
        (["--sung", "5:2"], "--sung '5:2' is not a note; a ratio takes a slash"),
        (["--fingered", "Bb2:0.1"], "the passage is 0.1 s; allowed 0.5 to 300 s"),
        (["--fingered", "Bb2:999"], "the passage is 999 s; allowed 0.5 to 300 s"),
        (["--fingered", "Bb2:4", "--tempo", "5"], "--tempo is 5 beats/min; allowed 10 to 400"),
        (["--fingered", "Bb2", "--tempo", "50"], "--tempo goes with a line of notes"),
        (["--fingered", "Bb2:4", "--seconds", "3"], "--seconds: a passage has its own length"),
        (["--seconds", "3"], "--seconds: a passage has its own length"),
        (["--fingered", "Bb2:4", "--fingering", "fork"], "write it into the line, as in Bb3(fork)"),
        (["--fingering", "fork"], "write it into the line, as in Bb3(fork)"),
        (["--fingered", "Bb2:4", "--lock-range"], "--lock-range is found for one pair of notes"),
        (["--fingered", "Bb2:4", "--breath", "mf x@2"], "--breath 'x' is no breath; write a dynam"),
        (["--fingered", "Bb2:4", "--breath", "mf@4 p@2"], "--breath 'p@2' does not come after"),
        (["--fingered", "hum.wav"], "--fingered hum.wav: a recording cannot be fingered"),
        (["--fingered", "none.mid"], "none.mid cannot be read: No such file"),
        (["--sung", "none.wav"], "none.wav is not there; a sound file was expected"),
        (["--passage", "mill"], "'mill' is no passage; did you mean mill-race?"),
        (["--passage", "none.toml"], "none.toml cannot be read: No such file"),
        (["--passage", "mill-race", "--fingered", "Bb2"], "leave --fingered out, or --passage"),
        (["--horn", "alto-saxophone"], "mill-race.toml: passage.fingered 'Bb2:17' (word 1): "),
        (["--set", "reed.opening_mm=4"], "reed.opening_mm is 4 mm; allowed 0.05 to 3 mm"),
        (
            ["--fingered", "Bb2:2", "--quantise", "1/4"],
            "--quantise tidies a MIDI file, and none is",
        ),
        (
            ["--fingered", "Bb2", "--slivers", "20"],
            "--slivers tidies a MIDI file, and none is",
        ),
        (["--passage", "x.mid", "--slivers", "201"], "--slivers is 201 ms; allowed 0 to 200 ms"),
        (["--passage", "x.mid", "--quantise", "5"], "--quantise is '5'; allowed 1/16 to 4 beats"),
        (["--notes", "x.txt"], "--notes x.txt: a passage is written as .toml, .mid or .musicxml"),
        (["--third", "x.wav"], "--third x.wav: the line is written as MIDI"),
        (["--fingered", "Bb2", "--notes", "x.mid"], "--notes writes a line of notes"),
        (["-o", "a.wav", "--third", "a.mid", "--notes", "a.mid"], "two of the files have one"),
        (["--notes", "220/x.mid", "-o", "220"], "220 ends in ''"),
        (["--fingered", "9Hz:2", "--notes", "x.mid"], "--fingered '9Hz:2' (word 1): fingered note"),
        (["--again", "x.json", "--tempo", "50"], "leave --tempo out"),
        (["--again", "x.json", "--passage", "mill-race"], "leave --passage out"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_mistake_is_one_sentence_before_any_work(
    run: Any, tmp_path: Path, words: list[str], sentence: str
) -> None:
    found = run(*words)
    assert (found.status, found.out) == (2, "")
    (told,) = found.err.splitlines()
    assert sentence in told
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "words", [["h" * 300], ["声" * 80], [f"voice.seed={k}" for k in range(40)]]
)
def test_the_name_of_the_files_is_one_that_every_folder_takes(
    tmp_path: Path, words: list[str]
) -> None:
    stems = {file_stem(["tenor-saxophone", *words, last]) for last in ("D4", "C4")}
    assert len(stems) == 2
    for stem in stems:
        (tmp_path / f"{stem}.json").write_text("")  # folders take names of 255 bytes


def test_a_take_with_many_settings_is_named(run: Any, tmp_path: Path) -> None:
    settings = [f"--set=voice.seed={number}" for number in range(40)]
    found = run("--fingered", "Bb2", *settings, "--seconds", "0.5", "--no-picture")
    assert (found.status, len(list((tmp_path / "renders").iterdir()))) == (0, 2)


def test_a_file_without_a_sung_line_is_told(run: Any, tmp_path: Path) -> None:
    # Channel 1: Bb2 for four beats of 96 ticks.
    (tmp_path / "below.mid").write_bytes(by_hand(hexed("00 902E40 8300 802E40") + END))
    found = run("--fingered", "Bb2", "--sung", "below.mid")
    assert found.err == "--sung below.mid: channel 2 has no notes; it is the sung line\n"


def test_what_cannot_be_written_is_told_before_the_work(run: Any, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("a file where a folder should be")
    for flag, name in (("--notes", "x.mid"), ("--third", "x.mid"), ("--throat", "x.wav")):
        found = run(*ROUGH, flag, f"there/{name}")
        assert found.status == 2
        assert (
            found.err == f"there/{name} cannot be written (a folder on the way to it is a file)\n"
        )
    assert [path.name for path in tmp_path.iterdir()] == ["there"]


def test_a_file_that_was_read_is_never_written_over(run: Any, tmp_path: Path) -> None:
    file = tmp_path / "mine.mid"
    file.write_bytes(another_library(1))
    found = run("--passage", "mine.mid", "--third", "mine.mid")
    assert (found.status, "two of the files have one name" in found.err) == (2, True)
    assert file.read_bytes() == another_library(1)


# --- what is written -----------------------------------------------------------------------------


def test_all_files_lie_beside_each_other(rough: Path) -> None:
    assert {path.name for path in rough.iterdir()} == {
        "two.wav", "two.png", "two.json", "two.csv", "two.toml", "throat.wav", "inside.flac",
        "third.mid",
    }  # fmt: skip
    # A beat is a second, and the last note has half a second to die away.
    for name in ("two.wav", "throat.wav", "inside.flac"):
        assert soundfile.info(rough / name).frames == 2 * 48000
    samples, _ = sound.read(rough / "two.wav")
    # Common practice, no source: at most -1 dBTP.
    assert 0.001 < sound.true_peak(samples) <= 10.0 ** (-1.0 / 20.0) + 1e-6


def test_json_csv_and_sidecar_say_the_same_of_each_note(rough: Path) -> None:
    kept = json.loads((rough / "two.json").read_text(encoding="utf-8"))
    rows = list(csv.DictReader(io.StringIO((rough / "two.csv").read_text(encoding="utf-8"))))
    assert [note["sung_note"] for note in kept["notes"]] == ["C4", "E4"]
    assert [row["sung_note"] for row in rows] == ["C4", "E4"]
    # Of p/q with p, q up to 12 by arithmetic, 9/4 lies 4 cents above 14 semitones; the nearest to
    # 18 semitones is 11/4, 49 cents below them.
    assert [note["planned"]["ratio"] for note in kept["notes"]] == ["9/4", None]
    for note, row in zip(kept["notes"], rows, strict=True):
        assert note["fingered_note"] == row["fingered_note"] == "Bb2"
        assert note["reached"]["state"] == row["reached_state"]
    assert kept["passage"]["sung"] == "C4:0.75 E4:0.75"
    assert kept["request"]["sung"] == "C4:0.75 E4:0.75"


def test_the_throat_hears_the_voice_and_the_breath_is_that_of_the_horn(rough: Path) -> None:
    kept = json.loads((rough / "two.json").read_text(encoding="utf-8"))
    breath = kept["setups"][0]["setup"]["breath"]["pressure_kpa"] * 1e3
    assert breath == presets.load_horn("tenor-saxophone").breath.pressure
    throat, rate = sound.read(rough / "throat.wav")
    held = (
        throat[round(0.35 * rate) : round(0.65 * rate)] * kept["sound"]["throat"]["full_scale_pa"]
    )
    # The depth is the largest value of the sung part over the breath, by its definition.
    assert held.max() == pytest.approx(0.1 * breath, rel=0.1)


def test_the_horn_is_tuned_as_for_a_take(rough: Path) -> None:
    kept = read(rough / "two.json")
    assert isinstance(kept, PassageSidecar)
    alone = tune(presets.load_horn("tenor-saxophone"), parse_pitch("Bb2"))
    assert [(note.pitch, note.setup.bore) for note in kept.setups] == [("Bb2", alone.bore)]
    assert kept.setup.reed == alone.reed


def test_the_sidecar_gives_the_same_request_again(rough: Path) -> None:
    kept = read(rough / "two.json")
    assert isinstance(kept, PassageSidecar)
    again = passage_again(kept, rough / "two.json")
    assert again.piece.passage == music(fingered="Bb2", sung="C4:0.75 E4:0.75")
    assert (
        again.typed.document()
        == json.loads((rough / "two.json").read_text(encoding="utf-8"))["request"]
    )
    assert again.warnings == ()


def test_again_makes_the_same_passage_to_the_last_bit(
    run: Any, rough: Path, tmp_path: Path
) -> None:
    found = run("--again", str(rough / "two.json"), "-o", "twin.wav", "--no-picture", "--json")
    assert found.status == 0, found.err
    assert (tmp_path / "twin.wav").read_bytes() == (rough / "two.wav").read_bytes()
    told, first = json.loads(found.out), json.loads((rough / "two.json").read_text())
    assert sorted(told["files"]) == ["sidecar", "sound", "table"]
    assert told["summary"].startswith("Of 2 notes")
    for key in ("passage", "setups", "notes", "request", "a4_hz"):
        assert told[key] == first[key]


def test_what_was_typed_is_kept_as_toml(rough: Path) -> None:
    piece = presets.load_piece(rough / "two.toml")
    assert piece.passage == music(fingered="Bb2", sung="C4:0.75 E4:0.75")
    assert (piece.horn, piece.voice) == ("tenor-saxophone", "low-male")
    assert presets.check(rough / "two.toml") == []


def test_the_resultant_line_is_midi_with_the_tempo_of_the_passage(rough: Path) -> None:
    file = mido.MidiFile(rough / "third.mid")
    messages = [message for track in file.tracks for message in track]
    # A quarter note of 1 s: 1,000,000 microseconds.
    assert [m.tempo for m in messages if m.type == "set_tempo"] == [1_000_000]
    # Two rough notes have no third one.
    assert not [m for m in messages if m.type == "note_on"]


@pytest.mark.slow
def test_a_passage_goes_through_files_and_back(run: Any, tmp_path: Path) -> None:
    words = (
        "--fingered", "Bb2:1~ C3:0.5 rest:0.25 D3:0.25", "--breath", "mf@0 f@1", "--tempo", "90",
        "--no-picture",
    )  # fmt: skip
    first = run(*words, "-o", "one.wav", "--notes", "one.mid")
    assert first.status == 0, first.err
    again = run("--passage", "one.mid", "--no-picture", "-o", "two.wav", "--notes", "two.toml")
    assert again.status == 0, again.err
    typed = music(fingered="Bb2:1~ C3:0.5 rest:0.25 D3:0.25", breath="mf@0 f@1", tempo=90)
    assert presets.load_piece(tmp_path / "two.toml").passage.fingered_line == typed.fingered_line
    for name in ("one.mid", "two.toml"):
        found = music(passage=str(tmp_path / name))
        assert (found.fingered_line, found.tempo) == (typed.fingered_line, typed.tempo)
        assert [point.beat for point in found.breath_curve] == [0.0, 1.0]
        assert [point.value for point in found.breath_curve] == pytest.approx(
            [4 / 7, 5 / 7], abs=1e-4
        )
    assert "Nobody sings" in first.out
    assert "one.csv" in first.out


def test_a_score_has_a_third_staff_and_is_read_like_any_passage(run: Any, tmp_path: Path) -> None:
    found = run(
        "--fingered", "Bb2:2", "--sung", "D4:1 Bb3:1", "--tempo", "120", "--no-picture",
        "-o", "one.wav", "--notes", "one.musicxml",
    )  # fmt: skip
    assert found.status == 0, found.err
    made = (tmp_path / "one.musicxml").read_text()
    # D4 over B flat 2 is 5/2, its third note B flat 1; an octave has none.
    assert [part.count("<pitch>") for part in made.split("<part id")[1:]] == [1, 2, 1]
    assert "<instrument-name>Tenor saxophone<" in made
    again = asked(passage=str(tmp_path / "one.musicxml"))
    assert again.piece.passage == music(fingered="Bb2:2", sung="D4:1 Bb3:1", tempo=120)
    assert again.warnings == ()
    # Its fingered line is written for the horn already.
    same = asked(fingered=str(tmp_path / "one.musicxml"), sung="+7st", written=True)
    assert same.piece.passage.fingered == "Bb2:2"
    assert "a score says itself how it transposes" in same.warnings[0]
    assert music(fingered="Bb2", sung=str(tmp_path / "one.musicxml")).sung == "D4:1 Bb3:1"


def test_a_file_of_another_library_is_played(run: Any, tmp_path: Path) -> None:
    (tmp_path / "other.mid").write_bytes(another_library(0))
    found = run(
        "--fingered", "other.mid", "--sung", "C4", "--tempo", "400", "--json", "--no-picture"
    )
    assert found.status == 0, found.err
    assert "controller 7 on channel 1 is left out" in found.err
    told = json.loads(found.out)
    assert [note["fingered_note"] for note in told["notes"]] == ["Bb2", "D3"]
    assert told["passage"]["fingered"] == "Bb2:4 D3:3"
    assert told["files"]["sound"] == "renders/other-C4-400bpm.wav"


def test_what_was_hummed_is_judged_note_by_note(run: Any, tmp_path: Path) -> None:
    hum(tmp_path / "hum.wav", 1.2, 175.0)
    found = run("--fingered", "Bb2", "--sung", "hum.wav", "--no-picture", "--json")
    assert found.status == 0, found.err
    told = json.loads(found.out)
    assert [note["sung_hz"] for note in told["notes"]] == [pytest.approx(175.0, rel=1e-3)]
    assert len(told["recording_sha256"]) == 64
    assert told["setups"][0]["setup"]["voice"]["source"] == "recording"


def test_a_sidecar_that_is_not_whole_is_refused(rough: Path, tmp_path: Path) -> None:
    kept = read(rough / "two.json")
    assert isinstance(kept, PassageSidecar)
    with pytest.raises(ReedboreError, match=r"x\.json is no sidecar of a passage: request\.horn"):
        passage_again(replace(kept, request={}), tmp_path / "x.json")
    with pytest.raises(ReedboreError, match="a4 is 3 Hz; allowed 380 to 500 Hz"):
        passage_again(replace(kept, a4=3.0), tmp_path / "x.json")


@pytest.mark.parametrize(
    ("fingered", "sung", "told"),
    [
        ("Bb2:8", "D4:9", "has 8 beats, what is sung 9: over the last beat nothing is fingered"),
        ("Bb2:9", "D4:4 F3:2.5", "has 9 beats, what is sung 6.5: over the last 2.5 beats nobody s"),
        ("Bb2:8", "D4:8.25", "has 8 beats, what is sung 8.25: over the last 0.25 beats nothing is"),
        ("Bb2:8", "D4:8.2", ""),
        ("Bb2:8", "D4", ""),
        ("Bb2", "D4:9", ""),
        ("Bb2:8", None, ""),
    ],
)
def test_lines_that_do_not_end_together_are_told(
    fingered: str, sung: str | None, told: str
) -> None:
    warnings = asked(fingered=fingered, sung=sung).warnings
    assert [told in one for one in warnings] == ([True] if told else [])


@pytest.mark.parametrize("name", ["hum.ogg", "hum.MP3", "hum.flac", "hum.aiff", "my hum.wav"])
def test_voice_may_be_any_usual_kind_of_sound(name: str, tmp_path: Path) -> None:
    tone = 0.5 * np.sin(2.0 * np.pi * 146.8 / 48000.0 * np.arange(48000))
    soundfile.write(tmp_path / name, tone, 48000)
    found = asked(fingered="Bb2", sung=str(tmp_path / name))
    assert found.voiced is not None
    assert found.voiced.voice.frequency == pytest.approx(146.8, rel=1e-3)
    assert found.typed.title.endswith(f"{name} sung")


def test_file_that_is_no_sound_says_what_is_read(tmp_path: Path) -> None:
    (tmp_path / "hum.m4a").write_bytes(b"\0\0\0 ftypM4A ")
    with pytest.raises(ReedboreError, match=r"hum\.m4a cannot be read as a .*WAV, FLAC, OGG, MP3"):
        asked(fingered="Bb2", sung=str(tmp_path / "hum.m4a"))


@pytest.mark.parametrize(
    "word", ["220.5Hz", "3/2", "Bb3+14.5c", "+7st", "w:E5", "x.mid", "x.toml", "x.xml"]
)
def test_note_is_never_taken_for_a_sound_file(word: str) -> None:
    assert not is_recording(word)
