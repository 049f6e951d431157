"""Jobs as the store gives them back, with answers, for the tests of the report."""

import io
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from backprobe.job import (
    Code,
    Connector,
    Engine,
    Indication,
    Job,
    Round,
    Terminal,
    Vehicle,
    write_job,
)
from backprobe.report import ReportInput
from backprobe.services.answer import (
    Answer,
    CircuitAnswer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    NextReading,
    Reason,
    RuledOut,
    TerminalAnswer,
)
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import Attachment, JobRecord, SheetRecord
from backprobe.store.upgrade import upgrade

PRINTED = datetime(2026, 3, 9, 17, 5, tzinfo=timezone(timedelta(hours=1)))
VIN = "1M8GDM9AXKP042788"
FAULT = "supply-low:supply-regulated"
LOUD = "A round of the black lead on paint"


def shown(text: str) -> Indication:
    number = float(text.split(maxsplit=1)[0])
    return Indication(number * (1e-3 if "mV" in text else 1.0), written=text)


def readings(**texts: str) -> dict[str, Indication]:
    return {pin: shown(text) for pin, text in texts.items()}


def job() -> Job:
    return Job(
        title="Three sensors read low at once",
        connector=Connector(
            "throttle position sensor",
            "position",
            (
                Terminal("A", "RD/WH", "supply-regulated"),
                Terminal("B", "BN/BU", "signal-analogue"),
                Terminal("C", "GN"),
            ),
        ),
        complaint="Limp mode after rain.",
        recent_work="Engine bay washed.",
        technician="T. Invented",
        vehicle=Vehicle("1.8 litre saloon", VIN, 123456.0, Engine(1.8, 4, "four-stroke", "petrol")),
        codes=(Code("P0122", "stored", {"engine speed": "812 rpm"}),),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                battery_volts=shown("12.60 V"),
                black_lead_check=shown("12.58 V"),
                volts=readings(A="3.12 V", B="5.2 mV", C="0.3 mV"),
                volts_loaded=readings(A="2.94 V"),
            ),
            Round("B", plugged=True, key="on", volts=readings(A="3.07 V", B="5.6 mV", C="0.404 V")),
        ),
    )


@cache
def record() -> JobRecord:
    """A job with a correction, a conflict, a void round, a repetition and an outcome."""
    with TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'jobs.sqlite3'}")
        upgrade(store)
        book = JobBook(store)
        key, sheet = book.take_in(job(), device="phone 1")
        first = book.job(key).sheets[0].rounds[0].key
        book.enter(first, ("volts", "A"), "3.21 V", device="phone 1")
        book.enter(first, ("volts", "A"), "3.13 V", device="laptop")
        book.enter(first, ("volts", "B"), "5.4 mV", seen=[], device="laptop")
        bad = Round("C", plugged=True, key="on", black_lead="engine block")
        void = book.add_round(sheet, bad, device="phone 1")
        book.enter(void, ("volts", "A"), "2.61 V", device="phone 1")
        book.void_round(void, LOUD, device="phone 1")
        book.set_aside(sheet, quantity="hertz", reason="the meter has no such range")
        again = book.repeat_after_repair(sheet, device="phone 1")
        for each in book.sheet(again)[2].rounds:
            book.enter(each.key, ("volts", "A"), "5.01 V", device="phone 1")
        book.conclude(
            key,
            fault=FAULT,
            terminals=["A"],
            cause="Water in the connector of another sensor.",
            repair="Connector dried, seal renewed.",
            not_tested="No road test in rain.",
            proof=["With the other sensor unplugged the supply rose to 5.01 V."],
        )
        found = book.job(key, with_events=True)
        store.close()
    return found


def answer(fault: str = FAULT) -> Answer:
    claim = f"fault {fault}"
    reason = Reason("terminal A is supply-regulated", "A volts_loaded A", 41.0, "2.94 V expected")
    return Answer(
        file="",
        terminals=(
            TerminalAnswer("A", "supply-regulated", 0.999, {"supply-regulated": 0.999}),
            TerminalAnswer("B", "sensor-ground", 0.97, {"sensor-ground": 0.97}),
            TerminalAnswer("C", "signal-analogue", 0.98, {"signal-analogue": 0.98}),
        ),
        circuits=(CircuitAnswer("position, potentiometer", 0.99),),
        faults=(FaultAnswer(fault, 0.91, ("A",)), FaultAnswer("none", 0.05)),
        measurement=Measurement(0.99, {"A": 0.99}, ("The battery is low in round A.",)),
        estimates=(Estimate("supply", "B", "", 3.11, 3.05, 3.18, "volt"),),
        misfit=Misfit(0.4),
        reasons=(reason,),
        next=(
            NextReading(
                True, "run", 800.0, "", "volts", "A", 0.4, 2.0, "", ("Mind belts and fans.",)
            ),
        ),
        ruled_out=(
            RuledOut("open:sensor-ground", ("B",), "B volts B", -51.0, "it would give 3.88 V"),
        ),
        evidence={
            claim: (Reason(claim, "A volts A", 18.0, "3.12 V where this expects 3.11 V"),),
            reason.claim: (reason,),
        },
    )


def stored(held: JobRecord, sheet: SheetRecord, said: Answer) -> StoredAnswer:
    at = datetime(2026, 3, 9, 15, 40, tzinfo=UTC)
    text = write_job(held.job_of(sheet))
    return StoredAnswer(said, text, {"whole": True}, {"backprobe": "0.1.0"}, at, 1.2, "a" * 64)


def source(
    held: JobRecord | None = None, photos: Mapping[str, tuple[str, bytes]] | None = None
) -> ReportInput:
    found = held or record()
    pairs = zip(found.sheets, (answer(), answer("none")), strict=False)
    answers = {sheet.key: stored(found, sheet, said) for sheet, said in pairs}
    return ReportInput(found, PRINTED, "0.1.0", answers, photos or {})


def with_photo(held: JobRecord) -> tuple[JobRecord, dict[str, tuple[str, bytes]]]:
    """The job with a photograph that tells where it was taken, and a file that is none."""
    exif = Image.Exif()
    exif[0x010E] = "taken in the yard"  # ImageDescription
    out = io.BytesIO()
    Image.new("RGB", (2000, 1000), "navy").save(out, "JPEG", exif=exif)
    at = datetime(2026, 3, 9, 12, tzinfo=UTC)
    good = Attachment("k1", "1" * 64, "image/jpeg", 9, "a.jpg", "Torn seal", at, "", "A", "B")
    bad = Attachment("k2", "2" * 64, "image/png", 9, "b.png", "Broken file", at)
    photos = {"k1": ("image/jpeg", out.getvalue()), "k2": ("image/png", b"nonsense")}
    return replace(held, attachments=(good, bad)), photos
