"""Under which addresses and names this computer is known in its own network."""

from __future__ import annotations

import contextlib
import socket
from ipaddress import ip_address
from typing import Final

# An address that belongs to nobody (RFC 5737): choosing a route to it sends nothing.
NOWHERE: Final = ("192.0.2.1", 9)


def lan_hosts() -> tuple[str, ...]:
    """Addresses first, the one that leads out of this computer before all, then names."""
    name = socket.gethostname().lower()
    found = [*_outward(), *_of_name(name)]
    addresses = [each for each in found if not ip_address(each).is_loopback]
    names = [name, f"{name}.local"] if name and "." not in name else [name]
    return tuple(dict.fromkeys((*addresses, *(each for each in names if each))))


def _outward() -> list[str]:
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(NOWHERE)
        return [str(probe.getsockname()[0])]
    return []


def _of_name(name: str) -> list[str]:
    with contextlib.suppress(OSError):
        return [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    return []
