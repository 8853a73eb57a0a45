"""A verdict in the words of a player, in the order in which a player asks."""

from reedbore.notes import A4_HZ, note_name
from reedbore.verdict.take import LATE, UNDECIDED, Verdict

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
    words = {
        "unsung": "Nobody sings: the horn plays alone",
        "silent": "The horn does not play",
        "failed": "The simulation failed",
        "undecided": "What became of the two notes cannot be told",
    }.get(verdict.state)
    if words:
        return f"{words}: {verdict.reason}." if verdict.reason else f"{words}."
    left = " The horn has left its register." if verdict.jumped else ""
    known = verdict.reason and verdict.reason != UNDECIDED
    why = f" ({verdict.reason}.)" if known else ""
    return f"{_third(verdict, a4)} {_steadiness(verdict)}{left}{why}"


def _steadiness(verdict: Verdict) -> str:
    if verdict.state == "drifting":
        return _drift(verdict)
    late = verdict.reason and verdict.reason.startswith(LATE)
    stands = "" if late else " and the sound stands still"
    return {
        "locked": "The reed locks to the voice" + stands + ".",
        "rough": "The two notes only roughen each other.",
        "irregular": "The sound is irregular.",
    }[verdict.state]


def _drift(verdict: Verdict) -> str:
    if verdict.reason == UNDECIDED:
        return f"Whether they lock is not decided: {UNDECIDED}."
    if verdict.drift_hz is None:
        return "The two notes do not lock."
    beat = abs(verdict.drift_hz)
    if beat < STILL_HZ:
        return "The two notes are in tune but do not lock."
    if beat < 0.5:
        return f"The two notes do not lock: the sound moves once in {1.0 / beat:.0f} seconds."
    return f"The two notes do not lock: the sound moves {beat:.2f} times a second."


def _third(verdict: Verdict, a4: float) -> str:
    hz = verdict.resultant_hz
    if hz is None:
        return "No third note."
    note = f"{note_name(hz, a4)} ({hz:.1f} Hz)"
    if verdict.jumped and verdict.heard == "same as fingered":
        return f"The common note is the one that the horn now plays, {note}."
    return {
        "yes": f"A third note is heard, {note}.",
        "uncertain": f"A third note, {note}, may be heard.",
        "no": f"No third note is heard; it would be {note}.",
        "same as fingered": f"The common note is the fingered one, {note}.",
        "same as sung": f"The common note is the sung one, {note}.",
    }[verdict.heard]
