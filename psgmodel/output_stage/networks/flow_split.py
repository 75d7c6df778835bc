"""Choice of a flow: eigenvectors where they serve, the matrix exponential for eigenvalues that nearly coincide.

Stage: the analog side of the output stage. A `StateSpace` in, a `Flow` out. Where some eigenvalues nearly coincide, the
state is split into two invariant parts that do not mix (ordered Schur forms; Golub and Van Loan, Matrix
Computations, section 7.6, from memory), so that only the near-coincident part pays for matrix exponentials.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks.flow import ComplexArray, FloatArray, Flow, MatrixFlow, ModalFlow
from psgmodel.output_stage.networks.states import StateSpace

MODAL_LIMIT = 1e5
"""Largest condition number of the eigenvectors that are used as they are: it costs so many units of rounding."""

NEAR = 0.1
"""Eigenvalues nearer to each other than this part of their size count as near-coincident."""


@dataclass(frozen=True, slots=True)
class SplitFlow:
    """Two flows side by side: coordinates of the modal part first, then of the matrix part.

    Attributes
    ----------
    modal : ModalFlow
    matrix : MatrixFlow
        All groups of near-coincident eigenvalues, one block each.
    blocks : tuple of MatrixFlow
        The groups by themselves, in the order of their coordinates: each moves at one speed, so its bound is close.
    inward : ndarray of float64, shape (n, n)
        From the state to the coordinates of the two invariant parts, modal part first.
    outward : ndarray of float64, shape (n, n)
    """

    modal: ModalFlow
    matrix: MatrixFlow
    blocks: tuple[MatrixFlow, ...]
    inward: FloatArray
    outward: FloatArray

    @property
    def _parts(self) -> tuple[slice, slice]:
        """Return the two parts of coordinates."""
        m = self.modal.rates.size
        return slice(0, m), slice(m, m + self.matrix.a.shape[0])

    @property
    def _states(self) -> int:
        """Return the number of states in the modal part."""
        return int(self.modal.inward.shape[1])

    def enter(self, state: FloatArray) -> ComplexArray:
        """See `Flow`."""
        inner = self.inward @ state
        return np.concatenate([self.modal.enter(inner[: self._states]), self.matrix.enter(inner[self._states :])])

    def leave(self, w: ComplexArray) -> FloatArray:
        """See `Flow`."""
        one, two = self._parts
        inner = np.concatenate([self.modal.leave(w[one]), self.matrix.leave(w[two])])
        return np.asarray(self.outward @ inner, dtype=np.float64)

    def weights(self, row: FloatArray) -> ComplexArray:
        """See `Flow`."""
        inner = row @ self.outward
        return np.concatenate([self.modal.weights(inner[: self._states]), self.matrix.weights(inner[self._states :])])

    def slope(self, weights: ComplexArray) -> ComplexArray:
        """See `Flow`."""
        one, two = self._parts
        return np.concatenate([self.modal.slope(weights[one]), self.matrix.slope(weights[two])])

    def advance(self, w: ComplexArray, seconds: FloatArray) -> ComplexArray:
        """See `Flow`."""
        one, two = self._parts
        return np.concatenate([self.modal.advance(w[one], seconds), self.matrix.advance(w[two], seconds)])

    def read_at(
        self, weights: ComplexArray, w: ComplexArray, which: NDArray[np.intp], seconds: FloatArray
    ) -> FloatArray:
        """See `Flow`."""
        one, two = self._parts
        first = self.modal.read_at(weights[one], w[one], which, seconds)
        return first + self.matrix.read_at(weights[two], w[two], which, seconds)

    def march(self, start: ComplexArray, seconds: FloatArray, kick: ComplexArray, size: FloatArray) -> ComplexArray:
        """See `Flow`."""
        one, two = self._parts
        return np.concatenate(
            [
                self.modal.march(start[one], seconds, kick[one], size),
                self.matrix.march(start[two], seconds, kick[two], size),
            ]
        )

    def period_start(self, end: ComplexArray, period: float) -> ComplexArray:
        """See `Flow`."""
        one, two = self._parts
        return np.concatenate([self.modal.period_start(end[one], period), self.matrix.period_start(end[two], period)])

    def bound(self, weights: ComplexArray, w: ComplexArray) -> FloatArray:
        """See `Flow`."""
        total, at = self.modal.bound(weights[self._parts[0]], w[self._parts[0]]), self.modal.rates.size
        for block in self.blocks:
            part = slice(at, at + block.a.shape[0])
            total, at = total + block.bound(weights[part], w[part]), part.stop
        return total

    def area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`."""
        one, two = self._parts
        return self.modal.area(weights[one], w[one], seconds) + self.matrix.area(weights[two], w[two], seconds)

    def square_area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`. The mixed term ``exp(r t) q exp(A t)`` integrates to ``q (A + r)^-1 (exp((A + r) t) - 1)``."""
        one, two = self._parts
        total = self.modal.square_area(weights[one], w[one], seconds)
        total = total + self.matrix.square_area(weights[two], w[two], seconds)
        end = self.matrix.advance(w[two], seconds)
        for rate, weight, mode in zip(self.modal.rates, weights[one], w[one], strict=True):
            both = self.matrix.a + rate * np.eye(self.matrix.a.shape[0])
            row = np.linalg.solve(both.T, weights[two])
            total = total + 2 * (weight * mode * (row @ (np.exp(rate * seconds) * end - w[two]))).real
        return total


def flow_of(space: StateSpace, *, modal_limit: float = MODAL_LIMIT) -> Flow:
    """Return the flow of a network.

    Parameters
    ----------
    space : StateSpace
    modal_limit : float
        Largest condition number of the (balanced) eigenvectors for which they are used as they are.

    Returns
    -------
    Flow
        `ModalFlow`, or a `SplitFlow` where the eigenvectors are too nearly dependent.
    """
    from scipy.linalg import block_diag, matrix_balance

    if not space.states:
        return _modal(space.a)[0]
    balanced, scale = (np.asarray(m, dtype=np.float64) for m in matrix_balance(space.a, permute=False))
    modal, condition = _modal(balanced)
    if condition <= modal_limit:
        return ModalFlow(modal.rates, modal.inward @ np.linalg.inv(scale), scale @ modal.outward)
    rates = np.linalg.eigvals(balanced).astype(np.complex128)
    groups = _groups(rates)
    apart = np.setdiff1d(np.arange(rates.size), [i for g in groups for i in g])
    bases, parts = [], []
    for members in [list(apart), *groups]:
        basis, within = _invariant(balanced, rates[members], np.delete(rates, members))
        bases.append(basis)
        parts.append(within)
    outward = np.asarray(scale @ np.hstack(bases), dtype=np.float64)
    inward = np.asarray(np.linalg.inv(outward), dtype=np.float64)
    blocks = tuple(MatrixFlow(p) for p in parts[1:])
    joined = MatrixFlow(np.asarray(block_diag(*parts[1:]), dtype=np.float64))
    return SplitFlow(_modal(parts[0])[0], joined, blocks, inward, outward)


def _groups(rates: ComplexArray) -> list[list[int]]:
    """Return the groups of near-coincident eigenvalues, each with its conjugates; where none is near, all in one."""
    gap = np.abs(rates[:, None] - rates[None, :]) + np.diag(np.full(rates.size, np.inf))
    near = np.flatnonzero(gap.min(axis=1) < NEAR * np.abs(rates))
    left = [int(i) for i in near] if near.size else list(range(rates.size))
    folded = rates.real + 1j * np.abs(rates.imag)
    groups: list[list[int]] = []
    while left:
        group = [left.pop(0)]
        for member in group:
            # Invariant: `group` grows while it is walked, by every one left that is near to a member.
            close = [i for i in left if abs(folded[i] - folded[member]) < NEAR * abs(folded[i]) or not near.size]
            group += close
            left = [i for i in left if i not in close]
        groups.append(group)
    return groups


def _modal(a: FloatArray) -> tuple[ModalFlow, float]:
    """Return the modal flow of a matrix and the condition number of its eigenvectors."""
    if not a.size:
        empty = np.zeros((0, 0), np.complex128)
        return ModalFlow(np.zeros(0, np.complex128), empty, empty), 1.0
    rates, vectors = np.linalg.eig(a)
    kept = rates.imag >= 0
    twice = np.where(rates.imag > 0, 2.0, 1.0)
    condition = float(np.linalg.cond(vectors))
    inward = np.linalg.pinv(vectors) if condition > 1e14 else np.linalg.inv(vectors)
    flow = ModalFlow(
        rates[kept].astype(np.complex128),
        inward[kept].astype(np.complex128),
        (vectors * twice)[:, kept].astype(np.complex128),
    )
    return flow, condition


def _invariant(a: FloatArray, wanted: ComplexArray, others: ComplexArray) -> tuple[FloatArray, FloatArray]:
    """Return an orthonormal basis of the invariant subspace of the `wanted` eigenvalues, and A within it."""
    if not wanted.size:
        return np.zeros((a.shape[0], 0)), np.zeros((0, 0))
    if not others.size:
        return np.eye(a.shape[0]), a
    from scipy.linalg import schur

    def belongs(real: float, imaginary: float = 0.0) -> bool:
        value = complex(real, imaginary)
        return bool(np.abs(wanted - value).min() < np.abs(others - value).min())

    t, z, count = schur(a, output="real", sort=belongs)
    return z[:, :count], t[:count, :count]
