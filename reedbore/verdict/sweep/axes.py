"""The axes of a sweep as users type them, and what can be wrong with a sweep.

In: the words that follow ``--along``, and the setup that is swept. Out: axes whose values are in
range, or one sentence. Nothing is run here.
"""

import itertools
from collections.abc import Sequence

import numpy as np

from reedbore.errors import ModelError, NoteError, ReedboreError
from reedbore.model.setup import Setup
from reedbore.model.units import QUANTITIES, complaint
from reedbore.model.voice import COMPUTED
from reedbore.notes import cents, parse_sung
from reedbore.simulate.acoustics.numbers import check_reed
from reedbore.simulate.request.take import FOR_A_CLOCK
from reedbore.verdict.sweep.plan import SUNG, VOICE, Axis, Fingered, Sweep, quantity_of, rounded

MOST_AXES = 3
COUNTS = (2, 100_000)
BREATH, LUNGS = "breath.pressure_kpa", "voice.lung_kpa"
OF_FOLDS = LUNGS, "voice.gap_mm", "voice.fold_mass_kg_per_m2", "voice.fold_length_mm"
"""Settings that only folds listen to."""

SECONDS_RANGE = (0.5, 600.0)


def read_axis(
    words: Sequence[str], setup: Setup, fingered: Fingered, *, logarithmic: bool = False
) -> Axis:
    """Read what follows ``--along``.

    Parameters
    ----------
    words : sequence of str
        Name, first and last value, and how many there are: ``reed.opening_mm 0.6 1.4 41``, or
        ``sung`` with two notes as `read_sung` takes them.
    setup : Setup
        What is swept.
    fingered : Fingered
        The fingered note.
    logarithmic : bool
        Whether each value is the same number of times the one before.

    Returns
    -------
    Axis
        Its values are in range, each by itself.

    Raises
    ------
    ReedboreError
        If a word cannot be read or a value is not allowed.
    """
    name, *ends, count = words
    if name == SUNG:
        low, high = (_checked_sung(text, fingered) for text in ends)
    else:
        low, high = _read_ends(name, ends, setup)
    if not low < high:
        raise ReedboreError(f"--along {name} goes from {ends[0]} to {ends[1]}; it must rise")
    if logarithmic and name == SUNG:
        raise ReedboreError("--log sung: cents are logarithmic already; leave it out")
    if logarithmic and low <= 0.0:
        raise ReedboreError(f"--log {name}: the first value is {low:g}; it must be above 0")
    number = _read_count(name, count)
    space = np.geomspace if logarithmic else np.linspace
    values = tuple(rounded(value) for value in (low, *space(low, high, number)[1:-1], high))
    if any(not one < two for one, two in itertools.pairwise(values)):
        raise ReedboreError(f"--along {name}: {number} values lie closer than can be written")
    return Axis(name=name, values=values)


def read_sung(text: str, fingered: Fingered) -> float:
    """Read a sung note.

    Parameters
    ----------
    text : str
        As for ``--sung``: ``+7st``, ``-702c``, ``5/2``, ``5/2-10c``, ``D4`` or ``220Hz``.
    fingered : Fingered
        The fingered note.

    Returns
    -------
    float
        How far it lies above the fingered note. [cents]

    Raises
    ------
    NoteError
        If it cannot be read.
    """
    sung = parse_sung(text, fingered.hz, fingered.a4, transposition=fingered.transposition)
    return rounded(cents(sung, fingered.hz))


def _checked_sung(text: str, fingered: Fingered) -> float:
    try:
        value = read_sung(text, fingered)
    except NoteError as error:
        raise NoteError(f"--along {SUNG}: {error}") from error
    wrong = complaint(QUANTITIES[VOICE], rounded(fingered.hz * 2.0 ** (value / 1200.0)))
    if wrong:
        raise NoteError(f"--along {SUNG}: {text} {wrong}")
    return value


def _read_ends(name: str, ends: Sequence[str], setup: Setup) -> list[float]:
    """Read first and last value of a setting and check that it takes them."""
    try:
        setup.value(name)
    except ModelError as error:
        raise ModelError(f"--along {error}") from error
    quantity = quantity_of(name)
    if quantity is None:
        raise ModelError(f"--along {name} is {setup.value(name)!r}; only numbers can be swept")
    values = []
    for text in ends:
        try:
            value = float(text)
        except ValueError:
            unit = f", in {quantity.edge}" if quantity.edge else ""
            raise ModelError(f"--along {name}: {text!r} is no number{unit}") from None
        if wrong := complaint(quantity, value):
            raise ModelError(f"--along {name} {wrong}")
        values.append(value)
    return values


def _read_count(name: str, text: str) -> int:
    low, high = COUNTS
    if not text.isdecimal() or not low <= int(text) <= high:
        raise ReedboreError(
            f"--along {name}: COUNT is {text!r}; allowed {low} to {high} (how many values)"
        )
    return int(text)


def check(sweep: Sweep, *, edges: bool = False) -> None:
    """Find out before anything is run what is wrong with a sweep.

    Parameters
    ----------
    sweep : Sweep
        What was asked for.
    edges : bool
        Whether the edges of its locks are wanted.

    Raises
    ------
    ReedboreError
        If it has too many axes or one twice, sweeps a voice that does not sing or cannot be
        moved, wants edges though the sung note stays, or if the values at a corner of its grid do
        not go together or make the voice uneven.
    """
    names = [axis.name for axis in sweep.axes]
    if not 1 <= len(names) <= MOST_AXES:
        raise ReedboreError(f"--along is given {len(names)} times; allowed 1 to {MOST_AXES}")
    twice = [name for name in names if names.count(name) > 1]
    if twice or {SUNG, VOICE} <= set(names):
        raise ReedboreError(f"--along {twice[0] if twice else VOICE}: it is swept twice")
    if edges and sweep.sung_axis is None:
        raise ReedboreError("--edges finds where locks end along the sung note; add --along sung")
    source = sweep.setup.voice.source
    if source == "recording":
        raise ReedboreError("a recorded voice cannot be swept; give --sung a note")
    voiced = [name for name in names if name == SUNG or name.startswith("voice.")]
    if source == "off" and voiced:
        raise ReedboreError(f"--along {voiced[0]}: nobody sings; give --sung a note")
    _check_drive(sweep, names)
    if sweep.setup.voice.flows and "voice.depth" in voiced:
        raise ReedboreError(f"--along voice.depth: {COMPUTED}; sweep voice.flow_ml_per_s")
    if sweep.seconds is not None and not SECONDS_RANGE[0] <= sweep.seconds <= SECONDS_RANGE[1]:
        low, high = SECONDS_RANGE
        raise ReedboreError(
            f"--seconds is {sweep.seconds:g} s; allowed {low:g} to {high:g} s (run of each cell)"
        )
    for corner in itertools.product(*((axis.values[0], axis.values[-1]) for axis in sweep.axes)):
        try:
            cell = sweep.cell(corner)
            _check_voice(cell)
            check_reed(cell)
        except ModelError as error:
            raise ModelError(f"--along: at a corner of the grid {error}") from error


def _check_drive(sweep: Sweep, names: Sequence[str]) -> None:
    """Refuse axes that the kind of voice does not listen to."""
    voice = sweep.setup.voice
    for name in names:
        if voice.drive == "folds" and name in FOR_A_CLOCK:
            raise ReedboreError(
                f"--along {name}: with voice.drive=folds it says nothing; folds make their own "
                "pulse and flow"
            )
        if voice.drive != "folds" and name in OF_FOLDS:
            raise ReedboreError(
                f"--along {name}: a clock has no folds; add --set voice.drive=folds"
            )
    if BREATH in names and (voice.lung is not None or LUNGS in names):
        raise ReedboreError(f"--along {BREATH}: with {LUNGS} the breath follows; leave one out")


def _check_voice(setup: Setup) -> None:
    """Refuse a voice that no cell can be judged with."""
    if setup.voice.ear == "on":
        raise ModelError("voice.ear is on; a map is told for muscles that hold still, with off")
    for name in setup.voice.uneven:
        steady = 1 if name == "voice.false_folds" else 0
        raise ModelError(
            f"{name} is {setup.value(name):g}; a map needs a voice like a clock, with {steady}"
        )
