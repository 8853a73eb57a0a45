"""What a singer with folds makes of the pairs over one fingered note: tried once, then kept.

In: a request for that note, not yet tuned, and ratios. Out: a `Tried` for each. What is kept in the
user's cache folder goes by all numbers of horn, player and voice, and by the sources that the
answer depends on; to look it up nothing is tuned.
"""

import contextlib
import functools
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.files import cache_folder, files_of, write_whole
from reedbore.model.setup import Setup
from reedbore.simulate.request.take import Request, Words, tune_request
from reedbore.simulate.tuning import SOURCES
from reedbore.verdict import cells
from reedbore.verdict.plan import Ratio, Tried
from reedbore.verdict.questions import Progress
from reedbore.verdict.singer import TYPICAL, SingerRow, singer_rows, singers
from reedbore.verdict.state import Ease, Heard, Reason, RowState

SOFT = 0.05
"""Depth of a soft hum: what falls into step as it is asked for is tried so softly too."""

USABLE = Ease.BY_ITSELF, Ease.WITH_CARE


def kept_pairs(request: Request) -> dict[Ratio, Tried]:
    """Return what is kept of the pairs over a fingered note.

    Parameters
    ----------
    request : Request
        From `read_request`, of horn, player and note; its sung note does not matter.

    Returns
    -------
    dict
        By ratio; empty if nothing is kept of this horn, player, voice and code.
    """
    try:
        found = json.loads(_place(request).read_text(encoding="ascii"))
        return {_ratio(name): _read(row) for name, row in found.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}


def try_pairs(
    request: Request, ratios: Sequence[Ratio], progress: Progress | None = None
) -> dict[Ratio, Tried]:
    """Let a singer try pairs over a fingered note, those that are not kept.

    Parameters
    ----------
    request : Request
        As for `kept_pairs`; its depth is what is asked for.
    ratios : sequence of (p, q)
        What is aimed at.
    progress : callable, optional
        Told the share done.

    Returns
    -------
    dict
        By ratio, all that were asked for and whatever else is kept.

    Raises
    ------
    ModelError
        If the horn has no such note.
    """
    known = kept_pairs(request)
    lacking = [ratio for ratio in ratios if ratio not in known]
    if lacking:
        singer = singers(tune_request(request).setup)[TYPICAL]
        known |= _try(singer, lacking, progress or (lambda _: None))
        _keep(_place(request), known)
    return known


def of_rows(
    rows: Iterable[SingerRow], played_hz: float, depth: float, softer: Iterable[SingerRow] = ()
) -> dict[Ratio, Tried]:
    """Read rows of a singer's table, and those of one or more softer ones.

    Parameters
    ----------
    rows : iterable of SingerRow
        As asked for.
    played_hz : float
        What the horn plays with the voice off. [Hz]
    depth : float
        That was asked for.
    softer : iterable of SingerRow
        Of the same ratios, each with the depth it was sung with.

    Returns
    -------
    dict
        By ratio.
    """
    found = {row.ratio: _tried(row, played_hz, depth) for row in rows}
    for row in softer:
        usable = Ease.of(row.state, row.width) in USABLE
        if usable and row.depth is not None and row.ratio in found:
            known = found[row.ratio]
            least = min(row.depth, known.softest or row.depth)
            found[row.ratio] = replace(known, softest=least)
    return found


def _try(singer: Setup, ratios: Sequence[Ratio], tell: Progress) -> dict[Ratio, Tried]:
    control = cells.controls_of([singer])[0]
    if control.hz is None or (control.period or 1) > 1:
        reason = Reason.MUTE if control.hz is None else "the horn has a subharmonic of its own"
        return {ratio: _mute(reason, singer.voice.depth) for ratio in ratios}
    depth, hz = singer.voice.depth, control.hz
    rows = singer_rows([singer], hz, ratios, lambda share: tell(0.6 * share))[0]
    usable = [row.ratio for row in rows if Ease.of(row.state, row.width) in USABLE]
    softer: list[SingerRow] = []
    if usable and depth > SOFT:
        soft = singer.with_value("voice.depth", SOFT)
        found = singer_rows([soft], hz, usable, lambda share: tell(0.6 + 0.4 * share))[0]
        softer = [row._replace(depth=row.depth or SOFT) for row in found]
    return of_rows(rows, hz, depth, softer)


def _mute(reason: str, depth: float) -> Tried:
    return Tried(
        state=RowState.FREE, reason=reason, played_hz=None, aim_hz=None, width_cents=0.0,
        pulled_cents=None, held=None, heard=None, depth=depth,
    )  # fmt: skip


def _tried(row: SingerRow, played_hz: float, depth: float) -> Tried:
    middle = 0.5 * (row.low.inside + row.high.inside) if row.low and row.high else 0.0
    sung = row.depth or depth
    pulled = row.middle.pulled_cents if row.middle and row.middle.sung_hz > 0.0 else None
    return Tried(
        state=row.state,
        reason=row.reason,
        played_hz=played_hz,
        aim_hz=row.just_hz * 2.0 ** (middle / 1200.0),
        width_cents=row.width,
        pulled_cents=pulled,
        held=row.held,
        heard=Heard(row.heard) if row.heard else None,
        depth=sung,
        softest=sung if Ease.of(row.state, row.width) in USABLE else None,
    )


# --- what is kept --------------------------------------------------------------------------------


@functools.cache
def _sources() -> list[Path]:
    return files_of((*SOURCES, "verdict"))


def _place(request: Request) -> Path:
    """Name the file by all that the answers depend on, before the horn is tuned."""
    setup, (horn, words) = request.setup, request.untuned or (None, Words())
    voice = setup.voice.model_copy(update={"frequency": 220.0})  # pairs have their own
    numbers = setup.model_copy(update={"voice": voice}).to_plain()
    asked = request.typed.fingered_hz, words.fingering, words.breath, list(words.settings)
    key = json.dumps([numbers, horn.to_plain() if horn else None, asked])
    name = hashlib.sha256(key.encode()).hexdigest()[:24]
    return cache_folder(_sources(), "pairs") / name


def _keep(place: Path, known: Mapping[Ratio, Tried]) -> None:
    plain = {f"{p}/{q}": asdict(found) for (p, q), found in known.items()}
    with contextlib.suppress(OSError, ReedboreError):  # a folder that cannot be written
        write_whole(place, json.dumps(plain).encode())


def _ratio(name: str) -> Ratio:
    p, q = map(int, name.split("/"))
    return p, q


def _read(row: dict[str, Any]) -> Tried:
    heard = row["heard"] and Heard(row["heard"])
    return Tried(**{**row, "state": RowState(row["state"]), "heard": heard})
