"""What every route may ask for: the store, the devices, the settings.

None of these waits for anything; "async" keeps the framework from giving each a turn in a thread.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from backprobe.store.engine import Store
from backprobe.web.devices import Devices
from backprobe.web.live import Live
from backprobe.web.pairing import Pairing
from backprobe.web.settings import ServeSettings


async def _store(request: Request) -> Store:
    store: Store = request.app.state.store
    return store


async def _devices(request: Request) -> Devices:
    devices: Devices = request.app.state.devices
    return devices


async def _pairing(request: Request) -> Pairing:
    pairing: Pairing = request.app.state.pairing
    return pairing


async def _live(request: Request) -> Live:
    live: Live = request.app.state.live
    return live


async def _settings(request: Request) -> ServeSettings:
    settings: ServeSettings = request.app.state.settings
    return settings


StoreAtHand = Annotated[Store, Depends(_store)]
DevicesAtHand = Annotated[Devices, Depends(_devices)]
LiveAtHand = Annotated[Live, Depends(_live)]
PairingAtHand = Annotated[Pairing, Depends(_pairing)]
SettingsAtHand = Annotated[ServeSettings, Depends(_settings)]
