"""Writes in register and field names (patches/linnet.md, section 4), and a log against its bus."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from psgmodel.chip import load_chip
from psgmodel.comparison import describe_write
from psgmodel.comparison.plain import plain
from psgmodel.comparison.writes import compare_logs, concerning, last_writes
from psgmodel.reglog import RegisterLog, make_log

CHIP = load_chip("patches/linnet.toml")


@pytest.mark.parametrize(
    ("address", "value", "text"),
    [
        (0x09, 0x23, "A_TONE 0x09: a.pattern = 2, a.period[11:8] = 3"),
        (0x0A, 0xD4, "A_NOTE 0x0A: a.timer.enable = 1, a.timer.length[8] = 1, a.volume = 20"),
        (0x0E, 0x03, "A_GO 0x0E: a.stop, a.start"),
        (0x0E, 0x00, "A_GO 0x0E: 0x00, which changes nothing"),
        (0x02, 0xFF, "STATE 0x02: 0xFF, which changes nothing"),
        (0x45, 0x3F, "W_MEMORY[5] 0x45: wave sample 5 = 63"),
        (0x30, 0x12, "0x30 = 0x12, which nobody owns"),
    ],
)
def test_a_write_is_told_in_register_and_field_names(address: int, value: int, text: str) -> None:
    assert describe_write(CHIP, address, value) == text


def log_of(*writes: tuple[int, int, int], end: int = 1000) -> RegisterLog:
    return make_log(*zip(*writes, strict=True), end=end) if writes else make_log([], [], [], end=end)


def test_the_addresses_that_concern_a_channel_are_its_own_and_an_outputs_those_of_its_mixer_fields() -> None:
    assert concerning(CHIP, "a") == {0x08, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E}
    assert concerning(CHIP, "wave") == {0x18, 0x19, 0x1A, 0x1B, 0x1C, 0x1E, *range(0x40, 0x80)}
    assert concerning(CHIP, "left") == {0x00, 0x01}


def test_the_last_writes_are_those_up_to_the_cycle_that_concern_the_signal() -> None:
    log = log_of((5, 0x08, 1), (6, 0x10, 2), (7, 0x0E, 1), (8, 0x0A, 3))
    assert [w.cycle for w in last_writes(CHIP, log, "a", 7)] == [5, 7]
    assert [w.cycle for w in last_writes(CHIP, log, "a", 900, count=2)] == [7, 8]
    assert [w.cycle for w in last_writes(CHIP, log, "noise", 7)] == [5, 6, 7]  # none concerns it: the last of all
    assert last_writes(CHIP, log, "a", 4) == ()
    (found,) = last_writes(CHIP, log, "a", 5)
    assert found.seconds == pytest.approx(5 / 6_144_000)
    assert str(found) == "cycle 5: A_PITCH 0x08: a.period[7:0] = 1"


def test_equal_logs_agree() -> None:
    log = log_of((5, 0x08, 1), (6, 0x10, 2))
    found = compare_logs(CHIP, log, log)
    assert found.agrees
    assert found.reasons() == ()
    assert (found.log_writes, found.bus_writes, found.shift) == (2, 2, 0)
    assert compare_logs(CHIP, log_of(), log_of()).agrees


def test_a_changed_value_is_one_write_missing_and_one_too_many() -> None:
    found = compare_logs(CHIP, log_of((5, 0x08, 1), (6, 0x10, 2)), log_of((5, 0x08, 1), (6, 0x10, 3)))
    assert (found.missing, found.extra) == (1, 1)
    assert found.reasons() == (
        "1 write of the log missing on the bus, the first at cycle 6: B_PITCH 0x10: b.period[7:0] = 2",
        "1 write on the bus that the log does not have, the first at cycle 6: B_PITCH 0x10: b.period[7:0] = 3",
    )


def test_a_write_that_comes_twice_is_counted_twice() -> None:
    found = compare_logs(CHIP, log_of((5, 0x08, 1), (6, 0x08, 1)), log_of((5, 0x08, 1), (6, 0x08, 1), (7, 0x08, 1)))
    assert (found.missing, found.extra) == (0, 1)
    assert found.first_extra[0].cycle == 7


def test_missing_writes_of_a_shifted_log_are_told_in_cycles_of_the_log() -> None:
    log = log_of((5, 0x08, 1), (6, 0x10, 2), (9, 0x18, 4))
    found = compare_logs(CHIP, log, log_of((15, 0x08, 1), (19, 0x18, 4)))
    assert (found.shift, found.missing, found.extra) == (10, 1, 0)
    assert found.first_missing[0].cycle == 6


def test_writes_past_the_end_of_the_bus_are_not_missing() -> None:
    log = log_of((5, 0x08, 1), (600, 0x10, 2))
    assert compare_logs(CHIP, log, log_of((5, 0x08, 1), end=500)).agrees


def test_counts_equal_those_of_a_comparison_as_multisets() -> None:
    rng = np.random.default_rng(4)
    for _ in range(30):
        columns = [
            [(0, 0, 0), *sorted((int(c), int(a), int(v)) for c, a, v in zip(*rng.integers(0, 6, (3, 20)), strict=True))]
            for _ in range(2)
        ]
        ours, theirs = (log_of(*((c, a + 0x08, v) for c, a, v in column)) for column in columns)
        found = compare_logs(CHIP, ours, theirs)
        one, other = (Counter(column) for column in columns)
        assert (found.missing, found.extra) == ((one - other).total(), (other - one).total())


def test_plain_data_refuses_what_no_result_holds() -> None:
    assert plain({"a": np.float64("inf"), "b": (1, None), "c": np.arange(2)}) == {
        "a": None,
        "b": [1, None],
        "c": [0, 1],
    }
    with pytest.raises(TypeError, match="a result cannot hold object"):
        plain(object())
