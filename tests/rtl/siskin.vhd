-- Siskin: the sound unit of patches/siskin.md, to the clock cycle. Section numbers below are those of that page.
-- VHDL-93 (and later), numeric_std, synthesizable.
--
-- One clocked process holds every register as a variable and calls one procedure per channel. "Old" below means before
-- the edge, "new" just after the writes that take place at it. The order within an edge is: output registers, ticks,
-- steps of the waveforms (on old fields), the write, then starts, stops, timers, envelopes and sweeps.

library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;

package siskin_parts is

    subtype volume_t is natural range 0 to 63;
    subtype byte_t is natural range 0 to 255;
    subtype word_t is unsigned(15 downto 0);

    type write_t is record  -- a write that takes place at this edge, strobes included
        here  : boolean;
        index : natural range 0 to 127;
        data  : word_t;
    end record;

    type beat_t is record  -- ticks of the sequencer at this edge
        span, fade, slide : boolean;
    end record;

    type timer_t is record
        length  : byte_t;
        enabled : boolean;
        count   : byte_t;
    end record;

    type envelope_t is record
        volume : volume_t;
        period : natural range 0 to 7;
        louder : boolean;
        level  : volume_t;
        count  : natural range 0 to 8;
    end record;

    type sweep_t is record
        shift, period : natural range 0 to 7;
        falls         : boolean;
        copy          : natural range 0 to 1023;
        count         : natural range 0 to 7;
        fallen        : boolean;
    end record;

    type square_t is record
        active   : boolean;
        period   : natural range 0 to 1023;
        pattern  : natural range 0 to 3;
        elapsed  : natural range 0 to 3 * 1024 - 1;
        position : natural range 0 to 11;
        timer    : timer_t;
        envelope : envelope_t;
        sweep    : sweep_t;
    end record;

    type table_u_t is record
        active   : boolean;
        period   : natural range 0 to 4095;
        left     : natural range 0 to 8191;
        position : natural range 0 to 31;
        sample   : byte_t;
        timer    : timer_t;
        envelope : envelope_t;
    end record;

    type table_v_t is record
        active   : boolean;
        period   : natural range 0 to 4095;
        volume   : natural range 0 to 7;
        left     : natural range 0 to 8191;
        position : natural range 0 to 31;
        timer    : timer_t;
    end record;

    type noise_x_t is record
        active   : boolean;
        divisor  : natural range 0 to 3;
        shift    : natural range 0 to 7;
        left     : natural range 0 to 22 * 128 - 1;
        s        : std_logic_vector(23 downto 1);
        timer    : timer_t;
        envelope : envelope_t;
    end record;

    type noise_y_t is record
        active  : boolean;
        divisor : natural range 0 to 7;
        volume  : volume_t;
        elapsed : natural range 0 to 18;
        s       : std_logic_vector(11 downto 1);
        timer   : timer_t;
    end record;

    type memory_t is array (0 to 31) of byte_t;

    constant TIMER_RESET    : timer_t    := (0, false, 0);
    constant ENVELOPE_RESET : envelope_t := (0, 0, false, 0, 0);
    constant SWEEP_RESET    : sweep_t    := (0, 0, false, 0, 0, false);
    constant SQUARE_RESET   : square_t   := (false, 0, 0, 0, 0, TIMER_RESET, ENVELOPE_RESET, SWEEP_RESET);
    constant TABLE_U_RESET  : table_u_t  := (false, 0, 0, 0, 0, TIMER_RESET, ENVELOPE_RESET);
    constant TABLE_V_RESET  : table_v_t  := (false, 0, 0, 0, 0, TIMER_RESET);
    constant NOISE_X_RESET  : noise_x_t  := (false, 0, 0, 0, (others => '0'), TIMER_RESET, ENVELOPE_RESET);
    constant NOISE_Y_RESET  : noise_y_t  := (false, 0, 0, 0, (others => '1'), TIMER_RESET);

    -- Whether the write goes to this index with this bit set; a strobe.
    function strobe(w : write_t; index, bit_number : natural) return boolean;

    -- Section 6: what happens at an edge at which no start acts, on old fields. Where one acts, `control` comes after it.
    procedure step_square(s : inout square_t);  -- at a tick of quarter
    procedure step_u(u : inout table_u_t; memory : in memory_t);
    procedure step_v(v : inout table_v_t);
    procedure step_x(x : inout noise_x_t);
    procedure step_y(y : inout noise_y_t);      -- at a tick of quarter

    -- The write, start and stop, timer, envelope and sweep (sections 4, 5, 8, 9, 10).
    procedure control_square(s : inout square_t; w : in write_t; base : in natural; beat : in beat_t);
    procedure control_u(u : inout table_u_t; memory : in memory_t; w : in write_t; beat : in beat_t);
    procedure control_v(v : inout table_v_t; w : in write_t; beat : in beat_t);
    procedure control_x(x : inout noise_x_t; w : in write_t; beat : in beat_t);
    procedure control_y(y : inout noise_y_t; w : in write_t; beat : in beat_t);

    -- Levels after the edge.
    function level_of_square(s : square_t) return byte_t;
    function level_of_u(u : table_u_t) return byte_t;
    function level_of_v(v : table_v_t; memory : memory_t) return integer;
    function level_of_x(x : noise_x_t) return byte_t;
    function level_of_y(y : noise_y_t) return byte_t;

    -- What registers read (section 4).
    function bit_of(b : boolean) return natural;
    function read_envelope(e : envelope_t) return natural;
    function read_sweep(s : sweep_t) return natural;
    function read_square(s : square_t) return natural;

end package;

package body siskin_parts is

    type loudness_t is array (0 to 63) of byte_t;
    constant LOUDNESS : loudness_t := (  -- section 7
          0,   1,   1,   1,   2,   2,   2,   2,
          2,   2,   3,   3,   3,   3,   4,   4,
          4,   5,   5,   6,   6,   7,   7,   8,
          9,  10,  10,  11,  12,  14,  15,  16,
         18,  19,  21,  23,  25,  27,  29,  32,
         35,  38,  42,  45,  49,  54,  59,  64,
         70,  76,  83,  90,  99, 108, 117, 128,
        139, 152, 166, 181, 197, 215, 234, 255);

    type patterns_t is array (0 to 3) of std_logic_vector(0 to 11);
    constant PATTERNS : patterns_t := ("111111000000", "111000000000", "110000000000", "110011001000");

    type divisors_x_t is array (0 to 3) of natural range 0 to 31;
    constant DIVISORS_X : divisors_x_t := (6, 10, 14, 22);

    type divisors_y_t is array (0 to 7) of natural range 0 to 31;
    constant DIVISORS_Y : divisors_y_t := (2, 3, 5, 7, 11, 13, 17, 19);

    type powers_t is array (0 to 7) of natural range 1 to 128;
    constant POWER_OF_TWO : powers_t := (1, 2, 4, 8, 16, 32, 64, 128);

    function strobe(w : write_t; index, bit_number : natural) return boolean is
    begin
        return w.here and w.index = index and w.data(bit_number) = '1';
    end function;

    function bit_of(b : boolean) return natural is
    begin
        if b then
            return 1;
        end if;
        return 0;
    end function;

    ------------------------------------------------------------------------------------------------ waveforms

    procedure step_square(s : inout square_t) is
    begin
        if s.active then
            if s.elapsed + 1 >= 3 * (1024 - s.period) then
                s.elapsed := 0;
                if s.position = 11 then
                    s.position := 0;
                else
                    s.position := s.position + 1;
                end if;
            else
                s.elapsed := s.elapsed + 1;
            end if;
        end if;
    end procedure;

    procedure step_u(u : inout table_u_t; memory : in memory_t) is
    begin
        if u.active then
            if u.left = 0 then
                u.left := 2 * u.period + 1;
                u.position := (u.position + 1) mod 32;
                u.sample := memory(u.position);
            else
                u.left := u.left - 1;
            end if;
        end if;
    end procedure;

    procedure step_v(v : inout table_v_t) is
    begin
        if v.active then
            if v.left = 0 then
                v.left := 2 * v.period + 1;
                v.position := (v.position + 1) mod 32;
            else
                v.left := v.left - 1;
            end if;
        end if;
    end procedure;

    function steps_of_x(x : noise_x_t) return natural is
    begin
        return DIVISORS_X(x.divisor) * POWER_OF_TWO(x.shift);
    end function;

    procedure step_x(x : inout noise_x_t) is
    begin
        if x.active and x.shift /= 7 then
            if x.left = 0 then
                x.left := steps_of_x(x) - 1;
                x.s := not (x.s(23) xor x.s(18)) & x.s(23 downto 2);
            else
                x.left := x.left - 1;
            end if;
        end if;
    end procedure;

    procedure step_y(y : inout noise_y_t) is
    begin
        if y.active then
            if y.elapsed + 1 >= DIVISORS_Y(y.divisor) then
                y.elapsed := 0;
                y.s := y.s(10 downto 1) & (y.s(11) xor y.s(9));
            else
                y.elapsed := y.elapsed + 1;
            end if;
        end if;
    end procedure;

    ------------------------------------------------------------------------------------------------ fields

    procedure write_timer(t : inout timer_t; data : in word_t) is
    begin
        t.length := to_integer(data(7 downto 0));
        t.enabled := data(8) = '1';
    end procedure;

    procedure write_envelope(e : inout envelope_t; data : in word_t) is
    begin
        e.volume := to_integer(data(5 downto 0));
        e.period := to_integer(data(8 downto 6));
        e.louder := data(9) = '1';
    end procedure;

    procedure write_sweep(s : inout sweep_t; data : in word_t) is
    begin
        s.shift := to_integer(data(2 downto 0));
        s.period := to_integer(data(5 downto 3));
        s.falls := data(6) = '1';
    end procedure;

    function read_envelope(e : envelope_t) return natural is
    begin
        return e.volume + 64 * e.period + 512 * bit_of(e.louder);
    end function;

    function read_sweep(s : sweep_t) return natural is
    begin
        return s.shift + 8 * s.period + 64 * bit_of(s.falls);
    end function;

    function read_square(s : square_t) return natural is
    begin
        return s.period + 1024 * s.pattern;
    end function;

    ------------------------------------------------------------------------------------------------ timer, envelope, sweep

    -- `t` holds new fields, `old` old ones; `ended` becomes true where the timer ends the note.
    procedure count_timer(t : inout timer_t; old : in timer_t; start, active, span : in boolean; ended : inout boolean) is
    begin
        if start then
            t.count := (256 - t.length) mod 256;
        elsif active and ((span and old.enabled) or (t.enabled and not old.enabled)) then
            if old.count = 0 then
                t.count := 255;
            else
                t.count := old.count - 1;
            end if;
            if t.count = 0 then
                ended := true;
            end if;
        end if;
    end procedure;

    function ticks_of(period : natural) return natural is
    begin
        if period = 0 then
            return 8;
        end if;
        return period;
    end function;

    -- `ended` becomes true where the level has moved to (or stays at) 0.
    procedure count_envelope(
        e : inout envelope_t; old : in envelope_t; start, active, fade, live : in boolean; ended : inout boolean) is
        variable due : boolean;
    begin
        if start then
            e.level := e.volume;
            e.count := ticks_of(e.period);
        elsif active then
            due := fade and old.count <= 1;
            if due then
                e.count := ticks_of(old.period);
                if old.louder and old.level /= 63 then
                    e.level := old.level + 1;
                elsif not old.louder and old.level /= 0 then
                    e.level := old.level - 1;
                end if;
            elsif fade then
                e.count := old.count - 1;
            end if;
            if live then
                e.level := e.volume;
            end if;
            if due and e.level = 0 then
                ended := true;
            end if;
        end if;
    end procedure;

    -- The step of an active sweep. `s.period` keeps a period that is written at the same edge (`tuned`).
    procedure step_sweep(s : inout square_t; old : in sweep_t; tuned : in boolean; ended : inout boolean) is
        variable r : natural range 0 to 2046;
        variable fits : boolean;
    begin
        if old.falls then
            r := (old.copy - old.copy / POWER_OF_TWO(old.shift) + 1023) mod 1024;
            s.sweep.fallen := true;
        else
            r := old.copy + old.copy / POWER_OF_TWO(old.shift);
        end if;
        fits := r <= 1023;
        if fits then
            s.sweep.copy := r;
            if not tuned then
                s.period := r;
            end if;
        end if;
        if not old.falls and (not fits or r + r / POWER_OF_TWO(old.shift) > 1023) then
            ended := true;
        end if;
    end procedure;

    -- Section 10; `s` holds new fields, `old` the old ones of the sweep.
    procedure count_sweep(
        s : inout square_t; old : in sweep_t; start, active, slide, tuned : in boolean; ended : inout boolean) is
    begin
        if start then
            s.sweep.copy := s.period;
            s.sweep.count := s.sweep.period;
            s.sweep.fallen := false;
            if s.sweep.shift /= 0 and not s.sweep.falls
                and s.period + s.period / POWER_OF_TWO(s.sweep.shift) > 1023 then
                ended := true;
            end if;
        elsif active then
            if slide and old.period /= 0 then
                if old.count <= 1 then
                    s.sweep.count := old.period;
                    step_sweep(s, old, tuned, ended);
                else
                    s.sweep.count := old.count - 1;
                end if;
            end if;
            if old.falls and not s.sweep.falls and old.fallen then
                ended := true;
            end if;
        end if;
    end procedure;

    ------------------------------------------------------------------------------------------------ channels

    procedure control_square(s : inout square_t; w : in write_t; base : in natural; beat : in beat_t) is
        variable old_timer : timer_t := s.timer;
        variable old_envelope : envelope_t := s.envelope;
        variable old_sweep : sweep_t := s.sweep;
        variable start, stop, ended, live, tuned : boolean := false;
    begin
        if w.here then
            start := strobe(w, base + 4, 0);
            stop := strobe(w, base + 4, 1);
            tuned := w.index = base;
            live := w.index = base + 1;
            if tuned then
                s.period := to_integer(w.data(9 downto 0));
                s.pattern := to_integer(w.data(11 downto 10));
            elsif live then
                write_envelope(s.envelope, w.data);
            elsif w.index = base + 2 then
                write_timer(s.timer, w.data);
            elsif w.index = base + 3 then
                write_sweep(s.sweep, w.data);
            end if;
        end if;
        count_timer(s.timer, old_timer, start, s.active, beat.span, ended);
        count_envelope(s.envelope, old_envelope, start, s.active, beat.fade, live, ended);
        count_sweep(s, old_sweep, start, s.active, beat.slide, tuned, ended);
        if start then
            s.elapsed := 0;
            s.position := 0;
            s.active := not ended;
        elsif stop or ended then
            s.active := false;
        end if;
    end procedure;

    procedure control_u(u : inout table_u_t; memory : in memory_t; w : in write_t; beat : in beat_t) is
        variable old_timer : timer_t := u.timer;
        variable old_envelope : envelope_t := u.envelope;
        variable start, stop, ended, live : boolean := false;
    begin
        if w.here then
            start := strobe(w, 16#24#, 0);
            stop := strobe(w, 16#24#, 1);
            live := w.index = 16#21#;
            if w.index = 16#20# then
                u.period := to_integer(w.data(11 downto 0));
            elsif live then
                write_envelope(u.envelope, w.data);
            elsif w.index = 16#22# then
                write_timer(u.timer, w.data);
            end if;
        end if;
        count_timer(u.timer, old_timer, start, u.active, beat.span, ended);
        count_envelope(u.envelope, old_envelope, start, u.active, beat.fade, live, ended);
        if start then
            u.left := 2 * u.period + 1;
            u.position := 16;
            u.sample := memory(16);
            u.active := true;
        elsif stop or ended then
            u.active := false;
        end if;
    end procedure;

    procedure control_v(v : inout table_v_t; w : in write_t; beat : in beat_t) is
        variable old_timer : timer_t := v.timer;
        variable start, stop, ended : boolean := false;
    begin
        if w.here then
            start := strobe(w, 16#28#, 15);
            stop := strobe(w, 16#2C#, 1);
            if w.index = 16#28# then
                v.period := to_integer(w.data(11 downto 0));
                v.volume := to_integer(w.data(14 downto 12));
            elsif w.index = 16#2A# then
                write_timer(v.timer, w.data);
            end if;
        end if;
        count_timer(v.timer, old_timer, start, v.active, beat.span, ended);
        if start then
            v.left := 2 * v.period + 1;
            v.active := true;
        elsif stop or ended then
            v.active := false;
        end if;
    end procedure;

    procedure control_x(x : inout noise_x_t; w : in write_t; beat : in beat_t) is
        variable old_timer : timer_t := x.timer;
        variable old_envelope : envelope_t := x.envelope;
        variable start, stop, ended, faded, live : boolean := false;
    begin
        if w.here then
            start := strobe(w, 16#34#, 0);
            stop := strobe(w, 16#34#, 1);
            live := w.index = 16#31#;
            if w.index = 16#30# then
                x.divisor := to_integer(w.data(1 downto 0));
                x.shift := to_integer(w.data(6 downto 4));
            elsif live then
                write_envelope(x.envelope, w.data);
            elsif w.index = 16#32# then
                write_timer(x.timer, w.data);
            end if;
        end if;
        count_timer(x.timer, old_timer, start, x.active, beat.span, ended);
        count_envelope(x.envelope, old_envelope, start, x.active, beat.fade, live, faded);  -- X outlives its envelope
        if start then
            x.left := steps_of_x(x) - 1;
            x.s := (others => '0');
            x.active := true;
        elsif stop or ended then
            x.active := false;
        end if;
    end procedure;

    procedure control_y(y : inout noise_y_t; w : in write_t; beat : in beat_t) is
        variable old_timer : timer_t := y.timer;
        variable start, stop, ended : boolean := false;
    begin
        if w.here then
            start := w.index = 16#38#;
            stop := strobe(w, 16#3C#, 0);
            if start then
                y.divisor := to_integer(w.data(2 downto 0));
                y.volume := to_integer(w.data(13 downto 8));
            elsif w.index = 16#3A# then
                write_timer(y.timer, w.data);
            end if;
        end if;
        count_timer(y.timer, old_timer, start, y.active, beat.span, ended);
        if start then
            y.elapsed := 0;
            y.active := true;
        elsif stop or ended then
            y.active := false;
        end if;
    end procedure;

    ------------------------------------------------------------------------------------------------ levels

    function level_of_square(s : square_t) return byte_t is
    begin
        if s.active and PATTERNS(s.pattern)(s.position) = '1' then
            return LOUDNESS(s.envelope.level);
        end if;
        return 0;
    end function;

    function level_of_u(u : table_u_t) return byte_t is
    begin
        if u.active then
            return u.sample * LOUDNESS(u.envelope.level) / 256;
        end if;
        return 0;
    end function;

    -- -128 to 127. The sample has its offset of 128 until the shift is done, so that the division rounds down.
    function level_of_v(v : table_v_t; memory : memory_t) return integer is
        constant offset : natural := 128 / POWER_OF_TWO(7 - v.volume);
    begin
        if v.active then
            return memory(v.position) / POWER_OF_TWO(7 - v.volume) - offset;
        end if;
        return 0;
    end function;

    function level_of_x(x : noise_x_t) return byte_t is
    begin
        if x.active and x.s(1) = '0' then
            return LOUDNESS(x.envelope.level);
        end if;
        return 0;
    end function;

    function level_of_y(y : noise_y_t) return byte_t is
    begin
        if y.active and y.s(11) = '1' then
            return LOUDNESS(y.volume);
        end if;
        return 0;
    end function;

end package body;

library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;
use work.siskin_parts.all;

entity siskin is
    port (
        clk      : in  std_logic;
        reset_n  : in  std_logic;
        we       : in  std_logic;
        re       : in  std_logic;  -- changes nothing (section 1)
        port_sel : in  std_logic;
        din      : in  std_logic_vector(15 downto 0);
        dout     : out std_logic_vector(15 downto 0);
        level_p  : out std_logic_vector(7 downto 0);
        level_q  : out std_logic_vector(7 downto 0);
        level_u  : out std_logic_vector(7 downto 0);
        level_v  : out std_logic_vector(7 downto 0);
        level_x  : out std_logic_vector(7 downto 0);
        level_y  : out std_logic_vector(7 downto 0);
        out_main : out std_logic_vector(10 downto 0)
    );
end entity;

architecture rtl of siskin is

    signal index_word, value_word : std_logic_vector(15 downto 0);  -- what the two ports show

begin

    dout <= index_word when port_sel = '0' else value_word;

    unit : process (clk)

        -- The write on its way (section 2); `w` is the one that takes place at this edge.
        variable pending      : boolean;
        variable pending_port : std_logic;
        variable pending_data : word_t;
        variable w            : write_t;
        variable index        : natural range 0 to 127;

        -- Section 3.
        variable prescaler : natural range 0 to 3;
        variable waited    : natural range 0 to 14999;
        variable next_step : natural range 0 to 9;
        variable quarter   : boolean;
        variable step      : boolean;
        variable beat      : beat_t;

        -- CONTROL and ROUTE.
        variable power   : boolean;
        variable trim    : natural range 0 to 3;
        variable route   : std_logic_vector(5 downto 0);
        variable cleared : boolean;

        variable p, q : square_t;
        variable u    : table_u_t;
        variable v    : table_v_t;
        variable x    : noise_x_t;
        variable y    : noise_y_t;
        variable u_memory, v_memory : memory_t := (others => 0);
        variable u_pair             : natural range 0 to 15;  -- that holds the position of U

        -- The output registers; `mixed` is what the first one takes at the next edge.
        variable mixed, stage_1, stage_2, stage_3 : natural range 0 to 2047;

        -- What the outputs show: they are assigned where they change.
        type shown_t is array (0 to 5) of integer range -128 to 255;
        variable level, shown            : shown_t;
        variable shown_route             : std_logic_vector(5 downto 0);
        variable shown_trim              : natural range 0 to 3;
        variable shown_out               : natural range 0 to 2047;
        variable shown_index             : natural range 0 to 127;
        variable value, shown_value      : natural range 0 to 65535;

        function low_byte(n : integer) return std_logic_vector is
        begin
            return std_logic_vector(to_unsigned(n mod 256, 8));
        end function;

        -- Section 11.
        procedure mix is
            type gains_t is array (0 to 5) of natural range 1 to 3;
            constant GAIN : gains_t := (2, 2, 2, 3, 2, 1);
            variable sum  : integer range -2048 to 16383;
        begin
            sum := 0;
            for n in 0 to 5 loop
                if route(n) = '1' then
                    sum := sum + level(n) * GAIN(n);
                end if;
            end loop;
            sum := (sum * (4 - trim) + 4 * 512) / 4;  -- never below 0: the sum is -384 at least
            if sum > 2047 then
                mixed := 2047;
            else
                mixed := sum;
            end if;
        end procedure;

        procedure clear_channels is
        begin
            p := SQUARE_RESET;
            q := SQUARE_RESET;
            u := TABLE_U_RESET;
            v := TABLE_V_RESET;
            x := NOISE_X_RESET;
            y := NOISE_Y_RESET;
            route := "111111";
        end procedure;

        procedure write_memories is
            variable high, low : byte_t;
            variable pair      : natural range 0 to 15;
        begin
            high := to_integer(w.data(15 downto 8));
            low := to_integer(w.data(7 downto 0));
            pair := w.index mod 16;
            if w.index / 16 = 4 then
                if u.active then
                    pair := u_pair;
                end if;
                u_memory(2 * pair) := low;
                u_memory(2 * pair + 1) := high;
            elsif w.index / 16 = 5 and not v.active then
                v_memory(2 * pair) := high;
                v_memory(2 * pair + 1) := low;
            end if;
        end procedure;

        -- What a read of the register at the index gives.
        procedure look_up is
            variable pair : natural range 0 to 15;
        begin
            case index is
                when 16#00# => value := bit_of(power) + 16 * trim;
                when 16#02# => value := to_integer(unsigned(route));
                when 16#03# =>
                    value := 32768 + bit_of(p.active) + 2 * bit_of(q.active) + 4 * bit_of(u.active)
                        + 8 * bit_of(v.active) + 16 * bit_of(x.active) + 32 * bit_of(y.active);
                when 16#10# => value := read_square(p);
                when 16#11# => value := read_envelope(p.envelope);
                when 16#13# => value := read_sweep(p.sweep);
                when 16#18# => value := read_square(q);
                when 16#19# => value := read_envelope(q.envelope);
                when 16#1B# => value := read_sweep(q.sweep);
                when 16#20# => value := u.period;
                when 16#21# => value := read_envelope(u.envelope);
                when 16#28# => value := v.period + 4096 * v.volume;
                when 16#30# => value := x.divisor + 16 * x.shift;
                when 16#31# => value := read_envelope(x.envelope);
                when 16#38# => value := y.divisor + 256 * y.volume;
                when 16#01# | 16#12# | 16#14# | 16#1A# | 16#1C# | 16#22# | 16#24# | 16#2A# | 16#2C# | 16#32# | 16#34#
                    | 16#3A# | 16#3C# | 16#50# to 16#5F# => value := 0;
                when 16#40# to 16#4F# =>
                    pair := index mod 16;
                    if u.active then
                        pair := u.position / 2;
                    end if;
                    value := u_memory(2 * pair) + 256 * u_memory(2 * pair + 1);
                when others => value := 65535;
            end case;
        end procedure;

    begin
        if rising_edge(clk) then
            w.here := false;
            if reset_n = '0' then
                pending := false;
                index := 0;
                prescaler := 0;
                waited := 7500;
                next_step := 0;
                power := true;
                trim := 0;
                clear_channels;
                stage_1 := 0;
                stage_2 := 0;
                stage_3 := 0;
            else
                stage_3 := stage_2;
                stage_2 := stage_1;
                stage_1 := mixed;

                -- The write that takes place here, and the one that comes in.
                cleared := false;
                if pending then
                    w.index := index;
                    w.data := pending_data;
                    if pending_port = '0' then
                        index := to_integer(pending_data(6 downto 0));
                    else
                        w.here := power or index = 0;
                        index := (index + 1) mod 128;
                    end if;
                end if;
                pending := we = '1';
                if pending then
                    pending_port := port_sel;
                    pending_data := unsigned(din);
                end if;

                -- Ticks.
                quarter := prescaler = 3;
                prescaler := (prescaler + 1) mod 4;
                if w.here and w.index = 1 then
                    next_step := 0;
                    waited := 14999;
                end if;
                step := waited = 14999;
                beat := (false, false, false);
                if step then
                    waited := 0;
                    beat.span := next_step mod 2 = 0;
                    beat.fade := next_step = 1 or next_step = 6;
                    beat.slide := next_step = 3 or next_step = 7;
                    next_step := (next_step + 1) mod 10;
                else
                    waited := waited + 1;
                end if;

                if w.here and w.index = 0 then
                    cleared := power and w.data(0) = '0';
                    power := w.data(0) = '1';
                    trim := to_integer(w.data(5 downto 4));
                end if;
                if cleared then
                    clear_channels;
                else
                    u_pair := u.position / 2;
                    if quarter then
                        step_square(p);  -- a start overwrites all it does
                        step_square(q);  -- likewise
                        if not (w.here and w.index = 16#38#) then
                            step_y(y);
                        end if;
                    end if;
                    step_u(u, u_memory);  -- likewise
                    if not strobe(w, 16#28#, 15) then
                        step_v(v);
                    end if;
                    step_x(x);  -- likewise
                    if w.here then
                        if w.index = 2 then
                            route := std_logic_vector(w.data(5 downto 0));
                        end if;
                        write_memories;
                    end if;
                    if w.here or step then
                        control_square(p, w, 16#10#, beat);
                        control_square(q, w, 16#18#, beat);
                        control_u(u, u_memory, w, beat);
                        control_v(v, w, beat);
                        control_x(x, w, beat);
                        control_y(y, w, beat);
                    end if;
                end if;
            end if;

            -- Outputs.
            level := (level_of_square(p), level_of_square(q), level_of_u(u), level_of_v(v, v_memory),
                level_of_x(x), level_of_y(y));
            look_up;
            if reset_n = '0' or level /= shown or route /= shown_route or trim /= shown_trim then
                mix;
                level_p <= low_byte(level(0));
                level_q <= low_byte(level(1));
                level_u <= low_byte(level(2));
                level_v <= low_byte(level(3));
                level_x <= low_byte(level(4));
                level_y <= low_byte(level(5));
                shown := level;
                shown_route := route;
                shown_trim := trim;
            end if;
            if reset_n = '0' or stage_3 /= shown_out then
                out_main <= std_logic_vector(to_unsigned(stage_3, 11));
                shown_out := stage_3;
            end if;
            if reset_n = '0' or index /= shown_index then
                index_word <= std_logic_vector(to_unsigned(index, 16));
                shown_index := index;
            end if;
            if reset_n = '0' or value /= shown_value then
                value_word <= std_logic_vector(to_unsigned(value, 16));
                shown_value := value;
            end if;
        end if;
    end process;

end architecture;
