"""Filters as sums of simple sections: linear least squares, poles found by vector fitting.

Points z lie on the unit circle; a filter is a sum of responses with real weights. Poles are never
outside the unit circle, so no fit can be unstable; what a fit must also be, passive, is enforced
on a dense grid (`passive_fit`).
"""

import functools
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from reedbore import stopping

Reals = NDArray[np.float64]
Complexes = NDArray[Any]

BETWEEN_POINTS = 2e-5
"""By so much a response may be greater between two points of the passivity check, and by so much
must a reflection stay below 1 where the losses turn the phase of the wave's own admittance."""

DENSE = 3600
"""Points of the passivity check, from DC to half the rate."""

FINER = 4
"""By so much the points are denser that it ends with, where a response is highest."""

NEAR = 0.9
"""Only where it comes so near to 1 is it looked at with them, and where it is highest of all."""

OVER, UNDER = 1e-9, 1e-6
"""A response exceeds 1 if it is so much above; one that did is held so far below."""

FARTHEST = 0.9995
"""No pole pair is found nearer to the unit circle."""

SHARPEST = 50.0
"""Nor with a higher quality, which could hide between two points of the passivity check."""

ROUNDS_HELD = 25
"""Of holding a fit below 1, at most."""

ROUNDS, ROUNDS_NEAR = 10, 2
"""Of vector fitting: from anywhere, and from where the poles of nearly the same response lie."""


@functools.cache
def _libraries() -> ThreadpoolController:
    return ThreadpoolController()


def one_thread() -> Any:
    """Keep linear algebra on one thread inside a ``with``: for small matrices more only wait."""
    return _libraries().limit(limits=1, user_api="blas")


class Least(NamedTuple):
    """A linear least-squares problem with no more rows than unknowns: |square·x − wanted|."""

    square: Reals
    """Shape (m, m)."""
    wanted: Reals
    """Shape (m,)."""
    rest: float
    """What no unknowns can mend, a length beside the other."""

    @classmethod
    def of(cls, rows: Complexes, wanted: Complexes) -> "Least":
        """Make complex rows, shape (n, m), few, for m real unknowns."""
        return cls.of_real(_halves(np.column_stack((rows, wanted))))

    @classmethod
    def of_real(cls, rows: Reals) -> "Least":
        """Make real rows few; their last column is what is wanted."""
        few: Reals = np.asarray(np.linalg.qr(rows, "r"))
        return cls(few[:-1, :-1], few[:-1, -1], abs(float(few[-1, -1])))

    def solve(self) -> Reals:
        """Return the unknowns, shape (m,); of those that do as well the smallest."""
        return np.asarray(np.linalg.lstsq(self.square, self.wanted, None)[0], np.float64)


def solve(rows: Complexes, wanted: Complexes) -> Reals:
    """Solve complex least squares for real unknowns."""
    return Least.of(rows, wanted).solve()


def _halves(rows: Complexes) -> Reals:
    """Set the imaginary halves of rows below the real ones."""
    return np.concatenate((rows.real, rows.imag))


def real_sections(poles: Reals, z: Complexes) -> Complexes:
    """Return the responses, shape (z, poles), of one-pole filters that pass DC unchanged."""
    return (1.0 - poles) / (1.0 - poles / z[:, None])


def pair_sections(pairs: Complexes, z: Complexes) -> Complexes:
    """Return the responses, shape (z, 2 pairs), of pole pairs: their numerators 1 and 1/z."""
    back = 1.0 / z[:, None]
    shape = 1.0 / (1.0 - 2.0 * pairs.real * back + np.abs(pairs) ** 2 * back**2)
    return np.stack((shape, shape * back), axis=2).reshape(z.size, -1)


def passive_fit(
    basis: Callable[[Complexes], Complexes], z: Complexes, target: Complexes, weight: Reals
) -> Reals:
    """Solve the weighted linear least squares so that the answer exceeds 1 nowhere.

    Parameters
    ----------
    basis : callable
        Gives the responses, shape (n, m), that the filter is a sum of, at n points.
    z, target, weight : ndarray, shape (k,)
        Points of the fit, what is wanted there and how much it matters.

    Returns
    -------
    ndarray, shape (m,)
        Weights of the responses. Their sum exceeds 1 nowhere on a grid of `DENSE` points, nor
        between them where it is highest.

    Notes
    -----
    Where the response exceeds 1 most, its part in the direction that it has there is held below 1,
    one linear condition; so again with all conditions, until there is no such place: cutting
    planes, which end at the best of all passive answers [1]_.

    References
    ----------
    .. [1] J. E. Kelley, "The cutting-plane method for solving convex programs," J. Soc. Indust.
       Appl. Math. 8(4), 703-712, 1960.
    """
    least = Least.of(basis(z) * weight[:, None], target * weight)
    back = np.linalg.pinv(least.square, least.square.shape[0] * np.finfo(np.float64).eps)
    found = free = back @ least.wanted
    dense = basis(_upper_half(np.linspace(0.0, 1.0, DENSE)))
    held = np.zeros((0, free.size))
    for _ in range(ROUNDS_HELD):
        stopping.check()
        size = np.abs(dense @ found)
        tops = _tops(size)
        seen = dense[tops]
        if size.max() <= 1.0 + OVER:
            seen = basis(_upper_half(_around(tops)).ravel())
        response = seen @ found
        over = np.abs(response) > 1.0 + OVER
        if not over.any():
            break
        response = response[over, None]
        held = np.vstack((held, np.real(response.conj() / np.abs(response) * seen[over])))
        step = held @ back
        found = free + back @ _shortest(step, 1.0 - UNDER - held @ free)
    around = _around(tops)
    fine = np.abs(basis(_upper_half(around).ravel()) @ found).reshape(around.shape)
    return found / max(1.0, max(size.max(), _highest(fine)) * (1.0 + BETWEEN_POINTS))


def _shortest(rows: Reals, most: Reals) -> Reals:
    """Return the shortest x, shape (m,), with rows·x ≤ most.

    That is a least-squares problem whose unknowns, one a row, are not negative [1]_.

    References
    ----------
    .. [1] C. L. Lawson and R. J. Hanson, "Solving Least Squares Problems," Prentice-Hall, 1974,
       ch. 23 (from memory).
    """
    columns = np.vstack((-rows.T, -most))
    wanted = np.zeros(len(columns))
    wanted[-1] = 1.0
    rest = columns @ nonnegative(columns, wanted) - wanted
    return -rest[:-1] / rest[-1]


def nonnegative(rows: Reals, wanted: Reals) -> Reals:
    """Solve least squares for unknowns that are not negative, by active sets [1]_.

    A library has it, but takes longer to be loaded than all fits of a horn.

    Parameters
    ----------
    rows : ndarray, shape (n, m)
    wanted : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (m,)

    References
    ----------
    .. [1] C. L. Lawson and R. J. Hanson, "Solving Least Squares Problems," Prentice-Hall, 1974,
       ch. 23 (from memory).
    """
    found = np.zeros(rows.shape[1])
    free = np.zeros(found.size, np.bool_)
    least = np.finfo(np.float64).eps * np.abs(rows).max() * sum(rows.shape)
    for _ in range(3 * found.size):
        slope = np.where(free, -np.inf, rows.T @ (wanted - rows @ found))
        if slope.max() <= least:
            break
        free[slope.argmax()] = True
        while True:
            trial = np.zeros(found.size)
            trial[free] = np.linalg.lstsq(rows[:, free], wanted, None)[0]
            below = free & (trial <= 0.0)
            if not below.any():
                break
            way = found[below] / (found[below] - trial[below])
            found += way.min() * (trial - found)
            free[np.flatnonzero(below)[way == way.min()]] = False
            found[~free] = 0.0
        found = trial
    return found


def _tops(size: Reals) -> NDArray[np.int64]:
    """Return where a response is higher than beside, on points of the passivity check."""
    beside = np.concatenate(((0.0,), size, (0.0,)))
    near = min(NEAR, size.max())
    return np.flatnonzero((size >= near) & (size >= beside[:-2]) & (size >= beside[2:]))


def _around(tops: NDArray[np.int64]) -> Reals:
    """Return finer points on both sides of some of the check, a row each, from 0 to 1."""
    steps = np.arange(-FINER, FINER + 1) / FINER
    return np.clip((tops[:, None] + steps) / (DENSE - 1), 0.0, 1.0)


def _highest(size: Reals) -> float:
    """Return the greatest value of responses, by parabolas also where it lies between points.

    They run along the last axis.
    """
    before, top, after = size[..., :-2], size[..., 1:-1], size[..., 2:]
    peaks = (top >= before) & (top >= after) & (before + after < 2.0 * top)
    before, top, after = before[peaks], top[peaks], after[peaks]
    between = top + (before - after) ** 2 / (8.0 * (2.0 * top - before - after))
    return float(max(size.max(initial=0.0), between.max(initial=0.0)))


def _upper_half(share: Reals) -> Complexes:
    """Return points of the upper half of the unit circle, denser towards DC, by shares of it."""
    return np.exp(1j * math.pi * share**3)


def find_pairs(
    fixed: Complexes,
    delayed: Complexes,
    pairs: Complexes,
    z: Complexes,
    target: Complexes,
    farthest: float = FARTHEST,
    rounds: int = ROUNDS,
) -> Complexes:
    """Move pole pairs to where a response has its poles, by vector fitting in z.

    Parameters
    ----------
    fixed : ndarray, shape (n, m)
        Weighted responses of what else the filter is a sum of.
    delayed : ndarray, shape (n,)
        Weighted response of the delay that stands before the pairs.
    pairs : ndarray, shape (k,)
        Where to start: poles in the upper half of the unit circle.
    z, target : ndarray, shape (n,)
        Points of the fit; weighted target.
    farthest : float
        No pole is found farther from the centre.
    rounds : int
        So often they are moved.

    Returns
    -------
    ndarray, shape (k,)
        Poles inside the unit circle, upper half.

    References
    ----------
    .. [1] B. Gustavsen and A. Semlyen, "Rational approximation of frequency domain responses by
       vector fitting," IEEE Trans. Power Delivery 14(3), 1052-1061, 1999.
    """
    across = np.linalg.qr(_halves(fixed))[0]
    for _ in range(rounds):
        sections = _pair_fractions(pairs, z)
        rows = np.column_stack((delayed[:, None] * sections, -target[:, None] * sections, target))
        found = Least.of_real(_beside(across, _halves(rows))).solve()
        pairs = _zeros(pairs, found[-2 * pairs.size :], farthest)
    return pairs


def _beside(across: Reals, columns: Reals) -> Reals:
    """Return what of some columns the space of others, given by an orthonormal basis, lacks."""
    return columns - across @ (across.T @ columns)


def _pair_fractions(pairs: Complexes, z: Complexes) -> Complexes:
    """Return r/(z - p) + conj, for r = 1/2 and j/2 scaled to even sizes: shape (z, 2 pairs)."""
    one, other = 1.0 / (z[:, None] - pairs), 1.0 / (z[:, None] - pairs.conj())
    size = np.abs(1.0 - pairs)
    parts = np.stack((0.5 * size * (one + other), 0.5j * size * (one - other)), axis=2)
    return parts.reshape(z.size, -1)


def _zeros(pairs: Complexes, strengths: Reals, farthest: float) -> Complexes:
    """Return the zeros of 1 + Σ strengths · fractions, brought inside the unit circle."""
    count = pairs.size
    matrix = np.zeros((2 * count, 2 * count))
    for k, pole in enumerate(pairs):
        here = slice(2 * k, 2 * k + 2)
        matrix[here, here] = ((pole.real, pole.imag), (-pole.imag, pole.real))
    outward = strengths.copy()
    outward *= np.repeat(0.5 * np.abs(1.0 - pairs), 2)
    inward = np.tile((2.0, 0.0), count)
    found = np.linalg.eigvals(matrix - np.outer(inward, outward)).astype(np.complex128)
    outside = np.abs(found) > 1.0
    found[outside] = 1.0 / found[outside].conj()
    upper = found[found.imag > 1e-9]
    lone = np.sort(found[np.abs(found.imag) <= 1e-9].real)
    gone = [complex(0.5 * (a + b), max(1e-3, 0.5 * (b - a))) for a, b in _two_by_two(lone)]
    moved = np.concatenate((upper, np.array(gone, np.complex128)))
    within = np.minimum(farthest, np.exp(-np.angle(moved) / (2.0 * SHARPEST)))
    return moved * np.minimum(1.0, within / np.abs(moved))


def _two_by_two(values: Reals) -> list[tuple[float, float]]:
    return [(values[k], values[k + 1]) for k in range(0, values.size - 1, 2)]
