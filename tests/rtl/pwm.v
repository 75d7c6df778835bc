// Pulse-width modulator: a counter, its duty taken once a carrier period.
// Written from the register text of psgmodel/output_stage/modulators/pulse_width.py. Verilog-2001, synthesizable.
//   EDGE 0: trailing edge moves, period LENGTH clocks
//   EDGE 1: leading edge moves, period LENGTH clocks
//   EDGE 2: centre-aligned, period 2 * LENGTH clocks
// WIDTH bits must hold LENGTH itself (100 %).
module pwm #(
    parameter WIDTH  = 9,
    parameter LENGTH = 256,
    parameter EDGE   = 0
) (
    input  wire             clk,
    input  wire             rst,
    input  wire [WIDTH-1:0] code,
    output wire             pin
);
    localparam [WIDTH-1:0] TOP  = LENGTH;
    localparam [WIDTH-1:0] LAST = LENGTH - 1;
    localparam [WIDTH-1:0] ONE  = 1;
    localparam [WIDTH-1:0] ZERO = 0;

    reg [WIDTH-1:0] count;
    reg [WIDTH-1:0] duty;

    generate
        if (EDGE == 2) begin : centre
            reg down;
            always @(posedge clk)
                if (rst) begin
                    count <= ZERO;
                    down  <= 1'b1;
                    duty  <= ZERO;
                end else if (!down) begin
                    if (count == LAST) down <= 1'b1;
                    else count <= count + ONE;
                end else if (count == ZERO) begin
                    down <= 1'b0;
                    duty <= code;
                end else
                    count <= count - ONE;
            assign pin = (count >= TOP - duty);
        end else begin : sawtooth
            always @(posedge clk)
                if (rst) begin
                    count <= LAST;
                    duty  <= ZERO;
                end else if (count == LAST) begin
                    count <= ZERO;
                    duty  <= code;
                end else
                    count <= count + ONE;
            if (EDGE == 1) begin : leading
                assign pin = (count >= TOP - duty);
            end else begin : trailing
                assign pin = (count < duty);
            end
        end
    endgenerate
endmodule
