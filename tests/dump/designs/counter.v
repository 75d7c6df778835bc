// A counter with one register, for tests of the dump reader: q grows by `step` at every edge, address 1 sets `step`.
module counter (
    input                    clk,
    input                    rst,
    input                    we,
    input                    re,
    input             [1:0]  addr,
    input             [7:0]  wdata,
    output reg        [7:0]  rdata,
    output reg signed [9:0]  q,
    output                   even,
    output                   pin
);
    reg [7:0] step;
    assign even = ~q[0];
    assign pin  = q[9];
    always @(posedge clk)
        if (rst) begin
            q    <= 10'd0;
            step <= 8'd1;
        end else begin
            q <= q + {2'b00, step};
            if (we && addr == 2'd1) step <= wdata;
            if (re) rdata <= step;
        end
endmodule
