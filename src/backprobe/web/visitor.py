"""Who is asking: this computer itself, or a paired device."""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from typing import Annotated, Final

from fastapi import Depends
from starlette.requests import HTTPConnection

from backprobe.errors import BackprobeError

THIS_COMPUTER: Final = "this computer"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who is asking.

    Parameters
    ----------
    name : str
        As it stands in the record of a job.
    key : str
        Of the paired device; empty for this computer.
    """

    name: str = THIS_COMPUTER
    key: str = ""

    @property
    def is_local(self) -> bool:
        """Whether this is the computer on which the program runs."""
        return not self.key


class RefusedError(BackprobeError):
    """A request that isn't answered, and the status that says so.

    Parameters
    ----------
    what, where, remedy : str
        As for every error.
    status : int
        Of HTTP.
    headers : dict or None
        That belong to the status, such as Retry-After.
    """

    def __init__(
        self,
        what: str,
        where: str = "",
        remedy: str = "",
        *,
        status: int,
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(what, where, remedy)
        self.status = status
        self.headers = headers


def is_loopback(address: str) -> bool:
    """Whether the other end of a connection is this computer, by the address of its socket."""
    try:
        found = ip_address(address)
    except ValueError:
        return False
    if isinstance(found, IPv6Address) and found.ipv4_mapped is not None:
        found = found.ipv4_mapped
    return found.is_loopback


def visitor_of(connection: HTTPConnection) -> Visitor | None:
    """Who is asking; None for a request that was refused before that was settled."""
    return getattr(connection.state, "visitor", None)


async def require_visitor(connection: HTTPConnection) -> Visitor:
    """Who is asking, where the request has passed the gate."""
    visitor = visitor_of(connection)
    if visitor is None:
        raise RefusedError("This device isn't paired.", remedy="Pair it first.", status=401)
    return visitor


async def require_local(connection: HTTPConnection) -> Visitor:
    """Refuse whoever isn't at the computer itself: devices are let in from there only."""
    visitor = await require_visitor(connection)
    if not visitor.is_local:
        raise RefusedError(
            "Devices are paired and removed on the computer that runs backprobe.",
            remedy="Open this page there.",
            status=403,
        )
    return visitor


AnyVisitor = Annotated[Visitor, Depends(require_visitor)]
LocalVisitor = Annotated[Visitor, Depends(require_local)]
