"""Recorded notes of real horns and voices, of two Debian packages that `.ci/run install` installs.

`fluid-soundfont-gm` is one file of the SoundFont format (headers of samples in `shdr`, of 46 bytes,
their 16-bit samples in `smpl`); `freepats` has a patch file an instrument, of the GF1 kind. What
they say of their pitch is not always true, so it is measured.
"""

import struct
from pathlib import Path

import numpy as np
import pytest

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
FREEPATS = Path("/usr/share/midi/freepats")
MISSING = "recorded horns and voices are not installed; `.ci/run install` installs them"


def need() -> None:
    """Skip a test where they are not installed; on CI that is a failure."""
    if not (FLUID.is_file() and FREEPATS.is_dir()):
        pytest.skip(MISSING)


def fluid(*words: str) -> dict[str, tuple[np.ndarray, float]]:
    """Samples whose names hold one of the words: by name, the sound and its rate [Hz]."""
    found = {}
    with FLUID.open("rb") as file:
        size, place = _chunk(file, b"shdr")
        file.seek(place)
        heads = file.read(size)
        _, start = _chunk(file, b"smpl")
        for at in range(0, size - 46, 46):
            name = heads[at : at + 20].split(b"\0")[0].decode("ascii", "replace").strip()
            first, last, _, _, rate = struct.unpack_from("<5I", heads, at + 20)
            if any(word.lower() in name.lower() for word in words):
                file.seek(start + 2 * first)
                raw = np.frombuffer(file.read(2 * (last - first)), "<i2")
                found[name] = raw / 32768.0, float(rate)
    return found


def _chunk(file, wanted: bytes) -> tuple[int, int]:
    """Size of a chunk inside the lists of a RIFF file, and where its data begin."""
    file.seek(12)
    while head := file.read(8):
        kind, size = head[:4], struct.unpack("<I", head[4:])[0]
        if kind == b"LIST":
            file.seek(4, 1)
            continue
        if kind == wanted:
            return size, file.tell()
        file.seek(size + size % 2, 1)
    raise ValueError(f"{FLUID} has no {wanted!r}")


def freepats(name: str) -> list[tuple[np.ndarray, float]]:
    """Samples of a patch file: each its sound and its rate [Hz]."""
    data = next(FREEPATS.rglob(name)).read_bytes()
    count, place, found = data[129 + 63 + 6], 129 + 63 + 47, []
    for _ in range(count):
        size, _, _, rate = struct.unpack_from("<3IH", data, place + 8)
        wide, unsigned = data[place + 55] & 1, data[place + 55] & 2
        place += 96
        kind = ("<u2" if unsigned else "<i2") if wide else ("u1" if unsigned else "i1")
        raw = np.frombuffer(data[place : place + size], kind).astype(np.float64)
        full = 32768.0 if wide else 128.0
        found.append(((raw - full if unsigned else raw) / full, float(rate)))
        place += size
    return found
