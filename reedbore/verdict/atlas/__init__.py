"""The atlas of a horn: the lock tables of all its notes, at some depths, in one store.

In: a horn, a voice, who plays. Out: for each fingered note and each depth the rows of the table of
a voice like a clock, and of singers whose folds feel the horn, as `locks` and `singer` find them.
A note at a depth is the same work wherever it is done and whatever was done before: an atlas that
is stopped, even by force, split into parts or spread over a cluster ends as one made in one go.
"""

from reedbore.verdict.atlas.making import prepare, run
from reedbore.verdict.atlas.plan import MOST_DEPTHS, RATIOS, Atlas, check, differs
from reedbore.verdict.atlas.reading import Found, Sheet, SungSheet, read

__all__ = [
    "MOST_DEPTHS", "RATIOS", "Atlas", "Found", "Sheet", "SungSheet", "check", "differs",
    "prepare", "read", "run",
]  # fmt: skip
