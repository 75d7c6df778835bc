"""Candidates of the passes are logs that the bus can have, and say what they are meant to say."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip, load_chip
from psgmodel.diagnose.shrinking import is_simpler, passes
from psgmodel.reglog import RegisterLog, check_log, load_log, make_log
from psgmodel.reglog.bus import register_writes

LINNET, SISKIN = load_chip("patches/linnet.toml"), load_chip("patches/siskin.toml")
LOGS = {
    "linnet": (LINNET, load_log("patches/tiny.csv")),
    "siskin": (SISKIN, load_log("patches/siskin-walk.csv").cut(0, 400_000)),
}


def by_register(chip: Chip, log: RegisterLog) -> list[tuple[int, int, int]]:
    writes, _ = register_writes(chip, log)
    return list(zip(writes.cycle.tolist(), writes.address.tolist(), writes.value.tolist(), strict=True))


@pytest.mark.parametrize("name", LOGS)
def test_dropping_writes_leaves_the_others_at_their_registers_through_an_index_port_too(name: str) -> None:
    chip, log = LOGS[name]
    everything, rng = by_register(chip, log), Random(3)
    assert len(everything) > 5
    for _ in range(50):
        kept = sorted(rng.sample(range(len(everything)), rng.randint(0, len(everything))))
        found = passes.only(chip, log, kept)
        check_log(found, chip)
        assert by_register(chip, found) == [everything[i] for i in kept]
        assert len(found) <= len(log)
        assert set(found.cycle.tolist()) <= set(log.cycle.tolist())
        assert np.unique(found.cycle).size == len(found) or np.unique(log.cycle).size < len(log)


def test_silencing_takes_whole_channels_first_and_leaves_shared_registers() -> None:
    log = make_log(range(6), [0x00, 0x08, 0x10, 0x0E, 0x40, 0x16], [0xFF, 1, 2, 1, 3, 1])
    rests = list(passes.silenced(LINNET, log))
    assert rests[0] == (0, 2, 4, 5)  # without a: 0x08 and 0x0E; ROUTE at 0x00 is everyone's
    assert rests[1] == (0, 1, 3, 4)  # without b
    assert rests[2] == (0, 1, 2, 3, 5)  # without the wave channel and its memory
    assert (1, 2, 3, 4, 5) in rests  # without one register


def test_the_channel_with_the_most_writes_is_silenced_first() -> None:
    log = make_log(range(4), [0x08, 0x10, 0x11, 0x16], [1, 2, 1, 1])
    assert list(passes.silenced(LINNET, log))[:2] == [(0,), (1, 2, 3)]  # without b, without a


def test_writes_move_earlier_only_as_far_as_the_distance_allows_and_take_the_end_along() -> None:
    log = make_log([100, 110, 150], [8, 9, 10], [1, 2, 3], end=400)
    assert passes.packed(log, 10).cycle.tolist() == [0, 10, 20]
    assert passes.packed(log, 10).end == 270
    assert passes.room_before(log, 0, 10) == 100
    assert passes.room_before(log, 1, 10) == 0
    assert passes.room_before(log, 2, 10) == 30
    assert passes.earlier_from(log, 2, 30).cycle.tolist() == [100, 110, 120]
    assert passes.earlier_from(log, 2, 30).end == 370
    assert passes.earlier_alone(log, 2, 30).end == 400


def test_moves_and_lower_values_find_the_least_that_a_threshold_asks_for() -> None:
    state = [make_log([100, 500], [8, 9], [0xB7, 0x3C], end=600)]

    def take(log: RegisterLog) -> bool:
        good = log.cycle[0] >= 37 and log.cycle[1] - log.cycle[0] >= 11 and log.value[0] & 0x24 == 0x24
        if is_simpler(log, state[0]) and good:
            state[0] = log
        return state[0] is log

    passes.move_earlier(LINNET, lambda: state[0], 1, take)
    passes.lower_values(lambda: state[0], take)
    assert state[0].cycle.tolist() == [37, 48]
    assert state[0].value.tolist() == [0x24, 0]
