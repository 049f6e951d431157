"""Published standards as pure functions: VIN, trouble codes, wire colours, SENT check sums."""
