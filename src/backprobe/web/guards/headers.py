"""Headers on every answer: what a browser may do with it."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# Of a document that stands alone: no script, no form, no cookie of ours; with its own style inside.
DOCUMENT_POLICY: Final = (
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
POLICY: Final = "Content-Security-Policy"
ALWAYS: Final = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    # Nothing is told to other sites. Not "no-referrer": with it, browsers send
    # "Origin: null" with our own forms too (Fetch standard, "append a request Origin header"), and
    # they would be refused.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": (
        "camera=(self), microphone=(self), geolocation=(), payment=(), usb=(), serial=(self)"
    ),
}


class AnswerHeaders:
    """Puts them on; an answer that says nothing of caches must not be kept in one."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and mark what comes back."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                stands_alone = headers.get(POLICY) == DOCUMENT_POLICY
                for name, value in ALWAYS.items():
                    headers[name] = value
                if stands_alone:
                    headers[POLICY] = DOCUMENT_POLICY
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self.app(scope, receive, send_marked)
