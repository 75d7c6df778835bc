"""Kernels of an exact run: short loops on arrays, no checks.

Stage: the analog side of the output stage. Decay factors and kicks, one for each stretch between two edges, in;
coordinates at each edge out.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Number = TypeVar("Number", np.float64, np.complex128)

_SHORT = 64


def march_plain(decay: NDArray[Number], kick: NDArray[Number], start: Number) -> NDArray[Number]:
    """Return ``w[0] = start``, ``w[i + 1] = decay[i] * w[i] + kick[i]``. Shape (n + 1,): the reference."""
    w = np.empty(decay.size + 1, decay.dtype)
    w[0] = start
    for i in range(decay.size):
        w[i + 1] = decay[i] * w[i] + kick[i]
    return w


def march_scalar(decay: NDArray[Number], kick: NDArray[Number], start: Number) -> NDArray[Number]:
    """Return what `march_plain` returns, up to rounding, in about two square roots of n steps on arrays.

    The stretches are cut into rows of equal length. All rows march at once from zero; then the end of each row is
    carried into the next, times the row's own decay.
    """
    # Reference: march_plain.
    n = decay.size
    if n <= _SHORT:
        return march_plain(decay, kick, start)
    length = int(np.ceil(np.sqrt(n)))
    rows = -(-n // length)
    d = np.ones((rows * length,), decay.dtype)
    k = np.zeros((rows * length,), kick.dtype)
    d[:n], k[:n] = decay, kick
    d, k = np.ascontiguousarray(d.reshape(rows, length).T), np.ascontiguousarray(k.reshape(rows, length).T)
    for j in range(1, length):
        # Invariant: k[j] is the row's value from zero after stretch j, d[j] its decay since the row's start.
        k[j] += d[j] * k[j - 1]
        d[j] *= d[j - 1]
    carry = march_plain(d[-1], k[-1], start)
    out = np.empty(rows * length + 1, decay.dtype)
    out[0] = start
    out[1:] = (k + d * carry[:-1]).T.reshape(-1)
    return out[: n + 1]


def march_matrix(
    decays: FloatArray, which: NDArray[np.intp], kick: FloatArray, size: FloatArray, start: FloatArray
) -> FloatArray:
    """Return ``w[0] = start``, ``w[i + 1] = decays[which[i]] @ w[i] + kick * size[i]``. Shape (n + 1, states)."""
    w = np.empty((which.size + 1, start.size))
    w[0] = start
    for i in range(which.size):
        w[i + 1] = decays[which[i]] @ w[i] + kick * size[i]
    return w
