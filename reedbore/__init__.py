"""Reedbore: a wind player sings into a reed horn; what becomes of the two notes.

The modules, in the order in which data flows through them::

    errors       the exceptions that tell users what to put right
    units        every quantity that can be set: unit, range, one sentence
    notes        note names, cents, ratios, resultants: pure arithmetic
    prediction   what arithmetic says about a pair of notes   (chart: about a whole horn)
    stopping     a polite end for long work that nobody wants any more
    settings     what all models share: users' units in, checked SI out
    bore         pieces, tone holes and end of a bore   (fingerings: text to open holes)
    reed         a reed: its numbers, its strength, the lip on it   (voice: voice, mouth, throat)
    model        horn, player and voice as frozen numbers: Setup
    melody       a line of notes as text   (passage: two lines, breath, depth, tempo)
    passage_controls  a passage as samples: pitches, gates, breath, depth
    midi         a passage to a Standard MIDI File   (midi_reading, midi_channel: and back)
    acoustics    a bore to its exact impedance and what leaves its openings
    upstream     mouth and throat to theirs, and what a flow through the folds makes there
    presets      TOML files to models, with every mistake told
    physics/     air, tube, tone holes, radiation, reed, glottis, tract: published formulas
    kernel/      the time step, compiled: numbers in, samples out
    sidecar      the file that makes a take again   (files: written beside and renamed)
    tuning       a fingered note to the holes or the length of bore that play it
    placing      where the tone holes have to be, for whoever makes a preset
    breath_levels  pp to ff as pressures of one horn
    singing      a voice to the waveform that is sung
    render       a setup and what is fingered and sung to a take
    along        a take to the pressure along its bore   (moments: to what happens now, in words)
    measures/    samples to numbers: pitch, spectrum, locking, roughness, hearing
    performing   a passage to what was played and sung, cut into its notes
    listening    single runs to pitches, third note, settling
    verdict      a take to what became of the two notes
    summary      a verdict in a player's words
    note_stretch  one stretch of a passage to a verdict
    note_verdicts  a passage to one for every note, as planned, reached and held
    note_report  the same as data and as text
    asking       the judge's questions put to many setups at once   (many: a cell for each)
    lock_edges   ranges of detuning over which ratios lock   (locks: the lock table)
    holding      what a human voice makes of a lock
    lock_report  a lock table as data and as text   (locks_words: in a player's words)
    sweep        one to three numbers of a setup that move   (sweep_axes: as typed)
    sweep_cells  the grid that they span, block by block
    sweep_store  the data set of a sweep   (sweep_results: what it holds so far)
    sweep_run    block after block, here or on a cluster
    audio        sound files, levels, loudspeaker
    request      what a player asks for to a tuned setup   (telling: a take in sentences, numbers)
    figures/     pictures, moving and still
    notebook     takes and sweeps shown in Jupyter
    page/        the page in the browser: words in, answers out; static/ is what the browser runs
    cli/         the commands

The names below are the public ones; everything else is reached by its module.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Horn": "model",
    "ReedboreError": "errors",
    "Setup": "model",
    "Singer": "model",
    "Take": "render",
    "Verdict": "verdict",
    "judge": "verdict",
    "load_horn": "presets",
    "load_singer": "presets",
    "setup_for": "presets",
    "tune": "tuning",
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
