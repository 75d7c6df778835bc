"""output_stage: from the digital level to a voltage. `Steps` in; pin signals, filtered volts, measurements out."""
