"""What the page can ask: one function for each, from JSON to an answer.

Every function takes the body that the page sent and returns all that it shows: nothing is kept
between requests but what makes the next one faster. They block; the server runs them in threads.
Streams are generators of JSON lines.
"""

import io
import math
import wave
from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

import numpy as np
from numpy.typing import NDArray

from reedbore import notes, pairs
from reedbore.errors import ReedboreError
from reedbore.page import loop as loops
from reedbore.page.answers import (
    LONGEST_S,
    Answer,
    Shared,
    of_json,
    of_rows,
    request_of,
    seconds_of,
    take_of,
)
from reedbore.page.choices import settings_of
from reedbore.page.request import read_words
from reedbore.page.signals import lines, pitches_of, waves
from reedbore.report import pairs as told_pairs
from reedbore.report import verdict as telling
from reedbore.report.words import STATES, heard_alone
from reedbore.simulate.outside import FADE_S, FULL_SCALE_PA, SOUND_RATE, matching
from reedbore.simulate.request.take import Words, named, players
from reedbore.sound import fade, mute_broken, remove_dc, to_full_scale
from reedbore.verdict import take as verdicts
from reedbore.verdict.result import Verdict
from reedbore.verdict.state import State

NOBODY = "Nobody sings: the horn plays alone."
ROWS = "time,mouth,mouthpiece,opening,sound"
BY_FOLDS = "voice.drive=folds"
SOUND_S, JUDGED_S = 2.5, 4.0
MOST_ANSWERS = 24
"""Verdicts and films kept in memory, of 0.1 MB at most: whoever goes back to a setup has them."""

_answers, _beats = Shared(MOST_ANSWERS), Shared(MOST_ANSWERS)

Body = Mapping[str, Any]


def predict(body: Body) -> Answer:
    """Say from arithmetic alone what to expect of the two notes."""
    words = read_words(body.get("words", {}))
    horn, _ = players(words)
    a4, transposition = notes.check_a4(words.a4), horn.transposition
    with named("--fingered"):
        fingered = notes.parse_pitch(
            words.fingered or "", a4, transposition=transposition, written=words.written
        )
    if words.sung is None:
        alone = {"fingered_hz": fingered, "fingered_note": notes.note_name(fingered, a4)}
        return of_json({**alone, "sung_hz": None, "text": "", "says": NOBODY})
    with named("--sung"):
        sung = notes.parse_sung(words.sung, fingered, a4, transposition=transposition)
    pair = pairs.predict_pair(
        fingered,
        sung,
        ratio=notes.parse_ratio(words.sung),
        a4=a4,
        transposition=transposition,
    )
    told = {"text": told_pairs.pair_text(pair), "says": told_pairs.pair_sentence(pair)}
    if BY_FOLDS in words.settings and pair.meeting is None and pair.nearby:
        near = f"{pair.nearby.ratio_text} is near, at {pair.name(pair.nearby.sing_hz)}"
        told["says"] = f"{near}; whether the horn takes the voice there, only the model tells."
    return of_json({**told_pairs.pair_document(pair), **told})


def sound(body: Body) -> Answer:
    """Render a sound that goes round while it is held, at its true level.

    Beside it is told by how much it may be raised to be as loud as others, below the ceiling;
    not if ``matched`` is false, for that takes a while. Where ``audible`` is asked for it is
    raised here, however soft it is.
    """
    words, seconds = read_words(body.get("words", {})), seconds_of(body, SOUND_S)
    request, take = take_of(words, seconds)
    hz, beat = request.typed.fingered_hz, None
    if seconds >= SOUND_S:  # a beginning does not go round
        beat = _beats.get((request.setup, hz), lambda: loops.beat_of(request.setup, hz))
    if beat is not None and beat.wanted > seconds:
        request, take = take_of(words, min(beat.wanted, LONGEST_S))
    whole = remove_dc(mute_broken(take.sound, SOUND_RATE)[0], SOUND_RATE)
    lift = _audible(whole / FULL_SCALE_PA) if body.get("audible") is True else 0.0
    loop = loops.looped(whole * 10.0 ** (lift / 20.0), SOUND_RATE, beat)
    rising = fade(loop.sound, SOUND_RATE, FADE_S)
    rising[loop.first :] = loop.sound[loop.first :]
    samples, gain = to_full_scale(rising, FULL_SCALE_PA)
    headers = {
        "x-loop-start": f"{loop.first / SOUND_RATE:.9f}",
        "x-loop-end": f"{loop.end / SOUND_RATE:.9f}",
        "x-gain-db": f"{gain:.3f}",
        "x-lift-db": f"{lift + gain:.3f}",
        "x-title": quote(telling.title(request), safe=" ,;:()/+#=."),
    }
    if body.get("matched", True) is not False:
        match = matching(samples)
        match += to_full_scale(samples * 10.0 ** (match / 20.0), 1.0).gain_db
        headers["x-match-db"] = f"{match:.3f}"
    return Answer(_wav(samples), "audio/wav", headers)


def _audible(samples: NDArray[np.float64]) -> float:
    """Return the gain [dB] that makes a sound as loud as others, be it ever so soft."""
    peak = float(np.abs(samples).max())
    if not peak:
        return 0.0
    # Loudness is measured of what is not far too soft for it.
    return matching(samples / peak, math.inf) - 20.0 * math.log10(peak)


def _wav(samples: Any) -> bytes:
    """Make a WAV file with 16 bits, the sound from -1 to 1."""
    memory = io.BytesIO()
    with wave.open(memory, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SOUND_RATE)
        file.writeframes(np.rint(samples * 32767.0).astype("<i2").tobytes())
    return memory.getvalue()


def look(body: Body) -> Answer:
    """Cut some periods out of all signals, and list the lines of the sound."""
    request, take = take_of(read_words(body.get("words", {})), seconds_of(body, SOUND_S))
    found = pitches_of(take)
    told, strongest = lines(take, found, request.typed.a4_hz)
    headers = {
        "x-rows": ROWS + ",folds" * take.setup.voice.folded,
        "x-lines": told,
        "x-strongest-db": "" if strongest is None else f"{strongest:.2f}",
        "x-played": "" if found.played is None else f"{found.played:.4f}",
        "x-sung": "" if found.sung is None else f"{found.sung:.4f}",
        "x-ratio": "" if found.ratio is None else f"{found.ratio[0]}/{found.ratio[1]}",
        "x-period": "" if found.resultant is None else f"{1.0 / found.resultant:.9f}",
    }
    return of_rows(waves(take, found), headers)


def judge(body: Body) -> Answer:
    """Judge what became of the two notes, in words and numbers."""
    words, lock_range = read_words(body.get("words", {})), body.get("lock_range") is True
    found: Answer = _answers.get(("judge", words, lock_range), lambda: _judge(words, lock_range))
    return found


def _judge(words: Words, lock_range: bool) -> Answer:
    request, take = take_of(words, JUDGED_S)
    verdict = verdicts.judge(take, lock_range=lock_range)
    asked = request.setup.voice.frequency if words.sung is not None else None
    a4 = request.typed.a4_hz
    document = verdict.document(request.typed.fingered_hz, asked, a4, request.reach)
    first, *more = telling.sentences(request, take, verdict)
    answer = {
        "verdict": document,
        "state_says": _state(verdict),
        "heard_says": "" if verdict.sung_hz is None else heard_alone(verdict.heard),
        "sentence": first,
        "more": [*more, *request.warnings],
        "title": telling.title(request),
        "how": [list(row) for row in telling.rows(request, take, verdict)],
        "played_cents": document["played_cents"],
        "sing": telling.how_to_sing(document, a4),
        "settings": settings_of(request.setup),
    }
    return of_json(answer)


def _state(verdict: Verdict) -> str:
    """Name the state in a word or two: a horn that does not play leaves a voice to be heard."""
    if verdict.state == State.SILENT and verdict.sung_hz is not None:
        return "only the voice"
    return STATES[verdict.state].short


def bore(body: Body) -> Answer:
    """Redraw the air in the bore over some periods late in the take."""
    from reedbore.page import bore as bores  # noqa: PLC0415 - the first sound goes without

    frames = bores.counted(body.get("frames"), "frames", bores.FRAMES, 240)
    points = bores.counted(body.get("points"), "points", bores.POINTS, 120)
    words = read_words(body.get("words", {}))

    def make() -> Answer:
        _, take = take_of(words, SOUND_S)
        rows, headers = bores.moving(take, pitches_of(take), frames, points)
        return of_rows(rows, headers)

    found: Answer = _answers.get(("bore", words, frames, points), make)
    return found


def pulse(body: Body) -> Answer:
    """Send one push down a quiet bore."""
    from reedbore.page import bore as bores  # noqa: PLC0415
    from reedbore.page import pulse as pulses  # noqa: PLC0415

    frames = bores.counted(body.get("frames"), "frames", bores.FRAMES, 240)
    points = bores.counted(body.get("points"), "points", bores.POINTS, 120)
    which = body.get("bore", "tube"), body.get("end", "open")

    def make() -> Answer:
        rows, headers = pulses.running(*which, frames, points)
        return of_rows(rows, headers)

    found: Answer = _answers.get(("pulse", str(which), frames, points), make)
    return found


def take(body: Body) -> Answer:
    """Make a file to keep: the sound, the picture, the sidecar or the horn as it is set."""
    from reedbore.page import files  # noqa: PLC0415

    seconds = seconds_of(body, JUDGED_S)
    return files.take(read_words(body.get("words", {})), seconds, body.get("kind", "wav"))


def read(body: Body) -> Answer:
    """Turn a file that the user has opened into words."""
    from reedbore.page import files  # noqa: PLC0415

    return of_json(files.read(body))


def map(body: Body) -> Iterator[Mapping[str, Any]]:
    """Compute a lock map cell by cell, coarse first."""
    from reedbore.page import map as maps  # noqa: PLC0415

    along = body.get("along", [])
    if not isinstance(along, list) or not all(isinstance(axis, Mapping) for axis in along):
        raise ReedboreError("along must be a list of axes")
    return maps.cells(read_words(body.get("words", {})), along)


def table(body: Body) -> Iterator[Mapping[str, Any]]:
    """Make the lock table of the fingered note, telling how far it is."""
    from reedbore.page import table as tables  # noqa: PLC0415

    sung = body.get("sung", True) is not False
    thorough = body.get("thorough") is True
    return tables.table(read_words(body.get("words", {})), thorough=thorough, sung=sung)


def passage(body: Body) -> Iterator[Mapping[str, Any]]:
    """Play a passage and judge it note by note."""
    from reedbore.page import passage as passages  # noqa: PLC0415

    return passages.stream(body)


def passage_open(body: Body) -> Answer:
    """Turn a passage file that the user has dropped into lines."""
    from reedbore.page import passage as passages  # noqa: PLC0415

    return of_json(passages.open_file(body["data"], body.get("name")))


def voice(body: Body) -> Iterator[Mapping[str, Any]]:
    """Judge a recording of the user's own voice."""
    from reedbore.page import voice as voices  # noqa: PLC0415

    return voices.stream(body)


def atlas(body: Body) -> Iterator[Mapping[str, Any]]:
    """Tell what may be sung over every note of the horn."""
    from reedbore.page import atlas as atlases  # noqa: PLC0415

    return atlases.stream(body)


def lesson_check(body: Body) -> Answer:
    """Check the answer of a student by the simulation."""
    from reedbore.page.lesson import checks  # noqa: PLC0415

    words = read_words(body.get("words", {}))
    return of_json(checks.check(str(body.get("step")), body.get("answer"), words))


def lesson_truth(body: Body) -> Answer:
    """Find the answer to a step, for the teacher's handout."""
    from reedbore.page.lesson import checks  # noqa: PLC0415

    return of_json(checks.truth(str(body.get("step"))))


def lesson_turns(body: Body) -> Answer:
    """Follow the partial that two notes share, which tells how often they turn over."""
    from reedbore.page.lesson.turns import turns_of  # noqa: PLC0415

    request = request_of(read_words(body.get("words", {})))
    found = turns_of(request.setup, request.typed.fingered_hz)
    headers = {"x-rows": "time,strength", "x-partials": list(found.partials)}
    return of_rows(np.stack((found.times, found.strength)), headers)
