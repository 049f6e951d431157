"""Who may see anything: this computer, and devices that were paired with it."""

from __future__ import annotations

from typing import Final

from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

from backprobe.web.devices import COOKIE, Devices
from backprobe.web.error_answers import is_api
from backprobe.web.settings import ServeSettings
from backprobe.web.visitor import RefusedError, Visitor, is_loopback

PAIR_PATH: Final = "/pair"
SEE_OTHER: Final = 303


class DeviceGate:
    """Tells who asks, and shows strangers nothing but the page on which they can be paired.

    This computer is known by the address of the socket, never by a header; another device by the
    token that it was given when it was paired.
    """

    def __init__(self, app: ASGIApp, *, settings: ServeSettings, devices: Devices) -> None:
        self.app = app
        self.settings = settings
        self.devices = devices

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, send its reader to the pairing page, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        visitor = await self._visitor(scope)
        if visitor is not None:
            state = scope.setdefault("state", {})
            state["visitor"] = visitor
            state["device"] = visitor.name
            await self.app(scope, receive, send)
        elif self.settings.is_lan and _is_open(scope["path"]):
            await self.app(scope, receive, send)
        elif self.settings.is_lan and _is_page(scope):
            await RedirectResponse(PAIR_PATH, SEE_OTHER)(scope, receive, send)
        else:
            raise RefusedError(
                "This device isn't paired with the computer that runs backprobe.",
                remedy=f"Open {PAIR_PATH} on this device and enter the code that the computer "
                f"shows under /devices.",
                status=401,
                headers={"WWW-Authenticate": 'Pairing realm="backprobe"'},
            )

    async def _visitor(self, scope: Scope) -> Visitor | None:
        peer = scope.get("client") or ("", 0)
        if is_loopback(str(peer[0])):
            return Visitor()
        token = HTTPConnection(scope).cookies.get(COOKIE)
        if not self.settings.is_lan or not token:
            return None
        device = await run_in_threadpool(self.devices.of_token, token)
        return None if device is None else Visitor(device.name, device.key)


def _is_open(path: str) -> bool:
    return path == PAIR_PATH or path.startswith("/static/")


def _is_page(scope: Scope) -> bool:
    return scope["type"] == "http" and scope["method"] == "GET" and not is_api(scope["path"])
