"""What the page sends, turned into the words of a request.

In: JSON that anybody may have made. Out: `Words`, or one sentence. Files are never named here: a
page must not make the program read any.
"""

import re
from collections.abc import Mapping
from typing import TypeVar

from reedbore import notes
from reedbore.errors import ReedboreError
from reedbore.model.presets import read_text
from reedbore.model.settings import Part
from reedbore.model.setup import Horn, Singer
from reedbore.page.answers import number, shown
from reedbore.simulate.request.take import Words, is_recording, with_demo

TEXTS = "horn", "fingered", "sung", "voice", "breath", "fingering"
FILES = "horn_text", "voice_text"
KEYS = {*TEXTS, *FILES, "depth", "settings", "a4", "written"}
LONGEST_TEXT = 100
LONGEST_FILE = 100_000
MOST_SETTINGS = 60
FASTEST_HZ = 192000.0
"""More steps a second are for the command line: a page shows no difference. [Hz]"""

P = TypeVar("P", Horn, Singer)

_SETTING = re.compile(r"[a-z][a-z0-9_.]*")


def read_words(plain: object) -> Words:
    """Read the words of a request.

    Parameters
    ----------
    plain : object
        Under the names of `Words`, ``settings`` being an object; what is missing is the demo's,
        and a sung note that is null is none. ``horn_text`` and ``voice_text`` are preset files
        that the user has opened in the browser.

    Returns
    -------
    Words
        With horn, voice and fingered note.

    Raises
    ------
    ReedboreError
        If a word is unknown, of the wrong kind, or names a file.
    """
    if not isinstance(plain, Mapping):
        raise ReedboreError('words must be an object such as {"fingered": "Bb2"}')
    if unknown := sorted(map(str, set(plain) - KEYS)):
        raise ReedboreError(f"{unknown[0]} is no word; there are {', '.join(sorted(KEYS))}")
    if isinstance(plain.get("fingered"), str) and not plain["fingered"].strip():
        raise ReedboreError("fingered is empty; which note? Write one such as Bb2")
    demo = with_demo(Words())
    told = {name: _text(name, plain[name]) for name in TEXTS if plain.get(name) not in (None, "")}
    sung = told.get("sung") if "sung" in plain else demo.sung
    written = _flag(plain.get("written", False)) and "fingered" in told
    return Words(
        horn=told.get("horn", demo.horn),
        fingered=told.get("fingered", demo.fingered),
        sung=sung,
        voice=told.get("voice", demo.voice),
        breath=told.get("breath"),
        depth=number("depth", plain["depth"]) if plain.get("depth") is not None else None,
        fingering=told.get("fingering", ""),
        settings=_settings(plain.get("settings") or {}),
        a4=number("a4", plain.get("a4", notes.A4_HZ)),
        written=written,
        instrument=_opened(Horn, plain.get("horn_text"), told.get("horn", "own-horn")),
        singer=_opened(Singer, plain.get("voice_text"), told.get("voice", "own-voice")),
    )


def _opened(kind: type[P], text: object, name: str) -> P | None:
    """Read a preset from its text, if there is one."""
    if text is None:
        return None
    found = opened(text, f"{name}.toml")
    if not isinstance(found, kind):
        raise ReedboreError(f"{name}.toml is no preset of a {kind.__name__.lower()}")
    return found


def opened(text: object, file_name: object) -> Part:
    """Read a preset of any kind that the user has opened.

    Parameters
    ----------
    text, file_name : object
        As sent by the page.

    Returns
    -------
    Horn or Singer or Piece
        The model.

    Raises
    ------
    ReedboreError
        If anything in it is wrong.
    """
    if not isinstance(text, str) or not isinstance(file_name, str):
        raise ReedboreError("a preset must be text, and so must its name")
    if len(text) > LONGEST_FILE:
        raise ReedboreError(
            f"{len(text)} letters are too many for a preset; {LONGEST_FILE} are read"
        )
    bare = re.sub(r"[^\w .+#-]", "-", re.split(r"[/\\]", file_name)[-1])[-LONGEST_TEXT:]
    return read_text(text, bare.lstrip(".") or "own.toml")


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise ReedboreError(f"{name} is {shown(value)}; it must be text")
    if len(value) > LONGEST_TEXT:
        raise ReedboreError(f"{name} has {len(value)} letters; at most {LONGEST_TEXT} are read")
    bare = value.strip().lower()
    names_file = bare.endswith(".toml") or is_recording(bare) or "\\" in bare
    if names_file or (name in ("horn", "voice") and "/" in bare):
        raise ReedboreError(
            f"{name} is {shown(value)}; the page reads no files, use reedbore render"
        )
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ReedboreError(f"written is {shown(value)}; it must be true or false")
    return value


def _settings(plain: object) -> tuple[str, ...]:
    """Write settings as ``--set`` takes them."""
    if not isinstance(plain, Mapping):
        raise ReedboreError('settings must be an object such as {"reed.opening_mm": 1.2}')
    if len(plain) > MOST_SETTINGS:
        raise ReedboreError(f"{len(plain)} settings are too many; at most {MOST_SETTINGS} are read")
    return tuple(_setting(str(name), value) for name, value in plain.items())


def _setting(name: str, value: object) -> str:
    if not _SETTING.fullmatch(name):
        raise ReedboreError(f"{name[:LONGEST_TEXT]!r} is no setting")
    if name == "voice.file" or (name == "voice.source" and value == "recording"):
        raise ReedboreError(
            f"{name} is {shown(value)}; the page reads no files, use reedbore render"
        )
    if isinstance(value, str):
        return f"{name}={_text(name, value)}"
    found = number(name, value)
    if name == "time.rate_hz" and found > FASTEST_HZ:
        raise ReedboreError(
            f"time.rate_hz is {found:g} Hz; the page takes at most {FASTEST_HZ:g} Hz"
        )
    return f"{name}={found!r}"
