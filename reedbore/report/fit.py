"""The player of a recording, for the terminal and for JSON.

In: a `Fit` and what was sung over it. Out: text and plain data.
"""

from typing import Any, NamedTuple

from reedbore.model.units import QUANTITIES, format_edge
from reedbore.notes import A4_HZ, note_name
from reedbore.report.words import STATES
from reedbore.verdict import fit as fitting
from reedbore.verdict.fit import Fit
from reedbore.verdict.recording import Found
from reedbore.verdict.recording.modelled import Depth
from reedbore.verdict.result import Verdict

NAMES = {
    "reed.opening_mm": "tip opening",
    "breath.pressure_kpa": "breath",
    "reed.strength": "reed strength",
    "reed.damping": "damping of the lipped reed",
}


class Fitted(NamedTuple):
    """A note of a recording, the player that was found for it, and what the model says of both."""

    note: Found
    fit: Fit
    depth: Depth | None
    modelled: Verdict | None


def document(found: Fitted, a4: float = A4_HZ) -> dict[str, Any]:
    """Return what was found as plain data.

    Parameters
    ----------
    found : Fitted
        The player of a note.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        ``settings`` by name, each with its range; what is left; depth and state, null where they
        cannot be told.
    """
    note, fit, depth, modelled = found
    return {
        "note": note.number,
        "begin_s": note.begin_s,
        "end_s": note.end_s,
        "played_hz": note.played_hz,
        "played_note": note_name(note.played_hz, a4),
        "left_db": fit.rest_db,
        "preset_left_db": fit.preset_db,
        "refused_above_db": fitting.REFUSED_DB,
        "fits": fit.fits,
        "largest_part": fit.left.feature,
        "settings": {
            one.name: {"value": one.value, "low": one.low, "high": one.high, "preset": one.preset}
            for one in fit.settings
        },
        "microphone_db_per_octave": fit.slope,
        "microphone_within_db_per_octave": fit.slope_within,
        "least_sure": {"factors": fit.together, "changes_db": fit.together_db},
        "bands": {
            "hz": fit.hz.tolist(),
            "recorded_db": fit.recorded_db.tolist(),
            "rendered_db": fit.rendered_db.tolist(),
        },
        "depth": depth and depth._asdict(),
        "state_recorded": note.state,
        "state_modelled": modelled and modelled.state,
    }


def refusal(found: Fitted, a4: float = A4_HZ) -> str:
    """Say why a horn cannot be that of the recording."""
    note, fit = found.note, found.fit
    return (
        f"{note_name(note.played_hz, a4)} at {note.begin_s:.2f} s: the nearest that this horn "
        f"comes is {fit.rest_db:.1f} dB away on an average, and {fitting.REFUSED_DB:g} dB "
        f"are allowed; above all, in the recording {fit.left.feature}"
    )


def text(found: Fitted, a4: float = A4_HZ) -> str:
    """Say what was found, a line a setting.

    Parameters
    ----------
    found, a4
        As for `document`.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    note, fit, depth, modelled = found
    seconds = note.end_s - note.begin_s
    cells = [("", "found", "give or take", "preset")]
    for one in fit.settings:
        quantity = QUANTITIES[one.name]
        cells.append(
            (
                NAMES[one.name],
                format_edge(quantity, round(one.value, 2)),
                f"{one.low:.2g} to {one.high:.2g}",
                format_edge(quantity, round(one.preset, 2)),
            )
        )
    widths = [max(len(line[column]) for line in cells) for column in range(4)]
    said = [
        f"{note_name(note.played_hz, a4)}, {seconds:.1f} s from {note.begin_s:.2f} s on: "
        f"{fit.rest_db:.1f} dB from the recording on an average over {fit.hz.size} bands; the "
        f"preset {fit.preset_db:.1f} dB.",
        "",
        *(
            "  "
            + "  ".join(
                cell.ljust(width) for cell, width in zip(line, widths, strict=True)
            ).rstrip()
            for line in cells
        ),
        "",
        _least_sure(fit),
        f"Microphone and room make it {abs(fit.slope):.1f} dB an octave "
        f"{'brighter' if fit.slope > 0.0 else 'darker'}, give or take {fit.slope_within:.1f}.",
        f"The largest part of what is left: {fit.left.feature}.",
    ]
    if depth is not None:
        said.append(
            f"Sung at depth {depth.value:.2g}, give or take {depth.low:.2g} to {depth.high:.2g}."
        )
    if modelled is not None:
        said.append(
            f"These two notes in the model, by a voice like a clock: "
            f"{STATES[modelled.state].short}; recorded: {STATES[note.state].short}."
        )
    return "\n".join(said)


def _least_sure(fit: Fit) -> str:
    """Say which settings only go together."""
    moved = [
        f"{NAMES[name]} {abs(100.0 * (factor - 1.0)):.0f} % {'more' if factor > 1.0 else 'less'}"
        for name, factor in sorted(fit.together.items(), key=lambda one: -abs(one[1] - 1.0))
        if abs(factor - 1.0) >= 0.05
    ]
    if not moved:
        return "Each setting is told by itself."
    return (
        f"Least sure together: {', '.join(moved)} would change the sound by {fit.together_db:.1f} "
        "dB only."
    )
