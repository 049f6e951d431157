"""A value that is known already goes where it belongs: in the round of its state."""

from pathlib import Path

import pytest

from backprobe.errors import ValueOutOfRange
from backprobe.job import Round, read_job
from backprobe.services.job_book import JobBook
from backprobe.services.known_reading import enter_known
from backprobe.store.engine import Store

EXAMPLES = Path(__file__).parents[2] / "examples"
UNPLUGGED = Round("", plugged=False, key="on")
RUNNING = Round("", plugged=True, key="run", rpm=800.0)


@pytest.fixture
def book(store: Store) -> JobBook:
    return JobBook(store)


@pytest.fixture
def sheet(book: JobBook) -> str:
    """Half a sheet: round A, unplugged and key on, volts at 1, 2 and 3."""
    return book.take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]


def test_it_joins_the_round_of_its_state(book: JobBook, sheet: str) -> None:
    enter_known(book, sheet, UNPLUGGED, ("volts_loaded", "1"), "1.56 V", device="phone")
    (only,) = book.sheet(sheet)[2].rounds
    assert only.round.volts_loaded["1"].written == "1.56 V"
    assert only.entries[-1].device == "phone"


def test_another_state_begins_its_round_and_the_next_value_joins_it(
    book: JobBook, sheet: str
) -> None:
    enter_known(book, sheet, RUNNING, ("volts", "1"), "5.0 V")
    # Idle is idle, whatever the exact speed.
    again = Round("", plugged=True, key="run", rpm=750.0)
    enter_known(book, sheet, again, ("volts", "2"), "12 mV")
    _, begun = book.sheet(sheet)[2].rounds
    assert (begun.round.plugged, begun.round.key, begun.round.rpm) == (True, "run", 800.0)
    assert {pin: each.written for pin, each in begun.round.volts.items()} == {
        "1": "5.0 V",
        "2": "12 mV",
    }


def test_another_black_lead_is_another_round(book: JobBook, sheet: str) -> None:
    body = Round("", plugged=False, key="on", black_lead="body")
    enter_known(book, sheet, body, ("volts_loaded", "1"), "1.56 V")
    first, begun = book.sheet(sheet)[2].rounds
    assert not first.round.volts_loaded
    assert begun.round.black_lead == "body"


def test_what_stands_in_the_cell_is_never_replaced(book: JobBook, sheet: str) -> None:
    enter_known(book, sheet, UNPLUGGED, ("volts", "1"), "4.2 V")
    first, begun = book.sheet(sheet)[2].rounds
    assert first.round.volts["1"].written != "4.2 V"
    assert begun.round.volts["1"].written == "4.2 V"


def test_a_void_round_takes_nothing(book: JobBook, sheet: str) -> None:
    book.void_round(book.sheet(sheet)[2].rounds[0].key, "paint")
    enter_known(book, sheet, UNPLUGGED, ("volts_loaded", "1"), "1.56 V")
    _, begun = book.sheet(sheet)[2].rounds
    assert begun.round.volts_loaded["1"].value == 1.56


@pytest.mark.parametrize(
    ("cell", "written"),
    [(("volts", "1"), "many"), (("volts", "9"), "1 V"), (("volts", "1"), "98765 V")],
)
def test_what_cannot_be_begins_no_round(
    book: JobBook, sheet: str, cell: tuple[str, str], written: str
) -> None:
    with pytest.raises(ValueOutOfRange):
        enter_known(book, sheet, RUNNING, cell, written)
    assert len(book.sheet(sheet)[2].rounds) == 1
