"""Measures all parts, or those named: `python -m bench circuits readings commands`."""

import sys
from collections.abc import Callable

from bench import air, answers, captures, circuits, logs, signals, store, waveform, web
from bench.report import Measured, show

PARTS: dict[str, tuple[str, Callable[[], list[Measured]]]] = {
    "circuits": ("Solving circuits", circuits.measure),
    "readings": (
        "From a new reading to the answer, one core, the bank being there",
        answers.measure_readings,
    ),
    "commands": ("Whole commands", answers.measure_commands),
    "signals": ("Captured signals: false alarms and misses", signals.measure),
    "captures": ("Recordings of an oscilloscope (1 GB as float32)", captures.measure),
    "store": ("Jobs in the data base (SQLite)", store.measure),
    "air": ("The air check on engines with a hidden truth", air.measure),
    "logs": ("Logs of control-unit values", logs.measure),
    "waveform": ("Pulses of long captures", waveform.measure),
    "web": ("Pages under load, on this machine alone", web.measure),
}


def main(names: list[str]) -> int:
    """Measure and print; status 1 where a target is missed."""
    unknown = [name for name in names if name not in PARTS]
    if unknown:
        sys.stderr.write(f"No part {', '.join(unknown)}; there are {', '.join(PARTS)}.\n")
        return 2
    is_met = True
    for name in names or PARTS:
        title, measure = PARTS[name]
        rows = measure()
        show(title, rows)
        is_met &= all(row.is_met for row in rows)
    return 0 if is_met else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
