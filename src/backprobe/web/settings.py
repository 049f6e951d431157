"""How the pages are served: to whom, and under which names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

DEFAULT_PORT: Final = 8750
LOOPBACK_NAMES: Final = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True, slots=True)
class ServeSettings:
    """What was chosen when the server was started.

    Parameters
    ----------
    port : int
        Where it listens.
    is_lan : bool
        Whether other devices of this network may reach it, once they are paired.
    lan_hosts : tuple of str
        Addresses and names of this computer in its network, as they stand in a URL; the one that
        others reach best comes first.
    is_tls : bool
        Whether the connection is encrypted.
    max_body_bytes : int
        The largest request that is taken in.
    """

    port: int = DEFAULT_PORT
    is_lan: bool = False
    lan_hosts: tuple[str, ...] = ()
    is_tls: bool = False
    max_body_bytes: int = 25_000_000

    @property
    def hosts(self) -> tuple[str, ...]:
        """All names under which this server may be asked for."""
        return (*LOOPBACK_NAMES, *self.lan_hosts) if self.is_lan else LOOPBACK_NAMES

    def url(self, host: str = "127.0.0.1", path: str = "/") -> str:
        """An address of this server."""
        return f"{'https' if self.is_tls else 'http'}://{host}:{self.port}{path}"

    @property
    def lan_url(self) -> str:
        """The address that other devices use; empty where they can't."""
        return self.url(self.lan_hosts[0]) if self.is_lan and self.lan_hosts else ""
