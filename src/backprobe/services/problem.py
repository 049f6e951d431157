"""From a job to arrays: the sheet of readings, under each condition of the measurement."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.sheet import Quantity, Sheet, SheetRound
from backprobe.families.schema import STATES
from backprobe.job import Indication, Job, Round
from backprobe.services.accuracy import (
    common_offset,
    common_share,
    standard_uncertainty,
    while_cranking,
)
from backprobe.services.conditions import Condition, conditions, point
from backprobe.vocabulary import BATTERY_NEGATIVE, REPORTED_TEMPERATURES, ROLES, SCAN_NAMES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

RAISED_FROM_RPM = 1300.0
DIAGRAM_RIGHT = 0.92  # probability that a diagram shows the role a wire has (common practice)
AMBIENT_CELSIUS = 2.0  # how well a sensing element's temperature is known, degC
REPORTED_CELSIUS = 1.0
REPORTED_VOLT = 0.02

# Stands in where there is no round yet, so that the priors can be told.
NOTHING_READ = SheetRound("", plugged=False, powered=True, state=0, state_high=0)
_AT_TERMINAL = {
    "volts": Quantity.VOLTS,
    "volts_high": Quantity.VOLTS_HIGH,
    "volts_low": Quantity.VOLTS_LOW,
    "level_high": Quantity.LEVEL_HIGH,
    "level_low": Quantity.LEVEL_LOW,
    "volts_ac": Quantity.VOLTS_AC,
    "hertz": Quantity.HERTZ,
    "duty_percent": Quantity.DUTY,
    "volts_loaded": Quantity.VOLTS_LOADED,
    "harness_ohms": Quantity.HARNESS_OHM,
}
UNIT_DENSITY = 0.375  # deviation at which Student's t has a density of one where nothing is off
# Control-unit values that speak of a wire's volts; families say of which wire.
_REPORTED = (
    "intake air temperature",
    "coolant temperature",
    "air mass flow",
    "manifold pressure",
    "throttle position",
)


@dataclass(frozen=True, slots=True)
class Problem:
    """A job as `core` sees it: the conditions, the plain one first."""

    job: Job
    rounds: tuple[Round, ...]
    conditions: tuple[Condition, ...]

    @property
    def verdict(self) -> IntArray:
        """Number of the first condition that calls the same rounds bad, (n_condition,)."""
        said = [(c.bad_lead, c.key_off, c.apart) for c in self.conditions]
        return np.array([said.index(one) for one in said], dtype=np.int64)

    @property
    def sheet(self) -> Sheet:
        """The sheet taken at its word."""
        return self.conditions[0].sheet


def problem_of(job: Job) -> Problem:
    """Turn a job into arrays; void rounds are left out."""
    rounds = tuple(r for r in job.rounds if not r.void)
    sheet = _sheet(job, rounds)
    return Problem(job, rounds, tuple(conditions(sheet, rounds)))


def _sheet(job: Job, rounds: tuple[Round, ...]) -> Sheet:
    pins = [t.pin for t in job.connector.terminals]
    rows = [row for index, r in enumerate(rounds) for row in _readings(job, r, index, pins)]
    points = list(dict.fromkeys(point(r) for r in rounds))
    diagram = np.zeros((len(pins), len(ROLES)))
    for i, terminal in enumerate(job.connector.terminals):
        if terminal.diagram:
            diagram[i] = np.log((1.0 - DIAGRAM_RIGHT) / (len(ROLES) - 1))
            diagram[i, ROLES.index(terminal.diagram)] = np.log(DIAGRAM_RIGHT)
    return Sheet(
        rounds=tuple(_round(r, pins, points) for r in rounds) or (NOTHING_READ,),
        n_terminal=len(pins),
        quantity=np.array([int(r.quantity) for r in rows], dtype=np.int64),
        round=np.array([r.round for r in rows], dtype=np.int64),
        terminal=np.array([r.terminal for r in rows], dtype=np.int64),
        other=np.array([r.other for r in rows], dtype=np.int64),
        value=np.array([r.value for r in rows], dtype=np.float64),
        deviation=np.array([r.deviation for r in rows], dtype=np.float64),
        load_ohm=np.array([r.load for r in rows], dtype=np.float64),
        reported=np.array([r.reported for r in rows], dtype=np.int64),
        label=tuple(r.label for r in rows),
        input_ohm=job.meter.input_resistance,
        role_log=diagram,
        meter_share=common_share(job.meter),
        range_number=np.array([r.meter_range[0] for r in rows], dtype=np.int64),
        range_volt=np.array([r.meter_range[1] for r in rows], dtype=np.float64),
    )


def _round(r: Round, pins: list[str], points: list[str]) -> SheetRound:
    low, high = state_of(r.key, r.rpm, r.action)

    def place(end: str) -> int:
        return -1 if end == BATTERY_NEGATIVE else pins.index(end)

    return SheetRound(
        name=r.name,
        plugged=r.plugged,
        powered=r.key != "off",
        state=STATES.index(low),
        state_high=STATES.index(high),
        point=points.index(point(r)),
        fitted=tuple((place(f.start), place(f.end), f.ohms) for f in r.fitted),
        wiggled=r.action == "wiggle",
        keeps=bool(r.volts_low or r.volts_high),
    )


def state_of(key: str, rpm: float, action: str) -> tuple[str, str]:
    """State of the driven quantities in a round, as the two ends that it spans."""
    if key == "run" and action == "snap throttle":
        return "snap-low", "snap-high"
    if action == "sweep":
        return "sweep-low", "sweep-high"
    if key == "crank":
        return "crank", "crank"
    if key == "run":
        state = "raised" if rpm >= RAISED_FROM_RPM else "idle"
        return state, state
    return "key-on", "key-on"


@dataclass(frozen=True, slots=True)
class _Row:
    quantity: Quantity
    round: int
    label: str
    value: float
    deviation: float
    terminal: int = -1
    other: int = -1
    load: float = 1000.0
    reported: int = -1
    meter_range: tuple[int, float] = (0, 0.0)


def _readings(job: Job, r: Round, index: int, pins: list[str]) -> Iterator[_Row]:
    meter = job.meter
    for key, quantity in _AT_TERMINAL.items():
        readings: Mapping[str, Indication] = getattr(r, key)
        for pin, indication in readings.items():
            scale = 0.01 if quantity == Quantity.DUTY else 1.0
            deviation = standard_uncertainty(meter, key, indication)
            if r.key == "crank" and key == "volts":
                deviation = while_cranking(deviation, indication)
            value = np.inf if indication.over_range else indication.value
            if quantity == Quantity.HERTZ and value <= 0:
                value = np.inf  # a meter that counts nothing shows 0 or a dash
            yield _Row(
                quantity,
                index,
                f"{r.name} {key} {pin}",
                value * scale,
                deviation * scale,
                terminal=pins.index(pin),
                load=r.load_ohms,
                meter_range=common_offset(meter, indication),
            )
    for (a, b), indication in r.sensor_ohms.items():
        yield _Row(
            Quantity.SENSOR_OHM,
            index,
            f"{r.name} sensor_ohms {a}-{b}",
            np.inf if indication.over_range else indication.value,
            standard_uncertainty(meter, "sensor_ohms", indication),
            terminal=pins.index(a),
            other=pins.index(b),
        )
    yield from _of_round(job, r, index)


def _is_elsewhere(job: Job, temperature: str) -> bool:
    """Whether a reported temperature is noted for comparison, beside the one whose wire is here.

    The wire's own is the one that the control unit's volts are noted of.
    """
    noted = {name for r in job.rounds for name in r.scan}
    others = {name for name in REPORTED_TEMPERATURES if name != temperature}
    return f"{temperature} volts" not in noted and any(f"{name} volts" in noted for name in others)


def _of_round(job: Job, r: Round, index: int) -> Iterator[_Row]:
    for key, quantity in (
        ("battery_volts", Quantity.BATTERY),
        ("black_lead_check", Quantity.LEAD_CHECK),
    ):
        indication: Indication | None = getattr(r, key)
        if indication is not None and not indication.over_range:
            deviation = standard_uncertainty(job.meter, key, indication)
            if r.key == "crank":
                deviation = while_cranking(deviation, indication)
            yield _Row(
                quantity,
                index,
                f"{r.name} {key}",
                indication.value,
                deviation,
                meter_range=common_offset(job.meter, indication),
            )
    if r.ambient_celsius is not None:
        label = f"{r.name} ambient_celsius"
        yield _Row(Quantity.AMBIENT, index, label, r.ambient_celsius, AMBIENT_CELSIUS)
    for name, indication in r.scan.items():
        label, base = f"{r.name} scan {name}", name.removesuffix(" volts").removesuffix(" hertz")
        reported = SCAN_NAMES.index(base) if base in _REPORTED else -1
        if name == "control unit supply":
            yield _Row(Quantity.BATTERY, index, label, indication.value, 0.25)
        elif reported >= 0 and name.endswith(" volts"):
            yield _Row(
                Quantity.INPUT_VOLTS,
                index,
                label,
                indication.value,
                REPORTED_VOLT,
                reported=reported,
            )
        elif name in REPORTED_TEMPERATURES:
            if _is_elsewhere(job, name):
                continue
            yield _Row(
                Quantity.INPUT_CELSIUS,
                index,
                label,
                indication.value,
                REPORTED_CELSIUS,
                reported=reported,
            )
        elif reported >= 0:
            yield _Row(Quantity.REPORTED, index, label, 0.0, UNIT_DENSITY, reported=reported)
