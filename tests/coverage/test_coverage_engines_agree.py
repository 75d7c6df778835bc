"""What is followed from event to event and what the reference engine does cycle by cycle show the same behaviours.

The reference is the judge of what happens between the edges at which something happens; that the behaviours are the
right ones is held by the logs worked out by hand beside this file.
"""

from __future__ import annotations

from collections import Counter
from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip
from psgmodel.coverage.covering import channel_behaviours, unit_behaviours, watch
from psgmodel.reglog import RegisterLog
from psgmodel.stimulus import one_write_a_cycle
from tests.coverage.watched_reference import watched_by_reference
from tests.laws.generated_logs import draw_log
from tests.laws.generators import draw_chip


def drawn(seed: int) -> tuple[Chip, RegisterLog, int]:
    """Draw a chip, a log, and the least spacing of its writes; 0: several in one cycle."""
    rng = Random(seed)
    chip = draw_chip(rng)
    log = draw_log(rng, chip, 2500, 60)
    spacing = rng.choice((0, 0, 1, 2, 3, 4, 8))
    return chip, one_write_a_cycle(log, spacing) if spacing else log, spacing


def compare(seeds: range, seen: Counter[str]) -> None:
    for seed in seeds:
        chip, log, spacing = drawn(seed)
        judge = watched_by_reference(chip, log)
        followed, happened = watch(chip, log)
        for name in chip.channels:
            for b in channel_behaviours(chip, name, max(spacing, 1)):
                found = bool(np.any(b.seen(followed[name])))
                assert found == bool(np.any(b.seen(judge[name]))), (seed, b.bin)
                assert not (spacing and found and b.bin.unreachable), (seed, spacing, b.bin)
                seen[b.bin.name.partition(".")[2]] += found
        for b in unit_behaviours(chip, spacing) if spacing else ():
            assert not (np.any(b.seen(happened)) and b.bin.unreachable), (seed, spacing, b.bin)


def test_the_reference_shows_the_same_behaviours_and_none_that_is_said_to_be_out_of_reach() -> None:
    seen: Counter[str] = Counter()
    compare(range(60), seen)
    kinds = {what.partition("=")[0] for what, count in seen.items() if count}
    assert len(kinds) > 110, "the generator no longer reaches these"


def test_a_gate_that_is_open_from_reset_on_can_be_shut_while_its_channel_is_idle() -> None:
    seen: Counter[str] = Counter()
    compare(range(2031, 2032), seen)  # drawn: w1 at edge 375
    assert seen["stop.idle"]


@pytest.mark.long
@pytest.mark.parametrize("part", range(8))
def test_the_same_on_many_generated_chips(part: int) -> None:
    compare(range(1000 + 200 * part, 1200 + 200 * part), Counter())
