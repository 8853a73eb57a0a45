"""What a player asks for, on the command line or on the page, turned into a setup.

In: words as typed. Out: the setup, how it is called, and the words again for the sidecar. What is
left out is taken from the demo: horn, voice and first fingered note of the passage, `DEMO_SUNG`.
"""

import functools
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reedbore import notes, sound
from reedbore.errors import ModelError, NoteError, ReedboreError
from reedbore.files import file_stem, readable
from reedbore.measures.pitch import median_voiced_pitch
from reedbore.model.line import Line, read_line
from reedbore.model.passage import DYNAMICS, Passage, Piece
from reedbore.model.presets import load_horn, load_piece, load_singer, setup_for
from reedbore.model.setup import Horn, Setup, Singer
from reedbore.model.sidecar import Sidecar, differences, strangers
from reedbore.remembered import Remembered
from reedbore.simulate.breath import parse_pressure
from reedbore.simulate.dynamics import lip_follows, with_dynamic
from reedbore.simulate.player import alive
from reedbore.simulate.request.typed import Typed, TypedCell
from reedbore.simulate.request.voice_file import complaints
from reedbore.simulate.tuning import WrongNote, tune

DEMO = "mill-race"
DEMO_SUNG = "D4-13.8c"
"""Over the first note of the demo: where a voice like a clock locks at 5/2."""
NO_RECORDINGS = {".mid", ".midi", ".toml", ".json", ".zarr", ".musicxml", ".mxl", ".xml"}
SECONDS_RANGE = (0.5, sound.LONGEST_VOICE)  # a verdict needs some steady sound


@dataclass(frozen=True, kw_only=True)
class Words:
    """What was typed; None for what was left out.

    Attributes
    ----------
    horn, fingered, sung, voice, breath, passage : str or None
        As for the command `render`.
    fingering : str
        Name of one of several fingerings for the note, "" for the plain one.
    depth, tempo : float or None
        As for the command `render`.
    settings : sequence of str
        What followed each ``--set``.
    a4 : float
        Frequency of A4. [Hz]
    written : bool
        The fingered note is a written one.
    slivers : float or None
        How a MIDI file is tidied. [ms]
    quantise : str or None
        To which part of a beat.
    instrument, singer : Horn, Singer or None
        In place of the presets that `horn` and `voice` then only name.
    piece : Piece or None
        In place of the passage file that `passage` then only names.
    """

    horn: str | None = None
    fingered: str | None = None
    sung: str | None = None
    voice: str | None = None
    breath: str | None = None
    depth: float | None = None
    fingering: str = ""
    settings: Sequence[str] = ()
    a4: float = notes.A4_HZ
    written: bool = False
    passage: str | None = None
    tempo: float | None = None
    slivers: float | None = None
    quantise: str | None = None
    instrument: Horn | None = None
    singer: Singer | None = None
    piece: Piece | None = None


@dataclass(frozen=True, kw_only=True)
class Request:
    """What is going to be rendered.

    Attributes
    ----------
    setup : Setup
        Numbers only; it knows no note.
    untuned : (Horn, Words) or None
        What `tune_request` still has to do; None when the bore plays the fingered note.
    typed : Typed or TypedCell
        What was asked for, as the sidecar keeps it.
    still : bool
        Whether the player holds still where nothing else is set: tables, maps and pictures.
    warnings : tuple of str
        What the player should know before.
    reach : (low, high) or None
        Of the voice, if it is known. [Hz]
    transposition : int or None
        Written note minus sounding note of the horn, if it is known. [semitones]
    """

    setup: Setup
    typed: Typed | TypedCell
    untuned: tuple[Horn, Words] | None = None
    still: bool = False
    warnings: tuple[str, ...] = ()
    reach: tuple[float, float] | None = None
    transposition: int | None = None

    @property
    def written(self) -> int | None:
        """Its transposition if the fingered note was typed as written, else None."""
        typed = self.typed
        asked = isinstance(typed, Typed) and is_written(typed.fingered, all_of_it=typed.written)
        return self.transposition if asked else None


def refuse_words(words: Mapping[str, Any], says: str) -> None:
    """Refuse what was typed beside an option that says it all."""
    given = [name for name, value in words.items() if value != getattr(Words(), name, None)]
    if given:
        flag = {"settings": "--set"}.get(given[0], f"--{given[0]}")
        raise ReedboreError(f"{says}: leave {flag} out")


def check_seconds(
    seconds: float,
    name: str = "--seconds",
    what: str = "take",
    high: float = SECONDS_RANGE[1],
) -> float:
    """Hand back a length [s], or refuse it."""
    low = SECONDS_RANGE[0]
    if not low <= seconds <= high:
        raise ReedboreError(
            f"{name} is {seconds:g} s; allowed {low:g} to {high:g} s (length of the {what})"
        )
    return seconds


def read_request(words: Words, *, still: bool = False) -> Request:
    """Turn what was typed into a setup, at once: its bore is not yet tuned.

    Parameters
    ----------
    words : Words
        What was typed.
    still : bool
        Whether the player holds still where nothing else is set.

    Returns
    -------
    Request
        What `tune_request` takes.

    Raises
    ------
    ReedboreError
        If a word cannot be read or a number is out of range.
    """
    words = with_demo(words)
    notes.check_a4(words.a4)
    horn, singer = players(words)
    with named("--fingered"):
        fingered_hz = notes.parse_pitch(
            words.fingered or "", words.a4, transposition=horn.transposition, written=words.written
        )
    plain = setup_for(horn, singer)
    setup = plain if still else alive(plain)
    setup = blow_and_set(_sing(setup, words, fingered_hz, horn), words)
    return Request(
        setup=setup,
        typed=_typed(words, horn, fingered_hz, setup),
        untuned=(horn, words),
        still=still,
        warnings=(*_out_of_range(setup, singer, words.a4), *of_the_voice(words.sung)),
        reach=reach_of(setup, singer, words.a4),
        transposition=horn.transposition,
    )


def tune_request(request: Request) -> Request:
    """Find the bore that plays the fingered note.

    Parameters
    ----------
    request : Request
        From `read_request` or `read_again`.

    Returns
    -------
    Request
        Ready to be rendered. The bore is tuned as the preset has it: what the player changes then
        moves the pitch, as on a horn.

    Raises
    ------
    ModelError
        If the horn has no such note.
    """
    if request.untuned is None:
        return request
    horn, words = request.untuned
    hz, rate = request.typed.fingered_hz, request.setup.time.rate
    with as_typed(words):
        tuned = _tuned(horn, hz, rate, words.fingering)
    tuned = tuned if request.still else alive(tuned)
    tuned = tuned.model_copy(update={"voice": request.setup.voice})
    setup = blow_and_set(tuned, words)
    if words.breath in DYNAMICS and setup.breath.lip == "follows":
        setup = lip_follows(setup, hz)
    return replace(request, setup=setup, untuned=None)


_tuned = Remembered(tune, 512)  # a page asks for the same note again and again


def with_demo(words: Words) -> Words:
    """Fill in what was left out; a fingered note without a sung one is the horn alone."""
    piece = load_piece(DEMO)
    fingered, _ = first_notes(piece.passage)
    sung = words.sung
    if sung is None and words.fingered is None:
        sung = DEMO_SUNG
    return replace(
        words,
        horn=words.horn or piece.horn,
        fingered=fingered if words.fingered is None else words.fingered,
        sung=sung,
        voice=words.voice or piece.voice,
        # The demo's notes are concert pitch, whatever the player's own are.
        written=words.written and words.fingered is not None,
    )


@functools.lru_cache(maxsize=16)
def first_notes(passage: Passage) -> tuple[str, str | None]:
    """Choose one pair from a passage: first fingered note, longest sung one (None: no voice)."""
    line = read_line(passage.sung) if passage.sung else Line(())
    notes_sung = [note for note in zip(line.beats, line.pitches, strict=True) if note[1]]
    hum = max(notes_sung, key=lambda note: note[0], default=(0, None))
    return next(pitch for pitch in read_line(passage.fingered).pitches if pitch), hum[1]


def players(words: Words) -> tuple[Horn, Singer]:
    """Find the horn and the voice that words name, or bring along."""
    return (
        words.instrument or load_horn(words.horn or ""),
        words.singer or load_singer(words.voice or ""),
    )


def _sing(setup: Setup, words: Words, fingered_hz: float, horn: Horn) -> Setup:
    """Give the setup its sung note, a recorded voice, or none."""
    if words.depth is not None:
        setup = setup.with_value("voice.depth", words.depth)
    if words.sung is None:
        return setup.with_value("voice.source", "off")
    path = Path(words.sung)
    if is_recording(words.sung):
        return recorded(setup, path)
    with named("--sung"):
        hz = notes.parse_sung(words.sung, fingered_hz, words.a4, transposition=horn.transposition)
    return setup.with_value("voice.frequency_hz", hz)


def of_the_voice(sung: str | None) -> list[str]:
    """Say what speaks against a recording as a voice."""
    return complaints(Path(sung)) if sung is not None and is_recording(sung) else []


def is_recording(word: str) -> bool:
    """Tell the name of a sound file, of whatever kind, from a note: its suffix is a word."""
    suffix = Path(word).suffix.lower()
    return bool(re.fullmatch(r"\.[a-z]\w{1,4}", suffix)) and suffix not in NO_RECORDINGS


def recorded(setup: Setup, path: Path) -> Setup:
    """Make a recording the voice; its median pitch becomes the sung note where it has one."""
    samples, rate = sound.read(path, sound.LONGEST_VOICE)
    setup = setup.with_value("voice.file", str(path.resolve()))
    setup = setup.with_value("voice.source", "recording")
    hz = median_voiced_pitch(samples, rate)
    return setup if hz is None else setup.with_value("voice.frequency_hz", hz)


FOR_A_CLOCK = "voice.rd", "voice.effort", "voice.flow_ml_per_s", "tract.returned", "tract.folds"
"""Settings that folds, once they sing, do not listen to."""


def _check_folds(setup: Setup, words: Words) -> None:
    """Refuse what was set for a voice like a clock if the voice is sung by folds."""
    if setup.voice.drive != "folds":
        return
    for text in words.settings:
        name, value = parse_setting(text)
        uncoupled = name == "tract.coupling" and value == "off"
        if name in FOR_A_CLOCK or uncoupled:
            says = (
                "folds are always coupled" if uncoupled else "folds make their own pulse and flow"
            )
            raise ModelError(f"--set {text}: with voice.drive=folds it says nothing; {says}")


def _check_breath(setup: Setup, words: Words) -> None:
    """Refuse lungs behind a clock, and a breath beside lungs, which it follows."""
    if setup.voice.drive != "folds":
        raise ModelError(
            f"voice.lung_kpa is {setup.value('voice.lung_kpa'):g} kPa; only with voice.drive=folds "
            "does the breath hang on the lungs"
        )
    typed = [f"--breath {words.breath}"] if words.breath is not None else []
    typed += [f"--set {text}" for text in words.settings if text.startswith("breath.pressure_kpa")]
    if typed:
        raise ModelError(f"{typed[0]}: leave it out; with voice.lung_kpa the breath follows")


def blow_and_set(setup: Setup, words: Words) -> Setup:
    """Give a setup all that was set one by one, then its breath, which may hang on that.

    Parameters
    ----------
    setup : Setup
        Horn and voice.
    words : Words
        Its settings, and its breath as a pressure or a dynamic.

    Returns
    -------
    Setup
        The copy.

    Raises
    ------
    ModelError
        If a setting or the breath is not allowed.
    """
    # What sings goes first: the other settings hang on it, in whichever order they are typed.
    for text in sorted(words.settings, key=lambda text: parse_setting(text)[0] != "voice.drive"):
        name, value = parse_setting(text)
        if setup.voice.source == "recording" and name in ("voice.source", "voice.file"):
            raise ModelError(f"--set {text}: --sung is a recording already; leave one of them out")
        setup = setup.with_value(name, value)
    _check_folds(setup, words)
    if setup.voice.lung is not None:
        _check_breath(setup, words)
    if words.breath is not None:
        try:
            return _blow(setup, words.breath.strip())
        except ModelError as error:
            raise ModelError(f"--breath {error}") from error
    return setup


def _blow(setup: Setup, breath: str) -> Setup:
    if breath in DYNAMICS:
        return with_dynamic(setup, breath)
    return setup.with_value("breath.pressure_kpa", parse_pressure(breath) / 1e3)


def reach_of(setup: Setup, singer: Singer, a4: float) -> tuple[float, float] | None:
    """Return how low and how high is sung [Hz]; nobody knows whose voice a recording holds."""
    return None if setup.voice.source == "recording" else singer.reach(a4)


def reach_again(setup: Setup, voice: str, a4: float) -> tuple[float, float] | None:
    """Return the same for the voice that a sidecar names, if it is still found."""
    try:
        return reach_of(setup, load_singer(voice), a4)
    except ReedboreError:
        return None


def transposition_again(horn: str) -> int | None:
    """Return that of the horn that a sidecar names, if it is still found."""
    try:
        return load_horn(horn).transposition
    except ReedboreError:
        return None


def _out_of_range(setup: Setup, singer: Singer, a4: float) -> list[str]:
    made = setup.voice.source in {"pulse", "sine"}
    return out_of_range([setup.voice.frequency] if made else [], singer, a4)


def out_of_range(sung_hz: Sequence[float], singer: Singer, a4: float) -> list[str]:
    """Say which sung notes [Hz] a singer does not have; nothing where there are none."""
    low, high = singer.reach(a4)
    found = dict.fromkeys(notes.note_name(hz, a4) for hz in sung_hz if not low <= hz <= high)
    if not found:
        return []
    lies = "lies" if len(found) == 1 else "lie"
    return [
        f"{', '.join(found)} {lies} outside what the {singer.title.lower()} sings, "
        f"{singer.low_note} to {singer.high_note}; rendered all the same"
    ]


def _typed(words: Words, horn: Horn, fingered_hz: float, setup: Setup) -> Typed:
    fingered = sounding = notes.note_name(fingered_hz, words.a4)
    if is_written(words.fingered, all_of_it=words.written):
        typed = without_mark(words.fingered)
        fingered += f" (written {typed})"
        sounding += f"-written-{typed}"
    else:
        sounding = words.fingered or ""
    return Typed(
        horn=words.horn or horn.name,
        fingered=words.fingered,
        sung=words.sung,
        voice=words.voice,
        breath=words.breath,
        fingering=words.fingering,
        settings=tuple(words.settings),
        written=words.written,
        a4_hz=words.a4,
        fingered_hz=fingered_hz,
        title=f"{horn.title}, {fingered} fingered, {_sung_title(words, setup)}",
        stem=_stem(horn.name, sounding, words, setup),
    )


def _sung_title(words: Words, setup: Setup) -> str:
    if setup.voice.source == "off" or words.sung is None:
        return "nobody sings"
    if setup.voice.source == "recording":
        return f"{readable(Path(words.sung).name)} sung"
    note = notes.note_name(setup.voice.frequency, words.a4)
    return f"{note} {'aimed at' if setup.voice.folded else 'sung'}"


_WRITTEN = re.compile(r"(?<!\S)[wW]:")


def without_mark(text: str | None) -> str:
    """Return typed notes without the mark of written ones."""
    return _WRITTEN.sub("", text or "")


def is_written(text: str | None, *, all_of_it: bool = False) -> bool:
    """Tell whether notes were typed as written for a horn; a frequency sounds as it is given."""
    plain = (text or "").strip()
    return bool(_WRITTEN.search(plain)) or (all_of_it and not plain.lower().endswith("hz"))


def _stem(horn: str, fingered: str, words: Words, setup: Setup) -> str:
    """Name files by the notes that sound and, where that was typed, as written, like the title."""
    sung = words.sung or "alone"
    if is_recording(sung):
        sung = Path(sung).stem
    elif is_written(sung):
        sung = notes.note_name(setup.voice.frequency, words.a4)
    depth = f"depth{words.depth:g}" if words.depth is not None else ""
    parts = (horn, fingered, sung, words.fingering, depth, words.breath, *words.settings)
    return file_stem(parts)


def request_again(found: Sidecar, path: Path) -> Request:
    """Take up what a sidecar says.

    Parameters
    ----------
    found : Sidecar
        What was read.
    path : Path
        From where, for the error.

    Returns
    -------
    Request
        The same setup bit for bit, and the same words.

    Raises
    ------
    ReedboreError
        If it is not whole.
    """
    of_cell = "cell" in found.request
    typed = (TypedCell if of_cell else Typed).read(found.request, path, "a take")
    return Request(
        setup=found.setup,
        typed=typed,
        warnings=(*differences(found), *strangers(found, path)),
        reach=reach_again(found.setup, getattr(typed, "voice", None) or "", typed.a4_hz),
        transposition=transposition_again(typed.horn),
    )


def parse_setting(text: str) -> tuple[str, float | str]:
    """Read what follows ``--set``.

    Parameters
    ----------
    text : str
        ``reed.opening_mm=1.2`` or ``reed.dynamics=massless``.

    Returns
    -------
    name : str
        The setting; whether there is one is for `reedbore.model.setup` to say.
    value : float or str
        Its value, in the unit that users write; text if it is no number.

    Raises
    ------
    ModelError
        If there is no equals sign with something on both sides.
    """
    name, _, value = (part.strip() for part in text.partition("="))
    if not name or not value:
        raise ModelError(f"--set {text!r}: write NAME=VALUE, as in --set reed.opening_mm=1.2")
    try:
        return name, float(value)
    except ValueError:
        return name, value


@contextmanager
def as_typed(words: Words) -> Iterator[None]:
    """Tell of a note that the horn has not as it was typed: sounding, or as written for it."""
    try:
        yield
    except WrongNote as error:
        raise error.as_written() if words.written else error from None


@contextmanager
def named(option: str) -> Iterator[None]:
    """Put the name of an option in front of a sentence about its value."""
    try:
        yield
    except NoteError as error:
        raise NoteError(f"{option} {error}") from error
