"""Each sentence of the lesson against what is drawn beside it.

The pictures are read as the page has them: the rows and headers of its answers, and from them the
times at which ticks and curves are drawn. A sentence without a check here is one that makes no
claim about the model: scenery, a definition, an order to look.
"""

import json
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from reedbore import notes
from reedbore.page import api
from reedbore.page.lesson import checks
from reedbore.page.lesson.steps import STEPS, Step
from reedbore.page.request import read_words
from reedbore.report.words import SINGER, sentence
from reedbore.simulate import pushes
from reedbore.simulate.take import render
from reedbore.simulate.tuning import first_peak

pytestmark = pytest.mark.ci

BY_NAME = {step.name: step for step in STEPS}
STATIC = Path(api.__file__).with_name("static")
Seen = SimpleNamespace


def rows_of(answer: Any) -> np.ndarray:
    return np.frombuffer(answer.body, "<f4").reshape(-1, int(answer.headers["x-cols"]))


def header(answer: Any, name: str) -> Any:
    return json.loads(answer.headers[f"x-{name}"])


def film_of(answer: Any) -> Seen:
    whole, away = np.split(rows_of(answer), 2)
    times = np.array(header(answer, "times"))
    return Seen(whole=whole, away=away, back=whole - away, times=times, step=times[1] - times[0],
                signals=header(answer, "signals"), captions=header(answer, "captions"),
                outline=header(answer, "outline"), extra=header(answer, "extra"),
                positions=np.array(header(answer, "positions")))  # fmt: skip


@cache
def push(bore: str, end: str) -> Seen:
    return film_of(api.pulse({"bore": bore, "end": end}))


@cache
def film(name: str) -> Seen:
    return film_of(api.bore({"words": BY_NAME[name].words}))


@cache
def look(name: str) -> Seen:
    answer = api.look({"words": BY_NAME[name].words})
    named = dict(zip(answer.headers["x-rows"].split(","), rows_of(answer), strict=True))
    number = {key: float(answer.headers[f"x-{key}"] or 0) for key in ("played", "sung", "period")}
    return Seen(**named, lines=header(answer, "lines"), ratio=answer.headers["x-ratio"], **number)


@cache
def judged(name: str) -> Any:
    return checks._judged(checks._setup(BY_NAME[name]))


def ticks(film: Seen, phase: str) -> np.ndarray:
    """When a tick is drawn: the phase in cycles reaches a whole number. [frames]"""
    cycles = np.array(film.signals[phase])
    whole = np.arange(np.ceil(cycles[0] - 1e-3), np.floor(cycles[-1]) + 1)
    return np.interp(whole, cycles, np.arange(cycles.size)) * film.step


def semitones(hz: float, note: str) -> float:
    return float(12.0 * np.log2(hz / notes.parse_pitch(note)))


def note_is(hz: float, note: str, within: float = 0.25) -> bool:
    return abs(semitones(hz, note)) < within


def moves(film: Seen, wave: np.ndarray, first: float, last: float) -> float:
    """How far the strongest place of a wave goes between two shares of a film. [m]"""
    frames = [round(share * len(wave)) for share in (first, last)]
    one, other = (film.positions[np.argmax(np.abs(wave[frame]))] for frame in frames)
    return float(other - one)


def strongest(wave: np.ndarray) -> float:
    return float(wave[np.argmax(np.abs(wave))])


def order_of_strips(*wanted: str) -> bool:
    text = (STATIC / "panels" / "waves.js").read_text()
    listed = re.findall(r'row: "(\w+)"', text[: text.index("OF_FOLDS")])
    return listed[: len(wanted)] == list(wanted)


def swing_of(words: dict, hz: float) -> float:
    setup = checks._request(read_words({**words, "sung": f"{hz:.3f}Hz"})).setup
    return float(np.std(render(setup, 1.0).traces.pressure[48000:]))


# --- the checks ----------------------------------------------------------------------------------


def puff_gives_a_push() -> bool:
    seen = push("tube", "closed")
    return strongest(seen.away[12]) > 0.0 and moves(seen, seen.away, 0.08, 0.2) > 0.2


def dashes_leave_and_dots_come_back() -> bool:
    seen = push("tube", "closed")
    away, back = moves(seen, seen.away, 0.08, 0.2), moves(seen, seen.back, 0.32, 0.42)
    return away > 0.2 and back < -0.2


def push_is_above_and_pull_below() -> bool:
    for end in ("open", "closed"):
        seen = push("tube", end)
        first, text, _ = next(one for one in seen.captions if one[2] == "turns")
        late = seen.back[first + 20 : first + 40]
        if (strongest(late.ravel()) > 0.0) != ("as a push" in text):
            return False
    return True


def shut_end_turns_nothing_over() -> bool:
    seen = push("tube", "open")
    first = next(one for one in seen.captions if one[2] == "returns")[0]
    middle = seen.positions.size // 2
    arrives = strongest(seen.back[first - 40 : first, middle])
    return arrives * strongest(seen.away[first : first + 40, middle]) > 0.0


def longer_is_lower() -> bool:
    step = BY_NAME["tube"]
    settings = {**step.words["settings"], "bore.length_mm": 900}
    longer = checks._request(read_words({**step.words, "settings": settings})).setup
    return first_peak(longer, 100.0) < first_peak(checks._setup(step), 100.0)


def hum_starts_when_the_push_is_back() -> bool:
    seen = push("tube", "open")
    reed = np.array(seen.signals["mouthpiece"])
    again = 0.75 * seen.times[-1] < seen.times
    sent = seen.times[np.argmax(reed[:60])]
    back = seen.times[np.argmax(np.where(again, reed, -np.inf))]
    return abs(checks._setup(BY_NAME["tube"]).voice.frequency * (back - sent) - 1.0) < 0.05


def swing_grows() -> bool:
    words = BY_NAME["tube"].words
    hz = checks._setup(BY_NAME["tube"]).voice.frequency
    own, *others = (swing_of(words, share * hz) for share in (1.0, 0.85, 1.15))
    return own > 1.15 * max(others)  # the reed stands wide open and lets much of it out again


def own_note() -> bool:
    setup = checks._setup(BY_NAME["tube"])
    return abs(notes.cents(setup.voice.frequency, first_peak(setup, 104.0))) < 10.0


def breath_narrows_and_spring_holds() -> bool:
    setup = checks._setup(BY_NAME["voice"])  # a breath that only streams through
    stands = float(render(setup, 0.5).traces.opening[-4800:].mean())
    return 0.0 < stands < 0.95 * setup.reed.held().opening


def reed_goes_with_the_pressure() -> bool:
    seen = look("reed")
    return float(np.corrcoef(seen.opening, seen.mouthpiece)[0, 1]) > 0.5


def openings(seen: Seen) -> int:
    return len(pushes.swings(seen.opening.astype(float))[0])


def one_puff_a_wave() -> bool:
    seen = look("reed")
    return abs(openings(seen) - seen.played * (seen.time[-1] - seen.time[0])) <= 1.0


def ladder() -> bool:
    seen = look("voice")
    rungs = np.array([line[0] for line in seen.lines]) / seen.sung
    return rungs.size > 3 and bool(np.all(np.abs(rungs - np.rint(rungs)) < 0.02))


def some_gets_past() -> bool:
    seen = look("voice")
    return seen.opening.min() > 0.0 and 0.0 < np.ptp(seen.mouthpiece) < np.ptp(seen.mouth) * 20.0


def alike(name: str, periods: float) -> float:
    """How like a reed's opening is to itself so many of its periods later."""
    seen = look(name)
    later = seen.time[0] + periods / seen.played
    kept = seen.time + periods / seen.played < seen.time[-1]
    shifted = np.interp(seen.time[kept] + later - seen.time[0], seen.time, seen.opening)
    return float(np.corrcoef(seen.opening[kept], shifted)[0, 1])


def two_openings_differ() -> bool:
    seen = film("octave")
    sung, opens = ticks(seen, "sung_phase"), ticks(seen, "played_phase")
    late = [min(abs(one - sung)) for one in opens[:4]]
    return abs(late[0] - late[2]) < 2e-4 < abs(late[0] - late[1])


def as_long(name: str, p: int, q: int) -> Callable[[], bool]:
    def holds() -> bool:
        seen = film(name) if name != "lower" else None
        if seen is None:
            return look(name).ratio == f"{p}/{q}"
        sung, opens = ticks(seen, "sung_phase"), ticks(seen, "played_phase")
        return abs(p * np.diff(sung).mean() / (q * np.diff(opens).mean()) - 1.0) < 0.02

    return holds


def a_tick_for_each() -> bool:
    seen = film("octave")
    voice = np.array(seen.signals["sung"])
    peaks = np.sum((voice > np.roll(voice, 1)) & (voice >= np.roll(voice, -1)) & (voice > 0.9))
    up = np.diff((np.array(seen.signals["opening_mm"]) > 0.7).astype(int)) > 0
    return (
        abs(ticks(seen, "sung_phase").size - peaks) <= 1
        and abs(ticks(seen, "played_phase").size - up.sum()) <= 1
    )


def round_is_shaded() -> bool:
    seen = look("lower")
    return abs(seen.period * seen.played - 3.0) < 0.02


def steps_of_thirds() -> bool:
    sizes = [12.0 * np.log2(q) for q in (2, 3, 4)]
    return bool(np.allclose(sizes, [12.0, 12.0 + 7.0, 24.0], atol=0.03))


def four_cents() -> bool:
    hz = [checks._setup(BY_NAME[name]).voice.frequency for name in ("drift", "octave")]
    return round(notes.cents(*hz)) == 4


def comes_early() -> bool:
    marks = pushes.meetings(checks._take(checks._setup(BY_NAME["drift"])))
    return marks.ratio == (5, 2) and marks.drift < 0.0 and not marks.stands


@cache
def turning() -> tuple[np.ndarray, np.ndarray, list[int]]:
    answer = api.lesson_turns({"words": BY_NAME["drift"].words})
    return (*rows_of(answer), header(answer, "partials"))


def turns_over() -> bool:
    _, strength, _ = turning()
    middle = 0.5 * (strength.max() + strength.min())
    return int(np.sum(np.diff((strength > middle).astype(int)) > 0)) >= 3


def shared_partial() -> bool:
    setup = checks._setup(BY_NAME["drift"])
    p, q = turning()[2]
    apart = abs(p * judged("drift").played_hz - q * setup.voice.frequency)
    return 0.2 < apart < 5.0 and turning()[1].min() < 0.95


def crosses_fit_no_rung() -> bool:
    seen = look("rough")
    crosses = np.array([line[0] for line in seen.lines if line[3] == "mixed"]) / seen.played
    return crosses.size > 2 and bool(np.all(np.abs(crosses - np.rint(crosses)) > 0.02))


def kinds(name: str, *wanted: str) -> Callable[[], bool]:
    return lambda: set(wanted) <= {line[3] for line in look(name).lines}


def folds_feel_the_horn() -> bool:
    seen = film("along")
    mouth = np.array(seen.signals["mouth"])
    level = np.abs(np.fft.rfft(mouth - mouth.mean()))
    cycles = np.array(seen.signals["played_phase"])
    return level[round(abs(cycles[-1] - cycles[0]) + 0.1)] > 0.02 * level.max()


def taken_along() -> bool:
    return abs(judged("along").pulled_cents - 40.0) < 3.0 and judged("along").follows == "voice"


def hardly_moves() -> bool:
    found = judged("along")
    return found.state == "locked" and abs(notes.cents(found.played_hz, found.voice_off_hz)) < 1.0


def claim(name: str, *, heard: str) -> Callable[[], bool]:
    return lambda: (judged(name).state, judged(name).heard) == (BY_NAME[name].claim[0], heard)


STORY = None  # no claim about the model
CLAIMS: dict[str, Callable[[], bool] | None] = {
    "Night in the old mill, and a plain tube lies on the table.": STORY,
    "Its reed end is shut.": lambda: max(push("tube", "closed").signals["opening_mm"]) == 0.0,
    "A short puff gives the air there a push, and the push runs off down the tube.":
        puff_gives_a_push,
    "The picture shows the air in slow motion.": STORY,
    "A push is drawn above the line and a pull below it.": push_is_above_and_pull_below,
    "What comes back from the far end?": STORY,
    "Try both ends.": STORY,
    "The dashes run away from the reed, the dots run back.": dashes_leave_and_dots_come_back,
    "The thick line is their sum.": lambda: np.allclose(
        push("tube", "open").whole, push("tube", "open").away + push("tube", "open").back),
    "Now the far end stays open.": lambda: push("tube", "open").outline["end"] != "closed",
    "A wave that comes back to the shut end leaves it the same way up, and all goes on.":
        shut_end_turns_nothing_over,
    "A longer tube takes longer, so its note is lower.": longer_is_lower,
    "Let the player hum so that each new push starts just when the old one stands there as a push "
    "again.": hum_starts_when_the_push_is_back,
    "Then the swing grows.": swing_grows,
    "This hum is the note of the tube.": own_note,
    "Hear it.": STORY,
    "Below, the pressure at the reed end.": lambda: np.allclose(
        push("tube", "open").signals["mouthpiece"], push("tube", "open").whole[:, 0], atol=0.1),
    "The line of now runs through it.": STORY,
    "Now the saxophone: low B♭, and nobody sings.":
        lambda: note_is(look("reed").played, "Bb2") and not look("reed").sung,
    "The reed is a door with a spring.": STORY,
    "The breath in the mouth presses it towards the lay, and the spring holds it open.":
        breath_narrows_and_spring_holds,
    "The pressure in the mouthpiece helps the spring or leaves it alone.":
        reed_goes_with_the_pressure,
    "So each wave that comes back from the bore works the door, and the door lets in the next "
    "puff.": one_puff_a_wave,
    "The second curve is how far the reed stands open.":
        lambda: order_of_strips("mouth", "opening"),
    "The third is the pressure behind it, in the mouthpiece.":
        lambda: order_of_strips("mouth", "opening", "mouthpiece"),
    "The player hums an F into the same horn and blows too softly for the reed to swing.":
        lambda: note_is(look("voice").sung, "F3") and not look("voice").played,
    "The voice shakes the breath in the mouth, and some of that gets past the open reed.":
        some_gets_past,
    "A steady note is made of partials.": STORY,
    "They stand at 1, 2, 3 times its pitch, and so on.": ladder,
    "So the lines of one note are as even as the rungs of a ladder.": ladder,
    "How far is it from line to line?": STORY,
    "Breath enough, and both at once.":
        lambda: look("multiple").played > 0.0 < look("multiple").sung,
    "The horn plays its low B♭, and the player hums the B♭ an octave above.":
        lambda: note_is(look("multiple").played, "Bb2") and note_is(look("multiple").sung, "Bb3"),
    "The top curve shows the voice, the next one the reed.":
        lambda: order_of_strips("mouth", "opening"),
    "Each opening of the reed is like the last one.": lambda: alike("multiple", 1.0) > 0.98,
    "The two notes keep step, and they do so by themselves: the horn goes along with the voice.":
        lambda: judged("multiple").state == "locked",
    "This is a lock.": lambda: judged("multiple").state == "locked",
    "Go from one rise of the second curve to its next rise.": STORY,
    "A pair from the tune Mill race: low B♭ on the horn, and a D hummed high above it, a little "
    "lower than on a piano.":
        lambda: -0.25 < semitones(look("octave").sung, "D4") < 0.0,
    "The voice pushes more than twice as often as the reed opens, but not three times as often.":
        lambda: 2.0 < look("octave").sung / look("octave").played < 3.0,
    "Look at the rows below the horn.": STORY,
    "Two openings in a row meet the voice in two different ways.": two_openings_differ,
    "Find the next one that meets it as the first one did.": STORY,
    "Each tick is one push of the voice, or one opening of the reed.": a_tick_for_each,
    "The next held note is a D, with a B hummed over it, a little low.":
        lambda: note_is(look("lower").played, "D3") and -0.25 < semitones(
            look("lower").sung, "B3") < 0.0,
    "Five pushes go to three openings, so all comes round after three.": as_long("lower", 5, 3),
    "The new note is the third note.": claim("lower", heard="yes"),
    "The more openings it takes, the lower the third note.": steps_of_thirds,
    "Two put it an octave below the horn's own, three an octave and a fifth, four two octaves.":
        steps_of_thirds,
    "The shaded stretch is one round.": round_is_shaded,
    "The numbers count what falls into it.": as_long("lower", 5, 3),
    "Low B♭ and D again, but hummed four cents higher: too far for this lock.":
        lambda: four_cents() and claim("drift", heard="yes")(),
    # Of two pure tones in a row a difference under about five cents goes unnoticed: from memory,
    # as in handbooks of hearing; no number of the model.
    "Hardly anyone hears so small a step.": STORY,
    "Yet five pushes no longer fit two openings: each time they come a little early.": comes_early,
    "The third note is still there, but the sound turns over and over.":
        lambda: judged("drift").heard == "yes" and turns_over(),
    "Where a partial of the horn and one of the voice nearly meet, their sum swells and fades.":
        shared_partial,
    sentence(SINGER): STORY,  # the caution of all tables
    "The curve is the strength where two partials nearly meet.": shared_partial,
    "The hum sinks to an A, eleven semitones above the low B♭.":
        lambda: abs(semitones(look("rough").sung, "Bb2") - 11.0) < 0.05,
    "No small whole numbers fit these two notes.": lambda: look("rough").ratio == "",
    "The horn makes one ladder of lines, and the crosses fit none of it.": crosses_fit_no_rung,
    "The ear finds nothing that comes round, so it hears no third note.":
        claim("rough", heard="no"),
    "It hears only that the sound is rough.": lambda: judged("rough").state == "rough",
    "The lines of horn and voice, and the crosses: sums and differences of both.":
        kinds("rough", "horn", "voice", "mixed"),
    "So far the voice was a clock, and never gave way to the reed.": lambda: not any(
        checks._setup(step).voice.folded for step in STEPS[:-1]),
    "A singer is no clock.": STORY,
    "The horn sounds into the mouth, right above the vocal folds, and shakes them too.":
        folds_feel_the_horn,
    "Low B♭ again.": lambda: note_is(judged("along").played_hz, "Bb2"),
    "The singer aims at an F, but forty cents too low: nearly half a semitone.":
        lambda: abs(notes.cents(checks._setup(BY_NAME["along"]).voice.frequency,
                                1.5 * judged("along").voice_off_hz) + 40.0) < 2.0,
    "The horn pulls the folds along.": taken_along,
    "The two notes lock, and the horn hardly moves.": hardly_moves,
    "The folds, the reed and the bore in one picture.":
        lambda: {"gap_mm", "opening_mm"} <= set(film("along").signals),
    "Below, each tick is one opening.": as_long("along", 3, 2),
}  # fmt: skip


def sentences(step: Step) -> list[str]:
    return re.split(r"(?<=[.?!]) (?=[A-Z])", " ".join([*step.says, step.watch]))


def test_no_sentence_is_without_a_check():
    said = {one for step in STEPS for one in sentences(step)}
    assert said == set(CLAIMS)
    assert sum(check is not None for check in CLAIMS.values()) > 50


@pytest.mark.parametrize("name", list(BY_NAME))
def test_each_sentence_of_a_step_holds_in_its_picture(name: str):
    wrong = [one for one in sentences(BY_NAME[name]) if (check := CLAIMS[one]) and not check()]
    assert wrong == []
