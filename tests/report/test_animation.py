"""Moving pictures: what is drawn is what was simulated, and the files hold what they should.

Files are read back by the encoder's own program and by Pillow: other readers than our writers.
"""

import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import folded
import imageio_ffmpeg
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from reedbore.errors import ReedboreError
from reedbore.kernel.single import Traces
from reedbore.model.bore import Bore, BoreSection, Lattice
from reedbore.model.presets import load_horn, load_singer, setup_for
from reedbore.report.figures.film import look, video
from reedbore.report.figures.film.bore import bell
from reedbore.report.figures.film.picture import film, quarters, stills
from reedbore.report.figures.film.reed import FOLD_SHARE, ROOF, THROAT
from reedbore.report.figures.film.scene import (
    Beats,
    Course,
    Scene,
    heard,
    held,
    page_span,
    scene_of,
    take_seconds,
)
from reedbore.report.figures.film.stage import Picture, Stage
from reedbore.simulate.take import Take, render
from reedbore.simulate.tuning import tune

RATE = 30
PROGRAM = imageio_ffmpeg.get_ffmpeg_exe()


def made(frames: int = 30, slow: float = 200.0, rate: int = RATE) -> Scene:
    """A standing wave with a voice at 5/2 of it, all by formula."""
    times = np.arange(frames) / rate / slow
    at = np.linspace(0.0, 0.5, 40)
    hz = 150.0

    def wave(shift: float) -> np.ndarray:
        turns = hz * times[:, np.newaxis] + shift * at * hz / 345.0
        return 800.0 * np.sin(2.0 * np.pi * turns)

    fine = np.arange(4000) / 96000.0
    ticks = np.arange(5) / hz
    return Scene(
        title="Plain cylinder, D3 fingered", says="A third note is heard.", slow=slow, rate=rate,
        times=times, positions=at, pressure=wave(-1.0) - wave(1.0), away=wave(-1.0),
        back=-wave(1.0), mouth=2000.0 + 200.0 * np.sin(2.0 * np.pi * 2.5 * hz * times),
        outflow=1e-4 * np.cos(2.0 * np.pi * hz * times),
        opening=6e-4 * (1.0 + np.cos(2.0 * np.pi * hz * times)),
        inflow=np.cos(2.0 * np.pi * hz * times),
        captions=(
            *("The reed opens: a puff enters",) * (frames // 2),
            *("The reed shuts",) * (frames - frames // 2),
        ),
        course=Course(
            fine, 2000.0 + 200.0 * np.sin(2.0 * np.pi * 2.5 * hz * fine),
            6e-4 * (1.0 + np.cos(2.0 * np.pi * hz * fine)),
        ),
        beats=Beats(np.arange(12) / (2.5 * hz), ticks, np.arange(3) * 2.0 / hz),
        page=6.0 / hz, ratio=(5, 2),
        bore=Bore(sections=(BoreSection(length=0.5, entry=0.015, exit=0.015),)),
        breath=2000.0, opening_rest=1e-3,
    )  # fmt: skip


def singing(frames: int = 30) -> Scene:
    """The same, sung by folds that shut."""
    scene = made(frames)
    apart, inside = (
        8e-4 * np.maximum(np.sin(750.0 * np.pi * scene.times), 0.0),
        500.0 * np.cos(300.0 * np.pi * scene.course.times),
    )
    course = scene.course._replace(folds=np.abs(inside) * 1e-6, inside=inside)
    return replace(scene, folds=apart, course=course)


@pytest.fixture(scope="module")
def stage() -> Stage:
    return Stage(made())


def probed(path: Path) -> str:
    """What the program tells about a file."""
    command = [PROGRAM, "-hide_banner", "-i", str(path)]
    return subprocess.run(command, capture_output=True, text=True, check=False).stderr


def decoded(path: Path, *words: str) -> np.ndarray:
    command = [PROGRAM, "-loglevel", "error", "-i", str(path), *words, "-"]
    found = subprocess.run(command, capture_output=True, check=True).stdout
    return np.frombuffer(found, np.uint8)


def tone(hz: float, seconds: float) -> np.ndarray:
    return 0.25 * np.sin(2.0 * np.pi * hz * np.arange(round(seconds * 48000)) / 48000.0)


# --- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "picture", "sound"), [("mp4", "h264", "aac"), ("webm", "vp9", "opus")]
)
def test_video_has_all_frames_its_length_and_the_sound(
    kind: str, picture: str, sound: str, tmp_path: Path
):
    path = tmp_path / f"wave.{kind}"
    film(made(), path, tone(440.0, 1.0))
    told = probed(path)
    assert re.search(rf"Video: {picture}.* 1280x720.* 30 fps", told)
    assert re.search(rf"Audio: {sound}.* 48000 Hz, mono", told)
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(path))
    assert frames == 30
    assert seconds == pytest.approx(1.0, abs=0.05)
    back = decoded(path, "-f", "s16le", "-ar", "48000", "-ac", "1").view(np.int16) / 32768.0
    spectrum = np.abs(np.fft.rfft(back[4800:43200]))
    assert np.argmax(spectrum) * 48000.0 / 38400.0 == pytest.approx(440.0, abs=1.3)
    # Lossy, but as loud as it was: within half a decibel.
    assert np.std(back[4800:43200]) == pytest.approx(0.25 / np.sqrt(2.0), rel=0.06)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_video_without_sound_has_no_sound_stream(tmp_path: Path):
    film(made(6), tmp_path / "wave.mp4")
    assert "Audio" not in probed(tmp_path / "wave.mp4")


def test_video_shows_what_was_drawn(tmp_path: Path):
    scene = made(3)
    film(scene, tmp_path / "wave.mp4")
    seen = decoded(tmp_path / "wave.mp4", "-f", "rawvideo", "-pix_fmt", "rgb24")
    seen = seen.reshape(3, 720, 1280, 3).astype(float)
    stage = Stage(scene)
    for number in (0, 2):
        drawn = stage.image(number)[:, :, :3].astype(float)
        assert np.abs(seen[number] - drawn).mean() < 4.0
    # A wrong order of colours or of frames would be far off.
    assert np.abs(seen[0][:, :, ::-1] - stage.image(0)[:, :, :3]).mean() > 6.0


@pytest.mark.parametrize("alone", [True, False])
def test_gif_needs_no_encoder(alone: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    if alone:
        monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    path = tmp_path / "wave.gif"
    scene = made(10, rate=video.FILMS[".gif"])
    film(scene, path)
    with Image.open(path) as picture:
        assert picture.size == (640, 360)
        assert picture.n_frames == 10
        lengths = []
        for number in range(10):
            picture.seek(number)
            lengths.append(picture.info["duration"])
        assert sum(lengths) == 500
        assert picture.info["loop"] == 0
        last = np.asarray(picture.convert("RGB"), float)
    # In the first frame the bore holds no suction; the blue of the last one is there all the same.
    drawn = Image.fromarray(Stage(scene).image(9)[:, :, :3]).resize((640, 360))
    off = np.abs(last - np.asarray(drawn, float))
    assert off.mean() < 3.0
    assert off.mean(axis=2)[190:230, 250:590].mean() < 8.0


def test_without_encoder_one_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(ReedboreError, match=r"pip install 'reedbore\[video\]'"):
        video.encoder(tmp_path / "wave.mp4")
    assert video.encoder(tmp_path / "wave.gif") is None


def test_stopped_halfway_nothing_is_left_behind(tmp_path: Path):
    def frames() -> Iterator[memoryview]:
        yield memoryview(bytes(1280 * 720 * 4))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        video.write_video(tmp_path / "wave.mp4", frames(), (1280, 720), RATE)
    assert not list(tmp_path.iterdir())


def test_encoder_that_fails_is_heard(tmp_path: Path):
    with pytest.raises(RuntimeError, match="video encoder failed"):
        video.write_video(tmp_path / "wave.mp4", [memoryview(b"")], (0, 720), RATE)
    assert not list(tmp_path.iterdir())


def test_handout_holds_captions_as_text_and_is_the_same_twice(tmp_path: Path):
    scene = made()
    for name in ("one.svg", "two.svg"):
        stills(scene, [2, 25], tmp_path / name)
    text = (tmp_path / "one.svg").read_bytes()
    assert text == (tmp_path / "two.svg").read_bytes()
    words = "\n".join(ElementTree.fromstring(text).itertext())
    assert words.count("The reed opens:") == words.count("The reed shuts") == 1
    assert words.count("Plain cylinder, D3 fingered") == 2
    assert words.count("2 of the reed, 5 sung") >= 2
    assert "200 times slower" in words


def test_four_instants_lie_a_quarter_of_a_period_apart():
    scene = made(120)
    found = scene.times[quarters(scene)]
    assert found == pytest.approx(np.arange(4) / 600.0, abs=0.5 / RATE / 200.0)


# --- what is drawn -------------------------------------------------------------------------------


@pytest.mark.parametrize("shown", [made, singing])
def test_frame_is_what_a_drawing_of_everything_anew_shows(shown: Callable[[], Scene]):
    # What is kept between frames, as pixels, strokes or a stencil, must not be seen.
    stage = Stage(shown())
    figure = Figure(figsize=(12.8, 7.2), dpi=100, facecolor=look.PAPER)
    whole = FigureCanvasAgg(figure)
    picture = Picture(figure, shown(), stage.picture.told)
    moving = (*picture.words, *picture.moving)
    for artist in moving:
        artist.set_animated(True)
    for number in (0, 3, 4, 20):
        picture.show(number)
        whole.draw()
        for artist in moving:
            artist.draw(whole.get_renderer())
        assert np.array_equal(stage.image(number), np.array(whole.buffer_rgba()))


def test_long_title_keeps_clear_of_how_slowed_it_is_and_nothing_is_lost():
    cell = "Tenor saxophone, Bb2 fingered, D4-14c sung, reed.opening_mm=0.8, breath.pressure_kpa=4"
    says = "The horn does not play. " * 7
    for title in (cell[:43], cell[:64], cell, f"{cell}, depth 0.1 (normal)"):
        sheet = Stage(replace(made(2), title=title, says=says)).picture.sheet
        words = {" ".join(text.get_text().split()): text for text in sheet.texts}
        boxes = [words[each].get_window_extent() for each in (title, "200 times slower")]
        assert boxes[0].x1 < boxes[1].x0 - 10.0
        assert words[title].get_size() >= look.SMALL
        below = words[says.strip()].get_window_extent()
        assert below.y1 < boxes[0].y0 + 2.0
        assert below.x1 < 1090.0


def test_curves_arrows_and_dots_are_the_numbers_of_the_frame(stage: Stage):
    scene, picture = stage.picture.scene, stage.picture
    _, bore = picture.panels
    for number in (0, 7, 29):
        picture.show(number)
        assert bore.whole.get_ydata() * 1e3 == pytest.approx(scene.pressure[number])
        assert bore.away.get_ydata() * 1e3 == pytest.approx(scene.away[number])
        assert bore.back.get_ydata() * 1e3 == pytest.approx(scene.back[number])
        assert picture.strip.dots[0].get_ydata()[0] == scene.mouth[number]
        assert picture.strip.dots[1].get_ydata()[0] == scene.opening[number]
        assert picture.strip.line.get_xdata()[0] == pytest.approx(scene.times[number])
        text, now = held(scene.captions, RATE)[number]
        said = text.replace(": ", ":\n")
        assert picture.caption.get_text() == (said if now else f"(just now) {said}")
        assert (picture.caption.get_color() == look.TOGETHER) is now
        # Blue is suction, red is pressure, at each place.
        shades = bore.slices.get_facecolor()
        red = shades[:, 0] > shades[:, 2]
        strong = np.abs(scene.pressure[number]) > 0.1 * scene.largest
        assert np.array_equal(red[strong], scene.pressure[number][strong] > 0.0)


def test_fast_captions_are_held_and_all_of_them_told():
    period = ["opens"] * 4 + ["turns"] * 7 + ["returns"] * 5 + ["shut"] * 10
    told = held((period * 40)[:900], RATE)
    assert len(told) == 900
    assert {caption.text for caption in told} == set(period)
    changes = [k for k in range(1, 900) if told[k].text != told[k - 1].text]
    assert np.diff(changes).min() >= 36
    assert changes[0] >= 36
    for frame, caption in enumerate(told):
        # Bold is said only of what happens now, and each caption begins when it happens.
        assert caption.now == (period[frame % 26] == caption.text) or not caption.now
        assert frame not in changes or caption.now


def test_slow_captions_stay_as_they_are():
    captions = ("opens",) * 50 + ("turns",) * 20 + ("returns",) * 60
    assert [caption.text for caption in held(captions, RATE)] == list(captions)
    assert all(caption.now for caption in held(captions, RATE))


def test_reed_touches_the_lay_exactly_when_it_is_shut(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
):
    reed, scene = stage.picture.panels[0], stage.picture.scene
    for opening in (0.0, 3e-4, 9e-4):
        monkeypatch.setattr(reed, "scene", replace(scene, opening=np.full(scene.frames, opening)))
        reed.show(0)
        gap = ROOF - reed.reed.get_xy()[0, 1]
        assert gap == pytest.approx(opening / reed.deepest * 68.0, abs=1e-9)


def test_folds_touch_exactly_when_they_are_shut_and_all_dots_are_the_numbers_of_the_frame():
    stage = Stage(singing())
    scene, picture = stage.picture.scene, stage.picture
    reed = picture.panels[0]
    for number in (0, 2, 3, 9):
        stage.frame(number)
        lower, upper = (fold.get_xy()[:, 1] for fold in reed.pair)
        drawn = FOLD_SHARE * THROAT[3] * scene.folds[number] / scene.folds.max()
        assert upper.min() - lower.max() == pytest.approx(drawn, abs=1e-9)
        seen = [dot.get_ydata()[0] for dot in picture.strip.dots]
        wanted = [scene.folds, scene.opening, scene.mouth, scene.pressure[:, 0]]
        assert seen == [values[number] for values in wanted]
    assert scene.folds[0] == 0.0 < scene.folds[2]
    words = [text.get_text() for row in picture.strip.rows.values() for text in row.texts]
    assert {"folds", "reed", "in the mouth", "in the mouthpiece"} <= set(words)


@pytest.mark.slow
def test_scene_of_a_singer_is_the_take_at_the_folds():
    take = render(folded.tenor(), take_seconds(1.0, 100.0, sound=False))
    scene, begin = scene_of(take, 1.0, 100.0, RATE, title="t")
    steps = np.rint((begin + scene.times) * 96000.0).astype(int)
    assert scene.folds == pytest.approx(2.0 * np.maximum(take.traces.half_gap[steps], 0.0))
    assert scene.course.inside[0] == take.traces.pressure[round(begin * 96000.0)]
    assert np.ptp(scene.folds) > 2e-4
    assert scene.ratio == (1, 1)


def test_arrow_points_where_the_air_goes():
    there, back = look.arrow(50.0, 4.0, 11.0), look.arrow(-50.0, 4.0, 11.0)
    assert there[:, 0].max() == 50.0
    assert back[:, 0].min() == -50.0
    assert np.ptp(look.arrow(0.0, 4.0, 11.0)) == 0.0


def test_strip_turns_its_page_after_whole_common_periods():
    scene = made(600, slow=50.0)
    assert page_span(scene.beats, 0.4) == pytest.approx(3 * 2.0 / 150.0) == scene.page
    assert page_span(scene.beats, 0.014) == pytest.approx(2 * 2.0 / 150.0)
    assert page_span(scene.beats._replace(common=np.zeros(0)), 0.4) == pytest.approx(8 / 150.0)
    strip = Stage(scene).picture.strip
    turned = [strip.page(number) for number in range(scene.frames)]
    assert turned[0]
    at = scene.times[np.flatnonzero(turned)[1:]]
    assert at == pytest.approx(scene.page * np.arange(1, at.size + 1), abs=1.0 / RATE / 50.0)


@pytest.mark.parametrize(
    "beats", [Beats(*[np.zeros(0)] * 3), Beats(np.zeros(0), np.arange(4) / 150.0, np.zeros(0))]
)
def test_horn_alone_is_drawn_without_a_voice(beats: Beats):
    scene = replace(made(), beats=beats, ratio=None)
    stage = Stage(scene)
    stage.frame(3)
    words = [text.get_text() for text in stage.picture.strip.rows["sung"].texts]
    assert "nobody sings" in words


def test_two_waves_are_parted_up_to_the_bell_alone():
    # The bell of the clarinet begins after 468.8 mm, as its preset says; a cone has none.
    clarinet = load_horn("clarinet-b-flat").bore
    assert bell(clarinet) == pytest.approx(0.4688)
    assert bell(load_horn("tenor-saxophone").bore) == pytest.approx(1.49)


def test_endless_row_has_holes_beyond_the_end():
    cone = Bore(
        sections=(BoreSection(length=0.5, entry=0.012, exit=0.06),),
        lattice=Lattice(diameter=0.01, chimney=0.004, spacing=0.02), end="lattice",
    )  # fmt: skip
    panel = Stage(replace(made(), bore=cone)).picture.panels[1]
    assert panel.up
    x, y = panel.bore.transData.inverted().transform(panel.from_end)
    # The first hole begins at the end; there the cone is as wide as its taper makes it.
    assert x == pytest.approx(0.505)
    assert y == pytest.approx(0.03 + 0.005 * 0.024 / 0.5)


# --- sound, and a real take ----------------------------------------------------------------------


def take_of(sound: np.ndarray) -> Take:
    setup = setup_for(load_horn("plain-cylinder"), load_singer("low-male"))
    return Take(setup, sound.size / 48000.0, np.zeros(0), Traces(*[np.zeros(0)] * 4), sound)


def test_sound_is_that_of_the_take_or_so_many_times_lower():
    take = take_of(2.0 * tone(600.0, 6.0))
    samples, gain = heard(take, 3.0, 2.0)
    assert samples.size == 96000
    assert gain == 0.0
    assert samples[4800:90000] == pytest.approx(take.sound[148800:234000] / 10.0, abs=1e-6)
    slowed, _ = heard(take, 3.0, 2.0, 20)
    assert slowed.size == 96000
    spectrum = np.abs(np.fft.rfft(slowed))
    assert np.argmax(spectrum) / 2.0 == pytest.approx(30.0)
    assert np.abs(slowed).max() == pytest.approx(0.05, rel=0.02)


@pytest.fixture(scope="module")
def pair() -> tuple[Take, Scene, float]:
    horn = load_horn("plain-cylinder")
    setup = tune(horn, 146.83, 96000.0)
    voice = load_singer("low-male").voice.model_copy(update={"frequency": 2.5 * 146.83})
    setup = setup.model_copy(update={"voice": voice})
    take = render(setup, take_seconds(2.0, 100.0, sound=False))
    return take, *scene_of(take, 2.0, 100.0, RATE, title="t")


def test_scene_is_the_take_at_the_reed(pair: tuple[Take, Scene, float]):
    take, scene, begin = pair
    steps = np.rint((begin + scene.times) * 96000.0).astype(int)
    assert scene.frames == len(scene.captions) == 60
    assert np.diff(scene.times) == pytest.approx(1.0 / 3000.0, abs=2e-5)
    assert scene.pressure[:, 0] == pytest.approx(take.traces.pressure[steps], abs=1e-6)
    assert scene.mouth == pytest.approx(take.mouth[steps])
    assert scene.opening == pytest.approx(np.maximum(take.traces.opening[steps], 0.0))
    assert np.all(np.sign(scene.inflow) * (scene.mouth - scene.pressure[:, 0]) >= 0.0)
    assert np.abs(scene.inflow).max() == pytest.approx(1.0)


def test_scene_begins_just_before_voice_and_reed_meet(pair: tuple[Take, Scene, float]):
    _, scene, begin = pair
    assert scene.ratio == (5, 2)
    assert 3.0 <= begin <= 3.0 + 1.2 * 2.0 / 146.83
    common = scene.beats.common[scene.beats.common >= 0.0]
    assert common[0] == pytest.approx(0.12 * 2.0 / 146.83, rel=0.05)
    # 5 sung peaks and 2 openings of the reed from one meeting to the next.
    assert np.diff(common) == pytest.approx(2.0 / 146.83, rel=0.01)
    inside = [np.sum((t >= common[0] - 1e-5) & (t < common[1] - 1e-5)) for t in scene.beats[:2]]
    assert inside == [5, 2]
    assert scene.course.times[-1] >= scene.page - 1.0 / 96000.0
