"""What the checks of the black lead say of its rounds, as someone at the vehicle reads them.

A check that misses the battery shows a bad point. The lead is then moved, which begins another
round, and checked again before anything is read (common practice, no source). There the battery
need not be read anew: at rest, with the key in the same position, it moves little within minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from backprobe.job import Round
from backprobe.services.conditions import LeadGap, lead_gap

AT_REST = ("off", "on")  # positions of the key; a running or cranking engine moves the battery
# What a battery moves by between two rounds of one key position, V (common practice, no source).
BATTERY_MOVES = 0.1


class LeadCheck(Enum):
    """What the check of a round says of its black lead."""

    OPEN = "open"  # not read, or neither here nor there
    HOLDS = "holds"
    FAILS = "fails"


def lead_checks(rounds: Sequence[Round]) -> tuple[LeadCheck, ...]:
    """What the check of each round says, by the battery of that round or of one like it before."""
    return tuple(_lead_check(rounds, i) for i in range(len(rounds)))


def _lead_check(rounds: Sequence[Round], i: int) -> LeadCheck:
    gap = lead_gap(rounds[i])
    if gap is not None:
        return _verdict(gap, moves=0.0)
    known = [r.battery_volts for r in rounds[:i] if r.key == rounds[i].key and r.battery_volts]
    if not known or rounds[i].key not in AT_REST:
        return LeadCheck.OPEN
    gap = lead_gap(rounds[i], known[-1])
    return LeadCheck.OPEN if gap is None else _verdict(gap, moves=BATTERY_MOVES)


def _verdict(gap: LeadGap, moves: float) -> LeadCheck:
    if gap.volt < gap.holds_below + moves:
        return LeadCheck.HOLDS
    return LeadCheck.FAILS if gap.volt > gap.fails_above + moves else LeadCheck.OPEN


def last_told(checks: Sequence[LeadCheck]) -> int | None:
    """Number of the last round whose check says anything."""
    told = [i for i, check in enumerate(checks) if check is not LeadCheck.OPEN]
    return told[-1] if told else None
