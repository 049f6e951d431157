"""Whatever changes something must come from a page of our own.

Browsers say where a request comes from (Origin, Sec-Fetch-Site) and let no script change that.
Programs that aren't browsers send `X-Backprobe: 1` instead: a browser would have to ask before it
sent that to another site, and is not answered.
"""

from __future__ import annotations

from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from backprobe.web.visitor import RefusedError

SAFE_METHODS: Final = frozenset(("GET", "HEAD", "OPTIONS"))
OWN_HEADER: Final = "x-backprobe"


class OriginCheck:
    """Compares the origin of a change with the host that it is sent to."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "websocket" or (
            scope["type"] == "http"
            and scope["method"] not in SAFE_METHODS
            and not is_from_us(Headers(scope=scope), scope["scheme"])
        ):
            raise RefusedError(
                "This request doesn't come from a page of this program, so nothing was changed.",
                remedy="Load the page again and repeat it there. Programs send the header "
                "X-Backprobe: 1.",
                status=403,
            )
        await self.app(scope, receive, send)


def is_from_us(headers: Headers, scheme: str) -> bool:
    """Whether a changing request comes from a page of ours, or from no browser at all."""
    site = headers.getlist("sec-fetch-site")
    if site and site != ["same-origin"]:
        return False
    origin = headers.getlist("origin")
    if origin:
        return [each.lower() for each in origin] == [
            f"{scheme}://{headers.get('host', '')}".lower()
        ]
    return bool(site) or headers.getlist(OWN_HEADER) == ["1"]
