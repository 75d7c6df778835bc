"""Library: the compiled kernel, loaded if it is there and was built from the sources beside it.

Stage: engine, the compiled kernel. In: nothing. Out: the functions of api.c, called with arrays.
"""

from __future__ import annotations

import ctypes
import weakref
from collections.abc import Mapping, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from psgmodel.engine.kernel.build import FOLDER, library_name
from psgmodel.engine.kernel.layout import FIELDS, INPUTS, MIXER_INPUTS, ROW_COLUMNS, SIGNAL

IntArray = NDArray[np.int64]
Changes = tuple[IntArray, NDArray[np.int32]]
"""Cycles and levels of a canonical signal. Shapes (n,)."""


class Library:
    """The functions of the kernel.

    Parameters
    ----------
    library : CDLL
        Built from the sources beside this file.
    """

    def __init__(self, library: ctypes.CDLL) -> None:
        number, address = ctypes.c_int64, ctypes.c_void_p
        signatures = {
            "follow": (ctypes.c_int, [address, address, address]),
            "mix": (ctypes.c_int, [address]),
            "size": (number, [address, number]),
            "rows": (number, [address]),
            "column": (address, [address, number]),
            "copy": (None, [address, number, address, address]),
            "free": (None, [address]),
        }
        for name, (result, arguments) in signatures.items():
            function = getattr(library, f"kernel_{name}")
            function.restype, function.argtypes = result, arguments
        self._library = library

    def follow(self, inputs: Mapping[str, IntArray]) -> tuple[Changes, Changes, list[IntArray]]:
        """Follow a channel; return its levels, its activity after each change of it, and its rows, column by column.

        `inputs` has the arrays of `INPUTS`; `fields`, `state` and `memory` become what they are at the end. Columns
        that were not asked for are empty.
        """
        arrays = [inputs[name] for name in INPUTS]
        addresses, sizes = _addresses(arrays), np.array([array.size for array in arrays], dtype=np.int64)
        made = ctypes.c_void_p()
        status = self._library.kernel_follow(addresses.ctypes.data, sizes.ctypes.data, ctypes.byref(made))
        _check(status)
        owner = _Made(self._library, made)
        return self._copied(made, 0), self._copied(made, 1), self._columns(owner)

    def mix(self, inputs: Mapping[str, IntArray], room: int) -> list[Changes]:
        """Mix channels.

        `inputs` has the arrays of `MIXER_INPUTS`, of which `pipelines` becomes what it is at the end; an output has at
        most `room` entries.
        """
        count = inputs["outputs"].size // len(SIGNAL)
        made = [(np.empty(room, dtype=np.int64), np.empty(room, dtype=np.int32)) for _ in range(count)]
        columns = inputs["outputs"].reshape(-1, len(SIGNAL))
        columns[:, :2] = [(cycle.ctypes.data, level.ctypes.data) for cycle, level in made]
        addresses = _addresses([inputs[name] for name in MIXER_INPUTS])
        _check(self._library.kernel_mix(addresses.ctypes.data))
        return [_trimmed(*changes, size) for changes, size in zip(made, columns[:, 2].tolist(), strict=True)]

    def see(self, inputs: Mapping[str, IntArray]) -> None:
        """Look at the sums of a mixer; `seen` of the inputs, which are those of `mix`, is written to."""
        addresses = _addresses([inputs[name] for name in MIXER_INPUTS])
        _check(self._library.kernel_mix(addresses.ctypes.data))

    def _columns(self, owner: _Made) -> list[IntArray]:
        """Return the columns of the rows where they lie; each of them keeps them alive."""
        size = int(self._library.kernel_rows(owner.made))
        count = len(ROW_COLUMNS) + 2 * len(FIELDS)
        places = [self._library.kernel_column(owner.made, which) for which in range(count)]
        return [np.asarray(_Column(place, size, owner) if place else (), dtype=np.int64) for place in places]

    def _copied(self, made: ctypes.c_void_p, which: int) -> Changes:
        size = self._library.kernel_size(made, which)
        cycle, level = np.empty(size, dtype=np.int64), np.empty(size, dtype=np.int32)
        self._library.kernel_copy(made, which, cycle.ctypes.data, level.ctypes.data)
        return cycle, level


class _Made:
    """What the kernel has made; it is given back once nothing refers to this."""

    def __init__(self, library: ctypes.CDLL, made: ctypes.c_void_p) -> None:
        self.made = made
        weakref.finalize(self, library.kernel_free, made)


class _Column:
    """Numbers of the kernel where they lie; an array made of this keeps them alive and cannot be written to."""

    def __init__(self, address: int, size: int, owner: _Made) -> None:
        self.owner = owner
        self.__array_interface__ = {"data": (address, True), "shape": (size,), "typestr": "=i8", "version": 3}


def _check(status: int) -> None:
    if status:
        raise MemoryError("the compiled engine ran out of memory")


def _trimmed(cycle: IntArray, level: NDArray[np.int32], size: int) -> Changes:
    """Return the entries that are used; what is much smaller than its room is copied, so that the room is free."""
    part = cycle[:size], level[:size]
    return part if 2 * size > cycle.size else (part[0].copy(), part[1].copy())


def _addresses(arrays: Sequence[IntArray]) -> NDArray[np.uintp]:
    assert all(array.dtype == np.int64 and array.flags.c_contiguous for array in arrays)
    return np.array([array.ctypes.data for array in arrays], dtype=np.uintp)


class Found(NamedTuple):
    """What was found: the library, or None and the reason."""

    library: Library | None
    reason: str


@cache
def find_kernel() -> Found:
    """Return the kernel, if it serves; looked for once."""
    path = FOLDER / library_name()
    if not path.exists():
        return Found(None, "built from other sources" if any(FOLDER.glob("kernel-*.so")) else "not built")
    try:
        return Found(Library(ctypes.CDLL(str(path))), "")
    except (OSError, AttributeError) as reason:
        return Found(None, f"cannot be loaded: {reason}")
