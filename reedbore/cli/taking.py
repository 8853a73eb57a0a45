"""One take from the command line: read what is asked for, simulate, write all files, tell.

The command `render` is made of these steps; they are apart from it so that its help starts fast.
"""

import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from reedbore import audio, render, sidecar
from reedbore import verdict as verdicts
from reedbore.breath_levels import threshold
from reedbore.cli.common import tell
from reedbore.cli.request import Request, Words, read_again, read_request, tune_request
from reedbore.errors import AudioError, ReedboreError
from reedbore.files import check_writable
from reedbore.listening import JUMP_CENTS
from reedbore.model import Setup, depth_name
from reedbore.notes import cents, note_name
from reedbore.summary import summary

SECONDS = 4.0
SECONDS_RANGE = (0.5, 600.0)  # a verdict needs some steady sound
QUIET_S = 1.0  # nothing is said about work that takes less
FADE_S = 0.02
# Full scale of the pressures inside mouth and mouthpiece: twice the highest breath there is.
INNER_FULL_SCALE_PA = 40e3

Samples = NDArray[np.float64]


class Progress:
    """Names the work in hand on stderr, once it has taken longer than a second."""

    def __init__(self) -> None:
        self._timer = threading.Timer(QUIET_S, self._wake)
        self._timer.daemon = True
        self._lock = threading.Lock()
        self._stage, self._awake = "", False

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()

    def stage(self, name: str) -> None:
        """Say what is being done now."""
        with self._lock:
            self._stage = name
            if self._awake:
                tell(f"{name} ...")

    def _wake(self) -> None:
        with self._lock:
            self._awake = True
            tell(f"{self._stage} ...")


class Meter(Progress):
    """Also names the share done, whenever another tenth is."""

    def __init__(self, stage: str) -> None:
        super().__init__()
        self.stage(stage)
        self._tenths = 0

    def share(self, done: float) -> None:
        """Say how much is done. [0 to 1]."""
        tenths = int(10.0 * done)
        if tenths > self._tenths:
            self._tenths = tenths
            self.stage(f"searching, {10 * tenths} % done")


def read(
    words: Mapping[str, Any], seconds: float | None, again: Path | None
) -> tuple[Request, float]:
    """Read what was typed, or the sidecar of `again`.

    Parameters
    ----------
    words : mapping
        What `Words` is made of.
    seconds : float or None
        Length of the take. [s]
    again : Path or None
        Sidecar of a take to make again; then nothing else may have been typed.

    Returns
    -------
    request : Request
        What is going to be rendered.
    seconds : float
        How long. [s]

    Raises
    ------
    ReedboreError
        If anything is wrong with it.
    """
    if again is None:
        length = check_seconds(SECONDS if seconds is None else seconds)
        return read_request(Words(**words)), length
    typed = words if seconds is None else {**words, "seconds": seconds}
    refuse_words(typed, f"--again makes the take that {again} describes")
    request, length = read_again(again)
    return request, check_seconds(length)


def refuse_words(words: Mapping[str, Any], says: str) -> None:
    """Refuse what was typed beside an option that says it all."""
    given = [name for name, value in words.items() if value != getattr(Words(), name, None)]
    if given:
        flag = {"settings": "--set"}.get(given[0], f"--{given[0]}")
        raise ReedboreError(f"{says}: leave {flag} out")


def check_seconds(seconds: float) -> float:
    """Hand back the length of a take [s], or refuse it."""
    low, high = SECONDS_RANGE
    if not low <= seconds <= high:
        raise ReedboreError(
            f"--seconds is {seconds:g} s; allowed {low:g} to {high:g} s (length of the take)"
        )
    return seconds


def name_files(
    request: Request,
    *,
    output: Path | None,
    throat: Path | None,
    inside: Path | None,
    picture: bool,
) -> dict[str, Path]:
    """Name all files that will be written, and refuse at once where one cannot be.

    Parameters
    ----------
    request : Request
        Gives the sound its name where `output` is None.
    output, throat, inside : Path or None
        Sound files; the last two are left out if None.
    picture : bool
        Whether there is a picture.

    Returns
    -------
    dict
        Path by ``sound``, ``throat``, ``inside``, ``picture`` and ``sidecar``.

    Raises
    ------
    ReedboreError
        If a file cannot be written, or two have one name.
    """
    sound = output or Path("renders") / f"{request.typed['stem']}.wav"
    named = {"sound": sound, "throat": throat, "inside": inside}
    paths = {name: path for name, path in named.items() if path is not None}
    for path in paths.values():
        if path.suffix.lower() not in audio.FILE_FORMATS:
            raise AudioError(f"{path} ends in '{path.suffix}'; sound is written as .wav or .flac")
    if picture:
        paths["picture"] = sound.with_suffix(".png")
    paths["sidecar"] = sound.with_suffix(".json")
    voice = request.setup.voice.file
    used = [path.resolve() for path in (*paths.values(), *([voice] if voice else []))]
    if len(set(used)) < len(used):
        raise ReedboreError("two of the files have one name; give each of them a name of its own")
    for path in paths.values():
        check_writable(path)
    return paths


def simulate(
    request: Request, seconds: float, progress: Progress, *, lock_range: bool
) -> tuple[render.Take, verdicts.Verdict]:
    """Tune, render and judge; the judge sees nothing but the take.

    Parameters
    ----------
    request : Request
        What to render.
    seconds : float
        How long. [s]
    progress : Progress
        Where to name the work.
    lock_range : bool
        Whether to search the edges of a lock.

    Returns
    -------
    take : Take
        What was rendered.
    verdict : Verdict
        What was measured on it.
    """
    progress.stage("tuning the horn")
    setup = tune_request(request).setup
    progress.stage(f"simulating {seconds:g} s")
    take = render.render(setup, seconds)
    progress.stage("finding the lock range" if lock_range else "judging")
    return take, verdicts.judge(take, lock_range=lock_range)


def write_all(
    request: Request, take: render.Take, verdict: verdicts.Verdict, paths: Mapping[str, Path]
) -> tuple[dict[str, Any], Samples]:
    """Write all files.

    Parameters
    ----------
    request, take, verdict : Request, Take, Verdict
        What was asked for, rendered and measured.
    paths : mapping
        As from `name_files`.

    Returns
    -------
    document : dict
        What the sidecar holds, and under ``files`` the names of all files.
    sound : ndarray, shape (n,)
        The sound as written. [full scale]

    Raises
    ------
    ReedboreError
        If one cannot be written.
    """
    makers: dict[str, tuple[Callable[[], Samples], float]] = {
        "sound": (lambda: take.sound, render.FULL_SCALE_PA),
        "throat": (lambda: render.throat(take), INNER_FULL_SCALE_PA),
        "inside": (lambda: render.inside(take), INNER_FULL_SCALE_PA),
    }
    written = {
        name: _write_sound(paths[name], make(), full_scale)
        for name, (make, full_scale) in makers.items()
        if name in paths
    }
    if "picture" in paths:
        _draw(request, take, verdict, paths["picture"])
    kept = _sidecar(request, take, verdict, {name: level for name, (_, level) in written.items()})
    sidecar.write(paths["sidecar"], kept)
    files = {name: str(path) for name, path in paths.items()}
    return {"files": files, **sidecar.document(kept)}, written["sound"][0]


def _write_sound(
    path: Path, pressure: Samples, full_scale: float
) -> tuple[Samples, dict[str, Any]]:
    """Level and write one sound; its samples, and how it was levelled."""
    rate = render.SOUND_RATE
    clean, _ = audio.mute_broken(pressure, rate)
    clean = audio.fade(audio.remove_dc(clean, rate), rate, FADE_S)
    levelled = audio.to_full_scale(clean, full_scale)
    audio.write(path, levelled.samples, rate)
    level = {"rate_hz": rate, "full_scale_pa": full_scale, "gain_db": levelled.gain_db}
    return levelled.samples, {"file": path.name, **level}


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


def play(sound: Samples) -> None:
    """Play what was written; an AudioError if that cannot be done."""
    audio.play(sound, render.SOUND_RATE)


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
    lines += [f"  {name:11} {path}" for name, path in document["files"].items()]
    lines += [
        f"The {name} was lowered by {-level['gain_db']:.1f} dB to stay below "
        f"{audio.CEILING_DBTP:g} dBTP: do not compare its loudness with other takes."
        for name, level in document["sound"].items()
        if level["gain_db"] < 0.0
    ]
    return "\n".join(lines)


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
    return title if request.setup.voice.source == "off" else f"{title}, {_depth(request.setup)}"


def _strayed(request: Request, found: verdicts.Verdict, a4: float) -> list[str]:
    """Say so if the horn plays another note than the fingered one."""
    asked = request.typed["fingered_hz"]
    if found.played_hz is None or abs(cents(found.played_hz, asked)) < JUMP_CENTS:
        return []
    played, fingered = (note_name(hz, a4) for hz in (found.played_hz, asked))
    return [f"The horn plays {played} instead of the fingered {fingered}."]


def _depth(setup: Setup) -> str:
    return f"depth {setup.voice.depth:g} ({depth_name(setup.voice.depth)})"


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
        rows.append(("voice", _depth(take.setup)))
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
