// Test bench of sigma_delta_2: feeds one code a clock and writes the pin of every clock. Icarus Verilog.
//   +codes=FILE   codes in hexadecimal, one a line (read by $readmemh), at most 1048576
//   +count=N      how many of them
//   +pins=FILE    written: one character a clock, what the pin shows after that clock's edge
// Code c stands on the input before edge c, the first edge after reset.
// The last line on standard output is `bench: done clamped N first C`: clamped clocks, and the first of them or -1.
`timescale 1ns / 1ns

module bench;
    parameter WIDTH        = 9;
    parameter W1           = 14;
    parameter W2           = 16;
    parameter NUM          = 3;
    parameter DEN          = 4;
    parameter LFSR_W       = 16;
    parameter LFSR_TAPS    = 32'h0000d008;
    parameter LFSR_SEED    = 1;
    parameter DITHER_W     = 0;
    parameter DITHER_SHIFT = 0;

    reg                      clk = 1'b0;
    reg                      rst = 1'b1;
    reg  [WIDTH-1:0]         code = {WIDTH{1'b0}};
    wire                     pin;
    wire                     clamped;
    integer                  acted, first;
    reg  [WIDTH-1:0]         codes [0:1048575];
    reg  [8*512-1:0]         codes_file, pins_file;
    integer                  count, n, out;

    sigma_delta_2 #(
        .WIDTH(WIDTH), .W1(W1), .W2(W2), .NUM(NUM),
        .DEN(DEN), .LFSR_W(LFSR_W), .LFSR_TAPS(LFSR_TAPS), .LFSR_SEED(LFSR_SEED),
        .DITHER_W(DITHER_W), .DITHER_SHIFT(DITHER_SHIFT)
    ) dut (.clk(clk), .rst(rst), .code(code), .pin(pin), .clamped(clamped));

    task edge_of_clock;
        begin
            #1 clk = 1'b1;
            #1 clk = 1'b0;
        end
    endtask

    initial begin
        if (!$value$plusargs("codes=%s", codes_file) || !$value$plusargs("count=%d", count)
            || !$value$plusargs("pins=%s", pins_file)) begin
            $display("bench: error: +codes, +count and +pins are needed");
            $finish;
        end else begin
            $readmemh(codes_file, codes, 0, count - 1);
            out = $fopen(pins_file, "w");
            edge_of_clock;
            edge_of_clock;
            rst = 1'b0;
            for (n = 0; n < count; n = n + 1) begin
                code = codes[n];
                if (n == 0) begin acted = 0; first = -1; end
                #1;
                if (clamped) begin
                    acted = acted + 1;
                    if (first < 0) first = n;
                end
                edge_of_clock;
                $fwrite(out, "%b", pin);
            end
            $fclose(out);
            $display("bench: done clamped %0d first %0d", acted, first);
            $finish;
        end
    end
endmodule
