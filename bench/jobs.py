"""Jobs of two to eight terminals, reading by reading, as a technician would take them.

Invented vehicles; the readings are what sound circuits of the trade show at a meter.
"""

from dataclasses import dataclass

HEAD = """format = 1
[job]
title = "bench"
[connector]
name = "bench"
"""
ROUND = {
    "A": 'plugged = false\nkey = "on"\n',
    "B": 'plugged = true\nkey = "on"\n',
    "C": 'plugged = true\nkey = "run"\nrpm = 800\n',
}


@dataclass(frozen=True)
class Step:
    """One reading: its round, its table, its pin, and what the meter showed."""

    round: str
    quantity: str
    pin: str
    shown: str


def volts(name: str, *shown: str) -> list[Step]:
    """DC volts at pins 1, 2, 3 ... of a round."""
    return [Step(name, "volts", str(pin), text) for pin, text in enumerate(shown, start=1)]


STEPS: dict[int, list[Step]] = {
    # thermistor, 2.2 kohm pull-up, about 20 degrees
    2: [*volts("A", "5.01", "0.004"), *volts("B", "2.67", "0.006")],
    # pressure, ratiometric
    3: [
        *volts("A", "5.00", "0.003", "0.02"),
        *volts("B", "4.99", "0.005", "4.10"),
        *volts("C", "4.99", "0.008", "1.32"),
    ],
    # air mass, voltage, with thermistor, fed from 5 V
    4: [
        *volts("A", "5.01", "4.99", "0.012", "5.00"),
        Step("A", "volts_loaded", "1", "4.99"),
        *volts("B", "4.98", "1.00", "0.015", "2.60"),
        *volts("C", "4.98", "1.52", "0.017", "2.55"),
    ],
    # pedal with two tracks, each with its own supply and ground
    6: [
        *volts("A", "5.00", "0.003", "0.02", "5.00", "0.003", "0.02"),
        *volts("B", "4.99", "0.005", "0.74", "4.99", "0.005", "0.37"),
    ],
    # the same in a connector with two cavities that hold nothing
    8: [
        *volts("A", "5.00", "0.003", "0.02", "5.00", "0.003", "0.02", "0.00", "0.00"),
        *volts("B", "4.99", "0.005", "0.74", "4.99", "0.005", "0.37", "0.00", "0.00"),
    ],
}


def job_text(n_terminal: int, n_reading: int) -> str:
    """The job file with the first readings of the list."""
    parts = [HEAD]
    parts += [f'[[connector.terminal]]\npin = "{pin}"\n' for pin in range(1, n_terminal + 1)]
    taken = STEPS[n_terminal][:n_reading]
    for name in sorted({step.round for step in taken}):
        parts.append(f'[[round]]\nname = "{name}"\n{ROUND[name]}battery_volts = "12.58"\n')
        tables: dict[str, list[str]] = {}
        for step in taken:
            if step.round == name:
                tables.setdefault(step.quantity, []).append(f'{step.pin} = "{step.shown}"')
        parts += [f"{key} = {{ {', '.join(entries)} }}\n" for key, entries in tables.items()]
    return "\n".join(parts)
