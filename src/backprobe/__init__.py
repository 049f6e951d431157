"""backprobe: what each wire does, which fault explains the readings, what to measure next."""

__version__ = "0.1.0"
