"""Where locks are: for each ratio p/q the range of detuning over which the horn follows the voice.

In: setups. Out: edges in cents against p/q times the pitch that the horn plays with the voice off.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import locking
from reedbore.measures.locking import Edge
from reedbore.model.setup import Setup
from reedbore.verdict.questions import Pair, Progress, ask

NARROWEST_CENTS = 2.0 * locking.PULL_CENTS
"""A lock narrower than this cannot be told from a coincidence."""

LONGEST_S = 60.0
"""An edge that a minute does not tell more finely is left as wide as it is. [s]"""

Ratio = tuple[int, int]
Inside = tuple[float | None, float, float]
"""What `locking.find_inside` answers. [cents]"""


@dataclass(frozen=True)
class Sought:
    """What a search for a lock found: its edges, or between which detunings there is none."""

    edges: tuple[Edge, Edge] | None
    nearest: tuple[float, float]
    unsung: str | None = None
    """Why folds do not sing the note, so that nothing was searched."""


def seek(
    pairs: Sequence[Pair],
    longest: float,
    tell: Progress,
    start: float = 0.0,
    executor: Executor = CPU,
) -> list[Sought | None]:
    """Look for the locks of many pairs, from a detuning on, then for both edges of each."""

    def edge(inside: float, outside: float, way: float) -> locking.Question[Edge]:
        return locking.edge(inside, outside, way, longest=longest)

    return search(pairs, lambda: locking.find_inside(start), edge, tell, executor)


def search(
    pairs: Sequence[Pair],
    look: Callable[[], locking.Question[Inside]],
    edge: Callable[[float, float, float], locking.Question[Edge]],
    tell: Progress,
    executor: Executor = CPU,
) -> list[Sought | None]:
    """Look for the locks of many pairs, then for both edges of each.

    Parameters
    ----------
    pairs : sequence of Pair
        What is watched.
    look : callable
        Makes the question for a detuning that locks, as `locking.find_inside`.
    edge : callable
        Makes that for an edge, called with a detuning inside, one outside, and a way.
    tell : callable
        Told the share done.
    executor : Executor
        The machine that steps them.

    Returns
    -------
    list
        One for each pair; None if its run diverged.
    """
    insides = ask(pairs, [look() for _ in pairs], lambda share: tell(0.4 * share), executor)
    locked = [k for k, found in enumerate(insides) if found and found[0] is not None]
    sides, questions = list[Pair](), list[locking.Question[Edge]]()
    for k in locked:
        inside, low, high = insides[k]
        sides += [pairs[k], pairs[k]]
        questions += [edge(inside, low, -1.0), edge(inside, high, 1.0)]
    edges = ask(sides, questions, lambda share: tell(0.4 + 0.6 * share), executor)
    tell(1.0)
    lows, highs = (
        dict(zip(locked, edges[::2], strict=True)),
        dict(zip(locked, edges[1::2], strict=True)),
    )
    found: list[Sought | None] = []
    for k, inside in enumerate(insides):
        if inside is None:
            found.append(None)
        elif k in lows and lows[k] and highs[k]:
            found.append(Sought((lows[k], highs[k]), inside[1:]))
        else:
            found.append(Sought(None, inside[1:]))
    return found


def edges_of(
    setup: Setup,
    voice_off_hz: float,
    ratios: Sequence[Ratio],
    *,
    longest: float = LONGEST_S,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Sought | None]:
    """Find the lock ranges of several ratios.

    Parameters
    ----------
    setup : Setup
        Horn, breath and voice.
    voice_off_hz : float
        What the horn plays with the voice off. [Hz]
    ratios : sequence of (p, q)
        What is looked at.
    longest : float
        Bound on each time to watch. [s]
    progress : callable, optional
        Told the share done.
    executor : Executor
        The machine that steps them.

    Returns
    -------
    list
        One for each ratio; None if the run diverged.
    """
    pairs = [Pair(sung_at(setup, voice_off_hz * p / q), p, q) for p, q in ratios]
    return seek(pairs, longest, progress or (lambda _: None), executor=executor)


def sung_at(setup: Setup, hz: float) -> Setup:
    """Return the setup with another note sung. [Hz]."""
    return setup.model_copy(update={"voice": setup.voice.model_copy(update={"frequency": hz})})


def width(edges: tuple[Edge, Edge] | None) -> float:
    """Return how wide a lock is [cents]; minus infinity if there is none."""
    return edges[1].inside - edges[0].inside if edges else -math.inf
