"""The list of jobs: every field is searched, signs of SQL's patterns mean themselves."""

from datetime import date

import pytest

from backprobe.job import Code, Connector, Terminal, Vehicle
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import JobHead

FULL = JobHead(
    title="Hesitates on a cold morning",
    complaint="Stumbles after start,\nthen clears",
    recent_work="new battery fitted",
    opened=date(2026, 3, 2),
    technician="A. N. Other",
    vehicle=Vehicle(description="1.6 litre hatchback, GRÜN", vin="1M8GDM9AXKP042788"),
    codes=(Code("P0113"), Code("U0100", "pending")),
)
CONNECTOR = Connector("intake sensor", "temperature", (Terminal("1"), Terminal("2")))


def titles(store: Store, text: str, *, is_open: bool | None = None) -> list[str]:
    lines, count = JobBook(store).listed(text, is_open=is_open)
    assert count == len(lines)
    return [line.title for line in lines]


@pytest.fixture
def book(store: Store) -> JobBook:
    """A book of one full job among others."""
    found = JobBook(store)
    key = found.begin(FULL)
    found.add_sheet(key, CONNECTOR)
    found.conclude(
        key, fault="open:sensor-ground", cause="chafed at bracket", repair="wire spliced"
    )
    found.begin(JobHead("Another"))
    return found


@pytest.mark.parametrize(
    "text",
    [
        *(
            "hesitates",
            "HESITATES morning",
            "morning hesitates",
            "stumbles",
            "start, then",
            "battery",
        ),
        *("2026-03", "a. n. other", "hatchback", "grün", "1m8gdm9ax", "p0113", "u0100"),
        *("intake", "open:sensor-ground", "chafed", "spliced", "cold intake P0113 spliced"),
    ],
)
def test_every_field_is_searched(book: JobBook, text: str) -> None:
    assert titles(book.store, text) == [FULL.title]


@pytest.mark.parametrize("text", ["warm", "hesitates warm", "P0114"])
def test_all_words_must_occur(book: JobBook, text: str) -> None:
    assert titles(book.store, text) == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("%", ["loses 50 % on the grade"]),
        ("_", ["wire_7 open"]),
        ("/", ["WH/GN broken"]),
        ("\\", ["back\\slash"]),
        ("'", ["it's gone"]),
        ("50%", []),
        ("w_re", []),
    ],
)
def test_signs_of_patterns_mean_themselves(store: Store, text: str, expected: list[str]) -> None:
    book = JobBook(store)
    for title in (
        *("loses 50 % on the grade", "wire_7 open", "WH/GN broken", "back\\slash", "it's gone"),
        "wire 7 open",
    ):
        book.begin(JobHead(title))
    assert titles(store, text) == expected


def test_the_last_changed_comes_first_page_by_page(store: Store) -> None:
    book = JobBook(store)
    keys = [book.begin(JobHead(f"job {number}")) for number in range(5)]
    book.change(keys[1], JobHead("job 1", complaint="new"))
    lines, count = book.listed(limit=2)
    assert ([line.title for line in lines], count) == (["job 1", "job 4"], 5)
    lines, count = book.listed(limit=2, offset=4)
    assert ([line.title for line in lines], count) == (["job 0"], 5)


def test_open_and_closed_jobs_are_told_apart(store: Store) -> None:
    book = JobBook(store)
    key = book.begin(JobHead("done"))
    book.begin(JobHead("in work"))
    book.close(key)
    assert titles(store, "", is_open=True) == ["in work"]
    assert titles(store, "", is_open=False) == ["done"]
    assert titles(store, "") == ["done", "in work"]


def test_a_line_tells_what_the_list_shows(book: JobBook) -> None:
    (line,), _ = book.listed("hesitates")
    assert (line.vehicle, line.vin) == (FULL.vehicle.description, FULL.vehicle.vin)
    assert (line.codes, line.opened) == (("P0113", "U0100"), FULL.opened)
    assert (line.outcome, line.closed_at) == ("open:sensor-ground", None)


def test_a_change_is_found_and_what_was_before_is_kept(store: Store) -> None:
    book = JobBook(store)
    key = book.begin(JobHead("old words", codes=(Code("P0113"),)))
    book.change(key, JobHead("new words", codes=(Code("P0102"),)))
    assert titles(store, "old") == titles(store, "P0113") == []
    assert titles(store, "new P0102") == ["new words"]
    event = book.job(key, with_events=True).events[-1]
    assert event.kind == "job changed"
    assert event.details["before"]["title"] == "old words"
    assert event.details["before"]["codes"][0]["code"] == "P0113"
