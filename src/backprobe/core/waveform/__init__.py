"""Waveforms: their measurement in the terms of IEEE 181, and what kinds of signal they are."""
