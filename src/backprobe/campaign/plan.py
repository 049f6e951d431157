"""What a technician sets out to read: full sheets and partial ones, and the states they're in."""

from dataclasses import dataclass, field, replace

from backprobe.campaign.circuit import Circuit
from backprobe.campaign.spreads import Random, chance, even, pick

KEY_NOT_ON = "key not on"  # what is wrong with such a round


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """A round as it is meant to be: its state and the columns to fill."""

    name: str
    plugged: bool
    key: str
    state: str  # of block.STATES
    action: str = ""
    columns: tuple[str, ...] = ("volts",)
    checks: bool = True  # battery_volts and black_lead_check
    share: float = 1.0  # of the terminals that are read


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong with the measurement, by round name."""

    leads: dict[str, str] = field(default_factory=dict)  # "lifted", "wandering", "floating"
    asleep: frozenset[str] = frozenset()  # the key isn't really on
    weak_battery: bool = False

    def bad_rounds(self) -> dict[str, str]:
        """Rounds that are not what the file says, each with what is wrong."""
        named = {name: f"black lead {kind}" for name, kind in self.leads.items()}
        return named | dict.fromkeys(sorted(self.asleep), KEY_NOT_ON)


def full_plan(circuit: Circuit, rng: Random) -> tuple[RoundPlan, ...]:
    """Unplugged, plugged, idling; ohms of the sensor and of the harness where someone took them."""
    ohms = ("sensor_ohms",) if circuit.passive_pairs() and chance(rng, 0.6) else ()
    plans = [
        RoundPlan("A", False, "on", "key-on", columns=("volts", "volts_loaded", *ohms)),
        RoundPlan("B", True, "on", "key-on", columns=("volts",)),
        RoundPlan("C", True, "run", "idle", columns=("volts", "counter", "volts_ac")),
    ]
    if chance(rng, 0.15):
        plans.append(
            RoundPlan("D", False, "off", "key-on", columns=("harness_ohms",), checks=False)
        )
    if chance(rng, 0.35):
        plans[1] = replace(plans[1], columns=("volts", "scan"))
        plans[2] = replace(plans[2], columns=(*plans[2].columns, "scan"))
    return tuple(plans)


def partial_plan(circuit: Circuit, rng: Random) -> tuple[RoundPlan, ...]:
    """Some rounds, some terminals, at times a crank, a raised speed, a snap or a sweep."""
    makers = {
        "unplugged": lambda n: RoundPlan(
            n,
            False,
            "on",
            "key-on",
            columns=_some(rng, ("volts",), ("volts_loaded", "sensor_ohms")),
        ),
        "plugged": lambda n: RoundPlan(
            n, True, "on", "key-on", columns=_some(rng, ("volts",), ("scan", "counter"))
        ),
        "idle": lambda n: RoundPlan(
            n,
            True,
            "run",
            "idle",
            columns=_some(rng, ("volts",), ("counter", "volts_ac", "scan", "hold")),
        ),
        "raised": lambda n: RoundPlan(
            n, True, "run", "raised", columns=_some(rng, ("volts",), ("counter",))
        ),
        "crank": lambda n: RoundPlan(
            n, True, "crank", "crank", columns=_some(rng, ("volts",), ("volts_ac",))
        ),
        "snap": lambda n: RoundPlan(n, True, "run", "snap-low", "snap throttle", columns=("hold",)),
        "sweep": lambda n: RoundPlan(n, True, "on", "sweep-low", "sweep", columns=("hold",)),
        "ohms": lambda n: RoundPlan(n, False, "off", "key-on", columns=("harness_ohms",)),
    }
    odds = {
        "unplugged": 0.8,
        "plugged": 0.85,
        "idle": 0.5,
        "raised": 0.12,
        "crank": 0.12,
        "snap": 0.1 if circuit.design.kind in {"air-mass", "pressure", "position"} else 0.02,
        "sweep": 0.25 if circuit.design.kind == "position" else 0.02,
        "ohms": 0.1,
    }
    chosen = [what for what in makers if chance(rng, odds[what])] or ["plugged"]
    return tuple(
        replace(
            makers[what](chr(ord("A") + number)),
            checks=chance(rng, 0.6),
            share=pick(rng, (0.7, 1.0), (0.3, even(rng, 0.4, 0.95))),
        )
        for number, what in enumerate(chosen)
    )


def _some(rng: Random, always: tuple[str, ...], perhaps: tuple[str, ...]) -> tuple[str, ...]:
    return (*always, *(column for column in perhaps if chance(rng, 0.45)))
