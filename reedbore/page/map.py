"""The lock map of the page, told cell by cell while it is computed.

In: words, and the two axes of a map. Out: dictionaries fit for JSON, one after the other; whoever
no longer wants them closes the generator. Cells come coarse first, and are judged by the same
questions as those of the command `sweep`.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, NamedTuple

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.model.passage import DYNAMICS
from reedbore.model.setup import Setup
from reedbore.notes import cents, choose_ratio, note_name, simple_ratios, split_note
from reedbore.page.answers import number, shown
from reedbore.report import maps
from reedbore.report.looks import LOOKS
from reedbore.simulate.dynamics import OF_A_DYNAMIC
from reedbore.simulate.request.take import (
    Request,
    Words,
    players,
    read_request,
    tune_request,
    with_demo,
)
from reedbore.verdict.cells import Cell, judge_cells
from reedbore.verdict.state import VERDICTS, State
from reedbore.verdict.sweep import cells as sweep_cells
from reedbore.verdict.sweep.axes import check, read_axis
from reedbore.verdict.sweep.plan import SUNG, VOICE, Axis, Fingered, Sweep, quantity_of

STEPS = 8, 4, 2, 1
"""Every so-manieth cell along both axes is judged first, second, third, last."""

BATCH = 128
"""Cells that are judged at one go: enough for all lanes of two cores, and done in seconds."""

QUICK_S = 3.0
"""A first run of each cell; what it leaves open is watched for longer once all are there. [s]"""

Place = tuple[int, int]  # of a cell, across and up
MOST_CELLS = 2400
COUNTS = 2, 60
DEFAULTS = {"field": "voice.depth", "count": 24}, {"field": SUNG, "count": 25}

AROUND_CENTS = 6.0
"""The sung axis by default ends so far on either side of the just note: locks are narrow."""

NEAR_CENTS = 50.0
"""So near the sung note a ratio is taken to be the one that is meant."""

SIMPLE = 8
DEPTHS = "0.02", "0.3"
SHARES = 0.75, 1.25
"""Any other axis by default goes from and to so many times the value that is set."""

SWEPT = (
    *("reed.", "mouthpiece.", "air.", "bore.", "tract."),
    *("breath.pressure_kpa", "voice.depth", "voice.rd", "voice.frequency_hz"),
)
"""What the page can put along an axis, by how it is called, beside the sung note."""


PLACES = "across", "up"
"""Of the two axes."""


class WrongAxis(ReedboreError):
    """An axis that cannot be; `where` is one of `PLACES`."""

    def __init__(self, text: str, where: str) -> None:
        super().__init__(text)
        self.where = where


@contextmanager
def _at(place: str) -> Iterator[None]:
    """Say at which axis something is wrong, in the words of the page."""
    try:
        yield
    except ReedboreError as error:
        raise WrongAxis(str(error).removeprefix("--along").lstrip(": "), place) from error


class _Asked(NamedTuple):
    """A map that is asked for: words, the setup that they make, and the grid."""

    words: Words
    request: Request
    sweep: Sweep


def cells(words: Words, along: Sequence[Mapping[str, Any]] = ()) -> Iterator[dict[str, Any]]:
    """Compute a lock map, coarse first.

    Parameters
    ----------
    words : Words
        The setup.
    along : sequence of mapping, optional
        Two axes, across and up: ``field``, and if wanted ``start``, ``stop`` and ``count``, each
        as for ``--along``; by default depth, and the sung note near its just one.

    Yields
    ------
    dict
        First the `axes`, how cells of each state look, how many there are, and simple `ratios`
        with their size [cents], simplest first; then one for each cell, `i` across and `j` up.
        Those that could not be decided at once come again at the end.

    Raises
    ------
    ReedboreError
        Before anything is yielded, if words or axes cannot be read.
    """
    asked = _asked(words, along)
    yield _head(asked)
    open_ones: list[Place] = []
    for batch in _batches(*asked.sweep.shape):
        for place, cell in zip(batch, _judged(asked.sweep, batch, QUICK_S), strict=True):
            if cell.state == State.UNDECIDED:
                open_ones.append(place)
            yield _told(asked.sweep, place, cell)
    for start in range(0, len(open_ones), BATCH):
        batch = open_ones[start : start + BATCH]
        for place, cell in zip(batch, _judged(asked.sweep, batch, None), strict=True):
            yield _told(asked.sweep, place, cell)


def _asked(words: Words, along: Sequence[Mapping[str, Any]]) -> _Asked:
    chosen = [dict(axis) for axis in along or DEFAULTS]
    if len(chosen) != 2 or any(not isinstance(axis.get("field"), str) for axis in chosen):
        raise ReedboreError("a map has two axes, each with the name of a field")
    fields = [axis["field"] for axis in chosen]
    for name in fields:
        if name != SUNG and not name.startswith(SWEPT):
            raise ReedboreError(f"{name} cannot stand along an axis of a map")
    if words.sung is None and {SUNG, VOICE} & set(fields):
        words = replace(words, sung="1/1")
    request = read_request(words, still=True)
    horn, _ = players(with_demo(words))
    fingered = Fingered(request.typed.fingered_hz, words.a4, horn.transposition)
    request = tune_request(request)
    axes: tuple[Axis, ...] = ()
    for place, axis in zip(PLACES, chosen, strict=True):
        with _at(place):
            axes = (*axes, _axis(axis, request.setup, fingered))
    sweep = Sweep(setup=request.setup, fingered=fingered, axes=axes, title=horn.title)
    with _at(PLACES[1]):
        check(sweep)
    if math.prod(sweep.shape) > MOST_CELLS:
        raise ReedboreError(
            f"{math.prod(sweep.shape)} cells are too many for the page; at most {MOST_CELLS}"
        )
    return _Asked(words, request, sweep)


def _axis(axis: Mapping[str, Any], setup: Setup, fingered: Fingered) -> Axis:
    field, count = axis["field"], axis.get("count", DEFAULTS[0]["count"])
    low, high = COUNTS
    if not isinstance(count, int) or isinstance(count, bool) or not low <= count <= high:
        raise ReedboreError(f"{field}: {shown(count)} values; allowed {low} to {high}")
    ends = _default_ends(field, setup, fingered)
    given = [_text(field, axis.get("start")), _text(field, axis.get("stop"))]
    start, stop = (one or other for one, other in zip(given, ends, strict=True))
    return read_axis((field, start, stop, str(count)), setup, fingered)


def _text(field: str, end: object) -> str:
    """Write an end of an axis as it would be typed; nothing where none is given."""
    if end is None or isinstance(end, str):
        return (end or "").strip()
    value = number(f"an end of {field}", end)
    return f"{value:+g}c" if field == SUNG else f"{value:g}"


def _default_ends(field: str, setup: Setup, fingered: Fingered) -> tuple[str, str]:
    if field == SUNG:
        ratio = choose_ratio(setup.voice.frequency / fingered.hz, NEAR_CENTS, SIMPLE)
        middle = ratio[0] / ratio[1] if ratio else setup.voice.frequency / fingered.hz
        off = cents(middle, 1.0)
        return f"{off - AROUND_CENTS:+.4f}c", f"{off + AROUND_CENTS:+.4f}c"
    quantity = quantity_of(field)
    if field == "voice.depth" or quantity is None:  # what is no number, `read_axis` refuses
        return DEPTHS
    low, high = quantity.edge_range
    value = setup.value(field)
    if not isinstance(value, int | float) or value == 0.0:
        return f"{low:g}", f"{low + 0.1 * (high - low):g}"
    ends = sorted(min(max(share * value, low), high) for share in SHARES)
    return f"{ends[0]:.4g}", f"{ends[1]:.4g}"


def _head(asked: _Asked) -> dict[str, Any]:
    sweep = asked.sweep
    note = note_name(sweep.fingered.hz, sweep.fingered.a4)
    return {
        "axes": [_axis_told(asked, axis) for axis in sweep.axes],
        "levels": list(STEPS),
        "total": math.prod(sweep.shape),
        "title": f"{sweep.title}, {note} fingered",
        "fingered": note,
        "looks": {state: LOOKS[state]._asdict() for state in (*VERDICTS, State.NOT_RUN)},
        "note": maps.care(sweep),
        "ratios": [
            [f"{p}/{q}", cents(p, q)] for p, q in sorted(simple_ratios(SIMPLE), key=math.prod)
        ],
    }


def _axis_told(asked: _Asked, axis: Axis) -> dict[str, Any]:
    sweep = asked.sweep
    label = maps.axis_words(sweep, axis).partition("\n")[0]
    if axis is sweep.sung_axis:
        label = f"sung note, cents from {_middle(sweep, axis)[0]}"
    return {
        "field": axis.name,
        "label": label,
        "ticks": _ticks(sweep, axis),
        "values": list(axis.values),
        "here": _here(asked, axis),
        "texts": [maps.value_words(sweep, axis, value) for value in axis.values],
        "patches": [_patch(asked, axis, value) for value in axis.values],
    }


def _here(asked: _Asked, axis: Axis) -> int:
    """Find the value nearest to the one that is set."""
    setup, sweep = asked.request.setup, asked.sweep
    now = setup.value(VOICE if axis is sweep.sung_axis else axis.name)
    if axis.name == SUNG:
        now = cents(setup.voice.frequency, sweep.fingered.hz)
    assert isinstance(now, int | float)
    return min(range(len(axis.values)), key=lambda k: abs(axis.values[k] - now))


def _middle(sweep: Sweep, axis: Axis) -> tuple[str, float]:
    """Name the just note inside a sung axis, else its middle; and give its frequency [Hz]."""
    first, last = (sweep.sung_hz(axis.values[k]) for k in (0, -1))
    ratio = choose_ratio(math.sqrt(first * last) / sweep.fingered.hz, NEAR_CENTS, SIMPLE)
    if ratio:
        just = sweep.fingered.hz * ratio[0] / ratio[1]
        if first <= just <= last:
            return f"{ratio[0]}/{ratio[1]} ({note_name(just, sweep.fingered.a4)})", just
    middle = math.sqrt(first * last)
    return note_name(middle, sweep.fingered.a4), middle


def _ticks(sweep: Sweep, axis: Axis) -> list[float]:
    """Numbers to write along an axis: the sung note in cents from its middle."""
    if axis is not sweep.sung_axis:
        return list(axis.values)
    middle = _middle(sweep, axis)[1]
    return [round(cents(sweep.sung_hz(value), middle), 2) for value in axis.values]


def _patch(asked: _Asked, axis: Axis, value: float) -> dict[str, Any]:
    """Say which words set a value, as they would be typed."""
    sweep, words = asked.sweep, asked.words
    if axis is sweep.sung_axis:
        return sung_words(sweep.sung_hz(value), words.a4)
    if axis.name == "voice.depth":
        return {"depth": value, "settings": {axis.name: None}}
    if axis.name == "breath.pressure_kpa":
        held = _held(asked, axis) if words.breath in DYNAMICS else {}
        return {"breath": f"{value:.12g}kPa", "settings": {**held, axis.name: None}}
    patch: dict[str, Any] = {"settings": {axis.name: value}}
    if words.breath in DYNAMICS:  # which would mean another breath and lip on another reed
        patch["breath"] = f"{asked.request.setup.breath.pressure / 1e3:.12g}kPa"
        patch["settings"] = {**_held(asked, axis), axis.name: value}
    return patch


def _held(asked: _Asked, axis: Axis) -> dict[str, Any]:
    """Give all but the breath that a dynamic comes to, less what the axis moves."""
    names = set(OF_A_DYNAMIC) - {axis.name, "breath.pressure_kpa"}
    return {name: asked.request.setup.value(name) for name in names}


def sung_words(hz: float, a4: float) -> dict[str, Any]:
    """Write a sung note [Hz] as the words that set it, to a hundredth of a cent."""
    name, off = split_note(hz, a4)
    return {"sung": f"{name}{off:+.2f}c", "settings": {VOICE: None}}


def _batches(across: int, up: int) -> Iterator[list[Place]]:
    """List the cells in the order in which they are judged."""
    known: set[Place] = set()
    for step in STEPS:
        grid = [(i, j) for j in range(0, up, step) for i in range(0, across, step)]
        fresh = [place for place in grid if place not in known]
        known.update(fresh)
        for start in range(0, len(fresh), BATCH):
            yield fresh[start : start + BATCH]


def _judged(sweep: Sweep, batch: Sequence[Place], seconds: float | None) -> list[Cell]:
    """Judge a batch, within some seconds; values that do not go together make a cell failed."""
    stopping.check()
    setups = []
    for i, j in batch:
        values = [[sweep.axes[0].values[i]], [sweep.axes[1].values[j]]]
        setups += list(sweep_cells.cells(sweep, values))
    whole = [setup for setup in setups if setup is not None]
    found = iter(judge_cells(whole, [sweep.fingered.hz] * len(whole), seconds=seconds))
    return [Cell(State.FAILED) if setup is None else next(found) for setup in setups]


def _told(sweep: Sweep, place: Place, cell: Cell) -> dict[str, Any]:
    third, a4 = float(cell.resultant_hz), sweep.fingered.a4
    return {
        "i": place[0],
        "j": place[1],
        "state": cell.state,
        "ratio": f"{cell.p}/{cell.q}" if cell.q else None,
        "beat": float(cell.drift_hz) if math.isfinite(cell.drift_hz) else None,
        "third": maps.common_words(third, (cell.p, cell.q), a4) if third > 0.0 else None,
        "interval": _interval(sweep, place, cell),
        "jumped": cell.jumped,
    }


def _interval(sweep: Sweep, place: Place, cell: Cell) -> float | None:
    """Measure the sung note from what the horn plays alone: ratios are just there. [cents]."""
    if sweep.setup.voice.source == "off" or cell.period > 1 or not cell.voice_off_hz > 0.0:
        return None
    sung, axis = sweep.setup.voice.frequency, sweep.sung_axis
    if axis is not None:
        sung = sweep.sung_hz(axis.values[place[sweep.axes.index(axis)]])
    return cents(sung, cell.voice_off_hz)
