"""Pages on which devices are let in and removed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

import segno
from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError
from backprobe.store.devices import Device
from backprobe.web.at_hand import DevicesAtHand, PairingAtHand, SettingsAtHand
from backprobe.web.devices import COOKIE
from backprobe.web.error_answers import status_of
from backprobe.web.pages import pages_of
from backprobe.web.settings import ServeSettings
from backprobe.web.visitor import LocalVisitor, RefusedError, visitor_of

SEE_OTHER: Final = 303
ONE_YEAR_S: Final = 365 * 24 * 3600
LONGEST_NAME: Final = 40
SMALL_BODY: Final = 4096  # bytes; strangers may send this form

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class DevicesView:
    """What the page of devices shows."""

    devices: tuple[Device, ...]
    is_lan: bool
    is_tls: bool
    lan_url: str = ""
    qr: str = ""  # a picture as a data address
    code: str = ""
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class PairView:
    """What the pairing page shows."""

    name: str = ""
    error: str = ""


def pairing_link(settings: ServeSettings, secret: str) -> str:
    """The address in the QR code; what stands after the # is never sent, so no log holds it."""
    return f"{settings.lan_url.removesuffix('/')}/pair#{secret}" if settings.lan_url else ""


@router.get("/devices")
def devices_page(
    request: Request,
    _visitor: LocalVisitor,
    devices: DevicesAtHand,
    pairing: PairingAtHand,
    settings: SettingsAtHand,
) -> HTMLResponse:
    """Show the devices, and where others may be let in, the code for the next one."""
    view = DevicesView(devices.all(), settings.is_lan, settings.is_tls, settings.lan_url)
    if settings.is_lan:
        offer = pairing.offer()
        link = pairing_link(settings, offer.secret)
        view = DevicesView(
            view.devices,
            settings.is_lan,
            settings.is_tls,
            settings.lan_url,
            qr=_picture(link) if link else "",
            code=offer.shown_code,
            until=offer.until,
        )
    return pages_of(request).page(request, "devices.html", view)


@router.post("/devices/code")
def new_code(_visitor: LocalVisitor, pairing: PairingAtHand) -> Response:
    """Take the code back and show another."""
    pairing.renew()
    return RedirectResponse("/devices", SEE_OTHER)


@router.post("/devices/{key}/revoke")
def revoke(key: str, _visitor: LocalVisitor, devices: DevicesAtHand) -> Response:
    """Let a device in no longer."""
    devices.revoke(key)
    return RedirectResponse("/devices", SEE_OTHER)


@router.get("/pair")
def pair_page(request: Request) -> Response:
    """Show the form for a stranger; who is let in already needs none."""
    visitor = visitor_of(request)
    if visitor is not None:
        return RedirectResponse("/devices" if visitor.is_local else "/", SEE_OTHER)
    return pages_of(request).page(request, "pair.html", PairView())


@router.post("/pair", max_body_size=SMALL_BODY)
def pair(
    request: Request,
    devices: DevicesAtHand,
    pairing: PairingAtHand,
    settings: SettingsAtHand,
    code: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
) -> Response:
    """Let a device in that knows the code."""
    if visitor_of(request) is not None:
        return RedirectResponse("/", SEE_OTHER)
    try:
        called = _called(name)
        pairing.redeem(code, request.client.host if request.client else "")
        token = devices.pair(called)
    except BackprobeError as error:
        view = PairView(name[:LONGEST_NAME], f"{error.what} {error.remedy}")
        headers = error.headers if isinstance(error, RefusedError) else None
        return pages_of(request).page(
            request, "pair.html", view, status=status_of(error), headers=headers
        )
    answer = RedirectResponse("/", SEE_OTHER)
    answer.set_cookie(
        COOKIE, token, ONE_YEAR_S, httponly=True, samesite="strict", secure=settings.is_tls
    )
    return answer


def _called(name: str) -> str:
    """The name of a device in one line; it stands beside every reading that it enters."""
    found = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    if not found or len(found) > LONGEST_NAME:
        raise RefusedError(
            f"The device needs a name of 1 to {LONGEST_NAME} characters.",
            remedy='Write what the record shall say, such as "Bay 2 phone".',
            status=422,
        )
    return found


def _picture(link: str) -> str:
    return segno.make_qr(link, error="m").svg_data_uri(scale=8, border=4, light="#fff")
