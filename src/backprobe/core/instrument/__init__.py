"""What a meter shows of a true voltage, and how far it may be wrong."""
