"""What is told of a take: its title, sentences a player would say, numbers, and its sidecar.

In: what was asked for, the take and its verdict. Out: words and plain values, the same on the
command line and on the page.
"""

import math
from collections.abc import Mapping
from typing import Any

from reedbore.model import sidecar
from reedbore.model.passage import DYNAMICS
from reedbore.model.setup import Setup, depth_name
from reedbore.notes import A4_HZ, cents, note_name, split_note, written_name
from reedbore.report.words import (
    CLOCK,
    FOLDS,
    FOLLOWS,
    HEARD,
    STATES,
    STRAIN,
    is_one_of_two,
    rougher,
    sentence,
)
from reedbore.simulate import mouth
from reedbore.simulate.breath import threshold
from reedbore.simulate.request.take import Request
from reedbore.simulate.take import Take
from reedbore.verdict.instead import WITHIN_CENTS
from reedbore.verdict.result import Verdict
from reedbore.verdict.runs import JUMP_CENTS
from reedbore.verdict.state import LATE, Heard, HornState, Movement, Reason, State

STILL = "the state is that of the same horn held still"

STILL_HZ = 0.005
"""A beat slower than this is told as none: the sound moves once in minutes. [Hz]"""


def summary(verdict: Verdict, a4: float = A4_HZ) -> str:
    """Say in one or two sentences what became of the two notes.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    a4 : float
        Pitch of A4 for note names. [Hz]

    Returns
    -------
    str
        Plain words.
    """
    if not verdict.state.pair:
        words = STATES[verdict.state].clause
        moved = f" {_JUMPS[verdict.jumped]}" if verdict.movement == Movement.JUMPS else ""
        return f"{words}: {verdict.reason}.{moved}" if verdict.reason else f"{words}.{moved}"
    left = " The horn has left its register." if verdict.jumped else ""
    if verdict.movement == Movement.JUMPS:
        left += f" {_JUMPS[verdict.jumped]}"
    known = verdict.reason and verdict.reason != Reason.UNDECIDED
    why = f" ({verdict.reason}.)" if known else ""
    return f"{_third_note(verdict, a4)} {_steadiness(verdict)}{left}{why}"


_JUMPS = {
    False: "As breath and lip move here, it leaves its register.",
    True: "As breath and lip move here, it comes back.",
}
"""What a moving player makes of a horn that held still is in its register, or is not."""


def _steadiness(verdict: Verdict) -> str:
    if verdict.state == State.DRIFTING:
        return _drift(verdict)
    if verdict.movement == Movement.PARTS:
        says = FOLLOWS[verdict.follows] if verdict.follows else STATES[verdict.state].clause
        moves = f"the sound moves {_how_often(verdict.drift_hz or 0.0)}"
        return f"{says} while breath and lip hold still; moving as here, they part: {moves}."
    late = verdict.reason and verdict.reason.startswith(LATE)
    stands = "" if late or verdict.state != State.LOCKED else " and the sound stands still"
    says = FOLLOWS[verdict.follows] if verdict.follows else STATES[verdict.state].clause
    return f"{says}{stands}."


def _drift(verdict: Verdict) -> str:
    if verdict.reason == Reason.UNDECIDED:
        return f"Whether they lock is not decided: {Reason.UNDECIDED}."
    if verdict.drift_hz is None:
        return f"{STATES[State.DRIFTING].clause}."
    if abs(verdict.drift_hz) < STILL_HZ:
        return "The two notes are in tune but do not lock."
    return f"{STATES[State.DRIFTING].clause}: the sound moves {_how_often(verdict.drift_hz)}."


def _how_often(hz: float) -> str:
    beat = max(abs(hz), STILL_HZ)
    return f"once in {1.0 / beat:.0f} seconds" if beat < 0.5 else f"{beat:.2f} times a second"


def _third_note(verdict: Verdict, a4: float) -> str:
    hz = verdict.resultant_hz
    if hz is None:
        return "No third note."
    note = f"{note_name(hz, a4)} ({hz:.1f} Hz)"
    if verdict.jumped and verdict.heard == Heard.FINGERED:
        return f"The common note is the one that the horn now plays, {note}."
    return HEARD[Heard(verdict.heard)].sentence.format(note)


EXACT_CENTS = 0.05
EAR_CENTS = 3.0  # of tension: less is no more than the voice wanders by itself
USUAL_DEPTHS = 0.02, 0.15  # 50 to 400 Pa at 3 kPa: our estimate, no source


def sentences(request: Request, take: Take, verdict: Verdict) -> list[str]:
    """Say what became of the two notes, and what the player should know about the horn.

    Parameters
    ----------
    request, take, verdict : Request, Take, Verdict
        What was asked for, rendered and measured.

    Returns
    -------
    list of str
        The first is the verdict.
    """
    a4 = request.typed.a4_hz
    told = instead(verdict.document(request.typed.fingered_hz, a4=a4, reach=request.reach), a4)
    strayed = _strayed(request, verdict, a4)
    return [summary(verdict, a4), *strayed, *_needed(take, verdict), *map(sentence, told)]


def _needed(take: Take, verdict: Verdict) -> list[str]:
    """Tell how much breath a horn needs that does not play."""
    if verdict.voice_off_state != HornState.SILENT:
        return []
    least, most = threshold(take.setup), take.setup.reed.closes_at
    return [
        f"It is blown with {take.setup.breath.pressure / 1e3:.3g} kPa; it begins to sound at about "
        f"{least / 1e3:.2g} kPa, and {most / 1e3:.3g} kPa shuts the reed."
    ]


def title(request: Request) -> str:
    """Name horn, fingered and sung note, and how strongly is sung."""
    named = request.typed.title
    alone = request.setup.voice.source == "off"
    return named if alone else f"{named}, {depth_words(request.setup)}"


def _strayed(request: Request, found: Verdict, a4: float) -> list[str]:
    """Say so if the horn plays another note than the fingered one."""
    asked = request.typed.fingered_hz
    if found.played_hz is None or abs(cents(found.played_hz, asked)) < JUMP_CENTS:
        return []
    played, fingered = (
        note_name(hz, a4) + _as_written(request, hz) for hz in (found.played_hz, asked)
    )
    return [f"The horn plays {played} instead of the fingered {fingered}."]


def depth_words(setup: Setup) -> str:
    """Say how strongly is sung, and what a player would call that."""
    if setup.voice.folded:
        name = depth_name(setup.voice.depth)
        return f"depth {setup.voice.depth:g} ({name}), from folds"
    if setup.voice.drive == "pressure" or setup.voice.source == "recording":
        return f"depth {setup.voice.depth:g} ({depth_name(setup.voice.depth)})"
    found = mouth.depth(setup)
    least, most = USUAL_DEPTHS
    return f"depth {found:.2g} ({depth_name(found)}; usual {least:g} to {most:g}) out of the flow"


def rows(request: Request, take: Take, found: Verdict) -> list[tuple[str, str]]:
    """Choose the numbers worth reading: third note, how steady, locked, then the rest.

    Parameters
    ----------
    request, take, found : Request, Take, Verdict
        What was asked for, rendered and measured.

    Returns
    -------
    list of (str, str)
        Name and value.
    """
    a4 = request.typed.a4_hz
    told = [("third note", _third(found, a4))] if found.state != State.UNSUNG else []
    parts = found.movement == Movement.PARTS
    if found.drift_hz is not None and (parts or found.state != State.LOCKED):
        told.append(("beat", f"{found.drift_hz:+.3f} Hz"))
    told.append(("state", f"{found.state} while held still" if parts else found.state))
    if found.lock_range_cents is not None and take.setup.voice.folded:
        low, high = found.lock_range_cents
        deaf = ", with the ear off" if found.ear_cents is not None else ""
        told.append(("lock range", f"aim {low:+.0f} to {high:+.0f} cents beside it{deaf}; {FOLDS}"))
    elif found.lock_range_cents is not None and found.sung_hz is not None:
        told.append(("lock range", lock_range_words(found.lock_range_cents, found.sung_hz, a4)))
    if found.played_hz is not None:
        written = _as_written(request, found.played_hz)
        told.append(
            ("played", f"{note_name(found.played_hz, a4)}{written}, {found.played_hz:.2f} Hz")
        )
    if found.sung_hz is not None:
        told.append(("sung", f"{note_name(found.sung_hz, a4)}, {found.sung_hz:.2f} Hz"))
    told += _singer(take, found, a4)
    if found.settle_s is not None:
        told.append(("loudness", f"settled after {found.settle_s:.2f} s"))
    if found.roughness is not None:
        told.append(("roughness", rougher(found.roughness)))
    told.append(("breath", _breath(request, take.setup)))
    if take.setup.breath.moves:
        told.append(("player", f"breath and lip move, {STILL}"))
    if take.setup.voice.source != "off":
        told.append(("voice", depth_words(take.setup)))
    return told


def _as_written(request: Request, hz: float) -> str:
    """Name a pitch of the horn as written for it, where the player reads it so."""
    if request.written is None:
        return ""
    return f" (written {written_name(hz, request.written, request.typed.a4_hz)})"


def lock_range_words(ends: tuple[float, float], sung_hz: float, a4: float = A4_HZ) -> str:
    """Say from where to where [cents] a lock holds around a sung note [Hz], rounded inwards."""
    # A hair more, so that 0.3, which is a little less as a float, does not become 0.2.
    tenths = [math.floor(10.0 * abs(end) + 1e-6) for end in ends]
    low, high = (f"{tenth / 10.0:.1f}" if tenth else "less than 0.1" for tenth in tenths)
    name, off = split_note(sung_hz, a4)
    sung = f"{name}{round(off, 1) + 0.0:+.1f}c"
    return f"{low} cents under to {high} over the sung {sung}; {CLOCK}"


def _breath(request: Request, setup: Setup) -> str:
    """Tell the breath, and what it follows; at a dynamic also what the lip does."""
    kilopascals = f"{setup.breath.pressure / 1e3:.3g} kPa"
    name = getattr(request.typed, "breath", None)
    if setup.voice.lung is not None and setup.voice.folded:
        lungs = setup.voice.lung / 1e3
        return f"{kilopascals}, what lungs of {lungs:.3g} kPa leave in the mouth"
    if name not in DYNAMICS:
        return kilopascals
    reed = f"tip open {1e3 * setup.reed.opening:.2g} mm"
    if setup.breath.lip == "still":
        return f"{name}: {kilopascals}, {reed}; the lip is still"
    stiffness = setup.value("reed.stiffness_kpa_per_mm")
    held = f"the lip follows to hold the note, reed {stiffness:.3g} kPa/mm"
    return f"{name}: {kilopascals}, {reed}; {held}"


def _singer(take: Take, found: Verdict, a4: float) -> list[tuple[str, str]]:
    """Tell what a singer with folds aims at, how far the horn pulls the voice, and the lungs."""
    if not take.setup.voice.folded or not take.traces.lungs.size:
        return []
    over = float(take.traces.lungs[-1])
    lungs = (take.setup.breath.pressure + over) / 1e3
    told = [("lungs", f"{lungs:.2f} kPa, {over / 1e3:.2f} more than in the mouth; {STRAIN}")]
    if found.aimed_hz is None or found.pulled_cents is None:
        return told
    pulled = found.pulled_cents
    way = "up" if pulled > 0.0 else "down"
    says = f"the horn pulls the voice {way} by {abs(pulled):.0f} cents"
    return [("aimed", f"{note_name(found.aimed_hz, a4)}; {says}"), *_by_ear(found, a4), *told]


def _by_ear(found: Verdict, a4: float) -> list[tuple[str, str]]:
    """Tell what the ear makes of it, and what to practise: to leave the muscles where it does."""
    if found.ear_cents is None or found.practise_hz is None or found.sung_hz is None:
        return []
    added = found.ear_cents
    if abs(added) < EAR_CENTS:
        return [("ear", "has nothing to correct")]
    says = f"{'tightens' if added > 0.0 else 'slackens'} the folds by {abs(added):.0f} cents"
    if found.state == State.LOCKED:
        aim, heard = (note_name(hz, a4) for hz in (found.practise_hz, found.sung_hz))
        says += f"; practise aiming at {aim} and leaving it there, though {heard} is heard"
    return [("ear", says)]


def _third(found: Verdict, a4: float) -> str:
    if found.resultant_hz is None or found.ratio is None:
        return "none"
    p, q = found.ratio
    if is_one_of_two(found.heard):
        return f"none ({p}/{q})"
    note = f"{note_name(found.resultant_hz, a4)}, {found.resultant_hz:.2f} Hz, ratio {p}/{q}"
    level = found.resultant_level_db
    strength = "" if level is None else f"; its own partials are {-level:.0f} dB below the whole"
    return f"{note}; {HEARD[Heard(found.heard)].beside}{strength}"


def kept(request: Request, take: Take, verdict: Verdict, levels: dict[str, Any]) -> sidecar.Sidecar:
    """Gather what the sidecar of a take holds.

    Parameters
    ----------
    request, take, verdict : Request, Take, Verdict
        What was asked for, rendered and measured.
    levels : dict
        How its sounds were levelled.

    Returns
    -------
    Sidecar
        Fit for `sidecar.write`.
    """
    voice = take.setup.voice
    asked = voice.frequency if voice.source in {"pulse", "sine"} else None
    typed = request.typed
    measured = verdict.document(typed.fingered_hz, asked, typed.a4_hz, request.reach)
    return sidecar.Sidecar(
        setup=take.setup,
        seconds=take.seconds,
        request=typed.document(),
        sound=levels,
        verdict=measured,
        versions=sidecar.versions(),
        recording=sidecar.fingerprint(take.setup),
    )


def instead(document: Mapping[str, Any], a4: float) -> list[str]:
    """Say what to sing where a pair misses, over what the horn really plays.

    Parameters
    ----------
    document : mapping
        Of a verdict.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    list of str
        Nothing, or a clause such as ``the horn plays 12 cents flat here: for 3/2 sing G4-10.0c (in
        reach)``; of a voice that is pulled, ``for 3/2 aim at F3-41c (in reach)``.
    """
    found = document["sing_instead"]
    if not found:
        return []
    if found["hz"] is None:
        return [f"nothing{_YOURS[found['in_range']]} lies within {WITHIN_CENTS:g} cents"]
    here = _here(document["played_cents"])
    name, off = split_note(found["hz"], a4)
    note = f"sing {name}{round(off, 1) + 0.0:+.1f}c"
    if document["pulled_cents"]:
        note = f"aim at {found['note']}"
    if found["in_range"] is False:
        nothing = f"nothing in your range lies within {WITHIN_CENTS:g} cents"
        return [f"{here}{nothing}; out of it, for {found['ratio']} {note}"]
    return [f"{here}for {found['ratio']} {note}{' (in reach)' * (found['in_range'] is True)}"]


PLAYS = "the horn plays"
_YOURS = {False: " in your range", None: ""}


def _here(off: float | None) -> str:
    """Tell how far off the fingered note the horn plays; of another note it is told already."""
    if off is None or not 0.5 <= abs(off) < JUMP_CENTS:
        return ""
    cents_ = "cent" if round(abs(off)) == 1 else "cents"
    return f"{PLAYS} {abs(off):.0f} {cents_} {'sharp' if off > 0.0 else 'flat'} here: "


def how_to_sing(document: Mapping[str, Any], a4: float) -> str:
    """Say where the exact note lies, against the one that is sung; of an aim, what it comes to.

    Parameters
    ----------
    document : mapping
        Of a verdict.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str
        Such as ``for exactly 5/2 sing D4-13.8c, 3.2 cents higher``; "" without a ratio. Of a voice
        that is pulled, such as ``aimed at F3-40c, the voice comes out as F3+2c, pulled up by 42
        cents``. "" also where `instead` has something to say.
    """
    if document["sing_instead"]:
        return ""
    pulled = document["pulled_cents"]
    if pulled:
        aim, sung = (note_name(document[key], a4) for key in ("aimed_hz", "sung_hz"))
        way = f"pulled {'up' if pulled > 0.0 else 'down'} by {abs(pulled):.0f} cents"
        return f"aimed at {aim}, the voice comes out as {sung}, {way}"
    off, ratio = document["sing_cents"], document["ratio"]
    if off is None or ratio is None:
        return ""
    note = note_name(document["sung_hz"] * 2.0 ** (off / 1200.0), a4)
    if abs(off) < EXACT_CENTS:
        return f"{note} is exactly {ratio} of the fingered note: hold it there"
    return (
        f"for exactly {ratio} sing {note}, {abs(off):.1f} cents {'higher' if off > 0 else 'lower'}"
    )
