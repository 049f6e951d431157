"""So many failures in so much time, then no further attempt."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address, ip_network
from time import monotonic
from typing import Final


@dataclass(frozen=True, slots=True)
class Limit:
    """At most `count` failures within `seconds`."""

    count: int
    seconds: float


PER_ADDRESS: Final = Limit(5, 60.0)
# However many addresses somebody has: with a code of forty bits, that is hopeless for centuries.
OF_ALL: Final = Limit(30, 600.0)


class Failures:
    """Counts failures by address and of all, within a moving window. Not safe between threads.

    Parameters
    ----------
    per_address, of_all : Limit
        What is allowed.
    clock : callable
        Seconds that never run backwards.
    """

    def __init__(
        self,
        per_address: Limit = PER_ADDRESS,
        of_all: Limit = OF_ALL,
        clock: Callable[[], float] = monotonic,
    ) -> None:
        self.per_address = per_address
        self.of_all = of_all
        self.clock = clock
        # One list suffices: it never grows beyond the limit of all.
        self._failed: deque[tuple[float, str]] = deque()

    def note(self, address: str) -> None:
        """Count a failure."""
        self._failed.append((self.clock(), group_of(address)))

    def wait(self, address: str) -> float:
        """Seconds until an address may try again; 0 where it may at once."""
        instant = self.clock()
        longest = max(self.per_address.seconds, self.of_all.seconds)
        while self._failed and self._failed[0][0] <= instant - longest:
            self._failed.popleft()
        group = group_of(address)
        own = [at for at, by in self._failed if by == group]
        every = [at for at, _ in self._failed]
        return max(_wait(own, self.per_address, instant), _wait(every, self.of_all, instant))


def _wait(failed: list[float], limit: Limit, instant: float) -> float:
    """Seconds until fewer failures than allowed lie in the window."""
    if len(failed) < limit.count:
        return 0.0
    return max(0.0, failed[-limit.count] + limit.seconds - instant)


def group_of(address: str) -> str:
    """What counts as one address: of IPv6 the whole network, whose numbers one host can have."""
    try:
        found = ip_address(address)
    except ValueError:
        return address
    if not isinstance(found, IPv6Address):
        return str(found)
    return str(found.ipv4_mapped or ip_network((found, 64), strict=False))
