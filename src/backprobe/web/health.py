"""Whether program and store answer: for scripts, and for a page that lost its connection."""

from fastapi import APIRouter
from pydantic import BaseModel

from backprobe import __version__
from backprobe.store.engine import is_reachable
from backprobe.web.at_hand import StoreAtHand

router = APIRouter(prefix="/api", tags=["server"])


class Health(BaseModel):
    """The state of the server."""

    version: str
    is_store_reachable: bool


@router.get("/health")
def health(store: StoreAtHand) -> Health:
    """Tell the version, and that the store answers; 503 where it doesn't."""
    return Health(version=__version__, is_store_reachable=is_reachable(store))
