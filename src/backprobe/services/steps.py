"""The work behind one proposed reading: its steps in order, its minutes, its cautions.

A reading costs what it takes to bring the vehicle from the state it is in to the state that is
wanted (always key off before a connector is moved), and then to place the leads and read. What each
step costs stands in `costs`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from backprobe.quantities import format_quantity
from backprobe.services.costs import DEFAULT_COSTS, Costs

IDLE_BELOW_RPM: Final = 1200.0

AT_A_TERMINAL: Final = frozenset(
    ("volts", "volts_high", "volts_low", "volts_ac", "hertz", "duty_percent", "volts_loaded")
)
HELD: Final[dict[str, str]] = {"volts_high": "highest", "volts_low": "lowest"}
CRANK: Final = "crank"  # among the steps that cost minutes
CRANK_STEP: Final = "Crank for about five seconds while you read; a helper turns the key."
MOVE_LEAD: Final = "Black lead on clean bare metal, best the battery's negative post."
METER_SETTING: Final[dict[str, str]] = {
    "volts": "DC volts",
    "volts_high": "DC volts with min/max hold",
    "volts_low": "DC volts with min/max hold",
    "volts_ac": "AC volts",
    "hertz": "hertz",
    "duty_percent": "duty, per cent of the time high",
    "volts_loaded": "DC volts",
}

CAUTION_RUNNING: Final = (
    "Running engine: hands, leads and clothes away from belts and fans; mind hot parts and fumes."
)
CAUTION_CRANK: Final = "Out of gear, brake on, nobody near belts or fans while it cranks."
CAUTION_STARTS: Final = (
    "Ignition and fuel disabled as the maker says, so that it does not start; let the starter cool."
)
CAUTION_SWEEP: Final = "Keep fingers out of a powered throttle; it moves by itself."
CAUTION_SNAP: Final = "Warm engine, nobody in front of the vehicle; once or twice is enough."
CAUTION_BACK_PROBE: Final = (
    "Thin back-probe from the wire side, never into the mouth of a terminal."
)
CAUTION_FRONT: Final = (
    "Touch the harness terminal with a matching pin; a probe tip spreads a female terminal."
)
CAUTION_CODES: Final = (
    "Unplugged with key on, the control unit stores codes: note the old ones first."
)
CAUTION_OHMS: Final = "Never measure resistance on a live circuit."
CAUTION_PASSIVE: Final = (
    "Ohms only across a passive part (thermistor, track, coil, heater), never an oxygen cell."
)
CAUTION_LOAD: Final = (
    "A resistor of half a watt or more, held on only while you read; never on an oxygen cell."
)


@dataclass(frozen=True, slots=True)
class State:
    """State of vehicle and connector in which a reading is taken."""

    plugged: bool
    key: str
    rpm: float = 0.0
    action: str = ""


@dataclass(frozen=True, slots=True)
class StepPlan:
    """What to do for one reading, in order; the minutes it takes; what to beware of."""

    steps: tuple[str, ...]
    minutes: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Move:
    text: str
    step: str  # its name among the steps that cost minutes


# A vehicle nobody has touched yet stands with everything plugged in and the key off.
STANDING: Final = State(plugged=True, key="off")


def plan_steps(
    now: State | None,
    wanted: State,
    quantity: str,
    terminal: str,
    other: str = "",
    *,
    colour: str = "",
    load_ohms: float = 1000.0,
    moved_lead: bool = False,
    costs: Costs = DEFAULT_COSTS,
) -> StepPlan:
    """Plan one reading from the state the vehicle is in (None: as found, plugged in, key off).

    `terminal` is the pin; for `sensor_ohms` the pair as "1-2", or one pin with the second one in
    `other`; for `scan` the name of the value. `colour` is told with the pin where it is known.
    `moved_lead` puts the black lead on another point before its check.
    """
    start, goal = now or STANDING, reachable_state(now or STANDING, wanted, quantity)
    moves = _moves(start, goal)
    place = _place(terminal, other, colour, quantity)
    steps = [move.text for move in moves if move.step != CRANK]
    if moved_lead:
        steps.append(MOVE_LEAD)
    steps += _reading_steps(goal, quantity, place, load_ohms)
    if goal.key == "crank":
        steps.insert(len(steps) - (quantity in HELD), CRANK_STEP)  # leads first, then the starter
    return StepPlan(
        steps=tuple(steps),
        minutes=cost_minutes(now, wanted, quantity, costs),
        cautions=cautions_for(start, goal, quantity),
    )


@lru_cache(maxsize=8192)
def cost_minutes(
    now: State | None, wanted: State, quantity: str, costs: Costs = DEFAULT_COSTS
) -> float:
    """Minutes from the present state to the reading written down; the same that a plan states."""
    start = now or STANDING
    goal = reachable_state(start, wanted, quantity)
    minutes = sum(costs.minutes(move.step) for move in _moves(start, goal))
    minutes += costs.minutes(quantity) + (costs.minutes(goal.action) if goal.action else 0.0)
    if goal.plugged and quantity in AT_A_TERMINAL:
        minutes += costs.minutes("back probe")
    return round(minutes, 2)


def reachable_state(now: State, wanted: State, quantity: str) -> State:
    """Make the wanted state one that the quantity may be measured in.

    Ohms are never measured on a live circuit: the harness with key off, the sensor unplugged. The
    sensor hanging free does not care about the key, so no step is spent on turning it back on.
    """
    if quantity == "harness_ohms":
        return State(plugged=False, key="off")
    if quantity == "sensor_ohms":
        return State(plugged=False, key="off") if now.plugged else replace(now, action="")
    return wanted


def _moves(now: State, goal: State) -> list[_Move]:
    """Bring the vehicle from one state to the other; no moves where they are the same."""
    moves: list[_Move] = []
    key, running = now.key, now.key == "run"
    connector_moves = now.plugged != goal.plugged
    if running and (goal.key != "run" or connector_moves):
        moves.append(_Move("Stop the engine, key off.", "stop engine"))
        key = "off"
    if connector_moves:
        if key != "off":
            moves.append(_Move("Key off.", "key turn"))
            key = "off"
        words = "Plug the sensor in until it latches." if goal.plugged else "Unplug the sensor."
        moves.append(_Move(words, "move connector"))
    moves += _key_moves(key, goal)
    if goal.key == "run" and goal.rpm > IDLE_BELOW_RPM and now.rpm != goal.rpm:
        moves.append(_Move(f"Hold the engine at about {goal.rpm:.0f} rpm.", "hold speed"))
    if goal.key == "run" and key == "run" and now.rpm > IDLE_BELOW_RPM >= goal.rpm:
        moves.append(_Move("Let the engine fall back to idle.", "key turn"))
    return moves


def _key_moves(key: str, goal: State) -> list[_Move]:
    if goal.key == "crank":
        return [_Move(CRANK_STEP, CRANK)]
    if goal.key == key:
        return []
    if goal.key == "run":
        return [_Move("Start the engine and let it idle until it is steady.", "start engine")]
    if goal.key == "on":
        return [_Move("Key on, engine not started.", "key turn")]
    return [_Move("Key off.", "key turn")]


def _place(terminal: str, other: str, colour: str, quantity: str) -> str:
    """Name where the reading is taken, as the steps say it."""
    if quantity == "scan":
        return other or terminal
    if quantity == "sensor_ohms":
        first, second = (terminal, other) if other else tuple(terminal.split("-", 1))
        return f"{first} and {second}"
    return f"{terminal} ({colour})" if colour else terminal


def _reading_steps(goal: State, quantity: str, place: str, load_ohms: float) -> list[str]:
    """Leads, action and reading, once the vehicle is in the state."""
    fixed = {
        "sensor_ohms": f"Meter on ohms, across terminals {place} of the free sensor.",
        "harness_ohms": (
            f"Meter on ohms: harness terminal {place} to the black lead's point, control unit "
            "still connected."
        ),
        "battery_volts": "Meter on DC volts across the two battery posts.",
        "black_lead_check": (
            "Leave the black lead where it is; red lead on the battery's positive post, DC volts."
        ),
        "ambient_celsius": "Thermometer beside the sensing element, until it no longer moves.",
        "scan": f'Read "{place}" as the control unit reports it.',
    }
    if quantity in fixed:
        return [fixed[quantity], *_action_steps(goal.action)]
    probe = "Back-probe terminal" if goal.plugged else "Red lead on harness terminal"
    steps = [
        f"Meter on {METER_SETTING[quantity]}, black lead on battery negative.",
        f"{probe} {place}.",
    ]
    if quantity == "volts_loaded":
        load = format_quantity(load_ohms, "ohm")
        steps.append(f"Hold {load} from that terminal to the black lead's point and read again.")
    steps += _action_steps(goal.action)
    kept = HELD.get(quantity)
    if kept:
        steps.append(f"Take the {kept} value that the hold kept.")
    return steps


def _action_steps(action: str) -> list[str]:
    words = {
        "snap throttle": "Open the throttle fully and quickly once, let it fall back.",
        "sweep": "Move it slowly from stop to stop, three seconds or more each way.",
        "wiggle": "Wiggle wire and connector a hand's breadth at a time while you watch.",
    }
    return [words[action]] if action else []


def cautions_for(now: State, goal: State, quantity: str) -> tuple[str, ...]:
    """List the usual cautions of the trade that apply on the way and at the reading."""
    at_a_terminal = quantity in AT_A_TERMINAL
    candidates = (
        (goal.key == "run", CAUTION_RUNNING),
        (goal.key == "crank", CAUTION_CRANK),
        (goal.key == "crank", CAUTION_STARTS),
        (goal.action == "snap throttle", CAUTION_SNAP),
        (goal.action == "sweep" and goal.key != "off", CAUTION_SWEEP),
        (now.plugged != goal.plugged, "Key off before you plug or unplug."),
        (not goal.plugged and goal.key != "off" and now.plugged, CAUTION_CODES),
        (quantity in ("sensor_ohms", "harness_ohms"), CAUTION_OHMS),
        (quantity == "sensor_ohms", CAUTION_PASSIVE),
        (quantity == "volts_loaded", CAUTION_LOAD),
        (at_a_terminal and goal.plugged, CAUTION_BACK_PROBE),
        ((at_a_terminal or quantity == "harness_ohms") and not goal.plugged, CAUTION_FRONT),
    )
    return tuple(text for applies, text in candidates if applies)
