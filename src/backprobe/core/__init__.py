"""Arrays in, arrays out: circuits, instruments and inference. No files, no clock, no jobs."""
