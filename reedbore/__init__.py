"""Reedbore: a wind player sings into a reed horn; what becomes of the two notes.

The rooms, lowest first; data flows from what is asked for, at the top, to what is shown::

    errors       the exceptions that tell users what to put right
    remembered   results that are kept, and handed over to other processes
    stopping     a polite end for long work that nobody wants any more
    notes        note names, cents, ratios: pure arithmetic
    files        whole files, written beside and renamed; the cache folder
    pairs        what arithmetic says about a fingered and a sung note
    sound        sound files, levels, loudspeaker
    physics/     air, tube, tone holes, radiation, reed, glottis, tract: published formulas
    measures/    samples to numbers: pitch, spectrum, drift, locking, roughness, hearing, segments
    model/       what can be asked for, frozen and checked: units, horn, player, voice, passage;
                 and its files: presets in TOML, sidecars, MIDI (midi/), scores (musicxml/)
    kernel/      the time step, compiled: numbers in, samples out; knows no model
    simulate/    from what is asked for to what sounds: tuning, breath, singing, mouth; a take, a
                 passage (performance), many at once (batch); what is heard outside, and the
                 pressure along the bore;
                 acoustics/ the exact bore and airway, and the fits that the time step runs on;
                 request/ what a player types, to a tuned setup or passage
    verdict/     what became of the notes: of a take, of the notes of a passage, of cells; the lock
                 table; what a human voice makes of a lock; sweep/ maps and their store; atlas/
                 what a whole horn does with a voice; recording/ what a recording tells
    report/      how it is told: words, tables, data; in Jupyter (notebook); figures/ pictures,
                 still and moving (film/), maps (maps/), and sheets for the stand (sheet)
    page/        the page in the browser: words in, answers out; its lesson/; static/ is what the
                 browser runs
    cli/         the commands, one a file; work/ does what is slow to import

The names below are the public ones; everything else is reached by its module.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Horn": "model.setup",
    "ReedboreError": "errors",
    "Setup": "model.setup",
    "Singer": "model.setup",
    "Take": "simulate.take",
    "Verdict": "verdict.result",
    "judge": "verdict.take",
    "load_horn": "model.presets",
    "load_singer": "model.presets",
    "setup_for": "model.presets",
    "tune": "simulate.tuning",
}

__all__ = [
    "Horn",
    "ReedboreError",
    "Setup",
    "Singer",
    "Take",
    "Verdict",
    "judge",
    "load_horn",
    "load_singer",
    "setup_for",
    "tune",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
