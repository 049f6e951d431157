"""Only the names of this computer are answered.

A page of a foreign site can let its own name point at this computer (DNS rebinding) and would then
count as the same site here. The name stays in the Host header, so it gives the attempt away.
"""

from __future__ import annotations

from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from backprobe.web.settings import ServeSettings
from backprobe.web.visitor import RefusedError

MISDIRECTED: Final = 421


class HostCheck:
    """Compares the Host header with the names of this computer."""

    def __init__(self, app: ASGIApp, *, settings: ServeSettings) -> None:
        self.app = app
        self.settings = settings
        self.known = {host.lower() for host in settings.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "lifespan" and not self._is_ours(scope):
            raise RefusedError(
                "This computer doesn't answer to the name that was asked for.",
                remedy=f"Use the address that was shown at the start, such as "
                f"{self.settings.url()}",
                status=MISDIRECTED,
            )
        await self.app(scope, receive, send)

    def _is_ours(self, scope: Scope) -> bool:
        given = Headers(scope=scope).getlist("host")
        if len(given) != 1:
            return False
        name = host_name(given[0])
        if name in self.known:
            return True
        # The address at which this very connection ended: it may have changed since the start, and
        # no foreign site can own it.
        server = scope.get("server") or ("", None)
        return self.settings.is_lan and bool(name) and name == bracketed(str(server[0]))


def host_name(host: str) -> str:
    """The name in a Host header, without its port; empty where it isn't one."""
    name, _, port = host.strip().lower().rpartition(":")
    if host.rstrip().endswith("]") or not name:
        return host.strip().lower()
    return name if port.isdecimal() else ""


def bracketed(address: str) -> str:
    """An address as it stands in a URL."""
    return f"[{address}]" if ":" in address else address
