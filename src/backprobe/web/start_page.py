"""The first page."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from backprobe.web.pages import pages_of

router = APIRouter(include_in_schema=False)


@router.get("/")
async def start(request: Request) -> HTMLResponse:
    """Show the first page."""
    return pages_of(request).page(request, "start.html")
