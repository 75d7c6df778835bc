// Test bench of Linnet: replays a bus log and dumps what the unit does. Icarus Verilog and Verilator 5 (--binary --timing).
//
//   +log=FILE        bus actions, one a line, decimal, cycles strictly increasing: `cycle w address value`, `cycle r address 0`;
//                    a `w` puts wr = 1 at exactly that cycle's edge, an `r` puts rd = 1 there. No file: no actions.
//   +cycles=N        cycles to simulate after reset (1 to 1000000000)
//   +reset_edges=N   rising edges with rst = 1 before cycle 0 (1 to 1000; 5 where not given)
//   +dump=FILE       value change dump. No file: no dump.
//   +noclk           dump everything but the clock
//   +full            dump the internal registers also (the wave memory is an array and is not dumped)
//
// Time in the dump is nominal: 1 ns units, a clock period of 162 units (6.144 MHz would be 162.76 ns); count edges, do not
// divide. The rising edge of cycle c stands at PHASE + c * 162, where PHASE = 81 + 162 * reset_edges, which is 891 for the
// default of 5. Everything but the clock and the end mark changes at time stamps of rising edges only. Cycles 0 to
// N - 1 have an edge; at PHASE + N * 162, the end of cycle N - 1, there is no edge: `finished` goes to 1 there, so
// every dump ends with that time stamp.
//
// In Verilator the arguments of $dumpvars are ignored, so there the shape of the dump is chosen when the bench is built:
// -DBENCH_NO_CLOCK leaves the clock of the bench out, --trace-depth 1 leaves the internal registers out (simulate.py does
// both), and +noclk and +full are refused.

`timescale 1ns / 1ns
`default_nettype none

module bench;

`ifdef BENCH_NO_CLOCK
    /* verilator tracing_off */
`endif
    reg        clk;
    /* verilator tracing_on */
    reg        rst, wr, rd;
    reg  [6:0] addr;
    reg  [7:0] wdata;
    wire [7:0] rdata;
    wire [4:0] level_a, level_b, level_n;
    wire [5:0] level_w;
    wire [8:0] out_left, out_right;
    reg        finished;

    linnet dut (
        .clk(clk), .rst(rst), .wr(wr), .rd(rd), .addr(addr), .wdata(wdata), .rdata(rdata),
        .level_a(level_a), .level_b(level_b), .level_w(level_w), .level_n(level_n),
        .out_left(out_left), .out_right(out_right)
    );

    /* verilator tracing_off */
    localparam HALF = 81;
    localparam PERIOD = 2 * HALF;
    localparam LONGEST_NAME = 1024;  // characters
    reg [8*LONGEST_NAME-1:0] log_name, dump_name;
    integer cycles, reset_edges, edges_left;
    integer upcoming;  // the cycle whose edge comes next; negative during reset
    integer log_file;
    reg     failed;

    // The next action of the log, read ahead; `pending` says whether there is one, `due` whether its edge comes next.
    reg        pending, due;
    integer    fields, next_cycle, next_addr, next_data;
    reg  [7:0] next_kind;

    task fetch;
        integer last_cycle;
        begin
            last_cycle = next_cycle;
            pending = 1'b0;
            fields = $fscanf(log_file, " %d %c %d %d", next_cycle, next_kind, next_addr, next_data);
            if (fields == 4) begin
                pending = 1'b1;
                if (next_kind != "w" && next_kind != "r") refuse("the action is neither w nor r");
                if (next_cycle <= last_cycle) refuse("cycles must be strictly increasing from 0");
                if (next_cycle >= cycles) refuse("the action stands after the last cycle");
                if (next_addr < 0 || next_addr > 127) refuse("the address is not 0 to 127");
                if (next_data < 0 || next_data > 255) refuse("the value is not 0 to 255");
            end else if ($feof(log_file) == 0) refuse("a line is not: cycle w address value");
        end
    endtask

    task refuse;
        input [8*64-1:0] reason;
        begin
            $display("bench: error: %0s (near log cycle %0d)", reason, next_cycle);
            failed = 1'b1;
            pending = 1'b0;
        end
    endtask

    task open_dump;
        begin
            $dumpfile(dump_name);
`ifdef VERILATOR
            $dumpvars(0, bench);
`else
            $dumpvars(0, rst, wr, rd, addr, wdata, rdata, finished);
            $dumpvars(0, level_a, level_b, level_w, level_n, out_left, out_right);
            if (!$test$plusargs("noclk")) $dumpvars(0, clk);
            if ($test$plusargs("full")) dump_internals;
`endif
        end
    endtask

`ifndef VERILATOR
    task dump_internals;
        begin
            $dumpvars(0, dut.route, dut.trim_left, dut.trim_right);
            $dumpvars(0, dut.a_period, dut.a_pattern, dut.a_bend, dut.b_period, dut.b_pattern);
            $dumpvars(0, dut.w_period, dut.n_clock, dut.n_short);
            $dumpvars(0, dut.ticks.timing_count, dut.ticks.shaping_count, dut.ticks.bending_count);
            $dumpvars(0, dut.note_a.volume, dut.note_a.length, dut.note_a.timed);
            $dumpvars(0, dut.note_a.shape_period, dut.note_a.louder, dut.note_a.start_pipe, dut.note_a.stop_pipe);
            $dumpvars(0, dut.note_a.timer, dut.note_a.active, dut.note_a.envelope, dut.note_a.shape_count);
            $dumpvars(0, dut.note_b.volume, dut.note_b.length, dut.note_b.timed);
            $dumpvars(0, dut.note_b.shape_period, dut.note_b.louder, dut.note_b.start_pipe, dut.note_b.stop_pipe);
            $dumpvars(0, dut.note_b.timer, dut.note_b.active, dut.note_b.envelope, dut.note_b.shape_count);
            $dumpvars(0, dut.note_w.volume, dut.note_w.length, dut.note_w.timed);
            $dumpvars(0, dut.note_w.shape_period, dut.note_w.louder, dut.note_w.start_pipe, dut.note_w.stop_pipe);
            $dumpvars(0, dut.note_w.timer, dut.note_w.active, dut.note_w.envelope, dut.note_w.shape_count);
            $dumpvars(0, dut.note_n.volume, dut.note_n.length, dut.note_n.timed);
            $dumpvars(0, dut.note_n.shape_period, dut.note_n.louder, dut.note_n.start_pipe, dut.note_n.stop_pipe);
            $dumpvars(0, dut.note_n.timer, dut.note_n.active, dut.note_n.envelope, dut.note_n.shape_count);
            $dumpvars(0, dut.sweep_a.sweep_count);
            $dumpvars(0, dut.square_a.step_count, dut.square_a.position);
            $dumpvars(0, dut.square_b.step_count, dut.square_b.position);
            $dumpvars(0, dut.wave.step_count, dut.wave.position, dut.wave.sample);
            $dumpvars(0, dut.noise.elapsed, dut.noise.bits);
        end
    endtask
`endif

    // One process makes the clock, so that the edges are counted where they are made.
    initial begin
        clk = 1'b0;
        finished = 1'b0;
        failed = 1'b0;
        pending = 1'b0;
        next_cycle = -1;
        rst = 1'b1;
        wr = 1'b0;
        rd = 1'b0;
        addr = 7'd0;
        wdata = 8'd0;
        if (!$value$plusargs("reset_edges=%d", reset_edges)) reset_edges = 5;
        if (!$value$plusargs("cycles=%d", cycles)) cycles = 0;
        if (cycles < 1 || cycles > 1000000000) refuse("+cycles=N must be 1 to 1000000000");
        if (reset_edges < 1 || reset_edges > 1000) refuse("+reset_edges=N must be 1 to 1000");
`ifdef VERILATOR
        if ($test$plusargs("noclk") || $test$plusargs("full")) refuse("+noclk and +full are set when built");
`endif
        upcoming = -reset_edges;
        edges_left = cycles + reset_edges;
        if (!failed && $value$plusargs("log=%s", log_name)) begin
            log_file = $fopen(log_name, "r");
            if (log_file == 0) refuse("the log cannot be opened");
            else fetch;
        end
        if (!failed && $value$plusargs("dump=%s", dump_name)) open_dump;
        while (edges_left > 0 && !failed) begin
            #HALF clk = 1'b1;
            #HALF clk = 1'b0;
            edges_left = edges_left - 1;
        end
        #HALF finished = 1'b1;
        if (!failed) $display("period %0d phase %0d", PERIOD, HALF + PERIOD * reset_edges);
        $finish;
    end

    // The bus, driven at each edge for the edge that follows it.
    always @(posedge clk) begin
        upcoming = upcoming + 1;
        rst <= upcoming < 0;
        due = pending && next_cycle == upcoming;
        wr <= due && next_kind == "w";
        rd <= due && next_kind == "r";
        if (due) begin
            addr <= next_addr[6:0];
            if (next_kind == "w") wdata <= next_data[7:0];
            fetch;
        end
    end

endmodule

`default_nettype wire
