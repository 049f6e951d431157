"""Limits on which published sources disagree: good up to here, bad from there, grey in between.

A single number would be a cliff that no source stands behind: 49 mV passes, 51 fails. Each limit
has the value up to which every usual source calls it good, the one from which they call it bad, and
says where they come from. A workshop can put its own in their place. The vehicle maker's own figure
comes before all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isfinite
from typing import Final, Literal

from backprobe.errors import ValueOutOfRange
from backprobe.quantities import format_quantity

Standing = Literal["good", "grey", "bad"]
COMMON_PRACTICE: Final = "common practice, no source"
_HIGHEST: Final[dict[str, float]] = {"volt": 100.0, "ohm": 1e6}


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit with its grey zone.

    Parameters
    ----------
    name, title : str
        Its name in the store, and what is judged, in words.
    unit : str
        Plain unit: volt or ohm.
    good, bad : float
        Good up to `good` and bad from `bad` on; of a floor, good from `good` up and bad below
        `bad`.
    grey : str
        What to make of a value in between, as a whole sentence.
    sources : tuple of str
        Where the two come from.
    is_floor : bool
        Whether more is better.
    """

    name: str
    title: str
    unit: str
    good: float
    bad: float
    grey: str
    sources: tuple[str, ...]
    is_floor: bool = False

    def standing(self, value: float) -> Standing:
        """Judge a value in the limit's unit."""
        if value >= self.good if self.is_floor else value <= self.good:
            return "good"
        return "bad" if (value < self.bad if self.is_floor else value >= self.bad) else "grey"

    @property
    def zone(self) -> str:
        """Say the grey zone: "from 50 mV to 100 mV"."""
        low, high = sorted((self.good, self.bad))
        return f"from {format_quantity(low, self.unit)} to {format_quantity(high, self.unit)}"

    def words(self, value: float) -> str:
        """Say how a value that isn't good stands; nothing for a good one."""
        standing = self.standing(value)
        if standing == "good":
            return ""
        if standing == "grey":
            return f"in the grey zone {self.zone}, on which sources differ"
        return f"{'under' if self.is_floor else 'over'} {format_quantity(self.bad, self.unit)}"


SENSOR_GROUND: Final = "sensor ground"
RETURN_OHMS: Final = "return ohms"
FEED_DROP: Final = "feed drop"
SUPPLY_LOW: Final = "supply low"
SUPPLY_HIGH: Final = "supply high"
BATTERY_AT_REST: Final = "battery at rest"
CHARGING: Final = "charging"
CRANKING: Final = "cranking"
BLACK_LEAD: Final = "black lead"
RIPPLE: Final = "ripple"

_TABLE: Final = (
    Limit(
        SENSOR_GROUND,
        "Sensor ground above battery negative, plugged in, key on",
        "volt",
        0.05,
        0.10,
        "Load it, or measure the whole path: a ground shows little before it is very bad.",
        (
            "a trade journal, ground circuits, part 12 (2019): control unit 0.05 V, others 0.10 V",
            "a vehicle maker's text: below 0.1 V from sensor ground to main ground",
            "a page of enthusiasts: below 0.009 V at an air-mass sensor",
            "a study page's 1 to 2 V is left out as unsafe",
        ),
    ),
    Limit(
        RETURN_OHMS,
        "Resistance in a sensor's return, where its current is known",
        "ohm",
        1.0,
        10.0,
        "Look at its contacts before its wire.",
        (
            f"a sound wire measures below 1 ohm: {COMMON_PRACTICE}",
            "10 ohm are the 0.10 V above at 10 mA, which a sensor with electronics takes: derived",
        ),
    ),
    Limit(
        FEED_DROP,
        "Volts missing at a battery feed, plugged in, against the battery posts",
        "volt",
        0.5,
        0.8,
        "Measure the drop itself, from the battery's positive post to the terminal.",
        (
            "an installation manual: 0.2 V over a wire, 0.3 V over a switch, together 0.5 V",
            f"0.5 V in general: {COMMON_PRACTICE}",
            "a battery trade's page quoting the SAE: up to 0.3 V over a heavy switch",
            "key, relay and wire together 0.8 V: derived",
        ),
    ),
    Limit(
        SUPPLY_LOW,
        "Regulated supply of 5 V, lowest",
        "volt",
        4.9,
        4.7,
        "Read it again at another sensor on the same supply.",
        (
            "a vehicle maker's monitor: 4.7 to 5.1 V",
            f"4.9 to 5.1 V: {COMMON_PRACTICE}",
        ),
        is_floor=True,
    ),
    Limit(
        SUPPLY_HIGH,
        "Regulated supply of 5 V, highest",
        "volt",
        5.1,
        5.2,
        "Read it again at another sensor on the same supply.",
        (
            "a vehicle maker's monitor: 4.7 to 5.1 V",
            f"more than 5.2 V comes from battery voltage: {COMMON_PRACTICE}",
        ),
    ),
    Limit(
        BATTERY_AT_REST,
        "Battery at rest or with the key on",
        "volt",
        12.4,
        12.2,
        "Support it before a long session with the key on.",
        (
            "public battery tables: 12.65 V full, 12.4 V three quarters, 12.2 V half",
            f"diagnosis begins at 12.4 V: {COMMON_PRACTICE}",
        ),
        is_floor=True,
    ),
    Limit(
        CHARGING,
        "Battery while the engine runs",
        "volt",
        13.2,
        13.0,
        "Some vehicles manage the charge and idle lower: read it again with lamps and fan on.",
        (
            f"13.8 to 14.7 V usually, 13.2 to 15.0 V where managed: {COMMON_PRACTICE}",
            f"some managed systems idle at 12.4 to 12.9 V: {COMMON_PRACTICE}",
        ),
        is_floor=True,
    ),
    Limit(
        CRANKING,
        "Battery while the engine is cranked",
        "volt",
        10.0,
        9.6,
        "Do not judge a regulated supply while cranking.",
        (
            f"at least 9.6 V: {COMMON_PRACTICE}",
            f"no regulated supply is judged below 10 V: {COMMON_PRACTICE}",
        ),
        is_floor=True,
    ),
    Limit(
        BLACK_LEAD,
        "Black lead's point against battery negative",
        "volt",
        0.05,
        0.1,
        "Move it to battery negative, or note what it stands at.",
        (
            "a trade journal, ground circuits, part 12 (2019): control unit 0.05 V, others 0.10 V",
            f"a reference 0.1 V off is suspect: {COMMON_PRACTICE}",
        ),
    ),
    Limit(
        RIPPLE,
        "AC volts on a battery feed while the engine runs",
        "volt",
        0.05,
        0.1,
        "Read it at the battery posts too, with loads on.",
        (
            "free repair pages: below 50 mV good, 50 to 100 mV to be watched",
            "a page on oscilloscopes: 90 mV",
            "a technical article: up to 0.5 V at the alternator itself",
        ),
    ),
)
LIMITS: Final[dict[str, Limit]] = {each.name: each for each in _TABLE}


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits in force.

    Parameters
    ----------
    own : tuple of (name, good, bad)
        Limits that a workshop sets for itself; equal ones are dropped.

    Raises
    ------
    ValueOutOfRange
        A name that isn't known, or two values that can't be a limit of that kind.
    """

    own: tuple[tuple[str, float, float], ...] = ()

    def __post_init__(self) -> None:
        found = {name: _require_limit(name, good, bad) for name, good, bad in self.own}
        kept = [(n, x.good, x.bad) for n, x in found.items() if x != LIMITS[n]]
        object.__setattr__(self, "own", tuple(sorted(kept)))

    def __getitem__(self, name: str) -> Limit:
        for own, good, bad in self.own:
            if own == name:
                return replace(LIMITS[name], good=good, bad=bad)
        return LIMITS[name]

    def __iter__(self) -> Iterator[Limit]:
        return (self[name] for name in LIMITS)


def _require_limit(name: str, good: float, bad: float) -> Limit:
    usual = LIMITS.get(name)
    if usual is None:
        raise ValueOutOfRange(
            f'"{name[:40]}" isn\'t a limit that can be set.', where="limits", remedy="Leave it out."
        )
    highest = _HIGHEST[usual.unit]
    for value in (good, bad):
        if not (isfinite(value) and 0.0 <= value <= highest):
            raise ValueOutOfRange(
                f"{value:g} can't be a limit.",
                where=usual.title,
                remedy=f"Write 0 to {highest:g} {usual.unit}.",
            )
    if good != bad and (good > bad) != usual.is_floor:
        side = "at or above" if usual.is_floor else "at or below"
        raise ValueOutOfRange(
            f"Good ({good:g} {usual.unit}) has to lie {side} bad ({bad:g} {usual.unit}).",
            where=usual.title,
            remedy=f"The usual are {usual.good:g} and {usual.bad:g} {usual.unit}.",
        )
    return replace(usual, good=good, bad=bad)


DEFAULT_LIMITS: Final = Limits()
