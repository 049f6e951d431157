"""The vehicle, its trouble codes, and the instruments with what their data sheets promise."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from backprobe.core.instrument.ranges import digit_size, full_scale
from backprobe.core.instrument.uncertainty import half_width
from backprobe.errors import BackprobeError
from backprobe.job import Code, Meter, Vehicle
from backprobe.quantities import format_quantity, parse_accuracy
from backprobe.report.blocks import Block, Group, Section, facts, paragraph, points
from backprobe.report.input import ReportInput, day
from backprobe.services.identifiers import code_facts, vin_facts
from backprobe.services.telling import ALWAYS, capital

EXAMPLE_VOLT: Final = 5.0


def vehicle_section(source: ReportInput) -> Section:
    """What is known of the vehicle and of the visit."""
    head = source.record.head
    closed = source.record.closed_at
    rows = [
        ("Vehicle", head.vehicle.description),
        *_vin_rows(head.vehicle.vin, source.record.created_at.year + 1),
        ("Odometer", odometer_words(head.vehicle)),
        ("Engine", _engine(head.vehicle)),
        ("Work done lately", head.recent_work),
        ("Opened", day(head.opened) if head.opened else source.instant(source.record.created_at)),
        ("Closed", source.instant(closed) if closed else ""),
        ("Technician", head.technician),
    ]
    return Section("Vehicle and visit", facts(rows))


def _vin_rows(vin: str, latest_year: int) -> list[tuple[str, str]]:
    if not vin:
        return []
    try:
        found = vin_facts(vin, latest_year=latest_year)
    except BackprobeError as error:
        return [("VIN", vin), ("", f"Can't be read: {error.what}")]
    told = f"{found.region}. {found.check_digit_words} {found.model_year_words}"
    return [("VIN", found.vin), ("The VIN says", told)]


def odometer_words(vehicle: Vehicle) -> str:
    """Kilometres with their thousands apart; empty where they are unknown."""
    if vehicle.odometer_km is None:
        return ""
    return f"{vehicle.odometer_km:,.0f} km".replace(",", "\N{NO-BREAK SPACE}")


def _engine(vehicle: Vehicle) -> str:
    engine = vehicle.engine
    parts = [
        f"{engine.displacement_l:g} litres" if engine.displacement_l is not None else "",
        f"{engine.cylinders} cylinders" if engine.cylinders is not None else "",
        engine.cycle,
        engine.fuel,
        {"natural": "naturally aspirated", "forced": "charged"}.get(engine.induction, ""),
    ]
    return ", ".join(part for part in parts if part)


def codes_section(source: ReportInput) -> Section | None:
    """The trouble codes, what their structure says, and what was frozen with them."""
    groups = tuple(
        Group(f"{code.code}, {code.status}", (*_code(code),)) for code in source.record.head.codes
    )
    return Section("Trouble codes", groups) if groups else None


def _code(code: Code) -> Iterator[Block]:
    try:
        yield from paragraph(code_facts(code.code).words)
    except BackprobeError as error:
        yield from paragraph(f"Can't be read: {error.what}")
    if code.freeze_frame:
        yield from paragraph(
            "Freeze frame: what the control unit noted when the code was set", "small"
        )
        yield from facts((capital(name), value) for name, value in code.freeze_frame.items())


def instruments_section(source: ReportInput) -> Section:
    """The meter and its data sheet, and what that means for a reading of five volts."""
    head = source.record.head
    meter = head.meter
    ohms = format_quantity(meter.input_resistance, "ohm")
    rows = [
        ("Meter", head.meter_name),
        ("Display", f"{meter.counts} counts"),
        ("DC volts", f"\N{PLUS-MINUS SIGN}({meter.dc_volts}){at_five_volts(meter)}"),
        ("AC volts", f"\N{PLUS-MINUS SIGN}({meter.ac_volts})"),
        ("Ohms", f"\N{PLUS-MINUS SIGN}({meter.ohms})"),
        ("Hertz", f"\N{PLUS-MINUS SIGN}({meter.hertz})"),
        ("Input resistance", ohms if np.isfinite(meter.input_resistance) else "not limited"),
    ]
    explained = (
        "Limits of error by the meter's data sheet, as entered. Every statement below has allowed "
        "for them, and for what the meter's input resistance does to the circuit."
    )
    return Section("Instruments", (*facts(rows), *paragraph(explained, "small")))


def at_five_volts(meter: Meter) -> str:
    """The DC statement as a limit in volts at five volts; empty where it can't be read."""
    try:
        statement = parse_accuracy(meter.dc_volts, "volt")
        value = np.array(EXAMPLE_VOLT)
        digit = digit_size(value, meter.counts)
        limit = half_width(statement, value, digit, full_scale(value, meter.counts))
    except BackprobeError:
        return ""
    return f", that is \N{PLUS-MINUS SIGN}{format_quantity(float(limit), 'volt')} at 5 V"


def cautions_section(source: ReportInput) -> Section:
    """What to beware of when the readings are taken again."""
    told = dict.fromkeys(
        caution
        for stored in source.answers.values()
        for reading in stored.answer.next
        for caution in reading.cautions
    )
    return Section("Cautions", points((ALWAYS, *told)))
