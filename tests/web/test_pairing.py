"""One secret, one device, ten minutes."""

from datetime import UTC, datetime, timedelta

import pytest

from backprobe.web.pairing import ALPHABET, CODE_LENGTH, Pairing
from backprobe.web.rate_limit import Failures, Limit
from backprobe.web.visitor import RefusedError

PHONE = "192.0.2.77"


class Clock:
    """The instant that the test wants."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def seconds(self) -> float:
        return self.now.timestamp()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pairing(clock: Clock) -> Pairing:
    seconds = Failures(Limit(5, 60.0), Limit(30, 600.0), clock.seconds)
    return Pairing(seconds, clock)


def refused(pairing: Pairing, given: str, address: str = PHONE) -> int:
    with pytest.raises(RefusedError) as caught:
        pairing.redeem(given, address)
    return caught.value.status


def test_the_secret_lets_one_in_once(pairing: Pairing) -> None:
    offer = pairing.offer()
    pairing.redeem(offer.secret, PHONE)
    assert refused(pairing, offer.secret) == 403
    assert refused(pairing, offer.code) == 403


@pytest.mark.parametrize("change", ["{}", " {} ", "lower", "shown", "spaced"])
def test_the_code_is_taken_as_people_type_it(pairing: Pairing, change: str) -> None:
    offer = pairing.offer()
    typed = {
        "lower": offer.shown_code.lower(),
        "shown": offer.shown_code,
        "spaced": " ".join(offer.code),
    }.get(change, change.format(offer.code))
    pairing.redeem(typed, PHONE)
    assert refused(pairing, offer.secret) == 403


def test_an_offer_stands_for_ten_minutes(pairing: Pairing, clock: Clock) -> None:
    offer = pairing.offer()
    clock.now += timedelta(minutes=9, seconds=59)
    assert pairing.offer() == offer
    clock.now += timedelta(seconds=1)
    assert refused(pairing, offer.secret) == 403
    assert refused(pairing, offer.code) == 403
    assert pairing.offer() != offer


def test_a_new_offer_takes_the_old_one_back(pairing: Pairing) -> None:
    old, new = pairing.offer(), pairing.renew()
    assert refused(pairing, old.secret) == 403
    pairing.redeem(new.code, PHONE)


@pytest.mark.parametrize("given", ["", "-", "\0", "é", "\ud800", "x" * 10_000])
def test_without_an_offer_nothing_lets_in(pairing: Pairing, given: str) -> None:
    assert refused(pairing, given) == 403
    pairing.offer()
    assert refused(pairing, given) == 403


def test_guessing_ends_after_five(pairing: Pairing, clock: Clock) -> None:
    offer = pairing.offer()
    assert [refused(pairing, f"guess{n}") for n in range(6)] == [403] * 5 + [429]
    # Now even the right one is refused, else guessing would go on unnoticed.
    with pytest.raises(RefusedError) as caught:
        pairing.redeem(offer.code, PHONE)
    assert caught.value.headers == {"Retry-After": "60"}
    assert caught.value.remedy == "Wait 60 seconds, then enter the code again."
    pairing.redeem(offer.code, "192.0.2.78")  # from elsewhere it still counts


def test_guessing_from_many_addresses_ends_too(pairing: Pairing) -> None:
    pairing.offer()
    statuses = [refused(pairing, "guess", f"192.0.2.{n}") for n in range(40)]
    assert statuses == [403] * 30 + [429] * 10


def test_waiting_helps(pairing: Pairing, clock: Clock) -> None:
    offer = pairing.offer()
    for n in range(5):
        refused(pairing, f"guess{n}")
    clock.now += timedelta(seconds=60)
    pairing.redeem(offer.code, PHONE)


def test_codes_are_long_and_cannot_be_misread(pairing: Pairing) -> None:
    offers = [pairing.renew() for _ in range(200)]
    assert len({offer.code for offer in offers}) == 200
    assert len({offer.secret for offer in offers}) == 200
    for offer in offers:
        assert len(offer.code) == CODE_LENGTH
        assert set(offer.code) <= set(ALPHABET)
        assert len(offer.secret) >= 22  # 128 bits in base 64
    assert not set("01OILaeiou") & set(ALPHABET)
    # Thirty guesses in ten minutes against all codes: less than one in ten thousand million.
    assert 30 / len(ALPHABET) ** CODE_LENGTH < 1e-10
