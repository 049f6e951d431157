"""Sheets of readings that the tests of planning share, and what is known after them."""

import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.job.job_file import read_job
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of

EXAMPLES = Path(__file__).parents[2] / "examples"


def taken(values: Mapping[str, float]) -> dict[str, Indication]:
    return {pin: Indication(value) for pin, value in values.items()}


def unplugged(
    name: str,
    volts: Mapping[str, float],
    *,
    loaded: Mapping[str, float] | None = None,
    battery: float | None = 12.6,
    check: float | None = 12.6,
) -> Round:
    """Key on, sensor hanging free."""
    return Round(
        name,
        plugged=False,
        key="on",
        battery_volts=None if battery is None else Indication(battery),
        black_lead_check=None if check is None else Indication(check),
        volts=taken(volts),
        volts_loaded=taken(loaded or {}),
    )


def job(pins: str, *rounds: Round) -> Job:
    terminals = tuple(Terminal(pin) for pin in pins)
    return Job("a sheet", Connector("connector", terminals=terminals), rounds=rounds)


# One round with a reading of nearly every kind.
FULL = Round(
    "A",
    plugged=False,
    key="on",
    battery_volts=Indication(12.6),
    black_lead_check=Indication(12.59),
    volts=taken({"1": 5.0, "2": 0.01}),
    volts_loaded=taken({"1": 1.56}),
    sensor_ohms={("1", "2"): Indication(math.inf, True, "OL")},
    hertz=taken({"1": 0.0}),
    duty_percent=taken({"1": 42.0}),
    load_ohms=1000.0,
)

SHEETS: dict[str, Job] = {
    # A pull-up of 2.2 kohm to 5 V: 1 kohm to ground leaves 5 x 1 / 3.2 = 1.56 V (Ohm's law).
    "thermistor": Job(
        "thermistor",
        Connector("connector", terminals=(Terminal("1"), Terminal("2"))),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                battery_volts=Indication(12.6),
                black_lead_check=Indication(12.6),
                volts=taken({"1": 5.0, "2": 0.003}),
                volts_loaded=taken({"1": 1.5625}),
                sensor_ohms={("1", "2"): Indication(2210.0)},
            ),
        ),
    ),
    "unplugged only": job("12", unplugged("A", {"1": 5.0, "2": 0.003})),
    "empty round": job("12", unplugged("A", {})),
    # Everything reads 0.28 V low, the ground below zero: the black lead stands on a lifted point.
    "unchecked and low": job(
        "123", unplugged("A", {"1": 4.72, "2": -0.28, "3": 4.70}, battery=None, check=None)
    ),
    # An unheated oxygen cell's bias and its grounded return.
    "cell": job("12", unplugged("A", {"1": 0.45, "2": 0.002})),
    "pick-up": job("12", unplugged("A", {"1": 1.8, "2": 1.8})),
}


@cache
def after(name: str) -> Posterior:
    """What is known after a sheet, or after an example's."""
    if name in SHEETS:
        return posterior_of(SHEETS[name])
    return posterior_of(read_job(EXAMPLES / f"{name}.toml"))
