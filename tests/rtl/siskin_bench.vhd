-- Test bench of Siskin: replays a bus log; GHDL dumps what the unit does (simulate_vhdl.py runs it).
--
-- Generics, each set by -gNAME=VALUE when GHDL runs the bench:
--   log_name     file of bus actions, one a line, decimal, cycles strictly increasing: `cycle w port value`,
--                `cycle r port 0`; a `w` puts we = 1 at exactly that cycle's edge, an `r` puts re = 1 there. Empty: no actions.
--   cycles       cycles to simulate after reset (1 to 1000000000)
--   reset_edges  rising edges with reset_n = 0 before cycle 0 (1 to 1000; 5 where not given)
--
-- The period is the even number of femtoseconds that is nearest to 12 MHz; count edges, do not divide. The rising edge of
-- cycle c stands at PHASE + c * PERIOD, where PHASE = HALF + PERIOD * reset_edges. Everything but the clock changes at time
-- stamps of rising edges only. Cycles 0 to N - 1 have an edge; at PHASE + N * PERIOD, the end of cycle N - 1, there is no
-- edge: `finished` goes to 1 there, so every dump ends with that time stamp.

library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;
use std.textio.all;

entity bench is
    generic (
        log_name    : string  := "";
        cycles      : integer := 0;
        reset_edges : integer := 5
    );
end entity;

architecture test of bench is

    constant HALF   : time := 41_666_667 fs;
    constant PERIOD : time := 2 * HALF;

    signal clk      : std_logic := '0';
    signal reset_n  : std_logic := '0';
    signal we       : std_logic := '0';
    signal re       : std_logic := '0';
    signal port_sel : std_logic := '0';
    signal din      : std_logic_vector(15 downto 0) := (others => '0');
    signal dout     : std_logic_vector(15 downto 0);
    signal level_p  : std_logic_vector(7 downto 0);
    signal level_q  : std_logic_vector(7 downto 0);
    signal level_u  : std_logic_vector(7 downto 0);
    signal level_v  : std_logic_vector(7 downto 0);
    signal level_x  : std_logic_vector(7 downto 0);
    signal level_y  : std_logic_vector(7 downto 0);
    signal out_main : std_logic_vector(10 downto 0);
    signal finished : std_logic := '0';

    procedure refuse(reason : string; near : integer) is
    begin
        report "bench: error: " & reason & " (near log cycle " & integer'image(near) & ")" severity failure;
    end procedure;

    -- The digits of a time in femtoseconds, which need not fit an integer.
    function femtoseconds(t : time) return string is
        constant text : string := time'image(t);  -- "83333334 fs"
    begin
        return text(1 to text'length - 3);
    end function;

begin

    dut : entity work.siskin
        port map (
            clk => clk, reset_n => reset_n, we => we, re => re, port_sel => port_sel, din => din, dout => dout,
            level_p => level_p, level_q => level_q, level_u => level_u, level_v => level_v,
            level_x => level_x, level_y => level_y, out_main => out_main);

    clocking : process
    begin
        if cycles < 1 or cycles > 1000000000 then
            refuse("cycles must be 1 to 1000000000", -1);
        end if;
        if reset_edges < 1 or reset_edges > 1000 then
            refuse("reset_edges must be 1 to 1000", -1);
        end if;
        for n in 1 to reset_edges + cycles loop
            wait for HALF;
            clk <= '1';
            wait for HALF;
            clk <= '0';
        end loop;
        wait for HALF;
        finished <= '1';
        report "period " & femtoseconds(PERIOD) & " phase " & femtoseconds(HALF + PERIOD * reset_edges);
        wait;
    end process;

    -- The bus, driven at each edge for the edge that follows it; `upcoming` is that one's cycle, negative during reset.
    bus_driver : process
        file log_file         : text;
        variable status       : file_open_status;
        variable upcoming     : integer := -reset_edges;
        variable next_cycle   : integer := -1;  -- of the action read ahead; integer'high where there is none
        variable next_kind    : character;
        variable next_port    : integer;
        variable next_data    : integer;

        procedure fetch is
            variable text       : line;
            variable last_cycle : integer := next_cycle;
            variable good       : boolean_vector(1 to 4);
            variable space      : character;
        begin
            if log_name = "" or endfile(log_file) then
                next_cycle := integer'high;
                return;
            end if;
            readline(log_file, text);
            read(text, next_cycle, good(1));
            read(text, space, good(2));
            read(text, next_kind, good(2));
            read(text, next_port, good(3));
            read(text, next_data, good(4));
            if good /= (1 to 4 => true) then
                refuse("a line is not: cycle w port value", last_cycle);
            elsif next_kind /= 'w' and next_kind /= 'r' then
                refuse("the action is neither w nor r", next_cycle);
            elsif next_cycle <= last_cycle then
                refuse("cycles must be strictly increasing from 0", next_cycle);
            elsif next_cycle >= cycles then
                refuse("the action stands after the last cycle", next_cycle);
            elsif next_port < 0 or next_port > 1 then
                refuse("the port is not 0 or 1", next_cycle);
            elsif next_data < 0 or next_data > 65535 then
                refuse("the value is not 0 to 65535", next_cycle);
            end if;
        end procedure;

    begin
        if log_name /= "" then
            file_open(status, log_file, log_name, read_mode);
            if status /= open_ok then
                refuse("the log cannot be opened", -1);
            end if;
        end if;
        fetch;
        loop
            wait until clk = '1';
            upcoming := upcoming + 1;
            if upcoming = 0 then
                reset_n <= '1';
            end if;
            if upcoming = next_cycle then
                if next_port = 0 then
                    port_sel <= '0';
                else
                    port_sel <= '1';
                end if;
                if next_kind = 'w' then
                    we <= '1';
                    re <= '0';
                    din <= std_logic_vector(to_unsigned(next_data, 16));
                else
                    we <= '0';
                    re <= '1';
                end if;
                fetch;
            elsif we = '1' or re = '1' then
                we <= '0';
                re <= '0';
            end if;
        end loop;
    end process;

end architecture;
