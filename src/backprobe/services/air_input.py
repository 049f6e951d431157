"""What an air check is given, in the units of readings, from forms, jobs and logs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.steady_spans import merged_spans, on_one_clock, steady_spans
from backprobe.errors import QuantityError, RecordingError, ValueOutOfRange
from backprobe.job.model import Engine, Indication, Job, Round
from backprobe.quantities import parse_quantity
from backprobe.recordings.log import Log

NAN: Final = math.nan
# Where the barometer isn't known: sea level less the weather and a few hundred metres.
USUAL_BAROMETER: Final = 98.0
_HEIGHT_UNKNOWN: Final = 4.0  # kPa, standard uncertainty of that
# Quantities of a log in the words of the job file, in the order of the table's columns.
QUANTITIES: Final = (
    "engine speed",
    "manifold pressure",
    "air mass flow",
    "intake air temperature",
    "barometric pressure",
    "lambda",
    "fuel rate",
    "short fuel trim bank 1",
    "long fuel trim bank 1",
    "short fuel trim bank 2",
    "long fuel trim bank 2",
)
# Other names under which the same stands in logs.
_OTHER_NAMES: Final[dict[str, str]] = {
    "short fuel trim": "short fuel trim bank 1",
    "long fuel trim": "long fuel trim bank 1",
    "lambda bank 1 sensor 1": "lambda",
}
# From a log's unit to the unit of readings: factor and offset.
_UNITS: Final[dict[str, tuple[float, float]]] = {
    "g/s": (1.0, 0.0),
    "kg/h": (1.0 / 3.6, 0.0),
    "kPa": (1.0, 0.0),
    "hPa": (0.1, 0.0),
    "mbar": (0.1, 0.0),
    "bar": (100.0, 0.0),
    "Pa": (1e-3, 0.0),
    "degF": (5.0 / 9.0, -160.0 / 9.0),
    "K": (1.0, -273.15),
}


@dataclass(frozen=True, slots=True)
class AirReading:
    """One steady point as it was read; NaN where something wasn't.

    Parameters
    ----------
    name : str
        How it is spoken of: "round A", "12 s".
    speed : float
        1/min.
    pressure : float
        Absolute, in the manifold, kPa.
    temperature : float
        Of the intake air, °C.
    flow : float
        The sensor's, g/s; NaN where only the calculation is asked for.
    barometer : float
        kPa.
    trim : float
        Short and long fuel trim together, %.
    fuel_rate : float
        L/h.
    lambda_value : float
        Measured or commanded air number.
    digit : float
        Size of the last digit of the flow, g/s.
    wander : float
        Standard deviation of its mean, g/s.
    """

    name: str
    speed: float
    pressure: float
    temperature: float
    flow: float = NAN
    barometer: float = NAN
    trim: float = NAN
    fuel_rate: float = NAN
    lambda_value: float = NAN
    digit: float = 0.01
    wander: float = 0.0


@dataclass(frozen=True, slots=True)
class AirCase:
    """An engine with its points, and what had to be assumed.

    Parameters
    ----------
    engine : Engine
        With a displacement.
    readings : tuple of AirReading
        Steady points.
    recirculation_shut : bool
        Exhaust recirculation was seen shut, or there is none.
    barometer_uncertainty : float
        kPa.
    remarks : tuple of str
        What was assumed or left out, as whole sentences.
    humidity : float
        Relative humidity of the air outside, 0 to 1; NaN where it isn't known.
    snap : AirReading or None
        The highest flow of a log, with the highest speed near it.
    """

    engine: Engine
    readings: tuple[AirReading, ...]
    recirculation_shut: bool = False
    barometer_uncertainty: float = 1.0
    remarks: tuple[str, ...] = ()
    humidity: float = NAN
    snap: AirReading | None = None


def require_engine(engine: Engine) -> Engine:
    """Take an engine for the check: its size has to be known, the rest is the commonest."""
    if not engine.displacement_l:
        raise ValueOutOfRange(
            "Without the engine's displacement no air can be calculated.",
            where="engine",
            remedy="Give the displacement in litres, such as 1.6; the vehicle's papers have it.",
        )
    return replace(
        engine,
        cycle=engine.cycle or "four-stroke",
        fuel=engine.fuel or "petrol",
        induction=engine.induction or "natural",
    )


def case_of_job(job: Job, *, recirculation_shut: bool = False, barometer: float = NAN) -> AirCase:
    """Take the points from a job's rounds: what the control unit reported with the engine running.

    A round with the key on and the engine standing gives the barometer: the manifold is then at the
    pressure of the air outside.
    """
    engine = require_engine(job.vehicle.engine)
    rounds = [each for each in job.rounds if not each.void]
    outside = _barometer(rounds) if math.isnan(barometer) else barometer
    readings = tuple(
        replace(_of_round(each), barometer=outside) for each in rounds if _is_point(each)
    )
    if not readings:
        raise ValueOutOfRange(
            "No round has the engine running with what an air check needs.",
            where=job.title,
            remedy=(
                "With the engine running steadily, enter the control unit's values for air mass"
                " flow, manifold pressure, intake air temperature and engine speed in one round."
            ),
        )
    return with_barometer(AirCase(engine, readings, recirculation_shut))


def _is_point(taken: Round) -> bool:
    needed = ("air mass flow", "manifold pressure", "intake air temperature")
    has_speed = taken.rpm > 0 or "engine speed" in taken.scan
    is_steady = taken.action in {"", "wiggle"}
    return taken.key == "run" and has_speed and is_steady and all(n in taken.scan for n in needed)


def _of_round(taken: Round) -> AirReading:
    flow = taken.scan["air mass flow"]
    speed = taken.scan.get("engine speed", Indication(taken.rpm))
    return AirReading(
        f"round {taken.name}",
        speed.value,
        taken.scan["manifold pressure"].value,
        taken.scan["intake air temperature"].value,
        flow.value,
        digit=_digit(flow),
    )


def _barometer(rounds: Iterable[Round]) -> float:
    still = [
        each.scan["manifold pressure"].value
        for each in rounds
        if each.key == "on" and each.rpm == 0 and "manifold pressure" in each.scan
    ]
    return still[-1] if still else NAN


def _digit(flow: Indication) -> float:
    """Size of the last digit that was written, g/s."""
    try:
        size = parse_quantity(flow.written or flow.value, "gram per second").digit_size
    except QuantityError:
        size = None
    return size or 0.01


def case_of_log(
    log: Log, engine: Engine, *, recirculation_shut: bool = False, barometer: float = NAN
) -> AirCase:
    """Take the points from a log: its steady spans, repeated points joined."""
    known = require_engine(engine)
    times, values = _columns(log)
    missing = [
        name
        for name, at in zip(QUANTITIES[:4], times, strict=False)
        if len(at) == 0 and name != "intake air temperature"
    ]
    if missing:
        raise RecordingError(
            f"The log has no {' and no '.join(missing)}.",
            where=log.source,
            remedy="Log air mass flow, manifold pressure, engine speed and intake air temperature.",
        )
    clock, table = on_one_clock(times, values)
    spans = merged_spans(steady_spans(clock, table))
    if len(spans.start) == 0:
        raise RecordingError(
            "The engine isn't steady anywhere in this log.",
            where=log.source,
            remedy="Hold it for five seconds or more at idle, at 2500 rpm and under steady load.",
        )
    readings = tuple(
        _of_span(spans.start[i], spans.means[i], spans.wander[i]) for i in range(len(spans.start))
    )
    if not math.isnan(barometer):
        readings = tuple(replace(each, barometer=barometer) for each in readings)
    remarks = (*log.remarks, *_assumed_temperature(readings))
    readings = tuple(
        replace(each, temperature=25.0) if math.isnan(each.temperature) else each
        for each in readings
    )
    case = AirCase(
        known, readings, recirculation_shut, remarks=remarks, snap=_snap(clock, table, readings)
    )
    return with_barometer(case)


def _assumed_temperature(readings: tuple[AirReading, ...]) -> tuple[str, ...]:
    if not any(math.isnan(each.temperature) for each in readings):
        return ()
    return ("The intake air temperature isn't logged; 25 °C is taken, so all is 5 % less certain.",)


def _columns(log: Log) -> tuple[list[Array], list[Array]]:
    found: Mapping[str, tuple[Array, Array]] = {
        _OTHER_NAMES.get(each.quantity, each.quantity): (each.times, _plain(each.values, each.unit))
        for each in reversed(log.series)  # the first of a quantity stands
        if len(each.times)
    }
    none = (np.zeros(0), np.zeros(0))
    pairs = [found.get(name, none) for name in QUANTITIES]
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


def _plain(values: Array, unit: str) -> Array:
    factor, offset = _UNITS.get(unit, (1.0, 0.0))
    return np.asarray(values * factor + offset)


def _of_span(start: float, means: Array, wander: Array) -> AirReading:
    flows, trims = means[:7].tolist(), means[7:].reshape(2, 2)
    speed, pressure, flow, temperature, barometer, number, rate = flows
    return AirReading(
        f"{start:.0f} s",
        speed,
        pressure,
        temperature,
        flow,
        barometer,
        _total_trim(trims),
        rate,
        number,
        wander=float(wander[2]),
    )


def _total_trim(trims: Array) -> float:
    """Short and long together, the mean of the banks; trims of shape (n_bank, 2)."""
    totals = [float(np.nansum(bank)) for bank in trims if np.isfinite(bank).any()]
    return float(np.mean(totals)) if totals else NAN


def _snap(clock: Array, table: Array, readings: tuple[AirReading, ...]) -> AirReading | None:
    """The highest flow, where it stands out of the steady points."""
    flow = np.where(np.isfinite(table[:, 2]), table[:, 2], 0.0)
    place = int(np.argmax(flow))
    if flow[place] <= 1.3 * max(each.flow for each in readings):
        return None
    near = np.abs(clock - clock[place]) <= 2.0
    warm = [each.temperature for each in readings if not math.isnan(each.temperature)]
    return AirReading(
        f"{clock[place]:.0f} s",
        float(np.nanmax(table[near, 0])),
        float(np.nanmax(table[near, 1])),
        warm[0] if warm else 25.0,
        float(flow[place]),
    )


def with_barometer(case: AirCase) -> AirCase:
    """Put a usual barometer where none is known, and say so."""
    if not any(math.isnan(each.barometer) for each in case.readings):
        return case
    known = [each.barometer for each in case.readings if not math.isnan(each.barometer)]
    most = max(each.pressure for each in case.readings)
    charged = case.engine.induction == "forced"
    taken = known[0] if known else USUAL_BAROMETER if charged else max(USUAL_BAROMETER, most)
    readings = tuple(
        replace(each, barometer=taken) if math.isnan(each.barometer) else each
        for each in case.readings
    )
    if known:
        return replace(case, readings=readings)
    said = (
        f"The barometer isn't known; {taken:.0f} kPa is taken. With the key on and the engine"
        " standing the manifold pressure shows it."
    )
    return replace(
        case,
        readings=readings,
        barometer_uncertainty=_HEIGHT_UNKNOWN,
        remarks=(*case.remarks, said),
    )
