import io
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
import urllib.error
import urllib.request
import wave
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import uvicorn
from browsing import PATIENCE_S
from starlette.testclient import TestClient

from reedbore.measures.loudness import loudness
from reedbore.model.presets import load_horn, names, preset_path, write_text
from reedbore.model.setup import Setup
from reedbore.model.units import QUANTITIES
from reedbore.page import api, app, map
from reedbore.page.serve import Server, listen
from reedbore.simulate.outside import MATCHED_LUFS, levelled
from reedbore.simulate.request.take import Words, read_request, tune_request
from reedbore.simulate.take import render
from reedbore.sound import CEILING_DBTP, true_peak
from reedbore.verdict import take as verdict

HOME = "http://127.0.0.1"
# Short periods settle early: what is slow elsewhere is quick on this horn.
QUICK = {"horn": "soprano-saxophone", "fingered": "A4", "sung": "3/2", "voice": "low-male"}


@pytest.fixture(scope="module")
def tab() -> Iterator[TestClient]:
    """What the page itself may ask for."""
    with TestClient(app.make_app(), base_url=HOME, headers={"origin": HOME}) as client:
        yield client


def post(tab: TestClient, path: str, /, **body: Any) -> Any:
    answer = tab.post(f"/api/{path}", json=body)
    assert answer.status_code == 200, answer.text
    return answer


def refused(tab: TestClient, path: str, /, **body: Any) -> str:
    answer = tab.post(f"/api/{path}", json=body)
    assert answer.status_code == 422, answer.text
    told = str(answer.json()["error"])
    assert "--" not in told
    assert "\n" not in told
    return told


def setup_of(**words: Any) -> Setup:
    return tune_request(read_request(Words(**words))).setup


# --- strangers -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "0.0.0.0", "[::1]", "192.168.1.7:7463"]
)
def test_a_name_that_was_pointed_at_this_machine_is_refused(tab: TestClient, host: str) -> None:
    for path in ("/", "/api/choices", "/vendor/plotly.min.js"):
        assert tab.get(path, headers={"host": host}).status_code == 400
    told = {"host": host, "origin": f"http://{host}"}
    assert tab.post("/api/predict", json={}, headers=told).status_code == 400


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:8080", ""]
)
def test_pages_of_others_make_no_work(tab: TestClient, origin: str) -> None:
    answer = tab.post("/api/sound", json={}, headers={"origin": origin})
    assert answer.status_code == 403
    assert "access-control-allow-origin" not in answer.headers
    asked = {"origin": origin, "access-control-request-method": "POST"}
    assert tab.options("/api/sound", headers=asked).status_code == 403


def test_a_request_without_an_origin_makes_no_work() -> None:
    with TestClient(app.make_app(), base_url=HOME) as stranger:
        assert stranger.post("/api/predict", json={}).status_code == 403


def test_the_port_belongs_to_the_origin(tab: TestClient) -> None:
    told = {"host": "localhost:7463", "origin": "http://localhost:7463"}
    assert tab.post("/api/predict", json={}, headers=told).status_code == 200
    assert tab.post("/api/predict", json={}, headers={"host": "localhost:7463"}).status_code == 403


def test_forms_of_other_pages_are_not_json(tab: TestClient) -> None:
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        answer = tab.post("/api/predict", content=b"{}", headers={"content-type": kind})
        assert answer.status_code == 415


def test_what_is_sent_is_bounded(tab: TestClient) -> None:
    kind = {"content-type": "application/json"}
    large = b'{"words": {"sung": "' + b" " * app.LARGEST_BODY + b'"}}'
    assert tab.post("/api/predict", content=large, headers=kind).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(64):
            yield b" " * 10_000

    assert tab.post("/api/predict", content=endless(), headers=kind).status_code == 413
    deep = b'{"words":' + b"[" * 50_000 + b"]" * 50_000 + b"}"
    assert tab.post("/api/predict", content=deep, headers=kind).status_code == 422


def test_nothing_happens_on_a_get(tab: TestClient) -> None:
    for name in (*app.WORKERS, *app.STREAMERS):
        answer = tab.get(f"/api/{name}")
        assert answer.status_code == 405
        assert answer.headers["allow"] == "POST"
    for path in ("/", "/api/choices", "/vendor/plotly.min.js"):
        for method in ("POST", "PUT", "DELETE", "PATCH"):
            assert tab.request(method, path).status_code == 405


@pytest.mark.parametrize("before", ["", "vendor/", "static/"])
@pytest.mark.parametrize(
    "way", ["../server.py", "..%2fserver.py", "%2e%2e/server.py", "..%5cserver.py", "/etc/passwd",
            "%00", "....//server.py", "../../../../../../etc/passwd"]
)  # fmt: skip
def test_no_way_leads_out_of_the_folder(tab: TestClient, before: str, way: str) -> None:
    answer = tab.get(f"/{before}{way}")
    assert answer.status_code in {404, 405}
    assert b"import" not in answer.content
    assert b"root:" not in answer.content


def test_of_plotly_one_file_is_served(tab: TestClient) -> None:
    folder = app.plotly_folder()
    others = [path.relative_to(folder) for path in folder.rglob("*") if path.is_file()]
    assert len(others) > 1
    for path in others:
        wanted = 200 if str(path) == "plotly.min.js" else 404
        assert tab.get(f"/vendor/{path}").status_code == wanted
    found = tab.get("/vendor/plotly.min.js")
    assert found.content == (folder / "plotly.min.js").read_bytes()
    assert found.headers["content-type"].startswith("text/javascript")


def test_every_answer_says_what_the_page_may_load(tab: TestClient) -> None:
    answers = [tab.get(path) for path in ("/", "/api/choices", "/vendor/plotly.min.js", "/none")]
    answers += [tab.post("/api/predict", json={}), tab.post("/api/predict", json={"words": 3})]
    for answer in answers:
        policy = dict(
            part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; ")
        )
        assert policy["default-src"] == policy["script-src"] == policy["connect-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert "http" not in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "set-cookie" not in answer.headers
    assert tab.post("/api/predict", json={}).headers["cache-control"] == "no-store"
    assert tab.get("/api/choices").headers["cache-control"] == "no-store"


def test_the_page_is_served_whole(tab: TestClient) -> None:
    static = Path(app.__file__).with_name("static")
    assert "<html" in tab.get("/").text
    for path in static.rglob("*"):
        if path.is_file():
            assert tab.get(f"/{path.relative_to(static)}").content == path.read_bytes()
    for path in static.rglob("*.js"):
        kind = tab.get(f"/{path.relative_to(static)}").headers["content-type"]
        assert kind.startswith("text/javascript")


# --- what it answers -----------------------------------------------------------------------------


def test_all_presets_can_be_chosen_with_their_ranges(tab: TestClient) -> None:
    told = tab.get("/api/choices").json()
    assert [horn["name"] for horn in told["horns"]] == names("horns")
    assert [voice["name"] for voice in told["voices"]] == names("voices")
    tenor = next(horn for horn in told["horns"] if horn["name"] == "tenor-saxophone")
    # A tenor saxophone sounds a major ninth below what is written: common practice, no source.
    assert {"name": "Bb2", "written": "C4"}.items() <= tenor["notes"][2].items()
    opening = told["quantities"]["reed.opening_mm"]
    assert (opening["low"], opening["high"]) == QUANTITIES["reed.opening_mm"].edge_range
    assert opening["unit"] == "mm"
    assert tenor["settings"]["reed.opening_mm"] == opening["value"] == 1.43
    assert any("hoarse" in words for words in told["care"])


def test_arithmetic_is_told_without_a_simulation(tab: TestClient) -> None:
    told = post(tab, "predict", words={"fingered": "C3", "sung": "G3+1.955c"}).json()
    # A just fifth has the octave below its lower note in common: H. Helmholtz, On the Sensations
    # of Tone, 2nd English ed. 1885 (from memory).
    assert told["ratio"] == "3/2"
    assert told["resultant_note"].startswith("C2")
    assert post(tab, "predict", words={"sung": None}).json()["sung_hz"] is None
    assert post(tab, "predict").json()["ratio"] == "5/2"


def decoded(answer: Any) -> np.ndarray:
    with wave.open(io.BytesIO(answer.content)) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (48000, 1, 2)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767.0


def test_the_sound_is_that_of_render(tab: TestClient) -> None:
    answer = post(tab, "sound", words=QUICK | {"depth": 0.12}, seconds=1.0)
    heard = decoded(answer)
    take = render(setup_of(**QUICK, depth=0.12), 1.0)
    wanted, level = levelled(take.sound)
    assert float(answer.headers["x-gain-db"]) == pytest.approx(level["gain_db"], abs=1e-3)
    start, end = (float(answer.headers[f"x-loop-{name}"]) for name in ("start", "end"))
    assert end == heard.size / 48000
    before_seam = slice(1000, round(0.9 * heard.size))
    assert np.max(np.abs(heard - wanted)[before_seam]) < 1e-4
    # Round the seam the sound goes on as smoothly as it does elsewhere.
    first = round(start * 48000)
    seam = np.abs(np.diff(np.concatenate((heard[-200:], heard[first : first + 200]))))
    assert seam.max() <= 1.05 * np.abs(np.diff(heard[first:])).max()


def test_loudness_compares(tab: TestClient) -> None:
    loud, soft = (
        decoded(post(tab, "sound", words=QUICK | {"breath": breath}, seconds=1.0))
        for breath in ("f", "p")
    )
    inside = [render(setup_of(**QUICK, breath=breath), 1.0).sound for breath in ("f", "p")]
    heard, true = (np.std(one[24000:40000]) / np.std(other[24000:40000])
                   for one, other in ((loud, soft), inside))  # fmt: skip
    assert heard == pytest.approx(true, rel=0.01)
    assert heard > 1.02


def test_what_matches_a_sound_to_others_is_told_and_stays_below_the_ceiling(
    tab: TestClient,
) -> None:
    for breath in ("ff", "pp"):
        answer = post(tab, "sound", words=QUICK | {"breath": breath}, seconds=1.0)
        gain = float(answer.headers["x-match-db"])
        matched = decoded(answer) * 10.0 ** (gain / 20.0)
        assert true_peak(matched) <= 10.0 ** (CEILING_DBTP / 20.0) + 1e-4
        held_back = true_peak(matched) > 10.0 ** (CEILING_DBTP / 20.0) - 1e-3
        assert held_back or loudness(matched) == pytest.approx(MATCHED_LUFS, abs=0.05)


def test_a_horn_that_is_kept_has_no_player_in_it(tab: TestClient) -> None:
    text = post(tab, "take", words={"horn": "plain-cone", "fingered": "C4"}, kind="toml").text
    breath = tomllib.loads(text)["breath"]
    assert not any(
        breath.get(name) for name in ("air", "sway", "lip_sway", "pitch_sway_cents", "tongue_ms")
    )


def rows_of(answer: Any) -> np.ndarray:
    return np.frombuffer(answer.content, "<f4").reshape(-1, int(answer.headers["x-cols"]))


def test_the_waves_are_those_of_the_take(tab: TestClient) -> None:
    answer = post(tab, "look", words=QUICK, seconds=1.0)
    rows = dict(zip(answer.headers["x-rows"].split(","), rows_of(answer), strict=True))
    take = render(setup_of(**QUICK), 1.0)
    gap = np.maximum(take.traces.opening, 0.0)  # pressed into the lay, it is none
    steps = rows["time"].astype(float) * take.setup.time.rate
    for name, trace in (("mouthpiece", take.traces.pressure), ("opening", gap)):
        # Straight between two steps; a time in single precision is off by a hundredth of one.
        before, after = trace[np.floor(steps).astype(int)], trace[np.ceil(steps).astype(int)]
        expected = before + (steps % 1.0) * (after - before)
        assert np.allclose(rows[name], expected, atol=0.002 * np.ptp(trace))
    assert np.std(rows["sound"]) == pytest.approx(np.std(take.sound[24000:]), rel=0.1)
    assert len(rows["time"]) <= 2000
    period = float(answer.headers["x-period"])
    assert answer.headers["x-ratio"] == "3/2"
    assert rows["time"][-1] - rows["time"][0] >= 0.99 * period


def test_the_lines_are_those_of_a_plain_transform(tab: TestClient) -> None:
    answer = post(tab, "look", words=QUICK | {"sung": None}, seconds=2.0)
    lines = json.loads(answer.headers["x-lines"])
    played = float(answer.headers["x-played"])
    sound = render(setup_of(**QUICK | {"sung": None}), 2.0).sound[-72000:]
    # The reference is numpy's own transform under a Hann window.
    level = np.abs(np.fft.rfft(sound * np.hanning(sound.size)))
    strongest = np.argmax(level) * 48000 / sound.size
    loudest = max(lines, key=lambda line: line[1])
    assert loudest[0] == pytest.approx(strongest, abs=1.0)
    assert {line[3] for line in lines} == {"horn"}
    second = next(line for line in lines if abs(line[0] - 2 * played) < 2.0)
    assert second[2] == "partial 2 of the note on the horn, A4"
    near = level[round(2 * played * 1.5) - 4 : round(2 * played * 1.5) + 5].max() / level.max()
    assert second[1] - max(line[1] for line in lines) == pytest.approx(20 * np.log10(near), abs=1.0)


def test_the_verdict_is_that_of_the_take(tab: TestClient) -> None:
    told = post(tab, "judge", words=QUICK).json()
    setup = setup_of(**QUICK)
    found = verdict.judge(render(setup, 4.0))
    wanted = found.document(440.0, setup.voice.frequency)
    assert told["verdict"] == json.loads(json.dumps(wanted))
    assert told["sentence"].endswith(".")
    assert dict(told["how"])["state"].split(",")[0].split(" while")[0] == found.state
    assert told["settings"]["bore.length_mm"] == setup.value("bore.length_mm")
    assert "3/2" in told["sing"]


def test_the_page_says_what_to_sing_instead(tab: TestClient) -> None:
    told = post(tab, "judge", words={"fingered": "Bb2", "sung": "D4"}).json()
    # The just third is 13.7 cents lower than the tempered one: A. J. Ellis, 1885 (from memory).
    assert told["more"] == ["For 5/2 sing D4-13.8c (in reach)."]
    assert told["verdict"]["sing_instead"]["in_range"] is True
    assert told["sing"] == ""


def test_the_moving_bore_ends_in_the_mouthpiece(tab: TestClient) -> None:
    answer = post(tab, "bore", words={}, frames=60, points=40)
    rows = rows_of(answer)
    assert rows.shape == (120, 40)
    rows, forward = np.split(rows, 2)
    signals = json.loads(answer.headers["x-signals"])
    assert np.allclose(rows[:, 0], signals["mouthpiece"], atol=0.1)
    positions, times = (json.loads(answer.headers[f"x-{key}"]) for key in ("positions", "times"))
    assert len(positions) == 40
    assert len(times) == 60
    assert all(len(values) == 60 for values in signals.values())
    # Five sung to two played cycles: so says the arithmetic of the demo's pair.
    step = times[1] - times[0]
    turns = {key: (signals[key][-1] - signals[key][0]) / (times[-1] - times[0]) for key in
             ("sung_phase", "played_phase", "resultant_phase")}  # fmt: skip
    assert turns["sung_phase"] / turns["played_phase"] == pytest.approx(2.5, rel=0.02)
    assert turns["sung_phase"] / turns["resultant_phase"] == pytest.approx(5.0, rel=0.02)
    cycles = turns["resultant_phase"] * (times[-1] - times[0] + step)
    assert cycles == pytest.approx(round(cycles), abs=0.05)
    captions = json.loads(answer.headers["x-captions"])
    assert captions[0][0] == 0
    assert all(len(caption) == 3 for caption in captions)
    assert answer.headers["x-ratio"] == "5/2"
    assert "gap_mm" not in signals
    assert min(signals["opening_mm"]) == 0.0  # a reed pressed into the lay leaves no opening
    # Neither wave is drawn with the steady stream: each has half of the mean pressure.
    assert forward.mean(axis=0) == pytest.approx(0.5 * rows.mean(axis=0), abs=1.0)


@pytest.mark.slow
@pytest.mark.parametrize(("note", "turns"), [("D3", True), ("A3", False)])
def test_the_wave_turns_behind_the_end_only_where_no_hole_is_open(tab, note: str, turns: bool):
    words = {"horn": "clarinet-b-flat", "fingered": note, "sung": None}
    answer = post(tab, "bore", words=words, frames=24, points=24)
    outline = json.loads(answer.headers["x-outline"])
    assert (outline["reach"] == outline["outline"][-1][0]) is turns
    assert (float(answer.headers["x-extra"]) > 0.0) is turns


def test_the_moving_bore_shows_folds_that_open_as_often_as_the_ratio_says(tab: TestClient) -> None:
    # Held still, for film and picture show other moments.
    held = {"breath.sway": 0, "breath.lip_sway": 0}
    words = {"sung": "3/2-40c", "settings": {"voice.drive": "folds", **held}}
    answer = post(tab, "bore", words=words, frames=240, points=20)
    signals = json.loads(answer.headers["x-signals"])
    gap, opening = np.array(signals["gap_mm"]), np.array(signals["opening_mm"])
    assert gap.min() == 0.0
    assert answer.headers["x-ratio"] == "3/2"

    def opened(trace: Any) -> int:
        above = trace > 0.5 * trace.max()
        return int(np.sum(~above & np.roll(above, -1)))  # the film begins again after its end

    assert 2 * opened(gap) == 3 * opened(opening) > 0
    look = post(tab, "look", words=words)
    assert look.headers["x-rows"] == "time,mouth,mouthpiece,opening,sound,folds"
    apart = rows_of(look)[5]
    assert apart.min() == 0.0
    assert 1e3 * apart.max() == pytest.approx(gap.max(), rel=0.01)


def test_a_passage_of_folds_is_opened_as_one(tab: TestClient) -> None:
    text = preset_path("passages", "mill-race").read_text(encoding="utf-8")
    told = post(tab, "read", preset=text, name="mine.toml").json()
    assert told["words"]["settings"] == {"voice.drive": "folds"}
    assert f"{told['words']['sung']}:6" in text  # the longest note


# --- mistakes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"horn": "tenor"}, "'tenor' is no horn"),
        ({"fingered": "H2"}, "fingered 'H2' is not a note"),
        ({"fingered": "C7"}, "allowed Ab2 to C#5"),
        ({"sung": "9/0"}, "sung"),
        ({"depth": 2}, "voice.depth is 2"),
        ({"depth": "much"}, "depth is 'much'; it must be a number"),
        ({"depth": True}, "depth is True"),
        ({"depth": 10**400}, "it is too large"),
        ({"sung": "+" + "9" * 30 + "st"}, "allowed"),
        ({"a4": 300}, "A4"),
        ({"breath": "fff"}, "breath"),
        ({"settings": {"reed.opening": 1}}, "reed.opening"),
        ({"settings": {"reed.opening_mm": 9}}, "allowed 0.05 to 3 mm"),
        ({"settings": {"reed.opening_mm": [1]}}, "must be a number"),
        ({"settings": {"__class__": 1}}, "no setting"),
        ({"settings": {"time.rate_hz": 768000}}, "at most 192000 Hz"),
        ({"settings": [1]}, "settings must be an object"),
        ({"written": 1}, "written is 1"),
        ({"loudness": 11}, "'loudness' is no word"),
        ({"fingered": "x" * 1000}, "1000 letters"),
        (3, "words must be an object"),
    ],
)
def test_a_mistake_is_told_in_a_sentence(tab: TestClient, words: Any, says: str) -> None:
    assert says in refused(tab, "sound", words=words).replace("loudness is", "'loudness' is")


@pytest.mark.parametrize(
    "words",
    [
        {"horn": "/etc/passwd"},
        {"horn": "presets/horns/plain-cone.toml"},
        {"horn": "plain-cone.TOML"},
        {"voice": "..\\low-male"},
        {"sung": "/usr/share/sounds/alsa/Front_Center.wav"},
        {"sung": "hum.flac"},
        {"settings": {"voice.file": "/etc/passwd"}},
        {"settings": {"voice.source": "recording"}},
    ],
)
def test_the_page_makes_the_program_read_no_file(tab: TestClient, words: dict[str, Any]) -> None:
    assert "reads no files" in refused(tab, "look", words=words)


@pytest.mark.parametrize("seconds", [0.1, 20.5, 1e9, 10**400, "2", None, True])
def test_lengths_are_bounded(tab: TestClient, seconds: Any) -> None:
    assert "seconds is" in refused(tab, "sound", words=QUICK, seconds=seconds)
    assert "seconds is" in refused(tab, "take", words=QUICK, seconds=seconds)


def test_pictures_are_bounded(tab: TestClient) -> None:
    assert "allowed 24 to 600" in refused(tab, "bore", frames=100_000)
    assert "whole number" in refused(tab, "bore", points=1.5)
    assert len(refused(tab, "bore", frames=10**400)) < 200


def test_a_kind_that_is_no_text_is_refused(tab: TestClient) -> None:
    assert "write wav, png, json, toml" in refused(tab, "take", words=QUICK, kind=["wav"])


@pytest.mark.parametrize("text", [b"", b"{", b"[]", b"3", b'{"seconds": NaN}', b"\xff"])
def test_what_is_no_json_object_is_refused(tab: TestClient, text: bytes) -> None:
    told = tab.post("/api/sound", content=text, headers={"content-type": "application/json"})
    assert told.status_code == 422
    assert "JSON" in told.json()["error"]


# --- files ---------------------------------------------------------------------------------------


def test_a_take_is_kept_and_made_again(tab: TestClient) -> None:
    words = QUICK | {"depth": 0.2, "breath": "mf", "settings": {"reed.opening_mm": 0.9}}
    kept = post(tab, "take", words=words, seconds=1.0, kind="json")
    place = kept.headers["content-disposition"]
    assert place.startswith('attachment; filename="soprano-saxophone-A4-3-2-depth0.2-mf')
    told = post(tab, "read", sidecar=kept.json()).json()
    again = post(tab, "take", words=told["words"], seconds=1.0, kind="json").json()
    assert again["setup"] == kept.json()["setup"]
    assert told["words"]["depth"] == 0.2


def test_the_kept_sound_is_the_one_of_the_command_line(tab: TestClient) -> None:
    import soundfile  # noqa: PLC0415

    answer = post(tab, "take", words=QUICK, seconds=1.0, kind="wav")
    samples, rate = soundfile.read(io.BytesIO(answer.content))
    wanted, _ = levelled(render(setup_of(**QUICK), 1.0).sound)
    assert rate == 48000
    assert np.max(np.abs(samples - wanted)) < 2.0**-23


def test_a_picture_is_kept(tab: TestClient) -> None:
    answer = post(tab, "take", words=QUICK, seconds=1.0, kind="png")
    assert answer.content.startswith(b"\x89PNG")
    assert "kind is 'exe'" in refused(tab, "take", words=QUICK, kind="exe")


def test_a_horn_of_ones_own_is_kept_opened_and_played(tab: TestClient) -> None:
    words = {"horn": "plain-cone", "fingered": "C4", "sung": "3/2"}
    changed = words | {"settings": {"reed.opening_mm": 1.3}}
    text = post(tab, "take", words=changed, kind="toml").text
    told = post(tab, "read", preset=text, name="my-cone.toml").json()
    assert told["words"]["horn"] == told["horn"]["name"] == "my-cone"
    assert told["horn"]["settings"]["reed.opening_mm"] == 1.3
    mine = words | told["words"]
    heard = post(tab, "look", words=mine, seconds=1.0)
    assert float(heard.headers["x-played"]) == pytest.approx(261.6, rel=0.05)


def test_a_preset_with_mistakes_is_told_with_its_lines(tab: TestClient) -> None:
    text = write_text(load_horn("plain-cone")).replace("opening_mm = ", "opening_mm = 9")
    told = refused(tab, "read", preset=text, name="../../my-cone.toml")
    assert told.startswith("my-cone.toml:")
    assert "reed.opening_mm" in told
    assert "cannot be read as TOML" in refused(tab, "read", preset="= 3", name="x.toml")
    assert "JSON object" in refused(tab, "read")
    assert "missing" in refused(tab, "read", sidecar={"setup": {}})


# --- several at once, and the end ----------------------------------------------------------------


def test_a_long_judgement_leaves_other_tabs_alone(tab: TestClient) -> None:
    done: list[str] = []

    def judge() -> None:
        post(tab, "judge", words={"fingered": "C3", "sung": "3/2"})
        done.append("judge")

    other = threading.Thread(target=judge)
    other.start()
    post(tab, "predict")
    done.append("predict")
    other.join()
    assert done == ["predict", "judge"]


def test_several_tabs_hear_the_same(tab: TestClient) -> None:
    found: list[bytes] = []
    words = QUICK | {"depth": 0.17}
    tabs = [
        threading.Thread(
            target=lambda: found.append(post(tab, "sound", words=words, seconds=1.0).content)
        )
        for _ in range(6)
    ]
    for one in tabs:
        one.start()
    for one in tabs:
        one.join()
    assert len(found) == 6
    assert len(set(found)) == 1


@pytest.fixture
def served() -> Iterator[tuple[str, Any]]:
    """A server on a port of its own: its address and its application."""
    application = app.make_app()
    config = uvicorn.Config(application, log_level="error", lifespan="off", ws="none")
    ready = threading.Event()
    running = Server(config, ready.set)
    with listen(0) as taken:
        thread = threading.Thread(target=running.run, kwargs={"sockets": [taken]}, daemon=True)
        thread.start()
        assert ready.wait(PATIENCE_S)
        yield f"http://127.0.0.1:{taken.getsockname()[1]}", application
        running.should_exit = True
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


def ask(address: str, name: str, body: dict[str, Any]) -> urllib.request.Request:
    headers = {"origin": address, "content-type": "application/json"}
    data = json.dumps(body).encode()
    return urllib.request.Request(f"{address}/api/{name}", data=data, headers=headers)


def until(true: Any) -> bool:
    end = time.monotonic() + PATIENCE_S
    while not true() and time.monotonic() < end:
        time.sleep(0.02)
    return bool(true())


def test_arithmetic_waits_for_no_sound(
    served: tuple[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    address, application = served
    heard, real = threading.Event(), api.sound
    monkeypatch.setattr(api, "sound", lambda body: heard.wait(PATIENCE_S) and real(body))
    crowd = [
        threading.Thread(
            target=urllib.request.urlopen,
            args=(ask(address, "sound", {"words": QUICK, "seconds": 0.5}),),
            daemon=True,
        )
        for _ in range(20)
    ]
    for one in crowd:
        one.start()
    assert until(lambda: application.state.jobs.under_way == len(crowd))
    with urllib.request.urlopen(ask(address, "predict", {}), timeout=PATIENCE_S) as answer:
        assert "says" in json.load(answer)
    assert not heard.is_set()
    assert application.state.jobs.under_way == len(crowd)
    heard.set()
    for one in crowd:
        one.join(PATIENCE_S)


def test_a_map_stops_when_its_tab_is_closed(
    served: tuple[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    address, application = served
    monkeypatch.setattr(map, "BATCH", 4)  # it stops between batches
    along = [{"field": "reed.opening_mm", "start": "0.9", "stop": "1.3", "count": 40},
             {"field": "breath.pressure_kpa", "start": "2", "stop": "4", "count": 40}]  # fmt: skip
    body = {"words": QUICK, "along": along}
    with urllib.request.urlopen(ask(address, "map", body), timeout=PATIENCE_S) as answer:
        assert "axes" in json.loads(answer.readline())
        assert "state" in json.loads(answer.readline())
        assert application.state.jobs.under_way == 1
    assert until(lambda: application.state.jobs.under_way == 0)


def test_a_mistake_in_a_map_is_told_before_it_begins(served: tuple[str, Any]) -> None:
    address, _ = served
    with pytest.raises(urllib.error.HTTPError) as caught:
        urllib.request.urlopen(
            ask(address, "map", {"along": [{"field": "nothing"}]}), timeout=PATIENCE_S
        )
    assert caught.value.code == 422
    assert "two axes" in json.load(caught.value)["error"]


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


def command(*arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "reedbore", "page", "--no-browser", *arguments],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip


@pytest.mark.slow
def test_ctrl_c_ends_it_while_it_renders() -> None:
    port = free_port()
    with command("--port", str(port)) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address == f"http://127.0.0.1:{port}/"
        cut: list[bool] = []

        def table() -> None:
            try:
                with urllib.request.urlopen(
                    ask(address[:-1], "table", {}), timeout=PATIENCE_S
                ) as answer:
                    started.set()
                    cut.append(b'"table"' not in answer.read())
            except OSError:
                cut.append(True)

        started = threading.Event()
        watching = threading.Thread(target=table)
        watching.start()
        assert started.wait(PATIENCE_S)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=PATIENCE_S)
        watching.join(PATIENCE_S)
    assert process.returncode == 0
    assert "Traceback" not in told
    assert told.splitlines()[-1] == "the page is closed"
    assert cut == [True]


def test_a_port_that_is_taken_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with command("--port", str(port)) as process:
            _, told = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 2
    assert f"port {port} of 127.0.0.1 cannot be had" in told
    assert "try another --port" in told


def test_only_this_machine_is_listened_to() -> None:
    with listen(None) as taken, listen(None) as other:
        assert taken.getsockname()[0] == other.getsockname()[0] == "127.0.0.1"
        assert taken.getsockname()[1] != other.getsockname()[1]


def test_it_listens_before_anything_heavy_is_loaded() -> None:
    heavy = "numba", "scipy", "matplotlib", "plotly"
    code = "import sys; from reedbore.page.app import make_app; make_app();"
    code += "import reedbore.page.serve, reedbore.cli.page;"
    code += f"print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_endpoint_has_its_function(tab: TestClient) -> None:
    told = tab.get("/api/lesson").json()
    assert len(told) >= 6
    for name in (*app.WORKERS, *app.STREAMERS):
        body = {"words": {"horn": "none"}, "step": "none", "bore": "none"}
        asked: dict[str, Any] = {"json": body}
        if name.replace("/", "_") in app.READ:
            asked = {"content": json.dumps(body) + "\n"}
            asked["headers"] = {"content-type": "application/octet-stream"}
        answer = tab.post(f"/api/{name}", **asked)
        assert answer.status_code == 422, name
