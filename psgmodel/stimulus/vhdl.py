"""VHDL: a log as text file, the driver that reads it by std.textio, and a test bench around both.

Stage: stimulus. In: a register log that one bus can carry, a `Bench`. Out: texts: a line for each write (``w``, cycle
in decimal, address and value in binary digits, as std.textio reads a bit_vector: IEEE 1076-1993, clause 14.3), a last
line ``e`` with the end; a driver and a test bench in VHDL-93. A port of one bit is a std_logic.
"""

from __future__ import annotations

from psgmodel.errors import Problem, StimulusError
from psgmodel.reglog.log import RegisterLog
from psgmodel.stimulus.bench import Bench
from psgmodel.stimulus.one_bus import one_write_a_cycle
from psgmodel.stimulus.verilog import RESET_EDGES

HALF_PERIOD = 5_000_000
"""Half a clock period of the bench, in femtoseconds; nominal, for edges are counted."""
PERIOD = 2 * HALF_PERIOD
PHASE = HALF_PERIOD
"""Time of the first edge, with the reset still active."""

LARGEST_INTEGER = 2**31 - 1
"""Largest INTEGER that every tool must have (IEEE 1076-1993, clause 3.1.2.1)."""


def vhdl_text(log: RegisterLog, bench: Bench) -> str:
    """Return a log as text for the driver.

    Raises
    ------
    StimulusError
        Writes share a cycle, a cycle that a VHDL integer cannot hold, or a number wider than the bus.
    """
    one_write_a_cycle(log)
    if log.end > LARGEST_INTEGER:
        text = f"the log ends at cycle {log.end}; a VHDL integer goes to {LARGEST_INTEGER}"
        raise StimulusError(text, hint="cut the log, or export it for another bench")
    lines = []
    problems = []
    rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    for index, (cycle, address, value) in enumerate(rows):
        if address >> bench.address_bits or value >> bench.data_bits:
            bus = f"the bus has {bench.address_bits} and {bench.data_bits} bits"
            text = f"address 0x{address:02X}, value 0x{value:02X}: {bus}"
            problems.append(Problem(text, log.place(index)))
        lines.append(f"w {cycle} {address:0{bench.address_bits}b} {value:0{bench.data_bits}b}")
    if problems:
        raise StimulusError(problems)
    return "\n".join([*lines, f"e {log.end}"]) + "\n"


def vhdl_driver(bench: Bench) -> str:
    """Return the entity ``stimulus_driver``, which replays a text; it is the same for every log."""
    return _DRIVER.format(
        clock=bench.clock,
        reset=bench.reset,
        write=bench.write,
        address=bench.address,
        data=bench.data,
        address_type=_type(bench.address_bits),
        data_type=_type(bench.data_bits),
        address_zero=_zero(bench.address_bits),
        data_zero=_zero(bench.data_bits),
        address_last=bench.address_bits - 1,
        data_last=bench.data_bits - 1,
        address_value="to_stdulogic(place(0))" if bench.address_bits == 1 else "to_stdlogicvector(place)",
        data_value="to_stdulogic(word(0))" if bench.data_bits == 1 else "to_stdlogicvector(word)",
        active=bench.reset_level,
        idle=1 - bench.reset_level,
        reset_edges=RESET_EDGES,
    )


def vhdl_bench(bench: Bench, *, text: str = "stimulus.txt") -> str:
    """Return a test bench: clock, driver, the unit; `text` is what the comment calls the file."""
    ports = [bench.clock, *bench.driven, *(w.signal for w in bench.watched)]
    connections = [f"{port} => {port}" for port in ports] + [f"{p} => '{level}'" for p, level in bench.ties.items()]
    signals = [f"    signal {w.signal} : {_type(w.bits)};" for w in bench.watched]
    return _BENCH.format(
        text=text,
        half=HALF_PERIOD,
        period=PERIOD,
        phase=PHASE,
        clock=bench.clock,
        reset=bench.reset,
        active=bench.reset_level,
        write=bench.write,
        address=bench.address,
        data=bench.data,
        address_signal=f"{_type(bench.address_bits)} := {_zero(bench.address_bits)}",
        data_signal=f"{_type(bench.data_bits)} := {_zero(bench.data_bits)}",
        unit=bench.unit,
        signals="\n".join(signals),
        connections=",\n            ".join(connections),
    )


def _type(bits: int) -> str:
    return "std_logic" if bits == 1 else f"std_logic_vector({bits - 1} downto 0)"


def _zero(bits: int) -> str:
    return "'0'" if bits == 1 else "(others => '0')"


_DRIVER = """\
-- Replays a text of register writes: reset, write strobe, address and data, each driven at a rising edge for the edge
-- that follows it. VHDL-93.
--
-- Cycle 0 is the first rising edge that samples the reset inactive; a write at cycle c is sampled by the edge of c.
--   stimulus   the text: `w cycle address value` with binary address and value, cycles rising; at last `e cycle`
--   cycles     cycles to run after reset; 0: to the end of the log
-- `finished` goes to true at the edge after which only the last one is missing: let one more edge follow.

library ieee;
use ieee.std_logic_1164.all;
use std.textio.all;

entity stimulus_driver is
    generic (
        stimulus    : string;
        cycles      : natural := 0;
        reset_edges : positive := {reset_edges}
    );
    port (
        {clock} : in std_logic;
        {reset} : out std_logic := '{active}';
        {write} : out std_logic := '0';
        {address} : out {address_type} := {address_zero};
        {data} : out {data_type} := {data_zero};
        finished : out boolean := false
    );
end entity;

architecture replay of stimulus_driver is
begin

    process
        file log          : text open read_mode is stimulus;
        variable kind     : character;
        variable at       : integer := -1;  -- cycle of the line read ahead
        variable place    : bit_vector({address_last} downto 0);
        variable word     : bit_vector({data_last} downto 0);
        variable upcoming : integer := -reset_edges;  -- cycle whose edge comes next

        procedure fetch is
            variable row   : line;
            variable space : character;
            variable good  : boolean;
            variable earlier : integer := at;
        begin
            assert not endfile(log) report "stimulus: error: the text has no end line" severity failure;
            readline(log, row);
            read(row, kind, good);
            assert good and (kind = 'w' or kind = 'e') report "stimulus: error: a line is no w or e" severity failure;
            read(row, at, good);
            assert good and at > earlier report "stimulus: error: cycles must rise" severity failure;
            if kind = 'w' then
                read(row, space, good);
                read(row, place, good);
                assert good report "stimulus: error: no binary address" severity failure;
                read(row, space, good);
                read(row, word, good);
                assert good report "stimulus: error: no binary value" severity failure;
            end if;
        end procedure;
    begin
        fetch;
        loop
            wait until {clock} = '1';
            upcoming := upcoming + 1;
            if upcoming >= 0 then
                {reset} <= '{idle}';
            end if;
            {write} <= '0';
            if (cycles /= 0 and upcoming = cycles) or (cycles = 0 and kind = 'e' and upcoming = at) then
                finished <= true;
                wait;
            end if;
            if kind = 'w' and upcoming = at then
                {write} <= '1';
                {address} <= {address_value};
                {data} <= {data_value};
                fetch;
            end if;
        end loop;
    end process;

end architecture;
"""

_BENCH = """\
-- Test bench: replays {text} on {unit}. VHDL-93.
--
-- GHDL (dump.opt names the signals of the dump; take the line of the clock out of it to leave the clock out):
--   ghdl -a YOUR_FILES.vhd stimulus_driver.vhd stimulus_bench.vhd
--   ghdl -e bench
--   ghdl -r bench -gstimulus={text} --vcd=bench.vcd --read-wave-opt=dump.opt
--
-- A dump without the clock is far smaller; compare it with: psgmodel compare ... --period {period} --phase {phase}

library ieee;
use ieee.std_logic_1164.all;

entity bench is
    generic (
        stimulus : string := "{text}";
        cycles   : natural := 0
    );
end entity;

architecture test of bench is

    constant HALF : time := {half} fs;  -- nominal, for edges are counted

    signal {clock} : std_logic := '0';
    signal {reset} : std_logic := '{active}';
    signal {write} : std_logic := '0';
    signal {address} : {address_signal};
    signal {data} : {data_signal};
{signals}
    signal finished : boolean;
    signal ended : std_logic := '0';

begin

    driver : entity work.stimulus_driver
        generic map (stimulus => stimulus, cycles => cycles)
        port map (
            {clock} => {clock}, {reset} => {reset}, {write} => {write}, {address} => {address}, {data} => {data},
            finished => finished);

    dut : entity work.{unit}
        port map (
            {connections});

    process
    begin
        while not finished loop
            wait for HALF;
            {clock} <= '1';
            wait for HALF;
            {clock} <= '0';
        end loop;
        wait for HALF;
        {clock} <= '1';
        ended <= '1';  -- so that every dump has the time of the last edge
        wait;
    end process;

end architecture;
"""
