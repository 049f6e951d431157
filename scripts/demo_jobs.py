"""Fill a new data base with the example jobs, one of them repaired, measured again and closed.

All of it is invented. A data base that is there already is left alone.
"""

from __future__ import annotations

import sys
from pathlib import Path

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.services.proof import minimum_proof
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade

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


def main(database: str) -> None:
    """Make the data base, unless it is there."""
    file = Path(database)
    if file.exists():
        return
    store = Store(str(file))
    upgrade(store)
    fill(JobBook(store))
    store.close()
    sys.stdout.write(f"{file} holds the example jobs.\n")


if __name__ == "__main__":
    main(sys.argv[1])
