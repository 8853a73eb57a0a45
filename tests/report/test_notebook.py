"""What a notebook shows: HTML as a browser and a sound library read it, and through IPython."""

import base64
import io
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import soundfile
import xarray
from IPython.core.formatters import DisplayFormatter
from matplotlib.image import imread

from reedbore import cli
from reedbore.errors import ReedboreError
from reedbore.kernel.single import Traces
from reedbore.model import presets
from reedbore.notes import choose_ratio, midi_to_hz
from reedbore.report import notebook
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import Take, render
from reedbore.simulate.tuning import tune
from reedbore.sound import fade, remove_dc, true_peak
from reedbore.verdict.cells import Cell
from reedbore.verdict.state import State
from reedbore.verdict.sweep import run
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

HZ = 120.0


@pytest.fixture(scope="module")
def take() -> Take:
    b_flat = midi_to_hz(46)
    setup = tune(presets.load_horn("tenor-saxophone"), b_flat)
    setup = setup.with_value("voice.source", "pulse").with_value("voice.frequency_hz", 3.0 * b_flat)
    return render(setup, 2.0)


@pytest.fixture(scope="module")
def shown(take: Take) -> str:
    """What IPython, the reference here, makes of a take that is the last line of a cell."""
    data, _ = DisplayFormatter().format(take)
    return data["text/html"]


class Elements(HTMLParser):
    """All start tags with their attributes, and the text of each kind of element."""

    def __init__(self, text: str):
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def one(self, tag: str) -> dict[str, str | None]:
        (only,) = [attributes for name, attributes in self.found if name == tag]
        return only


def unpacked(url: str | None, kind: str) -> io.BytesIO:
    assert url is not None
    head, _, data = url.partition(",")
    assert head == f"data:{kind};base64"
    return io.BytesIO(base64.b64decode(data, validate=True))


def text_of(shown: str) -> list[str]:
    """Text of the elements; fails if the tags are not balanced or an attribute is not quoted."""
    return list(ElementTree.fromstring(shown.replace(" controls ", ' controls="" ')).itertext())


def test_a_take_shows_its_verdict_first_and_its_numbers_a_click_away(shown: str):
    title, says, *rest = text_of(shown)
    assert title == "Bb2 on the horn, F4+2c sung, depth 0.1 (normal)"
    assert "The reed locks to the voice" in says
    assert rest[0] == "numbers"
    told = dict(zip(rest[1::2], rest[2::2], strict=True))
    assert told["ratio"] == "3/1"
    assert float(told["played_hz"]) == pytest.approx(midi_to_hz(46), rel=1e-3)
    assert "lock_range_cents" not in told  # it was not looked for


def test_the_sound_is_that_of_the_take_at_the_one_full_scale(take: Take, shown: str):
    sound = unpacked(Elements(shown).one("audio")["src"], "audio/wav")
    samples, rate = soundfile.read(sound, dtype="float64")
    assert rate == SOUND_RATE
    # 10 Pa is full scale; the take is faded over 20 ms and loses what is slower than 10 Hz.
    clean = fade(remove_dc(take.sound, rate), rate, 0.02)
    assert samples == pytest.approx(clean / 10.0, abs=2.0**-23)
    assert np.max(np.abs(samples)) > 0.01
    middle = slice(rate // 2, -rate // 2)
    assert np.corrcoef(samples[middle], take.sound[middle])[0, 1] > 0.999


def test_the_picture_is_whole_and_told_in_words(shown: str):
    image = Elements(shown).one("img")
    assert imread(unpacked(image["src"], "image/png")).shape[:2] == (1150, 1000)
    assert "spectrum" in (image["alt"] or "")
    assert "locks to the voice" in (image["alt"] or "")


def test_nothing_is_fetched_and_every_part_has_a_name(shown: str):
    parts = Elements(shown)
    sources = [
        attributes[k] for _, attributes in parts.found for k in ("src", "href") if k in attributes
    ]
    assert len(sources) == 2
    assert all((source or "").startswith("data:") for source in sources)
    assert {name for name, _ in parts.found}.isdisjoint({"script", "link", "iframe", "style"})
    assert parts.one("audio")["aria-label"]


def test_a_take_that_broke_shows_what_there_is(take: Take):
    pressure, sound = take.traces.pressure.copy(), take.sound.copy()
    for samples in (pressure, sound):
        samples[samples.size // 2 :] = np.nan
    broken = Take(take.setup, take.seconds, take.sung, Traces(pressure, *take.traces[1:]), sound)
    shown = broken._repr_html_()
    assert text_of(shown)[:2] == [
        "No note on the horn, F4+2c sung, depth 0.1 (normal)",
        "The simulation failed: the simulation diverged.",
    ]
    samples, _ = soundfile.read(unpacked(Elements(shown).one("audio")["src"], "audio/wav"))
    assert np.any(samples[:SOUND_RATE])
    assert not np.any(samples[SOUND_RATE + 4800 :])


def test_a_loud_take_is_lowered_and_says_so(take: Take):
    loud = Take(take.setup, take.seconds, take.sung, take.traces, 1e3 * take.sound)
    shown = loud._repr_html_()
    samples, _ = soundfile.read(unpacked(Elements(shown).one("audio")["src"], "audio/wav"))
    assert true_peak(samples) <= 10.0 ** (-1.0 / 20.0) + 1e-6
    assert "The sound was lowered by" in shown


@pytest.fixture
def sidecar(tmp_path: Path) -> Path:
    """Keep a short take with its picture; the sidecar."""
    sound = tmp_path / "a.wav"
    assert cli.main(["render", "--fingered", "Bb2", "--seconds", "0.5", "-o", str(sound)]) == 0
    return sound.with_suffix(".json")


def test_what_was_kept_shows_its_files_and_names_a_stranger(sidecar: Path):
    sound = sidecar.with_suffix(".wav")
    shown = Elements(notebook.kept(sidecar).html)
    assert unpacked(shown.one("audio")["src"], "audio/wav").read() == sound.read_bytes()
    assert unpacked(shown.one("img")["src"], "image/png").read()[1:4] == b"PNG"
    title, first, *_ = text_of(notebook.kept(sidecar).html)
    assert (title, first) == ("Tenor saxophone, Bb2 fingered, nobody sings", "numbers")
    sound.write_bytes(sound.read_bytes() + b"more")
    other = notebook.kept(str(sidecar)).html
    assert f"{sound} is not the sound that was written with a.json." in text_of(other)
    assert "<audio" not in other
    assert "<img" in other


# --- sweeps --------------------------------------------------------------------------------------


def cells(setups, fingered, *, seconds=None, progress=None) -> list[Cell]:
    """A horn in tune that locks wherever a ratio is within 20 cents."""
    made = []
    for setup, hz in zip(setups, fingered, strict=True):
        sung, near = setup.voice.frequency, choose_ratio(setup.voice.frequency / hz, 20.0, 8)
        if near is None:
            made.append(Cell(State.ROUGH, sung_hz=sung, played_hz=hz, played_cents=0.0))
        else:
            p, q = near
            made.append(
                Cell(State.LOCKED, None, p, q, sung, sung * q / p, 0.0, False, sung / p, 0.0)
            )
    return made


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    horn = presets.load_horn("tenor-saxophone")
    setup = presets.setup_for(horn).with_value("voice.frequency_hz", 1.5 * HZ)
    axes = (
        Axis(name="voice.depth", values=(0.1, 0.2)),
        Axis(name=SUNG, values=tuple(float(cents) for cents in range(600, 801, 20))),
    )
    path = tmp_path_factory.mktemp("sweep") / "fifth.zarr"
    sweep = Sweep(
        setup=setup, fingered=Fingered(HZ), axes=axes, horn=horn.name, title="<Mill> & race"
    )
    run.run(sweep, path, judge=cells)
    return path


def test_a_sweep_shows_its_map(store: Path):
    data, _ = DisplayFormatter().format(notebook.lock_map(store))
    told = text_of(data["text/html"])
    assert "<Mill> & race" in told[0]
    assert any(line.startswith("3/2: sing F#3-") for line in told)
    image = Elements(data["text/html"]).one("img")
    assert imread(unpacked(image["src"], "image/png")).shape[0] > 500
    assert "3/2: sing F#3-" in (image["alt"] or "")


def test_a_data_set_knows_its_store(store: Path):
    opened = xarray.open_zarr(store, consolidated=False)
    assert notebook.lock_map(opened).html == notebook.lock_map(str(store)).html


def test_what_is_no_sweep_is_told_in_one_sentence(tmp_path: Path):
    with pytest.raises(ReedboreError, match="a Dataset has no lock map"):
        notebook.lock_map(xarray.Dataset())
    with pytest.raises(ReedboreError, match="is not there"):
        notebook.lock_map(tmp_path / "none.zarr")
