"""The sidecar: what comes back is what went in, bit for bit, or a sentence says why not."""

import hashlib
import json
import os
import platform
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reedbore import files, sound
from reedbore.errors import ModelError, ReedboreError
from reedbore.model import presets, sidecar
from reedbore.model.passage import Passage
from reedbore.model.setup import Setup


def tenor() -> Setup:
    return presets.setup_for(presets.load_horn("tenor-saxophone"))


def made(setup: Setup, seconds: float = 4.0) -> sidecar.Sidecar:
    return sidecar.Sidecar(
        setup=setup,
        seconds=seconds,
        request={"horn": "tenor-saxophone", "fingered": "Bb2", "sung": "5/3"},
        sound={"sound": {"file": "a.wav", "full_scale_pa": 20.0, "gain_db": 0.0}},
        verdict={"state": "locked", "ratio": "5/3"},
        versions=sidecar.versions(),
        recording=sidecar.fingerprint(setup),
    )


@given(
    st.floats(0.05, 3.0), st.floats(50.0, 5000.0), st.floats(20.0, 2000.0), st.floats(0.5, 600.0)
)
def test_setup_comes_back_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory,
    opening: float, length: float, sung: float, seconds: float,
):  # fmt: skip
    setup = tenor().with_value("reed.opening_mm", opening)
    setup = setup.with_value("bore.length_mm", length).with_value("voice.frequency_hz", sung)
    path = tmp_path_factory.mktemp("takes") / "take.json"
    sidecar.write(path, made(setup, seconds))
    back = sidecar.read(path)
    assert back.setup == setup
    assert back.setup.reed.opening.hex() == setup.reed.opening.hex()
    assert back.seconds.hex() == seconds.hex()


@given(st.floats(0.0, 1.0), st.floats(1.0, 400.0))
def test_holes_and_lattice_come_back_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory, share: float, position: float
):
    plain = tenor().to_plain()
    plain["bore"]["holes"] = [{"position_mm": position, "diameter_mm": 9, "chimney_mm": 5}]
    lattice = {"diameter_mm": position / 10 + 1, "chimney_mm": 4.4, "spacing_mm": 33.3}
    plain["bore"] |= {"end": "lattice", "lattice": lattice}
    setup = Setup.from_plain(plain).with_value("bore.holes.1.open", share)
    path = tmp_path_factory.mktemp("takes") / "take.json"
    sidecar.write(path, made(setup))
    assert sidecar.read(path).setup == setup


def test_everything_else_comes_back_too(tmp_path: Path):
    kept = made(tenor())
    sidecar.write(tmp_path / "take.json", kept)
    assert sidecar.read(tmp_path / "take.json") == kept


def test_setup_stands_under_the_keys_that_users_write(tmp_path: Path):
    sidecar.write(tmp_path / "take.json", made(tenor().with_value("reed.opening_mm", 1.25)))
    plain = json.loads((tmp_path / "take.json").read_text(encoding="utf-8"))
    assert plain["setup"]["reed"]["opening_mm"] == 1.25
    assert plain["sound"]["sound"]["full_scale_pa"] == 20.0


def test_versions_are_those_that_run():
    found = sidecar.versions()
    assert found["numpy"] == np.__version__
    assert found["numba"] == numba.__version__
    assert found["python"] == platform.python_version()


def test_other_version_is_told():
    here = made(tenor())
    assert sidecar.differences(here) == []
    other = replace(here, versions={**here.versions, "numpy": "1.0"})
    (told,) = sidecar.differences(other)
    assert "made with numpy 1.0" in told


@pytest.mark.parametrize(
    ("model", "says"),
    [
        ("0123456789abcdef", "the model has changed since it was made"),
        (None, "it does not say which state of the model made it"),
    ],
)
def test_another_state_of_the_model_is_told(tmp_path: Path, model: str | None, says: str):
    here = made(tenor())
    versions = {name: one for name, one in here.versions.items() if name != "model"}
    versions |= {} if model is None else {"model": model}
    sidecar.write(tmp_path / "take.json", replace(here, versions=versions))
    (told,) = sidecar.differences(sidecar.read(tmp_path / "take.json"))
    assert told.startswith(says)


@pytest.mark.parametrize(
    ("name", "decides"),
    [
        ("measures/locking.py", True),
        ("model/midi/read.py", True),
        ("notes.py", True),
        ("simulate/acoustics/bore.py", True),
        ("verdict/sweep/cells.py", True),
        ("report/looks.py", False),
        ("page/server.py", False),
    ],
)
def test_the_model_is_named_after_all_code_that_decides_samples_and_states(
    tmp_path: Path, name: str, decides: bool
):
    copy = tmp_path / "reedbore"
    shutil.copytree(files.PACKAGE, copy, ignore=shutil.ignore_patterns("static", "__pycache__"))
    before = files.digest(files.files_of(sidecar.MODEL, copy))
    assert before == sidecar.model_hash()
    with (copy / name).open("a", encoding="utf-8") as file:
        file.write("# edited\n")
    assert (files.digest(files.files_of(sidecar.MODEL, copy)) != before) == decides


def test_other_recording_under_the_same_name_is_told(tmp_path: Path):
    voice = tmp_path / "voice.wav"
    sound.write(voice, np.sin(np.arange(48000) * 0.02), 48000)
    setup = tenor().with_value("voice.file", str(voice)).with_value("voice.source", "recording")
    kept = made(setup)
    assert sidecar.differences(kept) == []
    sound.write(voice, np.sin(np.arange(48000) * 0.03), 48000)
    (told,) = sidecar.differences(kept)
    assert "no longer the recording" in told
    voice.unlink()
    with pytest.raises(ReedboreError, match=r"voice\.wav cannot be read"):
        sidecar.differences(kept)


@pytest.mark.timeout(300)
def test_recording_that_never_ends_is_refused(tmp_path: Path):
    os.mkfifo(tmp_path / "voice.wav")
    for path in ("/dev/zero", tmp_path / "voice.wav"):
        setup = tenor().with_value("voice.file", str(path)).with_value("voice.source", "recording")
        with pytest.raises(ReedboreError, match="is a device or a pipe, no plain file; the rec"):
            sidecar.fingerprint(setup)


SUMS = {"sound": {"file": "a.wav", "bytes": 3, "sha256": hashlib.sha256(b"abc").hexdigest()}}


def test_file_that_was_not_written_with_it_is_named(tmp_path: Path):
    kept = replace(made(tenor()), checksums=SUMS)
    path = tmp_path / "a.json"
    sidecar.write(path, kept)
    found = sidecar.read(path)
    assert found == kept
    assert sidecar.strangers(found, path) == []  # a sidecar may be shared without its sound
    (tmp_path / "a.wav").write_bytes(b"abc")
    assert sidecar.strangers(found, path) == []
    for other in (b"abd", b"abcd"):
        (tmp_path / "a.wav").write_bytes(other)
        told = sidecar.strangers(found, path)
        assert told == [f"{tmp_path / 'a.wav'} is not the sound that was written with a.json"]


@pytest.mark.parametrize("name", ["../a.wav", "/dev/zero", "b/../a.wav"])
def test_only_the_folder_of_a_sidecar_is_looked_into(tmp_path: Path, name: str):
    (tmp_path / "a.wav").write_bytes(b"other")
    (tmp_path / "b").mkdir()
    sums = {"sound": SUMS["sound"] | {"file": name}}
    assert (
        sidecar.strangers(replace(made(tenor()), checksums=sums), tmp_path / "b" / "a.json") == []
    )


@pytest.mark.parametrize(
    "sums", [5, {"sound": 5}, {"sound": {"file": 5, "bytes": 1, "sha256": ""}}]
)
def test_checksums_of_the_wrong_kind_are_told(tmp_path: Path, sums: Any):
    path = tmp_path / "a.json"
    sidecar.write(path, made(tenor()))
    assert sidecar.read(path).checksums == {}
    with pytest.raises(ReedboreError, match="checksums must name files"):
        sidecar.read(changed(path, checksums=sums))


def test_sidecar_keeps_a_file_name_of_other_letters(tmp_path: Path):
    name = os.fsdecode(b"/h\xfcm.wav")
    setup = tenor().with_value("voice.file", name)
    kept = replace(made(setup), request={"sung": name})
    sidecar.write(tmp_path / "x.json", kept)
    found = sidecar.read(tmp_path / "x.json")
    assert (found.setup, found.request) == (setup, {"sung": name})


def changed(path: Path, **values: Any) -> Path:
    plain = json.loads(path.read_text(encoding="utf-8")) | values
    path.write_text(json.dumps({k: v for k, v in plain.items() if v is not None}))
    return path


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"setup": None}, "is no sidecar of a take: setup missing"),
        ({"setup": 3}, "setup must hold named values"),
        ({"seconds": "four"}, "seconds is 'four'; a number is needed"),
        ({"seconds": True}, "seconds is True; a number is needed"),
    ],
)
def test_broken_sidecar_is_told_in_one_sentence(
    values: dict[str, Any], sentence: str, tmp_path: Path
):
    sidecar.write(tmp_path / "take.json", made(tenor()))
    with pytest.raises(ReedboreError, match=sentence) as caught:
        sidecar.read(changed(tmp_path / "take.json", **values))
    assert str(tmp_path / "take.json") in str(caught.value)
    assert "\n" not in str(caught.value)


def test_setting_out_of_range_is_told_with_file_value_and_range(tmp_path: Path):
    path = tmp_path / "take.json"
    sidecar.write(path, made(tenor()))
    setup = json.loads(path.read_text(encoding="utf-8"))["setup"]
    setup["reed"]["opening_mm"] = 40
    with pytest.raises(ModelError, match=r"reed\.opening_mm is 40 mm; allowed 0\.05 to 3 mm") as it:
        sidecar.read(changed(path, setup=setup))
    assert str(path) in str(it.value)


@pytest.mark.parametrize("text", ["", "[1]", "RIFF", "[" * 100000])
def test_file_of_another_kind_is_told(text: str, tmp_path: Path):
    (tmp_path / "x.json").write_text(text)
    with pytest.raises(ReedboreError, match="sidecar"):
        sidecar.read(tmp_path / "x.json")


def test_missing_file_is_told(tmp_path: Path):
    with pytest.raises(ReedboreError, match="cannot be read"):
        sidecar.read(tmp_path / "none.json")


def test_file_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ReedboreError, match="cannot be written"):
        sidecar.write(tmp_path / "file" / "take.json", made(tenor()))
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_value_that_is_no_number_is_never_written(tmp_path: Path):
    kept = replace(made(tenor()), verdict={"roughness": float("nan")})
    with pytest.raises(ValueError, match="not JSON compliant"):
        sidecar.write(tmp_path / "take.json", kept)
    assert not list(tmp_path.iterdir())


# --- passages ------------------------------------------------------------------------------------


def of_passage(setup: Setup) -> sidecar.PassageSidecar:
    return sidecar.PassageSidecar(
        passage=Passage(
            tempo=1.1, fingered="Bb2:1/3~ Bb2(fork):2 rest:1", sung="D4:0.1", breath="mf"
        ),
        setups=(
            sidecar.FingeredSetup("Bb2", "", setup),
            sidecar.FingeredSetup("Bb2", "fork", setup.with_value("bore.length_mm", 777.7)),
        ),
        a4=442.1,
        request={"horn": "tenor-saxophone"},
        sound={"sound": {"file": "a.wav", "gain_db": 0.0}},
        versions=sidecar.versions(),
        notes=[{"note": 1, "reached": {"state": "rough"}}],
    )


def test_passage_comes_back_bit_for_bit(tmp_path: Path):
    kept = of_passage(tenor().with_value("voice.frequency_hz", 100.1 / 3.0))
    sidecar.write(tmp_path / "passage.json", kept)
    assert sidecar.read(tmp_path / "passage.json") == kept
    assert sidecar.differences(kept) == []


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"notes": None}, "is no sidecar of a take: notes missing"),
        ({"setups": {}}, "setups must be a list of notes"),
        ({"setups": [3]}, "setups must be a list of notes"),
        ({"setups": [{"pitch": "Bb2"}]}, "note 1 of setups needs pitch, fingering and setup"),
        ({"setups": []}, "is no sidecar of a passage: Bb2 has no setup"),
        ({"a4_hz": "high"}, "a4_hz is 'high'; a number is needed"),
        ({"passage": {"tempo_bpm": 60, "fingered": "H2:1"}}, "fingered cannot be read: 'H2:1'"),
        ({"passage": "Bb2:1"}, "passage must hold named values"),
    ],
)  # fmt: skip
def test_broken_sidecar_of_a_passage_is_told(values: dict[str, Any], sentence: str, tmp_path: Path):
    sidecar.write(tmp_path / "passage.json", of_passage(tenor()))
    with pytest.raises(ReedboreError, match=sentence) as caught:
        sidecar.read(changed(tmp_path / "passage.json", **values))
    assert str(caught.value).startswith(str(tmp_path / "passage.json"))
