// Edge n of the clock is cycle n - 4: what is set at edge n is sampled at edge n + 1, and rst falls at edge 3.
// The clock has a period that the dump's time unit cannot hold, so its edges wander by rounding.
`timescale 1ns / 10ps
module bench;
    reg        clk = 0;
    reg        rst = 1;
    reg        we = 0;
    reg        re = 0;
    reg  [1:0] addr = 0;
    reg  [7:0] wdata = 0;
    wire [7:0] rdata;
    wire [9:0] q;
    wire       even, pin;
    integer    n = 0;

    counter dut (clk, rst, we, re, addr, wdata, rdata, q, even, pin);

    always @(posedge clk) begin
        n     <= n + 1;
        rst   <= n < 3;
        we    <= n == 6 || n == 10 || n == 11 || n == 30;
        re    <= n == 8 || n == 40;
        addr  <= n == 10 ? 2'd2 : 2'd1;
        wdata <= n == 6 ? 8'd5 : n == 10 ? 8'd99 : n == 11 ? 8'd200 : 8'd3;
    end

    integer k;
    initial begin
        $dumpfile("counter.vcd");
        $dumpvars(0, bench);
        for (k = 0; k < 128; k = k + 1) begin
            #81.380208 clk = ~clk;
        end
        #1 $finish;
    end
endmodule
