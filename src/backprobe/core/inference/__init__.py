"""From readings to probabilities: assignment of wires, weights, reasons, the next reading."""
