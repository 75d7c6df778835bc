// Test bench of pwm: feeds one code a clock and writes the pin of every clock. Icarus Verilog.
//   +codes=FILE   codes in hexadecimal, one a line (read by $readmemh), at most 1048576
//   +count=N      how many of them
//   +pins=FILE    written: one character a clock, what the pin shows after that clock's edge
// Code c stands on the input before edge c, the first edge after reset.
`timescale 1ns / 1ns

module bench;
    parameter WIDTH  = 9;
    parameter LENGTH = 256;
    parameter EDGE   = 0;

    reg                      clk = 1'b0;
    reg                      rst = 1'b1;
    reg  [WIDTH-1:0]         code = {WIDTH{1'b0}};
    wire                     pin;
    reg  [WIDTH-1:0]         codes [0:1048575];
    reg  [8*512-1:0]         codes_file, pins_file;
    integer                  count, n, out;

    pwm #(.WIDTH(WIDTH), .LENGTH(LENGTH), .EDGE(EDGE)) dut (.clk(clk), .rst(rst), .code(code), .pin(pin));

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
                edge_of_clock;
                $fwrite(out, "%b", pin);
            end
            $fclose(out);
            $display("bench: done");
            $finish;
        end
    end
endmodule
