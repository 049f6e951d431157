"""Captures and logs of a job: drawn, with what was found in them and the marks put on them."""

from __future__ import annotations

from collections.abc import Iterator

from backprobe.report.blocks import (
    Block,
    Group,
    Points,
    Section,
    paragraph,
    words,
)
from backprobe.report.input import ReportInput
from backprobe.report.pictures import picture_of
from backprobe.store.recording import Recording


def recordings_section(source: ReportInput) -> Section | None:
    """Every capture and log, also one that doesn't count."""
    blocks = tuple(block for each in source.record.recordings for block in _recording(source, each))
    return Section("Captures and logs", blocks) if blocks else None


def _recording(source: ReportInput, each: Recording) -> Iterator[Block]:
    told = each.told
    where = [f"round {each.round_name}" if each.round_name else ""]
    where += [f"{c.name} at terminal {c.place}" for c in told.channels if c.place]
    about = "; ".join(part for part in (told.kind, *where, told.caption) if part)
    head: list[Block] = [*paragraph(about)]
    if each.void:
        head += paragraph(f"Does not count: {each.void}", "warning")
    drawn = source.recordings.get(each.key)
    if drawn is None:
        head += paragraph("Its samples could not be read when this was printed.", "warning")
        yield Group(told.name, tuple(head))
    else:
        yield Group(told.name, (*head, picture_of(drawn.svg, f"{told.name}: samples over time")))
        for sentence in drawn.found:
            yield from paragraph(sentence)
    if each.marks:
        yield Points(
            tuple(
                words(f"{number}, at {mark.start:.5g} s: {mark.text}")
                for number, mark in enumerate(each.marks, start=1)
            )
        )
    for remark in told.remarks:
        yield from paragraph(remark, "small")
    yield from paragraph(
        f"{told.n_sample} samples, one every {told.interval:.4g} s; error of the instrument"
        f" ± {100 * told.error_share:g} % of the highest value. SHA-256 of the file"
        f" {told.source_sha256}.",
        "small",
    )
