"""Results as plain data: what JSON can hold.

Stage: compare. In: result records. Out: dicts, lists, texts, numbers. The same result gives the same data. Numbers that
JSON does not know (infinite, not a number) become None; arrays become lists.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from enum import Enum
from fractions import Fraction
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return a record, or anything inside one, as plain data.

    Raises
    ------
    TypeError
        Something that no result holds.
    """
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, (np.integer, np.bool_)):
        return value.item()
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {name: plain(v) for name, v in value._asdict().items()}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, frozenset, set)):
        return [plain(v) for v in (sorted(value) if isinstance(value, (set, frozenset)) else value)]
    raise TypeError(f"a result cannot hold {type(value).__name__}")
