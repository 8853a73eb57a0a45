"""What a singer with folds makes of the pairs over one fingered note: tried once, then kept.

In: a player, a fingered note and ratios, or an atlas. Out: a `Tried` for each ratio.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from reedbore.errors import ReedboreError
from reedbore.model.setup import Setup
from reedbore.model.sidecar import model_change
from reedbore.notes import hz_to_midi
from reedbore.simulate.request.take import Request, Words, read_request, tune_request
from reedbore.verdict.atlas import Found, differs
from reedbore.verdict.kept import Player, keep_pairs, kept_pairs
from reedbore.verdict.locks import alone
from reedbore.verdict.plan import Ratio, Tried
from reedbore.verdict.planning import Fingered
from reedbore.verdict.questions import Progress
from reedbore.verdict.singer import TYPICAL, SingerRow, singer_rows, singers
from reedbore.verdict.state import Ease, Heard

SOFT = 0.05
"""Depth of a soft hum: what falls into step as it is asked for is tried so softly too."""

USABLE = Ease.BY_ITSELF, Ease.WITH_CARE


def request_of(player: Player, note: Fingered) -> Request:
    """Ask for a fingered note with a player; nothing is tuned yet, and what is sung is any note.

    Raises
    ------
    ReedboreError
        If a word of the player cannot be read.
    """
    return read_request(
        Words(
            horn=player.horn.name, instrument=player.horn, voice=player.singer.name,
            singer=player.singer, fingered=f"{note.hz!r}Hz", fingering=note.fingering,
            sung="220Hz", depth=player.depth, breath=player.breath, settings=player.settings,
        ),
        still=True,
    )  # fmt: skip


def try_pairs(
    player: Player, note: Fingered, ratios: Sequence[Ratio], progress: Progress | None = None
) -> dict[Ratio, Tried]:
    """Let a singer try pairs over a fingered note, those that are not kept.

    Parameters
    ----------
    player : Player
        Who tries them.
    note : Fingered
        Over which.
    ratios : sequence of (p, q)
        What is aimed at.
    progress : callable, optional
        Told the share done.

    Returns
    -------
    dict
        By ratio, all that were asked for and whatever else is kept.

    Raises
    ------
    ReedboreError
        If the horn has no such note or does not sound by itself, or a word of the player cannot
        be read.
    """
    known = kept_pairs(player, note)
    lacking = [ratio for ratio in ratios if ratio not in known]
    if lacking:
        singer = singers(tune_request(request_of(player, note)).setup)[TYPICAL]
        known |= _try(singer, lacking, progress or (lambda _: None))
        keep_pairs(player, note, known)
    return known


def check_atlas(found: Found, player: Player, a4: float) -> str | None:
    """Make sure that an atlas is of a player.

    Parameters
    ----------
    found : Found
        The atlas.
    player : Player
        Whose plan it is for; the range of the voice does not count.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    str or None
        What else the player should know: that the code has changed.

    Raises
    ------
    ReedboreError
        If it is another's, no singer was asked for it, or it has not that depth.
    """
    atlas = found.atlas
    ends = {"low_note": atlas.singer.low_note, "high_note": atlas.singer.high_note}
    wanted = replace(
        atlas, horn=player.horn, singer=player.singer.model_copy(update=ends),
        breath=player.breath, settings=player.settings, a4=a4,
    )  # fmt: skip
    if difference := differs(atlas, wanted):
        raise ReedboreError(f"{found.path} is of another player: {difference}")
    if TYPICAL not in atlas.voices:
        raise ReedboreError(f"{found.path} knows no singer; make it with --singers one")
    depth = _depth(player)
    if depth not in atlas.depths:
        known = ", ".join(f"{one:g}" for one in atlas.depths)
        raise ReedboreError(f"{found.path} has no depth {depth:g}; it has {known}")
    changed = model_change(atlas.model)
    return changed and f"{found.path}: {changed}"


def atlas_pairs(found: Found, player: Player, note: Fingered, a4: float) -> dict[Ratio, Tried]:
    """Read what an atlas has of the pairs over a fingered note, by ratio; perhaps nothing."""
    midi = hz_to_midi(note.hz, a4)
    if note.fingering or abs(midi - round(midi)) > 1e-6 or round(midi) not in found.atlas.notes:
        return {}
    asked = _depth(player)
    sheet = found.singer(round(midi), asked, TYPICAL)
    if sheet is None:
        return {}
    softer = []
    for depth in found.atlas.depths:
        below = found.singer(round(midi), depth, TYPICAL) if depth < asked else None
        softer += [row._replace(depth=row.depth or depth) for row in below.rows] if below else []
    return of_rows(sheet.rows, sheet.voice_off_hz, asked, softer)


def _depth(player: Player) -> float:
    return player.singer.voice.depth if player.depth is None else player.depth


def of_rows(
    rows: Iterable[SingerRow], played_hz: float, depth: float, softer: Iterable[SingerRow] = ()
) -> dict[Ratio, Tried]:
    """Read rows of a singer's table, and those of one or more softer ones.

    Parameters
    ----------
    rows : iterable of SingerRow
        As asked for.
    played_hz : float
        What the horn plays with the voice off. [Hz]
    depth : float
        That was asked for.
    softer : iterable of SingerRow
        Of the same ratios, each with the depth it was sung with.

    Returns
    -------
    dict
        By ratio.
    """
    found = {row.ratio: _tried(row, played_hz, depth) for row in rows}
    for row in softer:
        usable = Ease.of(row.state, row.width) in USABLE
        if usable and row.depth is not None and row.ratio in found:
            known = found[row.ratio]
            least = min(row.depth, known.softest or row.depth)
            found[row.ratio] = replace(known, softest=least)
    return found


def _try(singer: Setup, ratios: Sequence[Ratio], tell: Progress) -> dict[Ratio, Tried]:
    depth, hz = singer.voice.depth, alone(singer).hz
    assert hz is not None
    rows = singer_rows([singer], hz, ratios, lambda share: tell(0.6 * share))[0]
    usable = [row.ratio for row in rows if Ease.of(row.state, row.width) in USABLE]
    softer: list[SingerRow] = []
    if usable and depth > SOFT:
        soft = singer.with_value("voice.depth", SOFT)
        found = singer_rows([soft], hz, usable, lambda share: tell(0.6 + 0.4 * share))[0]
        softer = [row._replace(depth=row.depth or SOFT) for row in found]
    return of_rows(rows, hz, depth, softer)


def _tried(row: SingerRow, played_hz: float, depth: float) -> Tried:
    middle = 0.5 * (row.low.inside + row.high.inside) if row.low and row.high else 0.0
    sung = row.depth or depth
    pulled = row.middle.pulled_cents if row.middle and row.middle.sung_hz > 0.0 else None
    return Tried(
        state=row.state,
        reason=row.reason,
        played_hz=played_hz,
        aim_hz=row.just_hz * 2.0 ** (middle / 1200.0),
        width_cents=row.width,
        pulled_cents=pulled,
        held=row.held,
        heard=Heard(row.heard) if row.heard else None,
        depth=sung,
        softest=sung if Ease.of(row.state, row.width) in USABLE else None,
    )
