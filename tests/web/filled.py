"""Jobs to look at: one with readings, and what a technician would type."""

from pathlib import Path

from backprobe.job import parse_job
from backprobe.services.answer import (
    Answer,
    CircuitAnswer,
    FaultAnswer,
    Measurement,
    Misfit,
    Reason,
    TerminalAnswer,
)
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store

EXAMPLES = Path(__file__).parents[2] / "examples"
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
WIRED = {"connector": "coolant sensor", "kind": "temperature", "wires": "1 YE/BK\n2 brown"}


def example(store: Store, name: str = "half-a-sheet") -> tuple[str, str]:
    """Take an example in; keys of its job and sheet."""
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    return JobBook(store).take_in(parse_job(text, name))


def hostile(store: Store) -> tuple[str, str]:
    """A job whose every free text is written to break a page."""
    text = f"""
format = 1
[job]
title = '''{HOSTILE}'''
complaint = '''{HOSTILE}'''
recent_work = '''{HOSTILE}'''
technician = '''{HOSTILE}'''
[vehicle]
description = '''{HOSTILE}'''
[[code]]
code = "P0117"
freeze_frame = {{ "<b>speed</b>" = "<i>812</i>" }}
[connector]
name = '''{HOSTILE}'''
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
[[round]]
name = "A"
plugged = false
key = "on"
volts = {{ 1 = "5.00" }}
note = '''{HOSTILE}'''
"""
    return JobBook(store).take_in(parse_job(text, "hostile"))


def answer() -> Answer:
    """An answer about two wires, as it would be worked out."""
    ground = {"sensor-ground": 0.97, "signal-thermistor": 0.03}
    signal = {"signal-thermistor": 0.97, "sensor-ground": 0.03}
    return Answer(
        file="",
        terminals=(
            TerminalAnswer("1", "signal-thermistor", 0.97, signal),
            TerminalAnswer("2", "sensor-ground", 0.97, ground),
        ),
        circuits=(CircuitAnswer("temperature, thermistor", 1.0),),
        faults=(
            FaultAnswer("open:sensor-ground", 0.91, ("2",)),
            FaultAnswer("sensor-open:signal-thermistor", 0.09, ("1",)),
        ),
        measurement=Measurement(0.99, {"A": 0.99}),
        estimates=(),
        misfit=Misfit(0.5),
        reasons=(
            Reason("fault open:sensor-ground", "A scan coolant temperature", 21.0, "It fits."),
        ),
        next=(),
    )
