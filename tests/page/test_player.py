"""The server's part of what a player does: passages, one's own voice, the whole horn."""

import base64
import io
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import fake_atlas
import numpy as np
import pytest
import soundfile
from made_mixtures import cycles, noise, sway, tone
from starlette.testclient import TestClient

from reedbore.cli import main
from reedbore.model.midi.write import midi_bytes
from reedbore.model.musicxml.write import musicxml_bytes
from reedbore.model.presets import load_horn, load_piece, preset_path
from reedbore.model.setup import Horn
from reedbore.page import app, atlas, choices, passage, voice
from reedbore.page.request import read_words
from reedbore.simulate.request.passage import read_passage
from reedbore.simulate.request.take import Words, read_request
from reedbore.simulate.tuning import WrongNote
from reedbore.verdict import atlas as stores

HOME = "http://127.0.0.1"
# Short periods settle early: what is slow elsewhere is quick on this horn.
QUICK = {"horn": "soprano-saxophone", "fingered": "A4", "voice": "low-male"}
LINE = {"fingered": "A4:1", "sung": "2/3", "tempo_bpm": 120}
RATE = 12000


@pytest.fixture(scope="module")
def tab() -> Any:
    with TestClient(app.make_app(), base_url=HOME, headers={"origin": HOME}) as client:
        yield client


def stream(tab: TestClient, path: str, **body: Any) -> list[dict[str, Any]]:
    answer = tab.post(f"/api/{path}", json=body)
    assert answer.status_code == 200, answer.text
    return list(map(json.loads, answer.text.splitlines()))


def one_of(documents: list[dict[str, Any]], key: str) -> dict[str, Any]:
    (found,) = (one for one in documents if key in one)
    return found


def alike(mine: Any, theirs: Any) -> None:
    """Both say the same; sums rounded in another order may move an end by a sample at 12 kHz."""
    if isinstance(theirs, dict):
        assert mine.keys() == theirs.keys()
        for key in theirs:
            alike(mine[key], theirs[key])
    elif isinstance(theirs, list):
        for one, other in zip(mine, theirs, strict=True):
            alike(one, other)
    elif isinstance(theirs, float):
        assert mine == pytest.approx(theirs, rel=1e-5, abs=2e-4)
    else:
        assert mine == theirs


def sent(tab: TestClient, path: str, data: bytes, **asked: Any) -> Any:
    headers = {"content-type": "application/octet-stream"}
    return tab.post(
        f"/api/{path}", content=json.dumps(asked).encode() + b"\n" + data, headers=headers
    )


def heard(tab: TestClient, data: bytes, **asked: Any) -> list[dict[str, Any]]:
    asked = {"kind": "voice", "name": "hum.wav", "words": QUICK, **asked}
    answer = sent(tab, "voice", data, **asked)
    assert answer.status_code == 200, answer.text
    return list(map(json.loads, answer.text.splitlines()))


def wav(*channels: np.ndarray) -> bytes:
    memory = io.BytesIO()
    whole = np.stack(channels, axis=1)
    soundfile.write(memory, 0.5 * whole / np.abs(whole).max(axis=0), RATE, format="WAV")
    return memory.getvalue()


def hum(hz: float = 293.33, seconds: float = 0.6) -> np.ndarray:
    return tone(cycles(hz, sway(seconds, 8.0, 1)), 9.0)


# --- passages ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def played(tab: TestClient) -> list[dict[str, Any]]:
    return stream(tab, "passage", passage=LINE, words=QUICK)


def test_a_passage_is_told_as_the_command_tells_it(played, tmp_path, capsys) -> None:
    told = played
    assert [note["note"] for note in told[0]["fingered"]] == ["A4"]
    assert told[0]["seconds"] == pytest.approx(0.5)
    asked = ["--horn", QUICK["horn"], "--voice", "low-male", "--tempo", "120", "--json"]
    files = ["-o", str(tmp_path / "line.wav")]
    assert main(["render", "--fingered", "A4:1", "--sung", "2/3", *asked, *files]) == 0
    wanted = json.loads(capsys.readouterr().out)
    found = one_of(told, "rows")
    alike(found["rows"], wanted["notes"])
    assert found["cells"][1][2] == "A4"
    parts = [base64.b64decode(one["sound"]) for one in told if "sound" in one]
    steps = np.frombuffer(b"".join(parts), "<i2")
    samples, rate = soundfile.read(tmp_path / "line.wav")
    assert one_of(told, "sounds")["sounds"]["rate"] == rate
    assert np.abs(steps / 32767.0 - samples).max() < 2.0**-15


def test_the_sound_comes_before_its_notes_are_judged(played: list[dict[str, Any]]) -> None:
    keys = [next(iter(one)) for one in played]
    assert keys.index("sounds") < keys.index("done") < keys.index("rows")


def test_the_etude_sounds_as_its_file_says_on_its_own_horn_only() -> None:
    demo = {"name": "mill-race"}
    own = read_passage(passage.read(demo, read_words({})))
    assert own.piece.drive == "folds"
    assert own.typed.title == "Tenor saxophone: Mill race"
    other = read_passage(passage.read(demo, read_words({"horn": "bass-clarinet"})))
    assert other.piece.drive == "pressure"
    slow = read_passage(passage.read({**demo, "speed": 50}, read_words({})))
    assert slow.piece.passage.seconds == pytest.approx(2.0 * own.piece.passage.seconds)


@pytest.mark.parametrize(
    ("plain", "says"),
    [
        ({"fingered": "own.mid"}, "drop the file instead"),
        ({"fingered": "Bb2:1", "sung": "/etc/hum.wav"}, "drop the file instead"),
        ({"fingered": ""}, "nothing is fingered"),
        ({"name": "../../secret"}, "there is mill-race"),
        ({"name": "mill-race", "speed": 20}, "speed is 20 %; allowed 40 to 100 %"),
        ({"fingered": "Bb2:2 H3:2"}, "H3"),
        ({"fingered": "Bb2:121"}, "the page plays up to 120 s"),
        ({"name": "x.toml", "text": 'horn = "/etc/passwd"'}, "x.toml"),
        ({"file": "x"}, "a passage has fingered, name"),
    ],
)
def test_a_passage_that_cannot_be_played_is_refused(tab: TestClient, plain: Any, says: str) -> None:
    answer = tab.post("/api/passage", json={"passage": plain, "look": True})
    assert answer.status_code == 422
    assert says in answer.json()["error"]


def opened(tab: TestClient, name: str, data: bytes) -> Any:
    return sent(tab, "passage/open", data, name=name).json()


def test_files_become_the_lines_that_they_hold(tab: TestClient) -> None:
    etude = load_piece("mill-race")
    files = {
        "my race.mid": midi_bytes(etude.passage, etude.title),
        "race.musicxml": musicxml_bytes(
            etude.passage, etude.title, horn="Tenor saxophone", transposition=14, clef="treble",
            third=[],
        ).data,
        "race.toml": preset_path("passages", "mill-race").read_bytes(),
    }  # fmt: skip
    for name, data in files.items():
        told = opened(tab, name, data)
        asked = {"name": told["name"], "text": told["text"]}
        found = read_passage(passage.read(asked, read_words({}))).piece.passage
        for line in ("fingered_line", "sung_line"):
            was, now = (getattr(one, line) for one in (etude.passage, found))
            assert now.bounds[:3] == pytest.approx(was.bounds[:3], abs=1e-3)
            assert len(now.notes) >= len(was.notes) - 1  # MIDI has no rest at the end
        assert told["tempo_bpm"] == pytest.approx(48.0, rel=1e-4)
        assert told["fingered"].startswith("Bb2:17")


def test_what_is_no_passage_is_refused_and_leaves_nothing(tab: TestClient) -> None:
    before = left()
    assert "MIDI, MusicXML and TOML are read" in opened(tab, "/tmp/a.pdf", b"%PDF")["error"]
    assert opened(tab, "a.mid", b"no MIDI")["error"].startswith("a.mid")
    horn = preset_path("horns", "tenor-saxophone").read_bytes()
    assert "error" in opened(tab, "horn.toml", horn)
    assert left() == before


def left() -> list[Path]:
    return sorted(Path(tempfile.gettempdir()).glob("reedbore-*"))


# --- one's own voice -----------------------------------------------------------------------------


def test_a_voice_alone_is_judged_as_the_command_judges_it(
    tab: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, before = wav(hum()), left()
    line = {"fingered": "A4:1.2", "sung": "D4:1.2", "tempo_bpm": 120}
    told = heard(tab, data, passage=line)
    path = tmp_path / "hum.wav"
    path.write_bytes(data)
    asked = ["--horn", QUICK["horn"], "--voice", "low-male", "--tempo", "120", "--json"]
    files = ["-o", str(tmp_path / "out.wav")]
    assert main(["render", "--fingered", "A4:1.2", "--sung", str(path), *asked, *files]) == 0
    wanted = json.loads(capsys.readouterr().out)
    alike(one_of(told, "rows")["rows"], wanted["notes"])
    beside = one_of(told, "beside")["beside"]["notes"]
    assert [note["outcome"] for note in beside] == ["right"]
    assert str(tempfile.gettempdir()) not in json.dumps(told)
    assert left() == before


def test_a_wrong_note_is_told_beside_the_passage() -> None:
    asked = read_passage(Words(fingered="A4:2 B4:2", sung="D4:2 E4:2", horn=QUICK["horn"]))
    plain = {"begin_s": 0.0, "end_s": 1.0}
    rows = [
        fake_row(1, 440.0, 293.66, plain),
        fake_row(2, 493.88, 349.23, {"begin_s": 1.0, "end_s": 2.0}),
    ]
    planned = voice.planned_notes(asked.piece.passage)
    told = voice.align(voice.sung_into(rows), planned)
    assert [one.outcome for one in told.matches] == ["right", "wrong sung note"]


def fake_row(number: int, fingered: float, sung: float, times: dict[str, float]) -> Any:
    reached = SimpleNamespace(ratio=None, state="rough")
    return SimpleNamespace(
        number=number, fingered_hz=fingered, sung_hz=sung, reached=reached, **times
    )


def both() -> bytes:
    first = cycles(440.0, sway(1.2, 13.0, 3))
    horn = tone(first) * (1.0 + 0.1 * tone(1.5 * first, 10.0)) + noise(first.size, 0.02, 1)
    return wav(horn, tone(1.5 * first, 8.0) + noise(first.size, 0.02, 2))


def test_horn_and_voice_are_told_as_analyse_tells_them(
    tab: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = both()
    line = {"fingered": "A4:1", "sung": "E5:1", "tempo_bpm": 60}
    words = {**QUICK, "voice": "high-female"}
    told = heard(tab, data, kind="both", name="take.wav", throat=2, passage=line, words=words)
    path, plan = tmp_path / "take.wav", tmp_path / "line.toml"
    path.write_bytes(data)
    plan.write_text(
        'title = "a line"\nhorn = "soprano-saxophone"\nvoice = "high-female"\n[passage]\n'
        'tempo_bpm = 60\nfingered = "A4:1"\nsung = "E5:1"\n'
    )
    asked = ["--throat-channel", "2", "--voice", "high-female", "--passage", str(plan), "--json"]
    assert main(["analyse", str(path), *asked]) == 0
    wanted = json.loads(capsys.readouterr().out)
    alike(one_of(told, "rows")["rows"], wanted["notes"])
    alike(one_of(told, "beside")["beside"], wanted["plan"])


def refusal(tab: TestClient, data: bytes, **asked: Any) -> str:
    asked = {"kind": "voice", "name": "hum.wav", "words": QUICK, **asked}
    answer = sent(tab, "voice", data, **asked)
    told: str = (
        answer.json()["error"]
        if answer.status_code == 422
        else json.loads(answer.text.splitlines()[-1])["error"]
    )
    assert "\n" not in told
    assert tempfile.gettempdir() not in told
    return told


def test_what_is_no_voice_is_said_to_be_none(tab: TestClient, monkeypatch) -> None:
    before = left()
    assert refusal(tab, b"notes", name="a/b/notes.txt").startswith("notes.txt cannot be read")
    assert "is silent" in refusal(tab, wav(hum())[:44] + bytes(4 * RATE))
    assert "is silent" in refusal(tab, wav(hum())[:44] + bytes(4 * RATE), kind="both")
    assert "throat-channel is 2" in refusal(tab, wav(hum()), kind="both", throat=2)
    assert "kind is 'choir'" in refusal(tab, b"", kind="choir")
    assert "kind is " in refusal(tab, b"", kind=["voice"])
    assert "throat is 'x'; it must be a number" in refusal(tab, wav(hum()), kind="both", throat="x")
    monkeypatch.setitem(voice.RECORDED_S, "voice", 0.5)
    assert "lasts 1 s; the page judges up to 0.5 s" in refusal(tab, wav(hum()))
    assert left() == before


def test_a_note_that_does_not_speak_is_told_as_such(monkeypatch) -> None:
    horn = load_horn("tenor-saxophone")

    def mute(*_: object) -> None:
        raise WrongNote(horn, "the horn does not speak on {}", 46.0)

    monkeypatch.setattr(voice.passages, "play", mute)
    body = {"kind": "voice", "name": "a.wav", "words": QUICK, "data": wav(hum())}
    with pytest.raises(WrongNote, match=r"^the horn does not speak on Bb2$") as told:
        list(voice.stream(body))
    assert str(told.value.as_written()).startswith("the horn does not speak on C4")


def test_a_horn_in_place_of_a_voice_is_told_before_it_is_judged(tab: TestClient) -> None:
    data = wav(tone(cycles(293.66, sway(0.6, 1.0, 1)), 0.5))
    body = {"kind": "voice", "name": "horn.wav", "words": QUICK, "data": data}
    first = next(iter(voice.stream(body)))
    assert any("as bright as a horn" in one for one in first["warnings"])
    assert any(one.startswith("horn.wav: it is") for one in first["warnings"])


def test_a_file_is_taken_from_this_page_only(tab: TestClient, monkeypatch) -> None:
    headers = {"content-type": "application/octet-stream", "origin": "http://evil.example"}
    assert tab.post("/api/voice", content=b"x", headers=headers).status_code == 403
    assert tab.post("/api/voice", json={}).status_code == 415
    monkeypatch.setattr(app, "LARGEST_FILE", 100)
    assert sent(tab, "voice", bytes(101), kind="voice").status_code == 413
    assert tab.get("/").headers["permissions-policy"] == (
        "camera=(), microphone=(self), geolocation=()"
    )


# --- the whole horn ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Find tables at once, and keep them here."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("cache")
        patch.setenv("XDG_CACHE_HOME", str(folder))
        patch.setattr(Horn, "notes", lambda _: (44, 46, 50))
        fake_atlas.patch(patch.setattr)
        yield folder


TENOR = {"words": {"fingered": "Bb2"}}


def test_a_horn_is_filled_note_by_note_and_is_there_the_next_time(tab, cache, monkeypatch) -> None:
    (frame,) = (one["frame"] for one in stream(tab, "atlas", **TENOR))
    assert [note["name"] for note in frame["notes"]] == ["Ab2", "Bb2", "D3"]
    body = {**TENOR, "whose": "clock", "make": True}
    half = atlas.stream(body)
    first = next(one for one in half if "pairs" in one)
    half.close()
    told = stream(tab, "atlas", **body)
    notes = [one for one in told if "pairs" in one]
    assert notes[0]["pairs"] == first["pairs"]
    assert [one["note"] for one in notes] == [44, 46, 50]
    assert [one["reason"] is None for one in notes] == [False, True, True]
    assert told[-1]["done"] == pytest.approx(1.0)
    assert "stage" in told[-2]
    monkeypatch.setattr(atlas, "BLOCKS", {})  # nothing is made again
    again = [one for one in stream(tab, "atlas", **TENOR) if "pairs" in one]
    assert [one["pairs"] for one in again] == [one["pairs"] for one in notes]


def test_a_mark_sets_where_the_table_says_to_aim(tab, cache: Path) -> None:
    told = stream(tab, "atlas", **TENOR, whose="singer", make=True)
    note = next(one for one in told if one.get("note") == 46)
    pair = next(one for one in note["pairs"] if one["ratio"] == "5/2")
    assert pair["patch"]["fingered"] == "Bb2"
    assert pair["patch"]["settings"]["voice.drive"] == "folds"
    sheet = stores.read(next(cache.glob("**/*.zarr"))).singer(46, 0.1)
    row = next(row for row in sheet.rows if row.ratio == (5, 2))
    settings = {name: one for name, one in pair["patch"]["settings"].items() if one is not None}
    words = read_words({**pair["patch"], "settings": settings})
    low, high = (row.just_hz * 2.0 ** (end.inside / 1200.0) for end in (row.low, row.high))
    sung = read_request(words).setup.voice.frequency
    assert sung == pytest.approx((low * high) ** 0.5, rel=1e-5)


def test_an_atlas_that_was_given_is_shown_with_its_own_horn(tab, cache: Path, monkeypatch) -> None:
    stream(tab, "atlas", **TENOR, make=True)
    path = next(cache.glob("**/*.zarr"))
    monkeypatch.setitem(choices.given, "atlas", path)
    assert tab.get("/api/choices").json()["atlas"] == path.name
    told = stream(tab, "atlas", words={"horn": "bass-clarinet"}, given=True, make=True)
    assert told[0]["frame"]["horn"] == "tenor-saxophone"
    assert sum("pairs" in one for one in told) == 3
    pair = next(one for one in told if one.get("pairs"))["pairs"][0]
    assert {"horn": "tenor-saxophone", "depth": 0.1}.items() <= pair["patch"].items()
