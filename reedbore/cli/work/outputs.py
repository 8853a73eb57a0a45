"""The files that `render` writes beside each other: tried before the work, then written."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import AudioError, ReedboreError
from reedbore.files import check_writable
from reedbore.simulate import outside
from reedbore.sound import CEILING_DBTP, FILE_FORMATS, write

FULL_SCALE_PA = {"sound": outside.FULL_SCALE_PA, "throat": 2e3, "inside": 20e3}
"""What is full scale: true to each other among sounds of a kind. Less their mean, a normal hum
swings by 0.3 kPa in the mouth and a horn by 3 to 6 kPa in its mouthpiece: both are well heard."""
SOUNDS = tuple(FULL_SCALE_PA)

Samples = NDArray[np.float64]


class Wanted(NamedTuple):
    """Files that were asked for; all but the sound are left out if None.

    Attributes
    ----------
    output, throat, inside : Path or None
        Sound files.
    notes : Path or None
        Where a passage is written down, as TOML or MIDI.
    third : Path or None
        Where its line of third notes is written, as MIDI.
    picture : bool
        Whether there is a picture.
    matched : bool
        Whether the sound is brought to the loudness of others.
    """

    output: Path | None = None
    throat: Path | None = None
    inside: Path | None = None
    notes: Path | None = None
    third: Path | None = None
    picture: bool = True
    matched: bool = False


class Made(NamedTuple):
    """What was made: a document fit for JSON, lines for reading, the sound as written."""

    document: dict[str, Any]
    text: str
    sound: Samples


def name_files(wanted: Wanted, stem: str, read: Iterable[Path], *, table: bool) -> dict[str, Path]:
    """Name all files that will be written, and refuse at once where one cannot be.

    Parameters
    ----------
    wanted : Wanted
        What was asked for.
    stem : str
        Gives the sound its name where none was asked for.
    read : iterable of Path
        Files that were read, which must stay.
    table : bool
        Whether there is a table of notes.

    Returns
    -------
    dict
        Path by ``sound``, ``throat``, ``inside``, ``picture``, ``sidecar``, ``table``, ``notes``
        and ``third``.

    Raises
    ------
    ReedboreError
        If a file cannot be written, or two have one name.
    """
    sound = Path("renders") / f"{stem}.wav" if wanted.output is None else wanted.output
    if not sound.name:
        raise AudioError("the sound file has no name; write one that ends in .wav or .flac")
    beside = {"picture": ".png", "sidecar": ".json", "table": ".csv"}
    left_out = {"picture": not wanted.picture, "table": not table}
    named = {
        "sound": sound,
        "throat": wanted.throat,
        "inside": wanted.inside,
        **{
            name: sound.with_suffix(suffix)
            for name, suffix in beside.items()
            if not left_out.get(name)
        },
        "notes": wanted.notes,
        "third": wanted.third,
    }
    paths = {name: path for name, path in named.items() if path is not None}
    for name in SOUNDS:
        if name in paths and paths[name].suffix.lower() not in FILE_FORMATS:
            path = paths[name]
            raise AudioError(f"{path} ends in '{path.suffix}'; sound is written as .wav or .flac")
    used = [path.resolve() for path in paths.values()]
    if len(set(used)) < len(used) or set(used) & {path.resolve() for path in read}:
        raise ReedboreError("two of the files have one name; give each of them a name of its own")
    for path in paths.values():
        check_writable(path)
    return paths


def write_sounds(
    makers: Mapping[str, Callable[[], Samples]], paths: Mapping[str, Path], *, matched: bool = False
) -> tuple[Samples, dict[str, Any]]:
    """Level and write the sounds that were asked for.

    Parameters
    ----------
    makers : mapping
        For each of `SOUNDS` what makes it. [Pa]
    paths : mapping
        As from `name_files`.
    matched : bool
        Bring the sound, not the others, to the loudness of others.

    Returns
    -------
    sound : ndarray, shape (n,)
        The first of them as written. [full scale]
    levels : dict
        How each was levelled, fit for JSON.
    """
    levels, kept = {}, np.zeros(0)
    for name in SOUNDS:
        if name not in paths:
            continue
        is_sound = name == "sound"
        samples, level = outside.levelled(
            makers[name](), FULL_SCALE_PA[name], matched=matched and is_sound
        )
        write(paths[name], samples, outside.SOUND_RATE)
        levels[name] = {"file": paths[name].name, **level}
        kept = samples if is_sound else kept
    return kept, levels


def file_lines(document: Mapping[str, Any]) -> list[str]:
    """List the files, and say which sound was lowered.

    Parameters
    ----------
    document : mapping
        With the names of all files under ``files`` and how they were levelled under ``sound``.

    Returns
    -------
    list of str
        Lines.
    """
    lines = [f"  {name:11} {path}" for name, path in document["files"].items()]
    return lines + [
        told for name, level in document["sound"].items() if (told := _level_words(name, level))
    ]


def _level_words(name: str, level: Mapping[str, Any]) -> str:
    """Say by how much a sound is not at its true level; nothing where it is."""
    gain = level["gain_db"]
    if "matched_lufs" in level:
        way = "louder" if gain >= 0.0 else "softer"
        return (
            f"The {name} was made {abs(gain):.1f} dB {way}, towards {level['matched_lufs']:g} "
            "LUFS: its loudness says nothing about the horn."
        )
    if gain >= 0.0:
        return ""
    return (
        f"The {name} was lowered by {-gain:.1f} dB to stay below {CEILING_DBTP:g} dBTP: do not "
        "compare its loudness with other takes."
    )
