// Linnet, the sound unit of the marble-race scoreboard, written from patches/linnet.md alone.
//
// What goes in: a clock, a synchronous reset and a write/read bus. What comes out: four channel levels
// (combinational) and two output codes (registers). Every section number below is a section of that page.
// Synthesizable Verilog-2001; no vendor primitives. One file by choice, so that a copy with one fault is one file:
// verilator lint_off DECLFILENAME

`timescale 1ns / 1ns
`default_nettype none

// The whole unit: bus registers (section 4), the parts of the channels, the mixer (section 10).
module linnet (
    input  wire       clk,
    input  wire       rst,
    input  wire       wr,
    input  wire       rd,
    input  wire [6:0] addr,
    input  wire [7:0] wdata,
    output reg  [7:0] rdata,
    output wire [4:0] level_a,
    output wire [4:0] level_b,
    output wire [5:0] level_w,
    output wire [4:0] level_n,
    output reg  [8:0] out_left,
    output reg  [8:0] out_right
);

    // Registers that belong to no note; those of a note are inside linnet_note.
    reg  [7:0] route;
    reg  [1:0] trim_left, trim_right;
    reg [11:0] a_period, b_period, w_period;
    reg  [1:0] a_pattern, b_pattern;
    reg  [7:0] a_bend;
    reg  [6:0] n_clock;
    reg        n_short;

    // Writes: blocks of eight addresses, one a channel.
    wire write_a = wr && addr[6:3] == 4'h1;
    wire write_b = wr && addr[6:3] == 4'h2;
    wire write_w = wr && addr[6:3] == 4'h3;
    wire write_n = wr && addr[6:3] == 4'h4;
    wire write_memory = wr && addr[6];

    wire timing, shaping, bending;
    linnet_ticks ticks (
        .clk(clk), .rst(rst), .timing(timing), .shaping(shaping), .bending(bending)
    );

    wire       starts_a, starts_b, starts_w, starts_n;
    wire       active_a, active_b, active_w, active_n;
    wire [4:0] envelope_a, envelope_b, envelope_w, envelope_n;
    wire [7:0] reads_a, reads_b, reads_w, reads_n;
    wire       bend_takes, bend_overflows;
    wire [11:0] bent_period;

    linnet_note #(.DELAY(1)) note_a (
        .clk(clk), .rst(rst), .write(write_a), .offset(addr[2:0]), .wdata(wdata),
        .timing(timing), .shaping(shaping), .overflows(bend_overflows),
        .starts(starts_a), .active(active_a), .envelope(envelope_a), .reads(reads_a)
    );
    linnet_note #(.DELAY(1)) note_b (
        .clk(clk), .rst(rst), .write(write_b), .offset(addr[2:0]), .wdata(wdata),
        .timing(timing), .shaping(shaping), .overflows(1'b0),
        .starts(starts_b), .active(active_b), .envelope(envelope_b), .reads(reads_b)
    );
    linnet_note #(.DELAY(3)) note_w (
        .clk(clk), .rst(rst), .write(write_w), .offset(addr[2:0]), .wdata(wdata),
        .timing(timing), .shaping(shaping), .overflows(1'b0),
        .starts(starts_w), .active(active_w), .envelope(envelope_w), .reads(reads_w)
    );
    linnet_note #(.DELAY(1)) note_n (
        .clk(clk), .rst(rst), .write(write_n), .offset(addr[2:0]), .wdata(wdata),
        .timing(timing), .shaping(shaping), .overflows(1'b0),
        .starts(starts_n), .active(active_n), .envelope(envelope_n), .reads(reads_n)
    );

    linnet_sweep sweep_a (
        .clk(clk), .rst(rst), .starts(starts_a), .active(active_a), .bending(bending),
        .bend(a_bend), .period(a_period),
        .takes(bend_takes), .overflows(bend_overflows), .bent_period(bent_period)
    );
    linnet_square square_a (
        .clk(clk), .rst(rst), .starts(starts_a), .active(active_a),
        .period(a_period), .pattern(a_pattern), .envelope(envelope_a), .level(level_a)
    );
    linnet_square square_b (
        .clk(clk), .rst(rst), .starts(starts_b), .active(active_b),
        .period(b_period), .pattern(b_pattern), .envelope(envelope_b), .level(level_b)
    );
    wire [5:0] memory_reads;
    linnet_wave wave (
        .clk(clk), .rst(rst), .starts(starts_w), .active(active_w), .period(w_period), .envelope(envelope_w),
        .write(write_memory), .address(addr[5:0]), .wdata(wdata[5:0]), .memory_reads(memory_reads),
        .level(level_w)
    );
    linnet_noise noise (
        .clk(clk), .rst(rst), .starts(starts_n), .active(active_n),
        .clock_code(n_clock), .short_mode(n_short), .envelope(envelope_n), .level(level_n)
    );

    always @(posedge clk) begin
        if (rst) begin
            route <= 8'hff;
            trim_left <= 2'd0;
            trim_right <= 2'd0;
            a_period <= 12'd0;
            a_pattern <= 2'd0;
            a_bend <= 8'd0;
            b_period <= 12'd0;
            b_pattern <= 2'd0;
            w_period <= 12'd0;
            n_clock <= 7'd0;
            n_short <= 1'b0;
        end else begin
            // The sweep's result is lost as a whole where either half of the period is written (section 9).
            if (bend_takes && !(write_a && addr[2:1] == 2'b00)) a_period <= bent_period;
            if (wr) begin
                case (addr)
                    7'h00: route <= wdata;
                    7'h01: begin
                        trim_left <= wdata[1:0];
                        trim_right <= wdata[5:4];
                    end
                    7'h08: a_period[7:0] <= wdata;
                    7'h09: begin
                        a_period[11:8] <= wdata[3:0];
                        a_pattern <= wdata[5:4];
                    end
                    7'h0d: a_bend <= wdata;
                    7'h10: b_period[7:0] <= wdata;
                    7'h11: begin
                        b_period[11:8] <= wdata[3:0];
                        b_pattern <= wdata[5:4];
                    end
                    7'h18: w_period[7:0] <= wdata;
                    7'h19: w_period[11:8] <= wdata[3:0];
                    7'h20: n_clock <= wdata[6:0];
                    7'h21: n_short <= wdata[0];
                    default: ;
                endcase
            end
        end
    end

    // Reads (section 4). The NOTE, LENGTH and SHAPE registers come out of the note blocks.
    reg [7:0] value_here;
    always @* begin
        case (addr)
            7'h00: value_here = route;
            7'h01: value_here = {2'b00, trim_right, 2'b00, trim_left};
            7'h02: value_here = {4'b0000, active_n, active_w, active_b, active_a};
            7'h08: value_here = a_period[7:0];
            7'h09: value_here = {2'b00, a_pattern, a_period[11:8]};
            7'h0a, 7'h0b, 7'h0c: value_here = reads_a;
            7'h0d: value_here = a_bend;
            7'h10: value_here = b_period[7:0];
            7'h11: value_here = {2'b00, b_pattern, b_period[11:8]};
            7'h12, 7'h13, 7'h14: value_here = reads_b;
            7'h18: value_here = w_period[7:0];
            7'h19: value_here = {4'b0000, w_period[11:8]};
            7'h1a, 7'h1b, 7'h1c: value_here = reads_w;
            7'h20: value_here = {1'b0, n_clock};
            7'h21: value_here = {7'b0000000, n_short};
            7'h22, 7'h23, 7'h24: value_here = reads_n;
            default: value_here = addr[6] ? {2'b00, memory_reads} : 8'h00;
        endcase
    end
    always @(posedge clk) begin
        if (rst) rdata <= 8'h00;
        else if (rd) rdata <= value_here;
    end

    // Mixer: each side is a sum of at most 555, then a trim in eighths, then a ceiling.
    wire [8:0] code_left, code_right;
    linnet_side left (
        .level_a(level_a), .level_b(level_b), .level_w(level_w), .level_n(level_n),
        .routed({route[6], route[4], route[2], route[0]}), .trim(trim_left), .code(code_left)
    );
    linnet_side right (
        .level_a(level_a), .level_b(level_b), .level_w(level_w), .level_n(level_n),
        .routed({route[7], route[5], route[3], route[1]}), .trim(trim_right), .code(code_right)
    );
    always @(posedge clk) begin
        if (rst) begin
            out_left <= 9'd0;
            out_right <= 9'd0;
        end else begin
            out_left <= code_left;
            out_right <= code_right;
        end
    end

endmodule

// Ticks (section 3). Each counter starts so that its last value stands before the first tick edge.
module linnet_ticks (
    input  wire clk,
    input  wire rst,
    output wire timing,
    output wire shaping,
    output wire bending
);

    reg [14:0] timing_count, shaping_count;
    reg [15:0] bending_count;
    assign timing = timing_count == 15'd20479;
    assign shaping = shaping_count == 15'd32767;
    assign bending = bending_count == 16'd51199;

    always @(posedge clk) begin
        if (rst) begin
            timing_count <= 15'd0;
            shaping_count <= 15'd22768;  // 32767 - 9999
            bending_count <= 16'd21199;  // 51199 - 30000
        end else begin
            timing_count <= timing ? 15'd0 : timing_count + 15'd1;
            shaping_count <= shaping_count + 15'd1;  // 32768 long: wraps by itself
            bending_count <= bending ? 16'd0 : bending_count + 16'd1;
        end
    end

endmodule

// What every channel has: NOTE, LENGTH, SHAPE, GO; start and stop (5), note timer (7), envelope (8).
module linnet_note #(
    parameter DELAY = 1
) (
    input  wire       clk,
    input  wire       rst,
    input  wire       write,      // a write to the channel's block of eight addresses
    input  wire [2:0] offset,
    input  wire [7:0] wdata,
    input  wire       timing,
    input  wire       shaping,
    input  wire       overflows,  // a sweep that ends the note
    output wire       starts,     // a start acts at the coming edge
    output reg        active,
    output reg  [4:0] envelope,
    output reg  [7:0] reads
);

    reg [4:0] volume;
    reg [8:0] length;
    reg       timed;
    reg [3:0] shape_period;
    reg       louder;

    always @(posedge clk) begin
        if (rst) begin
            volume <= 5'd0;
            length <= 9'd0;
            timed <= 1'b0;
            shape_period <= 4'd0;
            louder <= 1'b0;
        end else if (write) begin
            case (offset)
                3'd2: begin
                    volume <= wdata[4:0];
                    length[8] <= wdata[6];
                    timed <= wdata[7];
                end
                3'd3: length[7:0] <= wdata;
                3'd4: begin
                    shape_period <= wdata[3:0];
                    louder <= wdata[7];
                end
                default: ;
            endcase
        end
    end

    always @* begin
        case (offset)
            3'd2: reads = {timed, length[8], 1'b0, volume};
            3'd3: reads = length[7:0];
            3'd4: reads = {louder, 3'b000, shape_period};
            default: reads = 8'h00;
        endcase
    end

    // Strobes on their way: bit 0 is the write at the coming edge, bit DELAY acts at the coming edge.
    reg  [DELAY-1:0] start_pipe, stop_pipe;
    wire [DELAY:0] start_way = {start_pipe, write && offset == 3'd6 && wdata[0]};
    wire [DELAY:0] stop_way = {stop_pipe, write && offset == 3'd6 && wdata[1]};
    always @(posedge clk) begin
        if (rst) begin
            start_pipe <= {DELAY{1'b0}};
            stop_pipe <= {DELAY{1'b0}};
        end else begin
            start_pipe <= start_way[DELAY-1:0];
            stop_pipe <= stop_way[DELAY-1:0];
        end
    end
    assign starts = start_way[DELAY];
    wire stops = stop_way[DELAY] && !starts;

    // Note timer: load first, then count, so a tick that meets a start counts.
    reg  [8:0] timer;
    wire [8:0] loaded = starts ? length : timer;
    wire counts = timing && timed && (active || starts);
    wire expires = counts && loaded == 9'd1;
    always @(posedge clk) begin
        if (rst) begin
            timer <= 9'd0;
            active <= 1'b0;
        end else begin
            timer <= counts ? loaded - 9'd1 : loaded;
            if (expires || stops || overflows) active <= 1'b0;
            else if (starts) active <= 1'b1;
        end
    end

    // Envelope: a tick that meets a start is lost.
    reg [3:0] shape_count;
    always @(posedge clk) begin
        if (rst) begin
            envelope <= 5'd0;
            shape_count <= 4'd0;
        end else if (starts) begin
            envelope <= volume;
            shape_count <= shape_period;
        end else if (shaping && active && shape_period != 4'd0) begin
            if (shape_count <= 4'd1) begin
                shape_count <= shape_period;
                if (louder && envelope != 5'd31) envelope <= envelope + 5'd1;
                if (!louder && envelope != 5'd0) envelope <= envelope - 5'd1;
            end else begin
                shape_count <= shape_count - 4'd1;
            end
        end
    end

endmodule

// The sweep of A (section 9). `takes` and `overflows` say what happens at the coming edge.
module linnet_sweep (
    input  wire        clk,
    input  wire        rst,
    input  wire        starts,
    input  wire        active,
    input  wire        bending,
    input  wire  [7:0] bend,
    input  wire [11:0] period,
    output wire        takes,
    output wire        overflows,
    output wire [11:0] bent_period
);

    reg  [3:0] sweep_count;
    wire counts = bending && active && !starts && bend[7:4] != 4'd0;
    wire steps = counts && sweep_count <= 4'd1;
    always @(posedge clk) begin
        if (rst) sweep_count <= 4'd0;
        else if (starts || steps) sweep_count <= bend[7:4];
        else if (counts) sweep_count <= sweep_count - 4'd1;
    end

    wire falls = bend[3];
    wire [11:0] part = period >> bend[2:0];
    wire [12:0] sum = {1'b0, period} + {1'b0, part};
    assign overflows = steps && !falls && sum[12];
    assign takes = steps && !overflows;
    assign bent_period = falls ? period - part : sum[11:0];

endmodule

// Square channel (section 6): 16 positions, a step of 2 * (period + 1) cycles.
module linnet_square (
    input  wire        clk,
    input  wire        rst,
    input  wire        starts,
    input  wire        active,
    input  wire [11:0] period,
    input  wire  [1:0] pattern,
    input  wire  [4:0] envelope,
    output wire  [4:0] level
);

    reg [12:0] step_count;
    reg  [3:0] position;
    always @(posedge clk) begin
        if (rst) begin
            step_count <= 13'd0;
            position <= 4'd0;
        end else if (starts) begin
            step_count <= {period, 1'b1};
        end else if (active) begin
            if (step_count == 13'd0) begin
                step_count <= {period, 1'b1};
                position <= position + 4'd1;
            end else begin
                step_count <= step_count - 13'd1;
            end
        end
    end

    // Bit k of the table is the pattern at position k, so each row reads right to left.
    reg [15:0] table_row;
    always @* begin
        case (pattern)
            2'd0: table_row = 16'b0000_0000_0000_0001;
            2'd1: table_row = 16'b0000_0000_0000_1111;
            2'd2: table_row = 16'b0000_0000_1111_1111;
            default: table_row = 16'b0000_0001_1100_0111;
        endcase
    end
    assign level = (active && table_row[position]) ? envelope : 5'd0;

endmodule

// Wave-table channel (section 6): 64 samples, a step of period + 1 cycles, and the memory itself.
module linnet_wave (
    input  wire        clk,
    input  wire        rst,
    input  wire        starts,
    input  wire        active,
    input  wire [11:0] period,
    input  wire  [4:0] envelope,
    input  wire        write,
    input  wire  [5:0] address,
    input  wire  [5:0] wdata,
    output wire  [5:0] memory_reads,
    output wire  [5:0] level
);

    reg [5:0] memory [0:63];
    integer index;
    initial begin
        for (index = 0; index < 64; index = index + 1) memory[index] = 6'd0;
    end
    always @(posedge clk) begin
        if (write && !rst) memory[address] <= wdata;
    end
    assign memory_reads = memory[address];

    reg  [11:0] step_count;
    reg   [5:0] position;
    reg   [5:0] sample;
    wire  [5:0] next_position = position + 6'd1;
    always @(posedge clk) begin
        if (rst) begin
            step_count <= 12'd0;
            position <= 6'd0;
            sample <= 6'd0;
        end else if (starts) begin
            step_count <= period;
            position <= 6'd0;
        end else if (active) begin
            if (step_count == 12'd0) begin
                step_count <= period;
                position <= next_position;
                sample <= memory[next_position];
            end else begin
                step_count <= step_count - 12'd1;
            end
        end
    end

    wire [5:0] scaled;
    wire [4:0] unused_fraction;
    assign {scaled, unused_fraction} = sample * envelope;
    assign level = active ? scaled : 6'd0;

endmodule

// Noise channel (section 6): a 17-bit shift register stepped every divisor << shift cycles.
module linnet_noise (
    input  wire       clk,
    input  wire       rst,
    input  wire       starts,
    input  wire       active,
    input  wire [6:0] clock_code,
    input  wire       short_mode,
    input  wire [4:0] envelope,
    output wire [4:0] level
);

    reg [6:0] divisor;
    always @* begin
        case (clock_code[6:4])
            3'd0: divisor = 7'd4;
            3'd1: divisor = 7'd6;
            3'd2: divisor = 7'd10;
            3'd3: divisor = 7'd14;
            3'd4: divisor = 7'd22;
            3'd5: divisor = 7'd34;
            3'd6: divisor = 7'd52;
            default: divisor = 7'd80;
        endcase
    end
    wire stopped = clock_code[3:1] == 3'b111;
    wire [19:0] step_length = {13'd0, divisor} << clock_code[3:0];  // at most 80 << 13 = 655360

    reg  [19:0] elapsed;
    reg  [17:1] bits;
    wire [19:0] elapsed_next = elapsed + 20'd1;
    wire feedback = short_mode ? bits[9] ^ bits[5] : bits[17] ^ bits[14];
    always @(posedge clk) begin
        if (rst) begin
            elapsed <= 20'd0;
            bits <= 17'h1ffff;
        end else if (starts) begin
            elapsed <= 20'd0;
        end else if (active && !stopped) begin
            if (elapsed_next >= step_length) begin
                elapsed <= 20'd0;
                bits <= {bits[16:1], feedback};
            end else begin
                elapsed <= elapsed_next;
            end
        end
    end

    assign level = (active && (short_mode ? bits[9] : bits[17])) ? envelope : 5'd0;

endmodule

// One side of the mixer (section 10). `routed` is {noise, wave, B, A}.
module linnet_side (
    input  wire [4:0] level_a,
    input  wire [4:0] level_b,
    input  wire [5:0] level_w,
    input  wire [4:0] level_n,
    input  wire [3:0] routed,
    input  wire [1:0] trim,
    output wire [8:0] code
);

    wire [9:0] part_a = routed[0] ? {3'b000, level_a, 2'b00} : 10'd0;
    wire [9:0] part_b = routed[1] ? {3'b000, level_b, 2'b00} : 10'd0;
    wire [9:0] part_w = routed[2] ? {3'b000, level_w, 1'b0} + {4'b0000, level_w} : 10'd0;
    wire [9:0] part_n = routed[3] ? {3'b000, level_n, 2'b00} : 10'd0;
    wire [9:0] sum = part_a + part_b + part_w + part_n;

    reg [12:0] eighths;
    always @* begin
        case (trim)
            2'd0: eighths = {sum, 3'b000};
            2'd1: eighths = {3'b000, sum} * 13'd6;
            2'd2: eighths = {1'b0, sum, 2'b00};
            default: eighths = {3'b000, sum} * 13'd3;
        endcase
    end
    wire [9:0] trimmed;
    wire [2:0] unused_fraction;
    assign {trimmed, unused_fraction} = eighths;
    assign code = trimmed[9] ? 9'd511 : trimmed[8:0];

endmodule

`default_nettype wire
