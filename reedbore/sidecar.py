"""The sidecar: a JSON file beside the sound that makes the same take again.

It holds the setup under the keys and in the units that users write, how long the take lasts, what
was asked for, what made it, how it was levelled, and the verdict. With the same versions on the
same kind of machine the sound comes out the same to the last bit.
"""

import hashlib
import json
import platform
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from reedbore import __version__
from reedbore.errors import ModelError, ReedboreError
from reedbore.files import write_whole
from reedbore.model import Setup

KEYS = ("setup", "seconds", "request", "versions", "sound", "verdict")
LARGEST_FILE = 1_000_000


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
    """

    setup: Setup
    seconds: float
    request: Mapping[str, Any]
    sound: Mapping[str, Any]
    verdict: Mapping[str, Any]
    versions: Mapping[str, str]
    recording: str | None = None


def versions() -> dict[str, str]:
    """List the versions that the last bits of a sound depend on."""
    found = {name: metadata.version(name) for name in ("numpy", "numba")}
    return {"reedbore": __version__, **found, "python": platform.python_version()}


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
        return hashlib.sha256(setup.voice.file.read_bytes()).hexdigest()
    except OSError as error:
        raise ReedboreError(
            f"{setup.voice.file} cannot be read ({(error.strerror or str(error)).lower()}); "
            "the recorded voice was expected there"
        ) from error


def document(sidecar: Sidecar) -> dict[str, Any]:
    """Set a sidecar out as plain values, fit for JSON.

    Parameters
    ----------
    sidecar : Sidecar
        The sidecar.

    Returns
    -------
    dict
        With the keys of `KEYS`, and `recording_sha256` for a recorded voice.
    """
    plain = {name: getattr(sidecar, name) for name in KEYS}
    plain["setup"] = sidecar.setup.to_plain()
    if sidecar.recording is not None:
        plain["recording_sha256"] = sidecar.recording
    return plain


def write(path: Path, sidecar: Sidecar) -> None:
    """Write a sidecar; it appears under its name only when it is whole.

    Parameters
    ----------
    path : Path
        Where to.
    sidecar : Sidecar
        What.

    Raises
    ------
    ReedboreError
        If the folder cannot be written to.
    """
    text = json.dumps(document(sidecar), ensure_ascii=False, allow_nan=False, indent=2)
    write_whole(path, f"{text}\n".encode())


def read(path: Path) -> Sidecar:
    """Read what `write` wrote; the setup comes back bit for bit.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Sidecar
        What it holds.

    Raises
    ------
    ReedboreError
        If the file cannot be read or is no sidecar.
    ModelError
        If a setting in it is not allowed; one line for each.
    """
    plain = _plain(path)
    missing = [key for key in KEYS if key not in plain]
    if missing:
        raise ReedboreError(f"{path} is no sidecar of a take: {', '.join(missing)} missing")
    for key in KEYS:
        if key != "seconds" and not isinstance(plain[key], dict):
            raise ReedboreError(f"{path} is no sidecar of a take: {key} must hold named values")
    if not isinstance(plain["seconds"], int | float) or isinstance(plain["seconds"], bool):
        raise ReedboreError(f"{path}: seconds is {plain['seconds']!r}; a number is needed")
    try:
        setup = Setup.from_plain(plain["setup"])
    except ModelError as error:
        lines = str(error).splitlines()
        raise ModelError("\n".join(f"{path}: {line}" for line in lines)) from error
    rest = {key: plain[key] for key in KEYS[2:]}
    recording = plain.get("recording_sha256")
    return Sidecar(setup=setup, seconds=float(plain["seconds"]), recording=recording, **rest)


def differences(sidecar: Sidecar) -> list[str]:
    """Say what may keep a take made again from being the same to the last bit.

    Parameters
    ----------
    sidecar : Sidecar
        What was read.

    Returns
    -------
    list of str
        One sentence for each difference, without full stop.
    """
    here = versions()
    told = [
        f"made with {name} {sidecar.versions.get(name, 'unknown')}, here is {version}: "
        "the last digits may differ"
        for name, version in here.items()
        if sidecar.versions.get(name) != version
    ]
    if fingerprint(sidecar.setup) != sidecar.recording:
        told.append(f"{sidecar.setup.voice.file} is no longer the recording that was used")
    return told


def _plain(path: Path) -> dict[str, Any]:
    """Read a JSON file that holds one object."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise ReedboreError(f"{path} is larger than {LARGEST_FILE // 1000} kB: no sidecar")
        plain = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise ReedboreError(f"{path} cannot be read ({reason})") from error
    except (ValueError, RecursionError) as error:
        raise ReedboreError(f"{path} cannot be read as JSON, so it is no sidecar") from error
    if not isinstance(plain, dict):
        raise ReedboreError(f"{path} is no sidecar of a take: it must hold named values")
    return plain
