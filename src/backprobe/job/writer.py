"""From a job to the text of a job file that people like to read."""

import json
from collections.abc import Iterable, Mapping
from typing import Final

from backprobe.job.model import (
    LOAD_OHMS,
    Code,
    Connector,
    Engine,
    Fitted,
    Indication,
    Job,
    Meter,
    Round,
    Vehicle,
)
from backprobe.vocabulary import FORMAT

_Line = tuple[str, str]  # key and value, both as TOML
# Readings at each pin; the others stand with what belongs to them.
_AT_PINS: Final = (
    *("volts", "volts_high", "volts_low", "level_high", "level_low"),
    *("volts_ac", "hertz", "duty_percent"),
)


def write_job(job: Job) -> str:
    """Write a job as a job file; what was not noted is left out.

    Reading the text gives the same job again.
    """
    blocks = [
        f"format = {FORMAT}",
        _block("[job]", _job_lines(job)),
        _optional("[vehicle]", _vehicle_lines(job.vehicle)),
        _optional("[vehicle.engine]", _engine_lines(job.vehicle.engine)),
        *(_block("[[code]]", _code_lines(code)) for code in job.codes),
        _block("[meter]", _meter_lines(job.meter)),
        *_connector_blocks(job.connector),
        *(_block("[[round]]", _round_lines(each)) for each in job.rounds),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def text(value: str) -> str:
    """Quote a text for TOML; one of several lines stays on several lines."""
    lines = [_escaped(line) for line in value.split("\n")]
    if len(lines) == 1:
        return f'"{lines[0]}"'
    return '"""\n' + "\n".join(lines) + '"""'


def _escaped(line: str) -> str:
    # JSON escapes what TOML wants escaped, except the delete character.
    return json.dumps(line, ensure_ascii=False)[1:-1].replace("\x7f", "\\u007f")


def number(value: float) -> str:
    """Write a number in as few signs as give it back exactly."""
    return f"{int(value)}" if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _block(heading: str, lines: Iterable[_Line]) -> str:
    return "\n".join([heading, *(f"{key} = {value}" for key, value in lines)])


def _optional(heading: str, lines: list[_Line]) -> str:
    return _block(heading, lines) if lines else ""


def _texts(pairs: Mapping[str, str]) -> list[_Line]:
    return [(key, text(value)) for key, value in pairs.items() if value]


def _numbers(pairs: Mapping[str, float | None]) -> list[_Line]:
    return [(key, number(value)) for key, value in pairs.items() if value is not None]


def _job_lines(job: Job) -> list[_Line]:
    lines = [
        ("title", text(job.title)),
        *_texts({"complaint": job.complaint, "recent_work": job.recent_work}),
    ]
    if job.opened is not None:
        lines.append(("opened", job.opened.isoformat()))
    return lines + _texts({"technician": job.technician})


def _code_lines(code: Code) -> list[_Line]:
    lines = [("code", text(code.code)), ("status", text(code.status))]
    if code.freeze_frame:
        pairs = (f"{text(name)} = {text(value)}" for name, value in code.freeze_frame.items())
        lines.append(("freeze_frame", f"{{ {', '.join(pairs)} }}"))
    return lines


def _vehicle_lines(vehicle: Vehicle) -> list[_Line]:
    return [
        *_texts({"description": vehicle.description, "vin": vehicle.vin}),
        *_numbers({"odometer_km": vehicle.odometer_km}),
    ]


def _engine_lines(engine: Engine) -> list[_Line]:
    return [
        *_numbers({"displacement_l": engine.displacement_l, "cylinders": engine.cylinders}),
        *_texts({"cycle": engine.cycle, "fuel": engine.fuel, "induction": engine.induction}),
    ]


def _meter_lines(meter: Meter) -> list[_Line]:
    ohms = meter.input_resistance
    is_plain = ohms % 1e6 == 0 and ohms < 1e9
    return [
        ("counts", number(meter.counts)),
        *_texts(
            {
                "dc_volts": meter.dc_volts,
                "ac_volts": meter.ac_volts,
                "ohms": meter.ohms,
                "hertz": meter.hertz,
            }
        ),
        ("input_resistance", text(f"{ohms / 1e6:.0f} Mohm") if is_plain else number(ohms)),
    ]


def _connector_blocks(connector: Connector) -> list[str]:
    terminals = (
        [
            ("pin", text(terminal.pin)),
            *_texts({"colour": terminal.colour, "diagram": terminal.diagram}),
        ]
        for terminal in connector.terminals
    )
    return [
        _block("[connector]", [("name", text(connector.name)), ("kind", text(connector.kind))]),
        *(_block("[[connector.terminal]]", lines) for lines in terminals),
    ]


def _round_lines(each: Round) -> list[_Line]:
    pairs = {f"{a}-{b}": reading for (a, b), reading in each.sensor_ohms.items()}
    return [
        ("name", text(each.name)),
        ("plugged", "true" if each.plugged else "false"),
        ("key", text(each.key)),
        *([("rpm", number(each.rpm))] if each.rpm else []),
        *_texts({"action": each.action, "black_lead": each.black_lead}),
        *_single("battery_volts", each.battery_volts),
        *_single("black_lead_check", each.black_lead_check),
        *_numbers({"ambient_celsius": each.ambient_celsius}),
        *(line for key in _AT_PINS for line in _readings(key, getattr(each, key))),
        *_readings("sensor_ohms", pairs),
        *_readings("harness_ohms", each.harness_ohms),
        *([("load_ohms", number(each.load_ohms))] if _tells_load(each) else []),
        *_readings("volts_loaded", each.volts_loaded),
        *([("fitted", _fitted(each.fitted))] if each.fitted else []),
        *_readings("scan", {text(name): value for name, value in each.scan.items()}),
        *_texts({"void": each.void, "note": each.note}),
    ]


def _tells_load(each: Round) -> bool:
    return bool(each.volts_loaded) or each.load_ohms != LOAD_OHMS


def _single(key: str, reading: Indication | None) -> list[_Line]:
    return [] if reading is None else [(key, _indication(reading))]


def _readings(key: str, readings: Mapping[str, Indication]) -> list[_Line]:
    if not readings:
        return []
    pairs = ", ".join(f"{name} = {_indication(value)}" for name, value in readings.items())
    return [(key, f"{{ {pairs} }}")]


def plain_value(reading: Indication) -> str | float:
    """A reading as it stands in a file: its text where it was written as one, else a number."""
    if reading.written:
        return reading.written
    # 5.0 looks like a reading, 5 like a setting; large ohms are easier without the point.
    is_short = 100 <= abs(reading.value) < 1e15 and reading.value == int(reading.value)
    return int(reading.value) if is_short else float(reading.value)


def _indication(reading: Indication) -> str:
    value = plain_value(reading)
    return text(value) if isinstance(value, str) else repr(value)


def _fitted(fitted: Iterable[Fitted]) -> str:
    each = (
        f"{{ from = {text(one.start)}, to = {text(one.end)}, ohms = {number(one.ohms)} }}"
        for one in fitted
    )
    return f"[{', '.join(each)}]"
