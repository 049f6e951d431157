"""What a technician sets out to read: full sheets and partial ones, and the states they're in."""

from dataclasses import dataclass, field, replace

from backprobe.campaign.block import Moment, Story
from backprobe.campaign.circuit import Circuit
from backprobe.campaign.readings import BlackLead, RoundState
from backprobe.campaign.spreads import Random, chance, even, log_even, pick


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
        return named | dict.fromkeys(sorted(self.asleep), "key not on")


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


def draw_story(rng: Random) -> Story:
    """Draw the day: the weather, a cold or warm engine, the height above the sea."""
    ambient = even(rng, -12.0, 38.0)
    engine = ambient if chance(rng, 0.5) else even(rng, max(ambient, 30.0), 96.0)
    return Story(ambient, engine, 101.3 - log_even(rng, 0.2, 15.0), 58.0)


def draw_states(
    circuit: Circuit,
    plans: tuple[RoundPlan, ...],
    trouble: Trouble,
    rng: Random,
) -> tuple[RoundState, ...]:
    """Draw the true state of the vehicle in every round."""
    story = draw_story(rng)
    charger = chance(rng, 0.06) and not trouble.weak_battery
    rested = even(rng, 9.5, 11.6) if trouble.weak_battery else even(rng, 11.9, 12.75)
    standing: dict[str, dict[str, float]] = {}
    states = []
    for plan in plans:
        battery = _battery(plan.key, rested, charger, trouble.weak_battery, rng)
        low = _moment(circuit, plan, plan.state, battery, story, standing, rng)
        if plan.name in trouble.asleep:
            low = replace(low, awake=False)
        high = None
        if plan.action:
            end = plan.state.replace("low", "high")
            high = _moment(circuit, plan, end, battery, story, standing, rng)
        lead = _lead(trouble.leads.get(plan.name, ""), rng)
        states.append(RoundState(plan.name, low, low if high else None, high, lead))
    return tuple(states)


def _moment(
    circuit: Circuit,
    plan: RoundPlan,
    state: str,
    battery: float,
    story: Story,
    standing: dict[str, dict[str, float]],
    rng: Random,
) -> Moment:
    # What a state was like once, it is like again in the next round of the same vehicle.
    if state not in standing:
        standing[state] = {}
        for block in circuit.blocks:
            standing[state] |= block.quantities(circuit.values, state, story, rng)
    rpm = {
        "run": even(rng, 650.0, 1050.0) if "raised" not in state else even(rng, 1900.0, 2700.0),
        "crank": even(rng, 170.0, 290.0),
    }.get(plan.key, 0.0)
    return Moment(
        plugged=plan.plugged,
        awake=plan.key != "off",
        running=plan.key == "run",
        cranking=plan.key == "crank",
        rpm=float(round(rpm, -1)),
        battery=battery,
        quantities=dict(standing[state]),
    )


def _battery(key: str, rested: float, charger: bool, weak: bool, rng: Random) -> float:
    if key == "run":
        if weak:
            return even(rng, 11.0, 13.2)
        return pick(rng, (0.92, even(rng, 13.2, 14.9)), (0.08, even(rng, 12.4, 13.2)))
    if key == "crank":
        return even(rng, 6.0, 9.4) if weak else even(rng, 9.4, 11.4)
    return even(rng, 12.9, 13.9) if charger else rested + even(rng, -0.08, 0.04)


def _lead(kind: str, rng: Random) -> BlackLead:
    """A bad point: lifted and steady, lifted and changing, or hardly connected at all."""
    sign = 1.0 if chance(rng, 0.85) else -1.0
    if kind == "lifted":
        return BlackLead(log_even(rng, 0.01, 30.0), sign * log_even(rng, 0.1, 3.5))
    if kind == "wandering":
        return BlackLead(
            log_even(rng, 1.0, 3e4), sign * even(rng, 0.2, 4.0), wander=even(rng, 0.15, 0.8)
        )
    if kind == "floating":
        return BlackLead(
            log_even(rng, 3e5, 2e7), sign * even(rng, 0.0, 3.0), wander=even(rng, 0.1, 0.6)
        )
    return BlackLead(log_even(rng, 0.005, 0.2), even(rng, -0.004, 0.012))
