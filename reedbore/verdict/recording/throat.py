"""A note of which the throat was heard too."""

from dataclasses import replace

from reedbore.measures import (
    keeping_step,
    two_notes,
)
from reedbore.notes import MEASURED_LIMIT, choose_ratio
from reedbore.verdict.recording.found import (
    SURE_DRIFT,
    VOICE_RANGE,
    Found,
    Known,
    Samples,
    all_of_the_voice,
    course,
    heard,
    level,
    open_hz,
    within,
)
from reedbore.verdict.recording.proof import IN_STEP, interaction, judged
from reedbore.verdict.recording.reasons import HORN_ON_THROAT, NO_VOICE
from reedbore.verdict.result import NEAR_CENTS
from reedbore.verdict.state import Reason, State

LEAST_PERIODS = 6.0
"""Of the common note: a note that holds fewer cannot tell it."""


def with_throat(
    row: Found, horn: Samples, throat: Samples, rate: float, known: Known, begin: float
) -> Found:
    """Judge a note of which the throat was heard too; what is heard begins at a time [s]."""
    low, high = known.reach or VOICE_RANGE
    row = replace(row, throat_db=level(throat))
    voice = two_notes.voice_on_throat(throat, horn, rate, row.played_hz, low, high)
    if voice.hz is None:
        why = HORN_ON_THROAT if voice.clarity else NO_VOICE
        state = State.UNDECIDED if voice.clarity else State.UNSUNG
        return replace(row, state=state, reason=why, cannot=all_of_the_voice(why))
    ratio = choose_ratio(voice.hz / row.played_hz, NEAR_CENTS, MEASURED_LIMIT)
    seconds, length = horn.size / rate, row.end_s - row.begin_s
    moves = course(voice.samples, rate, voice.hz, begin)
    row = replace(
        row,
        sung_hz=voice.hz,
        sung_within=within(voice.hz, open_hz(seconds, length, moves)),
        ratio=ratio,
        q=ratio and ratio[1],
        sung_course=moves,
    )
    seen = two_notes.look(horn, rate, row.played_hz)
    row = heard(replace(row, interaction_db=interaction(seen, row, voice.hz)))
    if ratio is None:
        return replace(row, state=State.ROUGH)
    if seconds * row.played_hz / ratio[1] < LEAST_PERIODS:
        return replace(row, reason=Reason.TOO_SHORT, cannot={"drift_hz": Reason.TOO_SHORT})
    beat = keeping_step.beat(horn, voice.samples, rate, (row.played_hz, voice.hz), ratio)
    sure = SURE_DRIFT * open_hz(seconds, length, beat)
    row = replace(row, drift_hz=beat.drift, drift_within=sure, wander=beat.wanders)
    # The course ends half a window before the note does: its slope tells the rest.
    keeps = max(beat.moves, abs(beat.drift) * seconds) <= IN_STEP
    return judged(row, keeps=keeps)
