// First-order sigma-delta modulator: an accumulator whose carry is the pin.
// Written from the register text of psgmodel/output_stage/modulators/sigma_delta_1.py. Verilog-2001, synthesizable.
module sigma_delta_1 #(
    parameter WIDTH = 8
) (
    input  wire             clk,
    input  wire             rst,
    input  wire [WIDTH-1:0] code,
    output reg              pin
);
    reg  [WIDTH-1:0] acc;
    wire [WIDTH:0]   sum = {1'b0, acc} + {1'b0, code};

    always @(posedge clk)
        if (rst) begin
            acc <= {WIDTH{1'b0}};
            pin <= 1'b0;
        end else begin
            acc <= sum[WIDTH-1:0];
            pin <= sum[WIDTH];
        end
endmodule
