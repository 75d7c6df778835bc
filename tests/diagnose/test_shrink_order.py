"""The order of simpler: total, and in the order in which it is written down."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from psgmodel.diagnose.shrinking import complexity, is_simpler
from psgmodel.reglog import RegisterLog, make_log

ROWS = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 3), st.integers(0, 3)), max_size=4)


def log_of(rows: list[tuple[int, int, int]], end: int = 20) -> RegisterLog:
    rows = sorted(rows, key=lambda row: row[0])
    return make_log([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows], end=end)


def test_each_step_is_simpler_than_the_one_before_whatever_comes_later_in_the_order() -> None:
    chain = [
        log_of([(5, 1, 0), (6, 2, 0), (7, 2, 0)], 8),
        log_of([(15, 1, 9), (16, 2, 9)], 20),  # fewer writes, though later, longer and higher
        log_of([(15, 2, 9), (18, 2, 9)], 30),  # fewer addresses
        log_of([(17, 2, 9), (18, 2, 9)], 19),  # ends sooner
        log_of([(16, 2, 99), (18, 2, 9)], 19),  # earlier
        log_of([(16, 2, 98), (18, 2, 9)], 19),  # lower
    ]
    for before, after in pairwise(chain):
        assert is_simpler(after, before)
        assert not is_simpler(before, after)


@given(ROWS, ROWS, ROWS, st.integers(5, 8), st.integers(5, 8))
def test_of_two_logs_that_differ_exactly_one_is_the_simpler(
    a: list[tuple[int, int, int]], b: list[tuple[int, int, int]], c: list[tuple[int, int, int]], m: int, n: int
) -> None:
    one, two, three = log_of(a, m), log_of(b, n), log_of(c, n)
    assert is_simpler(one, two) + is_simpler(two, one) == (one != two)
    if is_simpler(one, two) and is_simpler(two, three):
        assert is_simpler(one, three)
    assert (complexity(one) == complexity(two)) == (one == two)
