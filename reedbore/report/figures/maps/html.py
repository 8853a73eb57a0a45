"""The lock map as one page of HTML that needs no network, no server and no other file.

In: a sweep. Out: text of less than `MOST_BYTES`. Markup stands in ``lock_map.html`` beside this
module; script and style are those of the page in the browser. Here the numbers are packed. Of a
sweep with too many cells for that the page shows the map as a picture, and where to aim.
"""

import base64
import html
import json
import math
import re
import zlib
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.model.setup import depth_name
from reedbore.notes import NO_PITCH_HZ, PITCH_HZ
from reedbore.report import maps, maps_data
from reedbore.report.figures.maps import panel
from reedbore.report.figures.maps.bundle import bundle, page_file
from reedbore.report.figures.maps.panel import axis_ticks
from reedbore.report.looks import LOOKS, looks
from reedbore.report.maps_data import LockMap, Slice
from reedbore.verdict.sweep.plan import Axis

MOST_BYTES = 1_000_000
MISSING = -(2**31)
"""Stands for a number that has no meaning there."""

SCRIPT = "panels/map/sweep/sweep.js"
STYLES = "core/style.css", "panels/map/map.css", "panels/map/sweep/sweep.css"

MOST_CELLS = 250_000
"""More are not even tried: a packed cell takes some bytes."""

PLAYED_GRAIN, DRIFT_GRAIN = 0.01, 1e-4
"""To how much the played pitch [cents] and the beat [Hz] are kept."""


def page(found: LockMap) -> str | None:
    """Write the page of a sweep, in which every cell can be asked.

    Parameters
    ----------
    found : LockMap
        The sweep.

    Returns
    -------
    str or None
        HTML; None if it has so many cells that the page would be larger than `MOST_BYTES`.
    """
    if math.prod(found.sweep.shape) > MOST_CELLS:
        return None
    template = resources.files(__package__).joinpath("lock_map.html").read_text("utf-8")
    data = json.dumps(_data(found), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    parts = {
        "title": html.escape(maps.title(found)),
        "style": "".join(page_file(name) for name in STYLES),
        "script": bundle(SCRIPT),
        "data": data.replace("<", "\\u003c"),  # it could end the script that it stands in
    }
    text = re.sub(r"\{\{(\w+)\}\}", lambda slot: parts[slot[1]], template)
    return text if len(text.encode()) < MOST_BYTES else None


def picture_page(found: LockMap, png: bytes) -> str:
    """Write a page that shows the map as a picture, and below it where to aim.

    Parameters
    ----------
    found : LockMap
        The sweep.
    png : bytes
        The map, drawn.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    ReedboreError
        If the page would be larger than `MOST_BYTES`.
    """
    rows = [maps.aim_words(found, aim) for aim in maps_data.aims(found)]
    body = "".join(
        f"<tr>{''.join(f'<td>{html.escape(word)}</td>' for word in row)}</tr>" for row in rows
    )
    cells = f"{math.prod(found.sweep.shape):,}"
    text = PICTURE_PAGE.format(
        title=html.escape(maps.title(found)),
        says=html.escape(maps.subtitle(found)),
        image=base64.b64encode(png).decode(),
        does=maps.does(found.sweep),
        cells=cells,
        file=html.escape(found.name),
        at=html.escape(" ".join(f"--at {axis.name}=…" for axis in found.sweep.axes)),
        rows=body,
    )
    if len(text.encode()) >= MOST_BYTES:
        raise ReedboreError(
            f"{found.name} has {cells} cells, too many for a page under "
            f"{MOST_BYTES // 1_000_000} MB; write .png, .svg or .pdf, or sweep fewer values"
        )
    return text


PICTURE_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title>
<meta name="viewport" content="width=device-width"><style>
body {{ font: 1rem/1.5 system-ui, sans-serif; color: #26251f; background: #fbf9f4; margin: 1rem; }}
img {{ max-width: 100%; }} table {{ border-collapse: collapse; margin: .5rem 0 1rem; }}
th, td {{ text-align: left; padding: .15rem .8rem .15rem 0; border-bottom: 1px solid #d8d4c8; }}
</style></head><body><h1>{title}</h1><p>{says}</p>
<img alt="Lock map of {title}" src="data:image/png;base64,{image}">
<p>These are {cells} cells, too many to be asked one by one here; one is heard by
<code>reedbore render --from {file} {at}</code>.</p>
<table><thead><tr><th>ratio</th><th>{does}</th><th>common note</th></tr></thead>
<tbody>{rows}</tbody></table>
</body></html>
"""


def _data(found: LockMap) -> dict[str, Any]:
    sweep = found.sweep
    places = maps_data.roles(sweep)
    axes = {
        role: None if place is None else _axis(found, sweep.axes[place])
        for role, place in zip("xyz", places, strict=True)
    }
    says = [maps.unfinished(found), maps.resolution(found), maps.care(found.sweep)]
    shown = looks(folded=sweep.setup.voice.folded)
    return {
        "title": maps.title(found),
        "subtitle": maps.subtitle(found),
        "says": [words for words in says if words],
        "file": found.name,
        "fingered": sweep.fingered.hz,
        "a4": sweep.fingered.a4,
        "pitch": [PITCH_HZ, NO_PITCH_HZ],
        "does": maps.does(sweep),
        "order": [axis.name for axis in sweep.axes],
        "axes": axes,
        "looks": [{"state": state, **look._asdict()} for state, look in shown.items()],
        **_cells(found),
        "sung": None if sweep.sung_axis else _constant_voice(found),
        "edges": _edges(found),
        "aims": _aims(found),
        "labels": _labels(found),
    }


def _axis(found: LockMap, axis: Axis) -> dict[str, Any]:
    sweep = found.sweep
    places = maps_data.axis_values(sweep, axis)
    return {
        "name": axis.name,
        "label": maps.axis_words(sweep, axis).split("\n")[0],
        "says": axis.says,
        "unit": "" if axis.unit == "1" else axis.unit,
        "sung": axis is sweep.sung_axis,
        "cents": axis.unit == "cents",
        "named": [depth_name(depth) for depth in axis.values] * (axis.name == "voice.depth"),
        "values": list(axis.values),
        "places": _short(places, 9),
        "rims": _short(maps_data.borders(places), 9),
        "ticks": axis_ticks(sweep, axis, 12),
    }


def _short(numbers: NDArray[np.float64], digits: int) -> list[float | None]:
    """Write numbers with so many digits; null for none."""
    return [
        float(f"{value:.{digits}g}") if math.isfinite(value) else None for value in numbers.tolist()
    ]


def _constant_voice(found: LockMap) -> float | None:
    voice = found.sweep.setup.voice
    return None if voice.source == "off" else voice.frequency


# --- cells ---------------------------------------------------------------------------------------


def _cells(found: LockMap) -> dict[str, Any]:
    """Pack what is shown of each cell, the axis across running fastest."""
    values = found.values
    order = list(LOOKS)
    states = np.vectorize(order.index, otypes=[np.uint8])(found.state_names())
    pairs = np.stack((values["p"], values["q"]), axis=-1).reshape(-1, 2)
    ratios, index = np.unique(pairs, axis=0, return_inverse=True)
    return {
        "state": _packed(found, states),
        "ratio": _packed(found, index.reshape(states.shape).astype(np.uint8)),
        "played": _packed(found, _grains(values["played_cents"], PLAYED_GRAIN)),
        "drift": _packed(found, _grains(values["drift_hz"], DRIFT_GRAIN)),
        "jumped": _packed(found, values["jumped"].astype(np.uint8)),
        "ratios": ratios.tolist(),
        "grain": {"played": PLAYED_GRAIN, "drift": DRIFT_GRAIN, "missing": MISSING},
    }


def _grains(values: NDArray[np.float64], grain: float) -> NDArray[np.int32]:
    whole = np.rint(np.nan_to_num(values / grain, nan=MISSING, posinf=MISSING, neginf=MISSING))
    return np.clip(whole, MISSING, 2**31 - 1).astype("<i4")


def _packed(found: LockMap, values: NDArray[Any]) -> str:
    order = [place for place in reversed(maps_data.roles(found.sweep)) if place is not None]
    data = np.ascontiguousarray(np.transpose(values, order)).tobytes()
    return base64.b64encode(zlib.compress(data, 9)).decode()


# --- lines and labels ----------------------------------------------------------------------------


def _edges(found: LockMap) -> list[dict[str, Any]]:
    """List the ends of locks by ratio, the axis across running fastest."""
    if found.edges is None:
        return []
    across, _, apart = maps_data.roles(found.sweep)
    listed = []
    for k, (p, q) in enumerate(found.edges.ratios):
        if not np.any(np.isfinite([found.edges.low[..., k], found.edges.perhaps[..., k]])):
            continue
        sides = {}
        for side in ("low", "high", "perhaps"):
            array = getattr(found.edges, side)[..., k]
            turned = array.T if apart is not None and across < apart else array
            sides[side] = _short(np.ravel(turned), 7)
        listed.append({"ratio": f"{p}/{q}", **sides})
    return listed


def _aims(found: LockMap, held: Slice = None) -> list[dict[str, Any]]:
    listed = []
    for aim in maps_data.aims(found, held):
        ratio, note, third = maps.aim_words(found, aim)
        listed.append(
            {
                "ratio": ratio, "note": note, "third": third, "middle": round(aim.middle, 3),
                "hz": round(aim.sung_hz, 3), "width": round(aim.high - aim.low, 3),
                "exact": aim.exact, "at": _turned(found, aim.place),
            }
        )  # fmt: skip
    return listed


def _turned(found: LockMap, place: tuple[int, ...]) -> list[int]:
    """Order the place of a cell as across, up, apart."""
    return [0 if role is None else place[role] for role in maps_data.roles(found.sweep)]


def _labels(found: LockMap) -> list[dict[str, Any]]:
    """Place the ratios on each map: where the lock is widest, or in the middle of a region."""
    across, up, apart = maps_data.roles(found.sweep)
    steps = range(1 if apart is None else found.sweep.shape[apart])
    slices = [(step, None if apart is None else (apart, step)) for step in steps]
    if found.sung_place is not None:
        kept = ("ratio", "at", "middle", "width")
        return [{key: aim[key] for key in kept} for _, held in slices for aim in _aims(found, held)]
    if up is None:
        return []
    return [
        {"ratio": f"{ratio[0]}/{ratio[1]}", "at": [column, row, step]}
        for step, held in slices
        for ratio, row, column in panel.regions(found, (across, up), held)
    ]
