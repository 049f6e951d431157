import pytest

from backprobe.errors import MessageError
from backprobe.standards.can_identifier import CanIdentifier

# ISO 15765-4: identifiers of diagnosis, as tshark's source also has them.
KNOWN = [
    (0x7DF, False, "request to all", None),
    (0x7E0, False, "request", 0x7E8),
    (0x7E7, False, "request", 0x7EF),
    (0x7E8, False, "answer", 0x7E0),
    (0x7EF, False, "answer", 0x7E7),
    (0x18DB33F1, True, "request to all", None),
    (0x18DA10F1, True, "request", 0x18DAF110),
    (0x18DAF110, True, "answer", 0x18DA10F1),
    (0x123, False, "other", None),
    (0x18FEF100, True, "other", None),
    (0x7E8, True, "other", None),
]


@pytest.mark.parametrize(("number", "is_extended", "direction", "partner"), KNOWN)
def test_who_speaks(number: int, is_extended: bool, direction: str, partner: int | None) -> None:
    identifier = CanIdentifier(number, is_extended=is_extended)
    assert identifier.direction == direction
    assert (identifier.partner.number if identifier.partner else None) == partner
    assert identifier.words


@pytest.mark.parametrize("number", range(0x7E0, 0x7F0))
def test_the_partner_of_the_partner_is_oneself(number: int) -> None:
    identifier = CanIdentifier(number)
    assert identifier.partner is not None
    assert identifier.partner.partner == identifier


def test_words() -> None:
    assert CanIdentifier(0x7E8).words == "control unit 00 answers"
    assert CanIdentifier(0x7E1).words == "asks control unit 01"
    assert CanIdentifier(0x18DAF110, is_extended=True).words == "control unit 10 answers"
    assert str(CanIdentifier(0x18DAF110, is_extended=True)) == "18DAF110"


def test_a_number_that_does_not_fit_is_told() -> None:
    with pytest.raises(MessageError) as caught:
        CanIdentifier(0x800)
    assert str(caught.value) == "800 is no identifier of 11 bits. The highest is 7FF."
