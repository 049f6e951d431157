"""Which known quantity a column of a log holds."""

from __future__ import annotations

from backprobe.vocabulary import SCAN_UNITS


def known_quantity(name: str, unit: str) -> str:
    """The quantity in the words of the job file; empty where it isn't known."""
    del unit
    plain = " ".join(name.split("(", maxsplit=1)[0].split()).casefold()
    return plain if plain in SCAN_UNITS else ""
