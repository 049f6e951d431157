"""Requests that say themselves that they are too large are refused before they are read."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from backprobe.web.visitor import RefusedError

MOST_DIGITS: Final = 18  # a longer number is too large whatever it says


class SizeCheck:
    """Looks at the declared length; what comes in pieces is counted by the framework."""

    def __init__(self, app: ASGIApp, *, largest: int) -> None:
        self.app = app
        self.largest = largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "http":
            declared = Headers(scope=scope).get("content-length", "0")
            if not self._is_small_enough(declared):
                raise RefusedError(
                    f"That is too large: at most {self.largest / 1e6:.0f} MB are taken in at once.",
                    remedy="Send a smaller file or picture.",
                    status=413,
                )
        await self.app(scope, receive, send)

    def _is_small_enough(self, declared: str) -> bool:
        is_number = declared.isdecimal() and len(declared) <= MOST_DIGITS
        return is_number and int(declared) <= self.largest
