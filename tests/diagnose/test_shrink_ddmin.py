"""ddmin against what Zeller and Hildebrandt published (2002, IEEE TSE 28(2)), and against its own promise."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

import pytest

from psgmodel.diagnose.shrinking import ddmin
from psgmodel.diagnose.shrinking.ddmin import Subset, split


def asked_once(count: int, fails: Callable[[Subset], bool]) -> tuple[Subset, list[Subset]]:
    """Run ddmin with a memory; return the result and the subsets that were tested, each once, in order."""
    memory: dict[Subset, bool] = {}

    def remembered(subset: Subset) -> bool:
        if subset not in memory:
            memory[subset] = fails(subset)
        return memory[subset]

    return ddmin(count, remembered), list(memory)


def test_the_worked_example_of_eight_changes_of_which_1_7_and_8_fail_together_goes_step_by_step_as_published() -> None:
    # The example is the paper's; the steps follow by hand from its definition of ddmin: subsets, then complements, then
    # twice the number of parts. With two parts the complements are the subsets; what was tested is not tested again.
    found, asked = asked_once(8, {0, 6, 7}.issubset)
    shown = ["".join(str(i + 1) for i in subset) for subset in asked]
    assert shown[:8] == ["1234", "5678", "12", "34", "56", "78", "345678", "125678"]
    assert shown[8:] == ["1278", "1", "2", "7", "8", "278", "178", "18", "17"]
    assert found == (0, 6, 7)


def test_the_published_line_of_html_shrinks_to_its_tag() -> None:
    # The case study of the paper: printing a page with this line crashed a browser, and 8 of its 40 characters do.
    line = '<SELECT NAME="priority" MULTIPLE SIZE=7>'
    assert len(line) == 40

    def crashes(subset: Subset) -> bool:
        return re.search(r"<SELECT( [^>]*)?>", "".join(line[i] for i in subset)) is not None

    found, asked = asked_once(len(line), crashes)
    assert "".join(line[i] for i in found) == "<SELECT>"
    assert len(asked) <= 40**2 + 3 * 40


@pytest.mark.parametrize("count", [1, 2, 3, 8, 37, 64])
def test_nothing_can_be_left_out_of_the_result_and_the_tests_stay_within_the_published_bound(
    count: int,
) -> None:
    rng = Random(count)
    for _ in range(40):
        wanted = frozenset(rng.sample(range(count), rng.randint(1, min(count, 6))))
        found, asked = asked_once(count, wanted.issubset)
        assert frozenset(found) == wanted
        assert len(asked) <= count**2 + 3 * count


def test_the_result_is_1_minimal_for_a_test_that_is_not_monotone() -> None:
    rng = Random(7)
    for _ in range(60):
        salt = rng.random()

        def fails(s: Subset, salt: float = salt) -> bool:
            return len(s) == 12 or Random(f"{salt}{s}").random() < 0.3

        found, _ = asked_once(12, fails)
        assert fails(found)
        if len(found) > 1:
            assert not any(fails(tuple(i for i in found if i != gone)) for gone in found)


@pytest.mark.parametrize("power", [1, 3, 6, 10])
def test_one_culprit_is_found_in_at_most_two_tests_for_each_halving(power: int) -> None:
    # Same source, best case: t <= 2 log2 |c|.
    for culprit in {0, 2**power // 3, 2**power - 1}:
        found, asked = asked_once(2**power, {culprit}.issubset)
        assert found == (culprit,)
        assert len(asked) <= 2 * power


def test_parts_are_even_and_none_is_empty() -> None:
    for count in range(1, 20):
        for parts in range(1, count + 1):
            lengths = [len(s) for s in split(range(count), parts)]
            assert sum(lengths) == count
            assert max(lengths) - min(lengths) <= 1
            assert min(lengths) >= 1
