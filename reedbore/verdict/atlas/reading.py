"""Reading an atlas, note by note: as rows of the tables that `locks` and `singer` make."""

import json
import math
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import zarr
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.measures.locking import Edge
from reedbore.model.setup import Horn, Singer
from reedbore.notes import midi_name
from reedbore.verdict.atlas.plan import RATIOS, SIDES, Atlas
from reedbore.verdict.locks import Row
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, KeptState, RowState
from reedbore.verdict.sweep import arrays, table
from reedbore.verdict.sweep.cells import as_text
from reedbore.verdict.sweep.plan import MARKS


class Sheet(NamedTuple):
    """The lock table of one note at one depth, for a voice like a clock."""

    rows: tuple[Row, ...]
    """By rising sung pitch, as of `locks.lock_table`, less what only a thorough table has."""
    voice_off_hz: float
    """What the horn plays alone; nan if there is no table. [Hz]"""
    reason: str | None
    """Why there is no table."""


class SungSheet(NamedTuple):
    """The same for one singer, as of `singer.singer_rows`."""

    rows: tuple[SingerRow, ...]
    voice_off_hz: float
    reason: str | None


class Found:
    """An atlas that was opened; each note is read when it is asked for.

    Attributes
    ----------
    path : Path
        The store.
    atlas : Atlas
        What it is for.
    """

    def __init__(self, path: Path, atlas: Atlas) -> None:
        self.path, self.atlas = path, atlas

    def clock(self, midi: int, depth: float) -> Sheet | None:
        """Read the table of a voice like a clock.

        Parameters
        ----------
        midi : int
            The fingered note, as it sounds.
        depth : float
            One of those of the atlas.

        Returns
        -------
        Sheet or None
            None if it is not made yet.

        Raises
        ------
        ReedboreError
            If the atlas has no such note or depth, or a file of it is lost or damaged.
        """
        values = self._values("clock", self._place(midi, depth))
        if values is None:
            return None
        states = [KeptState.of(int(code)) for code in values["state"]]
        rows = [
            _row(values, k, RowState(state)) for k, state in enumerate(states) if _is_row(state)
        ]
        rows.sort(key=lambda row: row.sung_hz)
        return Sheet(tuple(rows), float(values["voice_off_hz"][0]), self._reason(states, values))

    def singer(self, midi: int, depth: float, voice: str | None = None) -> SungSheet | None:
        """Read the table of a singer, by default the first that was tried; see `clock`.

        Parameters
        ----------
        midi, depth : int, float
            As for `clock`.
        voice : str, optional
            Whose folds, one of `physics.folds.VOICES`.

        Returns
        -------
        SungSheet or None
            None if it is not made yet, or this voice was not tried.
        """
        place, voices = self._place(midi, depth), self.atlas.voices
        voice = voices[0] if voices and voice is None else voice
        if voice not in voices:
            return None
        values = self._values("singer", (*place, voices.index(voice)))
        if values is None:
            return None
        states = [KeptState.of(int(code)) for code in values["state"]]
        rows = [
            _singer_row(values, k, RowState(state))
            for k, state in enumerate(states)
            if _is_row(state)
        ]
        hz = float(values["voice_off_hz"][0])
        return SungSheet(tuple(rows), hz, self._reason(states, values))

    @cached_property
    def left(self) -> dict[str, int]:
        """How many notes at a depth are still to be made, by table."""
        whose = ["clock", *["singer"] * bool(self.atlas.voices)]
        return {who: sum(not done for _, done in table.tasks(self.path, who)) for who in whose}

    def _place(self, midi: int, depth: float) -> tuple[int, int]:
        notes, depths = self.atlas.notes, self.atlas.depths
        if midi not in notes:
            known = f"{midi_name(notes[0])} to {midi_name(notes[-1])}"
            raise ReedboreError(f"{self.path} has no {midi_name(midi)}; it has {known}")
        if depth not in depths:
            known = ", ".join(f"{one:g}" for one in depths)
            raise ReedboreError(f"{self.path} has no depth {depth:g}; it has {known}")
        return notes.index(midi), depths.index(depth)

    def _values(self, who: str, place: tuple[int, ...]) -> dict[str, NDArray[Any]] | None:
        found = table.block_values(self.path, who, (*place, 0))
        if found is None:
            return None
        return {
            name.removeprefix(f"{who}_"): array.reshape(len(RATIOS), *array.shape[len(place) + 1 :])
            for name, array in found.items()
        }

    @staticmethod
    def _reason(states: Sequence[KeptState], values: dict[str, NDArray[Any]]) -> str | None:
        none = KeptState.NO_TABLE in states
        return as_text(values["reason"][states.index(KeptState.NO_TABLE)]) if none else None


def _is_row(state: KeptState) -> bool:
    return state not in (KeptState.NOT_RUN, KeptState.ELSEWHERE, KeptState.NO_TABLE)


def _number(values: dict[str, NDArray[Any]], k: int, name: str) -> float | None:
    found = float(values[name][k])
    return None if math.isnan(found) else found


def _edge(values: dict[str, NDArray[Any]], k: int, side: str) -> Edge | None:
    inside = _number(values, k, f"{side}_cents")
    return None if inside is None else Edge(inside, float(values[f"{side}_outside_cents"][k]))


def _row(values: dict[str, NDArray[Any]], k: int, state: RowState) -> Row:
    low, high = (_edge(values, k, side) for side in SIDES)
    near = [float(values[f"nearest_{side}_cents"][k]) for side in SIDES]
    return Row(
        ratio=RATIOS[k],
        sung_hz=float(values["sung_hz"][k]),
        state=state,
        heard=Heard.of(int(values["heard"][k])),
        resultant_hz=float(values["resultant_hz"][k]),
        resultant_level_db=_number(values, k, "level_db"),
        low=low,
        high=high,
        nearest=None if math.isnan(near[0]) else (near[0], near[1]),
        held=_number(values, k, "held"),
        lock_s=_number(values, k, "lock_s"),
    )


def _singer_row(values: dict[str, NDArray[Any]], k: int, state: RowState) -> SingerRow:
    low, high = (_edge(values, k, side) for side in SIDES)
    names = "sung_hz", "played_hz", "pulled_cents", "lungs_pa"
    middle = Aim(*(float(values[name][k]) for name in names))
    heard = int(values["heard"][k])
    return SingerRow(
        ratio=RATIOS[k],
        just_hz=float(values["just_hz"][k]),
        state=state,
        reason=as_text(values["reason"][k]) or None,
        low=low,
        high=high,
        held=_number(values, k, "held"),
        middle=None if math.isnan(middle.lungs) else middle,
        heard=Heard.of(heard) if heard else None,
        depth=_number(values, k, "depth"),
    )


def read(path: Path) -> Found:
    """Open an atlas.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    Found
        What it is for; its notes are read when they are asked for.

    Raises
    ------
    ReedboreError
        If there is no store of an atlas.
    """
    group = arrays.open_group(path)
    if not arrays.is_atlas(path):
        raise ReedboreError(f"{path} holds a sweep, not an atlas")
    try:
        about: dict[str, Any] = dict(group.attrs)
        notes, depths = (arrays.read(path, group, name).tolist() for name in ("note", "depth"))
        atlas = Atlas(
            horn=Horn.from_plain(json.loads(about["horn"])),
            singer=Singer.from_plain(json.loads(about["singer"])),
            notes=tuple(notes),
            depths=tuple(depths),
            voices=_voices(path, group),
            breath=about["breath"] or None,
            settings=tuple(about["settings"]),
            a4=about["a4_hz"],
            all_ratios=bool(about["all_ratios"]),
            version=str(about["version"]),
            model=dict(json.loads(about["versions"])).get("model"),
        )
    except (arrays.Damaged, KeyError, TypeError, ValueError) as error:
        raise ReedboreError(f"{path} is no whole atlas ({error})") from error
    return Found(path, atlas)


def _voices(path: Path, group: zarr.Group) -> tuple[str, ...]:
    """Read whose folds are tried; they are added to a store when the first are asked for."""
    if not (path / MARKS["singer"]).exists():
        return ()
    names: Any = arrays.array_of(path, group, "voice").attrs["names"]
    return tuple(names)
