"""One take from the command line: read what is asked for, simulate, write all files, tell.

The command `render` is made of these steps; they are apart from it so that its help starts fast.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore import render, sidecar
from reedbore import verdict as verdicts
from reedbore.breath_levels import threshold
from reedbore.cli.common import tell
from reedbore.cli.outputs import Made, Wanted, file_lines, name_files, write_sounds
from reedbore.cli.progress import Progress
from reedbore.cli.request import Request, tune_request
from reedbore.errors import ReedboreError
from reedbore.kernel import mouth
from reedbore.listening import JUMP_CENTS
from reedbore.model import Setup, depth_name
from reedbore.notes import cents, note_name
from reedbore.summary import summary

SECONDS = 4.0
USUAL_DEPTHS = 0.02, 0.15  # 50 to 400 Pa at 3 kPa: our estimate, no source

Samples = NDArray[np.float64]


def make(
    request: Request, seconds: float, wanted: Wanted, progress: Progress, *, lock_range: bool
) -> Made:
    """Tune, render, judge and write; nothing is run if a file cannot be written.

    Parameters
    ----------
    request : Request
        What to render.
    seconds : float
        How long. [s]
    wanted : Wanted
        The files.
    progress : Progress
        Where to name the work.
    lock_range : bool
        Whether to search the edges of a lock.

    Returns
    -------
    Made
        Its document is what the sidecar holds, and under ``files`` the names of all files.

    Raises
    ------
    ReedboreError
        If a file cannot be written, or the horn has no such note.
    """
    for flag, path in (("--notes", wanted.notes), ("--resultant", wanted.resultant)):
        if path is not None:
            raise ReedboreError(
                f"{flag} writes a line of notes, and this is a single take; give the note its "
                "beats, as in --fingered Bb2:4, or leave it out"
            )
    voice = request.setup.voice.file
    paths = name_files(wanted, request.typed["stem"], [voice] if voice else [], table=False)
    for warning in request.warnings:
        tell(warning)
    take, verdict = simulate(request, seconds, progress, lock_range=lock_range)
    progress.stage("writing")
    document, sound = write_all(request, take, verdict, paths)
    return Made(document, text(request, take, verdict, document), sound)


def simulate(
    request: Request, seconds: float, progress: Progress, *, lock_range: bool
) -> tuple[render.Take, verdicts.Verdict]:
    """Tune, render and judge; the judge sees nothing but the take."""
    progress.stage("tuning the horn")
    setup = tune_request(request).setup
    progress.stage(f"simulating {seconds:g} s")
    take = render.render(setup, seconds)
    progress.stage("finding the lock range" if lock_range else "judging")
    return take, verdicts.judge(take, lock_range=lock_range)


def write_all(
    request: Request, take: render.Take, verdict: verdicts.Verdict, paths: Mapping[str, Path]
) -> tuple[dict[str, Any], Samples]:
    """Write all files; the document as of `make`, and the sound as written. [full scale]."""
    makers: dict[str, Callable[[], Samples]] = {
        "sound": lambda: take.sound,
        "throat": lambda: render.throat(take),
        "inside": lambda: render.inside(take),
    }
    sound, levels = write_sounds(makers, paths)
    if "picture" in paths:
        _draw(request, take, verdict, paths["picture"])
    kept = _sidecar(request, take, verdict, levels)
    sidecar.write(paths["sidecar"], kept)
    files = {name: str(path) for name, path in paths.items()}
    return {"files": files, **sidecar.document(kept)}, sound


def _draw(request: Request, take: render.Take, verdict: verdicts.Verdict, path: Path) -> None:
    from reedbore.figures.plots import take_picture  # noqa: PLC0415 - a take may go without

    a4 = request.typed["a4_hz"]
    says = summary(verdict, a4)
    take_picture(take, verdict, path, title=_title(request), says=says, a4=a4)


def _sidecar(
    request: Request, take: render.Take, verdict: verdicts.Verdict, levels: dict[str, Any]
) -> sidecar.Sidecar:
    voice = take.setup.voice
    asked = voice.frequency if voice.source in {"pulse", "sine"} else None
    measured = verdict.document(request.typed["fingered_hz"], asked, request.typed["a4_hz"])
    return sidecar.Sidecar(
        setup=take.setup,
        seconds=take.seconds,
        request=request.typed,
        sound=levels,
        verdict=measured,
        versions=sidecar.versions(),
        recording=sidecar.fingerprint(take.setup),
    )


def text(
    request: Request, take: render.Take, verdict: verdicts.Verdict, document: Mapping[str, Any]
) -> str:
    """Set the verdict out for reading: the sentence, then the numbers, then the files.

    Parameters
    ----------
    request, take, verdict : Request, Take, Verdict
        What was asked for, rendered and measured.
    document : mapping
        As from `write_all`.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    a4 = request.typed["a4_hz"]
    told = [summary(verdict, a4), *_strayed(request, verdict, a4), *_needed(take, verdict)]
    lines = [_title(request), *told, ""]
    lines += [f"  {name:11} {value}" for name, value in _rows(take, verdict, a4)]
    lines.append("")
    return "\n".join([*lines, *file_lines(document)])


def _needed(take: render.Take, verdict: verdicts.Verdict) -> list[str]:
    """Tell how much breath a horn needs that does not play."""
    if verdict.voice_off_state != "silent":
        return []
    held = take.setup.reed.held()
    least, most = threshold(take.setup), held.stiffness * held.opening
    return [
        f"It is blown with {take.setup.breath.pressure / 1e3:.3g} kPa; it begins to sound at about "
        f"{least / 1e3:.2g} kPa, and {most / 1e3:.3g} kPa shuts the reed."
    ]


def _title(request: Request) -> str:
    title = str(request.typed["title"])
    return (
        title if request.setup.voice.source == "off" else f"{title}, {depth_words(request.setup)}"
    )


def _strayed(request: Request, found: verdicts.Verdict, a4: float) -> list[str]:
    """Say so if the horn plays another note than the fingered one."""
    asked = request.typed["fingered_hz"]
    if found.played_hz is None or abs(cents(found.played_hz, asked)) < JUMP_CENTS:
        return []
    played, fingered = (note_name(hz, a4) for hz in (found.played_hz, asked))
    return [f"The horn plays {played} instead of the fingered {fingered}."]


def depth_words(setup: Setup) -> str:
    """Say how strongly is sung, and what a player would call that."""
    if setup.voice.drive == "pressure" or setup.voice.source == "recording":
        return f"depth {setup.voice.depth:g} ({depth_name(setup.voice.depth)})"
    found = mouth.depth(setup)
    least, most = USUAL_DEPTHS
    return f"depth {found:.2g} ({depth_name(found)}; usual {least:g} to {most:g}) out of the flow"


def _rows(take: render.Take, found: verdicts.Verdict, a4: float) -> list[tuple[str, str]]:
    """Choose the numbers worth reading: third note, how steady, locked, then the rest."""
    rows = [("third note", _third(found, a4))] if found.state != "unsung" else []
    if found.drift_hz is not None and found.state != "locked":
        rows.append(("beat", f"{found.drift_hz:+.3f} Hz"))
    rows.append(("state", found.state))
    if found.lock_range_cents is not None:
        low, high = found.lock_range_cents
        rows.append(
            ("lock range", f"{low:+.1f} to {high:+.1f} cents, for a voice like a clock; a real "
             "singer bends towards the lock, or away from it")
        )  # fmt: skip
    rows += [
        (name, f"{note_name(hz, a4)}, {hz:.2f} Hz")
        for name, hz in (("played", found.played_hz), ("sung", found.sung_hz))
        if hz is not None
    ]
    if found.settle_s is not None:
        rows.append(("settled", f"after {found.settle_s:.2f} s"))
    if found.roughness is not None:
        rows.append(("roughness", f"{found.roughness:.3g} times that of the horn alone"))
    rows.append(("breath", f"{take.setup.breath.pressure / 1e3:.3g} kPa"))
    if take.setup.voice.source != "off":
        rows.append(("voice", depth_words(take.setup)))
    return rows


def _third(found: verdicts.Verdict, a4: float) -> str:
    if found.resultant_hz is None or found.ratio is None:
        return "none"
    p, q = found.ratio
    if found.heard.startswith("same as"):
        return f"none ({p}/{q})"
    note = f"{note_name(found.resultant_hz, a4)}, {found.resultant_hz:.2f} Hz, ratio {p}/{q}"
    level = found.resultant_level_db
    strength = "" if level is None else f"; its own partials are {-level:.0f} dB below the whole"
    return f"{note}; heard: {found.heard}{strength}"
