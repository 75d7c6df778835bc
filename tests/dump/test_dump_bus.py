"""Register traffic and strobed codes are recovered from sampled signals: tables worked by hand."""

from __future__ import annotations

import pytest

from psgmodel.dump import BusProbe, BusTraffic, ClockRule, Samples, bus_traffic, sample_cycles, strobed_steps
from psgmodel.dump import bus as bus_module
from psgmodel.errors import DumpError
from tests.dump.dump_text import header
from tests.dump.sampling_tables import sampled, table

VARIABLES = ("wire 1 ! clk", "wire 1 s stb", "wire 4 a addr [3:0]", "wire 8 d data [7:0]")
NAMES = ["stb", "addr", "data"]
WRITES = BusProbe("stb", "addr", "data")


def bench(*edges: str) -> str:
    """Return a dump whose edge k is at 10 k + 10; the values in ``edges[k]`` are set 5 before it and are sampled."""
    lines = ["#0", "0!"]
    for k, values in enumerate(edges):
        lines += [f"#{10 * k + 5}", "0!", *values.split("|")] if values else [f"#{10 * k + 5}", "0!"]
        lines += [f"#{10 * k + 10}", "1!"]
    return header(*VARIABLES) + "\n".join(lines) + "\n"


def samples_of(*edges: str) -> Samples:
    return sampled(bench(*edges), NAMES)


def rows(traffic: BusTraffic) -> list[tuple[int, int, int]]:
    return list(zip(traffic.cycle.tolist(), traffic.address.tolist(), traffic.value.tolist(), strict=True))


def test_a_write_belongs_to_the_cycle_whose_edge_samples_its_strobe() -> None:
    found = samples_of("0s|b1 a|b101 d", "1s|b10 a", "0s", "", "1s|b11 a|b11111111 d", "b100 a", "0s|bx a")
    assert rows(bus_traffic(found, WRITES)) == [(1, 2, 5), (4, 3, 255), (5, 4, 255)]
    assert bus_traffic(found, WRITES).edges == 7


def test_values_that_change_with_the_edge_come_too_late_for_it() -> None:
    text = header(*VARIABLES) + "#0\n0!\n1s\nb1 a\nb1 d\n#10\n1!\n0s\nb10 a\nb10 d\n#15\n0!\n#20\n1!\n"
    assert rows(bus_traffic(sampled(text, NAMES), WRITES)) == [(0, 1, 1)]


def test_a_strobe_may_be_active_low() -> None:
    found = samples_of("1s|b1 a|b1 d", "0s", "1s", "0s")
    assert rows(bus_traffic(found, BusProbe("stb", "addr", "data", active=0))) == [(1, 1, 1), (3, 1, 1)]


def test_read_data_are_sampled_a_declared_number_of_edges_later() -> None:
    found = samples_of("0s|b1 a|b1 d", "1s|b10 a", "0s|b11 a|b10 d", "b11 d", "1s", "0s")
    assert rows(bus_traffic(found, BusProbe("stb", "addr", "data", latency=1))) == [(1, 2, 2), (4, 3, 3)]
    late = bus_traffic(found, BusProbe("stb", "addr", "data", latency=2))
    assert (rows(late), late.unfinished) == ([(1, 2, 3)], 1)
    assert [p.message for p in late.problems] == ["1 transfers on t.stb at the end have no data: the dump ends before"]


def test_unknown_strobes_addresses_and_data_are_told_with_cycle_and_time() -> None:
    found = samples_of("xs|b1 a|b1 d", "", "1s|bx a", "b1 a|b1z d", "0s")
    with pytest.raises(DumpError) as caught:
        bus_traffic(found, WRITES)
    assert str(caught.value).splitlines() == [
        "<stream>: the strobe t.stb is unknown from cycle 0 (time 10) for 2 edges",
        "<stream>: the address t.addr of the transfer at cycle 2 (time 30) is unknown",
        "<stream>: the data t.data of the transfer at cycle 3 (time 40) is unknown",
    ]
    listed = bus_traffic(found, WRITES, strict=False)
    assert [str(p) for p in listed.problems] == str(caught.value).splitlines()
    assert (rows(listed), listed.unknown_strobes, listed.unknown_transfers) == ([], 2, 2)


def test_many_unknown_transfers_are_listed_in_part_and_counted_in_full() -> None:
    found = samples_of("1s|bx a|b1 d", *[""] * 49)
    listed = bus_traffic(found, WRITES, strict=False)
    assert listed.unknown_transfers == 50
    assert len(listed.problems) == 21
    assert listed.problems[-1].message == "and 30 more transfers with an unknown address"


def test_an_unknown_address_without_a_strobe_is_nobodys_business() -> None:
    assert rows(bus_traffic(samples_of("0s|bx a|bx d", "1s|b1 a|b1 d", "0s|bx a"), WRITES)) == [(1, 1, 1)]


def test_a_strobe_that_is_nearly_always_active_asks_for_its_polarity(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bus_module, "MAX_TRANSFERS", 3)
    with pytest.raises(DumpError, match=r"t\.stb = 1 at 4 of 4 edges; at most 3 are read \(is its polarity right\?\)"):
        bus_traffic(samples_of("1s|b1 a|b1 d", "", "", ""), WRITES)


def test_a_strobe_of_several_bits_and_a_negative_latency_are_refused() -> None:
    found = samples_of("1s|b1 a|b1 d", "")
    with pytest.raises(DumpError, match=r'the strobe "t\.addr" is 4 bits wide; expected 1'):
        bus_traffic(found, BusProbe("addr", "addr", "data"))
    with pytest.raises(DumpError, match="a read latency of -1 cycles; expected at least 0"):
        bus_traffic(found, BusProbe("stb", "addr", "data", latency=-1))
    with pytest.raises(DumpError, match='no signal "strobe" among those read'):
        bus_traffic(found, BusProbe("strobe", "addr", "data"))


def test_a_strobed_code_is_held_from_one_active_cycle_to_the_next() -> None:
    # edge k + 1 samples what stands in cycle k: valid in cycles 1, 4, 5
    found = samples_of("0s|b1 d", "", "1s|b10 d", "0s|b11 d", "", "1s|b11111111 d", "b101 d", "0s|b0 d")
    assert table(strobed_steps(found, "data", "stb")) == ([(1, 2), (4, 255), (5, 5)], 7)
    assert table(strobed_steps(found, "data", "stb", signed=True)) == ([(1, 2), (4, -1), (5, 5)], 7)
    assert sample_cycles(found, "stb").tolist() == [1, 4, 5]


def test_a_code_under_an_unknown_strobe_is_unknown_until_the_next_active_cycle() -> None:
    found = samples_of("0s|b1 d", "1s", "xs", "0s", "1s|b10 d", "bx d", "0s")
    assert table(strobed_steps(found, "data", "stb")) == ([(0, 1), (1, None), (3, 2), (4, None)], 6)
    with pytest.raises(DumpError, match=r"the strobe t\.stb is unknown from cycle 2 \(time 30\) for 1 edges"):
        sample_cycles(found, "stb")


def test_a_strobe_that_is_never_active_gives_a_signal_that_covers_nothing() -> None:
    steps = strobed_steps(samples_of("0s|b1 d", "", ""), "data", "stb")
    assert (len(steps), steps.start, steps.end) == (0, 2, 2)


def test_a_one_bit_pin_is_a_signal_like_any_other() -> None:
    found = samples_of("0s", "1s", "0s", "xs", "1s")
    assert table(found.steps("stb")) == ([(0, 1), (1, 0), (2, None), (3, 1)], 4)


def test_transfers_are_counted_over_the_chosen_edges_only() -> None:
    text = bench("1s|b1 a|b1 d", "0s", "1s|b10 a", "0s")
    found = sampled(text, NAMES, ClockRule("clk", edge="falling"))
    # falling edges at 15, 25, 35 sample what was set at 5, 15 and 25: only the changes before them
    assert rows(bus_traffic(found, WRITES)) == [(0, 1, 1), (2, 2, 1)]
