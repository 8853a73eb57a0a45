"""Pairs that a singer has tried, kept in the user's cache folder; no kernel is loaded to read them.

What is kept goes by the whole horn and voice, by how it is blown and set, by the fingered note, and
by the state of all code that decides samples and states.
"""

import contextlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.files import cache_place, files_of, write_whole
from reedbore.model.setup import Horn, Singer
from reedbore.model.sidecar import MODEL
from reedbore.verdict.plan import Ratio, Tried
from reedbore.verdict.planning import Fingered
from reedbore.verdict.state import Heard, RowState


@dataclass(frozen=True, kw_only=True)
class Player:
    """Who tries pairs, and how.

    Attributes
    ----------
    horn : Horn
        The instrument, whole.
    singer : Singer
        Of whom the voice counts, not the range.
    depth : float or None
        How strongly is sung; None for the usual depth of the voice.
    breath : str or None
        As typed: a dynamic or a pressure.
    settings : tuple of str
        ``FIELD=VALUE``, as typed.
    """

    horn: Horn
    singer: Singer
    depth: float | None = None
    breath: str | None = None
    settings: tuple[str, ...] = ()


def kept_pairs(player: Player, note: Fingered) -> dict[Ratio, Tried]:
    """Return what is kept of the pairs over a fingered note, by ratio; perhaps nothing."""
    try:
        found = json.loads(place(player, note).read_text(encoding="ascii"))
        return {_ratio(name): _read(row) for name, row in found.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}


def keep_pairs(player: Player, note: Fingered, known: Mapping[Ratio, Tried]) -> None:
    """Keep what became of the pairs over a fingered note, if the folder can be written."""
    plain = {f"{p}/{q}": asdict(found) for (p, q), found in known.items()}
    with contextlib.suppress(OSError, ReedboreError):
        write_whole(place(player, note), json.dumps(plain).encode())


def place(player: Player, note: Fingered) -> Path:
    """Name the file that keeps the pairs over a fingered note."""
    voice = player.singer.voice
    numbers = player.horn.to_plain(), voice.model_copy(update={"depth": 0.0}).to_plain()
    depth = voice.depth if player.depth is None else player.depth
    made_from = [numbers, depth, player.breath, player.settings, note]
    return cache_place(files_of(MODEL), "pairs", made_from)


def _ratio(name: str) -> Ratio:
    p, q = map(int, name.split("/"))
    return p, q


def _read(row: dict[str, Any]) -> Tried:
    heard = row["heard"] and Heard(row["heard"])
    return Tried(**{**row, "state": RowState(row["state"]), "heard": heard})
