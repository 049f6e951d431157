"""Published standards as pure functions: numbers, codes, colours, values, messages, check sums."""
