"""Whether a sound file that is to be the voice is one: a sentence for each thing that is wrong.

In: the file. Out: sentences. Nothing is refused: whoever wants to blow a horn with a horn may.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reedbore import sound
from reedbore.measures import channels, pitch, segments, two_notes

BRIGHT_DB = -10.0
"""A voice has a smaller share of its power above `channels.HIGH_HZ`, as a rule: of the recorded
voices of fluid-soundfont-gm and freepats three in four, of their horns one in four. [dB]"""

HELD = 0.6
"""Of the voiced time: with less of it in notes that are held it is speech. Of eight spoken words it
is 0.35, of the sung notes of fluid-soundfont-gm and freepats 0.8 and more."""

LONGEST_S = 60.0
"""So much of the file is listened to. [s]"""

MIXED_DB, MIXED_LEVEL_DB = 10.0, -35.0
"""Lines between the partials stand out so far and are so strong where a second note is mixed in."""

Samples = NDArray[np.float64]


def complaints(path: Path) -> list[str]:
    """Say what speaks against a recording as a voice.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    list of str
        Sentences without full stop, most telling first; none for a voice that sings.

    Raises
    ------
    AudioError
        If it cannot be read.
    """
    samples, rate = sound.read(path, sound.LONGEST_VOICE)
    samples = samples[: round(LONGEST_S * rate)]
    held = segments.steady(samples, rate)
    other = _two(samples, rate, held) or _horn(samples, rate, held)
    said = _clipped(samples), other, _speech(samples, rate, held)
    return [f"--sung {path}: {one}" for one in said if one]


def _clipped(samples: Samples) -> str | None:
    share = channels.flat_top(samples)
    if share <= channels.CLIPPED:
        return None
    return f"{100.0 * share:.2g} % of it is clipped; record it softer"


Notes = tuple[segments.Sung, ...]


def _two(samples: Samples, rate: float, held: Notes) -> str | None:
    """Tell a horn that is sung into by the lines between the partials of its longest note."""
    if not held:
        return None
    longest = max(held, key=lambda note: note.end - note.begin)
    edge = min(0.05, 0.1 * (longest.end - longest.begin))
    part = samples[round((longest.begin + edge) * rate) : round((longest.end - edge) * rate)]
    thin, thin_rate = pitch.thin(part, rate)
    played = two_notes.played(thin, thin_rate)
    if played is None:
        return None
    kind = two_notes.residue(two_notes.look(thin, thin_rate, played.hz), played.hz)
    if kind is None or kind.over_db < MIXED_DB or kind.level_db < MIXED_LEVEL_DB:
        return None
    return (
        "it holds two notes at once, as a horn that is sung into does; reedbore analyse tells what "
        "is in it"
    )


def _horn(samples: Samples, rate: float, held: Notes) -> str | None:
    if not held or channels.brightness(samples, rate) < BRIGHT_DB:
        return None
    return "it is as bright as a horn; a voice is wanted, recorded alone (is it the other channel?)"


def _speech(samples: Samples, rate: float, held: Notes) -> str | None:
    """Tell speech, and noise, from song: hardly any of it is held."""
    voice, thin_rate = pitch.thin(samples, rate, segments.RATE)
    _, hz = pitch.pitch_track(voice, thin_rate, hop=segments.HOP)
    voiced = float(np.sum(np.isfinite(hz)) * segments.HOP)
    sung = sum(note.end - note.begin for note in held)
    if voiced < 2.0 * segments.LEAST_SECONDS:
        return "it has no pitch: noise, or a whisper; sing or hum"
    if sung < HELD * voiced:
        return "hardly any of it is held: speech? sing or hum, one note after the other"
    return None
