"""Sheets and rounds: names that collide, terminals that can't go, closed jobs that refuse."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.job import Code, Connector, Fitted, Job, Round, Terminal, parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import FOUND, REPAIRED, JobHead, SheetRecord
from backprobe.store.sheets import next_name

ONE, TWO, THREE = Terminal("1", "BK"), Terminal("2", "YE/BK"), Terminal("3", "GN")
CONNECTOR = Connector("intake sensor", "temperature", (ONE, TWO, THREE))
STATE = Round("A", plugged=False, key="on")


@pytest.fixture
def book(store: Store) -> JobBook:
    return JobBook(store)


@pytest.fixture
def job(book: JobBook) -> str:
    return book.begin(JobHead("job"))


@pytest.fixture
def sheet(book: JobBook, job: str) -> str:
    return book.add_sheet(job, CONNECTOR)


def found(book: JobBook, sheet: str) -> SheetRecord:
    return book.sheet(sheet)[2]


def names(book: JobBook, sheet: str) -> list[str]:
    return [each.round.name for each in found(book, sheet).rounds]


def test_what_is_begun_twice_under_one_key_is_begun_once(book: JobBook, job: str) -> None:
    assert book.begin(JobHead("other words"), key=job) == job
    assert book.add_sheet(job, CONNECTOR, key="s") == book.add_sheet(job, CONNECTOR, key="s") == "s"
    assert book.add_round("s", STATE, key="r") == book.add_round("s", STATE, key="r") == "r"
    record = book.job(job)
    assert record.head.title == "job"
    assert [each.key for each in record.sheets] == ["s"]
    assert [each.key for each in record.sheets[0].rounds] == ["r"]


def test_a_round_whose_name_is_taken_gets_the_next(book: JobBook, sheet: str) -> None:
    for _ in range(3):
        book.add_round(sheet, STATE)
    book.add_round(sheet, replace(STATE, name=""))
    assert names(book, sheet) == ["A", "B", "C", "D"]


@pytest.mark.parametrize(
    ("taken", "expected"),
    [([], "A"), (["A", "C"], "B"), (list("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), "A2")],
)
def test_the_next_free_name(taken: list[str], expected: str) -> None:
    assert next_name(taken) == expected


def test_a_round_is_not_renamed_to_another(book: JobBook, sheet: str) -> None:
    book.add_round(sheet, STATE)
    second = book.add_round(sheet, STATE)
    with pytest.raises(ConflictError, match='There is a round "A" already'):
        book.change_round(second, STATE)
    assert names(book, sheet) == ["A", "B"]
    book.change_round(second, replace(STATE, name="cold"))
    assert names(book, sheet) == ["A", "cold"]


def test_a_changed_state_keeps_the_readings_and_the_log_keeps_the_state(
    book: JobBook, job: str, sheet: str
) -> None:
    key = book.add_round(sheet, STATE)
    book.enter(key, ("volts", "1"), "5.01")
    book.change_round(key, replace(STATE, key="off", note="key was off"))
    (record,) = found(book, sheet).rounds
    assert (record.round.key, record.round.note) == ("off", "key was off")
    assert record.round.volts["1"].value == 5.01
    event = book.job(job, with_events=True).events[-1]
    assert (event.kind, event.details["before"]) == (
        "round changed",
        {"ignition": "on", "note": ""},
    )


def test_a_state_that_the_readings_rule_out_is_refused(book: JobBook, sheet: str) -> None:
    key = book.add_round(sheet, STATE)
    book.enter(key, ("sensor_ohms", "1-2"), "2210")
    with pytest.raises(ValueOutOfRange):
        book.change_round(key, replace(STATE, plugged=True))
    assert not found(book, sheet).rounds[0].round.plugged


def test_voiding_needs_a_reason(book: JobBook, sheet: str) -> None:
    key = book.add_round(sheet, STATE)
    with pytest.raises(ValueOutOfRange, match="needs a reason"):
        book.void_round(key, "  ")
    assert found(book, sheet).rounds[0].round.void == ""


def test_a_connector_is_changed_and_the_log_keeps_it(book: JobBook, job: str, sheet: str) -> None:
    four = Terminal("4", "WH", "signal-analogue")
    changed = Connector("air sensor", "air-mass", (replace(ONE, colour="BN"), four, THREE))
    book.change_connector(sheet, changed)
    assert found(book, sheet).connector == changed
    before = book.job(job, with_events=True).events[-1].details["before"]
    assert before["name"] == "intake sensor"
    assert ["2", "YE/BK", ""] in before["terminals"]


@pytest.mark.parametrize("cell", [("volts", "2"), ("sensor_ohms", "1-2"), ("harness_ohms", "2")])
def test_a_terminal_with_readings_can_not_go(
    book: JobBook, sheet: str, cell: tuple[str, str]
) -> None:
    key = book.add_round(sheet, replace(STATE, key="off"))
    book.enter(key, cell, "1.2")
    with pytest.raises(ConflictError, match="Terminal 2 has readings"):
        book.change_connector(sheet, replace(CONNECTOR, terminals=(ONE, THREE)))
    assert found(book, sheet).connector == CONNECTOR
    book.change_connector(sheet, replace(CONNECTOR, terminals=(ONE, TWO)))


def test_a_terminal_with_a_resistor_at_it_can_not_go(book: JobBook, sheet: str) -> None:
    """Else the round would name a pin that isn't there, and its job file could not be read."""
    book.add_round(sheet, replace(STATE, fitted=(Fitted("2", "3", 2200.0),)))
    with pytest.raises(ConflictError, match="Terminal 3 has readings, or a resistor"):
        book.change_connector(sheet, replace(CONNECTOR, terminals=(ONE, TWO)))
    parse_job(book.job_file(sheet)[1], "sheet")


def test_terminals_measured_against_each_other_keep_their_order(book: JobBook, sheet: str) -> None:
    """Else the same pair would have two names, and two readings side by side."""
    key = book.add_round(sheet, STATE)
    book.enter(key, ("sensor_ohms", "2-1"), "2210")
    with pytest.raises(ConflictError, match="Terminals 1 and 2"):
        book.change_connector(sheet, replace(CONNECTOR, terminals=(TWO, ONE, THREE)))
    book.change_connector(sheet, replace(CONNECTOR, terminals=(THREE, ONE, TWO)))
    book.enter(key, ("sensor_ohms", "2-1"), "2250")
    (readings,) = (each.round.sensor_ohms for each in found(book, sheet).rounds)
    assert {pair: i.value for pair, i in readings.items()} == {("1", "2"): 2250.0}


def test_a_reading_is_set_aside_and_taken_up_again(book: JobBook, sheet: str) -> None:
    number = book.set_aside(sheet, quantity="volts", place="1", reason="out of reach")
    (aside,) = found(book, sheet).set_aside
    assert (aside.id, aside.quantity, aside.place, aside.reason) == (
        *(number, "volts", "1", "out of reach"),
    )
    book.take_up_again(sheet, number)
    assert found(book, sheet).set_aside == ()


def test_a_sheet_is_repeated_after_the_repair_once(book: JobBook, job: str, sheet: str) -> None:
    read = book.add_round(sheet, replace(STATE, note="cold"))
    book.enter(read, ("volts", "1"), "5.01")
    void = book.add_round(sheet, STATE)
    book.enter(void, ("volts", "1"), "0.01")
    book.void_round(void, "wrong pin")
    book.add_round(sheet, STATE)  # never read
    again = book.repeat_after_repair(sheet)
    assert book.repeat_after_repair(sheet) == again
    record = found(book, again)
    assert (record.phase, record.repeats, record.connector) == (REPAIRED, sheet, CONNECTOR)
    assert [(r.repeats, r.round.name, r.entries) for r in record.rounds] == [(read, "A", ())]
    assert [each.phase for each in book.job(job).sheets] == [FOUND, REPAIRED]
    with pytest.raises(ConflictError, match="itself a repetition"):
        book.repeat_after_repair(again)


CHANGES: dict[str, Callable[[JobBook, str, str, str, int], object]] = {
    "head": lambda book, job, *_: book.change(job, JobHead("x", codes=(Code("P0113"),))),
    "sheet": lambda book, job, *_: book.add_sheet(job, CONNECTOR),
    "file": lambda book, job, *_: book.take_in(Job("x", CONNECTOR), into=job),
    "outcome": lambda book, job, *_: book.conclude(job, fault="none"),
    "connector": lambda book, _, sheet, *__: book.change_connector(
        sheet, replace(CONNECTOR, name="y")
    ),
    "repetition": lambda book, _, sheet, *__: book.repeat_after_repair(sheet),
    "round": lambda book, _, sheet, *__: book.add_round(sheet, STATE),
    "aside": lambda book, _, sheet, *__: book.set_aside(sheet, quantity="volts"),
    "taken up": lambda book, _, sheet, __, aside: book.take_up_again(sheet, aside),
    "state": lambda book, _, __, key, ___: book.change_round(key, replace(STATE, note="x")),
    "void": lambda book, _, __, key, ___: book.void_round(key, "x"),
    "reading": lambda book, _, __, key, ___: book.enter(key, ("volts", "1"), "5"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_closed_job_refuses(book: JobBook, job: str, sheet: str, what: str) -> None:
    key = book.add_round(sheet, STATE)
    aside = book.set_aside(sheet, quantity="volts", place="2")
    book.close(job)
    before = book.job(job, with_events=True)
    with pytest.raises(ConflictError, match=r"The job is closed\. Reopen it"):
        CHANGES[what](book, job, sheet, key, aside)
    assert book.job(job, with_events=True) == before
    book.reopen(job)
    CHANGES[what](book, job, sheet, key, aside)


def test_the_latest_outcome_counts_and_earlier_ones_stay(
    book: JobBook, job: str, sheet: str
) -> None:
    book.conclude(job, fault="open:sensor-ground", terminals=["2"], proof=["supply under load"])
    book.conclude(job, fault=" none ", cause="could not be found again")
    record = book.job(job)
    assert [each.fault for each in record.outcomes] == ["open:sensor-ground", "none"]
    assert record.outcome == record.outcomes[1]
    assert (record.outcomes[0].terminals, record.outcomes[0].proof) == (
        *((f"{sheet}/2",), ("supply under load",)),
    )
    with pytest.raises(ValueOutOfRange, match="says no fault"):
        book.conclude(job, fault=" ")


@pytest.mark.parametrize("noun", ["job", "sheet"])
def test_what_is_not_there_is_told(book: JobBook, noun: str) -> None:
    with pytest.raises(NotFoundError, match=f"no such {noun}"):
        getattr(book, noun)("nowhere")
