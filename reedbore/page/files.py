"""Files that the page hands out and takes in: takes, pictures, sidecars, presets.

In: words, or a file that the user has opened in the browser. Out: the bytes of a file, or words.
Nothing is written to this machine, and nothing is read from it.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.model import sidecar
from reedbore.model.passage import Piece
from reedbore.model.presets import write_text
from reedbore.model.settings import leaves
from reedbore.model.setup import Horn, Setup, Singer
from reedbore.page.answers import Answer, request_of, shown, take_of
from reedbore.page.choices import horn_entry, voice_entry
from reedbore.page.request import opened, read_words
from reedbore.report import verdict as telling
from reedbore.report.verdict import summary
from reedbore.simulate.outside import SOUND_RATE, levelled
from reedbore.simulate.request.take import Words, first_notes, parse_setting, players, read_request
from reedbore.simulate.request.typed import Typed
from reedbore.sound import encode
from reedbore.verdict.take import judge

KINDS = {
    "wav": "audio/wav",
    "png": "image/png",
    "json": "application/json",
    "toml": "application/toml",
}
SET_FROM = "air", "mouthpiece", "reed", "breath"
"""Parts of a setup that a preset of its horn takes over."""


def take(words: Words, seconds: float, kind: object) -> Answer:
    """Make a file to keep.

    Parameters
    ----------
    words : Words
        What is rendered.
    seconds : float
        How long. [s]
    kind : object
        One of `KINDS`: the sound, the picture, the sidecar that makes both again, or the horn as
        it is set now, as a preset file.

    Returns
    -------
    Answer
        With its name.

    Raises
    ------
    ReedboreError
        If there is no such kind, or the words cannot be rendered.
    """
    if not isinstance(kind, str) or kind not in KINDS:
        raise ReedboreError(f"kind is {shown(kind)}; write {', '.join(KINDS)}")
    if kind == "toml":
        request = request_of(words)
        body = write_text(_horn_as_set(words, request.setup)).encode()
    else:
        request, made = take_of(words, seconds)
        sound, level = levelled(made.sound)
        name = f"{request.typed.stem}.wav"
        if kind == "wav":
            body = encode(sound, SOUND_RATE)
        else:
            verdict = judge(made)
            if kind == "png":
                from reedbore.report.figures.take import take_png  # noqa: PLC0415 - slow to import

                a4 = request.typed.a4_hz
                title, says = telling.title(request), summary(verdict, a4)
                body = take_png(made, verdict, title=title, says=says, a4=a4)
            else:
                kept = telling.kept(request, made, verdict, {"sound": {"file": name, **level}})
                text = json.dumps(sidecar.document(kept), ensure_ascii=False, indent=2)
                body = f"{text}\n".encode()
    stem = words.horn if kind == "toml" else request.typed.stem
    plain = "".join(sign if sign.isascii() and sign.isprintable() else "-" for sign in str(stem))
    plain = plain.replace('"', "-").replace("\\", "-")
    place = f'attachment; filename="{plain}.{kind}"'
    return Answer(body, KINDS[kind], {"content-disposition": place})


def _horn_as_set(words: Words, setup: Setup) -> Horn:
    """Make a preset of a horn with reed, breath, mouthpiece and air as they are set."""
    horn, _ = players(words)
    setup = setup.model_copy(update={"breath": setup.breath.settled()})  # a horn is no player
    return horn.model_copy(update={part: getattr(setup, part) for part in SET_FROM})


def read(body: Mapping[str, Any]) -> dict[str, Any]:
    """Turn a file that the user has opened into words.

    Parameters
    ----------
    body : mapping
        Either ``sidecar``, a JSON object, or ``preset``, a text, and its ``name``.

    Returns
    -------
    dict
        ``words`` to be set; ``horn`` or ``voice``, an entry of the choices, for one of the user's
        own; ``notes``, sentences on what is not the same.

    Raises
    ------
    ReedboreError
        If it cannot be read.
    """
    if "preset" in body:
        return _of_preset(body["preset"], body.get("name") or "own.toml")
    document = body.get("sidecar")
    if not isinstance(document, Mapping):
        raise ReedboreError("send a sidecar, which is a JSON object, or the text of a preset")
    found = sidecar.from_document(document, Path(str(body.get("name") or "the sidecar")).name)
    if isinstance(found, sidecar.PassageSidecar):
        raise ReedboreError("this is the sidecar of a passage; the page plays single takes")
    return _of_sidecar(found)


def _of_preset(text: object, name: object) -> dict[str, Any]:
    found = opened(text, name)
    if isinstance(found, Piece):
        fingered, sung = first_notes(found.passage)
        words: dict[str, Any] = {
            "horn": found.horn,
            "voice": found.voice,
            "fingered": fingered,
            "sung": sung,
            "settings": {} if found.drive == "pressure" else {"voice.drive": found.drive},
        }
        read_request(read_words(words))
        return {"words": words, "notes": [f"the first held note of {found.title}"]}
    assert isinstance(found, Horn | Singer)
    kind = "horn" if isinstance(found, Horn) else "voice"
    words = {kind: found.name, f"{kind}_text": str(text)}
    if isinstance(found, Horn):
        return {"words": words, "horn": horn_entry(found), "notes": []}
    return {"words": words, "voice": voice_entry(found), "notes": []}


def _of_sidecar(found: sidecar.Sidecar) -> dict[str, Any]:
    """Find the words that make the setup of a sidecar."""
    typed, setup = found.request, found.setup
    if setup.voice.source == "recording":
        raise ReedboreError("its voice is a recording, which the page cannot read; use --again")
    given = {
        name: typed[name]
        for name in ("horn", "fingered", "sung", "voice", "breath", "fingering", "written")
        if typed.get(name) not in (None, "")
    }
    given |= {"sung": typed.get("sung"), "a4": typed.get("a4_hz", 440.0)}
    # What was typed goes first: on what it has come to, a dynamic would act twice.
    kept = Typed.read(typed, Path("the sidecar"), "a take").settings
    plain = {**given, "settings": dict(map(parse_setting, kept))}
    made = request_of(read_words(plain)).setup
    there, wanted = dict(leaves(made.to_plain())), dict(leaves(setup.to_plain()))
    changed = {
        name: value
        for name, value in wanted.items()
        if value != there.get(name) and value is not None and name in there
    }
    if "voice.depth" in changed:
        plain["depth"] = changed.pop("voice.depth")
    plain["settings"] |= changed
    if request_of(read_words(plain)).setup != setup:
        raise ReedboreError("its horn is not one that the page has; open the preset of it first")
    plain = {name: value for name, value in plain.items() if value not in (None, {}, "")}
    return {"words": {**plain, "sung": typed.get("sung")}, "notes": sidecar.differences(found)}
