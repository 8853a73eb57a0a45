"""Which member of a class was sung, from the horn alone: each is rendered, and the lines compared.

In: a note of a recording whose class is known, and the horn that plays it. Out: the member whose
rendered lines come closest, and by how much. All members make lines at the same places, but not of
the same strength: what the reed makes of a voice falls off from where the voice is.

The comparison asks for little: what microphone and room do to a partial of the horn they do to its
neighbours, so lines are compared with the partials beside them; and how deep was sung moves all
lines alike, so their mean is taken away.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.measures import pitch, two_notes
from reedbore.model.setup import Horn, Setup
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

DEPTH, SECONDS, LATE_S = 0.05, 1.6, 1.0
"""Each member is sung so deep, for so long [s], and its end [s] compared."""

MOST = 8
"""More members than this are not tried: the range of the voice is too wide to choose."""

SAME = 0.03
"""A rendered horn whose note differs from the recorded one by more than this share plays another
one."""

LEAST_OVER_DB, FEWEST = 6.0, 5
"""Lines lower over the floor are left out; with fewer nothing is compared."""

SURE_DB = 1.5
"""With a smaller margin between the best and the next the sung note is not told: then 14 of 17 are
right, of our own takes at 30 dB in a room of 0.6 s. [dB]"""

Samples = NDArray[np.float64]


class Chosen(NamedTuple):
    """A member [Hz], how far its lines are from the recorded ones, and the next best's [dB]."""

    hz: float
    rest_db: float
    next_db: float

    @property
    def margin_db(self) -> float:
        """By how much the next best is farther away. [dB]."""
        return self.next_db - self.rest_db


def choose(
    horn: Samples, rate: float, played: float, members: tuple[float, ...], instrument: Horn
) -> Chosen | None:
    """Render each member of a class and choose the one that comes closest.

    Parameters
    ----------
    horn : ndarray, shape (n,)
        The note as recorded. [any]
    rate : float
        Samples per second. [Hz]
    played : float
        [Hz]
    members : tuple of float
        What may have been sung. [Hz]
    instrument : Horn
        Who plays.

    Returns
    -------
    Chosen or None
        None where there is too little to compare.

    Raises
    ------
    ModelError
        If the horn has no such note.
    """
    if not 2 <= len(members) <= MOST:
        return None
    seen = two_notes.look(horn, rate, played)
    places = places_of(seen, played, members[0])
    if places is None:
        return None
    setup = tune(instrument, played)
    rests = []
    for hz in members:
        made = rendered(setup, played, hz, DEPTH)
        if made is None:
            return None
        rests.append(float(np.std(lines_apart(seen, places, made, played))))
    order = np.argsort(rests)
    return Chosen(members[order[0]], rests[order[0]], rests[order[1]])


class Rendered(NamedTuple):
    """The end of a rendered note, thinned: samples, rate, what the horn plays and what is sung."""

    samples: Samples
    rate: float
    """[Hz]"""
    played: float
    """[Hz]"""
    sung: float
    """[Hz]"""


def rendered(setup: Setup, played: float, sung: float, depth: float) -> Rendered | None:
    """Render a note with a voice over it.

    Parameters
    ----------
    setup : Setup
        The horn, tuned to what is played.
    played, sung : float
        [Hz]
    depth : float
        How strongly is sung.

    Returns
    -------
    Rendered or None
        None where the horn does not play on, or has left its register: then it is no likeness of
        the recorded one.
    """
    stopping.check()
    setup = setup.with_value("voice.source", "pulse").with_value("voice.depth", depth)
    sound = render(setup.with_value("voice.frequency_hz", sung), SECONDS).sound
    thin, rate = pitch.thin(sound[-round(LATE_S * SOUND_RATE) :], SOUND_RATE)
    found = two_notes.played(thin, rate, (1.0 - SAME) * played, (1.0 + SAME) * played)
    alone = two_notes.played(thin, rate)
    if found is None or alone is None or abs(alone.hz / found.hz - 1.0) > SAME:
        return None
    return Rendered(thin, rate, found.hz, sung)


class Places(NamedTuple):
    """Partials and lines to compare, as shares of the played note; each of shape (n,)."""

    partials: Samples
    lines: Samples


def places_of(seen: two_notes.Look, played: float, member: float) -> Places | None:
    """Choose partials and lines that stand well above the floor, as shares of the played note.

    Parameters
    ----------
    seen : Look
        The recorded note.
    played, member : float
        What is played, and one member of the class of what is sung. [Hz]

    Returns
    -------
    Places or None
        None where there are too few lines.
    """
    order = np.arange(1, two_notes.ORDERS)
    share = member / played
    lines = np.unique(np.abs(np.concatenate((np.arange(12) - share % 1.0, order + share % 1.0))))
    lines = lines[(lines * played > 2.0 * two_notes.LOWEST) & (lines * played < two_notes.TOP_HZ)]
    partials = order[order * played < two_notes.TOP_HZ].astype(np.float64)
    kept = lines[_at(seen, lines * played, seen.over_db) > LEAST_OVER_DB]
    return Places(partials, kept) if kept.size >= FEWEST else None


def _at(seen: two_notes.Look, hz: Samples, level: Samples) -> Samples:
    """Highest value beside some frequencies."""
    at = np.clip(np.rint(hz / seen.hz[1]).astype(np.int64), 2, seen.hz.size - 3)
    return np.asarray(np.max([level[at + step] for step in (-2, -1, 0, 1, 2)], axis=0))


def lines_apart(seen: two_notes.Look, places: Places, rendered: Rendered, played: float) -> Samples:
    """How far recorded lines stand over rendered ones, each against the partials beside it.

    Parameters
    ----------
    seen : Look
        The recorded note.
    places : Places
        What is compared.
    rendered : Rendered
        The same note, sung over.
    played : float
        What is played in the recording. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        [dB]
    """
    own = rendered.played
    made = two_notes.look(rendered.samples, rendered.rate, own)
    share = (rendered.sung / own) % 1.0
    share -= round(share)
    nearest = np.rint(places.lines)
    off = places.lines - nearest
    # The same line of the rendered sound, whose reed plays a little higher or lower.
    there = (nearest + np.where(np.abs(off - share) < np.abs(off + share), 1, -1) * share) * own
    partials = _at(seen, places.partials * played, seen.level_db) - _at(
        made, places.partials * own, made.level_db
    )
    through = np.interp(places.lines, places.partials, partials)
    return np.asarray(
        _at(seen, places.lines * played, seen.level_db)
        - _at(made, np.abs(there), made.level_db)
        - through
    )
