"""Pictures and documents of a job: what is taken, how it is kept, how it is read again.

What a content is, is seen from the content: the name that came with it is shown and never trusted.
A content that a browser could run (markup, drawings with scripts) is not taken at all.
"""

from __future__ import annotations

import re
from io import BytesIO
from typing import Final

from PIL import Image
from sqlalchemy import select
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.services.checking import checked_place
from backprobe.store import files
from backprobe.store.cells import Cell
from backprobe.store.columns import now
from backprobe.store.engine import Store
from backprobe.store.events import job_row, log, new_key, round_row
from backprobe.store.jobs import require_open
from backprobe.store.loading import attachments_of, load_sheet
from backprobe.store.record import Attachment
from backprobe.store.schema import AttachmentRow, JobRow

MAX_BYTES: Final = 20_000_000
MAX_PIXELS: Final = 64_000_000  # four bytes each while looked at: 256 MB
MAX_NAME: Final = 120
MAX_CAPTION: Final = 1000

_SIGNS: Final = (
    (re.compile(rb"\xff\xd8\xff"), "image/jpeg"),
    (re.compile(rb"\x89PNG\r\n\x1a\n"), "image/png"),
    (re.compile(rb"RIFF....WEBP", re.DOTALL), "image/webp"),
    (re.compile(rb"%PDF-\d"), "application/pdf"),
)
_FORMATS: Final = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
PLAIN_TEXT: Final = "text/plain"
MEDIA_TYPES: Final = (*(media_type for _, media_type in _SIGNS), PLAIN_TEXT)
_MARKUP: Final = re.compile(
    r"\s*<|.*<\s*(?:!doctype|html|svg|script|\?xml)", re.IGNORECASE | re.DOTALL
)
_UNSEEN: Final = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")
_TAKEN: Final = "Pictures (JPEG, PNG, WebP), PDF and plain text are taken."


def add_attachment(
    store: Store,
    job_key: str,
    name: str,
    content: bytes,
    *,
    caption: str = "",
    round_key: str = "",
    quantity: str = "",
    place: str = "",
    device: str = "",
    entry_key: str = "",
) -> Attachment:
    """Keep a picture or document with a job; the content first, then what tells of it.

    Parameters
    ----------
    name : str
        As its owner calls it; shown, nothing else.
    round_key, quantity, place : str
        The round, and the reading in it, that it belongs to; without a quantity the terminal.
    entry_key : str
        Given by who sends it: sent twice, it is stored once.

    Raises
    ------
    ValueOutOfRange
        It is too big, damaged, or of a kind that isn't taken.
    ConflictError
        The key was used for another one.
    """
    media_type = media_type_of(content)
    with store.read() as session:
        quantity, place = _placed(session, job_key, round_key, (quantity, place))
    sha256 = files.put(store.files, content)
    with store.write() as session:
        job = job_row(session, job_key)
        round_id = round_row(session, round_key)[0].id if round_key else None
        known = session.scalar(select(AttachmentRow).where(AttachmentRow.key == entry_key))
        if entry_key and known is not None:
            _require_same(known, (round_id, quantity, place, sha256))
            return _attachment(session, known)
        require_open(job)
        row = AttachmentRow(
            key=entry_key or new_key(),
            job_id=job.id,
            round_id=round_id,
            quantity=quantity,
            place=place,
            sha256=sha256,
            media_type=media_type,
            size_bytes=len(content),
            name=shown_name(name),
            caption=caption.strip()[:MAX_CAPTION],
            added_at=now(),
        )
        session.add(row)
        session.flush()
        at = {"round": round_key, "quantity": quantity, "place": place}
        log(session, job.id, "attachment", device, attachment=row.key, name=row.name, **at)
        return _attachment(session, row)


def _require_same(known: AttachmentRow, sent: tuple[int | None, str, str, str]) -> None:
    """Refuse another content or place under a used key: acknowledged, it would be lost."""
    if (known.round_id, known.quantity, known.place, known.sha256) != sent:
        raise ConflictError(
            "This picture's key was used for another one.",
            remedy="Give every picture a key of its own.",
        )


def read_attachment(store: Store, key: str) -> tuple[Attachment, bytes]:
    """What is told of an attachment, and its content, held against its hash."""
    with store.read() as session:
        row = session.scalar(select(AttachmentRow).where(AttachmentRow.key == key))
        if row is None:
            raise NotFoundError(
                "There is no such picture or document.", remedy="Look at the job it belongs to."
            )
        found = _attachment(session, row)
    return found, files.get(store.files, found.sha256)


def media_type_of(content: bytes) -> str:
    """What a content is, by its own signs.

    Raises
    ------
    ValueOutOfRange
        It is empty, too big, damaged, or of a kind that isn't taken.
    """
    if not content:
        raise ValueOutOfRange("The file is empty.", remedy="Choose it again.")
    if len(content) > MAX_BYTES:
        raise ValueOutOfRange(
            f"The file has {len(content) / 1e6:.1f} MB; {MAX_BYTES / 1e6:.0f} MB is the most.",
            remedy="Take the picture with fewer pixels, or the pages that matter.",
        )
    media_type = seen_type(content)
    if media_type in _FORMATS:
        _require_picture(content, _FORMATS[media_type])
    return media_type


def seen_type(content: bytes) -> str:
    """What a content is by its own signs, pictures not being decoded.

    Raises
    ------
    ValueOutOfRange
        It is of a kind that isn't taken.
    """
    for sign, media_type in _SIGNS:
        if sign.match(content):
            return media_type
    if _is_plain_text(content):
        return PLAIN_TEXT
    raise ValueOutOfRange("This kind of file isn't taken.", remedy=_TAKEN)


def _require_picture(content: bytes, format_: str) -> None:
    """Decode a picture once: one that stops in the middle, or is a bomb, is refused here."""
    try:
        with Image.open(BytesIO(content), formats=[format_]) as picture:
            width, height = picture.size
            if width * height > MAX_PIXELS:
                raise _too_many_pixels()
            picture.load()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    # The library tells damage in many ways, by what it stumbled over.
    except (OSError, SyntaxError, ValueError, EOFError, IndexError, TypeError) as error:
        raise ValueOutOfRange(
            "The picture is damaged or not whole.", remedy="Choose it again, or take it again."
        ) from error


def _too_many_pixels() -> ValueOutOfRange:
    return ValueOutOfRange(
        f"The picture has more than {MAX_PIXELS / 1e6:.0f} million pixels.",
        remedy="Take it with fewer pixels.",
    )


def _is_plain_text(content: bytes) -> bool:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return _UNSEEN.search(text) is None and _MARKUP.match(text) is None


def shown_name(name: str) -> str:
    """The last part of a name, without signs that can't be seen."""
    last = re.split(r"[/\\]", name)[-1]
    seen = "".join(sign if sign.isprintable() else " " for sign in last)
    return " ".join(seen.split())[:MAX_NAME] or "without a name"


def _placed(session: Session, job_key: str, round_key: str, cell: Cell) -> Cell:
    """The reading or terminal of a round as it is stored; nothing where no round is named."""
    job, (quantity, place) = job_row(session, job_key), cell
    if not round_key:
        if place or quantity:
            raise ValueOutOfRange("A place needs its round.", remedy="Choose the round too.")
        return cell
    _, sheet = round_row(session, round_key)
    if sheet.job_id != job.id:
        raise ValueOutOfRange(
            "This round belongs to another job.", remedy="Choose a round of this job."
        )
    connector = load_sheet(session, sheet.key)[2].connector
    if quantity:
        return checked_place(connector.pins, cell)
    if place and place not in connector.pins:
        raise ValueOutOfRange(
            f'There is no terminal "{place[:20]}".',
            remedy=f"Its terminals are {', '.join(connector.pins)}.",
        )
    return cell


def _attachment(session: Session, row: AttachmentRow) -> Attachment:
    job = session.get_one(JobRow, row.job_id)
    return next(each for each in attachments_of(session, job.id) if each.key == row.key)
