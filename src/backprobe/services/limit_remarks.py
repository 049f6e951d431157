"""Remarks on values that the limits in force don't call good: battery, black lead, circuit.

A drop says little without the current that makes it: 50 mV are 50 ohm at 1 mA and 5 ohm at 10 mA.
Where a sensor's own current follows from the readings, its ground is judged in ohms as well.

What lies in a grey zone is told only where more than the limit speaks against the wire: its ohms,
or a fault on it that the readings leave. Sound vehicles often stand there, and a remark that is
read on most of them is read on none. A value counts as beyond a limit only where its uncertainty
doesn't reach back (JCGM 106:2012, 8.3.3, guarded rejection; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from backprobe.job import Indication, Meter, Round
from backprobe.quantities import format_quantity
from backprobe.services.accuracy import standard_uncertainty
from backprobe.services.engine import Posterior
from backprobe.services.limits import (
    BATTERY_AT_REST,
    BLACK_LEAD,
    CHARGING,
    CRANKING,
    FEED_DROP,
    RETURN_OHMS,
    RIPPLE,
    SENSOR_GROUND,
    SUPPLY_HIGH,
    SUPPLY_LOW,
    Limit,
    Limits,
)
from backprobe.services.return_path import ReturnPath, return_paths
from backprobe.services.summary import Trust, best_roles, fault_answers, role_probabilities
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES, split_fault

SOUND_LEAD: Final = 0.9  # trust in a black lead from which on drops are judged
KNOWN_ROLE: Final = 0.8  # probability of a wire's role from which on it is judged as such
# Beyond these no one would speak of a drop or of a supply that is a little off (own choice).
GREATEST_DROP_VOLT: Final = 2.0
FIVE_VOLT: Final = (4.0, 6.0)
HALF: Final = 0.5
SUSPECT_FROM: Final = 0.03  # probability of a fault on a wire from which on grey is told
COVERAGE: Final = 2.0  # standard uncertainties by which a limit has to be passed
POWERED: Final = ("on", "run")
AT_BATTERY: Final = "Clean the post, and check the lead and its clip."


def battery_remarks(posterior: Posterior, limits: Limits) -> Iterator[str]:
    """Batteries that are low, or neither low nor good."""
    low: dict[str, list[str]] = {}
    grey: dict[str, list[str]] = {}
    for item in posterior.problem.rounds:
        if item.battery_volts is None:
            continue
        name = {"run": CHARGING, "crank": CRANKING}.get(item.key, BATTERY_AT_REST)
        standing = limits[name].standing(item.battery_volts.value)
        where = {"bad": low, "grey": grey}.get(standing)
        if where is not None:
            volts = format_quantity(item.battery_volts.value, "volt")
            where.setdefault(name, []).append(f"{item.name} ({volts})")
    yield from _low_battery(low)
    for name, rounds in grey.items():
        limit = limits[name]
        yield (
            f"{limit.title} in round {', '.join(rounds)}: in the grey zone {limit.zone}, on which "
            f"sources differ. {limit.grey}"
        )


def _low_battery(low: dict[str, list[str]]) -> Iterator[str]:
    if BATTERY_AT_REST in low:
        yield (
            f"Battery low in round {', '.join(low[BATTERY_AT_REST])}: charge or support it before "
            f"judging supplies (at rest 12.65 V is full, 12.06 V a quarter)."
        )
    if CHARGING in low:
        yield (
            f"Engine running in round {', '.join(low[CHARGING])}, yet the battery is hardly "
            f"charged: look at charging first."
        )
    if CRANKING in low:
        yield (
            f"Battery low while cranking in round {', '.join(low[CRANKING])}: nothing read in it "
            f"says anything of a supply; charge the battery first."
        )


def lead_remarks(posterior: Posterior, trusted: Trust, limits: Limits) -> Iterator[str]:
    """Black leads that are trusted, yet do not stand quite where battery negative does."""
    limit = limits[BLACK_LEAD]
    for item in posterior.problem.rounds:
        if item.key == "crank" or trusted.lead[item.name] < SOUND_LEAD:
            continue  # the battery moves while it cranks; a doubted lead has its own remark
        missing = abs(missing_volts(item) or 0.0)
        words = limit.words(missing)
        if words:
            yield (
                f"Round {item.name}: between the posts and the black lead's point "
                f"{format_quantity(missing, 'volt')} are missing, {words}. "
                f"{AT_BATTERY if item.black_lead == BATTERY_NEGATIVE else limit.grey}"
            )


def missing_volts(item: Round) -> float | None:
    """Volts across the battery posts less those to the black lead's point; None if not read."""
    if item.battery_volts is None or item.black_lead_check is None:
        return None
    return item.battery_volts.value - item.black_lead_check.value


def circuit_remarks(posterior: Posterior, trusted: Trust, limits: Limits) -> Iterator[str]:
    """Grounds, feeds and supplies that the limits don't call good, each at its worst."""
    rounds = [
        r
        for r in posterior.problem.rounds
        if r.key in POWERED and trusted.rounds[r.name] >= SOUND_LEAD
    ]
    roles = known_roles(posterior)
    meter = posterior.problem.job.meter
    suspects = suspected_roles(posterior)
    for pin, role in roles.items():
        if role == "sensor-ground":
            paths = return_paths(pin, roles, rounds, meter)
            yield from _ground(pin, paths, limits, is_suspect=role in suspects)
        elif role == "supply-battery":
            judge = _Judge(meter, is_suspect=role in suspects)
            yield from _feed(pin, rounds, limits[FEED_DROP], judge)
            yield from _ripple(pin, rounds, limits[RIPPLE])
        elif role == "supply-regulated":
            yield from _supply(pin, rounds, limits, _Judge(meter, is_suspect=role in suspects))


def known_roles(posterior: Posterior) -> dict[str, str]:
    """Role of each pin, "?" where it isn't sure enough to be judged by."""
    best, probability = best_roles(posterior), role_probabilities(posterior)
    pins = posterior.problem.job.connector.pins
    return {
        pin: ROLES[best[t]] if probability[t, best[t]] >= KNOWN_ROLE else "?"
        for t, pin in enumerate(pins)
    }


def suspected_roles(posterior: Posterior) -> frozenset[str]:
    """Roles of wires on which a fault remains possible."""
    shares: dict[str, float] = {}
    for each in fault_answers(posterior):
        for role in split_fault(each.fault)[1].split("+"):
            shares[role] = shares.get(role, 0.0) + each.probability
    return frozenset(role for role, share in shares.items() if share >= SUSPECT_FROM)


@dataclass(frozen=True, slots=True)
class _Judge:
    """Says how a value stands, where that is worth saying."""

    meter: Meter
    is_suspect: bool

    def words(self, limit: Limit, value: float, *readings: Indication) -> str:
        """As the limit says it; nothing for what may well be good, or is grey and no suspect."""
        noise = COVERAGE * hypot(
            *(standard_uncertainty(self.meter, "volts", each) for each in readings)
        )
        surely = value + noise if limit.is_floor else value - noise
        if limit.standing(surely) == "good":
            return ""
        if limit.standing(value) == "grey" and not self.is_suspect:
            return ""
        return limit.words(value)


def _ground(
    pin: str, paths: Iterable[ReturnPath], limits: Limits, *, is_suspect: bool
) -> Iterator[str]:
    drops = [each for each in paths if each.volts < GREATEST_DROP_VOLT]
    if not drops:
        return
    worst = max(drops, key=lambda each: each.volts)
    lifted = limits[SENSOR_GROUND].words(worst.volts)
    in_ohms = "" if worst.ohms is None else limits[RETURN_OHMS].words(worst.ohms)
    is_grey = limits[SENSOR_GROUND].standing(worst.volts) == "grey"
    if (not lifted or (is_grey and not is_suspect)) and not in_ohms:
        return
    stands = (
        f"Terminal {pin}, sensor ground, stands {format_quantity(worst.volts, 'volt')} above the "
        f"black lead's point in round {worst.round}"
    )
    said = f": {lifted}." if lifted else ", which looks like little."
    yield f"{stands}{said} {_ohms_words(worst, in_ohms, limits)}"


def _ohms_words(path: ReturnPath, in_ohms: str, limits: Limits) -> str:
    """What a ground's lift means in ohms, as far as the readings tell."""
    if path.ohms is not None and path.current is not None:
        judged = f", {in_ohms}" if in_ohms else ""
        added = _rough(path.ohms * path.current, "volt")
        hint = f" {limits[RETURN_OHMS].grey}" if in_ohms else ""
        return (
            f"This sensor's own {_rough(path.current, 'ampere')} adds {added} of it: about "
            f"{_rough(path.ohms, 'ohm')} in its return{judged}.{hint}"
        )
    if path.unplugged is not None:
        return (
            f"Unplugged it stands at {format_quantity(path.unplugged, 'volt')} already: look at "
            f"what else flows into this ground, and at the ground behind it."
            if path.volts - path.unplugged < HALF * path.volts
            else f"Unplugged it stands at {format_quantity(path.unplugged, 'volt')}: most of it "
            f"comes with this sensor's own current. {limits[SENSOR_GROUND].grey}"
        )
    if path.most_ohms is not None and path.current is not None:
        return (
            f"If this sensor's {_rough(path.current, 'ampere')} alone flows there, that is "
            f"{_rough(path.most_ohms, 'ohm')}; less where others share it."
        )
    return (
        f"That is {_rough(path.volts / 1e-3, 'ohm')} at 1 mA, {_rough(path.volts / 1e-2, 'ohm')} "
        f"at 10 mA. {limits[SENSOR_GROUND].grey}"
    )


def _rough(value: float, unit: str) -> str:
    """Two digits are what such a value bears."""
    return format_quantity(float(f"{value:.2g}"), unit)


def _feed(pin: str, rounds: Sequence[Round], limit: Limit, judge: _Judge) -> Iterator[str]:
    pairs = [
        (r.battery_volts, r.volts[pin], r.name)
        for r in rounds
        if r.plugged and r.battery_volts is not None and pin in r.volts
    ]
    drops = [(posts.value - feed.value, posts, feed, name) for posts, feed, name in pairs]
    drops = [each for each in drops if each[0] < GREATEST_DROP_VOLT]
    if not drops:
        return
    worst, posts, feed, name = max(drops, key=lambda each: each[0])
    words = judge.words(limit, worst, posts, feed)
    if words:
        yield (
            f"Terminal {pin}, battery feed, reads {format_quantity(worst, 'volt')} less than the "
            f"battery posts in round {name}: {words}. {limit.grey}"
        )


def _ripple(pin: str, rounds: Sequence[Round], limit: Limit) -> Iterator[str]:
    found = [
        (r.volts_ac[pin].value, r.name) for r in rounds if r.key == "run" and pin in r.volts_ac
    ]
    worst, name = max(found, default=(0.0, ""))
    words = limit.words(worst)
    if words:
        yield (
            f"Terminal {pin}, battery feed, carries {format_quantity(worst, 'volt')} of AC in "
            f"round {name}: {words}. {limit.grey}"
        )


def _supply(pin: str, rounds: Sequence[Round], limits: Limits, judge: _Judge) -> Iterator[str]:
    found = [(r.volts[pin].value, r.name, r.volts[pin]) for r in rounds if pin in r.volts]
    fives = [each for each in found if FIVE_VOLT[0] < each[0] < FIVE_VOLT[1]]
    if not fives:
        return
    for (volts, name, read), limit in (
        (min(fives, key=lambda each: each[0]), limits[SUPPLY_LOW]),
        (max(fives, key=lambda each: each[0]), limits[SUPPLY_HIGH]),
    ):
        words = judge.words(limit, volts, read)
        if words:
            yield (
                f"Terminal {pin}, regulated supply, reads {format_quantity(volts, 'volt')} in "
                f"round {name}: {words}. {limit.grey}"
            )
