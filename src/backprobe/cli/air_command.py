"""`backprobe air`: the air that an engine takes, and what it says of its air-mass sensor."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from backprobe.services.air_check import AirAnswer
    from backprobe.services.air_input import AirCase
    from backprobe.services.air_quick_checks import QuickCheck

NO = 1
_POINT = '"780 rpm, 34 kPa, 32 degC, 3.2 g/s, 5 %" (the last is short and long fuel trim together).'


def air(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A job file (.toml), or a log: text or ASAM MDF 4."),
    ] = None,
    displacement: Annotated[str, typer.Option(help='Of all cylinders: "2.0", "1598 cm3".')] = "",
    speed: Annotated[str, typer.Option(help='Engine speed: "800".')] = "",
    pressure: Annotated[str, typer.Option(help='Manifold, absolute: "35 kPa".')] = "",
    temperature: Annotated[str, typer.Option(help='Intake air: "30 degC".')] = "",
    flow: Annotated[str, typer.Option(help='What the sensor says: "3.2 g/s".')] = "",
    trim: Annotated[str, typer.Option(help='Short and long fuel trim together: "+5 %".')] = "",
    point: Annotated[
        list[str] | None, typer.Option(help=f"One more point, may be repeated: {_POINT}")
    ] = None,
    fuel: Annotated[str, typer.Option(help="petrol, diesel, lpg, cng or ethanol.")] = "",
    induction: Annotated[str, typer.Option(help="natural or forced.")] = "",
    cycle: Annotated[str, typer.Option(help="four-stroke or two-stroke.")] = "",
    barometer: Annotated[str, typer.Option(help='Of the day: "98.7 kPa".')] = "",
    height: Annotated[str, typer.Option(help="Above sea level, m, for want of a barometer.")] = "",
    humidity: Annotated[str, typer.Option(help='Relative, of the air outside: "60 %".')] = "",
    recirculation_shut: Annotated[
        bool, typer.Option("--recirculation-shut", help="It was seen shut, or there is none.")
    ] = False,
    standing: Annotated[
        list[str] | None,
        typer.Option(help='Key on, engine standing, may be repeated: "manifold 99 kPa".'),
    ] = None,
    soaked: Annotated[
        list[str] | None,
        typer.Option(help='After a cold soak, may be repeated: "coolant 18 degC".'),
    ] = None,
    hours: Annotated[float, typer.Option(min=0.0, help="Hours of that soak.")] = 8.0,
    mapping: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Which series of the log is which (TOML), as of `log`."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Write a picture to this file.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on one line.")] = False,
) -> None:
    """Calculate an engine's air, and say whether its air-mass sensor can be right.

    Exit status 0: answered, also with "can't tell". 1: something isn't in order. 2: unusable.
    """
    from backprobe.errors import UsageError
    from backprobe.services.air_check import check_air
    from backprobe.services.air_entry import TypedEngine, parse_humidity

    checks = _standing(standing or [], soaked or [], hours, height)
    fields = {
        "speed": speed,
        "pressure": pressure,
        "temperature": temperature,
        "flow": flow,
        "trim": trim,
    }
    if file is not None and (point or any(fields.values())):
        raise UsageError(
            "A file and typed points are two things.", str(file), "Give one or the other."
        )
    answer: AirAnswer | None = None
    if file is not None or point or any(fields.values()):
        engine = TypedEngine(displacement, fuel, induction, cycle)
        outside = (barometer, height)
        case = (
            _of_file(file, engine, outside, recirculation_shut, mapping)
            if file is not None
            else _typed(engine, fields, point or [], outside, recirculation_shut)
        )
        if humidity:
            case = replace(case, humidity=parse_humidity(humidity))
        answer = check_air(case)
    if answer is None and not checks:
        raise UsageError(
            "There is nothing to check.",
            remedy="Give a job file, a log, or speed, pressure, temperature and flow.",
        )
    _tell(answer, checks, plot, as_json=as_json)
    is_wrong = any(check.verdict == "wrong" for check in checks)
    if is_wrong or (answer is not None and not answer.is_sound and not _is_open(answer)):
        raise typer.Exit(NO)


def _is_open(answer: AirAnswer) -> bool:
    from backprobe.core.engine.sensor_comparison import CANT_TELL

    return answer.verdict == CANT_TELL


def _typed(
    engine: Any, fields: dict[str, str], points: list[str], outside: tuple[str, str], shut: bool
) -> AirCase:
    from backprobe.services.air_entry import parse_engine, parse_point, split_point, typed_case

    rows = ([fields] if any(fields.values()) else []) + [split_point(each) for each in points]
    readings = tuple(parse_point(row, f"point {i}") for i, row in enumerate(rows, start=1))
    return typed_case(
        parse_engine(engine),
        readings,
        barometer=outside[0],
        height=outside[1],
        recirculation_shut=shut,
    )


def _of_file(
    file: Path, engine: Any, outside: tuple[str, str], shut: bool, mapping: Path | None
) -> AirCase:
    from backprobe.cli.log_command import mapping_in
    from backprobe.job.job_file import read_job
    from backprobe.recordings.log_reading import read_log
    from backprobe.services.air_entry import outside_pressure, parse_engine, with_typed_engine
    from backprobe.services.air_input import case_of_job, case_of_log

    known = outside_pressure(*outside)[0]
    if file.suffix.lower() == ".toml":
        job = with_typed_engine(read_job(file), engine)
        return case_of_job(job, recirculation_shut=shut, barometer=known)
    log = read_log(file, mapping_in(mapping))
    return case_of_log(log, parse_engine(engine), recirculation_shut=shut, barometer=known)


def _standing(
    pressures: list[str], temperatures: list[str], hours: float, height: str
) -> list[QuickCheck]:
    from backprobe.services.air_entry import parse_height, parse_named
    from backprobe.services.standing_checks import pressures_check, soak_check

    found = []
    if pressures:
        shown = dict(parse_named(each, "kilopascal") for each in pressures)
        found.append(pressures_check(shown, parse_height(height) if height else None))
    if temperatures:
        found.append(soak_check(dict(parse_named(t, "celsius") for t in temperatures), hours))
    return found


def _tell(
    answer: AirAnswer | None, checks: list[QuickCheck], plot: Path | None, *, as_json: bool
) -> None:
    if plot is not None and answer is not None:
        from backprobe.cli.writing import write_svg
        from backprobe.services.pictures.air_picture import air_picture

        write_svg(plot, air_picture(answer.rows, ink="#111", paper="#fff"))
    if as_json:
        from backprobe.services.air_json import air_json

        sys.stdout.write(json.dumps(air_json(answer, checks), allow_nan=False) + "\n")
        return
    from backprobe.cli.air_page import air_page
    from backprobe.cli.terminal import output_console, show

    show(output_console(), air_page(answer, checks))
