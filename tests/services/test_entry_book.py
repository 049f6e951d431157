"""Entries: appended once each, corrected by pointing back, decided by people where they differ."""

import threading

import pytest
from sqlalchemy import event

from backprobe.errors import ConflictError, NotFoundError, QuantityError, ValueOutOfRange
from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import JobHead, RoundRecord

CELL = ("volts", "1")
CONNECTOR = Connector("intake sensor", terminals=(Terminal("1"), Terminal("2"), Terminal("10")))


@pytest.fixture
def book(store: Store) -> JobBook:
    """A book that holds one sheet with round A."""
    return JobBook(store)


@pytest.fixture
def sheet(book: JobBook) -> str:
    return book.add_sheet(book.begin(JobHead("job")), CONNECTOR)


@pytest.fixture
def round_key(book: JobBook, sheet: str) -> str:
    return book.add_round(sheet, Round("A", plugged=False, key="on"))


def record(book: JobBook, round_key: str) -> RoundRecord:
    _, _, sheet = book.sheet(book.sheet_of_round(round_key))
    return next(each for each in sheet.rounds if each.key == round_key)


def standing(book: JobBook, round_key: str) -> list[str]:
    return [
        e.indication.written if e.indication else "taken back"
        for e in record(book, round_key).cell(*CELL)
        if e.stands
    ]


def test_an_entry_is_kept_as_it_was_written(book: JobBook, round_key: str) -> None:
    entered = book.enter(round_key, CELL, " 2,41 V ", device="phone")
    assert entered.is_new
    assert entered.indication == Indication(2.41, written="2,41 V")
    (entry,) = record(book, round_key).entries
    assert (entry.quantity, entry.place, entry.device) == (*CELL, "phone")
    assert record(book, round_key).round.volts == {"1": Indication(2.41, written="2,41 V")}


def test_one_key_is_stored_once_however_often_it_is_sent(book: JobBook, round_key: str) -> None:
    first = book.enter(round_key, CELL, "5.01", entry_key="k1")
    again = book.enter(round_key, CELL, "5.01", entry_key="k1")
    assert (first.is_new, again.is_new) == (True, False)
    assert again.entry == first.entry
    assert len(record(book, round_key).entries) == 1


def test_one_key_sent_at_once_from_many_sides_is_stored_once(book: JobBook, round_key: str) -> None:
    found = []
    threads = [
        threading.Thread(
            target=lambda: found.append(book.enter(round_key, CELL, "5.01", entry_key="k1"))
        )
        for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(each.is_new for each in found) == [False] * 5 + [True]
    assert len(record(book, round_key).entries) == 1


def test_a_key_is_known_again_after_the_job_was_closed(
    book: JobBook, sheet: str, round_key: str
) -> None:
    """An outbox that missed the answer sends again, whatever happened meanwhile."""
    book.enter(round_key, CELL, "5.01", entry_key="k1")
    book.void_round(round_key, "black lead on paint")
    book.close(book.sheet(sheet)[0])
    assert not book.enter(round_key, CELL, "5.01", entry_key="k1").is_new


def test_a_correction_points_at_what_it_replaces(book: JobBook, round_key: str) -> None:
    first = book.enter(round_key, CELL, "5.01")
    second = book.enter(round_key, CELL, "0.51")
    old, new = record(book, round_key).cell(*CELL)
    assert (old.id, old.stands, new.stands) == (first.entry, False, True)
    assert (new.id, new.replaces) == (second.entry, (first.entry,))
    assert old.indication == Indication(5.01, written="5.01")
    assert record(book, round_key).round.volts["1"].value == 0.51


def test_another_cells_entry_is_never_replaced(book: JobBook, round_key: str) -> None:
    other = book.enter(round_key, ("volts", "2"), "0.01")
    book.enter(round_key, CELL, "5.01", seen=[other.entry])
    assert set(record(book, round_key).round.volts) == {"1", "2"}


def test_two_that_did_not_see_each_other_are_a_conflict(
    book: JobBook, sheet: str, round_key: str
) -> None:
    """Both are kept and shown; the job holds neither until somebody decides."""
    one = book.enter(round_key, CELL, "5.01", seen=[], device="phone")
    other = book.enter(round_key, CELL, "0.51", seen=[], device="laptop")
    assert standing(book, round_key) == ["5.01", "0.51"]
    ((first, second),) = record(book, round_key).conflicts
    assert (first.device, second.device) == ("phone", "laptop")
    assert book.job_file(sheet)[0].rounds[0].volts == {}

    book.enter(round_key, CELL, "0.51", seen=[one.entry, other.entry])
    assert record(book, round_key).conflicts == ()
    assert book.job_file(sheet)[0].rounds[0].volts["1"].value == 0.51


def test_the_same_reading_twice_is_no_conflict(book: JobBook, round_key: str) -> None:
    book.enter(round_key, CELL, "0.512", seen=[])
    book.enter(round_key, CELL, "512 mV", seen=[])
    assert len(standing(book, round_key)) == 2
    assert record(book, round_key).conflicts == ()
    assert record(book, round_key).round.volts["1"].value == pytest.approx(0.512)


def test_taking_back_against_correcting_is_a_conflict(book: JobBook, round_key: str) -> None:
    first = book.enter(round_key, CELL, "5.01")
    book.enter(round_key, CELL, None, seen=[first.entry])
    book.enter(round_key, CELL, "5.10", seen=[first.entry])
    assert len(record(book, round_key).conflicts) == 1
    assert record(book, round_key).round.volts == {}


def test_what_is_taken_back_leaves_the_job_and_stays_in_the_history(
    book: JobBook, round_key: str
) -> None:
    book.enter(round_key, CELL, "5.01")
    book.enter(round_key, CELL, None)
    assert record(book, round_key).round.volts == {}
    assert standing(book, round_key) == ["taken back"]
    assert len(record(book, round_key).entries) == 2


def test_undo_puts_back_what_stood_there(book: JobBook, round_key: str) -> None:
    book.enter(round_key, CELL, "5.010")
    slip = book.enter(round_key, CELL, "50.1")
    undone = book.undo(round_key, slip.entry, entry_key="u1")
    assert undone.indication == Indication(5.01, written="5.010")
    assert record(book, round_key).round.volts["1"] == Indication(5.01, written="5.010")
    assert len(record(book, round_key).entries) == 3
    assert not book.undo(round_key, slip.entry, entry_key="u1").is_new


def test_undo_of_a_first_entry_empties_the_cell(book: JobBook, round_key: str) -> None:
    only = book.enter(round_key, CELL, "5.01")
    book.undo(round_key, only.entry)
    assert record(book, round_key).round.volts == {}


def test_undo_does_not_make_up_digits(book: JobBook) -> None:
    """A bare number of a file says nothing of its digits, also after it was put back."""
    bare = Round("A", plugged=False, key="on", volts={"1": Indication(5.0)})
    _, sheet = book.take_in(Job("job", CONNECTOR, rounds=(bare,)))
    key = book.sheet(sheet)[2].rounds[0].key
    slip = book.enter(key, CELL, "0.50")
    book.undo(key, slip.entry)
    assert record(book, key).round.volts == {"1": Indication(5.0)}


def test_undo_of_nothing_is_refused(book: JobBook, round_key: str) -> None:
    with pytest.raises(ValueOutOfRange, match="no such entry"):
        book.undo(round_key, 999)


def test_over_range_is_kept_as_the_meter_shows_it(book: JobBook, round_key: str) -> None:
    book.enter(round_key, ("sensor_ohms", "10-2"), "O.L")
    found = record(book, round_key).round.sensor_ohms[("2", "10")]
    assert (found.over_range, found.written) == (True, "O.L")


@pytest.mark.parametrize(
    ("cell", "written", "error", "said"),
    [
        (CELL, "", ValueOutOfRange, "empty text"),
        (CELL, "5.01 ohm", ValueOutOfRange, "ohm"),
        (CELL, "about five", ValueOutOfRange, "about five"),
        (("volts", "7"), "5", ValueOutOfRange, "Its terminals are 1, 2, 10"),
        (("sensor_ohms", "1-1"), "5", ValueOutOfRange, "no place"),
        (("battery_volts", "1"), "5", ValueOutOfRange, "no place"),
        (("amps", "1"), "5", ValueOutOfRange, "no place"),
        (("scan", "oil taste"), "5", ValueOutOfRange, "no place"),
    ],
)
def test_what_could_not_stand_in_a_job_file_is_refused(
    book: JobBook,
    round_key: str,
    cell: tuple[str, str],
    written: str,
    error: type[ValueOutOfRange | QuantityError],
    said: str,
) -> None:
    with pytest.raises(error, match=said):
        book.enter(round_key, cell, written)
    assert record(book, round_key).entries == ()


def test_a_void_round_takes_no_readings(book: JobBook, round_key: str) -> None:
    book.enter(round_key, CELL, "5.01")
    book.void_round(round_key, "black lead on paint")
    with pytest.raises(ConflictError, match="Round A is void"):
        book.enter(round_key, CELL, "5.02")
    assert record(book, round_key).round.volts["1"].value == 5.01
    book.count_again(round_key)
    book.enter(round_key, CELL, "5.02")
    assert record(book, round_key).round.volts["1"].value == 5.02


def test_a_round_that_is_not_there_is_told(book: JobBook) -> None:
    with pytest.raises(NotFoundError, match="no such round"):
        book.enter("nowhere", CELL, "5.01")


def test_every_change_is_in_the_log(book: JobBook, sheet: str, round_key: str) -> None:
    entered = book.enter(round_key, CELL, "5.01", device="phone")
    key, _, _ = book.sheet(sheet)
    events = book.job(key, with_events=True).events
    assert [event.kind for event in events] == ["job begun", "sheet begun", "round begun", "entry"]
    assert events[-1].details == {
        "entry": entered.entry,
        "sheet": sheet,
        "round": round_key,
        "quantity": "volts",
        "place": "1",
    }
    assert (events[-1].device, book.job(key).changed_at) == ("phone", events[-1].at)


def test_a_key_of_another_cell_or_round_is_refused_not_acknowledged(
    book: JobBook, round_key: str
) -> None:
    book.enter(round_key, ("volts", "1"), "5.00", entry_key="one-key-for-one-cell")
    with pytest.raises(ConflictError, match="used for another cell"):
        book.enter(round_key, ("volts", "2"), "4.00", entry_key="one-key-for-one-cell")
    sheet = book.sheet_of_round(round_key)
    other = book.add_round(sheet, Round("", plugged=True, key="on"))
    with pytest.raises(ConflictError, match="used for another cell"):
        book.enter(other, ("volts", "1"), "5.00", entry_key="one-key-for-one-cell")


def test_another_reading_under_a_used_key_is_refused_not_acknowledged(
    book: JobBook, round_key: str
) -> None:
    book.enter(round_key, CELL, "4.99 V", entry_key="k-of-one-reading")
    for other in ("1.00 V", None):
        with pytest.raises(ConflictError, match="used for another reading"):
            book.enter(round_key, CELL, other, entry_key="k-of-one-reading")
    assert len(record(book, round_key).entries) == 1


def test_a_reading_asks_the_store_little(store: Store, book: JobBook, round_key: str) -> None:
    """Fifty people enter at once; each statement is paid with computing time that all share."""
    book.enter(round_key, CELL, "5.01")
    asked: list[str] = []

    def note(*arguments: object) -> None:
        asked.append(str(arguments[2]))

    event.listen(store.engine, "before_cursor_execute", note)
    book.enter(round_key, CELL, "5.02")
    assert len(asked) <= 11, "\n".join(asked)
