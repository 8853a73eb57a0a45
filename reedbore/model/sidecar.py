"""The sidecar: a JSON file beside the sound that makes the same take or passage again.

It holds the setup under the keys and in the units that users write, how long the take lasts, what
was asked for, what made it, how it was levelled, and the verdict; of a passage its lines, the setup
of each fingered note and what became of all notes. With the same versions on the same kind of
machine the sound comes out the same to the last bit.
"""

import hashlib
import json
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any, NamedTuple

from reedbore import __version__
from reedbore.errors import ModelError, ReedboreError
from reedbore.files import digest, files_of, unfit, write_whole
from reedbore.model.passage import Passage
from reedbore.model.setup import Setup
from reedbore.notes import A4_HZ

KEYS = ("setup", "seconds", "request", "versions", "sound", "verdict")
PASSAGE_KEYS = ("passage", "setups", "a4_hz", "request", "versions", "sound", "notes")
LISTS = {"setups", "notes"}
NUMBERS = {"seconds", "a4_hz"}
MODEL = "kernel", "measures", "model", "notes.py", "pairs.py", "physics", "simulate", "verdict"
"""Parts of the package that decide samples and states."""

LARGEST_FILE = 10_000_000
LARGEST_RECORDING = 4_000_000_000


@dataclass(frozen=True, kw_only=True)
class Sidecar:
    """What a sidecar holds.

    Attributes
    ----------
    setup : Setup
        What was rendered.
    seconds : float
        How long. [s]
    request : mapping
        What was asked for, as typed: horn, fingered, sung and so on.
    sound : mapping
        How it was levelled: full scale [Pa] and gain [dB], for each file.
    verdict : mapping
        What was measured.
    versions : mapping
        Of reedbore and of what it stands on.
    recording : str or None
        Fingerprint (SHA-256) of the recorded voice, where there is one.
    checksums : mapping
        Of each file that was written with it, by what it is: ``file``, its name as seen from the
        sidecar, ``bytes`` and ``sha256``. Empty in old sidecars.
    """

    setup: Setup
    seconds: float
    request: Mapping[str, Any]
    sound: Mapping[str, Any]
    verdict: Mapping[str, Any]
    versions: Mapping[str, str]
    recording: str | None = None
    checksums: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


class FingeredSetup(NamedTuple):
    """A fingered note of a passage, as written there, and the setup that plays it."""

    pitch: str
    fingering: str
    setup: Setup


@dataclass(frozen=True, kw_only=True)
class PassageSidecar:
    """What the sidecar of a passage holds.

    Attributes
    ----------
    passage : Passage
        What was fingered and sung.
    setups : tuple of FingeredSetup
        One for each fingered note, at least one.
    a4 : float
        Frequency of A4. [Hz]
    notes : sequence of mapping
        What was measured, note by note.
    request, sound, versions, recording, checksums
        As for `Sidecar`.
    """

    passage: Passage
    setups: tuple[FingeredSetup, ...]
    a4: float = A4_HZ
    request: Mapping[str, Any]
    sound: Mapping[str, Any]
    versions: Mapping[str, str]
    notes: Sequence[Mapping[str, Any]] = field(default_factory=list)
    recording: str | None = None
    checksums: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def setup(self) -> Setup:
        """One of the setups; the voice is the same in all of them."""
        return self.setups[0].setup


@cache
def model_hash() -> str:
    """Name the state of all code that decides samples and states; read once by each process."""
    return digest(files_of(MODEL))


def versions() -> dict[str, str]:
    """List what the last bits of a sound depend on: versions, and the state of the model's code."""
    found = {name: metadata.version(name) for name in ("numpy", "numba")}
    python = platform.python_version()
    return {"reedbore": __version__, "model": model_hash(), **found, "python": python}


def model_change(made: str | None) -> str | None:
    """Say that what was made with another state of the model may come out otherwise now.

    Parameters
    ----------
    made : str or None
        The `model_hash` that it was made with; None if it does not say.

    Returns
    -------
    str or None
        A sentence without full stop; None if the model is still the same.
    """
    if made == model_hash():
        return None
    if made is None:
        return "it does not say which state of the model made it: sound and states may differ now"
    return "the model has changed since it was made: sound and states may differ"


def fingerprint(setup: Setup) -> str | None:
    """Fingerprint of the recorded voice of a setup.

    Parameters
    ----------
    setup : Setup
        What is rendered.

    Returns
    -------
    str or None
        SHA-256 of the file; None if the voice is not a recording.

    Raises
    ------
    ReedboreError
        If the recording cannot be read.
    """
    if setup.voice.source != "recording" or setup.voice.file is None:
        return None
    try:
        if wrong := unfit(setup.voice.file, LARGEST_RECORDING):
            raise ReedboreError(f"{setup.voice.file} {wrong}; the recorded voice was expected")
        with setup.voice.file.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ReedboreError(
            f"{setup.voice.file} cannot be read ({(error.strerror or str(error)).lower()}); "
            "the recorded voice was expected there"
        ) from error


def document(sidecar: Sidecar | PassageSidecar) -> dict[str, Any]:
    """Set a sidecar out as plain values, fit for JSON.

    Parameters
    ----------
    sidecar : Sidecar or PassageSidecar
        The sidecar.

    Returns
    -------
    dict
        With the keys of `KEYS` or `PASSAGE_KEYS`, and where there are any `recording_sha256` and
        `checksums`.
    """
    if isinstance(sidecar, Sidecar):
        plain = {name: getattr(sidecar, name) for name in KEYS}
        plain["setup"] = sidecar.setup.to_plain()
    else:
        special = {"a4_hz": sidecar.a4, "passage": sidecar.passage.to_plain()}
        plain = {
            name: special[name] if name in special else getattr(sidecar, name)
            for name in PASSAGE_KEYS
        }
        plain["setups"] = [
            {**note._asdict(), "setup": note.setup.to_plain()} for note in sidecar.setups
        ]
    if sidecar.recording is not None:
        plain["recording_sha256"] = sidecar.recording
    if sidecar.checksums:
        plain["checksums"] = dict(sidecar.checksums)
    return plain


def write(path: Path, sidecar: Sidecar | PassageSidecar) -> None:
    """Write a sidecar; it appears under its name only when it is whole.

    Parameters
    ----------
    path : Path
        Where to.
    sidecar : Sidecar or PassageSidecar
        What.

    Raises
    ------
    ReedboreError
        If the folder cannot be written to.
    """
    text = json.dumps(document(sidecar), ensure_ascii=False, allow_nan=False, indent=2)
    # Bytes of a file name that are no letters stand in JSON as escapes, and come back as they were.
    write_whole(path, f"{text}\n".encode(errors="backslashreplace"))


def read(path: Path) -> Sidecar | PassageSidecar:
    """Read what `write` wrote; setups and passage come back bit for bit.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Sidecar or PassageSidecar
        What it holds.

    Raises
    ------
    ReedboreError
        If the file cannot be read or is no sidecar.
    ModelError
        If a setting in it is not allowed; one line for each.
    """
    return from_document(_plain(path), path)


def from_document(plain: Mapping[str, Any], path: Path | str) -> Sidecar | PassageSidecar:
    """Take up what `document` set out; as `read`, the path or a name being for errors."""
    of_passage = "passage" in plain
    _check(plain, path, PASSAGE_KEYS if of_passage else KEYS)
    recording, sums = plain.get("recording_sha256"), _checksums(plain, path)
    try:
        if of_passage:
            return replace(_passage_sidecar(plain, recording, path), checksums=sums)
        setup = Setup.from_plain(plain["setup"])
    except ModelError as error:
        lines = str(error).splitlines()
        raise ModelError("\n".join(f"{path}: {line}" for line in lines)) from error
    rest = {key: plain[key] for key in KEYS[2:]}
    seconds = float(plain["seconds"])
    return Sidecar(setup=setup, seconds=seconds, recording=recording, checksums=sums, **rest)


def _checksums(plain: Mapping[str, Any], path: Path | str) -> dict[str, dict[str, Any]]:
    """Take up the checksums of a sidecar; an old one has none."""
    found = plain.get("checksums", {})
    kinds = {"file": str, "bytes": int, "sha256": str}
    if not isinstance(found, dict) or not all(
        isinstance(one, dict) and all(isinstance(one.get(key), kind) for key, kind in kinds.items())
        for one in found.values()
    ):
        raise ReedboreError(f"{path} is no sidecar of a take: checksums must name files")
    return found


def _check(plain: Mapping[str, Any], path: Path | str, keys: Sequence[str]) -> None:
    """Refuse a sidecar that is not whole."""
    missing = [key for key in keys if key not in plain]
    if missing:
        raise ReedboreError(f"{path} is no sidecar of a take: {', '.join(missing)} missing")
    for key in keys:
        value = plain[key]
        if key in NUMBERS:
            if not isinstance(value, int | float) or isinstance(value, bool):
                raise ReedboreError(f"{path}: {key} is {value!r}; a number is needed")
        elif key in LISTS:
            if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
                raise ReedboreError(
                    f"{path} is no sidecar of a take: {key} must be a list of notes"
                )
        elif not isinstance(value, dict):
            raise ReedboreError(f"{path} is no sidecar of a take: {key} must hold named values")


def _passage_sidecar(
    plain: Mapping[str, Any], recording: str | None, path: Path | str
) -> PassageSidecar:
    setups = []
    for number, one in enumerate(plain["setups"], 1):
        pitch, fingering, setup = (one.get(key) for key in FingeredSetup._fields)
        if not (isinstance(pitch, str) and isinstance(fingering, str) and isinstance(setup, dict)):
            raise ReedboreError(
                f"{path} is no sidecar of a passage: note {number} of setups needs pitch, "
                "fingering and setup"
            )
        setups.append(FingeredSetup(pitch, fingering, Setup.from_plain(setup)))
    passage = Passage.from_plain(plain["passage"])
    there = {(note.pitch, note.fingering) for note in setups}
    for note in passage.fingered_line.notes:
        if note.pitch and (note.pitch, note.fingering) not in there:
            raise ReedboreError(f"{path} is no sidecar of a passage: {note.pitch} has no setup")
    return PassageSidecar(
        passage=passage,
        setups=tuple(setups),
        a4=float(plain["a4_hz"]),
        recording=recording,
        **{key: plain[key] for key in ("request", "versions", "sound", "notes")},
    )


def differences(sidecar: Sidecar | PassageSidecar) -> list[str]:
    """Say what may keep a take made again from being the same to the last bit.

    Parameters
    ----------
    sidecar : Sidecar or PassageSidecar
        What was read.

    Returns
    -------
    list of str
        One sentence for each difference, without full stop.
    """
    here = versions()
    change = model_change(sidecar.versions.get("model"))
    told = [change] if change else []
    told += [
        f"made with {name} {sidecar.versions.get(name, 'unknown')}, here is {version}: "
        "the last digits may differ"
        for name, version in here.items()
        if name != "model" and sidecar.versions.get(name) != version
    ]
    if fingerprint(sidecar.setup) != sidecar.recording:
        told.append(f"{sidecar.setup.voice.file} is no longer the recording that was used")
    return told


def strangers(sidecar: Sidecar | PassageSidecar, path: Path) -> list[str]:
    """Name the files beside a sidecar that are not those that were written with it.

    Parameters
    ----------
    sidecar : Sidecar or PassageSidecar
        What was read.
    path : Path
        From where. Only its own folder is looked into, and what is not there is not missed.

    Returns
    -------
    list of str
        One sentence for each, without full stop.
    """
    return [
        f"{beside} is not the {what} that was written with {path.name}"
        for what, (beside, belongs) in _beside(sidecar, path).items()
        if not belongs
    ]


def companions(sidecar: Sidecar | PassageSidecar, path: Path) -> dict[str, Path]:
    """Find the files beside a sidecar that are those that were written with it.

    Parameters
    ----------
    sidecar, path : Sidecar or PassageSidecar, Path
        As of `strangers`.

    Returns
    -------
    dict
        Path by what it is: ``sound``, ``picture`` and so on. Old sidecars name none.
    """
    return {what: beside for what, (beside, belongs) in _beside(sidecar, path).items() if belongs}


def _beside(sidecar: Sidecar | PassageSidecar, path: Path) -> dict[str, tuple[Path, bool]]:
    """Look at the files beside a sidecar: where each is, and whether it is as it was written."""
    named = {what: (path.parent / one["file"], one) for what, one in sidecar.checksums.items()}
    return {
        what: (beside, _is(beside, one))
        for what, (beside, one) in named.items()
        if beside.name == one["file"] and beside.is_file()
    }


def _is(path: Path, one: Mapping[str, Any]) -> bool:
    """Tell whether a file has the size and the SHA-256 that are expected."""
    try:
        if path.stat().st_size != one["bytes"]:
            return False
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest() == one["sha256"]
    except OSError:
        return False


def _plain(path: Path) -> dict[str, Any]:
    """Read a JSON file that holds one object."""
    try:
        if wrong := unfit(path, LARGEST_FILE):
            raise ReedboreError(f"{path} {wrong}: no sidecar")
        plain = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise ReedboreError(f"{path} cannot be read ({reason})") from error
    except (ValueError, RecursionError) as error:
        raise ReedboreError(f"{path} cannot be read as JSON, so it is no sidecar") from error
    if not isinstance(plain, dict):
        raise ReedboreError(f"{path} is no sidecar of a take: it must hold named values")
    return plain
