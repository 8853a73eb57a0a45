"""Passages played by pure tones, with the verdicts of their notes made up: for pictures of them."""

import itertools
from typing import Any

import numpy as np

from reedbore.kernel.single import Traces
from reedbore.model import presets
from reedbore.model.passage import Passage
from reedbore.notes import choose_ratio
from reedbore.pairs import Prediction
from reedbore.simulate import controls as passage_controls
from reedbore.simulate import outside
from reedbore.simulate.performance import Fingered, Performance, Score
from reedbore.verdict.passage import NoteVerdict
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import HornState, State

RING = 0.5  # [s]


def performance_of(passage: Passage, *, rate: float = 12000.0, recorded: bool = False):
    """Pure tones in the place of a horn: every fingered note with four partials."""
    setup = presets.setup_for(presets.load_horn("tenor-saxophone"))
    setup = setup.model_copy(update={"time": setup.time.model_copy(update={"rate": rate})})
    line = passage.fingered_line
    if recorded:
        setup = setup.with_value("voice.file", "hum.wav").with_value("voice.source", "recording")
    setups = {Fingered(n.pitch, n.fingering): setup for n in line.notes if n.pitch}
    end = passage_controls.sample_count(passage, rate) + round(RING * rate)
    controls = passage_controls.controls(passage, rate, usual_depth=0.1, end=end)
    phase = 2.0 * np.pi * np.cumsum(controls.fingered_hz) / rate
    sung = np.sin(2.0 * np.pi * np.cumsum(controls.sung_hz) / rate) * controls.singing
    if recorded:
        sung = np.sin(2.0 * np.pi * 200.0 * np.arange(end) / rate)
    gate = controls.blowing * controls.tongue * (0.3 + np.nan_to_num(controls.breath, nan=0.5))
    pressure = 800.0 * gate * sum(np.cos(k * phase) / k**2 for k in (1, 2, 3, 4)) + 100.0 * sung
    sound = np.interp(
        np.arange(round(end / rate * outside.SOUND_RATE)) / outside.SOUND_RATE,
        np.arange(end) / rate,
        1e-3 * pressure,
    )
    return Performance(
        score=Score(passage, setups),
        fingered=passage_controls.spans(passage, line, rate),
        sung_notes=passage_controls.spans(passage, passage.sung_line, rate),
        controls=controls,
        pressure_asked=2000.0 * controls.blowing,
        sung=sung,
        traces=Traces(**dict.fromkeys(Traces._fields, pressure)),
        sound=sound,
    )


def reached(state: str, **changed: Any) -> Verdict:
    values = {
        "reason": None, "sung_hz": None, "played_hz": None, "jumped": False, "ratio": None,
        "resultant_hz": None, "resultant_level_db": None, "heard": "no", "drift_hz": None,
        "lock_range_cents": None, "settle_s": None, "roughness": None,
        "voice_off_state": HornState.SOUNDING, "voice_off_hz": None, "voice_off_period": 1,
    }  # fmt: skip
    return Verdict(state=State(state), **{**values, **changed})


def row_of(number: int, begin: float, end: float, fingered: float, sung: float | None, **told: Any):
    near = choose_ratio(sung / fingered) if sung else None
    state = told.pop("state", "locked" if near else "rough" if sung else "unsung")
    heard = told.pop("heard", "yes")
    if near and 1 in near:
        heard = "same as sung" if near[0] == 1 else "same as fingered"
    found = {"ratio": near, "resultant_hz": fingered / near[1], "heard": heard} if near else {}
    if state not in {"locked", "drifting"}:
        found = {}
    played = told.pop("played_hz", fingered)
    planned = Prediction(fingered_hz=fingered, sung_hz=sung, ratio=near) if sung else None
    held = reached(told.pop("held"), played_hz=played) if "held" in told else None
    return NoteVerdict(
        number=number, begin_s=begin, end_s=end, beat=begin, beats=end - begin, fingering="",
        fingered_hz=fingered, sung_hz=sung, planned=planned, held=held, rest_s=None,
        reached=reached(state, sung_hz=sung, played_hz=played, **found, **told),
    )  # fmt: skip


def rows_of(performance: Performance, told=()) -> list:
    """A row for every sung note over every fingered one, or for fingered ones if nobody sings."""
    rate = performance.score.rate
    sung = performance.sung_notes or performance.fingered
    pairs = [
        (max(f.first, s.first) / rate, min(f.end, s.end) / rate, f.hz,
         s.hz if performance.sung_notes else None)
        for f in performance.fingered for s in sung
        if f.hz and s.hz and max(f.first, s.first) < min(f.end, s.end)
    ]  # fmt: skip
    more = itertools.chain(told, itertools.repeat({}))
    return [row_of(k, *pair, **dict(next(more))) for k, pair in enumerate(pairs, 1)]
