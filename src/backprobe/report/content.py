"""What a report says, put together from a job as it stands; no layout, no clock, no file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from backprobe.report.answer_part import answer_sections, derivation_section
from backprobe.report.blocks import Report, Section, SignatureLines, facts, paragraph
from backprobe.report.customer_part import customer_sections
from backprobe.report.digest import EXPLAINED, digest_of
from backprobe.report.history_part import history_section
from backprobe.report.input import ReportInput, day
from backprobe.report.pictures import photographs
from backprobe.report.proof_part import (
    comparison_section,
    proof_section,
    untested_section,
    witnesses_section,
)
from backprobe.report.recordings_part import recordings_section
from backprobe.report.rounds_part import readings_sections
from backprobe.report.vehicle_part import (
    cautions_section,
    codes_section,
    instruments_section,
    odometer_words,
    vehicle_section,
)
from backprobe.services.telling import capital, listed

HASH_TITLE: Final = "Content hash"


def contents(source: ReportInput) -> Report:
    """Put together what the report of a job says."""
    head = source.record.head
    printed = (
        f"Printed {source.instant(source.printed_at)} (times in {source.zone}) "
        f"by backprobe {source.program_version}"
    )
    body = Report(
        title=head.title,
        vehicle=head.vehicle.description,
        about=_about(source),
        vin=head.vehicle.vin,
        customer=customer_sections(source),
        sections=tuple(section for section in _sections(source) if section.blocks),
        printed=printed,
        instant=int(source.printed_at.timestamp()),
    )
    digest = digest_of(body)
    return replace(body, digest=digest, sections=(*body.sections, *_closing(digest)))


def _sections(source: ReportInput) -> Iterator[Section]:
    yield vehicle_section(source)
    yield from _there(codes_section(source))
    yield instruments_section(source)
    yield from readings_sections(source)
    yield from answer_sections(source)
    yield from _there(comparison_section(source))
    yield from _there(recordings_section(source))
    yield Section("Photographs", (*photographs(source),))
    yield from _there(witnesses_section(source))
    yield cautions_section(source)
    yield proof_section(source)
    yield untested_section(source)
    yield from _there(history_section(source))
    yield derivation_section(source)


def _about(source: ReportInput) -> str:
    """The line under the title: when, who, at how many kilometres, with which codes."""
    record = source.record
    opened = day(record.head.opened) if record.head.opened else source.instant(record.created_at)
    parts = [
        f"opened {opened}",
        f"closed {source.instant(record.closed_at)}" if record.closed_at else "still open",
        f"technician {record.head.technician}" if record.head.technician else "",
        odometer_words(record.head.vehicle),
        f"codes {listed(code.code for code in record.head.codes)}" if record.head.codes else "",
    ]
    return capital("; ".join(part for part in parts if part))


def _there(section: Section | None) -> tuple[Section, ...]:
    return () if section is None else (section,)


def _closing(digest: str) -> Iterator[Section]:
    """What stands outside of the hash: the hash itself, and the place to sign."""
    yield Section(HASH_TITLE, (*facts([("SHA-256", digest)]), *paragraph(EXPLAINED, "small")))
    yield Section("Signed", (SignatureLines(("Technician", "Place and date", "Customer")),))
