"""A recording in a file, or in two: handed out piece by piece, and looked at before it is judged.

In: sound files, and which channel is whose. Out: the `Sounds` of `verdict.recording`, and sentences
on what is wrong with them.
"""

from collections.abc import Callable

import numpy as np

from reedbore import sound
from reedbore.errors import AudioError, ReedboreError
from reedbore.measures import channels, pitch
from reedbore.verdict.recording.found import Samples
from reedbore.verdict.recording.notes import PIECE_S


class Recording:
    """A recording and where its channels are: the `Sounds` of `verdict.recording`.

    Parameters
    ----------
    horn, throat : Pieces or None
        Two files, one twice, or none for the throat.
    place : (int or None, int or None)
        The channels of both; None for all of them averaged.
    """

    def __init__(
        self, horn: sound.Pieces, throat: sound.Pieces | None, place: tuple[int | None, int | None]
    ) -> None:
        self._horn, self._throat = horn, throat
        self._place = place
        self.name, self.file_rate = horn.path, float(horn.rate)
        self.rate = pitch.thin(np.zeros(horn.rate), horn.rate)[1]
        self.seconds = min(horn.seconds, throat.seconds) if throat else horn.seconds

    def piece(self, begin: float, end: float) -> tuple[Samples, Samples | None]:
        """Return what both microphones heard, thinned; None without one on the throat."""
        horn, throat = self.raw(begin, end)
        return self._thin(horn), None if throat is None else self._thin(throat)

    def raw(self, begin: float, end: float) -> tuple[Samples, Samples | None]:
        """Return the same as it was recorded, at the rate of the horn's file."""
        heard = self._horn.between(begin, end)
        horn = _channel(heard, self._place[0])
        if self._throat is None:
            return horn, None
        other = heard if self._throat is self._horn else self._throat.between(begin, end)
        throat = _channel(other, self._place[1])
        if self._throat.rate != self._horn.rate:
            throat = sound.resample(throat, self._throat.rate, self._horn.rate)
        n = min(horn.size, throat.size)
        return horn[:n], throat[:n]

    def microphones(self, begin: float, end: float) -> list[Samples]:
        """Return what every microphone but the throat's heard, at the rate of the horn's file."""
        heard = self._horn.between(begin, end)
        throat = self._place[1] if self._throat is self._horn else None
        return [np.ascontiguousarray(one) for k, one in enumerate(heard.T) if k != throat]

    def _thin(self, samples: Samples) -> Samples:
        return pitch.thin(samples, self._horn.rate)[0]


def _channel(block: Samples, place: int | None) -> Samples:
    return np.asarray(block.mean(axis=1) if place is None else block[:, place])


def by_channel(file: sound.Pieces, throat: int | None) -> Recording:
    """Take a recording of which one channel may be on the throat.

    Parameters
    ----------
    file : Pieces
        What was recorded.
    throat : int or None
        Its channel, from 1; the first of the others is the horn's. None: nothing was on the
        throat, and the first channel is the horn's.

    Returns
    -------
    Recording
        What `notes.analyse` takes.

    Raises
    ------
    ReedboreError
        If there is no such channel, or none is left for the horn.
    """
    if throat is None:
        return Recording(file, None, (0, None))
    if not 1 <= throat <= file.channels or file.channels < 2:
        raise ReedboreError(
            f"--throat-channel is {throat}; {file.path} has {file.channels} "
            f"{'channel' if file.channels == 1 else 'channels'}, and one of them is the horn's"
        )
    return Recording(file, file, (0 if throat > 1 else 1, throat - 1))


def complaints(recording: Recording, tell: Callable[[float], None]) -> list[str]:
    """Look at a whole recording; refuse silence, and say what else is wrong with it.

    Parameters
    ----------
    recording : Recording
        What was recorded.
    tell : callable
        Told the share done so far, from 0 to 1.

    Returns
    -------
    list of str
        Sentences without full stop.

    Raises
    ------
    AudioError
        If it is silent.
    """
    peak, clipped = 0.0, 0.0
    bright: list[tuple[float, float]] = []
    begin = 0.0
    while begin < recording.seconds:
        end = min(begin + PIECE_S, recording.seconds)
        horn, throat = recording.raw(begin, end)
        peak = max(peak, float(np.abs(horn - horn.mean()).max(initial=0.0)))
        clipped = max(clipped, channels.flat_top(horn))
        if throat is not None:
            rates = channels.brightness(horn, recording.file_rate)
            bright.append((rates, channels.brightness(throat, recording.file_rate)))
        begin = end
        tell(begin / recording.seconds)
    if peak < channels.SILENT:
        raise AudioError(f"{recording.name} is silent: its loudest sample is {peak:.1g}")
    said = []
    if clipped > channels.CLIPPED:
        said.append(
            f"{100.0 * clipped:.2g} % of a piece is clipped: the distortion adds lines of its own, "
            "so a lock is not to be believed; record it softer"
        )
    if bright:
        of_horn, of_throat = (float(np.median(each)) for each in zip(*bright, strict=True))
        if of_throat > of_horn + channels.SWAPPED_DB:
            said.append(
                "what is said to be the throat is the brighter of the two: the channels may be "
                "swapped"
            )
    return said
