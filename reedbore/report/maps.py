"""What is written on and around a lock map.

In: a sweep as `maps_data` reads it. Out: short texts; pictures and page say the same.
"""

import math
from collections.abc import Mapping
from textwrap import shorten

import numpy as np

from reedbore.model.setup import depth_name, strength_words
from reedbore.model.units import format_edge
from reedbore.notes import carries_pitch, note_name, split_note, written_name
from reedbore.report.maps_data import Aim, LockMap
from reedbore.report.words import CLOCK, FOLDS, sentence
from reedbore.verdict.state import EdgeState, State
from reedbore.verdict.sweep.plan import SUNG, VOICE, Axis, Sweep, quantity_of

TENTHS_CENTS = 1.0
"""Of a lock narrower than this, whole cents can miss the middle."""

LONGEST_REASON = 90
"""Letters of why a cell failed that have room under a map."""

CARE = sentence(CLOCK)


def does(sweep: Sweep) -> str:
    """Say what the values along the sung axis ask of a voice: folds are pulled off their aim."""
    return "aim at" if sweep.setup.voice.folded else "sing"


def care(sweep: Sweep) -> str:
    """Return the caution under a map: of a clock, or of folds."""
    return sentence(FOLDS) if sweep.setup.voice.folded else CARE


def title(found: LockMap) -> str:
    """Name the horn and the fingered note, as it sounds and as it is written for the horn."""
    sweep = found.sweep
    fork = f" ({sweep.fingering})" if sweep.fingering else ""
    hz, a4, transposition = sweep.fingered
    written = f" (written {written_name(hz, transposition, a4)})" if transposition else ""
    return f"{sweep.title or sweep.horn or 'Horn'}, {note_name(hz, a4)}{written} fingered{fork}"


def subtitle(found: LockMap) -> str:
    """Tell breath, depth and sung note, as far as they are the same everywhere."""
    sweep, setup = found.sweep, found.sweep.setup
    swept = {axis.name for axis in sweep.axes}
    told = []
    if setup.voice.lung is not None and "voice.lung_kpa" not in swept:
        told.append(f"lungs {setup.voice.lung / 1e3:.3g} kPa")
    elif not swept & {"breath.pressure_kpa", "voice.lung_kpa"}:
        told.append(f"breath {setup.breath.pressure / 1e3:.3g} kPa")
    if setup.voice.source == "off":
        told.append("nobody sings")
    else:
        if "voice.depth" not in swept:
            told.append(strength_words(setup.voice))
        if setup.voice.folded:
            told.append("sung by folds that feel the horn")
        if not swept & {SUNG, VOICE}:
            which = "aimed at" if setup.voice.folded else "sung"
            told.append(f"{which} {note_name(setup.voice.frequency, sweep.fingered.a4)}")
    return " · ".join(told)


def resolution(found: LockMap) -> str:
    """Say which locks the map can miss."""
    step = found.sweep.resolved_cents
    if step is None:
        return "The sung note is the same everywhere: the map does not show how wide a lock is."
    unit = "cent" if f"{step:.3g}" == "1" else "cents"
    cells = f"Narrowest band that the cells resolve: {step:.3g} {unit}, their step along the voice."
    if found.edges is None:
        return f"{cells} A narrower lock can fall between them."
    return f"{cells} The lines, searched for beside them: {found.edges.narrowest:.2g} cents."


def unfinished(found: LockMap) -> str:
    """Say how much has not been run, and what failed and why; nothing if all is there."""
    told = []
    left, cells = (
        int(np.sum(found.values["state"] == State.NOT_RUN.code)),
        math.prod(found.sweep.shape),
    )
    told += _failed(found.failures, cells, "cells")
    if found.edges is not None:
        told += _failed(found.edge_failures, found.edges.state.size, "searches for edges")
    if left:
        told.append(f"{left:,} of {cells:,} cells are not run yet.")
    if found.edges is not None and np.any(found.edges.state == EdgeState.NOT_RUN.code):
        share = float(np.mean(found.edges.state == EdgeState.NOT_RUN.code))
        told.append(f"Narrow locks are still to be searched for on {100.0 * share:.0f} % of it.")
    return " ".join(told)


def _failed(failures: Mapping[str, int], whole: int, what: str) -> list[str]:
    """Say how many failed, and most of them why; nothing if none did."""
    if not failures:
        return []
    why, *others = sorted(failures, key=lambda why: -failures[why])
    reasons = "other reasons" if others[1:] else "other reason"
    more = f", or for {len(others)} {reasons}" if others else ""
    why = shorten(why, LONGEST_REASON, placeholder=" …")
    return [f"{sum(failures.values()):,} of {whole:,} {what} failed: {why}{more}."]


def axis_words(sweep: Sweep, axis: Axis) -> str:
    """Label an axis: what it is, in which unit, and the name that it is set by."""
    if axis is sweep.sung_axis:
        which = "aimed" if sweep.setup.voice.folded else "sung"
        return f"{which} note, cents from the tempered one (A4 = {sweep.fingered.a4:g} Hz)"
    unit = "" if axis.unit == "1" else f" [{axis.unit}]"
    place = first_exaggerated(axis)
    beyond = "" if place is None else f"; from {axis.values[place]:g} {depth_name(1.0)}"
    return f"{axis.says}{unit}{beyond}\n{axis.name}"


def value_words(sweep: Sweep, axis: Axis, value: float) -> str:
    """Write a value along an axis for reading: a sung note by name, a setting with its unit."""
    if axis is sweep.sung_axis:
        hz = sweep.sung_hz(value)
        return f"{note_name(hz, sweep.fingered.a4)} ({hz:.2f} Hz)"
    quantity = quantity_of(axis.name)
    assert quantity is not None
    named = f" ({depth_name(value)})" if axis.name == "voice.depth" else ""
    return format_edge(quantity, float(f"{value:.4g}")) + named


def first_exaggerated(axis: Axis) -> int | None:
    """Find the first value of an axis at which the voice is stronger than anybody sings."""
    if axis.name != "voice.depth":
        return None
    strongest = depth_name(1.0)
    return next((k for k, depth in enumerate(axis.values) if depth_name(depth) == strongest), None)


def aim_words(found: LockMap, aim: Aim) -> tuple[str, str, str]:
    """Write ratio, note to sing, and common note of an aim."""
    a4 = found.sweep.fingered.a4
    p, q = aim.ratio
    name, off = split_note(aim.sung_hz, a4)
    narrow = aim.high - aim.low < TENTHS_CENTS
    note = f"{name}{off:+.1f}c" if narrow else note_name(aim.sung_hz, a4)
    return f"{p}/{q}", note, common_words(aim.third_hz, aim.ratio, a4)


def where_words(found: LockMap, aim: Aim) -> str:
    """Say at which values of the other axes a lock is widest."""
    others = ((k, axis) for k, axis in enumerate(found.sweep.axes) if k != found.sung_place)
    told = ", ".join(f"{axis.values[aim.place[k]]:.4g}" for k, axis in others)
    return f"at {told}" if told else ""


def common_words(hz: float, ratio: tuple[int, int], a4: float) -> str:
    """Name the common note; ``none`` if it is one of the two, a question mark if it is very low."""
    if 1 in ratio:
        return "none"
    carries = carries_pitch(hz)
    if carries == "no":
        return f"{hz:.1f} Hz, too low"
    return note_name(hz, a4) + ("?" if carries == "uncertain" else "")
