"""Drawings and photographs, made fit for paper."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from html import unescape
from typing import Final

from PIL import Image, ImageOps

from backprobe.report.blocks import Block, Paragraph, Photo, Picture, said, words
from backprobe.report.input import ReportInput
from backprobe.services.pictures import circuit_picture, comparison_picture
from backprobe.services.words import quantity_words
from backprobe.store.record import Attachment, SheetRecord

INK: Final = "#000000"
LONGEST_SIDE: Final = 1400  # pixels; some 200 a inch at the width of a page
MOST_PIXELS: Final = 100_000_000  # a picture that unfolds to more is none that a phone took
_QUALITY: Final = 82
_DESCRIPTION = re.compile(r"<desc>(.*?)</desc>", re.DOTALL)
_SIZE = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')
_TITLE = re.compile(r"<title>(.*?)</title>", re.DOTALL)


def circuit_drawing(source: ReportInput, sheet: SheetRecord) -> Picture:
    """The circuit as it is understood, with the readings on it."""
    job = source.record.job_of(sheet)
    return _picture(circuit_picture(job, source.answer(sheet), ink=INK))


def comparison_drawing(source: ReportInput, found: SheetRecord, after: SheetRecord) -> Picture:
    """Readings before and after the repair, side by side."""
    record = source.record
    svg = comparison_picture(
        record.job_of(found), record.job_of(after), source.answer(found), ink=INK
    )
    return _picture(svg)


def picture_of(svg: str, told: str) -> Picture:
    """A drawing with its size as it says itself, and what it shows in words."""
    size = _SIZE.search(svg)
    width, height = (float(size[1]), float(size[2])) if size else (1.0, 1.0)
    return Picture(svg, told, width, height)


def _picture(svg: str) -> Picture:
    found = [pattern.search(svg) for pattern in (_TITLE, _DESCRIPTION)]
    told = ". ".join(unescape(match[1]) for match in found if match and match[1])
    return picture_of(svg, told or "Drawing")


def photographs(source: ReportInput) -> Iterator[Block]:
    """The photographs of a job with their captions; of other documents the name alone."""
    for number, attachment in enumerate(source.record.attachments, start=1):
        media_type, data = source.photos.get(attachment.key, ("", b""))
        shrunk = as_jpeg(data) if media_type.startswith("image/") else None
        title = f"{number}. {_caption(attachment)}"
        caption = said(words(title, "bold"), _where(source, attachment))
        if shrunk is None:
            kept = f". Kept with the job, not shown here ({attachment.media_type})."
            yield Paragraph(said(caption, kept, f" SHA-256 {attachment.sha256}."))
            continue
        jpeg, width, height = shrunk
        told = f"Photograph: {_caption(attachment)}"
        yield Photo(jpeg, width, height, told, caption, attachment.sha256)


def _caption(attachment: Attachment) -> str:
    return attachment.caption or attachment.name or "without a caption"


def _where(source: ReportInput, attachment: Attachment) -> str:
    where = f"round {attachment.round}" if attachment.round else ""
    place = f"terminal {attachment.place}" if attachment.place else ""
    if attachment.quantity:
        at = f" at {attachment.place}" if attachment.place else ""
        place = f"{quantity_words(attachment.quantity)}{at}"
    added = source.instant(attachment.added_at)
    return f" ({', '.join(part for part in (where, place, added) if part)})"


def as_jpeg(data: bytes) -> tuple[bytes, int, int] | None:
    """A photograph upright, shrunk to what paper shows, without what else the file tells.

    None where the bytes are no picture that can be read. The place where a phone took it stays
    out of the report.
    """
    try:
        with Image.open(io.BytesIO(data)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                return None
            upright = ImageOps.exif_transpose(opened).convert("RGBA")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    paper = Image.new("RGB", upright.size, "white")
    paper.paste(upright, mask=upright.getchannel("A"))
    paper.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    paper.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue(), paper.width, paper.height
