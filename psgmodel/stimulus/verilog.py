"""Verilog: a log as memory image, the driver that replays it, and a test bench around both.

Stage: stimulus. In: a register log that one bus can carry, a `Bench`. Out: texts: an image for ``$readmemh``
(IEEE 1364-2005, clause 17.2.9), a driver and a test bench in Verilog-2001. A word of the image has 128 bits, written
``K CCC_AAAAAAAA_DDDDDDDD`` without the space: kind (1 a write, 2 the end), cycle (60 bits), address, value.
"""

from __future__ import annotations

from psgmodel.reglog.log import RegisterLog
from psgmodel.stimulus.bench import Bench
from psgmodel.stimulus.one_bus import one_write_a_cycle

HALF_PERIOD = 5
"""Half a clock period of the bench, in its time units; nominal, for edges are counted."""
RESET_EDGES = 5
"""Rising edges with the reset active, before cycle 0."""
SMALLEST_DEPTH = 1024
PERIOD = 2 * HALF_PERIOD
PHASE = HALF_PERIOD
"""Time of the first edge, with the reset still active."""


def memory_image(log: RegisterLog) -> str:
    """Return a log as memory image: a word for each write, and one for the end.

    Raises
    ------
    StimulusError
        Writes share a cycle.
    """
    one_write_a_cycle(log)
    rows = zip(log.cycle.tolist(), log.address.tolist(), log.value.tolist(), strict=True)
    lines = [f"// {len(log) + 1} words: kind (1 write, 2 end) and cycle, address, value"]
    lines += [f"1{cycle:015X}_{address:08X}_{value:08X}" for cycle, address, value in rows]
    lines.append(f"2{log.end:015X}_00000000_00000000")
    return "\n".join(lines) + "\n"


def verilog_driver(bench: Bench) -> str:
    """Return the module ``stimulus_driver``, which replays an image; it is the same for every log."""
    return _DRIVER.format(
        clock=bench.clock,
        reset=bench.reset,
        write=bench.write,
        address=bench.address,
        data=bench.data,
        address_range=_range(bench.address_bits),
        data_range=_range(bench.data_bits),
        active=bench.reset_level,
        idle=1 - bench.reset_level,
        reset_edges=RESET_EDGES,
        depth=SMALLEST_DEPTH,
        address_top=31 + bench.address_bits,
        data_top=bench.data_bits - 1,
    )


def verilog_bench(bench: Bench, words: int, *, image: str = "stimulus.hex") -> str:
    """Return a test bench: clock, driver, the unit, and a dump of bus, levels and outputs.

    Parameters
    ----------
    bench : Bench
    words : int
        Words of the image; the bench takes this one and smaller ones, and larger ones with another DEPTH.
    image : str, optional
        Name of the image, for the comment.
    """
    ports = [bench.clock, *bench.driven, *(w.signal for w in bench.watched)]
    connections = [f".{port}({port})" for port in ports] + [f".{p}(1'b{level})" for p, level in bench.ties.items()]
    wires = [f"    wire {_range(w.bits)}{w.signal};" for w in bench.watched]
    return _BENCH.format(
        image=image,
        words=words,
        period=PERIOD,
        phase=PHASE,
        half=HALF_PERIOD,
        depth=max(SMALLEST_DEPTH, 1 << (words - 1).bit_length()),
        clock=bench.clock,
        reset=bench.reset,
        write=bench.write,
        address=bench.address,
        data=bench.data,
        address_range=_range(bench.address_bits),
        data_range=_range(bench.data_bits),
        unit=bench.unit,
        wires="\n".join(wires),
        connections=",\n        ".join(connections),
        dumped=", ".join([*bench.driven, *(w.signal for w in bench.watched)]),
    )


def _range(bits: int) -> str:
    """Return the range of a vector with a space behind, or nothing for one bit."""
    return f"[{bits - 1}:0] " if bits > 1 else ""


_DRIVER = """\
// Replays a memory image of register writes: reset, write strobe, address and data, each driven at a rising edge
// for the edge that follows it. Verilog-2001.
//
// Cycle 0 is the first rising edge that samples the reset inactive; a write at cycle c is sampled by the edge of c.
//   +stimulus=FILE   the image
//   +words=N         how many words it has, the end included (1 to DEPTH)
//   +cycles=N        cycles to run after reset (where not given: to the end of the log)
// `finished` goes to 1 at the edge after which only the last one is missing: let one more edge follow.

`timescale 1ns / 1ns

module stimulus_driver #(
    parameter DEPTH = {depth},
    parameter RESET_EDGES = {reset_edges}
) (
    input  wire {clock},
    output reg  {reset},
    output reg  {write},
    output reg  {address_range}{address},
    output reg  {data_range}{data},
    output reg  finished
);

    reg [127:0] image [0:DEPTH-1];
    reg [127:0] word;
    reg [8*1024-1:0] name;
    reg [63:0]  upcoming;     // the cycle whose edge comes next
    reg [63:0]  last;         // cycles to run
    reg [31:0]  resetting;    // edges of the reset that are left
    integer     words, next;
    reg         failed;

    task refuse;
        input [8*64-1:0] reason;
        begin
            $display("stimulus: error: %0s", reason);
            failed = 1'b1;
            finished = 1'b1;
        end
    endtask

    initial begin
        {reset} = 1'b{active};
        {write} = 1'b0;
        {address} = 0;
        {data} = 0;
        finished = 1'b0;
        failed = 1'b0;
        upcoming = 0;
        resetting = RESET_EDGES;
        next = 0;
        words = 0;
        if (!$value$plusargs("stimulus=%s", name)) refuse("+stimulus=FILE is missing");
        else if (!$value$plusargs("words=%d", words)) refuse("+words=N is missing");
        else if (words < 1 || words > DEPTH) refuse("+words=N must be 1 to DEPTH");
        else begin
            $readmemh(name, image, 0, words - 1);
            word = image[words-1];
            if (word[127:124] !== 4'h2) refuse("the last word of the image is not its end");
            last = {{4'h0, word[123:64]}};
            if ($value$plusargs("cycles=%d", last) && last == 0) refuse("+cycles=N must be 1 or more");
            word = image[0];
        end
    end

    always @(posedge {clock}) if (!failed) begin
        if (resetting != 0) resetting = resetting - 1;
        else upcoming = upcoming + 1;
        if (resetting == 0) {reset} <= 1'b{idle};
        {write} <= 1'b0;
        if (resetting == 0 && word[127:124] === 4'h1 && word[123:64] == upcoming[59:0] && upcoming < last) begin
            {write} <= 1'b1;
            {address} <= word[{address_top}:32];
            {data} <= word[{data_top}:0];
            next = next + 1;
            word = image[next];
        end
        if (resetting == 0 && upcoming == last) finished <= 1'b1;
    end

endmodule
"""

_BENCH = """\
// Test bench: replays {image} on {unit} and dumps bus, levels and outputs. Verilog-2001.
//
// In Icarus Verilog:
//   $ iverilog -g2001 -o bench.vvp stimulus_bench.v stimulus_driver.v YOUR_FILES.v
//   $ vvp -N bench.vvp +stimulus={image} +words={words} +dump=bench.vcd [+noclock]
// In Verilator 5 (its dump takes the shape that it is built with; -DNO_CLOCK leaves the clock out):
//   $ verilator --binary --timing --trace --trace-depth 1 -Wno-fatal --top-module bench [-DNO_CLOCK] \\
//       stimulus_bench.v stimulus_driver.v YOUR_FILES.v
//   $ obj_dir/Vbench +stimulus={image} +words={words} +dump=bench.vcd
//
// A dump without the clock is far smaller; compare it with: psgmodel compare ... --period {period} --phase {phase}

`timescale 1ns / 1ns

module bench;

    parameter DEPTH = {depth};  // words of the largest image

`ifdef NO_CLOCK
    /* verilator tracing_off */
`endif
    reg  {clock};
    /* verilator tracing_on */
    wire {reset};
    wire {write};
    wire {address_range}{address};
    wire {data_range}{data};
{wires}
    reg  ended;
    /* verilator tracing_off */
    wire finished;
    reg [8*1024-1:0] dump;
    /* verilator tracing_on */

    stimulus_driver #(.DEPTH(DEPTH)) stimulus (
        .{clock}({clock}), .{reset}({reset}), .{write}({write}), .{address}({address}), .{data}({data}),
        .finished(finished)
    );

    {unit} dut (
        {connections}
    );

    initial begin
        ended = 1'b0;
        {clock} = 1'b0;
        if ($value$plusargs("dump=%s", dump)) begin
            $dumpfile(dump);
`ifdef VERILATOR
            $dumpvars(0, bench);
`else
            $dumpvars(0, {dumped});
            $dumpvars(0, ended);
            if (!$test$plusargs("noclock")) $dumpvars(0, {clock});
`endif
        end
        while (finished !== 1'b1) begin
            #{half} {clock} = 1'b1;
            #{half} {clock} = 1'b0;
        end
        #{half} {clock} = 1'b1;
        ended = 1'b1;  // so that every dump has the time of the last edge
        #1 $finish;
    end

endmodule
"""
