"""What a sweep is: a setup, and one to three of its numbers that take many values.

In: a setup and its axes. Out: the setup of every cell of the grid they span, and what is kept of
it. An axis is any number of a setup under the name and in the unit that users write, or `SUNG`:
the sung note, in cents from the fingered one.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from reedbore import __version__
from reedbore.errors import ReedboreError
from reedbore.model.setup import Setup
from reedbore.model.sidecar import model_hash
from reedbore.model.units import QUANTITIES, Quantity
from reedbore.notes import A4_HZ, cents
from reedbore.verdict.state import Coded, EdgeState, Heard, KeptState, State

SUNG = "sung"
"""Name of the axis along which the sung note moves; its unit is the cent."""

VOICE = "voice.frequency_hz"
"""The setting that holds the sung note."""

DIGITS = 12
"""Significant digits of a value along an axis: as many as can be typed again exactly."""


REASON_BYTES = 160
"""Of a reason no more is kept."""


class Variable(NamedTuple):
    """What is kept of each cell: its type, its value before, its unit, one sentence."""

    dtype: str
    fill: float
    units: str
    says: str
    letters: int = 0
    """How many of them each cell has along a last dimension of this name, as text has; 0: one."""


# The state comes last: a block whose states are there is whole.
VARIABLES = {
    "p": Variable("i1", 0, "1", "first number of the ratio p/q, sung/fingered; 0 for none"),
    "q": Variable("i1", 0, "1", "second number of the ratio p/q; 0 for none"),
    "sung_hz": Variable("f8", math.nan, "Hz", "sung pitch"),
    "played_hz": Variable("f8", math.nan, "Hz", "fundamental that the reed oscillates at"),
    "played_cents": Variable("f8", math.nan, "cents", "played pitch from the fingered note"),
    "jumped": Variable("?", False, "1", "the horn left its register"),
    "resultant_hz": Variable("f8", math.nan, "Hz", "common fundamental of the two notes"),
    "drift_hz": Variable("f8", math.nan, "Hz", "the beat p f_played - q f_sung"),
    "period": Variable("i2", 0, "1", "periods after which the horn alone repeats; 0 unknown"),
    "voice_off_hz": Variable("f8", math.nan, "Hz", "played pitch without the voice"),
    "breath_kpa": Variable("f8", math.nan, "kPa", "mean pressure in the mouth"),
    "lungs_kpa": Variable("f8", math.nan, "kPa", "pressure in the lungs of who sings with folds"),
    "reason": Variable(
        "u1", 0, "1", "why the state is what it is: UTF-8, filled up with zeros", REASON_BYTES
    ),
    "state": Variable("i1", State.NOT_RUN.code, "1", "what became of the two notes"),
}

LATER = "breath_kpa", "lungs_kpa", "reason"
"""Of these, what old stores do not keep."""

EDGES = {
    "edge_just_hz": Variable("f8", math.nan, "Hz", "p/q times the played pitch without the voice"),
    "edge_low_cents": Variable(
        "f8", math.nan, "cents", "lowest sung note known to lock, from edge_just_hz"
    ),
    "edge_high_cents": Variable(
        "f8", math.nan, "cents", "highest sung note known to lock, from edge_just_hz"
    ),
    "edge_low_outside_cents": Variable(
        "f8", math.nan, "cents", "highest sung note below the lock known not to lock"
    ),
    "edge_high_outside_cents": Variable(
        "f8", math.nan, "cents", "lowest sung note above the lock known not to lock"
    ),
    "edge_reason": Variable(
        "u1", 0, "1", "why there is no range: UTF-8, filled up with zeros", REASON_BYTES
    ),
    "edge_state": Variable(
        "i1", EdgeState.NOT_RUN.code, "1", "whether there is a lock at this ratio"
    ),
}

_RANGE = {
    "low_cents": "lowest note known to lock, from p/q times the voice-off pitch",
    "low_outside_cents": "highest note below the lock known not to lock",
    "high_cents": "highest note known to lock, from p/q times the voice-off pitch",
    "high_outside_cents": "lowest note above the lock known not to lock",
}
_HEARD = ", ".join(f"{heard.code} {heard}" for heard in Heard)


def _rows(who: str, more: dict[str, Variable]) -> dict[str, Variable]:
    """Make the table of an atlas in which the rows of lock tables are kept, ratio by ratio."""
    rows = {
        "voice_off_hz": Variable("f8", math.nan, "Hz", "played pitch without the voice"),
        **{name: Variable("f8", math.nan, "cents", says) for name, says in _RANGE.items()},
        "held": Variable("f8", math.nan, "1", "share of the time that a human voice stays in step"),
        "heard": Variable("i1", 0, "1", f"whether a third note is heard: 0 not told, {_HEARD}"),
        **more,
        "reason": Variable("u1", 0, "1", VARIABLES["reason"].says, REASON_BYTES),
        "state": Variable("i1", KeptState.NOT_RUN.code, "1", "what became of the ratio"),
    }
    return {f"{who}_{name}": kept for name, kept in rows.items()}


CLOCK = _rows(
    "clock",
    {
        "sung_hz": Variable("f8", math.nan, "Hz", "where to sing: middle of the lock, or just"),
        "resultant_hz": Variable("f8", math.nan, "Hz", "common fundamental of the two notes"),
        "level_db": Variable("f8", math.nan, "dB", "partials of the third note alone"),
        "nearest_low_cents": Variable("f8", math.nan, "cents", "nearest below without a lock"),
        "nearest_high_cents": Variable("f8", math.nan, "cents", "nearest above without a lock"),
        "lock_s": Variable("f8", math.nan, "s", "time that the lock takes"),
    },
)
"""Rows of a voice like a clock."""

SINGER = _rows(
    "singer",
    {
        "just_hz": Variable("f8", math.nan, "Hz", "p/q times the voice-off pitch"),
        "sung_hz": Variable("f8", math.nan, "Hz", "sung by who aims at the middle of the range"),
        "played_hz": Variable("f8", math.nan, "Hz", "played pitch there"),
        "pulled_cents": Variable("f8", math.nan, "cents", "what is sung there, from the aim"),
        "lungs_pa": Variable("f8", math.nan, "Pa", "pressure in the lungs there"),
        "depth": Variable("f8", math.nan, "1", "with which it was sung, if not as asked for"),
    },
)
"""Rows of a singer whose folds feel the horn."""

REASONS = {"cells": "reason", "edges": "edge_reason"}
"""Variable of a table that says why; old stores do not keep it."""

MARKS = {
    "cells": "state",
    "edges": "edge_state",
    "clock": "clock_state",
    "singer": "singer_state",
}
"""Variable of each table that is written last."""

TABLES: dict[str, tuple[dict[str, Variable], type[Coded]]] = {
    "cells": (VARIABLES, State),
    "edges": (EDGES, EdgeState),
    "clock": (CLOCK, KeptState),
    "singer": (SINGER, KeptState),
}
"""What is kept of each table, and what the codes of its last variable mean."""


class EdgePlan(NamedTuple):
    """Ratios whose edges are kept, and the narrowest lock that can be told. [cents]."""

    ratios: tuple[tuple[int, int], ...]
    narrowest: float


class Fingered(NamedTuple):
    """The fingered note, from which sung ones are read: its frequency, and how notes are named."""

    hz: float
    a4: float = A4_HZ
    transposition: int | None = None


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One quantity and the values that it takes.

    Attributes
    ----------
    name : str
        Of the setting, or `SUNG`.
    values : tuple of float
        Rising, in the unit that users write, or in cents from the fingered note.
    """

    name: str
    values: tuple[float, ...]

    @property
    def unit(self) -> str:
        """The unit of the values; "1" for plain numbers."""
        quantity = quantity_of(self.name)
        return (quantity.edge or "1") if quantity else "cents"

    @property
    def says(self) -> str:
        """What the values measure, in one sentence without the full stop."""
        quantity = quantity_of(self.name)
        return quantity.says if quantity else "sung note, from the fingered one"

    def text(self, value: float) -> str:
        """Write a value as it can be typed."""
        return f"{value:.{DIGITS}g}" if quantity_of(self.name) else f"{value:+.{DIGITS}g}c"


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """One thing that can be swept.

    Attributes
    ----------
    setup : Setup
        What all cells have in common; the bore plays the fingered note.
    fingered : Fingered
        The fingered note.
    axes : tuple of Axis
        One to three.
    seconds : float or None
        How long each cell is run; None for as long as the decision takes. [s]
    horn, title, fingering : str
        Name and title of the horn, and which of its fingerings: what pictures and files are
        called; no cell depends on it.
    version : str
        Of reedbore.
    model : str or None
        `sidecar.model_hash` of what judges the cells; None if an old store does not say.
    """

    setup: Setup
    fingered: Fingered
    axes: tuple[Axis, ...]
    seconds: float | None = None
    horn: str = ""
    title: str = ""
    fingering: str = ""
    version: str = __version__
    model: str | None = field(default_factory=model_hash)

    @property
    def shape(self) -> tuple[int, ...]:
        """How many values each axis has."""
        return tuple(len(axis.values) for axis in self.axes)

    @property
    def sung_axis(self) -> Axis | None:
        """The axis along which the sung note moves, if one does."""
        return next((axis for axis in self.axes if axis.name in {SUNG, VOICE}), None)

    @property
    def resolved_cents(self) -> float | None:
        """The widest step between sung notes [cents]: a narrower band can fall between cells."""
        if self.sung_axis is None:
            return None
        sung = [self.sung_hz(value) for value in self.sung_axis.values]
        return max(cents(high, low) for low, high in itertools.pairwise(sung))

    def sung_hz(self, value: float) -> float:
        """Turn a value along the sung axis into the frequency [Hz] that is sung."""
        given_in_cents = self.sung_axis is not None and self.sung_axis.name == SUNG
        return self.fingered.hz * 2.0 ** (value / 1200.0) if given_in_cents else value

    def cell(self, values: Sequence[float | None]) -> Setup:
        """Make the setup of one cell.

        Parameters
        ----------
        values : sequence of float or None
            One for each axis; None leaves the setup as it is.

        Returns
        -------
        Setup
            What is rendered there.

        Raises
        ------
        ModelError
            If the values do not go together.
        """
        setup = self.setup
        for axis, value in zip(self.axes, values, strict=True):
            if value is not None and axis.name == SUNG:
                setup = setup.with_value(VOICE, self.sung_hz(value))
            elif value is not None:
                setup = setup.with_value(axis.name, value)
        return setup


def rounded(value: float) -> float:
    """Round a value along an axis to what can be typed again."""
    return float(f"{value:.{DIGITS}g}")


def quantity_of(name: str) -> Quantity | None:
    """Find the declaration of a setting such as ``bore.holes.3.open``; None if it is no number."""
    return QUANTITIES.get(".".join(part for part in name.split(".") if not part.isdigit()))


class Begun(Protocol):
    """What goes on only with the model that began it."""

    @property
    def version(self) -> str:
        """Of reedbore."""

    @property
    def model(self) -> str | None:
        """As `sidecar.model_hash`."""


def check_model(sweep: Begun, what: str = "sweep") -> None:
    """Refuse to go on with a sweep that another reedbore, or another state of it, began.

    Parameters
    ----------
    sweep : Sweep or Atlas
        What is made.
    what : str
        What it is called.

    Raises
    ------
    ReedboreError
        If its cells and new ones would come from two models.
    """
    if sweep.version != __version__:
        begun = f"was begun with reedbore {sweep.version}, here is {__version__}"
    elif sweep.model is None:
        begun = "does not say which state of the model began it"
    elif sweep.model != model_hash():
        begun = "was begun with another state of the model"
    else:
        return
    raise ReedboreError(f"the {what} {begun}: old cells and new ones cannot be mixed")
