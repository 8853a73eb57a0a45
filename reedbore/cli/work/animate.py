"""A moving picture from the command line: read, simulate, judge, draw, tell.

The command `animate` is made of these steps; they are apart from it so that its help starts fast.
"""

import contextlib
import importlib
import math
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from threading import Event
from typing import Any, NamedTuple

from reedbore import stopping
from reedbore.cli.common import Progress, tell
from reedbore.errors import ReedboreError
from reedbore.files import check_writable, picture_kind
from reedbore.model import sidecar
from reedbore.report.figures.film import video
from reedbore.report.figures.film.scene import Scene, heard, held, scene_of, take_seconds
from reedbore.report.verdict import sentences, title
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.request.take import (
    Request,
    Words,
    read_request,
    refuse_words,
    request_again,
    tune_request,
)
from reedbore.simulate.take import Take, render
from reedbore.sound import Levelled
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

# Takes as long to be loaded as a short take to be simulated.
DRAWS = "reedbore.report.figures.film.picture"
SLOW, SECONDS = (20, 1000), (1.0, 40.0)
SOUNDS = ("true", "slowed", "none")
JUDGED_S = 4.0  # so much of the take is judged, as with `render`
MOST_FLASHES = 3.0  # a second: success criterion 2.3.1 of WCAG 2.1 (from memory)
HARDLY_HEARD = 50  # slowed so many times, hardly anything of a sound is high enough to be heard


class Asked(NamedTuple):
    """What was typed besides the words of a request; None for what was left out.

    Attributes
    ----------
    output : Path
        The file.
    slow : int
        How many times slower.
    seconds : float
        Length of the moving picture. [s]
    sound : str or None
        One of `SOUNDS`.
    frames : sequence of int
        Of a page of instants.
    again, store : Path or None
        A sidecar, or the data set of a sweep.
    at : sequence of str
        Which cell of it.
    """

    output: Path
    slow: int
    seconds: float
    sound: str | None = None
    frames: Sequence[int] = ()
    again: Path | None = None
    store: Path | None = None
    at: Sequence[str] = ()


def make(words: Mapping[str, Any], asked: Asked, progress: Progress) -> tuple[dict[str, Any], str]:
    """Read what was typed, and make the file.

    Parameters
    ----------
    words : mapping
        What `Words` is made of.
    asked : Asked
        The rest.
    progress : Progress
        Where to name the work.

    Returns
    -------
    document : dict
        What was made, fit for JSON.
    text : str
        The same for reading.

    Raises
    ------
    ReedboreError
        If anything is wrong with it, before anything is simulated.
    """
    progress.stage("reading")
    sound = _check(asked)
    request = _read(words, asked)
    for warning in request.warnings:
        tell(warning)
    progress.stage("tuning the horn")
    request = tune_request(request)
    progress.stage("simulating")
    length = take_seconds(asked.seconds, asked.slow, sound=sound == "true")
    rate = video.FILMS.get(asked.output.suffix.lower(), 30)
    with _beside() as beside:
        beside.submit(importlib.import_module, DRAWS)
        take = render(request.setup, max(length, JUDGED_S))
        judged = beside.submit(judge, _first(take, JUDGED_S))
        scene, begin = scene_of(take, asked.seconds, asked.slow, rate, title=title(request))
        levelled = None
        if sound != "none":
            slower = asked.slow if sound == "slowed" else 1
            levelled = heard(take, begin, asked.seconds, slower)
        found = judged.result()
    _warn_of_flicker(found.played_hz, asked)
    scene = replace(scene, says=" ".join(sentences(request, take, found)))
    made = _draw(scene, levelled, sound, asked, progress)
    return _told(request, scene, begin, found, made, asked)


@contextlib.contextmanager
def _beside() -> Iterator[ThreadPoolExecutor]:
    """Lend a thread for work beside this one; that work is given up where this one fails."""
    given_up = Event()
    with ThreadPoolExecutor(1, "beside", stopping.wanted.set, (given_up,)) as beside:
        try:
            yield beside
        finally:
            given_up.set()


def _check(asked: Asked) -> str:
    """Refuse what does not go together; which sound there is to be."""
    for flag, value, unit, (low, high), what in (
        ("--slow", asked.slow, "", SLOW, "times slower than in truth"),
        ("--seconds", asked.seconds, " s", SECONDS, "length of the moving picture"),
    ):
        if not low <= value <= high:
            raise ReedboreError(
                f"{flag} is {value:g}{unit}; allowed {low:g} to {high:g}{unit} ({what})"
            )
    kind = "." + picture_kind(asked.output, (*video.FILMS, *video.STILLS))
    sounds = kind in video.FILMS and kind != ".gif"
    if asked.sound is not None and asked.sound not in SOUNDS:
        raise ReedboreError(f"--sound is {asked.sound!r}; write {', '.join(SOUNDS)}")
    if asked.sound not in {None, "none"} and not sounds:
        raise ReedboreError(
            f"{asked.output} holds no sound; write .mp4 or .webm, or leave --sound out"
        )
    if kind in video.FILMS:
        video.encoder(asked.output)
    _check_frames(asked, kind)
    check_writable(asked.output)
    if asked.sound == "slowed" and asked.slow > HARDLY_HEARD:
        tell(
            f"Slowed {asked.slow} times, 1000 Hz become {1000 / asked.slow:.3g} Hz: hardly "
            f"anything is high enough to be heard; --slow {SLOW[0]} to {HARDLY_HEARD} is better."
        )
    return (asked.sound or "true") if sounds else "none"


def _check_frames(asked: Asked, kind: str) -> None:
    if not asked.frames:
        return
    if kind in video.FILMS:
        raise ReedboreError(f"--frame picks instants for a handout: write .svg, not {asked.output}")
    last = round(asked.seconds * 30) - 1
    for number in asked.frames:
        if not 0 <= number <= last:
            raise ReedboreError(
                f"--frame is {number}; allowed 0 to {last} (30 a second, --seconds "
                f"{asked.seconds:g})"
            )
    if len(asked.frames) > video.MOST_INSTANTS:
        most = video.MOST_INSTANTS
        raise ReedboreError(f"--frame is given {len(asked.frames)} times; a page holds {most}")


def _warn_of_flicker(played_hz: float | None, asked: Asked) -> None:
    """Say so where colours would flash faster than is safe for everybody."""
    if asked.output.suffix.lower() in video.STILLS or not played_hz:
        return
    flashes = played_hz / asked.slow
    if flashes > MOST_FLASHES:
        enough = math.ceil(played_hz / MOST_FLASHES)
        tell(
            f"The bore flashes {flashes:.2g} times a second, which is hard on people with "
            f"sensitive eyes; --slow {enough} or more does not."
        )


def _read(words: Mapping[str, Any], asked: Asked) -> Request:
    if asked.store is not None or asked.at:
        from reedbore.cli.work import sweep  # noqa: PLC0415 - most takes are no cells

        return sweep.read_cell({**words, "again": asked.again}, asked.store, asked.at)
    if asked.again is None:
        return read_request(Words(**words), still=True)
    refuse_words(words, f"--again shows what {asked.again} describes")
    found = sidecar.read(asked.again)
    if isinstance(found, sidecar.PassageSidecar):
        raise ReedboreError(f"{asked.again} describes a passage; animate shows a single take")
    return request_again(found, asked.again)


def _first(take: Take, seconds: float) -> Take:
    """Cut a take as if it had been rendered for that long. [s]."""
    steps, samples = round(seconds * take.setup.time.rate), round(seconds * SOUND_RATE)
    return replace(
        take,
        seconds=seconds,
        sung=take.sung[:steps],
        traces=type(take.traces)(*(trace[:steps] for trace in take.traces)),
        sound=take.sound[:samples],
    )


def _draw(
    scene: Scene, levelled: Levelled | None, sound: str, asked: Asked, progress: Progress
) -> dict[str, Any]:
    """Write the file; what there is to tell of it."""
    from reedbore.report.figures.film import picture  # noqa: PLC0415 - loaded beside the take

    if asked.output.suffix.lower() in video.STILLS:
        progress.stage("drawing")
        frames = list(asked.frames) or picture.quarters(scene)
        picture.stills(scene, frames, asked.output)
        return {"frames": frames, "captions": [scene.captions[number] for number in frames]}
    progress.stage(f"drawing {scene.frames} frames")
    samples = None if levelled is None else levelled.samples
    picture.film(scene, asked.output, samples, progress.share)
    number = 0
    captions = []
    for text, run in groupby(told.text for told in held(scene.captions, scene.rate)):
        captions.append({"at_s": number / scene.rate, "text": text})
        number += len(list(run))
    return {
        "frames": scene.frames, "rate_hz": scene.rate, "seconds": asked.seconds, "sound": sound,
        "gain_db": 0.0 if levelled is None else levelled.gain_db, "captions": captions,
    }  # fmt: skip


def _told(
    request: Request,
    scene: Scene,
    begin: float,
    found: Verdict,
    made: dict[str, Any],
    asked: Asked,
) -> tuple[dict[str, Any], str]:
    """Say what was made, as plain data and for reading."""
    voice = request.setup.voice
    sung = voice.frequency if voice.source in {"pulse", "sine"} else None
    judged = found.document(request.typed.fingered_hz, sung, request.typed.a4_hz)
    document = {
        "wrote": str(asked.output), "slow": asked.slow, "begin_s": begin, "title": scene.title,
        "says": scene.says, **made, "verdict": judged,
    }  # fmt: skip
    lines = [scene.title, scene.says, "", f"  wrote       {asked.output}"]
    if isinstance(made["frames"], list):
        shown = ", ".join(str(number) for number in made["frames"])
        lines.append(
            f"  instants    frames {shown} of the moving picture, {asked.slow} times slower"
        )
    else:
        truth = 1e3 * asked.seconds / asked.slow
        lines += [
            f"  shown       {truth:.3g} ms in {asked.seconds:g} s, {asked.slow} times slower",
            f"  sound       {SOUND_WORDS[made['sound']]}",
        ]
    if made.get("gain_db", 0.0) < 0.0:
        lines.append(
            f"The sound was lowered by {-made['gain_db']:.1f} dB: do not compare its loudness with "
            "other takes."
        )
    return document, "\n".join(lines)


SOUND_WORDS = {
    "true": "at its true speed",
    "slowed": "as slow as the picture, and as much lower",
    "none": "none",
}
