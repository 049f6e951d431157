"""The words of the air check."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from backprobe.core.engine.calculated_air import CalculatedAir
from backprobe.core.engine.humid_air import ZERO_CELSIUS, dry_air_share
from backprobe.core.engine.operating_point import AirPoints
from backprobe.core.engine.sensor_comparison import CANT_TELL, NOT_IN_ORDER, Comparison, Explanation
from backprobe.core.engine.sensor_faults import (
    CONTAMINATED,
    ENGINE,
    FUEL,
    HIGH,
    IN_ORDER,
    LOW,
    OFFSET,
    OTHER,
    UNMETERED,
)
from backprobe.services.air_input import AirCase
from backprobe.services.telling import listed
from backprobe.services.words import percent

CAUTIONS: Final = (
    (
        "The engine runs: brakes on, out of gear, exhaust led away; hands, leads and clothes clear"
        " of belts and fans, which start by themselves."
    ),
    (
        "On the road a second person reads, or the log is read afterwards. Obey the limits; the"
        " maker's instructions and local rules come first."
    ),
)
_SHORT: Final[dict[str, str]] = {
    IN_ORDER: "the sensor is in order",
    LOW: "the sensor reads low everywhere",
    HIGH: "the sensor reads high everywhere",
    OFFSET: "the sensor reads a fixed amount off",
    CONTAMINATED: "the sensor is dirty: too much at idle, too little under load",
    UNMETERED: "air gets in past the sensor",
    ENGINE: "the engine breathes badly and the sensor tells the truth",
    FUEL: "sensor and engine agree and the fuel is wrong",
    OTHER: "something else, or one of the other sensors is wrong",
}


def headline(comparison: Comparison) -> str:
    """The answer in a sentence."""
    top = comparison.explanations[0]
    if comparison.verdict == CANT_TELL:
        most = [_SHORT[each.name] for each in comparison.explanations[:3] if each.probability > 0.1]
        return f"Can't tell with this: it may be that {listed(most, 'or')}."
    if comparison.verdict == NOT_IN_ORDER:
        wrong = [e for e in comparison.explanations if e.name != IN_ORDER and e.probability > 0.1]
        return f"Not in order: {listed([_SHORT[e.name] for e in wrong[:3]], 'or')}."
    words = _SHORT[comparison.verdict]
    return f"{words[0].upper()}{words[1:]} ({percent(top.probability)})."


def reason_words(each: Explanation) -> str:
    """One explanation with what it would do and what it would come from."""
    says = _SHORT[each.name]
    says = f"{says[0].upper()}{says[1:]}"
    if math.isnan(each.size):
        return says + _WITHOUT_SIZE[each.name]
    return f"{says}, {_DETAILS[each.name](each)}"


def _of_true(each: Explanation) -> str:
    return f"{_percents(each.low, each.high)} of the true air"


def _leak(each: Explanation) -> str:
    hole = f"{_millimetres(each.low)} to {_millimetres(each.high)} mm"
    amount = f"{each.low:.2g} to {each.high:.2g} g/s at idle"
    return f"{amount}, a hole of {hole}: hoses, gaskets, valves."


_WITHOUT_SIZE: Final[dict[str, str]] = {
    IN_ORDER: ": its air is an amount that this engine takes.",
    FUEL: ": its pressure, the injectors, tank vapour.",
    OTHER: ".",
}
_DETAILS: Final[dict[str, Callable[[Explanation], str]]] = {
    LOW: lambda e: f"{_of_true(e)}: a dirty or wrong part, or a bad supply.",
    HIGH: lambda e: f"{_of_true(e)}: a wrong part, or backwards and disturbed flow.",
    OFFSET: lambda e: (
        f"by {e.low:+.2g} to {e.high:+.2g} g/s: a lifted ground adds, a weak feed takes away."
    ),
    CONTAMINATED: lambda e: f"{_of_true(e)} at full load.",
    UNMETERED: _leak,
    ENGINE: lambda e: (
        f"{_percents(e.low, e.high)} of a sound engine's air: valve timing, a blocked exhaust or"
        " intake."
    ),
}


def _percents(low: float, high: float) -> str:
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def _millimetres(grams: float) -> str:
    """Diameter of a round hole that passes so much with the flow choked, discharge 0.7."""
    # 241 kg/(m² s) at 101.3 kPa and 15 °C: White, Fluid Mechanics, ch. 9.
    area = 1e-3 * grams / (0.7 * 241.0)
    return f"{1e3 * math.sqrt(4.0 * area / math.pi):.1f}"


def limits_words(calculated: CalculatedAir, *, has_fuel: bool, case: AirCase) -> tuple[str, ...]:
    """What limits the answer, the most limiting first."""
    spread = calculated.relative_uncertainty
    best, worst = int(spread.argmin()), int(spread.argmax())
    # 90 %, told as a share of the flow.
    near, far = (100 * (math.exp(1.645 * spread[i]) - 1) for i in (best, worst))
    said = [
        f"The calculated air is known to {near:.0f} % at best and {far:.0f} % at worst"
        f" ({case.readings[worst].name}); what limits it there: "
        f"{listed(list(calculated.limited_by(worst))[:3])}."
        if len(spread) > 1
        else f"The calculated air is known to {near:.0f} % here; what limits it: "
        f"{listed(list(calculated.limited_by(best))[:3])}."
    ]
    if not has_fuel:
        said.append(
            "Without fuel trims, or fuel rate with lambda, a sensor that reads low looks like an"
            " engine that breathes badly."
        )
    if case.engine.fuel == "diesel" and not case.recirculation_shut:
        said.append(
            "Exhaust that is led back takes the place of up to half the air; with the valve seen"
            " shut far more can be told."
        )
    if case.engine.induction == "forced":
        said.append(
            "Under boost the charge is hotter than an intake sensor before the compressor shows."
        )
    return tuple(said)


def moisture_words(points: AirPoints, humidity: float) -> str:
    """How much of the air is dry, and what that means."""
    outside, barometer = float(points.temperature.min()), float(points.barometer[0])
    share = 100.0 * float(dry_air_share(min(outside, 318.15), barometer, humidity))
    return (
        f"At {outside - ZERO_CELSIUS:.0f} °C and {100 * humidity:.0f} % humidity {share:.1f} % of"
        " the air by mass is dry: the oxygen is that much less than the sensor's air says."
    )


def next_words(comparison: Comparison, case: AirCase, *, has_fuel: bool) -> tuple[str, ...]:
    """What to measure next, what tells most first."""
    if comparison.explanations[0].probability >= 0.99:
        return (_PROOF.get(comparison.verdict, "Nothing more is needed from the air."),)
    said = [_PROOF[comparison.verdict]] if comparison.verdict in _PROOF else []
    fuel = case.engine.fuel
    if comparison.verdict != FUEL and comparison.probability(FUEL) > 0.1:
        said.append(
            "Measure the fuel pressure under load: right, and the trims speak of the air; wrong,"
            " and the sensor may be sound."
        )
    if not has_fuel and fuel != "diesel":
        said.append(
            "Read short and long fuel trim at the same points, warm and in closed loop: they tell a"
            " sensor that reads wrong from an engine that breathes badly."
        )
    if fuel == "diesel" and not case.recirculation_shut:
        said.append("Have the recirculation valve closed and read again.")
    speeds = [each.speed for each in case.readings]
    loads = [each.pressure / each.barometer for each in case.readings]
    if max(loads) < 0.9:
        said.append(
            "Log a pull at full load from 2500 to 4500 rpm: there the engine's breathing is known"
            " best, and a dirty sensor shows most."
        )
    if not any(speed < 1100 for speed in speeds):
        said.append("Read at warm idle: an offset and air past the sensor show most there.")
    if not any(1800 <= speed <= 3000 for speed in speeds):
        said.append(
            "Read at 2500 rpm without load: what fades from idle to there is a fixed amount."
        )
    if case.barometer_uncertainty > 2.0:
        said.append("Read the manifold pressure with the key on and the engine standing.")
    return tuple(said[:4])


# Before a part is bought the fault should go away and come back.
_PROOF: Final[dict[str, str]] = {
    LOW: (
        "Prove it before a part is bought: supply and ground of the sensor under load, the part"
        " number, the element looked at; then the same points again."
    ),
    HIGH: (
        "Prove it before a part is bought: part number, filter and honeycomb in place, duct as it"
        " left the works; then the same points again."
    ),
    OFFSET: (
        "Measure the sensor's ground against battery negative with the engine running, and its"
        " signal with the key on and the engine standing."
    ),
    CONTAMINATED: "Look at the element; clean or change it and read the same points again.",
    UNMETERED: (
        "Find the place: smoke at low pressure, or listen. Close it and read the same points again."
    ),
    FUEL: (
        "Leave the sensor. Fuel pressure under load comes next, then injectors and purge; trims by"
        " speed and load split them."
    ),
    ENGINE: (
        "Leave the sensor. Compression, valve timing and exhaust back pressure come next; the"
        " maker's limits hold."
    ),
}
