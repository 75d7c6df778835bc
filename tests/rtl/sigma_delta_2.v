// Second-order sigma-delta modulator, one-bit: two clamped accumulators in a loop, optional shift-register dither.
// Written from the register text of psgmodel/output_stage/modulators/sigma_delta_2.py and lfsr.py. Verilog-2001,
// synthesizable.
//   WIDTH     width of the code
//   W1, W2    widths of the accumulators
//   NUM, DEN  input scale: the input is NUM * (code - half), the feedback DEN * half
//   LFSR_W, LFSR_TAPS (bit t-1 set for tap t), LFSR_SEED   the dither register
//   DITHER_W, DITHER_SHIFT   its low bits taken as a signed word, and how far the word is moved up; DITHER_W 0: no dither
module sigma_delta_2 #(
    parameter WIDTH        = 9,
    parameter W1           = 14,
    parameter W2           = 16,
    parameter NUM          = 3,
    parameter DEN          = 4,
    parameter LFSR_W       = 16,
    parameter LFSR_TAPS    = 32'h0000d008,
    parameter LFSR_SEED    = 1,
    parameter DITHER_W     = 0,
    parameter DITHER_SHIFT = 0
) (
    input  wire             clk,
    input  wire             rst,
    input  wire [WIDTH-1:0] code,
    output reg              pin,
    output wire             clamped
);
    localparam SUM_W = 64;
    localparam signed [SUM_W-1:0] HALF = 64'sd1 <<< (WIDTH - 1);
    localparam signed [SUM_W-1:0] FEED = DEN * HALF;
    localparam signed [SUM_W-1:0] MAX1 = (64'sd1 <<< (W1 - 1)) - 64'sd1;
    localparam signed [SUM_W-1:0] MIN1 = -(64'sd1 <<< (W1 - 1));
    localparam signed [SUM_W-1:0] MAX2 = (64'sd1 <<< (W2 - 1)) - 64'sd1;
    localparam signed [SUM_W-1:0] MIN2 = -(64'sd1 <<< (W2 - 1));

    reg signed [W1-1:0] a1;
    reg signed [W2-1:0] a2;
    reg    [LFSR_W-1:0] s;

    wire signed [SUM_W-1:0] x    = {{(SUM_W-WIDTH){1'b0}}, code};
    wire signed [SUM_W-1:0] u    = NUM * (x - HALF);
    wire signed [SUM_W-1:0] f    = pin ? FEED : -FEED;
    wire signed [SUM_W-1:0] sum1 = {{(SUM_W-W1){a1[W1-1]}}, a1} + u - f;
    wire signed [SUM_W-1:0] n1   = (sum1 > MAX1) ? MAX1 : (sum1 < MIN1) ? MIN1 : sum1;
    wire signed [SUM_W-1:0] sum2 = {{(SUM_W-W2){a2[W2-1]}}, a2} + n1 - f;
    wire signed [SUM_W-1:0] n2   = (sum2 > MAX2) ? MAX2 : (sum2 < MIN2) ? MIN2 : sum2;
    wire signed [SUM_W-1:0] dither;

    assign clamped = (n1 != sum1) || (n2 != sum2);

    generate
        if (DITHER_W == 0) begin : plain
            assign dither = 64'sd0;
        end else begin : dithered
            wire signed [SUM_W-1:0] wide = {{(SUM_W-DITHER_W){s[DITHER_W-1]}}, s[DITHER_W-1:0]};
            assign dither = wide <<< DITHER_SHIFT;
        end
    endgenerate

    always @(posedge clk)
        if (rst) begin
            a1  <= {W1{1'b0}};
            a2  <= {W2{1'b0}};
            pin <= 1'b0;
            s   <= LFSR_SEED;
        end else begin
            a1  <= n1[W1-1:0];
            a2  <= n2[W2-1:0];
            pin <= (n2 + dither >= 64'sd0);
            s   <= {s[LFSR_W-2:0], ^(s & LFSR_TAPS[LFSR_W-1:0])};
        end
endmodule
