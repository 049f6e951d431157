"""The ways in which a measurement may have been bad, and how likely each is beforehand.

A black lead on a bad point, a key that was not on, a sensor that was not plugged home: each is a
condition, a sheet of readings with a log prior, beside the one that takes the sheet at its word.
That a fault was there only while wire and connector were wiggled is one more, and no bad
measurement.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.sheet import Sheet, SheetRound
from backprobe.job import Indication, Round
from backprobe.services.accuracy import while_cranking
from backprobe.vocabulary import BATTERY_NEGATIVE

# Prior probability that a measurement is not what it says: common practice, no source.
# Of a point of the black lead, however many rounds are read there: on battery negative itself.
BAD_LEAD = 0.02
BAD_LEAD_ELSEWHERE = 0.06
# Of a bad point, that it is bad in every round taken there: the lead mostly stays where it was
# clipped. Else it was in some of them only, knocked or clipped anew.
BAD_LEAD_STAYS = 0.5
KEY_NOT_ON = 0.006
NOT_HOME = 0.001
# A check that agrees with the battery to this clears the lead. One meter read both, so most of its
# error cancels: a few digits and what the battery moves in between are left (common practice).
LEAD_CHECK_VOLT, LEAD_CHECK_SHARE = 0.05, 0.002
LEAD_FAILS_AT = 2.5  # times that, it is bad
# Probability that a fault shows only while somebody wiggles, given that they do: they suspect it.
COMES_AND_GOES = 0.5
OFF_BELOW_VOLT, OFF_ABOVE_VOLT = 1.0, 9.0
SAME_VOLT, SAME_SHARE = 0.03, 0.01  # within which two rounds read alike (common practice)


@dataclass(frozen=True, slots=True)
class Condition:
    """One way in which a sheet may have come about: that sheet and its log prior.

    bad_lead, key_off, apart : numbers of the rounds that it calls bad; apart: not plugged home.
    wanders : whether bad black leads are another at each reading.
    """

    sheet: Sheet
    log_prior: float
    bad_lead: tuple[int, ...] = ()
    key_off: tuple[int, ...] = ()
    apart: tuple[int, ...] = ()
    wanders: bool = False

    @property
    def comes_and_goes(self) -> bool:
        """Whether a fault is taken to be there in wiggled rounds only."""
        return self.sheet.comes_and_goes

    @property
    def has_own_sheet(self) -> bool:
        """Whether its sheet is another than the plain one."""
        return bool(self.key_off or self.apart) or self.comes_and_goes

    @property
    def bad_rounds(self) -> tuple[int, ...]:
        """Rounds whose measurement is not what the file says."""
        return self.bad_lead + self.key_off + self.apart

    @property
    def lead_kind(self) -> NDArray[np.int64]:
        """`LeadKind` of each round, (R,)."""
        bad = LeadKind.WANDERING if self.wanders else LeadKind.STEADY
        is_bad = np.isin(np.arange(len(self.sheet.rounds)), self.bad_lead)
        return np.where(is_bad, int(bad), int(LeadKind.SOUND))


def point(r: Round) -> str:
    """Name of the point that the black lead of a round is on, however it was written."""
    return r.black_lead.strip().lower()


def conditions(sheet: Sheet, rounds: tuple[Round, ...]) -> Iterator[Condition]:
    """The sheet as it stands, then with bad black leads, the key not on, the sensor not home.

    Last, where wire and connector were wiggled, with a fault that was there only then.

    Black leads are bad in one way in all rounds, wandering or steady, each as likely as the other.
    """
    sound = float(sum(np.log1p(-_prior(where)) for where in {point(r) for r in rounds}))
    come_and_go = _some_wiggled(sheet)
    if come_and_go:
        sound += float(np.log1p(-COMES_AND_GOES))
    yield Condition(sheet, sound)
    for which in _bad_leads(rounds):
        log_prior = sound + _log_odds(rounds, which) - np.log(2.0)
        yield Condition(sheet, log_prior, which, wanders=True)
        yield Condition(sheet, log_prior, which)
    for i, r in enumerate(rounds):
        if r.key == "on" and _may_be_off(r):
            changed = _with_round(sheet, i, replace(sheet.rounds[i], powered=False))
            yield Condition(changed, sound + float(np.log(KEY_NOT_ON)), key_off=(i,))
    for i, r in enumerate(rounds):
        if _may_be_apart(r, rounds):
            changed = _with_round(sheet, i, replace(sheet.rounds[i], plugged=False))
            yield Condition(changed, sound + float(np.log(NOT_HOME)), apart=(i,))
    if come_and_go:
        log_odds = float(np.log(COMES_AND_GOES) - np.log1p(-COMES_AND_GOES))
        yield Condition(replace(sheet, comes_and_goes=True), sound + log_odds)


def _with_round(sheet: Sheet, i: int, changed: SheetRound) -> Sheet:
    """The sheet with one round in another state."""
    return replace(sheet, rounds=(*sheet.rounds[:i], changed, *sheet.rounds[i + 1 :]))


def _some_wiggled(sheet: Sheet) -> bool:
    """Whether some readings were taken while wire and connector were moved, and others not.

    Where the meter kept lowest and highest meanwhile, these tell both.
    """
    read = [sheet.rounds[r] for r in sheet.round]
    return len({r.wiggled for r in read}) > 1 or any(r.wiggled and r.keeps for r in read)


def _bad_leads(rounds: tuple[Round, ...]) -> list[tuple[int, ...]]:
    """Sets of rounds that may have been behind a bad black lead.

    Rounds whose check fails are bad together (a sound lead can't fail it but by a slip of the
    pen); beside them each doubtful round, and all doubtful rounds on one point.
    """
    doubtful = [i for i, r in enumerate(rounds) if _lead_fails(r) or _may_be_bad(r)]
    failed = {i for i in doubtful if _lead_fails(rounds[i])}
    sets = [failed] if failed else []
    sets += [failed | {i} for i in doubtful]
    sets += [failed | set(group) for group in _same_point(rounds, doubtful)]
    return list(dict.fromkeys(tuple(sorted(s)) for s in sets))


def _prior(where: str) -> float:
    """Probability that a point of the black lead is bad."""
    return BAD_LEAD if where == BATTERY_NEGATIVE else BAD_LEAD_ELSEWHERE


def _log_odds(rounds: tuple[Round, ...], which: tuple[int, ...]) -> float:
    """Log of how likely these leads are bad against sound; a bad point mostly stays so.

    That it was bad in some of its rounds only is shared among them.
    """
    total = 0.0
    for where in dict.fromkeys(point(rounds[i]) for i in which):
        there = [i for i, r in enumerate(rounds) if point(r) == where and _has_volts(r)]
        n_bad = sum(point(rounds[i]) == where for i in which)
        total += float(np.log(_prior(where)) - np.log1p(-_prior(where)))
        if n_bad < len(there):
            total += float(np.log1p(-BAD_LEAD_STAYS) - np.log(len(there)))
        elif n_bad > 1:
            total += float(np.log(BAD_LEAD_STAYS))
    return total


@dataclass(frozen=True, slots=True)
class LeadGap:
    """What is missing between the check of a black lead and the battery, all V.

    holds_below, fails_above : what shows a sound point and what a bad one; in between, neither.
    """

    volt: float
    holds_below: float
    fails_above: float


def lead_gap(r: Round, battery: Indication | None = None) -> LeadGap | None:
    """The gap of a round, by its own battery voltage or another's; None: unread."""
    battery, check = r.battery_volts if battery is None else battery, r.black_lead_check
    if battery is None or check is None:
        return None
    tolerance = LEAD_CHECK_VOLT + LEAD_CHECK_SHARE * abs(battery.value)
    wandering = tolerance
    if r.key == "crank":  # one is read after the other
        wandering = while_cranking(while_cranking(tolerance, battery), check)
    return LeadGap(abs(battery.value - check.value), tolerance, LEAD_FAILS_AT * wandering)


def _may_be_bad(r: Round) -> bool:
    """Whether volts were read in a round by a lead that no check shows to be sound."""
    return _has_volts(r) and not _lead_holds(r)


def _lead_holds(r: Round) -> bool:
    """Whether the check of the black lead's point against the battery posts shows it sound."""
    gap = lead_gap(r)
    return gap is not None and gap.volt < gap.holds_below


def _lead_fails(r: Round) -> bool:
    """Whether the check shows a bad point beyond what a meter may be off."""
    gap = lead_gap(r)
    return gap is not None and gap.volt > gap.fails_above


def _may_be_off(r: Round) -> bool:
    """Whether a round reads as with the key off: nothing between ground and battery voltage."""
    shown = [abs(i.value) for i in r.volts.values() if not i.over_range]
    return bool(shown) and all(v < OFF_BELOW_VOLT or v > OFF_ABOVE_VOLT for v in shown)


def _may_be_apart(r: Round, rounds: tuple[Round, ...]) -> bool:
    """Whether a plugged round reads as an unplugged one, and another plugged one doesn't."""
    if not r.plugged or r.key != "on" or r.action:
        return False
    free = [u for u in rounds if not u.plugged and u.key == "on" and _reads_alike(r, u)]
    mated = [p for p in rounds if p.plugged and p.key == "on" and not p.action and p is not r]
    return any(_reads_alike(p, u) is False for u in free for p in mated)


def _reads_alike(r: Round, other: Round) -> bool | None:
    """Whether two rounds show the same volts at every terminal read in both; None: at none live."""
    pairs = [(i.value, other.volts[pin].value) for pin, i in r.volts.items() if pin in other.volts]
    if not any(max(pair) > OFF_BELOW_VOLT for pair in pairs):
        return None
    return all(abs(a - b) < SAME_VOLT + SAME_SHARE * abs(b) for a, b in pairs)


def _has_volts(r: Round) -> bool:
    kinds = (r.volts, r.volts_loaded, r.volts_high, r.volts_low, r.level_high, r.level_low)
    return r.key != "off" and any(kinds)


def _same_point(rounds: tuple[Round, ...], powered: list[int]) -> Iterator[tuple[int, ...]]:
    """Groups of two or more rounds whose black lead was on one point."""
    points: dict[str, list[int]] = {}
    for i in powered:
        points.setdefault(point(rounds[i]), []).append(i)
    for group in points.values():
        if len(group) > 1:
            yield tuple(group)
