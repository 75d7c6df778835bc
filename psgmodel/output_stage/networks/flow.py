"""Free decay of a network's state, exact for any time: ``w(t) = exp(A t) w(0)``.

Stage: the analog side of the output stage. State equations in; a `Flow` out, which moves deviations from the
settled state through time. Times in seconds, states in volt and ampere.

Between two edges of the pin voltage the state is the settled state plus a deviation that decays freely, and an edge
of the pin voltage changes only the deviation: that is all the arithmetic of an exact run. `ModalFlow` works on the
eigenvectors of A, where each deviation is one exponential. `MatrixFlow` is for eigenvalues that nearly coincide
(critical damping, two alike sections), where eigenvectors are nearly dependent: it uses the matrix exponential,
computed once for each distinct duration. `flow_of` (in `flow_split`) chooses.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from psgmodel.output_stage.networks.kernels import march_matrix, march_scalar

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


class Flow(Protocol):
    """What a run needs from the state equations. Coordinates have shape (m, k): m per state vector, k vectors."""

    def enter(self, state: FloatArray) -> ComplexArray:
        """Return the coordinates, shape (m,), of a state deviation of shape (n,)."""

    def leave(self, w: ComplexArray) -> FloatArray:
        """Return the state deviation, shape (n,), of coordinates of shape (m,)."""

    def weights(self, row: FloatArray) -> ComplexArray:
        """Return the weights, shape (m,), that read ``row . x`` from coordinates."""

    def slope(self, weights: ComplexArray) -> ComplexArray:
        """Return the weights that read the time derivative of what `weights` read."""

    def advance(self, w: ComplexArray, seconds: FloatArray) -> ComplexArray:
        """Return coordinates (m, k) after each of k times."""

    def read_at(
        self, weights: ComplexArray, w: ComplexArray, which: NDArray[np.intp], seconds: FloatArray
    ) -> FloatArray:
        """Return what `weights` read, `seconds` after the vectors ``w[:, which]``. Shape of `which`."""

    def march(self, start: ComplexArray, seconds: FloatArray, kick: ComplexArray, size: FloatArray) -> ComplexArray:
        """Return coordinates (m, k + 1): decay over ``seconds[i]``, then add ``kick * size[i]``; k times."""

    def period_start(self, end: ComplexArray, period: float) -> ComplexArray:
        """Return the start that recurs after `period` when a start of zero ends in `end`."""

    def bound(self, weights: ComplexArray, w: ComplexArray) -> FloatArray:
        """Return a bound, shape (k,), on the size of what `weights` read from now on without an end."""

    def area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """Return the integral, shape (k,), of what `weights` read over each time."""

    def square_area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """Return the integral, shape (k,), of the square of what `weights` read over each time."""


def read(weights: ComplexArray, w: ComplexArray) -> FloatArray:
    """Return what `weights` (m,) read from coordinates (m, k). Shape (k,)."""
    # einsum, not a matrix product: m is small, and a threaded product costs more than it saves.
    total = np.einsum("m,mk->k", weights.real, w.real) - np.einsum("m,mk->k", weights.imag, w.imag)
    return np.asarray(total, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class ModalFlow:
    """Decay on eigenvectors: one coordinate for each real mode and for each conjugate pair.

    Attributes
    ----------
    rates : ndarray of complex128, shape (m,), 1/s
        Eigenvalues with imaginary part zero or above.
    inward : ndarray of complex128, shape (m, n)
    outward : ndarray of complex128, shape (n, m)
        Doubled for conjugate pairs, so that the real part of the product is the state.
    """

    rates: ComplexArray
    inward: ComplexArray
    outward: ComplexArray

    def enter(self, state: FloatArray) -> ComplexArray:
        """See `Flow`."""
        return self.inward @ state

    def leave(self, w: ComplexArray) -> FloatArray:
        """See `Flow`."""
        return np.asarray((self.outward @ w).real, dtype=np.float64)

    def weights(self, row: FloatArray) -> ComplexArray:
        """See `Flow`."""
        return row @ self.outward

    def slope(self, weights: ComplexArray) -> ComplexArray:
        """See `Flow`."""
        return weights * self.rates

    def _decays(self, mode: int, seconds: FloatArray) -> NDArray[np.float64 | np.complex128]:
        rate = self.rates[mode]
        return np.asarray(np.exp((rate.real if rate.imag == 0 else rate) * seconds))

    def advance(self, w: ComplexArray, seconds: FloatArray) -> ComplexArray:
        """See `Flow`."""
        return np.array([w[i] * self._decays(i, seconds) for i in range(self.rates.size)]).reshape(
            self.rates.size, seconds.size
        )

    def read_at(
        self, weights: ComplexArray, w: ComplexArray, which: NDArray[np.intp], seconds: FloatArray
    ) -> FloatArray:
        """See `Flow`. Real modes in real arithmetic."""
        total = np.zeros(seconds.size)
        for i, rate in enumerate(self.rates):
            part = weights[i] * w[i]
            if rate.imag == 0:
                total += part.real[which] * np.exp(rate.real * seconds)
            else:
                total += (part[which] * np.exp(rate * seconds)).real
        return total

    def march(self, start: ComplexArray, seconds: FloatArray, kick: ComplexArray, size: FloatArray) -> ComplexArray:
        """See `Flow`."""
        out = np.empty((self.rates.size, seconds.size + 1), np.complex128)
        for i, rate in enumerate(self.rates):
            decay = self._decays(i, seconds)
            if rate.imag == 0:
                out[i] = march_scalar(decay, kick[i].real * size, start[i].real)
            else:
                out[i] = march_scalar(decay, kick[i] * size, start[i])
        return out

    def period_start(self, end: ComplexArray, period: float) -> ComplexArray:
        """See `Flow`."""
        return end / -np.expm1(self.rates * period)

    def bound(self, weights: ComplexArray, w: ComplexArray) -> FloatArray:
        """See `Flow`. Every mode only shrinks."""
        return np.asarray(np.einsum("m,mk->k", np.abs(weights), np.abs(w)), dtype=np.float64)

    def area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`. Each mode is one exponential."""
        total = np.zeros(seconds.size)
        for i, rate in enumerate(self.rates):
            total += (weights[i] * w[i] * (np.expm1(rate * seconds) / rate)).real
        return total

    def square_area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`. With p the reading as a complex sum, ``Re(p)**2 = (|p|**2 + Re(p**2)) / 2``, term by term."""
        part = weights[:, None] * w
        total = np.zeros(seconds.size)
        for i, rate in enumerate(self.rates):
            for j, other in enumerate(self.rates):
                same, mixed = rate + other, rate + other.conjugate()
                total += (part[i] * part[j] * (np.expm1(same * seconds) / same)).real / 2
                total += (part[i] * part[j].conj() * (np.expm1(mixed * seconds) / mixed)).real / 2
        return total


@dataclass(frozen=True, slots=True)
class MatrixFlow:
    """Decay by the matrix exponential; coordinates are the states themselves.

    Attributes
    ----------
    a : ndarray of float64, shape (n, n), 1/s
    """

    a: FloatArray

    def enter(self, state: FloatArray) -> ComplexArray:
        """See `Flow`."""
        return state.astype(np.complex128)

    def leave(self, w: ComplexArray) -> FloatArray:
        """See `Flow`."""
        return np.asarray(w.real, dtype=np.float64)

    def weights(self, row: FloatArray) -> ComplexArray:
        """See `Flow`."""
        return row.astype(np.complex128)

    def slope(self, weights: ComplexArray) -> ComplexArray:
        """See `Flow`."""
        return weights @ self.a

    def _exponentials(self, seconds: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
        """Return exp(A t) for each distinct time, and which of them each time takes."""
        from scipy.linalg import expm

        distinct, which = np.unique(seconds, return_inverse=True)
        return np.asarray(expm(self.a * distinct[:, None, None]), dtype=np.float64), which

    def advance(self, w: ComplexArray, seconds: FloatArray) -> ComplexArray:
        """See `Flow`."""
        decays, which = self._exponentials(seconds)
        return np.asarray(np.einsum("kij,jk->ik", decays[which], w), dtype=np.complex128)

    def read_at(
        self, weights: ComplexArray, w: ComplexArray, which: NDArray[np.intp], seconds: FloatArray
    ) -> FloatArray:
        """See `Flow`."""
        return read(weights, self.advance(w[:, which], seconds))

    def march(self, start: ComplexArray, seconds: FloatArray, kick: ComplexArray, size: FloatArray) -> ComplexArray:
        """See `Flow`."""
        decays, which = self._exponentials(seconds)
        return march_matrix(decays, which, kick.real, size, start.real).T.astype(np.complex128)

    def period_start(self, end: ComplexArray, period: float) -> ComplexArray:
        """See `Flow`."""
        decay = self._exponentials(np.array([period]))[0][0]
        return np.linalg.solve(np.eye(end.size) - decay, end).astype(np.complex128)

    def bound(self, weights: ComplexArray, w: ComplexArray) -> FloatArray:
        """See `Flow`. Agmon's inequality, ``max y**2 <= 2 |y| |y'|`` with norms over all time to come."""
        # 1 part in 1e6 allows for the rounding of the Gramians.
        square = self._energy(weights, w) * self._energy(self.slope(weights), w)
        return np.asarray((1 + 1e-6) * np.sqrt(2 * np.sqrt(square)), dtype=np.float64)

    def _gramian(self, weights: ComplexArray) -> FloatArray:
        """Return Q with ``w' Q w`` the integral, over all time to come, of the square of what `weights` read."""
        from scipy.linalg import solve_continuous_lyapunov

        row = weights.real
        return np.asarray(solve_continuous_lyapunov(self.a.T, -np.outer(row, row)), dtype=np.float64)

    def _energy(self, weights: ComplexArray, w: ComplexArray) -> FloatArray:
        """Return ``w' Q w``, shape (k,), not below zero."""
        energy = np.einsum("ik,ij,jk->k", w.real, self._gramian(weights), w.real, optimize=True)
        return np.asarray(np.maximum(energy, 0.0), dtype=np.float64)

    def area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`. ``A^-1 (exp(A t) - 1)``."""
        before_slope = np.linalg.solve(self.a.T, weights).astype(np.complex128)
        return read(before_slope, self.advance(w, seconds) - w)

    def square_area(self, weights: ComplexArray, w: ComplexArray, seconds: FloatArray) -> FloatArray:
        """See `Flow`. What is still to come at the start less what is still to come at the end."""
        return self._energy(weights, w) - self._energy(weights, self.advance(w, seconds))
