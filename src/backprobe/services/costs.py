"""What work costs in this workshop: minutes of steps, price of an hour, of parts, of being wrong.

One table of named amounts, each with what stands where a workshop says nothing of its own. None of
them has a published source: they rank readings and repairs against each other, assume good access,
and are neither a labour time nor an offer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from backprobe.errors import ValueOutOfRange

LONGEST_CURRENCY: Final = 8

# Minutes, good access: common practice, no source.
MOVE_MINUTES: Final[dict[str, float]] = {
    "key turn": 0.2,
    "stop engine": 0.3,
    "move connector": 0.6,
    "start engine": 1.2,
    "crank": 0.8,
    "hold speed": 0.4,
    "back probe": 0.3,
}
ACTION_MINUTES: Final[dict[str, float]] = {
    "snap throttle": 1.0,
    "sweep": 0.5,
    "wiggle": 3.0,
}
READING_MINUTES: Final[dict[str, float]] = {
    "volts": 0.5,
    "volts_high": 0.7,
    "volts_low": 0.7,
    "volts_ac": 0.5,
    "hertz": 0.6,
    "duty_percent": 0.6,
    "sensor_ohms": 0.6,
    "harness_ohms": 0.7,
    "volts_loaded": 1.2,
    "battery_volts": 0.7,
    "black_lead_check": 0.7,
    "ambient_celsius": 0.5,
    "scan": 0.8,
}
# Minutes of the work that a fault asks for, and prices in the currency of the hour: our own guesses
# of a usual size, for each workshop to replace.
REPAIR_MINUTES: Final[dict[str, float]] = {
    "wire": 45.0,
    "short": 75.0,
    "shared rail": 60.0,
    "exchanged wires": 30.0,
    "part": 25.0,
    "control unit": 90.0,
}
PART_PRICES: Final[dict[str, float]] = {
    "unknown": 80.0,
    "temperature": 30.0,
    "pressure": 70.0,
    "position": 60.0,
    "speed": 50.0,
    "air-mass": 150.0,
    "oxygen": 120.0,
    "knock": 50.0,
    "switch": 25.0,
    "actuator": 110.0,
    "control unit": 800.0,
}
HOUR: Final = "hour"
PACE: Final = "pace"
RETURN_VISIT: Final = "return visit"
MATERIAL: Final = "material"
_MOVE_TITLES: Final[dict[str, str]] = {
    "key turn": "turn the key",
    "stop engine": "stop the engine",
    "move connector": "plug or unplug the connector",
    "start engine": "start the engine and let it settle",
    "crank": "crank",
    "hold speed": "hold the engine at a raised speed",
    "back probe": "place a back-probe",
}


@dataclass(frozen=True, slots=True)
class Amount:
    """One amount that a workshop can set.

    Parameters
    ----------
    name, title : str
        Its name in the store, and what it is in words.
    unit : str
        "minutes", "times" or "money".
    usual : float
        What stands where the workshop says nothing of its own.
    low, high : float
        Limits between which it can be set.
    """

    name: str
    title: str
    unit: str
    usual: float
    low: float
    high: float


def _amounts() -> tuple[Amount, ...]:
    """The whole table, in the order in which a page lists it."""
    readings = {name: f"take one reading: {name}" for name in READING_MINUTES}
    actions = {name: f"action: {name}" for name in ACTION_MINUTES}
    steps = MOVE_MINUTES | ACTION_MINUTES | READING_MINUTES
    titles = _MOVE_TITLES | actions | readings
    return (
        Amount(HOUR, "price of an hour of work", "money", 90.0, 0.0, 10_000.0),
        Amount(RETURN_VISIT, "price of being wrong: a return visit", "money", 150.0, 0.0, 1e6),
        Amount(MATERIAL, "material of a wire repair", "money", 8.0, 0.0, 1e5),
        Amount(PACE, "all steps of a reading, times", "times", 1.0, 0.2, 5.0),
        # Moves may cost nothing; a reading that does would be worth more than everything.
        *(
            Amount(f"step {k}", titles[k], "minutes", v, 0.1 if k in readings else 0.0, 120.0)
            for k, v in steps.items()
        ),
        *(
            Amount(f"repair {k}", f"repair: {k}", "minutes", v, 1.0, 6000.0)
            for k, v in REPAIR_MINUTES.items()
        ),
        *(Amount(f"part {k}", f"part: {k}", "money", v, 0.0, 1e6) for k, v in PART_PRICES.items()),
    )


AMOUNTS: Final[dict[str, Amount]] = {each.name: each for each in _amounts()}


@dataclass(frozen=True, slots=True)
class Costs:
    """What a workshop sets for itself; everything else is as usual.

    Parameters
    ----------
    own : tuple of (name, amount)
        Amounts of `AMOUNTS` that differ from the usual; equal ones are dropped.
    currency : str
        What stands behind a price.

    Raises
    ------
    ValueOutOfRange
        A name that isn't known, an amount out of its limits, a currency that is no short text.
    """

    own: tuple[tuple[str, float], ...] = ()
    currency: str = "EUR"

    def __post_init__(self) -> None:
        found = {name: _require_amount(name, value) for name, value in self.own}
        kept = {k: v for k, v in found.items() if v != AMOUNTS[k].usual}
        object.__setattr__(self, "own", tuple(sorted(kept.items())))
        object.__setattr__(self, "currency", _require_currency(self.currency))

    def of(self, name: str) -> float:
        """One amount of the table."""
        return dict(self.own).get(name, AMOUNTS[name].usual)

    def minutes(self, step: str) -> float:
        """Minutes of one named step of a reading, at this workshop's pace."""
        return self.of(f"step {step}") * self.of(PACE)

    def work(self, minutes: float) -> float:
        """Price of so many minutes of work."""
        return minutes * self.of(HOUR) / 60.0

    def part(self, kind: str) -> float:
        """Price of the part behind a kind of connector, or of a control unit."""
        return self.of(f"part {kind}")

    def money(self, price: float) -> str:
        """Write a price; an estimate bears no more than whole units."""
        whole = "less than 1" if 0.0 < price < 0.5 else f"{price:.0f}"
        return f"{whole} {self.currency}".strip()


def _require_amount(name: str, value: float) -> float:
    amount = AMOUNTS.get(name)
    if amount is None:
        raise ValueOutOfRange(
            f'"{name[:40]}" isn\'t a cost that can be set.', where="costs", remedy="Leave it out."
        )
    if not (isfinite(value) and amount.low <= value <= amount.high):
        raise ValueOutOfRange(
            f"{value:g} isn't between {amount.low:g} and {amount.high:g}.",
            where=amount.title,
            remedy=f"The usual is {amount.usual:g} ({amount.unit}).",
        )
    return float(value)


def _require_currency(written: str) -> str:
    plain = written.strip()
    if len(plain) > LONGEST_CURRENCY or not plain.isprintable() or any(c.isdigit() for c in plain):
        raise ValueOutOfRange(
            f'"{written[:40]}" can\'t stand behind a price.',
            where="currency",
            remedy=f'Write a sign or a few letters, such as "EUR"; at most {LONGEST_CURRENCY}.',
        )
    return plain


def costs_with(own: Mapping[str, float], currency: str = "EUR") -> Costs:
    """Costs with some amounts of one's own."""
    return Costs(tuple(own.items()), currency)


DEFAULT_COSTS: Final = Costs()
