"""What is known of pairs before anybody tries them: kept by earlier plans, or in an atlas."""

from collections.abc import Iterable
from pathlib import Path

from reedbore.cli.common import tell
from reedbore.verdict.kept import Player, kept_pairs
from reedbore.verdict.plan import Key, Tried
from reedbore.verdict.planning import Fingered


def known_pairs(
    player: Player, notes: Iterable[Fingered], atlas: Path | None, a4: float
) -> dict[Key, Tried]:
    """Look up what became of the pairs over some fingered notes.

    Parameters
    ----------
    player : Player
        Who tried them.
    notes : iterable of Fingered
        Over which.
    atlas : Path or None
        An atlas of the horn, which goes before what is kept.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    dict
        Of all pairs that are known.

    Raises
    ------
    ReedboreError
        If the atlas cannot be read or is of another player.
    """
    notes = list(notes)
    known = {
        Key(*note, ratio): found
        for note in notes
        for ratio, found in kept_pairs(player, note).items()
    }
    if atlas is None:
        return known
    from reedbore.verdict import atlas as atlases  # noqa: PLC0415 - loads the kernel
    from reedbore.verdict.tried import atlas_pairs, check_atlas  # noqa: PLC0415

    store = atlases.read(atlas)
    if said := check_atlas(store, player, a4):
        tell(said)
    return known | {
        Key(*note, ratio): found
        for note in notes
        for ratio, found in atlas_pairs(store, player, note, a4).items()
    }
