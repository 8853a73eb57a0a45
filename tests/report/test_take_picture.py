"""The picture of a take: whose partial is whose, and a whole file for every kind of take."""

from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imread

from reedbore.errors import ReedboreError
from reedbore.kernel.single import Traces
from reedbore.measures import spectrum
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.report.figures import take as plots
from reedbore.report.figures import text_fit
from reedbore.simulate import mouth
from reedbore.simulate.take import Take
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import HornState, State

PLAYED, SUNG = 120.0, 200.0  # 5/3, a third note at 40 Hz


def verdict(state: str, ratio: tuple[int, int] | None, **changed: float | None) -> Verdict:
    values = {"sung_hz": SUNG, "played_hz": PLAYED, **changed}
    return Verdict(
        state=State(state), reason=None, jumped=False, ratio=ratio,
        resultant_hz=PLAYED / ratio[1] if ratio else None, resultant_level_db=None, heard="yes",
        drift_hz=None, lock_range_cents=None, settle_s=None, roughness=None,
        voice_off_state=HornState.SOUNDING, voice_off_hz=PLAYED, voice_off_period=1, **values,
    )  # fmt: skip


def take(setup: Setup, lines: dict[float, float], seconds: float = 1.0) -> Take:
    inner, outer = (np.arange(round(rate * seconds)) / rate for rate in (96000.0, 48000.0))

    def tone(time: np.ndarray) -> np.ndarray:
        silence = np.zeros(time.size)
        return sum((a * np.cos(2 * np.pi * hz * time) for hz, a in lines.items()), silence)

    pressure = 1000.0 * tone(inner)
    sung = np.cos(2 * np.pi * SUNG * inner) * (setup.voice.source != "off")
    blown = setup.breath.pressure * (1.0 + setup.voice.depth * sung)
    return Take(
        setup, seconds, sung, Traces(pressure, pressure, pressure * 0.0, blown), tone(outer)
    )


@pytest.fixture
def setup() -> Setup:
    return presets.setup_for(presets.load_horn("tenor-saxophone"))


def test_each_line_of_a_locked_pair_belongs_to_somebody():
    hz = np.array([40.0, 80.0, 120.0, 200.0, 240.0, 400.0, 600.0, 605.0])
    assert plots.name_lines(hz, PLAYED, SUNG, 40.0) == [
        "third", "third", "horn", "voice", "horn", "voice", "both", "third",
    ]  # fmt: skip


def test_lines_without_a_common_note_are_sums_and_differences():
    hz = np.array([81.0, 120.0, 201.0, 321.0])
    assert plots.name_lines(hz, PLAYED, 201.0, None) == ["mixed", "horn", "voice", "mixed"]


def test_what_lines_stand_for_is_told_above_the_strongest(setup: Setup):
    figure = Figure(figsize=(10.0, 3.4))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.09, 0.2, 0.885, 0.77))
    sound = take(
        setup, {PLAYED: 0.5, 6.0 * PLAYED: 1.0, SUNG: 0.6, 3.0 * SUNG: 0.7, 40.0: 0.2}
    ).sound
    plots._draw_spectrum(axes, sound, verdict("locked", (5, 3)), 440.0)
    legend = axes.get_legend()
    assert len(legend.get_texts()) == 4
    lowest = axes.transData.inverted().transform(legend.get_window_extent())[0, 1]
    assert lowest > 4.0


def test_horn_alone_has_only_its_own_partials():
    assert plots.name_lines(np.array([120.0, 240.0]), PLAYED, None, None) == ["horn", "horn"]


def test_foot_of_a_strong_line_is_no_line_of_its_own():
    found = spectrum.Lines(np.array([116.0, 120.0, 200.0]), np.array([0.01, 1.0, 0.01]))
    assert plots.stands_out(found, moves=False).tolist() == [False, True, True]


def test_of_a_player_who_moves_one_line_stands_for_each_partial_and_noise_for_none():
    dice = np.random.default_rng(2)
    noise = np.arange(300.0, 5000.0, 2.5)
    hz = np.concatenate((noise, np.array([600.0, 603.0, 3000.0, 3015.0, 4000.0])))
    amplitude = np.concatenate((1e-3 * dice.rayleigh(size=noise.size), [1.0, 0.2, 0.5, 0.4, 0.05]))
    order = np.argsort(hz)
    found = spectrum.Lines(hz[order], amplitude[order])
    assert found.hz[plots.stands_out(found, moves=True)].tolist() == [600.0, 3000.0, 4000.0]
    # Five cents of a partial are still that partial, two per cent are not.
    near = np.array([3008.0, 3060.0])
    assert plots.name_lines(near, 600.0, None, None, moves=True) == ["horn", "mixed"]
    assert plots.name_lines(near, 600.0, None, None) == ["mixed", "mixed"]


@pytest.mark.parametrize("drive", ["pressure", "flow"])
def test_the_sung_pressure_is_drawn_as_it_is_blown(setup, drive):
    setup = setup.with_value("voice.drive", drive).with_value("voice.depth", 0.2)
    upper, lower = Figure().subplots(2)
    plots._draw_waves(upper, lower, take(setup, {PLAYED: 1.0}), verdict("locked", (5, 3)))
    shown = upper.lines[0].get_ydata().max()
    assert shown == pytest.approx(mouth.sung_pressure(setup) / 1e3, rel=1e-3)
    assert (shown == pytest.approx(0.2 * setup.breath.pressure / 1e3, rel=1e-3)) == (
        drive == "pressure"
    )


@pytest.mark.parametrize("length", [1, 40, 75, 110, 300])
def test_a_title_fits_into_its_room(length):
    figure = Figure(figsize=(10.0, 2.0))
    FigureCanvasAgg(figure)
    words = figure.text(0.0, 0.5, ("sung over " * 30)[:length])
    text_fit.fit(words, 8.85, 15, 11)
    assert text_fit.width_of(words) <= 8.85
    assert 11 <= words.get_size() <= 15
    assert words.get_text().count("\n") == (length > 100)


def test_no_line_is_the_partial_of_nothing():
    # Below its fundamental a note has no partial, least of all at 0 Hz.
    assert plots.name_lines(np.array([0.5, 60.0]), PLAYED, SUNG, None) == ["mixed", "mixed"]


@pytest.mark.parametrize(
    ("lines", "found"),
    [
        ({120.0: 1.0, 200.0: 0.3, 80.0: 0.1}, verdict("locked", (5, 3))),
        ({120.0: 1.0, 200.5: 0.3}, verdict("drifting", (5, 3))),
        ({120.0: 1.0, 170.0: 0.3}, verdict("rough", None)),
        ({120.0: 1.0}, verdict("unsung", None, sung_hz=None)),
        ({}, verdict("silent", None, played_hz=None)),
        ({}, verdict("silent", None, played_hz=None, sung_hz=None)),
        ({20.0: 1.0, 160.0: 0.5}, verdict("locked", (8, 1))),
    ],
)
def test_every_kind_of_take_has_a_picture(
    lines: dict[float, float], found: Verdict, setup: Setup, tmp_path: Path
):
    if found.sung_hz is None:
        setup = setup.with_value("voice.source", "off")
    path = tmp_path / "take.png"
    plots.take_picture(take(setup, lines), found, path, title="Bb2 under D4", says="It moves.")
    picture = imread(path)
    assert picture.shape[:2] == (1150, 1000)
    assert float(np.ptp(picture[:, :, :3])) > 0.8
    assert [file.name for file in tmp_path.iterdir()] == ["take.png"]


def test_shortest_take_has_a_picture(setup: Setup, tmp_path: Path):
    short = take(setup, {120.0: 1.0}, seconds=0.1)
    plots.take_picture(short, verdict("locked", (5, 3)), tmp_path / "take.png", title="short")
    assert (tmp_path / "take.png").exists()


def test_title_out_of_a_file_is_no_formula(setup: Setup, tmp_path: Path):
    short, found = take(setup, {120.0: 1.0}, seconds=0.1), verdict("locked", (5, 3))
    plots.take_picture(short, found, tmp_path / "take.png", title=r"$\foo{ is 5$")
    assert (tmp_path / "take.png").exists()


def test_take_that_broke_shows_what_there_is(setup: Setup, tmp_path: Path):
    broken = take(setup, {120.0: 1.0})
    for samples in (broken.sound, broken.traces.pressure):
        samples[samples.size // 2 :] = np.nan
    found = verdict("failed", None, played_hz=None)
    plots.take_picture(broken, found, tmp_path / "take.png", title="broken")
    assert (tmp_path / "take.png").stat().st_size > 10_000


def test_same_take_gives_the_same_picture(setup: Setup, tmp_path: Path):
    one = take(setup, {120.0: 1.0, 200.0: 0.3})
    for name in ("a.png", "b.png"):
        plots.take_picture(one, verdict("locked", (5, 3)), tmp_path / name, title="twice")
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_picture_that_cannot_be_written_is_told(setup: Setup, tmp_path: Path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ReedboreError, match="cannot be written"):
        plots.take_picture(
            take(setup, {120.0: 1.0}),
            verdict("rough", None),
            tmp_path / "file" / "x.png",
            title="x",
        )
