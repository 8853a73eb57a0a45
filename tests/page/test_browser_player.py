"""What a player does on the page: a passage, one's own voice, the whole horn at a glance."""

import base64
import io
import json
from pathlib import Path
from typing import Any

import fake_atlas
import numpy as np
import pytest
import soundfile
from browsing import KNOWN_HZ, Open, begun, put, until, whole, words
from playwright.sync_api import Page

from reedbore.cli import main
from reedbore.model.setup import Horn

pytestmark = pytest.mark.browser

# Short periods settle early: what is slow elsewhere is quick on this horn.
QUICK = {"horn": "soprano-saxophone", "fingered": "A4", "sung": "D4", "voice": "low-male"}
SAID = "(part) => document.querySelector(`#${part} .caption`).textContent"
SAYS = """([part, words]) =>
  document.querySelector(`#${part} .caption`).textContent.includes(words)"""
NO_MICROPHONE = {
    "NotFoundError": "No microphone was found",
    "NotAllowedError": "The microphone was refused",
    "NotReadableError": "in use elsewhere",
}
"""What browsers call it (W3C, Media Capture and Streams, 10.3), and what the page says."""

KEEP = """() => {
  const { mediaDevices } = navigator, ask = mediaDevices.getUserMedia.bind(mediaDevices);
  globalThis.asked = [];
  mediaDevices.getUserMedia = async (what) => {
    asked.push(what);
    if (globalThis.refuse) throw new DOMException("", refuse);
    return (globalThis.stream = await ask(what));
  };
  const fetched = fetch;
  globalThis.heard = [];
  globalThis.fetch = async (path, ...more) => {
    const answer = await fetched(path, ...more);
    if (path === "/api/voice") answer.clone().text().then((text) => heard.push(text), () => {});
    return answer;
  };
}"""


@pytest.fixture
def player(open_page: Open) -> Page:
    """Open the page in a window that may use the microphone, with a horn that is quick."""
    page = open_page(permissions=["microphone"], accept_downloads=True)
    whole(page)
    page.evaluate(KEEP)
    put(page, QUICK)
    return page


def says(page: Page, part: str, words: str) -> None:
    """Wait until a part of the page says so."""
    until(page, SAYS, [part, words])


def rows_of(page: Page) -> list[dict[str, Any]]:
    """Wait for the verdict on a voice."""
    told = map(json.loads, until(page, "() => heard.shift()").splitlines())
    (found,) = (one["rows"] for one in told if "rows" in one)
    return list(found)


def by_command(path: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Judge the same file from the command line."""
    capsys.readouterr()
    asked = ["--horn", QUICK["horn"], "--fingered", "A4", "--voice", "low-male", "--json"]
    files = ["-o", str(folder / "out.wav")]
    assert main(["render", "--sung", str(path), *asked, *files]) == 0
    return json.loads(capsys.readouterr().out)["notes"]


# --- a passage -----------------------------------------------------------------------------------


def test_a_passage_is_played_with_a_line_that_moves_and_is_judged(player: Page) -> None:
    until(player, "() => document.querySelector('#passage-fingered').value.startsWith('Bb2:17')")
    player.locator("#passage summary").click()
    player.locator("#passage-fingered").fill("A4:1 A4:1")
    player.locator("#passage-sung").fill("D4:2")
    player.locator("#passage-tempo").fill("180")
    assert player.locator("#passage-which").input_value() == "typed"
    player.get_by_role("button", name="Play and judge it").click()
    until(player, "() => begun.includes('passage')")
    at = "() => Number(document.querySelector('#passage .sheet').dataset.at)"
    first = until(player, at)
    until(
        player,
        "(first) => Number(document.querySelector('#passage .sheet').dataset.at) > first",
        first,
    )
    until(player, "() => document.querySelector('#passage table.notes')")
    assert player.locator("#passage table.notes tbody tr").count() == 2
    assert player.locator("#passage table.notes thead th").first.inner_text() == "note"
    player.get_by_role("button", name="Set and play note 1").click()
    assert {"fingered": "A4", "sung": "D4"}.items() <= words(player).items()


def test_a_bar_goes_round_and_the_tempo_is_slowed(player: Page) -> None:
    player.locator("#passage summary").click()
    player.locator("#passage-fingered").fill("A4:8")
    player.locator("#passage-sung").fill("")
    player.locator("#passage-tempo").fill("400")
    until(player, "() => document.querySelector('#passage-loop').options.length === 3")
    player.get_by_role("button", name="Play and judge it").click()
    until(player, "() => begun.includes('passage')")
    until(player, "() => !reedbore.player.sounding")  # it is over after a second
    player.locator("#passage-loop").select_option("1")
    player.locator("#passage-play").click()
    until(player, "() => reedbore.player.sounding?.loop && reedbore.player.sounding.place() > 0")
    bar = player.evaluate("() => reedbore.player.sounding.source.buffer.duration")
    assert bar == pytest.approx(0.6, abs=1e-3)
    seconds = (
        "() => document.querySelector('#passage .sheet canvas').ariaLabel.includes('%s seconds')"
    )
    assert player.evaluate(seconds % "1.2")
    player.keyboard.press("Escape")
    until(player, "() => !reedbore.player.sounding")
    player.locator("#passage input[type=range]").fill("50")
    until(player, seconds % "2.4")


def drop(page: Page, part: str, name: str, data: bytes) -> None:
    """Drop a file onto a part of the page."""
    moved = page.evaluate_handle(
        """([name, text]) => {
          const moved = new DataTransfer();
          const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
          moved.items.add(new File([bytes], name));
          return moved;
        }""",
        [name, base64.b64encode(data).decode()],
    )
    page.dispatch_event(part, "drop", {"dataTransfer": moved})


def test_a_file_that_is_no_passage_is_refused_and_the_notes_stay(player: Page) -> None:
    before = player.locator("#passage-fingered").input_value()
    drop(player, "#passage .room", "own.mid", b"no MIDI")
    says(player, "passage", "own.mid")
    assert player.locator("#passage-fingered").input_value() == before
    line = b'title = "Own"\nhorn = "soprano-saxophone"\nvoice = "low-male"\n[passage]\n'
    drop(
        player,
        "#passage .room",
        "own.toml",
        line + b'tempo_bpm = 90\nfingered = "A4:2"\nsung = "D4:2"\n',
    )
    until(player, "() => document.querySelector('#passage-fingered').value === 'A4:2'")
    says(player, "passage", "Opened own.toml.")


# --- one's own voice -----------------------------------------------------------------------------


def test_a_dropped_voice_is_judged_as_by_the_command(
    player: Page, known_voice: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drop(player, "#voice .room", "known.wav", known_voice.read_bytes())
    found = rows_of(player)
    wanted = by_command(known_voice, tmp_path, capsys)
    assert verdicts(found) == verdicts(wanted)
    assert found[0]["sung_hz"] == pytest.approx(KNOWN_HZ, rel=3e-4)
    until(player, "() => document.querySelector('#voice table.notes')")
    assert player.evaluate("() => asked.length") == 0


def verdicts(rows: list[dict[str, Any]]) -> list[Any]:
    """Keep of rows what a player reads, numbers to what can be heard of them."""
    return [
        (
            row["note"], row["fingered_note"], row["sung_note"], row["planned"]["ratio"],
            row["reached"]["state"], row["reached"]["ratio"], row["reached"]["heard"],
            row["held"]["state"], row["held"]["heard"], round(row["begin_s"], 2),
        )
        for row in rows
    ]  # fmt: skip


def test_the_microphone_is_judged_as_by_the_command_and_kept_only_when_asked(
    player: Page, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert player.evaluate("() => asked.length") == 0
    player.get_by_role("button", name="Record").click()
    says(player, "voice", "1 s")
    player.get_by_role("button", name="Stop", exact=True).click()
    found = rows_of(player)
    (asked,) = player.evaluate("() => asked")
    assert asked["audio"]["echoCancellation"] is asked["audio"]["noiseSuppression"] is False
    assert player.evaluate(
        "() => stream.getTracks().every((track) => track.readyState === 'ended')"
    )
    with player.expect_download() as kept:
        player.get_by_role("button", name="Keep the recording").click()
    path = tmp_path / "kept.wav"
    kept.value.save_as(path)
    assert soundfile.info(path).subtype == "FLOAT"
    assert verdicts(found) == verdicts(by_command(path, tmp_path, capsys))
    assert found[-1]["sung_hz"] == pytest.approx(KNOWN_HZ, rel=2e-3)
    player.get_by_role("button", name="Forget it").click()
    assert not player.locator("#voice table.notes").count()
    assert not player.get_by_role("button", name="Keep the recording").is_visible()
    assert player.evaluate("() => localStorage.length + sessionStorage.length") == 0


def test_the_microphone_is_heard_to_the_last_sample(player: Page) -> None:
    heard = player.evaluate(
        """async () => {
          const context = new OfflineAudioContext(1, 5120, 48000);
          await context.audioWorklet.addModule("panels/voice/taking.js");
          const taker = new AudioWorkletNode(context, "taking", { numberOfOutputs: 0 });
          const source = new ConstantSourceNode(context), blocks = [];
          const all = new Promise((done) => (taker.port.onmessage = ({ data }) =>
            (data ? blocks.push(data[0].length) : done())));
          source.connect(taker);
          source.start();
          context.suspend(4992 / 48000).then(async () => {
            taker.port.postMessage("hand");
            await all;
            context.resume();
          });
          await context.startRendering();
          return blocks;
        }"""
    )
    assert heard == [4096, 896]


def test_no_microphone_is_one_sentence(player: Page) -> None:
    for name, told in NO_MICROPHONE.items():
        player.evaluate("(name) => void (globalThis.refuse = name)", name)
        player.get_by_role("button", name="Record").click()
        says(player, "voice", told)
        assert player.get_by_role("button", name="Record").is_enabled()


def test_a_window_that_was_not_allowed_is_told_so(page: Page) -> None:
    whole(page)
    page.get_by_role("button", name="Record").click()
    says(page, "voice", "was refused")


def test_a_microphone_that_is_pulled_out_leaves_what_it_heard(player: Page) -> None:
    player.get_by_role("button", name="Record").click()
    says(player, "voice", "1 s")
    player.evaluate("() => void stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    says(player, "voice", "until then is here")
    assert player.get_by_role("button", name="Keep the recording").is_visible()
    player.get_by_role("button", name="Call it off").click()
    assert player.get_by_role("button", name="Keep the recording").is_visible()


def test_what_is_no_voice_is_said_in_its_place(player: Page) -> None:
    status = "() => document.querySelector('#voice [role=status]').textContent"
    player.evaluate(
        """() => {
          const { prototype } = OfflineAudioContext, decode = prototype.decodeAudioData;
          const wait = new Promise((go) => (globalThis.go = go));
          prototype.decodeAudioData = async function (data) {
            prototype.decodeAudioData = decode;
            const buffer = await decode.call(this, data);
            await wait;
            return buffer;
          };
        }"""
    )
    silent = io.BytesIO()
    soundfile.write(silent, np.zeros(8000), 8000, format="WAV")
    drop(player, "#voice .room", "silent.wav", silent.getvalue())
    until(player, f"() => ({status})().includes('silent')")
    drop(player, "#voice .room", "notes.txt", b"no sound")
    said = until(player, f"() => ({status})().includes('cannot be read') && ({status})()")
    assert said.startswith("notes.txt cannot be read as a sound file")
    assert words(player)["fingered"] == "A4"
    # Of the first file, read only now, nothing takes the place of the second one.
    player.evaluate("() => (go(), new Promise((done) => setTimeout(done)))")
    assert player.locator("#voice-again").is_disabled()


# --- the whole horn ------------------------------------------------------------------------------


def test_a_click_on_the_whole_horn_sets_and_sounds_a_pair(
    player: Page, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(Horn, "notes", lambda _: (45, 46, 47))
    fake_atlas.patch(monkeypatch.setattr)
    put(player, {"horn": "tenor-saxophone", "fingered": "Bb2"})
    player.locator("#atlas").scroll_into_view_if_needed()
    until(player, "() => document.querySelector('#atlas canvas').ariaLabel.includes(' 0 pairs')")
    player.get_by_role("button", name="Look at the whole horn").click()
    until(
        player, "() => document.querySelector('#atlas [role=status]').textContent.includes('pairs')"
    )
    sheet = player.locator("#atlas .atlas canvas")
    box = sheet.bounding_box()
    assert box
    across = 40.0 + 0.5 * (box["width"] - 40.0)  # the second of three columns: B flat 2
    player.evaluate("() => begun.splice(0)")
    sheet.click(position={"x": across, "y": 0.3 * box["height"]})
    assert words(player)["fingered"] == "Bb2"
    assert begun(player) == "setup"
    said = player.evaluate(SAID, "atlas")
    assert said.startswith("B♭2 (written C4) fingered")
    chips = player.locator("#atlas .chip")
    chosen = chips.nth(0).inner_text()
    chips.nth(0).click()
    assert player.evaluate(SAID, "atlas").count(chosen.split(" · ")[1]) == 1
    before = words(player)["sung"]
    sheet.focus()
    for key in ("ArrowUp", "ArrowRight", "Enter"):
        player.keyboard.press(key)
    assert words(player)["fingered"] == "B2"
    assert words(player)["sung"] != before
