"""Pictures of a round or of one reading, as the outbox of a sheet delivers them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Path, Query
from pydantic import BaseModel

from backprobe.services.attachments import MAX_BYTES, add_attachment
from backprobe.web.api_given import KEY_PATTERN
from backprobe.web.changing import ChangeAtHand

router = APIRouter(prefix="/api", tags=["rounds"])


class PictureTold(BaseModel):
    """A picture or document as it is kept; its content is at `/files/KEY`."""

    key: str
    media_type: str
    size: int


@router.put("/rounds/{key}/files/{file}")
def keep_picture(
    key: str,
    file: Annotated[str, Path(pattern=KEY_PATTERN)],
    content: Annotated[bytes, Body(media_type="application/octet-stream", max_length=MAX_BYTES)],
    change: ChangeAtHand,
    quantity: Annotated[str, Query(max_length=60)] = "",
    place: Annotated[str, Query(max_length=60)] = "",
    name: Annotated[str, Query(max_length=200)] = "picture",
) -> PictureTold:
    """Keep a picture or document under a key of the sender's; sent twice, it is kept once."""
    kept = add_attachment(
        change.book.store,
        change.book.sheet(change.book.sheet_of_round(key))[0],
        name,
        content,
        round_key=key,
        quantity=quantity,
        place=place,
        device=change.device,
        entry_key=file,
    )
    change.told()
    return PictureTold(key=kept.key, media_type=kept.media_type, size=kept.size_bytes)
