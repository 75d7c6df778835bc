"""Published taps of maximal-length shift registers, and shifts written plainly for these tests.

Table: P. Alfke, XAPP052 "Efficient Shift Registers, LFSR Counters, and Long Pseudo-Random Sequence Generators", 1996,
Table 3. Positions 1 to n, n the oldest. The first tap is always n.
"""

from __future__ import annotations

TAPS = {
    3: [3, 2],
    4: [4, 3],
    5: [5, 3],
    6: [6, 5],
    7: [7, 6],
    8: [8, 6, 5, 4],
    9: [9, 5],
    10: [10, 7],
    11: [11, 9],
    12: [12, 6, 4, 1],
    13: [13, 4, 3, 1],
    14: [14, 5, 3, 1],
    15: [15, 14],
    16: [16, 15, 13, 4],
    17: [17, 14],
    18: [18, 11],
    19: [19, 6, 2, 1],
    20: [20, 17],
    21: [21, 19],
    22: [22, 21],
    23: [23, 18],
    24: [24, 23, 22, 17],
    25: [25, 22],
    26: [26, 6, 2, 1],
    27: [27, 5, 2, 1],
    28: [28, 25],
    29: [29, 27],
    30: [30, 6, 4, 1],
    31: [31, 28],
    32: [32, 22, 2, 1],
}


def right_taps(width: int) -> list[int]:
    """The same polynomial for a shift to the right: bit 0 and bits t feed back, that is positions 1 and t + 1."""
    return [1, *(tap + 1 for tap in TAPS[width][1:])]


def left_by_hand(width: int, contents: int, count: int, *, inverted: bool = False) -> list[int]:
    """Contents before each of `count` shifts to the left, with the published taps."""
    states = []
    for _ in range(count):
        states.append(contents)
        bits = sum(contents >> (tap - 1) & 1 for tap in TAPS[width])
        contents = (contents << 1 | (bits + inverted) % 2) % (1 << width)
    return states


def right_by_hand(width: int, contents: int, count: int, *, inverted: bool = False) -> list[int]:
    """Contents before each of `count` shifts to the right, with the published taps."""
    states = []
    for _ in range(count):
        states.append(contents)
        bits = sum(contents >> (tap - 1) & 1 for tap in right_taps(width))
        contents = contents >> 1 | (bits + inverted) % 2 << (width - 1)
    return states
