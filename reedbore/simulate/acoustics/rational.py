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
"""By so much the points are denser that it ends with."""

FARTHEST = 0.9995
"""No pole pair is found nearer to the unit circle."""

SHARPEST = 50.0
"""Nor with a higher quality, which could hide between two points of the passivity check."""

ROUNDS_HELD = 25
"""Of pulling a fit back to 1, at most."""

ROUNDS, ROUNDS_NEAR = 10, 4
"""Of vector fitting: from anywhere, and from where the poles of nearly the same response lie."""


@functools.cache
def _libraries() -> ThreadpoolController:
    return ThreadpoolController()


def one_thread() -> Any:
    """Keep linear algebra on one thread inside a ``with``: for small matrices more only wait."""
    return _libraries().limit(limits=1, user_api="blas")


def solve(rows: Complexes, wanted: Complexes) -> Reals:
    """Solve complex least squares for real unknowns."""
    return np.asarray(np.linalg.lstsq(_halves(rows), _halves(wanted), None)[0], np.float64)


def _halves(rows: Complexes) -> Reals:
    """Set the imaginary halves of rows below the real ones."""
    return np.concatenate((rows.real, rows.imag))


class _Kept(NamedTuple):
    """Rows of a least-squares problem that stay, made as few as there are unknowns."""

    rows: Reals
    wanted: Reals

    @classmethod
    def of(cls, rows: Complexes, wanted: Complexes) -> "_Kept":
        across, few = np.linalg.qr(_halves(rows))
        return cls(few, across.T @ _halves(wanted))

    def solve_with(self, rows: Complexes, wanted: Complexes) -> Reals:
        """Solve for the real unknowns, some rows more."""
        all_rows = np.concatenate((self.rows, rows.real, rows.imag))
        all_wanted = np.concatenate((self.wanted, wanted.real, wanted.imag))
        return np.linalg.lstsq(all_rows, all_wanted, None)[0]


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
    """Solve the weighted linear least squares; pull the answer back wherever it exceeds 1.

    Parameters
    ----------
    basis : callable
        Gives the responses, shape (n, m), that the filter is a sum of, at n points.
    z, target, weight : ndarray, shape (k,)
        Points of the fit, what is wanted there and how much it matters.

    Returns
    -------
    ndarray, shape (m,)
        Weights of the responses. Their sum exceeds 1 nowhere on a grid of `DENSE` points.
    """
    kept = _Kept.of(basis(z) * weight[:, None], target * weight)
    fine = basis(_upper_half(FINER * DENSE))
    dense = fine[::FINER]
    pull = np.zeros(len(dense))
    rows, wanted = dense[:0], fine[:0, 0]
    for _ in range(ROUNDS_HELD):
        stopping.check()
        found = kept.solve_with(rows, wanted)
        response = dense @ found
        size = np.abs(response)
        over = size > 1.0 + 1e-9
        if not over.any():
            missed = fine[np.abs(fine @ found) > 1.0 + 1e-9]
            if not len(missed):
                break
            dense = np.vstack((dense, missed))
            pull = np.concatenate((pull, np.zeros(len(missed))))
            response = dense @ found
            size = np.abs(response)
            over = size > 1.0 + 1e-9
        pull[over] += 0.1 * weight.max()
        held = pull > 0.0
        rows = dense[held] * pull[held, None]
        wanted = response[held] / np.maximum(size[held], 1.0) * pull[held] * 0.9999
    return found / max(1.0, _highest(np.abs(fine @ found)) * (1.0 + BETWEEN_POINTS))


def _highest(size: Reals) -> float:
    """Return the greatest value of a response, by parabolas also where it lies between points."""
    before, top, after = size[:-2], size[1:-1], size[2:]
    peaks = (top >= before) & (top >= after) & (before + after < 2.0 * top)
    before, top, after = before[peaks], top[peaks], after[peaks]
    between = top + (before - after) ** 2 / (8.0 * (2.0 * top - before - after))
    return float(max(size.max(), between.max(initial=0.0)))


def _upper_half(count: int) -> Complexes:
    """Return points of the upper half of the unit circle, denser towards DC."""
    return np.exp(1j * math.pi * np.linspace(0.0, 1.0, count) ** 3)


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
    beside = _beside(across, _halves(target))
    for _ in range(rounds):
        sections = _pair_fractions(pairs, z)
        rows = np.hstack((delayed[:, None] * sections, -target[:, None] * sections))
        found = np.asarray(np.linalg.lstsq(_beside(across, _halves(rows)), beside, None)[0])
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
