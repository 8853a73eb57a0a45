"""The page in a browser: every control does what it says."""

import hashlib
import json
import re
from pathlib import Path

import pytest
from browsing import Open, put, settle, setup_of, slide, until, whole, words
from playwright.sync_api import Page

from reedbore.notes import cents, midi_to_hz

pytestmark = pytest.mark.browser


def key(page: Page, board: str, midi: int) -> None:
    """Press a key of one of the two keyboards, where no black one lies over it."""
    keys = page.get_by_role("radiogroup", name=f"{board}, keyboard")
    one = keys.locator(f"[data-midi='{midi}']")
    box = one.bounding_box()
    assert box
    one.click(position={"x": box["width"] / 2, "y": box["height"] - 6})


# All that can be pressed, typed into or moved, but the keys of the keyboards; each has its test in
# one of the files beside this one.
KNOWN = {
    "": {"To the answer", "Show the page dark", "Answer", "Waves", "Sound", "In the bore",
         "Lock map", "Lock table", "Lesson", "Compare", "Keep", "Care", "Hold to hear",
         "Keep it sounding", "Whole horn", "Passage", "My voice"},
    "controls": {"Horn", "concert", "written", "Note", "Along the horn", "Fingering",
                 "Note or ratio", "Voice", "Cents off", "Nobody sings",
                 "a clock", "vocal folds",
                 "How strongly I sing", "usual", "pp", "p", "mp", "mf", "f", "ff", "in kPa",
                 "Reed, bore, vowel and all the rest", "Reed strength", "Tip opening",
                 "Firmness of the lip", "Bore length", "none", "neutral", "a", "i", "u",
                 "Any other setting", "Value", "Set"},
    "answer": {"Loudness", "Match loudness", "Sound after every change",
               "The numbers", "Sing exactly 5/2", "I want a third note",
               "How exactly must I sing it?"},
    "spectrum": {"Spectrum of the sound"},
    "bore": {"the air in what is set", "one push in a quiet bore", "plain tube", "cone",
             "short and wide", "open", "stopped", "a hole open half-way",
             "Moving picture. Space runs or pauses, arrow keys step.", "Pause", "One step back",
             "One step on", "Speed", "Time", "What happens, moment by moment"},
    "map": {"Across", "Across: from", "Across: to", "Up", "Up: from", "Up: to", "Cells",
            "What can I write here?", "Compute the map", "Call it off", "Lock map"},
    "table": {"Make the table", "Call it off",
              "For a clock find out how softly each may be sung, too (takes four times as long)"},
    "atlas": {"A singer", "A voice like a clock", "Look at the whole horn", "Stop here",
              "The whole horn"},
    "passage": {"Beats a minute", "Call it off", "Fingered", "Loop", "Passage", "Play", "Sung",
                "Open MIDI, MusicXML or TOML, or drop it here", "Play and judge it", "Tempo",
                "The notes"},
    "voice": {"Call it off", "Forget it", "Horn and voice", "Judge it", "Keep the recording",
              "My voice alone", "Play", "Record", "The fingered note", "The passage",
              "The second channel is a microphone on the throat", "What was recorded",
              "or choose a sound file, or drop it here"},
    "lesson": {"Start the lesson", "Handout to print", "The same with answers and notes"},
    "compare": {"Keep this as A", "Go back to A", "Hold to hear A", "Hold to hear B"},
    "files": {"Seconds", "Sound (WAV)", "Picture (PNG)", "Take as a sidecar (JSON)",
              "Setup as a preset (TOML)", "Open a sidecar or a preset",
              "Link that brings this setup back", "Copy the link"},
}  # fmt: skip


def test_no_control_is_without_a_test(page: Page):
    whole(page)
    page.locator("#each-change").uncheck()  # a button that sounds has another name
    put(page, {"sung": "D4"})  # so that the just note is offered
    settle(page)
    found: dict[str, set[str]] = {}
    for section, name in page.evaluate(
        """() => [...document.querySelectorAll("a, button, input, select, summary, [tabindex='0']")]
          .filter((node) => !node.matches(".key, .chip, #bore ol button"))
          .map((node) => [node.closest("section")?.id ?? "",
            node.ariaLabel || node.labels?.[0]?.textContent || node.textContent])"""
    ):
        found.setdefault(section, set()).add(re.split(r"[.,] (?=not computed|\d)", name)[0].strip())
    assert found == KNOWN


def test_horn_and_fingered_note(page: Page):
    page.get_by_label("Note", exact=True).fill("D3")
    page.get_by_label("Note", exact=True).press("Enter")
    assert setup_of(page) == {"fingered": "D3"}
    key(page, "Fingered note, concert", 48)
    assert setup_of(page) == {"fingered": "C3"}
    slider = page.get_by_label("Along the horn")
    slider.focus()
    slider.press("ArrowRight")
    assert setup_of(page) == {"fingered": "C#3"}
    page.get_by_text("written", exact=True).click()
    assert setup_of(page) == {"fingered": "Eb4", "written": True}  # a ninth over what sounds
    key(page, "Fingered note, written", 64)
    assert setup_of(page) == {"fingered": "E4", "written": True}
    key(page, "Fingered note, written", 63)
    page.get_by_text("concert", exact=True).click()
    assert setup_of(page) == {"fingered": "C#3"}
    page.get_by_label("Horn", exact=True).select_option("clarinet-b-flat")
    assert setup_of(page) == {"horn": "clarinet-b-flat", "fingered": "D3"}  # its lowest note
    page.get_by_label("Note", exact=True).fill("B3")
    page.get_by_label("Note", exact=True).press("Enter")
    page.get_by_label("Fingering").select_option("fork")
    assert setup_of(page) == {"horn": "clarinet-b-flat", "fingered": "B3", "fingering": "fork"}
    assert settle(page)["title"].startswith("B flat clarinet, B3 fingered")


def test_sung_note(page: Page):
    text = page.get_by_label("Note or ratio")
    text.fill("5/3")
    text.press("Enter")
    assert setup_of(page) == {"sung": "5/3"}
    until(page, "() => document.querySelector('.tile.voice .name').textContent.startsWith('G3')")
    key(page, "Sung note", 60)
    assert setup_of(page) == {"sung": "C4"}
    slide(page, "Cents off", -12.5)
    assert setup_of(page) == {"sung": "C4-12.5c"}
    page.get_by_label("Voice", exact=True).select_option("low-female")
    assert setup_of(page) == {"sung": "C4-12.5c", "voice": "low-female"}
    page.get_by_label("Nobody sings").check()
    assert setup_of(page) == {"sung": None, "voice": "low-female"}
    assert settle(page)["verdict"]["state"] == "unsung"
    page.get_by_label("Nobody sings").uncheck()
    assert setup_of(page)["sung"] == "C4-12.5c"


def test_the_just_note_is_one_click_away(page: Page):
    put(page, {"sung": "D4"})
    page.get_by_role("button", name="Sing exactly 5/2").click()
    assert setup_of(page) == {"sung": "5/2"}
    verdict = settle(page)["verdict"]
    just = 2.5 * midi_to_hz(46)  # the ratio over B flat 2, by arithmetic
    assert cents(verdict["sung_hz"], just) == pytest.approx(0.0, abs=0.2)


def test_the_question_turned_round(page: Page):
    page.get_by_label("I want a third note").select_option("two octaves below")
    until(page, "() => document.querySelector('#answer .chip')?.textContent.startsWith('sing 3/4')")
    page.get_by_role("button", name="sing 7/4").click()
    assert setup_of(page) == {"sung": "7/4"}


def test_how_exactly_a_lock_must_be_sung(page: Page):
    settle(page)
    page.get_by_role("button", name="How exactly must I sing it?").click()
    until(page, "() => document.querySelector('#exactly').textContent.includes('It locks from')")
    # The lock range that `render --lock-range` tells of the demo.
    assert (
        "0.2 cents under to 0.1 cents over the note that is aimed at. The table counts from"
        in page.locator("#exactly").inner_text()
    )
    put(page, {"sung": "C4"})
    assert page.locator("#exactly").inner_text() == ""


def test_how_strongly_and_how_hard(page: Page):
    slide(page, "How strongly I sing", 0.2)
    assert setup_of(page) == {"depth": 0.2}
    page.get_by_text("ff", exact=True).click()
    assert setup_of(page) == {"depth": 0.2, "breath": "ff"}
    page.get_by_label("in kPa").fill("2.5")
    page.get_by_label("in kPa").press("Enter")
    assert setup_of(page) == {"depth": 0.2, "breath": "2.5kPa"}
    assert settle(page)["settings"]["breath.pressure_kpa"] == pytest.approx(2.5)
    page.get_by_text("usual", exact=True).click()
    assert setup_of(page) == {"depth": 0.2}


def test_a_slider_dragged_and_brought_back_is_answered_again(page: Page):
    settle(page)
    slider = page.get_by_label("How strongly I sing", exact=True)
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    assert box
    thumb = float(slider.input_value()) / 0.5  # of its way, but for half the width of the thumb
    at = box["x"] + 8 + thumb * (box["width"] - 16), box["y"] + box["height"] / 2
    page.mouse.move(*at)
    page.mouse.down()
    began = slider.input_value()
    for by in (40, 80, 120, 0):
        page.mouse.move(at[0] + by, at[1])
    until(page, "() => !('judged' in reedbore.state.told)")
    assert slider.input_value() == began
    page.mouse.up()
    assert settle(page)["verdict"]["state"] == "locked"


def test_reed_bore_and_vowel(page: Page):
    length = settle(page)["settings"]["bore.length_mm"]
    for label, value, name in (
        ("Reed strength", 3.0, "reed.strength"),
        ("Tip opening", 1.2, "reed.opening_mm"),
        ("Firmness of the lip", 1.25, "reed.lip"),
    ):
        slide(page, label, value)
        assert setup_of(page) == {name: value}
        page.get_by_role("button", name=f"Take back {name} = {value:g}").click()
        assert setup_of(page) == {}
    slide(page, "Bore length", -8.0)
    assert setup_of(page) == {"bore.length_mm": pytest.approx(length - 8.0, abs=0.01)}
    slide(page, "Bore length", 0.0)
    page.locator("fieldset", has_text="Vowel on the tongue").get_by_text("a", exact=True).click()
    assert setup_of(page) == {"voice.vowel": "a"}
    page.get_by_label("Any other setting").select_option("air.temperature_c")
    page.get_by_label("Value", exact=True).fill("31")
    page.get_by_role("button", name="Set", exact=True).click()
    assert setup_of(page) == {"voice.vowel": "a", "air.temperature_c": 31}
    assert settle(page)["settings"]["air.temperature_c"] == pytest.approx(31.0)


def test_a_voice_may_be_folds_whose_aim_and_pull_are_told(page: Page):
    page.get_by_label("vocal folds", exact=True).check()
    put(page, {"sung": "F3-40c"})
    told = settle(page)
    assert words(page)["settings"] == {"voice.drive": "folds"}
    assert told["verdict"]["pulled_cents"] == pytest.approx(42.0, abs=3.0)
    assert page.locator(".tile.voice .title").inner_text() == "aimed at"
    assert "pulled up by" in page.locator("#sing").inner_text()
    assert "only the model tells" in page.locator("#predict").inner_text()
    page.get_by_label("a clock", exact=True).check()
    assert words(page)["settings"] == {}
    until(page, "() => document.querySelector('.tile.voice .title').textContent === 'sung'")


def test_the_answer_in_words_and_in_numbers(page: Page):
    told = settle(page)
    assert page.locator("#sentence").inner_text().replace("♭", "b") == told["sentence"]
    assert "The reed locks to the voice" in told["sentence"]
    assert page.locator("#answer .badge").inner_text().split() == ["●", "locked"]
    names = page.locator("#answer .tile .name").all_inner_texts()
    assert [name.replace("♭", "b").split()[0] for name in names] == ["Bb2", "D4", "Bb1"]
    page.get_by_text("The numbers").click()
    shown = page.locator("#answer dl dd").all_inner_texts()
    assert len(shown) == len(told["how"])
    assert any("ratio 5/2" in line for line in shown)


def test_waves_and_lines_are_drawn_and_told(page: Page):
    settle(page)
    until(page, "() => document.querySelector('#waves .caption').textContent")
    said = page.locator("#waves .caption").inner_text()
    assert "the voice swings 5 times in it, the horn twice" in said
    for panel in ("waves", "spectrum"):
        colours = page.evaluate(
            """(panel) => {
              const sheet = document.querySelector(`#${panel} canvas`);
              const { data } = sheet.getContext("2d").getImageData(0, 0, sheet.width, sheet.height);
              return new Set(new Uint32Array(data.buffer)).size;
            }""",
            panel,
        )
        assert colours > 20, panel
    lines = page.locator("#spectrum canvas").first
    lines.focus()
    lines.press("ArrowRight")
    assert " Hz (" in page.locator("#spectrum .caption").inner_text()


def test_light_and_dark(page: Page):
    paper = "() => getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(paper)
    page.get_by_role("button", name="Show the page dark").click()
    assert page.evaluate(paper) != light
    page.reload()
    until(page, "() => globalThis.reedbore")
    assert page.evaluate(paper) != light  # it is remembered
    page.get_by_role("button", name="Show the page light").click()
    assert page.evaluate(paper) == light


def test_two_setups_side_by_side(page: Page):
    first = settle(page)["sentence"]
    page.get_by_role("button", name="Keep this as A").click()
    put(page, {"sung": "A3"})
    settle(page)
    sides = [text.replace("♭", "b") for text in page.locator("#compare .says").all_inner_texts()]
    assert sides[0] == first
    assert sides[1] == words_of_verdict(page)
    assert "D4" in page.locator("#compare .hint").last.inner_text()
    page.get_by_role("button", name="Go back to A").click()
    assert setup_of(page) == {}


def words_of_verdict(page: Page) -> str:
    return settle(page)["sentence"]


# --- files and links -----------------------------------------------------------------------------


SAID_OF_FILE = """() => {
  const said = document.querySelector("#files .caption[aria-live]").textContent;
  return said && !said.endsWith("…") && said;
}"""


@pytest.mark.parametrize(
    ("kind", "head"), [("wav", b"RIFF"), ("png", b"\x89PNG"), ("json", b"{"), ("toml", b"")]
)
def test_what_is_saved_is_a_file(page: Page, tmp_path: Path, kind: str, head: bytes):
    page.get_by_label("Seconds").fill("1")
    with page.expect_download() as waited:
        page.locator(f"#save-{kind}").click()
        assert until(page, SAID_OF_FILE).startswith("Kept as ")
    saved = tmp_path / waited.value.suggested_filename
    waited.value.save_as(saved)
    assert saved.suffix == f".{kind}"
    assert saved.read_bytes().startswith(head)
    assert saved.stat().st_size > 300
    assert saved.name in page.locator("#files .caption").inner_text()


@pytest.mark.parametrize("kind", ["json", "toml"])
def test_a_setup_that_was_saved_can_be_opened(page: Page, tmp_path: Path, kind: str):
    put(page, {"sung": "5/3", "breath": "2.5kPa", "settings": {"reed.opening_mm": 1.2}})
    before = settle(page)
    page.get_by_label("Seconds").fill("1")
    with page.expect_download() as waited:
        page.locator(f"#save-{kind}").click()
        assert until(page, SAID_OF_FILE).startswith("Kept as ")
    saved = tmp_path / waited.value.suggested_filename
    waited.value.save_as(saved)
    page.evaluate("() => void reedbore.state.replace({})")
    page.get_by_label("Open a sidecar or a preset").set_input_files(saved)
    until(page, "() => document.querySelector('#files .caption').textContent.includes('Opened')")
    after = settle(page)
    for name in ("reed.opening_mm", "breath.pressure_kpa"):
        assert after["settings"][name] == pytest.approx(before["settings"][name], rel=1e-6)
    # A preset is a horn: it is tuned anew, with its own reed and breath. A take stays as it was.
    if kind == "json":
        length = before["settings"]["bore.length_mm"]
        assert after["settings"] == {
            **before["settings"],
            "bore.length_mm": pytest.approx(length, rel=1e-9),
        }
        assert after["sentence"] == before["sentence"]


def test_files_opened_along_with_a_sidecar_are_told_apart(page: Page, tmp_path: Path):
    put(page, {})
    settle(page)
    page.get_by_label("Seconds").fill("1")
    with page.expect_download() as waited:
        page.locator("#save-json").click()
    sounds = {"a.wav": b"as it was written", "b.wav": b"of another take..", "c.wav": b"whatever"}
    for name, data in sounds.items():
        (tmp_path / name).write_bytes(data)
    kept = json.loads(Path(waited.value.path()).read_text(encoding="utf-8"))
    sum_of = hashlib.sha256(sounds["a.wav"]).hexdigest()
    kept["checksums"] = {
        what: {"file": f"{name}.wav", "bytes": 17, "sha256": sum_of}
        for what, name in (("sound", "a"), ("throat", "b"))
    }
    (tmp_path / "a.json").write_text(json.dumps(kept), encoding="utf-8")
    chosen = [tmp_path / name for name in ("b.wav", "c.wav", "a.json", "a.wav")]
    page.get_by_label("Open a sidecar or a preset").set_input_files(chosen)
    until(page, "() => document.querySelector('#files [aria-live]').textContent.includes('Opened')")
    told = page.locator("#files [aria-live]").inner_text()
    assert "Opened a.json." in told
    assert "a.wav belongs to it." in told
    assert "b.wav is not the throat that was written with a.json." in told
    assert "a.json does not name c.wav." in told


def test_a_link_brings_the_setup_back(page: Page):
    put(page, {"fingered": "D3", "sung": "5/3", "settings": {"reed.opening_mm": 1.2}})
    asked = words(page)
    link = page.get_by_label("Link that brings this setup back").input_value()
    other = page.context.new_page()
    other.goto(link)
    until(other, "() => globalThis.reedbore")
    assert words(other) == asked
    assert other.get_by_label("Note", exact=True).input_value() == "D3"
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy the link").click()
    until(page, "() => document.querySelector('#files .caption').textContent.includes('copied')")
    assert page.evaluate("() => navigator.clipboard.readText()") == link


def test_a_link_that_is_wrong_says_so_once(open_page: Open):
    link = ".strip [role=status]"
    page = open_page("/#" + json.dumps({"sung": "5/3"})[:-3])
    assert setup_of(page) == {}
    assert settle(page)["verdict"]["state"] == "locked"
    assert "cannot be read" in page.locator(link).inner_text()
    page.evaluate(
        "(hash) => void (location.hash = hash)", json.dumps({"sung": "5/3", "depth": "much"})
    )
    until(page, "() => reedbore.state.words.sung === '5/3'")
    assert setup_of(page) == {"sung": "5/3"}
    assert page.locator(link).inner_text() == "Of this link depth cannot be used and is left out."
    page.evaluate("(hash) => void (location.hash = hash)", json.dumps({"fingered": "H9"}))
    until(page, "() => document.querySelector('#fingered[aria-invalid]')")
    assert page.locator(link).inner_text() == ""
    assert page.locator("[role=alert]:visible").count() == 1
    put(page, {"fingered": "Bb2"})
    assert page.locator("[role=alert]:visible").count() == 0
