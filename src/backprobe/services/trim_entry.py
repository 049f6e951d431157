"""Trims and findings as people type them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from backprobe.core.engine.trim_pattern import AIR_MASS, EITHER, MANIFOLD_PRESSURE
from backprobe.errors import UsageError
from backprobe.quantities import parse_quantity

METERING_WORDS: Final = {"": EITHER, "air-mass": AIR_MASS, "pressure": MANIFOLD_PRESSURE}
_SKIPPED: Final = ("", "-", "?", "n/a")


def parse_trims(written: str) -> list[float]:
    """Read totals of the banks, "/" between two, "-" for one that wasn't read.

    Raises
    ------
    QuantityError
        It isn't a percentage.
    UsageError
        More than two banks.
    """
    parts = [part.strip() for part in written.split("/")]
    if len(parts) > 2:
        raise UsageError(
            f'"{written[:40]}" has more than two banks.', remedy='Write two as "22 / 3".'
        )
    return [float("nan") if part in _SKIPPED else total_of(part) for part in parts]


def total_of(written: str) -> float:
    """Read one total, or short and long with a sign between: "22", "+7.0 +15.6", "3 + 12"."""
    text = written.replace("\u2212", "-").replace("%", " ").strip()
    # Two numbers, the second with its sign before it.
    pair = re.fullmatch(r"([+-]?\s*[\d.,]+)\s*([+-])\s*([\d.,]+)", text)
    if pair is None:
        return parse_quantity(text, "trim").value
    first = parse_quantity(pair[1], "trim").value
    return first + parse_quantity(pair[2] + pair[3], "trim").value


def metering_of(written: str) -> str:
    """Read how air is metered."""
    if written not in METERING_WORDS:
        raise UsageError(
            f'"{written[:40]}" is no way to meter air.', remedy='Write "air-mass" or "pressure".'
        )
    return METERING_WORDS[written]


def parse_findings(written: Sequence[str]) -> dict[str, str]:
    """Read findings, each "TEST=OUTCOME"."""
    found = {}
    for each in written:
        name, sign, outcome = each.partition("=")
        if not sign:
            raise UsageError(f'"{each[:60]}" is no finding.', remedy='Write it as "TEST=OUTCOME".')
        found[name.strip()] = outcome.strip()
    return found
