"""Fill a new data base with the example jobs, one of them repaired, measured again and closed.

All of it is invented. A data base that is there already is left alone.
"""

from __future__ import annotations

import sys
from pathlib import Path

from backprobe.job import Connector, Engine, Round, Terminal, Vehicle, read_job
from backprobe.services.job_book import JobBook
from backprobe.services.proof import minimum_proof
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_intake import Placing, keep_file
from backprobe.store.engine import Store
from backprobe.store.record import JobHead
from backprobe.store.upgrade import upgrade
from scripts.demo_recordings import write_all

EXAMPLES = Path(__file__).parents[1] / "examples"
REPAIRED = "both-wires-at-five-volts"
FAULT = "open:sensor-ground"
# The same circuit with its return whole again: 2.2 kohm to 5.00 V, 3214 ohm at 14 degrees, so
# 5.00 V x 3214 / 5414 = 2.97 V; the return carries 0.9 mA.
AFTER = {
    "A": {
        ("battery_volts", ""): "12.55 V",
        ("black_lead_check", ""): "12.55 V",
        ("volts", "1"): "2.97 V",
        ("volts", "2"): "1.2 mV",
        ("scan", "coolant temperature"): "14 degC",
        ("scan", "coolant temperature volts"): "2.97 V",
    },
    "B": {
        ("battery_volts", ""): "12.52 V",
        ("black_lead_check", ""): "12.52 V",
        ("volts", "1"): "5.00 V",
        ("volts", "2"): "0.6 mV",
    },
}


def fill(book: JobBook) -> None:
    """Take all examples in, and carry one through to its end."""
    for file in sorted(EXAMPLES.glob("*.toml")):
        job_key, sheet_key = book.take_in(read_job(file))
        if file.stem == REPAIRED:
            repair(book, job_key, sheet_key)


def repair(book: JobBook, job_key: str, sheet_key: str) -> None:
    """Write down the outcome, read the same sheet again, close the job."""
    book.conclude(
        job_key,
        fault=FAULT,
        terminals=("2",),
        cause="The return wire was pinched under the gearbox bracket and had parted inside its "
        "insulation.",
        repair="Spliced in 20 cm of wire of the same gauge, sealed, clipped away from the bracket.",
        not_tested="Other sensors on the same return; the gauge at working temperature.",
        proof=(minimum_proof(FAULT),),
    )
    after = book.repeat_after_repair(sheet_key)
    for each in book.sheet(after)[2].rounds:
        for cell, written in AFTER[each.round.name].items():
            book.enter(each.key, cell, written)
    book.close(job_key)


# What was recorded, and the states it was recorded in.
CAPTURES = (
    ("air-mass-snap-fouled", "air-mass sensor", ("4",), "as found"),
    ("air-mass-snap-sound", "air-mass sensor", ("4",), "with a new element"),
    ("pedal-worn-track", "accelerator pedal", ("3", "6"), "swept twice, slowly"),
)
LOGS = (
    ("trims-unmetered-air", "as found, warm"),
    ("trims-after-repair", "after the hose was mended"),
)


def record(book: JobBook, folder: Path) -> None:
    """One job with captures and logs, computed anew from their physics."""
    files = {file.stem: file for file in write_all(folder)}
    engine = Engine(1.6, 4, "four-stroke", "petrol", "natural")
    job = book.begin(
        JobHead(
            title="Hesitates when pulling away, idles rough",
            complaint="Stumbles from standstill; the pedal does nothing for a moment",
            vehicle=Vehicle("1.6 litre petrol hatchback", engine=engine),
        )
    )
    rounds = {}
    for name, kind, pins, state in (
        (
            "air-mass sensor",
            "air-mass",
            "1234",
            Round(name="A", plugged=True, key="run", rpm=800.0, action="snap throttle"),
        ),
        (
            "accelerator pedal",
            "position",
            "123456",
            Round(name="A", plugged=True, key="on", action="sweep"),
        ),
    ):
        wires = tuple(Terminal(pin) for pin in pins)
        rounds[name] = book.add_round(book.add_sheet(job, Connector(name, kind, wires)), state)
    recordings = RecordingBook(book.store)
    for name, connector, places, caption in CAPTURES:
        placing = Placing("capture", round_key=rounds[connector], places=places, caption=caption)
        keep_file(recordings, files[name], job, placing)
    for name, caption in LOGS:
        keep_file(recordings, files[name], job, Placing("log", caption=caption))


def main(database: str) -> None:
    """Make the data base, unless it is there."""
    file = Path(database)
    if file.exists():
        return
    store = Store(str(file))
    upgrade(store)
    fill(JobBook(store))
    record(JobBook(store), file.parent / "recordings")
    store.close()
    sys.stdout.write(f"{file} holds the example jobs.\n")


if __name__ == "__main__":
    main(sys.argv[1])
