"""The atlas of a horn: the lock tables of all its notes, at some depths, in one store.

In: a horn, a voice, who plays. Out: for each fingered note and each depth the rows of the table of
a voice like a clock, and of singers whose folds feel the horn, as `locks` and `singer` find them.
A note at a depth is the same work wherever it is done and whatever was done before: an atlas that
is stopped, even by force, split into parts or spread over a cluster ends as one made in one go.
"""

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import zarr
from numpy.typing import NDArray

from reedbore import __version__
from reedbore.errors import ModelError, ReedboreError
from reedbore.kernel.executor import CPU, CpuLanes, Executor
from reedbore.measures.locking import Edge
from reedbore.model.setup import Horn, Setup, Singer
from reedbore.model.sidecar import model_hash, versions
from reedbore.model.voice import COMPUTED
from reedbore.notes import midi_name, midi_to_hz, simple_ratios
from reedbore.simulate.request.take import Request, Words, parse_setting, read_request, tune_request
from reedbore.verdict import locks, singer
from reedbore.verdict.locks import Row
from reedbore.verdict.questions import Progress
from reedbore.verdict.result import SIMPLE
from reedbore.verdict.singer import Aim, SingerRow
from reedbore.verdict.state import Heard, KeptState, RowState, broke_down
from reedbore.verdict.sweep import arrays, store, table
from reedbore.verdict.sweep.cells import Block, Values, as_letters, as_text, blank
from reedbore.verdict.sweep.plan import MARKS, TABLES, check_model
from reedbore.verdict.sweep.run import deal_out, fill

RATIOS = tuple(simple_ratios(SIMPLE))
"""That each note is asked for, as far as the voice reaches."""

MOST_DEPTHS = 8
"""More have no room beside each other."""

SIDES = "low", "high"

Made = Callable[..., Values]


@dataclass(frozen=True, kw_only=True)
class Atlas:
    """What an atlas is for.

    Attributes
    ----------
    horn : Horn
        The instrument, whole.
    singer : Singer
        The voice: its range bounds the ratios that are looked at.
    notes : tuple of int
        Fingered, as MIDI numbers of what sounds, rising.
    depths : tuple of float
        How strongly is sung, rising.
    voices : tuple of str
        Folds that were tried, names of `physics.folds.VOICES`; empty if none were.
    breath : str or None
        As typed.
    settings : tuple of str
        ``FIELD=VALUE``, as typed.
    a4 : float
        Frequency of A4. [Hz]
    all_ratios : bool
        Whether ratios beyond the range of the voice are looked at too.
    version : str
        Of reedbore.
    model : str or None
        `sidecar.model_hash` of what made it.
    """

    horn: Horn
    singer: Singer
    notes: tuple[int, ...]
    depths: tuple[float, ...]
    voices: tuple[str, ...] = ()
    breath: str | None = None
    settings: tuple[str, ...] = ()
    a4: float = 440.0
    all_ratios: bool = False
    version: str = __version__
    model: str | None = field(default_factory=model_hash)

    @property
    def reach(self) -> tuple[float, float] | None:
        """What is looked at, lowest and highest; None for all. [Hz]."""
        if self.all_ratios:
            return None
        low, high = (midi_to_hz(midi, self.a4) for midi in self.singer.midi_range)
        return low, high

    def request(self, midi: int, depth: float) -> Request:
        """Read what is asked for on one note, its bore not yet tuned; the sung note is any."""
        return read_request(
            Words(
                horn=self.horn.name, instrument=self.horn, voice=self.singer.name,
                singer=self.singer, fingered=midi_name(midi), sung="220Hz", depth=depth,
                breath=self.breath, settings=self.settings, a4=self.a4,
            ),
            still=True,
        )  # fmt: skip

    def setup(self, midi: int, depth: float) -> Setup:
        """Make the setup of one note, tuned, its voice a clock; a ModelError if there is none."""
        return tune_request(self.request(midi, depth)).setup


def check(atlas: Atlas) -> None:
    """Refuse an atlas that cannot be made, in one sentence."""
    if not 1 <= len(atlas.depths) <= MOST_DEPTHS:
        raise ReedboreError(f"{len(atlas.depths)} depths are asked for; allowed 1 to {MOST_DEPTHS}")
    if list(atlas.depths) != sorted(set(atlas.depths)):
        told = " ".join(f"{depth:g}" for depth in atlas.depths)
        raise ReedboreError(f"the depths are '{told}'; write each once, rising")
    for text in atlas.settings:
        if parse_setting(text)[0] == "voice.depth":
            raise ReedboreError(f"--set {text}: write the depths of an atlas as --depths")
    voice = atlas.request(atlas.notes[0], atlas.depths[-1]).setup.voice
    if voice.flows:
        raise ModelError(f"an atlas has its depths along an axis, but {COMPUTED}")
    if voice.folded:
        said = "an atlas has a clock and singers with folds side by side"
        raise ModelError(f"voice.drive is 'folds': leave it out; {said}")
    if voice.source not in ("pulse", "sine"):
        raise ModelError(f"voice.source is {voice.source!r}; an atlas needs 'pulse' or 'sine'")


def differs(one: Atlas, other: Atlas) -> str | None:
    """Say in what two atlases first differ, notes, depths and folds left aside; None if in nothing.

    Parameters
    ----------
    one, other : Atlas
        The first is told as that which is there, the other as what is here.

    Returns
    -------
    str or None
        Without a full stop.
    """
    known, wanted = _player(one), _player(other)
    for name in {**known, **wanted}:
        if known.get(name) != wanted.get(name):
            there, here = (words.get(name, "not set") for words in (known, wanted))
            return f"there {name} is {there}, here {here}"
    return None


def _player(atlas: Atlas) -> dict[str, Any]:
    """List all that the rows depend on, but for notes, depths and folds."""
    return {
        "the horn": atlas.horn.name,
        "the voice": atlas.singer.name,
        "--breath": atlas.breath or "not set",
        "--set": ", ".join(atlas.settings) or "not given",
        "A4": f"{atlas.a4:g} Hz",
        "--all-ratios": "given" if atlas.all_ratios else "not given",
        **_settings(atlas.horn, "the horn's "),
        **_settings(atlas.singer, "the voice's "),
    }


def _settings(preset: Horn | Singer, whose: str) -> dict[str, Any]:
    plain = preset.to_plain()
    told = ("name", "title", "sources")
    return {f"{whose}{key}": value for key, value in plain.items() if key not in told}


# --- what is worked out --------------------------------------------------------------------------


def clock_block(
    atlas: Atlas, block: Block, *, executor: Executor = CPU, progress: Progress | None = None
) -> Values:
    """Make the lock table of a voice like a clock for one note and depth.

    Parameters
    ----------
    atlas : Atlas
        What is made.
    block : tuple of slice
        One note, one depth, all ratios.
    executor : Executor
        The machine that searches.
    progress : callable, optional
        Told the share done.

    Returns
    -------
    dict
        An array in the shape of the block for each of `plan.CLOCK`.
    """
    out, flat = _blank("clock", block)
    midi, depth = _at(atlas, block)
    try:
        hz = midi_to_hz(midi, atlas.a4)
        found = locks.lock_table(
            atlas.setup(midi, depth), hz, voice_range=atlas.reach, progress=progress,
            executor=executor,
        )  # fmt: skip
    except (ModelError, ArithmeticError, LookupError, ValueError) as error:
        return _no_table(out, flat, error)
    flat["voice_off_hz"][:] = found.voice_off_hz
    for row in found.rows:
        k = RATIOS.index(row.ratio)
        kept = _kept(row) | {
            "sung_hz": row.sung_hz,
            "resultant_hz": row.resultant_hz,
            "level_db": row.resultant_level_db,
            "lock_s": row.lock_s,
        }
        if row.nearest is not None:
            kept |= {"nearest_low_cents": row.nearest[0], "nearest_high_cents": row.nearest[1]}
        _put(flat, k, kept)
    return out


def singer_block(
    atlas: Atlas, block: Block, *, executor: Executor = CPU, progress: Progress | None = None
) -> Values:
    """Find out what one singer can do over one note at one depth; as `clock_block`."""
    out, flat = _blank("singer", block)
    midi, depth = _at(atlas, block)
    try:
        setup = singer.singers(atlas.setup(midi, depth))[atlas.voices[block[2].start]]
        off = locks.alone(setup, executor).hz
        assert off is not None
        low, high = atlas.reach or (-math.inf, math.inf)
        ratios = [ratio for ratio in RATIOS if low <= off * ratio[0] / ratio[1] <= high]
        (rows,) = singer.singer_rows([setup], off, ratios, progress, executor)
    except (ModelError, ArithmeticError, LookupError, ValueError) as error:
        return _no_table(out, flat, error)
    flat["voice_off_hz"][:] = off
    for row in rows:
        kept = _kept(row) | {"just_hz": row.just_hz, "depth": row.depth, "reason": row.reason}
        if row.middle is not None:
            names = "sung_hz", "played_hz", "pulled_cents", "lungs_pa"
            kept |= dict(zip(names, row.middle, strict=True))
        _put(flat, RATIOS.index(row.ratio), kept)
    return out


def _at(atlas: Atlas, block: Block) -> tuple[int, float]:
    """Say which note and depth a block is for."""
    check_model(atlas, "atlas")
    return atlas.notes[block[0].start], atlas.depths[block[1].start]


def _blank(who: str, block: Block) -> tuple[Values, Values]:
    """Make the arrays of a block, and the same without its axes and the name of the table."""
    shape = tuple(part.stop - part.start for part in block)
    out = blank(TABLES[who][0], shape)
    flat = {
        name.removeprefix(f"{who}_"): array.reshape(len(RATIOS), *array.shape[len(shape) :])
        for name, array in out.items()
    }
    flat["state"][:] = KeptState.ELSEWHERE.code
    return out, flat


def _no_table(out: Values, flat: Values, error: Exception) -> Values:
    """Keep of a note only why it has no table."""
    why = str(error) if isinstance(error, ModelError) else broke_down(error)
    flat["state"][:] = KeptState.NO_TABLE.code
    flat["reason"][:] = as_letters("; ".join(why.splitlines()))
    return out


def _kept(row: Row | SingerRow) -> dict[str, Any]:
    """Take what both kinds of rows have."""
    edges = dict(zip(SIDES, (row.low, row.high), strict=True))
    ends = {f"{side}_cents": edge.inside for side, edge in edges.items() if edge}
    ends |= {f"{side}_outside_cents": edge.outside for side, edge in edges.items() if edge}
    heard = Heard(row.heard).code if row.heard else None
    return {"state": RowState(row.state).code, "heard": heard, "held": row.held, **ends}


def _put(flat: Values, k: int, kept: dict[str, Any]) -> None:
    for name, value in kept.items():
        if name == "reason":
            flat[name][k] = as_letters(value)
        elif value is not None:
            flat[name][k] = value


# --- the store -----------------------------------------------------------------------------------


def run(
    atlas: Atlas,
    path: Path,
    *,
    part: tuple[int, int] = (1, 1),
    cluster: str | None = None,
    processes: int = 1,
    clock: Made = clock_block,
    sung: Made = singer_block,
) -> None:
    """Do all that is still to be done: first the clock on all notes, then the singers.

    Parameters
    ----------
    atlas : Atlas
        What is made.
    path : Path
        The store; made if it is not there.
    part, cluster, processes
        As for `sweep.run.run`.
    clock, sung : callable
        What makes a block, instead of the simulation.

    Raises
    ------
    ReedboreError
        If there is anything wrong with it, the store is another's or cannot be written, or the
        cluster is lost.
    """
    check(atlas)
    prepare(path, atlas)
    if cluster or len(atlas.notes) * len(atlas.depths) < processes:
        processes = 1
    executor = CpuLanes(threads=1) if processes > 1 else CPU
    deal = partial(deal_out, cluster=cluster, processes=processes)
    fill(path, "clock", part, deal, partial(clock, atlas, executor=executor))
    if atlas.voices:
        fill(path, "singer", part, deal, partial(sung, atlas, executor=executor))


def prepare(path: Path, atlas: Atlas) -> None:
    """Make the store of an atlas, or make sure that it is the one that is there.

    Folds may be tried later than the clock.
    """

    def make(place: Path) -> None:
        there = read(path).atlas if path.exists() else atlas
        voices = atlas.voices or there.voices
        _make(place, replace(atlas, voices=voices))

    store.make_or_compare(path, make, partial(_compare, path, atlas))


def _compare(path: Path, atlas: Atlas) -> None:
    there = read(path).atlas
    other = "give -o another name"
    try:
        check_model(there, "atlas")
    except ReedboreError as error:
        raise ReedboreError(f"{path}: {error}; {other}") from error
    difference = differs(there, atlas)
    for name in ("notes", "depths", "voices"):
        known, wanted = getattr(there, name), getattr(atlas, name)
        free = name == "voices" and not (known and wanted)
        if difference is None and not free and known != wanted:
            told = (", ".join(map(str, values)) for values in (known, wanted))
            difference = f"there the {name} are {next(told)}, here {next(told)}"
    if difference:
        raise ReedboreError(f"{path} holds another atlas: {difference}; {other}")


def _make(place: Path, atlas: Atlas) -> None:
    """Make a store in which nothing is known yet."""
    about = {
        "made_by": arrays.ATLAS,
        "version": atlas.version,
        "versions": json.dumps({**versions(), "model": atlas.model}),
        **{name: _plain(getattr(atlas, name)) for name in ("horn", "singer")},
        "breath": atlas.breath or "",
        "settings": list(atlas.settings),
        "a4_hz": atlas.a4,
        "all_ratios": int(atlas.all_ratios),
    }
    group = zarr.create_group(place, zarr_format=3, attributes=about)
    p, q = np.array(RATIOS, np.int8).T
    midi = {"units": "1", "long_name": "fingered note, as it sounds: MIDI number"}
    depth = {"units": "1", "long_name": "peak of the sung over the blowing pressure"}
    store.keep_axis(group, "note", ("note",), np.array(atlas.notes, np.int16), midi)
    store.keep_axis(group, "depth", ("depth",), np.array(atlas.depths), depth)
    for name, values, says in (
        ("ratio", p / q, "sung/fingered"),
        ("ratio_p", p, "its p"),
        ("ratio_q", q, "its q"),
    ):
        store.keep_axis(group, name, ("ratio",), values, {"units": "1", "long_name": says})
    names, shape, size = ("note", "depth"), (len(atlas.notes), len(atlas.depths)), len(RATIOS)
    for name in TABLES["clock"][0]:
        layout = (*names, "ratio"), (*shape, size), (1, 1, size)
        store.make_variable(group, "clock", name, layout)
    if not atlas.voices:
        return
    count = len(atlas.voices)
    which = {"units": "1", "long_name": "whose folds", "names": list(atlas.voices)}
    store.keep_axis(group, "voice", ("voice",), np.arange(count, dtype=np.int8), which)
    for name in TABLES["singer"][0]:
        sung = (*names, "voice", "ratio"), (*shape, count, size), (1, 1, 1, size)
        store.make_variable(group, "singer", name, sung)


def _plain(preset: Horn | Singer) -> str:
    return json.dumps(preset.to_plain(), ensure_ascii=False, allow_nan=False)


# --- read ----------------------------------------------------------------------------------------


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
