"""How many failures are borne, and for how long."""

import pytest

from backprobe.web.rate_limit import Failures, Limit, group_of


class Clock:
    """Seconds as the test wants them."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def failures(clock: Clock) -> Failures:
    return Failures(Limit(3, 60.0), Limit(5, 600.0), clock)


def test_an_address_waits_after_too_many(clock: Clock) -> None:
    limit = failures(clock)
    for second in (0, 10, 20):
        clock.now = 1000.0 + second
        assert limit.wait("192.0.2.1") == 0
        limit.note("192.0.2.1")
    assert limit.wait("192.0.2.1") == 40.0  # the first one leaves the window at 1060
    assert limit.wait("192.0.2.2") == 0
    clock.now = 1060.0
    assert limit.wait("192.0.2.1") == 0
    limit.note("192.0.2.1")
    assert limit.wait("192.0.2.1") == 10.0  # now the one of 1010 is the first of three


def test_all_addresses_together_wait_too(clock: Clock) -> None:
    limit = failures(clock)
    for number in range(5):
        assert limit.wait(f"192.0.2.{number}") == 0
        limit.note(f"192.0.2.{number}")
    assert limit.wait("192.0.2.99") == 600.0
    clock.now += 600.0
    assert limit.wait("192.0.2.99") == 0


def test_old_failures_are_forgotten(clock: Clock) -> None:
    limit = failures(clock)
    for _ in range(1000):
        limit.note("192.0.2.1")
        clock.now += 400.0
        limit.wait("192.0.2.1")
    assert len(limit._failed) <= 2


@pytest.mark.parametrize(
    ("first", "second", "is_same"),
    [
        ("192.0.2.1", "192.0.2.2", False),
        ("::ffff:192.0.2.1", "192.0.2.1", True),
        ("2001:db8::1", "2001:db8::ffff:1", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("fe80::1%eth0", "fe80::2%eth0", True),
        ("", "192.0.2.1", False),
    ],
)
def test_what_counts_as_one_address(first: str, second: str, is_same: bool) -> None:
    """A host is commonly given a whole /64 of IPv6 (RFC 6177, section 2)."""
    assert (group_of(first) == group_of(second)) is is_same
