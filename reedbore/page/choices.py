"""What there is to choose from on the page: horns, voices, and every number that can be set."""

from pathlib import Path
from typing import Any

from reedbore import __version__, notes
from reedbore.model.passage import Piece
from reedbore.model.presets import load_horn, load_piece, load_singer, names, setup_for
from reedbore.model.settings import leaves
from reedbore.model.setup import Horn, Setup, Singer
from reedbore.model.units import QUANTITIES, from_si
from reedbore.page.app import LARGEST_FILE
from reedbore.report.words import CLOCK, below, sentence

CARE = (
    "Start quietly: the sound is never made louder by itself, but your loudspeaker may be set "
    "high. How loud is safe, and for how long, is told by WHO–ITU H.870 and, at work, by NIOSH.",
    "Third notes below about 100 Hz: small loudspeakers leave their fundamental out and the ear "
    "builds it again from the other partials; headphones tell the truth.",
    "A player also hears the own voice through the bones of the head; a listener does not.",
    sentence(CLOCK),
    "Singing hard into a horn and high blowing pressures strain: sing in short bouts, rest, drink, "
    "and stop at pain, a tickle or hoarseness. Learn it with a teacher; with lasting hoarseness "
    "see a voice clinic or a doctor. This page gives no medical advice.",
    "The strength of a reed is told on a scale of our own, approximate: no maker's chart.",
)

PLAYED_S = 120.0
"""Of a passage on the page: a second takes some 10 MB while it is judged. [s]"""

RECORDED_S = {"voice": PLAYED_S, "both": 600.0}
"""Of a voice alone, and of horn and voice together. [s]"""

given: dict[str, Path] = {}
"""What the command `page` was given to show: an `atlas`, perhaps."""


def document() -> dict[str, Any]:
    """List everything that the page offers.

    Returns
    -------
    dict
        Fit for JSON: ``horns``, ``voices``, ``passages``, ``quantities`` (ranges in the users'
        units, and the value of the demo's horn), ``care``, ``clock``, the largest p and q that are
        ``measured``, how far each q-th part lies ``below``, what a recording may be at
        most (``recording``: bytes, and seconds of each kind), the ``atlas`` that the server was
        given, ``version``.
    """
    piece_horn = load_piece("mill-race").horn
    return {
        "horns": [horn_entry(load_horn(name)) for name in names("horns")],
        "voices": [voice_entry(load_singer(name)) for name in names("voices")],
        "passages": [passage_entry(name, load_piece(name)) for name in names("passages")],
        "quantities": _quantities(setup_for(load_horn(piece_horn))),
        "care": list(CARE),
        "clock": sentence(CLOCK),
        "measured": notes.MEASURED_LIMIT,
        "below": [[q, below(q)] for q in range(2, notes.MEASURED_LIMIT + 1)],
        "recording": {"bytes": LARGEST_FILE, "seconds": RECORDED_S},
        "atlas": given["atlas"].name if "atlas" in given else None,
        "version": __version__,
    }


def settings_of(setup: Setup) -> dict[str, Any]:
    """List the settings of a setup that are not those of a single hole or piece of the bore.

    Parameters
    ----------
    setup : Setup
        The setup.

    Returns
    -------
    dict
        Values in the users' units, by name.
    """
    return {
        name: value
        for name, value in leaves(setup.to_plain())
        if not any(step.isdigit() for step in name.split("."))
    }


def _quantities(setup: Setup) -> dict[str, Any]:
    values = settings_of(setup)
    found = {}
    for name, quantity in QUANTITIES.items():
        if name in values or name in {"bore.length_mm", "reed.strength", "reed.lip"}:
            low, high = quantity.edge_range
            found[name] = {
                "low": low,
                "high": high,
                "unit": quantity.edge,
                "says": quantity.says,
                "whole": quantity.whole,
                "value": values.get(name),
            }
    return found


def horn_entry(horn: Horn) -> dict[str, Any]:
    """Describe a horn: range, notes with their written names, preset values."""
    return {
        "name": horn.name,
        "title": horn.title,
        "low": horn.low_note,
        "high": horn.high_note,
        "notes": [
            {
                "midi": midi,
                "name": notes.midi_name(midi),
                "written": notes.midi_name(midi + horn.transposition),
                "fingerings": [name for name in horn.fingering_names(midi) if name],
            }
            for midi in horn.notes()
        ],
        "transposition": horn.transposition,
        "clef": horn.clef,
        "settings": settings_of(setup_for(horn)),
    }


def voice_entry(singer: Singer) -> dict[str, Any]:
    """Describe a voice: range and usual depth."""
    return {
        "name": singer.name,
        "title": singer.title,
        "low": singer.low_note,
        "high": singer.high_note,
        "depth": singer.voice.depth,
    }


def passage_entry(name: str, piece: Piece) -> dict[str, Any]:
    """Describe a passage: its title, its lines as text, and its tempo."""
    passage = piece.passage
    bpm = from_si(QUANTITIES["passage.tempo_bpm"], passage.tempo)
    return {
        "name": name,
        "title": piece.title,
        "fingered": passage.fingered,
        "sung": passage.sung,
        "tempo_bpm": round(bpm, 6),
    }
