"""What the pages of a sheet, of its rounds and of its cells have in common."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fastapi.responses import RedirectResponse, Response

from backprobe.services.job_book import JobBook
from backprobe.services.words import quantity_words
from backprobe.store.record import Attachment, RoundRecord, SheetRecord
from backprobe.vocabulary import BATTERY_NEGATIVE
from backprobe.web.changing import Change
from backprobe.web.sheet_view import AT_PINS, PAD_UNITS


@dataclass(frozen=True, slots=True)
class PictureLine:
    """A picture or document of a round, as a line that leads to it."""

    key: str
    name: str
    caption: str
    reading: str  # the reading it belongs to, in words; empty where it belongs to the round


def reading_title(quantity: str, place: str) -> str:
    """What is read and where: "volts at 3"."""
    return quantity_words(quantity) + (f" at {place}" if place else "")


def picture_lines(pictures: Iterable[Attachment]) -> tuple[PictureLine, ...]:
    """Lines of pictures in the order in which they came."""
    return tuple(
        PictureLine(
            each.key,
            each.name,
            each.caption,
            reading_title(each.quantity, each.place)
            if each.quantity
            else (f"terminal {each.place}" if each.place else ""),
        )
        for each in pictures
    )


def pin_quantities() -> tuple[tuple[str, str, str], ...]:
    """Key, words and units of each quantity that is read at a pin."""
    units = {"hertz": "hertz", "duty_percent": "percent", "harness_ohms": "ohm"}
    return tuple(
        (key, quantity_words(key), " ".join(PAD_UNITS[units.get(key, "volt")])) for key in AT_PINS
    )


def round_of(book: JobBook, round_key: str) -> tuple[SheetRecord, RoundRecord]:
    """A round and the sheet it belongs to."""
    _, _, sheet = book.sheet(book.sheet_of_round(round_key))
    return sheet, next(r for r in sheet.rounds if r.key == round_key)


BLACK_LEADS: Final = (BATTERY_NEGATIVE, "sensor ground at the connector", "engine block", "body")


def black_lead_points(sheet: SheetRecord) -> tuple[str, ...]:
    """Points for the black lead: usual ones, and those used on this sheet."""
    used = [r.round.black_lead for r in sheet.rounds]
    return tuple(dict.fromkeys((*BLACK_LEADS, *used)))


def back_to(change: Change, sheet: str, where: str = "") -> Response:
    """Back to a sheet that has changed: it is worked out anew, and all who look at it are told."""
    change.told_of(sheet)
    return RedirectResponse(f"/sheets/{sheet}{where}", 303)
