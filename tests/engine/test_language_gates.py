"""What gates mean, and registers whose writes are held.

Every expected number was worked out by hand from the option's sentence and the numbered list in `psgmodel.engine`. The
tick is at edges 10, 20, 30 and so on.
"""

from __future__ import annotations

import pytest

from psgmodel.engine import run, state_from_json, state_to_json
from psgmodel.errors import ChipError
from psgmodel.reglog import make_log
from tests.engine.linnet_plays import Table, Write
from tests.engine.tiny_units import (
    GATE,
    GO,
    START,
    STOP,
    VOLUME,
    play,
    reads,
    sounds,
    tiny,
)

LOUD = (0, VOLUME, 5)

# --- gates ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "writes", "expected"),
    [
        ("", [(4, GATE, 1), (9, GATE, 0)], [(4, 5), (9, 0)]),
        ("start_delay = 3", [(4, GATE, 1), (9, GATE, 0)], [(7, 5), (12, 0)]),
        # Only a change strobes: what is stopped in between stays so until the gate has been 0.
        ("", [(4, GATE, 1), (6, GO, STOP), (8, GATE, 1), (10, GATE, 0), (12, GATE, 1)], [(4, 5), (6, 0), (12, 5)]),
        ("", [(4, GO, START), (6, GATE, 0), (8, GO, STOP)], [(4, 5), (8, 0)]),
        # What counts is the gate before and after the edge, not what it was in between.
        ("", [(4, GATE, 1), (6, GATE, 0), (6, GATE, 1), (8, GATE, 0)], [(4, 5), (8, 0)]),
        ("", [(4, GATE, 1), (4, GATE, 0), (6, GO, START)], [(6, 5)]),
        # A start strobe and a gate that falls: where start and stop meet, the stop is ignored.
        ("", [(4, GATE, 1), (6, GATE, 0), (6, GO, START), (8, GO, STOP)], [(4, 5), (8, 0)]),
    ],
)
def test_a_gate_starts_where_it_opens_and_stops_where_it_closes(
    options: str, writes: list[Write], expected: Table
) -> None:
    assert sounds(tiny(f"[channel.x]\ngate = true\n{options}"), [LOUD, *writes], 20) == [(0, 0), *expected]


def test_a_gate_that_is_1_after_reset_opens_nothing_and_power_off_closes_it_silently() -> None:
    text = """
    power = {}
    channel.x.gate = true
    [[register]]
    name = "G"
    address = 20
    reset = 1
    fields = [{ bits = "0", drives = "x.gate" }]
    """
    power = 14
    writes = [LOUD, (4, 20, 0), (6, 20, 1), (8, power, 0), (10, power, 1), (10, VOLUME, 5), (12, 20, 0), (14, 20, 1)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (6, 5), (8, 0), (14, 5)]


def test_a_gate_beside_the_power_bit_moves_silently_while_the_power_is_off() -> None:
    text = """
    power = {}
    channel.x.gate = true
    [[register]]
    name = "G"
    address = 20
    reset = 1
    fields = [
      { bits = "0", drives = "power" }, { bits = "1", drives = "x.gate" }, { bits = "4:2", drives = "x.volume" },
    ]
    """
    on, gate, loud = 1, 2, 5 << 2
    # Off at 6 with the gate closed, opened at 8 while off; on at 10 with the gate as it was. Closed, opened: a note.
    writes = [(4, 20, loud | gate | on), (6, 20, loud), (8, 20, loud | gate), (10, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (4, 5), (6, 0)]
    writes += [(12, 20, loud | on), (14, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (4, 5), (6, 0), (14, 5)]
    # On and open by one write.
    writes = [(4, 20, 0), (6, 20, loud | gate | on)]
    assert sounds(tiny(text), writes, 20) == [(0, 0), (6, 5)]


def test_there_is_no_gate_where_none_is_asked_for() -> None:
    assert "x.gate" not in tiny("channel.x.gate = false").fields
    assert "x.gate" not in tiny("").fields


# --- registers that are held ------------------------------------------------------------------------------------------

HELD = """
[channel.x]
patterns = ["10"]
step.bits = 12
[[register]]
name = "HIGH"
address = 20
held_until = "LOW"
on_write = [STROBES]
fields = [{ bits = "3:0", drives = "x.period[11:8]" }]
[[register]]
name = "LOW"
address = 21
fields = [{ bits = "7:0", drives = "x.period[7:0]" }]
"""
HIGH, LOW = 20, 21


@pytest.mark.parametrize(
    ("writes", "period", "held"),
    [
        ([], 0, {}),
        ([(2, HIGH, 3)], 0, {HIGH: 3}),
        ([(2, HIGH, 3), (4, LOW, 0x21)], 0x321, {}),
        ([(2, LOW, 0x21)], 0x021, {}),
        # The last of several; used up; held again.
        ([(2, HIGH, 3), (3, HIGH, 5), (4, LOW, 0x21)], 0x521, {}),
        ([(2, HIGH, 3), (4, LOW, 0x21), (5, LOW, 0x43)], 0x343, {}),
        ([(2, HIGH, 3), (4, LOW, 0x21), (6, HIGH, 7)], 0x321, {HIGH: 7}),
        # Within one cycle, in this order and in the other.
        ([(4, HIGH, 3), (4, LOW, 0x21)], 0x321, {}),
        ([(4, LOW, 0x21), (4, HIGH, 3)], 0x021, {HIGH: 3}),
    ],
)
def test_a_write_is_held_until_another_register_is_written(
    writes: list[Write], period: int, held: dict[int, int]
) -> None:
    state = play(tiny(HELD.replace("STROBES", "")), writes, 9).state
    assert (state.registers[HIGH] << 8 | state.registers[LOW], state.held) == (period, held)


def test_what_is_held_strobes_when_it_happens_and_just_before_what_lets_it_go() -> None:
    chip = tiny(HELD.replace("STROBES", '"x.start"'))
    # The start is at 6, of a period of 1: down at 8, up at 10.
    assert sounds(chip, [LOUD, (2, HIGH, 0), (6, LOW, 1)], 11) == [(0, 0), (6, 5), (8, 0), (10, 5)]
    # Both hold bits of the volume: the later write, LOW, wins.
    text = """
    [[register]]
    name = "A"
    address = 20
    held_until = "B"
    fields = [{ bits = "2:0", drives = "x.period[2:0]" }, { bits = "5", strobes = "x.stop" }]
    [[register]]
    name = "B"
    address = 21
    fields = [{ bits = "0", drives = "x.period[3]" }, { bits = "5", strobes = "x.start" }]
    """
    # Where start and stop meet, the stop is ignored; alone, it stops.
    assert sounds(tiny(text), [LOUD, (2, 20, 32), (6, 21, 32)], 9) == [(0, 0), (6, 5)]
    assert sounds(tiny(text), [LOUD, (2, 21, 32), (4, 20, 32), (6, 21, 0)], 9) == [(0, 0), (2, 5), (6, 0)]


def test_a_run_cut_while_a_write_is_held_goes_on_with_it() -> None:
    chip = tiny(HELD.replace("STROBES", ""))
    log = make_log([2, 6], [HIGH, LOW], [3, 0x21], end=9)
    for engine in ("fast", "reference"):
        state = state_from_json(state_to_json(run(chip, log, end=4, engine=engine).state), chip)
        assert state.held == {HIGH: 3}
        assert run(chip, log, state=state, engine=engine).state.registers[HIGH] == 3


def test_power_off_drops_what_is_held() -> None:
    chip = tiny("power = {}\n" + HELD.replace("STROBES", ""))
    power = 14
    writes = [(2, HIGH, 3), (3, power, 0), (4, HIGH, 5), (5, power, 1), (6, LOW, 0x21)]
    state = play(chip, writes, 9).state
    assert (state.registers[HIGH], state.registers[LOW], state.held) == (0, 0x21, {})


def test_what_is_let_go_in_the_cycle_in_which_the_power_goes_off_and_on_strobes_nothing() -> None:
    # Edge 6 clears the unit: of its strobes none acts, not even that of a write which LOW lets go at the end of it. A
    # restart would leave the divider of 10 with 10 - 1 edges to wait for, of which 2 have passed before edge 9.
    power = 14
    writes = [(6, power, 0), (6, power, 1), (6, HIGH, 3), (6, LOW, 0x21)]
    for strobe in ("x.start", "t.restart"):
        state = play(tiny("power = {}\n" + HELD.replace("STROBES", f'"{strobe}"')), writes, 9).state
        assert (state.registers[HIGH], state.channels["x"].active, state.dividers["t"]) == (3, 0, [1, 0])


def test_a_held_register_reads_what_it_was_until_then() -> None:
    reads(tiny(HELD.replace("STROBES", "")), [(2, HIGH, 3), (6, LOW, 0x21)], [(5, HIGH, 0), (7, HIGH, 3)])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            ('LOW"\non_write', 'LOWER"\non_write'),
            r'held_until: no register "LOWER" that is not held itself \(did you mean "LOW"',
        ),
        (('LOW"\non_write', 'HIGH"\non_write'), 'held_until: no register "HIGH" that is not held itself'),
        (
            ('"x.period[11:8]" }', '"x.period[11:8]" }, { bits = "7", drives = "power" }'),
            "the register of the power bit cannot be held",
        ),
    ],
)
def test_a_register_is_held_until_one_that_is_not(change: tuple[str, str], message: str) -> None:
    with pytest.raises(ChipError, match=message):
        tiny("power = {}\n" + HELD.replace("STROBES", "").replace(*change))
