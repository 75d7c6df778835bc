-- The same counter and bench as counter.v and counter_bench.v.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

entity counter is
    port (
        clk, rst, we, re : in std_logic;
        addr  : in std_logic_vector(1 downto 0);
        wdata : in std_logic_vector(7 downto 0);
        rdata : out std_logic_vector(7 downto 0);
        q     : out std_logic_vector(9 downto 0);
        even, pin : out std_logic);
end entity;

architecture rtl of counter is
    signal step  : unsigned(7 downto 0);
    signal count : unsigned(9 downto 0);
begin
    q    <= std_logic_vector(count);
    even <= not count(0);
    pin  <= count(9);
    process (clk) begin
        if rising_edge(clk) then
            if rst = '1' then
                count <= (others => '0');
                step  <= to_unsigned(1, 8);
            else
                count <= count + step;
                if we = '1' and addr = "01" then step <= unsigned(wdata); end if;
                if re = '1' then rdata <= std_logic_vector(step); end if;
            end if;
        end if;
    end process;
end architecture;

library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

entity bench is
end entity;

architecture test of bench is
    signal clk, we, re : std_logic := '0';
    signal rst   : std_logic := '1';
    signal addr  : std_logic_vector(1 downto 0) := "00";
    signal wdata : std_logic_vector(7 downto 0) := x"00";
    signal rdata : std_logic_vector(7 downto 0);
    signal q     : std_logic_vector(9 downto 0);
    signal even, pin : std_logic;
    signal n     : integer := 0;
begin
    dut : entity work.counter port map (clk, rst, we, re, addr, wdata, rdata, q, even, pin);

    process (clk) begin
        if rising_edge(clk) then
            n   <= n + 1;
            rst <= '0';
            if n < 3 then rst <= '1'; end if;
            we <= '0';
            if n = 6 or n = 10 or n = 11 or n = 30 then we <= '1'; end if;
            re <= '0';
            if n = 8 or n = 40 then re <= '1'; end if;
            addr <= "01";
            if n = 10 then addr <= "10"; end if;
            wdata <= std_logic_vector(to_unsigned(3, 8));
            if n = 6 then wdata <= std_logic_vector(to_unsigned(5, 8)); end if;
            if n = 10 then wdata <= std_logic_vector(to_unsigned(99, 8)); end if;
            if n = 11 then wdata <= std_logic_vector(to_unsigned(200, 8)); end if;
        end if;
    end process;

    process begin
        for k in 0 to 127 loop
            wait for 81380208 fs;
            clk <= not clk;
        end loop;
        wait for 1 ns;
        wait;
    end process;
end architecture;
