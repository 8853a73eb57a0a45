"""A plan in words and as data: what to finger and sing, by arithmetic and as simulated.

In: a `Plan`. Out: text, plain data, comma-separated values. What is fingered is told as it sounds
and as written for the horn; what is sung and heard at concert pitch. Standard library only.
"""

from collections.abc import Sequence
from typing import Any

from reedbore.model.setup import depth_name
from reedbore.notes import cents, hz_to_midi, note_name, split_note, written_name
from reedbore.report import document as documents
from reedbore.report.words import FOLDS, HEARD, STRAIN, third
from reedbore.verdict.plan import Choice, Plan, Step, Tried
from reedbore.verdict.state import Ease, Heard

CARE = f"{STRAIN}; stop at pain or hoarseness, and learn it with a teacher"
"""The caution under every plan."""

ARITHMETIC = "by arithmetic; not simulated yet"
"""Heads the pairs that nobody has tried."""

NOT_HAD = "cannot be had"

MOST_FULL = 3
"""Of more fingered notes than these only the best pairs of each are told in text."""

BEST = 3
WIDEST = 145

_HEAD = (
    "horn", "written", "ratio", "just", "aim at", "give or take", "pulled", "stays", "from",
    "third note",
)  # fmt: skip
_LINE = (
    "beat", "beats", "wanted", "horn", "written", "in the piece", "ratio", "just", "aim at",
    "give or take", "pulled", "from", "third note",
)  # fmt: skip

EASES = {
    Ease.BY_ITSELF: "by itself",
    Ease.WITH_CARE: "aimed right",
    Ease.HARDLY: "hardly",
    Ease.NEVER: "never",
    Ease.UNSUNG: "not sung",
}
"""How easily a pair falls into step, in a word or two."""


# --- the words of one pair -----------------------------------------------------------------------


def as_written(plan: Plan, hz: float) -> str:
    """Name a sounding pitch as written for the horn of a plan."""
    return written_name(hz, plan.horn.transposition, plan.a4)


def aim_name(plan: Plan, choice: Choice) -> str:
    """Name where to aim by its cents from the note that arithmetic names, such as ``A3-54c``."""
    name, off = split_note(choice.just_hz, plan.a4)
    off += cents(choice.sing_hz, choice.just_hz)
    return f"{name}{off:+.0f}c" if abs(off) >= 0.5 else name


def third_words(plan: Plan, choice: Choice) -> str:
    """Say which third note a pair has, and how well it is heard or, untried, may be."""
    note = note_name(choice.common_hz, plan.a4)
    if choice.tried is None or choice.heard in (Heard.FINGERED, Heard.SUNG):
        return third(choice.heard, note) if choice.heard != Heard.YES else note
    return third(choice.heard, note) if choice.locks else note


def _tried_cells(plan: Plan, choice: Choice) -> tuple[str, str, str, str, str]:
    """Say where to aim, how exactly, how far the horn pulls, how long it stays, from how soft."""
    tried = choice.tried
    if tried is None or not choice.locks:
        return "", "", "", "", ""
    half, pulled = 0.5 * tried.width_cents, tried.pulled_cents
    return (
        aim_name(plan, choice),
        f"{half:.0f} cents" if half >= 1.5 else "1 cent" if half >= 0.5 else "under 1 cent",
        "" if pulled is None else f"{'up' if pulled > 0.0 else 'down'} {abs(pulled):.0f}",
        "" if tried.held is None else f"{100.0 * tried.held:.0f} %",
        softest_words(tried),
    )


def softest_words(tried: Tried) -> str:
    """Say how softly a pair may be sung, of the depths that were tried."""
    return "" if tried.softest is None else depth_name(tried.softest)


def _cells(plan: Plan, choice: Choice) -> tuple[str, ...]:
    p, q = choice.ratio
    return (
        note_name(choice.fingered_hz, plan.a4) + f"({choice.fingering})" * bool(choice.fingering),
        as_written(plan, choice.fingered_hz),
        f"{p}/{q}",
        note_name(choice.just_hz, plan.a4),
        *_tried_cells(plan, choice),
        third_words(plan, choice),
    )


# --- for reading ---------------------------------------------------------------------------------


def text(plan: Plan) -> str:
    """Return a plan for reading, what a singer does easily first.

    Parameters
    ----------
    plan : Plan
        Of pairs, of a whole horn, or of a line.

    Returns
    -------
    str
        Lines. *just* is the note by arithmetic, *aim at* and what follows are simulated.
    """
    low, high = plan.singer.low_note, plan.singer.high_note
    who = f"{plan.horn.title}, {plan.singer.title.lower()} ({low} to {high})"
    lines = [f"{who}, depth {plan.depth:g} ({depth_name(plan.depth)}): {plan.title}", ""]
    if plan.steps:
        lines += _line_text(plan)
    elif len({choice.key[:2] for choice in plan.choices}) > MOST_FULL and plan.wanted_hz is None:
        lines += _horn_text(plan)
    else:
        lines += _pairs_text(plan)
    return "\n".join([*lines, "", *cautions(plan)])


def cautions(plan: Plan) -> list[str]:
    """Return what has to be said under a plan: for whom it holds, and the care of the voice."""
    pairs = [*plan.choices, *(pair for step in plan.steps for pair in step.pairs)]
    return [FOLDS] * any(pair.tried for pair in pairs) + [CARE]


def _pairs_text(plan: Plan) -> list[str]:
    if not plan.choices:
        return _nearest_lines(plan, plan.wanted_hz, plan.nearest)
    head, *rows = documents.columns(
        [_HEAD, *(_cells(plan, choice) for choice in plan.choices)], widest=WIDEST
    )
    told, lines = dict(zip((choice.key for choice in plan.choices), rows, strict=True)), []
    for ease in (*EASES, None):
        here = [choice for choice in plan.choices if choice.ease == ease]
        if here:
            lines += ["", f"{ease or ARITHMETIC}:", *(f"  {told[choice.key]}" for choice in here)]
    return [f"  {head}", *lines]


def _horn_text(plan: Plan) -> list[str]:
    """Tell the best pairs over each fingered note, a line a note."""
    notes = sorted({choice.key[:2] for choice in plan.choices})
    rows = [("horn", "written", "sing what, for which third note, the best first")]
    for hz, fingering in notes:
        here = [choice for choice in plan.choices if choice.key[:2] == (hz, fingering)]
        best = [choice for choice in here if choice.heard in (Heard.YES, Heard.UNCERTAIN)]
        told = ";  ".join(_short(plan, choice) for choice in (best or here)[:BEST])
        rows.append((note_name(hz, plan.a4), as_written(plan, hz), told))
    return [f"  {line}" for line in documents.columns(rows, widest=WIDEST)]


def _short(plan: Plan, choice: Choice) -> str:
    """Tell a pair in a few words: aim, how exactly, third note."""
    aim, note = aim_name(plan, choice), note_name(choice.common_hz, plan.a4)
    if choice.tried is None:
        return f"{aim} for {note}"
    if not choice.locks or choice.ease is None:
        return f"{aim} for {note}: {EASES[choice.ease or Ease.NEVER]}"
    half = 0.5 * choice.tried.width_cents
    perhaps = "" if choice.heard == Heard.YES else f" {HEARD[choice.heard].beside}"
    return f"{aim} ± {half:.0f} for {note}{perhaps}"


def _line_text(plan: Plan) -> list[str]:
    rows = [_LINE, *(_step_cells(plan, step) for step in plan.steps)]
    rows = [tuple(column) for column in zip(*rows, strict=True)]
    kept = [column for column in rows if any(column[1:]) or column[0] == "third note"]
    set_out = documents.columns(list(zip(*kept, strict=True)), right=(0, 1), widest=WIDEST)
    lines = [f"  {line}" for line in set_out]
    told: set[float] = set()
    for step in plan.steps:
        lacking = step.wanted_hz is not None and not step.choice and step.fingered_hz is None
        if lacking and step.wanted_hz not in told:
            lines += ["", *_nearest_lines(plan, step.wanted_hz, step.nearest)]
            told.add(step.wanted_hz or 0.0)
    return lines


def _step_cells(plan: Plan, step: Step) -> tuple[str, ...]:
    wanted, horn, piece = (
        "" if hz is None else note_name(hz, plan.a4)
        for hz in (step.wanted_hz, step.fingered_hz, step.sung_hz)
    )
    written = "" if step.fingered_hz is None else as_written(plan, step.fingered_hz)
    start = f"{step.beat:g}", f"{step.beats:g}", wanted
    if step.choice:
        cells = _cells(plan, step.choice)
        return (*start, *cells[:2], piece, *cells[2:7], *cells[8:])
    says = NOT_HAD if wanted or piece else "horn alone" if horn else "rest"
    return (*start, horn, written, piece, *("",) * 6, says)


def _nearest_lines(plan: Plan, wanted_hz: float | None, nearest: Sequence[Choice]) -> list[str]:
    """Say that a wanted third note cannot be had, and what the nearest ones are."""
    if wanted_hz is None:
        return ["Nothing in the range of this voice makes a simple ratio here."]
    name = note_name(wanted_hz, plan.a4)
    lines = [f"{name} {NOT_HAD} as a third note of this horn and this voice."]
    if round(hz_to_midi(wanted_hz, plan.a4)) in plan.horn.notes():
        lines.append(f"It can be fingered (written {as_written(plan, wanted_hz)}).")
    for choice in nearest:
        off = cents(choice.common_hz, wanted_hz)
        side, p, q = "above" if off > 0.0 else "below", *choice.ratio
        horn = note_name(choice.fingered_hz, plan.a4)
        lines.append(
            f"The nearest {side}: {note_name(choice.common_hz, plan.a4)}, {abs(off):.0f} cents "
            f"{side}: finger {horn} (written {as_written(plan, choice.fingered_hz)}), sing "
            f"{note_name(choice.sing_hz, plan.a4)}, {p}/{q}."
        )
    return lines


# --- as data -------------------------------------------------------------------------------------


def document(plan: Plan) -> dict[str, Any]:
    """Return a plan as plain data; see the reference in DEVELOPERS.md.

    Parameters
    ----------
    plan : Plan
        Any.

    Returns
    -------
    dict
        Fit for JSON.
    """
    return {
        "title": plan.title,
        "horn": plan.horn.title,
        "voice": plan.singer.title,
        "low_note": plan.singer.low_note,
        "high_note": plan.singer.high_note,
        "a4_hz": plan.a4,
        "depth": plan.depth,
        "breath": plan.breath,
        "wanted": _pitch(plan, plan.wanted_hz),
        "pairs": [_pair(plan, choice) for choice in plan.choices],
        "nearest": [_pair(plan, choice) for choice in plan.nearest],
        "steps": [_step(plan, step) for step in plan.steps],
        "passage": plan.passage.to_plain() if plan.passage else None,
        "cautions": cautions(plan),
    }


def _pitch(plan: Plan, hz: float | None) -> dict[str, Any] | None:
    return None if hz is None else {"hz": hz, "note": note_name(hz, plan.a4)}


def _pair(plan: Plan, choice: Choice) -> dict[str, Any]:
    p, q = choice.ratio
    return {
        "fingered_hz": choice.fingered_hz,
        "fingered_note": note_name(choice.fingered_hz, plan.a4),
        "fingered_written": as_written(plan, choice.fingered_hz),
        "fingering": choice.fingering,
        "ratio": f"{p}/{q}",
        "arithmetic": {
            "sing_hz": choice.just_hz,
            "sing_note": note_name(choice.just_hz, plan.a4),
            "sing_cents": split_note(choice.just_hz, plan.a4)[1],
            "resultant_hz": choice.fingered_hz / q,
            "resultant_note": note_name(choice.fingered_hz / q, plan.a4),
        },
        "as_simulated": choice.tried and simulated(choice, plan.a4),
    }


def simulated(choice: Choice, a4: float) -> dict[str, Any]:
    """Return what became of a pair as plain data; all None where nobody tried it."""
    tried = choice.tried
    if tried is None:
        return dict.fromkeys(SIMULATED)
    half = 0.5 * tried.width_cents
    return {
        "state": tried.state,
        "reason": tried.reason,
        "ease": choice.ease,
        "played_hz": tried.played_hz,
        "aimed_hz": tried.aim_hz,
        "aimed_note": note_name(tried.aim_hz, a4),
        "lock_range_cents": [-half, half] if choice.locks else None,
        "pulled_cents": tried.pulled_cents,
        "held_singer": tried.held,
        "heard": tried.heard,
        "resultant_hz": choice.common_hz,
        "resultant_note": note_name(choice.common_hz, a4),
        "depth": tried.depth,
        "least_depth": tried.softest,
    }


def _step(plan: Plan, step: Step) -> dict[str, Any]:
    return {
        "beat": step.beat,
        "beats": step.beats,
        "wanted": _pitch(plan, step.wanted_hz),
        "fingered": _pitch(plan, step.choice.fingered_hz if step.choice else step.fingered_hz),
        "as_written": _pitch(plan, step.sung_hz),
        "pair": _pair(plan, step.choice) if step.choice else None,
        "others": [_pair(plan, choice) for choice in step.others],
        "nearest": [_pair(plan, choice) for choice in step.nearest],
    }


def csv_text(plan: Plan) -> str:
    """Return the table of a plan for a spreadsheet, a row a pair, or a step of a line.

    Parameters
    ----------
    plan : Plan
        Any.

    Returns
    -------
    str
        Columns are the keys of `document`; those of a step's pair follow its own.
    """
    if plan.steps:
        return documents.csv_text([_step_row(plan, step) for step in plan.steps], "beat")
    return documents.csv_text([_pair_row(plan, choice) for choice in plan.choices], "fingered_hz")


SIMULATED = (
    "state", "reason", "ease", "played_hz", "aimed_hz", "aimed_note", "lock_range_cents",
    "pulled_cents", "held_singer", "heard", "resultant_hz", "resultant_note", "depth",
    "least_depth",
)  # fmt: skip


def _pair_row(plan: Plan, choice: Choice) -> dict[str, Any]:
    told = {"as_simulated": simulated(choice, plan.a4)}
    return documents.flat(_pair(plan, choice) | told)


def _step_row(plan: Plan, step: Step) -> dict[str, Any]:
    told = _step(plan, step)
    row = {key: told[key] for key in ("beat", "beats")}
    for key in ("wanted", "fingered", "as_written"):
        row |= documents.flat({key: told[key] or {"hz": None, "note": None}})
    blank = dict.fromkeys(_pair_row(plan, _anything(plan)))
    return row | (_pair_row(plan, step.choice) if step.choice else blank)


def _anything(plan: Plan) -> Choice:
    return Choice(fingered_hz=plan.a4, ratio=(1, 1))
