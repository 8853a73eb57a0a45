"""What a sweep has found so far, read back from its store.

In: a store. Out: one cell, or counts of all; the store is read block by block, however large it is.
"""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from reedbore.verdict.sweep.plan import EDGE_STATES, MARKS, NOT_RUN, STATES, VARIABLES
from reedbore.verdict.sweep.store import open_group, tasks


def cell_values(path: Path, place: Sequence[int]) -> dict[str, Any]:
    """Read what was found in one cell.

    Parameters
    ----------
    path : Path
        The store.
    place : sequence of int
        Its number along each axis.

    Returns
    -------
    dict
        Value by variable; the state in words, ``not run`` if nobody has judged it yet.
    """
    group = open_group(path)
    found = {name: group[name][tuple(place)].item() for name in VARIABLES}  # type: ignore
    code = found["state"]
    return {**found, "state": "not run" if code == NOT_RUN else STATES[code]}


def count(path: Path) -> tuple[Counter[str], Counter[tuple[int, int]]]:
    """Count the cells of each state, and the locked ones of each ratio.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    states : Counter
        Cells by state; ``not run`` for those that nobody has judged yet.
    locked : Counter
        Locked cells by (p, q).
    """
    group = open_group(path)
    states: Counter[str] = Counter()
    locked: Counter[tuple[int, int]] = Counter()
    for task, _ in tasks(path, "cells"):
        codes, p, q = (np.asarray(group[name][task.block]) for name in ("state", "p", "q"))  # type: ignore
        for code, number in zip(*np.unique(codes, return_counts=True), strict=True):
            states["not run" if code == NOT_RUN else STATES[code]] += int(number)
        at = codes == STATES.index("locked")
        locked.update(zip(p[at].tolist(), q[at].tolist(), strict=True))
    return states, locked


def locks(path: Path) -> list[tuple[int, int]] | None:
    """List the ratios with a lock at any value of the other axes.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    list of (p, q) or None
        Rising; None if no edges are kept.
    """
    if not (path / MARKS["edges"]).exists():
        return None
    group = open_group(path)
    found: set[int] = set()
    for task, _ in tasks(path, "edges"):
        codes = np.asarray(group[MARKS["edges"]][task.block]).reshape(-1)  # type: ignore[index]
        found |= set(np.flatnonzero(codes == EDGE_STATES.index("lock")).tolist())
    p, q = (np.asarray(group[name]) for name in ("ratio_p", "ratio_q"))
    return [(int(p[k]), int(q[k])) for k in sorted(found)]
